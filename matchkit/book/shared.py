"""Jobs that hold most of a formula in common: the base colour that is mixed once for all."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from matchkit.book.jobs import BatchRecord
from matchkit.inks.recipe import weigh_out

LEAST_SHARED = 0.5  # of a batch: a smaller common part is no base colour


@dataclass(frozen=True, kw_only=True)
class SharedBase:
    """Jobs that begin as one base colour, and how to weigh it.

    `base` holds the common part as mass fractions of each batch.  `grams` of the base, by ink,
    are mixed once; `parts` is by job how much of it goes into its container, and what is added
    there.  `saved_g` is what is not weighed ink by ink and stirred again.
    """

    jobs: tuple[BatchRecord, ...]
    base: dict[str, float]
    grams: dict[str, float]
    parts: tuple[tuple[float, dict[str, float]], ...]

    @property
    def share(self) -> float:
        """The share of each batch that is the base, 0-1."""
        return sum(self.base.values())

    @property
    def saved_g(self) -> float:
        """Grams that are weighed and stirred once instead of again for a further job."""
        return sum(self.grams.values()) - max(grams for grams, _ in self.parts)


def shared_bases(jobs: Sequence[BatchRecord], resolution_g: float) -> list[SharedBase]:
    """Jobs that are still to be weighed and could begin as one base colour.

    Their common part is what each holds of every ink, sum of the smallest shares, 0-1:
    mixed once, it becomes any of them by additions.  It counts as a base colour if at least
    two inks are in it and it is `LEAST_SHARED` of each.  The two with the most in common come
    first, then each further job that leaves enough; no job stands in two groups.
    """
    waiting = [each for each in jobs if each.state == "to weigh"]
    found = []
    while pairs := [
        (_share((one, other)), -k, -j, (one, other))
        for k, one in enumerate(waiting)
        for j, other in enumerate(waiting[k + 1 :])
        if _share((one, other)) >= LEAST_SHARED
    ]:
        group: tuple[BatchRecord, ...] = max(pairs, key=lambda pair: pair[:3])[-1]
        while more := [
            (*group, each)
            for each in waiting
            if each not in group and _share((*group, each)) >= LEAST_SHARED
        ]:
            group = max(more, key=_share)
        waiting = [each for each in waiting if each not in group]
        found.append(_worked_out(group, resolution_g))
    return found


def common(one: Mapping[str, float], other: Mapping[str, float]) -> dict[str, float]:
    """What two formulas have in common, as mass fractions of either.

    >>> common({"White": 0.95, "Lemon": 0.05}, {"White": 0.9, "Lemon": 0.1})
    {'White': 0.9, 'Lemon': 0.05}
    """
    return {ink: min(share, other[ink]) for ink, share in one.items() if ink in other}


def _share(group: Sequence[BatchRecord]) -> float:
    """The common part of a group, 0-1; 0 where it is fewer than two inks."""
    base = _base(group)
    return sum(base.values()) if len(base) > 1 else 0.0


def _base(group: Sequence[BatchRecord]) -> dict[str, float]:
    return reduce(common, [each.shares for each in group[1:]], dict(group[0].shares))


def _worked_out(group: tuple[BatchRecord, ...], resolution_g: float) -> SharedBase:
    """The base and what becomes of it, on the balance's steps."""
    base, steps = _base(group), 1 / resolution_g
    share = sum(base.values())
    of_base = [float(np.round(share * each.planned_g * steps) / steps) for each in group]
    poured = weigh_out(np.array([*base.values()]) / share, sum(of_base), resolution_g)
    parts = []
    for each, grams in zip(group, of_base, strict=True):
        rest = {
            ink: round(
                float(np.round((f - base.get(ink, 0.0)) * each.planned_g * steps)) / steps, 6
            )
            for ink, f in each.shares.items()
        }
        parts.append((round(grams, 6), {ink: g for ink, g in rest.items() if g > 0}))
    return SharedBase(
        jobs=group,
        base=base,
        grams=dict(zip(base, poured.tolist(), strict=True)),
        parts=tuple(parts),
    )
