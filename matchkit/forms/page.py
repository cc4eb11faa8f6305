"""The job page: a shop's whole day on one page, and the job in hand from its colour to its label.

The page that `matchkit serve` shows is this form and nothing else.  What is done is written
into the shop's record book, and what is typed and not done yet stands there as a draft: a page
that is loaded again, here or on another tablet, opens where the job stands.
"""

import json
import os
from collections.abc import Callable, Mapping
from functools import partial
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

import ipywidgets as w

from matchkit.book.drafts import draft, keep_draft, last_writer
from matchkit.book.label import qr_svg
from matchkit.errors import InputError
from matchkit.files.write import opened_shops, remember_shop
from matchkit.forms import parts as ui
from matchkit.forms.begin import lacking
from matchkit.forms.book import BookForm, marks_of
from matchkit.forms.book_demo import with_book
from matchkit.forms.book_rows import BeginPart
from matchkit.forms.check import check
from matchkit.forms.compare import compare
from matchkit.forms.correct import correct
from matchkit.forms.cover import cover
from matchkit.forms.drafts import Content, Draft
from matchkit.forms.ink_history import ink_history
from matchkit.forms.inks import inks
from matchkit.forms.jobsize import JobForm, jobsize, weigh
from matchkit.forms.match import MatchForm, match
from matchkit.forms.plan import plan
from matchkit.forms.practise import everything
from matchkit.forms.readings import readings
from matchkit.forms.shops import EXAMPLE_BATCH, OpenShop, kept_in, open_shop
from matchkit.workflows.serving import ADDRESS, SHOP

TODAY, COLOUR, JOB = "Today", "New colour", "This job"
STEPS: dict[str, Callable[["JobPage"], Any]] = {
    TODAY: lambda page: page.today(),
    COLOUR: lambda page: page.new_colour(),
    JOB: lambda page: page.job,
    "Own formula": lambda page: page.own_formula(),
    "Check": lambda page: page.check(),
    "Shelf": lambda page: page.shelf(),
    "Find": lambda page: ui.section("Find in the book", page.book.find.box),
    "Inks": lambda page: page.inks(),
    "Practise": lambda page: everything(page.opened, page.who),
}
OF_THE_BOOK = (TODAY, JOB)  # what they show comes from the book, not from a draft of a person
NO_JOB = "No job is in hand. Choose one under Today, or begin one with New colour."
STANDS = "as it stands"  # in a draft: what the book had written of the job
ASKED = "asked what to add"
CHOSEN = "Which formula do you want? 0"


def served() -> None:
    """Show the page in the browser that asks for it; the shop is read only then."""
    from IPython.display import display
    from websockets.sync.client import connect

    asked: Mapping[str, str] = os.environ
    # As `voila.utils.wait_for_request` does, which imports a whole server for it.
    if asked.get("VOILA_PREHEAT", "False") != "False":
        place = f"127.0.0.1:{asked['VOILA_APP_PORT']}/voila/query/{asked['VOILA_KERNEL_ID']}"
        with connect(f"ws://{place}") as line:
            asked = json.loads(line.recv())
    said = parse_qs(asked.get("QUERY_STRING", "")).get("who", [""])
    display(page(os.environ[SHOP], said[0]))  # type: ignore[no-untyped-call]


def page(folder: str | Path, who: str = "") -> Any:
    """The page of a shop folder, as one widget; `who` works at it, else who did last."""
    return JobPage(folder, who).box


