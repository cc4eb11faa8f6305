"""A job to practise on: weigh, stir, draw down, measure, add, until it is near enough.

A `PracticeBatch` is all there is to know of the job; each action gives a new one and leaves
the old as it was.  Chance comes from the seed and the number of the move, so a job played
twice the same way comes out the same.  What a learner must not see before the end, the
lots of the day, what goes wrong and what truly went in, is in `hidden`.

How fast stirring mixes is our own choice, no source: what is not mixed in falls to a third
in twenty seconds, and a drawdown catches more or less of it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.colorimetry.words import direction
from matchkit.errors import InputError, raise_any
from matchkit.inks.recipe import weighing_order
from matchkit.practice import incidents, simulated_shop
from matchkit.simulator.simulate import CARD_R, NOISE, draw_lots, drawdown_R, film_R, read, weigh

BATCH_G = 500.0  # asked for
ENOUGH = 0.99  # of that must be made
MOST_G = 1000.0  # what the container takes
LEAST_G = 100.0  # a drawdown of less says little about the batch
SLIP_G = 0.03
REPEATS = 3
STIR_S = 18.0  # in which what is not mixed in falls to 1 / e
LONG_ENOUGH_S = 120.0
SIZES_DE00 = (0.5, 1.0, 2.0, 4.0, 8.0)  # how far an addition is expected to move the colour
CLEAR_APART = 2.5  # dE00 under the customer's other lamp of a ticket made for the first alone


@dataclass(frozen=True, kw_only=True, eq=False)
class Hidden:
    """What the learner doesn't see: strengths of the lots and what truly is in the container.

    All (n_ink,); `unmixed_g` is the part of `grams` that isn't stirred in; `drawn_R`
    (n_wl,) the drawdown that waits to be measured.  `incident` is of `ink`; while nobody has
    found it, `share` of what is poured of that ink is truly `other`.
    """

    strengths: Array
    grams: Array
    unmixed_g: Array
    incident: incidents.Incident
    ink: int
    other: int
    share: float = 0.0
    misnamed_g: float = 0.0  # poured of `ink` before that was found
    drawn_R: Array | None = None
    drawn_after_s: float = 0.0  # of stirring
    drawn_thin: bool = False
    drawn_read: bool = False  # it was measured


@dataclass(frozen=True, kw_only=True)
class Guess:
    """Which way, and how far, a learner expects the next addition to move the colour."""

    word: str
    de00: float


@dataclass(frozen=True, kw_only=True, eq=False)
class PracticeReading:
    """A measured drawdown: what the balance says was in the container, and the colour.

    `stirred_s` is how long that had been stirred when it was drawn down; `de00` is the
    largest under the lights that are known to count; `believed`: nothing was wrong with
    drawdown or instrument as far as one knows.  `guess` and what became of it, `moved`, are
    of the addition before it.
    """

    shown_g: Array
    R: Array
    lab: Array
    de00: float
    words: str
    stirred_s: float
    believed: bool = True
    guess: Guess | None = None
    moved: Guess | None = None

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
    """A job in the making.  `shown_g` (n_ink,) is what the balance showed, summed up.

    `ticket` (n_ink,) is the formula that came with the order, `lights` those under which the
    batch is judged, as far as one knows; `looks` what was looked at, and what was `found`;
    `hints` counts the hints that were taken.  `before` is the job as it was a move ago.
    """

    shop: simulated_shop.PracticeShop
    seed: int
    wanted: Array  # (n_ink,) of the target
    target: Target
    tolerance_de00: float
    capacity_g: float
    ticket: Array
    shown_g: Array
    hidden: Hidden
    lights: tuple[str, ...] = simulated_shop.LIGHTS[:1]
    looks: tuple[str, ...] = ()
    found: str = ""
    hints: int = 0
    guess: Guess | None = None
    stirred_s: float = 0.0  # since the last addition
    readings: tuple[PracticeReading, ...] = ()
    moves: tuple[Move, ...] = ()
    safety: tuple[tuple[str, bool], ...] = ()  # answered, and whether right
    before: "PracticeBatch | None" = None

    @property
    def path(self) -> Array:
        """Measured Lab (n, 3), round by round."""
        return np.array([each.lab for each in self.readings]).reshape(-1, 3)


def start(
    shop: simulated_shop.PracticeShop,
    *,
    seed: int,
    tolerance_de00: float = 1.0,
    incident: str | None = None,
) -> PracticeBatch:
    """A new job: a target, a ticket, an empty container, lots of the day, and what goes wrong.

    `incident` is what goes wrong, by its key; "" nothing, None what the seed draws.

    >>> from matchkit.practice.simulated_shop import practice_shop
    >>> batch = start(practice_shop(), seed=1, incident="")
    >>> batch = measure(drawdown(stir(add(batch, {"White": 450.0, "Scarlet": 50.0}), 120)))
    >>> len(batch.readings), done(batch)
    (1, False)
    """
    if not tolerance_de00 > 0:
        raise InputError(f"tolerance: found {tolerance_de00:g}, need a number above 0")
    rng, nothing = np.random.default_rng([shop.seed, seed, 0]), np.zeros(len(shop.bench.inks))
    drawn = incidents.INCIDENTS[int(rng.integers(len(incidents.INCIDENTS)))]
    happens = drawn if incident is None else incidents.BY_KEY[incident]
    lots = draw_lots(rng, len(nothing), simulated_shop.LOTS)
    wanted = simulated_shop.mixture(shop, rng)
    ticket = simulated_shop.formula_for(shop, tuple(wanted.tolist()))
    if happens.key == "lamp":  # a pair of one colour under the first light, apart under the other
        pairs, away = simulated_shop.pairs_alike(shop)
        far = np.flatnonzero(away[:, 1] >= CLEAR_APART)
        ticket, wanted = pairs[far[int(rng.integers(len(far)))]]
    poured = np.flatnonzero((ticket > 0) & (ticket < ticket.max()))
    ink = int(
        poured[np.argmin(ticket[poured])] if happens.key == "wrong can" else rng.choice(poured)
    )
    colours = np.array(shop.bench.where("colour"))
    others, alone = colours[~np.isin(colours, poured)], np.eye(len(nothing))
    looks = Lab(drawdown_R(shop.bench, alone), simulated_shop.LIGHTS[0], simulated_shop.OBSERVER)
    other = int(others[np.argmin(de00(looks[ink], looks[others]))])  # two cans that look alike
    share = {"settled": 1 - incidents.SETTLED, "wrong can": incidents.WRONG}.get(happens.key, 0.0)
    if happens.key == "settled":
        other = shop.bench.where("clear")[0]
    if happens.key == "lot":
        lots[ink] = incidents.WEAK
    return PracticeBatch(
        shop=shop,
        seed=seed,
        wanted=wanted,
        target=simulated_shop.target_of(drawdown_R(shop.bench, wanted)),
        tolerance_de00=tolerance_de00,
        capacity_g=incidents.SMALL_G if happens.key == "full" else MOST_G,
        ticket=ticket,
        shown_g=nothing,
        hidden=Hidden(
            strengths=lots,
            grams=nothing,
            unmixed_g=nothing,
            incident=happens,
            ink=ink,
            other=other,
            share=share,
        ),
    )


def counting(batch: PracticeBatch) -> tuple[str, ...]:
    """The lights that truly count, whether the learner knows it or not."""
    return (
        simulated_shop.LIGHTS[:2]
        if batch.hidden.incident.key == "lamp"
        else simulated_shop.LIGHTS[:1]
    )


def enough(batch: PracticeBatch) -> bool:
    """Whether the amount that was asked for is made."""
    return float(batch.shown_g.sum()) >= ENOUGH * BATCH_G


def done(batch: PracticeBatch) -> bool:
    """Whether all that was asked for is made, and in tolerance by the last reading."""
    return in_tolerance(batch) and enough(batch)


def in_tolerance(batch: PracticeBatch) -> bool:
    """Whether the last reading is in tolerance, is believed, and nothing was added since."""
    last = batch.readings[-1] if batch.readings else None
    fresh = last is not None and bool(np.all(last.shown_g == batch.shown_g))
    return last is not None and fresh and last.believed and last.de00 <= batch.tolerance_de00


# ---- the moves


def add(batch: PracticeBatch, grams: Mapping[str, float]) -> PracticeBatch:
    """Pour grams of inks by name, each aimed at and met but for a slip of the hand."""
    aim, hidden, i = _aim(batch, grams), batch.hidden, batch.hidden.ink
    over = hidden.incident.key == "over-pour" and aim[i] > 0 and not batch.shown_g[i]
    if over:
        room_g = batch.capacity_g - float(batch.shown_g.sum() + aim.sum())
        aim[i] += min((incidents.OVER - 1) * aim[i], max(room_g - 1, 0))
    true, shown = weigh(aim, _rng(batch), resolution_g=simulated_shop.RESOLUTION_G, hand_g=SLIP_G)
    if batch.found != hidden.incident.key or not hidden.share:
        away_g = hidden.share * true[i]
        true = true + away_g * (np.eye(len(true))[hidden.other] - np.eye(len(true))[i])
        hidden = replace(hidden, misnamed_g=hidden.misnamed_g + float(shown[i]))
    hidden = replace(
        hidden, grams=hidden.grams + true, unmixed_g=hidden.unmixed_g + true, drawn_R=None
    )
    new = replace(batch, shown_g=np.round(batch.shown_g + shown, 2), hidden=hidden, stirred_s=0.0)
    poured = ", ".join(f"{name} {g:.2f} g" for name, g in named(batch, shown))
    went = f"; {batch.shop.bench.names[i]} went over" if over else ""
    return moved(new, batch, "add" if batch.readings else "weigh", poured + went)


def stir(batch: PracticeBatch, seconds: float) -> PracticeBatch:
    """Stir for so many seconds; what isn't mixed in gets less with time."""
    if not 0 < seconds <= 3600:
        raise InputError(f"stir: found {seconds:g} seconds, need more than 0 and up to 3600")
    _check_filled(batch, 0.0)
    left = batch.hidden.unmixed_g * np.exp(-seconds / STIR_S)
    new = replace(
        batch, hidden=replace(batch.hidden, unmixed_g=left), stirred_s=batch.stirred_s + seconds
    )
    more = f", {new.stirred_s:g} s since the last ink went in"
    words = f"{seconds:g} s{more if new.stirred_s > seconds else ''}"
    return moved(new, batch, "stir", words)


