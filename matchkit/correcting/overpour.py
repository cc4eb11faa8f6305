"""Too much, or the wrong ink, while a batch is still being weighed: how to go on.

Nothing was measured, so nothing was learned; what is in the container is known.  There are
three ways on: pour the rest in proportion (the same colour, a bigger batch), pour what
brings the colour near enough with the least growth, or keep to the size and come as near
as that lets you.
"""

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.words import direction
from matchkit.correcting.container import (
    Bucket,
    balanced,
    bucket_of,
    least,
    nearest,
    seen_after,
    under_first_light,
)
from matchkit.correcting.correct import AIM, Limits
from matchkit.errors import InputError
from matchkit.inks.palette import Palette
from matchkit.inks.recipe import weighing_order

Array = NDArray[np.float64]
Index = NDArray[np.int64]

LARGEST = 10.0  # times the planned batch: a batch that needs more is a new job
SPECK = 1e-4  # of the batch: what an ink starts with that the plan has no more need of
MOST_INKS = 3  # in a least addition
TRIED, KEPT = 60, 20  # sets of inks taken further, and to the end
FURTHER = 2  # inks that the plan does not name, at the most
WORTH_F, WORTH_GROWTH = 0.1, 0.01  # what each of them must save: F, or a share of the batch


@dataclass(frozen=True, kw_only=True, eq=False)
class Way:
    """One way on: grams of each ink still to pour (n_ink,), and what comes of it.

    `lab` (n_light, 3) and `de00` (n_light,) are those of the finished batch against the
    target.  `fits` says whether the container takes it.
    """

    rest_g: Array
    total_g: float
    growth_g: float  # beyond the planned batch
    R: Array
    lab: Array
    de00: Array
    fits: bool
    words: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Rescue:
    """What went wrong (ink names), and the ways on.

    `scaled` is None after a wrong ink, which no scaling takes out again; `least_growth` is
    None where a batch ten times the plan would still not be near enough.
    """

    over: tuple[str, ...]
    wrong: tuple[str, ...]
    scaled: Way | None
    least_growth: Way | None
    same_size: Way

    @property
    def ways(self) -> dict[str, Way]:
        """The ways on that there are, by name."""
        found = (self.scaled, self.least_growth, self.same_size)
        named = zip(("scaled", "least_growth", "same_size"), found, strict=True)
        return {name: way for name, way in named if way is not None}


def over_pour(
    palette: Palette,
    plan_g: Array,
    in_g: Array,
    target: Target,
    limits: Limits,
) -> Rescue:
    """How to finish a batch planned as `plan_g` (n_ink,) with `in_g` (n_ink,) in the container.

    Near enough is 0.3 of the tolerance from
    the target, or from the plan's own colour where the plan is farther off than that.
    Inks that are not in the plan are used only where that is worth it; `max_percent` is
    kept, and the stock of the inks where `limits` name no amounts.  InputError if the weights
    make no sense.
    """
    plan, held = _checked(palette, plan_g, in_g, limits.room_g)
    tolerance_de00, upper_g = limits.tolerance_de00, limits.upper_g
    if upper_g is None:
        stock = [ink.stock_g for ink in palette.inks]
        upper_g = np.array([np.inf if grams is None else grams for grams in stock])
    case = _Case(palette, plan, held, _goal(palette, plan, target, tolerance_de00), target,
                 AIM * tolerance_de00, limits.resolution_g, limits.room_g, upper_g)  # fmt: skip
    over = (held > plan + case.resolution_g / 2) & (plan > 0)
    wrong = (held > 0) & (plan == 0)
    scaled = None if wrong.any() else _way(case, _scaled_rest(case), "same colour")
    same_size = _way(case, _same_size(case), "same size")
    near = seen_after(case.bucket, case.goal, same_size.rest_g)[2][0] <= case.aim
    return Rescue(
        over=tuple(palette.names[i] for i in np.flatnonzero(over)),
        wrong=tuple(palette.names[i] for i in np.flatnonzero(wrong)),
        scaled=scaled,
        least_growth=same_size if near else _least_growth(case, scaled),
        same_size=same_size,
    )


