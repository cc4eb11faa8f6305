"""Weigh a formula of one's own, old or new: its colour predicted, and a ticket for it."""

from typing import Any

from matchkit.forms.begin import opened_form
from matchkit.forms.lots import lots_tick
from matchkit.forms.parts import (
    alert,
    amount_field,
    area,
    boxed,
    button,
    choice,
    form,
    on_change,
    put,
    read,
    read_all,
    row,
    section,
)
from matchkit.forms.rows import FormulaRows
from matchkit.forms.shops import EXAMPLE_BATCH, OpenShop, listed_targets
from matchkit.forms.tickets import TicketPart
from matchkit.paper.ticket import Ticket
from matchkit.report.predict import prediction_parts
from matchkit.workflows.formula import Formula
from matchkit.workflows.predicting import predict
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import Wanted, wanted_listed
from matchkit.workflows.weighing_out import TicketChoices, ticket

NO_TARGET = "none: the formula is right as it is"


def weigh(opened: OpenShop, start: str = EXAMPLE_BATCH) -> Any:
    """The form; `start` is the saved batch that it starts with, if there is one."""
    return opened_form(opened, lambda: WeighForm(opened, start).box)


class WeighForm:
    """The form's widgets."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.problems, self.results = alert(), area()
        self.rows = FormulaRows(opened, "percent", start)
        self.grams = amount_field("Batch, grams", "500", most=1e6)
        self.target = choice("Target", [NO_TARGET, *listed_targets(opened)], NO_TARGET)
        self.look = button("What will it look like?", self.predict, self.problems, main=True)
        self.ticket = TicketPart(self.make, 3)
        self.lots = lots_tick(opened)
        on_change([*self.rows.changing(), self.grams.text, self.target, self.lots], self._aged)
        self.box = form(
            section("1. The formula", self.rows.box),
            section(
                "2. The batch",
                row(self.grams.box, boxed(self.target)),
                self.lots,
                self.look,
                self.problems,
                self.results,
            ),
            self.ticket.box,
            name="weigh",
        )

    def predict(self) -> None:
        """Show the colour that the formula will have, and its weights."""
        session, formula, wanted, batch_g = self._read()
        found = predict(session, formula, wanted=wanted, batch_g=batch_g)
        put(self.results, [*session.notices, *prediction_parts(found)])

    def make(self, choices: TicketChoices) -> Ticket:
        """The ticket of what the entries say."""
        session, formula, wanted, batch_g = self._read()
        return ticket(session, formula, choices, wanted=wanted, batch_g=batch_g)

    def _read(self) -> tuple[Session, Formula, Wanted | None, float]:
        formula, (batch_g,) = read_all(self.rows.formula, lambda: read(self.grams))
        session = self.opened.session(use_lots=self.lots.value)
        name = self.target.value
        wanted = None if name == NO_TARGET else wanted_listed(session, name)
        return session, formula, wanted, batch_g

    def _aged(self) -> None:
        self.results.value = self.problems.value = ""
        self.ticket.clear()
