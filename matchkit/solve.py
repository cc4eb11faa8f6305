"""Every formula there could be: each subset of the inks, solved at once.

For a subset the unknowns are its mass fractions: zero or more, none above its limit,
together 1.  The aim is

    F = dE00(first light) + other_weight * mean dE00(other lights)

How the batching works.  Subsets of one size m are rows of one array, so a step for all of
them is a handful of array operations on (n_subset, m, n_wl).  Amounts are c = softmax(u):
u is free, the sum is 1 by itself, and an ink a thousand times stronger than another takes
the same step.  F is a sum of lengths, whose kinks Newton's method can't cross; each length
|v| is read as sqrt(|v|^2 + eps^2), whose Hessian is known in closed form from the slope of
v, and eps shrinks as the steps go on.  Levenberg's damping, one per subset, makes every
step a descent.  A first round looks at all subsets, a second goes on with those that could
still be among the best, and a third, with exact slopes of CIEDE2000, finishes the best.

Nothing is sampled and nothing is pruned by guess: the answer is the best there is, up to
the local nature of each small problem, which starts from two places.

Sources: Marquardt (1963) for the damping; Walowit et al. (1987) for the linear start,
from memory.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry import XYZ_to_Lab, de00
from matchkit.eye import Target, difference, difference_slope, lab_target, spectral_target
from matchkit.palette import Palette, look, reflectance

__all__ = [
    "Solved",
    "Target",
    "count_subsets",
    "lab_target",
    "minimise",
    "solve",
    "spectral_target",
]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

CHUNK = 600  # subsets at a time: what stays in a processor's cache
SCREEN_EPS = (1.0, 0.5, 0.3, 0.2, 0.1, 0.05, 0.03, 0.03, 0.03, 0.03)
SECOND_EPS = (0.3, 0.2, 0.1, 0.05) + (0.03,) * 8
POLISH_EPS = tuple(np.geomspace(0.03, 1e-4, 12)) + (1e-4,) * 18
LONGEST_STEP = 2.0  # in log amount
# A fraction below this is an ink that the formula does without: a strong one at 1e-5 can
# still be 0.01 dE00 of a pastel.
DROPPED = 1e-6
# F above the best so far within which a subset goes on to the second and third round.
# A first round leaves half the subsets that matter within 0.15 and 19 in 20 within 1.
CLOSE, CLOSER = 3.0, 1.0


@dataclass(frozen=True, kw_only=True)
class Solved:
    """Fractions (n, n_ink) of the best subsets, their F (n,) and dE00 (n, n_light), best first."""

    fractions: Array
    F: Array
    de00: Array


def count_subsets(n_ink: int, max_inks: int) -> int:
    """How many subsets of up to `max_inks` there are.

    >>> count_subsets(16, 4)
    2516
    """
    return sum(comb(n_ink, m) for m in range(1, max_inks + 1))


def solve(
    palette: Palette,
    target: Target,
    *,
    max_inks: int = 4,
    upper: Array | None = None,
    keep: int = 60,
    progress: Callable[[int, int], None] | None = None,
) -> Solved:
    """The `keep` best formulas of at most `max_inks` inks, one for each subset.

    `upper` (n_ink,) limits each ink's fraction (0: not to be used); where no subset can
    reach 1 under its limits, the answer is empty.  `progress` is called with the number of
    subsets done and in all.
    """
    n = len(palette.inks)
    upper = np.ones(n) if upper is None else np.minimum(upper, 1.0)
    usable = [i for i in range(n) if upper[i] > DROPPED]
    total = count_subsets(len(usable), max_inks)
    found: list[tuple[Array, Array]] = []  # F, fractions
    done, best = 0, np.inf
    for m in range(1, min(max_inks, len(usable)) + 1):
        subsets = np.array(list(combinations(usable, m)), dtype=np.int64)
        subsets = subsets[upper[subsets].sum(axis=1) >= 1 - 1e-12]
        for at in range(0, len(subsets), CHUNK):
            rows = subsets[at : at + CHUNK]
            F, c = _screen(palette, target, rows, upper)
            best = min(best, float(F.min()))
            near = (best + CLOSE >= F) & (c > DROPPED).all(axis=1)
            found.append((F[near], _spread(c[near], rows[near], n)))
            done += len(rows)
            if progress:
                progress(done, total)
    if not found:
        return _ranked(palette, target, np.empty((0, n)), keep)
    F = np.concatenate([f for f, _ in found])
    fractions = np.concatenate([c for _, c in found])[best + CLOSE >= F]
    F, fractions = minimise(palette, target, fractions, upper, eps_of_step=SECOND_EPS, exact=False)
    order = np.argsort(F, kind="stable")[: 4 * keep]
    order = order[F[order] <= F[order[0]] + CLOSER]
    _, fractions = minimise(palette, target, fractions[order], upper)
    return _ranked(palette, target, fractions, keep)


def minimise(
    palette: Palette,
    target: Target,
    starts: Array,
    upper: Array | None = None,
    *,
    eps_of_step: Sequence[float] = POLISH_EPS,
    exact: bool = True,
) -> tuple[Array, Array]:
    """F (n,) and fractions (n, n_ink) that descent finds from `starts` (n, n_ink).

    Inks that a start leaves at zero stay out.
    """
    upper = np.ones(len(palette.inks)) if upper is None else upper
    out_F, out_c = np.empty(len(starts)), np.zeros_like(starts)
    sizes = (starts > 0).sum(axis=1)
    for m in np.unique(sizes):
        rows = np.flatnonzero(sizes == m)
        subsets = np.array([np.flatnonzero(starts[row] > 0) for row in rows])
        c = np.take_along_axis(starts[rows], subsets, axis=1)
        F, c = _descend(palette, target, subsets, c, upper, eps_of_step, exact=exact)
        out_F[rows], out_c[rows] = F, _spread(c, subsets, starts.shape[1])
    return out_F, out_c


def _screen(palette: Palette, target: Target, subsets: Index, upper: Array) -> tuple[Array, Array]:
    """A first answer for each subset, the better of two starts."""
    starts = [_balanced_start(palette, subsets)]
    if target.R is not None and subsets.shape[1] > 1:
        starts.append(_linear_start(palette, target.R, subsets))
    answers = [
        _descend(palette, target, subsets, c, upper, SCREEN_EPS, exact=False) for c in starts
    ]
    F, c = answers[0]
    for F_other, c_other in answers[1:]:
        better = F_other < F
        F, c = np.where(better, F_other, F), np.where(better[:, None], c_other, c)
    return F, c


def _ranked(palette: Palette, target: Target, c: Array, keep: int) -> Solved:
    """Best first; subsets whose optimum drops an ink are the smaller subset."""
    c = np.where(c < DROPPED, 0, c)
    c /= c.sum(axis=1, keepdims=True)
    XYZ = (reflectance(palette, c) @ target.W).reshape(len(c), len(target.lights), 3)
    lengths = de00(target.lab, XYZ_to_Lab(XYZ, target.whites))
    F = lengths @ target.share
    order = np.argsort(F, kind="stable")
    _, first = np.unique(c[order] > 0, axis=0, return_index=True)
    order = order[np.sort(first)][:keep]
    return Solved(fractions=c[order], F=F[order], de00=lengths[order])


def _balanced_start(palette: Palette, subsets: Index) -> Array:
    """Amounts that give each ink of a subset an equal say in K and S."""
    say = 1 / (palette.K.mean(axis=1) + palette.S.mean(axis=1))
    c = say[subsets]
    balanced: Array = c / c.sum(axis=1, keepdims=True)
    return balanced


def _linear_start(palette: Palette, R: Array, subsets: Index) -> Array:
    """Amounts with sum c (K - q S) nearest to zero, q the target's K/S."""
    inner = (np.clip(R, 0.003, 0.97) - palette.base) / palette.gain
    inner = np.clip(inner, 2e-3, 0.99)
    under = inner / (1 - palette.k2 + palette.k2 * inner)
    q = (1 - under) ** 2 / (2 * under)
    A = (palette.K - q * palette.S) / (q + 0.05)
    gram = (A @ A.T)[subsets[:, :, None], subsets[:, None, :]]
    m = subsets.shape[1]
    on = np.arange(m)
    gram[:, on, on] *= 1 + 1e-6
    c = np.linalg.solve(gram, np.ones((len(subsets), m, 1)))[:, :, 0]
    c = c / np.abs(c).sum(axis=1, keepdims=True)
    c = np.maximum(c, 1e-3 * np.abs(c) + 1e-6)
    start: Array = c / c.sum(axis=1, keepdims=True)
    return start


