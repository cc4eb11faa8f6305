"""Hints for a job on simulated inks, and what is said of it at its end.

A hint knows what the learner knows: what the balance showed and what was measured.  It
matches, infers and corrects as matchkit does for a shop.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.colorimetry.words import direction
from matchkit.correcting.correct import Correction, Limits, correct
from matchkit.correcting.diagnose import Round, infer
from matchkit.inks.palette import reflectance
from matchkit.inks.recipe import weigh_out
from matchkit.matching.probability import chance_text
from matchkit.paper.sheet import MIX, UNSOURCED
from matchkit.practice.incidents import LOOKS
from matchkit.practice.job import (
    BATCH_G,
    LONG_ENOUGH_S,
    PracticeBatch,
    add,
    done,
    drawdown,
    in_tolerance,
    measure,
    named,
    stir,
    true_de00,
)
from matchkit.practice.looks import asked_before, known_g, look
from matchkit.practice.safety import SAFETY, Safety
from matchkit.practice.simulated_shop import LIGHTS, OBSERVER, RESOLUTION_G

DRAWDOWN_G = 5.0  # ink that a drawdown costs: counted as waste, not taken out of the container
MOST_ROUNDS = 8  # after which hints give up
SOON = 4  # rounds in which it is looked how a job would have gone on
ROUND_MIN = 30.0  # what a round costs: stir, draw down, cure, let cool, measure
# A reading further than this from what the weights predict is not explained by lots that
# differ as usual: 95 in 100 are nearer (the simulator's inks, lots by 8 %).
PLAUSIBLE_DE00 = 1.8
FIRST = 0.85  # of the batch is weighed at first where the container is small
UNKNOWN_LOT = 0.35  # standard deviation of log strength of a lot that nobody has drawn down
# Our own scoring: ten points, two off for every round after the first, one for every tenth of
# the wanted batch that is wasted, one for every hint, and two for a cause that was not named.
POINTS, PER_ROUND, PER_TENTH, PER_HINT, NO_CAUSE = 10.0, 2.0, 1.0, 1.0, 2.0
HAND_G = 0.5  # room that is left for a slip of the hand
LEAST_WASTE_G = 10.0  # that is worth a word
LEAST_REGRET = 0.75  # points: moves that cost less are not named


@dataclass(frozen=True, kw_only=True)
class Hint:
    """What to do next: an action, and its grams, seconds, or what to look at, and why."""

    action: str  # weigh, add, stir, drawdown, measure, look or finish
    grams: tuple[tuple[str, float], ...] = ()
    seconds: float = 0.0
    at: str = ""
    why: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """How a job ended.

    `came_in`: the amount asked for was made, and truly is in tolerance under all lights that
    count.  `waste_g` is what was made beyond it, and the drawdowns.  `told` has a line for
    every move of the learner's; `costliest` names the move that cost most, which is the
    `costliest_move`th, counted from 0, None where no move cost anything.
    """

    came_in: bool
    rounds: int
    minutes: float
    de00: float | None
    waste_g: float
    points: float
    cause_named: bool
    told: tuple[str, ...]
    costliest: str
    costliest_move: int | None
    lots: tuple[tuple[str, float], ...]
    unanswered: tuple[Safety, ...]


def hint(batch: PracticeBatch) -> Hint:
    """What matchkit would do next, knowing what the learner knows."""
    if "customer" not in batch.looks:
        why = "The order does not say under which lights the batch will be judged."
        return Hint(action="look", at="customer", why=why)
    if not batch.shown_g.any():
        some = FIRST if batch.capacity_g < BATCH_G / FIRST else 1.0
        grams = weigh_out(batch.ticket, some * BATCH_G, RESOLUTION_G)
        why = "This is the ticket. White first, strong inks last." + (
            " The container is small: hold some back, so that there is room for additions."
            * (some < 1)
        )
        return Hint(action="weigh", grams=named(batch, grams), why=why)
    if not batch.readings and (rest := _rescaled(batch)):
        why = (
            "Too much of one ink went in. With the rest in proportion to it, the colour stays that"
            " of the ticket."
        )
        return Hint(action="add", grams=rest, why=why)
    if at := _to_look_at(batch):
        return at
    if done(batch):
        last = batch.readings[-1].de00
        why = f"{last:.2f} dE00 is within {batch.tolerance_de00:g}: leave it alone."
        return Hint(action="finish", why=why)
    if batch.hidden.drawn_R is not None and not batch.hidden.drawn_read:
        return Hint(action="measure", why="The drawdown is cured and cool: three readings.")
    read = batch.readings[-1] if batch.readings else None
    measured = read is not None and np.array_equal(read.shown_g, batch.shown_g)
    unstirred = measured and read is not None and not read.stirred
    if measured and not unstirred and batch.moves[-1].action != "stir" and _believed(batch):
        return _addition(batch)
    if batch.stirred_s < LONG_ENOUGH_S:
        why = (
            "What was drawn down and measured was not stirred long enough: add nothing because of"
            " it. " * unstirred + "What is not stirred in shows in the drawdown as a wrong colour."
            f" {MIX[1]} ({UNSOURCED})"
        )
        return Hint(action="stir", seconds=LONG_ENOUGH_S - batch.stirred_s, why=why)
    return Hint(action="drawdown", why="Well stirred: draw down, cure as the data sheet says.")


def _believed(batch: PracticeBatch) -> bool:
    return bool(batch.readings) and batch.readings[-1].believed


def _rescaled(batch: PracticeBatch) -> tuple[tuple[str, float], ...]:
    """What makes a batch with an over-pour the colour of its ticket again, if that fits."""
    grams, asked = batch.shown_g, batch.ticket > 0
    total_g = float((grams[asked] / batch.ticket[asked]).max())
    off = total_g / float(grams.sum()) - 1
    if off < 0.02 or total_g > batch.capacity_g - HAND_G or np.any(grams[~asked] > 0):
        return ()
    more: Array = np.maximum(total_g * batch.ticket - grams, 0.0).round(2)
    return named(batch, more)


def _to_look_at(batch: PracticeBatch) -> Hint | None:
    """What to look at before a reading is believed that the weights don't explain."""
    last = batch.readings[-1] if batch.readings else None
    if last is None or not (last.believed and last.stirred) or batch.moves[-1].action == "add":
        return None
    c = known_g(batch, last.shown_g)
    expected = Lab(reflectance(batch.shop.palette, c / c.sum()), LIGHTS[0], OBSERVER)
    away = float(de00(expected, last.lab))
    at = next((each for each in ("card", "tile", "cans") if each not in batch.looks), None)
    if away <= PLAUSIBLE_DE00 or at is None or batch.found not in ("", "lamp"):
        return None
    why = (
        f"The reading is {away:.1f} dE00 from what these weights predict; lots differ by less."
        " Find the cause before ink goes in."
    )
    return Hint(action="look", at=at, why=why)


