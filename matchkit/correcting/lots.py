"""How strong today's lots are, learned batch by batch.

Every batch that was measured says a little about the strengths of the inks in it.  The
little adds up: what is known is a mean and a covariance of log strength over all inks,
and each batch is one Bayesian update of them (the Kalman filter of a state that hardly
moves).  A new lot of an ink starts again from nothing known; the others keep what they
have.

Sources: Kalman (1960) for the update, from memory; that lots differ by a few percent is
common practice, no source.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from matchkit.arrays import Array
from matchkit.correcting import diagnose
from matchkit.errors import InputError
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Ink
from matchkit.matching.probability import Spread

# What one batch mistakes for strength comes back with the next like it, so certainty must
# not grow without end: each ink of a batch forgets this much, in log strength.
FORGOTTEN = 0.002
ODD = 4.0  # standard deviations beyond which a batch teaches nothing and is spoken of


@dataclass(frozen=True, kw_only=True, eq=False)
class Lots:
    """What is known of the strengths of the lots in use.

    `mean` (n_ink,) and `covariance` (n_ink, n_ink) are those of log strength, 0 being the
    lots that were fitted; `prior` (n_ink,) is the spread of an unknown lot.  `grams`
    (n_ink,) is what the batches that taught held of each ink's lot, all together.
    """

    inks: tuple[str, ...]
    lots: tuple[str, ...]
    mean: Array
    covariance: Array
    prior: Array
    grams: Array
    n_batches: int = 0


def start(inks: Sequence[Ink]) -> Lots:
    """Nothing known yet: every lot is the reference, give or take its ink's spread.

    >>> start([Ink(name="White", role="white", lot="W7")]).covariance.round(6).tolist()
    [[0.0009]]
    """
    prior = np.array([ink.lot_spread_percent / 100 for ink in inks])
    return Lots(
        inks=tuple(ink.name for ink in inks),
        lots=tuple(ink.lot for ink in inks),
        mean=np.zeros(len(inks)),
        covariance=np.diag(prior**2),
        prior=prior,
        grams=np.zeros(len(inks)),
    )


def new_lot(lots: Lots, ink: str, lot: str) -> Lots:
    """What is known of the lots, with one ink's lot replaced and what was known of it forgotten."""
    i = index_of(lots, ink)
    mean, covariance, grams = lots.mean.copy(), lots.covariance.copy(), lots.grams.copy()
    mean[i] = grams[i] = 0
    covariance[i, :] = covariance[:, i] = 0
    covariance[i, i] = lots.prior[i] ** 2
    named = tuple(lot if k == i else old for k, old in enumerate(lots.lots))
    return replace(lots, lots=named, mean=mean, covariance=covariance, grams=grams)


def on_shelf(lots: Lots, inks: Sequence[Ink]) -> Lots:
    """What is known of the inks as they stand on the shelf now.

    Inks whose lot has changed are forgotten, inks that are new start from nothing.
    """
    fresh = start(inks)
    if not lots.inks:
        return fresh
    at = [lots.inks.index(ink.name) if ink.name in lots.inks else -1 for ink in inks]
    kept = np.array([k >= 0 and lots.lots[k] == ink.lot for k, ink in zip(at, inks, strict=True)])
    old = np.array(at)
    both = np.outer(kept, kept)
    return replace(
        fresh,
        mean=np.where(kept, lots.mean[old], 0.0),
        covariance=np.where(both, lots.covariance[np.ix_(old, old)], fresh.covariance),
        grams=np.where(kept, lots.grams[old], 0.0),
        n_batches=lots.n_batches,
    )


def for_palette(lots: Lots, palette: Palette) -> tuple[Array, Array]:
    """Mean (n_ink,) and covariance (n_ink, n_ink) in the order of a palette's inks.

    These are what `diagnose.infer` takes as `known`, and the covariance is what
    `probability.chance` takes as `strengths_covariance`.
    """
    at = [index_of(lots, name) for name in palette.names]
    return lots.mean[at], lots.covariance[np.ix_(at, at)]


def told_strengths(lots: Lots) -> tuple[Array, Array]:
    """Log strengths as a person is told them, with standard errors, (n_ink,) each.

    They are beside the mean of all that was mixed, weighted by mass, since no colour tells
    a factor common to all lots.

    >>> told_strengths(start([Ink(name="White", role="white")]))[1].round(6).tolist()
    [0.03]
    """
    return diagnose.beside_the_batch(lots.mean, lots.covariance, lots.prior, lots.grams)


def apply(palette: Palette, lots: Lots) -> Palette:
    """The palette with the strengths that today's lots most likely have."""
    return replace(palette, strengths=np.exp(for_palette(lots, palette)[0]))


