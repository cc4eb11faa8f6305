"""Which formula comes first, what counts as a copy, what is in reach, and the words for it."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab, de00, delta_LCH
from matchkit.colorimetry.words import direction
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette, reflectance, subset
from matchkit.inks.shop import Ink, Shop
from matchkit.matching.match import match
from matchkit.matching.rank import (
    Candidate,
    Choices,
    candidates,
    check,
    check_lab,
    in_gamut,
    in_order,
    limits,
    listed,
    preferred,
    weighed,
)
from matchkit.matching.solve import Solved, solve
from matchkit.simulator.pigments import Bench
from matchkit.simulator.simulate import KINDS, opaque_R, random_mixtures
from tests.studies import first_formula

LIGHTS = ("D65", "A", "FL11")
WHITE, BLACK, CLEAR, LEMON, SCARLET, SKY = range(6)


def formula(
    F: float, inks: str, cost: float | None = 10.0, de00: Sequence[float] = (0.0,), chance=None
) -> Candidate:
    return Candidate(
        inks=tuple(inks),
        grams=(1.0,) * len(inks),
        R=np.zeros(31),
        lab=np.zeros((1, 3)),
        de00=np.array(de00),
        F=F,
        cost_per_kg=cost,
        chance_in_tolerance=chance,
    )


def named(found: Sequence[Candidate]) -> list[str]:
    return ["".join(each.inks) for each in found]


# ---- order


def test_the_nearest_comes_first() -> None:
    pool = [formula(0.9, "ab"), formula(0.2, "abcd"), formula(0.5, "abc")]
    assert named(in_order(pool)) == ["abcd", "abc", "ab"]


def test_within_a_tenth_fewer_inks_come_first() -> None:
    pool = [formula(0.20, "abcd"), formula(0.29, "ab"), formula(0.25, "abc"), formula(0.31, "a")]
    assert named(in_order(pool)) == ["ab", "abc", "abcd", "a"]


def test_then_the_cheaper_and_an_unknown_cost_last() -> None:
    pool = [formula(0.20, "ab", 12.0), formula(0.25, "cd", 9.0), formula(0.22, "ef", None)]
    assert named(in_order(pool)) == ["cd", "ab", "ef"]


def test_then_the_nearer() -> None:
    assert named(in_order([formula(0.25, "cd"), formula(0.20, "ab")])) == ["ab", "cd"]


@given(
    st.lists(
        st.tuples(st.floats(0, 3), st.integers(1, 4), st.sampled_from([5.0, 9.0, None])),
        min_size=1,
        max_size=12,
    )
)
def test_neighbours_in_the_list_keep_to_the_rule(
    pool: list[tuple[float, int, float | None]],
) -> None:
    found = in_order([formula(F, "abcd"[:n], cost) for F, n, cost in pool])
    assert len(found) == len(pool)
    for before, after in pairwise(found):
        if abs(before.F - after.F) <= 0.1:
            costs = [
                np.inf if each.cost_per_kg is None else each.cost_per_kg for each in (before, after)
            ]
            fewer = len(before.inks) < len(after.inks)
            cheaper = len(before.inks) == len(after.inks) and costs[0] <= costs[1]
            # Of three, the first and last of which differ by more, the rule can't hold for all.
            assert fewer or cheaper or before.F < after.F
        else:
            assert before.F < after.F or any(each.F < before.F - 0.1 for each in found)


def test_the_best_is_never_more_than_a_tenth_behind_the_first() -> None:
    rng = np.random.default_rng(1)
    for _ in range(50):
        pool = [formula(float(F), "abcd"[: rng.integers(1, 5)]) for F in rng.uniform(0, 1, 8)]
        behind = in_order(pool)[0].F - min(each.F for each in pool)
        assert behind <= 0.1


def test_other_wishes() -> None:
    pool = [
        formula(0.1, "ab", de00=(0.1, 2.0), chance=0.3),
        formula(0.3, "cd", de00=(0.3, 0.4), chance=0.7),
    ]
    assert named(preferred(pool, "nearest", 1.0)) == ["ab", "cd"]
    assert named(preferred(pool, "chance", 1.0)) == ["cd", "ab"]
    assert named(preferred(pool, "steady", 1.0)) == ["cd", "ab"]


def test_what_can_hardly_be_weighed_gives_way_to_what_is_as_near() -> None:
    pool = [
        formula(0.00, "ab", cost=1.0, chance=0.3),
        formula(0.08, "cdef", chance=0.9),
        formula(0.15, "gh", cost=1.0, chance=0.4),  # within 0.1 of the one before
        formula(0.60, "ij", chance=0.4),
    ]
    assert named(in_order(pool)) == ["cdef", "ij"]
    assert named(in_order(pool, every=True)) == ["ab", "gh", "cdef", "ij"]
    assert named(in_order([formula(0.0, "ab", chance=0.5), formula(0.0, "cde", chance=0.54)])) == [
        "ab",
        "cde",
    ]


def test_what_is_mostly_clear_gives_way_to_what_is_as_near_and_as_sure() -> None:
    clear = replace(formula(0.00, "ab", cost=1.0, chance=0.9), mostly_clear=True)
    assert named(in_order([clear, formula(0.08, "cde", chance=0.88)])) == ["cde"]
    assert named(in_order([clear, formula(0.08, "cde", chance=0.5)])) == ["cde"]
    assert named(in_order([clear, formula(0.08, "cde", chance=0.4)])) == ["ab"]
    assert named(in_order([clear, formula(0.3, "cde", chance=0.9)])) == ["ab", "cde"]


def test_the_first_formula_hides_and_is_as_sure_as_any_that_is_as_near(
    bench: Bench, fitted: Fit
) -> None:
    """Targets of an independent bench, whose clear formulas are as near and cheaper."""
    shop = shop_of(fitted)
    rng, sheer = np.random.default_rng(5), 0
    for R in np.concatenate(
        [opaque_R(bench, random_mixtures(bench, rng, k, 1)) for k in KINDS[:3]]
    ):
        target = Target.from_spectrum(R, LIGHTS, 10)
        found = match(shop, {"": fitted}, target, Choices(batch_g=500.0))
        every = match(shop, {"": fitted}, target, Choices(batch_g=500.0, every=True, top=60))
        sheer += any(each.mostly_clear for each in every.formulas)
        first = found.formulas[0]
        assert not first.mostly_clear
        near = [each for each in every.formulas if each.F <= first.F]
        assert first.chance_in_tolerance >= max(e.chance_in_tolerance for e in near) - 0.05
    assert sheer > 1


@pytest.mark.parametrize("max_inks", [1, 2, 3])
def test_in_gamut_does_not_depend_on_how_many_inks_are_asked_for(
    bench: Bench, fitted: Fit, max_inks: int
) -> None:
    shop, palette = shop_of(fitted), fitted.palette
    rng = np.random.default_rng(8)
    for c in random_mixtures(bench, rng, "half", 2):
        target = Target.from_spectrum(reflectance(palette, c), LIGHTS, 10)
        assert match(shop, {"": fitted}, target, Choices(max_inks=max_inks)).in_gamut


# ---- candidates


def shop_of(fitted: Fit) -> Shop:
    return Shop(
        name="Bench", geometry="d/8 specular excluded", condition="UV included", observer=10,
        lights=LIGHTS, inks=fitted.palette.inks,
    )  # fmt: skip


def solved_with(rows: list[dict[int, float]], F: list[float], n: int) -> Solved:
    fractions = np.zeros((len(rows), n))
    for row, shares in enumerate(rows):
        for ink, share in shares.items():
            fractions[row, ink] = share
    return Solved(fractions=fractions, F=np.array(F), de00=np.zeros((len(rows), 1)))


def chosen(
    palette: Palette, rows: list[dict[int, float]], F: list[float], top: int = 5
) -> list[set]:
    target = Target.from_lab([60.0, 20.0, 30.0], "D65", 10)
    found = candidates(
        solved_with(rows, F, len(palette.inks)),
        palette,
        target,
        Choices(),
        resolution_g=0.01,
        tolerance_de00=1.0,
    )
    return [set(each.inks) for each in listed(found, top)]


def test_the_same_colours_with_more_base_or_more_ink_are_copies(few: Palette) -> None:
    rows = [
        {WHITE: 0.9, LEMON: 0.1},
        {WHITE: 0.8, CLEAR: 0.1, LEMON: 0.1},
        {WHITE: 0.9, LEMON: 0.09, SKY: 0.01},
        {WHITE: 0.9, SCARLET: 0.1},
    ]
    found = chosen(few, rows, [0.2, 0.3, 0.4, 0.9])
    assert found == [{"White", "Lemon"}, {"White", "Scarlet"}]


def test_a_sheer_formula_is_another_kind_whichever_comes_first(few: Palette) -> None:
    bodied, sheer = {WHITE: 0.9, LEMON: 0.1}, {CLEAR: 0.9, LEMON: 0.1}
    for rows in ([bodied, sheer], [sheer, bodied]):
        assert len(chosen(few, rows, [0.2, 0.9])) == 2


def test_no_more_than_asked_for(few: Palette) -> None:
    rows = [{WHITE: 0.9, ink: 0.1} for ink in (BLACK, LEMON, SCARLET, SKY)]
    assert len(chosen(few, rows, [0.1, 0.3, 0.5, 0.7], top=3)) == 3


def test_a_formula_without_colour_is_a_kind_of_its_own(few: Palette) -> None:
    rows = [{WHITE: 1.0}, {WHITE: 0.95, CLEAR: 0.05}, {WHITE: 0.99, BLACK: 0.01}]
    assert chosen(few, rows, [0.1, 0.15, 0.4]) == [{"White"}, {"White", "Black"}]


def test_a_candidate_is_what_would_be_weighed(few: Palette) -> None:
    # Shown numbers are those of the rounded weights, not of the optimum.
    target = Target.from_spectrum(np.linspace(0.1, 0.5, 31), LIGHTS, 10)
    for batch_g, resolution_g in ((1000.0, 0.01), (30.0, 0.5)):
        found = candidates(
            solve(few, target, max_inks=3),
            few,
            target,
            Choices(batch_g=batch_g),
            resolution_g=resolution_g,
            tolerance_de00=1.0,
        )
        for each in found:
            assert sum(each.grams) == pytest.approx(batch_g)
            assert sum(each.percents) == pytest.approx(100)
            steps = np.array(each.grams) / resolution_g
            np.testing.assert_allclose(steps, np.rint(steps), atol=1e-6)
            c = np.zeros(6)
            for name, g in zip(each.inks, each.grams, strict=True):
                c[few.index(name)] = g / batch_g
            R = reflectance(few, c)
            np.testing.assert_allclose(each.R, R, atol=1e-12)
            for light, lab, off in zip(LIGHTS, each.lab, each.de00, strict=True):
                np.testing.assert_allclose(lab, Lab(R, light, 10), atol=1e-9)
                assert off == pytest.approx(float(de00(Lab(target.R, light, 10), lab)))
            assert each.inks[0] in ("White", "Clear") or not {"White", "Clear"} & set(each.inks)


def test_rounding_keeps_to_an_inks_limit(few: Palette) -> None:
    # A limit of 30 % of 999.99 g is 299.997 g: the balance may show 299.99.
    inks = list(few.inks)
    inks[SCARLET] = replace(inks[SCARLET], max_percent=30.0)
    limited = replace(few, inks=tuple(inks))
    target = Target.from_spectrum(reflectance(few, np.array([0.4, 0, 0, 0, 0.6, 0])), LIGHTS, 10)
    upper = limits(limited, 999.99)
    found = candidates(
        solve(limited, target, max_inks=3, upper=upper),
        limited,
        target,
        Choices(batch_g=999.99),
        resolution_g=0.01,
        tolerance_de00=1.0,
    )
    shares = [dict(zip(each.inks, each.percents, strict=True)).get("Scarlet", 0) for each in found]
    assert max(shares) > 29.99
    assert max(shares) <= 30


def test_formulas_that_round_to_the_same_grams_are_one(few: Palette) -> None:
    rows = [{WHITE: 0.9, LEMON: 0.1}, {WHITE: 0.8999, LEMON: 0.1, SKY: 0.0001}]
    target = Target.from_lab([60.0, 20.0, 30.0], "D65", 10)
    found = candidates(
        solved_with(rows, [0.2, 0.21], 6), few, target, Choices(batch_g=50.0),
        resolution_g=0.1, tolerance_de00=1.0,
    )  # fmt: skip
    assert [each.grams for each in found] == [(45.0, 5.0)]


def test_weights_that_someone_made_are_judged_alike(few: Palette) -> None:
    target = Target.from_spectrum(np.linspace(0.1, 0.5, 31), LIGHTS, 10)
    found = weighed(few, np.array([80.0, 0, 0, 10.0, 10.0, 0]), target)
    assert float(found.de00 @ target.share) == pytest.approx(found.F)
    assert found.inks[0] == "White" and set(found.inks) == {"White", "Lemon", "Scarlet"}


def test_odds_are_asked_of_the_rounded_grams(few: Palette) -> None:
    target = Target.from_lab([60.0, 20.0, 30.0], "D65", 10)
    asked: list[np.ndarray] = []

    def chances_of(grams: np.ndarray) -> np.ndarray:
        asked.extend(grams)
        return np.full(len(grams), 0.5)

    found = candidates(
        solve(few, target, max_inks=2),
        few,
        target,
        Choices(batch_g=100.0),
        resolution_g=0.1,
        tolerance_de00=1.0,
        chances_of=chances_of,
    )
    assert all(each.chance_in_tolerance == 0.5 for each in found)
    assert all(g.sum() == pytest.approx(100) for g in asked)


def test_limits_come_from_the_maker_the_shelf_and_the_mixer() -> None:
    inks = (
        Ink(name="White", role="white"),
        Ink(name="Red", role="colour", max_percent=30.0, stock_g=500.0),
        Ink(name="Blue", role="colour", max_percent=30.0, stock_g=200.0),
        Ink(name="Green", role="colour", stock_g=0.0),
        Ink(name="Pink", role="colour"),
    )
    ones = np.ones((5, 31))
    palette = Palette(inks=inks, K=ones, S=ones, crowding=np.zeros(5), base=0, gain=1, k2=0)
    upper = limits(palette, 1000.0, without=["Pink"])
    assert upper.tolist() == [1.0, 0.3, 0.2, 0.0, 0.0]
    assert limits(palette, 100.0).tolist() == [1.0, 0.3, 0.3, 0.0, 1.0]


# ---- in reach


def poor(palette: Palette, target: Target) -> Solved:
    """An answer of two inks: what many inks could do is not in it."""
    return solve(palette, target, max_inks=2, keep=10)


def test_any_mixture_of_its_own_inks_is_in_reach(palette: Palette) -> None:
    rng = np.random.default_rng(3)
    for _ in range(8):
        c = rng.dirichlet(np.full(len(palette.inks), 0.6))
        target = Target.from_spectrum(reflectance(palette, c), LIGHTS, 10)
        found = poor(palette, target)
        assert in_gamut(palette, target, found, np.ones(len(palette.inks)), 0.2)


@pytest.mark.parametrize("lab", [(60, 95, 60), (55, -95, 40), (35, 40, -95), (97, 0, 0), (3, 0, 0)])
def test_what_no_ink_reaches_is_not(palette: Palette, lab: tuple[float, ...]) -> None:
    target = Target.from_lab(lab, "D65", 10)
    assert not in_gamut(palette, target, poor(palette, target), np.ones(16), 1.0)


def test_half_the_tolerance_decides(few: Palette) -> None:
    target = Target.from_lab([92.0, 0.0, 40.0], "D65", 10)
    found = solve(few, target, max_inks=4)
    nearest = float(found.de00[:, 0].min())
    assert 0.05 < nearest < 20
    ones = np.ones(6)
    assert in_gamut(few, target, found, ones, 2.02 * nearest)
    assert not in_gamut(few, target, found, ones, 1.0 * nearest)


def test_an_ink_that_may_not_be_used_does_not_count(few: Palette) -> None:
    c = np.array([0.8, 0, 0, 0.1, 0.1, 0])
    target = Target.from_spectrum(reflectance(few, c), LIGHTS, 10)
    upper = np.array([1.0, 1, 1, 0, 1, 1])
    found = solve(few, target, max_inks=2, upper=upper)
    assert in_gamut(few, target, found, np.ones(6), 0.1)
    assert not in_gamut(few, target, found, upper, 0.1)


# ---- near enough?


def test_near_enough_is_told_under_the_first_light() -> None:
    target = np.linspace(0.1, 0.5, 31)
    sample = target * np.linspace(1.0, 1.06, 31)
    said = check(target, sample[None], lights=LIGHTS, observer=10, tolerance_de00=1.0)
    expected = [float(de00(Lab(target, light, 10), Lab(sample, light, 10))) for light in LIGHTS]
    np.testing.assert_allclose(said.de00, expected)
    assert said.lights == LIGHTS and len(said.words) == 3
    assert said.passed == (expected[0] <= 1.0)
    np.testing.assert_allclose(said.delta[1], delta_LCH(Lab(target, "A", 10), Lab(sample, "A", 10)))
    just = check(target, sample[None], lights=LIGHTS, observer=10, tolerance_de00=expected[0])
    assert just.passed
    assert not check(
        target, sample[None], lights=LIGHTS, observer=10, tolerance_de00=0.999 * expected[0]
    ).passed


def test_the_spread_of_the_readings() -> None:
    target = np.full(31, 0.4)
    readings = np.array([target, target * 1.02, target * 0.98])
    said = check(target, readings, lights=("D65",), observer=10, tolerance_de00=1.0)
    mean = Lab(readings.mean(axis=0), "D65", 10)
    far = [float(de00(Lab(r, "D65", 10), mean)) for r in readings]
    assert said.spread_de00 == pytest.approx(np.mean(far))
    alone = check(target, readings[:1], lights=("D65",), observer=10, tolerance_de00=1.0)
    assert alone.spread_de00 is None
    assert alone.de00[0] == 0 and alone.words == ("no visible difference",)


def test_two_lab_values() -> None:
    # Sharma, Wu & Dalal (2005), pair 1 of Table 1: 2.0425.
    said = check_lab([50, 2.6772, -79.7751], [50, 0, -82.7485], "D65", 2.0)
    assert said.de00[0] == pytest.approx(2.0425, abs=1e-4)
    assert not said.passed and said.spread_de00 is None


# ---- words


def shifted(target: Sequence[float], by: Sequence[float]) -> str:
    start = np.array(target, dtype=float)
    return direction(start, start + np.array(by, dtype=float))


@pytest.mark.parametrize(
    ("target", "by", "words"),
    [
        # One axis at a time; a grey moves along a* and b*.
        ((50, 0, 0), (2, 0, 0), "lighter"),
        ((50, 0, 0), (-2, 0, 0), "darker"),
        ((50, 0, 0), (0, 2, 0), "redder"),
        ((50, 0, 0), (0, -2, 0), "greener"),
        ((50, 0, 0), (0, 0, 2), "yellower"),
        ((50, 0, 0), (0, 0, -2), "bluer"),
        ((50, 2, -3), (0, 3, 0), "redder"),
        # A colour moves along its chroma and across it.
        ((50, 50, 0), (0, 5, 0), "cleaner"),
        ((50, 50, 0), (0, -5, 0), "duller"),
        ((50, 50, 0), (0, 0, 4), "yellower"),
        ((50, 50, 0), (0, 0, -4), "bluer"),
        ((70, 0, 60), (0, 5, 0), "redder"),
        ((70, 0, 60), (0, -5, 0), "greener"),
        ((50, -50, 0), (0, 0, 4), "yellower"),
        ((50, -50, 0), (0, 0, -4), "bluer"),
        ((40, 0, -45), (0, 4, 0), "redder"),
        ((40, 0, -45), (0, -4, 0), "greener"),
        ((40, 0, -45), (3, 0, 0), "lighter"),
        ((40, 0, -45), (0, 0, -6), "cleaner"),
    ],
)
def test_a_shift_along_one_axis(
    target: tuple[float, ...], by: tuple[float, ...], words: str
) -> None:
    said = shifted(target, by)
    assert said.replace("a touch ", "").replace("much ", "") == words


@given(
    L=st.floats(10, 90),
    C=st.floats(10, 90),
    hue=st.floats(0, 6.28),
    step=st.sampled_from([-0.12, -0.05, 0.05, 0.12]),
)
def test_a_turn_of_hue_is_neither_cleaner_nor_duller(
    L: float, C: float, hue: float, step: float
) -> None:
    # CIEDE2000's rotation term puts hue into its chroma part for blues; the words must not.
    at, to = (C * np.array([np.cos(h), np.sin(h)]) for h in (hue, hue + step))
    said = direction(np.array([L, *at]), np.array([L, *to]))
    assert "cleaner" not in said and "duller" not in said
    assert "lighter" not in said and "darker" not in said


def test_the_largest_part_is_named_first_and_small_ones_not_at_all() -> None:
    assert shifted((50, 50, 0), (4, -6, 0)) == "much lighter, duller"
    assert shifted((50, 50, 0), (4, -3, 0)) == "much lighter"
    assert shifted((50, 50, 0), (1, -15, 0)).startswith("much duller")
    assert shifted((50, 0, 0), (5, 0.3, 0)) == "much lighter"


def test_how_much() -> None:
    assert shifted((50, 0, 0), (0.3, 0, 0)) == "a touch lighter"
    assert shifted((50, 0, 0), (1.5, 0, 0)) == "lighter"
    assert shifted((50, 0, 0), (6.0, 0, 0)) == "much lighter"
    assert shifted((50, 0, 0), (0.05, 0, 0)) == "no visible difference"


def test_a_colour_that_lost_all_its_chroma_is_duller() -> None:
    said = direction(np.array([50.0, 30.0, 0.0]), np.array([50.0, 0.0, 0.0]))
    assert said == "much duller"


def test_a_smaller_shelf_reaches_less(palette: Palette) -> None:
    # Without its yellows the series cannot make a clean yellow.
    target = Target.from_lab([82.0, 2.0, 55.0], "D65", 10)
    reached = [
        in_gamut(p, target, poor(p, target), np.ones(len(p.inks)), 1.0)
        for p in (palette, subset(palette, [WHITE, BLACK, CLEAR, SCARLET, SKY]))
    ]
    assert reached == [True, False]


def test_the_study_of_the_first_formula_in_small() -> None:
    """Short form of `tests.studies.first_formula`, on a seed that it doesn't use."""
    found = first_formula.summary(first_formula.played(8490, targets=4))
    nearness, listed = found["by nearness alone"], found["as listed"]
    assert listed["sheer"] <= nearness["sheer"]
    assert listed["said"] >= nearness["said"] and listed["first"] >= nearness["first"]


