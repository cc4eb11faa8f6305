"""The folded part of the book's form that begins a job: a colour, its formula, a batch."""

from collections.abc import Callable
from dataclasses import replace

import ipywidgets as w

from matchkit.book.entries import JobDetails
from matchkit.book.find import scanned
from matchkit.errors import InputError
from matchkit.files.recipe import read_recipe
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
    on_change,
    put,
    read,
    row,
    safe,
    section,
)
from matchkit.forms.shops import OpenShop, saved_recipes
from matchkit.forms.targets import TargetPicker
from matchkit.report.formulas import booked_parts
from matchkit.workflows import looking_up
from matchkit.workflows.beginning import Source, begin
from matchkit.workflows.booked import book_found
from matchkit.workflows.formula import recipe_in
from matchkit.workflows.formulas import ANY_LEFTOVER, Search
from matchkit.workflows.session import Session

COLOUR, BATCH = "a colour", "a past batch, as it ended"
KEPT, MIX = "a formula of the book, such as an old card", "a mix on the shelf"
FORMULAS = 200  # of the book in the list, the newest ones
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
        ways = (COLOUR, BATCH, KEPT, MIX)
        self.way = choice("What is the batch made from?", ways, COLOUR, radio=True)
        self.batch = Field("Its number, or its label scanned", "", str, short=False)
        self.kept = choice("Which one?", [])
        self.kept_box = boxed(self.kept)
        self.rematch = w.Checkbox(
            value=False, description="Match it anew, with today's lots", indent=False
        )
        self.grams = amount_field("Batch, grams", "1000", most=1e6)
        on_change([self.formula], self._sized)
        self.printed = PrintPart(opened)
        self.lots = w.Checkbox(value=True, description=LEARNED, indent=False)
        self.details = JobFields()
        self.write = button("Begin this job", self.begin, self.problems, main=True)
        self.colour = w.VBox([self.target.box, boxed(self.formula), self.printed.box])
        self.way.observe(safe(self._shown, self.problems), names="value")
        self._shown()
        self.box = w.VBox(
            [
                boxed(self.way),
                self.colour,
                self.batch.box,
                self.kept_box,
                self.rematch,
                self.grams.box,
                self.lots,
                self.details.box,
                self.write,
                self.problems,
                self.notes,
            ]
        )

    def _sized(self) -> None:
        """A saved recipe in grams says how big its batch is."""
        path = self.saved.get(self.formula.value)
        if path is not None and (grams := read_recipe(path).grams):
            self.grams.text.value = f"{sum(grams):g}"

    def _shown(self) -> None:
        """The fields that the source needs; formulas and mixes as there are now."""
        way, session = self.way.value, self.opened.session()
        for part, ways in (
            (self.colour, (COLOUR,)),
            (self.batch.box, (BATCH,)),
            (self.kept_box, (KEPT, MIX)),
            (self.rematch, (BATCH, KEPT, MIX)),
        ):
            part.layout.display = None if way in ways else "none"
        if way == KEPT and self.opened.has_book:
            found = looking_up.find(session, looking_up.Query(top=FORMULAS)).found
            self.kept.options = [(f"{each.formula} {each.name}", each.formula) for each in found]
        elif way == MIX:
            self.kept.options = [(mix.name, mix.name) for mix in session.shop.mixes]

    def _source(self, session: Session) -> Source:
        """What the batch is begun from."""
        if self.way.value == BATCH:
            return Source(batch=scanned(session.open_book(), self.batch.text.value))
        if self.way.value != COLOUR and self.kept.value is None:
            raise InputError(f"{self.way.value}: there is none yet")
        if self.way.value == KEPT:
            return Source(formula=self.kept.value)
        if self.way.value == MIX:
            return Source(mix=self.kept.value)
        wanted = self.target.wanted(session)
        name, _ = self.details.read()
        wanted = replace(wanted, name=name or wanted.name)
        path = self.saved.get(self.formula.value)
        recipe = None if path is None else recipe_in(session, path)
        return Source(wanted=wanted, recipe=recipe)

    def begin(self) -> None:
        """Write the target, the formula and the batch down."""
        self.notes.value = ""
        (grams,) = read(self.grams)
        session = self.opened.session(use_lots=self.lots.value, who=self.signed())
        _, details = self.details.read()
        leftover = ANY_LEFTOVER if self.formula.value == LEFTOVER else None
        search = Search(leftover=leftover, printed=self.printed.read())
        made = begin(
            session, self._source(session), details, search,
            batch_g=grams, rematch=self.rematch.value and self.way.value != COLOUR,
        )  # fmt: skip
        self.show(made.records.batch)
        begun = f"Begun: batch {made.records.batch}."
        put(self.notes, [begun, *session.notices, *booked_parts(made)])
