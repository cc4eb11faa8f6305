"""Which drawdowns to make for a new series, or for one new ink: a sheet, and into the shop."""

from typing import Any

import ipywidgets as w

from matchkit.errors import InputError
from matchkit.files.planned import waiting_in
from matchkit.forms.begin import first_of, opened_form, quiet
from matchkit.forms.new_shop import DARK
from matchkit.forms.parts import (
    alert,
    amount_field,
    area,
    boxed,
    button,
    choice,
    form,
    put,
    read,
    row,
    section,
    tell,
)
from matchkit.forms.plan_weights import PlanWeights
from matchkit.forms.shops import STAYS, OpenShop, is_demo, keep
from matchkit.plan.levels import FEWEST, MOST, ladders
from matchkit.report.plan import plan_page, put_lines, to_come_lines
from matchkit.workflows.planning import DrawdownPlan, PlanChoices, plan_drawdowns, put_plan
from matchkit.workflows.session import Session

ALL = "all inks of the series"
USUAL = PlanChoices().levels
OTHERWISE = "Weights that came out otherwise go into the fields at the end."


def plan(opened: OpenShop, ink: str = "") -> Any:
    """The form; `ink` is the one that it starts with."""
    return opened_form(opened, lambda: PlanForm(opened, ink).box, fitted=False)


class PlanForm:
    """The form's widgets."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.problems, self.saved, self.page = alert(), area(), area()
        self.weights = PlanWeights(opened)
        series = list(dict.fromkeys(ink.series for ink in opened.shop.inks))
        mine = next((ink.series for ink in opened.shop.inks if ink.name == start), series[0])
        self.series = choice("Series", [(name or "the only one", name) for name in series], mine)
        first, note = first_of(self._inks(), start)
        self.ink = choice("For", self._inks(), first)
        self.levels = choice("Drawdowns of each ink", list(range(FEWEST, MOST + 1)), _begun(opened))
        self.grams = amount_field("Smallest pot, grams", "30", most=10_000)
        self.dark = w.Checkbox(description=DARK, indent=False)
        self.series.observe(lambda _: self._series_changed(), names="value")
        self.look = button("Show the plan", self.show, self.problems)
        self.save = button("Save the plan", self.write, self.problems, main=True)
        self.into = button("Put the drawdowns into the shop", self.put_in, self.problems)
        self.box = form(
            *quiet(note),
            section(
                "Plan the drawdowns",
                row(boxed(self.series), boxed(self.ink)),
                row(boxed(self.levels), self.grams.box, self.dark),
                row(self.look, self.save, self.into),
                self.problems,
                self.saved,
                self.page,
            ),
            self.weights.box,
            name="plan",
        )

    def show(self) -> None:
        """Show the sheet, without saving it."""
        self.saved.value = ""
        made = self._made(self.opened.session())
        tell(self.saved, self._where(made), "quiet")

    def write(self) -> None:
        """Save the sheet, and show it ready to print."""
        made = self._made(self.opened.session())
        path = keep(made.title, ".html", plan_page(made).html)
        tell(self.saved, [f"Saved: {path.resolve()}", *self._where(made)], "done")

    def put_in(self) -> None:
        """Put the plan into the shop's files, where its readings are waited for."""
        self.saved.value = ""
        if is_demo(self.opened):
            tell(self.saved, STAYS, "quiet")
            return
        session = self.opened.session()
        lines = put_lines(put_plan(session, self._made(session)))
        tell(self.saved, [*lines, "Save the plan and work through it.", OTHERWISE], "done")

    def _made(self, session: Session) -> DrawdownPlan:
        (grams,) = read(self.grams)
        choices = PlanChoices(
            levels=self.levels.value,
            batch_g=grams,
            new_ink=self._new_ink(),
            series=self.series.value,
            on_dark=self.dark.value,
        )
        made = plan_drawdowns(session, choices)
        self.weights.offer(made.plan)
        put(self.page, [*session.notices, plan_page(made)])
        return made

    def _new_ink(self) -> str | None:
        return None if self.ink.value == ALL else self.ink.value

    def _where(self, made: DrawdownPlan) -> list[str]:
        return [] if is_demo(self.opened) else to_come_lines(made)

    def _inks(self) -> list[str]:
        chosen = self.series.value
        return [ALL, *(ink.name for ink in self.opened.shop.inks if ink.series == chosen)]

    def _series_changed(self) -> None:
        self.ink.options = self._inks()


def _begun(opened: OpenShop) -> int:
    """The drawdowns of each ink that the shop was begun with, as far as their number tells."""
    if is_demo(opened):
        return USUAL
    try:
        waiting, measured = waiting_in(opened.folder)
    except InputError:
        return USUAL
    there = len({*waiting, *measured})
    inks = opened.shop.inks
    counts = {n: sum(map(len, ladders(inks, n, None))) for n in range(FEWEST, MOST + 1)}
    return next((n for n, count in counts.items() if count == there), USUAL)
