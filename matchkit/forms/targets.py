"""The part of a form that asks which colour is wanted: a list, a file, or Lab numbers."""

from collections.abc import Callable, Sequence
from functools import partial
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as w
import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import hex_colours
from matchkit.errors import InputError
from matchkit.files.scale import SCALES, ScaleQuestion
from matchkit.forms.begin import first_of, quiet
from matchkit.forms.parts import (
    alert,
    area,
    boxed,
    button,
    choice,
    number_field,
    read,
    row,
    safe,
    tell,
    tick,
)
from matchkit.forms.shops import OpenShop, handed_in, listed_targets
from matchkit.inks.shop import Shop
from matchkit.paper.compare_sheet import light_in_words
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import (
    OTHER_WEIGHT,
    Wanted,
    scale_asked,
    spectra_in,
    wanted_lab,
    wanted_spectrum,
)

Array = NDArray[np.float64]

OFFERED = ("D65", "D50", "A", "FL2", "FL11", "LED-B3")
HALF = 50  # L*, above which dark words are read better
LIST, FILE, LAB = "from the shop's list", "from a file of mine", "from Lab numbers"


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
        self.repeats = tick("Average the readings called as 'red a', 'red b' or 'red 1/3'")
        self.repeats.observe(safe(take, problem), names="value")
        self.box = w.VBox([self.buttons, self.repeats])
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
            each = button(f"{SCALES[scale]}: L* {L:.0f}", partial(self._say, scale), self.problem)
            each.style.button_color = colour
            each.style.text_color = "white" if L < HALF else "black"
            buttons.append(each)
        return w.VBox([words, row(*buttons)])

    def _say(self, scale: str) -> None:
        self.scale = scale
        self.take()


class SpectrumFile:
    """A button that takes a spectrum file, and which of its spectra is meant."""

    def __init__(self, opened: OpenShop, words: str, which: str) -> None:
        self.opened = opened  # a file that was measured otherwise is refused or converted
        self.problem, self.notes = alert(), area()
        self.upload = w.FileUpload(accept="", multiple=False, description=words)
        self.names = choice(which, [])
        self.found: dict[str, Array] = {}
        self.how = HowRead(self.take, self.problem)
        self.upload.observe(safe(self._handed, self.problem), names="value")
        self.box = w.VBox(
            [row(boxed(self.upload), boxed(self.names)), self.how.box, self.notes, self.problem]
        )

    def _handed(self) -> None:
        self.how.new()
        self.take()

    def take(self) -> None:
        """Read the file that was handed in; where it may be percent or 0-1, ask."""
        self.found, self.names.options, self.notes.value = {}, [], ""
        if not self.upload.value:
            return
        session = self.opened.session(scale=self.how.scale, repeats=self.how.repeats.value)
        with handed_in(self.upload.value[0]) as path:
            if self.how.asks(session, path):
                return
            spectra = spectra_in(session, path)
        notes = [notice.text for notice in session.notices if notice.code == "reading"]
        self.how.offer([each.name for each in spectra])
        self.found = {each.name: each.readings for each in spectra}
        self.names.options = list(self.found)
        self.names.value = next(iter(self.found))
        tell(self.notes, [self.upload.value[0]["name"] + " was read.", *notes], "quiet")

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
    """Which colour is wanted.  With `lab` a colour known only as numbers may be typed."""

    def __init__(self, opened: OpenShop, start: str = "", *, lab: bool = True) -> None:
        self.shop = opened.shop
        self.listed = listed_targets(opened)
        ways = [*([LIST] if self.listed else []), FILE, *([LAB] if lab else [])]
        self.way = choice("Where is the target colour?", ways, ways[0], radio=True)
        ask = "hand in a file of the colour" + (", or type its Lab numbers" if lab else "")
        first, note = first_of(list(self.listed), start, ask)
        self.names = choice("Target", list(self.listed), first)
        self.file = SpectrumFile(opened, "Choose a spectrum file", "Which spectrum of the file")
        self.L = number_field("L*", "55", 0, 100)
        self.a = number_field("a*", "-25", -150, 150)
        self.b = number_field("b*", "-10", -150, 150)
        self.light = choice("for the light", light_options(self.shop), self.shop.lights[0])
        self.observer = choice("and the observer", [2, 10], self.shop.observer)
        self.lab = w.VBox(
            [
                row(self.L.box, self.a.box, self.b.box),
                row(boxed(self.light), boxed(self.observer)),
                w.HTML(
                    '<p class="mk-quiet">Numbers can be matched under one light only. '
                    "If there is a sample, measure it.</p>"
                ),
            ]
        )
        self.listing = boxed(self.names)
        self.box = w.VBox([*quiet(note), boxed(self.way), self.listing, self.file.box, self.lab])
        self.way.observe(lambda _: self._shown(), names="value")
        self._shown()

    def wanted(
        self, session: Session, other_weight: float = OTHER_WEIGHT, lights: Sequence[str] = ()
    ) -> Wanted:
        """The colour that was chosen, under `lights` or the shop's; a Lab under its own."""
        if self.way.value == LAB:
            lab = read(self.L, self.a, self.b)
            return wanted_lab(session, lab, self.light.value, self.observer.value)
        name, R = self.spectrum()
        return wanted_spectrum(session, name, R, lights=lights, other_weight=other_weight)

    def read(self, other_weight: float = 0.2, lights: tuple[str, ...] = ()) -> tuple[str, Target]:
        """The target's name and the target, under `lights` or the shop's."""
        if self.way.value == LAB:
            lab = read(self.L, self.a, self.b)
            name = "Lab " + ", ".join(f"{value:g}" for value in lab)
            return name, Target.from_lab(lab, self.light.value, self.observer.value)
        name, R = self.spectrum()
        seen = lights or self.shop.lights
        return name, Target.from_spectrum(R, seen, self.shop.observer, other_weight=other_weight)

    def spectrum(self) -> tuple[str, Array]:
        """The target's name and its reflectance (n_wl,)."""
        if self.way.value == LIST:
            return self.names.value, self.listed[self.names.value]
        name, readings = self.file.readings()
        return name, readings.mean(axis=0)

    def changing(self) -> list[Any]:
        """The widgets that change which target is meant."""
        texts = [field.text for field in (self.L, self.a, self.b)]
        return [self.way, self.names, self.file.names, self.light, self.observer, *texts]

    def _shown(self) -> None:
        """Only the way that was chosen."""
        for way, part in ((LIST, self.listing), (FILE, self.file.box), (LAB, self.lab)):
            part.layout.display = None if self.way.value == way else "none"
