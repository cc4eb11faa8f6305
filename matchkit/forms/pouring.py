"""What goes into a container: one ink after the other as the balance shows it, or all at once."""

from collections.abc import Mapping, Sequence
from functools import partial

import ipywidgets as w

from matchkit.book.jobs import far_from_plan
from matchkit.errors import InputError, raise_any
from matchkit.files.text import parse_amount
from matchkit.forms import parts as ui
from matchkit.paper.sheet import grams_text

NONE = "(none)"
MORE = 3  # inks beside the planned ones
FAR_OVER = 1.01  # of the plan: more went in than a careful pour takes
# Keys for gloves.  The page itself types: a press is seen at once.
KEY = (
    "const f = this.closest('.mk-pour').querySelector('input'), k = this.value;"
    " f.value = k ? f.value + k : f.value.slice(0, -1);"
    " f.dispatchEvent(new Event('change', {bubbles: true}))"
)
KEYS = "".join(
    f'<button type="button" class="jupyter-button" value="{key}" onclick="{KEY}"'
    f' aria-label="{key or "delete the last figure"}">{key or "&#9003;"}</button>'
    for key in (*"789456123.0", "")
)


class PouredRows:
    """A field for each planned ink, and rows for what went in beside them."""

    def __init__(self) -> None:
        self.planned: dict[str, float] = {}
        self.held: dict[str, float] = {}
        self.doubted: dict[str, float] = {}
        self.step = 0.01
        self.fields: dict[str, ui.Field] = {}
        self.place = ui.row()
        self.now, self.wrong = ui.area(), ui.area()
        self.shows = ui.Field("The balance shows, g", "", self._more)
        self.next = ui.button("Next ink", self._poured_next, self.wrong, main=True)
        shown = ui.row(self.shows.box, self.next)
        shown.add_class("mk-end")
        pad = w.HTML(f'<div class="mk-pad">{KEYS}</div>')
        self.one = ui.below(self.now, ui.row(shown, pad), self.wrong)
        self.one.add_class("mk-pour")
        self.inks = [ui.choice(f"Another ink {k + 1}", [NONE], NONE) for k in range(MORE)]
        self.grams = [ui.Field(f"Grams of ink {k + 1}", "", self._more) for k in range(MORE)]
        self.lines = [
            ui.row(ui.boxed(i), g.box) for i, g in zip(self.inks, self.grams, strict=True)
        ]
        for ink in self.inks:
            ink.observe(lambda _: self._shown(), names="value")
        self.box = ui.below(self.one, self.place, *self.lines)

    def ask(
        self,
        planned: Mapping[str, float],
        others: Sequence[str],
        step: float,
        held: Mapping[str, float] | None = None,
    ) -> None:
        """Empty fields for these inks; `others` may go in beside them, `held` is held back."""
        self.planned, self.doubted, self.step = dict(planned), {}, step
        self.held = dict(held or {})
        self.fields = {
            ink: ui.Field(
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

    def retype(self, typed: Mapping[str, str]) -> None:
        """Put back what was typed of the inks that are still asked for."""
        for ink, text in typed.items():
            if ink in self.fields:
                self.fields[ink].text.value = text

    def go_on(self, rest: Mapping[str, float]) -> None:
        """From now on the inks that are not in yet are weighed to `rest`, by ink."""
        for ink, field in self.fields.items():
            if not field.text.value.strip():
                self.planned[ink] = rest.get(ink, 0.0)
        self._tell_next()

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

    def _poured(self, fields: Mapping[str, ui.Field]) -> dict[str, float]:
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
        raise_any(faults)
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
            later = [f"{ink} {grams_text(g, self.step)} g" for ink, g in self.held.items()]
            back = [f"Held back until the first drawdown: {', '.join(later)}"] if later else []
            lines = [f"All in: {grams_text(total, self.step)} g. Write it down.", *back]
            ui.tell(self.now, lines, "big")
            return
        then = grams_text(total + self.planned[ink], self.step)
        each = f"{[*self.fields].index(ink) + 1} of {len(self.fields)}"
        more = grams_text(self.planned[ink], self.step)
        later_g = grams_text(self.held.get(ink, 0.0), self.step)
        kept = [f"{later_g} g more of it is held back"] if ink in self.held else []
        big = [f"{each}: {ink} {more} g", f"until the balance shows {then} g", *kept]
        ui.tell(self.now, big, "big")

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
        if grams > max(FAR_OVER * self.planned[ink], self.planned[ink] + 5 * self.step):
            over = grams_text(grams - self.planned[ink], self.step)
            told = f"{over} g too much {ink}: 'Too much went in' below says how to go on."
            ui.tell(self.wrong, told, "look")

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
