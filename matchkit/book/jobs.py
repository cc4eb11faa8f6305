"""All that the book has about a batch, and a day's jobs with what has to be done next."""

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, tzinfo

import numpy as np

from matchkit.arrays import Array
from matchkit.book.rows import by_ink, held_by, must_be, named, parts_of, poured
from matchkit.book.schema import MG
from matchkit.book.store import Book, reading, utc
from matchkit.inks.recipe import weigh_out
from matchkit.inks.shop import Ink
from matchkit.matching.rank import MOSTLY, clear_share
from matchkit.paper.sheet import grams_text

# A weight of so many times the planned one, or that part of it, looks like a weighing error;
# so does a whole batch.  What is off by fewer steps of the balance is slight.
FAR, FAR_IN_ALL, SLIGHT_STEPS = 3.0, 1.25, 100


@dataclass(frozen=True, kw_only=True)
class Poured:
    """One weigh-out of a batch: what was poured, of which lot, planned and actual grams."""

    weighing: int
    at: str
    who: str
    inks: tuple[str, ...]
    lots: tuple[str, ...]
    planned_g: tuple[float, ...]
    actual_g: tuple[float, ...]
    held: dict[tuple[str, str], float]  # actual grams by ink and lot, mixtures taken apart

    @property
    def holds(self) -> dict[str, float]:
        """Actual grams by ink, mixtures taken apart."""
        return by_ink(self.held)


@dataclass(frozen=True, kw_only=True)
class Measurement:
    """One measurement of a batch; `weighing` is the last weigh-out before it."""

    measurement: int
    at: str
    who: str
    weighing: int
    R: Array  # (n_wl,)
    lab: tuple[float, float, float]
    light: str
    geometry: str
    de00: float | None
    passed: bool | None
    name: str = ""
    note: str = ""
    state: tuple[str, ...] = ()  # what is wrong with the drawdown, by `containers.UNFIT`


@dataclass(frozen=True, kw_only=True)
class BatchRecord:
    """All that the book has about a batch.  `state` is what has to be done next, in words.

    `source` is where its formula came from, `printed` what it is printed on (as JSON; empty:
    a film that hides).  `closed_on` is the measurement that it was closed by, if it was measured.
    """

    batch: int
    at: str
    who: str
    job: str
    customer: str
    due: str
    note: str
    name: str  # of the colour
    formula: int
    formula_note: str
    source: str
    printed: str
    target: int | None
    shares: dict[str, float]  # mass fractions as poured, in weighing order
    holds: dict[str, float]  # mass fractions by ink, mixtures taken apart
    planned_g: float
    pours: tuple[Poured, ...]
    readings: tuple[Measurement, ...]
    outcome: str  # empty: open
    approved_by: str
    closed_at: str
    closed_on: int | None
    closing: int | None  # the record that says so
    closing_note: str
    state: str
    print_job: str = ""  # what is to be printed with it, as JSON
    left_out: tuple[str, ...] = ()  # inks that are not to be in it
    container_ml: float = 0.0  # what one container that it is mixed in holds; 0: not said

    @property
    def container(self) -> dict[str, float]:
        """Grams by ink in the container, additions counted, mixtures taken apart.

        Before it is weighed, what its formula plans.
        """
        held: dict[str, float] = {}
        for pour in self.pours:
            for ink, grams in pour.holds.items():
                held[ink] = held.get(ink, 0.0) + grams
        return held or {ink: share * self.planned_g for ink, share in self.holds.items()}

    @property
    def read_now(self) -> Measurement | None:
        """The last reading of what is in the container now, of a drawdown fit to be judged by."""
        return _read_now(self.pours, self.readings)


def job(book: Book, batch: int) -> BatchRecord:
    """All that the book has about a batch; InputError if there is none or it was struck."""
    with reading(book) as db:
        must_be(db, "batch", batch)
        return job_of(db, batch)


def job_of(db: sqlite3.Connection, batch: int) -> BatchRecord:
    """All that the book has about a batch that is there, from an open connection."""
    (row,) = named(
        db,
        "SELECT b.id AS batch, b.at, b.who, b.job, b.customer, b.due, b.note, b.print_job,"
        " b.container_ml,"
        f" b.planned_mg / {MG}.0 AS planned_g, f.id AS formula, f.name, f.note AS formula_note,"
        " f.source, f.printed, f.left_out, f.target, coalesce(c.outcome, '') AS outcome,"
        " coalesce(c.approved_by, '') AS approved_by, coalesce(c.at, '') AS closed_at,"
        " c.measurement AS closed_on, c.id AS closing, coalesce(c.note, '') AS closing_note"
        " FROM batch_now b JOIN formula f ON f.id = b.formula"
        " LEFT JOIN closing_now c ON c.batch = b.id WHERE b.id = ?",
        [batch],
    )
    pours, readings = _pours(db, batch), _readings(db, batch)
    return BatchRecord(
        **row | {"left_out": tuple(json.loads(row["left_out"] or "[]"))},
        shares=parts_of(db, "formula", row["formula"]),
        holds=held_by(db, row["formula"]),
        pours=pours,
        readings=readings,
        state=row["outcome"] or _state(pours, readings),
    )


def mostly_clear(record: BatchRecord, inks: Sequence[Ink]) -> bool:
    """Whether what is in the container is mostly clear and will not hide."""
    return clear_share(record.container, inks) > MOSTLY


