"""From grams to a ticket: job size, weighing out, tickets."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from matchkit.book.entries import JobDetails
from matchkit.errors import InputError
from matchkit.files.text import typed
from matchkit.files.write import csv_text
from matchkit.forms import parts as ui
from matchkit.forms.begin import opened_form
from matchkit.forms.ink_history import lots_tick
from matchkit.forms.rows import FormulaRows
from matchkit.forms.shops import EXAMPLE_BATCH, FIRST_POUR, OpenShop, keep, listed_targets
from matchkit.paper.jobsize import UM_PER_MIL, JobSize, PrintJob
from matchkit.paper.ticket import Ticket
from matchkit.paper.weighing import CONTAINERS_ML, Container
from matchkit.report import formulas, printed
from matchkit.workflows.beginning import Source, begin
from matchkit.workflows.booked import BookedFormula
from matchkit.workflows.predicting import Formula, predict
from matchkit.workflows.session import Session
from matchkit.workflows.sizing import SizedBy, ink_for_job
from matchkit.workflows.wanted import Wanted, wanted_listed
from matchkit.workflows.weighing_out import TicketChoices, ticket

SENSITIVE = -1.0  # in place of a share
HELD = (
    ("nothing", 0.0),
    ("10 % of each colour", 0.1),
    ("20 % of each colour", 0.2),
    ("of the most sensitive inks, as much as pays", SENSITIVE),
)
UNKNOWN = "not said"


def container_named(name: str) -> Container | None:
    """What a form's list names, or None where it is not said."""
    return Container(name=name, volume_ml=CONTAINERS_ML[name]) if name in CONTAINERS_ML else None


class TicketPart:
    """`make` makes the ticket by what is chosen here; InputError where there is nothing yet.

    A form that asks for the container itself hands its `container` in.
    """

    def __init__(
        self, make: Callable[[TicketChoices], Ticket], number: int = 0, *, container: Any = None
    ) -> None:
        self.make = make
        self.problems, self.saved, self.page = ui.area(), ui.area(), ui.area()
        self.job = ui.Field("Job or customer", "", _job, short=False)
        self.container = container or ui.choice("Mixed in", [UNKNOWN, *CONTAINERS_ML])
        asked = [] if container else [ui.boxed(self.container)]
        self.letdowns = ui.tick("Weigh very small amounts from letdowns")
        self.hold = ui.choice("Hold back until the first drawdown", HELD, 0.0)
        self.preview = ui.button("Show the ticket", self.look, self.problems)
        self.save = ui.button("Save the ticket", self.write, self.problems, main=True)
        self.box = ui.section(
            f"{number}. The ticket" if number else "The ticket",
            ui.row(self.job.box, *asked, ui.boxed(self.hold)),
            self.letdowns,
            ui.row(self.preview, self.save),
            self.problems,
            self.saved,
            self.page,
        )

    def look(self) -> None:
        """Show the ticket, without saving it."""
        self.saved.value = ""
        ui.put(self.page, [printed.ticket_page(self.made())])

    def write(self) -> None:
        """Save the page and its weights, and show it ready to print."""
        made = self.made()
        page = printed.ticket_page(made)
        path = keep(made.job or made.target, ".html", page.html)
        keep(path.stem, ".csv", csv_text(["ink", "grams"], made.formula))
        lines = [f"Saved: {path.resolve()}", f"The formula is beside it, in {path.stem}.csv."]
        if made.first_pour:
            first = csv_text(["ink", "grams"], made.first_pour)
            kept = keep(path.stem, f"{FIRST_POUR}.csv", first)
            lines.append(
                f"What is in the container at the first drawdown, without what is held back, is in"
                f" {kept.name}: correcting starts from that."
            )
        ui.tell(self.saved, lines, "done")
        ui.put(self.page, [page])

    def clear(self) -> None:
        """No ticket of an older formula stays in sight."""
        self.saved.value = self.page.value = self.problems.value = ""

    def made(self) -> Ticket:
        """The ticket by what is chosen."""
        held = self.hold.value
        return self.make(
            TicketChoices(
                job=self.job.value,
                container=container_named(self.container.value),
                letdowns=self.letdowns.value,
                hold_colours=0.0 if held == SENSITIVE else held,
                hold_sensitive=held == SENSITIVE,
            )
        )