def _descend(
    palette: Palette,
    target: Target,
    subsets: Index,
    c: Array,
    upper: Array,
    eps_of_step: Sequence[float],
    *,
    exact: bool,
) -> tuple[Array, Array]:
    """F (n,) and fractions (n, m) after damped Newton steps from `c`."""
    limit = upper[subsets]
    c = _within(c, limit, np.zeros(c.shape, dtype=bool))
    share = target.share[:, None]
    damping = np.full(len(c), 1e-2)
    v, J = _look_slope(palette, target, subsets, c, exact)
    for eps in eps_of_step:
        g, H = _gradient(v, J, share, eps)
        held = _at_limit(c, limit, g)
        step = _newton_step(g, H, c, held, damping)
        trial = _within(c * np.exp(step), limit, held)
        over = ~held & (trial >= limit) & (limit < 1)
        # Near the answer those go to their limit, the others to where that leaves them best.
        if exact and over.any():
            move, held = _move_to_limit(c, limit, over, held), held | over
            step = _newton_step(g + np.einsum("ijn,nj->in", H, move), H, c, held, damping)
            trial = _within(c * np.exp(step), limit, held)
        v_new, J_new = _look_slope(palette, target, subsets, trial, exact)
        better = _smooth_F(v_new, share, eps) <= _smooth_F(v, share, eps)
        damping = np.where(better, np.maximum(damping / 8, 1e-9), np.minimum(damping * 10, 1e6))
        c = np.where(better[:, None], trial, c)
        v = np.where(better, v_new, v)
        J = np.where(better, J_new, J)
    return np.asarray((np.sqrt((v**2).sum(axis=0)) * share).sum(axis=0)), c


