"""Exercises on paper: a trainer's sheet with the answers on pages of their own.

A printer shows other colours than a screen does, so the numbers stand below every swatch
and nothing is asked that they don't answer.
"""

from collections.abc import Sequence

import numpy as np

from matchkit.colorimetry.grid import GRID_NM
from matchkit.paper.sheet import DEFER, page
from matchkit.practice import kinds, safety
from matchkit.practice.exercise import LETTERS, Exercise
from matchkit.practice.simulated_shop import BEFORE, Swatch

INVENTED = "The inks are invented; the colours are computed by a simulator, not measured in a shop."
DASHES = ("", "5 2", "1.5 1.5", "6 2 1.5 2", "3 3", "8 3")


def sheet_html(
    exercises: Sequence[Exercise],
    *,
    answers: bool = True,
    title: str = "Practice",
) -> str:
    """A page to print on A4: exercises, then safety questions, then the answers if wanted."""
    facts = {
        "title": title,
        "before": (BEFORE, INVENTED),
        "exercises": exercises,
        "titles": kinds.TITLES,
        "letters": LETTERS,
        "safety": safety.SAFETY,
        "answers": answers,
        "defer": DEFER,
        "captioned": lambda shown: [(s.hex, f"{s.name}: {s.numbers}") for s in shown],
        "curve_lines": _curve_lines,
        "arrow_ends": _arrow_ends,
    }
    return page("practice", facts)


def _curve_lines(swatches: Sequence[Swatch]) -> dict[str, object]:
    """Where the reflectance curves go, the first solid, the others dashed."""
    top = float(np.ceil(10 * max(s.R.max() for s in swatches))) / 10
    x = 24 + (GRID_NM - 400) * 0.7
    drawn = (zip(x, 100 - 90 * s.R / top, strict=True) for s in swatches)
    points = [" ".join(f"{a:.1f},{b:.1f}" for a, b in line) for line in drawn]
    styles = ["solid", *["dashed"] * (len(swatches) - 1)]
    return {
        "top": top,
        "words": ", ".join(f"{s.name} {how}" for s, how in zip(swatches, styles, strict=True)),
        "lines": list(zip(DASHES, points, strict=False)),
    }


def _arrow_ends(
    start: Swatch, ends: Sequence[Swatch], target: Swatch | None = None
) -> dict[str, object]:
    """Marks of the colours, and where a*, b* and L* of each stand in the picture."""
    lab = np.array([s.lab for s in (start, *ends, *([target] if target else []))])
    middle = (lab.max(axis=0) + lab.min(axis=0)) / 2
    half = max(float(np.ptp(lab, axis=0).max()) / 2, 0.2) * 1.25
    L, x, y = (90 + np.array([[-80], [80], [-80]]) * (lab - middle).T / half).tolist()
    marks = ["0", *LETTERS[: len(ends)]] if len(ends) > 1 else ["target", "sample"]
    return {
        "ends": list(zip(marks, x, y, L, strict=False)),
        "ring": (x[-1], y[-1]) if target else None,
    }
