"""Exercises on paper: a trainer's sheet with the answers on pages of their own.

A printer shows other colours than a screen does, so the numbers stand below every swatch
and nothing is asked that they don't answer.
"""

from collections.abc import Sequence

import numpy as np

from matchkit.colorimetry.grid import GRID_NM
from matchkit.paper.pages import page
from matchkit.paper.sheet import DEFER, wrapped
from matchkit.practice.exercise import LETTERS, Exercise
from matchkit.practice.kinds import KINDS, TITLES, Standing
from matchkit.practice.safety import SAFETY
from matchkit.practice.simulated_shop import BEFORE, LIGHTS, Swatch

__all__ = ["answers_text", "exercises_text", "sheet_html", "standing_text"]

INVENTED = "The inks are invented; the colours come from a computed bench, not from a shop."
DASHES = ("", "5 2", "1.5 1.5", "6 2 1.5 2", "3 3", "8 3")
TEXT_WIDTH = 90


def sheet_html(
    exercises: Sequence[Exercise],
    *,
    answers: bool = True,
    title: str = "Practice",
    lang: str = "en",
) -> str:
    """A page to print on A4: exercises, then safety questions, then the answers if wanted."""
    facts = {
        "title": title,
        "before": (BEFORE, INVENTED),
        "exercises": exercises,
        "titles": TITLES,
        "letters": LETTERS,
        "safety": SAFETY,
        "answers": answers,
        "defer": DEFER,
        "captioned": lambda shown: [(s.hex, f"{s.name}: {s.numbers}") for s in shown],
        "curve_lines": _curve_lines,
        "arrow_ends": _arrow_ends,
        "lang": lang,
    }
    return page("practice", facts)


# ---- pictures: black on white, told apart by dashes and letters


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


# ---- plain text


def exercises_text(exercises: Sequence[Exercise]) -> str:
    """The exercises as plain text, without their answers."""
    blocks = [wrapped(BEFORE, TEXT_WIDTH), wrapped(INVENTED, TEXT_WIDTH)]
    for number, each in enumerate(exercises, start=1):
        blocks.append(
            [
                f"{number}. {TITLES[each.kind]} ({each.code})",
                *wrapped(each.question, TEXT_WIDTH),
                *(line for name, value in each.facts for line in _fact(name, value)),
                *_curve_rows(each),
                *(f"  {LETTERS[k]}) {choice.text}" for k, choice in enumerate(each.choices)),
            ]
        )
    return "\n\n".join("\n".join(block) for block in blocks)


def _fact(name: str, value: str) -> list[str]:
    return [f"    {line}" for line in wrapped(f"{name}: {value}", TEXT_WIDTH - 4)]


def _curve_rows(exercise: Exercise) -> list[str]:
    """Both curves in numbers, every 40 nm, where they are the question."""
    if exercise.kind != "light":
        return []
    rows = [("nm", GRID_NM[::4].astype(int).astype(str))]
    rows += [(s.name, np.array([f"{100 * r:.0f} %" for r in s.R[::4]])) for s in exercise.swatches]
    return [f"    {name:<10}" + "".join(f"{cell:>6}" for cell in cells) for name, cells in rows]


def answers_text(exercises: Sequence[Exercise]) -> str:
    """The answers as plain text."""
    blocks = []
    for number, each in enumerate(exercises, start=1):
        right = f"{LETTERS[each.answer]}) {each.choices[each.answer].text}"
        blocks.append([f"{number}. {each.code}: {right}", *wrapped(each.explanation, TEXT_WIDTH)])
    return "\n\n".join("\n".join(block) for block in blocks)


def standing_text(standings: Sequence[Standing]) -> str:
    """How far a learner is, a line for each kind."""
    return "\n".join(_standing(each) for each in standings if each.kind in KINDS)


def _standing(each: Standing) -> str:
    size = ""
    if each.size is not None:
        unit = "times the limit" if each.kind == "light" else f"dE00 under {LIGHTS[0]}"
        size = f", {each.size:.1f} {unit}"
    line = (
        f"{TITLES[each.kind]}: {each.n_right} of {each.n_answers} right, score {each.score:g};"
        f" now at rung {each.staircase.rung} of 0 to {each.staircase.n_rungs - 1}{size}"
    )
    if each.threshold is not None:
        line += f"; 7 in 10 right at rung {each.threshold:.1f}"
    return line
