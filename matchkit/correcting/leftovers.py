"""Use up leftovers: how much of one a colour can take, and which bucket to start from.

How much of a leftover a colour can take is the least addition that turns the leftover into
that colour, which `bucket` finds for every set of inks; no share is tried by guess.  Where
all of it can go in, the colour decides, and one way is always there: the leftover topped up
with a fresh formula for the colour, or with its own once more.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, islice

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.difference import Target
from matchkit.correcting.additions import allowed
from matchkit.correcting.amounts import balanced, least, nearest
from matchkit.correcting.container import Bucket, over_all, seen_after, under_first_light
from matchkit.correcting.mixes import Shelf, bucket_from, poured_together
from matchkit.errors import InputError
from matchkit.inks.recipe import weigh_out
from matchkit.matching.probability import Spread
from matchkit.matching.rank import (
    MOSTLY,
    Candidate,
    hiding_and_fair,
    limits,
    preferred,
    worth_weighing,
)
from matchkit.matching.solve import SAME, solve

Array = NDArray[np.float64]
Index = NDArray[np.int64]

AIM = 0.5  # of the tolerance: how near a batch with a leftover in it must come
UNIT_G = 1000.0  # of a leftover, to which additions are told
KEPT = 20  # sets of inks that are weighed out and compared
TRIED = 60  # sets of inks that are taken to their largest share
PROMISING, GLANCED, GLANCE_STEPS = 5, 6, 12  # inks, sets and steps of a quick look
SAME_SHARE = 0.01  # shares this near are the same: fewer inks, then the nearer colour
SAME_F = 0.01  # where all of it goes in anyhow, only F this near counts as the same


@dataclass(frozen=True, kw_only=True, eq=False)
class Use:
    """A formula with a leftover in it, which is the first of the candidate's inks.

    `share` of the batch and `used_g` are the leftover's, `left_g` stays on the shelf (None:
    nobody knows how much there was).  `fresh_g` is what is still taken from stock, and
    `saved` what that costs less than the formula without the leftover (None: not known).
    """

    name: str
    candidate: Candidate
    share: float
    used_g: float
    left_g: float | None
    fresh_g: float
    saved: float | None
    within: bool  # of the aim, first light


def use(
    shelf: Shelf,
    name: str,
    target: Target,
    spread: Spread,
    *,
    batch_g: float,
    resolution_g: float,
    tolerance_de00: float,
    max_inks: int = 4,
    top: int = 5,
    without: Sequence[str] = (),
    fresh_cost_per_kg: float | None = None,
    fresh_covariance: Array | None = None,
    quick: Array | None = None,
) -> tuple[Use, ...]:
    """Formulas that take the most of a leftover and stay within half the tolerance.

    The most of it first; where all of it goes in, the nearest colour first, so that a colour
    that is made again is the leftover and the same formula.  The leftover counts as one of
    `max_inks`, or as the inks in it that are not weighed anew, if those are fewer.  Its
    stock, and the stock and `max_percent` of each ink, are kept.  `fresh_cost_per_kg` is
    that of the formula without it.  Where no formula comes near enough the nearest are
    given, with `within` False; none at all if stock and limits leave none.

    With `quick`, a formula (n_ink,) that has the target's colour, only its inks and a few that
    look promising are tried: an eighth of the time, and nearly always as much of the leftover.
    """
    j = shelf.index(name)
    stock = shelf.mixes[j].stock_g
    if stock is not None and stock < resolution_g:
        raise InputError(f"{name!r}: nothing is left of it (stock_g {stock:g}); choose another")
    problem = _Problem(
        shelf=shelf,
        j=j,
        bucket=bucket_from(shelf, {name: UNIT_G}),
        target=target,
        spread=spread,
        batch_g=batch_g,
        resolution_g=resolution_g,
        tolerance_de00=tolerance_de00,
        most=1.0 if stock is None else min(1.0, _floor(stock, resolution_g) / batch_g),
        fresh_cost_per_kg=fresh_cost_per_kg,
        fresh_covariance=fresh_covariance,
    )
    usable = [
        i
        for i, ink in enumerate(shelf.palette.inks)
        if ink.active and ink.name not in without and (ink.stock_g is None or ink.stock_g > 0)
    ]
    if quick is not None:
        rows = _quickly(problem, usable, quick, max_inks)
    else:
        rows = [np.zeros(len(shelf.palette.inks))] if problem.most == 1 else []
        if problem.most < 1:
            rows += _topped_up(problem, max_inks, without)
        for m in range(1, min(max_inks, len(usable)) + 1):
            subsets = _sets(usable, problem.held, m, max_inks)
            if len(subsets):
                rows += [*_largest_shares(problem, subsets)]
    clear = np.array([ink.role == "clear" for ink in shelf.palette.inks])
    by_itself = float(shelf.contents[j][clear].sum())
    found = [each for each in (_use(problem, row) for row in rows) if each is not None]
    if by_itself <= MOSTLY:  # what is clear itself may be made again like that
        found = [_with_clear(shelf, each, by_itself) for each in found]
    near = [each for each in found if each.within]
    if near:
        ranked = _by_share(near, problem.most)
    else:
        given = {id(each.candidate): each for each in found}
        by_F = preferred([each.candidate for each in found], "nearest", tolerance_de00)
        ranked = [given[id(each)] for each in by_F]
    return tuple(_with_clear(shelf, each, by_itself) for each in _different(ranked, top))


def which_bucket(
    shelf: Shelf,
    target: Target,
    spread: Spread,
    *,
    batch_g: float,
    resolution_g: float,
    tolerance_de00: float,
    max_inks: int = 4,
    without: Sequence[str] = (),
    fresh_cost_per_kg: float | None = None,
) -> tuple[Use, ...]:
    """For every mixture its best use: what can be brought to the target first, most saved first.

    By cost where that is known of all, else by grams that need not be taken from stock.
    Above all stands a mixture that has the target's colour already.  What is not within the
    aim comes last, the nearest first, and what saves nothing is left out.
    """
    found: list[Use] = []
    aim = AIM * tolerance_de00
    for mix in shelf.mixes:
        if mix.stock_g is None or mix.stock_g >= resolution_g:
            best = use(
                shelf, mix.name, target, spread, batch_g=batch_g, resolution_g=resolution_g,
                tolerance_de00=tolerance_de00, max_inks=max_inks, top=1, without=without,
                fresh_cost_per_kg=fresh_cost_per_kg,
            )  # fmt: skip
            found += [each for each in best if each.saved is None or each.saved > 0]
    known = all(each.saved is not None for each in found if each.within)
    found.sort(key=lambda each: -(each.saved or 0) if known else -each.used_g)
    found.sort(key=lambda each: _away(shelf, each.name, target) > aim)
    return tuple(sorted(found, key=lambda e: 0 if e.within else float(e.candidate.de00[0])))


def _away(shelf: Shelf, name: str, target: Target) -> float:
    """dE00 of a mixture as it stands on the shelf, first light."""
    nothing = np.zeros(len(shelf.palette.inks))
    return float(seen_after(bucket_from(shelf, {name: UNIT_G}), target, nothing)[2][0])


@dataclass(frozen=True)
class _Problem:
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
    fresh_covariance: Array | None

    @property
    def held(self) -> list[int]:
        """The inks of the leftover."""
        return [self.shelf.palette.index(ink) for ink in self.shelf.mixes[self.j].inks]

    @property
    def aim(self) -> float:
        return AIM * self.tolerance_de00

    @property
    def at_least_g(self) -> float:
        """What must join the unit, since there is no more of the leftover."""
        return UNIT_G * (1 / self.most - 1)

    @property
    def limit(self) -> Array:
        """The largest share of each ink, (n_ink,)."""
        return np.array([ink.max_percent / 100 for ink in self.shelf.palette.inks])

    def allows(self, rows: Array) -> NDArray[np.bool_]:
        """Which additions (n, n_ink) to the unit keep to stock and pigment limits."""
        stock = [np.inf if i.stock_g is None else i.stock_g for i in self.shelf.palette.inks]
        return allowed(self.bucket, rows, np.array(stock), batch_g=self.batch_g)


def _quickly(
    problem: _Problem, usable: Sequence[int], formula: Array, max_inks: int
) -> list[Array]:
    """Additions (n_ink,) to the unit by sets of promising inks and those of `formula`."""
    n, at_least = len(problem.shelf.palette.inks), problem.at_least_g
    inks = {*np.flatnonzero(formula).tolist(), *problem.held} & {*usable}
    inks |= {*_promising(problem, usable, None)}
    if at_least > 0:
        inks |= {*_promising(problem, usable, at_least)}
    rows = [at_least * formula, at_least * problem.shelf.contents[problem.j]]
    rows = rows if at_least > 0 else [np.zeros(n)]
    subsets, start = _padded(problem, sorted(inks), usable, max_inks)
    first = under_first_light(problem.target)
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


def _promising(problem: _Problem, usable: Sequence[int], total_g: float | None) -> list[int]:
    """The inks with most to say where all of them together come near the target."""
    first, everything = under_first_light(problem.target), np.array([usable], dtype=np.int64)
    start = balanced(problem.bucket, everything)
    a, d = nearest(problem.bucket, first, everything, start, total_g=total_g, steps=GLANCE_STEPS)
    if total_g is None and d[0, 0] <= problem.aim:
        a, _ = least(problem.bucket, first, everything, a, aim=problem.aim)
    order = np.argsort(-(a / start)[0], kind="stable")[:PROMISING]
    return [usable[k] for k in order]


def _padded(
    problem: _Problem, inks: Sequence[int], usable: Sequence[int], max_inks: int
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


def _first_allowed(problem: _Problem, subsets: Index, a: Array, d: Array, by: Array) -> Array:
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


def _topped_up(problem: _Problem, max_inks: int, without: Sequence[str]) -> list[Array]:
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


def _largest_shares(problem: _Problem, subsets: Index) -> Array:
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


def _all_of_it(problem: _Problem, subsets: Index) -> Array:
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


def _use(problem: _Problem, a: Array) -> Use | None:
    """Additions (n_ink,) to the unit as they would be weighed; None beyond a limit."""
    shelf, batch_g, step = problem.shelf, problem.batch_g, problem.resolution_g
    mix = shelf.mixes[problem.j]
    share = min(UNIT_G / (UNIT_G + a.sum()), problem.most)
    rest = a / max(a.sum(), 1e-12) * (1 - share)
    room = np.append(problem.limit - share * shelf.contents[problem.j], problem.most)
    upper = np.maximum(room, np.append(rest, share))
    grams = weigh_out(np.append(rest, share), batch_g, step, upper=upper)
    added, used = grams[:-1], float(grams[-1])
    if used < step or not problem.allows(added[None] * UNIT_G / used)[0]:
        return None
    candidate = poured_together(
        shelf, added, {mix.name: used}, problem.target, problem.spread,
        tolerance_de00=problem.tolerance_de00, fresh_covariance=problem.fresh_covariance,
    )  # fmt: skip
    cost, without = candidate.cost_per_kg, problem.fresh_cost_per_kg
    return Use(
        name=mix.name,
        candidate=replace(candidate, mostly_clear=False),  # said at the end, see `use`
        share=used / float(grams.sum()),
        used_g=used,
        left_g=None if mix.stock_g is None else round(mix.stock_g - used, 6),
        fresh_g=float(added.sum()),
        saved=None if cost is None or without is None else (without - cost) * batch_g / 1000,
        within=bool(candidate.de00[0] <= problem.aim * 1.02),
    )


def _with_clear(shelf: Shelf, each: Use, by_itself: float) -> Use:
    """The use with `mostly_clear` said; `by_itself` is the leftover's own share of clear."""
    clears = {ink.name for ink in shelf.palette.inks if ink.role == "clear"}
    made = each.candidate
    grams = sum(g for name, g in zip(made.inks, made.grams, strict=True) if name in clears)
    share = (grams + by_itself * each.used_g) / sum(made.grams)
    return replace(each, candidate=replace(made, mostly_clear=share > MOSTLY))


