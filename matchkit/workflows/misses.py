"""The shop's own batches that came out wrong, as exercises: what would you have added?"""

from collections.abc import Mapping, Sequence

import numpy as np

from matchkit.book.find import find
from matchkit.book.jobs import BatchRecord, Poured, job, off_plan
from matchkit.book.work import target_of
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab
from matchkit.colorimetry.words import direction
from matchkit.practice import kinds, simulated_shop
from matchkit.practice.exercise import Choice, Exercise
from matchkit.workflows.practising import Exercises
from matchkit.workflows.session import Session

LOOKED_AT = 200  # batches, newest first
LEAST_G = 0.01


def misses(session: Session, *, most: int = 10) -> Exercises:
    """Exercises of batches whose first drawdown was out of tolerance, newest first.

    Only of those that an addition brought nearer.  The answer is what was truly added and
    measured; the other choices are less or more of it, and as much of another ink of the batch.
    """
    book, made = session.open_book(), []
    numbers = dict.fromkeys(each.batch for each in find(book, top=LOOKED_AT) if each.batch)
    for number in numbers:
        record = job(book, number)
        target = target_of(book, session.shop, record.target)
        if (
            target is not None
            and (exercise := _exercise(record, target, session.shop.lights)) is not None
        ):
            made.append(exercise)
    return Exercises(exercises=tuple(made[:most]))


def _exercise(record: BatchRecord, target: Target, lights: Sequence[str]) -> Exercise | None:
    read = [each for each in record.readings if each.de00 is not None]
    if len(read) < 2 or read[0].passed or target.R is None:
        return None
    first, last = read[0], min(read[1:], key=lambda each: each.de00 or 0.0)
    added = _added(record.pours, first.weighing, last.weighing)
    before = _added(record.pours, 0, first.weighing)
    if not added or (last.de00 or 0.0) >= (first.de00 or 0.0):
        return None
    rng = np.random.default_rng(record.batch)
    choices, answer = _choices(added, before, rng)
    light, observer = lights[0], target.observer
    shown = [
        simulated_shop.swatch("target", target.R, light, observer),
        simulated_shop.swatch("drawdown", first.R, light, observer),
    ]
    said = [direction(target.lab[0], Lab(R, light, observer)) for R in (first.R, last.R)]
    asked = dict(zip(record.pours[0].inks, record.pours[0].planned_g, strict=True))
    told = "; ".join(filter(None, [record.note, first.note, record.closing_note]))
    total_g = sum(before.values())
    return Exercise(
        kind=kinds.BOOK,
        seed=record.batch,
        level=0,
        question=f"Batch {record.batch}, {record.name}, {total_g:.0f} g, was {first.de00:.2f} dE00"
        " from its target. In which direction was it off, and what would you have added?",
        facts=(
            ("Target", shown[0].numbers),
            ("First drawdown", shown[1].numbers),
            ("Asked for", _weights(asked)),
            ("In the container", _weights(before)),
        ),
        swatches=tuple(shown),
        choices=tuple(
            Choice(
                text=text,
                worth=float(k == answer),
                told=f"what helped was {choices[answer]}: {said[0]} before, {said[1]} after it.",
            )
            for k, text in enumerate(choices)
        ),
        answer=answer,
        hint="First say in which direction it is off. Then look for the ink that pulls the"
        " other way.",
        explanation=f"The drawdown was {said[0]}; the weights: {off_plan(record.pours[0])}."
        f" {choices[answer]} took it from"
        f" {first.de00:.2f} to {last.de00:.2f} dE00 ({said[1]})."
        + (f" The book says: {told}." if told else ""),
        after=(simulated_shop.swatch("after the addition", last.R, light, observer),),
    )


def _added(pours: tuple[Poured, ...], after: int, until: int) -> dict[str, float]:
    """Grams by ink of the weighings after one and up to another."""
    grams: dict[str, float] = {}
    for pour in pours:
        if after < pour.weighing <= until:
            for ink, g in zip(pour.inks, pour.actual_g, strict=True):
                grams[ink] = grams.get(ink, 0.0) + g
    return {ink: g for ink, g in grams.items() if g >= LEAST_G}


def _choices(
    added: Mapping[str, float], before: Mapping[str, float], rng: np.random.Generator
) -> tuple[list[str], int]:
    """What was added, less and more of it, and as much of other inks; and where it stands."""
    times = 3.0 if rng.random() < 0.5 else 1 / 3.0
    wrong = [{ink: times * g for ink, g in added.items()}]
    others = [ink for ink in before if ink not in added]
    total_g = sum(added.values())
    wrong += [{ink: g} for ink in others[:2] for g in (total_g, times * total_g)]
    texts = [_weights(each) for each in (added, *wrong)]
    order = rng.permutation(len(texts))
    return [texts[k] for k in order], int(np.flatnonzero(order == 0)[0])


def _weights(grams: Mapping[str, float]) -> str:
    return ", ".join(f"{ink} {g:.2f} g" for ink, g in grams.items())
