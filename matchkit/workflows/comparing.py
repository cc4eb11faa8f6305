"""Recipes side by side against one colour, under every light that matters."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from matchkit.errors import InputError
from matchkit.inks.palette import Palette
from matchkit.matching.compare import Comparison, Sample, Swap, limiting_ink
from matchkit.matching.compare import compare as beside
from matchkit.matching.match import chances_of, fractions_for
from matchkit.matching.rank import Candidate, limits, weighed
from matchkit.workflows.predicting import Formula, in_inks
from matchkit.workflows.session import Session, by_light
from matchkit.workflows.wanted import Wanted

PERCENTS_OF_G = 1000.0  # the batch that percents stand for where nobody says how much


@dataclass(frozen=True, kw_only=True, eq=False)
class ComparedRecipe:
    """One recipe beside the target: what it is made of, and how it looks.

    `swap` tells which ink causes most of its metamerism under its worst light, and what to
    take instead; None where no single change of inks makes it less.
    """

    sample: Sample
    formula: Candidate
    palette: Palette
    swap: Swap | None


@dataclass(frozen=True, kw_only=True, eq=False)
class RecipesCompared:
    """Recipes beside a target under each light, in the order in which they were given."""

    wanted: Wanted
    seen: Comparison
    recipes: tuple[ComparedRecipe, ...]
    tolerance_de00: float
    shop: str
    currency: str

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit compare --json`` prints it."""
        return {
            "recipes": [self._recipe(each) for each in self.recipes],
            "correction": self.seen.correction,
            "transform": f"{self.seen.transform}, D = 1",
        }

    def _recipe(self, each: ComparedRecipe) -> dict[str, Any]:
        lights, names = self.seen.lights, self.seen.light_names
        sample, formula = each.sample, each.formula
        inks = zip(formula.inks, formula.percents, strict=True)
        shifts = by_light(lights, sample.inconstancy)
        return {
            "name": sample.name,
            "inks": [{"ink": ink, "percent": round(percent, 6)} for ink, percent in inks],
            "lab": by_light(lights, sample.lab),
            "de00": by_light(lights, sample.de00),
            "metamerism": by_light(lights[1:], sample.metamerism[1:]),
            "inconstancy": {name: shift for name, shift in shifts.items() if name != "D65"},
            "words": dict(zip(names, sample.words, strict=True)),
            "worst_light": names[sample.worst],
            "observer_change": round(sample.observer_change, 4),
            "cost_per_kg": formula.cost_per_kg,
            "chance_in_tolerance": formula.chance_in_tolerance,
        }


def compare(session: Session, wanted: Wanted, recipes: Sequence[Formula]) -> RecipesCompared:
    """Recipes, each of its own name, against the colour that is wanted.

    The lights are those of `wanted`, which must have a spectrum.  Raises InputError for a
    recipe of inks that were not fitted, or of two series.
    """
    target = wanted.target
    if target.R is None:
        raise InputError(
            "other lights can't be judged by a Lab, so formulas are not compared with it; measure"
            " the sample"
        )
    made = [_weighed(session, wanted, each) for each in recipes]
    seen = beside(
        target.R,
        [(each.name, made_of.R) for each, (_, made_of) in zip(recipes, made, strict=True)],
        lights=target.lights,
        observer=target.observer,
    )
    return RecipesCompared(
        wanted=wanted,
        seen=seen,
        recipes=tuple(
            ComparedRecipe(
                sample=sample,
                formula=formula,
                palette=palette,
                swap=_swap(seen, sample, palette, formula),
            )
            for sample, (palette, formula) in zip(seen.samples, made, strict=True)
        ),
        tolerance_de00=session.settings.tolerance_de00,
        shop=session.settings.name,
        currency=session.settings.currency,
    )


def formula_of(name: str, made: Candidate) -> Formula:
    """A formula that a match found, under a name."""
    amounts = dict(zip(made.inks, made.grams, strict=True))
    return Formula(name=name, amounts=amounts, total_g=sum(made.grams))


def _weighed(session: Session, wanted: Wanted, formula: Formula) -> tuple[Palette, Candidate]:
    """The palette of the formula's series, with today's lots, and what it predicts."""
    found, c = in_inks(session, formula, session.fits_today)
    chance = chances_of(found, wanted.target, session.settings)
    grams = c * (formula.total_g or PERCENTS_OF_G)
    return found.palette, weighed(found.palette, grams, wanted.target, chances_of=chance)


def _swap(seen: Comparison, sample: Sample, palette: Palette, formula: Candidate) -> Swap | None:
    """The ink that causes most of the metamerism under the worst light, if there is one."""
    if not sample.worst:
        return None
    c = fractions_for(palette, formula.inks, formula.grams)
    swaps = limiting_ink(
        palette,
        c,
        seen.target_R,
        first=seen.lights[0],
        test=seen.lights[sample.worst],
        observer=seen.observer,
        # What is in the recipe already may stay, whatever the stock.
        upper=np.maximum(limits(palette, sum(formula.grams)), c),
    )
    return swaps[0] if swaps else None
