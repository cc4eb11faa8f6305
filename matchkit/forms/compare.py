"""Formulas beside a target under every light that matters."""

from collections.abc import Callable, Sequence
from datetime import date
from functools import partial
from typing import Any

import ipywidgets as w
import numpy as np
from numpy.typing import NDArray

from matchkit.errors import InputError
from matchkit.forms.begin import opened_form
from matchkit.forms.formulas import is_mostly_clear, shares
from matchkit.forms.lots import Today, by_the_book, counted_on, lots_tick
from matchkit.forms.parts import (
    Runner,
    alert,
    area,
    button,
    folded,
    form,
    on_change,
    put,
    row,
    section,
    tell,
)
from matchkit.forms.pictures import drawn
from matchkit.forms.rows import FormulaRows
from matchkit.forms.shops import OpenShop, fit_of, keep
from matchkit.forms.targets import TargetPicker, light_options, light_words
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.recipe import weigh_out
from matchkit.matching.compare import Comparison, blame
from matchkit.matching.compare import compare as beside
from matchkit.matching.match import Match, fractions_for, odds_of
from matchkit.matching.match import match as find_formulas
from matchkit.matching.rank import Candidate, weighed
from matchkit.matching.rank import is_mostly_clear as mostly_clear
from matchkit.matching.solve import spectral_target
from matchkit.paper.compare_sheet import comparison_html
from matchkit.plots.charts import light_bars, spectra, swatches
from matchkit.report.parts import Page, Part, Table

__all__ = ["CompareForm", "Recipe", "compare", "compare_parts"]

Array = NDArray[np.float64]
Recipe = tuple[str, Palette, Array]  # its name, its inks, their shares

AT_MOST = 3  # recipes that a picture can hold
BATCH_G = 1000.0  # what chance and cost on the customer's sheet are told for


def compare(opened: OpenShop, target: str = "") -> Any:
    """The form; `target` is the colour of the shop's list that it starts with."""
    return opened_form(opened, lambda: CompareForm(opened, target).box)


class CompareForm:
    """Its widgets, and what was found and compared last."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.today = Today(opened=opened, lots={}, words=())
        self.found: Match | None = None
        self.page: Page | None = None
        self.sheet = area()
        self.problems, self.results, self.saved = alert(), area(), area()
        self.picker = TargetPicker(opened, start, lab=False)
        first = opened.shop.lights[0]
        self.lights = {
            light: w.Checkbox(description=words, value=light in opened.shop.lights, indent=False)
            for words, light in light_options(opened.shop)
            if light != first
        }
        self.run = Runner(
            "Find formulas to compare", self._work, self._answer, self.problems, "sets of inks"
        )
        self.ticks: list[Any] = []
        self.list = w.VBox([])
        self.rows = FormulaRows(opened, "percent")
        self.lots = lots_tick(opened)
        self.look = button("Compare under the lights", self.show, self.problems, main=True)
        self.save = button("Save the customer's sheet", self.write, self.problems)
        self.save.disabled = True
        on_change(
            [*self.picker.changing(), *self.lights.values(), *self.rows.changing(), self.lots],
            self._aged,
        )
        self.box = form(
            section("1. The colour", self.picker.box),
            section(
                "2. The lights",
                w.HTML(f"<p>Matched under {light_words(first)}, seen under these too:</p>"),
                row(*self.lights.values()),
            ),
            section(
                f"3. The formulas, at most {AT_MOST}",
                self.lots,
                self.run.box,
                self.list,
                folded("a formula of my own", self.rows.box),
            ),
            section(
                "4. Side by side",
                row(self.look, self.save),
                self.problems,
                self.results,
                self.saved,
                self.sheet,
            ),
            name="compare",
        )

    def show(self) -> None:
        """Compare what is ticked, and the formula written by hand."""
        self.today = by_the_book(self.opened, learning=self.lots.value)
        recipes = self._recipes()
        name, R = self.picker.spectrum()
        lights, opened = self._lights(), self.today.opened
        shown = [*counted_on(self.today.words), *compare_parts(opened, name, R, recipes, lights)]
        self.page = customer_page(opened, name, R, recipes, lights)
        self.saved.value = self.sheet.value = ""
        self.save.disabled = False
        put(self.results, shown)

    def write(self) -> None:
        """Save the customer's sheet, and show it ready to print."""
        if self.page is None:
            raise InputError("nothing was compared yet")
        path = keep(self.page.title, ".html", self.page.html)
        tell(self.saved, f"Saved: {path.resolve()}", "done")
        put(self.sheet, [self.page])

    def _aged(self) -> None:
        """What is in sight no longer belongs to the entries."""
        for place in (self.results, self.problems, self.saved, self.sheet):
            place.value = ""
        self.save.disabled = True

    def _lights(self) -> list[str]:
        others = [light for light, box in self.lights.items() if box.value]
        if not others:
            raise InputError("one light tells nothing about metamerism; tick another one")
        return [self.opened.shop.lights[0], *others]

    def _recipes(self) -> list[Recipe]:
        formulas = self.found.formulas if self.found else ()
        chosen = [
            recipe_of(self.today.opened, f"formula {k}", each)
            for k, (tick, each) in enumerate(zip(self.ticks, formulas, strict=True), start=1)
            if tick.value
        ]
        if any(field.text.value.strip() for field in self.rows.amounts):
            palette, amounts = self.rows.read(self.today.opened)
            chosen.append(("my formula", palette, amounts / amounts.sum()))
        if not chosen:
            raise InputError("nothing to compare: find formulas and tick some, or write your own")
        if len(chosen) > AT_MOST:
            raise InputError(f"{len(chosen)} formulas are chosen; {AT_MOST} fit beside each other")
        return chosen

    def _work(self) -> Callable[[Callable[[int, int], None]], Match]:
        name, target = self.picker.read(0.0)
        now = by_the_book(self.opened, learning=self.lots.value).opened
        search = partial(find_formulas, now.shop, now.fits, target, name=name)
        return lambda progress: search(progress=progress)

    def _answer(self, found: Match) -> None:
        self.found = found
        start = two_that_hide(self.opened, found.formulas)
        self.ticks = [
            w.Checkbox(description=f"formula {k + 1}: {shares(f)}", value=k in start, indent=False)
            for k, f in enumerate(found.formulas)
        ]
        for tick in self.ticks:
            tick.add_class("mk-line")
        on_change(self.ticks, self._aged)
        self._aged()
        self.list.children = self.ticks


