"""What is on the shelf by the book: lots, grams, leftovers, and what to order.

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
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import ceil

import numpy as np

from matchkit.book.rows import by_ink, contents, last_weighing, left_g, milligrams, must_be
from matchkit.book.schema import MG
from matchkit.book.store import Book, insert, reading, record, writing
from matchkit.errors import InputError, did_you_mean, raise_any
from matchkit.files.text import quoted
from matchkit.inks.shop import Ink, Mix, Shop

DAY_S = 86400
BY_BOOK = "stock and lots are as the record book has them"
IN_FILE = "as in mixes.csv"
NO_SHOP = Shop(name="", geometry="", condition="", observer=10, lights=("D65",))

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


@dataclass(frozen=True, kw_only=True)
class Need:
    """What an open batch that was not weighed yet takes of an ink."""

    batch: int
    due: str  # a day, or empty
    grams: float


@dataclass(frozen=True, kw_only=True)
class Order:
    """An ink that runs low: grams in stock, promised to open batches, used in `days`.

    `lasts_days` at that use (None: nothing was used), `order_g` what brings the stock to
    as much as that use and those batches need: so many `containers` (None: nobody said how
    much one holds), at that `cost` (None: not known).  `needs` are the batches, the first
    due before, and `by` the day on which it is needed: the due day of the first batch that
    the stock leaves short, else the day on which it runs out (empty: no day is known).
    """

    ink: str
    stock_g: float
    promised_g: float
    used_g: float
    lasts_days: float | None
    order_g: float
    containers: int | None
    cost: float | None
    needs: tuple[Need, ...]
    by: str


def stock(book: Book, shop: Shop) -> dict[str, float | None]:
    """Grams of each ink and leftover; None where nobody ever said how much there is."""
    with reading(book) as db:
        return {ink: None if mg is None else mg / MG for ink, mg in stock_mg(db, shop).items()}


def stock_mg(db: sqlite3.Connection, shop: Shop) -> dict[str, int | None]:
    """Milligrams of each ink and leftover; None where nobody ever said how much there is."""
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


def sync_stock(db: sqlite3.Connection, book: Book, shop: Shop) -> None:
    """Take what `inks.csv` and `mixes.csv` newly say about stock into the book."""
    for name, mg, lot in _news(db, shop):
        values = {"ink": name, "lot": lot, "mg": mg, "stated_mg": mg, "note": "as in the files"}
        record(db, book, "movement", {"kind": "count", **values})


def lots_of(db: sqlite3.Connection, shop: Shop) -> dict[str, str]:
    """Today's lot of each ink.  An edited `inks.csv` overrules an earlier record."""
    opened = _opened(db)
    return {ink.name: _lot(ink, opened.get(ink.name, []))[0] for ink in shop.inks}


def lots_now(book: Book, shop: Shop) -> dict[str, str]:
    """Today's lot of each ink; an edited `inks.csv` overrules an earlier record."""
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
    rows = db.execute("SELECT id, name, R, at, note FROM mix_now ORDER BY id").fetchall()
    for number, name, R, at, note in rows:
        parts = db.execute("SELECT ink, fraction FROM mix_ink WHERE mix = ? ORDER BY id", [number])
        inks, fractions = zip(*parts.fetchall(), strict=True)
        known[name] = Mix(
            name=name,
            inks=inks,
            fractions=fractions,
            date=note.removeprefix(IN_FILE).strip() or at[:10],
            R=None if R is None else np.array(json.loads(R)),
        )
    return known | {mix.name: mix for mix in shop.mixes}


