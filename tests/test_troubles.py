"""The harder simulator: each trouble does what its name says, and the plain one stays as it was."""

import json
from dataclasses import replace

import numpy as np
import pytest
from studies import hard_accuracy

from matchkit.errors import InputError
from matchkit.practice.rehearse import drawdowns_of
from matchkit.simulator.job import job
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.radiative_transfer import angles, angles_of, layer_R
from matchkit.simulator.simulate import (
    CARD_R,
    bare_card_R,
    draw,
    drawdown_R,
    ladder_of,
    opaque_R,
    random_mixtures,
)
from matchkit.simulator.troubles import USUAL, Troubles, drifted, only

SHOWN = ("anisotropy", "index", "semi_matt", "crowding", "flocculation", "card", "fluorescence")
BY_HAND = ("thickness", "drift", "weighing", "mislabelled")


def bench_of(*troubles, seed=71_001, n_colours=3):
    return make_bench(seed, n_colours=n_colours, troubles=only(*troubles) if troubles else None)


def test_directions_of_many_films_are_those_of_each():
    many = angles_of([[1.45], [1.6]])
    for k, n in enumerate((1.45, 1.6)):
        one = angles(n)
        for name in ("mu", "w", "inside_R", "root_F"):
            np.testing.assert_allclose(getattr(many, name)[k, 0], getattr(one, name), rtol=1e-12)


def test_with_next_to_no_trouble_inks_read_as_in_the_plain_simulator():
    plain = bench_of()
    hard = make_bench(71_001, n_colours=3, troubles=Troubles(index=1e-9))
    C = random_mixtures(plain, np.random.default_rng(1), "half", 4)
    np.testing.assert_allclose(opaque_R(hard, C), opaque_R(plain, C), atol=3e-4)


@pytest.mark.parametrize("name", SHOWN)
def test_a_trouble_alters_what_mixtures_read(name):
    plain, hard = bench_of(), bench_of(name)
    C = np.array([[0.5, 0, 0.3, 0.2, 0, 0], [0, 0, 0.9, 0, 0.1, 0], [0.8, 0.02, 0, 0, 0.1, 0.08]])
    away = np.abs(drawdown_R(hard, C) - drawdown_R(plain, C)).max()
    assert 0.002 < away < 0.4
    np.testing.assert_array_equal(drawdown_R(bench_of(name), C), drawdown_R(hard, C))


@pytest.mark.parametrize("name", BY_HAND)
def test_a_trouble_alters_how_drawdowns_are_made_or_read(name):
    # A thickness that varies is seen where the card is.
    bench = bench_of(name, "card") if name == "thickness" else bench_of(name)
    calm = replace(bench, troubles=replace(bench.troubles, **{name: 0}))
    _, C = ladder_of(bench, 3)
    noted, seen = draw(bench, C, np.random.default_rng(3))
    same, usual = draw(calm, C, np.random.default_rng(3))
    assert (np.abs(noted - same).max() > 0) == (name == "weighing")
    assert 0.002 < np.abs(seen - usual).max() < 0.9
    if name == "mislabelled":
        # Noise aside, one reading stands where another belongs.
        assert (np.abs(seen[0] - drawdown_R(bench, C)[:, None]).max(axis=(1, 2)) > 0.02).sum() == 1


def test_a_drift_is_of_gain_and_of_wavelength():
    ramp = np.linspace(0.2, 0.5, 31)
    seen = drifted(ramp, np.array([0.0, 1.0]), Troubles(drift=0.01))
    np.testing.assert_array_equal(seen[0], ramp)
    np.testing.assert_allclose(seen[1], 1.01 * ramp + 0.6 * 0.001, atol=1e-12)


def test_both_halves_of_a_card_are_films_of_the_nominal_thickness():
    bench = bench_of("card", "thickness")
    _, drawn = drawdowns_of(bench, np.random.default_rng(1), 3, ("white", "black"))
    assert {(d.ground, d.thickness_um) for d in drawn} == {("white", 200.0), ("black", 200.0)}
    by_name = {d.name: d.R for d in drawn}
    assert np.all(by_name["Clear 1 white"] - by_name["Clear 1 black"] > 0.05)
    assert np.abs(by_name["White 1 white"] - by_name["White 1 black"]).max() < 0.06
    for half, R in CARD_R.items():
        coated = layer_R(0, 0, 1e-9, R, n=1.5, g=0, geometry=bench.geometry)
        np.testing.assert_allclose(bare_card_R(bench, half), coated, atol=1e-6)


def test_jobs_are_played_with_the_troubles_of_their_shop():
    bench = make_bench(71_002, n_colours=2, troubles=USUAL, unlike=True)
    keep = lambda shown, readings: np.zeros_like(shown[0])  # noqa: E731
    grams, even = np.array([25.0, 0, 425, 50, 0]), np.ones(5)
    one, other = (
        job(bench, grams, even, np.random.default_rng(s), correct=keep).readings[0] for s in (1, 2)
    )
    calm = replace(bench, troubles=replace(USUAL, thickness=0, drift=0, weighing=0))
    assert np.abs(one - other).max() > 1e-3
    steady = job(calm, grams, even, np.random.default_rng(1), correct=keep).readings[0]
    np.testing.assert_allclose(steady, drawdown_R(calm, grams / 500), atol=0.01)


def test_a_trouble_that_is_none_is_told():
    with pytest.raises(InputError, match="write anisotropy, index"):
        only("moods")


def test_the_study_in_small():
    small = {"n_colours": 2, "targets": 2, "mixtures": 3, "unlike": False}
    found = hard_accuracy.row((71_003,), "weighing", 3, "hides", **small)
    assert found["jobs"] == 2 and 0.02 < found["unseen"][0] < 2
    assert "weighing errors" in hard_accuracy.markdown([found])


def test_shops_to_choose_on_are_not_those_that_are_scored():
    chosen, scored = (
        {*hard_accuracy.SEEDS[w], *hard_accuracy.MORE[w]} for w in ("choose", "score")
    )
    assert len(chosen) == len(scored) == 4 and not chosen & scored


def test_the_stored_table_says_what_is_hard():
    rows = json.loads(hard_accuracy.STORED.read_text(encoding="utf-8"))
    by = {(r["trouble"], r["drawdowns_per_ink"], r["road"]): r for r in rows}
    assert len(by) == len(rows)
    assert rows == sorted(rows, key=hard_accuracy.key_of)
    easy, hard = by["none", 10, "hides"], by["all", 10, "white"]
    assert easy["unseen"][0] < 0.15 < hard["unseen"][0]
    # Both halves of the card say what one cannot.
    for steps in (10, 3):
        white, both = by["card", steps, "white"], by["card", steps, "both"]
        assert both["unseen"][1] < white["unseen"][1]
    assert all(r["jobs"] >= 40 for r in rows)
