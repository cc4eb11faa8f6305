"""The virtual bench: light by radiative transfer, hands and instruments by the generator."""

import ast
import itertools
from pathlib import Path

import colour
import numpy as np
import pytest

import matchkit
from matchkit.errors import InputError
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.radiative_transfer import angles, reading, thick
from matchkit.simulator.simulate import (
    KINDS,
    Noise,
    draw_lots,
    film_R,
    ladder,
    mixture_optics,
    opaque_R,
    random_mixtures,
    read,
    weigh,
)

SILENT = Noise(relative=0.0, absolute=0.0, drawdown=0.0)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def lab(R: np.ndarray) -> np.ndarray:
    """CIELAB, D65 and 10 degrees, through colour-science's tables alone."""
    shape = colour.SpectralShape(400, 700, 10)
    cmfs = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"].copy().align(shape)
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
    weights = cmfs.values * light.values[:, None]
    weights /= weights[:, 1].sum()
    return colour.XYZ_to_Lab(R @ weights, colour.XYZ_to_xy(weights.sum(axis=0)))


@pytest.mark.parametrize(
    "module", ["pigments", "simulate", "radiative_transfer", "troubles", "job"]
)
def test_the_bench_knows_nothing_of_kubelka_munk(module: str) -> None:
    # If it did, the package would be marked by its own answers.
    source = (Path(matchkit.__file__).parent / "simulator" / f"{module}.py").read_text(
        encoding="utf-8"
    )
    nodes = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.ImportFrom)]
    imported = {node.module for node in nodes if str(node.module).startswith("matchkit")}
    own = ("pigments", "radiative_transfer", "simulate", "troubles")
    allowed = {
        "arrays",
        "errors",
        "colorimetry.grid",
        "simulator",
        *(f"simulator.{name}" for name in own),
    }
    assert imported <= {f"matchkit.{name}" for name in allowed}


def test_one_seed_one_bench() -> None:
    one, same, other = make_bench(4), make_bench(4), make_bench(5)
    for a, b in zip(one.inks, same.inks, strict=True):
        np.testing.assert_array_equal(a.mu_a, b.mu_a)
        np.testing.assert_array_equal(a.mu_s, b.mu_s)
    gap = colour.delta_E(lab(opaque_R(one, np.eye(16))), lab(opaque_R(other, np.eye(16))))
    assert np.median(gap) > 3
    assert (one.n, one.g, one.crowding_loss) != (other.n, other.g, other.crowding_loss)


@pytest.mark.parametrize("seed", range(6))
def test_inks_look_like_inks(seed: int) -> None:
    # Common practice, no source: masstones of pigmented plastisol, specular excluded.
    bench = make_bench(seed)
    R = opaque_R(bench, np.eye(len(bench.inks)))
    assert [ink.role for ink in bench.inks[:3]] == ["white", "black", "clear"]
    assert len(set(bench.names)) == 16
    assert 1.46 <= bench.n <= 1.56 and 0 <= bench.g <= 0.6
    assert 0.78 < R[0, 15] < 0.88 and R[0, 0] < 0.45
    assert R[1].max() < 0.03
    colours = R[3:]
    assert np.all(colours.min(axis=1) < 0.08)
    assert np.all((colours.max(axis=1) > 0.04) & (colours.max(axis=1) < 0.85))
    hues = np.degrees(np.arctan2(*lab(colours)[:, [2, 1]].T)) % 360
    gaps = np.diff(np.sort(hues), append=np.sort(hues)[0] + 360)
    assert gaps.max() < 110


def test_many_colours_keep_their_names_apart() -> None:
    bench = make_bench(1, n_colours=20)
    assert len(set(bench.names)) == 23


@pytest.mark.parametrize("geometry", ["d/8 specular excluded", "d/8 specular included", "45/0"])
def test_drawdowns_are_radiative_transfer(geometry: str) -> None:
    bench = make_bench(2, n_colours=4, geometry=geometry)
    fractions = random_mixtures(bench, rng(), "half", 5)
    mu_a, mu_s = mixture_optics(bench, fractions)
    film = angles(bench.n)
    direct = reading(thick(mu_a, mu_s, film=film, g=bench.g), film=film, geometry=geometry)
    np.testing.assert_allclose(opaque_R(bench, fractions), direct, atol=1e-6)


def test_white_crowds() -> None:
    # Common practice, no source: less scattering per gram as its share rises.
    bench = make_bench(3, n_colours=1)
    share = np.array([0.05, 0.3, 0.6, 1.0])
    fractions = np.zeros((4, 4))
    fractions[:, 0], fractions[:, 2] = share, 1 - share
    clear = (1 - share)[:, None] * bench.inks[2].mu_s
    per_gram = (mixture_optics(bench, fractions)[1] - clear)[:, 15] / share
    assert np.all(np.diff(per_gram) < 0)
    lost = 1 - per_gram[-1] / bench.inks[0].mu_s[15]
    assert lost == pytest.approx(bench.crowding_loss)
    assert 0.15 <= lost <= 0.45


def test_a_semi_matt_film_reads_lighter_with_the_specular_part_left_out() -> None:
    glossy, matt = make_bench(3), make_bench(3, surface_left=0.3)
    black = np.eye(16)[1]
    normal = ((glossy.n - 1) / (glossy.n + 1)) ** 2  # Fresnel, normal incidence
    np.testing.assert_allclose(
        opaque_R(matt, black) - opaque_R(glossy, black), 0.3 * normal, atol=1e-9
    )


