"""The best amounts for many subsets of inks at once: damped Newton steps, batched.

For a subset the unknowns are its mass fractions: zero or more, none above its limit,
together 1.  The aim is

    F = dE00(first light) + other_weight * mean dE00(other lights)

How the batching works.  Subsets of one size m are the last axis of every array, because
that axis is the long one: a step for all of them is a handful of array operations on
(n_wl, m, n).  Their K and S are picked once.  Amounts are c = softmax(u): u is free, the
sum is 1 by itself, and an ink a thousand times stronger than another takes the same step.
F is a sum of lengths, whose kinks Newton's method can't cross; each length |v| is read as
sqrt(|v|^2 + eps^2), and eps shrinks as the steps go on.  Far from the answer v is taken as
straight and its length's weight as still (Gauss-Newton); near it the Hessian of the length
counts too.  Levenberg's damping, one per subset, makes every step a descent.  A subset that
even at twice the pace of its last step would not come within reach is left where it is.

Arrays are single or double precision, as the palette's K is.

Sources: Marquardt (1963) for the damping, from memory.
"""

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchkit.arrays import Index, Mask
from matchkit.colorimetry.difference import Target, difference, difference_slope
from matchkit.inks.palette import Palette, look

Array = NDArray[Any]  # float64, or float32 where the palette's K is
LONGEST_STEP = 2.0  # in log amount
LEAST_DAMPING = 1e-6
SETTLED = 1e-7  # dE00; who gains less by a last step is there
PACE = 2.0  # a subset may yet go this many times as fast as its last step
MANY = 8  # from this many inks a subset's equations go to LAPACK
NOTHING = 1e-30


class Steps(NamedTuple):
    """How to descend: the eps of each step, and what the slopes take into account.

    `curved`: the Hessian of the lengths, for steps near the answer.  `exact`: the weighting
    functions of CIEDE2000 move too.
    """

    eps: tuple[float, ...]
    curved: bool
    exact: bool


@dataclass(frozen=True, kw_only=True)
class Batch:
    """Subsets of one size: K and S (n_wl, m, n), `crowding` and `limit` (m, n).

    `own` (3, m, n) and `beside` (2, m, n) are those of `Palette`.
    `W` (3 n_light, n_wl) gives X of all lights, then Y, then Z.
    """

    palette: Palette
    target: Target
    W: Array
    K: Array
    S: Array
    crowding: Array
    own: Array
    beside: Array
    limit: Array

    def only(self, keep: Mask) -> "Batch":
        """The subsets to `keep` (n,)."""
        return replace(
            self,
            K=self.K[..., keep],
            S=self.S[..., keep],
            crowding=self.crowding[:, keep],
            own=self.own[..., keep],
            beside=self.beside[..., keep],
            limit=self.limit[:, keep],
        )


def descend(
    palette: Palette,
    target: Target,
    subsets: Index,
    start: Array,
    upper: Array,
    steps: Steps,
    *,
    within: float = np.inf,
) -> tuple[Array, Array]:
    """F (n,) and fractions (n, m) after descending from `start` (n, m), one row a subset.

    `subsets` (n, m) are positions in `palette.inks`, `upper` (n_ink,) limits fractions.
    Subsets that would not come `within` that F stop early.
    """
    batch = _batch(palette, target, subsets, upper)
    kind = batch.K.dtype
    share = target.share[:, None].astype(kind)
    out_F, out_c, alive = np.full(len(start), np.inf), start.astype(float), np.arange(len(start))
    c = start.T.astype(kind)
    c = _within(c, batch.limit, np.zeros(c.shape, dtype=bool))
    damping = np.full(c.shape[1], 1e-2, dtype=kind)
    v, J = _look_slope(batch, c, steps.exact)
    for left, eps in zip(range(len(steps.eps) - 1, -1, -1), steps.eps, strict=True):
        trial = _trial(c, v, J, damping, batch.limit, share, eps, steps)
        v_new, J_new = _look_slope(batch, trial, steps.exact)
        before, after = _smooth_F(v, share, eps), _smooth_F(v_new, share, eps)
        better = after <= before
        damping = np.where(
            better, np.maximum(damping / 8, LEAST_DAMPING), np.minimum(damping * 10, 1e6)
        )
        c, v, J = (np.where(better, *pair) for pair in ((trial, c), (v_new, v), (J_new, J)))
        gain = before - after
        lost = better & (after - PACE * left * gain > within)
        lost |= better & (gain < SETTLED) & (eps == steps.eps[-1])
        if lost.sum() > 0.2 * len(lost):
            gone, hope = alive[lost], ~lost
            out_F[gone], out_c[gone] = _smooth_F(v[..., lost], share, 0.0), c[:, lost].T
            alive, batch, damping = alive[hope], batch.only(hope), damping[hope]
            c, v, J = c[:, hope], v[..., hope], J[..., hope]
    out_F[alive], out_c[alive] = _smooth_F(v, share, 0.0), c.T
    return out_F, out_c


