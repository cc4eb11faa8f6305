"""Exercises on paper: a trainer's sheet with the answers on pages of their own.

A printer shows other colours than a screen does, so the numbers stand below every swatch
and nothing is asked that they don't answer.
"""

from collections.abc import Iterable, Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import GRID_NM
from matchkit.paper.sheet import DEFER, bullets, page, swatch_pair, tick, wrapped
from matchkit.practice.exercise import LETTERS, Exercise
from matchkit.practice.kinds import KINDS, TITLES, Standing
from matchkit.practice.safety import SAFETY
from matchkit.practice.simulated_shop import BEFORE, LIGHTS, Swatch

__all__ = [
    "answers_text",
    "arrows_svg",
    "curves_svg",
    "exercises_text",
    "sheet_html",
    "standing_text",
]

Array = NDArray[np.float64]

STYLE = """
.answers { break-before: page; }
.exercise { break-inside: avoid; margin-bottom: 4mm; }
.exercise li { list-style: none; }
.facts th { width: 35mm; vertical-align: top; padding: 1mm 1.5mm 1mm 0; }
svg { width: 75mm; max-width: 100%; height: auto; display: block; }
"""
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
    parts = [
        f"<h1>{escape(title)}</h1>\n<p>{escape(BEFORE)}</p>\n<p>{escape(INVENTED)}</p>",
        *(_question(number, each) for number, each in enumerate(exercises, start=1)),
        "<h2>Before hands go near it</h2>",
        *(
            f'<div class="exercise"><p><b>{escape(q.question)}</b></p>{_ticks(q.choices)}</div>'
            for q in SAFETY
        ),
        *(_answers(exercises) if answers else []),
        f"<p>{escape(DEFER)}</p>",
    ]
    return page(title, "\n".join(parts), size="A4", lang=lang, style=STYLE)


def _answers(exercises: Sequence[Exercise]) -> list[str]:
    """The trainer's part, which begins on a page of its own."""
    return [
        '<h1 class="answers">Answers</h1>',
        *(_answer(number, each) for number, each in enumerate(exercises, start=1)),
        bullets(
            f"{q.question} {LETTERS[q.answer]}) {q.choices[q.answer]}. {q.why}" for q in SAFETY
        ),
    ]


def _head(number: int, exercise: Exercise) -> str:
    return f"<h2>{number}. {escape(TITLES[exercise.kind])} ({escape(exercise.code)})</h2>"


def _question(number: int, exercise: Exercise) -> str:
    below = {s.numbers for s in exercise.swatches}  # stands below the swatches already
    facts = "".join(
        f"<tr><th>{escape(name)}</th><td>{escape(value)}</td></tr>"
        for name, value in exercise.facts
        if value not in below
    )
    seen = ""
    if exercise.swatches:
        seen = swatch_pair([(s.hex, f"{s.name}: {s.numbers}") for s in exercise.swatches])
    curves = curves_svg(exercise.swatches) if exercise.kind == "light" else ""
    return (
        f'<div class="exercise">{_head(number, exercise)}\n<p>{escape(exercise.question)}</p>\n'
        f'{seen}{curves}<table class="facts small">{facts}</table>\n'
        f"{_ticks([choice.text for choice in exercise.choices])}</div>"
    )


def _ticks(texts: Iterable[str]) -> str:
    items = "".join(
        f"<li>{tick(text)}{LETTERS[k]}) {escape(text)}</li>" for k, text in enumerate(texts)
    )
    return f"<ul class='steps'>{items}</ul>"


def _answer(number: int, exercise: Exercise) -> str:
    right = exercise.choices[exercise.answer]
    lines = [
        f"{LETTERS[k]}) {choice.told}"
        for k, choice in enumerate(exercise.choices)
        if k != exercise.answer
    ]
    return (
        f'<div class="exercise">{_head(number, exercise)}\n'
        f"<p><b>{LETTERS[exercise.answer]}) {escape(right.text)}</b></p>\n"
        f'<p>{escape(exercise.explanation)}</p>{_picture(exercise)}<p class="small">Hint:'
        f' {escape(exercise.hint)}</p>\n<div class="small">{bullets(lines)}</div></div>'
    )


