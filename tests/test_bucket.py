"""Additions to a bucket, against general solvers and simulated draws."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import approx_fprime, minimize
from small_bench import mixture, shop, target_of

from matchkit.colorimetry.tristimulus import Lab
from matchkit.correcting import amounts
from matchkit.correcting.amounts import balanced, least, nearest
from matchkit.correcting.container import (
    Bucket,
    bucket_of,
    lab_covariance_after,
    reflectance_after,
    seen_after,
    slopes_after,
    under_first_light,
)
from matchkit.inks.palette import reflectance
from matchkit.matching.probability import Spread

AIM = 0.3


@pytest.fixture(scope="module")
def bench():
    return shop()[0]


@pytest.fixture(scope="module")
def palette():
    return shop()[2].palette


@pytest.fixture(scope="module")
def bucket(bench, palette):
    """A teal that was made of lots a little off, with something the model can't say."""
    n = len(palette.inks)
    return Bucket(
        palette=palette,
        grams=300 * mixture(bench, White=0.5, Sky_blue=0.3, Green=0.2),
        strengths=np.linspace(0.95, 1.05, n),
        residual_f=np.full(palette.K.shape[1], 0.002),
    )


def test_a_bucket_of_the_palettes_own_lots_is_a_plain_mixture(bench, palette):
    grams = 300 * mixture(bench, White=0.5, Green=0.3, Lemon=0.2)
    added = np.arange(len(grams), dtype=float)
    whole = (grams + added) / (grams + added).sum()
    np.testing.assert_allclose(
        reflectance_after(bucket_of(palette, grams), added), reflectance(palette, whole), atol=1e-12
    )


@pytest.mark.parametrize("own", [0.0, 1.0])
def test_slopes_are_those_of_finite_differences(bench, bucket, own):
    # scipy.optimize.approx_fprime, through the covariance that one pour of 1 g makes.
    target = target_of(bench, mixture(bench, White=0.6, Green=0.4))
    a = np.array([30.0, 2.0, 5.0, 12.0, 0.5, 3.0, 1.0, 8.0])
    each = own * np.array([[0.01], [0.2], [-0.4]]) * np.linspace(-1, 1, len(a))
    bucket = replace(bucket, palette=replace(bucket.palette, own=each))
    nothing = Spread(
        log_strength=np.zeros(len(a)),
        pour_g=1.0,
        measuring_Lab=0.0,
        fit_Lab=lambda *_: np.zeros((3, 3)),
    )

    def lab(x):
        return Lab(reflectance_after(bucket, x), "D65", 10)

    J = np.array([approx_fprime(a, lambda x, k=k: lab(x)[k], 1e-4) for k in range(3)])

    def poured_on(g):
        more = Bucket(
            palette=bucket.palette,
            grams=bucket.grams * (1 + g[0] / bucket.grams.sum()),
            strengths=bucket.strengths,
            residual_f=np.zeros_like(bucket.residual_f),
        )
        return Lab(reflectance_after(more, a), "D65", 10)

    own = np.array([approx_fprime([0.0], lambda g, k=k: poured_on(g)[k], 1e-3) for k in range(3)])
    expected = J @ J.T + own @ own.T
    np.testing.assert_allclose(
        lab_covariance_after(bucket, target, a, nothing), expected, rtol=0.02, atol=1e-6
    )


def test_covariance_is_that_of_20000_draws(bench, bucket):
    target = target_of(bench, mixture(bench, White=0.6, Green=0.4))
    a = np.array([40.0, 0.0, 0.0, 12.0, 0.0, 0.0, 0.0, 9.0])
    n, rng = len(a), np.random.default_rng(5)
    spread = Spread(
        log_strength=np.full(n, 0.03),
        pour_g=0.05,
        measuring_Lab=0.05,
        fit_Lab=lambda *_: 0.01 * np.eye(3),
    )
    held = 1e-4 * np.eye(n)
    draws = 20_000
    fresh = a * np.exp(0.03 * rng.standard_normal((draws, n)))
    slipped = fresh * (1 + 0.05 * rng.standard_normal((draws, n)) / np.where(a > 0, a, 1))
    old = bucket.grams * bucket.strengths * np.exp(0.01 * rng.standard_normal((draws, n)))
    old *= 1 + 0.05 * rng.standard_normal((draws, 1)) / bucket.grams.sum()
    # Strength is told to white as to every ink; crowding goes by mass, which these draws
    # change by a few parts in ten thousand only.
    palette = bucket.palette
    room = 1 + palette.crowding * (a + bucket.grams) / (a + bucket.grams).sum()
    K, S = (slipped + old) @ palette.K, ((slipped + old) / room) @ palette.S
    from matchkit.inks.palette import deepen
    from matchkit.optics.kubelka_munk import R_inf, with_surface

    q, _ = deepen(K / S, palette.deep)
    R = with_surface(R_inf(q), base=palette.base, gain=palette.gain, k2=palette.k2)
    seen = np.cov(Lab(R, "D65", 10).T) + (0.05**2 + 0.01) * np.eye(3)
    told = lab_covariance_after(bucket, target, a, spread, held=held)
    np.testing.assert_allclose(told, seen, rtol=0.06, atol=0.004)


