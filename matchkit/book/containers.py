"""What happens to a batch, written into the record book: weighed, measured, added to.

Grams are what the balance showed; the stock goes down by them.
"""

import json
import sqlite3
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.book import schema, stock
from matchkit.book.rows import (
    colour,
    is_open,
    last_weighing,
    milligrams,
    must_be,
    parts_of,
    taken_back,
)
from matchkit.book.store import Book, insert, record, writing
from matchkit.colorimetry.grid import check_reflectance
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.correcting.correct import Correction
from matchkit.errors import InputError, raise_any
from matchkit.inks.shop import Shop

# Drawdowns that nothing is learned from and nothing is added by, and what to do about each.
UNFIT = {
    "unstirred": "stir the batch, draw down, cure and measure again",
    "uncured": "cure it as the ink's data sheet says, let it cool and measure again",
    "not hiding": "draw down thick enough to hide the card, cure and measure again",
}


def weigh(book: Book, shop: Shop, batch: int, grams: Mapping[str, float]) -> int:
    """The first weigh-out of a batch: actual grams by ink, beside those of the formula."""
    with writing(book) as db:
        formula, planned_mg = is_open(db, batch)
        if last_weighing(db, batch):
            rows = db.execute("SELECT min(id) FROM weighing_now WHERE batch = ?", [batch])
            (first,) = rows.fetchone()
            raise InputError(weighed_already(batch, first))
        shares = parts_of(db, "formula", formula)
        planned = {ink: share * planned_mg / schema.MG for ink, share in shares.items()}
        return _pour(db, book, shop, batch, grams, planned, None)


def weighed_already(batch: int, first: int) -> str:
    """Why a batch is not weighed a second time; `first` is the record of its weigh-out."""
    return (
        f"batch {batch} was weighed already (weigh-out {first}); write the rest as an"
        f" addition, or if that was wrong, take it back: {taken_back('weighing', first)}"
    )


def add(
    book: Book,
    shop: Shop,
    batch: int,
    grams: Mapping[str, float],
    *,
    correction: int | None = None,
) -> int:
    """What was added to a batch after its first weigh-out; `correction` is what advised it."""
    with writing(book) as db:
        is_open(db, batch)
        if not last_weighing(db, batch):
            raise InputError(f"batch {batch} has not been weighed yet; write its weigh-out first")
        planned: dict[str, float] = {}
        if correction is not None:
            found = db.execute("SELECT batch FROM correction_now WHERE id = ?", [correction])
            if found.fetchone() != (batch,):
                raise InputError(f"correction {correction} is not one of batch {batch}")
            rows = db.execute("SELECT ink, mg FROM addition WHERE correction = ?", [correction])
            planned = {ink: mg / schema.MG for ink, mg in rows}
        return _pour(db, book, shop, batch, grams, planned, correction)


def _pour(
    db: sqlite3.Connection,
    book: Book,
    shop: Shop,
    batch: int,
    grams: Mapping[str, float],
    planned: Mapping[str, float],
    correction: int | None,
) -> int:
    mixes = stock.mixes_of(db, shop)
    meant = db.execute(
        "SELECT ink FROM formula_ink WHERE formula = (SELECT formula FROM batch WHERE id = ?)",
        [batch],
    )
    stock.weighable(grams, shop, mixes, tuple(ink for (ink,) in meant))
    amounts = {name: milligrams(g, name, zero=True) for name, g in grams.items()}
    if not any(amounts.values()):
        raise InputError("every weight is 0 g; weigh something")
    stock.sync_stock(db, book, shop)
    lots = stock.lots_of(db, shop)
    of_batch = {"batch": batch, "correction": correction, "note": ""}
    number = record(db, book, "weighing", of_batch)
    for name in dict.fromkeys([*grams, *planned]):
        from_mix = name in mixes and name not in lots
        values = {
            "kind": "weighed",
            "ink": name,
            "lot": lots.get(name, ""),
            "mix": stock.keep_mix(db, book, mixes[name], lots) if from_mix else None,
            "mg": -amounts.get(name, 0),
            "planned_mg": milligrams(planned.get(name, 0.0), name, zero=True),
            "weighing": number,
            "note": "",
        }
        record(db, book, "movement", values)
    return number


