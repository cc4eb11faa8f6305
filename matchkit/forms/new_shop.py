"""A shop folder of one's own, from an empty form: how one measures, and what is on the shelf."""

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import ipywidgets as w

from matchkit.errors import InputError, raise_any
from matchkit.files.planned import EXAMPLES, NEW_SHOP
from matchkit.files.settings import CONDITIONS, RESOLUTION_G
from matchkit.files.shop import DENSITY_G_PER_ML
from matchkit.files.text import parse_amount, text_fault
from matchkit.forms import parts as ui
from matchkit.forms.choose import PRESS
from matchkit.forms.shops import DEMO, TICKETS, choose_shop
from matchkit.inks.drawdowns import FORBIDDEN
from matchkit.inks.levels import FEWEST, MOST
from matchkit.inks.shop import GEOMETRIES, ROLES, Ink
from matchkit.report.plan import new_shop_parts
from matchkit.workflows.planning import PlanChoices
from matchkit.workflows.planning import new_shop as make

DARK = "We print on dark garments too"
CHOOSE = ("(choose)", "")
COLOUR = "colour"
SPARE = 1  # empty rows below those that are filled
LONGEST = 60  # characters of a folder's name
# What a reader says of a file, and how it is said of the form.
ROW = re.compile(r"(?:inks\.csv )?row (\d+)")
SO_ADD = (", so add it here and its letdowns to drawdowns.csv", "; add it")


def new_shop() -> Any:
    """The form; it needs no shop."""
    return NewShopForm().box


class NewShopForm:
    """The form's widgets."""

    def __init__(self) -> None:
        self.problems, self.done, self.next = ui.area(), ui.area(), ui.area()
        self.folder = ui.Field("Name of its folder", "our-shop", folder_name)
        self.title = ui.Field("Name of the shop", "Our shop", _text)
        self.geometry = ui.choice("How your instrument measures", [CHOOSE, *_same(GEOMETRIES)])
        self.condition = ui.choice("With which light", [CHOOSE])
        self.resolution = ui.number_field(
            "Your balance shows steps of, grams", "0.01", *RESOLUTION_G
        )
        self.levels = ui.choice("Drawdowns of each ink", list(range(FEWEST, MOST + 1)), 10)
        self.grams = ui.amount_field("Smallest pot, grams", "30", most=9999)
        self.dark = ui.tick(DARK)
        self.inks = InkRows()
        self.geometry.observe(lambda _: self._geometry_changed(), names="value")
        self._geometry_changed()
        self.make = ui.button("Make the shop", self.write, self.problems, main=True)
        self.box = ui.form(
            ui.section("1. The shop", ui.row(self.folder.box, self.title.box)),
            ui.section(
                "2. How you measure and weigh",
                ui.row(ui.boxed(self.geometry), ui.boxed(self.condition), self.resolution.box),
            ),
            ui.section("3. The inks on your shelf", self.inks.box),
            ui.section(
                "4. The drawdowns to begin with",
                ui.row(ui.boxed(self.levels), self.grams.box, self.dark),
                self.make,
                self.problems,
                self.done,
                self.next,
            ),
            name="new-shop",
        )

    def write(self) -> None:
        """Write the folder, whole or not at all."""
        self.done.value = self.next.value = ""
        fields = (self.folder, self.title, self.resolution, self.grams)
        faults = [fault for field in fields for fault in field.look()]
        faults += [
            f"{each.description}: choose one; the instrument's settings or its data sheet say it"
            for each in (self.geometry, self.condition)
            if not each.value
        ]
        faults += self.inks.faults()
        if not faults and not self.inks.filled():
            faults = ["no inks yet; write the name of each"]
        raise_any(faults)
        shop = replace(
            NEW_SHOP,
            name=self.title.value,
            geometry=self.geometry.value,
            condition=self.condition.value,
            resolution_g=self.resolution.value,
        )
        name, inks = self.folder.value, self.inks.read()
        choices = PlanChoices(
            levels=self.levels.value, batch_g=self.grams.value, on_dark=self.dark.value
        )
        try:
            ui.put(self.done, new_shop_parts(make(name, inks, shop, choices)))
        except InputError as error:
            lines = [line.replace(*SO_ADD) for line in error.faults]
            raise InputError([ROW.sub(self._ink_of, line) for line in lines]) from None
        choose_shop(name)
        ui.tell(self.next, PRESS.format(name), "done")

    def _ink_of(self, found: re.Match[str]) -> str:
        """How the form calls a row of the file, whose row 2 is the first ink."""
        return self.inks.filled()[int(found[1]) - 2].called

    def _geometry_changed(self) -> None:
        """Only the conditions that go with the geometry."""
        before, offered = self.condition.value, CONDITIONS[self.geometry.value]
        self.condition.options = [CHOOSE, *_same(offered if self.geometry.value else ())]
        self.condition.value = before if before in offered and self.geometry.value else ""