@dataclass(frozen=True)
class _Case:
    palette: Palette
    plan_g: Array
    in_g: Array
    goal: Target
    target: Target
    aim: float
    resolution_g: float
    room_g: float
    upper_g: Array

    @property
    def bucket(self) -> Bucket:
        return bucket_of(self.palette, self.in_g)

    @property
    def left_g(self) -> float:
        return max(float(self.plan_g.sum() - self.in_g.sum()), 0.0)


def _checked(palette: Palette, plan_g: Array, in_g: Array, room_g: float) -> tuple[Array, Array]:
    plan, held = np.asarray(plan_g, dtype=float), np.asarray(in_g, dtype=float)
    faults = []
    for what, grams in (("plan", plan), ("container", held)):
        if grams.shape != (len(palette.inks),):
            raise InputError(f"{what}: {grams.size} weights for {len(palette.inks)} inks")
        bad = np.flatnonzero(~(np.isfinite(grams) & (grams >= 0)))
        faults += [
            f"{what}: {palette.names[i]} is {grams[i]:g} g; a weight is 0 or more" for i in bad
        ]
        if not len(bad) and grams.sum() == 0:
            faults.append(f"{what}: every weight is 0; give the grams as they were weighed")
    if not room_g >= 0:
        faults.append(f"room: found {room_g:g} g, need 0 or more")
    if faults:
        raise InputError(faults)
    return plan, held


def _goal(palette: Palette, plan: Array, target: Target, tolerance_de00: float) -> Target:
    """The target, or the plan's own colour where the plan itself is farther off."""
    _, lab, d = seen_after(bucket_of(palette, plan), target, np.zeros_like(plan))
    return target if d[0] <= AIM * tolerance_de00 else replace(target, lab=lab)


def _scaled_rest(case: _Case) -> Array:
    """The rest of the plan, made larger until nothing in the container is over it."""
    planned = case.plan_g > 0
    over = (case.in_g - case.plan_g)[planned] > case.resolution_g / 2
    times = np.where(over, case.in_g[planned] / case.plan_g[planned], 1.0).max()
    rest: Array = np.maximum(times * case.plan_g - case.in_g, 0)
    return rest


def _sets(case: _Case) -> list[tuple[Index, Array]]:
    """The plan's inks, alone and with further ones: positions and starting amounts, (n, m)."""
    little = SPECK * case.plan_g.sum()
    own = np.flatnonzero(case.plan_g > 0)
    rest = np.maximum(_scaled_rest(case), little)[own]
    others = np.flatnonzero((case.plan_g == 0) & (case.upper_g > 0))
    sets = []
    for further in range(min(FURTHER, len(others)) + 1):
        more = np.array(list(combinations(others, further)), dtype=np.int64)
        n = len(more)
        subsets = np.hstack([np.tile(own, (n, 1)), more.reshape(n, further)])
        sets.append((subsets, np.hstack([np.tile(rest, (n, 1)), np.full((n, further), little)])))
    return sets


def _same_size(case: _Case) -> Array:
    """The nearest colour that pouring up to the planned size can give."""
    best, best_F = np.zeros_like(case.plan_g), np.inf
    if case.left_g < case.resolution_g:
        return best
    for subsets, start in _sets(case):
        a, d = nearest(case.bucket, case.goal, subsets, start, total_g=case.left_g, steps=60)
        F = d @ case.goal.share
        for k in np.argsort(F).tolist():
            row = _row(case, a[k], subsets[k])
            if F[k] < best_F - WORTH_F and _allowed(case, row):
                best, best_F = row, float(F[k])
                break
    return best


