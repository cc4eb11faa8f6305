"""What a formula is printed on, and the shop's inks as prints on it."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from matchkit.fitting.fit import Fit, TooFew
from matchkit.fitting.held_out import NOMINAL_UM
from matchkit.matching import match, prints
from matchkit.workflows.session import Session


@dataclass(frozen=True, kw_only=True)
class PrintedOver:
    """A print on a ground of ``grounds.csv``.

    `underbase_um` is the thickness of the white below it, None without one.
    `thickness_spread` is how much the thickness varies from print to print, a standard deviation
    as a share; 0.1 is common practice, no source.

    >>> PrintedOver(over="navy tee", thickness_um=60).words
    '60 um over navy tee'
    """

    over: str
    thickness_um: float
    underbase_um: float | None = None
    thickness_spread: float = 0.1

    @property
    def words(self) -> str:
        """How thick, on what."""
        words = f"{self.thickness_um:.4g} um over {self.over}"
        below = self.underbase_um
        return words if below is None else f"{words} with {below:.4g} um of white below"

    def to_dict(self) -> dict[str, Any]:
        """Plain data, as the key ``printed`` of ``matchkit match --json`` holds it."""
        return {k: round(v, 4) if isinstance(v, float) else v for k, v in asdict(self).items()}

    @classmethod
    def from_book(cls, text: str) -> "PrintedOver | None":
        """What the record book has of it; None of a film that hides."""
        return cls(**json.loads(text)) if text else None


def films_today(session: Session) -> dict[str, Fit]:
    """The shop's inks as films by series, with today's stock, and its lots where known.

    InputError, which says what to draw, where no film was measured.
    """
    films = session.films
    if not any(d.thickness_um for d in session.files.drawdowns):
        session.note(
            "thickness_unknown",
            f"no film says how thick it is, so each counts as {NOMINAL_UM:g} um, and thicknesses"
            " here are beside that; write the bar's in films.csv (thickness_um)",
        )
    shelf = {ink.name: ink for ink in session.shop.inks}
    return {
        series: replace(
            film, palette=replace(film.palette, inks=tuple(shelf[n] for n in film.palette.names))
        )
        for series, film in prints.with_lots(films, session.fits_today).items()
    }


def films_alone(error: TooFew) -> str:
    """What is said where drawdowns that hide are too few to fit, but there are films."""
    return f"the films alone say what the inks are: {'; '.join(error.faults)}"


def printed_fits(session: Session, printed: PrintedOver | None) -> Mapping[str, Fit]:
    """The shop's inks of today by series as prints on one ground; None: as films that hide.

    InputError for a ground that is not there.
    """
    if printed is None:
        return session.fits_today
    return prints.fits_over(
        films_today(session),
        prints.bare_ground(session.shop, printed.over),
        printed.thickness_um,
        underbase_um=printed.underbase_um,
        thickness_sd=printed.thickness_spread,
    )


def printed_fit(session: Session, printed: PrintedOver | None, names: Sequence[str]) -> Fit:
    """The one of `printed_fits` that holds all the named inks; InputError where none does."""
    return match.fit_for(printed_fits(session, printed), names)
