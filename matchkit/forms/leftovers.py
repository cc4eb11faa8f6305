"""Use up a leftover: how much of it a new colour can take, and what to add."""

from collections.abc import Callable, Sequence
from typing import Any

import ipywidgets as w

from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.correcting.diagnose import model_error_f
from matchkit.correcting.leftovers import Use, use, which_bucket
from matchkit.correcting.mixes import shelf_of
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.forms.begin import first_of, opened_form, quiet
from matchkit.forms.formulas import formula_parts, target_hex
from matchkit.forms.parts import (
    Runner,
    alert,
    amount_field,
    area,
    boxed,
    choice,
    form,
    on_change,
    put,
    read,
    row,
    safe,
    section,
)
from matchkit.forms.shops import OpenShop
from matchkit.forms.targets import TargetPicker
from matchkit.forms.tickets import Batch, TicketPart
from matchkit.inks.shop import Mix
from matchkit.matching.probability import chance_text, spread_of
from matchkit.matching.solve import Target
from matchkit.paper.sheet import grams_text
from matchkit.report.compared import edge_to_edge
from matchkit.report.parts import Part, Table

__all__ = ["LeftoversForm", "leftover_parts", "leftovers", "uses_for"]

ANY = "whichever saves most"
SHOWN = 5
NO_LEFTOVER = (
    "no leftover stands on the shelf yet: notebook 9 puts one there when a job is closed, or write"
    " it into mixes.csv in the shop's folder (name,ink,percent,stock_g: a row for each ink)"
)


def leftovers(opened: OpenShop, target: str = "", mix: str = "") -> Any:
    """The form; it starts with a colour of the shop's list and a mix of its shelf."""
    return opened_form(opened, lambda: LeftoversForm(opened, target, mix).box)


class LeftoversForm:
    """Its widgets, and the uses that were found last."""

    def __init__(self, opened: OpenShop, start: str = "", mix: str = "") -> None:
        self.opened = opened
        self.uses: list[Use] = []
        self.target: Target | None = None
        self.target_name = ""
        self.filling = False
        self.problems, self.results, self.detail = alert(), area(), area()
        self.picker = TargetPicker(opened, start)
        mixes = [ANY, *(m.name for m in opened.shop.mixes)]
        first, note = first_of(mixes, mix)
        self.mix = choice("Leftover", mixes, first)
        self.grams = amount_field("New batch, grams", "1000", most=1e6)
        self.most = choice("Inks at most, it included", [2, 3, 4], 4)
        self.run = Runner("How much can go in?", self._work, self._answer, self.problems, "mixes")
        self.pick = choice("Which one do you want?", [], radio=True)
        self.chosen = w.VBox([boxed(self.pick), self.detail])
        self.chosen.layout.display = "none"
        self.ticket = TicketPart(opened, self.batch, 4)
        self.pick.observe(safe(self._picked, self.problems), names="value")
        on_change([*self.picker.changing(), self.mix, self.grams.text, self.most], self._aged)
        self.box = form(
            section("1. The new colour", self.picker.box),
            section(
                "2. The shelf",
                *quiet(note if opened.shop.mixes else NO_LEFTOVER),
                row(boxed(self.mix), self.grams.box, boxed(self.most)),
            ),
            section("3. What can be made", self.run.box, self.problems, self.results, self.chosen),
            self.ticket.box,
            name="leftovers",
        )

    def batch(self) -> Batch:
        """What the ticket is for."""
        if not self.uses or self.target is None or self.pick.value is None:
            raise InputError("there is no formula yet: press 'How much can go in?' first")
        return self.target_name, self.target, self.uses[self.pick.value].candidate

    def _work(self) -> Callable[[Callable[[int, int], None]], tuple[str, Target, list[Use]]]:
        if not self.opened.shop.mixes:
            raise InputError(NO_LEFTOVER)
        (grams,) = read(self.grams)
        name, target = self.picker.read()
        mix, most = "" if self.mix.value == ANY else self.mix.value, self.most.value
        return lambda progress: (
            name,
            target,
            uses_for(self.opened, target, mix, grams, most, progress),
        )

    def _answer(self, answer: tuple[str, Target, list[Use]]) -> None:
        self.target_name, self.target, self.uses = answer
        self.ticket.clear()
        put(self.results, leftover_parts(self.opened, self.target_name, self.target, self.uses))
        self.filling = True
        self.pick.options = [(f"Formula {k + 1}", k) for k in range(len(self.uses))]
        self.pick.value = 0 if self.uses else None
        self.filling = False
        self.chosen.layout.display = None if self.uses else "none"
        self._picked()

    def _picked(self) -> None:
        if self.filling or self.target is None or self.pick.value is None:
            return
        self.ticket.clear()
        candidate = self.uses[self.pick.value].candidate
        name = f"formula {self.pick.value + 1}"
        put(self.detail, formula_parts(self.opened, self.target, candidate, name))

    def _aged(self) -> None:
        self.uses, self.target = [], None
        self.chosen.layout.display = "none"
        self.results.value = self.detail.value = self.problems.value = ""
        self.ticket.clear()


