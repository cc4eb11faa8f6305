"""An exercise as a learner holds it: a question, choices, an answer, and what to say."""

from dataclasses import dataclass

from matchkit.errors import InputError
from matchkit.practice.simulated_shop import Swatch

LETTERS = "abcdefgh"
Facts = tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One of the answers to choose from, its worth 0-1, and what to tell who chose it."""

    text: str
    worth: float
    told: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Exercise:
    """One exercise of a `kind`, drawn from `seed` for a `level` of the staircase.

    `swatches` are shown with the question, `after` once it is answered; `facts` are rows
    of a name and a value.  `explanation` says what to see in the picture.
    """

    kind: str
    seed: int
    level: int
    question: str
    facts: Facts
    swatches: tuple[Swatch, ...]
    choices: tuple[Choice, ...]
    answer: int  # position in `choices`
    hint: str
    explanation: str
    after: tuple[Swatch, ...] = ()

    @property
    def code(self) -> str:
        """What makes it again: kind, seed, level."""
        return f"{self.kind}-{self.seed}-{self.level}"


@dataclass(frozen=True, kw_only=True)
class Marked:
    """A learner's choice, marked: whether it is right, its score 0-1, and what to say."""

    right: bool
    score: float
    words: str


def mark(exercise: Exercise, choice: int) -> Marked:
    """Mark the choice at a position in `exercise.choices`."""
    if not 0 <= choice < len(exercise.choices):
        last = LETTERS[len(exercise.choices) - 1]
        raise InputError(f"{exercise.code}: there is no such choice; take one of a to {last}")
    right, chosen = choice == exercise.answer, exercise.choices[choice]
    return Marked(
        right=right, score=chosen.worth, words=f"{'Right' if right else 'No'}: {chosen.told}"
    )


def choice_of(exercise: Exercise, letter: str) -> int:
    """The position of the choice with a letter."""
    given = letter.strip().lower()
    at = LETTERS.find(given) if len(given) == 1 else -1
    if not 0 <= at < len(exercise.choices):
        last = LETTERS[len(exercise.choices) - 1]
        raise InputError(f"{exercise.code}: found {letter!r}, need a letter from a to {last}")
    return at