def _picture(exercise: Exercise) -> str:
    """What the explanation speaks of."""
    if exercise.kind == "see":
        return arrows_svg(exercise.swatches[0], exercise.swatches[1:])
    if exercise.kind == "fix":
        return arrows_svg(exercise.swatches[1], exercise.after, exercise.swatches[0])
    return ""  # the curves of a pair stand with the question


# ---- pictures: black on white, told apart by dashes and letters


def curves_svg(swatches: Sequence[Swatch]) -> str:
    """Reflectance curves over wavelength, the first solid, the others dashed."""
    top = float(np.ceil(10 * max(s.R.max() for s in swatches))) / 10
    lines = "".join(
        f'<polyline fill="none" stroke="#000" stroke-dasharray="{DASHES[k % len(DASHES)]}"'
        f' points="{_points(24 + (GRID_NM - 400) * 0.7, 100 - 90 * s.R / top)}"/>'
        for k, s in enumerate(swatches)
    )
    axis = "".join(
        f'<text x="{24 + (nm - 400) * 0.7:.0f}" y="112" font-size="8" text-anchor="middle">{nm}'
        "</text>"
        for nm in range(400, 701, 100)
    )
    words = f"Reflectance from 400 to 700 nm: {_named_lines(swatches)}"
    return (
        f'<svg viewBox="0 0 250 126" role="img" aria-label="{escape(words)}">'
        '<path d="M24 10 V100 H234" fill="none" stroke="#000" stroke-width="0.5"/>'
        f'<text x="20" y="14" font-size="8" text-anchor="end">{top:.1f}</text>'
        f'<text x="20" y="103" font-size="8" text-anchor="end">0</text>{axis}{lines}'
        f'<text x="24" y="123" font-size="8">{escape(_named_lines(swatches))}, nm</text></svg>'
    )


def _named_lines(swatches: Sequence[Swatch]) -> str:
    return ", ".join(f"{s.name} {'dashed' if k else 'solid'}" for k, s in enumerate(swatches))


def arrows_svg(start: Swatch, ends: Sequence[Swatch], target: Swatch | None = None) -> str:
    """Arrows from one colour to others, a* to the right, b* up; L* on a scale beside it."""
    lab = np.array([s.lab for s in (start, *ends, *([target] if target else []))])
    middle = (lab.max(axis=0) + lab.min(axis=0)) / 2
    half = max(float(np.ptp(lab, axis=0).max()) / 2, 0.2) * 1.25
    x, L = 90 + 80 * (lab[:, 1] - middle[1]) / half, 90 - 80 * (lab[:, 0] - middle[0]) / half
    y = 90 - 80 * (lab[:, 2] - middle[2]) / half
    marks = ["0", *LETTERS[: len(ends)]] if len(ends) > 1 else ["target", "sample"]
    lines = "".join(
        f'<path d="M{x[0]:.1f} {y[0]:.1f} L{x[k]:.1f} {y[k]:.1f}" stroke="#000"/>'
        f'<path d="M205 {L[0]:.1f} L215 {L[k]:.1f}" stroke="#000" stroke-width="0.5"/>'
        for k in range(1, len(ends) + 1)
    )
    names = "".join(
        f'<circle cx="{x[k]:.1f}" cy="{y[k]:.1f}" r="1.8"/>'
        f'<text x="{x[k] + 3:.1f}" y="{y[k] - 3:.1f}" font-size="9">{mark}</text>'
        f'<text x="{218 if k else 202}" y="{L[k] + 3:.1f}" font-size="9"'
        f' text-anchor="{"start" if k else "end"}">{mark if len(mark) == 1 else mark[0]}</text>'
        for k, mark in enumerate(marks)
    )
    ring = ""
    if target:
        ring = f'<circle cx="{x[-1]:.1f}" cy="{y[-1]:.1f}" r="5" fill="none" stroke="#000"/>'
    words = "Arrows in a* and b*, and L* beside them" + ("; the ring is the target" * bool(target))
    return (
        f'<svg viewBox="0 0 250 196" role="img" aria-label="{escape(words)}">'
        '<rect x="2" y="2" width="176" height="176" fill="none" stroke="#000" stroke-width="0.4"/>'
        f'{lines}{names}{ring}<text x="90" y="190" font-size="9" text-anchor="middle">a* to the'
        ' right, b* up</text><text x="210" y="190" font-size="9" text-anchor="middle">L*</text>'
        "</svg>"
    )


def _points(x: Array, y: Array) -> str:
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))


# ---- the same in plain text


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
