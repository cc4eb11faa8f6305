"""What went wrong with a batch, against general solvers, brute force and the virtual bench."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import approx_fprime, minimize
from small_bench import mixture, predicted, shop, target_of

from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import Lab, XYZ_to_Lab
from matchkit.correcting.diagnose import (
    T_FREEDOM,
    Round,
    f_inverse,
    infer,
)
from matchkit.errors import InputError
from matchkit.fitting.constants import f_scale
from matchkit.fitting.outliers import NOISE_F, REACH_NM
from matchkit.inks.palette import reflectance, subset
from matchkit.matching.probability import LEAST_MODEL_F, Spread, model_error_f
from matchkit.simulator.simulate import opaque_R, random_mixtures, read, weigh

NM = GRID_NM[:, None] - GRID_NM
SMOOTH = LEAST_MODEL_F**2 * np.exp(-((NM / REACH_NM) ** 2) / 2)
NOISE = NOISE_F**2 * np.eye(len(GRID_NM))


@pytest.fixture(scope="module")
def palette():
    return shop()[2].palette


def spread_for(palette, lots=0.05, pour_g=0.03):
    n = len(palette.inks)
    return Spread(log_strength=np.full(n, lots), pour_g=pour_g, fit_Lab=lambda *_: np.zeros((3, 3)))


def measured(palette, c, strengths, grams=500.0, f_error=0.0):
    """A batch that obeys the palette but for an error on the f scale."""
    R = reflectance(palette, c, strengths)
    return Round(grams=grams * c, R=f_inverse(f_scale(R)[0] + f_error))


def minus_log_posterior(u, palette, rounds, spread, freedom):
    """Strengths u (..., n_ink) and pour errors, written down anew: what `infer` makes least."""
    n = len(palette.inks)
    before, at, error, misses = np.zeros(n), n, np.zeros((*u.shape[:-1], n)), []
    for each in rounds:
        poured = np.flatnonzero(each.grams > before)
        error = error.copy()
        error[..., poured] += u[..., at : at + len(poured)]
        at, before = at + len(poured), each.grams
        grams = each.grams + error
        c = grams / grams.sum(axis=-1, keepdims=True)
        foretold = reflectance(palette, c, np.exp(u[..., :n]))
        misses.append(f_scale(each.R)[0] - f_scale(foretold)[0])
    total = np.array([each.grams.sum() for each in rounds])
    share = np.minimum.outer(total, total) / np.maximum.outer(total, total)
    covariance = np.kron(share, SMOOTH) + np.kron(np.eye(len(rounds)), NOISE)
    miss = np.concatenate(misses, axis=-1)
    z = u[..., :n] / spread.log_strength
    tails = (z**2).sum(axis=-1) / 2
    if np.isfinite(freedom):
        tails = freedom / 2 * np.log1p(z**2 / freedom).sum(axis=-1)
    slips = ((u[..., n:] / spread.pour_g) ** 2).sum(axis=-1) / 2
    return (miss @ np.linalg.inv(covariance) * miss).sum(axis=-1) / 2 + tails + slips


def by_scipy(palette, rounds, spread, freedom=T_FREEDOM):
    """Strengths (log) of the minimum that BFGS and Nelder-Mead agree on."""
    n, before, poured = len(palette.inks), np.zeros(len(palette.inks)), 0
    for each in rounds:
        poured, before = poured + int((each.grams > before).sum()), each.grams
    scale = np.concatenate([spread.log_strength, np.full(poured, spread.pour_g)])

    def cost(z):
        return minus_log_posterior(z * scale, palette, rounds, spread, freedom)

    found = minimize(cost, np.zeros(len(scale)), method="BFGS", options={"gtol": 1e-5})
    found = minimize(cost, found.x, method="Powell", options={"xtol": 1e-8, "ftol": 1e-12})
    return (found.x * scale)[:n], found.fun


MIXES = (
    {"White": 0.9, "Scarlet": 0.06, "Black": 0.04},
    {"White": 0.5, "Sky_blue": 0.3, "Magenta": 0.2},
    {"Clear": 0.8, "Green": 0.15, "Lemon": 0.05},
    {"Magenta": 0.6, "Sky_blue": 0.4},
)


@pytest.mark.parametrize("k", range(len(MIXES)))
def test_the_estimate_is_the_minimum_that_a_general_solver_finds(palette, k):
    """scipy.optimize.minimize on the objective as the docstrings state it."""
    bench = shop()[0]
    rng = np.random.default_rng(k)
    c = mixture(bench, **MIXES[k])
    lots = np.exp(0.05 * rng.standard_normal(len(c)))
    smooth = 4e-4 * np.sin(GRID_NM / 50 + k)
    rounds, spread = [measured(palette, c, lots, f_error=smooth)], spread_for(palette)
    belief = infer(palette, rounds, spread)
    u, least = by_scipy(palette, rounds, spread)
    assert np.allclose(belief.log_strength, u, atol=2e-4)
    ours = np.concatenate([belief.log_strength, (belief.grams - rounds[0].grams)[c > 0]])
    assert minus_log_posterior(ours, palette, rounds, spread, T_FREEDOM) <= least + 1e-4


def test_two_rounds_too(palette):
    bench = shop()[0]
    rng = np.random.default_rng(5)
    c = mixture(bench, White=0.85, Scarlet=0.1, Lemon=0.05)
    more = 500 * c + np.where(np.arange(len(c)) == bench.names.index("Black"), 4.0, 0.0)
    lots = np.exp(0.05 * rng.standard_normal(len(c)))
    bent = 3e-4 * np.cos(GRID_NM / 60)
    rounds = [
        measured(palette, c, lots, f_error=bent),
        measured(palette, more / more.sum(), lots, grams=more.sum(), f_error=bent),
    ]
    spread = spread_for(palette)
    both = infer(palette, rounds, spread)
    u, _ = by_scipy(palette, rounds, spread)
    assert np.allclose(both.log_strength, u, atol=3e-4)
    once = infer(palette, rounds[:1], spread)
    sharper = np.diag(once.covariance) - np.diag(both.covariance)
    assert (sharper > -1e-9).all()
    black = bench.names.index("Black")
    assert sharper[black] > 0.5 * 0.05**2  # the second round is the first that holds black


def test_two_inks_by_brute_force():
    """The whole posterior of two strengths on a grid: its peak, means and covariance."""
    bench, _, found, _ = shop()
    pair = subset(found.palette, [0, bench.names.index("Scarlet")])
    spread = spread_for(pair, lots=0.04, pour_g=1e-4)
    rounds = [measured(pair, np.array([0.9, 0.1]), np.array([1.05, 0.96]))]
    belief = infer(pair, rounds, spread, freedom=np.inf)
    axis = np.linspace(-0.16, 0.16, 81)
    grid = np.stack(np.meshgrid(axis, axis, indexing="ij"))
    u = np.stack([*grid, *np.zeros_like(grid)], axis=-1)
    cost = minus_log_posterior(u, pair, rounds, spread, np.inf)
    p = np.exp(cost.min() - cost)
    p /= p.sum()
    at = np.unravel_index(np.argmax(p), p.shape)
    assert np.allclose(belief.log_strength, axis[list(at)], atol=0.003)
    mean = (p * grid).sum(axis=(1, 2))
    off = grid - mean[:, None, None]
    covariance = np.einsum("iab,jab,ab->ij", off, off, p)
    assert np.allclose(belief.log_strength, mean, atol=0.002)
    assert np.allclose(belief.covariance, covariance, atol=0.06 * covariance.max())


def test_inks_that_were_not_poured_keep_their_prior(palette):
    c = mixture(shop()[0], White=0.9, Scarlet=0.1)
    belief = infer(palette, [measured(palette, c, np.full(len(c), 1.03))], spread_for(palette))
    unseen = c == 0
    assert np.allclose(belief.log_strength[unseen], 0, atol=1e-9)
    assert np.allclose(np.diag(belief.covariance)[unseen], 0.05**2, rtol=1e-4)


def test_a_lab_reading_is_conditioning_of_a_gaussian(palette):
    """Mean and covariance given three numbers: P H' (H P H' + V)^-1 y, any textbook."""
    bench = shop()[0]
    c = mixture(bench, White=0.7, Magenta=0.3)
    target, n = target_of(bench, c), len(c)
    V = np.diag([0.02, 0.03, 0.05])

    def lab(u):
        R = reflectance(palette, c, np.exp(u))
        return XYZ_to_Lab(R @ target.W[:, :3], target.whites[0])

    truth = np.zeros(n)
    truth[[0, bench.names.index("Magenta")]] = 0.004, -0.006
    spread = spread_for(palette, pour_g=1e-4)
    seen = Round(grams=500 * c, lab=lab(truth), lab_covariance=V)
    belief = infer(palette, [seen], spread, target=target, freedom=np.inf)
    H = np.array([approx_fprime(np.zeros(n), lambda u, k=k: lab(u)[k], 1e-7) for k in range(3)])
    P = 0.05**2 * np.eye(n)
    gain = P @ H.T @ np.linalg.inv(H @ P @ H.T + V)
    assert np.allclose(belief.log_strength, gain @ (lab(truth) - lab(np.zeros(n))), atol=2e-5)
    assert np.allclose(belief.covariance, P - gain @ H @ P, atol=2e-6)
    assert belief.unexplained_f == 0 and not belief.residual_f.any()


def test_colour_alone_tells_less_than_a_spectrum(palette):
    bench = shop()[0]
    c = mixture(bench, White=0.6, Scarlet=0.2, Sky_blue=0.1, Lemon=0.1)
    target, lots = target_of(bench, c), np.exp(0.03 * np.arange(len(c)) / len(c))
    R = reflectance(palette, c, lots)
    lab = XYZ_to_Lab(R @ target.W[:, :3], target.whites[0])
    spread = spread_for(palette)
    colour = Round(grams=500 * c, lab=lab, lab_covariance=0.3**2 * np.eye(3))
    whole, only = (
        infer(palette, [seen], spread, target=target, freedom=np.inf)
        for seen in (Round(grams=500 * c, R=R), colour)
    )
    assert np.linalg.det(only.covariance) > 3 * np.linalg.det(whole.covariance)
    mixed = infer(palette, [colour, replace(colour, R=R)], spread, target=target)
    assert mixed.unexplained_f < 0.001  # of the spectrum, in its own unit


def test_what_the_model_cannot_say_is_carried_on(palette):
    """A bend of the spectrum that no strength makes shows again in the corrected batch."""
    bench = shop()[0]
    c = mixture(bench, White=0.9, Scarlet=0.1)
    bend = 0.0015 * np.sin(GRID_NM / 45)
    seen = measured(palette, c, np.ones(len(c)), f_error=bend)
    belief = infer(palette, [seen], spread_for(palette))
    told = f_scale(predicted(palette, belief, belief.grams))[0]
    plain = f_scale(reflectance(palette, c))[0]
    after = np.sqrt(((told - plain - bend) ** 2).mean())
    assert after < 0.5 * np.sqrt((bend**2).mean())


@pytest.mark.parametrize("by", [0.0, 0.5, 2.0])
def test_a_pour_gone_wrong_is_found_and_not_taken_for_a_lot(by):
    """One ink forgotten, halved or doubled, on the bench: which, and by how much."""
    bench, _, found, spread = shop()
    rng = np.random.default_rng(6)
    c = mixture(bench, White=0.55, Scarlet=0.2, Sky_blue=0.15, Black=0.1)
    aim = 500 * c
    i = bench.names.index("Sky blue")
    true, _ = weigh(np.where(np.arange(len(c)) == i, by * aim, aim), rng)
    lots = np.exp(0.03 * rng.standard_normal(len(c)))
    R = read(opaque_R(bench, true / true.sum(), lots), rng, repeats=3).mean(axis=0)
    belief = infer(found.palette, [Round(grams=aim, R=R)], spread)
    off = belief.grams - aim
    assert int(np.argmax(np.abs(off))) == i
    assert belief.grams[i] == pytest.approx(by * aim[i], abs=0.15 * aim[i])
    assert (np.abs(belief.log_strength) < 0.12).all()


def test_a_model_that_errs_more_than_was_thought_does_not_bend_the_lots(palette):
    """A sharp error thirty times the model's usual one, and strengths stay what lots can be."""
    bench = shop()[0]
    for k, mix in enumerate(MIXES):
        c = mixture(bench, **mix)
        bend = 0.015 * np.exp(-(((GRID_NM - 480 - 40 * k) / 15) ** 2))
        seen = measured(palette, c, np.ones(len(c)), f_error=bend)
        belief = infer(palette, [seen], spread_for(palette, lots=0.03), refuse=False)
        assert (np.abs(belief.log_strength) < 3 * 0.03).all()


