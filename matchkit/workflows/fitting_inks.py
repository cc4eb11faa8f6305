"""Inks from the shop's drawdowns: how good the fit is, and keeping it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from matchkit.errors import InputError
from matchkit.files.fitted import write_fits
from matchkit.fitting.fit import Fit, TooFew, ink_errors
from matchkit.inks.shop import Drawdown
from matchkit.matching.match import fit_shop
from matchkit.matching.prints import film_fits, has_films
from matchkit.workflows.printed import films_alone
from matchkit.workflows.session import Session


@dataclass(frozen=True, kw_only=True, eq=False)
class InksFitted:
    """Fits by series: of drawdowns that hide, and of `films` over a ground.

    One of the two is empty where the shop has too few such drawdowns.
    """

    fits: Mapping[str, Fit]
    films: Mapping[str, Fit]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit fit --json`` prints it."""
        films = {"films": _plain(self.films)} if self.films else {}
        return _plain(self.fits or self.films) | films


def fit_inks(session: Session, theory: str = "best") -> InksFitted:
    """Fit every series of the shop anew by one of `held_out.THEORIES`; nothing is written.

    Where drawdowns that hide are too few but films were measured, a notice says so.  Raises
    InputError where neither is enough.
    """
    shop = session.files
    films = film_fits(shop, theory) if has_films(shop) else {}
    fits: Mapping[str, Fit] = {}
    if shop.hiding or not films:
        try:
            fits = fit_shop(shop, theory)
        except TooFew as error:
            if not films:
                raise
            session.note("films_alone", films_alone(error))
    return InksFitted(fits=fits, films=films)


def keep_fits(session: Session, found: InksFitted) -> None:
    """Write ``fit.json``, which every command then uses; InputError if it can't be written."""
    write_fits(session.folder, session.files, found.fits, found.films)


def letdown_series(
    fit: Fit, drawdowns: Sequence[Drawdown], ink: str
) -> list[tuple[float, Drawdown]]:
    """The drawdowns of an ink alone or in white alone: percent and drawdown, weak to strong.

    Raises InputError for a fit without a white.
    """
    white = next((each.name for each in fit.palette.inks if each.role == "white"), None)
    if white is None:
        raise InputError("no white of this series was fitted")
    levels = []
    for drawdown in drawdowns:
        shares = dict(zip(drawdown.inks, drawdown.fractions, strict=True))
        if ink in shares and set(shares) <= {ink, white}:
            levels.append((100 * shares[ink], drawdown))
    return sorted(levels, key=lambda level: level[0])


def _plain(fits: Mapping[str, Fit]) -> dict[str, Any]:
    held = np.concatenate([found.de00_held_out for found in fits.values()])
    held = held[~np.isnan(held)]
    errors = {name: e for found in fits.values() for name, e in ink_errors(found).items()}
    return {
        "inks": [
            {"ink": name, "de00_mean": round(mean, 4), "de00_max": round(most, 4)}
            for name, (mean, most) in errors.items()
        ],
        "held_out": {
            "de00_median": round(float(np.median(held)), 4) if held.size else None,
            "de00_p95": round(float(np.percentile(held, 95)), 4) if held.size else None,
            "drawdowns": int(held.size),
        },
        "model": "; ".join(dict.fromkeys(found.palette.model for found in fits.values())),
        "series": [
            {
                "series": series,
                "model": found.palette.model,
                "k2": round(found.palette.k2, 4),
                "crowding": round(float(found.palette.crowding.max()), 4),
                "deep": round(found.palette.deep, 4),
                "theories": [
                    {"model": s.model, "de00_median": round(s.de00_median, 4),
                     "de00_p95": round(s.de00_p95, 4)}
                    for s in found.scores
                ],
                "suspects": list(found.outliers),
                "cautions": list(found.warnings),
            }
            for series, found in fits.items()
        ],
    }  # fmt: skip
