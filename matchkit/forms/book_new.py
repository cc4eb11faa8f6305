"""The folded part of the book's form that begins a job: a colour, its formula, a batch."""

from collections.abc import Callable, Mapping

import ipywidgets as w

from matchkit.book.entries import log_match
from matchkit.book.lessons import fit_key
from matchkit.book.store import Book
from matchkit.book.work import as_poured, prediction
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.forms.formulas import is_mostly_clear
from matchkit.forms.lots import LEARNED
from matchkit.forms.parts import (
    Field,
    alert,
    amount_field,
    area,
    boxed,
    button,
    choice,
    read,
    row,
    tell,
)
from matchkit.forms.shops import OpenShop, saved_recipe, saved_recipes
from matchkit.forms.targets import TargetPicker
from matchkit.inks.shop import Shop
from matchkit.matching.match import match, palette_for
from matchkit.matching.rank import Candidate
from matchkit.matching.solve import Target

__all__ = ["NewPart"]

FOUND = "the best one, found now"


class NewPart:
    """`who` signs; `show` is told the number of the batch that was begun."""

    def __init__(
        self, opened: OpenShop, who: Callable[[], str], show: Callable[[int], None]
    ) -> None:
        self.opened, self.signed, self.show = opened, who, show
        self.problems, self.notes = alert(), area()
        self.target = TargetPicker(opened)
        self.saved = saved_recipes(opened)
        self.formula = choice("Formula", [FOUND, *self.saved], FOUND)
        self.grams = amount_field("Batch, grams", "1000", most=1e6)
        self.lots = w.Checkbox(value=True, description=LEARNED, indent=False)
        self.name = Field("Name of the colour (or empty)", "", str, short=False)
        self.job = Field("Job", "", str, short=False)
        self.customer = Field("Customer", "", str, short=False)
        self.due = Field("Due", "", str)
        self.due.text.placeholder = "2026-03-30"
        self.write = button("Begin this job", self.begin, self.problems, main=True)
        self.box = w.VBox(
            [
                self.target.box,
                row(boxed(self.formula), self.grams.box),
                self.lots,
                row(self.name.box, self.job.box, self.customer.box, self.due.box),
                self.write,
                self.problems,
                self.notes,
            ]
        )

    def begin(self) -> None:
        """Write the target, the formula and the batch down."""
        self.notes.value = ""
        (grams,) = read(self.grams)
        session = self.opened.session(use_lots=self.lots.value, who=self.signed())
        held, shop, known = session.open_book(create=True), session.shop, session.learned()
        fits = known.fits
        name, target = self.target.read()
        formula, inks = self._formula(shop, fits, target, grams)
        called = self.name.text.value.strip() or name
        batch = self._log(held, shop, target, formula, inks, called)
        played = [line for line in known.words if line.startswith(inks)]
        self.show(batch)
        tell(self.notes, [f"Begun: batch {batch}.", *played], "done")

    def _formula(
        self, shop: Shop, fits: Mapping[str, Fit], target: Target, grams: float
    ) -> tuple[Candidate, tuple[str, ...]]:
        """The formula as it is poured, mixes by their names, and the inks in it."""
        path = self.saved.get(self.formula.value)
        if path is not None:
            written = saved_recipe(self.opened, path)
            tell(self.notes, written.notes, "done")
            formula, _ = prediction(
                shop, fits, written.inks, written.fractions, batch_g=grams, target=target
            )
            return as_poured(formula, written, shop.resolution_g), written.inks
        found = match(shop, fits, target, batch_g=grams).formulas
        if not found:
            raise InputError("no formula was found with these inks; try fewer limits in inks.csv")
        hiding = [each for each in found if not is_mostly_clear(self.opened, each)]
        best = (hiding or found)[0]
        return best, best.inks

    def _log(
        self,
        held: Book,
        shop: Shop,
        target: Target,
        formula: Candidate,
        inks: tuple[str, ...],
        name: str,
    ) -> int:
        fits = self.opened.fits
        palettes = {series: found.palette for series, found in fits.items()}
        return log_match(
            held,
            shop,
            target,
            formula,
            name=name,
            job=self.job.text.value,
            customer=self.customer.text.value,
            due=self.due.text.value.strip(),
            source="match" if self.formula.value == FOUND else "recipe",
            fit=fit_key(palette_for(palettes, inks)),
        ).batch
