"""What has this ink been doing?  Its lots, batch by batch, and how often batches come in."""

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from matchkit.book.lessons import Drift, drift
from matchkit.book.report import GROUPS, pass_shares
from matchkit.forms.begin import first_of, opened_form, quiet
from matchkit.forms.book_demo import with_book
from matchkit.forms.parts import alert, area, boxed, button, choice, form, put, row, safe, section
from matchkit.forms.pictures import drawn
from matchkit.forms.rows import known_inks
from matchkit.forms.shops import OpenShop
from matchkit.plots.lots import drift_chart
from matchkit.report.parts import Part, Table

__all__ = ["HistoryForm", "history_parts", "ink_history", "share_parts"]

NO_BOOK = "This shop has no record book yet; it begins with the first job that is written down."
PER_BATCH_IN, NARROWEST_IN, WIDEST_IN = 0.35, 5.2, 9.0  # of the chart
NAMES = {"month": "by month", "ink": "by ink", "mixer": "by who mixed"}


def ink_history(opened: OpenShop, ink: str = "") -> Any:
    """The form; it starts with one ink."""
    return opened_form(opened, lambda: HistoryForm(opened, ink).box)


class HistoryForm:
    """Its widgets."""

    def __init__(self, opened: OpenShop, ink: str = "") -> None:
        self.opened = with_book(opened)
        self.problems, self.history, self.shares = alert(), area(), area()
        first, note = first_of(known_inks(opened), ink)
        self.ink = choice("Ink", known_inks(opened), first)
        self.by = choice("Counted", [(NAMES[g], g) for g in GROUPS], GROUPS[0], radio=True)
        self.ink.observe(safe(self._drift, self.problems), names="value")
        self.by.observe(safe(self._count, self.problems), names="value")
        again = button("Look again", self.refresh, self.problems)
        self.box = form(
            *quiet(note),
            section("What has this ink been doing?", row(boxed(self.ink), again), self.problems),
            self.history,
            section("How often do batches come in?", boxed(self.by), self.shares),
            name="ink-history",
        )
        safe(self.refresh, self.problems)()

    def refresh(self) -> None:
        """See the book as it is now."""
        self._drift()
        self._count()

    def _drift(self) -> None:
        self.history.value = ""
        put(self.history, history_parts(self.opened, self.ink.value))

    def _count(self) -> None:
        put(self.shares, share_parts(self.opened, self.by.value))


def history_parts(opened: OpenShop, ink: str) -> list[Part]:
    """A sentence for each lot, and the chart."""
    if not opened.has_book:
        return [NO_BOOK]
    session = opened.session()
    rows = drift(session.open_book(), session.files, session.fit_of([ink])[1], ink)
    if not rows:
        return [f"No measured batch of the book holds {ink}."]
    told = [lot_words(ink, list(of_lot)) for _, of_lot in groupby(rows, lambda r: r.lot)]
    wide = min(max(NARROWEST_IN, PER_BATCH_IN * len(rows) + 2), WIDEST_IN)
    chart = drawn(lambda ax: drift_chart(ax, ink, rows), " ".join(told), wide, 3.4, wide=True)
    return [
        *told,
        chart,
        "Grey: what each batch says by itself. Black: all batches of the lot so far, which is what"
        " the next match counts on. Bars and band are one standard error.",
    ]


def lot_words(ink: str, rows: Sequence[Drift]) -> str:
    """How strong one lot has run, by its last batch."""
    last, n = rows[-1], len(rows)
    named = f"{ink} lot {last.lot}" if last.lot else ink
    by, error = 100 * (last.strength - 1), 100 * last.strength * last.error
    over = f"over {n} batch{'es' if n != 1 else ''}"
    if abs(by) < max(1.0, error):
        return f"{named} has run as strong as the fitted lot {over}, give or take {error:.0f} %."
    how = "strong" if by > 0 else "weak"
    return f"{named} has run {abs(by):.0f} % {how} {over}, give or take {error:.0f} %."


def share_parts(opened: OpenShop, by: str) -> list[Part]:
    """How many batches were within tolerance, at the first drawdown and in the end."""
    if not opened.has_book:
        return []
    rows = pass_shares(opened.session().open_book(), by)
    if not rows:
        return ["No batch was measured against a target yet."]
    cells = tuple(
        (each.group or "(no name)", str(each.jobs), _percent(each.first), _percent(each.final))
        for each in rows
    )
    first = {"mixer": "Who mixed"}.get(by, by.capitalize())
    head = (first, "Batches", "First drawdown", "In the end")
    return [Table(head=head, rows=cells, caption=f"Within tolerance, {NAMES[by]}")]


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"
