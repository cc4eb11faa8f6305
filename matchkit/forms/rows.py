"""Rows of inks and grams, and fields for targets."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from html import escape
from math import inf
from pathlib import Path
from typing import Any

import ipywidgets as w
import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.tristimulus import hex_colours
from matchkit.errors import InputError, raise_any
from matchkit.files.scale import SCALES, ScaleQuestion
from matchkit.files.text import parse_amount, typed
from matchkit.forms import parts as ui
from matchkit.forms import shops
from matchkit.forms.begin import first_of, quiet
from matchkit.inks.shop import Shop
from matchkit.paper.compare_sheet import light_in_words
from matchkit.workflows.beginning import colour_of_batch
from matchkit.workflows.looking_up import Query, find
from matchkit.workflows.predicting import Formula
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import (
    OTHER_WEIGHT,
    Wanted,
    scale_asked,
    spectra_in,
    wanted_lab,
    wanted_spectrum,
)

NONE = "(none)"
PERCENT, PARTS = "percent by mass", "grams, or parts by mass"
ROWS, FEWEST = 9, 3  # of them, and how many are seen at first
SUM_PERCENT = 0.1  # how far percents may be off 100


def known_inks(opened: shops.OpenShop) -> list[str]:
    """Every ink that was fitted."""
    return [name for found in opened.fits.values() for name in found.palette.names]


class FormulaRows:
    """Up to nine inks with amounts; `unit` is "grams", or "percent", where parts will do too."""

    def __init__(self, opened: shops.OpenShop, unit: str, start: str = "") -> None:
        self.opened, self.unit = opened, unit
        self.saved = shops.saved_recipes(opened, poured=unit == "grams")
        own = "written here by hand"
        self.source = ui.choice("The formula is", [own, *self.saved], own)
        self.inks = [
            ui.choice(f"Ink {k + 1}", [NONE, *known_inks(opened)], NONE) for k in range(ROWS)
        ]
        self.amounts = [
            ui.Field(f"{unit.capitalize()} of ink {k + 1}", "", self._amount) for k in range(ROWS)
        ]
        self.written = ui.choice("Written in", [PERCENT, PARTS], PERCENT)
        free = [ui.boxed(self.written)] if unit == "percent" else []
        self.lines = [
            ui.row(ui.boxed(i), a.box) for i, a in zip(self.inks, self.amounts, strict=True)
        ]
        self.problem, self.told = ui.area(), ui.area()
        # The example is the demo shop's: no other shop misses it.
        missed = start and start != shops.EXAMPLE_BATCH and start not in self.saved
        note = f"No saved batch of this shop is called {start!r}." if missed else ""
        self.box = ui.below(
            *quiet(note), ui.row(ui.boxed(self.source), *free), self.problem, self.told, *self.lines
        )
        self.written.observe(lambda _: self._counted(), names="value")
        self.source.observe(ui.safe(self._take, self.problem), names="value")
        for ink in self.inks:
            ink.observe(lambda _: self._shown(), names="value")
        self._shown()
        if start in self.saved:
            self.source.value = start

    def fill(self, amounts: Mapping[str, float]) -> None:
        """Write a formula into the rows."""
        given = [*amounts.items()][:ROWS] + [(NONE, 0.0)] * max(0, ROWS - len(amounts))
        for (name, amount), ink, field in zip(given, self.inks, self.amounts, strict=True):
            ink.value = name
            field.text.value = typed(amount) if name != NONE else ""

    def formula(self) -> Formula:
        """What was written; InputError with every fault in it."""
        faults, named = [], {}
        for k, (ink, field) in enumerate(zip(self.inks, self.amounts, strict=True), start=1):
            faults += field.look()
            if field.look():
                continue
            amount = field.value
            if ink.value == NONE and amount is not None:
                faults.append(f"ink {k}: an amount without an ink; choose the ink")
            elif ink.value != NONE and amount is None:
                faults.append(f"ink {k}: {ink.value} without an amount; write it, or choose {NONE}")
            elif ink.value in named:
                faults.append(f"ink {k}: {ink.value} is there twice; add the two up")
            elif amount is not None:
                named[ink.value] = amount
        total = sum(named.values())
        if not faults and not total > 0:
            faults.append("the formula is empty: choose an ink and write how much of it")
        elif not faults and self.unit == "percent" and abs(total - 100) > SUM_PERCENT:
            faults.append(
                f"the percents sum to {total:g}; they must sum to 100, or say that they are parts"
            )
        raise_any(faults)
        return Formula(amounts=named, total_g=total if self.unit == "grams" else None)

    def changing(self) -> list[Any]:
        """The widgets that change the formula."""
        return [*self.inks, *(field.text for field in self.amounts)]

    def _counted(self) -> None:
        """Other names for the fields; parts become percents, and percents are parts as well."""
        self.unit = "parts" if self.written.value == PARTS else "percent"
        for k, field in enumerate(self.amounts, start=1):
            field.text.description = f"{self.unit.capitalize()} of ink {k}"
        if self.unit == "percent" and not any(field.look() for field in self.amounts):
            total = sum(field.value or 0.0 for field in self.amounts)
            for field in self.amounts:
                if field.value is not None:
                    field.text.value = typed(100 * field.value / total, 6)

    def _amount(self, text: str) -> float | None:
        if not text.strip():
            return None
        most = 100 if self.unit == "percent" else inf
        amount = parse_amount(text, most=most, beside=[each.text.value for each in self.amounts])
        if amount == 0:
            raise InputError("enter more than 0, or leave it empty")
        return amount

    def _shown(self) -> None:
        """The rows that are filled, and one more."""
        filled = [k for k, ink in enumerate(self.inks) if ink.value != NONE]
        last = max(filled, default=-1) + 1
        for k, line in enumerate(self.lines):
            line.layout.display = None if k < FEWEST or k <= last else "none"

    def _take(self) -> None:
        """Read the saved batch that was chosen."""
        self.told.value = ""
        path = self.saved.get(self.source.value)
        if path is None:
            return
        written = shops.saved_recipe(self.opened, path)
        if len(written.inks) > ROWS:
            raise InputError(
                f"{path.name} holds {len(written.inks)} inks; {ROWS} can be written here"
            )
        ui.tell(self.told, written.notes, "done")
        shares = dict(zip(written.inks, written.fractions, strict=True))
        if self.unit == "percent" or written.grams is None:
            self.fill({name: round(100 * share, 4) for name, share in shares.items()})
        else:
            self.fill(dict(zip(written.inks, written.grams, strict=True)))


OFFERED = ("D65", "D50", "A", "FL2", "FL11", "LED-B3")
HALF = 50  # L*, above which dark words are read better
LIST, FILE, LAB = "from the shop's list", "from a file of mine", "from Lab numbers"
BOOK, PAST = "from a past batch of the book", 200
ONE_LIGHT = "Numbers can be matched under one light only. If there is a sample, measure it."


def light_words(light: str) -> str:
    """A light as a person knows it.

    >>> light_words("A")
    'A (incandescent)'
    """
    words = light_in_words(light)
    return f"{light} ({words})" if words else light


def light_options(shop: Shop) -> list[tuple[str, str]]:
    """The shop's lights, then the usual others, each with its words."""
    return [(light_words(light), light) for light in dict.fromkeys([*shop.lights, *OFFERED])]


