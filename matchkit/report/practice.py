"""Exercises, their answers and a simulated job, as parts."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import GRID_NM
from matchkit.practice.exercise import LETTERS, Exercise
from matchkit.practice.hints import BATCH_G, Outcome
from matchkit.practice.job import PracticeBatch
from matchkit.practice.kinds import TITLES, Standing
from matchkit.practice.sheet import INVENTED
from matchkit.practice.simulated_shop import BEFORE, LIGHTS, Swatch, swatch
from matchkit.report.check import edge_to_edge
from matchkit.report.parts import Heading, Part, Picture, Table
from matchkit.workflows.practising import Exercises, MarkedAnswers

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]
IN_NUMBERS = ("", "In numbers")


# ---- exercises


def exercises_parts(found: Exercises, *, answers: bool = False) -> list[Part]:
    """The exercises with their choices, the answers if wanted, and how far the learner is."""
    parts: list[Part] = [BEFORE, INVENTED]
    for number, each in enumerate(found.exercises, start=1):
        parts += [_heading(number, each), *question_parts(each)]
        parts += [f"{LETTERS[k]}) {choice.text}" for k, choice in enumerate(each.choices)]
    if answers:
        parts.append(Heading(text="Answers"))
        for number, each in enumerate(found.exercises, start=1):
            parts += [_heading(number, each), _right(each), each.explanation]
    return [*parts, *standing_parts(found.standings)]


def marked_parts(found: MarkedAnswers) -> list[Part]:
    """What is said to each answer, how many were right, and how far the learner is."""
    lines = [
        f"{each.code} {LETTERS[choice]}) {marked.words}"
        for (each, choice), marked in zip(found.given, found.marks, strict=True)
    ]
    right = sum(marked.right for marked in found.marks)
    told = f"{right} of {len(found.marks)} right"
    return [*lines, told, *standing_parts(found.standings)]


def standing_parts(standings: Sequence[Standing]) -> list[Part]:
    """How far a learner is, a line for each kind."""
    lines: list[Part] = []
    for each in standings:
        unit = "times the limit" if each.kind == "light" else f"dE00 under {LIGHTS[0]}"
        size = "" if each.size is None else f", {each.size:.1f} {unit}"
        often = "" if each.threshold is None else f"; 7 in 10 right at level {each.threshold:.1f}"
        lines.append(
            f"{TITLES[each.kind]}: {each.n_right} of {each.n_answers} right, score"
            f" {each.score:g}; now at level {each.staircase.level} of 0 to"
            f" {each.staircase.n_levels - 1}{size}{often}"
        )
    return lines


def _heading(number: int, exercise: Exercise) -> Heading:
    return Heading(text=f"{number}. {TITLES[exercise.kind]} ({exercise.code})")


def _right(exercise: Exercise) -> str:
    return f"Answer: {LETTERS[exercise.answer]}) {exercise.choices[exercise.answer].text}"


def question_parts(exercise: Exercise) -> list[Part]:
    """The question, its swatches edge to edge, and all its numbers."""
    swatches = exercise.swatches
    parts: list[Part] = [exercise.question, *([_pair(swatches)] if swatches else [])]
    if exercise.kind == "light":
        parts += [_curves(swatches), _curve_table(swatches)]
    return [*parts, Table(head=IN_NUMBERS, rows=exercise.facts, words=(1,))]


def answer_parts(exercise: Exercise, chosen: int) -> list[Part]:
    """The right choice, the explanation, and the picture that it speaks of."""
    parts: list[Part] = [_right(exercise), exercise.explanation]
    if exercise.kind == "see":
        return [*parts, *_arrows(exercise.swatches[0], exercise.swatches[1:], None)]
    if exercise.kind == "fix":
        ends = [exercise.after[k] for k in dict.fromkeys((exercise.answer, chosen))]
        return [*parts, *_arrows(exercise.swatches[1], ends, exercise.swatches[0])]
    if exercise.kind == "light":
        light = exercise.after[0].light
        rows = tuple((f"{each.name} under {light}", each.numbers) for each in exercise.after)
        return [*parts, _pair(exercise.after), Table(head=IN_NUMBERS, rows=rows, words=(1,))]
    return parts


def _pair(swatches: Sequence[Swatch]) -> Picture:
    above, below = swatches[0], swatches[1:]
    under = f" under {above.light}"
    return edge_to_edge(
        above.hex,
        [each.hex for each in below],
        [f"{each.name}{under}" for each in below],
        f"Above: {above.name}{under}",
    )


def _curves(swatches: Sequence[Swatch]) -> Picture:
    def draw(ax: "Axes") -> Any:
        from matchkit.plots.learning import curves

        return curves(ax, swatches)

    names = " and ".join(each.name for each in swatches)
    return Picture(draw=draw, alt=f"Reflectance of {names}, 400 to 700 nm")


def _curve_table(swatches: Sequence[Swatch]) -> Table:
    """The curves in numbers, every 40 nm."""
    return Table(
        head=("nm", *(f"{nm:.0f}" for nm in GRID_NM[::4])),
        rows=tuple((s.name, *(f"{100 * r:.0f} %" for r in s.R[::4])) for s in swatches),
    )


def _arrows(begin: Swatch, ends: Sequence[Swatch], target: Swatch | None) -> list[Part]:
    """Arrows from one colour to others."""
    named = [(each.name, each.lab) for each in (begin, *ends)]
    words = "; ".join(f"{each.name}: {each.numbers}" for each in (begin, *ends))
    arrows = [(0, k) for k in range(1, len(named))]
    return _planes(named, arrows, None if target is None else target.lab, words)


def _planes(
    named: Sequence[tuple[str, Array]],
    arrows: Sequence[tuple[int, int]],
    target: Array | None,
    words: str,
    tolerance_de00: float = 1.0,
) -> list[Part]:
    """Colours (Lab) and the arrows between them, in a*, b* and in C*, L*."""

    def picture(plane: str) -> Picture:
        def draw(ax: "Axes") -> Any:
            from matchkit.plots.learning import way

            return way(ax, named, arrows, target, plane, tolerance_de00)

        return Picture(draw=draw, alt=f"{plane} of {words}")

    return [picture("ab"), picture("LC")]


# ---- the simulated job


def job_parts(batch: PracticeBatch) -> list[Part]:
    """What the learner knows: the target, what is in the container, every reading so far."""
    assert batch.target.R is not None
    names = batch.shop.bench.names
    weighed = zip(names, batch.shown_g, strict=True)
    held = ", ".join(f"{name} {g:.2f} g" for name, g in weighed if g > 0)
    target = swatch("target", batch.target.R)
    seen = [swatch(f"round {k}", r.R) for k, r in enumerate(batch.readings, start=1)]
    rounds = tuple(
        (f"Round {k}", f"{shown.numbers}: {r.de00:.2f} dE00, {r.words}")
        for k, (shown, r) in enumerate(zip(seen, batch.readings, strict=True), start=1)
    )
    container = f"{batch.shown_g.sum():.2f} g: {held}" if held else "nothing yet"
    parts: list[Part] = [
        f"Make {BATCH_G:g} g of the target within {batch.tolerance_de00:g} dE00 under {LIGHTS[0]},"
        " in few rounds and with little waste. The lots of today are not quite those that were"
        " fitted.",
        _pair([target, *seen]),
        Table(
            head=IN_NUMBERS,
            rows=(("Target", target.numbers), *rounds, ("In the container", container)),
            words=(1,),
        ),
    ]
    return [*parts, *_path(batch)] if batch.readings else parts


def outcome_parts(batch: PracticeBatch, outcome: Outcome) -> list[Part]:
    """How it ended, what each move did, and what the hints would have done."""
    word = "IN TOLERANCE" if outcome.came_in else "OUT OF TOLERANCE"
    away = "nothing measured" if outcome.de00 is None else f"{outcome.de00:.2f} dE00"
    lots = ", ".join(f"{name} {round(100 * (s - 1)) + 0:+d} %" for name, s in outcome.lots)
    solver = outcome.solver
    theirs = ", ".join(f"{r.de00:.2f}" for r in solver.readings)
    parts: list[Part] = [
        f"{word}: {away} after {_rounds(outcome.rounds)}, {outcome.waste_g:.0f} g wasted;"
        f" {outcome.points:g} of 10 points.",
        f"The lots of today were: {lots}." if lots else "Nothing was weighed.",
        *outcome.told,
        f"With the hints it would have been {_rounds(len(solver.readings))}: dE00 {theirs},"
        f" {float(solver.shown_g.sum()):.0f} g in all.",
    ]
    if outcome.unanswered:
        keys = ", ".join(each.key for each in outcome.unanswered)
        parts.append(f"Safety questions still open: {keys}.")
    same = np.array_equal(solver.path, batch.path)
    return parts if same else [*parts, *_path(solver)]


def _path(batch: PracticeBatch) -> list[Part]:
    named = [(f"round {k}", lab) for k, lab in enumerate(batch.path, start=1)]
    words = "; ".join(f"round {k}: {r.words}" for k, r in enumerate(batch.readings, start=1))
    steps = [(k, k + 1) for k in range(len(named) - 1)]
    about = f"the rounds, the target and its tolerance. {words}"
    return _planes(named, steps, batch.target.lab[0], about, batch.tolerance_de00)


def _rounds(n: int) -> str:
    return f"{n} round{'s' if n != 1 else ''}"