def keep_mix(db: sqlite3.Connection, book: Book, mix: Mix, lots: Mapping[str, str]) -> int:
    """The record of what a mixture holds, written now unless the book has it like that.

    It is taken as made of `lots`, by ink, the ones in use; one that is dated anew, as made anew.
    """
    last = db.execute(
        "SELECT id, note, batch FROM mix_now WHERE name = ? ORDER BY id DESC LIMIT 1", [mix.name]
    ).fetchone()
    note = f"{IN_FILE} {mix.date}".rstrip()
    if last and (last[2] is not None or last[1] in (IN_FILE, note)):
        parts = dict(db.execute("SELECT ink, fraction FROM mix_ink WHERE mix = ?", [last[0]]))
        if parts == dict(zip(mix.inks, mix.fractions, strict=True)):
            return int(last[0])
    R = None if mix.R is None else json.dumps(np.round(mix.R, 6).tolist())
    number = record(db, book, "mix", {"name": mix.name, "R": R, "note": note})
    for ink, fraction in zip(mix.inks, mix.fractions, strict=True):
        row = {"mix": number, "ink": ink, "fraction": fraction, "lot": lots.get(ink, "")}
        insert(db, "mix_ink", row)
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
    raise_any(faults)


def leftovers(book: Book) -> tuple[Mix, ...]:
    """The leftovers that still stand on the shelf by the book, with grams and spectrum."""
    with reading(book) as db:
        return _leftovers(db, stock_mg(db, NO_SHOP))


def _leftovers(db: sqlite3.Connection, held: Mapping[str, int | None]) -> tuple[Mix, ...]:
    own, known = _own(db), mixes_of(db, NO_SHOP)
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
        held, lots = stock_mg(db, shop), lots_of(db, shop)
        kept = _leftovers(db, held)
    inks = [replace(ink, lot=lots[ink.name], stock_g=_grams(held[ink.name])) for ink in shop.inks]
    names = {mix.name for mix in shop.mixes}
    mixes = [replace(mix, stock_g=_grams(held.get(mix.name))) for mix in shop.mixes]
    mixes += [mix for mix in kept if mix.name not in names]
    notes = shop.notes if BY_BOOK in shop.notes else (*shop.notes, BY_BOOK)
    return replace(shop, inks=tuple(inks), mixes=tuple(mixes), notes=notes)


def _grams(mg: int | None) -> float | None:
    return None if mg is None else max(mg, 0) / MG


# ---- what happens on the shelf


def keep_leftover(book: Book, shop: Shop, batch: int, grams: float, name: str) -> int:
    """What is left of a batch goes on the shelf under a name of its own."""
    with writing(book) as db:
        return shelve(db, book, shop, batch, grams, name)


def shelve(
    db: sqlite3.Connection, book: Book, shop: Shop, batch: int, grams: float, name: str
) -> int:
    """Put what is left of a batch on the shelf, in a transaction that is open."""
    must_be(db, "batch", batch)
    if name.strip() in {"", *mixes_of(db, shop), *(ink.name for ink in shop.inks)}:
        raise InputError(
            f"{quoted(name)} is on the shelf already, or empty; give another name, or put its"
            " weight right with `matchkit book SHOP count`"
        )
    held, kept_g = by_ink(contents(db, batch)), left_g(db, batch)
    total = sum(held.values())
    if not 0 <= grams <= total - kept_g + 1e-9:
        kept = f", and {kept_g:g} g of it are on the shelf already" if kept_g else ""
        raise InputError(f"batch {batch} was {total:g} g{kept}; {grams:g} g can't be left")
    row = db.execute(  # of what is in the container now: a fit drawdown, and not a print
        "SELECT m.R FROM measurement_now m, batch b, formula f WHERE b.id = m.batch AND f.id ="
        " b.formula AND f.printed = '' AND m.state = '' AND m.batch = ? AND m.weighing = ?"
        " AND m.geometry = ? ORDER BY m.id DESC LIMIT 1",
        [batch, last_weighing(db, batch), shop.geometry],
    ).fetchone()
    said = {"batch": batch, "R": row and row[0], "note": ""}
    number = record(db, book, "mix", {"name": name, **said})
    for ink, g in held.items():
        insert(db, "mix_ink", {"mix": number, "ink": ink, "fraction": g / total})
    moved = {"ink": name, "lot": "", "mg": milligrams(grams, name, zero=True), "note": ""}
    record(db, book, "movement", {"kind": "leftover", "mix": number, **moved})
    return number


