"""Stock in the record book: counted, delivered, left over, opened, and what to order."""

import sqlite3
from dataclasses import dataclass

import numpy as np

from matchkit.book.rows import contents, milligrams, must_be
from matchkit.book.shelf import MG, heed, lots_of, mixes_of, stated_lot, stock_mg, weighable
from matchkit.book.store import Book, insert, reading, record, writing
from matchkit.errors import InputError
from matchkit.files.amounts import quoted
from matchkit.files.text import did_you_mean
from matchkit.inks.shop import Ink, Shop

__all__ = ["Order", "count", "deliver", "keep_leftover", "open_lot", "reorder"]

DAY_S = 86400


@dataclass(frozen=True, kw_only=True)
class Order:
    """An ink that runs low: grams in stock, promised to open batches, used in `days`.

    `lasts_days` at that use (None: nothing was used), `order_g` what brings the stock to
    as much as that use and those batches need.
    """

    ink: str
    stock_g: float
    promised_g: float
    used_g: float
    lasts_days: float | None
    order_g: float


def keep_leftover(book: Book, shop: Shop, batch: int, grams: float, name: str) -> int:
    """What is left of a batch goes on the shelf under a name of its own."""
    with writing(book) as db:
        must_be(db, "batch", batch)
        taken = {*mixes_of(db, shop), *(ink.name for ink in shop.inks)}
        if name.strip() in {"", *taken}:
            raise InputError(f"{quoted(name)} is on the shelf already, or empty; give another name")
        held = contents(db, batch)
        total = sum(held.values())
        if not 0 < grams <= total:
            raise InputError(f"batch {batch} was {total:g} g; {grams:g} g can't be left of it")
        rows = db.execute("SELECT R FROM measurement_now WHERE batch = ? ORDER BY id", [batch])
        R = ([None] + [row[0] for row in rows])[-1]
        number = record(db, book, "mix", {"name": name, "batch": batch, "R": R, "note": ""})
        for ink, g in held.items():
            insert(db, "mix_ink", {"mix": number, "ink": ink, "fraction": g / total})
        row = {"ink": name, "lot": "", "mg": milligrams(grams, name), "note": ""}
        record(db, book, "movement", {"kind": "leftover", "mix": number, **row})
        return number


def count(book: Book, shop: Shop, name: str, grams: float, *, note: str = "") -> int:
    """A stock-take: this much of an ink or a leftover is there now."""
    return _move(book, shop, "count", name, grams, "", note)


def deliver(
    book: Book, shop: Shop, name: str, grams: float, *, lot: str = "", note: str = ""
) -> int:
    """Ink that came in; `lot` is the delivery's, opened later by `open_lot`."""
    return _move(book, shop, "delivery", name, grams, lot, note)


def _move(book: Book, shop: Shop, kind: str, name: str, grams: float, lot: str, note: str) -> int:
    with writing(book) as db:
        weighable({name: grams}, shop, mixes_of(db, shop))
        heed(db, book, shop)
        mg = milligrams(grams, name, zero=kind == "count")
        lot = lot or lots_of(db, shop).get(name, "")
        values = {"kind": kind, "ink": name, "lot": lot, "mg": mg, "note": note}
        return record(db, book, "movement", values)


def open_lot(book: Book, shop: Shop, ink: str, lot: str, *, note: str = "") -> int | None:
    """From now on this ink is weighed from a new lot; what the old one taught is put aside.

    None, and nothing is written, where that lot is the open one.
    """
    inks = {each.name: each for each in shop.inks}
    if ink not in inks:
        raise InputError(f"{quoted(ink)} is no ink of the shop{did_you_mean(ink, inks)}")
    if not lot.strip():
        raise InputError("a lot needs its name; copy it from the container")
    with writing(book) as db:
        if lots_of(db, shop)[ink] == lot:
            return None
        values = {"ink": ink, "lot": lot, "stated": stated_lot(db, inks[ink]), "note": note}
        return record(db, book, "lot", values)


def reorder(book: Book, shop: Shop, *, days: int = 30) -> list[Order]:
    """Inks whose stock is less than `days` of use like the last `days`, and open batches.

    The ones that run out first come first.  Inks that nobody counted are left out.
    """
    since = book.clock().timestamp() - days * DAY_S
    with reading(book) as db:
        held = stock_mg(db, shop)
        used = dict(
            db.execute(
                "SELECT ink, -sum(mg) FROM movement_now WHERE kind = 'weighed'"
                " AND at >= strftime('%Y-%m-%dT%H:%M:%SZ', ?, 'unixepoch') GROUP BY ink",
                [since],
            )
        )
        promised = _promised_mg(db)
    orders = [
        _order(ink, held[ink.name], promised.get(ink.name, 0.0), used.get(ink.name, 0), days)
        for ink in shop.inks
    ]
    short = [each for each in orders if each and each.order_g > 0]
    return sorted(short, key=lambda o: np.inf if o.lasts_days is None else o.lasts_days)


def _promised_mg(db: sqlite3.Connection) -> dict[str, float]:
    """What open batches that were not weighed yet will take."""
    return dict(
        db.execute(
            "SELECT part.ink, sum(part.fraction * batch.planned_mg) FROM batch_now batch"
            " JOIN formula_ink part ON part.formula = batch.formula"
            " WHERE batch.id NOT IN (SELECT batch FROM weighing_now)"
            " AND batch.id NOT IN (SELECT batch FROM closing_now) GROUP BY part.ink"
        ).fetchall()
    )


def _order(ink: Ink, mg: int | None, promised: float, used: int, days: int) -> Order | None:
    if mg is None:
        return None
    free = mg - promised
    return Order(
        ink=ink.name,
        stock_g=mg / MG,
        promised_g=promised / MG,
        used_g=used / MG,
        lasts_days=max(free, 0) / used * days if used else None,
        order_g=max(used - free, 0) / MG,
    )