def drawdown(batch: PracticeBatch) -> PracticeBatch:
    """Draw down, cure, let cool.  Of what isn't stirred in, the film holds more or less."""
    _check_filled(batch, LEAST_G)
    caught = _rng(batch).random(len(batch.shown_g))
    seen = batch.hidden.grams - batch.hidden.unmixed_g * caught
    bench, strengths = batch.shop.bench, batch.hidden.strengths
    thin = batch.hidden.incident.key == "film" and batch.found != "film"
    if thin:
        R = film_R(bench, seen / seen.sum(), incidents.THIN_UM, CARD_R["black"], strengths)
    else:
        R = drawdown_R(bench, seen / seen.sum(), strengths)
    hidden = replace(
        batch.hidden, drawn_R=R, drawn_after_s=batch.stirred_s, drawn_thin=thin, drawn_read=False
    )
    return moved(replace(batch, hidden=hidden), batch, "drawdown", "drawn down")


def measure(batch: PracticeBatch) -> PracticeBatch:
    """Measure the drawdown: the mean of three readings, with the noise of a good day."""
    if batch.hidden.drawn_R is None:
        raise InputError(
            "measure: there is no drawdown of what is in the container; make one first"
        )
    dirty = batch.hidden.incident.key == "aperture" and batch.found != "aperture"
    seen = batch.hidden.drawn_R * (incidents.DIRTY if dirty else 1.0)
    R = read(seen, _rng(batch), NOISE, repeats=REPEATS).mean(axis=-2)
    reading = PracticeReading(
        shown_g=batch.shown_g, stirred_s=batch.hidden.drawn_after_s, **judged(batch, R)
    )
    if batch.readings and batch.guess:
        before = batch.readings[-1].lab
        far = float(de00(before, reading.lab))
        went = Guess(word=simulated_shop.main_word(before, reading.lab), de00=far)
        reading = replace(reading, guess=batch.guess, moved=went)
    read_now = replace(batch.hidden, drawn_read=True)
    new = replace(batch, hidden=read_now, readings=(*batch.readings, reading), guess=None)
    return moved(new, batch, "measure", f"{reading.de00:.2f} dE00, {reading.words}")