def recipe_of(opened: OpenShop, name: str, formula: Candidate) -> Recipe:
    """A formula as a recipe to compare."""
    palette = fit_of(opened, formula.inks[0]).palette
    return name, palette, fractions_for(palette, formula.inks, formula.grams)


def two_that_hide(opened: OpenShop, formulas: Sequence[Candidate]) -> list[int]:
    """The first two that are not mostly clear, or the first two."""
    bodied = [k for k, each in enumerate(formulas) if not is_mostly_clear(opened, each)]
    return (bodied if len(bodied) > 1 else list(range(len(formulas))))[:2]


def compare_parts(
    opened: OpenShop, name: str, target_R: Array, recipes: Sequence[Recipe], lights: Sequence[str]
) -> list[Part]:
    """Swatches and numbers under each light, the curves, and which ink is to blame."""
    shop = opened.shop
    shown = [(each, reflectance(palette, c)) for each, palette, c in recipes]
    seen = beside(target_R, shown, lights=lights, observer=shop.observer)
    told = "; ".join(
        f"{t.name}: worst under {seen.light_names[t.worst]}, dE00 {t.de00[t.worst]:.2f}"
        for t in seen.samples
    )
    tall = 0.8 + 0.95 * len(lights)
    parts: list[Part] = [
        f"{name}. {told}.",
        drawn(lambda ax: swatches(ax, seen), f"Swatches under each light. {told}", 4.6, tall),
        drawn(
            lambda ax: light_bars(ax, seen, tolerance_de00=shop.tolerance_de00),
            f"dE00 under each light. {told}",
            4.6,
            tall,
        ),
        _numbers(seen),
        drawn(lambda ax: spectra(ax, seen), "Reflectance of the target and the formulas"),
    ]
    sheer = [name for name, palette, c in recipes if mostly_clear(palette, c)]
    if sheer:
        parts.append(
            f"Mostly clear: {', '.join(sheer)}. Such a film lets the ground show: see it on the"
            " garment."
        )
    return [*parts, *_blamed(seen, recipes)]


def customer_page(
    opened: OpenShop, name: str, target_R: Array, recipes: Sequence[Recipe], lights: Sequence[str]
) -> Page:
    """The sheet that helps a customer to choose; formulas are not on it."""
    shop = opened.shop
    target = spectral_target(target_R, lights, shop.observer)
    candidates = []
    for _, palette, c in recipes:
        found = next(f for f in opened.fits.values() if f.palette is palette)
        grams = weigh_out(c, BATCH_G, shop.resolution_g)
        candidates.append(weighed(palette, grams, target, odds=odds_of(found, target, shop)))
    shown = [(each, made.R) for (each, _, _), made in zip(recipes, candidates, strict=True)]
    sheet = comparison_html(
        beside(target_R, shown, lights=lights, observer=shop.observer),
        candidates,
        target_name=name,
        tolerance_de00=shop.tolerance_de00,
        shop=shop.name,
        date=date.today().isoformat(),
    )
    return Page(title=f"Comparison {name}", html=sheet)


def _numbers(seen: Comparison) -> Table:
    rows = []
    for sample in seen.samples:
        for k, light in enumerate(seen.light_names):
            index = f"{sample.metamerism[k]:.2f}" if k else "-"
            shift = "-" if light == "D65" else f"{sample.inconstancy[k]:.2f}"
            first = sample.name if not k else ""
            row_ = (first, light, f"{sample.de00[k]:.2f}", index, shift, sample.words[k])
            rows.append(row_)
    head = ("Formula", "Light", "dE00", "Metamerism index", "Own shift", "Beside the target")
    return Table(head=head, rows=tuple(rows), words=(1, 5))


def _blamed(seen: Comparison, recipes: Sequence[Recipe]) -> list[Part]:
    """For each formula that parts from the target: which ink makes it so."""
    lines: list[Part] = []
    for sample, (name, palette, c) in zip(seen.samples, recipes, strict=True):
        if not sample.worst:
            continue
        worst = seen.lights[sample.worst]
        swaps = blame(
            palette, c, seen.target_R, first=seen.lights[0], test=worst, observer=seen.observer
        )
        if swaps:
            lines.append(
                f"{name}: {swaps[0].ink} makes the difference under "
                f"{seen.light_names[sample.worst]}. With {swaps[0].instead} instead, matched "
                f"anew, the index there falls from {swaps[0].index + swaps[0].gain:.2f} to "
                f"{swaps[0].index:.2f}."
            )
    return lines
