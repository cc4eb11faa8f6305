"""The leftovers on the shelf, and which colours that are made again each could become."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from matchkit.book.work import Recurring, recurring
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.correcting.leftovers import WORTH, use
from matchkit.correcting.mixes import shelf_of
from matchkit.errors import InputError
from matchkit.inks.recipe import cost_per_kg
from matchkit.inks.shop import Mix
from matchkit.matching.probability import spread_of
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import wanted_lab, wanted_spectrum
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

    Each is tried for the `NEAREST` of them, in a batch of `batch_g`; what is saved is beside
    the colour's last formula.  A mix of `mixes.csv` with so few inks as a letdown is taken for
    one, and left alone.  InputError where no colour was made again.
    """
    made = recurring(session.open_book())
    if not made:
        raise InputError("no colour has two batches in the book yet, so none is made again")
    shop, filed = session.shop, {mix.name for mix in session.files.mixes}
    found = [
        Leftover(
            name=mix.name, date=mix.date, stock_g=mix.stock_g,
            becomes=_becomes(session, mix, made, batch_g),
        )
        for mix in sorted(shop.mixes, key=lambda each: each.date or "9999")
        if mix.stock_g and (mix.name not in filed or len(mix.inks) > LETDOWN)
    ]  # fmt: skip
    return UseUp(leftovers=tuple(found), batch_g=batch_g, currency=shop.currency)


def _becomes(
    session: Session, mix: Mix, made: Sequence[Recurring], batch_g: float
) -> tuple[Becomes, ...]:
    fits = [f for f in session.fits_today.values() if {*mix.inks} <= {*f.palette.names}]
    if not fits:
        session.note("mix_left_out", f"{mix.name}: its inks are not all measured")
        return ()
    shop, fit, palette = session.shop, fits[0], fits[0].palette
    R, _ = colour_of(mix, fit)
    spread = spread_of(palette, fit.error, shop.resolution_g)
    shelf = shelf_of(palette, [mix], spread)
    session.note("mix_left_out", *shelf.notes)
    alike = [each for each in made if {*each.shares} <= {*palette.names}] if shelf.mixes else []
    own = {how: Lab(R, *how) for how in {(each.light, each.observer) for each in alike}}
    away = de00(
        np.array([each.lab for each in alike]).reshape(-1, 3),
        np.array([own[each.light, each.observer] for each in alike]).reshape(-1, 3),
    )
    found = []
    for each in (alike[k] for k in np.argsort(away, kind="stable")[:NEAREST]):
        known = np.array([each.shares.get(name, 0.0) for name in palette.names])
        best, *_ = use(
            shelf, mix.name, _target(session, each), spread,
            batch_g=batch_g, resolution_g=shop.resolution_g, tolerance_de00=shop.tolerance_de00,
            fresh_cost_per_kg=cost_per_kg(palette.inks, known.tolist()), quick=known, top=1,
        ) or (None,)  # fmt: skip
        if best and best.within and best.share >= WORTH and (best.saved is None or best.saved > 0):
            found.append(
                Becomes(
                    target=each.name, batches=each.batches, used_g=best.used_g,
                    left_g=best.left_g, de00=round(float(best.candidate.de00[0]), 4),
                    saved=None if best.saved is None else round(best.saved, 4),
                )
            )  # fmt: skip
    priced = all(b.saved is not None for b in found)
    return tuple(sorted(found, key=lambda b: -(b.saved or 0.0) if priced else -b.used_g))


def _target(session: Session, asked: Recurring) -> Target:
    if asked.R is None:
        return wanted_lab(session, asked.lab, asked.light, asked.observer).target
    return wanted_spectrum(session, asked.name, asked.R).target
