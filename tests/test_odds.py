"""The chance of coming out within tolerance, against simulation and known distributions."""

from dataclasses import replace

import colour
import numpy as np
import pytest
from scipy.optimize import approx_fprime
from scipy.stats import ncx2
from small_bench import mixture, shop, target_of

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import XYZ_to_Lab
from matchkit.inks.palette import reflectance
from matchkit.matching.probability import (
    Spread,
    chance,
    chance_text,
    chance_within,
    covariance_after,
    lab_covariance,
    most_sensitive,
    spread_of,
)

DRAWS = 20_000
MIXES = {
    "pastel": {"White": 0.93, "Scarlet": 0.04, "Lemon": 0.03},
    "half": {"White": 0.5, "Sky_blue": 0.3, "Black": 0.02, "Magenta": 0.18},
    "deep": {"Magenta": 0.6, "Sky_blue": 0.4},
    "clear": {"Clear": 0.9, "Green": 0.08, "Lemon": 0.02},
}


def delta_E(lab, standard):
    """CIEDE2000 of colour-science, which is not ours."""
    return colour.delta_E(np.broadcast_to(standard, np.shape(lab)), lab, method="CIE 2000")


def lab_of(R, target):
    return XYZ_to_Lab(R @ target.W[:, :3], target.whites[0])


@pytest.fixture(scope="module")
def palette():
    return shop()[2].palette


@pytest.mark.parametrize("kind", MIXES)
@pytest.mark.parametrize("lots", [0.03, 0.08])
def test_propagation_is_what_simulated_batches_do(palette, kind, lots):
    """Lots, pours, readings and the fit's error drawn 20,000 times through the palette."""
    bench = shop()[0]
    c = mixture(bench, **MIXES[kind])
    target = Target.from_spectrum(reflectance(palette, c), ("D65",), 10)
    A = np.array([[0.2, 0.05, 0.0], [0.0, 0.15, -0.1], [0.0, 0.0, 0.2]])
    spread = Spread(log_strength=np.full(len(c), lots), pour_g=0.1, fit_Lab=lambda *_: A @ A.T)
    rng = np.random.default_rng(4)
    n = len(c)
    grams = 500 * c + np.where(c > 0, spread.pour_g * rng.standard_normal((DRAWS, n)), 0)
    strengths = np.exp(lots * rng.standard_normal((DRAWS, n)))
    R = reflectance(palette, grams / grams.sum(axis=1, keepdims=True), strengths)
    lab = lab_of(R, target) + rng.standard_normal((DRAWS, 3)) @ A.T
    lab += spread.measuring_Lab * rng.standard_normal((DRAWS, 3))
    observed = (delta_E(lab, target.lab[0]) <= 1.0).mean()
    assert chance(palette, 500 * c, target, spread, 1.0) == pytest.approx(observed, abs=0.02)
    _, covariance = lab_covariance(palette, 500 * c, target, spread)
    assert np.allclose(covariance, np.cov(lab.T), atol=0.08 * np.trace(covariance))


