"""What goes into a container: one ink after the other as the balance shows it, or all at once."""

from collections.abc import Mapping, Sequence
from functools import partial

import ipywidgets as w

from matchkit.book.jobs import far_from_plan
from matchkit.errors import InputError
from matchkit.files.text import parse_amount
from matchkit.forms.parts import Field, alert, area, boxed, button, choice, row, tell
from matchkit.paper.sheet import grams_text

NONE = "(none)"
MORE = 3  # inks beside the planned ones


class PouredRows:
    """A field for each planned ink, and rows for what went in beside them."""

    def __init__(self) -> None:
        self.planned: dict[str, float] = {}
        self.doubted: dict[str, float] = {}
        self.step = 0.01
        self.fields: dict[str, Field] = {}
        self.place = row()
        self.now, self.wrong = area(), alert()
        self.shows = Field("The balance shows, g", "", self._more)
        self.next = button("Next ink", self._poured_next, self.wrong, main=True)
        shown = row(self.shows.box, self.next)
        shown.add_class("mk-end")
        self.one = w.VBox([self.now, shown, self.wrong])
        self.inks = [choice(f"Another ink {k + 1}", [NONE], NONE) for k in range(MORE)]
        self.grams = [Field(f"Grams of ink {k + 1}", "", self._more) for k in range(MORE)]
        self.lines = [row(boxed(i), g.box) for i, g in zip(self.inks, self.grams, strict=True)]
        for ink in self.inks:
            ink.observe(lambda _: self._shown(), names="value")
        self.box = w.VBox([self.one, self.place, *self.lines])

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
        self.one.layout.display = None if planned else "none"
        self.shows.text.value = self.wrong.value = ""
        for field in self.fields.values():
            field.text.observe(lambda _: self._tell_next(), names="value")
        self._tell_next()
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

    def _so_far(self) -> tuple[float, str | None]:
        """What the balance shows now, and the ink that comes next; None where all are in."""
        total = 0.0
        for ink, field in self.fields.items():
            if not field.text.value.strip():
                return total, ink
            total += 0.0 if field.look() else field.value
        return total, None

    def _tell_next(self) -> None:
        """The next ink, large, and where the balance is then."""
        total, ink = self._so_far()
        if ink is None:
            tell(self.now, f"All in: {grams_text(total, self.step)} g. Write it down.", "big")
            return
        then = grams_text(total + self.planned[ink], self.step)
        each = f"{[*self.fields].index(ink) + 1} of {len(self.fields)}"
        more = grams_text(self.planned[ink], self.step)
        tell(self.now, [f"{each}: {ink} {more} g", f"until the balance shows {then} g"], "big")

    def _poured_next(self) -> None:
        """Note what the balance shows with the next ink; empty: just what was planned."""
        total, ink = self._so_far()
        if ink is None:
            return
        shown = self.shows.value
        grams = self.planned[ink] if shown is None else shown - total
        if grams < 0:
            raise InputError(
                f"the balance showed {grams_text(total, self.step)} g before: it can't show less"
            )
        self.fields[ink].text.value = grams_text(grams, self.step)
        self.shows.text.value = ""

    def _more(self, text: str) -> float | None:
        beside = [field.text.value for field in self.fields.values()]
        return parse_amount(text, beside=beside) if text.strip() else None

    def _shown(self) -> None:
        """The rows that are in use, and one more."""
        used = [k for k, ink in enumerate(self.inks) if ink.value != NONE]
        for k, line in enumerate(self.lines):
            line.layout.display = None if k <= max(used, default=-1) + 1 else "none"


def _shown_grams(text: str, planned: float) -> float:
    if not text.strip():
        raise InputError("write what the balance showed; 0 if none went in")
    return parse_amount(text, planned=planned)
