"""A job to practise on: weigh, stir, draw down, measure, add, until it is near enough.

A `PracticeBatch` is all there is to know of the job; each action gives a new one and leaves
the old as it was.  Chance comes from the seed and the number of the move, so a job played
twice the same way comes out the same.  What a learner must not see before the end, the
lots of the day and what truly went in, is in `hidden`.

How fast stirring mixes is our own choice, no source: what is not mixed in falls to a third
in twenty seconds, and a drawdown catches more or less of it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.colorimetry.words import direction
from matchkit.errors import InputError
from matchkit.inks.recipe import weighing_order
from matchkit.practice.safety import SAFETY, Safety
from matchkit.practice.simulated_shop import (
    LIGHTS,
    LOTS,
    OBSERVER,
    RESOLUTION_G,
    PracticeShop,
    target_of,
)
from matchkit.simulator.simulate import NOISE, draw_lots, drawdown_R, read, weigh

Array = NDArray[np.float64]

MOST_G = 1000.0  # what the container takes
LEAST_G = 100.0  # a drawdown of less says little about the batch
SLIP_G = 0.03
REPEATS = 3
STIR_S = 18.0  # in which what is not mixed in falls to 1 / e
LONG_ENOUGH_S = 120.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Hidden:
    """What the learner doesn't see: strengths of the lots and what truly is in the container.

    All (n_ink,); `unmixed_g` is the part of `grams` that isn't stirred in; `drawn_R`
    (n_wl,) the drawdown that waits to be measured.
    """

    strengths: Array
    grams: Array
    unmixed_g: Array
    drawn_R: Array | None = None
    drawn_after_s: float = 0.0  # of stirring


@dataclass(frozen=True, kw_only=True, eq=False)
class PracticeReading:
    """A measured drawdown: what the balance says was in the container, and the colour.

    `stirred_s` is how long that had been stirred when it was drawn down.
    """

    shown_g: Array
    R: Array
    lab: Array
    de00: float
    words: str
    stirred_s: float

    @property
    def stirred(self) -> bool:
        """Whether what was drawn down was stirred long enough to be judged by."""
        return self.stirred_s >= LONG_ENOUGH_S


@dataclass(frozen=True, kw_only=True, eq=False)
class Move:
    """An action, in words, and the colour (3,) and dE00 of the whole container well stirred.

    `lab` is None while the container is empty.
    """

    action: str
    words: str
    shown_g: Array
    lab: Array | None
    de00: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class PracticeBatch:
    """A job in the making.  `shown_g` (n_ink,) is what the balance showed, summed up."""

    shop: PracticeShop
    seed: int
    k: int  # the mixture of the shop that is the target
    target: Target
    tolerance_de00: float
    shown_g: Array
    hidden: Hidden
    stirred_s: float = 0.0  # since the last addition
    readings: tuple[PracticeReading, ...] = ()
    moves: tuple[Move, ...] = ()
    safety: tuple[tuple[str, bool], ...] = ()  # answered, and whether right

    @property
    def path(self) -> Array:
        """Measured Lab (n, 3), round by round."""
        return np.array([each.lab for each in self.readings]).reshape(-1, 3)


def start(shop: PracticeShop, *, seed: int, tolerance_de00: float = 1.0) -> PracticeBatch:
    """A new job: a target of the shop's colours, an empty container, lots of the day.

    >>> from matchkit.practice.simulated_shop import practice_shop
    >>> batch = start(practice_shop(), seed=1)
    >>> batch = measure(drawdown(stir(add(batch, {"White": 450.0, "Scarlet": 50.0}), 120)))
    >>> len(batch.readings), done(batch)
    (1, False)
    """
    if not tolerance_de00 > 0:
        raise InputError(f"tolerance: found {tolerance_de00:g}, need a number above 0")
    rng = np.random.default_rng([shop.seed, seed, 0])
    k, nothing = int(rng.integers(len(shop.mixtures))), np.zeros(len(shop.bench.inks))
    lots = draw_lots(rng, len(nothing), LOTS)
    return PracticeBatch(
        shop=shop,
        seed=seed,
        k=k,
        target=target_of(drawdown_R(shop.bench, shop.mixtures[k])),
        tolerance_de00=tolerance_de00,
        shown_g=nothing,
        hidden=Hidden(strengths=lots, grams=nothing, unmixed_g=nothing),
    )


def done(batch: PracticeBatch) -> bool:
    """Whether the last reading is within tolerance and nothing was added since."""
    last = batch.readings[-1] if batch.readings else None
    fresh = last is not None and bool(np.all(last.shown_g == batch.shown_g))
    return last is not None and fresh and last.de00 <= batch.tolerance_de00


# ---- the moves


def add(batch: PracticeBatch, grams: Mapping[str, float]) -> PracticeBatch:
    """Weigh inks into the container, `grams` by name; with a small weighing error.

    InputError, and nothing goes in, for an unknown ink, an amount that is no weight, or more
    than the container takes.
    """
    aim = _aim(batch, grams)
    true, shown = weigh(aim, _rng(batch), resolution_g=RESOLUTION_G, hand_g=SLIP_G)
    hidden = replace(
        batch.hidden,
        grams=batch.hidden.grams + true,
        unmixed_g=batch.hidden.unmixed_g + true,
        drawn_R=None,
    )
    new = replace(batch, shown_g=np.round(batch.shown_g + shown, 2), hidden=hidden, stirred_s=0.0)
    poured = ", ".join(f"{name} {g:.2f} g" for name, g in named(batch, shown))
    return _moved(new, "add" if batch.readings else "weigh", poured)


def stir(batch: PracticeBatch, seconds: float) -> PracticeBatch:
    """Stir for so many seconds; what isn't mixed in gets less with time."""
    if not 0 < seconds <= 3600:
        raise InputError(f"stir: found {seconds:g} seconds, need more than 0 and up to 3600")
    _check_filled(batch, 0.0)
    left = batch.hidden.unmixed_g * np.exp(-seconds / STIR_S)
    new = replace(
        batch,
        hidden=replace(batch.hidden, unmixed_g=left),
        stirred_s=batch.stirred_s + seconds,
    )
    more = f", {new.stirred_s:g} s since the last ink went in"
    return _moved(new, "stir", f"{seconds:g} s{more if new.stirred_s > seconds else ''}")


