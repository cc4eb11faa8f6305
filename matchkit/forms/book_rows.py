"""Rows of the book's form: a new job, weighing, measuring, the shelf."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import ipywidgets as w

from matchkit.arrays import Array
from matchkit.book.entries import JobDetails
from matchkit.book.find import scanned
from matchkit.errors import InputError, raise_any
from matchkit.files.readings import NamedSpectrum
from matchkit.files.recipe import read_recipe
from matchkit.files.scale import SCALES
from matchkit.forms import ink_history, pouring
from matchkit.forms import parts as ui
from matchkit.forms.book_demo import MEASURED
from matchkit.forms.jobsize import JobForm, container_named
from matchkit.forms.match import MatchForm, PrintPart
from matchkit.forms.rows import SpectrumFile, TargetPicker
from matchkit.forms.shops import OpenShop, saved_recipes
from matchkit.report.formulas import booked_parts
from matchkit.workflows import looking_up, predicting
from matchkit.workflows.beginning import Source, begin
from matchkit.workflows.formulas import ANY_LEFTOVER, Search
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import scale_asked, spectra_in, spectrum_pasted

COLOUR, BATCH = "a colour", "a past batch, as it ended"
KEPT, MIX = "a formula of the book, such as an old card", "a mix on the shelf"
FORMULAS = 200  # of the book in the list, the newest ones
FOUND, LEFTOVER = "the best one, found now", "the best one with a leftover, found now"


class JobFields:
    """Whose job it is, and how the colour is called."""

    def __init__(self) -> None:
        self.name = ui.Field("Name of the colour (or empty)", "", str, short=False)
        self.job = ui.Field("Job", "", str, short=False)
        self.customer = ui.Field("Customer", "", str, short=False)
        self.due = ui.Field("Due", "", str)
        self.due.text.placeholder = "2026-03-30"
        self.note = ui.Field("Note", "", str, short=False)
        fields = (self.name, self.job, self.customer, self.due, self.note)
        self.box = ui.row(*(each.box for each in fields))

    def read(self) -> tuple[str, JobDetails]:
        """The name, which may be empty, and the rest."""
        fields = (self.job, self.customer, self.due, self.note)
        job, customer, due, note = (each.text.value.strip() for each in fields)
        details = JobDetails(job=job, customer=customer, due=due, note=note)
        return self.name.text.value.strip(), details


class BeginPart:
    """Begins a job by the `begin` of another form; `show` is told its batch."""

    def __init__(
        self,
        form: MatchForm | JobForm,
        who: Callable[[], str],
        show: Callable[[int], None],
        number: int = 5,
        size: JobForm | None = None,
    ) -> None:
        self.form, self.signed, self.show = form, who, show
        self.problems, self.notes, self.details = ui.area(), ui.area(), JobFields()
        self.write = ui.button("Begin this job", self.begin, self.problems, main=True)
        self.size, self.sized = size, ui.tick("The batch is what the print job needs")
        sizing = []
        if size is not None:
            fields = ui.below(size.asked, size.look, size.problems, size.results)
            fields.layout.display = "none"
            ui.on_change([self.sized], lambda: self._sized(fields))
            sizing = [self.sized, fields]
        self.box = ui.section(
            f"{number}. The job", *sizing, self.details.box, self.write, self.problems, self.notes
        )  # fmt: skip

    def _sized(self, fields: w.VBox) -> None:
        fields.layout.display = None if self.sized.value else "none"

    def begin(self) -> None:
        """Write the target, the chosen formula and the batch down."""
        self.notes.value = ""
        name, details = self.details.read()
        sized = [self.size] if self.size and self.sized.value else []
        named = (container_named(each.ticket.container.value) for each in (*sized, self.form))
        if container := next(filter(None, named), None):
            details = replace(details, container_ml=container.volume_ml)
        sized_by = [each.sized_by() for each in sized]
        session, made = self.form.begin(self.signed(), name, details, *sized_by)
        ui.put(self.notes, [f"Begun: batch {made.records.batch}.", *session.notices])
        self.show(made.records.batch)


class NewPart:
    """`who` signs; `show` is told the number of the batch that was begun."""

    def __init__(
        self, opened: OpenShop, who: Callable[[], str], show: Callable[[int], None]
    ) -> None:
        self.opened, self.signed, self.show = opened, who, show
        self.problems, self.notes = ui.area(), ui.area()
        self.target = TargetPicker(opened)
        self.saved = saved_recipes(opened)
        self.formula = ui.choice("Formula", [FOUND, LEFTOVER, *self.saved], FOUND)
        ways = (COLOUR, BATCH, KEPT, MIX)
        self.way = ui.choice("What is the batch made from?", ways, COLOUR, radio=True)
        self.batch = ui.Field("Its number, or its label scanned", "", str, short=False)
        self.kept = ui.choice("Which one?", [])
        self.kept_box = ui.boxed(self.kept)
        self.rematch = ui.tick("Match it anew, with today's lots")
        self.grams = ui.amount_field("Batch, grams", "1000", most=1e6)
        ui.on_change([self.formula], self._sized)
        self.printed = PrintPart(opened)
        self.lots = ui.tick(ink_history.LEARNED, True)
        self.details = JobFields()
        self.write = ui.button("Begin this job", self.begin, self.problems, main=True)
        self.colour = ui.below(self.target.box, ui.boxed(self.formula), self.printed.box)
        self.way.observe(ui.safe(self._shown, self.problems), names="value")
        self._shown()
        self.box = ui.below(
            ui.boxed(self.way),
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
        recipe = None if path is None else predicting.recipe_in(session, path)
        return Source(wanted=wanted, recipe=recipe)

    def begin(self) -> None:
        """Write the target, the formula and the batch down."""
        self.notes.value = ""
        (grams,) = ui.read(self.grams)
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
        ui.put(self.notes, [begun, *session.notices, *booked_parts(made)])


ASKED = {  # of a drawdown, by `containers.UNFIT`
    "unstirred": "It was not stirred well",
    "uncured": "It is not cured",
    "not hiding": "It does not hide the card",
}
FILES = 20  # of the folder, the newest ones
FOLDER, FILE = f"from the shop's folder {MEASURED!r}", "from a file of mine"
PASTED = "from values that I paste"


class ReadingPicker:
    """How a drawdown measured: a spectrum in the shop's folder, or a file that is handed in.

    Nothing is chosen beforehand: a reading written down for the wrong batch would be believed.
    """

    def __init__(self, opened: OpenShop, called: str = "Spectrum", *, asks: bool = False) -> None:
        self.opened = opened
        self.problem, self.notes = ui.area(), ui.area()
        self.found: dict[str, NamedSpectrum] = {}
        self.way = ui.choice("How did it measure?", [FILE, PASTED], FILE, radio=True)
        self.names = ui.choice(called, [(pouring.NONE, None)])
        self.file = SpectrumFile(opened, "Choose the measured file", "Which spectrum")
        self.taken = ui.area()
        self.pasted = ui.Field("Its values", "", str, short=False)
        self.listing = ui.below(ui.boxed(self.names), self.notes)
        self.unfit = {state: ui.tick(text) for state, text in ASKED.items() if asks}
        ticks = [*self.unfit.values()]
        self.box = ui.below(
            ui.boxed(self.way),
            self.problem,
            self.listing,
            self.file.box,
            self.pasted.box,
            self.taken,
            *ticks,
        )
        shown = {FOLDER: self.listing, FILE: self.file.box, PASTED: self.pasted.box}
        ui.shown_by(self.way, shown)

    def look(self) -> None:
        """See what lies in the folder now; what was chosen stays."""
        ui.safe(self._look, self.problem)()
        ways = [FOLDER, FILE, PASTED] if self.found else [FILE, PASTED]
        if self.way.options != tuple(ways):
            self.way.options = ways
            self.way.value = ways[0]

    def empty(self) -> None:
        """Nothing is chosen any more: what follows is another drawdown."""
        self.names.value = None
        self.file.upload.value = ()
        self.pasted.text.value = self.taken.value = ""
        for asked in self.unfit.values():
            asked.value = False
        self.look()

    @property
    def state(self) -> tuple[str, ...]:
        """What is wrong with the drawdown, by `containers.UNFIT`."""
        return tuple(state for state, asked in self.unfit.items() if asked.value)

    def read(self) -> tuple[str, Array]:
        """The spectrum's name and its readings (n_readings, n_wl)."""
        if self.way.value == FILE:
            return self.file.readings()
        if self.way.value == PASTED:
            session = self.opened.session()
            spectrum = spectrum_pasted(session, self.pasted.text.value)
            ui.tell(self.taken, [each.text for each in session.notices], "quiet")
            return spectrum.name, spectrum.readings
        if self.names.value is None:
            raise InputError("Spectrum: choose the one that was measured of this drawdown")
        chosen = self.found[self.names.value]
        return chosen.name, chosen.readings

    def _look(self) -> None:
        """The newest file comes first."""
        self.found, kept = {}, self.names.value
        notes: list[str] = []
        faults: list[str] = []
        for path in _newest(self.opened.folder / MEASURED):
            session, asked = self.opened.session(), None
            try:
                asked = scale_asked(session, path)
                for session.scale in SCALES if asked else [""]:  # where it is open, both are listed
                    of = f"{path.name}, {SCALES[session.scale]}" if asked else path.name
                    spectra = spectra_in(session, path)
                    self.found |= {f"{each.name} ({of})": each for each in spectra}
            except InputError as error:
                faults += error.faults
            notes += [each.text for each in session.notices if each.code == "reading" and not asked]
        self.names.options = [(pouring.NONE, None), *((name, name) for name in self.found)]
        self.names.value = kept if kept in self.found else None
        ui.tell(self.notes, notes, "quiet")
        raise_any(faults)


def _newest(folder: Path) -> list[Path]:
    files = [path for path in folder.glob("*") if path.is_file() and path.name[0] != "."]
    return sorted(files, key=lambda path: (-path.stat().st_mtime, path.name))[:FILES]
