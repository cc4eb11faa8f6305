"""Hints for a job on simulated inks, and what is said of it at its end.

A hint knows what the learner knows: what the balance showed and what was measured.  It
matches, infers and corrects as matchkit does for a shop.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.words import direction
from matchkit.correcting.correct import Correction, Limits, correct
from matchkit.correcting.diagnose import Round, infer
from matchkit.inks.recipe import weigh_out
from matchkit.matching.probability import chance_text
from matchkit.paper.sheet import MIX, UNSOURCED
from matchkit.practice.job import (
    LONG_ENOUGH_S,
    MOST_G,
    Move,
    PracticeBatch,
    add,
    asked_before,
    done,
    drawdown,
    measure,
    named,
    start,
    stir,
)
from matchkit.practice.safety import SAFETY, Safety
from matchkit.practice.simulated_shop import RESOLUTION_G, formula_for

Array = NDArray[np.float64]

BATCH_G = 500.0  # wanted
DRAWDOWN_G = 5.0  # ink that a drawdown costs: counted as waste, not taken out of the container
MOST_ROUNDS = 8  # after which hints give up
# Our own scoring: ten points, two off for every round after the first, and one for
# every tenth of the wanted batch that is wasted.
POINTS, PER_ROUND, PER_TENTH = 10.0, 2.0, 1.0


@dataclass(frozen=True, kw_only=True)
class Hint:
    """What to do next: an action, and its grams or seconds, and why."""

    action: str  # weigh, add, stir, drawdown, measure or finish
    grams: tuple[tuple[str, float], ...] = ()
    seconds: float = 0.0
    why: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """How a job ended, and how the hints would have done it with the same lots.

    `waste_g` is what was made beyond the wanted batch, and the drawdowns.
    `told` has a line for every move of the learner's.
    """

    came_in: bool
    rounds: int
    de00: float | None
    waste_g: float
    points: float
    told: tuple[str, ...]
    lots: tuple[tuple[str, float], ...]
    unanswered: tuple[Safety, ...]
    solver: PracticeBatch


def hint(batch: PracticeBatch) -> Hint:
    """What matchkit would do next, knowing what the learner knows."""
    if not batch.shown_g.any():
        grams = weigh_out(formula_for(batch.shop, batch.k), BATCH_G, RESOLUTION_G)
        why = "This is the formula that a match puts first. White first, strong inks last."
        return Hint(action="weigh", grams=named(batch, grams), why=why)
    if done(batch):
        last = batch.readings[-1].de00
        why = f"{last:.2f} dE00 is within {batch.tolerance_de00:g}: leave it alone."
        return Hint(action="finish", why=why)
    if batch.hidden.drawn_R is not None:
        return Hint(action="measure", why="The drawdown is cured and cool: three readings.")
    read = batch.readings[-1] if batch.readings else None
    measured = read is not None and np.array_equal(read.shown_g, batch.shown_g)
    unstirred = measured and read is not None and not read.stirred
    if measured and not unstirred and batch.moves[-1].action != "stir":
        return _addition(batch)
    if batch.stirred_s < LONG_ENOUGH_S:
        why = (
            "The drawdown that was measured was not stirred long enough: nothing is added by it. "
            * unstirred
            + "What is not stirred in shows in the drawdown as a wrong colour."
            f" {MIX[1]} ({UNSOURCED})"
        )
        return Hint(action="stir", seconds=LONG_ENOUGH_S - batch.stirred_s, why=why)
    return Hint(action="drawdown", why="Well stirred: draw down, cure as the data sheet says.")


def _addition(batch: PracticeBatch) -> Hint:
    found = _correction(batch)
    if not found.additions_g.any():
        why = "No addition that fits the container makes it better: it can't be saved."
        return Hint(action="finish", why=why)
    off = batch.readings[-1].words
    why = (
        f"The batch is {off}. The least that should bring it in, to {found.de00[0]:.2f} dE00;"
        f" chance {chance_text(found.chance_in_tolerance)}."
    )
    return Hint(action="add", grams=named(batch, found.additions_g), why=why)


def _correction(batch: PracticeBatch) -> Correction:
    shop = batch.shop
    rounds = [Round(grams=each.shown_g, R=each.R) for each in batch.readings if each.stirred]
    belief = infer(
        shop.palette, rounds, shop.spread, model_f=shop.model_f, refuse=False, slips=False
    )
    limits = Limits(
        tolerance_de00=batch.tolerance_de00,
        resolution_g=RESOLUTION_G,
        room_g=MOST_G - float(batch.shown_g.sum()),
    )
    return correct(shop.palette, belief, batch.target, shop.spread, limits)


def follow(batch: PracticeBatch) -> PracticeBatch:
    """The job taken to its end by doing what `hint` says."""
    while (advice := hint(batch)).action != "finish" and len(batch.readings) < MOST_ROUNDS:
        batch = take(batch, advice)
    return batch


def take(batch: PracticeBatch, advice: Hint) -> PracticeBatch:
    """The batch after doing what a hint says."""
    if advice.action in ("weigh", "add"):
        return add(batch, dict(advice.grams))
    if advice.action == "stir":
        return stir(batch, advice.seconds)
    return {"drawdown": drawdown, "measure": measure}.get(advice.action, lambda same: same)(batch)


def finish(batch: PracticeBatch) -> Outcome:
    """How it ended, what each move did, and what the hints would have done."""
    rounds, came_in = len(batch.readings), done(batch)
    waste_g = max(float(batch.shown_g.sum()) - BATCH_G, 0.0) + DRAWDOWN_G * rounds
    if not came_in:
        waste_g = float(batch.shown_g.sum())
    lost = PER_ROUND * (rounds - 1) + PER_TENTH * 10 * (waste_g - DRAWDOWN_G) / BATCH_G
    used = batch.hidden.grams > 0
    names, strengths = batch.shop.bench.names, batch.hidden.strengths
    actions = {"weigh" if m.action == "add" else m.action for m in batch.moves}
    return Outcome(
        came_in=came_in,
        rounds=rounds,
        de00=batch.readings[-1].de00 if batch.readings else None,
        waste_g=waste_g,
        points=round(max(POINTS - lost, 1.0), 1) if came_in else 0.0,
        told=_told(batch.moves),
        lots=tuple((names[i], float(strengths[i])) for i in np.flatnonzero(used)),
        unanswered=tuple(
            each for each in SAFETY if each.before in actions and asked_before(batch, each.before)
        ),
        solver=follow(start(batch.shop, seed=batch.seed, tolerance_de00=batch.tolerance_de00)),
    )


def _told(moves: Sequence[Move]) -> tuple[str, ...]:
    """What each move did to the colour of the whole container, as if it were well stirred."""
    lines, before = [], None
    for number, move in enumerate(moves, start=1):
        line = f"{number}. {move.action}: {move.words}."
        if move.action in ("weigh", "add") and move.lab is not None:
            to = f"{move.de00:.2f} dE00 from the target"
            if before is None or before.lab is None:
                line += f" The batch is {to}."
            else:
                line += f" From {before.de00:.2f} to {to}: {direction(before.lab, move.lab)}."
        lines.append(line)
        before = move
    return tuple(lines)