class HowRead:
    """How a file that is handed in is to be read: percent or 0-1, and what is a repeat.

    `take` reads the file; it is called again when one of the two is said.
    """

    def __init__(self, take: Callable[[], None], problem: Any) -> None:
        self.take, self.problem, self.scale = take, problem, ""
        self.buttons = w.VBox()
        self.repeats = ui.tick("Average readings named like 'red a', 'red b' or 'red 1/3'")
        self.repeats.observe(ui.safe(take, problem), names="value")
        self.box = ui.below(self.buttons, self.repeats)
        self.new()

    def new(self) -> None:
        """As for a file that nothing is known of."""
        self.scale, self.buttons.children = "", ()
        self.repeats.value = False
        self.offer([])

    def offer(self, names: Sequence[str]) -> None:
        """Repeats can be averaged where there are several names."""
        seen = len(names) > 1 or self.repeats.value
        self.repeats.layout.display = None if seen else "none"

    def asks(self, session: Session, path: Path) -> bool:
        """Whether the file may be percent or 0-1; then two buttons show it in both."""
        asked = scale_asked(session, path)
        self.buttons.children = () if asked is None else (self._question(asked),)
        return asked is not None

    def _question(self, asked: ScaleQuestion) -> Any:
        words = w.HTML(f"<p>Is {escape(asked.file)} in percent, or from 0 to 1?</p>")
        colours = hex_colours(np.array([asked.percent, asked.fraction]), "D65", 10)
        buttons = []
        for scale, colour, L in zip(SCALES, colours, asked.L, strict=True):
            each = ui.button(
                f"{SCALES[scale]}: L* {L:.0f}", partial(self._say, scale), self.problem
            )
            each.style.button_color = colour
            each.style.text_color = "white" if L < HALF else "black"
            buttons.append(each)
        return ui.below(words, ui.row(*buttons))

    def _say(self, scale: str) -> None:
        self.scale = scale
        self.take()


