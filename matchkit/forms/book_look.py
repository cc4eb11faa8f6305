"""Looking things up in the book, copies of it, and the shelf."""

from collections.abc import Callable
from datetime import datetime

from matchkit.errors import InputError
from matchkit.files.readings import NamedSpectrum
from matchkit.files.text import parse_amount
from matchkit.forms import parts as ui
from matchkit.forms.book_rows import ReadingPicker
from matchkit.forms.rows import TargetPicker, known_inks
from matchkit.forms.shops import OpenShop, copies_folder
from matchkit.report import book
from matchkit.report.parts import Part
from matchkit.workflows import booking, looking_up, shelf, using_up
from matchkit.workflows.ink_history import LotDrawdown, check_lot
from matchkit.workflows.session import Session

ANY, NONE = "(any)", "(none)"
WORDS, COLOUR = "by words, ink and days", "by colour"


class FindPart:
    """Batches and formulas by words, ink, customer and day, or near a colour."""

    def __init__(self, opened: OpenShop, show: Callable[[int], None]) -> None:
        self.opened, self.show = opened, show
        self.problems, self.results = ui.area(), ui.area()
        self.which = ui.choice("Look at", [(NONE, None)])
        self.way = ui.choice("Look", [WORDS, COLOUR], WORDS, radio=True)
        self.text = ui.Field("Words of the colour or the job", "", str, short=False)
        self.customer = ui.Field("Customer, or part of it", "", str, short=False)
        self.ink = ui.choice("With the ink", [ANY, *known_inks(opened)], ANY)
        self.since = ui.Field("From the day", "", str)
        self.until = ui.Field("To the day", "", str)
        for field in (self.since, self.until):
            field.text.placeholder = "2026-03-02"
        self.target = TargetPicker(opened)
        self.within = ui.amount_field("Within dE00", "2", most=100)
        self.words = ui.below(
            ui.row(self.text.box, self.customer.box),
            ui.row(ui.boxed(self.ink), self.since.box, self.until.box),
        )
        self.colour = ui.below(self.target.box, self.within.box)
        self.look = ui.button("Find it", self.search, self.problems, main=True)
        self.box = ui.below(
            ui.boxed(self.way),
            self.words,
            self.colour,
            self.look,
            self.problems,
            self.results,
            ui.boxed(self.which),
        )
        self.which.observe(ui.safe(self._chosen, self.problems), names="value")
        ui.shown_by(self.way, {WORDS: self.words, COLOUR: self.colour})
        self._found([], [])

    def search(self) -> None:
        """Show what fits."""
        self._found([], [])
        session = self.opened.session()
        if self.way.value == COLOUR:
            (within,) = ui.read(self.within)
            near = looking_up.find_colour(session, self.target.wanted(session), within_de00=within)
            self._found(
                book.near_parts(near), [(f"{r.batch} {r.name}", r.batch) for r in near.near]
            )
            return
        ink = "" if self.ink.value == ANY else self.ink.value
        fields = (self.text, self.customer, self.since, self.until)
        text, customer, since, until = (field.text.value.strip() for field in fields)
        query = looking_up.Query(ink=ink, text=text, customer=customer, since=since, until=until)
        found = looking_up.find(session, query)
        batches = [(f"{r.batch} {r.name}, {r.job}", r.batch) for r in found.found]
        self._found(book.record_parts(found), batches)

    def _found(self, parts: list[Part], batches: list[tuple[str, int | None]]) -> None:
        """Show what was found, and the batches to choose from."""
        ui.put(self.results, parts)
        made = [each for each in batches if each[1] is not None]
        self.which.options = [(NONE, None), *made]
        self.which.value = None
        self.which.layout.display = None if made else "none"

    def _chosen(self) -> None:
        if self.which.value is not None:
            self.show(self.which.value)


