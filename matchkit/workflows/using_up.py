"""The leftovers on the shelf, and which colours that are made again each could become."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from matchkit.book.stock import leftovers
from matchkit.book.work import recurring
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.inks.shop import Mix
from matchkit.workflows.finding import find_formulas
from matchkit.workflows.formulas import Search
from matchkit.workflows.measuring_batch import wanted_kept
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import Wanted
from matchkit.workflows.weighing_out import colour_of

LETDOWN = 2  # inks in a letdown, which is made to be weighed from
NEAREST = 4  # colours that a leftover is tried for, the nearest to its own


@dataclass(frozen=True, kw_only=True)
class Becomes:
    """A colour that a leftover goes into: grams of it in a batch, and what that saves.

    `batches` is how often the book has the colour, `de00` under the first light, `saved` in
    the shop's currency (None: not known).
    """

    target: str
    batches: int
    used_g: float
    left_g: float | None
    de00: float
    saved: float | None


@dataclass(frozen=True, kw_only=True)
class Leftover:
    """A container on the shelf and what it could become.

    The most saved first, where that is known of all, else what takes the most of it.
    """

    name: str
    date: str
    stock_g: float
    becomes: tuple[Becomes, ...]


@dataclass(frozen=True, kw_only=True)
class UseUp:
    """The leftovers on the shelf, the oldest first, to work off."""

    leftovers: tuple[Leftover, ...]
    batch_g: float
    currency: str

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        leftovers = [asdict(each) for each in self.leftovers]
        return {"leftovers": leftovers, "batch_g": self.batch_g, "currency": self.currency}


def use_up(session: Session, *, batch_g: float = 1000.0) -> UseUp:
    """For each leftover, which colours that the book has twice or more it could become.

    Each is tried for the `NEAREST` of them, in a batch of `batch_g`.  A mix of `mixes.csv`
    with so few inks as a letdown is taken for one, and left alone.  InputError where no
    colour was made again.
    """
    wanted = [
        (made, times)
        for name, target, times in recurring(session.open_book())
        if (made := wanted_kept(session, name, target)) is not None
    ]
    if not wanted:
        raise InputError("no colour has two batches in the book yet, so none is made again")
    shop, kept = session.shop, {mix.name for mix in leftovers(session.open_book())}
    found = [
        Leftover(
            name=mix.name, date=mix.date, stock_g=mix.stock_g,
            becomes=_becomes(session, mix, wanted, batch_g),
        )
        for mix in sorted(shop.mixes, key=lambda each: each.date or "9999")
        if mix.stock_g and (mix.name in kept or len(mix.inks) > LETDOWN)
    ]  # fmt: skip
    return UseUp(leftovers=tuple(found), batch_g=batch_g, currency=shop.currency)


def _becomes(
    session: Session, mix: Mix, wanted: Sequence[tuple[Wanted, int]], batch_g: float
) -> tuple[Becomes, ...]:
    fits = [f for f in session.fits_today.values() if {*mix.inks} <= {*f.palette.names}]
    if not fits:
        session.note("mix_left_out", f"{mix.name}: its inks are not all measured")
        return ()
    R, _ = colour_of(mix, fits[0])

    def away(each: tuple[Wanted, int]) -> float:
        target = each[0].target
        return float(de00(target.lab[0], Lab(R, target.lights[0], target.observer)))

    found = []
    for each, times in sorted(wanted, key=away)[:NEAREST]:
        search = Search(batch_g=batch_g, leftover=mix.name, top=1)
        try:
            (first, *_) = find_formulas(session, each, search).formulas or (None,)
        except InputError:  # no formula for this colour takes any of it
            continue
        if first is not None and (use := first.used) and (use.saved is None or use.saved > 0):
            found.append(
                Becomes(
                    target=each.name, batches=times, used_g=use.used_g, left_g=use.left_g,
                    de00=round(float(use.candidate.de00[0]), 4),
                    saved=None if use.saved is None else round(use.saved, 4),
                )
            )  # fmt: skip
    known = all(b.saved is not None for b in found)
    return tuple(sorted(found, key=lambda b: -(b.saved or 0.0) if known else -b.used_g))