def test_strength_does_nothing_to_a_masstone_and_deepens_a_tint() -> None:
    bench = make_bench(3, n_colours=1)
    strong = [1.0, 1.0, 1.0, 1.1]
    alone, tint = [0, 0, 0, 1.0], [0.9, 0, 0, 0.1]
    np.testing.assert_allclose(opaque_R(bench, alone, strong), opaque_R(bench, alone), atol=1e-12)
    assert np.all(opaque_R(bench, tint, strong)[:8] < opaque_R(bench, tint)[:8])


def test_films_run_from_the_ground_to_opaque() -> None:
    bench = make_bench(6, n_colours=2)
    tint = [0.5, 0.0, 0.4, 0.1, 0.0]
    over = film_R(
        bench, tint, np.array([[0.0], [30.0], [3000.0]]), np.full((2, 31), [[0.05], [0.85]])
    )
    assert over.shape == (3, 2, 31)
    contrast = over[:, 0].mean(axis=-1) / over[:, 1].mean(axis=-1)
    assert contrast[0] < 0.1 < contrast[1] < 0.999
    np.testing.assert_allclose(over[2], np.tile(opaque_R(bench, tint), (2, 1)), atol=2e-5)


def test_readings_lie_as_far_apart_as_an_instruments() -> None:
    # Common practice, no source: repeat readings of one spot, mid colours, 0.03-0.05 dE00.
    bench = make_bench(5)
    R = opaque_R(bench, random_mixtures(bench, rng(), "half", 200))
    seen = lab(read(R, rng(2), repeats=2))
    apart = colour.delta_E(seen[:, 0], seen[:, 1], method="CIE 2000").mean()
    assert 0.025 < apart < 0.05
    worse = lab(read(R, rng(2), Noise(drawdown=0.01)))[:, 0]
    assert colour.delta_E(worse, lab(R), method="CIE 2000").mean() > 3 * apart
    np.testing.assert_array_equal(read(R, rng(2), SILENT)[:, 0], R)


def test_what_went_in_and_what_was_shown() -> None:
    aim = np.tile([120.0, 3.0, 0.0, 0.02], (500, 1))
    true, shown = weigh(aim, rng(), resolution_g=0.01, hand_g=0.03)
    assert np.all(true >= 0) and np.all(true[:, 2] == 0)
    assert np.abs(true - shown).max() <= 0.005 + 1e-9
    np.testing.assert_allclose(shown, np.round(shown, 2), atol=1e-9)
    assert np.std(true[:, 0]) == pytest.approx(0.03, rel=0.15)


def test_lots_scatter_about_one() -> None:
    lots = draw_lots(rng(), 4000, spread=0.05)
    assert np.std(np.log(lots)) == pytest.approx(0.05, rel=0.05)
    assert np.median(lots) == pytest.approx(1, abs=0.005)


@pytest.mark.parametrize("steps", [3, 10])
@pytest.mark.parametrize("seed", [1, 2])
def test_ladders(seed: int, steps: int) -> None:
    bench = make_bench(seed)
    names, fractions, readings = ladder(bench, rng(), steps=steps, repeats=2)
    assert len(set(names)) == len(names) == 16 * steps
    assert readings.shape == (16 * steps, 2, 31)
    np.testing.assert_allclose(fractions.sum(axis=1), 1, atol=1e-12)
    own = fractions.reshape(16, steps, 16)
    assert np.all(own[range(16), 0, range(16)] == 1)
    if steps == 10:
        in_clear = (own[..., 2] > 0) & (own[..., 0] == 0)
        assert np.all(in_clear[3:].sum(axis=1) == 2)
        L = lab(readings[:, 0])[:, 0].reshape(16, 10)[3:, 1:6]
        assert np.all(np.diff(L, axis=1) < 0)
        assert np.all(L[:, 0] > 80)


@pytest.mark.parametrize("kind", KINDS)
def test_random_mixtures(kind: str) -> None:
    bench = make_bench(1)
    fractions = random_mixtures(bench, rng(), kind, 300)
    used = (fractions > 0).sum(axis=1)
    white, clear = fractions[:, 0], fractions[:, 2]
    np.testing.assert_allclose(fractions.sum(axis=1), 1, atol=1e-12)
    assert used.min() == 2 and used.max() == 4
    low, high, share = {
        "pastel": (0.8, 0.98, white),
        "half": (0.4, 0.6, white),
        "deep": (0.0, 0.1, white),
        "clear": (0.6, 0.95, clear),
    }[kind]
    assert share.min() >= low and share.max() <= high
    again = random_mixtures(bench, rng(), kind, 300)
    np.testing.assert_array_equal(fractions, again)


def test_a_small_bench_still_mixes() -> None:
    bench = make_bench(1, n_colours=1)
    for kind in KINDS:
        assert random_mixtures(bench, rng(), kind, 20).shape == (20, 4)


def test_bad_requests_are_named() -> None:
    bench = make_bench(1, n_colours=1)
    with pytest.raises(InputError, match="need 4 fractions"):
        opaque_R(bench, [0.5, 0.5])
    with pytest.raises(InputError, match="kind is 'dark'"):
        random_mixtures(bench, rng(), "dark", 1)
    with pytest.raises(InputError, match="steps is 5"):
        ladder(bench, rng(), steps=5)


def test_everything_comes_from_the_generator() -> None:
    bench = make_bench(2, n_colours=2)
    runs = [ladder(bench, rng(9), repeats=3)[2] for _ in range(2)]
    for one, other in itertools.pairwise(runs):
        np.testing.assert_array_equal(one, other)
