"""What the forms of `practise` show: questions, answers and a job, as parts."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from matchkit.forms.pictures import drawn
from matchkit.plots.learning import curves, way
from matchkit.practice.exercise import LETTERS, Exercise
from matchkit.practice.hints import BATCH_G, Outcome
from matchkit.practice.job import Batch
from matchkit.practice.simulated_shop import LIGHTS, Swatch, swatch
from matchkit.report.compared import edge_to_edge
from matchkit.report.parts import Part, Picture, Table

__all__ = ["answer_parts", "job_parts", "outcome_parts", "question_parts"]

Array = NDArray[np.float64]


def question_parts(exercise: Exercise) -> list[Part]:
    """The question, its swatches edge to edge, and all its numbers."""
    parts: list[Part] = [exercise.question]
    if exercise.swatches:
        parts.append(_pair(exercise.swatches))
    if exercise.kind == "light":
        parts.append(_curves(exercise.swatches))
    parts.append(Table(head=("", "In numbers"), rows=exercise.facts, words=(1,)))
    return parts


def answer_parts(exercise: Exercise, chosen: int) -> list[Part]:
    """The explanation and the picture that it speaks of."""
    right = f"{LETTERS[exercise.answer]}) {exercise.choices[exercise.answer].text}"
    parts: list[Part] = [f"Answer: {right}", exercise.explanation]
    if exercise.kind == "see":
        return [*parts, *_arrows(exercise.swatches[0], exercise.swatches[1:], None)]
    if exercise.kind == "fix":
        ends = [exercise.after[k] for k in dict.fromkeys((exercise.answer, chosen))]
        return [*parts, *_arrows(exercise.swatches[1], ends, exercise.swatches[0])]
    if exercise.kind == "light":
        light = exercise.after[0].light
        rows = tuple((f"{each.name} under {light}", each.numbers) for each in exercise.after)
        table = Table(head=("", "In numbers"), rows=rows, words=(1,))
        return [*parts, _pair(exercise.after), table]
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
    names = " and ".join(each.name for each in swatches)
    return drawn(lambda ax: curves(ax, swatches), f"Reflectance of {names}, 400 to 700 nm")


def _arrows(begin: Swatch, ends: Sequence[Swatch], target: Swatch | None) -> list[Part]:
    """Arrows from one colour to others, in a*, b* and in C*, L*."""
    named = [(begin.name, begin.lab), *((each.name, each.lab) for each in ends)]
    arrows = [(0, k) for k in range(1, len(named))]
    aim = None if target is None else target.lab
    words = "; ".join(f"{each.name}: {each.numbers}" for each in (begin, *ends))
    return [
        drawn(lambda ax, p=plane: way(ax, named, arrows, aim, p), f"{plane} of {words}")  # type: ignore[misc]
        for plane in ("ab", "LC")
    ]


# ---- the job


def job_parts(batch: Batch) -> list[Part]:
    """What the learner knows: the target, the bucket, and every reading so far."""
    light, tolerance = LIGHTS[0], batch.tolerance_de00
    target = np.asarray(batch.target.lab[0])
    wanted = "L* {:.1f}  a* {:.1f}  b* {:.1f}".format(*target)
    total = float(batch.shown_g.sum())
    held = ", ".join(
        f"{name} {g:.2f} g"
        for name, g in zip(batch.where.bench.names, batch.shown_g, strict=True)
        if g > 0
    )
    parts: list[Part] = [
        f"Make {BATCH_G:g} g of the target within {tolerance:g} dE00 under {light}, in few rounds"
        " and with little waste. The lots of today are not quite those that were fitted.",
        *_seen(batch),
        Table(
            head=("", "In numbers"),
            rows=(
                ("Target", wanted),
                *(
                    (f"Round {k}", f"{'L* {:.1f}  a* {:.1f}  b* {:.1f}'.format(*r.lab)}:"
                     f" {r.de00:.2f} dE00, {r.words}")
                    for k, r in enumerate(batch.readings, start=1)
                ),
                ("In the bucket", f"{total:.2f} g: {held}" if held else "nothing yet"),
            ),
            words=(1,),
        ),
    ]  # fmt: skip
    if batch.readings:
        parts += _path(batch)
    return parts


def _seen(batch: Batch) -> list[Part]:
    assert batch.target.R is not None
    above = swatch("target", batch.target.R)
    below = [swatch(f"round {k}", r.R) for k, r in enumerate(batch.readings, start=1)]
    return [_pair([above, *below])]


def _path(batch: Batch) -> list[Part]:
    named = [(f"round {k}", lab) for k, lab in enumerate(batch.path, start=1)]
    arrows = [(k, k + 1) for k in range(len(named) - 1)]
    target = np.asarray(batch.target.lab[0])
    words = "; ".join(f"round {k}: {r.words}" for k, r in enumerate(batch.readings, start=1))
    return [
        drawn(
            lambda ax, p=plane: way(ax, named, arrows, target, p, batch.tolerance_de00),  # type: ignore[misc]
            f"The rounds in the {plane} plane, and the target with its tolerance. {words}",
        )
        for plane in ("ab", "LC")
    ]


def _rounds(n: int) -> str:
    return f"{n} round{'s' if n != 1 else ''}"


def outcome_parts(batch: Batch, outcome: Outcome) -> list[Part]:
    """How it ended, what each move did, and what the hints would have done."""
    word = "IN" if outcome.came_in else "NOT IN"
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
