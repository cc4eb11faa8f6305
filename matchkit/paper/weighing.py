"""One batch at the balance: running totals, parts held back, letdowns, volume.

Weights end in ``_g`` and are what the balance can show.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil

from matchkit.inks.recipe import STEPS_TO_TRUST, fill_ml, letdowns_for, weighing_order
from matchkit.inks.shop import Ink

Grams = tuple[tuple[str, float], ...]  # what to weigh, how much

# US gallon: 231 cubic inches exactly; a quart is a quarter of it.
CONTAINERS_ML = {
    "US quart": 946.352946,
    "US gallon": 3785.411784,
    "5 US gallons": 18927.05892,
    "1 litre": 1000.0,
    "5 litres": 5000.0,
}


@dataclass(frozen=True, kw_only=True)
class Additive:
    """What is dosed on top of the finished colour: percent of its weight, not part of it."""

    name: str
    percent: float
    grams: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Container:
    """What the batch is mixed in; `headroom` is the share to leave empty for stirring."""

    name: str
    volume_ml: float
    headroom: float = 0.1


@dataclass(frozen=True, kw_only=True)
class Fill:
    """A batch by volume, additives included as if they were as dense as the ink.

    `share` is how full the container gets, 1 to the brim; `most_g` is the batch, without
    additives, that leaves the headroom.
    """

    volume_ml: float
    container: Container | None = None
    share: float | None = None
    most_g: float | None = None


@dataclass(frozen=True, kw_only=True)
class TicketRow:
    """One ink (or letdown), in the order of weighing.

    `first_g` goes in now and brings the balance to `total_g`; `then_g` is held back
    until the first drawdown and brings it to `final_g`.
    """

    ink: str
    lot: str
    percent: float
    grams: float
    first_g: float
    total_g: float
    then_g: float = 0.0
    final_g: float | None = None


@dataclass(frozen=True, kw_only=True)
class MadeLetdown:
    """A letdown to make for a weight that is too small: the way out.

    `parts` make it; `letdown_g` of it go into the batch instead of `ink_g` of the ink.
    """

    name: str
    ink: str
    ink_g: float
    letdown_g: float
    base: str
    parts: Grams


def to_balance(grams: float, resolution_g: float) -> float:
    """The nearest weight that the balance can show.

    >>> to_balance(4.0071, 0.01)
    4.01
    """
    return round(round(grams / resolution_g) * resolution_g, 6)


def ticket_rows(
    grams: Mapping[str, float],
    inks: Mapping[str, Ink],
    hold_back: Mapping[str, float],
    resolution_g: float,
) -> tuple[TicketRow, ...]:
    """Rows in the order of `grams`, first parts first; `hold_back` is the share to weigh first.

    >>> red = Ink(name="Red", role="colour")
    >>> [(r.first_g, r.total_g, r.then_g, r.final_g)
    ...  for r in ticket_rows({"White": 95.0, "Red": 5.0}, {"Red": red}, {"Red": 0.8}, 0.01)]
    [(95.0, 95.0, 0.0, None), (4.0, 99.0, 1.0, 100.0)]
    """
    batch_g, total_g, rows = sum(grams.values()), 0.0, []
    for name, g in grams.items():
        first_g = g
        if name in hold_back:
            first_g = to_balance(hold_back[name] * g, resolution_g)
        total_g = round(total_g + first_g, 6)
        rows.append(
            TicketRow(
                ink=name,
                lot=inks[name].lot if name in inks else "",
                percent=100 * g / batch_g,
                grams=g,
                first_g=first_g,
                total_g=total_g,
                then_g=round(g - first_g, 6),
            )
        )
    for i, row in enumerate(rows):
        if row.then_g > 0:
            total_g = round(total_g + row.then_g, 6)
            rows[i] = replace(row, final_g=total_g)
    return tuple(rows)


def with_letdowns(
    inks: Sequence[Ink], grams: Sequence[float], resolution_g: float
) -> tuple[tuple[MadeLetdown, ...], Grams]:
    """Letdowns for all weights that are too small, and the batch weighed with them.

    The batch is the same mixture: what a letdown brings of its base is taken off the base.

    >>> inks = [Ink(name="White", role="white"), Ink(name="Red", role="colour")]
    >>> with_letdowns(inks, [99.5, 0.5], 0.01)[1]
    (('White', 95.0), ('Red 10 % in White', 5.0))
    """
    weights_g = list(grams)
    made: list[MadeLetdown] = []
    while found := letdowns_for(inks, weights_g, resolution_g):
        letdown, new_g = found[0], dict(found[0].grams)
        made.append(
            MadeLetdown(
                name=letdown.name,
                ink=letdown.ink,
                ink_g=letdown.ink_g,
                letdown_g=new_g[letdown.name],
                base=letdown.base,
                parts=_parts(
                    letdown.base, letdown.ink, letdown.share, new_g[letdown.name], resolution_g
                ),
            )
        )
        weights_g = [new_g.get(ink.name, 0.0) for ink in inks]
    shelf = [*inks, *(Ink(name=each.name, role="colour") for each in made)]
    all_g = [*weights_g, *(each.letdown_g for each in made)]
    order = weighing_order(shelf, all_g)
    return tuple(made), tuple((shelf[i].name, all_g[i]) for i in order)


def _parts(base: str, ink: str, share: float, letdown_g: float, resolution_g: float) -> Grams:
    """Enough of the letdown, and no less than makes its own weights safe."""
    # One in ten more, for what clings to knife and pot; whole tens, so that parts come out even.
    make_g = 10.0 * ceil(max(1.1 * letdown_g, STEPS_TO_TRUST * resolution_g / share) / 10 - 1e-9)
    return ((base, round(make_g * (1 - share), 6)), (ink, round(make_g * share, 6)))


def doses(
    additives: Sequence[Additive], batch_g: float, resolution_g: float
) -> tuple[Additive, ...]:
    """The additives with their grams for a batch."""
    return tuple(
        replace(each, grams=to_balance(each.percent / 100 * batch_g, resolution_g))
        for each in additives
    )


def fill(
    inks: Sequence[Ink],
    grams: Mapping[str, float],
    additives: Sequence[Additive],
    container: Container | None,
) -> Fill | None:
    """The volume of a batch, or None if the density of an ink in it is not known.

    >>> ink = Ink(name="Red", role="colour", density_g_per_ml=1.25)
    >>> quart = Container(name="US quart", volume_ml=CONTAINERS_ML["US quart"])
    >>> found = fill([ink], {"Red": 1000.0}, [], quart)
    >>> found.volume_ml, round(found.share, 3), round(found.most_g)
    (800.0, 0.845, 1065)
    """
    ink_ml = fill_ml(inks, grams)
    if ink_ml is None:
        return None
    volume_ml = ink_ml * (1 + sum(each.percent for each in additives) / 100)
    if container is None:
        return Fill(volume_ml=volume_ml)
    room_ml = container.volume_ml * (1 - container.headroom)
    return Fill(
        volume_ml=volume_ml,
        container=container,
        share=volume_ml / container.volume_ml,
        most_g=sum(grams.values()) * room_ml / volume_ml,
    )