def switched(geometry):
    """The bench measured with the specular part the other way."""
    bench = shop()[0]
    return replace(bench, geometry=geometry)


def test_right_batches_are_not_refused():
    bench, _, found, spread = shop()
    rng = np.random.default_rng(11)
    for kind in ("pastel", "half", "deep", "clear"):
        for c in random_mixtures(bench, rng, kind, 6):
            lots = np.exp(0.05 * rng.standard_normal(len(c)))
            R = read(opaque_R(bench, c, lots), rng, repeats=3).mean(axis=0)
            infer(found.palette, [Round(grams=500 * c, R=R)], spread)


def test_a_switched_specular_part_is_named():
    """Read with the surface's own reflection in it, against drawdowns without: k1 more."""
    bench, _, found, spread = shop()
    included = switched("d/8 specular included")
    rng = np.random.default_rng(12)
    named = 0
    mixtures = [
        c for kind in ("pastel", "half", "deep") for c in random_mixtures(bench, rng, kind, 2)
    ]
    for c in mixtures:
        R = read(opaque_R(included, c), rng, repeats=3).mean(axis=0)
        with pytest.raises(InputError) as caught:
            infer(found.palette, [Round(grams=500 * c, R=R)], spread)
        named += "specular part included" in str(caught.value)
    assert named >= len(mixtures) - 1


