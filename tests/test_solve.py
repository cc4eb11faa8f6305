"""Every formula there could be, against scipy's optimisers and against mixtures that are known."""

import time
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from bench_inks import columns, textbook
from scipy.optimize import differential_evolution, minimize

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab, XYZ_to_Lab, de00
from matchkit.files.fitted import fit_content, read_fits
from matchkit.files.shop import read_shop
from matchkit.files.spectrum import read_spectra
from matchkit.inks.palette import Palette, reflectance, reflectance_jacobian, subset
from matchkit.matching import descent
from matchkit.matching.match import match
from matchkit.matching.rank import Choices
from matchkit.matching.solve import count_subsets, minimise, solve
from matchkit.simulator.pigments import Bench, make_bench
from matchkit.simulator.simulate import KINDS, opaque_R, random_mixtures

LIGHTS = ("D65", "A", "FL11")
NEVER_WORSE_BY = 0.005  # dE00, against either of scipy's optimisers


class Aim:
    """F of mixtures by the package's plain colorimetry, apart from the solver's own arithmetic."""

    def __init__(self, palette: Palette, target: Target) -> None:
        self.palette, self.target = palette, target

    def __call__(self, c: np.ndarray, eps: float = 0.0) -> np.ndarray:
        XYZ = reflectance(self.palette, c) @ self.target.W
        Lab = XYZ_to_Lab(XYZ.reshape(*XYZ.shape[:-1], -1, 3), self.target.whites)
        return np.sqrt(de00(self.target.lab, Lab) ** 2 + eps**2) @ self.target.share


def slsqp(aim: Aim, inks: tuple[int, ...], upper: np.ndarray, starts: int, seed: int) -> float:
    """Best F of one subset from several starts by sequential least squares."""
    m, n = len(inks), len(aim.palette.inks)
    rng = np.random.default_rng(seed)
    h = 1e-7 * np.vstack([np.zeros(m), np.eye(m)])

    def value_and_slope(x: np.ndarray, eps: float) -> tuple[float, np.ndarray]:
        c = np.zeros((m + 1, n))
        c[:, inks] = np.maximum(x + h, 0)
        F = aim(c / c.sum(axis=1, keepdims=True), eps)
        return float(F[0]), (F[1:] - F[0]) / 1e-7

    best = np.inf
    for _ in range(starts):
        x = rng.dirichlet(np.full(m, 0.5))
        x = np.minimum(x, upper[list(inks)])
        for eps in (0.3, 0.01):
            found = minimize(
                value_and_slope,
                x,
                args=(eps,),
                jac=True,
                method="SLSQP",
                bounds=[(0, upper[i]) for i in inks],
                constraints={
                    "type": "eq",
                    "fun": lambda x: x.sum() - 1,
                    "jac": lambda x: np.ones(m),
                },
                options={"maxiter": 60, "ftol": 1e-9},
            )
            x = np.clip(found.x, 0, upper[list(inks)])
        if abs(x.sum() - 1) < 1e-6:
            c = np.zeros(n)
            c[list(inks)] = x / x.sum()
            best = min(best, float(aim(c)))
    return best


def evolved(aim: Aim, inks: tuple[int, ...], seed: int, generations: int = 45) -> float:
    """Best F of one subset by differential evolution in log amounts."""
    n = len(aim.palette.inks)

    def F(x: np.ndarray) -> np.ndarray:  # (m, population)
        c = np.zeros((x.shape[1], n))
        c[:, inks] = np.exp(12 * (x.T - 1))
        return aim(c / c.sum(axis=1, keepdims=True))

    found = differential_evolution(
        F,
        [(0, 1)] * len(inks),
        maxiter=generations,
        popsize=9,
        tol=1e-8,
        seed=seed,
        polish=False,
        vectorized=True,
        updating="deferred",
    )
    return float(found.fun)


def subsets_of(n: int, largest: int, upper: np.ndarray) -> list[tuple[int, ...]]:
    return [
        inks
        for m in range(2, largest + 1)
        for inks in combinations(range(n), m)
        if upper[list(inks)].sum() >= 1
    ]


