"""The colour of a recipe, alone and over a garment; what a print needs."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab, hex_colour
from matchkit.correcting.mixes import poured_together, shelf_of
from matchkit.correcting.mixes import predict as predicted_R
from matchkit.errors import InputError
from matchkit.files.recipe import mix_note, read_recipe
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.recipe import taken_apart, weigh_out
from matchkit.inks.shop import Shop
from matchkit.matching.garment import (
    INVENTED,
    Covering,
    GroundVerdict,
    Viewing,
    covering,
    grounds_for,
    hiding_R,
)
from matchkit.matching.garment import Strokes as Strokes
from matchkit.matching.garment import cover as over_each
from matchkit.matching.match import chances_of, fit_for, fractions_for
from matchkit.matching.probability import Sensitive, most_sensitive, spread_of
from matchkit.matching.rank import Candidate, weighed
from matchkit.workflows.printed import PrintedOver, films_today, printed_fits
from matchkit.workflows.session import Session, by_light, spectrum
from matchkit.workflows.wanted import Wanted


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
    fit = fit_for(fits, [*held])
    return fit, fractions_for(fit.palette, [*held], [*held.values()])


def apart(session: Session, formula: Formula, *, readings: bool = False) -> dict[str, float]:
    """Amounts by ink; a note says of each mix what it is taken as."""
    mixes = [mix for mix in session.shelf.mixes if mix.name in formula.amounts]
    for mix in mixes:
        own = f"{mix.name} is a mix: predicted by its own reading"
        session.note("mix", own if readings and mix.R is not None else mix_note(mix))
    return taken_apart({n: a for n, a in formula.amounts.items() if a != 0}, mixes)


def strengths_of(fits: Mapping[str, Fit]) -> dict[str, dict[str, float]]:
    """What is counted on of today's lots, 1 being those that were fitted, as a JSON key."""
    learned = {
        name: round(float(strength), 4)
        for fit in fits.values()
        if fit.palette.strengths is not None
        for name, strength in zip(fit.palette.names, fit.palette.strengths, strict=True)
    }
    return {"strengths": learned} if learned else {}


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
    spread = spread_of(palette, fit.error, shop.resolution_g)
    mixes = [mix for mix in shop.mixes if mix.name in poured]
    if palette.printed:  # a mix was read as a drawdown
        mixes = [replace(mix, R=None) for mix in mixes]
    shelf = shelf_of(palette, mixes, spread)
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
    return sum(poured.values()) * fractions_for(palette, [*held], [*held.values()])


PROVE = "A print is not a drawdown: prove it on the garment, cured, under the agreed light."


@dataclass(frozen=True, kw_only=True, eq=False)
class Cover:
    """What each garment does to a formula, judged under the shop's first light.

    `target` names what the print should look like; empty: the formula where it hides.
    """

    target: str
    target_hex: str
    strokes: Strokes
    viewing: Viewing
    verdicts: tuple[GroundVerdict, ...]
    covering: Covering
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit cover --json`` prints it."""
        how_much = asdict(self.covering).items()
        return {
            **{key: None if v is None else round(v, 4) for key, v in how_much},
            "stroke_um": self.strokes.stroke_um,
            "underbase_um": self.strokes.underbase_um,
            "grounds": [_ground(each) for each in self.verdicts],
            "warnings": list(self.warnings),
        }


def cover(
    session: Session,
    formula: Formula,
    strokes: Strokes,
    *,
    wanted: Wanted | None = None,
    over: Sequence[str] = (),
) -> Cover:
    """A formula over each ground of `over`, else over every garment of the shop.

    InputError where the shop measured no films, and for a ground that is not there.
    """
    fit, c = in_inks(session, formula, films_today(session))
    shop, palette = session.shop, fit.palette
    aim = hiding_R(palette, c) if wanted is None or wanted.target.R is None else wanted.target.R
    grounds, invented = grounds_for(shop, over)
    if invented:
        session.note("invented_grounds", INVENTED)
    light, observer = shop.lights[0], shop.observer
    viewing = Viewing(light=light, observer=observer, tolerance_de00=shop.tolerance_de00)
    return Cover(
        target="" if wanted is None else wanted.name,
        target_hex=hex_colour(aim, light, observer),
        strokes=strokes,
        viewing=viewing,
        verdicts=over_each(palette, c, Lab(aim, light, observer), grounds, strokes, viewing),
        covering=covering(palette, c, grounds, strokes.stroke_um, viewing),
        warnings=(PROVE,),
    )


def _ground(verdict: GroundVerdict) -> dict[str, Any]:
    prints = [
        {
            "strokes": each.strokes,
            "underbase": each.underbase,
            "de00": round(each.de00, 4),
            "lab": np.round(each.lab, 4).tolist(),
            "reflectance": spectrum(each.R),
        }
        for each in verdict.prints
    ]
    words = {"ground": verdict.ground, "holds": verdict.covers, "words": verdict.words}
    return {**words, "prints": prints}