def equal_say(palette: Palette) -> Array:
    """Amounts (n_ink,) at which each ink has an equal say in K and S."""
    say: Array = 1 / (palette.K.mean(axis=1) + palette.S.mean(axis=1))
    return say


def spread(c: Array, subsets: Index, n: int) -> Array:
    """Fractions (n_subset, m) of `subsets` as rows over all `n` inks."""
    out = np.zeros((len(c), n))
    np.put_along_axis(out, subsets, c, axis=1)
    return out


def _batch(palette: Palette, target: Target, subsets: Index, upper: Array) -> Batch:
    at, kind, film = subsets.T, palette.K.dtype, palette.film
    s = np.ones(len(palette.inks)) if palette.strengths is None else palette.strengths
    if film is not None:  # wavelengths stand first here
        beam = film.R_g_beam
        film = replace(
            film, R_g=film.R_g[:, None], R_g_beam=None if beam is None else beam[:, None]
        )
    n_wl = palette.K.shape[1]
    W = target.W.reshape(n_wl, len(target.lab), 3).transpose(2, 1, 0).reshape(-1, n_wl)
    return Batch(
        palette=replace(palette, film=film),
        target=target,
        W=W.astype(kind),
        K=np.take((palette.K.T * s).astype(kind), at, axis=1),
        S=np.take((palette.S.T * s).astype(kind), at, axis=1),
        crowding=palette.crowding.astype(kind)[at],
        own=np.broadcast_to(palette.own, (3, len(s))).astype(kind)[:, at],
        beside=palette.beside.astype(kind)[:, at],
        limit=upper.astype(kind)[at],
    )


def _smooth_F(v: Array, share: Array, eps: float) -> Array:
    total: Array = (share * np.sqrt((v * v).sum(axis=0) + eps**2)).sum(axis=0)
    return total


def _trial(
    c: Array,
    v: Array,
    J: Array,
    damping: Array,
    limit: Array,
    share: Array,
    eps: float,
    steps: Steps,
) -> Array:
    """Where a damped step from `c` (m, n) leads, within the limits."""
    held = _at_limit(c, limit, v, J, share, eps)
    step = _newton_step(c, v, J, damping, held, share, eps, curved=steps.curved)
    trial = _within(c * np.exp(step), limit, held)
    over = ~held & (trial >= limit) & (limit < 1)
    if not steps.exact or not over.any():
        return trial
    # Near the answer those go to their limit, the others to where that leaves them best.
    move, held = _move_to_limit(c, limit, over, held), held | over
    v = v + (J * move).sum(axis=2)
    step = _newton_step(c, v, J, damping, held, share, eps, curved=steps.curved)
    return _within(c * np.exp(step), limit, held)


def _newton_step(
    c: Array,
    v: Array,
    J: Array,
    damping: Array,
    held: Mask,
    share: Array,
    eps: float,
    *,
    curved: bool,
) -> Array:
    """Damped step (m, n) in log amount; amounts keep their sum, those `held` stay.

    Slopes are taken by log amount before they are multiplied, so that the Hessian stays
    positive in single precision too.
    """
    a = np.where(held, 0, c)
    mean = a / np.maximum(a.sum(axis=0), NOTHING)
    # d c_i / d u_j = a_i (delta_ij - mean_j): softmax over the free inks
    J = (J - (mean * J).sum(axis=2, keepdims=True)) * a
    length = np.sqrt((v * v).sum(axis=0) + eps**2)
    weight = share / length
    Jv = (J * v[:, :, None]).sum(axis=0)  # (n_light, m, n)
    rows = (J.shape[0] * J.shape[1], *J.shape[2:])
    H = np.einsum("kin,kjn->ijn", (J * weight[:, None]).reshape(rows), J.reshape(rows))
    if curved:
        H -= np.einsum("lin,ljn->ijn", Jv * (weight / length**2)[:, None], Jv)
    on = np.arange(len(a))
    H[on, on] += damping * H[on, on] + 1e-9
    step = -_solved(H, (Jv * weight[:, None]).sum(axis=0))
    # Ink by ink: one on its way out takes endless steps, and must not hold up the others.
    return np.clip(step, -LONGEST_STEP, LONGEST_STEP)


def _solved(A: Array, b: Array) -> Array:
    """x (m, n) with A x = b, A (m, m, n) symmetric and positive: A = L D L^T, in place."""
    m = len(b)
    if m > MANY:
        x: Array = np.linalg.solve(A.transpose(2, 0, 1), b.T[:, :, None])[:, :, 0].T
        return x
    x = b
    least = 1e-7 * np.abs(A[np.arange(m), np.arange(m)]) + 1e-12
    for j in range(m):
        A[j, j] = np.maximum(A[j, j], least[j])
        for i in range(j + 1, m):
            L_ij = A[i, j] / A[j, j]
            x[i] -= L_ij * x[j]
            for k in range(j + 1, i + 1):
                A[i, k] -= L_ij * A[k, j]
    for j in range(m - 1, -1, -1):
        for i in range(j + 1, m):
            x[j] -= A[i, j] * x[i]
        x[j] /= A[j, j]
    return x