@pytest.mark.parametrize("prefer", ["nearest", "chance", "steady"])
@pytest.mark.parametrize("every", [False, True])
def test_what_hides_and_is_fair_stands_before_what_is_mostly_clear(
    prefer: str, every: bool
) -> None:
    """In tolerance with a chance of 50 %, or 5 % below the best: however near clear comes."""
    clear = replace(formula(0.01, "ab", de00=(0.01, 0.1), chance=0.99), mostly_clear=True)
    for hides, first in (
        (formula(0.8, "cd", de00=(0.8, 1.5), chance=0.5), "cd"),
        (formula(0.8, "cd", de00=(0.8, 1.5), chance=0.49), "ab"),
        (formula(1.1, "cd", de00=(1.1, 1.5), chance=0.5), "ab"),
    ):
        assert named(preferred([clear, hides], prefer, 1.0, every=every))[0] == first
    dark = replace(clear, chance_in_tolerance=0.3)
    hides = formula(0.8, "cd", de00=(0.8, 1.5), chance=0.26)
    assert named(preferred([dark, hides], prefer, 1.0, every=every)) == ["cd", "ab"]


def test_a_formula_that_is_mostly_clear_is_listed_after_those_that_hide() -> None:
    clear = replace(formula(0.01, "ab", chance=0.99), mostly_clear=True)
    hiding = [formula(0.3 + 0.2 * k, "cde"[: 2 + k % 2], chance=0.9 - 0.05 * k) for k in range(4)]
    ranked = preferred([clear, *hiding], "nearest", 1.0)
    assert [each.mostly_clear for each in ranked] == [False] * 4 + [True]
    assert [each.mostly_clear for each in listed(ranked, 3)] == [False, False, True]
    assert not listed(ranked, 1)[0].mostly_clear


def test_words_never_contradict_the_numbers_beside_them() -> None:
    rng = np.random.default_rng(15)
    signs = ("darker", "lighter"), ("greener", "redder"), ("bluer", "yellower")
    for k in range(2000):
        target = np.array([rng.uniform(10, 95), *rng.normal(0, 30, 2)])
        sample = target + rng.normal(0, 3 if k % 2 else 25, 3)
        said, step = direction(target, sample), sample - target
        chroma = np.hypot(*sample[1:]) - np.hypot(*target[1:])
        for (less, more), change in zip(
            (*signs, ("duller", "cleaner")), (*step, chroma), strict=True
        ):
            assert (less if change > 0 else more) not in said, (target, sample, said)


def test_a_green_beside_a_pink_is_greener() -> None:
    said = direction(np.array([60.0, 40.0, 5.0]), np.array([60.0, -40.0, 20.0]))
    assert said.startswith("much greener")