def test_too_dark_everywhere_is_no_specular_part_where_none_was_measured():
    """What a surface reflects is not in the drawdowns, so a reading can't be missing it."""
    bench, _, found, spread = shop()
    assert bench.geometry.endswith("excluded")
    c = mixture(bench, White=0.6, Sky_blue=0.25, Lemon=0.15)
    R = read(opaque_R(bench, c), np.random.default_rng(14), repeats=3).mean(axis=0) - 0.02
    with pytest.raises(InputError, match="too dark by about 2 % reflectance") as caught:
        infer(found.palette, [Round(grams=500 * c, R=R)], spread)
    assert "specular" not in str(caught.value) and "calibrate" in str(caught.value)


def test_a_coarse_hand_with_hundredths_of_a_gram_is_found():
    """Nearly all clear, every pour of colour 0.1 g off: a third of an ink, and no strange lot."""
    bench, _, found, spread = shop()
    weighed = 500 * mixture(bench, Clear=498.9, Black=0.26, Lemon=0.57, Magenta=0.38)
    small = (weighed > 0) & (weighed < 400)
    worst = []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        true = weighed + np.where(small, 0.1 * rng.choice([-1, 1], len(weighed)), 0)
        R = read(opaque_R(bench, true / true.sum()), rng, repeats=3).mean(axis=0)
        belief = infer(found.palette, [Round(grams=weighed, R=R)], spread)
        worst.append(np.abs(belief.grams - true)[small].max())
    assert np.median(worst) < 0.03 and max(worst) < 0.1


