"""The least to add to a container, or what brings it nearest: the one solver of additions.

A batch that came out wrong, one into which too much went, and a leftover that becomes another
colour are one problem: what is there, which inks may join it, how much of each there is, how
much must and may go in, and the colour that is wanted.  `amounts` answers it for many sets
of inks at once; `least_additions` and `nearest_additions` choose among the sets as a mixer
would: the inks of the batch first.

To first order the least that comes within a distance has at most three inks, so no larger
sets are looked at, but for a batch that is not poured to its end.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

from matchkit.arrays import Array, Index, Mask
from matchkit.colorimetry.difference import Target
from matchkit.correcting import container
from matchkit.correcting.amounts import STEPS, balanced, least, nearest
from matchkit.inks.recipe import STEPS_TO_TRUST
from matchkit.matching.rank import MOSTLY

Tried = tuple[Index, Array, Array]  # sets of inks, their nearest additions, dE00

MOST_INKS = 3
SPECK = 1e-4  # of the batch: what an ink starts with that the plan has no more need of
# Own choices, no source: an ink that is not in the batch must save both of these beside the
# batch's own inks, or come nearer by `FOREIGN_DE00`.  To do without a weight too small to
# trust, so much of the batch more may go in.
FOREIGN_SHARE, FOREIGN_G, FOREIGN_DE00 = 0.5, 10.0, 0.1
SMALL_SHARE = 0.005
HELD_BACK, OWN, ONE_MORE, ANY = range(4)  # which inks are looked at, in this order


@dataclass(frozen=True, kw_only=True, eq=False)
class AdditionWanted:
    """A container, what may join it, and the colour that it is to have.

    `own` and `held_back` (n_ink,) mark the inks of the batch and those of them that the plan
    still has; `upper_g` (n_ink,) is how much of each there is.  `at_least_g` must go in
    whatever the colour, and at most `most_g` may.  `most_de00` (n_light,) is how far it may be
    under each light, None for any.  `planned_g` (n_ink,) is what the plan has left to pour.
    """

    bucket: container.Bucket
    target: Target
    own: Mask
    upper_g: Array
    resolution_g: float
    held_back: Mask | None = None
    at_least_g: float = 0.0
    most_g: float = np.inf
    most_de00: Array | None = None
    planned_g: Array | None = None
    tried: dict[int, list[Tried]] = field(default_factory=dict)  # by which inks, as found


def least_additions(wanted: AdditionWanted, aim: float) -> tuple[Array, float] | None:
    """The smallest additions (n_ink,) within `aim` of the target under the first light.

    Held-back inks before all, then the inks of the batch; another ink only where it saves
    half the grams and 10 g.  The second is what the batch's own inks alone would take,
    infinite where they do not reach.  None where nothing does.
    """
    best, own_g, must_g = None, np.inf, wanted.at_least_g
    for which in (HELD_BACK, OWN, ONE_MORE, ANY):
        enough_g = np.inf if best is None else best.sum() - must_g
        enough_g = min((1 - FOREIGN_SHARE) * enough_g, enough_g - FOREIGN_G)
        if best is not None and (which == ANY or enough_g < 0):
            break
        found = _least_of(wanted, which, aim, must_g + enough_g)
        if found is not None and found.sum() - must_g <= enough_g:
            best = found
        if best is not None and which <= OWN:
            own_g = float(best.sum())
    return None if best is None else (best, own_g)


def nearest_additions(wanted: AdditionWanted) -> Array:
    """The additions (n_ink,) that come nearest, by the shares of the target's lights.

    Inks that are not in the batch only where they come nearer by `FOREIGN_DE00`.
    """
    n = len(wanted.own)
    best = np.zeros(n)
    best_F = _F(wanted, best[None])[0] if wanted.at_least_g == 0 else np.inf
    for which in (OWN, ONE_MORE, ANY):
        rows = [np.empty((0, n))]
        for subsets, start in _sets(wanted, which):
            total = wanted.at_least_g or wanted.most_g
            if np.isfinite(total):
                a, _ = nearest(
                    wanted.bucket, wanted.target, subsets, start, total_g=total, steps=2 * STEPS
                )
                rows.append(container.over_all(subsets, a, n))
        if wanted.at_least_g == 0:
            rows += [container.over_all(subsets, a, n) for subsets, a, _ in _tried(wanted, which)]
        found = np.concatenate(rows)
        found = found[_allowed(wanted, found)]
        if len(found):
            F = _F(wanted, found)
            if F.min() < best_F - (FOREIGN_DE00 if which > OWN else 0.0):
                best, best_F = found[int(np.argmin(F))], float(F.min())
    return best


def allowed(
    bucket: container.Bucket, rows: Array, upper_g: Array, *, batch_g: float | None = None
) -> Mask:
    """Which additions (n, n_ink) keep to the stock and to each ink's pigment limit.

    `upper_g` (n_ink,) is the stock for a batch of `batch_g`, or of the size it comes to.
    An ink that is not added was within its limit when the container was filled.
    """
    total = (bucket.grams + rows).sum(axis=1, keepdims=True)
    limit = np.array([ink.max_percent / 100 for ink in bucket.palette.inks])
    over = (rows > 0) & ((bucket.grams + rows) / total > limit * (1 + 1e-6))
    grams = rows if batch_g is None else rows * batch_g / total
    good: Mask = ~(over | (grams > upper_g * (1 + 1e-9))).any(axis=1)
    return good


def _sets(wanted: AdditionWanted, which: int) -> Iterator[tuple[Index, Array]]:
    """Sets (n, m) of inks that may join, by their size, and starting amounts (n, m)."""
    usable = wanted.upper_g > 0
    own = np.flatnonzero(wanted.own & usable)
    if which == HELD_BACK:
        own = own[:0] if wanted.held_back is None else np.flatnonzero(wanted.held_back & usable)
    clear = np.array([ink.role == "clear" for ink in wanted.bucket.palette.inks])
    others = np.flatnonzero(~wanted.own & usable & ~clear)
    least, most = {HELD_BACK: (0, 0), OWN: (0, 0), ONE_MORE: (1, 1), ANY: (2, MOST_INKS)}[which]
    for more in range(least, min(most, len(others)) + 1):
        new = list(combinations(others.tolist(), more))
        most_own = min(MOST_INKS - more, len(own))
        sizes = range(most_own if more else 1, most_own + 1)  # what is too many comes to 0
        both = [[*a, *b] for b in new for m in sizes for a in combinations(own.tolist(), m)]
        if both:
            yield _of_one_size(wanted.bucket, both)
        if wanted.planned_g is not None and more < MOST_INKS and len(own) and which != HELD_BACK:
            subsets = np.array([[*own.tolist(), *b] for b in new], dtype=np.int64)
            little = SPECK * (wanted.bucket.grams.sum() + wanted.planned_g.sum())
            yield subsets, np.maximum(wanted.planned_g, little)[subsets]


def _of_one_size(bucket: container.Bucket, sets: list[list[int]]) -> tuple[Index, Array]:
    """Sets as rows (n, m), the smaller ones filled up with inks of which nothing is taken."""
    most = max(map(len, sets))
    spare = [[i for i in range(most) if i not in inks] for inks in sets]
    rows = [[*inks, *more][:most] for inks, more in zip(sets, spare, strict=True)]
    subsets = np.array(rows, dtype=np.int64)
    taken = np.arange(most) < np.array([len(inks) for inks in sets])[:, None]
    a = balanced(bucket, subsets) * taken
    return subsets, a * bucket.grams.sum() / a.sum(axis=1, keepdims=True)


def _tried(wanted: AdditionWanted, which: int) -> list[Tried]:
    """The sets of inks, each as near as it comes; found once."""
    if which not in wanted.tried:
        first = container.under_first_light(wanted.target)
        wanted.tried[which] = [
            (subsets, *nearest(wanted.bucket, first, subsets, start))
            for subsets, start in _sets(wanted, which)
        ]
    return wanted.tried[which]


def _least_of(
    wanted: AdditionWanted, which: int, aim: float, enough_g: float = np.inf
) -> Array | None:
    """The smallest additions (n_ink,) of the inks of `which` within `aim`, limits kept.

    Sets of inks that need more than `enough_g` are left out.  Where there is not enough of an
    ink, all of it goes in and the others do the rest.
    """
    n, found = len(wanted.own), []
    for subsets, a, d in _tried(wanted, which):
        subsets, a = subsets[d[:, 0] <= aim], a[d[:, 0] <= aim]
        if np.isfinite(enough_g) and len(a):
            first = container.under_first_light(wanted.target)
            a, d = nearest(wanted.bucket, first, subsets, a, total_g=enough_g, steps=10)
            subsets, a = subsets[d[:, 0] <= aim], a[d[:, 0] <= aim]
        if len(a):
            a, _ = least(
                wanted.bucket, wanted.target, subsets, a, aim=aim,
                at_least_g=wanted.at_least_g,
            )  # fmt: skip
            found.append(container.over_all(subsets, a, n))
    if not found:
        return None
    rows = np.concatenate(found)
    rows = np.where(rows < wanted.resolution_g / 2, 0, rows)
    small = ((rows > 0) & (rows < STEPS_TO_TRUST * wanted.resolution_g)).sum(axis=1)
    cost = rows.sum(axis=1) + SMALL_SHARE * wanted.bucket.grams.sum() * small
    good = _allowed(wanted, rows)
    best = rows[good][int(np.argmin(cost[good]))] if good.any() else None
    short = rows[int(np.argmin(cost))]
    over = np.flatnonzero(short > wanted.upper_g)
    if len(over):
        rest = _with_all_of(wanted, int(over[0]), which, aim)
        if rest is not None and (best is None or rest.sum() < best.sum()):
            return rest
    return best


def _with_all_of(wanted: AdditionWanted, i: int, which: int, aim: float) -> Array | None:
    """The smallest additions (n_ink,) that hold all there is of ink `i`."""
    all_of_it = np.zeros(len(wanted.own))
    all_of_it[i] = wanted.upper_g[i]
    left = replace(
        wanted,
        bucket=container.joined(wanted.bucket, all_of_it),
        upper_g=np.where(all_of_it > 0, 0.0, wanted.upper_g),
        at_least_g=max(wanted.at_least_g - all_of_it[i], 0.0),
        most_g=wanted.most_g - all_of_it[i],
        tried={},
    )
    rest = _least_of(left, which, aim)
    return None if rest is None else rest + all_of_it


def _allowed(wanted: AdditionWanted, rows: Array) -> Mask:
    """Which additions (n, n_ink) keep to every limit; clear may join until it hides no more."""
    bucket, after = wanted.bucket, wanted.bucket.grams + rows
    good = allowed(bucket, rows, wanted.upper_g)
    good &= rows.sum(axis=1) <= wanted.most_g * (1 + 1e-9)
    clear = np.array([ink.role == "clear" for ink in bucket.palette.inks])
    if bucket.grams[clear].sum() <= MOSTLY * bucket.grams.sum():
        thin = after[:, clear].sum(axis=1) > MOSTLY * after.sum(axis=1)
        good &= ~(thin & (rows[:, clear] > 0).any(axis=1))
    if wanted.most_de00 is not None and good.any():
        away = container.differences_after(bucket, wanted.target, rows[good])
        good[good] = (away[:, 1:] <= wanted.most_de00[1:]).all(axis=1)
    return good


def _F(wanted: AdditionWanted, rows: Array) -> Array:
    return container.differences_after(wanted.bucket, wanted.target, rows) @ wanted.target.share