def test_nearest_is_what_a_general_solver_finds(bench, bucket):
    target = under_first_light(target_of(bench, mixture(bench, White=0.3, Magenta=0.4, Lemon=0.3)))
    subsets = np.array(list(combinations(range(8), 2)))
    a, d = nearest(bucket, target, subsets, balanced(bucket, subsets), steps=60)
    for k in (5, 9, 20):

        def far(x, k=k):
            grams = np.zeros(8)
            grams[subsets[k]] = np.abs(x)
            return seen_after(bucket, target, grams)[2][0]

        starts = (a[k], balanced(bucket, subsets[k : k + 1])[0])
        other = min(
            minimize(far, s, method="Nelder-Mead", options={"maxiter": 200}).fun for s in starts
        )
        assert d[k, 0] <= other + 0.02


def test_a_held_total_is_held(bench, bucket):
    target = target_of(bench, mixture(bench, White=0.6, Green=0.4))
    subsets = np.array([[0, 3, 7]])
    a, d = nearest(bucket, target, subsets, np.ones((1, 3)), total_g=120.0, steps=60)
    assert a.sum() == pytest.approx(120.0)

    def off(x):
        grams = np.zeros(8)
        grams[[0, 3, 7]] = x
        return float((target.share * seen_after(bucket, target, grams)[2] ** 2).sum())

    other = minimize(
        off, np.full(3, 40.0), method="SLSQP", bounds=[(0, None)] * 3,
        constraints={"type": "eq", "fun": lambda x: (x.sum() - 120) / 100},
    )  # fmt: skip
    assert (target.share * d[0] ** 2).sum() == pytest.approx(other.fun, rel=1e-3)


@pytest.mark.parametrize("at_least_g", [0.0, 150.0, 900.0])
def test_the_least_addition_is_what_a_general_solver_finds(bench, bucket, at_least_g):
    target = target_of(bench, mixture(bench, White=0.7, Sky_blue=0.12, Green=0.16, Lemon=0.02))
    subsets = np.array([[0, 3, 7], [0, 3, 4], [0, 2, 3], [0, 3, 5]])
    start, d = nearest(bucket, under_first_light(target), subsets, balanced(bucket, subsets))
    near = d[:, 0] <= AIM
    assert near.any()
    a, d = least(bucket, target, subsets[near], start[near], aim=AIM, at_least_g=at_least_g)
    for k, subset in enumerate(subsets[near]):

        def far(x, subset=subset):
            grams = np.zeros(8)
            grams[subset] = x
            return seen_after(bucket, target, grams)[2][0]

        other = minimize(
            lambda x: x.sum() / 300, a[k] * 1.05, method="SLSQP", bounds=[(0, None)] * 3,
            constraints=[
                {"type": "ineq", "fun": lambda x, far=far: AIM - far(x)},
                {"type": "ineq", "fun": lambda x: (x.sum() - at_least_g) / 100},
            ],
        )  # fmt: skip
        if other.success and far(other.x) <= AIM + 1e-4:
            assert a[k].sum() <= other.x.sum() * 1.01 + 0.05
        assert d[k, 0] <= AIM + 1e-6 or a[k].sum() == pytest.approx(at_least_g)


def test_the_least_is_found_in_few_steps(bench, bucket, monkeypatch):
    """Thirty jobs had taken four times as long: every set of inks was tried at ten totals."""
    steps = []

    def counted(*args):
        steps.append(args)
        return slopes_after(*args)

    monkeypatch.setattr(amounts.container, "slopes_after", counted)
    target = target_of(bench, mixture(bench, White=0.7, Sky_blue=0.12, Green=0.16, Lemon=0.02))
    subsets = np.array(list(combinations(range(8), 3)))
    first = under_first_light(target)
    start, d = nearest(bucket, first, subsets, balanced(bucket, subsets))
    near = d[:, 0] <= AIM
    least(bucket, target, subsets[near], start[near], aim=AIM)
    assert near.sum() > 1 and len(steps) <= 50
    assert sum(len(args[2]) for args in steps[25:]) < 0.7 * 25 * near.sum()
