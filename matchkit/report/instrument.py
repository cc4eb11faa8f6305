"""Drift of the spectrophotometer, and hiding of a film, as parts."""

from matchkit.report.parts import Part, Table
from matchkit.workflows.instrument_check import FilmHiding, InstrumentCheck

LAST = 10  # days shown of each standard


def instrument_parts(found: InstrumentCheck) -> list[Part]:
    """What each standard has read against its first day, and what to do."""
    rows = tuple(
        (each.kind, each.name, day, f"{moved.de00:.2f}", moved.words if i else "first reading")
        for each in found.health.histories
        for i, (day, moved) in enumerate(zip(each.dates, each.drifts, strict=True))
        if i == 0 or i >= len(each.dates) - LAST
    )
    head = ("Kind", "Name", "Day", "dE00", "Against its first day")
    advice = found.health.advice
    return [*([Table(head=head, rows=rows, words=(1, 2, 4))] if rows else []), advice]


def hiding_parts(found: FilmHiding) -> list[Part]:
    """Whether the film counts as a drawdown that hides."""
    return [f"{found.name}: {found.opacity.words}"]