def judged(batch: PracticeBatch, R: Array) -> dict[str, Any]:
    """A reading (n_wl,) against the target under the lights that are known to count."""
    lab, target = Lab(R, simulated_shop.LIGHTS[0], simulated_shop.OBSERVER), batch.target.lab
    away = [
        float(de00(target[simulated_shop.LIGHTS.index(x)], Lab(R, x, simulated_shop.OBSERVER)))
        for x in batch.lights
    ]
    worst = int(np.argmax(away))
    under = f" under {batch.lights[worst]}" if len(away) > 1 else ""
    seen = Lab(R, batch.lights[worst], simulated_shop.OBSERVER)
    words = direction(target[simulated_shop.LIGHTS.index(batch.lights[worst])], seen) + under
    return {"R": R, "lab": lab, "de00": away[worst], "words": words}


def expect(batch: PracticeBatch, word: str, away_de00: float) -> PracticeBatch:
    """Note which way, and how far, the next addition is expected to move the colour."""
    if word not in simulated_shop.OPPOSITE or away_de00 not in SIZES_DE00:
        raise InputError("prediction: choose which way and how far")
    return replace(batch, guess=Guess(word=word, de00=away_de00))


def _aim(batch: PracticeBatch, grams: Mapping[str, float]) -> Array:
    names, aim, faults = batch.shop.bench.names, np.zeros(len(batch.shown_g)), []
    for name, g in grams.items():
        if name not in names:
            faults.append(f"weigh: no ink is called {name!r}; the inks are {', '.join(names)}")
        elif not 0 <= g < np.inf:
            faults.append(f"weigh: {name}: found {g:g} g, need 0 or more: only adding is possible")
        else:
            aim[names.index(name)] = (
                round(g / simulated_shop.RESOLUTION_G) * simulated_shop.RESOLUTION_G
            )
    total_g = float(batch.shown_g.sum() + aim.sum())
    if not faults and not aim.any():
        faults.append("weigh: every amount is 0 g; give grams for an ink")
    if total_g > batch.capacity_g:
        faults.append(
            f"weigh: that makes {total_g:.2f} g, and the container takes"
            f" {batch.capacity_g:g} g; weigh less"
        )
    raise_any(faults)
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


