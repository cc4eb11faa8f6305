"""What is on the shelf by the book: lots, grams, leftovers.

`inks.csv` is where stock and lots begin.  From then on the book keeps count: what was
weighed goes off, deliveries come on, and a stock-take overrules both.  A number in
`inks.csv` that was edited since the book last saw it counts as a stock-take, and an
edited lot as a new lot, so that either way of keeping a shelf works.

A shop as the files have it and a shop as `today` gives it may both be handed to every
function of the book; the second carries `BY_BOOK` in its notes.
"""

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from matchkit.book.store import Book, insert, reading, record
from matchkit.errors import InputError
from matchkit.files.amounts import quoted
from matchkit.files.text import did_you_mean
from matchkit.inks.shop import Ink, Mix, Shop

__all__ = [
    "BY_BOOK",
    "MG",
    "heed",
    "keep_mix",
    "leftovers",
    "lots_now",
    "lots_of",
    "mixes_of",
    "stated_lot",
    "stock",
    "stock_mg",
    "today",
    "weighable",
]

MG = 1000  # in a gram
BY_BOOK = "stock and lots are as the record book has them"

# Since the last stock-take of each ink; a ledger that is only added to has an order.
_STOCK = """
WITH taken AS (SELECT ink, max(id) AS id FROM movement_now WHERE kind = 'count' GROUP BY ink)
SELECT m.ink, sum(m.mg), max(taken.id) FROM movement_now m
LEFT JOIN taken ON taken.ink = m.ink
WHERE m.id >= coalesce(taken.id, 0) GROUP BY m.ink
"""
_STATED = """
SELECT ink, stated_mg FROM movement_now
WHERE id IN (SELECT max(id) FROM movement_now WHERE stated_mg IS NOT NULL GROUP BY ink)
"""


def stock(book: Book, shop: Shop) -> dict[str, float | None]:
    """Grams of each ink and leftover; None where nobody ever said how much there is."""
    with reading(book) as db:
        return {ink: None if mg is None else mg / MG for ink, mg in stock_mg(db, shop).items()}


def stock_mg(db: sqlite3.Connection, shop: Shop) -> dict[str, int | None]:
    counted: dict[str, int | None] = {ink.name: None for ink in shop.inks}
    kept = _own(db)
    for ink, mg, taken in db.execute(_STOCK):
        if taken is not None or ink in kept:
            counted[ink] = mg
    return counted | {ink: mg for ink, mg, _ in _news(db, shop)}


def _news(db: sqlite3.Connection, shop: Shop) -> list[tuple[str, int, str]]:
    """What `inks.csv` and `mixes.csv` say that the book has not seen: name, mg, lot."""
    if BY_BOOK in shop.notes:
        return []
    seen = dict(db.execute(_STATED).fetchall())
    stated = [(ink.name, ink.stock_g, ink.lot) for ink in shop.inks]
    stated += [(mix.name, mix.stock_g, "") for mix in shop.mixes]
    return [
        (name, round(g * MG), lot)
        for name, g, lot in stated
        if g is not None and seen.get(name) != round(g * MG)
    ]


def heed(db: sqlite3.Connection, book: Book, shop: Shop) -> None:
    """Take what `inks.csv` and `mixes.csv` newly say about stock into the book."""
    for name, mg, lot in _news(db, shop):
        values = {"ink": name, "lot": lot, "mg": mg, "stated_mg": mg, "note": "as in the files"}
        record(db, book, "movement", {"kind": "count", **values})


def lots_of(db: sqlite3.Connection, shop: Shop) -> dict[str, str]:
    """Today's lot of each ink.  An edited `inks.csv` overrules an earlier record."""
    opened = _opened(db)
    return {ink.name: _lot(ink, opened.get(ink.name, []))[0] for ink in shop.inks}


def lots_now(book: Book, shop: Shop) -> dict[str, str]:
    """The same, from a book that is not open yet."""
    with reading(book) as db:
        return lots_of(db, shop)


def stated_lot(db: sqlite3.Connection, ink: Ink) -> str:
    """The lot that `inks.csv` states for an ink, whichever shop the ink is of."""
    return _lot(ink, _opened(db).get(ink.name, []))[1]


def _opened(db: sqlite3.Connection) -> dict[str, list[tuple[str, str]]]:
    """By ink, the lots that were opened, each with the one that the file stated then."""
    opened: dict[str, list[tuple[str, str]]] = {}
    for ink, lot, stated in db.execute("SELECT ink, lot, stated FROM lot_now ORDER BY id"):
        opened.setdefault(ink, []).append((lot, stated))
    return opened


