"""The folded part of the book's form about the shelf: deliveries, new lots, counting."""

from collections.abc import Callable

import ipywidgets as w

from matchkit.book import Book
from matchkit.book_checks import is_checked
from matchkit.book_stock import count, deliver, open_lot
from matchkit.faults import BadInput
from matchkit.files.amounts import parse_amount
from matchkit.forms.book_desk import Desk, begun, book_of, files_now, shop_now
from matchkit.forms.book_parts import shelf_parts
from matchkit.forms.parts import (
    Field,
    alert,
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
from matchkit.inks import Shop

__all__ = ["CAME", "COUNTED", "OPENED", "ShelfPart"]

NOT_KNOWN = "Its strength is not known yet."
MOST_G = 1e7  # more is a slip of the keyboard
CAME, OPENED, COUNTED = "a delivery came in", "a new lot was opened", "it was counted"


class ShelfPart:
    """`who` signs what is written; `changed` is told that something was."""

    def __init__(self, desk: Desk, who: Callable[[], str], changed: Callable[[], None]) -> None:
        self.desk, self.signed, self.changed = desk, who, changed
        self.problems, self.done, self.shelf = alert(), area(), area()
        self.what = choice("What happened on the shelf?", [CAME, OPENED, COUNTED], CAME, radio=True)
        self.name = choice("Ink or leftover", known_inks(desk.opened))
        self.grams = Field("How much, grams", "", _grams)
        self.lot = Field("Lot, as its label says", "", str, short=False)
        self.write = button("Put it in the book", self._write, self.problems, main=True)
        self.look = button("What is on the shelf?", self._look, self.problems)
        self.box = w.VBox(
            [
                boxed(self.what),
                row(boxed(self.name), self.grams.box, self.lot.box),
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
        self.grams.box.layout.display = "none" if self.what.value == OPENED else None
        self.lot.box.layout.display = "none" if self.what.value == COUNTED else None

    def _write(self) -> None:
        self.done.value = ""
        held = book_of(self.desk, self.signed(), create=True)
        words = self._written(files_now(self.desk), held)
        self.grams.text.value = self.lot.text.value = ""
        self._look()
        self.changed()
        tell(self.done, f"Written down: {words}", "done")

    def _written(self, shop: Shop, held: Book) -> str:
        name, lot = self.name.value, self.lot.text.value.strip()
        if self.what.value == OPENED:
            open_lot(held, shop, name, lot)
            known = is_checked(held, shop, name, lot)
            told = "Its check drawdown tells its strength." if known else NOT_KNOWN
            return f"{name}: lot {lot} from now on. {told}"
        (grams,) = read(self.grams)
        if self.what.value == COUNTED:
            count(held, shop, name, grams)
            return f"{name}: {grams:g} g are there."
        if not grams:
            raise BadInput("a delivery of 0 g is none; write how many grams came in")
        deliver(held, shop, name, grams, lot=lot)
        opened = f" When lot {lot} is opened, write that down too." if lot else ""
        return f"{name}: {grams:g} g came in.{opened}"

    def _look(self) -> None:
        """What there is, of which lot."""
        if not begun(self.desk):
            raise BadInput("this shop has no record book yet; it begins with the first record")
        shop = shop_now(self.desk, book_of(self.desk))
        chosen, mixes = self.name.value, [mix.name for mix in shop.mixes]
        self.name.options = [*known_inks(self.desk.opened), *mixes]
        self.name.value = chosen
        put(self.shelf, shelf_parts(shop))


def _grams(text: str) -> float:
    """Grams on a shelf, which may be none."""
    grams = parse_amount(text)
    if grams > MOST_G:
        raise BadInput(f"{text.strip()} is too much; at most {MOST_G:g}")
    return grams
