"""A bucket with ink in it, and what to pour in so that it becomes a given colour.

A leftover, an over-pour and a batch weighed short on purpose are one problem.  In the
bucket are grams g, whose lots have strengths of their own; a >= 0 grams join them:

    K ~ sum (a_i s_i + g_i t_i) K_i
    S ~ sum (a_i s_i + g_i t_i) S_i / (1 + crowding_i (a_i + g_i) / T),  T = sum (a + g)

so whites old and new crowd each other as they do in one film; nothing is approximated.
Wanted is the nearest colour (`nearest`), with the total free or held, or the least addition
that comes near enough (`least`).  As in `solve`, many sets of inks are worked on at once,
amounts move on a log scale, and every step is a damped least-squares step on the
difference, whose slope is known.

Sources: Levenberg (1944), Marquardt (1963) for the damping.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.difference import Target, difference, difference_slope
from matchkit.colorimetry.tristimulus import Lab_jacobian, XYZ_to_Lab
from matchkit.correcting.diagnose import f_inverse
from matchkit.fitting.constants import f_scale
from matchkit.inks.palette import Q_FLOOR, Palette, deepen, surface_slope
from matchkit.matching.probability import Spread

Array = NDArray[np.float64]
Index = NDArray[np.int64]

CHUNK = 600  # sets of inks at a time: what stays in a processor's cache
STEPS = 24
HALVINGS = 11  # of the total, to the least that is enough
LONGEST_STEP = 2.0  # in log amount


@dataclass(frozen=True, kw_only=True, eq=False)
class Bucket:
    """What stands in a bucket, and the inks that may join it.

    `grams` (n_ink,) in the bucket with `strengths` (n_ink,); those of the inks that join
    it are the palette's.  `residual_f` (n_wl,) is what the model can't say about the
    bucket alone, on the f scale; it counts by the bucket's share of the batch.
    """

    palette: Palette
    grams: Array
    strengths: Array
    residual_f: Array


def bucket_of(palette: Palette, grams: Array) -> Bucket:
    """A bucket of the palette's own lots, as far as the model knows it."""
    return Bucket(
        palette=palette,
        grams=np.asarray(grams, dtype=float),
        strengths=_strengths(palette),
        residual_f=np.zeros(palette.K.shape[1]),
    )


def reflectance_after(bucket: Bucket, additions_g: Array) -> Array:
    """Reflectance (..., n_wl) of the batch once `additions_g` (..., n_ink) have joined it."""
    a = np.asarray(additions_g, dtype=float)
    rows = a.reshape(-1, a.shape[-1])
    everything = np.tile(np.arange(a.shape[-1]), (len(rows), 1))
    R: Array = _optics(bucket, everything, rows)[0].reshape(*a.shape[:-1], -1)
    return R


def seen_after(bucket: Bucket, target: Target, additions_g: Array) -> tuple[Array, Array, Array]:
    """R (n_wl,), Lab (n_light, 3) and dE00 (n_light,) after `additions_g` (n_ink,)."""
    R = reflectance_after(bucket, additions_g)
    lab = XYZ_to_Lab((R @ target.W).reshape(-1, 3), target.whites)
    v = difference(target.lab.T, lab.T)
    return R, lab, np.sqrt((v**2).sum(axis=0))


def balanced(bucket: Bucket, subsets: Index) -> Array:
    """Starting amounts (n, m): as much as the bucket holds, each ink with an equal say."""
    say = 1 / (bucket.palette.K.mean(axis=1) + bucket.palette.S.mean(axis=1))
    a = say[subsets]
    start: Array = bucket.grams.sum() * a / a.sum(axis=1, keepdims=True)
    return start


def under_first_light(target: Target) -> Target:
    """The target with its first light only."""
    return replace(
        target,
        lights=target.lights[:1],
        lab=target.lab[:1],
        W=target.W[:, :3],
        whites=target.whites[:1],
        share=np.ones(1),
    )


def nearest(
    bucket: Bucket,
    target: Target,
    subsets: Index,
    start: Array,
    *,
    total_g: float | None = None,
    steps: int = STEPS,
) -> tuple[Array, Array]:
    """The additions (n, m) of each of `subsets` (n, m) that come nearest, and dE00 (n, n_light).

    `target.share` says what each light counts: sum(share * dE00^2) is made least.  With
    `total_g` the additions sum to it; without, they may be any amount.
    """
    out_a, out_d = np.empty(subsets.shape), np.empty((len(subsets), len(target.lights)))
    for at in range(0, len(subsets), CHUNK):
        rows = slice(at, at + CHUNK)
        totals = None if total_g is None else np.full(len(subsets[rows]), total_g)
        out_a[rows], out_d[rows] = _descend(
            bucket, target, subsets[rows], start[rows], totals, steps
        )
    return out_a, out_d