def _least_growth(case: _Case, scaled: Way | None) -> Way | None:
    """The least that comes near enough; a further ink only where it is worth it.

    To first order the least has at most three inks, so all sets of three are looked at.
    """
    rows = [] if scaled is None else [scaled.rest_g]
    rest = np.maximum(_scaled_rest(case), SPECK * case.plan_g.sum())
    own = np.flatnonzero(case.plan_g > 0)[None]
    rows += _near_enough(case, own, rest[own], steps=15)
    usable = np.flatnonzero((case.plan_g > 0) | (case.upper_g > 0))
    for m in range(1, min(MOST_INKS, len(usable)) + 1):
        subsets = np.array(list(combinations(usable, m)), dtype=np.int64)
        rows += _near_enough(case, subsets, balanced(case.bucket, subsets), steps=6)
    worth = WORTH_GROWTH * case.plan_g.sum()
    rows = [row for row in rows if row.sum() <= LARGEST * case.plan_g.sum()]
    if not rows:
        return None
    best = min(rows, key=lambda row: row.sum() + worth * (row[case.plan_g == 0] > 0).sum())
    return _way(case, best, "least growth")


def _near_enough(case: _Case, subsets: Index, start: Array, *, steps: int) -> list[Array]:
    """The least additions (n_ink,) of those sets that come near enough, limits kept.

    Under the other lights they are within the tolerance, or no worse than the plan.
    """
    first = under_first_light(case.goal)
    a, d = nearest(case.bucket, first, subsets, start, steps=60 if len(subsets) == 1 else 24)
    near = np.flatnonzero(d[:, 0] <= case.aim)
    near = near[np.argsort(a[near].sum(axis=1), kind="stable")][:TRIED]
    if not len(near):
        return []
    a, _ = least(
        case.bucket, first, subsets[near], a[near],
        aim=case.aim, at_least_g=case.left_g, keep=KEPT, steps=steps,
    )  # fmt: skip
    rows = [_row(case, *each) for each in zip(a, subsets[near], strict=True)]
    return [row for row in rows if _allowed(case, row) and _good_in_other_lights(case, row)]


def _good_in_other_lights(case: _Case, rest: Array) -> bool:
    plan = seen_after(bucket_of(case.palette, case.plan_g), case.target, np.zeros_like(rest))[2]
    d = seen_after(case.bucket, case.target, rest)[2]
    return bool((d[1:] <= np.maximum(case.aim / AIM, plan[1:])).all())


def _allowed(case: _Case, rest: Array) -> bool:
    """Whether what is poured keeps to stock and to each ink's pigment limit."""
    limit = np.array([ink.max_percent for ink in case.palette.inks])
    percent = 100 * (case.in_g + rest) / (case.in_g + rest).sum()
    return bool((rest <= case.upper_g).all() and ((percent <= limit * 1.0001) | (rest == 0)).all())


def _row(case: _Case, a: Array, subset: Index) -> Array:
    """Amounts (m,) over all inks; less than the balance shows is nothing."""
    out = np.zeros_like(case.plan_g)
    out[subset] = np.where(a < case.resolution_g / 2, 0, a)
    return out


def _way(case: _Case, rest_g: Array, lead: str) -> Way:
    """Rounded to the balance, and what comes of it."""
    step = case.resolution_g
    shown = max(0, -int(np.floor(np.log10(step))))
    decimals = shown + 2
    rest = np.round(np.rint(rest_g / step) * step, decimals)
    R, lab, d = seen_after(case.bucket, case.target, rest)
    total = round(float(case.in_g.sum() + rest.sum()), decimals)
    growth = round(max(total - float(case.plan_g.sum()), 0.0), decimals)
    fits = bool(rest.sum() <= case.room_g + step / 2)
    order = weighing_order(case.palette.inks, rest.tolist())
    pours = (
        ", ".join(f"{case.palette.names[i]} {rest[i]:.{shown}f} g" for i in order) or "nothing more"
    )
    grown = f"{growth:.{shown}f} g more than planned" if growth > 0 else "as planned"
    looks = direction(case.target.lab[0], lab[0])
    room = "" if fits else f"; the container takes only {case.room_g:g} g more"
    return Way(
        rest_g=rest,
        total_g=total,
        growth_g=growth,
        R=R,
        lab=lab,
        de00=d,
        fits=fits,
        words=f"{lead}: pour {pours}; {total:.{shown}f} g in all, {grown}; "
        f"dE00 {d[0]:.2f} ({looks}){room}",
    )
