"""A shop as its record book has it at this moment: stock, and how strong today's lots are."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import ipywidgets as w
import numpy as np
from numpy.typing import NDArray

from matchkit.correcting.lots import Lots
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
    session = opened.session(use_lots=learning)
    if session.book is None:
        return Today(opened=opened, lots={}, words=())
    known = session.learned(measured)
    now = replace(opened, shop=session.shop, fits=known.fits)
    return Today(opened=now, lots=known.lots, words=known.words)


def counted_on(words: tuple[str, ...]) -> list[Part]:
    """What was learned, as a form says it above its answer."""
    return [f"Counted on: {line}." for line in words]


def lots_tick(opened: OpenShop) -> Any:
    """The tick that does without; it shows only where there is a book."""
    tick = w.Checkbox(value=True, description=LEARNED, indent=False)
    tick.layout.display = None if opened.has_book else "none"
    return tick
