"""Formulas beside a target under every light that matters."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import ipywidgets as w

from matchkit.errors import InputError
from matchkit.forms import begin, ink_history
from matchkit.forms import parts as ui
from matchkit.forms.rows import FormulaRows, TargetPicker, light_options, light_words
from matchkit.forms.shops import OpenShop, keep
from matchkit.matching.rank import Candidate
from matchkit.report.comparison import comparison_page, comparison_parts
from matchkit.report.formulas import reach_parts, shares
from matchkit.workflows.comparing import RecipesCompared, formula_of
from matchkit.workflows.comparing import compare as look
from matchkit.workflows.finding import find_formulas
from matchkit.workflows.formulas import FoundFormulas
from matchkit.workflows.predicting import Formula
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import Wanted, wanted_spectrum

AT_MOST = 3  # recipes that a picture can hold


def compare(opened: OpenShop, target: str = "") -> Any:
    """The form; `target` is the colour of the shop's list that it starts with."""
    return begin.opened_form(opened, lambda: CompareForm(opened, target).box)


class CompareForm:
    """The form's widgets, and what was found and compared last."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.formulas: tuple[Candidate, ...] = ()
        self.compared: RecipesCompared | None = None
        self.problems, self.results = ui.area(), ui.area()
        self.told, self.saved, self.sheet = ui.area(), ui.area(), ui.area()
        self.picker = TargetPicker(opened, start, lab=False)
        first = opened.shop.lights[0]
        self.lights = {
            light: ui.tick(words, light in opened.shop.lights)
            for words, light in light_options(opened.shop)
            if light != first
        }
        self.run = ui.Runner(
            "Find formulas to compare", self._work, self._answer, self.problems, "sets of inks"
        )
        self.ticks: list[Any] = []
        self.list = ui.below()
        self.rows = FormulaRows(opened, "percent")
        self.lots = ink_history.lots_tick(opened)
        self.look = ui.button("Compare under the lights", self.show, self.problems, main=True)
        self.save = ui.button("Save the customer's sheet", self.write, self.problems)
        self.save.disabled = True
        ui.on_change(
            [*self.picker.changing(), *self.lights.values(), *self.rows.changing(), self.lots],
            self._aged,
        )
        self.box = ui.form(
            ui.section("1. The colour", self.picker.box),
            ui.section(
                "2. The lights",
                w.HTML(f"<p>Matched under {light_words(first)}, seen under these too:</p>"),
                ui.row(*self.lights.values()),
            ),
            ui.section(
                f"3. The formulas, at most {AT_MOST}",
                self.lots,
                self.run.box,
                self.told,
                self.list,
                ui.folded("a formula of my own", self.rows.box),
            ),
            ui.section(
                "4. Side by side",
                ui.row(self.look, self.save),
                self.problems,
                self.results,
                self.saved,
                self.sheet,
            ),
            name="compare",
        )

    def show(self) -> None:
        """Compare what is ticked, and the formula written by hand."""
        recipes = self._recipes()
        session = self.opened.session(use_lots=self.lots.value)
        self.compared = look(session, self._wanted(session), recipes)
        self.saved.value = self.sheet.value = ""
        self.save.disabled = False
        ui.put(self.results, [*session.notices, *comparison_parts(self.compared)])

    def write(self) -> None:
        """Save the customer's sheet and the shop's copy, and show the first ready to print."""
        if self.compared is None:
            raise InputError("nothing was compared yet")
        page, own = (comparison_page(self.compared, shop_copy=own) for own in (False, True))
        paths = [keep(each.title, ".html", each.html).resolve() for each in (page, own)]
        ui.tell(self.saved, f"Saved: {paths[0]}, and with the formulas {paths[1]}", "done")
        ui.put(self.sheet, [page])

    def _aged(self) -> None:
        """What is in sight no longer belongs to the entries."""
        self.run.aged()
        for place in (self.results, self.problems, self.saved, self.sheet):
            place.value = ""
        self.save.disabled = True

    def _wanted(self, session: Session) -> Wanted:
        others = [light for light, box in self.lights.items() if box.value]
        if not others:
            raise InputError("one light tells nothing about metamerism; tick another one")
        name, R = self.picker.spectrum()
        return wanted_spectrum(session, name, R, lights=[session.settings.lights[0], *others])

    def _recipes(self) -> list[Formula]:
        chosen = []
        if any(field.text.value.strip() for field in self.rows.amounts):
            chosen.append(replace(self.rows.formula(), name="my formula"))
        for k, (tick, each) in enumerate(zip(self.ticks, self.formulas, strict=True), start=1):
            if tick.value:
                chosen.append(formula_of(f"formula {k}", each))
        if not chosen:
            raise InputError("nothing to compare: find formulas and tick some, or write your own")
        if len(chosen) > AT_MOST:
            raise InputError(f"{len(chosen)} formulas are chosen; {AT_MOST} fit beside each other")
        return chosen

    def _work(self) -> Callable[..., FoundFormulas]:
        session = self.opened.session(use_lots=self.lots.value)
        search = partial(find_formulas, session, self._wanted(session))
        return lambda progress: search(progress=progress)

    def _answer(self, found: FoundFormulas) -> None:
        self.formulas = found.match.formulas
        start = two_that_hide(self.formulas)
        self.ticks = [
            ui.tick(f"formula {k + 1}: {shares(f)}", k in start)
            for k, f in enumerate(self.formulas)
        ]
        for tick in self.ticks:
            tick.add_class("mk-line")
        ui.on_change(self.ticks, self._aged)
        self._aged()
        ui.put(self.told, reach_parts(found))
        self.list.children = self.ticks


def two_that_hide(formulas: Sequence[Candidate]) -> list[int]:
    """The first two that are not mostly clear, or the first two."""
    hiding = [k for k, each in enumerate(formulas) if not each.mostly_clear]
    return (hiding if len(hiding) > 1 else list(range(len(formulas))))[:2]
