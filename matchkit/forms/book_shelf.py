"""The folded part of the book's form about the shelf: deliveries, new lots, counting.

A new lot can be checked by one drawdown too: how strong it is, which the next match counts on.
"""

from collections.abc import Callable

import ipywidgets as w

from matchkit.errors import InputError
from matchkit.files.amounts import parse_amount
from matchkit.files.readings import NamedSpectrum
from matchkit.forms.book_rows import ReadingPicker
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
    tell,
)
from matchkit.forms.rows import known_inks
from matchkit.forms.shops import OpenShop
from matchkit.report.book import lot_check_parts, stock_parts
from matchkit.workflows import shelf
from matchkit.workflows.lot_checking import LotDrawdown, check_lot
from matchkit.workflows.session import Session

MOST_G = 1e7  # more is mistyped
CAME, OPENED, COUNTED = "a delivery came in", "a new lot was opened", "it was counted"
CHECKED = "a drawdown of a new lot was measured"
WHITE = "its white"


class ShelfPart:
    """`who` signs what is written; `changed` is told that something was."""

    def __init__(
        self, opened: OpenShop, who: Callable[[], str], changed: Callable[[], None]
    ) -> None:
        self.opened, self.signed, self.changed = opened, who, changed
        self.problems, self.done, self.shelf = alert(), area(), area()
        self.what = choice(
            "What happened on the shelf?", [CAME, CHECKED, OPENED, COUNTED], CAME, radio=True
        )
        self.name = choice("Ink or leftover", known_inks(opened))
        self.grams = Field("How much, grams", "", _grams)
        self.lot = Field("Lot, as its label says", "", str, short=False)
        self.percent = amount_field("Percent of it (empty: it alone)", "10", most=99.9, empty=True)
        self.mixed = amount_field("Mixed for the drawdown, grams", "50", most=1e6)
        self.only_say = w.Checkbox(value=False, description="Only say it", indent=False)
        self.open_now = w.Checkbox(value=False, description="It is open now", indent=False)
        self.base = choice("Let down in", [WHITE, *known_inks(opened)], WHITE)
        self.reading = ReadingPicker(opened, "Spectrum of the lot")
        drawn = row(self.percent.box, boxed(self.base), self.mixed.box)
        self.check = w.VBox([drawn, self.reading.box, row(self.open_now, self.only_say)])
        self.write = button("Put it in the book", self._write, self.problems, main=True)
        self.look = button("What is on the shelf?", self._look, self.problems)
        self.box = w.VBox(
            [
                boxed(self.what),
                row(boxed(self.name), self.grams.box, self.lot.box),
                self.check,
                row(self.write, self.look),
                self.problems,
                self.done,
                self.shelf,
            ]
        )
        self.what.observe(safe(self._shown, self.problems), names="value")
        self._shown()

    def _shown(self) -> None:
        """The fields that what happened needs."""
        self.problems.value = self.done.value = ""
        weighed = self.what.value in (CAME, COUNTED)
        self.grams.box.layout.display = None if weighed else "none"
        self.check.layout.display = None if self.what.value == CHECKED else "none"
        if self.what.value == CHECKED:
            self.reading.look()
        self.lot.box.layout.display = "none" if self.what.value == COUNTED else None

    def _write(self) -> None:
        self.done.value = ""
        session = self.opened.session(who=self.signed())
        name, lot = self.name.value, self.lot.text.value.strip()
        if self.what.value == CHECKED:
            self._check(session, name, lot)
            return
        if self.what.value == OPENED:
            written = shelf.open_lot(session, name, lot)
        else:
            (grams,) = read(self.grams)
            came = self.what.value == CAME
            written = (
                shelf.deliver(session, name, grams, lot=lot)
                if came
                else shelf.count(session, name, grams)
            )
        self.grams.text.value = self.lot.text.value = ""
        self._look()
        self.changed()
        tell(self.done, f"Written down. {written.text}", "done")

    def _check(self, session: Session, name: str, lot: str) -> None:
        """Judge a new lot by its drawdown; what is known of a lot of that ink is written down."""
        percent, mixed_g = read(self.percent, self.mixed)
        base = "" if percent is None or self.base.value == WHITE else self.base.value
        drawn = LotDrawdown(ink=name, lot=lot, percent=percent, base=base, mixed_g=mixed_g)
        of_file, readings = self.reading.read()
        measured = NamedSpectrum(name=of_file, readings=readings)
        write, open_now = not self.only_say.value, self.open_now.value
        found = check_lot(session, drawn, measured, write=write, open_now=open_now)
        if found.record is not None:
            self.reading.empty()
            self.changed()
        put(self.done, [*session.notices, *lot_check_parts(found)])

    def _look(self) -> None:
        """What there is, of which lot."""
        session = self.opened.session()
        held = shelf.stock(session)
        chosen, mixes = self.name.value, [mix.name for mix in session.shop.mixes]
        self.name.options = [*known_inks(self.opened), *mixes]
        self.name.value = chosen
        put(self.shelf, stock_parts(held))


def _grams(text: str) -> float:
    """Grams on a shelf, which may be none."""
    grams = parse_amount(text, most=MOST_G)
    if grams > MOST_G:
        raise InputError(f"{text.strip()} is too much; at most {MOST_G:g}")
    return grams
