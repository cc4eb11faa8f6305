"""The colour that a formula will have, with the lots of today, and what it weighs."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.difference import Target
from matchkit.correcting.diagnose import model_error_f
from matchkit.correcting.mixes import poured_together, shelf_of
from matchkit.correcting.mixes import predict as predicted_R
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.recipe import taken_apart, weigh_out
from matchkit.inks.shop import Shop
from matchkit.matching.match import chances_of, fractions_for
from matchkit.matching.probability import Sensitive, most_sensitive, spread_of
from matchkit.matching.rank import Candidate, weighed
from matchkit.workflows.formula import Formula, in_inks, strengths_of
from matchkit.workflows.plain import by_light, spectrum
from matchkit.workflows.printed import PrintedOver, printed_fits
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import Wanted

Array = NDArray[np.float64]
PERCENTS_OF_G = 1000.0  # the batch that percents stand for where nobody says how much


@dataclass(frozen=True, kw_only=True, eq=False)
class Prediction:
    """The colour that a formula will have, and how near it comes to what is wanted.

    With `batch_g` the formula was weighed out, and all of it is that of the rounded weights.
    `target` is the colour that is wanted, else the predicted one; `sensitive` is the ink
    whose weight moves the colour most.
    """

    wanted: Wanted | None
    batch_g: float | None
    fit: Fit
    candidate: Candidate
    c: Array  # (n_ink,), mixes taken apart
    target: Target
    sensitive: Sensitive
    shop: Shop
    strengths: Mapping[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit predict --json`` prints it."""
        made, target = self.candidate, self.target
        answer: dict[str, Any] = {
            "reflectance": spectrum(made.R),
            "lab": by_light(target.lights, made.lab),
            **self.strengths,
        }
        if self.wanted is not None:
            answer["de00"] = by_light(target.lights, made.de00)
            answer["chance_in_tolerance"] = made.chance_in_tolerance
        if self.batch_g is not None:
            weights = zip(made.inks, made.percents, made.grams, strict=True)
            answer["inks"] = [
                dict(zip(("ink", "percent", "grams"), w, strict=True)) for w in weights
            ]
        return answer


def predict(
    session: Session,
    formula: Formula,
    *,
    wanted: Wanted | None = None,
    batch_g: float | None = None,
) -> Prediction:
    """The colour of a formula with the lots of today, unrounded or weighed out as a batch.

    InputError for an ink that was not fitted, and for inks of different series.
    """
    made = on_balance(session, formula, wanted, batch_g)
    grams = made.c * (batch_g or formula.total_g or PERCENTS_OF_G)
    return Prediction(
        wanted=wanted,
        batch_g=batch_g,
        fit=made.fit,
        candidate=made.candidate,
        c=made.c,
        target=made.target,
        sensitive=most_sensitive(made.fit.palette, grams, made.target),
        shop=session.shop,
        strengths=strengths_of(session.fits_today),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Weighed:
    """A formula as it stands on the balance: its fit, fractions (n_ink,) and target."""

    fit: Fit
    c: Array
    target: Target
    candidate: Candidate  # mixes by their own names


def on_balance(
    session: Session,
    formula: Formula,
    wanted: Wanted | None,
    batch_g: float | None,
    printed: PrintedOver | None = None,
) -> Weighed:
    """The formula weighed out, or as it is where `batch_g` is None; `printed` is what it is on.

    A mix of the shelf that was measured counts as it was read.
    """
    fit, _ = in_inks(session, formula, printed_fits(session, printed), readings=True)
    shop, palette = session.shop, fit.palette
    amounts = {name: amount for name, amount in formula.amounts.items() if amount > 0}
    if batch_g is None:
        total = formula.total_g or PERCENTS_OF_G
        poured = {name: share / 100 * total for name, share in formula.percents.items()}
    else:
        shares = np.array([*amounts.values()]) / sum(amounts.values())
        weights = weigh_out(shares, batch_g, shop.resolution_g).tolist()
        poured = dict(zip(amounts, weights, strict=True))
    grams = grams_of(palette, poured, shop)
    c = grams / grams.sum()
    spread = spread_of(palette, fit.error_Lab, shop.resolution_g)
    mixes = [mix for mix in shop.mixes if mix.name in poured]
    if palette.film is not None:  # a mix was read as a film that hides
        mixes = [replace(mix, R=None) for mix in mixes]
    shelf = shelf_of(palette, mixes, spread, model_f=model_error_f(fit))
    if len(shelf.mixes) < len(mixes):
        raise InputError(shelf.notes)
    if wanted is None:
        R = predicted_R(shelf, poured) if mixes else reflectance(palette, c)
        target = Target.from_spectrum(R, shop.lights, shop.observer)
    else:
        target = wanted.target
    if not mixes:
        made = weighed(palette, grams, target, chances_of=chances_of(fit, target, shop))
    else:
        held = {mix.name: poured[mix.name] for mix in mixes}
        fresh = np.array([poured.get(name, 0.0) for name in palette.names])
        limit = shop.tolerance_de00
        made = poured_together(shelf, fresh, held, target, spread, tolerance_de00=limit)
    return Weighed(fit=fit, c=c, target=target, candidate=made)


def grams_of(palette: Palette, poured: Mapping[str, float], shop: Shop) -> Array:
    """Grams (n_ink,) of what is weighed, mixes taken apart."""
    held = taken_apart(poured, shop.mixes)
    grams: Array = sum(poured.values()) * fractions_for(palette, [*held], [*held.values()])
    return grams
