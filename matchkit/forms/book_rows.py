"""Fields of the book's form: grams as the balance showed them, and how a drawdown read."""

from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path

import ipywidgets as w
import numpy as np
from numpy.typing import NDArray

from matchkit.book.jobs import far_from_plan
from matchkit.errors import InputError
from matchkit.files.amounts import parse_amount
from matchkit.files.readings import NamedSpectrum
from matchkit.files.scale import SCALES
from matchkit.forms.book_demo import MEASURED
from matchkit.forms.parts import Field, alert, area, boxed, choice, row, safe, tell, tick
from matchkit.forms.shops import OpenShop
from matchkit.forms.targets import SpectrumFile
from matchkit.paper.sheet import grams_text
from matchkit.workflows.wanted import scale_asked, spectra_in, spectrum_pasted

Array = NDArray[np.float64]

ASKED = {  # of a drawdown, by `containers.UNFIT`
    "unstirred": "It was not stirred well",
    "uncured": "It is not cured",
    "not hiding": "It does not hide the card",
}
NONE = "(none)"
MORE = 3  # inks beside the planned ones
FILES = 20  # of the folder, the newest ones
FOLDER, FILE = f"from the shop's folder {MEASURED!r}", "from a file of mine"
PASTED = "from values that I paste"


class PouredRows:
    """A field for each planned ink, and rows for what went in beside them."""

    def __init__(self) -> None:
        self.planned: dict[str, float] = {}
        self.doubted: dict[str, float] = {}
        self.step = 0.01
        self.fields: dict[str, Field] = {}
        self.place = row()
        self.inks = [choice(f"Another ink {k + 1}", [NONE], NONE) for k in range(MORE)]
        self.grams = [Field(f"Grams of ink {k + 1}", "", self._more) for k in range(MORE)]
        self.lines = [row(boxed(i), g.box) for i, g in zip(self.inks, self.grams, strict=True)]
        for ink in self.inks:
            ink.observe(lambda _: self._shown(), names="value")
        self.box = w.VBox([self.place, *self.lines])

    def ask(self, planned: Mapping[str, float], others: Sequence[str], step: float) -> None:
        """Empty fields for these inks; `others` may go in beside them."""
        self.planned, self.doubted, self.step = dict(planned), {}, step
        self.fields = {
            ink: Field(
                f"{ink}, {grams_text(g, step)} g planned",
                "",
                partial(_shown_grams, planned=g),
                short=False,
            )
            for ink, g in planned.items()
        }
        self.place.children = [field.box for field in self.fields.values()]
        for ink, grams in zip(self.inks, self.grams, strict=True):
            ink.options = [NONE, *(name for name in others if name not in planned)]
            ink.value, grams.text.value = NONE, ""
        self._shown()

    def as_planned(self) -> None:
        """The balance showed just what was planned."""
        for ink, field in self.fields.items():
            field.text.value = grams_text(self.planned[ink], self.step)

    def read(self) -> dict[str, float]:
        """Grams by ink, or every fault at once; what is far from the plan only when said twice."""
        poured = self._poured(self.fields)
        far = far_from_plan(poured, self.planned, self.step)
        if far and poured != self.doubted:
            self.doubted = poured
            raise InputError([*far, "if the balance did show that, press the button again"])
        return poured

    def weighed(self) -> dict[str, float]:
        """Grams by ink of what has gone in so far: planned inks may be left empty."""
        begun = {ink: field for ink, field in self.fields.items() if field.text.value.strip()}
        return self._poured(begun)

    def _poured(self, fields: Mapping[str, Field]) -> dict[str, float]:
        faults = [fault for field in fields.values() for fault in field.look()]
        poured = {ink: field.value for ink, field in fields.items()} if not faults else {}
        for ink, field in zip(self.inks, self.grams, strict=True):
            wrong = field.look()
            faults += wrong
            grams = None if wrong else field.value
            if not wrong and (ink.value == NONE) != (grams is None):
                missing = "choose the ink" if ink.value == NONE else "write its grams"
                faults.append(f"{field.text.description}: {missing}, or leave both empty")
            elif grams is not None and ink.value in poured:
                faults.append(f"{ink.value} is there twice; add the two up")
            elif grams is not None:
                poured[ink.value] = grams
        if faults:
            raise InputError(faults)
        if not poured:
            raise InputError("no ink was chosen yet: choose what went in")
        return poured

    def _more(self, text: str) -> float | None:
        beside = [field.text.value for field in self.fields.values()]
        return parse_amount(text, beside=beside) if text.strip() else None

    def _shown(self) -> None:
        """The rows that are in use, and one more."""
        used = [k for k, ink in enumerate(self.inks) if ink.value != NONE]
        for k, line in enumerate(self.lines):
            line.layout.display = None if k <= max(used, default=-1) + 1 else "none"