def _job(text: str) -> str:
    if len(text) > 60:
        raise InputError("longer than 60 letters; the ticket has no room for it")
    return text.strip()


NO_TARGET = "none: the formula is right as it is"


def weigh(opened: OpenShop, start: str = EXAMPLE_BATCH) -> Any:
    """The form; `start` is the saved batch that it starts with, if there is one."""
    return opened_form(opened, lambda: WeighForm(opened, start).box)


class WeighForm:
    """The form's widgets."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.problems, self.results = ui.area(), ui.area()
        self.rows = FormulaRows(opened, "percent", start)
        self.grams = ui.amount_field("Batch, grams", "500", most=1e6)
        self.target = ui.choice("Target", [NO_TARGET, *listed_targets(opened)], NO_TARGET)
        self.look = ui.button("What will it look like?", self.predict, self.problems, main=True)
        self.ticket = TicketPart(self.make, 3)
        self.lots = lots_tick(opened)
        ui.on_change([*self.rows.changing(), self.grams.text, self.target, self.lots], self._aged)
        self.box = ui.form(
            ui.section("1. The formula", self.rows.box),
            ui.section(
                "2. The batch",
                ui.row(self.grams.box, ui.boxed(self.target)),
                self.lots,
                self.look,
                self.problems,
                self.results,
            ),
            self.ticket.box,
            name="weigh",
        )

    def predict(self) -> None:
        """Show the colour that the formula will have, and its weights."""
        session, formula, wanted, batch_g = self._read()
        found = predict(session, formula, wanted=wanted, batch_g=batch_g)
        ui.put(self.results, [*session.notices, *formulas.prediction_parts(found)])

    def make(self, choices: TicketChoices) -> Ticket:
        """The ticket of what the entries say."""
        session, formula, wanted, batch_g = self._read()
        return ticket(session, formula, choices, wanted=wanted, batch_g=batch_g)

    def _read(self) -> tuple[Session, Formula, Wanted | None, float]:
        formula, (batch_g,) = ui.read_all(self.rows.formula, lambda: ui.read(self.grams))
        session = self.opened.session(use_lots=self.lots.value)
        name = self.target.value
        wanted = None if name == NO_TARGET else wanted_listed(session, name)
        return session, formula, wanted, batch_g

    def _aged(self) -> None:
        self.results.value = self.problems.value = ""
        self.ticket.clear()


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

    def __init__(self, opened: OpenShop, start: str = "", rows: Any = None) -> None:
        self.opened = opened
        self.problems, self.results = ui.area(), ui.area()
        self.rows = rows or FormulaRows(opened, "percent", start)
        self.prints = ui.Field("Prints", "300", _whole)
        self.units = ui.choice("Lengths in", [METRIC, US], METRIC)
        self.width = ui.amount_field("Artwork, width, cm", "30", most=1000)
        self.height = ui.amount_field("Artwork, height, cm", "40", most=1000)
        self.coverage = ui.amount_field("In this colour, %", "40", most=100)
        self.way = ui.choice("Ink of one stroke, given by", [MESH, WET], MESH, radio=True)
        self.mesh = ui.amount_field("Mesh, cm3 per m2", "60", most=1000)
        self.transfer = ui.amount_field("Of it on the garment, %", "60", most=100)
        self.wet = ui.amount_field("Wet thickness, um", "36", most=1000)
        self.strokes = ui.choice("Strokes", [1, 2, 3], 1)
        self.later = ui.amount_field("A further stroke, % of the first", "100", most=200)
        self.loss = ui.number_field("Loss, % on top", "10", 0, 500)
        self.screen = ui.number_field("To flood the screen, g", "0", 0, 1e5)
        self.density = ui.amount_field("Density, g/ml (empty: inks.csv)", "", most=10, empty=True)
        self.fabric = ui.Field("Fabric", "", _job)
        self.before = ui.tick("As before: by what closed jobs of this mesh and fabric took")
        self.container = ui.choice("Mixed in", [UNKNOWN, *CONTAINERS_ML])
        self.look = ui.button("How much ink?", self.tell, self.problems, main=True)
        self.ticket = TicketPart(self.make, 4, container=self.container)
        self.of_mesh, self.of_wet = ui.row(self.mesh.box, self.transfer.box), self.wet.box
        ui.shown_by(self.way, {MESH: self.of_mesh, WET: self.of_wet})
        self.units.observe(self._other_units, names="value")
        ui.on_change(self._entries(), self._aged)
        self.asked = self._asked()
        self.ink = ui.section("3. The ink", self.look, self.problems, self.results)
        self.box = ui.form(
            ui.section("1. The formula", self.rows.box), ui.section("2. The job", self.asked),
            self.ink, self.ticket.box, name="jobsize",
        )  # fmt: skip

    def size(self, session: Session | None = None) -> JobSize:
        """What the entries come to; every fault in them at once."""
        formula, job = self._read()
        container, density = container_named(self.container.value), self.density.value
        session = session or self.opened.session()
        return ink_for_job(session, formula, job, container=container, density=density)

    def make(self, choices: TicketChoices) -> Ticket:
        """The ticket of the formula, weighed out for the whole job."""
        formula, job = self._read()
        choices = replace(choices, print_job=job, density=self.density.value)
        return ticket(self.opened.session(), replace(formula, total_g=None), choices)

    def begin(self, who: str, name: str, details: JobDetails) -> tuple[Session, BookedFormula]:
        """Write the formula down with a batch of what the job needs; `who` signs."""
        formula, _ = self._read()
        session, sized_by = self.opened.session(who=who), self.sized_by()
        recipe = replace(formula, name=name or formula.name or details.job, total_g=None)
        source = Source(recipe=recipe)
        return session, begin(session, source, details, sized_by=sized_by)

    def sized_by(self) -> SizedBy:
        """What the batch is sized by."""
        _, job = self._read()
        return SizedBy(job=job, density=self.density.value)

    def tell(self) -> None:
        """Show how much."""
        session = self.opened.session()
        found = self.size(session)
        ui.put(self.results, [*session.notices, *printed.size_parts(found)])

    def _read(self) -> tuple[Formula, PrintJob]:
        formula, _ = ui.read_all(self.rows.formula, lambda: ui.read(*self._fields()))
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
            fabric=self.fabric.value,
            as_before=self.before.value,
        )

    def _asked(self) -> Any:
        return ui.below(
            ui.row(self.prints.box, ui.boxed(self.units)),
            ui.row(self.width.box, self.height.box, self.coverage.box),
            ui.boxed(self.way),
            self.of_mesh,
            self.of_wet,
            ui.row(self.loss.box, ui.boxed(self.container)),
            ui.folded(
                "more: strokes, screen, density, what jobs took before",
                ui.row(self.fabric.box, self.before),
                ui.row(ui.boxed(self.strokes), self.later.box),
                ui.row(self.screen.box, self.density.box),
            ),
        )

    def _fields(self) -> list[ui.Field]:
        way = [self.mesh, self.transfer] if self.way.value == MESH else [self.wet]
        size = [self.prints, self.width, self.height, self.coverage]
        return [*size, *way, self.later, self.loss, self.screen, self.density, self.fabric]

    def _entries(self) -> list[Any]:
        every = [*self._fields(), self.wet]
        chosen = [self.units, self.way, self.strokes, self.container, self.before]
        return [*self.rows.changing(), *(field.text for field in every), *chosen]

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
