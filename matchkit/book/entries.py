"""What is written into the record book about jobs, one function for each thing that happens.

Every function is one transaction: all of it is in the book when it returns, or nothing
is.  The number it returns is the record's own.
"""

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

from matchkit.book.rows import colour, day, is_open, last_weighing, milligrams, must_be
from matchkit.book.schema import STRIKABLE
from matchkit.book.stock import keep_mix, lots_of, mixes_of, shelve, sync_stock, weighable
from matchkit.book.store import Book, insert, record, writing
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.illuminants import light_name
from matchkit.errors import InputError, raise_any
from matchkit.files.text import quoted
from matchkit.inks.shop import Shop
from matchkit.matching.rank import Candidate

OUTCOMES = ("approved", "rejected", "abandoned")


@dataclass(frozen=True, kw_only=True)
class JobDetails:
    """What a batch is for; `due` is a day, YYYY-MM-DD, or empty.

    `container_ml` is what one container that it is mixed in holds, 0 where it is not said.
    """

    job: str = ""
    customer: str = ""
    due: str = ""
    note: str = ""
    container_ml: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Logged:
    """The numbers of the records that a logged match left."""

    target: int | None  # None: no colour was asked for
    formula: int
    batch: int


PLAIN = JobDetails()


def log_match(
    book: Book,
    shop: Shop,
    target: Target | None,
    formula: Candidate,
    *,
    name: str,
    details: JobDetails = PLAIN,
    source: str = "match",
    fit: str = "",
    note: str = "",
    printed: str = "",
    left_out: Sequence[str] = (),
    print_job: str = "",
) -> Logged:
    """A target, the formula chosen for it, and the batch to make of it: three records.

    `formula.grams` are the batch, of inks and of mixtures of the shelf; `note` is
    about the formula, that of `details` about the batch; `fit` is `lessons.fit_key` of the
    palette; `printed` is what it is printed on and `print_job` what is printed with the
    batch, as JSON, or empty; `left_out` names inks that are not to be in it.
    """
    said = {"name": name, "customer": details.customer}
    with writing(book) as db:
        sync_stock(db, book, shop)
        aim = None
        if target is not None:
            aim = record(db, book, "target", {**said, **_asked(shop, target), "note": ""})
        chosen = _formula(
            db,
            book,
            shop,
            formula,
            {
                **said,
                "target": aim,
                "source": source,
                "fit": fit,
                "note": note,
                "printed": printed,
                "left_out": json.dumps(left_out) if left_out else "",
            },
        )
        batch = _batch(db, book, chosen, sum(formula.grams), details, print_job)
    return Logged(target=aim, formula=chosen, batch=batch)


def log_formula(
    book: Book,
    shop: Shop,
    formula: Candidate,
    *,
    name: str,
    details: JobDetails = PLAIN,
    source: str = "recipe",
    fit: str = "",
) -> int:
    """A formula without a target, such as one from an old paper card."""
    said = {"name": name, "customer": details.customer, "target": None, "source": source}
    with writing(book) as db:
        return _formula(db, book, shop, formula, {**said, "fit": fit, "note": details.note})


def open_batch(
    book: Book, formula: int, grams: float, details: JobDetails = PLAIN, *, print_job: str = ""
) -> int:
    """A new batch of a formula that the book has."""
    with writing(book) as db:
        must_be(db, "formula", formula)
        return _batch(db, book, formula, grams, details, print_job)


def close(
    book: Book,
    batch: int,
    outcome: str,
    *,
    approved_by: str = "",
    light: str = "",
    note: str = "",
    left: tuple[float, str] | None = None,
    shop: Shop | None = None,
) -> int:
    """The end of a batch: approved, rejected or abandoned; by whom, under which light.

    An approval is signed, by who writes unless another is named.  Of a batch whose last reading
    is out of tolerance or of an unfit drawdown, or that was added to since, it needs a `note`
    that says why.
    What is `left`, grams and a name, goes on the shelf of `shop`.
    """
    if outcome not in OUTCOMES:
        raise InputError(f"outcome: found {quoted(outcome)}; write {', '.join(OUTCOMES)}")
    with writing(book) as db:
        is_open(db, batch)
        measurement, weighing, passed, away, state = db.execute(
            "SELECT id, weighing, passed, de00, state FROM measurement_now WHERE batch = ?"
            " ORDER BY id DESC LIMIT 1",
            [batch],
        ).fetchone() or (None, None, None, None, "")
        if outcome == "approved":
            approved_by = approved_by.strip() or book.who
            faults = [] if approved_by else ["an approval is signed: write who approved it"]
            if measurement is None:
                faults.append(
                    f"batch {batch} was not measured; measure what is approved, then close"
                )
            elif not note.strip() and (doubt := _doubt(db, batch, weighing, passed, away, state)):
                faults.append(f"batch {batch}: {doubt}; write in the note why it is approved so")
            raise_any(faults)
        if left and shop:
            shelve(db, book, shop, batch, *left)
        values = {"batch": batch, "outcome": outcome, "measurement": measurement}
        values |= {"approved_by": approved_by, "light": light, "note": note}
        return record(db, book, "closing", values)


