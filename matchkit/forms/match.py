"""Find a starting formula: a target goes in, formulas and a ticket come out."""

from collections.abc import Callable
from typing import Any

import ipywidgets as w

from matchkit.book.entries import JobDetails
from matchkit.errors import InputError
from matchkit.forms import parts as ui
from matchkit.forms.begin import first_of, opened_form, quiet
from matchkit.forms.ink_history import lots_tick
from matchkit.forms.jobsize import TicketPart
from matchkit.forms.rows import TargetPicker, light_options
from matchkit.forms.shops import OpenShop
from matchkit.matching.prints import garments, has_films
from matchkit.paper.ticket import Ticket
from matchkit.report.formulas import formula_parts, overview_parts, reach_parts
from matchkit.workflows.booked import BookedFormula, book_found
from matchkit.workflows.finding import find_formulas
from matchkit.workflows.formulas import ANY_LEFTOVER, FoundFormulas, Search
from matchkit.workflows.predicting import Formula
from matchkit.workflows.printed import PrintedOver
from matchkit.workflows.session import Session
from matchkit.workflows.sizing import SizedBy
from matchkit.workflows.weighing_out import TicketChoices, found_ticket

OTHERS = (
    ("not at all", 0.0),
    ("a little (0.2)", 0.2),
    ("half as much (0.5)", 0.5),
    ("as much (1)", 1.0),
)
PREFER = (
    ("the nearest under the first light", "nearest"),
    ("the best chance at the first drawdown", "chance"),
    ("the nearest under the worst light", "steady"),
)
FRESH, ANY = "fresh ink only", "whichever leftover saves most"
NO_LEFTOVER = (
    "no leftover is on the shelf yet: notebook 9 puts one there when a job is closed, or write"
    " it into mixes.csv in the shop's folder (name,ink,percent,stock_g: a row for each ink)"
)
HIDES = "a drawdown that hides"


def match(opened: OpenShop, target: str = "") -> Any:
    """The form; `target` is the colour of the shop's list that it starts with."""
    return opened_form(opened, lambda: MatchForm(opened, target).box)


def leftovers(opened: OpenShop, target: str = "", mix: str = "") -> Any:
    """The form of `match`, set to use up a leftover: a named mix, or whichever saves most."""
    return opened_form(opened, lambda: MatchForm(opened, target, mix or ANY).box)


class PrintPart:
    """What a formula is printed on, and how thick; hidden where no film was measured."""

    def __init__(self, opened: OpenShop) -> None:
        shop = opened.shop
        names = [each.name for each in garments(shop)] if has_films(shop) else []
        self.over = ui.choice(
            "Looked at as",
            [
                (f"a drawdown over {shop.over}" if shop.over else HIDES, ""),
                *((f"a print on {n}", n) for n in names),
            ],
        )
        self.thickness = ui.amount_field("Print, um thick", "60", most=1e4)
        self.underbase = ui.amount_field("White below it, um (or empty)", "", empty=True, most=1e4)
        self.fields = ui.row(self.thickness.box, self.underbase.box)
        self.box = ui.below(ui.boxed(self.over), self.fields)
        self.box.layout.display = None if names else "none"
        self.over.observe(lambda _: self._shown(), names="value")
        self._shown()

    def read(self) -> PrintedOver | None:
        """The print; None for a drawdown that hides."""
        if not self.over.value:
            return None
        thickness, underbase = ui.read(self.thickness, self.underbase)
        return PrintedOver(over=self.over.value, thickness_um=thickness, underbase_um=underbase)

    def changing(self) -> list[Any]:
        """The widgets that change what is meant."""
        return [self.over, self.thickness.text, self.underbase.text]

    def _shown(self) -> None:
        self.fields.layout.display = None if self.over.value else "none"