def _pours(db: sqlite3.Connection, batch: int) -> tuple[Poured, ...]:
    told = "SELECT id AS weighing, at, who FROM weighing_now WHERE batch = ? ORDER BY id"
    pours = []
    for row in named(db, told, [batch]):
        moved = db.execute(
            "SELECT ink, lot, planned_mg, -mg FROM movement_now WHERE weighing = ? ORDER BY id",
            [row["weighing"]],
        )
        inks, lots, planned, actual = zip(*moved.fetchall(), strict=True)
        pours.append(
            Poured(
                **row,
                inks=inks,
                lots=lots,
                planned_g=tuple(mg / MG for mg in planned),
                actual_g=tuple(mg / MG for mg in actual),
                held=poured(db, row["weighing"]),
            )
        )
    return tuple(pours)


def _readings(db: sqlite3.Connection, batch: int) -> tuple[Measurement, ...]:
    rows = named(
        db,
        "SELECT id AS measurement, at, who, weighing, R, L, a, b, light, geometry, de00, passed,"
        " name, note, state FROM measurement_now WHERE batch = ? ORDER BY id",
        [batch],
    )
    for row in rows:
        row["R"] = np.array(json.loads(row["R"]))
        row["lab"] = tuple(row.pop(axis) for axis in "Lab")
        row["passed"] = None if row["passed"] is None else bool(row["passed"])
        row["state"] = tuple(filter(None, row["state"].split(", ")))
    return tuple(Measurement(**row) for row in rows)


def _state(pours: Sequence[Poured], readings: Sequence[Measurement]) -> str:
    if not pours:
        return "to weigh"
    last = _read_now(pours, readings)
    if last is None:
        return "to measure"
    if last.passed is None:
        return "measured; no target to judge by"
    return "in: to approve" if last.passed else "out: to correct"


def _read_now(pours: Sequence[Poured], readings: Sequence[Measurement]) -> Measurement | None:
    now = [r for r in readings if pours and r.weighing == pours[-1].weighing and not r.state]
    return now[-1] if now else None


def state_words(state: str) -> str:
    """A batch's state as a person reads it, where the record has it shorter."""
    words = {
        "out: to correct": "out of tolerance: correct",
        "in: to approve": "in tolerance: approve",
    }
    return words.get(state, state)


# ---- a day's jobs


def todays_jobs(book: Book, *, zone: tzinfo | None = None) -> list[BatchRecord]:
    """Every batch that is open, and those that were opened or closed today.

    The open ones come first; of either the ones that are due, then the oldest.  `zone` is the
    shop's clock, the computer's unless it is said.
    """
    start = datetime.combine(book.clock().astimezone(zone).date(), time())
    since = utc(start.replace(tzinfo=zone) if zone else start)
    with reading(book) as db:
        rows = db.execute(
            "SELECT id FROM batch_now WHERE at >= ?"
            " OR id NOT IN (SELECT batch FROM closing_now WHERE at < ?)",
            [since, since],
        )
        jobs = [job_of(db, batch) for (batch,) in rows.fetchall()]
    return sorted(jobs, key=lambda each: (bool(each.outcome), each.due or "9999", each.batch))


def planned_grams(record: BatchRecord, resolution_g: float) -> dict[str, float]:
    """The first weigh-out of a batch as its formula plans it, on the balance's steps."""
    grams = weigh_out(np.array([*record.shares.values()]), record.planned_g, resolution_g)
    return dict(zip(record.shares, grams.tolist(), strict=True))


def far_from_plan(
    poured: Mapping[str, float], planned: Mapping[str, float], resolution_g: float
) -> list[str]:
    """Weights that look mistyped beside the planned ones, a line each.

    >>> far_from_plan({"White": 95.0, "Lemon": 40.0}, {"White": 95.0, "Lemon": 5.0}, 0.01)
    ['Lemon: 40 g where 5.00 g is planned', 'in all: 135 g where 100.00 g is planned']
    """
    lines = [
        f"{ink}: {poured.get(ink, 0.0):g} g where {grams_text(g, resolution_g)} g is planned"
        for ink, g in planned.items()
        if _far(poured.get(ink, 0.0), g, FAR, resolution_g)
    ]
    all_g, plan_g = sum(poured.values()), sum(planned.values())
    if plan_g and _far(all_g, plan_g, FAR_IN_ALL, resolution_g):
        lines.append(f"in all: {all_g:g} g where {grams_text(plan_g, resolution_g)} g is planned")
    return lines


def _far(grams: float, planned_g: float, times: float, resolution_g: float) -> bool:
    step = SLIGHT_STEPS * resolution_g
    return abs(grams - planned_g) > step and not planned_g / times <= grams <= planned_g * times


def off_plan(pour: Poured) -> str:
    """How far the weights lie from the plan, where there was one."""
    if not any(pour.planned_g):
        return ""
    off = [
        (abs(g - planned), ink, g - planned)
        for ink, g, planned in zip(pour.inks, pour.actual_g, pour.planned_g, strict=True)
    ]
    _, ink, by = max(off)
    return "as planned" if by == 0 else f"furthest off the plan: {ink} {by:+.2f} g"


# ---- days


def local_day(at: str, zone: tzinfo | None = None) -> str:
    """The shop's day of a time in the book.

    >>> from datetime import UTC
    >>> local_day("2026-11-25T10:00:00Z", UTC)
    '2026-11-25'
    """
    return datetime.fromisoformat(at).astimezone(zone).date().isoformat()
