"""Too much, or the wrong ink, while a batch is still being weighed: how to go on.

Nothing was measured, so nothing was learned; what is in the container is known.  There are
three ways on: pour the rest in proportion (the same colour, a bigger batch), pour what
brings the colour near enough with the least growth, or keep to the size and come as near
as that lets you.
"""

from dataclasses import dataclass, replace

import numpy as np

from matchkit.arrays import Array, Mask
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.words import direction
from matchkit.correcting.additions import AdditionWanted, least_additions, nearest_additions
from matchkit.correcting.container import Bucket, bucket_of, seen_after
from matchkit.correcting.correct import Limits
from matchkit.errors import InputError, raise_any
from matchkit.inks.palette import Palette
from matchkit.inks.recipe import weighing_order

LARGEST = 10.0  # times the planned batch: a batch that needs more is a new job
AIM = 0.3  # of the tolerance: how near the batch must come
# A weight over the plan by no more than either of these is none: our own choice, no source.
OVER_STEPS, OVER_SHARE = 2, 0.001


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

    `scaled` is None after a wrong ink, which no scaling takes out again, and where the stock is
    less than it takes; `least_growth` is
    None where a batch ten times the plan would still not be near enough.
    """

    over: tuple[str, ...]
    wrong: tuple[str, ...]
    scaled: Way | None
    least_growth: Way | None
    same_size: Way
    tolerance_de00: float

    @property
    def ways(self) -> dict[str, Way]:
        """The ways on that there are, by name, each once; none that only misses the colour.

        Keeping the size out of tolerance is one only where no other way is in tolerance and
        fits the container.
        """
        others = [way for way in (self.scaled, self.least_growth) if way is not None]
        least_de00 = min((way.de00[0] for way in others if way.fits), default=np.inf)
        useless = least_de00 <= self.tolerance_de00 < self.same_size.de00[0]
        found = (self.scaled, self.least_growth, None if useless else self.same_size)
        named: dict[str, Way] = {}
        for name, way in zip(("scaled", "least_growth", "same_size"), found, strict=True):
            poured = [np.array_equal(way.rest_g, each.rest_g) for each in named.values() if way]
            if way is not None and not any(poured):
                named[name] = way
        return named


def over_pour(
    palette: Palette, plan_g: Array, in_g: Array, target: Target, limits: Limits
) -> Rescue:
    """How to finish a batch planned as `plan_g` (n_ink,) with `in_g` (n_ink,) in the container.

    Near enough is 0.3 of the tolerance from the target, or from the plan's own colour where
    the plan is farther off than that.  Inks that are not in the plan are used only where that
    is worth it, see `additions`.  InputError if the weights make no sense.
    """
    plan, held = _checked(palette, plan_g, in_g, limits.room_g)
    tolerance_de00 = limits.tolerance_de00
    case = _Case(palette, plan, held, target, limits.resolution_g, limits.room_g)
    over, wrong = case.over, (held > 0) & (plan == 0)
    if not over.any() and not wrong.any():
        as_planned = _way(case, np.maximum(plan - held, 0), "as planned")
        return Rescue(
            over=(), wrong=(), scaled=as_planned, least_growth=None, same_size=as_planned,
            tolerance_de00=tolerance_de00,
        )  # fmt: skip
    aim, rest = AIM * tolerance_de00, _scaled_rest(case)
    there_g = np.maximum(limits.there_is(palette) - held, 0)  # what is poured is still counted
    enough = bool((rest <= there_g + limits.resolution_g / 2).all())
    wanted = AdditionWanted(
        bucket=case.bucket,
        target=_goal(palette, plan, target, aim),
        own=(plan > 0) | (held > 0),
        upper_g=there_g,
        resolution_g=limits.resolution_g,
        at_least_g=case.left_g,
        most_g=max(LARGEST * float(plan.sum()), case.left_g),
        most_de00=np.maximum(tolerance_de00, case.planned_de00),
        planned_g=rest,
    )
    scaled = _way(case, rest, "same colour") if enough and not wrong.any() else None
    rest = np.zeros_like(plan)
    if case.left_g >= limits.resolution_g:
        free = replace(wanted, most_de00=None, most_g=case.left_g)
        rest = nearest_additions(free)
    same_size = _way(case, rest, "same size")
    near = seen_after(case.bucket, wanted.target, same_size.rest_g)[2][0] <= aim
    return Rescue(
        over=tuple(palette.names[i] for i in np.flatnonzero(over)),
        wrong=tuple(palette.names[i] for i in np.flatnonzero(wrong)),
        scaled=scaled,
        least_growth=same_size if near else _least_growth(case, wanted, aim, scaled),
        same_size=same_size,
        tolerance_de00=tolerance_de00,
    )


@dataclass(frozen=True)
class _Case:
    palette: Palette
    plan_g: Array
    in_g: Array
    target: Target
    resolution_g: float
    room_g: float

    @property
    def bucket(self) -> Bucket:
        return bucket_of(self.palette, self.in_g)

    @property
    def left_g(self) -> float:
        return max(float(self.plan_g.sum() - self.in_g.sum()), 0.0)

    @property
    def over(self) -> Mask:
        """Which planned inks (n_ink,) are over the plan by more than a weighing may be."""
        may = np.maximum(OVER_STEPS * self.resolution_g, OVER_SHARE * self.plan_g)
        return (self.plan_g > 0) & (self.in_g - self.plan_g > may + self.resolution_g / 2)

    @property
    def planned_de00(self) -> Array:
        """How far the plan is from the target under each light, (n_light,)."""
        plan = bucket_of(self.palette, self.plan_g)
        return seen_after(plan, self.target, np.zeros_like(self.plan_g))[2]


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
    raise_any(faults)
    return plan, held


def _goal(palette: Palette, plan: Array, target: Target, aim: float) -> Target:
    """The target, or the plan's own colour where the plan itself is farther off."""
    _, lab, d = seen_after(bucket_of(palette, plan), target, np.zeros_like(plan))
    return target if d[0] <= aim else replace(target, lab=lab)


def _scaled_rest(case: _Case) -> Array:
    """The rest of the plan, made larger until nothing in the container is over it."""
    times = (case.in_g[case.over] / case.plan_g[case.over]).max(initial=1.0)
    rest: Array = np.maximum(times * case.plan_g - case.in_g, 0)
    return rest


def _least_growth(
    case: _Case, wanted: AdditionWanted, aim: float, scaled: Way | None
) -> Way | None:
    """The least that comes near enough, or the rest in proportion where that is less."""
    found = least_additions(wanted, aim)
    if found is None or (scaled is not None and scaled.rest_g.sum() <= found[0].sum()):
        fine = scaled is not None and scaled.rest_g.sum() <= LARGEST * case.plan_g.sum()
        return scaled if fine else None
    return _way(case, found[0], "least growth")


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
