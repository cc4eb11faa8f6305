"""Hold some back: weigh strong inks short, measure, then finish with what was learned.

Only additions are possible, so a batch is best wrong on the side that an addition puts
right.  The inks whose lot or pour moves the colour most are weighed to a share (say 90 %),
the batch is drawn down and measured, and the reading says how much of each is really
wanted.

What the reading will leave open is known before it is taken: all errors are small, so
the joint distribution of lots, pours and the model's own error before and after a
measurement follows from slopes (a Gaussian, conditioned).  Simulation is for the tests.

Sources: Rasmussen & Williams (2006), Gaussian Processes, eq. A.6, for conditioning, from
memory; that strong inks are held back is common practice, no source.
"""

from dataclasses import dataclass

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target, difference_slope
from matchkit.colorimetry.tristimulus import Lab_jacobian, XYZ_to_Lab
from matchkit.correcting.diagnose import stays
from matchkit.errors import InputError
from matchkit.fitting.constants import f_scale
from matchkit.fitting.outliers import NOISE_F, smooth
from matchkit.inks.palette import Palette, reflectance, reflectance_jacobian, strength_jacobian
from matchkit.inks.recipe import BASES
from matchkit.matching.probability import Spread, chance, chance_within

TOUCHY_DE00 = 0.1  # an ink whose usual lot moves the colour less is not held back
MOST_HELD = 3  # inks to weigh twice: more is more work than it saves
DRAWS = 400
NEAR_DE00 = 0.05  # a draw that can be finished this near counts as finished
FAR_DE00 = 5.0  # beyond, slopes at the plan do not say what finishing could put right


@dataclass(frozen=True, kw_only=True, eq=False)
class HoldBack:
    """A two-stage weigh-out: `first_g` and then about `then_g`, each (n_ink,).

    `inks` are weighed to `share` at first.  `then_g` is what the plan still asks for;
    what is poured is what `correct` says after the measurement.
    """

    inks: tuple[str, ...]
    share: float
    first_g: Array
    then_g: Array
    chance_one_stage: float
    chance_two_stage: float


def share_for(spread_of_lots: float) -> float:
    """The share to which inks are weighed at first, for lots that differ by so much.

    Three standard deviations stay in hand, in steps of 5 %.

    >>> share_for(0.03), share_for(0.05)
    (0.9, 0.85)
    """
    return float(np.floor(20 / (1 + 3 * spread_of_lots)) / 20)


def hold_back(
    palette: Palette,
    grams: Array,
    target: Target,
    spread: Spread,
    tolerance_de00: float,
    *,
    resolution_g: float,
    share: float | None = 0.9,
    alone_g: Array | None = None,
) -> HoldBack:
    """How to weigh `grams` (n_ink,) in two stages, and what that does for the odds.

    `share` None takes one from the spread of lots.  `alone_g` (n_ink,) is what of `grams` is
    weighed as an ink; the rest is in mixes that go in whole.  Without it all is.

    Where no ink is sensitive nothing is held back, and both chances are those of one stage.  So
    they are where the plan itself is far from the target: more than finishing it is needed then.
    """
    grams = np.asarray(grams, dtype=float)
    alone = grams if alone_g is None else np.asarray(alone_g, dtype=float)
    lots = np.diag(spread.log_strength**2)
    one = chance(palette, grams, target, spread, tolerance_de00)
    if share is not None and not 0.5 <= share < 1:
        raise InputError(f"share held at first: found {share:g}, need 0.5 or more and less than 1")
    sd = np.sqrt(np.diag(lots))
    held = [i for i in _sensitive(palette, grams, target, sd) if alone[i] > 0]
    part = share or share_for(float(sd[held].max(initial=0.03)))
    first = grams.copy()
    first_alone = np.floor(part * alone[held] / resolution_g) * resolution_g
    first[held] += first_alone - alone[held]
    held = [i for i, g in zip(held, first_alone, strict=True) if g > 0]
    if not held:
        return HoldBack(inks=(), share=1.0, first_g=grams, then_g=np.zeros_like(grams),
                        chance_one_stage=one, chance_two_stage=one)  # fmt: skip
    two = _chance_two(palette, first, grams, target, spread, lots, tolerance_de00)
    return HoldBack(
        inks=tuple(palette.names[i] for i in held),
        share=part,
        first_g=first,
        then_g=np.round(grams - first, 6),
        chance_one_stage=one,
        chance_two_stage=one if two is None else two,
    )


def _sensitive(palette: Palette, grams: Array, target: Target, sd: Array) -> list[int]:
    """Colours and blacks whose usual lot moves the batch, the most sensitive first."""
    c = grams / grams.sum()
    R = reflectance(palette, c)
    moved = _to_de00(R, target) @ strength_jacobian(palette, c).T * sd
    size = np.sqrt((moved**2).sum(axis=0))
    able = [
        i
        for i, ink in enumerate(palette.inks)
        if ink.role not in BASES and grams[i] > 0 and size[i] >= TOUCHY_DE00
    ]
    return sorted(able, key=lambda i: -float(size[i]))[:MOST_HELD]


