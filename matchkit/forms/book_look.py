"""Folded parts of the book's form that only ask: what the book has, and what to order."""

from collections.abc import Callable

import ipywidgets as w

from matchkit.errors import InputError
from matchkit.forms.parts import (
    Field,
    alert,
    amount_field,
    area,
    boxed,
    button,
    choice,
    put,
    read,
    row,
    safe,
)
from matchkit.forms.rows import known_inks
from matchkit.forms.shops import OpenShop
from matchkit.forms.targets import TargetPicker
from matchkit.report.book import near_parts, order_parts, record_parts
from matchkit.report.parts import Part
from matchkit.workflows import looking_up, shelf

ANY, NONE = "(any)", "(none)"
WORDS, COLOUR = "by words, ink and days", "by colour"


class FindPart:
    """Batches and formulas by words, ink, customer and day, or near a colour."""

    def __init__(self, opened: OpenShop, show: Callable[[int], None]) -> None:
        self.opened, self.show = opened, show
        self.problems, self.results = alert(), area()
        self.which = choice("Look at", [(NONE, None)])
        self.way = choice("Look", [WORDS, COLOUR], WORDS, radio=True)
        self.text = Field("Words of the colour or the job", "", str, short=False)
        self.customer = Field("Customer, or part of it", "", str, short=False)
        self.ink = choice("With the ink", [ANY, *known_inks(opened)], ANY)
        self.since = Field("From the day", "", str)
        self.until = Field("To the day", "", str)
        for field in (self.since, self.until):
            field.text.placeholder = "2026-03-02"
        self.target = TargetPicker(opened)
        self.within = amount_field("Within dE00", "2", most=100)
        self.words = w.VBox(
            [
                row(self.text.box, self.customer.box),
                row(boxed(self.ink), self.since.box, self.until.box),
            ]
        )
        self.colour = w.VBox([self.target.box, self.within.box])
        self.look = button("Find it", self.search, self.problems, main=True)
        self.box = w.VBox(
            [
                boxed(self.way),
                self.words,
                self.colour,
                self.look,
                self.problems,
                self.results,
                boxed(self.which),
            ]
        )
        self.which.observe(safe(self._chosen, self.problems), names="value")
        self.way.observe(lambda _: self._shown(), names="value")
        self._shown()
        self._found([], [])

    def search(self) -> None:
        """Show what fits."""
        self._found([], [])
        session = self.opened.session()
        if self.way.value == COLOUR:
            (within,) = read(self.within)
            near = looking_up.find_colour(session, self.target.wanted(session), within_de00=within)
            self._found(near_parts(near), [(f"{r.batch} {r.name}", r.batch) for r in near.near])
            return
        ink = "" if self.ink.value == ANY else self.ink.value
        fields = (self.text, self.customer, self.since, self.until)
        text, customer, since, until = (field.text.value.strip() for field in fields)
        query = looking_up.Query(ink=ink, text=text, customer=customer, since=since, until=until)
        found = looking_up.find(session, query)
        batches = [(f"{r.batch} {r.name}, {r.job}", r.batch) for r in found.found]
        self._found(record_parts(found), batches)

    def _found(self, parts: list[Part], batches: list[tuple[str, int | None]]) -> None:
        """Show what was found, and the batches to choose from."""
        put(self.results, parts)
        made = [each for each in batches if each[1] is not None]
        self.which.options = [(NONE, None), *made]
        self.which.value = None
        self.which.layout.display = None if made else "none"

    def _chosen(self) -> None:
        if self.which.value is not None:
            self.show(self.which.value)

    def _shown(self) -> None:
        for way, part in ((WORDS, self.words), (COLOUR, self.colour)):
            part.layout.display = None if self.way.value == way else "none"


class OrderPart:
    """Which inks run low."""

    def __init__(self, opened: OpenShop) -> None:
        self.opened = opened
        self.problems, self.results = alert(), area()
        self.days = amount_field("Days ahead, and back", "30", most=1000)
        self.look = button("What runs low?", self.list, self.problems, main=True)
        self.box = w.VBox([self.days.box, self.look, self.problems, self.results])

    def list(self) -> None:
        """Show what to order."""
        self.results.value = ""
        (days,) = read(self.days)
        if days != int(days):
            raise InputError(f"Days: {days:g} is no whole number")
        orders = shelf.reorder(self.opened.session(), days=int(days))
        put(self.results, order_parts(orders))