def single_inks(aim: Aim, upper: np.ndarray) -> float:
    alone = np.eye(len(upper))[upper >= 1]
    return float(aim(alone).min()) if len(alone) else np.inf


def some_targets(bench: Bench, lights: tuple[str, ...]) -> list[Target]:
    """Two colours near the few inks, two from a bench with other inks, one far outside."""
    few_inks = replace(bench, inks=bench.inks[:6])
    others = make_bench(911, n_colours=6)
    spectra = [
        opaque_R(few_inks, random_mixtures(few_inks, np.random.default_rng(3), "half", 1)[0]),
        opaque_R(few_inks, random_mixtures(few_inks, np.random.default_rng(4), "clear", 1)[0]),
        opaque_R(others, random_mixtures(others, np.random.default_rng(5), "pastel", 1)[0]),
        opaque_R(others, random_mixtures(others, np.random.default_rng(6), "deep", 1)[0]),
        np.linspace(0.05, 0.9, 31) ** 3,
    ]
    return [Target.from_spectrum(R, lights, 10) for R in spectra]


# ---- the best there is


def test_slopes_of_many_subsets_are_those_of_each_mixture() -> None:
    # Inks with something of their own, against the palette's slope of one mixture at a time.
    palette = textbook(np.ones((4, 5)), np.ones((4, 5)), ["white", "clear", "colour", "black"])
    own = np.array([[4, 2, 10, 6], [0, 100, -200, 150], [300, 0, 200, -200]]) / 1000
    K = np.exp(np.random.default_rng(3).normal(-2, 1, (2, 4, 31)))
    palette = replace(palette, K=K[0], S=K[1], own=own, deep=0.7)
    target = Target.from_spectrum(np.full(31, 0.4), LIGHTS, 10)
    subsets, c = np.array([[0, 1, 2], [1, 2, 3]]), np.array([[0.4, 0.3, 0.3], [0.5, 0.3, 0.2]])
    batch = descent._batch(palette, target, subsets, np.ones(4))
    R, slope = descent._optics(batch, c.T)
    for k, (inks, row) in enumerate(zip(subsets, descent.spread(c, subsets, 4), strict=True)):
        told = reflectance_jacobian(palette, row)
        np.testing.assert_allclose(R[:, k], told[0], rtol=1e-12)
        np.testing.assert_allclose(slope[:, :, k], told[1][inks].T, rtol=1e-9)


@pytest.mark.parametrize("lights", [LIGHTS, LIGHTS[:1]], ids=["three lights", "one light"])
def test_never_worse_than_sequential_least_squares(
    bench: Bench, few: Palette, lights: tuple[str, ...]
) -> None:
    upper = np.ones(6)
    for target in some_targets(bench, lights)[::4]:
        aim = Aim(few, target)
        found = solve(few, target, max_inks=3)
        theirs = min(slsqp(aim, inks, upper, 2, 1) for inks in subsets_of(6, 3, upper))
        assert found.F[0] <= min(theirs, single_inks(aim, upper)) + NEVER_WORSE_BY


