"""What formulas are looked for, and what was found: the answer of `finding.find_formulas`."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from matchkit.colorimetry.difference import Target
from matchkit.correcting.leftovers import Use
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Shop
from matchkit.matching.match import Match, MoreStock
from matchkit.matching.probability import Sensitive
from matchkit.matching.rank import PREFERENCES as PREFERENCES
from matchkit.matching.rank import Candidate, Choices
from matchkit.workflows.predicting import strengths_of
from matchkit.workflows.printed import PrintedOver
from matchkit.workflows.session import Notice, by_light, spectrum
from matchkit.workflows.wanted import Wanted

Fits = Mapping[str, Fit]
ANY_LEFTOVER = ""  # whichever saves most


@dataclass(frozen=True, kw_only=True)
class Search:
    """How formulas are looked for.

    `max_inks` counts every ink, white and clear too; `without` names inks and mixes to leave
    out; `prefer` is one of `matching.rank.PREFERENCES`; `every` lists too what is mostly
    clear, or less sure, beside formulas as near.  `leftover` names a mix of the shelf of
    which the formulas take the most; ANY_LEFTOVER is whichever saves most, None is none.
    `printed` is what they are printed on; None is a film that hides.
    """

    batch_g: float = 1000.0
    max_inks: int = 4
    top: int = 5
    without: tuple[str, ...] = ()
    prefer: str = "nearest"
    every: bool = False
    leftover: str | None = None
    printed: PrintedOver | None = None

    @property
    def choices(self) -> Choices:
        """What is asked of formulas, whatever they are made of or printed on."""
        return Choices(
            batch_g=self.batch_g, max_inks=self.max_inks, top=self.top, without=self.without,
            prefer=self.prefer, every=self.every,
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class FoundFormula:
    """One formula, and what a person must know before weighing it.

    `palette` holds the inks in it; `used` tells of the leftover in it, and `sensitive` which
    ink moves its colour most, which is not known with a leftover.
    """

    formula: Candidate
    palette: Palette
    used: Use | None = None
    sensitive: Sensitive | None = None
    notices: tuple[Notice, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class FoundFormulas:
    """The formulas for one colour, best first.

    `reach` says whether the inks can reach the colour; `more` is what more stock would
    bring, None where stock keeps nothing away; `same` is the leftover on the shelf that is this
    colour as it stands, and what it would save.  `notices` are about all of the formulas, each
    formula has its own.
    """

    wanted: Wanted
    search: Search
    shop: Shop
    match: Match
    more: MoreStock | None
    fits: Fits
    formulas: tuple[FoundFormula, ...]
    reach: Notice
    notices: tuple[Notice, ...]
    same: Use | None = None

    def ranked(self, rank: int) -> FoundFormula:
        """The formula of a rank, from 1; InputError where there is none."""
        n = len(self.formulas)
        if rank <= n:
            return self.formulas[rank - 1]
        why = f"the match has {n} formulas" if n else "there is no formula"
        told = "".join(f". {each.text}" for each in self.notices if each.code == "no_leftover")
        raise InputError(f"rank: found {rank}; {why}{told}")

    @property
    def best_that_hides(self) -> int:
        """Where the first formula stands that is not mostly clear; 0 if there is none."""
        hiding = (k for k, each in enumerate(self.formulas) if not each.formula.mostly_clear)
        return next(hiding, 0)

    def to_dict(self) -> dict[str, Any]:
        """One of the ``matches`` of ``matchkit match --json``."""
        answer = match_dict(self.match, self.wanted.target)
        for told, each in zip(answer["formulas"], self.formulas, strict=True):
            told["notices"] = [vars(notice) for notice in each.notices]
        if self.more:
            answer["short_of"] = [
                {"ink": name, "stock_g": there, "needed_g": needed}
                for name, there, needed in self.more.lacking
            ]
        return answer | {"notices": [vars(notice) for notice in (self.reach, *self.notices)]}

    def shared_dict(self) -> dict[str, Any]:
        """What ``--json`` tells once for all colours: what is printed on, today's lots."""
        printed = self.search.printed
        return ({"printed": printed.to_dict()} if printed else {}) | strengths_of(self.fits)


def match_dict(found: Match, target: Target) -> dict[str, Any]:
    """The formulas of a match as plain data."""
    answer: dict[str, Any] = {
        "target": found.target,
        "in_gamut": found.in_gamut,
        "exhaustive": found.exhaustive,
        "formulas": [_formula_dict(formula, target) for formula in found.formulas],
    }
    return answer if target.R is not None else answer | {"observer": target.observer}


def _formula_dict(formula: Candidate, target: Target) -> dict[str, Any]:
    return {
        "inks": amounts_dict(formula),
        "reflectance": spectrum(formula.R),
        "lab": by_light(target.lights, formula.lab),
        "de00": by_light(target.lights, formula.de00),
        "chance_in_tolerance": round(formula.chance_in_tolerance or 0.0, 4),
        "cost_per_kg": None if formula.cost_per_kg is None else round(formula.cost_per_kg, 4),
        "sheer": formula.mostly_clear,  # by its first name, which stands in files
        "worst_light": target.light_names[int(formula.de00.argmax())],
    }


def amounts_dict(formula: Candidate) -> list[dict[str, Any]]:
    """What is weighed, in its order, as plain data."""
    return [
        {"ink": ink, "percent": round(percent, 6), "grams": grams}
        for ink, percent, grams in zip(formula.inks, formula.percents, formula.grams, strict=True)
    ]
