"""The job page: a shop's whole day on one page, a step beside the other.

The page that `matchkit serve` shows is this form and nothing else.  What is written down goes
into the shop's record book, so that every page of the shop sees it.
"""

import os
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as w

from matchkit.files.write import opened_shops, remember_shop
from matchkit.forms.begin import lacking
from matchkit.forms.book import BookForm, name_field
from matchkit.forms.book_demo import with_book
from matchkit.forms.book_rows import BeginPart
from matchkit.forms.check import check
from matchkit.forms.compare import compare
from matchkit.forms.correct import correct
from matchkit.forms.cover import cover
from matchkit.forms.ink_history import ink_history
from matchkit.forms.inks import inks
from matchkit.forms.jobsize import JobForm, jobsize, weigh
from matchkit.forms.match import MatchForm, leftovers, match
from matchkit.forms.parts import alert, area, boxed, choice, folded, form, put, read, safe, tell
from matchkit.forms.plan import plan
from matchkit.forms.practise import everything
from matchkit.forms.readings import readings
from matchkit.forms.shops import EXAMPLE_BATCH, OpenShop, kept_in, open_shop
from matchkit.workflows.serving import SHOP

JOBS = "Today's jobs"
STEPS: dict[str, Callable[["JobPage"], Any]] = {
    JOBS: lambda page: page.book.box,
    "A new colour": lambda page: page.new_colour(),
    "Compare": lambda page: compare(page.opened),
    "Check and correct": lambda page: w.VBox([check(page.opened), correct(page.opened)]),
    "Job size": lambda page: w.VBox([cover(page.opened), page.sized_job()]),
    "Weigh": lambda page: weigh(page.opened),
    "Leftovers": lambda page: leftovers(page.opened),
    "Inks": lambda page: w.VBox(
        [readings(page.opened), plan(page.opened), inks(page.opened), ink_history(page.opened)]
    ),
    "Practise": lambda page: everything(page.opened),
}


def served() -> None:
    """Show the page in the browser that asks for it; the shop is read only then."""
    from IPython.display import display
    from voila.utils import wait_for_request

    port = os.environ.get("VOILA_APP_PORT", "")
    wait_for_request(f"ws://127.0.0.1:{port}/voila/query")
    display(page(os.environ[SHOP]))  # type: ignore[no-untyped-call]


def page(folder: str | Path) -> Any:
    """The page of a shop folder, as one widget."""
    return JobPage(folder).box


class JobPage:
    """The page's widgets; a step is made when it is first looked at, and stays as it was left."""

    def __init__(self, folder: str | Path) -> None:
        self.who = name_field()
        self.problems, self.wait, self.about, self.title = alert(), area(), area(), w.HTML()
        self.shop = choice("Shop", _listed(Path(folder)), Path(folder).resolve())
        self.step = w.ToggleButtons(options=list(STEPS), description="", value=None)
        self.step.add_class("mk-steps")
        self.place = w.VBox([])
        told = folded("the shop, and what its inks can do", boxed(self.shop), self.about)
        self.box = form(
            self.title, self.who.box, self.step, self.problems, self.place, told, name="jobpage"
        )  # fmt: skip
        self.shop.observe(safe(self.open, self.problems), names="value")
        self.step.observe(safe(self.show, self.problems), names="value")
        self.open()

    def open(self) -> None:
        """Read the shop that is chosen, and begin with its jobs."""
        folder = self.shop.value
        kept_in(folder)
        remember_shop(folder)
        self.opened: OpenShop = with_book(open_shop(folder))
        self.made: dict[str, Any] = {}
        self.book: BookForm = BookForm(self.opened, self.who)
        self.title.value = f"<h2>{escape(self.opened.shop.name or folder.name)}</h2>"
        put(self.about, repr(self.opened).split("\n"))
        if self.step.value == JOBS:
            self.show()
        self.step.value = JOBS

    def show(self) -> None:
        """The step that is chosen; what others wrote meanwhile is seen in the jobs."""
        name = self.step.value
        if name not in self.made:
            tell(self.wait, "Opening ...", "quiet")
            self.place.children = [self.wait]
            self.made[name] = STEPS[name](self)
        elif name == JOBS:
            self.book.refresh()
        self.place.children = [self.made[name]]

    def new_colour(self) -> Any:
        """Formulas for a new colour, and the job that begins with one of them."""
        if lacking(self.opened):
            return match(self.opened)
        found = MatchForm(self.opened)
        return w.VBox([found.box, BeginPart(found, self._signed, self._begun).box])

    def sized_job(self) -> Any:
        """How much ink a job needs, and the job that begins with that."""
        if lacking(self.opened):
            return jobsize(self.opened)
        size = JobForm(self.opened, EXAMPLE_BATCH)
        return w.VBox([size.box, BeginPart(size, self._signed, self._begun).box])

    def _signed(self) -> str:
        (who,) = read(self.who)
        return str(who)

    def _begun(self, batch: int) -> None:
        """The job that was begun, where the day's jobs stand."""
        self.book.open(batch)
        self.step.value = JOBS


def _listed(folder: Path) -> list[tuple[str, Path]]:
    """The shops to choose from: the one that was asked for, and those opened before."""
    folders = dict.fromkeys([folder.resolve(), *opened_shops()])
    return [(f"{each.name} ({each.parent})", each) for each in folders]
