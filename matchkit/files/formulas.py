"""Formulas written for others: CSV for a spreadsheet, JSON for a program, a recipe file."""

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.files.write import csv_text
from matchkit.judge import Candidate
from matchkit.match import Match
from matchkit.spectra import GRID_NM

__all__ = ["formulas_csv", "formulas_json", "recipe_csv"]


def recipe_csv(formula: Candidate) -> str:
    """One formula as a recipe file, ``ink,grams`` in weighing order; `read_recipe` reads it."""
    return csv_text(["ink", "grams"], zip(formula.inks, formula.grams, strict=True))


def formulas_csv(matches: Sequence[Match], lights: Sequence[str]) -> str:
    """All formulas, a row for each ink; `lights` are those of the colour differences.

    Columns: target, formula (1 is the best), ink, grams, percent, then what holds for the
    whole formula: dE00 under each light, cost per kg, chance to come out in tolerance.
    """
    columns = ["target", "formula", "ink", "grams", "percent"]
    columns += [*(f"de00_{light}" for light in lights), "cost_per_kg", "chance_in_tolerance"]
    rows = []
    for found in matches:
        for rank, formula in enumerate(found.formulas, 1):
            whole = [
                *(round(float(value), 4) for value in formula.de00),
                _rounded(formula.cost_per_kg),
                _rounded(formula.chance_in_tolerance),
            ]
            weights = zip(formula.inks, formula.grams, formula.percents, strict=True)
            rows += [
                [found.target, rank, ink, grams, round(percent, 6), *whole]
                for ink, grams, percent in weights
            ]
    return csv_text(columns, rows)


def formulas_json(matches: Sequence[Match], lights: Sequence[str]) -> str:
    """All formulas as one JSON document, of the form that ``matchkit match --json`` has."""
    answer = {
        "matches": [
            {
                "target": found.target,
                "in_gamut": found.in_gamut,
                "formulas": [_formula(formula, lights) for formula in found.formulas],
            }
            for found in matches
        ]
    }
    return json.dumps(answer, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _formula(formula: Candidate, lights: Sequence[str]) -> dict[str, Any]:
    weights = zip(formula.inks, formula.percents, formula.grams, strict=True)
    return {
        "inks": [
            {"ink": ink, "percent": round(percent, 6), "grams": grams}
            for ink, percent, grams in weights
        ],
        "reflectance": {
            "wavelength_nm": [int(nm) for nm in GRID_NM],
            "values": np.round(formula.R, 6).tolist(),
        },
        "lab": _by_light(lights, formula.lab),
        "de00": _by_light(lights, formula.de00),
        "chance_in_tolerance": _rounded(formula.chance_in_tolerance),
        "cost_per_kg": _rounded(formula.cost_per_kg),
    }


def _by_light(lights: Sequence[str], values: NDArray[np.float64]) -> dict[str, Any]:
    return {light: np.round(value, 4).tolist() for light, value in zip(lights, values, strict=True)}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
