"""What the functions that write and read the book share: columns, checks, contents."""

import json
import sqlite3
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.book.schema import MG
from matchkit.colorimetry.tristimulus import Lab
from matchkit.errors import InputError
from matchkit.files.text import quoted
from matchkit.inks.shop import Shop


def reading_text(R: Array) -> str:
    """A spectrum (n_wl,) as the book keeps it: a reading is no finer than six decimals."""
    return json.dumps(np.round(np.asarray(R, dtype=float), 6).tolist())


def colour(shop: Shop, R: Array) -> dict[str, object]:
    """The columns that tell a colour: its spectrum, its Lab as the shop sees it, how read."""
    light, text = shop.lights[0], reading_text(R)
    L, a, b = (round(float(v), 4) for v in Lab(json.loads(text), light, shop.observer))
    return {
        "R": text,
        "L": L,
        "a": a,
        "b": b,
        "light": light,
        "observer": shop.observer,
        "geometry": shop.geometry,
        "condition": shop.condition,
    }


def named(
    db: sqlite3.Connection, query: str, values: Sequence[object] = ()
) -> list[dict[str, Any]]:
    """Rows by the names of their columns, which are those of the fields that they fill."""
    found = db.execute(query, values)
    names = [column[0] for column in found.description]
    return [dict(zip(names, row, strict=True)) for row in found]


def milligrams(grams: float, what: str, *, zero: bool = False) -> int:
    """Whole milligrams, or InputError."""
    if not np.isfinite(grams) or grams < 0 or grams > 1e9 or (grams == 0 and not zero):
        least = "0 g or more" if zero else "more than 0 g"
        raise InputError(f"{what}: found {grams:g} g; write {least}")
    return round(grams * MG)


def day(text: str) -> str:
    """A day as YYYY-MM-DD, or an empty string as it is."""
    try:
        return date.fromisoformat(text).isoformat() if text else ""
    except ValueError:
        raise InputError(f"found {quoted(text)}; write a day as 2026-11-25") from None


def must_be(db: sqlite3.Connection, what: str, number: int) -> None:
    """InputError unless the record is there and was not struck."""
    if db.execute(f"SELECT 1 FROM {what}_now WHERE id = ?", [number]).fetchone():
        return
    (last,) = db.execute(f"SELECT max(id) FROM {what}").fetchone()
    if last is not None and 1 <= number <= last:
        raise InputError(f"{what} {number} was struck; `matchkit book SHOP show` says why")
    there = "there is none yet" if last is None else f"the last is {last}"
    raise InputError(f"no {what} {number} in the book; {there}")


def is_open(db: sqlite3.Connection, batch: int) -> tuple[int, int]:
    """The formula and the planned milligrams of a batch that is not closed."""
    must_be(db, "batch", batch)
    ended = db.execute("SELECT outcome FROM closing_now WHERE batch = ?", [batch]).fetchone()
    if ended:
        raise InputError(
            f"batch {batch} is closed ({ended[0]}); open a new one, or strike its closing"
        )
    row = db.execute("SELECT formula, planned_mg FROM batch WHERE id = ?", [batch]).fetchone()
    return int(row[0]), int(row[1])


def last_weighing(db: sqlite3.Connection, batch: int) -> int | None:
    """The last weigh-out of a batch."""
    last = db.execute("SELECT max(id) FROM weighing_now WHERE batch = ?", [batch]).fetchone()
    number: int | None = last[0]
    return number


def taken_back(what: str, number: int) -> str:
    """The command that strikes a record, as it is typed."""
    return f'`matchkit book SHOP strike {what} {number} --why "..."`'


def parts_of(db: sqlite3.Connection, what: str, number: int) -> dict[str, float]:
    """Mass fractions by ink of a formula or a mixture, in weighing order."""
    rows = db.execute(
        f"SELECT ink, fraction FROM {what}_ink WHERE {what} = ? ORDER BY id", [number]
    )
    return dict(rows.fetchall())


def held_by(db: sqlite3.Connection, formula: int) -> dict[str, float]:
    """Mass fractions by ink of a formula, its mixtures taken apart as they were known then."""
    held: dict[str, float] = {}
    for name, fraction in parts_of(db, "formula", formula).items():
        then = db.execute(
            "SELECT id FROM mix WHERE name = ? ORDER BY"
            " at <= (SELECT at FROM formula WHERE id = ?) DESC, id DESC LIMIT 1",
            [name, formula],
        ).fetchone()
        for ink, part in (parts_of(db, "mix", then[0]) if then else {name: 1.0}).items():
            held[ink] = held.get(ink, 0.0) + fraction * part
    return held


def contents(
    db: sqlite3.Connection, batch: int, before: int | None = None
) -> dict[tuple[str, str], float]:
    """Grams by ink and lot in the container, mixtures taken apart; before the movement `before`."""
    held: dict[tuple[str, str], float] = {}
    rows = db.execute(
        "SELECT DISTINCT weighing FROM movement_now WHERE id < ? AND weighing IN"
        " (SELECT id FROM weighing_now WHERE batch = ?) ORDER BY weighing",
        [2**62 if before is None else before, batch],
    )
    for (weighing,) in rows.fetchall():
        for of_lot, grams in poured(db, weighing).items():
            held[of_lot] = held.get(of_lot, 0.0) + grams
    return held


def left_g(db: sqlite3.Connection, batch: int) -> float:
    """Grams that were left of a batch, by what went on the shelf of it."""
    (mg,) = db.execute(
        "SELECT coalesce(sum(mg), 0) FROM movement_now WHERE kind = 'leftover' AND mix IN"
        " (SELECT id FROM mix_now WHERE batch = ?)",
        [batch],
    ).fetchone()
    return float(mg / MG)


def poured(db: sqlite3.Connection, weighing: int) -> dict[tuple[str, str], float]:
    """Grams by ink and lot of a weigh-out, mixtures taken apart.

    A leftover holds the lots of the batch that it comes from, a letdown those that were in
    use when it was first written down; the lot is empty where nobody knows it.
    """
    held: dict[tuple[str, str], float] = {}
    for name, lot, mix, grams in db.execute(
        "SELECT ink, lot, mix, -mg / ? FROM movement_now WHERE weighing = ? AND mg < 0 ORDER BY id",
        [float(MG), weighing],
    ).fetchall():
        for of_lot, share in ({(name, lot): 1.0} if mix is None else _lots_of_mix(db, mix)).items():
            held[of_lot] = held.get(of_lot, 0.0) + share * grams
    return held


def _lots_of_mix(db: sqlite3.Connection, mix: int) -> dict[tuple[str, str], float]:
    """Mass fractions of a mixture by ink and lot."""
    batch, taken = db.execute(
        "SELECT batch, (SELECT min(id) FROM movement WHERE mix = mix.id) FROM mix WHERE id = ?",
        [mix],
    ).fetchone()
    held = {} if batch is None else contents(db, batch, before=taken)
    if total := sum(held.values()):
        return {of_lot: grams / total for of_lot, grams in held.items()}
    rows = db.execute("SELECT ink, lot, fraction FROM mix_ink WHERE mix = ? ORDER BY id", [mix])
    return {(ink, lot): fraction for ink, lot, fraction in rows}


def by_ink(held: Mapping[tuple[str, str], float]) -> dict[str, float]:
    """Grams by ink, of whichever lot.

    >>> by_ink({("White", "W7"): 90.0, ("White", "W8"): 5.0})
    {'White': 95.0}
    """
    inks: dict[str, float] = {}
    for (ink, _), grams in held.items():
        inks[ink] = inks.get(ink, 0.0) + grams
    return inks
