"""Know an ink: its letdowns, its K/S, how well the fit meets its drawdowns, and a slider."""

from typing import Any

import ipywidgets as w

from matchkit.errors import InputError
from matchkit.forms import parts as ui
from matchkit.forms.begin import first_of, opened_form, quiet
from matchkit.forms.shops import AGAIN, OpenShop, fit_of, is_demo
from matchkit.inks.shop import Drawdown
from matchkit.report.inks import fit_parts, ink_parts, tint_parts
from matchkit.workflows.fitting_inks import InksFitted, fit_inks, keep_fits, letdown_series

THEORY_WORDS = (
    ("the theory that predicts unseen drawdowns best here", "best"),
    ("two-constant theory: each ink absorbs and scatters", "two-constant"),
    ("single-constant theory: all scatter alike, as tints in much white do", "single-constant"),
)


def inks(opened: OpenShop, ink: str = "") -> Any:
    """The form; `ink` is the one that it starts with."""
    return opened_form(opened, lambda: InksForm(opened, ink).box)


class InksForm:
    """The form's widgets."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.problems, self.about, self.tint = ui.area(), ui.area(), ui.area()
        self.kept, self.whole = ui.area(), ui.area()
        names = [
            ink.name for found in opened.fits.values() for ink in found.palette.inks
            if ink.role != "white"
        ]  # fmt: skip
        if not names:
            raise InputError("only the white is measured; draw the others down and let down in it")
        first, note = first_of(names, start)
        self.ink = ui.choice("Ink", names, first)
        self.percent = w.FloatLogSlider(
            value=10, base=10, min=-1, max=2, step=0.02, readout_format=".1f",
            description="Percent of it in the white", continuous_update=True,
        )  # fmt: skip
        self.ink.observe(ui.safe(self.look, self.problems), names="value")
        self.percent.observe(ui.safe(self.slide, self.problems), names="value")
        self.residuals = ui.button("How good is the whole fit?", self.judge, self.problems)
        self.theory = ui.choice("How inks mix", THEORY_WORDS, opened.session().theory)
        self.keep = ui.button("Fit again and keep it", self.refit, self.problems)
        self.box = ui.form(
            *quiet(note),
            ui.section(
                "1. Let it down", ui.row(ui.boxed(self.ink), ui.boxed(self.percent)), self.tint
            ),
            ui.section("2. What was drawn down, and what the fit predicts for it", self.about),
            ui.section(
                "3. The whole series",
                self.residuals,
                ui.row(ui.boxed(self.theory), self.keep),
                self.kept,
                self.problems,
                self.whole,
            ),
            name="inks",
        )
        self.look()

    def look(self) -> None:
        """Show the chosen ink."""
        ink = self.ink.value
        ui.put(self.about, ink_parts(fit_of(self.opened, ink), self.opened.shop.like_samples, ink))
        self.slide()

    def slide(self) -> None:
        """Show the tint that the slider says."""
        ink = self.ink.value
        ui.put(self.tint, tint_parts(fit_of(self.opened, ink), ink, self.percent.value))

    def judge(self) -> None:
        """Show how good the fit is."""
        ui.put(self.whole, fit_parts(InksFitted(fits=self.opened.fits, films={})))

    def refit(self) -> None:
        """Fit the inks anew by the theory that was chosen, and keep that in the shop's folder."""
        if is_demo(self.opened):
            ui.tell(self.kept, "The demo shop's fit is kept already; this is for your own shop.")
            return
        session = self.opened.session()
        found = fit_inks(session, self.theory.value)
        keep_fits(session, found)
        ui.tell(self.kept, f"Kept in {self.opened.folder}/fit.json. {AGAIN}", "done")
        ui.put(self.whole, [*session.notices, *fit_parts(found)])


def ladder_of(opened: OpenShop, ink: str) -> list[tuple[float, Drawdown]]:
    """The drawdowns of an ink alone or in white alone: percent and drawdown, weak to strong."""
    return letdown_series(fit_of(opened, ink), opened.shop.like_samples, ink)
