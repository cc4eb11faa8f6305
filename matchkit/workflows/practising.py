"""Exercises for those who learn to mix: made, marked, and how far a learner is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from matchkit.errors import InputError
from matchkit.files.progress import add_progress, read_progress
from matchkit.practice.colour import N_LEVELS
from matchkit.practice.exercise import LETTERS, Exercise, Marked, mark
from matchkit.practice.kinds import (
    KINDS,
    MOST_SEED,
    Answered,
    Standing,
    answer,
    exercise,
    next_seed,
    standing,
)
from matchkit.practice.simulated_shop import practice_shop

MOST = 20  # exercises of one kind in one go
LIMITS = {"count": (1, MOST), "seed": (0, MOST_SEED - MOST), "level": (0, N_LEVELS - 1)}
Given = tuple[Exercise, int]  # and the choice, by its position


@dataclass(frozen=True, kw_only=True)
class PracticeOptions:
    """Which exercises: `count` of each kind.

    Without a `seed` they are new to the learner; without a `level`, 0 (easiest) to 8, they
    are as hard as the learner's answers say.  InputError tells every number that can't be.
    """

    kinds: tuple[str, ...] = KINDS
    count: int = 1
    seed: int | None = None
    level: int | None = None

    def __post_init__(self) -> None:
        faults = [
            f"{name}: found {value}, need {low} to {high}"
            for name, (low, high) in LIMITS.items()
            if (value := getattr(self, name)) is not None and not low <= value <= high
        ]
        if faults:
            raise InputError(faults)


@dataclass(frozen=True, kw_only=True)
class Learner:
    """Answers so far, oldest first, and the file where they are kept; None: nowhere."""

    answers: tuple[Answered, ...] = ()
    path: Path | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Exercises:
    """Exercises, and how far their learner is in each kind; no standing of no learner."""

    exercises: tuple[Exercise, ...]
    standings: tuple[Standing, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit practice --json`` prints it."""
        return {
            "exercises": [_plain_exercise(each) for each in self.exercises],
            "standing": [_plain_standing(each) for each in self.standings],
        }


@dataclass(frozen=True, kw_only=True, eq=False)
class MarkedAnswers:
    """Answers to exercises, how each was marked, and how far the learner is now."""

    given: tuple[Given, ...]
    marks: tuple[Marked, ...]
    learner: Learner | None = None  # with these answers
    standings: tuple[Standing, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit practice --mark --json`` prints it."""
        marks = [
            {
                "code": each.code,
                "choice": LETTERS[choice],
                "right": marked.right,
                "score": marked.score,
                "words": marked.words,
            }
            for (each, choice), marked in zip(self.given, self.marks, strict=True)
        ]
        return {"marks": marks, "standing": [_plain_standing(each) for each in self.standings]}


def learner_of(path: str | Path) -> Learner:
    """The learner whose answers are kept in a file; a new one where there is no such file."""
    return Learner(answers=tuple(read_progress(path)), path=Path(path))


def practise(options: PracticeOptions, learner: Learner | None = None) -> Exercises:
    """Exercises for a learner, or for anyone."""
    answers = learner.answers if learner else ()
    made = []
    for kind in options.kinds:
        level = options.level
        if level is None:
            level = standing(kind, answers).staircase.level
        seed = next_seed(kind, answers) if options.seed is None else options.seed
        made += [
            exercise(practice_shop(), kind, seed=seed + k, level=level)
            for k in range(options.count)
        ]
    return Exercises(exercises=tuple(made), standings=_standings(learner))


def mark_answers(given: Sequence[Given], day: str, learner: Learner | None = None) -> MarkedAnswers:
    """Mark exercises and choices, and keep the answers for a learner who has a file.

    `day` is the date, YYYY-MM-DD.  Nothing is kept where one of the choices does not exist.
    """
    marks = tuple(mark(each, choice) for each, choice in given)
    if learner is not None:
        new = [answer(each, choice, date=day) for each, choice in given]
        if learner.path:
            learner.path.parent.mkdir(exist_ok=True)
            add_progress(learner.path, new)
        learner = replace(learner, answers=(*learner.answers, *new))
    return MarkedAnswers(
        given=tuple(given), marks=marks, learner=learner, standings=_standings(learner)
    )


def _standings(learner: Learner | None) -> tuple[Standing, ...]:
    return tuple(standing(kind, learner.answers) for kind in KINDS) if learner else ()


def _plain_exercise(each: Exercise) -> dict[str, Any]:
    return {
        "code": each.code,
        "kind": each.kind,
        "question": each.question,
        "facts": dict(each.facts),
        "swatches": [
            {"name": s.name, "light": s.light, "lab": s.lab.round(3).tolist(), "hex": s.hex}
            for s in each.swatches
        ],
        "choices": {LETTERS[k]: choice.text for k, choice in enumerate(each.choices)},
        "answer": LETTERS[each.answer],
        "hint": each.hint,
        "explanation": each.explanation,
    }


def _plain_standing(each: Standing) -> dict[str, Any]:
    return {
        "kind": each.kind,
        "answers": each.n_answers,
        "right": each.n_right,
        "score": each.score,
        "rung": each.staircase.level,
        "threshold_rung": each.threshold,
    }
