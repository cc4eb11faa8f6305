"""What is added to a unit of a leftover so that a batch takes as much of it as it can.

Additions are tried by sets of inks: all sets, or for a quick look those of promising inks.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, islice

import numpy as np

from matchkit.arrays import Array, Index, Mask
from matchkit.colorimetry.difference import Target
from matchkit.correcting.additions import allowed
from matchkit.correcting.amounts import balanced, least, nearest
from matchkit.correcting.container import Bucket, differences_after, over_all, under_first_light
from matchkit.correcting.mixes import Shelf
from matchkit.matching.probability import Spread
from matchkit.matching.rank import limits
from matchkit.matching.solve import solve

AIM = 0.5  # of the tolerance: how near a batch with a leftover in it must come
UNIT_G = 1000.0  # of a leftover, to which additions are told
KEPT = 20  # sets of inks that are weighed out and compared
TRIED = 60  # sets of inks that are taken to their largest share
PROMISING, GLANCED, GLANCE_STEPS = 5, 6, 12  # inks, sets and steps of a quick look


@dataclass(frozen=True)
class Problem:
    """A leftover, the mix `j` of a shelf, that is to go into a batch of a colour."""

    shelf: Shelf
    j: int
    bucket: Bucket
    target: Target
    spread: Spread
    batch_g: float
    resolution_g: float
    tolerance_de00: float
    most: float  # the largest share that the stock allows
    fresh_cost_per_kg: float | None

    @property
    def held(self) -> list[int]:
        """The inks of the leftover."""
        return [self.shelf.palette.index(ink) for ink in self.shelf.mixes[self.j].inks]

    @property
    def aim(self) -> float:
        """How near the batch must come, dE00 under the first light."""
        return AIM * self.tolerance_de00

    @property
    def at_least_g(self) -> float:
        """What must join the unit, since there is no more of the leftover."""
        return UNIT_G * (1 / self.most - 1)

    @property
    def limit(self) -> Array:
        """The largest share of each ink, (n_ink,)."""
        return np.array([ink.max_percent / 100 for ink in self.shelf.palette.inks])

    def allows(self, rows: Array) -> Mask:
        """Which additions (n, n_ink) to the unit keep to stock and pigment limits."""
        stock = [np.inf if i.stock_g is None else i.stock_g for i in self.shelf.palette.inks]
        return allowed(self.bucket, rows, np.array(stock), batch_g=self.batch_g)


def tried(
    problem: Problem,
    usable: Sequence[int],
    max_inks: int,
    without: Sequence[str],
    quick: Array | None,
) -> list[Array]:
    """Additions (n_ink,) to the unit that are worth weighing out; `quick` as in `leftovers.use`."""
    if quick is not None:
        return _quickly(problem, usable, quick, max_inks)
    rows = [np.zeros(len(problem.shelf.palette.inks))] if problem.most == 1 else []
    if problem.most < 1:
        rows += _topped_up(problem, max_inks, without)
    for m in range(1, min(max_inks, len(usable)) + 1):
        subsets = _sets(usable, problem.held, m, max_inks)
        if len(subsets):
            rows += [*_largest_shares(problem, subsets)]
    return rows


def _quickly(problem: Problem, usable: Sequence[int], formula: Array, max_inks: int) -> list[Array]:
    """Additions (n_ink,) to the unit by sets of promising inks and those of `formula`."""
    n, at_least = len(problem.shelf.palette.inks), problem.at_least_g
    first = under_first_light(problem.target)
    rows = [at_least * formula, at_least * problem.shelf.contents[problem.j]]
    rows = rows if at_least > 0 else [np.zeros(n)]
    away = differences_after(problem.bucket, first, np.array(rows))[:, 0]
    if ((away <= problem.aim) & problem.allows(np.array(rows))).any():
        return rows  # all of it goes in
    inks = {*np.flatnonzero(formula).tolist(), *problem.held} & {*usable}
    inks |= {*_promising(problem, usable, at_least if at_least > 0 else None)}
    subsets, start = _padded(problem, sorted(inks), usable, max_inks)
    if at_least > 0:
        a, d = nearest(problem.bucket, first, subsets, start, total_g=at_least)
        rows += [*_first_allowed(problem, subsets, a, d[:, 0], d[:, 0])]
    if len(rows) <= 2:  # not all of it goes in
        a, d = nearest(problem.bucket, first, subsets, start)
        total = np.where(d[:, 0] <= problem.aim, np.maximum(a.sum(axis=1), at_least), np.inf)
        k = np.argsort(total, kind="stable")[: min(2 * KEPT, int(np.isfinite(total).sum()))]
        a, d = least(problem.bucket, first, subsets[k], a[k], aim=problem.aim, at_least_g=at_least)
        rows += [*_first_allowed(problem, subsets[k], a, d[:, 0], a.sum(axis=1))]
    return rows


def _promising(problem: Problem, usable: Sequence[int], total_g: float | None) -> list[int]:
    """The inks with most to say where all of them together come near the target."""
    first, everything = under_first_light(problem.target), np.array([usable], dtype=np.int64)
    start = balanced(problem.bucket, everything)
    a, d = nearest(problem.bucket, first, everything, start, total_g=total_g, steps=GLANCE_STEPS)
    if total_g is None and d[0, 0] <= problem.aim:
        a, _ = least(problem.bucket, first, everything, a, aim=problem.aim)
    order = np.argsort(-(a / start)[0], kind="stable")[:PROMISING]
    return [usable[k] for k in order]


def _padded(
    problem: Problem, inks: Sequence[int], usable: Sequence[int], max_inks: int
) -> tuple[Index, Array]:
    """All sets of `inks` as (n, max_inks), and where to start: 0 g of what fills a set up."""
    sets = [each for m in range(1, max_inks) for each in combinations(inks, m)]
    if len(problem.held) <= max_inks and {*problem.held} <= {*usable}:
        others = [i for i in inks if i not in problem.held]
        sets += [(*problem.held, *c) for c in combinations(others, max_inks - len(problem.held))]
    subsets = np.empty((len(sets), max_inks), dtype=np.int64)
    there = np.zeros(subsets.shape, dtype=bool)
    for k, each in enumerate(sets):
        fill = (i for i in range(len(problem.shelf.palette.inks)) if i not in each)
        subsets[k] = (*each, *islice(fill, max_inks - len(each)))
        there[k, : len(each)] = True
    return subsets, np.where(there, balanced(problem.bucket, subsets), 0.0)


def _first_allowed(problem: Problem, subsets: Index, a: Array, d: Array, by: Array) -> Array:
    """The first few additions (n, n_ink) `by` a number that are near enough and allowed."""
    rows = over_all(subsets, a, len(problem.shelf.palette.inks))
    good = np.flatnonzero((d <= problem.aim) & problem.allows(rows))
    return rows[good[np.argsort(by[good], kind="stable")][:GLANCED]]


def _sets(usable: Sequence[int], held: Sequence[int], m: int, max_inks: int) -> Index:
    """Sets (n, m) of inks that may join: see `use` for how the leftover counts."""
    if m < max_inks:
        return np.array(list(combinations(usable, m)), dtype=np.int64).reshape(-1, m)
    if m < len(held) or not set(held) <= set(usable):
        return np.empty((0, m), dtype=np.int64)
    others = [i for i in usable if i not in held]
    sets = [sorted([*held, *more]) for more in combinations(others, m - len(held))]
    return np.array(sets, dtype=np.int64).reshape(-1, m)


def _topped_up(problem: Problem, max_inks: int, without: Sequence[str]) -> list[Array]:
    """Additions (n_ink,) to the unit: its own formula again, and the best fresh ones."""
    shelf, added_g = problem.shelf, problem.at_least_g
    upper = limits(shelf.palette, problem.batch_g * (1 - problem.most), without)
    rows = [shelf.contents[problem.j]]
    if upper.sum() >= 1:
        rows += [*solve(shelf.palette, problem.target, max_inks=max_inks, upper=upper).fractions]
    allowed = []
    for row in rows:
        inks = set(np.flatnonzero(row).tolist())
        few = min(1 + len(inks), len(inks | set(problem.held))) <= max_inks
        if few and not (upper[[*inks]] <= 0).any():
            allowed.append(added_g * row)
    return allowed


def _largest_shares(problem: Problem, subsets: Index) -> Array:
    """Additions (n, n_ink) to the unit by sets of inks: the smallest, or the nearest."""
    at_least = problem.at_least_g
    if at_least > 0:
        all_of_it = _all_of_it(problem, subsets)
        if len(all_of_it):
            return all_of_it
    first = under_first_light(problem.target)
    a, d = nearest(problem.bucket, first, subsets, balanced(problem.bucket, subsets))
    enough = d[:, 0] <= problem.aim
    if enough.any():
        total = np.where(enough, np.maximum(a.sum(axis=1), at_least), np.inf)
        rows = np.argsort(total, kind="stable")[: min(TRIED, int(enough.sum()))]
        a, _ = least(
            problem.bucket, first, subsets[rows], a[rows],
            aim=problem.aim, at_least_g=at_least,
        )  # fmt: skip
    else:
        rows = np.argsort(d[:, 0], kind="stable")[:KEPT]
        a = a[rows] * np.maximum(1, at_least / a[rows].sum(axis=1))[:, None]
    return over_all(subsets[rows], a, len(problem.shelf.palette.inks))


def _all_of_it(problem: Problem, subsets: Index) -> Array:
    """The nearest additions (n, n_ink) with all of the leftover, where they are near enough.

    From an equal say of each ink, and from what the leftover itself holds of them.
    """
    at_least, equal = problem.at_least_g, balanced(problem.bucket, subsets)
    own = problem.bucket.grams[subsets] + 0.05 * equal
    rows = []
    for start in (equal, own):
        a, d = nearest(problem.bucket, problem.target, subsets, start, total_g=at_least)
        near = np.flatnonzero(d[:, 0] <= problem.aim)
        added = over_all(subsets[near], a[near], len(problem.bucket.grams))
        near, F = near[problem.allows(added)], d @ problem.target.share
        best = near[np.argsort(F[near], kind="stable")][:KEPT]
        rows.append(over_all(subsets[best], a[best], len(problem.bucket.grams)))
    return np.concatenate(rows)