def uses_for(
    opened: OpenShop,
    target: Target,
    mix: str,
    batch_g: float,
    max_inks: int,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> list[Use]:
    """Formulas with the most of one leftover, or the best use of each ("")."""
    shop = opened.shop
    found: list[Use] = []
    jobs = [(fit, mixes) for fit in opened.fits.values() if (mixes := _of_series(opened, fit, mix))]
    for done, (fit, mixes) in enumerate(jobs):
        progress(done, len(jobs))
        spread = spread_of(fit.palette, fit.error_Lab, shop.resolution_g)
        shelf = shelf_of(fit.palette, mixes, spread, model_f=model_error_f(fit))
        if mix:
            found += use(
                shelf, mix, target, spread, batch_g=batch_g, resolution_g=shop.resolution_g,
                tolerance_de00=shop.tolerance_de00, max_inks=max_inks, top=SHOWN,
            )  # fmt: skip
        else:
            found += which_bucket(
                shelf, target, spread, batch_g=batch_g, resolution_g=shop.resolution_g,
                tolerance_de00=shop.tolerance_de00, max_inks=max_inks,
            )  # fmt: skip
    return found[:SHOWN]


def leftover_parts(opened: OpenShop, name: str, target: Target, uses: Sequence[Use]) -> list[Part]:
    """How much of the shelf each formula uses up, side by side."""
    if not uses:
        return [f"{name}: no leftover can be brought to it with these inks; mix it fresh."]
    step, light = opened.shop.resolution_g, target.lights[0]
    first, rows = target.light_names[0], []
    for k, each in enumerate(uses, start=1):
        added = [
            f"{ink} {grams_text(g, step)}"
            for ink, g in zip(each.candidate.inks[1:], each.candidate.grams[1:], strict=True)
        ]
        left = "not known" if each.left_g is None else grams_text(each.left_g, step)
        rows.append(
            (
                str(k),
                each.name,
                grams_text(each.used_g, step),
                left,
                ", ".join(added) or "nothing",
                f"{each.candidate.de00[0]:.2f}",
                chance_text(each.candidate.chance_in_tolerance or 0.0),
            )
        )
    head = ("Formula", "Leftover", "Used, g", "Left, g", "Fresh ink, g", f"dE00 {first}", "Chance")
    below = [hex_colour(each.candidate.R, light, target.observer) for each in uses]
    names = [f"{k}: {100 * each.share:.0f} % of the batch" for k, each in enumerate(uses, start=1)]
    far = [str(k) for k, each in enumerate(uses, start=1) if not each.within]
    notes: list[Part] = [f"Not near enough: formula {', '.join(far)}."] if far else []
    return [
        f"{name}, from what stands on the shelf:",
        edge_to_edge(target_hex(target), below, names, f"Above: {name} under {first}"),
        Table(head=head, rows=tuple(rows), words=(1, 4)),
        *notes,
    ]


def _of_series(opened: OpenShop, fit: Fit, mix: str) -> list[Mix]:
    known = set(fit.palette.names)
    return [m for m in opened.shop.mixes if set(m.inks) <= known and mix in ("", m.name)]