@pytest.mark.parametrize("added", [0.0, 12.0])
def test_what_a_reading_leaves_open_is_what_a_regression_leaves(palette, added):
    """Batches drawn through the palette and read: the colour after regressed on the reading."""
    bench = shop()[0]
    c = mixture(bench, **MIXES["half"])
    target = Target.from_spectrum(reflectance(palette, c), ("D65",), 10)
    fit = np.diag([0.02, 0.03, 0.01])
    spread = Spread(log_strength=np.full(len(c), 0.04), pour_g=0.08, fit_Lab=lambda *_: fit)
    rng = np.random.default_rng(6)
    addition = np.zeros(len(c))
    addition[bench.names.index("Magenta")] = added

    def poured(g):
        return g + np.where(g > 0, spread.pour_g * rng.standard_normal((DRAWS, len(c))), 0)

    def noise(covariance):
        return rng.standard_normal((DRAWS, 3)) @ np.linalg.cholesky(covariance).T

    def seen(g):
        return lab_of(reflectance(palette, g / g.sum(axis=1, keepdims=True), strengths), target)

    strengths = np.exp(0.04 * rng.standard_normal((DRAWS, len(c))))
    held, wrong = poured(500 * c), noise(fit)
    read = seen(held) + wrong + noise(0.05**2 * np.eye(3))
    after = seen(held + poured(addition)) + 0.8 * wrong + 0.6 * noise(fit)
    after += noise(0.05**2 * np.eye(3))
    given = np.column_stack([read, np.ones(DRAWS)])
    left = after - given @ np.linalg.lstsq(given, after, rcond=None)[0]
    lots = np.diag(spread.log_strength**2)
    told = covariance_after(
        palette, 500 * c, addition, target, spread, lots, 0.05**2 * np.eye(3), shared=0.8
    )
    assert np.allclose(told, np.cov(left.T), atol=0.06 * np.trace(told))
    before = lab_covariance(palette, 500 * c, target, spread)[1]
    assert np.trace(told) < 0.25 * np.trace(before)  # and much less than before it was read


@pytest.mark.parametrize("standard", [[50.0, 0, 0], [70, 40, 30], [30, 5, -50], [85, -3, 60]])
@pytest.mark.parametrize("off", [0.0, 0.6, 1.5])
def test_chance_within_is_the_share_of_a_gaussian_cloud(standard, off):
    rng = np.random.default_rng(3)
    standard = np.array(standard)
    lab = standard + off * np.array([0.6, -0.8, 1.2])
    A = 0.5 * rng.standard_normal((3, 3))
    cloud = lab + rng.standard_normal((DRAWS, 3)) @ A.T
    observed = (delta_E(cloud, standard) <= 1.0).mean()
    assert chance_within(lab, A @ A.T, standard, 1.0) == pytest.approx(observed, abs=0.025)


@pytest.mark.parametrize("sd", [0.2, 0.5, 1.5])
@pytest.mark.parametrize("off", [0.0, 0.7, 2.0])
def test_a_round_cloud_follows_the_noncentral_chi_square(sd, off):
    """scipy.stats.ncx2, 3 degrees of freedom: where dE00 is a straight lightness scale."""
    standard = np.array([50.0, 0.0, 0.0])
    lab = standard + np.array([off, 0.0, 0.0])
    # Around a grey dE00 stretches a* by 1.5 and little else: the cloud is shrunk by it.
    slope = np.array([delta_E(lab + step, lab) for step in 1e-3 * np.eye(3)]) / 1e-3
    covariance = np.diag((sd / slope) ** 2)
    v = float(delta_E(lab, standard))
    expected = ncx2.cdf(1 / sd**2, 3, max(v**2, 1e-12) / sd**2)
    assert chance_within(lab, covariance, standard, 1.0) == pytest.approx(expected, abs=0.012)


def test_the_covariance_is_that_of_finite_differences(palette):
    """Slopes by scipy's differences, put together by the rule for independent errors."""
    bench = shop()[0]
    c = mixture(bench, **MIXES["half"])
    target = target_of(bench, c)
    grams, n = 500 * c, len(c)
    sd = np.linspace(0.02, 0.06, n)
    spread = Spread(log_strength=sd, pour_g=0.3, fit_Lab=lambda *_: np.diag([0.01, 0.02, 0.03]))

    def by(function, x, h):
        return np.array([approx_fprime(x, lambda x, k=k: function(x)[k], h) for k in range(3)])

    S = by(lambda u: lab_of(reflectance(palette, c, np.exp(u)), target), np.zeros(n), 1e-6)
    G = by(lambda g: lab_of(reflectance(palette, g / g.sum()), target), grams, 1e-4)[:, c > 0]
    expected = S @ np.diag(sd**2) @ S.T + 0.3**2 * G @ G.T + 0.05**2 * np.eye(3) + spread.fit_Lab()
    assert np.allclose(lab_covariance(palette, grams, target, spread)[1], expected, atol=1e-4)


