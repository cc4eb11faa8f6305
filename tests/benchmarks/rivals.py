"""What a Python user would do instead: one subset at a time, with scipy, on the same F.

Each takes what the package's own solver takes and gives F and fractions over all inks, so
that a benchmark can hold both the time and the answer side by side.
"""

from dataclasses import replace
from functools import cache

import numpy as np
from scipy.optimize import differential_evolution, least_squares, minimize, nnls

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import XYZ_to_Lab, de00
from matchkit.fitting.fit import Fit, fit
from matchkit.fitting.held_out import STRUCTURES
from matchkit.inks.palette import Palette, reflectance, subset
from matchkit.practice.rehearse import drawdowns_of
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import KINDS, opaque_R, random_mixtures

LIGHTS, OBSERVER = ("D65", "A", "FL11"), 10


def palette_of(n_ink: int, seed: int) -> Palette:
    """`n_ink` fitted inks of a virtual bench: white, black, clear, the rest colours."""
    return fit_of(n_ink, seed).palette


@cache
def fit_of(n_ink: int, seed: int) -> Fit:
    """Their fit."""
    bench = make_bench(seed, n_colours=n_ink - 3)
    inks, drawn = drawdowns_of(bench, np.random.default_rng([seed, 1]), 10)
    return fit(drawn, inks, geometry=bench.geometry, structures=STRUCTURES[4:])


def target_spectra(seed: int, each: int = 1) -> np.ndarray:
    """`each` colours of each kind, of a bench with other inks: (n, n_wl)."""
    bench, rng = make_bench(seed), np.random.default_rng([seed, 2])
    return np.concatenate([opaque_R(bench, random_mixtures(bench, rng, k, each)) for k in KINDS])


def targets_of(seed: int, each: int = 1, lights=LIGHTS) -> list[Target]:
    """The same as targets."""
    return [Target.from_spectrum(R, lights, OBSERVER) for R in target_spectra(seed, each)]


def aim_of(palette: Palette, target: Target):
    """F of fractions (..., n_ink), as plainly and as quickly as numpy lets one write it."""

    def F(c: np.ndarray) -> np.ndarray:
        XYZ = reflectance(palette, c) @ target.W
        lab = XYZ_to_Lab(XYZ.reshape(*XYZ.shape[:-1], -1, 3), target.whites)
        return de00(target.lab, lab) @ target.share

    return F


def by_slsqp(palette: Palette, target: Target, inks, start=None) -> tuple[float, np.ndarray]:
    """Sequential least squares with finite differences, from equal parts."""
    aim, m = aim_of(subset(palette, inks), target), len(inks)

    def F(c: np.ndarray) -> float:
        c = np.maximum(c, 0)
        return float(aim(c / max(c.sum(), 1e-9)))

    found = minimize(
        F,
        np.full(m, 1 / m) if start is None else start,
        method="SLSQP",
        bounds=[(0, 1)] * m,
        constraints={"type": "eq", "fun": lambda c: c.sum() - 1},
    )
    c = np.maximum(found.x, 0)
    return F(c), _spread(c / c.sum(), inks, palette)


def by_least_squares(palette: Palette, target: Target, inks) -> tuple[float, np.ndarray]:
    """Least squares on the dE00 under each light, in log amounts; F is told at the end."""
    few = subset(palette, inks)
    aims = [aim_of(few, replace(target, share=row)) for row in np.diag(np.sqrt(target.share))]

    def residuals(u: np.ndarray) -> np.ndarray:
        return np.array([float(aim(_softmax(u))) for aim in aims])

    c = _softmax(least_squares(residuals, np.zeros(len(inks)), max_nfev=100).x)
    return float(aim_of(few, target)(c)), _spread(c, inks, palette)


def by_nnls(palette: Palette, target: Target, largest: int) -> tuple[float, np.ndarray]:
    """Non-negative least squares on sum c (K - q S) = 0, sum c = 1; the most felt are polished."""
    inner = np.clip((target.R - palette.base) / palette.gain, 2e-3, 0.99)
    under = inner / (1 - palette.k2 + palette.k2 * inner)
    q = (1 - under) ** 2 / (2 * under)
    A = (palette.K - q * palette.S) / (q + 0.05)
    heavy = 1e3 * np.abs(A).max()
    c, _ = nnls(np.vstack([A.T, np.full(len(A), heavy)]), np.append(np.zeros(len(q)), heavy))
    felt = c * (palette.K.mean(axis=1) + palette.S.mean(axis=1))
    inks = sorted(i for i in np.argsort(-felt)[:largest] if c[i] > 0)
    return by_slsqp(palette, target, inks, start=c[inks] / c[inks].sum())


def by_evolution(palette: Palette, target: Target, largest: int) -> tuple[float, np.ndarray]:
    """Differential evolution on the whole palette; the most felt are polished."""
    aim, n = aim_of(palette, target), len(palette.inks)
    found = differential_evolution(
        lambda u: aim(_softmax(12 * u.T)), [(0, 1)] * n, maxiter=1000, popsize=5, seed=1,
        polish=False, vectorized=True, updating="deferred",
    )  # fmt: skip
    c = _softmax(12 * found.x)
    felt = c * (palette.K.mean(axis=1) + palette.S.mean(axis=1))
    inks = sorted(np.argsort(-felt)[:largest].tolist())
    return by_slsqp(palette, target, inks, start=c[inks] / c[inks].sum())


def _softmax(u: np.ndarray) -> np.ndarray:
    e = np.exp(u - u.max(axis=-1, keepdims=True))
    return e / e.sum(axis=-1, keepdims=True)


def _spread(c: np.ndarray, inks, palette: Palette) -> np.ndarray:
    whole = np.zeros(len(palette.inks))
    whole[list(inks)] = c
    return whole