class JobPage:
    """The page's widgets; a step is made when it is first looked at, and stays as it was left."""

    def __init__(self, folder: str | Path, who: str = "") -> None:
        self.who: ui.Field = ui.name_field(who)
        self.who.box.add_class("mk-who")
        self.problems, self.wait, self.about, self.title = (
            ui.area(), ui.area(), ui.area(), w.HTML()
        )  # fmt: skip
        self.head = w.VBox()
        self.head.add_class("mk-next")
        self.shop = ui.choice("Shop", _listed(Path(folder)), Path(folder).resolve())
        self.step = w.ToggleButtons(options=list(STEPS), description="", value=None)
        self.step.add_class("mk-steps")
        self.place = ui.below()
        self.room = w.Text(continuous_update=False)  # the page's script writes the width into it
        self.room.add_class("mk-room")
        told = ui.folded("the shop, and what its inks can do", ui.boxed(self.shop), self.about)
        self.box = ui.form(
            ui.row(self.title, self.who.box), self.step, self.head, self.problems, self.place,
            told, self.room, name="jobpage",
        )  # fmt: skip
        self.room.observe(ui.safe(self._turned, self.problems), names="value")
        self.shop.observe(ui.safe(self.open, self.problems), names="value")
        self.step.observe(ui.safe(self.show, self.problems), names="value")
        self.open()

    def _turned(self) -> None:
        """Pictures are drawn for the room that there is; those of the job are drawn anew."""
        ui.screen(float(self.room.value))
        if self.book.record is not None:
            self.book.refresh()

    def open(self) -> None:
        """Read the shop that is chosen, and go on where the one who works here left off."""
        folder = self.shop.value
        kept_in(folder)
        remember_shop(folder)
        self.opened: OpenShop = with_book(open_shop(folder))
        self.made: dict[str, Any] = {}
        self.job: Any = w.VBox()
        self.book: BookForm = BookForm(self.opened, self.who)
        self.head.children = [self.book.line]
        book = self.book
        self.job.children = [book.done, book.entry, book.wrong, book.record_box]
        self.draft_of_job = Draft(self.job, self._keep_job)
        book.restore = self._restore_job
        self.title.value = f"<h2>{escape(self.opened.shop.name or folder.name)}</h2>"
        ui.put(self.about, repr(self.opened).split("\n"))
        if not self.who.text.value and self.opened.has_book:
            self.who.text.value = last_writer(self.opened.session().open_book())
        left = self._draft("page")
        ui.safe(partial(self._opened, left.get("batch")), self.problems)()
        book.told = self._to_job
        self.step.value = None
        self.step.value = left.get("step") if left.get("step") in STEPS else TODAY

    def _opened(self, batch: int | None) -> None:
        """The job in hand, with what was typed for it."""
        shown = self.book.record
        if batch is not None and (shown is None or shown.batch != batch):
            self.book.open(batch)
        elif shown is not None:
            self._restore_job()

    def show(self) -> None:
        """The step that is chosen; what others wrote meanwhile is seen in the jobs."""
        name = self.step.value
        if name is None:
            return
        if name not in self.made:
            ui.tell(self.wait, "Opening ...", "quiet")
            self.place.children = [self.wait]
            self.made[name] = STEPS[name](self)
            if name not in (*OF_THE_BOOK, "Practise"):
                kept = Draft(self.made[name], partial(self._keep, name))
                content = self._draft(name)
                kept.fill(content)
                if chosen := content.get(CHOSEN):
                    self.found.find_again(chosen)
        elif name in OF_THE_BOOK:
            self.book.refresh()
        if name == JOB and self.book.record is None:
            ui.tell(self.wait, NO_JOB, "quiet")
            self.place.children = [self.wait]
        else:
            self.place.children = [self.made[name]]
        batch = self.book.record.batch if self.book.record else None
        self._keep("page", {"step": name, "batch": batch})

    def today(self) -> Any:
        """The day's jobs, and other ways to begin one."""
        folds = [*map(self.book.beside, ("the fields of a new job", "copies of the book"))]
        if link := escape(os.environ.get(ADDRESS, "")):
            code = (
                f'<div class="mk-qr">{qr_svg(os.environ[ADDRESS])}<a href="{link}">{link}</a></div>'
            )
            folds.append(ui.folded("the address for another tablet", w.HTML(code)))
        return ui.below(self.book.today, *folds)

    def shelf(self) -> Any:
        """Deliveries, lots, stock, leftovers."""
        book = self.book
        return ui.below(
            ui.section("On the shelf", book.shelf.box),
            ui.section("Leftovers to use up", book.use_up.box),
            ui.section("What to order", book.order.box),
        )

    def new_colour(self) -> Any:
        """Formulas for a new colour, and the job that begins with one of them."""
        if lacking(self.opened):
            return match(self.opened)
        found = self.found = MatchForm(self.opened)
        found.ticket.box.layout.display = "none"  # the job's own comes when it is begun
        size = JobForm(self.opened, rows=found)
        begin = BeginPart(found, self._signed, partial(self._begun, COLOUR), 4, size)
        return ui.below(found.box, begin.box)

    def own_formula(self) -> Any:
        """What a formula of one's own looks like, how much a job needs, and the job of it."""
        if lacking(self.opened):
            return jobsize(self.opened)
        size = JobForm(self.opened, EXAMPLE_BATCH)
        begin = BeginPart(size, self._signed, partial(self._begun, "Own formula"))
        more = {"what a formula looks like": weigh, "whether a print covers the garment": cover}
        return ui.below(size.box, begin.box, *self._folded(more))

    def check(self) -> Any:
        """Is a drawdown near enough, and what goes with that."""
        more = {"formulas compared under the lights": compare, "what to add to a batch": correct}
        return ui.below(check(self.opened), *self._folded(more))

    def inks(self) -> Any:
        """Readings of the shop's inks, and what they say."""
        more = {
            "the plan of drawdowns": plan, "what an ink does": inks,
            "what an ink has been doing": ink_history,
        }  # fmt: skip
        return ui.below(readings(self.opened), *self._folded(more))

    def _folded(self, forms: Mapping[str, Callable[[OpenShop], Any]]) -> list[Any]:
        """Forms that are made when they are first looked at."""
        return [ui.folded(name, make=partial(form, self.opened)) for name, form in forms.items()]

    def _signed(self) -> str:
        (who,) = ui.read(self.who)
        return str(who)

    def _begun(self, step: str, batch: int) -> None:
        """The job that was begun is the one in hand; its form is empty for the next one."""
        self._keep(step, {})
        self.made.pop(step)
        self.book.open(batch)

    def _to_job(self) -> None:
        """Look at the job in hand."""
        if self.step.value != JOB:
            self.step.value = JOB

    # ---- what is typed and not done yet

    def _draft(self, name: str) -> Content:
        """What was kept last of a step, of who works here."""
        if not self.opened.has_book:
            return {}
        return draft(self.opened.session().open_book(), self._place(name))

    def _keep(self, name: str, content: Content) -> None:
        if content or self.opened.has_book:
            session = self.opened.session(who=self.who.text.value.strip())
            keep_draft(session.open_book(create=True), self._place(name), content)

    def _place(self, name: str) -> str:
        if name.startswith("batch "):
            return name  # whoever works on it
        return f"{name}, {self.who.text.value.strip()}"

    def _keep_job(self, content: Content) -> None:
        book = self.book
        if book.record is not None and not book.showing and not book.record.outcome:
            more = {STANDS: repr(marks_of(book.record)), ASKED: book.advice.correction is not None}
            self._keep(f"batch {book.record.batch}", more | content)

    def _restore_job(self) -> None:
        """What was typed for the job since the book was last written to about it."""
        record = self.book.record
        assert record is not None
        content = self._draft(f"batch {record.batch}")
        if content.pop(STANDS, "") == repr(marks_of(record)):
            if content.pop(ASKED, False):
                try:
                    self.book.advice.advise()
                except InputError as error:
                    ui.tell(self.book.wrong, error.faults)
            self.draft_of_job.fill(content)


def _listed(folder: Path) -> list[tuple[str, Path]]:
    """The shops to choose from: the one that was asked for, and those opened before."""
    folders = dict.fromkeys([folder.resolve(), *opened_shops()])
    return [(f"{each.name} ({each.parent})", each) for each in folders]
