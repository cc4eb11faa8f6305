"""Use up leftovers: how much of one a colour can take, and which bucket to start from.

How much of a leftover a colour can take is the least addition that turns the leftover into
that colour, which `bucket` finds for every set of inks; no share is tried by guess.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from matchkit.bucket import (
    Bucket,
    balanced,
    lab_covariance_after,
    least,
    nearest,
    seen_after,
    under_first_light,
)
from matchkit.faults import BadInput
from matchkit.inks import Ink
from matchkit.judge import Candidate
from matchkit.odds import Spread, chance_within
from matchkit.recipe import weigh_out, weighing_order
from matchkit.shelf import Shelf, bucket_from
from matchkit.solve import Target

__all__ = ["Use", "use", "which_bucket"]

Array = NDArray[np.float64]

AIM = 0.5  # of the tolerance: how near a batch with a leftover in it must come
UNIT_G = 1000.0  # of a leftover, to which additions are told
TRIED = 60  # sets of inks that are taken to their largest share
KEPT = 20  # of them, to the end
SAME_SHARE = 0.01  # shares this near are the same: fewer inks, then the nearer colour


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
) -> tuple[Use, ...]:
    """Formulas that take the most of a leftover and stay within half the tolerance.

    The most of it first.  The leftover counts as one of `max_inks`; its stock, and the
    stock and `max_percent` of each ink, are kept.  `fresh_cost_per_kg` is that of the
    formula without it.  Where no formula comes near enough the nearest are given, with
    `within` False; none at all if stock and limits leave none.
    """
    j = shelf.index(name)
    stock = shelf.mixes[j].stock_g
    if stock is not None and stock < resolution_g:
        raise BadInput(f"{name!r}: nothing is left of it (stock_g {stock:g}); choose another")
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
        if ink.name not in without and (ink.stock_g is None or ink.stock_g > 0)
    ]
    rows = [
        row
        for m in range(max_inks)
        if m <= len(usable) and (m > 0 or problem.most == 1)
        for row in _largest_shares(problem, usable, m)
    ]
    found = [each for each in (_use(problem, row) for row in rows) if each is not None]
    near = [each for each in found if each.within]
    if near:
        return tuple(_different(_by_share(near), top))
    return tuple(_different(sorted(found, key=lambda each: each.candidate.F), top))


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
    """For every mixture that can be brought to the target its best use, most saved first.

    By cost where that is known of all, else by grams that need not be taken from stock.
    """
    found = []
    for mix in shelf.mixes:
        if mix.stock_g is None or mix.stock_g >= resolution_g:
            best = use(
                shelf, mix.name, target, spread, batch_g=batch_g, resolution_g=resolution_g,
                tolerance_de00=tolerance_de00, max_inks=max_inks, top=1, without=without,
                fresh_cost_per_kg=fresh_cost_per_kg,
            )  # fmt: skip
            found += [each for each in best if each.within]
    if all(each.saved is not None for each in found):
        return tuple(sorted(found, key=lambda each: -(each.saved or 0)))
    return tuple(sorted(found, key=lambda each: -each.used_g))


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
    def aim(self) -> float:
        return AIM * self.tolerance_de00


def _largest_shares(problem: _Problem, usable: Sequence[int], m: int) -> Array:
    """Additions (n, n_ink) to the unit by sets of m inks: the smallest, or the nearest."""
    n_ink = len(problem.shelf.palette.inks)
    if m == 0:
        return np.zeros((1, n_ink))
    at_least = UNIT_G * (1 / problem.most - 1)
    first = under_first_light(problem.target)
    subsets = np.array(list(combinations(usable, m)), dtype=np.int64)
    a, d = nearest(problem.bucket, first, subsets, balanced(problem.bucket, subsets))
    enough = d[:, 0] <= problem.aim
    if enough.any():
        total = np.where(enough, np.maximum(a.sum(axis=1), at_least), np.inf)
        rows = np.argsort(total, kind="stable")[: min(TRIED, int(enough.sum()))]
        a, _ = least(
            problem.bucket, first, subsets[rows], a[rows],
            aim=problem.aim, at_least_g=at_least, keep=KEPT,
        )  # fmt: skip
    else:
        rows = np.argsort(d[:, 0], kind="stable")[:KEPT]
        a = a[rows] * np.maximum(1, at_least / a[rows].sum(axis=1))[:, None]
    out = np.zeros((len(rows), n_ink))
    np.put_along_axis(out, subsets[rows], a, axis=1)
    return out


def _use(problem: _Problem, a: Array) -> Use | None:
    """Additions (n_ink,) to the unit as they would be weighed; None beyond a limit."""
    shelf, batch_g, step = problem.shelf, problem.batch_g, problem.resolution_g
    mix = shelf.mixes[problem.j]
    share = min(UNIT_G / (UNIT_G + a.sum()), problem.most)
    rest = a / max(a.sum(), 1e-12) * (1 - share)
    grams = weigh_out(np.append(rest, share), batch_g, step)
    added, used = grams[:-1], float(grams[-1])
    if used < step or not _within_limits(shelf, problem.j, added, used):
        return None
    a = added * UNIT_G / used
    R, lab, d = seen_after(problem.bucket, problem.target, a)
    scaled = replace(problem.bucket, grams=problem.bucket.grams * used / UNIT_G)
    covariance = lab_covariance_after(
        scaled, problem.target, added, problem.spread,
        fresh=problem.fresh_covariance, held=shelf.covariance[problem.j],
    )  # fmt: skip
    order = weighing_order(shelf.palette.inks, added.tolist())
    cost = _cost(shelf.palette.inks, added)
    without = problem.fresh_cost_per_kg
    return Use(
        name=mix.name,
        candidate=Candidate(
            inks=(mix.name, *(shelf.palette.inks[i].name for i in order)),
            grams=(used, *(float(added[i]) for i in order)),
            R=R,
            lab=lab,
            de00=d,
            F=float(problem.target.share @ d),
            cost_per_kg=None if cost is None else 1000 * cost / batch_g,
            chance_in_tolerance=chance_within(
                lab[0], covariance, problem.target.lab[0], problem.tolerance_de00
            ),
        ),
        share=used / float(grams.sum()),
        used_g=used,
        left_g=None if mix.stock_g is None else round(mix.stock_g - used, 6),
        fresh_g=float(added.sum()),
        saved=None if cost is None or without is None else without * batch_g / 1000 - cost,
        within=bool(d[0] <= problem.aim * 1.02),
    )


def _within_limits(shelf: Shelf, j: int, added: Array, used: float) -> bool:
    """Whether stock and the pigment limit of each ink are kept."""
    percent = 100 * (added + used * shelf.contents[j]) / (added.sum() + used)
    limit = np.array([ink.max_percent for ink in shelf.palette.inks])
    stock = np.array([np.inf if i.stock_g is None else i.stock_g for i in shelf.palette.inks])
    # An ink that is only in the leftover was within its limit when that was made.
    over = (added > 0) & (percent > limit * (1 + 1e-9))
    return not over.any() and bool((added <= stock).all())


def _by_share(found: Sequence[Use]) -> list[Use]:
    """The most of the leftover first; of equal shares fewer inks, then the nearer colour."""
    left, out = sorted(found, key=lambda each: -each.share), []
    while left:
        same = [each for each in left if each.share >= left[0].share - SAME_SHARE]
        best = min(same, key=lambda each: (len(each.candidate.inks), each.candidate.F))
        left = [each for each in left if each is not best]
        out.append(best)
    return out


def _different(found: Sequence[Use], top: int) -> list[Use]:
    """Without formulas that only stir something more into a better one."""
    chosen: list[Use] = []
    for each in found:
        inks = frozenset(each.candidate.inks)
        if len(chosen) < top and not any(inks >= frozenset(c.candidate.inks) for c in chosen):
            chosen.append(each)
    return chosen


def _cost(inks: Sequence[Ink], grams: Array) -> float | None:
    costs = [(ink.cost_per_kg, g) for ink, g in zip(inks, grams.tolist(), strict=True) if g > 0]
    if any(cost is None for cost, _ in costs):
        return None
    return float(sum(cost * g / 1000 for cost, g in costs if cost is not None))


def _floor(grams: float, resolution_g: float) -> float:
    return float(np.floor(grams / resolution_g + 1e-9) * resolution_g)