def _lot(ink: Ink, opened: list[tuple[str, str]]) -> tuple[str, str]:
    """The lot in use and the one that the file states.

    The last one opened counts as long as the file states what it did then; an ink of
    `today` has one of the lots that were opened under that statement.
    """
    if opened:
        last, stated = opened[-1]
        if ink.lot in {stated, *(lot for lot, was in opened if was == stated)}:
            return last, stated
    return ink.lot, ink.lot


def mixes_of(db: sqlite3.Connection, shop: Shop) -> dict[str, Mix]:
    """Every mixture that the book or the shop knows by name; the shop's file comes first."""
    known: dict[str, Mix] = {}
    rows = db.execute("SELECT id, name, R, at FROM mix_now ORDER BY id").fetchall()
    for number, name, R, at in rows:
        parts = db.execute("SELECT ink, fraction FROM mix_ink WHERE mix = ? ORDER BY id", [number])
        inks, fractions = zip(*parts.fetchall(), strict=True)
        known[name] = Mix(
            name=name,
            inks=inks,
            fractions=fractions,
            date=at[:10],
            R=None if R is None else np.array(json.loads(R)),
        )
    return known | {mix.name: mix for mix in shop.mixes}


def keep_mix(db: sqlite3.Connection, book: Book, mix: Mix) -> int:
    """The record of what a mixture holds, written now unless the book has it like that."""
    last = db.execute("SELECT max(id) FROM mix_now WHERE name = ?", [mix.name]).fetchone()[0]
    parts = dict(db.execute("SELECT ink, fraction FROM mix_ink WHERE mix = ?", [last]))
    if last and parts == dict(zip(mix.inks, mix.fractions, strict=True)):
        return int(last)
    R = None if mix.R is None else json.dumps(np.round(mix.R, 6).tolist())
    number = record(db, book, "mix", {"name": mix.name, "R": R, "note": "as in mixes.csv"})
    for ink, fraction in zip(mix.inks, mix.fractions, strict=True):
        insert(db, "mix_ink", {"mix": number, "ink": ink, "fraction": fraction})
    return number


def weighable(
    names: Mapping[str, float], shop: Shop, mixes: Mapping[str, Mix], also: tuple[str, ...] = ()
) -> None:
    """InputError unless all names are inks or mixtures, all of one series, `also` counted."""
    series = {ink.name: ink.series for ink in shop.inks}
    known = [*series, *(name for name in mixes if name not in series)]
    faults = [
        f"{quoted(name)} is neither an ink nor a mixture of the shop{did_you_mean(name, known)}"
        for name in names
        if name not in known
    ]
    held = [n for name in names if name in mixes for n in mixes[name].inks]
    found = {series[n]: n for n in (*names, *held, *also) if n in series}
    if len(found) > 1:
        faults.append(f"{', '.join(found.values())}: inks of different series are never mixed")
    if faults:
        raise InputError(faults)


def leftovers(book: Book) -> tuple[Mix, ...]:
    """The leftovers that still stand on the shelf by the book, with grams and spectrum."""
    with reading(book) as db:
        return _leftovers(db)


def _leftovers(db: sqlite3.Connection) -> tuple[Mix, ...]:
    empty = Shop(name="", geometry="", condition="", observer=10, lights=("D65",))
    held = stock_mg(db, empty)
    own, known = _own(db), mixes_of(db, empty)
    return tuple(
        replace(known[name], stock_g=(held[name] or 0) / MG)
        for name in known
        if name in own and (held.get(name) or 0) > 0
    )


def _own(db: sqlite3.Connection) -> set[str]:
    """Names of the leftovers that come from batches of the book."""
    return {name for (name,) in db.execute("SELECT name FROM mix_now WHERE batch IS NOT NULL")}


def today(book: Book, shop: Shop) -> Shop:
    """The shop with the lots, the stock and the leftovers that the book knows of.

    A stock below zero, which says that something was not written down, is taken as 0.
    """
    with reading(book) as db:
        held, lots, kept = stock_mg(db, shop), lots_of(db, shop), _leftovers(db)
    inks = [replace(ink, lot=lots[ink.name], stock_g=_grams(held[ink.name])) for ink in shop.inks]
    names = {mix.name for mix in shop.mixes}
    mixes = [replace(mix, stock_g=_grams(held.get(mix.name))) for mix in shop.mixes]
    mixes += [mix for mix in kept if mix.name not in names]
    notes = shop.notes if BY_BOOK in shop.notes else (*shop.notes, BY_BOOK)
    return replace(shop, inks=tuple(inks), mixes=tuple(mixes), notes=notes)


def _grams(mg: int | None) -> float | None:
    return None if mg is None else max(mg, 0) / MG
