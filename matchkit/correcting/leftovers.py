"""Use up leftovers: how much of one a colour can take, and which bucket to start from.

How much of a leftover a colour can take is the least addition that turns the leftover into
that colour, which `bucket` finds for every set of inks; no share is tried by guess.  Where
all of it can go in, the colour decides, and one way is always there: the leftover topped up
with a fresh formula for the colour, or with its own once more.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.correcting.container import seen_after
from matchkit.correcting.mixes import Shelf, bucket_from, poured_together
from matchkit.correcting.shares import AIM, UNIT_G, Problem, tried
from matchkit.errors import InputError
from matchkit.inks.recipe import weigh_out
from matchkit.matching import rank
from matchkit.matching.probability import Spread
from matchkit.matching.solve import SAME

SAME_SHARE = 0.01  # shares this near are the same: fewer inks, then the nearer colour
WORTH = 0.02  # of a batch: a leftover that takes less of it is not worked off unasked
SAME_F = 0.01  # where all of it goes in anyhow, only F this near counts as the same


@dataclass(frozen=True, kw_only=True, eq=False)
class Use:
    """A formula with a leftover in it, which is the first of the candidate's inks.

    `share` of the batch and `used_g` are the leftover's, `left_g` stays on the shelf (None:
    nobody knows how much there was).  `fresh_g` is what is still taken from stock, and
    `saved` what that costs less than the formula without the leftover (None: not known).
    """

    name: str
    candidate: rank.Candidate
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
    problem = Problem(
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
    )
    usable = [
        i
        for i, ink in enumerate(shelf.palette.inks)
        if ink.active and ink.name not in without and (ink.stock_g is None or ink.stock_g > 0)
    ]
    rows = tried(problem, usable, max_inks, without, quick)
    clear = np.array([ink.role == "clear" for ink in shelf.palette.inks])
    by_itself = float(shelf.contents[j][clear].sum())
    found = [each for each in (_use(problem, row) for row in rows) if each is not None]
    if by_itself <= rank.MOSTLY:  # what is clear itself may be made again like that
        found = [_with_clear(shelf, each, by_itself) for each in found]
    near = [each for each in found if each.within]
    if near:
        ranked = _by_share(near, problem.most)
    else:
        given = {id(each.candidate): each for each in found}
        by_F = rank.preferred([each.candidate for each in found], "nearest", tolerance_de00)
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
    aim comes last, the nearest first, and what saves nothing is left out, as is less than `WORTH`.
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
            worth = [each for each in best if each.share >= WORTH]
            found += [each for each in worth if each.saved is None or each.saved > 0]
    known = all(each.saved is not None for each in found if each.within)
    found.sort(key=lambda each: -(each.saved or 0) if known else -each.used_g)
    found.sort(key=lambda each: away_from(shelf, each.name, target) > aim)
    return tuple(sorted(found, key=lambda e: 0 if e.within else float(e.candidate.de00[0])))


def away_from(shelf: Shelf, name: str, target: Target) -> float:
    """dE00 of a mixture as it stands on the shelf, first light."""
    nothing = np.zeros(len(shelf.palette.inks))
    return float(seen_after(bucket_from(shelf, {name: UNIT_G}), target, nothing)[2][0])


def _use(problem: Problem, a: Array) -> Use | None:
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
        tolerance_de00=problem.tolerance_de00,
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
    return replace(each, candidate=replace(made, mostly_clear=share > rank.MOSTLY))


def _by_share(found: Sequence[Use], most: float) -> list[Use]:
    """The most of the leftover first; of equal shares fewer inks, then the nearer colour.

    What is mostly clear comes after what is not and has a fair chance.
    """
    left, out = list(found), []
    while left:
        fair = {id(each) for each in rank.hiding_and_fair([each.candidate for each in left])}
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
    good = {id(each) for each in rank.worth_weighing([each.candidate for each in near])}
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