class OrderPart:
    """What to buy, for which jobs, by when."""

    def __init__(self, opened: OpenShop) -> None:
        self.opened = opened
        self.problems, self.results = ui.area(), ui.area()
        self.days = ui.amount_field("Days ahead, and back", "30", most=1000)
        self.look = ui.button("Which inks run low?", self.list, self.problems, main=True)
        self.box = ui.below(self.days.box, self.look, self.problems, self.results)

    def list(self) -> None:
        """Show what to order."""
        self.results.value = ""
        (days,) = ui.read(self.days)
        if days != int(days):
            raise InputError(f"Days: {days:g} is no whole number")
        orders = shelf.reorder(self.opened.session(), days=int(days))
        ui.put(self.results, book.order_parts(orders))


class UseUpPart:
    """Which colours that are made again each leftover could become."""

    def __init__(self, opened: OpenShop) -> None:
        self.opened = opened
        self.problems, self.results = ui.area(), ui.area()
        self.grams = ui.amount_field("Batch, grams", "1000", most=1e6)
        self.look = ui.button(
            "Which colours could they become?", self.list, self.problems, main=True
        )
        self.box = ui.below(self.grams.box, self.look, self.problems, self.results)

    def list(self) -> None:
        """Show what could be worked off."""
        self.results.value = ""
        (grams,) = ui.read(self.grams)
        session = self.opened.session()
        found = using_up.use_up(session, batch_g=grams)
        ui.put(self.results, [*session.notices, *book.use_up_parts(found)])


class CopyPart:
    """Copies of the book beside the notebook, and the book again from one of them."""

    def __init__(self, opened: OpenShop, changed: Callable[[], None]) -> None:
        self.opened, self.changed = opened, changed
        self.problems, self.done = ui.area(), ui.area()
        self.which = ui.choice("Restore the book from", [NONE])
        self.save = ui.button("Save a backup", self._backup, self.problems, main=True)
        self.export = ui.button("Export it as CSV and JSON", self._export, self.problems)
        self.restore = ui.button("Restore the book", self._restore, self.problems)
        self.box = ui.below(
            ui.row(self.save, self.export),
            ui.row(ui.boxed(self.which), self.restore),
            self.problems,
            self.done,
        )
        self._listed()

    def _listed(self) -> None:
        """The copies there are, the newest first."""
        there = sorted(copies_folder().iterdir(), reverse=True)
        self.which.options = [NONE, *(path.name for path in there if path.name[0] != ".")]

    def _backup(self) -> None:
        self._tell(booking.backup(self.opened.session(), copies_folder()).text)

    def _export(self) -> None:
        name = f"export-{datetime.now():%Y-%m-%d-%H%M%S}"
        self._tell(booking.export(self.opened.session(), copies_folder() / name).text)

    def _restore(self) -> None:
        if self.which.value == NONE:
            raise InputError("choose a copy first; a shop that has a book keeps it")
        told = booking.restore(self.opened.session(), copies_folder() / self.which.value).text
        self.changed()
        self._tell(told)

    def _tell(self, words: str) -> None:
        self._listed()
        ui.tell(self.done, words, "done")


MOST_G = 1e7  # more is mistyped
CAME, OPENED, COUNTED = "a delivery came in", "a new lot was opened", "it was counted"
RETIRED = "the ink left the shop"
CHECKED = "a drawdown of a new lot was measured"
WHITE = "its white"


