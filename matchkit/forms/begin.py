"""How a form begins in any shop: with names that the shop has, or with what is to be done first.

Notebooks name inks and colours of the demo shop.  In a shop that has none of these a form
begins with what is there, and says so in a line; where no form can be made yet, a sentence
stands in its place, never a traceback.
"""

from collections.abc import Callable, Sequence
from typing import Any

from matchkit.errors import InputError
from matchkit.forms import parts as ui
from matchkit.forms.shops import AGAIN, OpenShop

MOST_LINES = 3  # of what is wrong with a shop; the cell that opens it tells all


def opened_form(opened: OpenShop, make: Callable[[], Any], *, fitted: bool = True) -> Any:
    """The widget that `make` gives, or a sentence where the shop can't have it yet.

    `fitted`: the form predicts colours, so the shop's inks must be measured.
    """
    lines = lacking(opened, fitted=fitted)
    if not lines:
        try:
            return make()
        except InputError as error:
            lines = ["This can't be shown yet.", *error.faults, AGAIN]
    place = ui.area()
    ui.put(place, lines)
    return ui.form(place, name="none")


def lacking(opened: OpenShop, *, fitted: bool = True) -> list[str]:
    """Why there is nothing to work on, and what to do; empty where there is."""
    if opened.shop.inks and (opened.fits or not fitted):
        return []
    head = "No shop is open." if not opened.shop.inks else "These inks can't be used yet."
    more = len(opened.lacks) - MOST_LINES
    rest = [f"(and {more} more lines, which the cell above tells)"] if more > 0 else []
    return [head, *opened.lacks[:MOST_LINES], *rest, AGAIN]


def first_of(names: Sequence[str], start: str, otherwise: str = "") -> tuple[str | None, str]:
    """The name to begin with, and a line where it is not `start`, since the shop has no such.

    None where there are no names; `otherwise` then says what to do.

    >>> first_of(["Lemon", "Red"], "Kelp Green")
    ('Lemon', "This shop has no 'Kelp Green'; the form starts with 'Lemon'.")
    """
    if start in names:
        return start, ""
    first = next(iter(names), None)
    if not start:
        return first, ""
    then = otherwise if first is None else f"the form starts with {first!r}"
    return first, f"This shop has no {start!r}; {then}."


def quiet(line: str) -> list[Any]:
    """The line as a part of a form, or no part where there is none."""
    if not line:
        return []
    place = ui.area()
    ui.tell(place, line, "quiet")
    return [place]
