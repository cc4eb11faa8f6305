"""Does it cover?  A formula over each garment, in one stroke or two, with an underbase."""

from collections.abc import Callable
from typing import Any

from matchkit.errors import InputError
from matchkit.forms import begin, ink_history
from matchkit.forms import parts as ui
from matchkit.forms.rows import FormulaRows
from matchkit.forms.shops import EXAMPLE_BATCH, OpenShop, listed_targets
from matchkit.matching.prints import film_fits, has_films
from matchkit.report.parts import Part
from matchkit.report.printed import cover_parts
from matchkit.workflows.predicting import Strokes
from matchkit.workflows.predicting import cover as over_garments
from matchkit.workflows.wanted import wanted_listed

NO_TARGET = "the formula's own colour when it hides"
MOST_UM = 1000.0


def cover(opened: OpenShop, start: str = EXAMPLE_BATCH) -> Any:
    """The form; `start` is the saved batch that it starts with, if there is one."""
    return begin.opened_form(opened, lambda: CoverForm(opened, start).box)


class CoverForm:
    """The form's widgets."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.problems, self.results = ui.area(), ui.area()
        self.rows = FormulaRows(opened, "percent", start)
        targets = [NO_TARGET, *listed_targets(opened)]
        self.target = ui.choice("It should look like", targets, NO_TARGET)
        self.stroke = ui.amount_field("One stroke, um", "50", most=MOST_UM)
        self.underbase = ui.amount_field(
            "Underbase, um (empty: none)", "50", most=MOST_UM, empty=True
        )
        self.lots = ink_history.lots_tick(opened)
        self.run = ui.Runner(
            "Does it cover?", self._work, self._answer, self.problems, "garments looked at"
        )
        texts = [self.stroke.text, self.underbase.text]
        ui.on_change([*self.rows.changing(), self.target, self.lots, *texts], self._aged)
        self.box = ui.form(
            *begin.quiet(_no_films(opened)),
            ui.section("1. The formula", self.rows.box),
            ui.section(
                "2. The print", ui.boxed(self.target), ui.row(self.stroke.box, self.underbase.box)
            ),
            ui.section(
                "3. Over each garment", self.lots, self.run.box, self.problems, self.results
            ),
            name="cover",
        )

    def _work(self) -> Callable[[Callable[[int, int], None]], list[Part]]:
        """Read the form; what is wrong with it is told before any work begins."""
        formula, (stroke_um, underbase_um) = ui.read_all(
            self.rows.formula, lambda: ui.read(self.stroke, self.underbase)
        )
        strokes = Strokes(stroke_um=stroke_um, underbase_um=underbase_um)
        target, use_lots = self.target.value, self.lots.value

        def work(_: Callable[[int, int], None]) -> list[Part]:
            session = self.opened.session(use_lots=use_lots)
            wanted = None if target == NO_TARGET else wanted_listed(session, target)
            found = over_garments(session, formula, strokes, wanted=wanted)
            return [*session.notices, *cover_parts(found)]

        return work

    def _answer(self, parts: list[Part]) -> None:
        ui.put(self.results, parts)

    def _aged(self) -> None:
        self.run.aged()
        self.results.value = self.problems.value = ""


def _no_films(opened: OpenShop) -> str:
    """What is to be drawn before a press on the button can tell anything."""
    if has_films(opened.shop):
        return ""
    try:
        film_fits(opened.shop)
    except InputError as error:
        return str(error)
    return ""
