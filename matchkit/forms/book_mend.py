"""Parts of the book's form about the job in sight: correct it, mix it again, strike a record."""

from collections.abc import Callable
from typing import Any

import ipywidgets as w
import numpy as np

from matchkit.book.entries import JobDetails
from matchkit.book.jobs import BatchRecord, local_day
from matchkit.errors import InputError
from matchkit.forms import correct, shops
from matchkit.forms import parts as ui
from matchkit.forms.pouring import PouredRows
from matchkit.report.corrections import addition_page, correction_parts, finish_parts
from matchkit.report.formulas import formula_head, reprint_parts, shares
from matchkit.workflows.booked import Reprint, book_reprint, reprint
from matchkit.workflows.booking import follow, mend, strike
from matchkit.workflows.correcting_batch import Advice, correct_batch
from matchkit.workflows.finishing_batch import CorrectOptions, finish_in_book
from matchkit.workflows.formulas import Search
from matchkit.workflows.session import Session

Signed = Callable[[], tuple[Session, BatchRecord]]
STAYS = "Nothing is erased: the record stays in the book as struck, with your reason."


class AdvicePart:
    """What to add to the job's batch, or how to finish it; `pour` is told what to add.

    `rows` hold what has gone in, `problems` shows what went wrong.
    """

    def __init__(
        self,
        signed: Signed,
        rows: PouredRows,
        pour: Callable[[dict[str, float]], None],
        problems: Any,
    ) -> None:
        self.signed, self.rows, self.pour = signed, rows, pour
        self.found: Advice | None = None
        self.correction: int | None = None  # the record of what was advised last
        self.room = ui.amount_field(correct.ROOM, "", empty=True, zero=True)
        self.anyway, self.told, self.ways = ui.tick(correct.ANYWAY), ui.area(), ui.area()
        self.ask = ui.button("What should I add?", self.advise, problems, main=True)
        self.way = ui.choice("Which addition?", [], radio=True)
        self.save = ui.button("Save the addition slip", self._slip, problems)
        self.slip = ui.area()
        self.chosen = ui.below(ui.boxed(self.way), self.save, self.slip)
        self.filling = False
        self.way.observe(ui.safe(self._take, problems), names="value")
        self.go_on = ui.button("Too much went in: how to go on", self._finish, problems)
        self.asking = ui.below(self.anyway, self.ask, self.told, self.chosen)
        self.box = ui.below(ui.row(self.room.box), self.asking)
        self.over = ui.below(self.go_on, self.ways)

    def forget(self, *, adding: bool) -> None:
        """Nothing is advised yet; `adding` tells whether ink was added, or weighed."""
        self.found = self.correction = None
        self.chosen.layout.display = "none"
        self.room.text.value = self.told.value = self.ways.value = ""
        self.asking.layout.display = None if adding else "none"
        self.over.layout.display = "none" if adding else None

    def _options(self) -> CorrectOptions:
        (room,) = ui.read(self.room)
        return CorrectOptions(room_g=np.inf if room is None else room, anyway=self.anyway.value)

    def advise(self) -> None:
        """What to add, the least addition written down, and fields for it."""
        session, record = self.signed()
        try:
            found = correct_batch(session, record.batch, self._options())
        except InputError:
            ui.put(self.told, session.notices)
            raise
        self.found, self.correction = found, found.correction
        self.filling = True
        self.way.options = [*found.offered]
        self.way.value = next(iter(found.offered), None)
        self.filling = False
        self.chosen.layout.display = None if found.offered else "none"
        self.slip.value = ""
        self.pour(found.additions(found.least))
        ui.put(self.told, [*session.notices, *correction_parts(found)])

    def _take(self) -> None:
        """Another of the additions: it is written down as the one that is followed."""
        if self.filling or self.found is None or self.way.value is None:
            return
        session, _ = self.signed()
        self.correction = follow(session, self.found, self.way.value)
        self.slip.value = ""
        self.pour(self.found.additions(self.found.offered[self.way.value]))

    def _slip(self) -> None:
        """Save the slip of the chosen addition, and show it ready to print."""
        if self.found is None or self.way.value is None:
            raise InputError("there is no addition yet: press 'What should I add?' first")
        session, _ = self.signed()
        page = addition_page(self.found, self.found.offered[self.way.value], session.shop)
        path = shops.keep(page.title, ".html", page.html)
        ui.put(self.slip, [f"Saved: {path.resolve()}", page])

    def _finish(self) -> None:
        """How to go on with what has gone in so far, where it is too much or a wrong ink."""
        session, record = self.signed()
        found = finish_in_book(session, record.batch, self.rows.weighed(), self._options())
        ui.put(self.ways, [*session.notices, *finish_parts(found)])
        if found.rescue.over and found.rescue.ways:
            first = next(iter(found.rescue.ways.values()))
            self.rows.go_on(found.rest(first.rest_g))


