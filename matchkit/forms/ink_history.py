"""The inks: their drawdowns, lots and history."""

from typing import Any

import ipywidgets as w

from matchkit.book.report import GROUPS
from matchkit.forms import begin, book_demo, rows
from matchkit.forms.parts import alert, area, boxed, button, choice, form, put, row, safe, section
from matchkit.forms.shops import OpenShop
from matchkit.report.inks import NAMES, history_parts, share_parts
from matchkit.workflows.ink_history import ink_history as history_of
from matchkit.workflows.ink_history import shares_in_tolerance

LEARNED = "Use what the record book has learned of today's lots"


def lots_tick(opened: OpenShop) -> Any:
    """The tick that does without; it shows only where there is a book."""
    tick = w.Checkbox(value=True, description=LEARNED, indent=False)
    tick.layout.display = None if opened.has_book else "none"
    return tick


NO_BOOK = "This shop has no record book yet; it begins with the first job that is written down."


def ink_history(opened: OpenShop, ink: str = "") -> Any:
    """The form; it starts with one ink."""
    return begin.opened_form(opened, lambda: HistoryForm(opened, ink).box)


class HistoryForm:
    """The form's widgets."""

    def __init__(self, opened: OpenShop, ink: str = "") -> None:
        self.opened = book_demo.with_book(opened)
        self.problems, self.history, self.shares = alert(), area(), area()
        first, note = begin.first_of(rows.known_inks(opened), ink)
        self.ink = choice("Ink", rows.known_inks(opened), first)
        self.by = choice("Counted", [(NAMES[g], g) for g in GROUPS], GROUPS[0], radio=True)
        self.ink.observe(safe(self._history, self.problems), names="value")
        self.by.observe(safe(self._count, self.problems), names="value")
        again = button("Look again", self.refresh, self.problems)
        self.box = form(
            *begin.quiet(note),
            section("What has this ink been doing?", row(boxed(self.ink), again), self.problems),
            self.history,
            section("How often are batches in tolerance?", boxed(self.by), self.shares),
            name="ink-history",
        )
        safe(self.refresh, self.problems)()

    def refresh(self) -> None:
        """See the book as it is now."""
        self._history()
        self._count()

    def _history(self) -> None:
        self.history.value = ""
        if self.opened.has_book:
            put(self.history, history_parts(history_of(self.opened.session(), self.ink.value)))
        else:
            put(self.history, [NO_BOOK])

    def _count(self) -> None:
        if self.opened.has_book:
            put(self.shares, share_parts(shares_in_tolerance(self.opened.session(), self.by.value)))