def learn(
    lots: Lots,
    palette: Palette,
    rounds: Sequence[diagnose.Round],
    spread: Spread,
    *,
    in_use: Array | None = None,
) -> tuple[Lots, tuple[str, ...]]:
    """What is known after one more batch, and what was odd about it, in words.

    `rounds` are all the measurements of that batch.  `in_use` (n_ink,) is the share of each
    ink in it that is of the lot in use, 0-1; the rest came in with a leftover or a letdown and
    is of a lot that nothing is known of.  Without it all of it is of the lots in use.  A batch
    in which an ink was off by more than its lot can be is a weighing error or a lot nobody
    told of: nothing is learned from it, and the words say so.
    """
    lot_mean, lot_covariance = for_palette(lots, palette)
    lot_covariance += np.diag(np.where(rounds[-1].grams > 0, FORGOTTEN**2, 0.0))
    at = [index_of(lots, name) for name in palette.names]
    own = np.ones(len(at)) if in_use is None else in_use
    # What the batch shows of an ink is the mean of its lots, by mass.
    mean = own * lot_mean
    covariance = np.outer(own, own) * lot_covariance + np.diag(((1 - own) * lots.prior[at]) ** 2)
    look = partial(diagnose.infer, palette, rounds, spread, known=(mean, covariance))
    odd_in = partial(
        _odd, palette, grams=rounds[-1].grams, mean=mean, covariance=covariance,
        pour_g=spread.pour_g,
    )  # fmt: skip
    # Room for slips and heavy tails would make each batch count for more than it is worth.
    belief = look(freedom=np.inf, slips=False, refuse=False)
    if not belief.ordinary or odd_in(belief):
        try:
            if odd := odd_in(look()):
                return lots, odd
        except InputError as error:
            return lots, error.faults
        belief = look(freedom=np.inf, slips=False)
    # What is learned of the mean of the lots goes to the lot in use by how far the two go together.
    learned, left = belief.log_strength, belief.covariance
    if (own < 1).any():
        gain = lot_covariance * own @ np.linalg.inv(covariance + 1e-10 * np.eye(len(at)))
        learned = lot_mean + gain @ (learned - mean)
        left = lot_covariance + gain @ (left - covariance) @ gain.T
    new_mean, new_covariance = lots.mean.copy(), lots.covariance.copy()
    new_mean[at] = learned
    new_covariance[np.ix_(at, at)] = (left + left.T) / 2
    grams = lots.grams.copy()
    grams[at] += own * rounds[-1].grams
    new = replace(lots, mean=new_mean, covariance=new_covariance, grams=grams)
    return replace(new, n_batches=lots.n_batches + 1), ()


def _odd(
    palette: Palette,
    belief: diagnose.Belief,
    grams: Array,
    mean: Array,
    covariance: Array,
    pour_g: float,
) -> tuple[str, ...]:
    """A line for each ink that is farther off than its lot or its pour can be."""
    lines = []
    for i, ink in enumerate(palette.names):
        slip = belief.grams[i] - grams[i]
        off = belief.log_strength[i] - mean[i]
        if abs(slip) > ODD * pour_g:
            lines.append(
                f"{ink}: about {belief.grams[i]:.1f} g went in where {grams[i]:.1f} g are noted"
            )
        elif abs(off) > ODD * np.sqrt(covariance[i, i]):
            lines.append(f"{ink} {runs(float(np.exp(off)))} against its lot so far")
    told = (
        "; a weighing error, or a change of lot that was not recorded: this batch says nothing"
        " about lots"
    )
    return tuple(line + told for line in lines)


def as_json(lots: Lots) -> dict[str, object]:
    """Lots as plain lists and numbers, for a record to keep."""
    return {
        "inks": list(lots.inks),
        "lots": list(lots.lots),
        "mean": lots.mean.tolist(),
        "covariance": lots.covariance.tolist(),
        "prior": lots.prior.tolist(),
        "grams": lots.grams.tolist(),
        "n_batches": lots.n_batches,
    }


def from_json(kept: Mapping[str, object]) -> Lots:
    """Lots from what `as_json` gave; InputError if it is not that.

    >>> lots = start([Ink(name="White", role="white")])
    >>> from_json(as_json(lots)).inks
    ('White',)
    """
    missing = [key for key in as_json(start([])) if key not in kept]
    if missing:
        raise InputError(f"lots: {', '.join(missing)} missing; start again from nothing known")
    inks, names = _names(kept["inks"]), _names(kept["lots"])
    mean, covariance, prior, grams = (
        _numbers(kept[k]) for k in ("mean", "covariance", "prior", "grams")
    )
    n = len(inks)
    shapes = (len(names), mean.shape, prior.shape, grams.shape, covariance.shape)
    if shapes != (n, (n,), (n,), (n,), (n, n)) and n:
        raise InputError("lots: the lists don't belong to one set of inks; start again")
    return Lots(
        inks=inks,
        lots=names,
        mean=mean,
        covariance=covariance.reshape(n, n),
        prior=prior,
        grams=grams,
        n_batches=int(_numbers(kept["n_batches"])),
    )


def runs(strength: float) -> str:
    """How strong a lot is, in words.

    >>> runs(1.04), runs(0.995)
    ('runs 4 % strong', 'runs 0.5 % weak')
    """
    size = abs(100 * (strength - 1))
    return f"runs {size:.{0 if size >= 1 else 1}f} % {'strong' if strength >= 1 else 'weak'}"


def index_of(lots: Lots, ink: str) -> int:
    """Where an ink stands in the arrays; InputError lists the inks there are."""
    if ink not in lots.inks:
        raise InputError(f"no lot is known of an ink {ink!r}; the inks are {', '.join(lots.inks)}")
    return lots.inks.index(ink)


def _names(kept: object) -> tuple[str, ...]:
    if not isinstance(kept, list | tuple):
        raise InputError("lots: expected a list of names; start again from nothing known")
    return tuple(str(name) for name in kept)


def _numbers(kept: object) -> Array:
    try:
        numbers = np.array(kept, dtype=float)
    except (TypeError, ValueError):
        raise InputError("lots: a number can't be read; start again from nothing known") from None
    if not np.isfinite(numbers).all():
        raise InputError("lots: a number is not finite; start again from nothing known")
    return numbers
