"""Find a starting formula: a target goes in, formulas and a ticket come out."""

from collections.abc import Callable
from typing import Any

import ipywidgets as w

from matchkit.errors import InputError
from matchkit.forms.begin import opened_form
from matchkit.forms.formulas import best_bodied, formula_parts, is_mostly_clear, match_parts
from matchkit.forms.lots import by_the_book, counted_on, lots_tick
from matchkit.forms.parts import (
    Runner,
    alert,
    amount_field,
    area,
    boxed,
    choice,
    folded,
    form,
    on_change,
    put,
    read,
    row,
    safe,
    section,
)
from matchkit.forms.shops import OpenShop
from matchkit.forms.targets import TargetPicker, light_options
from matchkit.forms.tickets import Batch, TicketPart
from matchkit.matching.match import Match, MoreStock, with_more_stock
from matchkit.matching.match import match as find_formulas
from matchkit.matching.solve import Target

__all__ = ["MatchForm", "match"]

Answer = tuple[str, Target, Match, MoreStock | None]

OTHERS = (
    ("not at all", 0.0),
    ("a little (0.2)", 0.2),
    ("half as much (0.5)", 0.5),
    ("as much (1)", 1.0),
)
PREFER = (
    ("the nearest under the first light", "nearest"),
    ("the best chance at the first drawdown", "chance"),
    ("the one that holds under every light", "steady"),
)


def match(opened: OpenShop, target: str = "") -> Any:
    """The form; `target` is the colour of the shop's list that it starts with."""
    return opened_form(opened, lambda: MatchForm(opened, target).box)


class MatchForm:
    """Its widgets, and the formulas that were found last."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.found: Match | None = None
        self.target: Target | None = None
        self.target_name = ""
        self.filling = False
        self.problems, self.stale = alert(), area()
        self.results, self.detail = area(), area()
        self.picker = TargetPicker(opened, start)
        self.grams = amount_field("Batch, grams", "1000", most=1e6)
        self.most = choice("Inks at most", [2, 3, 4, 5, 6], 4)
        self.others = choice("The other lights count", OTHERS, 0.2)
        self.prefer = choice("List first", PREFER, "nearest")
        self.lights = {
            light: w.Checkbox(
                description=words, value=light in opened.shop.lights[1:], indent=False
            )
            for words, light in light_options(opened.shop)
            if light != opened.shop.lights[0]
        }
        self.without = {
            ink.name: w.Checkbox(description=ink.name, indent=False) for ink in opened.shop.inks
        }
        self.lots = lots_tick(opened)
        self.told: tuple[str, ...] = ()
        self.run = Runner(
            "Find formulas", self._work, self._answer, self.problems, "sets of inks looked at"
        )
        self.pick = choice("Which formula do you want?", [], radio=True)
        self.chosen = w.VBox([boxed(self.pick), self.detail])
        self.chosen.layout.display = "none"
        self.ticket = TicketPart(opened, self.batch, 4)
        self.pick.observe(safe(self._picked, self.problems), names="value")
        on_change(self._entries(), self._aged)
        self.box = self._laid_out()

    def batch(self) -> Batch:
        """What the ticket is for."""
        if self.found is None or self.target is None or self.pick.value is None:
            raise InputError("there is no formula yet: press 'Find formulas' first")
        if self.stale.value:
            raise InputError(
                "the entries have changed since these formulas were found: press 'Find formulas'"
                " again, then make the ticket"
            )
        return self.target_name, self.target, self.found.formulas[self.pick.value]

    def _laid_out(self) -> Any:
        first = self.opened.shop.lights[0]
        return form(
            section("1. The colour", self.picker.box),
            section(
                "2. What matters",
                row(self.grams.box, boxed(self.most)),
                self.lots,
                folded(
                    "more choices: lights, order, inks to leave out",
                    row(boxed(self.prefer), boxed(self.others)),
                    w.HTML(f"<p><b>Matched under {first}.</b> Judged under these too:</p>"),
                    row(*self.lights.values()),
                    w.HTML("<p><b>Leave out these inks</b></p>"),
                    row(*self.without.values()),
                ),
            ),
            section(
                "3. The formulas",
                self.run.box,
                self.problems,
                self.stale,
                self.results,
                self.chosen,
            ),
            self.ticket.box,
            name="match",
        )

    def _entries(self) -> list[Any]:
        ticked = [self.lots, *self.lights.values(), *self.without.values()]
        plain = [self.grams.text, self.most, self.others, self.prefer]
        return [*self.picker.changing(), *plain, *ticked]

    def _work(self) -> Callable[[Callable[[int, int], None]], Answer]:
        """Read the form; what is wrong with it is told before any work begins."""
        (grams,) = read(self.grams)
        others = [light for light, box in self.lights.items() if box.value]
        lights = (self.opened.shop.lights[0], *others)
        name, target = self.picker.read(self.others.value, lights)
        today = by_the_book(self.opened, learning=self.lots.value)
        self.told = today.words
        shop, fits, most, prefer = (
            today.opened.shop, today.opened.fits, self.most.value, self.prefer.value
        )  # fmt: skip
        without = [ink for ink, box in self.without.items() if box.value]

        def work(progress: Callable[[int, int], None]) -> Answer:
            found = find_formulas(
                shop, fits, target, name=name, batch_g=grams, max_inks=most,
                without=without, prefer=prefer, progress=progress,
            )  # fmt: skip
            more = with_more_stock(
                shop, fits, target, found, batch_g=grams, max_inks=most,
                without=without, prefer=prefer,
            )  # fmt: skip
            return name, target, found, more

        return work

    def _answer(self, answer: Answer) -> None:
        self.target_name, self.target, self.found, more = answer
        self.stale.value = ""
        shown = match_parts(self.opened, self.target, self.found, more)
        put(self.results, [*counted_on(self.told), *shown])
        self.ticket.clear()
        formulas = self.found.formulas
        self.filling = True  # else the pictures are drawn for every step on the way
        self.pick.options = [
            (
                f"Formula {k + 1}"
                + (", mostly clear" if is_mostly_clear(self.opened, each) else ""),
                k,
            )
            for k, each in enumerate(formulas)
        ]
        self.pick.value = best_bodied(self.opened, formulas)
        self.filling = False
        self.chosen.layout.display = None
        self._picked()

    def _picked(self) -> None:
        if self.filling or self.found is None or self.target is None:
            return
        formula = self.found.formulas[self.pick.value]
        self.ticket.clear()
        name = f"formula {self.pick.value + 1}"
        put(self.detail, formula_parts(self.opened, self.target, formula, name))

    def _aged(self) -> None:
        """The formulas in sight are no longer those of the entries above them."""
        self.problems.value = ""
        if self.found is not None:
            self.stale.value = (
                '<div role="status" class="mk-quiet"><b>The entries above have changed since; '
                "press Find formulas again.</b></div>"
            )