def _smooth_F(v: Array, share: Array, eps: float) -> Array:
    total: Array = (share * np.sqrt((v**2).sum(axis=0) + eps**2)).sum(axis=0)
    return total


def _gradient(v: Array, J: Array, share: Array, eps: float) -> tuple[Array, Array]:
    """Gradient (m, n) and Hessian (m, m, n) of the smoothed F by amount."""
    length = np.sqrt((v**2).sum(axis=0) + eps**2)
    weight = share / length
    Jv = np.einsum("kmln,kln->mln", J, v)
    g = np.einsum("mln,ln->mn", Jv, weight)
    H = np.einsum("kiln,kjln->ijn", J * weight, J)
    H -= np.einsum("iln,jln->ijn", Jv * (weight / length**2), Jv)
    return g, H


def _newton_step(g: Array, H: Array, c: Array, held: Mask, damping: Array) -> Array:
    """Damped step (n, m) in log amount; amounts keep their sum, held ones stay."""
    m = len(g)
    a = np.where(held, 0, c)
    share = a / np.maximum(a.sum(axis=1, keepdims=True), 1e-300)
    # d c_i / d u_j = a_i (delta_ij - share_j): softmax over the free inks
    D = a[:, :, None] * (np.eye(m) - share[:, None, :])
    g_u = np.einsum("nij,in->nj", D, g)
    H_u = D.transpose(0, 2, 1) @ H.transpose(2, 0, 1) @ D
    on = np.arange(m)
    H_u[:, on, on] += damping[:, None] * H_u[:, on, on] + 1e-9
    step = -np.linalg.solve(H_u, g_u[:, :, None])[:, :, 0]
    # Ink by ink: one on its way out takes endless steps, and must not hold up the others.
    return np.clip(step, -LONGEST_STEP, LONGEST_STEP)


def _at_limit(c: Array, limit: Array, g: Array) -> Mask:
    """Inks at their limit that would only help by going beyond it."""
    at = c >= limit * (1 - 1e-9)
    free = np.where(at, 0, c)
    mean = (free * g.T).sum(axis=1) / np.maximum(free.sum(axis=1), 1e-300)
    held: Mask = at & (mean[:, None] > g.T) & (limit < 1)
    return held


