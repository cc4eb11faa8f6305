"""Exercises for the balance: scale, running totals, over-pours, letdowns, volume.

Answers come from the functions that make a ticket; the wrong choices are what the usual
mistakes would give, so that the correction can name the mistake.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from matchkit.arrays import Array
from matchkit.inks.recipe import density_g_per_ml, letdowns_for, weigh_out, weighing_order
from matchkit.inks.shop import Ink
from matchkit.paper.weighing import CONTAINERS_ML, Container, fill, ticket_rows
from matchkit.practice.exercise import Choice, Exercise
from matchkit.practice.simulated_shop import RESOLUTION_G, PracticeShop, mixture

Generator = np.random.Generator
Grams = Mapping[str, float]

# In the order in which they come with the levels.
TOPICS = ("scale", "running", "letdown", "over-pour", "fill")
APART = 0.02  # choices lie at least this share apart
ODD_FROM = 4  # the level from which batches are no round number


def sums(shop: PracticeShop, rng: Generator, *, seed: int, level: int) -> Exercise:
    """One sum at the balance; more topics and odder numbers the higher the level."""
    while (made := _sum(shop, rng, level)) is None:
        pass
    question, facts, unit, right, mistakes, hint = made
    values = [right, *(value for value, _ in mistakes)]
    order = rng.permutation(len(values))
    tellings = [_told(k, values, mistakes, unit, hint) for k in range(len(values))]
    return Exercise(
        kind="sums",
        seed=seed,
        level=level,
        question=question,
        facts=facts,
        swatches=(),
        choices=tuple(
            Choice(text=f"{values[k]:.2f} {unit}", worth=float(k == 0), told=tellings[k])
            for k in order
        ),
        answer=int(np.flatnonzero(order == 0)[0]),
        hint=hint,
        explanation=f"{hint} That makes {right:.2f} {unit}.",
    )


Facts = tuple[tuple[str, str], ...]
Mistake = tuple[float, str]
Sum = tuple[str, Facts, str, float, list[Mistake], str]


def _told(
    k: int, values: Sequence[float], mistakes: Sequence[Mistake], unit: str, hint: str
) -> str:
    if k == 0:
        return f"{values[0]:.2f} {unit}. {hint}"
    return f"{mistakes[k - 1][1]}. {hint} Here that makes {values[0]:.2f} {unit}."


def _sum(shop: PracticeShop, rng: Generator, level: int) -> Sum | None:
    """A sum whose choices can be told apart, or None."""
    topic = TOPICS[int(rng.integers(min(2 + level // 2, len(TOPICS))))]
    batch_g = float(rng.integers(3, 16) * 100)
    if level >= ODD_FROM:
        batch_g += float(rng.integers(1, 100))
    c = mixture(shop, rng)
    inks = shop.palette.inks
    made = _OF_TOPIC[topic](inks, c, batch_g, rng)
    if made is None:
        return None
    values = np.array([made[3], *(value for value, _ in made[4])])
    apart = np.abs(values[:, None] - values) / np.maximum(values[:, None], values)
    return made if np.all(apart + np.eye(len(values)) >= APART) and values.min() > 0 else None


def _batch(inks: Sequence[Ink], c: Array, batch_g: float) -> dict[str, float]:
    """Grams by name in the order of weighing."""
    grams = weigh_out(c, batch_g, RESOLUTION_G)
    return {inks[i].name: float(grams[i]) for i in weighing_order(inks, grams.tolist())}


def _listed(grams: Grams) -> Facts:
    return tuple((name, f"{g:.2f} g") for name, g in grams.items())


def _scale(inks: Sequence[Ink], c: Array, batch_g: float, rng: Generator) -> Sum | None:
    recipe = _batch(inks, c, 1000.0)
    wanted = _batch(inks, np.array([recipe.get(ink.name, 0.0) for ink in inks]) / 1000, batch_g)
    name = str(rng.choice(np.array(list(recipe))))
    g, right = recipe[name], wanted[name]
    return (
        f"A ticket makes 1000 g. You need {batch_g:g} g. How much {name}?",
        _listed(recipe),
        "g",
        right,
        [
            (g, "that is the weight for 1000 g, not scaled"),
            (g * 1000 / batch_g, "that is scaled the wrong way round"),
            (right * 10, "the decimal point slipped by one place"),
        ],
        f"Weight on the ticket times wanted batch over its batch: {g:.2f} x {batch_g:g} / 1000.",
    )


def _running(inks: Sequence[Ink], c: Array, batch_g: float, rng: Generator) -> Sum | None:
    grams = _batch(inks, c, batch_g)
    rows = ticket_rows(grams, {ink.name: ink for ink in inks}, {}, RESOLUTION_G)
    k = int(rng.integers(1, len(rows)))
    return (
        f"You weigh on a running total, in this order. What does the balance show after"
        f" {rows[k].ink}?",
        _listed(grams),
        "g",
        rows[k].total_g,
        [
            (rows[k].grams, f"that is the weight of {rows[k].ink} alone"),
            (rows[k - 1].total_g - rows[k].grams, f"{rows[k].ink} goes in, not out"),
            (rows[k].total_g + rows[0].grams, f"{rows[0].ink} is counted twice"),
        ],
        "Everything that is in so far: "
        + " + ".join(f"{row.grams:.2f}" for row in rows[: k + 1])
        + ".",
    )


def _letdown(inks: Sequence[Ink], c: Array, batch_g: float, rng: Generator) -> Sum | None:
    small = c * np.where(c == c.max(), 1.0, rng.uniform(0.005, 0.05))
    grams = weigh_out(small / small.sum(), min(batch_g, 600.0) / 4, RESOLUTION_G)
    ways = letdowns_for(inks, grams, RESOLUTION_G)
    if not ways:
        return None
    way, names = ways[int(rng.integers(len(ways)))], [ink.name for ink in inks]
    base_g = float(grams[names.index(way.base)])
    weights = dict(way.grams)
    letdown_g, right = weights[way.name], weights[way.base]
    return (
        f"{way.ink_g:.2f} g {way.ink} is too little for the balance, so you weigh"
        f" {letdown_g:.2f} g of a letdown instead: {100 * way.share:g} % {way.ink} in {way.base}."
        f" How much {way.base} do you weigh then?",
        _listed({n: float(g) for n, g in zip(names, grams, strict=True) if g > 0}),
        "g",
        right,
        [
            (base_g, f"the letdown brings {way.base} along, which was not taken off"),
            (base_g - letdown_g, f"the letdown is not all {way.base}: too much was taken off"),
            (base_g + letdown_g - way.ink_g, "it comes off, not on top"),
        ],
        f"The letdown brings {letdown_g:.2f} - {way.ink_g:.2f} g {way.base}; take that off the"
        f" {base_g:.2f} g.",
    )


def _over(inks: Sequence[Ink], c: Array, batch_g: float, rng: Generator) -> Sum | None:
    grams = _batch(inks, c, batch_g)
    base, *others = grams
    over = str(rng.choice(np.array(others)))
    poured = round(grams[over] * rng.uniform(1.08, 1.4), 2)
    right = round(grams[base] * poured / grams[over], 2)
    return (
        f"You poured {poured:.2f} g {over} instead of {grams[over]:.2f} g and make the batch"
        f" bigger, so that the colour stays. How much {base} in all?",
        _listed(grams),
        "g",
        right,
        [
            (grams[base], f"with no more {base} the colour is off"),
            (grams[base] + poured - grams[over], "as many grams more is not in proportion"),
            (grams[base] * grams[over] / poured, "that is scaled the wrong way round"),
        ],
        f"Everything grows as the over-poured ink did: {grams[base]:.2f} x {poured:.2f} /"
        f" {grams[over]:.2f}.",
    )


def _fill(inks: Sequence[Ink], c: Array, batch_g: float, rng: Generator) -> Sum | None:
    grams = _batch(inks, c, batch_g)
    name = str(rng.choice(np.array(["US quart", "1 litre"])))
    container = Container(name=name, volume_ml=CONTAINERS_ML[name])
    found = fill(inks, grams, (), container)
    density = density_g_per_ml(inks, c.tolist())
    if found is None or found.most_g is None or density is None:
        return None
    room_ml = container.volume_ml * (1 - container.headroom)
    heavy = ", ".join(f"{i.name} {i.density_g_per_ml:.2f}" for i in inks if i.name in grams)
    return (
        f"The mixture weighs {density:.3f} g per ml. How many grams fit a container of"
        f" {container.volume_ml:.0f} ml with {100 * container.headroom:g} % left empty?",
        (*_listed(grams), ("g per ml", heavy)),
        "g",
        round(found.most_g, 2),
        [
            (container.volume_ml * density, "that fills it to the brim"),
            (room_ml, "millilitres are not grams"),
            (room_ml / density, "grams are millilitres times density, not divided by it"),
        ],
        f"Room in ml times g per ml: {container.volume_ml:.0f} x {1 - container.headroom:g} x"
        f" {density:.3f}.",
    )


_OF_TOPIC = {
    "scale": _scale, "running": _running, "letdown": _letdown, "over-pour": _over, "fill": _fill,
}  # fmt: skip
