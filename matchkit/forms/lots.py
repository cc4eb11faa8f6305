"""A shop as its record book has it at this moment: stock, and how strong today's lots are."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import ipywidgets as w
import numpy as np
from numpy.typing import NDArray

from matchkit.book.find import batch_read
from matchkit.book.lessons import learned
from matchkit.correcting.lots import Lots
from matchkit.forms.book_desk import Desk, begun, book_of, shop_now
from matchkit.forms.shops import OpenShop
from matchkit.report.parts import Part

__all__ = ["LEARNED", "Today", "by_the_book", "counted_on", "lots_tick"]

LEARNED = "Use what the record book has learned of today's lots"


@dataclass(frozen=True, kw_only=True)
class Today:
    """A shop to foretell with: `opened` has today's stock, and fits with today's lots.

    `lots` are what is known of those by series, empty where no book tells of them.
    """

    opened: OpenShop
    lots: Mapping[str, Lots]
    words: tuple[str, ...]  # what the book has learned


def by_the_book(
    opened: OpenShop, *, learning: bool = True, measured: NDArray[np.float64] | None = None
) -> Today:
    """The shop of today; without a book it is as it was opened.

    `measured` (n_wl,) is of a batch that is to be corrected: if the book has this reading,
    that batch is not heard a second time.
    """
    desk = Desk(opened=opened)
    if not begun(desk):
        return Today(opened=opened, lots={}, words=())
    held = book_of(desk)
    shop = shop_now(desk, held)
    heard = None if measured is None else batch_read(held, measured)
    told = learned(held, shop, opened.fits, learning=learning, without=heard)
    now = replace(opened, shop=shop, fits=told.fits)
    return Today(opened=now, lots=told.lots, words=told.words)


def counted_on(words: tuple[str, ...]) -> list[Part]:
    """What was learned, as a form says it above its answer."""
    return [f"Counted on: {line}." for line in words]


def lots_tick(opened: OpenShop) -> Any:
    """The tick that does without; it shows only where there is a book."""
    tick = w.Checkbox(value=True, description=LEARNED, indent=False)
    tick.layout.display = None if begun(Desk(opened=opened)) else "none"
    return tick
