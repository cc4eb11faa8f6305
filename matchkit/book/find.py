"""Looking things up in the record book: by colour, by words, by the code of a label.

"What have we got within dE00 2 of this?" reads the Lab columns of everything the book
has, tells CIEDE2000 for all of them at once, and fetches only what comes of it.  Records
that were seen under another light or observer than the one that is asked about are computed anew
from their spectra; those of another measuring geometry can't be compared and are left out.
"""

import json
import re
import sqlite3
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.book.rows import day, named, parts_of, reading_text
from matchkit.book.store import Book, reading, utc
from matchkit.colorimetry.illuminants import Light, light_name
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.files.text import quoted
from matchkit.inks.shop import Shop

STEEPEST_L = 1.75  # CIEDE2000 divides a step of L* by no more than this [Sharma 2005, S_L]


@dataclass(frozen=True, kw_only=True)
class Near:
    """Something the book has near a colour: `what` is "measured" or "predicted".

    A measured one has its batch, a predicted one only its formula.
    """

    what: str
    de00: float
    lab: tuple[float, float, float]
    formula: int
    batch: int | None
    name: str
    customer: str
    at: str
    shares: dict[str, float]


@dataclass(frozen=True, kw_only=True)
class Found:
    """A batch, or a formula that was never made (`batch` is None), found by what was asked."""

    formula: int
    batch: int | None
    at: str
    name: str
    job: str
    customer: str
    outcome: str


# ---- by colour


def near(
    book: Book,
    shop: Shop,
    lab: ArrayLike,
    *,
    light: Light | None = None,
    observer: int | None = None,
    within: float | None = 2.0,
    top: int = 20,
) -> list[Near]:
    """What the book has within a dE00 of a Lab (3,), under a light and observer or the shop's.

    Nearest first.  A formula that was made counts as it measured last, else as predicted.
    `within` None: the `top` nearest, however far.
    """
    wanted = np.asarray(lab, dtype=float)
    with reading(book) as db:
        seen = light or shop.lights[0], observer or shop.observer
        keys, labs = _labs(db, *seen, shop.geometry, wanted[0], within)
        away = de00(wanted, labs) if len(labs) else np.zeros(0)
        order = np.argsort(away, kind="stable")
        if within is not None:
            order = order[away[order] <= within]
        return [_near(db, keys[k], labs[k], float(away[k])) for k in order[:top].tolist()]


_SEEN = """
SELECT 'measured', m.id, {columns} FROM measurement_now m
WHERE {where} AND m.id IN (SELECT max(id) FROM measurement_now GROUP BY batch)
UNION ALL
SELECT 'predicted', m.id, {columns} FROM formula_now m
WHERE {where} AND m.id NOT IN (
    SELECT b.formula FROM batch_now b WHERE b.id IN (SELECT batch FROM measurement_now))
"""


def _labs(
    db: sqlite3.Connection,
    light: Light,
    observer: int,
    geometry: str,
    L: float,
    within: float | None,
) -> tuple[list[tuple[str, int]], Array]:
    """Kind and number of every record that can be meant, and Lab (n, 3) under the light."""
    same = "m.light = ? AND m.observer = ? AND m.geometry = ?"
    values: list[object] = [light_name(light), observer, geometry]
    if within is not None:
        same += " AND m.L BETWEEN ? AND ?"
        values += [L - STEEPEST_L * within, L + STEEPEST_L * within]
    query = _SEEN.format(columns="m.L, m.a, m.b", where=same)
    rows = db.execute(query, values * 2).fetchall()
    labs = np.array([row[2:] for row in rows], dtype=float).reshape(-1, 3)
    other = "(m.light <> ? OR m.observer <> ?) AND m.geometry = ?"
    query = _SEEN.format(columns="m.R", where=other)
    elsewhere = db.execute(query, values[:3] * 2).fetchall()
    if elsewhere:
        R = np.array([json.loads(row[2]) for row in elsewhere])
        labs = np.vstack([labs, Lab(R, light, observer)])
    return [row[:2] for row in rows + elsewhere], labs