class SpectrumFile:
    """A button that takes a spectrum file, and which of its spectra is meant."""

    def __init__(self, opened: shops.OpenShop, words: str, which: str) -> None:
        self.opened = opened  # a file that was measured otherwise is refused or converted
        self.problem, self.notes = ui.area(), ui.area()
        self.upload = w.FileUpload(accept="", multiple=False, description=words)
        self.names = ui.choice(which, [])
        self.found: dict[str, Array] = {}
        self.how = HowRead(self.take, self.problem)
        self.upload.observe(ui.safe(self._handed, self.problem), names="value")
        self.which = ui.boxed(self.names)
        self._several()
        self.box = ui.below(
            ui.row(ui.boxed(self.upload), self.which), self.how.box, self.notes, self.problem
        )

    def _handed(self) -> None:
        self.how.new()
        self.take()

    def take(self) -> None:
        """Read the file that was handed in; where it may be percent or 0-1, ask."""
        self.found, self.names.options, self.notes.value = {}, [], ""
        self._several()
        if not self.upload.value:
            return
        session = self.opened.session(scale=self.how.scale, repeats=self.how.repeats.value)
        with shops.handed_in(self.upload.value[0]) as path:
            if self.how.asks(session, path):
                return
            spectra = spectra_in(session, path)
        notes = [notice.text for notice in session.notices if notice.code == "reading"]
        self.how.offer([each.name for each in spectra])
        self.found = {each.name: each.readings for each in spectra}
        self.names.options = list(self.found)
        self.names.value = next(iter(self.found))
        self._several()
        ui.tell(self.notes, [self.upload.value[0]["name"] + " was read.", *notes], "quiet")

    def _several(self) -> None:
        """There is something to choose only where a file holds several spectra."""
        self.which.layout.display = None if len(self.names.options) > 1 else "none"

    def empty(self) -> None:
        """As if no file had been handed in."""
        self.upload.value = ()
        self._handed()

    def readings(self) -> tuple[str, Array]:
        """The chosen spectrum: its name and readings (n_readings, n_wl)."""
        if not self.found:
            raise InputError(f"no file was read yet: press {self.upload.description!r} first")
        return self.names.value, self.found[self.names.value]