class ShelfPart:
    """`who` signs what is written; `changed` is told that something was."""

    def __init__(
        self, opened: OpenShop, who: Callable[[], str], changed: Callable[[], None]
    ) -> None:
        self.opened, self.signed, self.changed = opened, who, changed
        self.problems, self.done, self.shelf = ui.area(), ui.area(), ui.area()
        self.what = ui.choice(
            "What happened on the shelf?",
            [CAME, CHECKED, OPENED, COUNTED, RETIRED],
            CAME,
            radio=True,
        )
        self.name = ui.choice("Ink or leftover", known_inks(opened))
        self.grams = ui.Field("How much, grams", "", _grams)
        self.lot = ui.Field("Lot, as its label says", "", str, short=False)
        self.percent = ui.amount_field(
            "Percent of it (empty: it alone)", "10", most=99.9, empty=True
        )
        self.mixed = ui.amount_field("Mixed for the drawdown, grams", "50", most=1e6)
        self.only_say = ui.tick("Only show the result")
        self.open_now = ui.tick("The lot is in use now")
        self.base = ui.choice("Let down in", [WHITE, *known_inks(opened)], WHITE)
        self.reading = ReadingPicker(opened, "Spectrum of the lot")
        drawn = ui.row(self.percent.box, ui.boxed(self.base), self.mixed.box)
        self.check = ui.below(drawn, self.reading.box, ui.row(self.open_now, self.only_say))
        self.write = ui.button("Put it in the book", self._write, self.problems, main=True)
        self.look = ui.button("What is on the shelf?", self._look, self.problems)
        self.box = ui.below(
            ui.boxed(self.what),
            ui.row(ui.boxed(self.name), self.grams.box, self.lot.box),
            self.check,
            ui.row(self.write, self.look),
            self.problems,
            self.done,
            self.shelf,
        )
        self.what.observe(ui.safe(self._shown, self.problems), names="value")
        self._shown()

    def _shown(self) -> None:
        """The fields that what happened needs."""
        self.problems.value = self.done.value = ""
        weighed = self.what.value in (CAME, COUNTED)
        self.grams.box.layout.display = None if weighed else "none"
        self.check.layout.display = None if self.what.value == CHECKED else "none"
        if self.what.value == CHECKED:
            self.reading.look()
        self.lot.box.layout.display = "none" if self.what.value in (COUNTED, RETIRED) else None

    def _write(self) -> None:
        self.done.value = ""
        session = self.opened.session(who=self.signed())
        name, lot = self.name.value, self.lot.text.value.strip()
        if self.what.value == CHECKED:
            self._check(session, name, lot)
            return
        if self.what.value == OPENED:
            written = shelf.open_lot(session, name, lot)
        elif self.what.value == RETIRED:
            written = shelf.retire(session, name)
        else:
            (grams,) = ui.read(self.grams)
            came = self.what.value == CAME
            written = (
                shelf.deliver(session, name, grams, lot=lot)
                if came
                else shelf.count(session, name, grams)
            )
        self.grams.text.value = self.lot.text.value = ""
        self._look()
        self.changed()
        ui.tell(self.done, f"Written down. {written.text}", "done")

    def _check(self, session: Session, name: str, lot: str) -> None:
        """Judge a new lot by its drawdown; what is known of a lot of that ink is written down."""
        percent, mixed_g = ui.read(self.percent, self.mixed)
        base = "" if percent is None or self.base.value == WHITE else self.base.value
        drawn = LotDrawdown(ink=name, lot=lot, percent=percent, base=base, mixed_g=mixed_g)
        of_file, readings = self.reading.read()
        measured = NamedSpectrum(name=of_file, readings=readings)
        write, open_now = not self.only_say.value, self.open_now.value
        found = check_lot(session, drawn, measured, write=write, open_now=open_now)
        if found.record is not None:
            self.reading.empty()
            self.changed()
        ui.put(self.done, [*session.notices, *book.lot_check_parts(found)])

    def _look(self) -> None:
        """What there is, of which lot."""
        session = self.opened.session()
        held = shelf.stock(session)
        chosen, mixes = self.name.value, [mix.name for mix in session.shop.mixes]
        self.name.options = [*known_inks(self.opened), *mixes]
        self.name.value = chosen
        ui.put(self.shelf, book.stock_parts(held))


def _grams(text: str) -> float:
    """Grams on a shelf, which may be none."""
    grams = parse_amount(text, most=MOST_G)
    if grams > MOST_G:
        raise InputError(f"{text.strip()} is too much; at most {MOST_G:g}")
    return grams