def _near(db: sqlite3.Connection, key: tuple[str, int], lab: Array, away: float) -> Near:
    kind, number = key
    batch, formula = None, number
    if kind == "measured":
        batch, formula = db.execute(
            "SELECT batch.id, formula FROM measurement JOIN batch ON batch.id = batch"
            " WHERE measurement.id = ?",
            [number],
        ).fetchone()
    told = "SELECT id AS formula, name, customer, at FROM formula WHERE id = ?"
    (row,) = named(db, told, [formula])
    L, a, b = lab.tolist()
    shares = parts_of(db, "formula", formula)
    return Near(**row, what=kind, de00=away, lab=(L, a, b), batch=batch, shares=shares)


def batch_read(book: Book, R: Array) -> int | None:
    """The last batch of which `R` (n_wl,) is a reading, to what the book keeps of one."""
    with reading(book) as db:
        row = db.execute(
            "SELECT max(batch) FROM measurement_now WHERE R = ?", [reading_text(R)]
        ).fetchone()
    return None if row[0] is None else int(row[0])


# ---- by anything else


def find(
    book: Book,
    *,
    ink: str = "",
    lot: str = "",
    customer: str = "",
    text: str = "",
    since: str = "",
    until: str = "",
    top: int = 50,
) -> list[Found]:
    """Batches and formulas that fit everything that is asked, newest first.

    `ink` and `lot` are whole names (an ink counts if it is in the formula or was weighed);
    `customer` and `text` are parts of words, capitals or not, `text` of the colour's, the
    job's or a note's; `since` and `until` are days, both counted.
    """
    where, values = ["1"], []
    if ink or lot:
        where.append(_WEIGHED if lot else f"({_WEIGHED} OR {_MEANT})")
        values += [ink, ink, lot, lot] + ([] if lot else [ink])
    if customer:
        where.append(_holds("b.customer", "f.customer"))
        values += [customer.casefold()] * 2
    if text:
        where.append(_holds("f.name", "f.note", "b.job", "b.note"))
        values += [text.casefold()] * 4
    for text_day, sign, days in ((since, ">=", 0), (until, "<", 1)):
        if text_day:
            where.append(f"coalesce(b.at, f.at) {sign} ?")
            start = datetime.fromisoformat(day(text_day)) + timedelta(days=days)
            values.append(utc(start))
    with reading(book) as db:
        db.create_function("folded", 1, lambda words: (words or "").casefold())
        rows = named(db, _FIND.format(where=" AND ".join(where)), [*values, top])
    return [Found(**row) for row in rows]


_WEIGHED = (
    "b.id IN (SELECT w.batch FROM weighing_now w JOIN movement_now m ON m.weighing = w.id"
    " WHERE m.mg < 0 AND (? = '' OR m.ink = ?) AND (? = '' OR m.lot = ?))"
)
_MEANT = "f.id IN (SELECT formula FROM formula_ink WHERE ink = ?)"
_FIND = """
SELECT f.id AS formula, b.id AS batch, coalesce(b.at, f.at) AS at, f.name,
       coalesce(b.job, '') AS job, coalesce(nullif(b.customer, ''), f.customer) AS customer,
       coalesce(c.outcome, '') AS outcome
FROM formula_now f LEFT JOIN batch_now b ON b.formula = f.id
LEFT JOIN closing_now c ON c.batch = b.id
WHERE {where} ORDER BY coalesce(b.at, f.at) DESC, f.id DESC, b.id DESC LIMIT ?
"""


def _holds(*columns: str) -> str:
    """A condition: one of the columns has the words in it, capitals or not, in any script."""
    return "(" + " OR ".join(f"instr(folded({column}), ?)" for column in columns) + ")"


# ---- labels


def reference(book: Book, batch: int) -> str:
    """What the code on a label says: the book and the batch."""
    return f"MATCHKIT/{book.uid}/BATCH/{batch}"


def scanned(book: Book, text: str) -> int:
    """The batch of a scanned label, or of a number typed in; InputError if of another book."""
    words = text.strip().upper()
    found = re.fullmatch(r"MATCHKIT/([0-9A-F]{8})/BATCH/([0-9]{1,9})", words)
    if found and found[1] != book.uid:
        raise InputError(f"{quoted(text)}: a label of another shop's record book")
    plain = found[2] if found else words
    if not re.fullmatch("[0-9]{1,9}", plain):
        raise InputError(f"batch: found {quoted(text)}; write its number, or scan its label")
    return int(plain)
