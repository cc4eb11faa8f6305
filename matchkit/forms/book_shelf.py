"""The folded part of the book's form about the shelf: deliveries, new lots, counting.

A new lot can be checked by one drawdown too: how strong it is, which the next match counts on.
"""

from collections.abc import Callable

import ipywidgets as w

from matchkit.book.checks import is_checked, log_check
from matchkit.book.shelf import lots_now
from matchkit.book.stock import count, deliver, open_lot
from matchkit.correcting.lot_check import judge_lot, letdown
from matchkit.errors import InputError
from matchkit.files.amounts import parse_amount
from matchkit.forms.book_parts import shelf_parts
from matchkit.forms.book_rows import ReadingPicker
from matchkit.forms.parts import (
    Field,
    alert,
    area,
    boxed,
    button,
    choice,
    number_field,
    put,
    read,
    row,
    safe,
    tell,
)
from matchkit.forms.rows import known_inks
from matchkit.forms.shops import OpenShop
from matchkit.inks.shop import Drawdown
from matchkit.matching.probability import spread_of
from matchkit.workflows.session import Session

__all__ = ["CAME", "CHECKED", "COUNTED", "OPENED", "ShelfPart"]

NOT_KNOWN = "Its strength is not known yet."
MOST_G = 1e7  # more is a slip of the keyboard
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
        self.percent = number_field("Percent of it in the letdown", "10", 0.1, 99.9)
        self.base = choice("Let down in", [WHITE, *known_inks(opened)], WHITE)
        self.reading = ReadingPicker(opened, "Spectrum of the lot")
        self.check = w.VBox([row(self.percent.box, boxed(self.base)), self.reading.box])
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
        session.open_book(create=True)
        if self.what.value == CHECKED:
            self._checked(session)
            return
        words = self._written(session)
        self.grams.text.value = self.lot.text.value = ""
        self._look()
        self.changed()
        tell(self.done, f"Written down: {words}", "done")

    def _written(self, session: Session) -> str:
        shop, held = session.files, session.open_book()
        name, lot = self.name.value, self.lot.text.value.strip()
        if self.what.value == OPENED:
            if open_lot(held, shop, name, lot) is None:
                raise InputError(f"{name}: lot {lot} is open already; nothing is changed")
            known = is_checked(held, shop, name, lot)
            told = "Its check drawdown tells its strength." if known else NOT_KNOWN
            return f"{name}: lot {lot} from now on. {told}"
        (grams,) = read(self.grams)
        if self.what.value == COUNTED:
            count(held, shop, name, grams)
            return f"{name}: {grams:g} g are there."
        if not grams:
            raise InputError("a delivery of 0 g is none; write how many grams came in")
        deliver(held, shop, name, grams, lot=lot)
        opened = f" When lot {lot} is opened, write that down too." if lot else ""
        return f"{name}: {grams:g} g came in.{opened}"

    def _checked(self, session: Session) -> None:
        """Judge a new lot by its letdown; a lot of that ink is written down."""
        shop, held = session.files, session.open_book()
        name, lot = self.name.value, self.lot.text.value.strip()
        if not lot:
            raise InputError("a lot needs its name; copy it from the container")
        (percent,) = read(self.percent)
        base = "" if self.base.value == WHITE else self.base.value
        inks, fractions = letdown(shop, name, percent, base)
        of_file, readings = self.reading.read()
        drawdown = Drawdown(name=of_file, inks=inks, fractions=fractions, readings=readings)
        found = session.learned().fits[session.fit_of([name])[0]]
        verdict = judge_lot(
            found.palette, name, [drawdown],
            spread_of(found.palette, found.error_Lab, shop.resolution_g),
            light=shop.lights[0], observer=shop.observer, lot=lot, reference=shop.hiding,
        )  # fmt: skip
        if verdict.kind == "another":
            tell(self.done, [*verdict.words, "Nothing is written down."])
            return
        log_check(held, shop, drawdown, verdict)
        now = "The next formula counts on it."
        if lots_now(held, shop)[name] != lot:
            now = f"It counts once lot {lot} is opened: write that down too."
        self.reading.empty()
        self.changed()
        first, *more = verdict.words
        tell(self.done, [f"Written down: {first}.", *more, now], "done")

    def _look(self) -> None:
        """What there is, of which lot."""
        session = self.opened.session()
        session.open_book()
        shop = session.shop
        chosen, mixes = self.name.value, [mix.name for mix in shop.mixes]
        self.name.options = [*known_inks(self.opened), *mixes]
        self.name.value = chosen
        put(self.shelf, shelf_parts(shop))


def _grams(text: str) -> float:
    """Grams on a shelf, which may be none."""
    grams = parse_amount(text)
    if grams > MOST_G:
        raise InputError(f"{text.strip()} is too much; at most {MOST_G:g}")
    return grams
