"""The part of a form where a formula is written down, an ink and an amount in each row."""

from collections.abc import Mapping
from math import inf
from typing import Any

import ipywidgets as w
import numpy as np
from numpy.typing import NDArray

from matchkit.errors import InputError
from matchkit.files.amounts import parse_amount, typed
from matchkit.forms.begin import quiet
from matchkit.forms.parts import Field, alert, area, boxed, choice, row, safe, tell
from matchkit.forms.shops import EXAMPLE_BATCH, OpenShop, saved_recipe, saved_recipes
from matchkit.inks.palette import Palette
from matchkit.matching.match import palette_for
from matchkit.workflows.formula import Formula

Array = NDArray[np.float64]

NONE = "(none)"
PERCENT, PARTS = "percent by mass", "grams, or parts by mass"
ROWS, FEWEST = 9, 3  # of them, and how many are seen at first
SUM_PERCENT = 0.1  # how far percents may be off 100


def known_inks(opened: OpenShop) -> list[str]:
    """Every ink that was fitted."""
    return [name for found in opened.fits.values() for name in found.palette.names]


class FormulaRows:
    """Up to nine inks with amounts; `unit` is "grams", or "percent", where parts will do too."""

    def __init__(self, opened: OpenShop, unit: str, start: str = "") -> None:
        self.opened, self.unit = opened, unit
        self.saved = saved_recipes(opened, poured=unit == "grams")
        own = "written here by hand"
        self.source = choice("The formula is", [own, *self.saved], own)
        self.inks = [choice(f"Ink {k + 1}", [NONE, *known_inks(opened)], NONE) for k in range(ROWS)]
        self.amounts = [
            Field(f"{unit.capitalize()} of ink {k + 1}", "", self._amount) for k in range(ROWS)
        ]
        self.written = choice("Written in", [PERCENT, PARTS], PERCENT)
        free = [boxed(self.written)] if unit == "percent" else []
        self.lines = [row(boxed(i), a.box) for i, a in zip(self.inks, self.amounts, strict=True)]
        self.problem, self.told = alert(), area()
        # The example is the demo shop's: no other shop misses it.
        missed = start and start != EXAMPLE_BATCH and start not in self.saved
        note = f"No saved batch of this shop is called {start!r}." if missed else ""
        self.box = w.VBox(
            [
                *quiet(note),
                row(boxed(self.source), *free),
                self.problem,
                self.told,
                *self.lines,
            ]
        )
        self.written.observe(lambda _: self._counted(), names="value")
        self.source.observe(safe(self._take, self.problem), names="value")
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
        if faults:
            raise InputError(faults)
        return Formula(amounts=named, total_g=total if self.unit == "grams" else None)

    def read(self, today: OpenShop | None = None) -> tuple[Palette, Array]:
        """The palette of the series, with the lots of `today`, and what was written (n_ink,)."""
        named = self.formula().amounts
        palette = palette_for(
            {series: found.palette for series, found in (today or self.opened).fits.items()},
            list(named),
        )
        return palette, np.array([named.get(name, 0.0) for name in palette.names])

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
        written = saved_recipe(self.opened, path)
        if len(written.inks) > ROWS:
            raise InputError(
                f"{path.name} holds {len(written.inks)} inks; {ROWS} can be written here"
            )
        tell(self.told, written.notes, "done")
        shares = dict(zip(written.inks, written.fractions, strict=True))
        if self.unit == "percent" or written.grams is None:
            self.fill({name: round(100 * share, 4) for name, share in shares.items()})
        else:
            self.fill(dict(zip(written.inks, written.grams, strict=True)))