def _to_Lab(R: Array, target: Target) -> Array:
    W = target.W[:, :3]
    return Lab_jacobian(R @ W, target.whites[0]) @ W.T


def _to_de00(R: Array, target: Target) -> Array:
    """Slope (3, n_wl) of the difference from the target with R, first light."""
    lab = XYZ_to_Lab(R @ target.W[:, :3], target.whites[0])
    return difference_slope(target.lab[0], lab)[1] @ _to_Lab(R, target)


def _by_gram(palette: Palette, grams: Array) -> tuple[Array, Array]:
    """R (n_wl,) of a batch and its slope (n_wl, n_ink) by gram."""
    c = grams / grams.sum()
    R, by_amount = reflectance_jacobian(palette, c)
    return R, ((by_amount - c @ by_amount) / grams.sum()).T


def _chance_two(
    palette: Palette,
    first: Array,
    plan: Array,
    target: Target,
    spread: Spread,
    lots: Array,
    tolerance_de00: float,
) -> float | None:
    """The chance within tolerance once the first stage was measured and finished; None if far."""
    known, open_ = _told_by_reading(palette, first, plan, target, spread, lots)
    R, by_gram = _by_gram(palette, plan)
    lab = XYZ_to_Lab(R @ target.W[:, :3], target.whites[0])
    v, by_Lab = difference_slope(target.lab[0], lab)
    if np.linalg.norm(v) > FAR_DE00:
        return None
    own = plan > 0
    J = by_Lab @ _to_Lab(R, target) @ by_gram[:, own]
    left = _unfinished(v, by_Lab @ known @ by_Lab.T, J, (plan - first)[own])
    size = np.sqrt((left**2).sum(axis=1))
    finished = chance_within(target.lab[0], open_, target.lab[0], tolerance_de00)
    chances = np.full(len(left), finished)
    for k in np.flatnonzero(size > NEAR_DE00):
        off = target.lab[0] + np.linalg.solve(by_Lab, left[k])
        chances[k] = chance_within(off, open_, target.lab[0], tolerance_de00)
    return float(chances.mean())


def _told_by_reading(
    palette: Palette, first: Array, plan: Array, target: Target, spread: Spread, lots: Array
) -> tuple[Array, Array]:
    """Covariance (3, 3) of the finished Lab: what the reading tells, and what stays open."""
    R_1, by_gram_1 = _by_gram(palette, first)
    R_2, by_gram_2 = _by_gram(palette, plan)
    f_1, f_2 = f_scale(R_1)[1], f_scale(R_2)[1]
    poured, kept = first > 0, stays(first, plan)  # of the fit's error
    L = _to_Lab(R_2, target) / f_2
    kernel = smooth()
    # The fit's error is given as Lab; on the f scale it is as large as makes that.
    lab = XYZ_to_Lab(R_2 @ target.W[:, :3], target.whites[0])
    error = spread.fit_Lab(plan / plan.sum(), lab)
    model = np.trace(error) / np.trace(L @ kernel @ L.T) * kernel
    n, m = len(plan), int(poured.sum())
    prior = np.zeros((n + m + len(R_1),) * 2)
    prior[:n, :n] = lots
    prior[n : n + m, n : n + m] = spread.pour_g**2 * np.eye(m)
    prior[n + m :, n + m :] = model
    strong_1 = strength_jacobian(palette, first / first.sum()).T * f_1[:, None]
    strong_2 = strength_jacobian(palette, plan / plan.sum()).T * f_2[:, None]
    A = np.hstack([strong_1, by_gram_1[:, poured] * f_1[:, None], np.eye(len(R_1))])
    B = np.hstack([strong_2, by_gram_2[:, poured] * f_2[:, None], kept * np.eye(len(R_1))])
    cross = L @ B @ prior @ A.T
    seen = A @ prior @ A.T + NOISE_F**2 * np.eye(len(R_1))
    known: Array = cross @ np.linalg.solve(seen, cross.T)
    pours = _to_Lab(R_2, target) @ by_gram_2[:, plan > first]
    open_: Array = (
        L @ B @ prior @ B.T @ L.T
        - known
        + (1 - kept**2) * L @ model @ L.T
        + spread.pour_g**2 * pours @ pours.T
        + spread.measuring_Lab**2 * np.eye(3)
    )
    return known, open_


def _unfinished(v: Array, told: Array, J: Array, then_g: Array) -> Array:
    """What finishing can't put right (n_draw, 3) in draws of what the reading may tell.

    `v` (3,) is the plan's own difference, `told` (3, 3) the covariance of what is told,
    J (3, n) the slope by gram, `then_g` (n,) what the plan would still pour.
    """
    from scipy.optimize import nnls

    values, axes = np.linalg.eigh(told)
    draws = np.random.default_rng(1).standard_normal((DRAWS, 3))
    m = v + draws @ (axes * np.sqrt(np.maximum(values, 0))).T - J @ then_g
    left = [J @ nnls(J, -each)[0] + each for each in m]
    return np.array(left)
