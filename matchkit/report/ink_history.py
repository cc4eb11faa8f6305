"""An ink's lots batch by batch, and how many batches were in tolerance, as parts."""

from collections.abc import Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Any

from matchkit.book.jobs import local_day
from matchkit.book.lessons import LotDrift
from matchkit.report.parts import Part, Picture, Table
from matchkit.workflows.ink_history import InkHistory, PassShares

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PER_BATCH_IN, NARROWEST_IN, WIDEST_IN = 0.35, 5.2, 9.0  # of the chart
NAMES = {"month": "by month", "ink": "by ink", "mixer": "by who mixed"}


def history_parts(found: InkHistory) -> list[Part]:
    """A sentence for each lot, the chart, and its numbers."""
    ink, rows = found.ink, found.rows
    if not rows:
        return [f"No measured batch of the book holds {ink}."]
    told = [lot_words(ink, list(of_lot)) for _, of_lot in groupby(rows, lambda r: r.lot)]

    def draw(ax: "Axes") -> Any:
        from matchkit.plots.lots import drift_chart

        return drift_chart(ax, ink, rows)

    wide = min(max(NARROWEST_IN, PER_BATCH_IN * len(rows) + 2), WIDEST_IN)
    cells = tuple(
        (local_day(r.at), str(r.batch), r.lot, f"{100 * r.alone:.1f}",
         f"{100 * r.alone * r.alone_error:.1f}", f"{100 * r.strength:.1f}",
         f"{100 * r.strength * r.error:.1f}")
        for r in rows
    )  # fmt: skip
    return [
        *told,
        Picture(name="lots", draw=draw, alt=" ".join(told), width_in=wide, wide=True),
        Table(
            head=("Day", "Batch", "Lot", "Batch alone", "+-", "Lot so far", "+-"),
            rows=cells,
            caption="Strength, % of the fitted lot",
            words=(2,),
        ),
        "Batch alone (grey): what each batch says by itself. Lot so far (black): all batches of"
        " the lot up to that one, which is what the next match counts on. +-, bars and band are"
        " one standard error.",
    ]


def lot_words(ink: str, rows: Sequence[LotDrift]) -> str:
    """How strong one lot has run, by its last batch."""
    last, n = rows[-1], len(rows)
    named = f"{ink} lot {last.lot}" if last.lot else ink
    by, error = 100 * (last.strength - 1), 100 * last.strength * last.error
    over = f"over {n} batch{'es' if n != 1 else ''}"
    if abs(by) < max(1.0, error):
        return f"{named} has run as strong as the fitted lot {over}, give or take {error:.0f} %."
    how = "strong" if by > 0 else "weak"
    return f"{named} has run {abs(by):.0f} % {how} {over}, give or take {error:.0f} %."


def share_parts(found: PassShares) -> list[Part]:
    """How many batches were in tolerance, at the first drawdown and in the end."""
    if not found.rows:
        return ["No batch was measured against a target yet."]
    cells = tuple(
        (each.group or "(no name)", str(each.jobs), _percent(each.first), _percent(each.final))
        for each in found.rows
    )
    first = {"mixer": "Who mixed"}.get(found.by, found.by.capitalize())
    head = (first, "Batches", "First drawdown", "In the end")
    return [Table(head=head, rows=cells, caption=f"In tolerance, {NAMES[found.by]}")]


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"
