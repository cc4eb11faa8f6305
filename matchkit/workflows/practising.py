"""Exercises for those who learn to mix: made, marked, and how far a learner is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from zlib import crc32

from matchkit.errors import InputError, raise_any
from matchkit.files.progress import SUFFIX, add_progress, learner_files, read_progress
from matchkit.practice import colour, simulated_shop
from matchkit.practice.exercise import LETTERS, Exercise, Marked, mark
from matchkit.practice.hints import Outcome
from matchkit.practice.job import PracticeBatch
from matchkit.practice.kinds import (
    CAUSE,
    EYE,
    JOB,
    KINDS,
    MOST_SEED,
    NUMBERS,
    POUR,
    Answered,
    Standing,
    answer,
    exercise,
    next_seed,
    standing,
)
from matchkit.practice.ladder import (
    SESSIONS,
    Calibration,
    Sitting,
    calibration,
    due,
    from_instrument,
    passed,
)

MOST = 20  # exercises of one kind in one go
LIMITS = {"count": (1, MOST), "seed": (0, MOST_SEED - MOST), "level": (0, colour.N_LEVELS - 1)}
Given = tuple[Exercise, int]  # and the choice, by its position


@dataclass(frozen=True, kw_only=True)
class PracticeOptions:
    """Which exercises: `count` of each kind.

    Without a `seed` they are new to the learner; without a `level`, 0 (easiest) to 8, they
    are as hard as the learner's answers by this `gauge` say.  With the day, `today`
    (YYYY-MM-DD), exercises that were missed days ago come first.  InputError tells every number
    that can't be.
    """

    kinds: tuple[str, ...] = KINDS
    count: int = 1
    seed: int | None = None
    level: int | None = None
    gauge: str = NUMBERS
    today: str = ""

    def __post_init__(self) -> None:
        faults = [
            f"{name}: found {value}, need {low} to {high}"
            for name, (low, high) in LIMITS.items()
            if (value := getattr(self, name)) is not None and not low <= value <= high
        ]
        raise_any(faults)


@dataclass(frozen=True, kw_only=True)
class Learner:
    """Answers so far, oldest first, and the file where they are kept; None: nowhere."""

    answers: tuple[Answered, ...] = ()
    path: Path | None = None

    @property
    def first_seed(self) -> int:
        """Where this learner's exercises begin: others than those of who sits beside."""
        if self.path is None:
            return 1
        return 1 + crc32(self.path.name.casefold().encode()) % (MOST_SEED // 2)


@dataclass(frozen=True, kw_only=True)
class Ladder:
    """The six sessions and whether each is passed, and how the learner does by direction.

    `directions` are those that were judged by eye; `from_instrument` names those that the
    eye tells badly; `calibrations` are of additions that were foreseen.
    """

    sessions: tuple[tuple[Sitting, bool], ...]
    directions: tuple[Standing, ...]
    from_instrument: tuple[str, ...]
    calibrations: tuple[Calibration, ...]
    jobs: int
    jobs_made: int

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        return {
            "sessions": [{"session": each.key, "passed": done} for each, done in self.sessions],
            "directions": [
                {"direction": each.axis, **_plain_standing(each), "de00": each.threshold_size}
                for each in self.directions
            ],
            "from_instrument": list(self.from_instrument),
            "foreseen": [vars(each) for each in self.calibrations],
            "jobs": self.jobs,
            "jobs_made": self.jobs_made,
        }


@dataclass(frozen=True, kw_only=True, eq=False)
class Exercises:
    """Exercises, and how far their learner is in each kind; no standing of no learner."""

    exercises: tuple[Exercise, ...]
    standings: tuple[Standing, ...] = ()
    ladder: Ladder | None = None

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit practice --json`` prints it."""
        return {
            "exercises": [_plain_exercise(each) for each in self.exercises],
            "standing": [_plain_standing(each) for each in self.standings],
            **({"ladder": self.ladder.to_dict()} if self.ladder else {}),
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
        missed = due(kind, answers, options.today) if options.today else []
        first = next_seed(kind, answers, learner.first_seed if learner else 1)
        asked: list[tuple[int, int | None]] = [*missed] if options.seed is None else []
        seed = first if options.seed is None else options.seed
        asked += [(seed + k, options.level) for k in range(options.count)]
        for at, level in asked[: options.count]:
            hard = _level(kind, answers, at, options.gauge) if level is None else level
            made.append(exercise(simulated_shop.practice_shop(), kind, seed=at, level=hard))
    return Exercises(
        exercises=tuple(made),
        standings=_standings(learner),
        ladder=ladder_of(learner) if learner else None,
    )


def _level(kind: str, answers: Sequence[Answered], seed: int, gauge: str) -> int:
    """How hard an exercise should be: as the direction that its seed asks for says."""
    if kind == "see":
        return standing(kind, answers, gauge=gauge, axis=colour.axis_of(seed)).staircase.level
    return standing(kind, answers).staircase.level


def mark_answers(
    given: Sequence[Given],
    day: str,
    learner: Learner | None = None,
    *,
    gauge: str = NUMBERS,
    aided: bool = False,
) -> MarkedAnswers:
    """Mark exercises and choices, and keep the answers for a learner who has a file.

    `day` is the date, YYYY-MM-DD; `gauge` and `aided` as in `kinds.Answered`.  Nothing is kept
    where one of the choices does not exist.
    """
    marks = tuple(mark(each, choice) for each, choice in given)
    if learner is not None:
        learner = _kept(
            learner,
            [answer(each, choice, date=day, gauge=gauge, aided=aided) for each, choice in given],
        )
    return MarkedAnswers(
        given=tuple(given), marks=marks, learner=learner, standings=_standings(learner)
    )


def keep_job(
    learner: Learner, batch: PracticeBatch, outcome: Outcome, cause: str, day: str
) -> Learner:
    """Keep a job that was ended: what came of it, the cause named, and every addition foreseen.

    The job counts where it came in and its cause was named; with hints it is aided.
    """
    base = Answered(
        kind=JOB, seed=batch.seed, level=0, choice=0, right=outcome.came_in and outcome.cause_named,
        score=outcome.points / 10, date=day, aided=batch.hints > 0,
    )  # fmt: skip
    named = replace(base, kind=CAUSE, right=outcome.cause_named, score=float(outcome.cause_named))
    poured = []
    for reading in batch.readings:
        guess, went = reading.guess, reading.moved
        if guess is None or went is None:
            continue
        axis = next(key for key, words in colour.AXES.items() if guess.word in words)
        right = guess.word == went.word
        times = min(guess.de00 / max(went.de00, 0.01), 100.0)
        poured.append(
            replace(base, kind=POUR, right=right, score=float(right), axis=axis, times=times)
        )
    return _kept(learner, [*poured, named, base])


def _kept(learner: Learner, new: Sequence[Answered]) -> Learner:
    if learner.path:
        learner.path.parent.mkdir(exist_ok=True)
        add_progress(learner.path, new)
    return replace(learner, answers=(*learner.answers, *new))


def ladder_of(learner: Learner) -> Ladder:
    """Which sessions a learner has passed, and how they do by direction and in jobs."""
    answers = learner.answers
    seen = (standing("see", answers, gauge=EYE, axis=axis) for axis in colour.AXES)
    jobs = [each for each in answers if each.kind == JOB]
    return Ladder(
        sessions=tuple((each, passed(each.key, answers)) for each in SESSIONS),
        directions=tuple(each for each in seen if each.n_answers),
        from_instrument=from_instrument(answers),
        calibrations=calibration(answers),
        jobs=len(jobs),
        jobs_made=sum(each.right for each in jobs),
    )


@dataclass(frozen=True, kw_only=True)
class Class:
    """All learners whose answers are kept in a folder, by name."""

    learners: tuple[tuple[str, Ladder], ...]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit practice --trainer FOLDER --json`` prints it."""
        return {"learners": [{"name": name, **ladder.to_dict()} for name, ladder in self.learners]}


def class_of(folder: str | Path) -> Class:
    """How far every learner in a folder is.  InputError where there is none."""
    files = learner_files(folder)
    if not files:
        raise InputError(
            f"{folder}: no learner has answers there; write a name into a practice form first"
        )
    return Class(
        learners=tuple(
            (path.name.removesuffix(SUFFIX), ladder_of(learner_of(path))) for path in files
        )
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
