"""Know an ink: its ladder, its K/S, how well the fit meets its drawdowns, and a slider."""

from typing import Any

import ipywidgets as w
import numpy as np
from matplotlib.axes import Axes

from matchkit.colorimetry.tristimulus import Lab, hex_colour
from matchkit.errors import InputError
from matchkit.files.fitted import write_fits
from matchkit.fitting.fit import Fit, ink_errors
from matchkit.forms.begin import first_of, opened_form, quiet
from matchkit.forms.parts import (
    alert,
    area,
    boxed,
    button,
    choice,
    form,
    put,
    row,
    safe,
    section,
    tell,
)
from matchkit.forms.pictures import drawn, flat, patches
from matchkit.forms.shops import OpenShop, fit_of, is_demo
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.shop import Drawdown
from matchkit.matching.match import fit_shop
from matchkit.plots.charts import ink_optics, residuals
from matchkit.report.parts import Part, Picture, Table

__all__ = ["InksForm", "fit_parts", "ink_parts", "inks", "ladder_of", "tint_parts"]


def inks(opened: OpenShop, ink: str = "") -> Any:
    """The form; `ink` is the one that it starts with."""
    return opened_form(opened, lambda: InksForm(opened, ink).box)


class InksForm:
    """Its widgets."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.problems, self.about, self.tint = alert(), area(), area()
        self.kept, self.whole = area(), area()
        names = [
            ink.name for found in opened.fits.values() for ink in found.palette.inks
            if ink.role != "white"
        ]  # fmt: skip
        if not names:
            raise InputError("only the white is measured; draw the others down and let down in it")
        first, note = first_of(names, start)
        self.ink = choice("Ink", names, first)
        self.percent = w.FloatLogSlider(
            value=10, base=10, min=-1, max=2, step=0.02, readout_format=".1f",
            description="Percent of it in the white", continuous_update=True,
        )  # fmt: skip
        self.ink.observe(safe(self.look, self.problems), names="value")
        self.percent.observe(safe(self.slide, self.problems), names="value")
        self.residuals = button("How good is the whole fit?", self.judge, self.problems)
        self.keep = button("Fit again and keep it", self.refit, self.problems)
        self.box = form(
            *quiet(note),
            section("1. Let it down", row(boxed(self.ink), boxed(self.percent)), self.tint),
            section("2. What was drawn down, and what the fit makes of it", self.about),
            section(
                "3. The whole series",
                row(self.residuals, self.keep),
                self.kept,
                self.problems,
                self.whole,
            ),
            name="inks",
        )
        self.look()

    def look(self) -> None:
        """Show the chosen ink."""
        put(self.about, ink_parts(self.opened, self.ink.value))
        self.slide()

    def slide(self) -> None:
        """Show the tint that the slider says."""
        put(self.tint, tint_parts(self.opened, self.ink.value, self.percent.value))

    def judge(self) -> None:
        """Show the residuals of the series."""
        put(self.whole, fit_parts(fit_of(self.opened, self.ink.value)))

    def refit(self) -> None:
        """Fit the shop's inks anew and keep the result in its folder."""
        if is_demo(self.opened):
            tell(self.kept, "The demo shop's fit is kept already; this is for your own shop.")
            return
        write_fits(self.opened.folder, fit_shop(self.opened.shop))
        tell(self.kept, f"Kept in {self.opened.folder}/fit.json; it opens faster now.", "done")


def tint_parts(opened: OpenShop, ink: str, percent: float) -> list[Part]:
    """An ink let down in the white at some percent: its colour now, in words and as a patch."""
    found = fit_of(opened, ink)
    palette = found.palette
    c = np.zeros(len(palette.inks))
    c[_white(palette)] = 1 - percent / 100
    c[palette.index(ink)] += percent / 100
    R = reflectance(palette, c)
    L, a, b = Lab(R, found.light, found.observer)
    words = f"{percent:.3g} % {ink} in the white: L* {L:.1f}, a* {a:.1f}, b* {b:.1f}"
    return [flat(hex_colour(R, found.light, found.observer), words), words + "."]


def ink_parts(opened: OpenShop, ink: str) -> list[Part]:
    """An ink's ladder, its optics with the measured points, and how well they are met."""
    found = fit_of(opened, ink)
    rungs = ladder_of(opened, ink)
    hexes = [hex_colour(d.R, found.light, found.observer) for _, d in rungs]
    names = [f"{percent:.3g} %" for percent, _ in rungs]
    drawdowns = [d for d in opened.shop.hiding if ink in d.inks]
    mean, most = ink_errors(found)[ink]
    ladder = [_ladder(hexes, names, f"{ink}, let down in the white")] if rungs else []
    return [
        *ladder,
        drawn(
            lambda ax: ink_optics(ax, found.palette, ink, drawdowns),
            f"K/S of {ink} alone and let down, and what it scatters",
            height_in=4.2,
        ),
        f"{ink}: its {len(drawdowns)} drawdowns are met to dE00 {mean:.2f} on average, "
        f"{most:.2f} at worst.",
    ]


def fit_parts(found: Fit) -> list[Part]:
    """How well the theories foretell what they have not seen, and each drawdown's residual."""
    rows = tuple((s.model, f"{s.de00_median:.2f}", f"{s.de00_p95:.2f}") for s in found.scores)
    told = [f"Look at this drawdown: {line}" for line in found.suspects]
    told += [f"Not to be trusted: {line}" for line in found.cautions]
    return [
        Table(
            head=("Theory", "dE00, middle one", "95 in 100 below"),
            rows=rows,
            caption="Drawdowns that the fit had not seen",
        ),
        f"Kept: {found.palette.model}.",
        drawn(lambda ax: residuals(ax, found), "Residual of each drawdown", 6.4, 3.2, wide=True),
        *told,
    ]


def ladder_of(opened: OpenShop, ink: str) -> list[tuple[float, Drawdown]]:
    """The drawdowns of an ink alone or in white alone: percent and drawdown, weak to strong."""
    palette = fit_of(opened, ink).palette
    white = palette.names[_white(palette)]
    rungs = []
    for drawdown in opened.shop.hiding:
        shares = dict(zip(drawdown.inks, drawdown.fractions, strict=True))
        if ink in shares and set(shares) <= {ink, white}:
            rungs.append((100 * shares[ink], drawdown))
    return sorted(rungs, key=lambda rung: rung[0])


def _white(palette: Palette) -> int:
    return next(i for i, ink in enumerate(palette.inks) if ink.role == "white")


def _ladder(hexes: list[str], names: list[str], title: str) -> Picture:
    def draw(ax: Axes) -> Axes:
        return patches(ax, hexes, names, title)

    return drawn(draw, f"{title}: {', '.join(names)}", 6.4, 1.3, wide=True)
