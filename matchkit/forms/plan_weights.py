"""What the balance showed of a plan's weights, one ladder at a time, into drawdowns.csv."""

from dataclasses import replace
from functools import partial
from typing import Any

from matchkit.errors import InputError
from matchkit.files.amounts import parse_amount
from matchkit.files.weighed import put_weighed, weighed
from matchkit.forms.parts import Field, alert, area, boxed, button, choice, row, section, tell
from matchkit.forms.shops import AGAIN, STAYS, OpenShop, is_demo
from matchkit.paper.sheet import grams_text
from matchkit.plan.contents import LETDOWN, Weighing, weighings
from matchkit.plan.drawdowns import Plan
from matchkit.report.plan import weighed_lines

TITLE = "Did weights come out otherwise?"
NOTE = (
    "Write what the balance showed, in grams; an empty field is as planned. Enter a ladder in one"
    " go: what is left in a pot goes on into the drawdowns after it."
)


class PlanWeights:
    """A field for each weight of a ladder, letdowns first; nothing to fill in without a plan."""

    def __init__(self, opened: OpenShop) -> None:
        self.opened = opened
        self.plan: Plan | None = None
        self.asked: list[Weighing] = []
        self.doubted: tuple[str, ...] = ()
        self.fields: list[Field] = []
        self.problems, self.told, self.place = alert(), area(), row()
        self.ladder = choice("The ladder of", [])
        self.ladder.observe(lambda _: self._ask(), names="value")
        self.save = button("Put the weights into drawdowns.csv", self.put_in, self.problems)
        note = area()
        tell(note, NOTE, "quiet")
        self.box = section(
            TITLE, note, boxed(self.ladder), self.place, self.save, self.problems, self.told
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
        tell(self.told, "")
        if is_demo(self.opened):
            tell(self.told, STAYS, "quiet")
            return
        faults = [fault for field in self.fields for fault in field.look()]
        if faults:
            raise InputError(faults)
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
        tell(self.told, [*done, AGAIN], "done")

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
            Field(
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