def test_a_wrong_sample_is_refused_and_said_so():
    bench, _, found, spread = shop()
    c = mixture(bench, White=0.9, Scarlet=0.1)
    other = opaque_R(bench, mixture(bench, White=0.5, Green=0.4, Lemon=0.1))
    with pytest.raises(InputError, match="wrong sample"):
        infer(found.palette, [Round(grams=500 * c, R=other)], spread)
    anyway = infer(found.palette, [Round(grams=500 * c, R=other)], spread, refuse=False)
    assert anyway.unexplained_f > 0.01


def test_another_mixture_of_the_same_inks_is_refused_and_a_pour_left_out_is_not():
    bench, _, found, spread = shop()
    c = mixture(bench, White=0.8, Scarlet=0.15, Green=0.05)

    def inferred(of):
        R = opaque_R(bench, mixture(bench, **of))
        return infer(found.palette, [Round(grams=500 * c, R=R)], spread)

    for other in ({"White": 1.0}, {"White": 0.5, "Green": 0.5}, {"Scarlet": 1.0}):
        with pytest.raises(InputError, match="as its lot is; a wrong"):
            inferred(other)
    belief = inferred({"White": 0.8, "Green": 0.05})
    assert belief.grams[c == 0.15][0] == pytest.approx(0, abs=1)