class InkRows:
    """The inks, a row for each; there is always an empty row below the last one."""

    def __init__(self) -> None:
        self.rows: list[_InkRow] = []
        self.place = ui.below()
        self.more = ui.tick("Show density, cost, stock, limit, series")
        ui.on_change([self.more], self._shown)
        nothing = ui.area()
        self.box = ui.below(
            w.HTML(
                "<p>One white, at least; black and clear, if you have them; your colours."
                " These are examples: write your own over them; an empty row is left out."
                " Density, cost, stock, the maker's limit and the series may stay empty.</p>"
            ),
            self.more,
            self.place,
            ui.row(
                ui.button("Empty all rows", lambda: self.fill(()), nothing),
                ui.button("Show the examples again", lambda: self.fill(EXAMPLES), nothing),
            ),
        )
        self.fill(EXAMPLES)

    def fill(self, inks: Sequence[Ink]) -> None:
        """Names and roles; no density, which would be taken for that of the shop's own ink."""
        for each in self.rows:
            each.clear()
        while len(self.rows) < len(inks) + SPARE:
            self._add()
        for ink, each in zip(inks, self.rows, strict=False):
            each.name.text.value, each.role.value = ink.name, ink.role

    def filled(self) -> list["_InkRow"]:
        """The rows that count."""
        return [each for each in self.rows if each.is_filled()]

    def faults(self) -> list[str]:
        """What is wrong with the entries, each by itself."""
        return [fault for each in self.filled() for fault in each.faults()]

    def read(self) -> tuple[Ink, ...]:
        """The inks; ask for `faults` first."""
        return tuple(each.read() for each in self.filled())

    def _add(self) -> None:
        each = _InkRow(len(self.rows) + 1)
        ui.on_change([each.name.text], self._grown)
        self.rows.append(each)
        self._shown()
        self.place.children = [each.box for each in self.rows]

    def _grown(self) -> None:
        """An empty row is left for the next ink."""
        if all(each.is_filled() for each in self.rows[-SPARE:]):
            self._add()

    def _shown(self) -> None:
        for part in (part for each in self.rows for part in each.rest):
            part.layout.display = None if self.more.value else "none"


class _InkRow:
    """The fields of one ink."""

    def __init__(self, k: int) -> None:
        self.called = f"ink {k}"
        self.name = ui.Field(f"Ink {k}", "", _text)
        self.role = ui.choice(f"Role of ink {k}", ROLES, COLOUR)
        self.role.layout.width = "9em"  # beside the name on a narrow screen too
        self.density = ui.Field(f"Ink {k}: density, g/ml", "", _number(*DENSITY_G_PER_ML))
        self.cost = ui.Field(f"Ink {k}: cost per kg", "", _number(0, 1e6))
        self.stock = ui.Field(f"Ink {k}: stock, grams", "", _number(0, 1e9))
        self.limit = ui.amount_field(f"Ink {k}: limit, %", "", most=100, empty=True)
        self.series = ui.Field(f"Ink {k}: series", "", _words)
        self.numbers = (self.density, self.cost, self.stock, self.limit)
        self.rest = (self.series.box, ui.row(*(each.box for each in self.numbers)))
        first = ui.row(self.name.box, ui.boxed(self.role), self.series.box)
        self.box = ui.below(first, self.rest[1])

    def is_filled(self) -> bool:
        """Whether anything but a role was entered."""
        fields = (self.name, *self.numbers, self.series)
        return any(each.text.value.strip() for each in fields)

    def clear(self) -> None:
        """As at the beginning."""
        for each in (self.name, *self.numbers, self.series):
            each.text.value = ""
            each.problem.value = ""
        self.role.value = COLOUR

    def faults(self) -> list[str]:
        return [f for each in (self.name, *self.numbers, self.series) for f in each.look()]

    def read(self) -> Ink:
        limit = self.limit.value
        return Ink(
            name=self.name.value,
            role=self.role.value,
            series=self.series.value,
            density_g_per_ml=self.density.value,
            cost_per_kg=self.cost.value,
            stock_g=self.stock.value,
            max_percent=100.0 if limit is None else limit,
        )


def folder_name(text: str) -> str:
    """A name that every system takes for a folder, and that is free.

    >>> folder_name(" bay street ")
    'bay street'
    """
    name = _text(text)
    if FORBIDDEN.search(name) or name.startswith(".") or name.endswith("."):
        raise InputError("write a plain name: letters, figures, blanks, - and _")
    if len(name) > LONGEST:
        raise InputError(f"{len(name)} characters; {LONGEST} at most")
    if name.casefold() in (DEMO, TICKETS):
        raise InputError(f"{name} is used by the notebooks themselves; name another")
    if Path(name).exists():
        raise InputError(f"{name}: is there already; name a new folder")
    return name


def _text(text: str) -> str:
    text = _words(text)
    if not text:
        raise InputError("nothing is there; write a name")
    return text


def _words(text: str) -> str:
    if fault := text_fault(text.strip()):
        raise InputError(fault)
    return text.strip()


def _number(low: float, high: float) -> Callable[[str], float | None]:
    """How a number from `low` to `high` is read; empty is None."""

    def parse(text: str) -> float | None:
        if not text.strip():
            return None
        number = parse_amount(text, most=high)
        if not low <= number <= high:
            raise InputError(f"{text.strip()} is not from {low:g} to {high:g}")
        return number

    return parse


def _same(words: Sequence[str]) -> list[tuple[str, str]]:
    return [(each, each) for each in words]
