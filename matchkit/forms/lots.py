"""The tick of a form that takes every lot as the one that was fitted."""

from typing import Any

import ipywidgets as w

from matchkit.forms.shops import OpenShop

LEARNED = "Use what the record book has learned of today's lots"


def lots_tick(opened: OpenShop) -> Any:
    """The tick that does without; it shows only where there is a book."""
    tick = w.Checkbox(value=True, description=LEARNED, indent=False)
    tick.layout.display = None if opened.has_book else "none"
    return tick