def _addition(batch: PracticeBatch) -> Hint:
    if in_tolerance(batch):
        now = known_g(batch, batch.shown_g)
        more = np.round(now * (BATCH_G / float(now.sum()) - 1), 2)
        why = "The colour is right but the amount is short: more of every ink in proportion."
        return Hint(action="add", grams=named(batch, more), why=why)
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
    shop, spread = batch.shop, batch.shop.spread
    believed = [each for each in batch.readings if each.stirred and each.believed]
    rounds = [Round(grams=known_g(batch, each.shown_g), R=each.R) for each in believed]
    if batch.found == "lot":
        unknown = spread.log_strength.copy()
        unknown[batch.hidden.ink] = UNKNOWN_LOT
        spread = replace(spread, log_strength=unknown)
    belief = infer(shop.palette, rounds, spread, refuse=False, slips=False)
    limits = Limits(
        tolerance_de00=batch.tolerance_de00,
        resolution_g=RESOLUTION_G,
        room_g=batch.capacity_g - float(batch.shown_g.sum()) - HAND_G,
    )
    return correct(shop.palette, belief, batch.target, spread, limits)


def follow(batch: PracticeBatch, most: int = MOST_ROUNDS) -> PracticeBatch:
    """The job taken to its end by doing what `hint` says, in so many readings `most` more."""
    last = len(batch.readings) + most
    while (advice := hint(batch)).action != "finish" and len(batch.readings) < last:
        batch = take(batch, advice)
    return batch


def take(batch: PracticeBatch, advice: Hint) -> PracticeBatch:
    """The batch after doing what a hint says."""
    if advice.action in ("weigh", "add"):
        return add(batch, dict(advice.grams))
    if advice.action == "stir":
        return stir(batch, advice.seconds)
    if advice.action == "look":
        return look(batch, advice.at)
    return {"drawdown": drawdown, "measure": measure}.get(advice.action, lambda same: same)(batch)


def finish(batch: PracticeBatch, cause: str | None = None) -> Outcome:
    """How it ended, and what each move did and cost.

    `cause` is the incident that the learner names, by its key; None: none is asked for.
    """
    came_in = bool(batch.shown_g.any()) and is_as_asked(batch)
    named_right = cause == batch.hidden.incident.key
    lost = (
        _lost(batch) + PER_HINT * batch.hints + NO_CAUSE * (cause is not None and not named_right)
    )
    used = batch.hidden.grams > 0
    names, strengths = batch.shop.bench.names, batch.hidden.strengths
    actions = {"weigh" if m.action == "add" else m.action for m in batch.moves}
    costliest, at = _costliest(batch)
    return Outcome(
        came_in=came_in,
        rounds=_rounds(batch),
        minutes=(ROUND_MIN * _rounds(batch) + sum(LOOKS[at][1] for at in batch.looks)),
        de00=batch.readings[-1].de00 if batch.readings else None,
        waste_g=_waste_g(batch),
        points=round(max(POINTS - lost, 1.0), 1) if came_in else 0.0,
        cause_named=named_right,
        told=_told(batch),
        costliest=costliest,
        costliest_move=at,
        lots=tuple((names[i], float(strengths[i])) for i in np.flatnonzero(used)),
        unanswered=tuple(
            each for each in SAFETY if each.before in actions and asked_before(batch, each.before)
        ),
    )


