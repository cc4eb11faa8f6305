"""A formula that a person hands in: a recipe file, a ticket of the book, amounts by name."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from matchkit.errors import InputError
from matchkit.files.recipe import mix_note, read_recipe
from matchkit.fitting.fit import Fit
from matchkit.inks.recipe import taken_apart
from matchkit.matching.match import fractions_for, palette_for
from matchkit.workflows.session import Session

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Formula:
    """Amounts by mass of what is weighed, mixes of the shelf by their own names.

    `total_g` is the weight of all of it, None where only percents or parts are known.

    >>> Formula(name="mint", amounts={"White": 475.0, "Green": 25.0}, total_g=500.0).percents
    {'White': 95.0, 'Green': 5.0}
    """

    amounts: Mapping[str, float]
    name: str = "recipe"
    total_g: float | None = None

    @property
    def percents(self) -> dict[str, float]:
        """Percent by mass by name; names of amount 0 are left out."""
        total = sum(self.amounts.values())
        return {name: 100 * amount / total for name, amount in self.amounts.items() if amount}


def grams_asked(formula: Formula, batch_g: float | None, usual_g: float) -> float:
    """How much of a formula is made: what is asked for, else its own grams, else the usual.

    InputError where it has grams of its own and others are asked for.
    """
    own = formula.total_g
    if batch_g is not None and own is not None and abs(batch_g - own) > 1e-6 * own:
        raise InputError(
            f"{formula.name} holds {own:g} g, but {batch_g:g} g are asked for; leave the batch size"
            " out, or write percents into the recipe in place of grams"
        )
    return batch_g or own or usual_g


def recipe_in(
    session: Session, path: str | Path, series: Mapping[str, str] | None = None
) -> Formula:
    """The formula in a recipe file; InputError with every fault of the file.

    `series` gives the inks that may be named with their series: those that were fitted,
    unless it is given.  Mixes of the shelf of today may be named beside them.
    """
    if series is None:
        series = {n: name for name, fit in session.fits_today.items() for n in fit.palette.names}
    written = read_recipe(path, series, mixes=session.shelf.mixes)
    return Formula(
        name=written.name,
        amounts=dict(zip(written.poured, written.shares, strict=True)),
        total_g=None if written.grams is None else sum(written.grams),
    )


def example_formula(session: Session) -> Formula:
    """The batch that the demo shop shows as its example; InputError where there is none."""
    return recipe_in(session, session.folder / "example" / "weighed.csv")


def in_inks(
    session: Session, formula: Formula, fits: Mapping[str, Fit], *, readings: bool = False
) -> tuple[Fit, Array]:
    """The fit of the formula's series and its mass fractions (n_ink,), mixes taken apart.

    `readings`: the caller counts how a mix was read, and a note says so.

    InputError for an ink that no fit knows, and for inks of different series.
    """
    held = apart(session, formula, readings=readings)
    palette = palette_for({name: fit.palette for name, fit in fits.items()}, [*held])
    fit = next(each for each in fits.values() if each.palette is palette)
    return fit, fractions_for(palette, [*held], [*held.values()])


def apart(session: Session, formula: Formula, *, readings: bool = False) -> dict[str, float]:
    """Amounts by ink; a note says of each mix what it is taken as."""
    mixes = [mix for mix in session.shelf.mixes if mix.name in formula.amounts]
    for mix in mixes:
        own = f"{mix.name} is a mix: predicted by its own reading"
        session.note("mix", own if readings and mix.R is not None else mix_note(mix))
    return taken_apart({n: a for n, a in formula.amounts.items() if a > 0}, mixes)


def strengths_of(fits: Mapping[str, Fit]) -> dict[str, dict[str, float]]:
    """What is counted on of today's lots, 1 being those that were fitted, as a JSON key."""
    learned = {
        name: round(float(strength), 4)
        for fit in fits.values()
        if fit.palette.strengths is not None
        for name, strength in zip(fit.palette.names, fit.palette.strengths, strict=True)
    }
    return {"strengths": learned} if learned else {}