def test_a_bucket_only_fills(palette):
    c = mixture(shop()[0], White=0.9, Scarlet=0.1)
    one = measured(palette, c, np.ones(len(c)))
    less = replace(one, grams=0.5 * one.grams)
    with pytest.raises(InputError, match="round 2: less White, Scarlet"):
        infer(palette, [one, less], spread_for(palette))


def test_known_lots_are_where_the_estimate_starts(palette):
    """A second batch read with what the first left is surer than alone."""
    bench = shop()[0]
    rng = np.random.default_rng(13)
    lots = np.exp(0.05 * rng.standard_normal(len(bench.inks)))
    spread, known = spread_for(palette), None
    for mix in ({"White": 0.9, "Scarlet": 0.1}, {"White": 0.8, "Scarlet": 0.1, "Lemon": 0.1}):
        c = mixture(bench, **mix)
        seen = [measured(palette, c, lots)]
        belief = infer(palette, seen, spread, known=known, freedom=np.inf)
        alone = infer(palette, seen, spread, freedom=np.inf)
        known = (belief.log_strength, belief.covariance)
    assert (np.diag(belief.covariance) <= np.diag(alone.covariance) + 1e-9).all()
    assert np.linalg.det(belief.covariance) < 0.9 * np.linalg.det(alone.covariance)


def test_the_fits_own_error_is_that_of_the_colour():
    """A smooth error of f of that size errs in Lab as the spread says; none known, the least."""
    bench, _, found, spread = shop()
    palette, rng = found.palette, np.random.default_rng(3)
    root = np.linalg.cholesky(SMOOTH / LEAST_MODEL_F**2 + 1e-9 * np.eye(len(NM)))
    for c in (mixture(bench, White=0.9, Lemon=0.1), mixture(bench, Clear=0.5, Magenta=0.5)):
        R = reflectance(palette, c)
        wrong_f = f_scale(R)[0] + 0.003 * rng.standard_normal((4000, len(NM))) @ root.T
        error = np.cov(Lab(f_inverse(wrong_f), "D65", 10).T)
        known = replace(spread, fit_Lab=lambda *_, error=error: error)
        assert model_error_f(palette, c, known) == pytest.approx(0.003, rel=0.1)
        sure = replace(spread, fit_Lab=lambda *_: np.zeros((3, 3)))
        assert model_error_f(palette, c, sure) == LEAST_MODEL_F
