"""What went wrong with a batch and what to add to it, round by round."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from matchkit.correcting.correct import Correction
from matchkit.errors import InputError
from matchkit.files.text import typed
from matchkit.forms import begin, ink_history
from matchkit.forms import parts as ui
from matchkit.forms.check import MeasuredPicker
from matchkit.forms.rows import FormulaRows, TargetPicker
from matchkit.forms.shops import EXAMPLE_BATCH, OpenShop, keep, saved_recipe
from matchkit.report.corrections import addition_page, correction_parts, finish_parts
from matchkit.workflows.correcting_batch import Advice, Mixed
from matchkit.workflows.correcting_batch import correct as find
from matchkit.workflows.finishing_batch import CorrectOptions, finish_batch
from matchkit.workflows.session import Session

ANYWAY = "Anyway: suggest an addition even if the reading is implausible"
ROOM = "Room left in the container, grams"
READ, WEIGHING = "a drawdown was measured", "it is still being weighed: too much went in"


def correct(opened: OpenShop, target: str = "", batch: str = EXAMPLE_BATCH) -> Any:
    """The form; it starts with a colour of the shop's list and a batch that was saved."""
    return begin.opened_form(opened, lambda: CorrectForm(opened, target, batch).box)


class CorrectForm:
    """The widgets of a correction, the rounds so far, and the additions that were found last."""

    def __init__(self, opened: OpenShop, start: str = "", batch: str = "") -> None:
        self.opened = opened
        self.rounds: list[Mixed] = []
        self.now: list[Mixed] = []  # and this one
        self.found: Advice | None = None
        self.problems, self.results = ui.area(), ui.area()
        self.slip, self.saved = ui.area(), ui.area()
        self.picker = TargetPicker(opened, start)
        self.rows = FormulaRows(opened, "grams", batch)
        self.room = ui.amount_field(ROOM, "", empty=True, zero=True)
        self.state = ui.choice("What is known?", [READ, WEIGHING], READ, radio=True)
        self.measured = MeasuredPicker(opened)
        self.planned = ui.choice("What was planned", [*self.rows.saved])
        self.plan = ui.boxed(self.planned)
        self.lots, self.anyway = ink_history.lots_tick(opened), ui.tick(ANYWAY)
        self.look = ui.button("What should I add?", self.find, self.problems, main=True)
        self.way = ui.choice("Which addition?", [], radio=True)
        self.save = ui.button("Save the addition slip", self.write, self.problems, main=True)
        self.next = ui.button("I have added it: next round", self.added, self.problems)
        self.chosen = ui.below(
            ui.boxed(self.way), ui.row(self.save, self.next), self.saved, self.slip
        )
        self.round = ui.area()
        ui.on_change(
            [
                *self.picker.changing(),
                *self.rows.changing(),
                *self.measured.changing(),
                *(self.state, self.planned, self.room.text, self.lots, self.anyway),
            ],
            self._forget,
        )
        self.box = ui.form(
            ui.section("1. The colour that was wanted", self.picker.box),
            ui.section(
                "2. What is in the container, grams", self.round, self.rows.box, self.room.box
            ),
            ui.section(
                "3. How it measured, cured and cool", ui.boxed(self.state), self.measured.box,
                self.plan,
            ),
            ui.section(
                "4. The addition", self.lots, self.anyway, self.look, self.problems, self.results,
                self.chosen,
            ),
            name="correct",
        )  # fmt: skip
        self._forget()

    @property
    def ways(self) -> Mapping[str, Correction]:
        """The additions that were found, by name."""
        return {} if self.found is None else self.found.offered

    def find(self) -> None:
        """Find what went wrong and what to add."""
        self._forget()
        formula, (room,) = ui.read_all(self.rows.formula, lambda: ui.read(self.room))
        held = dict(formula.amounts)
        room = np.inf if room is None else room
        options = CorrectOptions(room_g=room, anyway=self.anyway.value)
        session = self.opened.session(use_lots=self.lots.value)
        try:
            self._answer(session, held, options)
        except InputError:
            ui.put(self.results, session.notices)
            raise

    def write(self) -> None:
        """Save the slip of the chosen addition, and show it ready to print."""
        found, addition = self._chosen()
        page = addition_page(found, addition, self.opened.shop)
        path = keep(page.title, ".html", page.html)
        ui.tell(self.saved, f"Saved: {path.resolve()}", "done")
        ui.put(self.slip, [page])

    def added(self) -> None:
        """The addition is in the container: ask for the next measurement."""
        found, addition = self._chosen()
        self.rounds = self.now
        held = {
            name: float(weighed + more)
            for name, weighed, more in zip(
                found.palette.names, found.weighed_g, addition.additions_g, strict=True
            )
            if weighed + more > 0
        }
        self.rows.fill(held)
        self.measured.empty()
        room = self.room.value
        if room is not None:
            self.room.text.value = typed(max(room - addition.added_g, 0.0), 6)
        self._forget()
        ui.tell(
            self.round,
            f"Round {len(self.rounds) + 1}. The rows hold what is in the container now, and the"
            " room is what is left of it; change them if the balance showed something else. Then"
            " hand in the new measurement.",
            "quiet",
        )

    def _answer(self, session: Session, held: Mapping[str, float], options: CorrectOptions) -> None:
        wanted = self.picker.wanted(session)
        if self.state.value == WEIGHING:
            finish = finish_batch(session, wanted, self._plan(), held, options)
            ui.put(self.results, [*session.notices, *finish_parts(finish)])
            return
        self.now = [*self.rounds, Mixed(grams=held, R=self.measured.readings().mean(axis=0))]
        self.found = found = find(session, wanted, self.now, options)
        ui.put(self.results, [*session.notices, *correction_parts(found)])
        self.way.options = [*self.ways]
        self.way.value = next(iter(self.ways), None)
        self.chosen.layout.display = None if self.ways else "none"

    def _plan(self) -> dict[str, float]:
        """The planned weights, from a batch that was saved."""
        if self.planned.value is None:
            raise InputError("no plan was saved: weigh with a ticket of notebook 4 first")
        path = self.rows.saved[self.planned.value]
        written = saved_recipe(self.opened, path)
        if written.grams is None:
            raise InputError(f"{path.name}: percents, but weights are needed here")
        total = sum(written.grams)
        return {n: total * f for n, f in zip(written.poured, written.shares, strict=True)}

    def _chosen(self) -> tuple[Advice, Correction]:
        if self.found is None or self.way.value is None:
            raise InputError("there is no addition yet: press 'What should I add?' first")
        return self.found, self.ways[self.way.value]

    def _forget(self) -> None:
        self.found = None
        for place in (self.results, self.slip, self.saved, self.problems):
            place.value = ""
        self.chosen.layout.display = "none"
        weighing = self.state.value == WEIGHING
        self.measured.box.layout.display = "none" if weighing else None
        self.plan.layout.display = None if weighing else "none"
