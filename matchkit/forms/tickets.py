"""The part of a form that makes a ticket: its entries, a preview, and the saved page."""

from collections.abc import Callable
from typing import Any

import ipywidgets as w

from matchkit.errors import InputError
from matchkit.files.write import csv_text
from matchkit.forms.parts import Field, alert, area, boxed, button, choice, put, row, section, tell
from matchkit.forms.shops import FIRST_POUR, keep
from matchkit.paper.ticket import Ticket
from matchkit.paper.weighing import CONTAINERS_ML, Container
from matchkit.report.ticket import ticket_page
from matchkit.workflows.weighing_out import TicketChoices

SENSITIVE = -1.0  # in place of a share
HELD = (
    ("nothing", 0.0),
    ("10 % of each colour", 0.1),
    ("20 % of each colour", 0.2),
    ("of the most sensitive inks, as much as pays", SENSITIVE),
)
UNKNOWN = "not said"


def container_named(name: str) -> Container | None:
    """What a form's list names, or None where it is not said."""
    return Container(name=name, volume_ml=CONTAINERS_ML[name]) if name in CONTAINERS_ML else None


class TicketPart:
    """`make` makes the ticket by what is chosen here; InputError where there is nothing yet.

    A form that asks for the container itself hands its `container` in.
    """

    def __init__(
        self, make: Callable[[TicketChoices], Ticket], number: int = 0, *, container: Any = None
    ) -> None:
        self.make = make
        self.problems, self.saved, self.page = alert(), area(), area()
        self.job = Field("Job or customer", "", _job, short=False)
        self.container = container or choice("Mixed in", [UNKNOWN, *CONTAINERS_ML])
        asked = [] if container else [boxed(self.container)]
        self.letdowns = w.Checkbox(
            description="Weigh very small amounts from letdowns", indent=False
        )
        self.hold = choice("Hold back until the first drawdown", HELD, 0.0)
        self.preview = button("Show the ticket", self.look, self.problems)
        self.save = button("Save the ticket", self.write, self.problems, main=True)
        self.box = section(
            f"{number}. The ticket" if number else "The ticket",
            row(self.job.box, *asked, boxed(self.hold)),
            self.letdowns,
            row(self.preview, self.save),
            self.problems,
            self.saved,
            self.page,
        )

    def look(self) -> None:
        """Show the ticket, without saving it."""
        self.saved.value = ""
        put(self.page, [ticket_page(self._made())])

    def write(self) -> None:
        """Save the page and its weights, and show it ready to print."""
        made = self._made()
        page = ticket_page(made)
        path = keep(made.job or made.target, ".html", page.html)
        keep(path.stem, ".csv", csv_text(["ink", "grams"], made.formula))
        lines = [f"Saved: {path.resolve()}", f"The formula is beside it, in {path.stem}.csv."]
        if made.first_pour:
            first = csv_text(["ink", "grams"], made.first_pour)
            kept = keep(path.stem, f"{FIRST_POUR}.csv", first)
            lines.append(
                f"What is in the container at the first drawdown, without what is held back, is in"
                f" {kept.name}: correcting starts from that."
            )
        tell(self.saved, lines, "done")
        put(self.page, [page])

    def clear(self) -> None:
        """No ticket of an older formula stays in sight."""
        self.saved.value = self.page.value = self.problems.value = ""

    def _made(self) -> Ticket:
        held = self.hold.value
        return self.make(
            TicketChoices(
                job=self.job.value,
                container=container_named(self.container.value),
                letdowns=self.letdowns.value,
                hold_colours=0.0 if held == SENSITIVE else held,
                hold_sensitive=held == SENSITIVE,
            )
        )


def _job(text: str) -> str:
    if len(text) > 60:
        raise InputError("longer than 60 letters; the ticket has no room for it")
    return text.strip()