def _by_share(found: Sequence[Use], most: float) -> list[Use]:
    """The most of the leftover first; of equal shares fewer inks, then the nearer colour.

    What is mostly clear comes after what is not and has a fair chance.
    """
    left, out = list(found), []
    while left:
        fair = {id(each) for each in hiding_and_fair([each.candidate for each in left])}
        pool = [each for each in left if id(each.candidate) in fair] or left
        largest = max(each.share for each in pool)
        same = [each for each in pool if each.share >= largest - SAME_SHARE]
        out.append(best := _best_of(same, SAME_F if largest >= most - SAME_SHARE else SAME))
        left = [each for each in left if each is not best]
    return out


def _best_of(same: Sequence[Use], alike: float) -> Use:
    """Of uses with one share the fewest inks among those whose F is within `alike`.

    What `worth_weighing` leaves out of those within SAME is left out here.
    """
    nearest_F = min(each.candidate.F for each in same)
    near = [each for each in same if nearest_F + SAME >= each.candidate.F]
    good = {id(each) for each in worth_weighing([each.candidate for each in near])}
    near = [each for each in near if id(each.candidate) in good]
    nearest_F = min(each.candidate.F for each in near)
    return min(
        (each for each in near if nearest_F + alike >= each.candidate.F),
        key=lambda each: (len(each.candidate.inks), each.candidate.F),
    )


def _different(found: Sequence[Use], top: int) -> list[Use]:
    """Without formulas that only stir something more into a better one."""
    chosen: list[Use] = []
    for each in found:
        inks = frozenset(each.candidate.inks)
        if len(chosen) < top and not any(inks >= frozenset(c.candidate.inks) for c in chosen):
            chosen.append(each)
    return chosen


def _floor(grams: float, resolution_g: float) -> float:
    return float(np.floor(grams / resolution_g + 1e-9) * resolution_g)
