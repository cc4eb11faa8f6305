"""A day's jobs: what each needs next, what is late, what can be mixed at once, all tickets."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from matchkit.book.jobs import BatchRecord, planned_grams, todays_jobs
from matchkit.book.shared import SharedBase, shared_bases
from matchkit.book.stock import stock
from matchkit.errors import InputError
from matchkit.paper.ticket import Ticket
from matchkit.workflows.looking_up import job_dict
from matchkit.workflows.session import Session
from matchkit.workflows.weighing_out import TicketChoices, batch_ticket

RUSH_DAYS = 1  # due today or tomorrow: common practice, no source


@dataclass(frozen=True, kw_only=True)
class DayJob:
    """A job of the day; `short_g` is what the shelf lacks for its weigh-out, by ink."""

    record: BatchRecord
    late: bool
    rush: bool
    short_g: Mapping[str, float]

    @property
    def signs(self) -> tuple[str, ...]:
        """What a list says of it besides what it needs next."""
        told = (
            ("late", self.late),
            ("rush", self.rush),
            ("waiting for ink", bool(self.short_g)),
            ("ready to measure", self.record.state == "to measure"),
        )
        return tuple(words for words, is_so in told if is_so)


@dataclass(frozen=True, kw_only=True)
class Day:
    """The open jobs, and those of today; groups of them that share a base colour."""

    jobs: tuple[DayJob, ...]
    sharing: tuple[SharedBase, ...]

    @property
    def records(self) -> tuple[BatchRecord, ...]:
        """The batches of the jobs, in their order."""
        return tuple(each.record for each in self.jobs)

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        jobs = [
            job_dict(each.record) | {"signs": [*each.signs], "short_grams": dict(each.short_g)}
            for each in self.jobs
        ]
        return {"jobs": jobs, "sharing": [_shared_dict(each) for each in self.sharing]}


def _shared_dict(shared: SharedBase) -> dict[str, Any]:
    parts = [
        {"batch": job.batch, "base_grams": grams, "then_grams": then}
        for job, (grams, then) in zip(shared.jobs, shared.parts, strict=True)
    ]
    return {
        "batches": [job.batch for job in shared.jobs],
        "share": round(shared.share, 4),
        "base": shared.base,
        "grams": shared.grams,
        "parts": parts,
        "saved_grams": round(shared.saved_g, 6),
    }


def day(session: Session) -> Day:
    """What is to be done today, and what can be mixed at once.

    The ink on the shelf is given to the jobs that are due first; one that lacks some waits, and
    takes none.  Inks that nobody counted are never lacking.
    """
    book, step = session.open_book(), session.settings.resolution_g
    free = {ink: g for ink, g in stock(book, session.files).items() if g is not None}
    now, records = book.clock().astimezone().date(), todays_jobs(book)
    jobs = []
    for record in records:
        needed = planned_grams(record, step) if record.state == "to weigh" else {}
        short = {
            ink: round(g - max(free[ink], 0.0), 3)
            for ink, g in needed.items()
            if ink in free and g > max(free[ink], 0.0) + 1e-9
        }
        for ink, grams in needed.items():
            if ink in free and not short:
                free[ink] -= grams
        left = _days_left(record, now)
        late, rush = left is not None and left < 0, left is not None and 0 <= left <= RUSH_DAYS
        jobs.append(DayJob(record=record, late=late, rush=rush, short_g=short))
    return Day(jobs=tuple(jobs), sharing=tuple(shared_bases(records, step)))


def _days_left(record: BatchRecord, now: date) -> int | None:
    """Days until an open job is due; None where it is closed or no day was said."""
    if record.outcome or not record.due:
        return None
    return (date.fromisoformat(record.due) - now) // timedelta(days=1)


def tickets(session: Session, day: str = "") -> Sequence[Ticket]:
    """The tickets of all jobs that are still to be weighed, those that are due first before.

    `day` stands on them; without it, today.

    A notice says which has none and why; InputError where there is none at all.
    """
    waiting = [r for r in todays_jobs(session.open_book()) if r.state == "to weigh"]
    made = []
    for record in waiting:
        try:
            made.append(batch_ticket(session, record.batch, TicketChoices(day=day)))
        except InputError as error:
            told = (f"batch {record.batch} has no ticket: {fault}" for fault in error.faults)
            session.note("no_ticket", *told)
    if not made:
        lacking = [each.text for each in session.notices if each.code == "no_ticket"]
        raise InputError(lacking or ["no job waits to be weighed, so there is no ticket to print"])
    return made
