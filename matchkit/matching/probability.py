"""The chance that a drawdown comes out within tolerance, and which ink to watch.

What can go wrong is taken as small and independent, and carried through the mixing model
to first order: each ink's lot is a little stronger or weaker than the one that was
measured, each pour is a little off, the instrument and the film repeat only so well, and
the fit itself errs.  Together they make a Gaussian cloud of colours around the predicted
one; the chance is the part of the cloud inside the tolerance.

Lots differ by a few percent: common practice, no source; the spread is an input.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from math import erf, pi, sqrt

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target, difference, difference_slope
from matchkit.colorimetry.illuminants import weights, white
from matchkit.colorimetry.tristimulus import Lab, Lab_jacobian, XYZ_to_Lab
from matchkit.fitting.constants import f_scale
from matchkit.fitting.expected_error import ExpectedError
from matchkit.fitting.outliers import smooth
from matchkit.inks.palette import (
    Palette,
    doubt_jacobian,
    reflectance,
    reflectance_jacobian,
    strength_jacobian,
)

LEAST_MODEL_F = 5e-4  # the model's own error is never taken as smaller
N_DIRECTIONS = 600  # over the sphere; the chance is then good to about 0.002


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Standard deviations of what can go wrong.

    `log_strength` (n_ink,) belongs to lots, `pour_g` to each weight, `measuring_Lab` to
    each of L*, a*, b* of a drawdown's reading, `log_thickness` to the film's thickness.
    `fit_Lab` gives the covariance (..., 3, 3) of the fit's own error for mass fractions
    (..., n_ink) and their predicted Lab (..., 3).
    """

    log_strength: Array
    pour_g: float
    measuring_Lab: float = 0.05
    fit_Lab: Callable[[Array, Array], Array]
    log_thickness: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Sensitive:
    """The ink that moves a colour most: `step_g` more of it is `de00` away."""

    ink: str
    step_g: float
    de00: float


def spread_of(palette: Palette, error: ExpectedError, resolution_g: float) -> Spread:
    """The usual spread for the inks of a palette on a given balance.

    A pour ends within about two steps of the balance: common practice, no source.
    """
    return Spread(
        log_strength=np.array([ink.lot_spread_percent / 100 for ink in palette.inks]),
        pour_g=2 * resolution_g,
        fit_Lab=partial(error.Lab_covariance, palette),
        log_thickness=0.0 if palette.film is None else palette.film.thickness_sd,
    )


def model_error_f(palette: Palette, c: Array, spread: Spread) -> float:
    """The fit's own error in a mixture `c` (n_ink,) on the f scale.

    It is as large as a smooth error must be to err in L*, a*, b* as `spread` says.
    """
    R = reflectance(palette, c)
    W = weights("D65", 10)
    by_f = Lab_jacobian(R @ W, white("D65", 10)) @ (W.T / f_scale(R)[1])
    error = np.trace(spread.fit_Lab(c, Lab(R, "D65", 10)))
    return max(float(np.sqrt(error / np.trace(by_f @ smooth() @ by_f.T))), LEAST_MODEL_F)


def lab_covariance(
    palette: Palette,
    grams: Array,
    target: Target,
    spread: Spread,
    strengths_covariance: Array | None = None,
) -> tuple[Array, Array]:
    """Predicted Lab (..., 3) under the first light and its covariance (..., 3, 3).

    `grams` (..., n_ink).  `strengths_covariance` (n_ink, n_ink) of log strength replaces the
    spread of lots where a batch has already told something about them.
    """
    grams = np.asarray(grams, dtype=float)
    lab, by_strength, by_gram = _slopes(palette, grams, target)
    lots = np.diag(spread.log_strength**2) if strengths_covariance is None else strengths_covariance
    by_pour = by_gram * (grams > 0)[..., None, :]
    thicker = by_strength.sum(axis=-1)  # every K and S up by a share is a film up by it
    covariance = (
        by_strength @ lots @ by_strength.swapaxes(-1, -2)
        + spread.pour_g**2 * by_pour @ by_pour.swapaxes(-1, -2)
        + spread.measuring_Lab**2 * np.eye(3)
        + spread.fit_Lab(grams / grams.sum(axis=-1, keepdims=True), lab)
        + spread.log_thickness**2 * thicker[..., :, None] * thicker[..., None, :]
    )
    if palette.doubt is not None:
        covariance = covariance + _doubt(palette, grams, target)
    return lab, covariance