@pytest.mark.parametrize("lights", [LIGHTS, LIGHTS[:1]], ids=["three lights", "one light"])
def test_never_worse_than_differential_evolution(
    bench: Bench, few: Palette, lights: tuple[str, ...]
) -> None:
    five = subset(few, [0, 1, 3, 4, 5])
    for target in some_targets(bench, lights)[3 - len(lights) // 2 : 4]:
        aim = Aim(five, target)
        found = solve(five, target, max_inks=3)
        theirs = min(evolved(aim, inks, 1) for inks in subsets_of(5, 3, np.ones(5)))
        assert found.F[0] <= min(theirs, single_inks(aim, np.ones(5))) + NEVER_WORSE_BY


def test_limits_cost_no_more_than_they_must(bench: Bench, few: Palette) -> None:
    upper = np.array([0.55, 1.0, 0.4, 0.12, 0.3, 0.05])
    bound = 0
    for target in some_targets(bench, LIGHTS):
        aim = Aim(few, target)
        found = solve(few, target, max_inks=3, upper=upper)
        assert (found.fractions <= upper + 1e-9).all()
        np.testing.assert_allclose(found.fractions.sum(axis=1), 1, atol=1e-12)
        theirs = min(slsqp(aim, inks, upper, 2, 1) for inks in subsets_of(6, 3, upper))
        assert found.F[0] <= min(theirs, single_inks(aim, upper)) + NEVER_WORSE_BY
        bound += bool((found.fractions[0] >= upper * (1 - 1e-6)).any())
    assert bound >= 3  # or the limits were no test


def test_an_optimum_on_its_limits_is_that_of_slsqp(palette: Palette) -> None:
    # White and blue both stand at their limits; the rest is known to the last digit.
    keep = [0, 1, 5]
    small, upper = subset(palette, keep), np.array([0.5, 1.0, 0.2])
    wanted = reflectance(small, np.array([0.7, 0.01, 0.29]))
    target = Target.from_spectrum(wanted, LIGHTS, 10)
    found = solve(small, target, max_inks=3, upper=upper)
    np.testing.assert_allclose(found.fractions[0], [0.5, 0.3, 0.2], atol=1e-9)


def test_only_lab_is_known(few: Palette) -> None:
    for lab in ([62.0, 18.0, 30.0], [40.0, 5.0, -12.0]):
        target = Target.from_lab(lab, "D50", 2)
        aim = Aim(few, target)
        found = solve(few, target, max_inks=3)
        theirs = min(slsqp(aim, inks, np.ones(6), 1, 1) for inks in subsets_of(6, 3, np.ones(6)))
        assert found.F[0] <= theirs + NEVER_WORSE_BY
        assert found.de00.shape[1] == 1
        np.testing.assert_allclose(found.de00[:, 0], found.F)


# Where earlier rounds had lost the way: invented inks, colours out of reach.
def test_an_ink_that_leaves_holds_up_nobody(palette: Palette) -> None:
    # The start of this subset drives one ink out before the others have settled.
    rng = np.random.default_rng(8)
    n = len(palette.inks)
    for _ in range(4):
        R = np.clip(0.05 + 0.75 / (1 + np.exp(-(np.arange(31) - rng.uniform(12, 22)) / 1.5)), 0, 1)
        target = Target.from_spectrum(R, LIGHTS, 10)
        found = solve(palette, target)
        inks = np.flatnonzero(found.fractions[0])
        starts = np.zeros((24, n))
        for row in range(24):
            more = rng.choice(
                np.setdiff1d(np.arange(n), inks), 4 - min(len(inks), 3), replace=False
            )
            held = np.concatenate([inks[:3], more])[:4]
            starts[row, held] = rng.dirichlet(np.ones(len(held)))
        F, _ = minimise(palette, target, starts)
        assert found.F[0] <= F.min() + NEVER_WORSE_BY


# ---- mixtures that are known


def test_watercolours_are_unmixed_to_eight_digits() -> None:
    # Curtis et al. (1997), Figure 5: K and S in three channels, each spread over a third of the
    # grid; plain theory, no surface.  All three-pigment mixtures of four of them.
    table = columns("curtis1997.csv")
    K, S = (table[name].reshape(12, 3)[[1, 4, 8, 9]] for name in ("K", "S"))
    thirds = np.repeat([2, 1, 0], [10, 10, 11])  # blue first: short wavelengths
    palette = textbook(K[:, thirds], S[:, thirds])
    for inks in combinations(range(4), 3):
        c = np.zeros(4)
        c[list(inks)] = 0.55, 0.30, 0.15
        target = Target.from_spectrum(reflectance(palette, c), ("D65",), 10)
        found = solve(palette, target, max_inks=3)
        np.testing.assert_allclose(found.fractions[0], c, atol=1e-8)
        assert found.de00[0, 0] < 1e-6


def test_mixtures_of_its_own_inks_are_found(bench: Bench, palette: Palette) -> None:
    # Up to four inks of every kind, other lights off: the project's bar is 0.05.
    keep = [0, 1, 2, 3, 4, 5]
    shelf, small = replace(bench, inks=tuple(bench.inks[i] for i in keep)), subset(palette, keep)
    worst = []
    for kind in KINDS:
        for c in random_mixtures(shelf, np.random.default_rng(12), kind, 3):
            target = Target.from_spectrum(reflectance(small, c), LIGHTS[:1], 10)
            worst.append(solve(small, target, keep=4).de00[0, 0])
    assert len(worst) == 12
    assert max(worst) < 0.05


def test_mixtures_of_sixteen_inks_are_found(bench: Bench, palette: Palette) -> None:
    for kind in KINDS:
        for c in random_mixtures(bench, np.random.default_rng(13), kind, 1):
            target = Target.from_spectrum(reflectance(palette, c), LIGHTS, 10)
            assert solve(palette, target, keep=4).F[0] < 0.05


def test_todays_lots_are_reckoned_with(palette: Palette) -> None:
    strengths = np.linspace(0.85, 1.15, 6)
    lots = replace(subset(palette, [0, 1, 2, 3, 4, 5]), strengths=strengths)
    c = np.array([0.7, 0.02, 0.0, 0.2, 0.08, 0.0])
    found = solve(lots, Target.from_spectrum(reflectance(lots, c), LIGHTS, 10))
    assert found.F[0] < 0.005
    np.testing.assert_allclose(found.fractions[0], c, atol=2e-3)


# ---- what is asked and what comes back


@pytest.mark.parametrize(
    ("n", "m", "count"), [(1, 4, 1), (5, 3, 25), (16, 4, 2516), (16, 1, 16), (3, 4, 7)]
)
def test_how_many_subsets_there_are(n: int, m: int, count: int) -> None:
    assert (
        count_subsets(n, m)
        == count
        == sum(len(list(combinations(range(n), k))) for k in range(1, m + 1))
    )


def test_every_subset_is_looked_at(few: Palette) -> None:
    told: list[tuple[int, int]] = []
    target = Target.from_lab([50.0, 0.0, 0.0], "D65", 10)
    solve(few, target, max_inks=3, progress=lambda done, of: told.append((done, of)))
    assert told[-1] == (41, 41)
    assert [done for done, _ in told] == sorted(done for done, _ in told)


def test_the_answer_is_sorted_and_no_subset_comes_twice(bench: Bench, palette: Palette) -> None:
    """Of sixteen inks, in half a second of processor time."""
    took = []
    for target in some_targets(bench, LIGHTS):
        start = time.process_time()
        found = solve(palette, target)
        took.append(time.process_time() - start)
        assert (np.diff(found.F) >= 0).all()
        assert len(np.unique(found.fractions > 0, axis=0)) == len(found.F) <= 60
        assert ((found.fractions > 0).sum(axis=1) <= 4).all()
        aim = Aim(palette, target)
        np.testing.assert_allclose(aim(found.fractions), found.F, atol=1e-9)
        np.testing.assert_allclose(found.de00 @ target.share, found.F, atol=1e-12)
    assert np.median(took) < 0.75


def test_an_ink_that_does_nothing_is_left_out(few: Palette) -> None:
    # The colour is a two-ink tint exactly: three-ink subsets around it fall back on it.
    c = np.array([0.9, 0, 0, 0, 0.1, 0])
    found = solve(few, Target.from_spectrum(reflectance(few, c), LIGHTS, 10), max_inks=3)
    assert (found.fractions[0] > 0).tolist() == (c > 0).tolist()
    np.testing.assert_allclose(found.fractions[0], c, atol=1e-6)


def test_fewer_inks_when_fewer_are_asked_for(few: Palette) -> None:
    target = Target.from_lab([50.0, 20.0, 20.0], "D65", 10)
    best = [solve(few, target, max_inks=m).F[0] for m in (1, 2, 3, 4)]
    assert best == sorted(best, reverse=True)
    assert ((solve(few, target, max_inks=2).fractions > 0).sum(axis=1) <= 2).all()
    assert solve(few, target, max_inks=9).F[0] <= best[-1] + 1e-6


def test_inks_that_may_not_be_used_are_not(few: Palette) -> None:
    upper = np.array([1.0, 0.0, 1.0, 1.0, 0.0, 1.0])
    found = solve(few, Target.from_lab([50.0, 20.0, 20.0], "D65", 10), max_inks=3, upper=upper)
    assert (found.fractions[:, [1, 4]] == 0).all()


@pytest.mark.parametrize("upper", [0.0, 0.3])
def test_limits_that_no_subset_can_fill_leave_an_empty_answer(few: Palette, upper: float) -> None:
    target = Target.from_spectrum(np.full(31, 0.4), LIGHTS, 10)
    found = solve(few, target, max_inks=3, upper=np.full(6, upper))
    assert found.fractions.shape == (0, 6) and found.de00.shape == (0, 3)
    assert found.F.size == 0


def test_one_ink_is_a_palette_too(few: Palette) -> None:
    found = solve(subset(few, [3]), Target.from_lab([80.0, 0.0, 80.0], "D65", 10))
    assert found.fractions.tolist() == [[1.0]]


def test_other_lights_count_as_told() -> None:
    R = np.linspace(0.1, 0.6, 31)
    assert Target.from_spectrum(R, LIGHTS, 10).share.tolist() == [1.0, 0.1, 0.1]
    assert Target.from_spectrum(R, LIGHTS, 10, other_weight=1.0).share.tolist() == [1.0, 0.5, 0.5]
    assert Target.from_spectrum(R, LIGHTS[:1], 10).share.tolist() == [1.0]
    target = Target.from_spectrum(R, LIGHTS, 2)
    np.testing.assert_allclose(target.lab, [Lab(R, light, 2) for light in LIGHTS])
    assert Target.from_lab([50, 1, 2], "D50", 2).R is None


def test_other_lights_are_traded_for_the_first(bench: Bench, palette: Palette) -> None:
    # With the others off the first is no worse, and the others no better.
    target = [
        Target.from_spectrum(some_targets(bench, LIGHTS)[2].R, LIGHTS, 10, other_weight=w)
        for w in (0, 2)
    ]
    off, on = (solve(palette, t).de00[0] for t in target)
    assert off[0] <= on[0] + 1e-6
    assert on[1:].mean() <= off[1:].mean() + 1e-6


def test_descent_keeps_to_the_inks_it_was_given(few: Palette, rng: np.random.Generator) -> None:
    starts = np.array([[0.5, 0, 0, 0.5, 0, 0], [0.2, 0.2, 0, 0.2, 0.2, 0.2], [0, 0, 0, 0, 1.0, 0]])
    target = Target.from_lab([60.0, 20.0, 40.0], "D65", 10)
    F, c = minimise(few, target, starts)
    assert ((c > 0) <= (starts > 0)).all()
    np.testing.assert_allclose(Aim(few, target)(c), F, atol=1e-9)
    assert (Aim(few, target)(starts) >= F - 1e-9).all()


def test_round_off_does_not_choose_among_formulas_that_all_meet_the_target(fitted_demo):
    """Under one light many do; processors differ in the last digit, lists must not."""
    shop = read_shop(fitted_demo)
    fits = read_fits(fitted_demo, shop, fit_content(fitted_demo))[0]["series"]
    rng = np.random.default_rng(5)
    for spectrum in read_spectra(fitted_demo / "targets.csv")[0]:
        if spectrum.name != "Dusty rose":
            continue
        target = Target.from_spectrum(spectrum.R, shop.lights, shop.observer, other_weight=0.0)
        lists = set()
        for _ in range(2):
            shaken = {
                series: replace(
                    found,
                    palette=replace(
                        found.palette,
                        K=found.palette.K
                        * (1 + 1e-14 * rng.standard_normal(found.palette.K.shape)),
                    ),
                )
                for series, found in fits.items()
            }
            lists.add(tuple(f.inks for f in match(shop, shaken, target, Choices(top=8)).formulas))
        assert len(lists) == 1, spectrum.name
