"""Weigh a formula of one's own, old or new: its colour foretold, and a ticket for it."""

from typing import Any

import numpy as np

from matchkit.errors import InputError
from matchkit.files.recipe import read_recipe
from matchkit.forms.begin import opened_form
from matchkit.forms.formulas import formula_parts
from matchkit.forms.lots import Today, by_the_book, counted_on, lots_tick
from matchkit.forms.parts import (
    alert,
    amount_field,
    area,
    boxed,
    button,
    choice,
    form,
    on_change,
    put,
    read,
    row,
    section,
)
from matchkit.forms.rows import FormulaRows
from matchkit.forms.shops import EXAMPLE_BATCH, OpenShop, listed_targets
from matchkit.forms.tickets import Batch, TicketPart
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.recipe import weigh_out
from matchkit.matching.match import odds_of
from matchkit.matching.probability import chance_text, most_sensitive
from matchkit.matching.rank import Candidate, weighed
from matchkit.matching.solve import Target, spectral_target
from matchkit.report.parts import Part

__all__ = ["WeighForm", "weigh", "weigh_parts", "weighed_out"]

NO_TARGET = "none: the formula is right as it is"


def weigh(opened: OpenShop, start: str = EXAMPLE_BATCH) -> Any:
    """The form; `start` is the saved batch that it starts with, if there is one."""
    return opened_form(opened, lambda: WeighForm(opened, start).box)


class WeighForm:
    """Its widgets, and the batch that was looked at last."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.today = Today(opened=opened, lots={}, words=())
        self.problems, self.results = alert(), area()
        self.rows = FormulaRows(opened, "percent", start)
        self.grams = amount_field("Batch, grams", "500", most=1e6)
        self.targets = listed_targets(opened)
        self.target = choice("Target", [NO_TARGET, *self.targets], NO_TARGET)
        self.look = button("What will it look like?", self.foretell, self.problems, main=True)
        self.ticket = TicketPart(opened, self.batch, 3)
        self.lots = lots_tick(opened)
        on_change([*self.rows.changing(), self.grams.text, self.target, self.lots], self._aged)
        self.box = form(
            section("1. The formula", self.rows.box),
            section(
                "2. The batch",
                row(self.grams.box, boxed(self.target)),
                self.lots,
                self.look,
                self.problems,
                self.results,
            ),
            self.ticket.box,
            name="weigh",
        )

    def batch(self) -> Batch:
        """What the entries say, weighed out."""
        faults: list[str] = []
        for entry in (self.rows.read, lambda: read(self.grams)):
            try:
                entry()
            except InputError as error:
                faults += error.faults
        if faults:
            raise InputError(faults)
        self.today = by_the_book(self.opened, learning=self.lots.value)
        palette, amounts = self.rows.read(self.today.opened)
        R = self.targets.get(self.target.value)
        name = "" if R is None else self.target.value
        candidate, target = weighed_out(self.today.opened, palette, amounts, self.grams.value, R)
        return name, target if R is not None else None, candidate

    def foretell(self) -> None:
        """Show the colour that the formula will have, and its weights."""
        _, target, candidate = self.batch()
        shown = weigh_parts(self.today.opened, candidate, target)
        put(self.results, [*counted_on(self.today.words), *shown])

    def _aged(self) -> None:
        self.results.value = self.problems.value = ""
        self.ticket.clear()


def weigh_parts(opened: OpenShop, candidate: Candidate, target: Target | None) -> list[Part]:
    """A batch: its weights, its colour, and which ink to pour with care."""
    shop = opened.shop
    about = target or spectral_target(candidate.R, shop.lights, shop.observer)
    L, a, b = candidate.lab[0]
    lines: list[Part] = [
        f"Foretold under {shop.lights[0]}: L* {L:.1f}, a* {a:.1f}, b* {b:.1f}. "
        + _beside(candidate, target)
    ]
    lines += [*formula_parts(opened, about, candidate, "this formula", pictures=target is not None)]
    found = next(f for f in opened.fits.values() if set(candidate.inks) <= set(f.palette.names))
    grams = np.zeros(len(found.palette.inks))
    for name, g in zip(candidate.inks, candidate.grams, strict=True):
        grams[found.palette.index(name)] = g
    touchy = most_sensitive(found.palette, grams, about)
    lines.append(
        f"Pour {touchy.ink} with most care: {touchy.step_g:.2g} g too much moves the colour by "
        f"dE00 {touchy.de00:.2f}."
    )
    return lines


def example_batch(opened: OpenShop, batch_g: float) -> tuple[Candidate, Target]:
    """The shop's example batch at another size, and its target."""
    from matchkit.files.spectrum import read_spectrum

    written = read_recipe(opened.folder / "example" / "weighed.csv")
    palette = next(f.palette for f in opened.fits.values())
    amounts = np.zeros(len(palette.inks))
    for name, share in zip(written.inks, written.fractions, strict=True):
        amounts[palette.index(name)] = share
    R = read_spectrum(opened.folder / "example" / "target.csv")[0].R
    return weighed_out(opened, palette, amounts, batch_g, R)


def weighed_out(
    opened: OpenShop, palette: Palette, amounts: Any, batch_g: float, R: Any
) -> tuple[Candidate, Target]:
    """`amounts` (n_ink,) as a batch, and the target `R` (n_wl,): None is what they look like."""
    shop = opened.shop
    c = amounts / amounts.sum()
    found = next(f for f in opened.fits.values() if f.palette is palette)
    about = reflectance(palette, c) if R is None else R
    target = spectral_target(about, shop.lights, shop.observer)
    grams = weigh_out(c, batch_g, shop.resolution_g)
    return weighed(palette, grams, target, odds=odds_of(found, target, shop)), target


def _beside(candidate: Candidate, target: Target | None) -> str:
    if target is None:
        return "No target was named, so nothing is said about how near it is."
    chance = chance_text(candidate.chance_in_tolerance or 0.0)
    return (
        f"That is dE00 {candidate.de00[0]:.2f} from the target; the chance to be within "
        f"tolerance at the first drawdown is {chance}."
    )
