"""Every formula there could be: each subset of the inks, solved.

`descent` finds the best amounts of many subsets at once; here is which subsets, from where,
and in which rounds:

1. All subsets, size by size, at eleven wavelengths in single precision, under the first
   light alone and then, where that came near enough, under all of them.  They start from
   the best formula of one ink fewer with the new ink stirred in, and, where the target's
   spectrum is known, from the amounts that linear theory gives.
2. Those that may yet be among the best, at all wavelengths, in double precision.
3. The best, with exact slopes of CIEDE2000.

Nothing is sampled, as long as no size has more than MOST subsets; of a size that has, those
are looked at which add one ink to one of the PARENTS best formulas of one ink fewer, and
`is_exhaustive` says so.  A subset is dropped only where its F, or its dE00 under the first
light (which F is never below), stays far above the best F found so far.  The answer is
therefore the best there is, unless one of the small problems has a better local optimum
that its two starts do not lead to.

Sources: Walowit et al. (1987) for the linear start, from memory.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import comb
from typing import Any

import numpy as np

from matchkit.arrays import Array, Index
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import XYZ_to_Lab, de00
from matchkit.inks.palette import Palette, reflectance
from matchkit.matching.descent import Steps, descend, equal_say, spread
from matchkit.matching.linear import RIDGE, linear_misses

MOST, PARENTS = 150_000, 3_000
CHUNK = 2500  # subsets at a time: what stays in a processor's cache
EVERY = 3  # the first round looks at every third wavelength
ONE_LIGHT = Steps((1.0, 0.5, 0.3, 0.2, 0.1), curved=False, exact=False)
ALL_LIGHTS = Steps((0.1, 0.05, 0.03, 0.03, 0.03), curved=False, exact=False)
SECOND = Steps((0.3, 0.2, 0.1, 0.05) + (0.03,) * 8, curved=True, exact=False)
POLISH = Steps(tuple(np.geomspace(0.03, 1e-4, 12)) + (1e-4,) * 18, curved=True, exact=True)
# A fraction below this is an ink that the formula does without: a strong one at 1e-5 can
# still be 0.01 dE00 of a pastel.
DROPPED = 1e-6
STIRRED = 0.03  # of an ink's say: the least at which an ink can still find its way back
NEW = 0.05  # the say of an ink that joins a formula
ALIKE = 1e-3  # steps of F below which it tells nothing
SAME = 0.1  # F within which fewer inks, then lower cost, decide
# F above the best so far within which a subset goes on: to all lights, to the second round,
# to the third.
FAR, CLOSE, CLOSER = 6.0, 2.0, 1.0


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


def is_exhaustive(n_ink: int, max_inks: int) -> bool:
    """Whether `solve` looks at every subset there is.

    >>> is_exhaustive(24, 6), is_exhaustive(40, 5)
    (True, False)
    """
    return max(comb(n_ink, m) for m in range(1, max_inks + 1)) <= MOST


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
    total = sum(
        min(comb(len(usable), m), max(MOST, PARENTS * len(usable))) for m in range(1, max_inks + 1)
    )
    few, few_target = _few_wavelengths(palette, target)
    found: list[tuple[Array, Array, Index, Array]] = []  # F, cost, subsets, fractions of those
    done, best = 0, np.inf
    smaller = _Round(subsets=np.empty((0, 0), dtype=np.int64), F=np.empty(0), c=np.empty((0, 0)))
    for m in range(1, min(max_inks, len(usable)) + 1):
        subsets = _subsets(usable, m, smaller)
        subsets = subsets[upper[subsets].sum(axis=1) >= 1 - 1e-12]
        F, c = np.full(len(subsets), np.inf), np.zeros(subsets.shape)
        for at in range(0, len(subsets), CHUNK):
            now = slice(at, at + CHUNK)
            F[now], c[now] = _screen(few, few_target, subsets[now], upper, best, smaller)
            best = min(best, float(F[now].min()))
            done += len(F[now])
            if progress:
                progress(done, total)
        near = (best + CLOSE >= F) & (c > DROPPED).all(axis=1)
        cost = (c[near] * _prices(palette)[subsets[near]]).sum(axis=1)
        found.append((F[near], cost, subsets[near], c[near]))
        smaller = _Round(subsets=subsets, F=F, c=c)
    F = np.concatenate([np.empty(0), *(each[0] for each in found)])
    if not len(F):
        return _ranked(palette, target, np.empty((0, n)), keep)
    cost = np.concatenate([each[1] for each in found])
    order = np.sort(np.lexsort((cost, np.round(F / ALIKE)))[: 20 * keep])
    reach = float(F.min()) + CLOSE
    chosen = np.zeros(len(F), dtype=bool)
    chosen[order[F[order] <= reach]] = True
    ends = np.cumsum([len(each[0]) for each in found])[:-1]
    fractions = np.concatenate(
        [
            spread(c[rows], subsets[rows], n)  # over all inks only now: there were many
            for (_, _, subsets, c), rows in zip(found, np.split(chosen, ends), strict=True)
        ]
    )
    F, fractions = minimise(palette, target, fractions, upper, steps=SECOND, within=reach)
    useful = _need_all_inks(F, fractions)
    F, fractions = F[useful], fractions[useful]
    worth = _worth_keeping(palette, F, fractions, 4 * keep)
    worth = np.sort(worth[F[worth] <= F.min() + CLOSER])
    _, fractions = minimise(palette, target, fractions[worth], upper)
    return _ranked(palette, target, fractions, keep)


def minimise(
    palette: Palette,
    target: Target,
    starts: Array,
    upper: Array | None = None,
    *,
    steps: Steps = POLISH,
    within: float = np.inf,
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
        F, c = descend(palette, target, subsets, c, upper, steps, within=within)
        out_F[rows], out_c[rows] = F, spread(c, subsets, starts.shape[1])
    return out_F, out_c


@dataclass(frozen=True, kw_only=True)
class _Round:
    """What the first round found for subsets (n, m), in order: F (n,), fractions (n, m)."""

    subsets: Index
    F: Array
    c: Array


def _few_wavelengths(palette: Palette, target: Target) -> tuple[Palette, Target]:
    """Inks and target at every third wavelength, in single precision.

    New weights give the XYZ of the palette's own mixtures of two inks as all wavelengths do
    (least squares, in steps of about equal lightness): 0.15 dE00 in the median.
    """
    at = slice(None, None, EVERY)
    c = _pairs(palette)
    R = reflectance(palette, c)
    XYZ = R @ target.W
    even = np.maximum(XYZ.mean(axis=1, keepdims=True), 1e-3) ** (-2 / 3)
    W = np.linalg.lstsq(R[:, at] * even, XYZ * even, rcond=None)[0]
    film = palette.film
    if film is not None:
        beam = film.R_g_beam
        film = replace(film, R_g=film.R_g[at], R_g_beam=None if beam is None else beam[at])
    single: list[Any] = [k[:, at].astype(np.float32) for k in (palette.K, palette.S)]
    few = replace(palette, K=single[0], S=single[1], film=film)
    return few, replace(target, W=W, R=None if target.R is None else target.R[at])


def _pairs(palette: Palette) -> Array:
    """Fractions (n, n_ink) of every ink alone and of two in five proportions."""
    n = len(palette.inks)
    one, other = np.array(list(combinations(range(n), 2)), dtype=np.int64).reshape(-1, 2).T
    says = [np.eye(n)]
    for x in (0.03, 0.2, 0.5, 0.8, 0.97):
        says.append(x * np.eye(n)[one] + (1 - x) * np.eye(n)[other])
    c = np.concatenate(says) * equal_say(palette)
    pairs: Array = c / c.sum(axis=1, keepdims=True)
    return pairs


def _subsets(usable: Sequence[int], m: int, smaller: _Round) -> Index:
    """Subsets (n, m) of `usable` inks in order: all of them, or those that grow from good ones."""
    if comb(len(usable), m) <= MOST:
        return np.array(list(combinations(usable, m)), dtype=np.int64).reshape(-1, m)
    parents = smaller.subsets[np.argsort(smaller.F, kind="stable")[:PARENTS]]
    grown = np.concatenate([np.insert(parents, 0, new, axis=1) for new in usable])
    grown = np.sort(grown, axis=1)
    grown = grown[(np.diff(grown, axis=1) > 0).all(axis=1)]  # an ink it had already adds nothing
    return np.unique(grown, axis=0)


def _screen(
    palette: Palette, target: Target, subsets: Index, upper: Array, best: float, smaller: _Round
) -> tuple[Array, Array]:
    """A first answer for each subset, F (n,) and fractions (n, m), the better of two starts."""
    one = replace(
        target,
        lab=target.lab[:1],
        W=target.W[:, :3],
        whites=target.whites[:1],
        share=target.share[:1],
    )
    say = equal_say(palette)
    starts = [_grown_start(say, subsets, smaller)]
    if target.R is not None and subsets.shape[1] > 1:
        starts.append(_linear_start(palette, target.R, subsets))
    F, c = np.full(len(subsets), np.inf), np.zeros(subsets.shape)
    for start in starts:
        F_one, c_one = descend(palette, one, subsets, start, upper, ONE_LIGHT, within=best + FAR)
        better = F_one < F
        F, c = np.where(better, F_one, F), np.where(better[:, None], c_one, c)
    go = best + FAR >= F
    stirred = _normal(np.maximum(_normal(c[go] / say[subsets[go]]), STIRRED) * say[subsets[go]])
    F[go], c[go] = descend(
        palette, target, subsets[go], stirred, upper, ALL_LIGHTS, within=best + CLOSE
    )
    return F, c


def _grown_start(say: Array, subsets: Index, smaller: _Round) -> Array:
    """The best formula of one ink fewer, with a little of the ink it lacks.

    Where there is none, equal shares.
    """
    m, n = subsets.shape[1], len(say)
    best, start = np.full(len(subsets), np.inf), say[subsets]
    if len(smaller.F) and m > 1:
        code = _code(smaller.subsets, n)
        for lacks in range(m):
            wanted = _code(np.delete(subsets, lacks, axis=1), n)
            at = np.minimum(np.searchsorted(code, wanted), len(code) - 1)
            better = (code[at] == wanted) & (smaller.F[at] < best)
            had = np.insert(smaller.c[at], lacks, 0, axis=1)
            had[:, lacks] = NEW * say[subsets[:, lacks]] * (had / say[subsets]).sum(axis=1)
            best, start = (
                np.where(better, smaller.F[at], best),
                np.where(better[:, None], had, start),
            )
    return _normal(start)


def _code(subsets: Index, n: int) -> Index:
    """One number for each subset (n_subset, m), rising as `combinations` lists them."""
    code = np.zeros(len(subsets), dtype=np.int64)
    for column in subsets.T:
        code = code * n + column
    return code


def _normal(c: Array) -> Array:
    shares: Array = c / c.sum(axis=1, keepdims=True)
    return shares


def _ranked(palette: Palette, target: Target, c: Array, keep: int) -> Solved:
    """Best first; subsets whose optimum drops an ink are the smaller subset."""
    c = np.where(c < DROPPED, 0, c)
    c /= c.sum(axis=1, keepdims=True)
    XYZ = (reflectance(palette, c) @ target.W).reshape(len(c), len(target.lights), 3)
    lengths = de00(target.lab, XYZ_to_Lab(XYZ, target.whites))
    F = lengths @ target.share
    order = np.argsort(F, kind="stable")
    _, first = np.unique(c[order] > 0, axis=0, return_index=True)
    order = np.sort(order[first])
    order = order[_worth_keeping(palette, F[order], c[order], keep)]
    order = order[np.argsort(F[order], kind="stable")]
    return Solved(fractions=c[order], F=F[order], de00=lengths[order])


def _need_all_inks(F: Array, c: Array) -> Index:
    """Where the formulas stand that no other, of the same inks but one, comes up to.

    The others would crowd out formulas that are other ones.
    """
    inks = [tuple(np.flatnonzero(row)) for row in c > 0]
    found = dict(zip(inks, F.tolist(), strict=True))
    return np.array(
        [
            k
            for k, held in enumerate(inks)
            if all(
                found.get((*held[:i], *held[i + 1 :]), np.inf) > F[k] + ALIKE / 10
                for i in range(len(held))
            )
        ]
    )


def _worth_keeping(palette: Palette, F: Array, c: Array, keep: int) -> Index:
    """Where the `keep` of most use stand: within SAME of the best, fewer inks, then cheaper.

    A third of them are the best by F alone, so that those are never crowded out.  Where many
    meet the target, as under one light, round-off must not choose: hence `ALIKE`.
    """
    if len(F) <= keep:
        return np.arange(len(F))
    cost, level = _cost(palette, c), np.round(F / ALIKE)
    inks = (c > DROPPED).sum(axis=1)
    best = np.lexsort((cost, inks, level))[: keep // 3]
    alike = F.min() + SAME >= F
    size = np.where(alike, inks, 0)
    useful = np.lexsort((level, np.where(alike, cost, 0), size, ~alike))
    useful = useful[~np.isin(useful, best)]
    return np.concatenate([best, useful[: keep - len(best)]])


def _cost(palette: Palette, c: Array) -> Array:
    """Cost per kg of formulas (n, n_ink); infinite where an ink has no price."""
    price = _prices(palette)
    unknown = ((c > DROPPED) & np.isinf(price)).any(axis=1)
    return np.where(unknown, np.inf, c @ np.where(np.isinf(price), 0, price))


def _prices(palette: Palette) -> Array:
    """Cost per kg of every ink (n_ink,); infinite where it is not known."""
    return np.array([np.inf if i.cost_per_kg is None else i.cost_per_kg for i in palette.inks])


def _linear_start(palette: Palette, R: Array, subsets: Index) -> Array:
    """Amounts with sum c (K - q S) nearest to zero, q the target's K/S, see `linear`."""
    A = linear_misses(palette, R)
    gram = (A @ A.T)[subsets[:, :, None], subsets[:, None, :]]
    m = subsets.shape[1]
    on = np.arange(m)
    gram[:, on, on] *= 1 + RIDGE
    c = np.linalg.solve(gram, np.ones((len(subsets), m, 1)))[:, :, 0]
    c = c / np.abs(c).sum(axis=1, keepdims=True)
    return _normal(np.maximum(c, 1e-3 * np.abs(c) + 1e-6))
