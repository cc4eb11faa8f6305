"""A drawdown of a batch in the record book: written down, judged, and learned from."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from matchkit.arrays import Array
from matchkit.book import find, work
from matchkit.book.containers import UNFIT, measure
from matchkit.book.jobs import BatchRecord, job
from matchkit.book.rows import reading_text, taken_back
from matchkit.errors import InputError
from matchkit.workflows.checking import Check, check
from matchkit.workflows.printed import PrintedOver
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import Wanted, wanted_lab, wanted_spectrum

FAR_DE00 = 10.0  # more than lots and small weighing errors do: ours, from no source


@dataclass(frozen=True, kw_only=True, eq=False)
class MeasuredBatch:
    """A drawdown that was written down, by the numbers of its records.

    `judged` is None where no colour was asked for.  `odd` tells what speaks for a weighing
    error or another lot.
    """

    batch: int
    measurement: int
    judged: Check | None
    odd: tuple[str, ...]
    state: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit book SHOP measure --json`` prints it."""
        verdict = None if self.judged is None else self.judged.verdict
        return {
            "batch": self.batch,
            "measurement": self.measurement,
            "de00": None if verdict is None else round(float(verdict.de00[0]), 4),
            "passed": None if verdict is None else verdict.passed,
            "judged": None if self.judged is None else self.judged.to_dict(),
            "odd": list(self.odd),
            "state": list(self.state),
        }


def measure_batch(
    session: Session, batch: int, readings: Array, name: str = "", state: Sequence[str] = ()
) -> MeasuredBatch:
    """Write down the readings (n_readings, n_wl), 0-1, of a drawdown, and judge it.

    `name` is that of the spectrum, `state` what is wrong with the drawdown, by
    `containers.UNFIT`.  Raises InputError for a batch that was not weighed.
    """
    book = session.open_book()
    if find.batch_read(book, readings.mean(axis=0)) == batch:
        session.note(
            "read_before",
            f"batch {batch} has this very reading already: it counts once; if another drawdown was"
            " meant, give its file",
        )
    record = job(book, batch)
    wanted = wanted_of_batch(session, record)
    number = measure(book, session.files, batch, readings, name=name, state=state)
    if printed := PrintedOver.from_book(record.printed):
        session.note(
            "judged_as_print",
            f"judged as a print, {printed.words}: a drawdown of it on a card has another colour,"
            " so read the print; it teaches nothing about lots",
        )
    judged = None
    if wanted is not None:
        R = wanted.target.R
        if R is not None and reading_text(R) == reading_text(readings.mean(axis=0)):
            session.note(
                "target_is_measured",
                f"this is the target's own spectrum, {name!r}, and teaches nothing; if the drawdown"
                f" is in another file, {taken_back('measurement', number)} takes it back",
            )
        judged = check(session, wanted, readings)
        if not state and judged.verdict.de00[0] > FAR_DE00:
            session.note(
                "far_from_target",
                f"{name!r} is far from the target: if that is another file or sample,"
                f" {taken_back('measurement', number)} takes it back",
            )
    for each in state:
        session.note(
            "unfit_drawdown", f"{each}: add nothing because of this drawdown; {UNFIT[each]}"
        )
    head = f"batch {batch}: "
    told = session.learn()
    odd = tuple(line.removeprefix(head) for line in told if line.startswith(head))
    return MeasuredBatch(
        batch=batch, measurement=number, judged=judged, odd=odd, state=tuple(state)
    )


def wanted_of_batch(session: Session, record: BatchRecord) -> Wanted | None:
    """The colour that a batch of the record book is meant to have; None if none was asked for.

    InputError where the target was struck, which nothing is to be added or judged by.
    """
    if record.target is not None and (why := work.why_struck(session.open_book(), record.target)):
        raise InputError(
            f"the target of batch {record.batch} was struck ({why}): begin a batch for the right"
            " one, and keep what is in the container as a leftover"
        )
    return wanted_kept(session, record.name, record.target)


def wanted_kept(session: Session, name: str, number: int | None) -> Wanted | None:
    """A target of the record book by its number, under a name; None where there is none."""
    target = work.target_of(session.open_book(), session.settings, number)
    if target is None:
        return None
    if target.R is not None:
        return wanted_spectrum(session, name, target.R)
    return wanted_lab(session, target.lab[0].tolist(), target.light_names[0], target.observer)