def is_as_asked(batch: PracticeBatch) -> bool:
    """In tolerance by a reading under all that counts, and nothing added since.

    A good reading of a bad drawdown does not bring it in: the truth must be near too.
    """
    near = true_de00(batch) <= 1.25 * batch.tolerance_de00  # a reading is not the truth itself
    return done(batch) and near


def _rounds(batch: PracticeBatch) -> int:
    return sum(move.action == "drawdown" for move in batch.moves)


def _waste_g(batch: PracticeBatch) -> float:
    if not (batch.shown_g.any() and is_as_asked(batch)):
        return float(batch.shown_g.sum())
    return max(float(batch.shown_g.sum()) - BATCH_G, 0.0) + DRAWDOWN_G * _rounds(batch)


def _lost(batch: PracticeBatch) -> float:
    """Points that rounds and waste cost; all of them where the batch is not what was asked for."""
    if not (batch.shown_g.any() and is_as_asked(batch)):
        return POINTS
    rounds = _rounds(batch)
    wasted = (_waste_g(batch) - DRAWDOWN_G) / BATCH_G
    return PER_ROUND * (rounds - 1) + PER_TENTH * 10 * wasted


# ---- which move cost most


def _costliest(batch: PracticeBatch) -> tuple[str, int | None]:
    """The move that cost most, in a sentence, and its place.

    What a move cost is how much worse the job ends after it than before it, where the hints
    are followed from there.
    """
    states, now = [batch], batch
    while now.before is not None:
        now = now.before
        states.insert(0, now)
    ends = [follow(batch, SOON)]  # from the last state to the first
    for k in reversed(range(len(batch.moves))):
        same = batch.moves[k].action not in ("weigh", "add", "drawdown")
        same = same or take(states[k], hint(states[k])).moves[-1].words == batch.moves[k].words
        ends.insert(0, ends[0] if same else follow(states[k], SOON))
    costs = [_lost(after) - _lost(before) for before, after in pairwise(ends)]
    if not costs or max(costs) <= LEAST_REGRET:
        return "", None
    at = int(np.argmax(costs))
    better, worse = ends[at], ends[at + 1]
    return f"Most costly move: {_named_move(states[at], batch, at)}: {_cost(better, worse)}.", at


def _named_move(before: PracticeBatch, batch: PracticeBatch, at: int) -> str:
    move = batch.moves[at]
    number = 1 + sum(each.action == "drawdown" for each in batch.moves[:at])
    if move.action == "drawdown" and before.stirred_s < LONG_ENOUGH_S:
        return f"round {number} was drawn down unstirred"
    if move.action == "drawdown":
        return f"round {number} was drawn down although the batch was not ready"
    what = "the first weighing" if move.action == "weigh" else f"the addition before round {number}"
    return f"{what} ({move.words})"


def _cost(better: PracticeBatch, worse: PracticeBatch) -> str:
    if is_as_asked(better) and not is_as_asked(worse):
        return "after it the batch could no longer be brought into tolerance"
    rounds = _rounds(worse) - _rounds(better)
    grams = _waste_g(worse) - _waste_g(better)
    parts = []
    if rounds > 0:
        hours = "half an hour" if rounds == 1 else f"{rounds / 2:g} hours"
        parts.append(f"{'a round' if rounds == 1 else f'{rounds} rounds'} and {hours}")
    if grams >= LEAST_WASTE_G:
        parts.append(f"{grams:.0f} g of ink")
    return " and ".join(parts) or "a worse end"


def again_from(batch: PracticeBatch, move: int) -> PracticeBatch:
    """The job as it was before a move, counted from 0, to be played again from there."""
    while len(batch.moves) > move and batch.before is not None:
        batch = batch.before
    return batch


def _told(batch: PracticeBatch) -> tuple[str, ...]:
    """What each move did to the colour of the whole container, as if it were well stirred."""
    lines, before = [], None
    for number, move in enumerate(batch.moves, start=1):
        line = f"{number}. {move.action}: {move.words.rstrip('.')}."
        if move.action in ("weigh", "add") and move.lab is not None:
            to = f"{move.de00:.2f} dE00 from the target"
            if before is None or before.lab is None:
                line += f" The batch is {to}."
            else:
                line += f" From {before.de00:.2f} to {to}: {direction(before.lab, move.lab)}."
        lines.append(line)
        before = move
    return tuple(lines)
