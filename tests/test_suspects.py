"""Drawdowns that went wrong in known ways: is each told as what it was?"""

import json
from dataclasses import replace

import numpy as np
import pytest
from bench_inks import drawdown
from scipy.optimize import brentq

from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.fitting.constants import Films
from matchkit.fitting.fit import fit
from matchkit.fitting.outliers import explain
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.shop import Drawdown
from matchkit.practice.rehearse import drawdowns_of
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import drawdown_R
from tests.studies import outliers as study

WHITE, BLACK, CLEAR, LEMON, SCARLET = range(5)
MAKE_AGAIN = "was it opaque, well stirred, fully cured, the right card? make it again"


def mixture(palette: Palette, **percent: float) -> np.ndarray:
    c = np.zeros(len(palette.inks))
    for name, share in percent.items():
        c[palette.index(name)] = share / 100
    return c


def told(palette: Palette, written: np.ndarray, R: np.ndarray) -> list[str]:
    """What is said of one drawdown among nineteen that fit."""
    good = np.tile(mixture(palette, White=90, Lemon=10), (19, 1))
    C = np.vstack([good, written])
    read = np.vstack([reflectance(palette, good), R])
    drawdowns: list[Drawdown] = [
        drawdown(f"d{row}", palette.inks, c, r)
        for row, (c, r) in enumerate(zip(C, read, strict=True))
    ]
    return list(named(drawdowns, C, palette, reflectance(palette, C)))


def named(
    drawdowns: list[Drawdown], C: np.ndarray, palette: Palette, predicted: np.ndarray
) -> tuple[str, ...]:
    """What is said of drawdowns that hide."""
    R = np.array([d.R for d in drawdowns])
    films = Films(C=C, X=np.full(len(C), np.inf), R_g=np.zeros_like(R), R_m=R)
    cards = np.arange(len(C))
    return explain(
        drawdowns, films, cards, palette, predicted, "D65", 10, without=lambda _: palette
    )


def brighter(R: np.ndarray, by_de00: float) -> np.ndarray:
    """The spectrum times one number, so that it is so many dE00 away."""

    def off(k: float) -> float:
        return float(de00(Lab(R, "D65", 10), Lab(R * (1 + k), "D65", 10))) - by_de00

    return R * (1 + brentq(off, 0, 1))


def test_nothing_is_said_of_what_fits(palette: Palette) -> None:
    c = mixture(palette, White=70, Scarlet=30)
    assert told(palette, c, reflectance(palette, c)) == []


@pytest.mark.parametrize(("written", "true"), [(4.0, 5.2), (4.0, 2.8), (10.0, 25.0)])
def test_a_wrong_weight(palette: Palette, written: float, true: float) -> None:
    c = mixture(palette, White=100 - written, Scarlet=written)
    was = mixture(palette, White=100 - true, Scarlet=true)
    (line,) = told(palette, c, reflectance(palette, was))
    assert line.startswith("d19: off by ")
    assert line.endswith(f"% Scarlet, not {written:.3g} % (mis-weighed?)")
    found = float(line.split("it reads like ")[1].split(" %")[0])
    assert found == pytest.approx(true, rel=0.02)


def test_a_wrong_weight_of_black_in_clear_is_told_of_the_black(palette: Palette) -> None:
    c, was = mixture(palette, Clear=96, Black=4), mixture(palette, Clear=93, Black=7)
    (line,) = told(palette, c, reflectance(palette, was))
    assert line.endswith("% Black, not 4 % (mis-weighed?)")
    assert float(line.split("it reads like ")[1].split(" %")[0]) == pytest.approx(7, rel=0.02)


def test_a_wrong_weight_of_white_in_clear_is_told_of_the_clear(palette: Palette) -> None:
    c, was = mixture(palette, Clear=80, White=20), mixture(palette, Clear=96, White=4)
    (line,) = told(palette, c, reflectance(palette, was))
    assert "% Clear, not 80 % (mis-weighed?)" in line


def test_a_wrong_label_on_a_tint(palette: Palette) -> None:
    c, was = mixture(palette, White=90, Magenta=10), mixture(palette, White=90, Scarlet=10)
    (line,) = told(palette, c, reflectance(palette, was))
    assert line.endswith("it reads like Scarlet, not Magenta (mislabelled?)")


def test_a_wrong_label_on_a_masstone(palette: Palette) -> None:
    c, was = mixture(palette, Lemon=100), mixture(palette, Magenta=100)
    (line,) = told(palette, c, reflectance(palette, was))
    assert line.endswith("it reads like Magenta, not Lemon (mislabelled?)")


