"""Four kinds of exercise, and how a learner stands in each.

A learner's answers are all there is to remember: the staircases follow from them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from matchkit.errors import InputError
from matchkit.practice.colour import N_LEVELS, SIZES, fix, light, see
from matchkit.practice.exercise import Exercise, mark
from matchkit.practice.simulated_shop import PracticeShop
from matchkit.practice.staircase import Staircase, climbed, threshold
from matchkit.practice.sums import sums

KINDS = ("see", "fix", "light", "sums")
TITLES = {
    "see": "See the difference",
    "fix": "Which ink, and how much",
    "light": "Under the other light",
    "sums": "At the balance",
}
_MAKE = {"see": see, "fix": fix, "light": light, "sums": sums}
MOST_SEED = 10**6


@dataclass(frozen=True, kw_only=True)
class Answered:
    """One answer of a learner: the exercise by kind, seed and level, and what came of it."""

    kind: str
    seed: int
    level: int
    choice: int
    right: bool
    score: float
    date: str = ""


@dataclass(frozen=True, kw_only=True)
class Standing:
    """How far a learner is in one kind.

    `threshold` is the level with 70.7 % right answers, once there were enough turns;
    `size` is what the present level means: dE00 (see, fix), times the limit (light), or
    None (sums).
    """

    kind: str
    n_answers: int
    n_right: int
    score: float
    staircase: Staircase
    threshold: float | None
    size: float | None


def exercise(shop: PracticeShop, kind: str, *, seed: int, level: int) -> Exercise:
    """The exercise of a kind, a seed and a level (0 easiest, 8 hardest): always the same one.

    >>> from matchkit.practice.simulated_shop import practice_shop
    >>> found = exercise(practice_shop(), "sums", seed=1, level=0)
    >>> len(found.choices), found.code
    (4, 'sums-1-0')
    """
    faults = []
    if kind not in KINDS:
        faults.append(f"exercise: kind is {kind!r}; write {', '.join(KINDS)}")
    if not 0 <= level < N_LEVELS:
        faults.append(f"exercise: level is {level}; write 0 (easiest) to {N_LEVELS - 1} (hardest)")
    if not 0 <= seed <= MOST_SEED:
        faults.append(f"exercise: seed is {seed}; write a whole number from 0 to {MOST_SEED}")
    if faults:
        raise InputError(faults)
    rng = np.random.default_rng([shop.seed, KINDS.index(kind), seed, level])
    return _MAKE[kind](shop, rng, seed=seed, level=level)


def from_code(shop: PracticeShop, code: str) -> Exercise:
    """The exercise that a sheet calls by its code, such as ``see-12-3``."""
    kind, *numbers = code.strip().lower().split("-")
    if kind not in KINDS or len(numbers) != 2 or not all(n.isdecimal() for n in numbers):
        raise InputError(
            f"{code!r} is no exercise; write kind-seed-level as on the sheet: see-12-3"
        )
    return exercise(shop, kind, seed=int(numbers[0]), level=int(numbers[1]))


def answer(given: Exercise, choice: int, *, date: str = "") -> Answered:
    """What is remembered of an answer."""
    marked = mark(given, choice)
    return Answered(
        kind=given.kind,
        seed=given.seed,
        level=given.level,
        choice=choice,
        right=marked.right,
        score=marked.score,
        date=date,
    )


def standing(kind: str, answers: Sequence[Answered]) -> Standing:
    """How far a learner is in one kind, from all answers, oldest first.

    >>> standing("see", []).size
    4.0
    """
    own = [each for each in answers if each.kind == kind]
    staircase = climbed(N_LEVELS, (each.right for each in own))
    return Standing(
        kind=kind,
        n_answers=len(own),
        n_right=sum(each.right for each in own),
        score=float(sum(each.score for each in own)),
        staircase=staircase,
        threshold=threshold(staircase),
        size=float(SIZES[kind][staircase.level]) if kind in SIZES else None,
    )


def next_seed(kind: str, answers: Sequence[Answered]) -> int:
    """The seed of the first exercise of a kind that a learner has not seen."""
    return (1 + max((each.seed for each in answers if each.kind == kind), default=0)) % MOST_SEED
