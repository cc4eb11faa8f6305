"""Forms for notebooks: one line in a cell, and a mixer works with buttons and fields.

    from matchkit import forms
    shop = forms.open_shop()
    forms.match(shop)

Each form is a module of its own.  `stills` shows what a form shows, without widgets.
"""

from matchkit.forms import practise, stills
from matchkit.forms.book import book
from matchkit.forms.check import check
from matchkit.forms.choose import open_shop
from matchkit.forms.compare import compare
from matchkit.forms.correct import correct
from matchkit.forms.cover import cover
from matchkit.forms.curves import curves, turn
from matchkit.forms.ink_history import ink_history
from matchkit.forms.inks import inks, ladder_of
from matchkit.forms.jobsize import jobsize, weigh
from matchkit.forms.match import leftovers, match
from matchkit.forms.new_shop import new_shop
from matchkit.forms.plan import plan
from matchkit.forms.play import play
from matchkit.forms.readings import readings

hold = cover  # as it was once called

__all__ = [
    "book",
    "check",
    "compare",
    "correct",
    "cover",
    "curves",
    "ink_history",
    "inks",
    "jobsize",
    "ladder_of",
    "leftovers",
    "match",
    "new_shop",
    "open_shop",
    "plan",
    "play",
    "practise",
    "readings",
    "stills",
    "turn",
    "weigh",
]
