"""Four kinds of exercise, and how a learner stands in each.

A learner's answers are all there is to remember: the staircases follow from them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb

import numpy as np

from matchkit.errors import InputError, raise_any
from matchkit.practice.colour import N_LEVELS, SIZES, axis_of, fix, see
from matchkit.practice.exercise import Exercise, mark
from matchkit.practice.metamers import light
from matchkit.practice.simulated_shop import PracticeShop
from matchkit.practice.staircase import Staircase, climbed, threshold
from matchkit.practice.sums import sums

KINDS = ("see", "fix", "light", "sums")
TITLES = {
    "see": "See the difference",
    "fix": "Which ink, and how much",
    "light": "Under the other light",
    "sums": "At the balance",
    "book": "From your own book",
}
CHOICES = {"see": 4, "fix": 6, "light": 3, "sums": 4}  # to choose from
_MAKE = {"see": see, "fix": fix, "light": light, "sums": sums}
MOST_SEED = 10**6


# What else an answer can be of: a job that was ended, its cause named, an addition foreseen, a
# batch of the record book.
JOB, CAUSE, POUR, BOOK = "job", "cause", "pour", "book"
EYE, NUMBERS = "eye", "numbers"  # by what a difference was judged
GUESSING = 0.01  # the chance up to which a guesser would do as well


@dataclass(frozen=True, kw_only=True)
class Answered:
    """One answer of a learner: the exercise by kind, seed and level, and what came of it.

    `gauge` is `EYE` where no number was shown, else `NUMBERS`; `aided`: with a hint.  Of an
    addition that was foreseen (`POUR`) `axis` is the direction that was expected, `times` how
    many times as far as measured.
    """

    kind: str
    seed: int
    level: int
    choice: int
    right: bool
    score: float
    date: str = ""
    gauge: str = NUMBERS
    aided: bool = False
    axis: str = ""
    times: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Standing:
    """How far a learner is in one kind, or in one direction (`axis`) of it by one `gauge`.

    `threshold` is the level with 70.7 % right answers, once there were enough turns and a
    guesser would hardly be right as often; `guessing`: enough turns, yet a guesser would.
    `size` is what the present level means: dE00 (see, fix), times the limit (light), or
    None (sums), `threshold_size` what the threshold means.
    """

    kind: str
    n_answers: int
    n_right: int
    score: float
    staircase: Staircase
    threshold: float | None
    size: float | None
    guessing: bool = False
    gauge: str = ""
    axis: str = ""

    @property
    def threshold_size(self) -> float | None:
        """The threshold in dE00 or times the limit."""
        if self.threshold is None or self.kind not in SIZES:
            return None
        return float(np.exp(np.interp(self.threshold, range(N_LEVELS), np.log(SIZES[self.kind]))))


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
    raise_any(faults)
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


def answer(
    given: Exercise, choice: int, *, date: str = "", gauge: str = NUMBERS, aided: bool = False
) -> Answered:
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
        gauge=gauge,
        aided=aided,
    )


def standing(
    kind: str, answers: Sequence[Answered], *, gauge: str = "", axis: str = ""
) -> Standing:
    """How far a learner is in one kind, from all answers, oldest first.

    Only by one `gauge` or in one direction (a name of `colour.AXES`) where that is said.  An
    answer after a hint counts for the score but moves no staircase.

    >>> standing("see", []).size
    4.0
    """
    own = [
        each
        for each in answers
        if each.kind == kind
        and gauge in ("", each.gauge)
        and axis in ("", axis_of(each.seed) if kind == "see" else "")
    ]
    alone = [each.right for each in own if not each.aided]
    staircase = climbed(N_LEVELS, alone)
    level = threshold(staircase)
    guessing = by_chance(sum(alone), len(alone), 1 / CHOICES[kind]) > GUESSING
    return Standing(
        kind=kind,
        n_answers=len(own),
        n_right=sum(each.right for each in own),
        score=float(sum(each.score for each in own)),
        staircase=staircase,
        threshold=None if guessing else level,
        size=float(SIZES[kind][staircase.level]) if kind in SIZES else None,
        guessing=guessing and level is not None,
        gauge=gauge,
        axis=axis,
    )


def by_chance(n_right: int, n: int, chance: float) -> float:
    """The probability that a guesser has at least so many right of `n`.

    >>> round(by_chance(2, 2, 0.25), 4)
    0.0625
    """
    return sum(comb(n, k) * chance**k * (1 - chance) ** (n - k) for k in range(n_right, n + 1))


def next_seed(kind: str, answers: Sequence[Answered], first: int = 1) -> int:
    """The seed of the first exercise of a kind that a learner has not seen."""
    return (1 + max((each.seed for each in answers if each.kind == kind), default=first - 1)) % (
        MOST_SEED
    )
