"""The folded part of the book's form that begins a job: a colour, its formula, a batch."""

from collections.abc import Callable
from dataclasses import replace

import ipywidgets as w

from matchkit.book.entries import JobDetails
from matchkit.forms.lots import LEARNED
from matchkit.forms.match import MatchForm, PrintPart
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
    section,
)
from matchkit.forms.shops import OpenShop, saved_recipes
from matchkit.forms.targets import TargetPicker
from matchkit.report.formulas import booked_parts
from matchkit.workflows.booked import book_best, book_found, book_recipe
from matchkit.workflows.formula import recipe_in
from matchkit.workflows.formulas import ANY_LEFTOVER, Search

FOUND, LEFTOVER = "the best one, found now", "the best one with a leftover, found now"


class JobFields:
    """Whose job it is, and how the colour is called."""

    def __init__(self) -> None:
        self.name = Field("Name of the colour (or empty)", "", str, short=False)
        self.job = Field("Job", "", str, short=False)
        self.customer = Field("Customer", "", str, short=False)
        self.due = Field("Due", "", str)
        self.due.text.placeholder = "2026-03-30"
        self.box = row(self.name.box, self.job.box, self.customer.box, self.due.box)

    def read(self) -> tuple[str, JobDetails]:
        """The name, which may be empty, and the rest."""
        job, customer, due = (each.text.value for each in (self.job, self.customer, self.due))
        details = JobDetails(job=job, customer=customer, due=due.strip())
        return self.name.text.value.strip(), details


class BeginPart:
    """Begins a job with the formula that is chosen in a form; `show` is told its batch."""

    def __init__(
        self, form: MatchForm, who: Callable[[], str], show: Callable[[int], None]
    ) -> None:
        self.form, self.signed, self.show = form, who, show
        self.problems, self.notes, self.details = alert(), area(), JobFields()
        self.write = button("Begin this job", self.begin, self.problems, main=True)
        self.box = section(
            "5. The job", self.details.box, self.write, self.problems, self.notes
        )  # fmt: skip

    def begin(self) -> None:
        """Write the target, the chosen formula and the batch down."""
        self.notes.value = ""
        session, found, k = self.form.chosen_formula(who=self.signed())
        name, details = self.details.read()
        made = book_found(session, found, k, details, name=name)
        put(self.notes, [f"Begun: batch {made.records.batch}.", *session.notices])
        self.show(made.records.batch)


class NewPart:
    """`who` signs; `show` is told the number of the batch that was begun."""

    def __init__(
        self, opened: OpenShop, who: Callable[[], str], show: Callable[[int], None]
    ) -> None:
        self.opened, self.signed, self.show = opened, who, show
        self.problems, self.notes = alert(), area()
        self.target = TargetPicker(opened)
        self.saved = saved_recipes(opened)
        self.formula = choice("Formula", [FOUND, LEFTOVER, *self.saved], FOUND)
        self.grams = amount_field("Batch, grams", "1000", most=1e6)
        self.printed = PrintPart(opened)
        self.lots = w.Checkbox(value=True, description=LEARNED, indent=False)
        self.details = JobFields()
        self.write = button("Begin this job", self.begin, self.problems, main=True)
        self.box = w.VBox(
            [
                self.target.box,
                row(boxed(self.formula), self.grams.box),
                self.printed.box,
                self.lots,
                self.details.box,
                self.write,
                self.problems,
                self.notes,
            ]
        )

    def begin(self) -> None:
        """Write the target, the formula and the batch down."""
        self.notes.value = ""
        (grams,) = read(self.grams)
        session = self.opened.session(use_lots=self.lots.value, who=self.signed())
        wanted = self.target.wanted(session)
        name, details = self.details.read()
        wanted = replace(wanted, name=name or wanted.name)
        path = self.saved.get(self.formula.value)
        if path is not None:
            formula = recipe_in(session, path)
            made = book_recipe(session, wanted, formula, details, batch_g=grams)
        else:
            leftover = ANY_LEFTOVER if self.formula.value == LEFTOVER else None
            search = Search(batch_g=grams, leftover=leftover, printed=self.printed.read())
            made = book_best(session, wanted, search, details)
        self.show(made.records.batch)
        begun = f"Begun: batch {made.records.batch}."
        put(self.notes, [begun, *session.notices, *booked_parts(made)])