class TargetPicker:
    """Which colour is wanted.  With `lab` a colour known only as numbers may be typed.

    For a `new` colour a file can be handed in at any time, and a past batch says it too.
    """

    def __init__(
        self, opened: shops.OpenShop, start: str = "", *, lab: bool = True, new: bool = False
    ) -> None:
        self.opened, self.shop, self.new = opened, opened.shop, new
        self.listed = shops.listed_targets(opened)
        ways = [*([LIST] if self.listed else []), FILE, *([LAB] if lab else [])]
        ways += [BOOK] if new and opened.has_book else []
        self.way = ui.choice("Where is the target colour?", ways, ways[0], radio=True)
        ask = "hand in a file of the colour" + (", or type its Lab numbers" if lab else "")
        first, note = first_of(list(self.listed), start, ask)
        self.names = ui.choice("Target", list(self.listed), first)
        self.file = SpectrumFile(opened, "Choose a spectrum file", "Which spectrum of the file")
        self.L = ui.number_field("L*", "55", 0, 100)
        self.a = ui.number_field("a*", "-25", -150, 150)
        self.b = ui.number_field("b*", "-10", -150, 150)
        self.light = ui.choice("for the light", light_options(self.shop), self.shop.lights[0])
        self.observer = ui.choice("and the observer", [2, 10], self.shop.observer)
        numbers = ui.area()
        ui.tell(numbers, ONE_LIGHT, "quiet")
        light = ui.row(ui.boxed(self.light), ui.boxed(self.observer))
        self.lab = ui.below(ui.row(self.L.box, self.a.box, self.b.box), light, numbers)
        self.listing, self.problem = ui.boxed(self.names), ui.area()
        self.batch = ui.choice("Batch", [])
        self.past = ui.below(ui.boxed(self.batch), self.problem)
        parts = [self.listing, self.file.box, self.lab, self.past]
        self.box = ui.below(*quiet(note), ui.boxed(self.way), *parts)
        self.way.observe(ui.safe(self._shown, self.problem), names="value")
        self.file.upload.observe(lambda _: self._handed(), names="value")
        self._shown()

    def wanted(
        self, session: Session, other_weight: float = OTHER_WEIGHT, lights: Sequence[str] = ()
    ) -> Wanted:
        """The colour that was chosen, under `lights` or the shop's; a Lab under its own."""
        if self.way.value == LAB:
            lab = ui.read(self.L, self.a, self.b)
            return wanted_lab(session, lab, self.light.value, self.observer.value)
        if self.way.value == BOOK:
            if self.batch.value is None:
                raise InputError("no batch of the book has a colour yet")
            known = colour_of_batch(session, self.batch.value)
            if known.target.R is None:
                return known
            name, R = known.name, known.target.R
        else:
            name, R = self.spectrum()
        return wanted_spectrum(session, name, R, lights=lights, other_weight=other_weight)

    def spectrum(self) -> tuple[str, Array]:
        """The target's name and its reflectance (n_wl,)."""
        if self.way.value == LIST:
            return self.names.value, self.listed[self.names.value]
        name, readings = self.file.readings()
        return name, readings.mean(axis=0)

    def changing(self) -> list[Any]:
        """The widgets that change which target is meant."""
        texts = [field.text for field in (self.L, self.a, self.b)]
        chosen = [self.way, self.names, self.file.names, self.batch, self.light, self.observer]
        return [*chosen, *texts]

    def _handed(self) -> None:
        """Who hands a file in means the colour in it."""
        if self.file.upload.value:
            self.way.value = FILE

    def _shown(self) -> None:
        """Only the way that was chosen; a file of a new colour can be handed in at any time."""
        shown, at_once = self.way.value, FILE if self.new else ""
        parts = ((LIST, self.listing), (LAB, self.lab), (FILE, self.file.box), (BOOK, self.past))
        for way, part in parts:
            part.layout.display = None if way in (shown, at_once) else "none"
        if shown == BOOK and not self.batch.options:
            found = find(self.opened.session(), Query(top=PAST)).found
            named = [(f"{r.batch} {r.name}, {r.customer or r.job or r.at[:10]}", r) for r in found]
            self.batch.options = [(words, r.batch) for words, r in named if r.batch is not None]
