"""Which drawdowns to make for a new series, or for one new ink: a sheet, and into the shop."""

from typing import Any

from matchkit.errors import InputError
from matchkit.files.planned import told, waiting_in, write_plan
from matchkit.files.shop import read_inks
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
from matchkit.forms.plan_weights import PlanWeights
from matchkit.forms.shops import AGAIN, STAYS, OpenShop, is_demo, keep
from matchkit.paper.plan_sheet import plan_html
from matchkit.paper.sheet import SHORT_CAUTIONS, grams_text
from matchkit.plan.drawdowns import Plan, Step, drawdown_plan
from matchkit.plan.levels import FEWEST, MOST, ladders
from matchkit.plan.pots import Grams
from matchkit.report.parts import Page, Part, Table

__all__ = ["PlanForm", "plan", "plan_parts"]

ALL = "all inks of the series"
USUAL = 10  # drawdowns of each ink
OTHERWISE = "Weights that came out otherwise go into the fields at the end."
PUT = "Put the drawdowns into the shop"


def plan(opened: OpenShop, ink: str = "") -> Any:
    """The form; `ink` is the one that it starts with."""
    return opened_form(opened, lambda: PlanForm(opened, ink).box, fitted=False)


class PlanForm:
    """Its widgets."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.problems, self.saved, self.page = alert(), area(), area()
        self.weights = PlanWeights(opened)
        series = list(dict.fromkeys(ink.series for ink in opened.shop.inks))
        mine = next((ink.series for ink in opened.shop.inks if ink.name == start), series[0])
        self.series = choice("Series", [(name or "the only one", name) for name in series], mine)
        first, note = first_of(self._inks(), start)
        self.ink = choice("For", self._inks(), first)
        self.rungs = choice("Drawdowns of each ink", list(range(FEWEST, MOST + 1)), _begun(opened))
        self.grams = amount_field("Smallest pot, grams", "30", most=10_000)
        self.series.observe(lambda _: self._series_changed(), names="value")
        self.look = button("Show the plan", self.show, self.problems)
        self.save = button("Save the plan", self.write, self.problems, main=True)
        self.into = button(PUT, self.put_in, self.problems)
        self.box = form(
            *quiet(note),
            section(
                "Plan the drawdowns",
                row(boxed(self.series), boxed(self.ink)),
                row(boxed(self.rungs), self.grams.box),
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
        made, page = self._made()
        tell(self.saved, self._where(made), "quiet")
        put(self.page, [page])

    def write(self) -> None:
        """Save the sheet, and show it ready to print."""
        made, page = self._made()
        path = keep(page.title, ".html", page.html)
        tell(self.saved, [f"Saved: {path.resolve()}", *self._where(made)], "done")
        put(self.page, [page])

    def put_in(self) -> None:
        """Put the plan into the shop's files, where its readings are waited for."""
        self.saved.value = ""
        if is_demo(self.opened):
            tell(self.saved, STAYS, "quiet")
            return
        inks = read_inks(self.opened.folder)
        if inks != self.opened.shop.inks:
            raise InputError(["inks.csv was changed since this shop was opened.", AGAIN])
        made, page = self._made()
        done = write_plan(self.opened.folder, made, inks, new_ink=self._new_ink())
        tell(self.saved, [*told(done), "Save the plan and work through it.", OTHERWISE], "done")
        put(self.page, [page])

    def _made(self) -> tuple[Plan, Page]:
        (grams,) = read(self.grams)
        new_ink = self._new_ink()
        made = drawdown_plan(
            [ink for ink in self.opened.shop.inks if ink.series == self.series.value],
            batch_g=grams,
            resolution_g=self.opened.shop.resolution_g,
            rungs=self.rungs.value,
            new_ink=new_ink,
        )
        self.weights.offer(made)
        title = f"Drawdown plan {new_ink or self.series.value}".strip()
        return made, Page(title=title, html=plan_html(made, title=title))

    def _new_ink(self) -> str | None:
        return None if self.ink.value == ALL else self.ink.value

    def _where(self, made: Plan) -> list[str]:
        """Whether the shop waits for these drawdowns: others can't be brought in."""
        if is_demo(self.opened):
            return []
        try:
            there = {name for names in waiting_in(self.opened.folder) for name in names}
        except InputError as error:  # the plan itself needs none of these files
            return ["It can't be put into the shop yet:", *error.faults]
        new = [step.drawdown for step in made.steps if step.drawdown not in there]
        if not new:
            return ["All of these drawdowns are in the shop's files."]
        return [
            f"{len(new)} of these {len(made.steps)} drawdowns are not in the shop's files yet;"
            f" “{PUT}” writes them there, so that their readings can come in."
        ]

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
    return [*first, table, *made.notes, SHORT_CAUTIONS]


def _pot(step: Step, step_g: float) -> str:
    if step.pot == 0:
        return "straight from the can"
    if step.leave_g is None:
        return f"pot {step.pot}, clean"
    return f"pot {step.pot}, down to {grams_text(step.leave_g, step_g)} g"
