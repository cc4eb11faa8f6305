"""Keep the book: today's jobs, what happens to a batch, and everything that was written.

Whatever a job needs next stands first.  The form keeps nothing of its own: each press looks
the book up anew, and what somebody else wrote in the meantime is told before anything is
written over it.
"""

import sqlite3
from collections.abc import Callable, Sequence
from functools import cached_property
from typing import Any

import ipywidgets as w

from matchkit.book.entries import OUTCOMES
from matchkit.book.find import scanned
from matchkit.book.jobs import BatchRecord, job, job_of, planned_grams
from matchkit.book.rows import must_be
from matchkit.errors import InputError, raise_any
from matchkit.forms import parts as ui
from matchkit.forms.begin import opened_form, quiet
from matchkit.forms.book_demo import played, with_book
from matchkit.forms.book_look import CopyPart, FindPart, OrderPart, ShelfPart, UseUpPart
from matchkit.forms.book_mend import AdvicePart, AgainPart, MendPart, StrikePart
from matchkit.forms.book_rows import NewPart, ReadingPicker
from matchkit.forms.jobsize import TicketPart
from matchkit.forms.pouring import PouredRows
from matchkit.forms.rows import light_options
from matchkit.forms.shops import OpenShop, keep
from matchkit.paper.ticket import Ticket
from matchkit.paper.ticket_sheet import tickets_html
from matchkit.report.book import about, batch_parts, day_parts, next_parts
from matchkit.report.check import measured_parts
from matchkit.report.parts import Banner, Page, Part, Table
from matchkit.workflows import booking, looking_up
from matchkit.workflows.measuring_batch import measure_batch
from matchkit.workflows.session import Session
from matchkit.workflows.today import day, tickets
from matchkit.workflows.weighing_out import TicketChoices, batch_ticket

WEIGHED, MEASURED, ADDED, CLOSED, LEFT = (
    "it was weighed", "a drawdown was measured", "ink was added", "the job is over",
    "it was printed: what is left of it",
)  # fmt: skip
NEXT = {
    "to weigh": WEIGHED, "to measure": MEASURED, "out: to correct": ADDED, "in: to approve": CLOSED
}  # fmt: skip
MEANWHILE = (
    "somebody else wrote about batch {} since you looked, and nothing of yours was written; look"
    " at its record as it is now, then write yours"
)
BESIDE = {
    "the fields of a new job": "new", "the search in the book": "find",
    "the shelf: deliveries, new lots, counting": "shelf", "what to order": "order",
    "leftovers to use up": "use_up", "copies of the book": "copies",
}  # fmt: skip
EMPTY = (
    "This shop has no record book yet. It begins with the first job: press 'Show the fields of a"
    " new job' below."
)


def book(opened: OpenShop, who: str = "") -> Any:
    """The form; `who` signs what is written, and can be typed there too."""
    return opened_form(opened, lambda: BookForm(opened, who).box)