@pytest.mark.parametrize(
    ("base", "slip", "words"),
    [
        (0.0, 0.04, "it reads as if measured with the specular part included"),
        (0.04, -0.04, "it reads as if measured with the specular part excluded"),
        (0.0, -0.04, "it reads too dark by about 4 % reflectance everywhere"),
        (0.04, 0.04, "it reads too light by about 4 % reflectance everywhere"),
    ],
)
def test_too_high_or_too_low_everywhere(
    palette: Palette, base: float, slip: float, words: str
) -> None:
    """Fresnel: a smooth surface of index 1.5 reflects 4 %, seen with the specular part only."""
    palette = replace(palette, base=base)
    c = mixture(palette, White=60, Scarlet=40)
    if slip < 0:
        c = mixture(palette, White=97, Scarlet=3)
    (line,) = told(palette, c, reflectance(palette, c) + slip)
    assert words in line


def test_what_nothing_explains_is_to_be_made_again(palette: Palette) -> None:
    c = mixture(palette, White=60, Scarlet=40)
    R = reflectance(palette, c)
    R[10:14] += 0.2
    (line,) = told(palette, c, R)
    assert line.endswith(MAKE_AGAIN)


def test_the_worst_comes_first(palette: Palette) -> None:
    C = np.array([mixture(palette, White=90, Scarlet=10)] * 5)
    R = reflectance(palette, C)
    drawdowns = [
        drawdown(f"d{i}", palette.inks, c, r) for i, (c, r) in enumerate(zip(C, R, strict=True))
    ]
    predicted = np.array(
        [brighter(r, e) for r, e in zip(R, (0.1, 2.0, 0.1, 9.0, 0.1), strict=True)]
    )
    lines = named(drawdowns, C, palette, predicted)
    assert [line.split(":")[0] for line in lines] == ["d3", "d1"]


def test_where_everything_is_rough_only_the_roughest_is_named(palette: Palette) -> None:
    # Six times the usual error, and at least 1 dE00: choices of our own.
    C = np.array([mixture(palette, White=90, Scarlet=10)] * 7)
    R = reflectance(palette, C)
    drawdowns = [
        drawdown(f"d{i}", palette.inks, c, r) for i, (c, r) in enumerate(zip(C, R, strict=True))
    ]
    error = np.array([0.8, 0.8, 0.8, 0.8, 0.8, 4.0, 5.0])
    lines, quiet = (
        named(
            drawdowns, C, palette, np.array([brighter(*each) for each in zip(R, e, strict=True)])
        )
        for e in (error, error / 10)
    )  # fmt: skip
    assert [line.split(":")[0] for line in lines] == ["d6"]
    assert quiet == ()


def test_a_masstone_of_another_ink_does_not_poison_a_short_ladder() -> None:
    """Three drawdowns fit whatever the masstone says, if the ink scatters as no pigment does."""
    bench = make_bench(7, n_colours=2)
    inks, drawn = drawdowns_of(bench, np.random.default_rng(5), 3)
    wrong, other = (next(d for d in drawn if d.name == f"{ink} 1") for ink in ("Scarlet", "White"))
    drawn[drawn.index(wrong)] = replace(wrong, readings=other.readings)
    found = fit(drawn, inks, geometry=bench.geometry)
    assert [line.split(":")[0] for line in found.outliers] == ["Scarlet 1"]
    assert found.palette.S[found.palette.index("Scarlet")].max() < 1
    mixed = np.array([[0.6, 0.0, 0.0, 0.2, 0.2], [0.2, 0.0, 0.0, 0.5, 0.3]])
    far = de00(
        Lab(drawdown_R(bench, mixed), "D65", 10), Lab(reflectance(found.palette, mixed), "D65", 10)
    )
    assert far.max() < 5


def test_ten_percent_wrong_is_named_and_sound_drawdowns_are_not() -> None:
    """Short form of `tests.studies.outliers`, on seeds that it doesn't use."""
    rows = [study.play(seed) for seed in (42000, 42009)]
    assert all(row["named"] for row in rows if row["far_out"])
    assert all(row["named_at_once"] for row in rows if row["far_out"])
    assert any(row["far_out"] for row in rows)
    for key in ("false", "others_named", "false_at_once"):
        assert not any(row[key] for row in rows)


def test_the_stored_study_names_95_percent_with_under_1_percent_false_alarms() -> None:
    stored = json.loads(study.STORED.read_text(encoding="utf-8"))
    assert stored["shops"] == 200
    assert stored["named_of_far_out"] >= 0.95
    assert stored["named_at_once_of_far_out"] >= 0.95
    assert stored["false_per_sound_drawdown"] < 0.01
    assert stored["false_per_sound_shop"] <= 0.01
