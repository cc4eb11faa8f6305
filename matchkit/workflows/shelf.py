"""The shelf by the record book: deliveries, counting, lots, and what runs low."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from matchkit.book import stock as ledger
from matchkit.book.checks import is_checked
from matchkit.book.stock import Order, leftovers
from matchkit.book.stock import stock as grams_of
from matchkit.correcting.lots import told_strengths
from matchkit.files.shop_tables import retire_in
from matchkit.workflows.booking import Written
from matchkit.workflows.session import Session


def count(session: Session, name: str, grams: float) -> Written:
    """Write down a stock-take of an ink or a leftover: so many grams are there now."""
    number = ledger.count(session.open_book(create=True), session.files, name, grams)
    return Written(text=f"Counted: {name} {grams:g} g.", records={"movement": number})


def deliver(session: Session, ink: str, grams: float, *, lot: str = "") -> Written:
    """Write down ink that came in; its lot counts once `open_lot` says that it is open."""
    book = session.open_book(create=True)
    number = ledger.deliver(book, session.files, ink, grams, lot=lot)
    hint = f" When lot {lot} is opened, write that down too." if lot else ""
    return Written(text=f"Delivered: {ink} {grams:g} g.{hint}", records={"movement": number})


def open_lot(session: Session, ink: str, lot: str) -> Written:
    """From now on an ink is weighed from another lot; nothing is written if it is open."""
    book, shop = session.open_book(create=True), session.files
    number = ledger.open_lot(book, shop, ink, lot)
    if number is None:
        text = f"{ink}: lot {lot} is open already; nothing is changed."
    elif is_checked(book, shop, ink, lot):
        text = f"{ink}: lot {lot} from now on; its check drawdown tells its strength."
    else:
        text = (
            f"{ink}: lot {lot} from now on. Its strength is not known yet; one drawdown of it,"
            " checked, tells it."
        )
    return Written(text=text, records={"lot": number})


def retire(session: Session, ink: str) -> Written:
    """An ink leaves the shop: no new formula takes it, and old batches still tell of it."""
    kept = retire_in(session.folder, ink)
    text = (
        f"{ink} has left the shop: `no` stands in the column active of inks.csv ({kept} is as it"
        " was), and no new formula takes it once the shop is opened again."
    )
    return Written(text=text, records={"retired": ink, "kept": kept})


@dataclass(frozen=True, kw_only=True)
class Stock:
    """What is on the shelf: grams by ink and leftover, None where nobody ever counted."""

    grams: Mapping[str, float | None]
    lots: Mapping[str, str]  # of the inks
    leftovers: frozenset[str]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        return {"stock": dict(self.grams)}


def stock(session: Session) -> Stock:
    """What is on the shelf by the book."""
    book, shop = session.open_book(), session.shop
    return Stock(
        grams=grams_of(book, session.files),
        lots={ink.name: ink.lot for ink in shop.inks},
        leftovers=frozenset(mix.name for mix in leftovers(book)),
    )


@dataclass(frozen=True, kw_only=True)
class Orders:
    """The inks that run low within so many days, and what to order of each."""

    orders: tuple[Order, ...]
    days: int
    currency: str

    @property
    def cost(self) -> float | None:
        """What all of it costs; None where a cost is not known."""
        costs = [each.cost for each in self.orders if each.cost is not None]
        return sum(costs) if len(costs) == len(self.orders) else None

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        orders = [asdict(order) for order in self.orders]
        return {"orders": orders, "cost": self.cost, "currency": self.currency}


def reorder(session: Session, *, days: int = 30) -> Orders:
    """The inks that run low if the next `days` are like the last."""
    found = ledger.reorder(session.open_book(), session.files, days=days)
    return Orders(orders=tuple(found), days=days, currency=session.settings.currency)


@dataclass(frozen=True, kw_only=True)
class LotNow:
    """How strong today's lot of an ink is, 1 being the fitted one; `error` of its logarithm.

    It is beside the mean of all that was mixed, which no colour tells.
    """

    ink: str
    lot: str
    strength: float
    error: float


@dataclass(frozen=True, kw_only=True)
class LotsToday:
    """What the batches told about the lots of today; `odd` are batches that fit no lots.

    `batches` are so many that count in the fit itself, beside the drawdowns.
    """

    lots: tuple[LotNow, ...]
    words: tuple[str, ...]
    odd: tuple[str, ...]
    batches: int = 0

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        rows = [asdict(each) for each in self.lots]
        told = {"words": list(self.words), "odd": list(self.odd)}
        return {"lots": rows, **told, "batches_in_fit": self.batches}


def lots(session: Session) -> LotsToday:
    """How strong the lots of today are, as the book's batches and lot checks tell."""
    session.open_book()
    known = session.learned()
    rows = tuple(
        LotNow(ink=ink, lot=lot, strength=round(float(np.exp(x)), 4), error=round(float(e), 4))
        for each in known.lots.values()
        for ink, lot, x, e in zip(each.inks, each.lots, *told_strengths(each), strict=True)
    )
    return LotsToday(lots=rows, words=known.words, odd=known.odd, batches=known.batches)