def _doubt(palette: Palette, grams: Array, target: Target) -> Array:
    """Covariance of Lab (..., 3, 3) from inks whose scattering was not measured."""
    c = grams / grams.sum(axis=-1)[..., None]
    to_Lab = _Lab_of_R(reflectance(palette, c), target)
    moved = to_Lab @ doubt_jacobian(palette, c).swapaxes(-1, -2)
    return moved @ moved.swapaxes(-1, -2)


def covariance_after(
    palette: Palette,
    grams: Array,
    added_g: Array,
    target: Target,
    spread: Spread,
    strengths_covariance: Array,
    seen_Lab: Array,
    shared: float,
) -> Array:
    """Covariance (3, 3) of the Lab of a batch that was read, after an addition.

    `grams` and `added_g` (n_ink,); `seen_Lab` (3, 3) is how well the reading of `grams`
    is known.  What made that reading what it was, lots, weights, the fit's error (of which
    the part `shared` stays), is still in the bucket: only how it acts on the new colour
    otherwise than on the old is uncertain, and the pours that are added.  (The conditional
    covariance of two Gaussians, the second given the first.)
    """
    old_lab, old_s, old_g = _slopes(palette, grams, target)
    new_lab, new_s, new_g = _slopes(palette, grams + added_g, target)
    old_fit = spread.fit_Lab(grams / grams.sum(), old_lab)
    new_fit = spread.fit_Lab((grams + added_g) / (grams + added_g).sum(), new_lab)
    both_fit = shared * _root(new_fit) @ _root(old_fit).T
    V, pour = strengths_covariance, spread.pour_g**2
    poured, added = grams > 0, added_g > 0
    old_g, now_g, more_g = old_g[:, poured], new_g[:, poured], new_g[:, added]
    old = old_s @ V @ old_s.T + pour * old_g @ old_g.T + old_fit
    both = new_s @ V @ old_s.T + pour * now_g @ old_g.T + both_fit
    new = new_s @ V @ new_s.T + pour * (now_g @ now_g.T + more_g @ more_g.T) + new_fit
    thicker = new_s.sum(axis=1)
    return (
        new
        - both @ np.linalg.solve(old + seen_Lab, both.T)
        + spread.measuring_Lab**2 * np.eye(3)
        + spread.log_thickness**2 * np.outer(thicker, thicker)
    )


def _root(covariance: Array) -> Array:
    return np.linalg.cholesky(covariance + 1e-12 * np.eye(3)).astype(float)


def _slopes(palette: Palette, grams: Array, target: Target) -> tuple[Array, Array, Array]:
    """Lab (..., 3) under the first light, and its slopes (..., 3, n_ink) by log strength, gram."""
    total = grams.sum(axis=-1)[..., None]
    c = grams / total
    R, by_amount = reflectance_jacobian(palette, c)
    to_Lab = _Lab_of_R(R, target)
    by_strength = to_Lab @ strength_jacobian(palette, c).swapaxes(-1, -2)
    mean = c[..., None, :] @ by_amount
    by_gram = to_Lab @ ((by_amount - mean) / total[..., None]).swapaxes(-1, -2)
    return XYZ_to_Lab(R @ target.W[:, :3], target.whites[0]), by_strength, by_gram


def chances(
    palette: Palette,
    grams: Array,
    target: Target,
    spread: Spread,
    tolerance_de00: float,
    strengths_covariance: Array | None = None,
) -> Array:
    """The chances (...) that batches of `grams` (..., n_ink) are within tolerance, first light."""
    lab, covariance = lab_covariance(palette, grams, target, spread, strengths_covariance)
    return chances_within(lab, covariance, target.lab[0], tolerance_de00)


def chance(
    palette: Palette,
    grams: Array,
    target: Target,
    spread: Spread,
    tolerance_de00: float,
    strengths_covariance: Array | None = None,
) -> float:
    """The chance, 0-1, that a batch of `grams` (n_ink,) is within tolerance, first light."""
    return float(chances(palette, grams, target, spread, tolerance_de00, strengths_covariance))


def chance_text(chance: float) -> str:
    """A chance (0-1) in whole percent, and neither 0 nor 100: nothing is certain.

    >>> chance_text(0.973), chance_text(0.9998), chance_text(0.0)
    ('97 %', 'over 99 %', 'under 1 %')
    """
    if chance > 0.99:
        return "over 99 %"
    return "under 1 %" if chance < 0.01 else f"{100 * chance:.0f} %"


