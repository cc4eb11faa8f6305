"""A formula, and the grams that a balance can show for it.

Fractions are by mass, 0-1.  Weights end in ``_g``; a balance shows whole multiples of
`resolution_g`.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matchkit.arrays import Array
from matchkit.errors import InputError
from matchkit.inks.shop import Ink, Mix

# Weigh no less than this many steps of the balance: common practice, no source.
STEPS_TO_TRUST = 100
LETDOWN_SHARES = (0.1, 0.01)
BASES = ("white", "clear")


@dataclass(frozen=True, kw_only=True)
class Letdown:
    """A small weight made safe: weigh a letdown of the ink instead of the ink.

    `share` is the ink's mass fraction in the letdown, whose rest is `base`.
    `grams` then gives what to weigh for the batch, by name, the letdown included.
    """

    ink: str
    ink_g: float
    base: str
    share: float
    name: str
    grams: tuple[tuple[str, float], ...]


def weighing_order(inks: Sequence[Ink], grams: Sequence[float]) -> list[int]:
    """Positions in the order of weighing: white and clear first, then from much to little.

    Strong colours come last, when a slip of the hand can still be put right: common
    practice, no source.  Zeros are left out.

    >>> inks = [Ink(name="Black", role="black"), Ink(name="White", role="white")]
    >>> weighing_order(inks, [2.0, 98.0])
    [1, 0]
    """
    held = [i for i, g in enumerate(grams) if g > 0]
    return sorted(held, key=lambda i: (inks[i].role not in BASES, -grams[i]))


def weigh_out(
    fractions: Sequence[float] | Array,
    batch_g: float,
    resolution_g: float,
    *,
    upper: Array | None = None,
) -> Array:
    """Grams that a balance can show and that sum to the batch, (n_ink,).

    Each ink is rounded to the nearest step but for the largest, which takes up the rest.
    `upper` (n_ink,) are fractions that rounding must not exceed: an ink at its limit is
    rounded down, and the largest that has room takes up the rest.

    >>> weigh_out([0.9, 0.0666, 0.0334], 100.0, 0.1).tolist()
    [90.0, 6.7, 3.3]
    """
    if batch_g < resolution_g:
        raise InputError(f"batch is {batch_g:g} g; the balance shows steps of {resolution_g:g} g")
    steps = round(batch_g / resolution_g)
    counts = np.rint(np.asarray(fractions, dtype=float) * batch_g / resolution_g)
    most = np.full(counts.shape, np.inf)
    if upper is not None:
        most = np.maximum(np.floor(upper * batch_g / resolution_g + 1e-6), 0)
        counts = np.minimum(counts, most)
    order = np.argsort(-counts, kind="stable")
    for i in order:
        if counts.sum() == steps:
            break
        counts[i] += np.clip(steps - counts.sum(), -counts[i], most[i] - counts[i])
    counts[order[0]] += steps - counts.sum()
    decimals = max(0, -int(np.floor(np.log10(resolution_g)))) + 2
    return np.round(counts * resolution_g, decimals)


def cost_per_kg(inks: Sequence[Ink], fractions: Sequence[float]) -> float | None:
    """Cost of a kilogram, or None if the cost of an ink that is used is not known."""
    used = [(ink.cost_per_kg, f) for ink, f in zip(inks, fractions, strict=True) if f > 0]
    if any(cost is None for cost, _ in used):
        return None
    return float(sum(cost * f for cost, f in used if cost is not None))


def density_g_per_ml(inks: Sequence[Ink], fractions: Sequence[float]) -> float | None:
    """Density of a mixture whose volumes add up, or None if one is not known.

    >>> inks = [Ink(name="a", role="colour", density_g_per_ml=1.0),
    ...         Ink(name="b", role="white", density_g_per_ml=1.5)]
    >>> round(density_g_per_ml(inks, [0.4, 0.6]), 3)
    1.25
    """
    used = [(ink.density_g_per_ml, f) for ink, f in zip(inks, fractions, strict=True) if f > 0]
    if any(density is None for density, _ in used):
        return None
    return float(1 / sum(f / density for density, f in used if density is not None))


def taken_apart(amounts: Mapping[str, float], mixes: Iterable[Mix]) -> dict[str, float]:
    """Amounts by ink, where each of `mixes` that is named counts as the inks in it.

    Raises InputError for what is no amount.

    >>> pastel = Mix(name="Pastel", inks=("White", "Lemon"), fractions=(0.9, 0.1))
    >>> taken_apart({"Pastel": 50.0, "White": 50.0}, [pastel])
    {'White': 95.0, 'Lemon': 5.0}
    """
    if wrong := [n for n, amount in amounts.items() if not 0 <= amount < float("inf")]:
        raise InputError([f"{n}: found {amounts[n]:g}, need 0 or more" for n in wrong])
    shelf = {mix.name: mix for mix in mixes}
    inks: dict[str, float] = {}
    for name, amount in amounts.items():
        mix = shelf.get(name, Mix(name=name, inks=(name,), fractions=(1.0,)))
        for ink, fraction in zip(mix.inks, mix.fractions, strict=True):
            inks[ink] = inks.get(ink, 0.0) + amount * fraction
    return inks


def as_ink(mix: Mix, inks: Sequence[Ink]) -> Ink:
    """A mix as it is weighed, like an ink; density and cost are those of the `inks` in it.

    A mix that holds an ink which is not among them has neither.
    """
    shelf = {ink.name: ink for ink in inks}
    held = [shelf[name] for name in mix.inks if name in shelf]
    whole = len(held) == len(mix.inks)
    return Ink(
        name=mix.name,
        role="colour",
        series=held[0].series if held else "",
        density_g_per_ml=density_g_per_ml(held, mix.fractions) if whole else None,
        cost_per_kg=cost_per_kg(held, mix.fractions) if whole else None,
        stock_g=mix.stock_g,
        lot=mix.date,
    )


def fill_ml(inks: Sequence[Ink], grams: Mapping[str, float]) -> float | None:
    """Volume of a batch, or None if the density of an ink that is used is not known."""
    weights_g = [grams.get(ink.name, 0.0) for ink in inks]
    total = sum(weights_g)
    density = density_g_per_ml(inks, [g / total for g in weights_g])
    return None if density is None else total / density


def letdowns_for(
    inks: Sequence[Ink], grams: Sequence[float] | Array, resolution_g: float
) -> list[Letdown]:
    """A way out for each ink whose weight the balance can't show well.

    Below 100 steps of the balance an ink is better weighed from a letdown of 10 % (or
    1 %) in the batch's own white or clear, which then counts as part of that base.  An ink
    for which the batch holds too little base gets no letdown: make a bigger batch.
    """
    weights_g = np.asarray(grams, dtype=float)
    least = STEPS_TO_TRUST * resolution_g
    bases = [i for i, ink in enumerate(inks) if ink.role in BASES and weights_g[i] > 0]
    out = []
    for i in np.flatnonzero((weights_g > 0) & (weights_g < least * (1 - 1e-9))).tolist():
        if inks[i].role in BASES:
            continue
        found = _letdown(inks, weights_g, i, bases, least, resolution_g)
        if found:
            out.append(found)
    return out


def _letdown(
    inks: Sequence[Ink],
    weights_g: Array,
    i: int,
    bases: list[int],
    least: float,
    resolution_g: float,
) -> Letdown | None:
    for share in LETDOWN_SHARES:
        letdown_g = float(np.rint(weights_g[i] / share / resolution_g) * resolution_g)
        base_part = letdown_g - weights_g[i]
        roomy = [b for b in bases if weights_g[b] >= base_part]
        if letdown_g < least * (1 - 1e-9) or not roomy:
            continue
        base = max(roomy, key=lambda b: weights_g[b])
        name = f"{inks[i].name} {100 * share:g} % in {inks[base].name}"
        new = {
            inks[j].name: float(weights_g[j]) for j in np.flatnonzero(weights_g).tolist() if j != i
        }
        new[inks[base].name] = round(new[inks[base].name] - float(base_part), 6)
        new[name] = round(letdown_g, 6)
        return Letdown(
            ink=inks[i].name,
            ink_g=float(weights_g[i]),
            base=inks[base].name,
            share=share,
            name=name,
            grams=tuple((n, g) for n, g in new.items() if g > 0),
        )
    return None
