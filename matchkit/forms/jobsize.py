"""How much ink?  From prints and mesh to grams, and a ticket that tells it."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from matchkit.errors import InputError
from matchkit.files.amounts import typed
from matchkit.forms.begin import opened_form
from matchkit.forms.parts import (
    Field,
    alert,
    amount_field,
    area,
    boxed,
    button,
    choice,
    folded,
    form,
    number_field,
    on_change,
    put,
    read,
    read_all,
    row,
    section,
)
from matchkit.forms.rows import FormulaRows
from matchkit.forms.shops import EXAMPLE_BATCH, OpenShop
from matchkit.forms.tickets import UNKNOWN, TicketPart, container_named
from matchkit.paper.jobsize import UM_PER_MIL, JobSize, PrintJob
from matchkit.paper.ticket import Ticket
from matchkit.paper.weighing import CONTAINERS_ML
from matchkit.report.jobsize import size_parts
from matchkit.workflows.formula import Formula
from matchkit.workflows.weighing_out import TicketChoices, ink_for_job, ticket

# What the form starts with: an example to write over, no advice.
EXAMPLE = PrintJob(
    prints=300, area_cm2=1200.0, coverage=0.4, mesh_cm3_per_m2=60.0, transfer=0.6, loss=0.1
)
MESH, WET = "the mesh's ink volume, from its data sheet", "a wet thickness that was measured"
METRIC, US = "cm and um", "inches and mil (1/1000 inch)"
LENGTH, FILM = {METRIC: "cm", US: "inches"}, {METRIC: "um", US: "mil"}
CM_PER, UM_PER = {METRIC: 1.0, US: 2.54}, {METRIC: 1.0, US: UM_PER_MIL}


def jobsize(opened: OpenShop, start: str = EXAMPLE_BATCH) -> Any:
    """The form; `start` is the saved batch that it starts with, if there is one."""
    return opened_form(opened, lambda: JobForm(opened, start).box)


class JobForm:
    """The form's widgets.  Every number that goes in is a field."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.problems, self.results = alert(), area()
        self.rows = FormulaRows(opened, "percent", start)
        self.prints = Field("Prints", "300", _whole)
        self.units = choice("Lengths in", [METRIC, US], METRIC)
        self.width = amount_field("Artwork, width, cm", "30", most=1000)
        self.height = amount_field("Artwork, height, cm", "40", most=1000)
        self.coverage = amount_field("In this colour, %", "40", most=100)
        self.way = choice("The ink of one stroke is told by", [MESH, WET], MESH, radio=True)
        self.mesh = amount_field("Mesh, cm3 per m2", "60", most=1000)
        self.transfer = amount_field("Of it on the garment, %", "60", most=100)
        self.wet = amount_field("Wet thickness, um", "36", most=1000)
        self.strokes = choice("Strokes", [1, 2, 3], 1)
        self.later = amount_field("A further stroke, % of the first", "100", most=200)
        self.loss = number_field("Loss, % on top", "10", 0, 500)
        self.screen = number_field("To flood the screen, g", "0", 0, 1e5)
        self.density = amount_field("Density, g/ml (empty: inks.csv)", "", most=10, empty=True)
        self.container = choice("Mixed in", [UNKNOWN, *CONTAINERS_ML])
        self.look = button("How much ink?", self.tell, self.problems, main=True)
        self.ticket = TicketPart(self.make, 4, container=self.container)
        self.of_mesh, self.of_wet = row(self.mesh.box, self.transfer.box), self.wet.box
        self.way.observe(lambda _: self._shown(), names="value")
        self.units.observe(self._other_units, names="value")
        on_change(self._entries(), self._aged)
        self._shown()
        self.box = self._laid_out()

    def size(self) -> JobSize:
        """What the entries come to; every fault in them at once."""
        formula, job = self._read()
        container = container_named(self.container.value)
        density = self.density.value
        return ink_for_job(
            self.opened.session(), formula, job, container=container, density=density
        )

    def make(self, choices: TicketChoices) -> Ticket:
        """The ticket of the formula, weighed out for the whole job."""
        formula, job = self._read()
        choices = replace(choices, print_job=job, density=self.density.value)
        return ticket(self.opened.session(), replace(formula, total_g=None), choices)

    def tell(self) -> None:
        """Show how much."""
        put(self.results, size_parts(self.size()))

    def _read(self) -> tuple[Formula, PrintJob]:
        formula, _ = read_all(self.rows.formula, lambda: read(*self._fields()))
        return formula, self._job()

    def _job(self) -> PrintJob:
        unit, mesh = self.units.value, self.way.value == MESH
        return PrintJob(
            prints=self.prints.value,
            area_cm2=self.width.value * self.height.value * CM_PER[unit] ** 2,
            coverage=self.coverage.value / 100,
            mesh_cm3_per_m2=self.mesh.value if mesh else None,
            transfer=self.transfer.value / 100 if mesh else None,
            wet_um=None if mesh else self.wet.value * UM_PER[unit],
            strokes=self.strokes.value,
            later_stroke=self.later.value / 100,
            loss=self.loss.value / 100,
            screen_g=self.screen.value,
        )

    def _laid_out(self) -> Any:
        return form(
            section("1. The formula", self.rows.box),
            section(
                "2. The job",
                row(self.prints.box, boxed(self.units)),
                row(self.width.box, self.height.box, self.coverage.box),
                boxed(self.way),
                self.of_mesh,
                self.of_wet,
                row(self.loss.box, boxed(self.container)),
                folded(
                    "more: strokes, screen, density",
                    row(boxed(self.strokes), self.later.box),
                    row(self.screen.box, self.density.box),
                ),
            ),
            section("3. The ink", self.look, self.problems, self.results),
            self.ticket.box,
            name="jobsize",
        )

    def _fields(self) -> list[Field]:
        way = [self.mesh, self.transfer] if self.way.value == MESH else [self.wet]
        size = [self.prints, self.width, self.height, self.coverage]
        return [*size, *way, self.later, self.loss, self.screen, self.density]

    def _entries(self) -> list[Any]:
        every = [*self._fields(), self.wet]
        chosen = [self.units, self.way, self.strokes, self.container]
        return [*self.rows.changing(), *(field.text for field in every), *chosen]

    def _shown(self) -> None:
        """Only what the chosen way asks for."""
        for way, part in ((MESH, self.of_mesh), (WET, self.of_wet)):
            part.layout.display = None if self.way.value == way else "none"

    def _other_units(self, change: Mapping[str, str]) -> None:
        """Turn the lengths into the other units; what can't be read stays as it is typed."""
        old, new = change["old"], change["new"]
        for field, name, per in (
            (self.width, f"Artwork, width, {LENGTH[new]}", CM_PER),
            (self.height, f"Artwork, height, {LENGTH[new]}", CM_PER),
            (self.wet, f"Wet thickness, {FILM[new]}", UM_PER),
        ):
            if not field.look():
                field.text.value = typed(field.value * per[old] / per[new], 5)
            field.text.description = name

    def _aged(self) -> None:
        self.results.value = self.problems.value = ""
        self.ticket.clear()


def _whole(text: str) -> int:
    text = text.strip()
    if not (text.isascii() and text.isdigit() and 0 < int(text) <= 10**6):
        raise InputError(f"{text!r}: write a whole number, 1 to 1000000")
    return int(text)