def _doubt(
    db: sqlite3.Connection,
    batch: int,
    weighing: int | None,
    passed: int | None,
    away: float | None,
    state: str,
) -> str:
    """What speaks against approving a batch by its last reading; nothing if all is well."""
    if weighing != last_weighing(db, batch):
        return "it was not measured after the last addition"
    if state:
        return f"the drawdown that was read last was {state}"
    return f"its last reading is out of tolerance (dE00 {away:.2f})" if passed == 0 else ""


def mend(book: Book, batch: int, details: JobDetails) -> int:
    """What a batch is for, written anew; what was mended before is struck, not changed.

    Its container stays as it was named.
    """
    with writing(book) as db:
        must_be(db, "batch", batch)
        before = db.execute("SELECT id FROM details_now WHERE batch = ?", [batch]).fetchall()
        values = {**asdict(details), "due": day(details.due), "batch": batch}
        del values["container_ml"]
        number = record(db, book, "details", values)
        for (old,) in before:
            why = {"why": f"mended by details {number}"}
            record(db, book, "strike", {"what": "details", "record": old, **why})
        return number


def strike(book: Book, what: str, number: int, why: str) -> int:
    """Strike a record that was wrong, for a reason; then write the right one.

    Of a struck batch its weigh-outs, measurements, corrections and closing go with it, of
    a struck weigh-out the measurements that were made of it.
    """
    if what not in STRIKABLE:
        raise InputError(f"strike: found {quoted(what)}; write one of {', '.join(STRIKABLE)}")
    if not why.strip():
        raise InputError("strike: say why; whoever reads the book later wants to know")
    with writing(book) as db:
        must_be(db, what, number)
        if what == "weighing" and (later := _later(db, number)):
            raise InputError(
                f"weighing {number} is the first of its batch; weighing {later} was added to it:"
                " strike that first, then write both anew"
            )
        for part, each in _with_it(db, what, number):
            record(db, book, "strike", {"what": part, "record": each, "why": why})
        return record(db, book, "strike", {"what": what, "record": number, "why": why})


def _later(db: sqlite3.Connection, weighing: int) -> int | None:
    """The last addition to a batch, if `weighing` is its first weigh-out; None without one."""
    first, last = db.execute(
        "SELECT min(id), max(id) FROM weighing_now WHERE batch ="
        " (SELECT batch FROM weighing WHERE id = ?)",
        [weighing],
    ).fetchone()
    return int(last) if first == weighing != last else None


def _with_it(db: sqlite3.Connection, what: str, number: int) -> list[tuple[str, int]]:
    """What makes no sense any more once a record is struck."""
    parts = {
        "batch": ("weighing", "measurement", "correction", "closing"),
        "weighing": ("measurement",),
    }
    return [
        (part, row[0])
        for part in parts.get(what, ())
        for row in db.execute(f"SELECT id FROM {part}_now WHERE {what} = ?", [number]).fetchall()
    ]


def _asked(shop: Shop, target: Target) -> dict[str, object]:
    """The colour columns of a target; where only Lab is known, of its own light."""
    if target.R is not None:
        return colour(shop, target.R)
    L, a, b = (round(float(v), 4) for v in target.lab[0])
    seen: dict[str, object] = {
        "R": None,
        "L": L,
        "a": a,
        "b": b,
        "light": light_name(target.lights[0]),
    }
    return seen | {"observer": target.observer, "geometry": shop.geometry, "condition": ""}


def _formula(
    db: sqlite3.Connection, book: Book, shop: Shop, formula: Candidate, said: Mapping[str, object]
) -> int:
    if not str(said["name"]).strip():
        raise InputError("a formula needs a name; give it one, such as the colour's")
    mixes, inks = mixes_of(db, shop), {ink.name for ink in shop.inks}
    weighable(dict.fromkeys(formula.inks, 1.0), shop, mixes)
    for name in formula.inks:  # what is in it now, whatever mixes.csv says later
        if name not in inks:
            keep_mix(db, book, mixes[name], lots_of(db, shop))
    aimed = said["target"] is not None
    values = {
        **said,
        **colour(shop, formula.R),
        "de00": round(float(formula.de00[0]), 4) if aimed else None,
        "chance": formula.chance_in_tolerance if aimed else None,
    }
    number = record(db, book, "formula", values)
    total = sum(formula.grams)
    for ink, grams in zip(formula.inks, formula.grams, strict=True):
        insert(db, "formula_ink", {"formula": number, "ink": ink, "fraction": grams / total})
    return number


def _batch(
    db: sqlite3.Connection,
    book: Book,
    formula: int,
    grams: float,
    details: JobDetails,
    print_job: str,
) -> int:
    planned = milligrams(grams, "the batch")
    said = {**asdict(details), "due": day(details.due), "print_job": print_job}
    values = {**said, "formula": formula, "planned_mg": planned}
    return record(db, book, "batch", values)
