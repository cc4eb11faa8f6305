"""The Python door: each job by one call, on a shop that `read_shop` gave.

It translates plain Python (dicts of grams, arrays) into what the functions of `workflows`
take, and decides nothing.  `matchkit` hands these names on.
"""

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.grid import N_WL, check_reflectance
from matchkit.errors import InputError
from matchkit.files.write import data_folder
from matchkit.paper.ticket import Ticket
from matchkit.workflows import (
    checking,
    comparing,
    correcting_batch,
    finding,
    fitting_inks,
    predicting,
    weighing_out,
)
from matchkit.workflows.correcting_batch import Advice, Mixed
from matchkit.workflows.finishing_batch import CorrectOptions
from matchkit.workflows.fitting_inks import InksFitted
from matchkit.workflows.formulas import FoundFormulas, Search
from matchkit.workflows.predicting import Formula, Prediction
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import Wanted


def read_shop(folder: str | Path, *, use_lots: bool = True) -> Session:
    """Open a shop folder; its files, fits and record book are read as they are needed.

    With `use_lots=False` every lot of ink is taken as the one that was drawn down, whatever
    the record book has learned.  Raises InputError, with every fault, once a file that is
    needed can't be read.

    >>> read_shop(data_folder() / "demo-shop").files.name
    'Quay Street Print Room'
    """
    return Session(folder, use_lots=use_lots)


@cache
def demo_shop() -> Session:
    """The invented shop that comes with matchkit, to try things on.

    >>> demo_shop().settings.lights
    ('D65', 'A', 'FL11')
    """
    return read_shop(data_folder() / "demo-shop")


def fit(shop: Session, *, theory: str = "best") -> InksFitted:
    """Fit the inks of a shop to its drawdowns, or use the fit that is kept beside them.

    `theory` is "best", "two-constant" or "single-constant"; else InputError.

    >>> sorted(fit(demo_shop()).fits)
    ['plastisol']
    """
    return fitting_inks.fit_inks(shop, theory)


def match(
    shop: Session,
    target: Target,
    *,
    batch_g: float = 1000.0,
    max_inks: int = 4,
    top: int = 5,
    without: Sequence[str] = (),
    name: str = "target",
) -> FoundFormulas:
    """Find formulas for a colour, best first, from the inks there are today.

    `max_inks` counts every ink, white and clear too; `without` names inks to leave out.  A
    poor match is an answer; InputError is raised for options that can't be met.

    >>> teal = Target.from_spectrum(demo_shop().targets["Sea teal"])
    >>> best = match(demo_shop(), teal, max_inks=3).formulas[0].formula
    >>> len(best.inks), sum(best.grams)
    (3, 1000.0)
    """
    search = Search(batch_g=batch_g, max_inks=max_inks, top=top, without=tuple(without))
    return finding.find_formulas(shop, Wanted(name=name, target=target), search)


def predict(shop: Session, formula: Mapping[str, float]) -> Prediction:
    """Predict the colour of a formula, amounts by mass of inks and mixes by their names.

    >>> predict(demo_shop(), {"Quay White": 95, "Kelp Green": 5}).to_dict()["lab"]["D65"][1] < 0
    True
    """
    return predicting.predict(shop, Formula(amounts=formula))


def compare(
    shop: Session, target: Target, formulas: Mapping[str, Mapping[str, float]]
) -> comparing.RecipesCompared:
    """Compare named formulas with a target under each of its lights.

    >>> teal = Target.from_spectrum(demo_shop().targets["Sea teal"], ("D65", "A"))
    >>> two = {"one": {"Quay White": 80, "Kelp Green": 20}, "two": {"Quay White": 100}}
    >>> [each["name"] for each in compare(demo_shop(), teal, two).to_dict()["recipes"]]
    ['one', 'two']
    """
    recipes = [Formula(name=name, amounts=amounts) for name, amounts in formulas.items()]
    return comparing.compare(shop, Wanted(name="target", target=target), recipes)


def check(shop: Session, target: Target, readings: ArrayLike) -> checking.Check:
    """Judge a drawdown by one reading (n_wl,) or several (n_readings, n_wl), 0-1.

    >>> teal = demo_shop().targets["Sea teal"]
    >>> check(demo_shop(), Target.from_spectrum(teal), 1.02 * teal).verdict.passed
    True
    """
    R = np.array([_reading(each) for each in np.atleast_2d(np.asarray(readings, dtype=float))])
    return checking.check(shop, Wanted(name="target", target=target), R)


def correct(
    shop: Session,
    target: Target,
    weighed: Mapping[str, float],
    reading: ArrayLike | None = None,
    *,
    room_g: float = np.inf,
) -> Advice:
    """Find the least additions for a batch of `weighed` grams by ink, and what went wrong.

    `reading` (n_wl,), 0-1, is that of its cured drawdown; leave it out where nothing was measured
    yet.  `room_g` is how much more the container holds.  Raises InputError for a reading that
    these inks can't give.

    >>> teal = Target.from_spectrum(demo_shop().targets["Sea teal"])
    >>> grams = {"Quay White": 300.0, "Kelp Green": 100.0, "Slipway Blue": 70.0}
    >>> correct(demo_shop(), teal, grams).least.added_g > 0
    True
    """
    R = None if reading is None else _reading(reading)
    mixed = Mixed(grams=weighed, R=R)
    wanted = Wanted(name="target", target=target)
    return correcting_batch.correct(shop, wanted, [mixed], CorrectOptions(room_g=room_g))


def ticket(shop: Session, formula: Mapping[str, float], *, batch_g: float, job: str = "") -> Ticket:
    """Make the ticket to weigh a formula by; `paper.ticket_sheet` writes it as a page.

    >>> ticket(demo_shop(), {"Quay White": 95, "Kelp Green": 5}, batch_g=500).rows[0].ink
    'Quay White'
    """
    choices = weighing_out.TicketChoices(job=job)
    return weighing_out.ticket(shop, Formula(amounts=formula), choices, batch_g=batch_g)


def _reading(values: ArrayLike) -> Array:
    """A reading (n_wl,) as a file's would be taken: InputError for what is no reflectance."""
    R = np.asarray(values, dtype=float)
    if R.shape != (N_WL,):
        raise InputError(f"a reading has {N_WL} values, 400-700 nm by 10, found shape {R.shape}")
    if faults := check_reflectance(R):
        raise InputError(faults)
    return R