class ReadingPicker:
    """How a drawdown measured: a spectrum in the shop's folder, or a file that is handed in.

    Nothing is chosen beforehand: a reading written down for the wrong batch would be believed.
    """

    def __init__(self, opened: OpenShop, called: str = "Spectrum", *, asks: bool = False) -> None:
        self.opened = opened
        self.problem, self.notes = alert(), area()
        self.found: dict[str, NamedSpectrum] = {}
        self.way = choice("How did it measure?", [FILE, PASTED], FILE, radio=True)
        self.names = choice(called, [(NONE, None)])
        self.file = SpectrumFile(opened, "Choose the measured file", "Which spectrum")
        self.taken = area()
        self.pasted = Field("Its values", "", str, short=False)
        self.listing = w.VBox([boxed(self.names), self.notes])
        self.unfit = {state: tick(text) for state, text in ASKED.items() if asks}
        ticks = [*self.unfit.values()]
        self.box = w.VBox(
            [
                boxed(self.way),
                self.problem,
                self.listing,
                self.file.box,
                self.pasted.box,
                self.taken,
                *ticks,
            ]
        )
        self.way.observe(lambda _: self._shown(), names="value")

    def look(self) -> None:
        """See what lies in the folder now; what was chosen stays."""
        safe(self._look, self.problem)()
        ways = [FOLDER, FILE, PASTED] if self.found else [FILE, PASTED]
        if self.way.options != tuple(ways):
            self.way.options = ways
            self.way.value = ways[0]
        self._shown()

    def empty(self) -> None:
        """Nothing is chosen any more: what follows is another drawdown."""
        self.names.value = None
        self.file.upload.value = ()
        self.pasted.text.value = self.taken.value = ""
        for asked in self.unfit.values():
            asked.value = False
        self.look()

    @property
    def state(self) -> tuple[str, ...]:
        """What is wrong with the drawdown, by `containers.UNFIT`."""
        return tuple(state for state, asked in self.unfit.items() if asked.value)

    def read(self) -> tuple[str, Array]:
        """The spectrum's name and its readings (n_readings, n_wl)."""
        if self.way.value == FILE:
            return self.file.readings()
        if self.way.value == PASTED:
            session = self.opened.session()
            spectrum = spectrum_pasted(session, self.pasted.text.value)
            tell(self.taken, [each.text for each in session.notices], "quiet")
            return spectrum.name, spectrum.readings
        if self.names.value is None:
            raise InputError("Spectrum: choose the one that was measured of this drawdown")
        chosen = self.found[self.names.value]
        return chosen.name, chosen.readings

    def _look(self) -> None:
        """The newest file comes first."""
        self.found, kept = {}, self.names.value
        notes: list[str] = []
        faults: list[str] = []
        for path in _newest(self.opened.folder / MEASURED):
            session, asked = self.opened.session(), None
            try:
                asked = scale_asked(session, path)
                for session.scale in SCALES if asked else [""]:  # where it is open, both are listed
                    of = f"{path.name}, {SCALES[session.scale]}" if asked else path.name
                    spectra = spectra_in(session, path)
                    self.found |= {f"{each.name} ({of})": each for each in spectra}
            except InputError as error:
                faults += error.faults
            notes += [each.text for each in session.notices if each.code == "reading" and not asked]
        self.names.options = [(NONE, None), *((name, name) for name in self.found)]
        self.names.value = kept if kept in self.found else None
        tell(self.notes, notes, "quiet")
        if faults:
            raise InputError(faults)

    def _shown(self) -> None:
        for way, part in (
            (FOLDER, self.listing), (FILE, self.file.box), (PASTED, self.pasted.box)
        ):  # fmt: skip
            part.layout.display = None if self.way.value == way else "none"


def _newest(folder: Path) -> list[Path]:
    files = [path for path in folder.glob("*") if path.is_file() and path.name[0] != "."]
    return sorted(files, key=lambda path: (-path.stat().st_mtime, path.name))[:FILES]


def _shown_grams(text: str, planned: float) -> float:
    if not text.strip():
        raise InputError("write what the balance showed; 0 if none went in")
    return parse_amount(text, planned=planned)