class BookForm:
    """The widgets of the book, and the job that is looked at."""

    def __init__(self, opened: OpenShop, who: "str | ui.Field" = "") -> None:
        self.opened = with_book(opened)
        self.record: BatchRecord | None = None
        self.filling = False
        self.showing = False  # fields are being emptied for another job or step
        self.restore: Callable[[], None] = lambda: None  # is called when they are
        self.told: Callable[[], None] = lambda: None  # is called when a job was chosen
        self.line = ui.area()  # the job and what it needs next, for the top of a page
        self.problems, self.wrong = ui.area(), ui.area()  # with looking, with writing
        self.done, self.saved, self.printed = ui.area(), ui.area(), ui.area()
        self.jobs, self.tale, self.page = ui.area(), ui.area(), ui.area()
        own = isinstance(who, str)  # else the name is typed elsewhere on the page
        self.who = ui.name_field(who) if isinstance(who, str) else who
        self.pick = ui.choice("Job", [])
        self.pick.layout = w.Layout(width="40em", max_width="100%")
        self.scan = ui.Field("Or its number, or its label scanned", "", str, short=False)
        self.what = ui.choice("What happened?", [WEIGHED, CLOSED], radio=True)
        self.rows, self.reading = PouredRows(), ReadingPicker(self.opened, asks=True)
        self.advice = AdvicePart(self._signed, self.rows, self._pours, self.wrong)
        self.planned = ui.button("All as planned", self.rows.as_planned, self.wrong)
        self.ticket = TicketPart(self._ticket)
        self.pouring = ui.below(self.advice.box, self.rows.box, self.planned, self.advice.over)
        self._closing_fields()
        self.write = ui.button("Write it down", self._write, self.wrong, main=True)
        self.entry = ui.section(
            "2. Write down", ui.boxed(self.what), self.ticket.box, self.pouring, self.reading.box,
            self.closing, self.rest, self.write,
        )  # fmt: skip
        self.label = ui.button("Save the container's label", self._label, self.saved)
        self.again = AgainPart(self._signed, self.open)
        self.strike = StrikePart(self._signed, self._struck)
        self.mend = MendPart(self._signed, self._struck)
        self.record_box = ui.section(
            "3. What happened to it", self.tale, self.label, self.saved, self.page,
            ui.folded("the ticket to weigh it by", self.ticket.box),
            ui.folded("how to mix this colour again", self.again.box),
            ui.folded("how to change customer, due day or note", self.mend.box),
            ui.folded("how to strike a wrong record", self.strike.box),
        )  # fmt: skip
        self.pick.observe(ui.safe(self._picked, self.problems), names="value")
        self.scan.text.observe(ui.safe(self._scanned, self.problems), names="value")
        self.what.observe(ui.safe(self._happened, self.wrong), names="value")
        self.ticket.hold.observe(ui.safe(self._held_back, self.wrong), names="value")
        look = ui.button("Look again", self.refresh, self.problems)
        tickets = ui.button("Save all tickets of the day", self._tickets, self.problems)
        self.today = ui.section(
            "1. Today's jobs", *quiet(played(self.opened)), self.jobs, ui.boxed(self.pick),
            ui.row(self.scan.box, *([self.who.box] if own else [])),
            ui.row(look, tickets), self.printed, self.problems,
        )  # fmt: skip
        ui.safe(self.refresh, self.problems)()

    @cached_property
    def box(self) -> Any:
        """Everything below each other."""
        job = (self.entry, self.wrong, self.done, self.record_box)
        return ui.form(self.today, *job, *map(self.beside, BESIDE), name="book")

    def beside(self, words: str) -> Any:
        """A part of `BESIDE`, made when it is first looked at."""
        return ui.folded(words, make=lambda: getattr(self, BESIDE[words]).box)

    # Parts that are made when they are first looked at.
    new = cached_property(lambda self: NewPart(self.opened, self._who, self.open))
    shelf = cached_property(lambda self: ShelfPart(self.opened, self._who, self.refresh))
    find = cached_property(lambda self: FindPart(self.opened, self.open))
    copies = cached_property(lambda self: CopyPart(self.opened, self.refresh))
    order = cached_property(lambda self: OrderPart(self.opened))
    use_up = cached_property(lambda self: UseUpPart(self.opened))

    def _closing_fields(self) -> None:
        lights = light_options(self.opened.shop)
        self.outcome = ui.choice("How did it end?", OUTCOMES, OUTCOMES[0], radio=True)
        self.by = ui.Field("Approved by", "", str, short=False)
        self.light = ui.choice("Under the light", lights, lights[0][1])
        self.why = ui.Field("Reason, or a remark", "", str, short=False)
        self.left = ui.amount_field("Left over, g", "", empty=True, zero=True)
        self.left_name = ui.Field("Its name on the shelf", "", str, short=False)
        approval = ui.row(self.by.box, ui.boxed(self.light), self.why.box)
        self.closing = ui.below(ui.row(ui.boxed(self.outcome)), approval)
        self.rest = ui.row(self.left.box, self.left_name.box)

    # ---- looking

    def refresh(self) -> None:
        """See the book as it is now; the job stays the one that is looked at."""
        self.done.value = self.wrong.value = ""
        today = day(self.opened.session()) if self.opened.has_book else None
        jobs = today.records if today else ()
        ui.put(self.jobs, day_parts(today) if today else [EMPTY])
        chosen = self.record.batch if self.record else None
        options = [(about(each), each.batch) for each in jobs]
        struck: Sequence[str] = ()
        if chosen is not None and chosen not in [each.batch for each in jobs]:
            try:
                options.append((about(self._now(chosen)), chosen))
            except InputError as error:
                chosen, struck = None, error.faults
        if chosen is None:
            chosen = next((each.batch for each in jobs if not each.outcome), None)
        self.filling = True
        self.pick.options = options
        self.pick.value = chosen
        self.filling = False
        self._show(chosen)
        ui.tell(self.problems, struck)

    def open(self, batch: int) -> None:
        """Look at a batch, whichever it is."""
        self._show(batch)
        self.refresh()
        self.told()

    def _now(self, batch: int) -> BatchRecord:
        return job(self.opened.session().open_book(), batch)

    def _picked(self) -> None:
        if not self.filling and self.pick.value is not None:
            self.done.value = self.wrong.value = ""
            self._show(self.pick.value)
            self.told()

    def _scanned(self) -> None:
        text = self.scan.text.value
        if text.strip() and self.opened.has_book:
            self.open(scanned(self.opened.session().open_book(), text))
            self.scan.text.value = ""

    def _show(self, batch: int | None) -> None:
        """The record of a batch, and what it needs next."""
        self.showing = True
        try:
            self._show_it(batch)
        finally:
            self.showing = False

    def _show_it(self, batch: int | None) -> None:
        for part in (self.entry, self.record_box):
            part.layout.display = "none" if batch is None else None
        self.page.value = self.saved.value = ""
        self.ticket.clear()
        if batch is None:
            self.record, self.line.value = None, ""
            return
        before, shown = self.record, looking_up.show(self.opened.session(), batch)
        self.record = record = shown.record
        self.again.show()
        self.strike.show(record)
        self.mend.show(record)
        ui.put(self.line, next_parts(record))
        ui.put(self.tale, batch_parts(shown))
        self.entry.layout.display = None if record.outcome in ("", "approved") else "none"
        if before and (before.batch, marks_of(before)) == (batch, marks_of(record)):
            self.reading.look()  # nothing new: what is half typed stays
            return
        self.filling = True
        open_ones = [MEASURED, ADDED, CLOSED] if record.pours else [WEIGHED, CLOSED]
        self.what.options = [LEFT] if record.outcome else open_ones
        self.what.value = LEFT if record.outcome else NEXT.get(record.state, CLOSED)
        self.filling = False
        self._shown()
        self.restore()

    def _happened(self) -> None:
        if not self.filling:
            self._shown()

    def _shown(self) -> None:
        """The fields of what happened, empty."""
        if self.record is None:
            return
        what = self.what.value
        self.advice.forget(adding=what == ADDED)
        for field in (self.by, self.why, self.left, self.left_name):
            field.text.value = ""
        shown = (
            (self.ticket.box, (WEIGHED,)), (self.pouring, (WEIGHED, ADDED)),
            (self.planned, (WEIGHED, ADDED)), (self.reading.box, (MEASURED,)),
            (self.closing, (CLOSED,)), (self.rest, (CLOSED, LEFT)),
        )  # fmt: skip
        for part, when in shown:
            part.layout.display = None if what in when else "none"
        if what == MEASURED:
            self.reading.empty()
        elif what == WEIGHED:
            self._plan()
        elif what == ADDED:
            self._pours({})

    def _held_back(self) -> None:
        """Another first pour; what was typed of it stays."""
        if self.record is not None and self.what.value == WEIGHED:
            typed = {ink: field.text.value for ink, field in self.rows.fields.items()}
            self._plan()
            self.rows.retype(typed)

    def _plan(self) -> None:
        """What goes in at first, without what is held back."""
        assert self.record is not None
        planned = planned_grams(self.record, self.opened.shop.resolution_g)
        first = planned | dict(self.ticket.made().first_pour if self.ticket.hold.value else ())
        self._pours(first, {ink: g - first[ink] for ink, g in planned.items() if g > first[ink]})

    def _pours(self, planned: dict[str, float], held: dict[str, float] | None = None) -> None:
        shop = self.opened.session().shop
        series = {ink.name: ink.series for ink in shop.inks}
        assert self.record is not None
        mine = {series.get(ink) for ink in self.record.holds}
        others = [ink.name for ink in shop.inks if ink.series in mine]
        others += [mix.name for mix in shop.mixes if {series.get(i) for i in mix.inks} <= mine]
        self.planned.layout.display = None if planned else "none"
        self.rows.ask(planned, others, shop.resolution_g, held)

    # ---- writing

    def _write(self) -> None:
        """Write down what happened, and show the book with it."""
        session, record = self._signed()
        self.more: list[Part] = []
        work: dict[str, Callable[[Session, int], tuple[str, str]]] = {
            WEIGHED: self._weigh, MEASURED: self._measure, ADDED: self._add, CLOSED: self._close,
            LEFT: self._left,
        }  # fmt: skip
        words, kind = work[self.what.value](session, record.batch)
        self.refresh()
        told = [f"Written down. {words}", *(n.text for n in session.notices)]
        ui.tell(self.done, told, kind)
        ui.put(self.done, self.more, below=f'<div class="mk-go">{self.done.value}</div>')

    def _who(self) -> str:
        (who,) = ui.read(self.who)
        return str(who)

    def _struck(self, words: str) -> None:
        self.refresh()
        ui.tell(self.done, words, "done")

    def _signed(self) -> tuple[Session, BatchRecord]:
        """The book as who writes holds it, and the job; only while it is as it is shown."""
        if self.record is None:
            raise InputError("no job is chosen yet")
        who, shown = self._who(), self.record
        now = self._now(shown.batch)
        if marks_of(now) != marks_of(shown):
            self.refresh()
            raise InputError(MEANWHILE.format(now.batch))

        def as_shown(db: sqlite3.Connection) -> None:
            must_be(db, "batch", shown.batch)
            if marks_of(job_of(db, shown.batch)) != marks_of(shown):
                raise InputError(MEANWHILE.format(shown.batch) + "; press 'Look again'")

        session = self.opened.session(who=who)
        session.open_book(unless=as_shown)
        return session, now

    def _weigh(self, session: Session, batch: int) -> tuple[str, str]:
        return booking.weigh(session, batch, self.rows.read()).text, "done"

    def _add(self, session: Session, batch: int) -> tuple[str, str]:
        grams, followed = self.rows.read(), self.advice.correction
        return booking.add(session, batch, grams, correction=followed).text, "done"

    def _measure(self, session: Session, batch: int) -> tuple[str, str]:
        name, readings = self.reading.read()
        found = measure_batch(session, batch, readings, name, self.reading.state)
        parts = measured_parts(found)
        self.more = [*session.notices, *(part for part in parts if isinstance(part, Table))]
        words = [part for part in parts if isinstance(part, str)]
        if found.judged is None:
            return ". ".join(words), "look" if found.odd else "done"
        verdict = next(part for part in parts if isinstance(part, Banner))
        return ". ".join([verdict.text, *words]), "pass" if verdict.passed else "fail"

    def _close(self, session: Session, batch: int) -> tuple[str, str]:
        (left,) = ui.read(self.left)
        name, outcome = self.left_name.text.value.strip(), self.outcome.value
        by = self.by.text.value.strip() if outcome == "approved" else ""
        faults = []
        if (left is None) == bool(name):
            faults.append("what is left over needs its grams and its name; or leave both empty")
        if outcome == "approved" and not by:
            faults.append("Approved by: write who approved it")
        raise_any(faults)
        closed = booking.close(
            session, batch, outcome, approved_by=by, light=self.light.value if by else "",
            note=self.why.text.value.strip(), left=None if left is None else (left, name),
        )  # fmt: skip
        found = looking_up.label(session, batch)
        self.more = [Page(title=found.title, html=found.html)]
        return closed.text, "done"

    def _left(self, session: Session, batch: int) -> tuple[str, str]:
        (left,), name = ui.read(self.left), self.left_name.text.value.strip()
        if left is None:
            raise InputError("Left over, g: write what is left in the container, 0 too")
        return booking.leftover(session, batch, left, name).text, "done"

    def _ticket(self, choices: TicketChoices) -> Ticket:
        """The ticket of the formula as it was written down."""
        if self.record is None:
            raise InputError("no job is chosen yet")
        return batch_ticket(self.opened.session(), self.record.batch, choices)

    def _tickets(self) -> None:
        """Save the tickets of all jobs that are to be weighed, and show them ready to print."""
        self.printed.value = ""
        session = self.opened.session()
        html = tickets_html(tickets(session))
        path = keep("Tickets of the day", ".html", html)
        page = Page(title="Tickets of the day", html=html)
        ui.put(self.printed, [f"Saved: {path.resolve()}", *session.notices, page])

    def _label(self) -> None:
        """Save the label for the container, and show it ready to print."""
        if self.record is None:
            raise InputError("no job is chosen yet")
        found = looking_up.label(self.opened.session(), self.record.batch)
        path = keep(found.title, ".html", found.html)
        ui.put(self.page, [Page(title=found.title, html=found.html)])
        ui.tell(self.saved, f"Saved: {path.resolve()}", "done")


def marks_of(record: BatchRecord) -> tuple[object, ...]:
    """What changes when somebody writes about a batch."""
    pours = tuple(pour.weighing for pour in record.pours)
    return pours, tuple(each.measurement for each in record.readings), record.outcome