class AgainPart:
    """The job's colour matched to what was approved; `show_job` is told the new batch."""

    def __init__(self, signed: Signed, show_job: Callable[[int], None]) -> None:
        self.signed, self.show_job = signed, show_job
        self.found: Reprint | None = None
        self.problems, self.results = ui.area(), ui.area()
        self.grams = ui.amount_field("Batch, grams", "1000", most=1e6)
        self.job = ui.Field("Job", "", str, short=False)
        self.due = ui.Field("Due", "", str)
        self.due.text.placeholder = "2026-03-30"
        self.look = ui.button("Match it again", self._find, self.problems, main=True)
        self.which = ui.choice("Which formula?", [], radio=True)
        self.write = ui.button("Begin this job again", self._begin, self.problems, main=True)
        self.chosen = ui.below(ui.boxed(self.which), ui.row(self.job.box, self.due.box), self.write)
        self.box = ui.below(self.grams.box, self.look, self.problems, self.results, self.chosen)
        self.show()

    def show(self) -> None:
        """Another job is in sight: nothing is found yet."""
        self.found = None
        self.results.value = self.problems.value = ""
        self.chosen.layout.display = "none"

    def _find(self) -> None:
        """The old formula with today's lots, and what would be nearer."""
        self.show()
        (grams,) = ui.read(self.grams)
        session, record = self.signed()
        self.found = found = reprint(session, record.batch, Search(batch_g=grams))
        ui.put(self.results, [*session.notices, *reprint_parts(found)])
        names = ["The old formula", *(f"Formula {k + 1}" for k in range(len(found.choices) - 1))]
        target, currency = found.found.wanted.target, found.found.shop.currency
        self.which.options = [
            (f"{name}: {formula_head(each.formula, target, currency)}: {shares(each.formula)}", k)
            for k, (name, each) in enumerate(zip(names, found.choices, strict=True))
        ]
        self.which.value = 0
        self.chosen.layout.display = None

    def _begin(self) -> None:
        if self.found is None:
            raise InputError("nothing was matched yet: press 'Match it again' first")
        session, _ = self.signed()
        details = JobDetails(job=self.job.text.value, due=self.due.text.value.strip())
        made = book_reprint(session, self.found, self.which.value, details)
        self.show_job(made.records.batch)


class MendPart:
    """What the job is for, written anew; what was there before stays as struck."""

    def __init__(self, signed: Signed, done: Callable[[str], None]) -> None:
        self.signed, self.done, self.problems = signed, done, ui.area()
        self.fields = {
            "job": ui.Field("Job", "", str, short=False),
            "customer": ui.Field("Customer", "", str, short=False),
            "due": ui.Field("Due", "", str),
            "note": ui.Field("Note", "", str, short=False),
        }
        self.write = ui.button("Write it anew", self._mend, self.problems)
        boxes = [field.box for field in self.fields.values()]
        self.box = ui.below(ui.row(*boxes), self.write, self.problems)

    def show(self, record: BatchRecord) -> None:
        """What is written about another job."""
        self.problems.value = ""
        for name, field in self.fields.items():
            field.text.value = getattr(record, name)

    def _mend(self) -> None:
        session, record = self.signed()
        typed = {name: field.text.value.strip() for name, field in self.fields.items()}
        changes = {name: text for name, text in typed.items() if text != getattr(record, name)}
        if not changes:
            raise InputError("nothing was changed: write job, customer, due day or note anew")
        self.done(mend(session, record.batch, changes).text)


class StrikePart:
    """A record that was wrong is struck, never changed; `done` is told in words."""

    def __init__(self, signed: Signed, done: Callable[[str], None]) -> None:
        self.signed, self.done = signed, done
        self.problems = ui.area()
        self.which = ui.choice("Which record is wrong?", [])
        self.which.layout = w.Layout(width="40em", max_width="100%")
        self.why = ui.Field("What was wrong with it?", "", str, short=False)
        self.write = ui.button("Strike it", self._strike, self.problems)
        words = w.HTML(f"<p>{STAYS}</p>")
        self.box = ui.below(words, ui.boxed(self.which), self.why.box, self.write, self.problems)

    def show(self, record: BatchRecord) -> None:
        """The records of another job."""
        options = _records(record)
        if [*self.which.options] != options:
            self.which.options = options
            self.which.value = options[0][1]
        self.problems.value = self.why.text.value = ""

    def _strike(self) -> None:
        session, _ = self.signed()
        if not self.why.text.value.strip():
            raise InputError("What was wrong with it? Whoever reads the book later wants to know")
        what, number = self.which.value
        words = self.which.label
        strike(session, what, number, self.why.text.value)
        self.done(f"struck: {words}. Write the right one anew")


def _records(record: BatchRecord) -> list[tuple[str, tuple[str, int]]]:
    """What can be struck, the newest first."""
    told: list[tuple[str, str, tuple[str, int]]] = []
    for k, pour in enumerate(record.pours):
        what = f"{sum(pour.actual_g):g} g {'added' if k else 'weighed'} on {local_day(pour.at)}"
        told.append((pour.at, f"{what}, and drawdowns made of it", ("weighing", pour.weighing)))
        for r in record.readings:
            if r.weighing == pour.weighing:
                away = "" if r.de00 is None else f", dE00 {r.de00:.2f}"
                what = f"the drawdown of {local_day(r.at)}{away}"
                told.append((r.at, what, ("measurement", r.measurement)))
    if record.closing is not None:
        how = f"that it ended: {record.outcome}"
        told.append((record.closed_at, how, ("closing", record.closing)))
    told.sort(key=lambda each: each[0])
    newest = [(words, record) for _, words, record in reversed(told)]
    return [*newest, ("the whole job", ("batch", record.batch))]
