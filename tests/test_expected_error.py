"""How far a fit is expected to miss a colour, against misses drawn from a known rule."""

import numpy as np
import pytest
from small_bench import mixture, shop

from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.fitting.expected_error import expected_error
from matchkit.inks.palette import reflectance
from matchkit.simulator.simulate import KINDS, opaque_R, random_mixtures

PALETTE = shop()[2].palette
C = shop()[2].fractions
N = len(C)
CLEAR = C[:, [ink.role == "clear" for ink in PALETTE.inks]].sum(axis=1)
LAB = Lab(reflectance(PALETTE, C), "D65", 10)


def told(sd, c, *, seed=1, fitted=1.0, wrong=()):
    """Expected sd (L*) of mixtures `c` where each drawdown was missed by `sd` (n,) times noise."""
    rng = np.random.default_rng(seed)
    miss = np.asarray(sd)[:, None] * rng.standard_normal((N, 3))
    miss[list(wrong)] += 30.0
    error = np.linalg.norm(miss, axis=1)
    found = expected_error(
        PALETTE, C, LAB, miss, error, fitted * error, np.arange(N), np.ones(N, bool),
        np.zeros(N, bool),
    )  # fmt: skip
    lab = Lab(reflectance(PALETTE, c), "D65", 10)
    return np.sqrt(np.trace(found.Lab_covariance(PALETTE, c, lab), axis1=-2, axis2=-1) / 3)


def test_one_error_everywhere_is_found_everywhere():
    assert np.median(told(np.full(N, 0.4), C)) == pytest.approx(0.4, rel=0.2)


def test_what_is_missed_in_clear_alone_is_expected_in_clear_alone():
    bench = shop()[0]
    tints = mixture(bench, White=0.9, Scarlet=0.06, Lemon=0.04)
    clear = mixture(bench, Clear=0.9, Scarlet=0.06, Lemon=0.04)
    expected = told(np.where(CLEAR > 0.5, 2.0, 0.1), np.stack([tints, clear]))
    assert expected[0] < 0.3 and 1.0 < expected[1] < 5.0


def test_an_ink_that_is_missed_by_far_spoils_its_own_mixtures_only():
    bench = shop()[0]
    green = C[:, bench.names.index("Green")] > 0
    own = mixture(bench, White=0.8, Green=0.1, Scarlet=0.1)
    other = mixture(bench, White=0.8, Lemon=0.1, Scarlet=0.1)
    expected = told(np.where(green, 15.0, 0.2), np.stack([own, other]))
    assert expected[0] > 3 and expected[1] < 0.6


def test_one_wrong_reading_widens_nothing():
    k = int(np.argmax(CLEAR < 0.01))
    right, wrong = told(np.full(N, 0.3), C), told(np.full(N, 0.3), C, wrong=[k])
    assert np.median(wrong) < 1.2 * np.median(right)


def test_drawdowns_that_decide_their_own_prediction_count_between_seen_and_unseen():
    whole = np.median(told(np.full(N, 1.0), C))
    for fitted, share in ((0.64, 0.64), (0.1, 0.5)):  # short ladders fit anything
        part = np.median(told(np.full(N, 1.0), C, fitted=fitted))
        assert part == pytest.approx(np.sqrt(share) * whole, rel=0.1)


def test_what_is_like_nothing_that_was_drawn_down_is_less_sure():
    found, bench = shop()[2], shop()[0]
    few = CLEAR < 0.01
    miss = 0.3 * np.random.default_rng(2).standard_normal((N, 3))
    size = np.linalg.norm(miss, axis=1)
    error = expected_error(PALETTE, C, LAB, miss, size, size, np.arange(N), few, np.zeros(N, bool))
    c = mixture(bench, Clear=0.9, Scarlet=0.06, Lemon=0.04)
    lab = Lab(reflectance(PALETTE, c), "D65", 10)
    assert np.trace(error.Lab_covariance(found.palette, c, lab)) > 4 * 3 * 0.3**2


def test_fits_tell_how_far_mixtures_are_missed_that_nobody_drew_down():
    """Of simulated mixtures half lie within the median of what the errors told are, and so on."""
    bench, found = shop()[0], shop()[2]
    rng = np.random.default_rng(3)
    c = np.concatenate([random_mixtures(bench, rng, kind, 30) for kind in KINDS])
    lab = Lab(reflectance(PALETTE, c), "D65", 10)
    miss = lab - Lab(opaque_R(bench, c), "D65", 10)
    V = found.error.Lab_covariance(PALETTE, c, lab)
    far = (miss * np.linalg.solve(V, miss[..., None])[..., 0]).sum(axis=-1)
    assert (far < 7.81).mean() > 0.9  # chi square, 3 degrees of freedom, 95 % [a table]
    assert np.median(de00(lab, lab - miss)) > 0.2 * np.median(
        np.sqrt(np.trace(V, axis1=1, axis2=2))
    )
