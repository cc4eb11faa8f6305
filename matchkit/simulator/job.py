"""One simulated job: a hand that weighs, draws down, measures and adds what it is told to."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.simulator.pigments import Bench
from matchkit.simulator.simulate import NOISE, Noise, drawdown_R, read, weigh
from matchkit.simulator.troubles import astray, drifted

Generator = np.random.Generator


@dataclass(frozen=True, kw_only=True)
class Hand:
    """How a batch is weighed and measured: balance, slip of the hand, readings averaged."""

    resolution_g: float = 0.01
    slip_g: float = 0.03
    repeats: int = 3
    noise: Noise = NOISE


@dataclass(frozen=True, kw_only=True, eq=False)
class SimulatedJob:
    """A batch from its first drawdown to its last, a row for each.  It ends when nothing is added.

    `shown_g` (n, n_ink) is all that was in the container by the balance, `readings`
    (n, n_wl) what was measured.
    """

    shown_g: Array
    readings: Array


def job(
    bench: Bench,
    grams: ArrayLike,
    strengths: ArrayLike,
    rng: Generator,
    *,
    correct: Callable[[Sequence[Array], Sequence[Array]], Array],
    rounds: int = 2,
    hand: Hand | None = None,
) -> SimulatedJob:
    """Weigh a formula `grams` (n_ink,) with today's lots, measure, and correct `rounds` times.

    `correct` is whoever says what to add: it gets what the balance showed in the bucket
    and what was measured, round by round, and returns grams (n_ink,).  What is truly in
    the bucket it never learns.

    >>> from matchkit.simulator.pigments import make_bench
    >>> bench = make_bench(7, n_colours=2)
    >>> done = job(bench, [90, 0, 0, 10, 0], np.ones(5), np.random.default_rng(1),
    ...            correct=lambda shown_g, readings: np.zeros(5))
    >>> done.readings.shape
    (1, 31)
    """
    hand, troubles = Hand() if hand is None else hand, bench.troubles
    in_bucket, shown = np.zeros(len(bench.inks)), [np.zeros(len(bench.inks))]
    readings: list[Array] = []
    add = np.asarray(grams, dtype=float)
    while add.any():
        true, seen = weigh(add, rng, resolution_g=hand.resolution_g, hand_g=hand.slip_g)
        in_bucket = in_bucket + (astray(true, troubles, rng) if troubles.weighing else true)
        shown.append(shown[-1] + seen)
        readings.append(_one_drawdown(bench, in_bucket, strengths, rng, hand))
        if len(readings) > rounds:
            break
        add = correct(shown[1:], readings)
    return SimulatedJob(shown_g=np.array(shown[1:]), readings=np.array(readings))


def _one_drawdown(
    bench: Bench, grams: Array, strengths: ArrayLike, rng: Generator, hand: Hand
) -> Array:
    """The mean reading (n_wl,) of a drawdown of what is in the container."""
    troubles, stretch = bench.troubles, 1.0
    if troubles.thickness:
        stretch = float(np.exp(troubles.thickness * rng.standard_normal()))
    R = drawdown_R(bench, grams / grams.sum(), strengths, stretch=stretch)
    seen: Array = read(R, rng, hand.noise, repeats=hand.repeats).mean(axis=-2)
    return drifted(seen, rng.uniform(-1, 1), troubles) if troubles.drift else seen
