"""The inks: their drawdowns, lots and history."""

from typing import Any

from matchkit.book.report import GROUPS
from matchkit.forms import begin, book_demo, rows
from matchkit.forms import parts as ui
from matchkit.forms.shops import OpenShop
from matchkit.report.inks import NAMES, history_parts, share_parts
from matchkit.workflows.ink_history import ink_history as history_of
from matchkit.workflows.ink_history import shares_in_tolerance

LEARNED = "Use what the record book has learned of today's lots"


def lots_tick(opened: OpenShop) -> Any:
    """The tick that does without; it shows only where there is a book."""
    each = ui.tick(LEARNED, True)
    each.layout.display = None if opened.has_book else "none"
    return each


NO_BOOK = "This shop has no record book yet; it begins with the first job that is written down."


def ink_history(opened: OpenShop, ink: str = "") -> Any:
    """The form; it starts with one ink."""
    return begin.opened_form(opened, lambda: HistoryForm(opened, ink).box)


class HistoryForm:
    """The form's widgets."""

    def __init__(self, opened: OpenShop, ink: str = "") -> None:
        self.opened = book_demo.with_book(opened)
        self.problems, self.history, self.shares = ui.area(), ui.area(), ui.area()
        first, note = begin.first_of(rows.known_inks(opened), ink)
        self.ink = ui.choice("Ink", rows.known_inks(opened), first)
        self.by = ui.choice("Counted", [(NAMES[g], g) for g in GROUPS], GROUPS[0], radio=True)
        self.ink.observe(ui.safe(self._history, self.problems), names="value")
        self.by.observe(ui.safe(self._count, self.problems), names="value")
        again = ui.button("Look again", self.refresh, self.problems)
        self.box = ui.form(
            *begin.quiet(note),
            ui.section(
                "What has this ink been doing?", ui.row(ui.boxed(self.ink), again), self.problems
            ),
            self.history,
            ui.section("How often are batches in tolerance?", ui.boxed(self.by), self.shares),
            name="ink-history",
        )
        ui.safe(self.refresh, self.problems)()

    def refresh(self) -> None:
        """See the book as it is now."""
        self._history()
        self._count()

    def _history(self) -> None:
        self.history.value = ""
        if self.opened.has_book:
            ui.put(self.history, history_parts(history_of(self.opened.session(), self.ink.value)))
        else:
            ui.put(self.history, [NO_BOOK])

    def _count(self) -> None:
        if self.opened.has_book:
            ui.put(
                self.shares, share_parts(shares_in_tolerance(self.opened.session(), self.by.value))
            )