def drawdown(batch: PracticeBatch) -> PracticeBatch:
    """Draw down, cure, let cool.  Of what isn't stirred in, the film holds more or less."""
    _check_filled(batch, LEAST_G)
    caught = _rng(batch).random(len(batch.shown_g))
    seen = batch.hidden.grams - batch.hidden.unmixed_g * caught
    R = drawdown_R(batch.shop.bench, seen / seen.sum(), batch.hidden.strengths)
    hidden = replace(batch.hidden, drawn_R=R, drawn_after_s=batch.stirred_s)
    return _moved(replace(batch, hidden=hidden), "drawdown", "drawn down")


def measure(batch: PracticeBatch) -> PracticeBatch:
    """Measure the drawdown: the mean of three readings, with the noise of a good day."""
    if batch.hidden.drawn_R is None:
        raise InputError(
            "measure: there is no drawdown of what is in the container; make one first"
        )
    R = read(batch.hidden.drawn_R, _rng(batch), NOISE, repeats=REPEATS).mean(axis=-2)
    lab, target = Lab(R, LIGHTS[0], OBSERVER), batch.target.lab[0]
    reading = PracticeReading(
        shown_g=batch.shown_g,
        R=R,
        lab=lab,
        de00=float(de00(target, lab)),
        words=direction(target, lab),
        stirred_s=batch.hidden.drawn_after_s,
    )
    new = replace(
        batch,
        readings=(*batch.readings, reading),
        hidden=replace(batch.hidden, drawn_R=None),
    )
    return _moved(new, "measure", f"{reading.de00:.2f} dE00, {reading.words}")


def _aim(batch: PracticeBatch, grams: Mapping[str, float]) -> Array:
    names, aim, faults = batch.shop.bench.names, np.zeros(len(batch.shown_g)), []
    for name, g in grams.items():
        if name not in names:
            faults.append(f"weigh: no ink is called {name!r}; the inks are {', '.join(names)}")
        elif not 0 <= g < np.inf:
            faults.append(f"weigh: {name}: found {g:g} g, need 0 or more: only adding is possible")
        else:
            aim[names.index(name)] = round(g / RESOLUTION_G) * RESOLUTION_G
    total_g = float(batch.shown_g.sum() + aim.sum())
    if not faults and not aim.any():
        faults.append("weigh: every amount is 0 g; give grams for an ink")
    if total_g > MOST_G:
        faults.append(
            f"weigh: that makes {total_g:.2f} g, and the container takes {MOST_G:g} g; weigh less"
        )
    if faults:
        raise InputError(faults)
    return aim


def _check_filled(batch: PracticeBatch, least_g: float) -> None:
    if batch.shown_g.sum() <= 0:
        raise InputError("the container is empty; weigh something first")
    if batch.shown_g.sum() < least_g:
        raise InputError(
            f"{batch.shown_g.sum():.2f} g are too little to draw down; weigh {least_g:g} g or more"
        )


def _rng(batch: PracticeBatch) -> np.random.Generator:
    return np.random.default_rng([batch.shop.seed, batch.seed, 1 + len(batch.moves)])


def _moved(batch: PracticeBatch, action: str, words: str) -> PracticeBatch:
    grams, lab, away = batch.hidden.grams, None, None
    if grams.any():
        R = drawdown_R(batch.shop.bench, grams / grams.sum(), batch.hidden.strengths)
        lab = Lab(R, LIGHTS[0], OBSERVER)
        away = float(de00(batch.target.lab[0], lab))
    move = Move(action=action, words=words, shown_g=batch.shown_g, lab=lab, de00=away)
    return replace(batch, moves=(*batch.moves, move))


def _order(batch: PracticeBatch, grams: Array) -> list[int]:
    return weighing_order(batch.shop.palette.inks, grams.tolist())


def named(batch: PracticeBatch, grams: Array) -> tuple[tuple[str, float], ...]:
    """Grams (n_ink,) by name in the order of weighing, zeros left out."""
    return tuple((batch.shop.bench.names[i], float(grams[i])) for i in _order(batch, grams))


# ---- safety


def asked_before(batch: PracticeBatch, action: str) -> Safety | None:
    """The safety question to ask before an action, until it was answered rightly."""
    right = {key for key, was_right in batch.safety if was_right}
    asked = "weigh" if action == "add" else action
    return next((each for each in SAFETY if each.before == asked and each.key not in right), None)


def answer_safety(batch: PracticeBatch, key: str, choice: int) -> tuple[PracticeBatch, str]:
    """The batch with the answer noted, and what to say to it."""
    question = next((each for each in SAFETY if each.key == key), None)
    if question is None or not 0 <= choice < len(question.choices):
        raise InputError(f"safety: no question {key!r} with choice {choice}")
    right = choice == question.answer
    lead = "Right." if right else f"No: {question.choices[question.answer]}."
    return replace(batch, safety=(*batch.safety, (key, right))), f"{lead} {question.why}"