def moved(new: PracticeBatch, before: PracticeBatch, action: str, words: str) -> PracticeBatch:
    """The job `new` after one more move, and how it was `before`."""
    grams, lab, away = new.hidden.grams, None, None
    if grams.any():
        R = drawdown_R(new.shop.bench, grams / grams.sum(), new.hidden.strengths)
        lab = Lab(R, simulated_shop.LIGHTS[0], simulated_shop.OBSERVER)
        away = true_de00(new)
    move = Move(action=action, words=words, shown_g=new.shown_g, lab=lab, de00=away)
    return replace(new, moves=(*before.moves, move), before=before)


def true_de00(batch: PracticeBatch) -> float:
    """How far the container, well stirred, truly is off under the lights that count."""
    R = drawdown_R(
        batch.shop.bench, batch.hidden.grams / batch.hidden.grams.sum(), batch.hidden.strengths
    )
    away = [
        de00(batch.target.lab[simulated_shop.LIGHTS.index(x)], Lab(R, x, simulated_shop.OBSERVER))
        for x in counting(batch)
    ]
    return float(np.max(away))


def named(batch: PracticeBatch, grams: Array) -> tuple[tuple[str, float], ...]:
    """Grams (n_ink,) by name in the order of weighing, zeros left out."""
    order = weighing_order(batch.shop.palette.inks, grams.tolist())
    return tuple((batch.shop.bench.names[i], float(grams[i])) for i in order)