def measure(
    book: Book,
    shop: Shop,
    batch: int,
    readings: ArrayLike,
    *,
    name: str = "",
    state: Sequence[str] = (),
) -> int:
    """How a batch measured, cured and cool: one reading (n_wl,) or several (n, n_wl).

    The reading belongs to what is in the container at the time.  It is judged against the
    batch's target under the shop's first light, or the one its Lab was given for.  `state` names
    what is wrong with the drawdown, by `UNFIT`; then it passes nothing.
    """
    rows = np.atleast_2d(np.asarray(readings, dtype=float))
    faults = [fault for R in rows for fault in check_reflectance(R, name)]
    faults += [f"state: {s!r}; write {', '.join(UNFIT)}" for s in state if s not in UNFIT]
    raise_any(faults)
    with writing(book) as db:
        must_be(db, "batch", batch)
        weighing = last_weighing(db, batch)
        if not weighing:
            raise InputError(f"batch {batch} has not been weighed yet; write its weigh-out first")
        away = _away(db, shop, batch, rows.mean(axis=0))
        values = {
            "batch": batch,
            "weighing": weighing,
            "name": name,
            **colour(shop, rows.mean(axis=0)),
            "readings": len(rows),
            "de00": away,
            "passed": None if away is None or state else int(away <= shop.tolerance_de00),
            "state": ", ".join(state),
            "note": "",
        }
        return record(db, book, "measurement", values)


def _away(db: sqlite3.Connection, shop: Shop, batch: int, R: Array) -> float | None:
    """dE00 of a reading from the target of its batch, if that has one."""
    row = db.execute(
        "SELECT target.R, L, a, b, target.light, target.observer FROM target WHERE id ="
        " (SELECT target FROM formula WHERE id = (SELECT formula FROM batch WHERE id = ?))",
        [batch],
    ).fetchone()
    if row is None:
        return None
    wanted, light, observer = np.array(row[1:4]), row[4], row[5]
    if row[0] is not None:
        light, observer = shop.lights[0], shop.observer
        wanted = Lab(json.loads(row[0]), light, observer)
    return round(float(de00(wanted, Lab(R, light, observer))), 4)


def log_correction(
    book: Book,
    batch: int,
    advice: Correction,
    inks: tuple[str, ...],
    *,
    measurement: int | None = None,
    choice: str = "least",
) -> int:
    """What was advised to be added; `inks` name the advice's grams.

    The same answer as the last one, asked for again, is not written twice.
    """
    added = {
        ink: milligrams(grams, ink)
        for ink, grams in zip(inks, advice.additions_g.tolist(), strict=True)
        if grams > 0
    }
    with writing(book) as db:
        is_open(db, batch)
        last = db.execute(
            "SELECT id, measurement, choice FROM correction_now WHERE batch = ?"
            " AND id NOT IN (SELECT correction FROM weighing WHERE correction IS NOT NULL)"
            " ORDER BY id DESC",
            [batch],
        ).fetchone()
        if last and last[1:] == (measurement, choice):
            rows = db.execute("SELECT ink, mg FROM addition WHERE correction = ?", [last[0]])
            if dict(rows.fetchall()) == added:
                return int(last[0])
        values = {
            "batch": batch,
            "measurement": measurement,
            "choice": choice,
            "de00": round(float(advice.de00[0]), 4),
            "chance": round(float(advice.chance_in_tolerance), 4),
            "can_be_saved": int(advice.can_be_saved),
            "note": "",
        }
        number = record(db, book, "correction", values)
        for ink, mg in added.items():
            insert(db, "addition", {"correction": number, "ink": ink, "mg": mg})
        return number