def count(book: Book, shop: Shop, name: str, grams: float, *, note: str = "") -> int:
    """A stock-take: this much of an ink or a leftover is there now."""
    return _move(book, shop, "count", name, grams, "", note)


def deliver(book: Book, shop: Shop, name: str, grams: float, *, lot: str = "") -> int:
    """Ink that came in; `lot` is the delivery's, opened later by `open_lot`."""
    return _move(book, shop, "delivery", name, grams, lot, "")


def _move(book: Book, shop: Shop, kind: str, name: str, grams: float, lot: str, note: str) -> int:
    with writing(book) as db:
        weighable({name: grams}, shop, mixes_of(db, shop))
        sync_stock(db, book, shop)
        mg = milligrams(grams, name, zero=kind == "count")
        lot = lot or lots_of(db, shop).get(name, "")
        values = {"kind": kind, "ink": name, "lot": lot, "mg": mg, "note": note}
        return record(db, book, "movement", values)


def open_lot(book: Book, shop: Shop, ink: str, lot: str) -> int | None:
    """From now on this ink is weighed from a new lot; what was learned of the old one is put aside.

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
        values = {"ink": ink, "lot": lot, "stated": stated_lot(db, inks[ink]), "note": ""}
        return record(db, book, "lot", values)


def reorder(book: Book, shop: Shop, *, days: int = 30) -> list[Order]:
    """Inks whose stock is less than `days` of use like the last `days`, and open batches.

    The ones that are needed first come first.  Inks that nobody counted are left out, and
    those that have left the shop.
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
        needs = _needs(db)
    orders = [
        _order(ink, mg, needs.get(ink.name, ()), used.get(ink.name, 0), days, book.clock())
        for ink in shop.inks
        if ink.active and (mg := held[ink.name]) is not None
    ]
    return sorted((each for each in orders if each.order_g > 0), key=lambda o: o.by or "9999")


def _needs(db: sqlite3.Connection) -> dict[str, tuple[Need, ...]]:
    """By ink, what open batches that were not weighed yet will take; the first due before."""
    needs: dict[str, tuple[Need, ...]] = {}
    for ink, batch, due, mg in db.execute(
        "SELECT part.ink, batch.id, batch.due, part.fraction * batch.planned_mg"
        " FROM batch_now batch JOIN formula_ink part ON part.formula = batch.formula"
        " WHERE batch.id NOT IN (SELECT batch FROM weighing_now)"
        " AND batch.id NOT IN (SELECT batch FROM closing_now)"
        " ORDER BY batch.due = '', batch.due, batch.id"
    ):
        needs[ink] = (*needs.get(ink, ()), Need(batch=batch, due=due, grams=mg / MG))
    return needs


def _order(
    ink: Ink, mg: int, needs: tuple[Need, ...], used: int, days: int, now: datetime
) -> Order:
    promised = sum(need.grams for need in needs)
    free = mg / MG - promised
    order_g = max(used / MG - free, 0.0)
    lasts = max(free, 0.0) / (used / MG) * days if used else None
    containers = None if not ink.container_g else ceil(order_g / ink.container_g - 1e-9)
    bought_g = order_g if containers is None else containers * (ink.container_g or 0.0)
    return Order(
        ink=ink.name,
        stock_g=mg / MG,
        promised_g=promised,
        used_g=used / MG,
        lasts_days=lasts,
        order_g=order_g,
        containers=containers,
        cost=None if ink.cost_per_kg is None else bought_g * ink.cost_per_kg / 1000,
        needs=needs,
        by=_needed_by(mg / MG, needs, lasts, now),
    )


def _needed_by(
    stock_g: float, needs: tuple[Need, ...], lasts_days: float | None, now: datetime
) -> str:
    """The day on which more is needed, or an empty text."""
    for need in needs:
        stock_g -= need.grams
        if stock_g < 0:
            return need.due
    if lasts_days is None:
        return ""
    return (now.astimezone() + timedelta(days=lasts_days)).date().isoformat()