def chance_within(lab: Array, covariance: Array, target: Array, tolerance_de00: float) -> float:
    """The chance that a Gaussian colour lies within `tolerance_de00` of a target.

    `lab` and `target` are (3,), `covariance` (3, 3).

    >>> lab = np.array([50.0, 20.0, 10.0])
    >>> round(chance_within(lab, 1e-6 * np.eye(3), lab, 1.0), 3)
    1.0
    """
    return float(chances_within(lab, covariance, target, tolerance_de00))


def chances_within(lab: Array, covariance: Array, target: Array, tolerance_de00: float) -> Array:
    """The chance of each of many colours: `lab` (..., 3), `covariance` (..., 3, 3), chances (...).

    Differences are told in the straight-line space that CIEDE2000 makes around the predicted
    colour; the part of the Gaussian inside the sphere is summed over directions from its
    centre, each of which meets the sphere in one stretch, whose share of a chi distribution
    is known.
    """
    sample = np.moveaxis(lab, -1, 0)
    v, slope = difference_slope(np.moveaxis(np.broadcast_to(target, lab.shape), -1, 0), sample)
    v, slope = np.moveaxis(v, 0, -1), np.moveaxis(slope, (0, 1), (-2, -1))
    values, axes = np.linalg.eigh(slope @ covariance @ slope.swapaxes(-1, -2))
    root = axes * np.sqrt(np.maximum(values, 1e-12))[..., None, :]
    direction = root @ _directions()  # (..., 3, n_direction)
    a = (direction**2).sum(axis=-2)
    b = (v[..., None, :] @ direction)[..., 0, :]
    inside = b**2 - a * ((v**2).sum(axis=-1)[..., None] - tolerance_de00**2)
    half = np.sqrt(np.maximum(inside, 0))
    near, far = (np.maximum((-b + sign * half) / a, 0) for sign in (-1, 1))
    share = np.where(inside > 0, _chi3(far) - _chi3(near), 0.0)
    chances: Array = np.clip(share.mean(axis=-1), 0, 1)
    return chances


def most_sensitive(
    palette: Palette, grams: Array, target: Target, step_g: float | None = None
) -> Sensitive:
    """Which ink of a batch moves its colour most per gram, first light.

    `step_g` is 0.01 % of the batch unless given, so 0.05 g of 500 g.
    """
    grams = np.asarray(grams, dtype=float)
    step = grams.sum() * 1e-4 if step_g is None else step_g
    now = _lab(palette, grams, target)
    moved = []
    for i in np.flatnonzero(grams > 0):
        more = grams.copy()
        more[i] += step
        by = difference(now, _lab(palette, more, target))
        moved.append((float(np.sqrt((by**2).sum())), int(i)))
    de00, most = max(moved)
    return Sensitive(ink=palette.inks[most].name, step_g=float(step), de00=de00)


def _lab(palette: Palette, grams: Array, target: Target) -> Array:
    R = reflectance(palette, grams / grams.sum())
    return XYZ_to_Lab(R @ target.W[:, :3], target.whites[0])


def _Lab_of_R(R: Array, target: Target) -> Array:
    """d Lab / d R, (..., 3, n_wl), under the first light."""
    W = target.W[:, :3]
    return Lab_jacobian(R @ W, target.whites[0]) @ W.T


@cache
def _directions() -> Array:
    """Evenly spread unit vectors (3, n): the golden spiral."""
    k = np.arange(N_DIRECTIONS) + 0.5
    z = 1 - 2 * k / N_DIRECTIONS
    angle = pi * (1 + sqrt(5)) * k
    flat = np.sqrt(1 - z**2)
    return np.stack([flat * np.cos(angle), flat * np.sin(angle), z])


def _chi3(t: Array) -> Array:
    """Distribution function of the length of a standard Gaussian vector in space."""
    return np.interp(t, *_chi3_table())


@cache
def _chi3_table() -> tuple[Array, Array]:
    """Lengths and the distribution function there; straight lines between err by 1e-7."""
    t = np.linspace(0, 8, 8001)
    error = np.array([erf(x / sqrt(2)) for x in t.tolist()])
    return t, error - sqrt(2 / pi) * t * np.exp(-(t**2) / 2)
