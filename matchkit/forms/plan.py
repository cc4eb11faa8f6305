"""Which drawdowns to make for a new series, or for one new ink: a sheet to work through."""

from typing import Any

from matchkit.forms.begin import first_of, opened_form, quiet
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
from matchkit.forms.shops import OpenShop, keep
from matchkit.forms.show import Page, Part, Table
from matchkit.plan import Plan, Step, drawdown_plan
from matchkit.plan_sheet import plan_html
from matchkit.pots import Grams
from matchkit.sheet import grams_text

__all__ = ["PlanForm", "plan", "plan_parts"]

ALL = "all inks of the series"


def plan(opened: OpenShop, ink: str = "") -> Any:
    """The form; `ink` is the one that it starts with."""
    return opened_form(opened, lambda: PlanForm(opened, ink).box, fitted=False)


class PlanForm:
    """Its widgets."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.problems, self.saved, self.page = alert(), area(), area()
        series = list(dict.fromkeys(ink.series for ink in opened.shop.inks))
        mine = next((ink.series for ink in opened.shop.inks if ink.name == start), series[0])
        self.series = choice("Series", [(name or "the only one", name) for name in series], mine)
        first, note = first_of(self._inks(), start)
        self.ink = choice("For", self._inks(), first)
        self.rungs = choice("Drawdowns of each ink", list(range(3, 14)), 10)
        self.grams = amount_field("Smallest pot, grams", "30", most=10_000)
        self.series.observe(lambda _: self._series_changed(), names="value")
        self.look = button("Show the plan", self.show, self.problems)
        self.save = button("Save the plan", self.write, self.problems, main=True)
        self.box = form(
            *quiet(note),
            section(
                "Plan the drawdowns",
                row(boxed(self.series), boxed(self.ink)),
                row(boxed(self.rungs), self.grams.box),
                row(self.look, self.save),
                self.problems,
                self.saved,
                self.page,
            ),
            name="plan",
        )

    def show(self) -> None:
        """Show the sheet, without saving it."""
        self.saved.value = ""
        put(self.page, [self._page()])

    def write(self) -> None:
        """Save the sheet, and show it ready to print."""
        page = self._page()
        path = keep(page.title, ".html", page.html)
        tell(self.saved, f"Saved: {path.resolve()}", "done")
        put(self.page, [page])

    def _page(self) -> Page:
        (grams,) = read(self.grams)
        new_ink = None if self.ink.value == ALL else self.ink.value
        made = drawdown_plan(
            [ink for ink in self.opened.shop.inks if ink.series == self.series.value],
            batch_g=grams,
            resolution_g=self.opened.shop.resolution_g,
            rungs=self.rungs.value,
            new_ink=new_ink,
        )
        title = f"Drawdown plan {new_ink or self.series.value}".strip()
        return Page(title=title, html=plan_html(made, title=title))

    def _inks(self) -> list[str]:
        chosen = self.series.value
        return [ALL, *(ink.name for ink in self.opened.shop.inks if ink.series == chosen)]

    def _series_changed(self) -> None:
        self.ink.options = self._inks()


def plan_parts(opened: OpenShop, ink: str) -> list[Part]:
    """The plan for one ink as tables: what to make first, then drawdown by drawdown."""
    made: Plan = drawdown_plan(opened.shop.inks, resolution_g=opened.shop.resolution_g, new_ink=ink)
    step_g = made.resolution_g

    def weights(parts: Grams) -> str:
        return ", ".join(f"{grams_text(g, step_g)} g {what}" for what, g in parts)

    letdowns = Table(
        head=("Letdown", "Weigh"),
        rows=tuple((name, weights(parts)) for name, parts in made.letdowns),
        caption="To make first, and to weigh small amounts from",
        words=(1,),
    )
    table = Table(
        head=("Drawdown", "Take", "Add"),
        rows=tuple((s.drawdown, _pot(s, step_g), weights(s.adds)) for s in made.steps),
        caption=f"Drawdowns for {ink}, from top to bottom",
        words=(1, 2),
    )
    first = [letdowns] if made.letdowns else []
    return [*first, table, *made.notes]


def _pot(step: Step, step_g: float) -> str:
    if step.pot == 0:
        return "straight from the can"
    if step.leave_g is None:
        return f"pot {step.pot}, clean"
    return f"pot {step.pot}, down to {grams_text(step.leave_g, step_g)} g"
