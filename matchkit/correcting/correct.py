"""What to add to a batch to bring it within tolerance: the least, the safer, or the closest.

Only additions are possible.  `diagnose` estimates the state of a batch; from that its colour after
any additions (grams) is predicted, with an uncertainty.  The least is the smallest addition
with a chance of at least 95 % of being in tolerance; the safer one has 99 %.  How far from the
target the batch may end for that follows from the uncertainty, in a few rounds.  Where no
addition reaches that chance, the same share of the best chance there is counts instead: the
more is added, the less the reading tells of the batch, so the surest is seldom the nearest.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.correcting import additions
from matchkit.correcting.container import Bucket, differences_after, seen_after, under_first_light
from matchkit.correcting.diagnose import Belief, stays
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Shop
from matchkit.matching.probability import Spread, chance_within, covariance_after, lab_covariance

WAYS = ("least", "safer", "closest")  # what an addition may be asked to be
CHANCES = {"least": 0.95, "safer": 0.99}
CLOSE = 0.02  # of the tolerance: closer is the same
AIMS = (0.8, 0.6, 0.4, 0.2)  # of the tolerance: among these and the nearest is the surest
MOST_TIMES = 1.0  # of the batch that an addition may be: beyond, a new batch takes less ink
ROUNDS = 6  # to find how far from the target the chance allows
BACK = 0.99  # of that distance, where the balance's steps spoil the chance
STEPS = (-1, 0, 1, 2)  # of the balance around an addition, among which the best is taken


@dataclass(frozen=True, kw_only=True)
class Correction:
    """Additions (n_ink,) in grams that the balance can show, and what they will bring.

    `de00_before` and `de00` (n_light,); `R` (n_wl,) and `lab` (n_light, 3) after.  `foreign`
    names the inks added that the batch neither holds nor is still to hold; its own inks alone would
    have taken `own_g`, infinite where they do not bring it near enough.
    """

    additions_g: Array
    total_g: float
    R: Array
    lab: Array
    de00_before: Array
    de00: Array
    chance_in_tolerance: float
    can_be_saved: bool
    foreign: tuple[str, ...] = ()
    own_g: float = np.inf

    @property
    def added_g(self) -> float:
        """Sum of the additions."""
        return float(self.additions_g.sum())


@dataclass(frozen=True, kw_only=True, eq=False)
class Limits:
    """What an addition must keep to.

    `room_g` is what the container still takes, `batch_g` what was noted as weighed, `upper_g`
    (n_ink,) how much of each ink there is or is wanted, None for no limit.  `held_back_g`
    (n_ink,) is what the plan still has of each ink that was held back; None where nothing was.
    """

    tolerance_de00: float
    resolution_g: float
    room_g: float = np.inf
    batch_g: float = 0.0
    upper_g: Array | None = None
    held_back_g: Array | None = None

    def there_is(self, palette: Palette) -> Array:
        """`upper_g`, infinite where it is not limited."""
        return np.full(len(palette.inks), np.inf) if self.upper_g is None else self.upper_g


def limits_of(
    shop: Shop,
    palette: Palette,
    *,
    room_g: float = np.inf,
    batch_g: float = 0.0,
    without: Sequence[str] = (),
    held_back_g: Array | None = None,
) -> Limits:
    """The tolerance, the balance and the stock of a shop; none of inks in `without` or retired."""
    stock = {ink.name: ink.stock_g if ink.active else 0.0 for ink in shop.inks}
    there = [0.0 if name in without else stock.get(name) for name in palette.names]
    return Limits(
        tolerance_de00=shop.tolerance_de00,
        resolution_g=shop.resolution_g,
        room_g=room_g,
        batch_g=batch_g,
        upper_g=np.array([np.inf if grams is None else grams for grams in there]),
        held_back_g=held_back_g,
    )


def correct(
    palette: Palette,
    belief: Belief,
    target: Target,
    spread: Spread,
    limits: Limits,
    way: str = "least",
) -> Correction:
    """What to add to a batch: `way` is one of `WAYS`.

    The inks of the batch first, see `additions`.  Where no addition is good enough, the
    nearest colour within the room and the size of the batch.
    """
    return _correction(_Case(palette, belief, target, spread, limits), way)


def corrections(
    palette: Palette, belief: Belief, target: Target, spread: Spread, limits: Limits
) -> dict[str, Correction]:
    """The additions of every way of `WAYS`."""
    case = _Case(palette, belief, target, spread, limits)
    return {way: _correction(case, way) for way in WAYS}


def beyond_limits(
    palette: Palette, belief: Belief, target: Target, spread: Spread, limits: Limits
) -> tuple[Correction | None, dict[str, float]]:
    """The least addition without the limit of room, else of stock neither, that saves a batch.

    And the inks of which it takes more than there is, with what there is in grams; an ink of
    which there is none is not to be used.  (None, {}) where no addition saves it.
    """
    there = limits.there_is(palette)
    enough = replace(limits, room_g=np.inf, upper_g=np.where(there > 0, np.inf, 0.0))
    for each in (replace(limits, room_g=np.inf), enough):
        found = correct(palette, belief, target, spread, each)
        if found.can_be_saved and found.added_g:
            short = np.flatnonzero(found.additions_g > there + 1e-9)
            return found, {palette.names[i]: float(there[i]) for i in short}
    return None, {}


def nothing_learned(
    palette: Palette, grams: Array, spread: Spread, known: tuple[Array, Array] | None = None
) -> Belief:
    """The belief of a batch that was weighed and not measured yet.

    `known` is what earlier batches told of the lots, as `diagnose.infer` takes it.
    """
    mean, covariance = known or (np.zeros(len(palette.inks)), np.diag(spread.log_strength**2))
    return Belief(
        log_strength=mean,
        covariance=covariance,
        grams=np.asarray(grams, dtype=float),
        residual_f=np.zeros(palette.K.shape[1]),
        unexplained_f=0.0,
    )


@dataclass(frozen=True)
class _Case:
    palette: Palette
    belief: Belief
    target: Target
    spread: Spread
    limits: Limits

    @cached_property
    def learned(self) -> Palette:
        """The inks with the strengths that they have in this batch."""
        return replace(self.palette, strengths=self.belief.strengths)

    @cached_property
    def nothing(self) -> Array:
        """No addition."""
        return np.zeros(len(self.palette.inks))

    @cached_property
    def wanted(self) -> additions.AdditionWanted:
        """The batch, and what may join it."""
        belief, limits = self.belief, self.limits
        batch_g = max(limits.batch_g, float(belief.grams.sum()))  # a pour may have been left out
        return additions.AdditionWanted(
            bucket=Bucket(
                palette=self.learned,
                grams=belief.grams,
                strengths=belief.strengths,
                residual_f=belief.residual_f,
            ),
            target=under_first_light(self.target),
            own=belief.grams > 0,
            held_back=None if limits.held_back_g is None else limits.held_back_g > 0,
            upper_g=limits.there_is(self.palette),
            resolution_g=limits.resolution_g,
            most_g=min(limits.room_g, MOST_TIMES * batch_g),
        )

    @cached_property
    def nearest(self) -> Array:
        """The additions that come nearest."""
        return additions.nearest_additions(self.wanted)

    def far(self, a: Array) -> float:
        """dE00 under the first light after additions `a`."""
        return float(differences_after(self.wanted.bucket, self.wanted.target, a[None])[0, 0])

    def Lab_covariance(self, a: Array) -> Array:
        """Covariance (3, 3) of the Lab after additions `a`, first light."""
        belief, grams = self.belief, self.belief.grams
        if belief.seen_Lab is None:
            return lab_covariance(
                self.learned, grams + a, self.target, self.spread, belief.covariance
            )[1]
        return covariance_after(
            self.learned, grams, a, self.target, self.spread, belief.covariance, belief.seen_Lab,
            stays(grams, grams + a),
        )  # fmt: skip


def _correction(case: _Case, way: str) -> Correction:
    """The smallest additions that are good enough, the surest at most."""
    before = _result(case, case.nothing)
    chance = CHANCES.get(way)
    if case.wanted.most_g <= 0 or (chance and before.chance_in_tolerance >= chance):
        return before
    if not chance:
        return _least(case, CLOSE * case.limits.tolerance_de00) or _nearest(case)
    if found := _surely(case, before, before, chance):
        return found
    nearest = _nearest(case)
    if not nearest.can_be_saved:
        return nearest
    # The more is added, the nearer the colour can be, and the less is known of it.
    aims = [share * case.limits.tolerance_de00 for share in AIMS]
    tried = [nearest, *filter(None, (_least(case, aim) for aim in aims))]
    chance *= max(each.chance_in_tolerance for each in tried)
    if before.chance_in_tolerance >= chance:
        return before
    enough = [each for each in tried if each.chance_in_tolerance >= chance]
    return min(enough, key=lambda each: each.added_g)


def _surely(case: _Case, found: Correction, before: Correction, chance: float) -> Correction | None:
    """The smallest addition with a chance of at least `chance`, or None; `found` is any."""
    best = None
    aim = _allowance(case, found, before, chance)
    for _ in range(ROUNDS):
        now = _least(case, aim) if aim > 0 else None
        if now is None:
            break
        allowed = _allowance(case, now, before, chance)
        if now.chance_in_tolerance < chance:
            aim = BACK * min(aim, allowed)
        elif best is None or now.added_g < best.added_g:
            best = now
            if allowed * BACK <= aim:
                break
            aim = allowed
        else:
            break
    return best


def _allowance(case: _Case, found: Correction, before: Correction, chance: float) -> float:
    """How far (dE00) a batch may end from the target for its chance to be `chance`; 0 for never.

    With the uncertainty of the addition `found`, on the side of the target where that ends.
    """
    tolerance, target = case.limits.tolerance_de00, case.target.lab[0]
    side = found if found.de00[0] > CLOSE * tolerance else before
    way = (side.lab[0] - target) * tolerance / max(float(side.de00[0]), 1e-9)
    covariance = case.Lab_covariance(found.additions_g)
    low, high = -1.0, 1.0
    for _ in range(10):
        middle = max((low + high) / 2, 0.0)
        if chance_within(target + middle * way, covariance, target, tolerance) >= chance:
            low = middle
        elif middle == 0:
            return 0.0
        else:
            high = middle
    return max(low, 0.0) * tolerance


def _least(case: _Case, aim: float) -> Correction | None:
    """The smallest addition within `aim`, as the balance can show it; None where none is."""
    found = (
        additions.least_additions(case.wanted, aim)
        if case.far(case.nothing) > aim
        else (case.nothing, 0)
    )
    if found is None:
        return None
    return _result(case, _on_the_balance(case, found[0], aim), found[1])


def _nearest(case: _Case) -> Correction:
    return _result(case, _on_the_balance(case, case.nearest, 0.0))


def _on_the_balance(case: _Case, a: Array, aim: float) -> Array:
    """Additions that the balance can show: the least within the aim, else the nearest."""
    held, step = np.flatnonzero(a > 0), case.limits.resolution_g
    if not len(held):
        return a
    decimals = max(0, -int(np.floor(np.log10(step)))) + 2
    near = STEPS if len(held) <= additions.MOST_INKS else (0, 1)
    more = np.array([*product(near, repeat=len(held))])
    rows = np.zeros((len(more), len(a)))
    rows[:, held] = np.round((np.floor(a[held] / step + 1e-9) + more) * step, decimals)
    wanted = case.wanted
    good = (rows >= 0).all(axis=1) & (rows <= wanted.upper_g + 1e-9).all(axis=1)
    rows = rows[good & (rows.sum(axis=1) <= wanted.most_g + 1e-9)]
    if not len(rows):
        return np.zeros_like(a)
    far = differences_after(wanted.bucket, wanted.target, rows)[:, 0]
    reached = far <= aim
    order = np.lexsort((far, np.where(reached, rows.sum(axis=1), far), ~reached))
    best: Array = rows[order[0]]
    return best


def _result(case: _Case, a: Array, own_g: float = np.inf) -> Correction:
    """What comes of additions `a`."""
    target, limits = case.target, case.limits
    R, lab, after = seen_after(case.wanted.bucket, target, a)
    covariance = case.Lab_covariance(a)
    held_back = case.wanted.held_back
    planned = case.wanted.own if held_back is None else case.wanted.own | held_back
    new = np.flatnonzero((a > 0) & ~planned)
    return Correction(
        additions_g=a,
        total_g=float(case.belief.grams.sum() + a.sum()),
        R=R,
        lab=lab,
        de00_before=seen_after(case.wanted.bucket, target, case.nothing)[2],
        de00=after,
        chance_in_tolerance=chance_within(lab[0], covariance, target.lab[0], limits.tolerance_de00),
        can_be_saved=bool(after[0] <= limits.tolerance_de00),
        foreign=tuple(case.palette.names[i] for i in new),
        own_g=own_g,
    )