class MatchForm:
    """The form's widgets, and the formulas that were found last.

    `leftover` is the mix of the shelf that it starts with: ANY, or FRESH for none.
    """

    def __init__(self, opened: OpenShop, start: str = "", leftover: str = FRESH) -> None:
        self.opened = opened
        self.found: FoundFormulas | None = None
        self.filling = False
        self.again: str | None = None  # the formula to choose when they are found again
        self.problems, self.stale = ui.area(), ui.area()
        self.results, self.detail = ui.area(), ui.area()
        self.picker = TargetPicker(opened, start, new=True)
        self.grams = ui.amount_field("Batch, grams", "1000", most=1e6)
        self.most = ui.choice("Inks at most", [2, 3, 4, 5, 6], 4)
        mixes = [mix.name for mix in opened.session().shop.mixes]
        made_of = [FRESH, ANY] if leftover == FRESH else [ANY, FRESH]
        first, note = first_of([*made_of, *mixes], leftover)
        self.note = note if mixes or leftover == FRESH else NO_LEFTOVER
        self.mix = ui.choice("Made of", [*made_of, *mixes], first)
        self.printed = PrintPart(opened)
        self.others = ui.choice("The other lights count", OTHERS, 0.2)
        self.prefer = ui.choice("List first", PREFER, "nearest")
        self.every = ui.tick("Also list formulas that are mostly clear or less sure")
        self.lights = {
            light: ui.tick(words, light in opened.shop.lights[1:])
            for words, light in light_options(opened.shop)
            if light != opened.shop.lights[0]
        }
        self.without = {ink.name: ui.tick(ink.name) for ink in opened.shop.inks}
        self.lots = lots_tick(opened)
        self.run = ui.Runner(
            "Find formulas", self._work, self._answer, self.problems, "combinations of inks tried"
        )
        self.first = ui.button("Use the leftover first", self._with_it, self.problems)
        self.first.layout.display = "none"
        self.pick = ui.choice("Which formula do you want?", [], radio=True)
        self.chosen = ui.below(ui.boxed(self.pick), self.detail)
        self.chosen.layout.display = "none"
        self.ticket = TicketPart(self.make, 4)
        self.pick.observe(ui.safe(self._picked, self.problems), names="value")
        ui.on_change(self._entries(), self._aged)
        self.box = self._laid_out("leftovers" if leftover != FRESH else "match")

    def make(self, choices: TicketChoices) -> Ticket:
        """The ticket of the formula that was chosen."""
        return found_ticket(*self.chosen_formula(), choices)

    def begin(
        self, who: str, name: str, details: JobDetails, sized_by: SizedBy | None = None
    ) -> tuple[Session, BookedFormula]:
        """Write the chosen formula down with a batch to make of it; `who` signs."""
        session, found, k = self.chosen_formula(who=who)
        return session, book_found(session, found, k, details, name=name, sized_by=sized_by)

    def formula(self) -> Formula:
        """The chosen formula, for whoever asks how much of it a job needs."""
        _, found, k = self.chosen_formula()
        made = found.ranked(k + 1).formula
        return Formula(amounts=dict(zip(made.inks, made.grams, strict=True)))

    def changing(self) -> list[Any]:
        """The widgets that change which formula that is."""
        return [self.pick]

    def chosen_formula(self, who: str = "") -> tuple[Session, FoundFormulas, int]:
        """A session that `who` signs, the formulas that were found, and the place of one.

        Raises InputError where there is none yet, or the entries have changed since.
        """
        if self.found is None or self.pick.value is None:
            raise InputError("there is no formula yet: press 'Find formulas' first")
        if self.stale.value:
            raise InputError(
                "the entries have changed since these formulas were found: press 'Find formulas'"
                " again, then go on with one of them"
            )
        session = self.opened.session(use_lots=self.lots.value, who=who)
        return session, self.found, self.pick.value

    def find_again(self, chosen: str) -> None:
        """Find what was found before, and choose the formula that was chosen of it."""
        self.again = chosen
        self.run.start.click()

    def _laid_out(self, name: str) -> Any:
        first = self.opened.shop.lights[0]
        return ui.form(
            ui.section("1. The colour", self.picker.box),
            ui.section(
                "2. What matters",
                *quiet(self.note),
                ui.row(self.grams.box, ui.boxed(self.most), ui.boxed(self.mix)),
                self.printed.box,
                self.lots,
                ui.folded(
                    "more choices: lights, order, inks to leave out",
                    ui.row(ui.boxed(self.prefer), ui.boxed(self.others)),
                    self.every,
                    w.HTML(f"<p><b>Matched under {first}.</b> Judged under these too:</p>"),
                    ui.row(*self.lights.values()),
                    w.HTML("<p><b>Leave out these inks</b></p>"),
                    ui.row(*self.without.values()),
                ),
            ),
            ui.section(
                "3. The formulas",
                self.run.box,
                self.problems,
                self.stale,
                self.first,
                self.results,
                self.chosen,
            ),
            self.ticket.box,
            name=name,
        )

    def _entries(self) -> list[Any]:
        ticked = [self.lots, self.every, *self.lights.values(), *self.without.values()]
        plain = [self.grams.text, self.most, self.mix, self.others, self.prefer]
        return [*self.picker.changing(), *self.printed.changing(), *plain, *ticked]

    def _work(self) -> Callable[[Callable[[int, int], None]], tuple[Session, FoundFormulas]]:
        """Read the form; what is wrong with it is told before any work begins."""
        (grams,) = ui.read(self.grams)
        others = [light for light, box in self.lights.items() if box.value]
        session = self.opened.session(use_lots=self.lots.value)
        lights = (self.opened.shop.lights[0], *others)
        wanted = self.picker.wanted(session, self.others.value, lights)
        mix = self.mix.value
        if mix == ANY and not session.shop.mixes:
            raise InputError(NO_LEFTOVER)
        search = Search(
            batch_g=grams,
            max_inks=self.most.value,
            without=tuple(ink for ink, box in self.without.items() if box.value),
            prefer=self.prefer.value,
            every=self.every.value,
            leftover=None if mix == FRESH else ANY_LEFTOVER if mix == ANY else mix,
            printed=self.printed.read(),
        )
        return lambda progress: (
            session, find_formulas(session, wanted, search, progress=progress)
        )  # fmt: skip

    def _answer(self, answer: tuple[Session, FoundFormulas]) -> None:
        before = None
        if self.found is not None and self.pick.value is not None:
            before = {*self.found.formulas[self.pick.value].formula.inks}
        session, self.found = answer
        self.stale.value = ""
        self.first.layout.display = None if self.found.same else "none"
        shown = [*reach_parts(self.found), *overview_parts(self.found)]
        ui.put(self.results, [*session.notices, *shown])
        self.ticket.clear()
        self.filling = True  # else the pictures are drawn for every step on the way
        self.pick.options = [
            (f"Formula {k + 1}" + (", mostly clear" if each.formula.mostly_clear else ""), k)
            for k, each in enumerate(self.found.formulas)
        ]
        self.pick.value = self._choice(self.found, before)
        self.filling = False
        self.chosen.layout.display = None if self.found.formulas else "none"
        self._picked()

    def _with_it(self) -> None:
        """Formulas again, with the leftover that is this colour."""
        assert self.found is not None and self.found.same is not None
        name = self.found.same.name
        if name not in self.mix.options:  # shelved since the form was made
            self.mix.options = [*self.mix.options, name]
        self.mix.value = name
        self.run.start.click()

    def _choice(self, found: FoundFormulas, before: set[str] | None) -> int | None:
        """The formula that was asked for, else that of the inks `before`, else the best."""
        wanted, self.again = self.again, None
        named = (k for words, k in self.pick.options if words == wanted)
        same = (k for k, each in enumerate(found.formulas) if {*each.formula.inks} == before)
        best = found.best_that_hides if found.formulas else None
        return next(named, next(same, best))

    def _picked(self) -> None:
        if self.filling or self.found is None or self.pick.value is None:
            return
        self.ticket.clear()
        ui.put(self.detail, formula_parts(self.found, self.pick.value, closely=True))

    def _aged(self) -> None:
        """The formulas in sight are no longer those of the entries above them."""
        self.run.aged()
        self.problems.value = ""
        if self.found is not None:
            self.stale.value = (
                '<div role="status" class="mk-quiet"><b>The entries above have changed since; '
                "press Find formulas again.</b></div>"
            )