def test_what_is_known_of_lots_replaces_their_spread(palette):
    bench = shop()[0]
    c = mixture(bench, **MIXES["pastel"])
    target = Target.from_spectrum(reflectance(palette, c), ("D65",), 10)
    spread = Spread(
        log_strength=np.full(len(c), 0.08), pour_g=0.02, fit_Lab=lambda *_: np.zeros((3, 3))
    )
    unknown = chance(palette, 500 * c, target, spread, 1.0)
    same = chance(palette, 500 * c, target, spread, 1.0, np.diag(spread.log_strength**2))
    known = chance(palette, 500 * c, target, spread, 1.0, np.diag(spread.log_strength**2) / 100)
    assert same == unknown < 0.9 < known


def test_no_chance_is_told_as_certain():
    told = [chance_text(each) for each in np.linspace(0, 1, 10_001)]
    assert told[0] == "under 1 %" and told[-1] == chance_text(0.995) == "over 99 %"
    assert {"1 %", "50 %", "99 %"} <= set(told) and not {"0 %", "100 %"} & set(told)


def test_a_coarse_balance_costs_odds(palette):
    bench = shop()[0]
    c = mixture(bench, White=0.995, Black=0.005)
    target = Target.from_spectrum(reflectance(palette, c), ("D65",), 10)
    error = shop()[2].error
    fine, coarse = (
        chance(palette, 500 * c, target, spread_of(palette, error, step), 1.0)
        for step in (0.01, 0.5)
    )
    assert fine > coarse + 0.1
    bigger = chance(palette, 50_000 * c, target, spread_of(palette, error, 0.5), 1.0)
    assert bigger == pytest.approx(
        chance(palette, 500 * c, target, spread_of(palette, error, 0.005), 1.0)
    )


def test_the_touchiest_ink_is_the_one_that_moves_the_colour_most(palette):
    bench = shop()[0]
    c = mixture(bench, White=0.97, Black=0.01, Lemon=0.02)
    target = target_of(bench, c)
    grams = 500 * c
    told = most_sensitive(palette, grams, target)
    moved = {}
    for i in np.flatnonzero(c):
        more = grams + 0.05 * (np.arange(len(c)) == i)
        here, there = (lab_of(reflectance(palette, g / g.sum()), target) for g in (grams, more))
        moved[palette.names[i]] = float(delta_E(there, here))
    assert told.ink == max(moved, key=moved.get) == "Black"
    assert told.step_g == pytest.approx(0.05)
    assert told.de00 == pytest.approx(moved["Black"], rel=0.02)
    assert most_sensitive(palette, grams, target, step_g=0.1).de00 == pytest.approx(
        2 * told.de00, rel=0.05
    )


def test_odds_are_honest_on_the_bench():
    """Batches made by radiative transfer, not by the palette that foretold them."""
    from matchkit.simulator.simulate import opaque_R, random_mixtures, read, weigh

    bench, _, found, spread = shop()
    rng = np.random.default_rng(8)
    spread = replace(spread, log_strength=np.full(len(bench.inks), 0.06))
    said, true = [], []
    for kind in ("pastel", "half", "deep", "clear"):
        for c in random_mixtures(bench, rng, kind, 8):
            target = target_of(bench, c)
            said.append(chance(found.palette, 500 * c, target, spread, 1.0))
            g, _ = weigh(np.broadcast_to(500 * c, (150, len(c))), rng, hand_g=0.02)
            lots = np.exp(0.06 * rng.standard_normal((150, len(c))))
            R = read(opaque_R(bench, g / g.sum(axis=1, keepdims=True), lots), rng)[:, 0]
            true.append((delta_E(lab_of(R, target), target.lab[0]) <= 1.0).mean())
    assert np.mean(said) == pytest.approx(np.mean(true), abs=0.02)
    assert np.abs(np.array(said) - true).max() < 0.12