def least(
    bucket: Bucket,
    target: Target,
    subsets: Index,
    start: Array,
    *,
    aim: float,
    at_least_g: float = 0.0,
    keep: int = 1,
    steps: int = 6,
) -> tuple[Array, Array]:
    """The smallest additions (n, m) within `aim` under the first light, and dE00 (n, n_light).

    `start` (n, m) holds additions that are within it, as `nearest` finds them.
    `at_least_g` must go in whatever the colour; a set of inks that would need less
    comes as near as it can at that total.  Sets that can't be among the `keep` smallest
    are left where that showed.  `steps` is for each halving of the total; the more inks,
    the more of them are needed.
    """
    first = under_first_light(target)
    held = bucket.grams.sum()
    high = np.maximum(start.sum(axis=1), at_least_g)
    low = np.full(len(start), max(at_least_g, 1e-6 * held))
    best, _ = _descend(bucket, first, subsets, start, high, STEPS)
    at, rows = low.copy(), np.arange(len(start))
    for _ in range(HALVINGS):
        tried, d = _descend(bucket, first, subsets[rows], best[rows], at[rows], steps)
        enough = d[:, 0] <= aim
        best[rows[enough]] = tried[enough]
        high[rows[enough]], low[rows[~enough]] = at[rows[enough]], at[rows[~enough]]
        # Halve in the bucket's share of the batch, which is what is wanted large.
        at = 2 / (1 / (held + low) + 1 / (held + high)) - held
        rows = np.flatnonzero((low <= np.sort(high)[: max(keep, 1)][-1]) & (high > low))
        if not len(rows):
            break
    return best, _differences(bucket, target, subsets, best)[1]


def lab_covariance_after(
    bucket: Bucket,
    target: Target,
    additions_g: Array,
    spread: Spread,
    *,
    fresh: Array | None = None,
    held: Array | None = None,
) -> Array:
    """Covariance (3, 3) of the Lab that `additions_g` (n_ink,) will bring, first light.

    `fresh` and `held` (n_ink, n_ink) are those of log strength of the inks that join and
    of those in the bucket; without them the spread of lots.  The bucket is one pour.
    """
    a, everything = additions_g[None], np.arange(len(additions_g))[None]
    optics = _optics(bucket, everything, a)
    R, by_q, q, _, _, room, _ = optics
    W = target.W[:, :3]
    to_Lab = Lab_jacobian(R[0] @ W, target.whites[0]) @ W.T
    by_gram = to_Lab @ _slope_of_R(bucket, everything, optics)[0].T
    say = to_Lab @ (by_q * (bucket.palette.K - q * bucket.palette.S / room[0][:, None])).T
    by_fresh = say * (additions_g * _strengths(bucket.palette))
    by_held = say * (bucket.grams * bucket.strengths)
    # All of it doubled is the same colour, so the bucket's own slope is the rest's, turned.
    by_bucket = -(by_gram @ additions_g) / max(bucket.grams.sum(), 1e-9)
    pours = np.column_stack([by_gram[:, additions_g > 0], by_bucket])
    lots = np.diag(spread.log_strength**2)
    covariance: Array = (
        by_fresh @ (lots if fresh is None else fresh) @ by_fresh.T
        + by_held @ (lots if held is None else held) @ by_held.T
        + spread.pour_g**2 * pours @ pours.T
        + spread.measuring_Lab**2 * np.eye(3)
        + spread.fit_Lab
    )
    return covariance


def _strengths(palette: Palette) -> Array:
    return np.ones(len(palette.inks)) if palette.strengths is None else palette.strengths


def _to_total(a: Array, total: Array) -> Array:
    scaled: Array = a * (total / a.sum(axis=1))[:, None]
    return scaled


def _descend(
    bucket: Bucket, target: Target, subsets: Index, a: Array, total: Array | None, steps: int
) -> tuple[Array, Array]:
    """Damped least-squares steps in log amount, one damping for each set of inks."""
    weight = np.sqrt(target.share)[:, None]
    n, m = a.shape
    damping = np.full(n, 1e-2)
    a = np.maximum(a, 1e-9 * bucket.grams.sum())
    if total is not None:
        a = _to_total(a, total)
    v, J = _slopes(bucket, target, subsets, a)
    for _ in range(steps):
        r = (v * weight).reshape(n, -1)
        J_u = (J * weight[..., None]).reshape(n, -1, m) * a[:, None, :]
        if total is not None:  # the sum is held: what one ink gains the others give
            J_u = J_u - J_u.sum(axis=2, keepdims=True) * (a / total[:, None])[:, None, :]
        step = _damped_step(J_u, r, damping)
        trial = a * np.exp(step)
        if total is not None:
            trial = _to_total(trial, total)
        v_new, J_new = _slopes(bucket, target, subsets, trial)
        better = ((v_new * weight) ** 2).sum(axis=(1, 2)) <= (r**2).sum(axis=1)
        damping = np.where(better, np.maximum(damping / 8, 1e-9), np.minimum(damping * 10, 1e6))
        a = np.where(better[:, None], trial, a)
        v = np.where(better[:, None, None], v_new, v)
        J = np.where(better[:, None, None, None], J_new, J)
    return a, np.sqrt((v**2).sum(axis=2))


