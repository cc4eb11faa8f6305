"""The plan of drawdowns, and what its pots weighed."""

from dataclasses import replace
from functools import partial
from typing import Any

from matchkit.errors import InputError, raise_any
from matchkit.files.planned import waiting_in
from matchkit.files.text import parse_amount
from matchkit.files.weighed import put_weighed, weighed
from matchkit.forms import begin
from matchkit.forms import parts as ui
from matchkit.forms.new_shop import DARK
from matchkit.forms.shops import AGAIN, STAYS, OpenShop, is_demo, keep
from matchkit.inks.contents import LETDOWN, Weighing, weighings
from matchkit.inks.drawdowns import Plan
from matchkit.inks.levels import FEWEST, MOST, ladders
from matchkit.paper.sheet import grams_text
from matchkit.report.plan import plan_page, put_lines, to_come_lines, weighed_lines
from matchkit.workflows.planning import DrawdownPlan, PlanChoices, plan_drawdowns, put_plan
from matchkit.workflows.session import Session

TITLE = "Did you weigh other amounts?"
NOTE = (
    "Write what the balance showed, in grams; an empty field is as planned. Enter a letdown series"
    " in one go: what is left in a pot goes on into the drawdowns after it."
)


class PlanWeights:
    """A field for each weight of a ladder, letdowns first; nothing to fill in without a plan."""

    def __init__(self, opened: OpenShop) -> None:
        self.opened = opened
        self.plan: Plan | None = None
        self.asked: list[Weighing] = []
        self.doubted: tuple[str, ...] = ()
        self.fields: list[ui.Field] = []
        self.problems, self.told, self.place = ui.area(), ui.area(), ui.row()
        self.ladder = ui.choice("The ladder of", [])
        self.ladder.observe(lambda _: self._ask(), names="value")
        self.save = ui.button("Put the weights into drawdowns.csv", self.put_in, self.problems)
        note = ui.area()
        ui.tell(note, NOTE, "quiet")
        self.box = ui.section(
            TITLE, note, ui.boxed(self.ladder), self.place, self.save, self.problems, self.told
        )
        self.box.layout.display = "none"

    def offer(self, plan: Plan) -> None:
        """Fields for this plan; what was written for the same plan stays."""
        if plan == self.plan:
            return
        self.plan = plan
        pots = [step.ink for step in plan.steps if step.pot]
        self.box.layout.display = None if pots else "none"
        self.ladder.options = list(dict.fromkeys(pots))
        self._ask()

    def put_in(self) -> None:
        """Follow the pots, and write the percents that they make."""
        ui.tell(self.told, "")
        if is_demo(self.opened):
            ui.tell(self.told, STAYS, "quiet")
            return
        faults = [fault for field in self.fields for fault in field.look()]
        raise_any(faults)
        shown = [
            replace(each, showed_g=field.value)
            for each, field in zip(self.asked, self.fields, strict=True)
        ]
        found = weighed(self.opened.folder, shown)
        notes = found.contents.notes
        if notes and notes != self.doubted:
            self.doubted = notes
            raise InputError([*notes, "if the balance did show that, press the button again"])
        done = weighed_lines(found, put_weighed(self.opened.folder, found))
        ui.tell(self.told, [*done, AGAIN], "done")

    def _ask(self) -> None:
        """Empty fields for the ladder that is chosen."""
        assert self.plan is not None
        own = {step.drawdown for step in self.plan.steps if step.ink == self.ladder.value}
        every = weighings(self.plan)
        needed = {each.what for each in every if each.made in own}
        for each in reversed(every):  # a weak letdown is made from a strong one
            if each.pot == LETDOWN and each.made in needed:
                needed.add(each.what)
        letdowns = [each for each in every if each.pot == LETDOWN and each.made in needed]
        self.asked = letdowns + [each for each in every if each.made in own]
        self.fields = [
            ui.Field(
                _label(each, self.plan.resolution_g),
                "",
                partial(_shown_grams, planned=each.planned_g),
                short=False,
            )
            for each in self.asked
        ]
        self.doubted = ()
        self.place.children = [field.box for field in self.fields]
        self.problems.value = self.told.value = ""


def _label(each: Weighing, step_g: float) -> Any:
    what = "left in the pot" if each.left else each.what
    return f"{each.made}: {what}, {grams_text(each.planned_g or 0.0, step_g)} g planned"


def _shown_grams(text: str, planned: float | None) -> float | None:
    """A weight, 0 too; None where nothing is written."""
    return parse_amount(text, planned=planned) if text.strip() else None


ALL = "all inks of the series"
USUAL = PlanChoices().levels
OTHERWISE = "Enter weights that differ from the plan in the fields at the end."


def plan(opened: OpenShop, ink: str = "") -> Any:
    """The form; `ink` is the one that it starts with."""
    return begin.opened_form(opened, lambda: PlanForm(opened, ink).box, fitted=False)


class PlanForm:
    """The form's widgets."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.problems, self.saved, self.page = ui.area(), ui.area(), ui.area()
        self.weights = PlanWeights(opened)
        series = list(dict.fromkeys(ink.series for ink in opened.shop.inks))
        mine = next((ink.series for ink in opened.shop.inks if ink.name == start), series[0])
        self.series = ui.choice("Series", [(name or "the only one", name) for name in series], mine)
        first, note = begin.first_of(self._inks(), start)
        self.ink = ui.choice("For", self._inks(), first)
        self.levels = ui.choice(
            "Drawdowns of each ink", list(range(FEWEST, MOST + 1)), _begun(opened)
        )
        self.grams = ui.amount_field("Smallest pot, grams", "30", most=10_000)
        self.dark = ui.tick(DARK)
        self.series.observe(lambda _: self._series_changed(), names="value")
        self.look = ui.button("Show the plan", self.show, self.problems)
        self.save = ui.button("Save the plan", self.write, self.problems, main=True)
        self.into = ui.button("Put the drawdowns into the shop", self.put_in, self.problems)
        self.box = ui.form(
            *begin.quiet(note),
            ui.section(
                "Plan the drawdowns",
                ui.row(ui.boxed(self.series), ui.boxed(self.ink)),
                ui.row(ui.boxed(self.levels), self.grams.box, self.dark),
                ui.row(self.look, self.save, self.into),
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
        ui.tell(self.saved, self._where(made), "quiet")

    def write(self) -> None:
        """Save the sheet, and show it ready to print."""
        made = self._made(self.opened.session())
        path = keep(made.title, ".html", plan_page(made).html)
        ui.tell(self.saved, [f"Saved: {path.resolve()}", *self._where(made)], "done")

    def put_in(self) -> None:
        """Put the plan into the shop's files, where its readings are waited for."""
        self.saved.value = ""
        if is_demo(self.opened):
            ui.tell(self.saved, STAYS, "quiet")
            return
        session = self.opened.session()
        lines = put_lines(put_plan(session, self._made(session)))
        ui.tell(self.saved, [*lines, "Save the plan and work through it.", OTHERWISE], "done")

    def _made(self, session: Session) -> DrawdownPlan:
        (grams,) = ui.read(self.grams)
        choices = PlanChoices(
            levels=self.levels.value,
            batch_g=grams,
            new_ink=None if self.ink.value == ALL else self.ink.value,
            series=self.series.value,
            on_dark=self.dark.value,
        )
        made = plan_drawdowns(session, choices)
        self.weights.offer(made.plan)
        ui.put(self.page, [*session.notices, plan_page(made)])
        return made

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
