"""How hard the next exercise should be: the two-down, one-up staircase.

Two right answers in a row make the next exercise one step harder, one wrong answer one
step easier.  Where the chance of a right answer is p, a step down the sizes has the chance
p squared, so the staircase settles where p^2 = 1/2: at 70.7 % right answers, whatever
the learner's eye is like.

Source: Levitt (1971), Transformed up-down methods in psychoacoustics, J. Acoust. Soc.
Am. 49, 467-477; from memory.  A learner's threshold is the mean of the levels at which the
staircase turned, as there.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

RIGHT_IN_A_ROW = 2
LEAST_TURNS, SKIPPED = 4, 2  # turns that a threshold needs; the first ones show the start


@dataclass(frozen=True, kw_only=True)
class Staircase:
    """Where a learner stands: level 0 is the easiest, `n_levels` - 1 the hardest.

    `in_a_row` are right answers since the last step, `going` is +1 on the way to harder,
    -1 to easier, 0 at the start; `turns` are the levels at which that changed.
    """

    n_levels: int
    level: int = 0
    in_a_row: int = 0
    going: int = 0
    turns: tuple[int, ...] = ()


def answered(staircase: Staircase, right: bool) -> Staircase:
    """The staircase after one more answer.

    >>> now = Staircase(n_levels=9, level=3, in_a_row=1)
    >>> answered(now, True).level, answered(now, False).level
    (4, 2)
    """
    in_a_row = staircase.in_a_row + 1
    if right and in_a_row < RIGHT_IN_A_ROW:
        return replace(staircase, in_a_row=in_a_row)
    way = 1 if right else -1
    turned = staircase.going == -way
    return replace(
        staircase,
        level=min(max(staircase.level + way, 0), staircase.n_levels - 1),
        in_a_row=0,
        going=way,
        turns=(*staircase.turns, staircase.level) if turned else staircase.turns,
    )


def climbed(n_levels: int, rights: Iterable[bool]) -> Staircase:
    """The staircase after all of a learner's answers, oldest first.

    >>> climbed(9, [True, True, True, True, False]).turns
    (2,)
    """
    staircase = Staircase(n_levels=n_levels)
    for right in rights:
        staircase = answered(staircase, right)
    return staircase


def threshold(staircase: Staircase) -> float | None:
    """The level with 70.7 % right answers, or None while there were too few turns.

    An even number of turns is taken, so that peaks and valleys weigh the same.
    """
    turns = staircase.turns[SKIPPED:]
    if len(turns) < LEAST_TURNS:
        return None
    return float(np.mean(turns[len(turns) % 2 :]))