def _damped_step(J: Array, r: Array, damping: Array) -> Array:
    H = J.transpose(0, 2, 1) @ J
    g = J.transpose(0, 2, 1) @ r[:, :, None]
    on = np.arange(J.shape[2])
    H[:, on, on] += damping[:, None] * H[:, on, on] + 1e-10
    step = -np.linalg.solve(H, g)[:, :, 0]
    longest = np.abs(step).max(axis=1, keepdims=True)
    clipped: Array = step * np.minimum(1, LONGEST_STEP / np.maximum(longest, 1e-300))
    return clipped


def _optics(bucket: Bucket, subsets: Index, a: Array) -> tuple[Array, ...]:
    """R (n, n_wl) with the residual, dR/dq, q and the sums behind it."""
    palette, g = bucket.palette, bucket.grams
    everything = np.zeros((len(a), len(g)))
    np.put_along_axis(everything, subsets, a, axis=1)
    T = g.sum() + a.sum(axis=1)
    strong = everything * _strengths(palette) + g * bucket.strengths
    share = (everything + g) / T[:, None]
    room = 1 + palette.crowding * share
    K = strong @ palette.K
    S = np.maximum((strong / room) @ palette.S, 1e-12 * T[:, None])
    q = np.maximum(K / S, Q_FLOOR)
    q_deep, by_q = deepen(q, palette.deep)
    R, by_q_deep = surface_slope(q_deep, base=palette.base, gain=palette.gain, k2=palette.k2)
    f, f_slope = f_scale(R)
    shown = f_inverse(f + (g.sum() / T)[:, None] * bucket.residual_f)
    # The residual is added on the f scale, so dR_shown = f'(R) / f'(R_shown) dR.
    return shown, by_q * by_q_deep / S * f_slope / f_scale(shown)[1], q, strong, share, room, T


def _slope_of_R(bucket: Bucket, subsets: Index, optics: tuple[Array, ...]) -> Array:
    """dR/da (n, m, n_wl) for the inks of each set."""
    palette = bucket.palette
    _, by_q, q, strong, share, room, T = optics
    s = _strengths(palette)
    K = (s[:, None] * palette.K)[subsets]
    S = (s[:, None] * palette.S)[subsets] / np.take_along_axis(room, subsets, axis=1)[..., None]
    for w in np.flatnonzero(palette.crowding):
        # One gram of anything thins a crowded white; a gram of that white crowds it more.
        more = (subsets == w) - share[:, w, None]
        lost = (palette.crowding[w] * strong[:, w] / (room[:, w] ** 2 * T))[:, None] * more
        S = S - lost[..., None] * palette.S[w]
    slope: Array = by_q[:, None, :] * (K - q[:, None, :] * S)
    return slope


def _slopes(bucket: Bucket, target: Target, subsets: Index, a: Array) -> tuple[Array, Array]:
    """Differences v (n, n_light, 3) and their slope by amount (n, n_light, 3, m)."""
    optics = _optics(bucket, subsets, a)
    R, dR = optics[0], _slope_of_R(bucket, subsets, optics)
    v, J = [], []
    for light, white in enumerate(target.whites):
        W = target.W[:, 3 * light : 3 * light + 3]
        XYZ = R @ W
        by_XYZ = Lab_jacobian(XYZ, white)
        difference_, by_Lab = difference_slope(target.lab[light][:, None], XYZ_to_Lab(XYZ, white).T)
        v.append(difference_.T)
        J.append(by_Lab.transpose(2, 0, 1) @ by_XYZ @ (dR @ W).transpose(0, 2, 1))
    return np.stack(v, axis=1), np.stack(J, axis=1)


def _differences(bucket: Bucket, target: Target, subsets: Index, a: Array) -> tuple[Array, Array]:
    """R (n, n_wl) and dE00 (n, n_light)."""
    R = _optics(bucket, subsets, a)[0]
    lab = XYZ_to_Lab((R @ target.W).reshape(len(a), -1, 3), target.whites)
    v = difference(target.lab.T[:, None, :], lab.transpose(2, 0, 1))
    return R, np.sqrt((v**2).sum(axis=0))
