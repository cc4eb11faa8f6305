"""A ladder with an end: six sessions, each with a pass mark, and what comes back after days.

Misses come back after one day and, answered rightly then, once more after three: spaced
repetition as with Leitner's boxes (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from matchkit.practice.colour import AXES, N_LEVELS, axis_of
from matchkit.practice.kinds import CAUSE, EYE, JOB, NUMBERS, POUR, Answered, standing
from matchkit.practice.staircase import Staircase, answered

LEAST = 10  # unaided answers that every session needs
PASS_LEVEL = 5  # to be reached in fix, light and sums: ten right answers and more
NUMBERS_LEVEL, EYE_LEVEL = 2, 3  # to be reached in every direction
JOBS = 3  # in a row
BLIND_AFTER = 12  # answers by eye in one direction before the instrument is advised
BLIND_BELOW = 2.0  # a threshold at an easier level than this is no threshold to work with
MOST_BLIND = 2  # directions that may be taken from the instrument
COMES_BACK_DAYS = (1, 3)


@dataclass(frozen=True, kw_only=True)
class Sitting:
    """Fifteen minutes: exercises of a `kind`, by a `gauge`, and what its pass mark is."""

    key: str
    title: str
    kind: str
    gauge: str
    mark: str


SESSIONS = tuple(
    Sitting(key=key, title=title, kind=kind, gauge=gauge, mark=mark)
    for key, title, kind, gauge, mark in (
        ("numbers", "1 What the numbers say", "see", NUMBERS,
         f"level {NUMBERS_LEVEL} in every direction, numbers shown"),
        ("eye", "2 What the eye sees", "see", EYE,
         f"level {EYE_LEVEL} in every direction, numbers hidden; a direction that your eye does"
         " not tell is taken from the instrument"),
        ("sums", "3 At the balance", "sums", "", f"level {PASS_LEVEL}"),
        ("fix", "4 Which ink, and how much", "fix", "", f"level {PASS_LEVEL}"),
        ("light", "5 Under the other light", "light", "", f"level {PASS_LEVEL}"),
        ("job", "6 A whole job", JOB, "",
         f"{JOBS} jobs in a row: made in full, in tolerance, cause named, without a hint"),
    )
)  # fmt: skip


def passed(key: str, answers: Sequence[Answered]) -> bool:
    """Whether a session was ever passed with these answers, oldest first.

    >>> passed("sums", [])
    False
    """
    session = next(each for each in SESSIONS if each.key == key)
    if key == "job":
        own = [each for each in answers if each.kind in (JOB, CAUSE, POUR) and not each.aided]
        jobs = [each.right and not each.aided for each in answers if each.kind == JOB]
        rows = range(JOBS, len(jobs) + 1)
        return len(own) >= LEAST and any(all(jobs[k - JOBS : k]) for k in rows)
    own = [
        each
        for each in answers
        if each.kind == session.kind and not each.aided and session.gauge in ("", each.gauge)
    ]
    if len(own) < LEAST:
        return False
    if session.kind != "see":
        return _peak(own) >= PASS_LEVEL
    least = EYE_LEVEL if key == "eye" else NUMBERS_LEVEL
    blind = from_instrument(answers) if key == "eye" else ()
    if len(blind) > MOST_BLIND:
        return False
    numbers = [each for each in answers if each.kind == "see" and each.gauge == NUMBERS]
    return all(
        _peak([each for each in (numbers if axis in blind else own) if axis_of(each.seed) == axis])
        >= least
        for axis in AXES
    )


def from_instrument(answers: Sequence[Answered]) -> tuple[str, ...]:
    """Directions (names of `AXES`) that the learner's eye tells badly, after enough answers."""
    found = []
    for axis in AXES:
        stands = standing("see", answers, gauge=EYE, axis=axis)
        own = [e for e in answers if e.kind == "see" and e.gauge == EYE and not e.aided]
        own = [each for each in own if axis_of(each.seed) == axis]
        level = stands.threshold
        weak = _peak(own) < EYE_LEVEL if level is None else level < BLIND_BELOW
        if len(own) >= BLIND_AFTER and weak:
            found.append(axis)
    return tuple(found)


def _peak(answers: Sequence[Answered]) -> int:
    """The hardest level that the staircase reached; answers after a hint move it not."""
    staircase, peak = Staircase(n_levels=N_LEVELS), 0
    for each in answers:
        if not each.aided:
            staircase = answered(staircase, each.right)
            peak = max(peak, staircase.level)
    return peak


def due(kind: str, answers: Sequence[Answered], today: str) -> list[tuple[int, int]]:
    """Exercises (seed, level) that were missed and come back today, the oldest first.

    >>> miss = Answered(kind="sums", seed=4, level=2, choice=1, right=False, score=0.0,
    ...                 date="2030-01-02")
    >>> due("sums", [miss], "2030-01-02"), due("sums", [miss], "2030-01-03")
    ([], [(4, 2)])
    """
    waiting: dict[tuple[int, int], tuple[int, str]] = {}  # rights since the miss, and when
    for each in answers:
        code = (each.seed, each.level)
        if each.kind != kind or not each.date:
            continue
        if not each.right:
            waiting[code] = (0, each.date)
        elif code in waiting:
            rights = waiting.pop(code)[0] + 1
            if rights < len(COMES_BACK_DAYS):
                waiting[code] = (rights, each.date)
    return [
        code
        for code, (rights, when) in waiting.items()
        if _days(when, today) >= COMES_BACK_DAYS[rights]
    ]


def _days(since: str, until: str) -> int:
    try:
        return (date.fromisoformat(until) - date.fromisoformat(since)).days
    except ValueError:  # a date that somebody typed
        return 0


@dataclass(frozen=True, kw_only=True)
class Calibration:
    """How well additions were foreseen in one direction.

    Of `n`, `n_right` went the way that was expected; `times` is how many times as far as
    measured they were expected to go, on the geometric mean.
    """

    axis: str
    n: int
    n_right: int
    times: float


def calibration(answers: Sequence[Answered]) -> tuple[Calibration, ...]:
    """How well a learner foresees additions, for every direction that was expected."""
    rows = []
    for axis in AXES:
        own = [each for each in answers if each.kind == POUR and each.axis == axis]
        right = [each.times for each in own if each.right and each.times > 0]
        if own:
            mean = 1.0
            for times in right:
                mean *= times ** (1 / len(right))
            rows.append(Calibration(axis=axis, n=len(own), n_right=len(right), times=mean))
    return tuple(rows)