def _at_limit(c: Array, limit: Array, v: Array, J: Array, share: Array, eps: float) -> Mask:
    """Inks at their limit that would only help by going beyond it."""
    at: Mask = (c >= limit * (1 - 1e-6)) & (limit < 1)
    if not at.any():
        return at
    weight = share / np.sqrt((v * v).sum(axis=0) + eps**2)
    g = ((J * v[:, :, None]).sum(axis=0) * weight[:, None]).sum(axis=0)
    free = np.where(at, 0, c)
    mean = (free * g).sum(axis=0) / np.maximum(free.sum(axis=0), NOTHING)
    beyond: Mask = at & (mean > g)
    return beyond


def _move_to_limit(c: Array, limit: Array, over: Mask, held: Mask) -> Array:
    """Change of `c` that takes the inks `over` to their limit, the free ones making room."""
    move = np.where(over, limit - c, 0)
    free = np.where(over | held, 0, c)
    moved: Array = move - free * (move.sum(axis=0) / np.maximum(free.sum(axis=0), NOTHING))
    return moved


def _within(c: Array, limit: Array, held: Mask) -> Array:
    """`c` scaled to sum 1, those `held` at their limit and no other above its own."""
    c = np.maximum(c, 1e-12)
    for _ in range(len(c)):
        fixed, free = np.where(held, limit, 0), np.where(held, 0, c)
        room = np.maximum(1 - fixed.sum(axis=0), 0)
        c = fixed + free * (room / np.maximum(free.sum(axis=0), NOTHING))
        over = ~held & (c > limit)
        if not over.any():
            break
        held = held | over
    return c


def _optics(batch: Batch, c: Array) -> tuple[Array, Array]:
    """Reflectance (n_wl, n) of amounts (m, n), and its slope by amount (n_wl, m, n)."""
    K, S = batch.K, batch.S
    room = 1 / (1 + batch.crowding * c)
    white, clear = 1 + batch.own[1:] * (batch.beside * c).sum(axis=1, keepdims=True)
    strong = c * white
    scatter = strong * clear * room
    K_mix, S_mix = _sum(strong, K), _sum(scatter, S)
    R_m, by_K, by_S = (part.astype(c.dtype) for part in look(batch.palette, K_mix, S_mix))
    slope = K * (by_K[:, None] * white)
    slope += S * (by_S[:, None] * (white * clear * room * room))
    if batch.own.any():  # more white or clear changes what counts of every other ink
        surface, by_white, by_clear = batch.own
        more = by_K * _sum(strong * by_white / white, K)
        more += by_S * _sum(scatter * by_white / white, S)
        slope += more[:, None] * batch.beside[0]
        slope += (by_S * _sum(scatter * by_clear / clear, S))[:, None] * batch.beside[1] + surface
        R_m += (surface * c).sum(axis=0)
    return R_m, slope


def _sum(c: Array, K: Array) -> Array:
    """The sum over a subset's inks: amounts (m, n) and K (n_wl, m, n) give (n_wl, n)."""
    total: Array = c[0] * K[:, 0]
    for i in range(1, len(c)):
        total += c[i] * K[:, i]
    return total


def _look_slope(batch: Batch, c: Array, exact: bool) -> tuple[Array, Array]:
    """v (3, n_light, n) and its slope by amount, (3, n_light, m, n)."""
    m, n = c.shape
    R_m, slope = _optics(batch, c)
    XYZ = (batch.W @ R_m).reshape(3, len(batch.target.lab), n)
    dX, dY, dZ = (batch.W @ slope.reshape(len(slope), m * n)).reshape(*XYZ.shape[:2], m, n)
    whites = batch.target.whites.T[:, :, None].astype(c.dtype)
    t = XYZ / whites
    root = np.cbrt(np.maximum(t, 216 / 24389))
    dark = t <= 216 / 24389
    f = np.where(dark, (24389 / 27 * t + 16) / 116, root)
    by_X, by_Y, by_Z = np.where(dark, 24389 / 27 / 116, 1 / (3 * root**2)) / whites
    lab = np.stack([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])
    standard = batch.target.lab.T[:, :, None].astype(c.dtype)
    v, by_lab = (_exact_slope if exact else difference_slope)(standard, lab)
    by_L, by_a, by_b = by_lab[:, 0], by_lab[:, 1], by_lab[:, 2]
    J = (500 * by_a * by_X)[:, :, None] * dX
    J += ((116 * by_L - 500 * by_a + 200 * by_b) * by_Y)[:, :, None] * dY
    J -= (200 * by_b * by_Z)[:, :, None] * dZ
    return v, J


def _exact_slope(standard: Array, lab: Array) -> tuple[Array, Array]:
    """Like `difference_slope`, with the weighting functions moving too (central steps)."""
    h = 1e-4
    moves = np.vstack([np.zeros(3), h * np.eye(3), -h * np.eye(3)])
    moved = lab[:, None] + moves.T[:, :, None, None]  # (3, 7, n_light, n)
    v = difference(standard[:, None], moved)
    return v[:, 0], (v[:, 1:4] - v[:, 4:]) / (2 * h)