def _move_to_limit(c: Array, limit: Array, over: Mask, held: Mask) -> Array:
    """Change of `c` that takes the inks `over` to their limit, the free ones making room."""
    move = np.where(over, limit - c, 0)
    free = np.where(over | held, 0, c)
    made = move.sum(axis=1, keepdims=True) / np.maximum(free.sum(axis=1, keepdims=True), 1e-300)
    moved: Array = move - made * free
    return moved


def _within(c: Array, limit: Array, held: Mask) -> Array:
    """`c` scaled to sum 1, those `held` at their limit and no other above its own."""
    c = np.maximum(c, 1e-12)
    for _ in range(c.shape[1]):
        fixed, free = np.where(held, limit, 0), np.where(held, 0, c)
        room = np.maximum(1 - fixed.sum(axis=1, keepdims=True), 0)
        c = fixed + free * room / np.maximum(free.sum(axis=1, keepdims=True), 1e-300)
        over = ~held & (c > limit)
        if not over.any():
            break
        held = held | over
    return c


def _optics(palette: Palette, subsets: Index, c: Array) -> tuple[Array, Array]:
    """Reflectance (n, n_wl) of amounts (n, m) of `subsets`, its slope by amount (n, m, n_wl)."""
    s = np.ones(len(palette.inks)) if palette.strengths is None else palette.strengths
    K, S = (palette.K * s[:, None])[subsets], (palette.S * s[:, None])[subsets]
    room = 1 + palette.crowding[subsets] * c
    K_mix = np.einsum("nm,nmw->nw", c, K)
    S_mix = np.einsum("nm,nmw->nw", c / room, S)
    R_m, by_K, by_S = look(palette, K_mix, S_mix)
    S *= by_S[:, None, :] / (room**2)[:, :, None]
    K *= by_K[:, None, :]
    return R_m, K + S


def _look_slope(
    palette: Palette, target: Target, subsets: Index, c: Array, exact: bool
) -> tuple[Array, Array]:
    """v (3, n_light, n) and its slope by amount, (3, m, n_light, n)."""
    n, m = c.shape
    R_m, slope = _optics(palette, subsets, c)
    XYZ = (R_m @ target.W).reshape(n, -1, 3)
    dXYZ = (slope.reshape(n * m, -1) @ target.W).reshape(n, m, -1, 3)
    t = XYZ / target.whites
    root = np.cbrt(np.maximum(t, 216 / 24389))
    dark = t <= 216 / 24389
    f = np.where(dark, (24389 / 27 * t + 16) / 116, root)
    by_t = np.where(dark, 24389 / 27 / 116, 1 / (3 * root**2)) / target.whites
    lab = np.stack(
        [116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])]
    ).transpose(0, 2, 1)  # (3, n_light, n)
    df = (dXYZ * by_t[:, None]).transpose(3, 1, 2, 0)  # (3, m, n_light, n)
    dlab = np.stack([116 * df[1], 500 * (df[0] - df[1]), 200 * (df[1] - df[2])])
    v, by_lab = (
        _exact_slope(target, lab) if exact else difference_slope(target.lab.T[:, :, None], lab)
    )
    J = np.einsum("kjln,jmln->kmln", by_lab, dlab)
    return v, J


def _exact_slope(target: Target, lab: Array) -> tuple[Array, Array]:
    """Like `difference_slope`, with the weighting functions moving too (central steps)."""
    standard, h = target.lab.T[:, :, None], 1e-4
    slope = np.empty((3, 3, *lab.shape[1:]))
    for j in range(3):
        up, down = lab.copy(), lab.copy()
        up[j] += h
        down[j] -= h
        slope[:, j] = (difference(standard, up) - difference(standard, down)) / (2 * h)
    return difference(standard, lab), slope


def _spread(c: Array, subsets: Index, n: int) -> Array:
    """Fractions (n_subset, m) of `subsets` as rows over all `n` inks."""
    out = np.zeros((len(c), n))
    np.put_along_axis(out, subsets, c, axis=1)
    return out
