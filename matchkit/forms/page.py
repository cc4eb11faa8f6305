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

from matchkit.errors import InputError
from matchkit.forms.book import BookForm
from matchkit.forms.check import check
from matchkit.forms.compare import compare
from matchkit.forms.correct import correct
from matchkit.forms.cover import cover
from matchkit.forms.ink_history import ink_history
from matchkit.forms.jobsize import jobsize
from matchkit.forms.match import leftovers, match
from matchkit.forms.parts import alert, area, folded, form, put, said, tell
from matchkit.forms.plan import plan
from matchkit.forms.practise import job, see
from matchkit.forms.readings import readings
from matchkit.forms.shops import OpenShop, kept_in, open_shop
from matchkit.forms.weigh import weigh
from matchkit.workflows.serving import SHOP

JOBS = "Today's jobs"
STEPS: dict[str, Callable[["JobPage"], Any]] = {
    JOBS: lambda page: BookForm(page.opened, page.who).box,
    "A new colour": lambda page: match(page.opened),
    "Compare": lambda page: compare(page.opened),
    "Check and correct": lambda page: w.VBox([check(page.opened), correct(page.opened)]),
    "Job size": lambda page: w.VBox([cover(page.opened), jobsize(page.opened)]),
    "Weigh": lambda page: weigh(page.opened),
    "Leftovers": lambda page: leftovers(page.opened),
    "Inks": lambda page: w.VBox(
        [readings(page.opened), plan(page.opened), ink_history(page.opened)]
    ),
    "Practise": lambda page: w.VBox([see(), job()]),
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
    """The page's widgets; a step is made when it is first looked at."""

    def __init__(self, folder: str | Path, who: str = "") -> None:
        self.who: str = who
        kept_in(Path(folder))
        self.opened: OpenShop = open_shop(folder)
        self.made: dict[str, Any] = {}
        self.problems, self.about = alert(), area()
        self.step = w.ToggleButtons(options=list(STEPS), description="", value=None)
        self.step.add_class("mk-steps")
        self.place = w.VBox([])
        self.box = form(
            w.HTML(f"<h2>{escape(self.opened.shop.name or str(folder))}</h2>"),
            folded("what this shop's inks can do", self.about),
            self.step, self.problems, self.place, name="jobpage",
        )  # fmt: skip
        put(self.about, str(repr(self.opened)).split("\n"))
        self.step.observe(lambda _: self._shown(), names="value")
        self.step.value = JOBS

    def _shown(self) -> None:
        """The step that was chosen; each stays as it was left."""
        self.problems.value = ""
        name = self.step.value
        try:
            if name not in self.made:
                self.made[name] = STEPS[name](self)
            elif refresh := getattr(self.made[name], "refresh", None):
                refresh()
        except InputError as error:
            tell(self.problems, said(error))
            return
        self.place.children = [self.made[name]]
