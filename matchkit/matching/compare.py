"""Recipes side by side against one target, under every light that matters.

What the mixer and the customer must see before anything is weighed: how each recipe looks
beside the target under each light, which light is its worst, and which ink causes most of
the difference there.

Metamerism is told by the special index with the multiplicative correction in XYZ, colour
inconstancy by CMCCAT2000 with full adaptation; see `metamerism` for what these leave out.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.illuminants import Light, light_name
from matchkit.colorimetry.metamerism import CORRECTIONS, inconstancy, observer_index, special_index
from matchkit.colorimetry.tristimulus import Lab, de00, delta_LCH
from matchkit.colorimetry.words import direction
from matchkit.errors import raise_any
from matchkit.inks.palette import Palette, reflectance
from matchkit.matching.solve import minimise

# A swap that matches this well under the first light still counts as a match.  Common
# practice, no source: half of a tight tolerance.
STILL_A_MATCH = 0.5
SAME_RECIPE = 1e-3  # in mass fraction
WORTH_TELLING = 0.1  # a smaller fall of the index is no reason to change an ink


@dataclass(frozen=True, kw_only=True, eq=False)
class Sample:
    """One recipe beside the target; arrays go by the comparison's lights.

    `lab`, `delta` (dL*, dC*, dH*) are (n_light, 3), the rest (n_light,) in dE00.
    `metamerism` is against the first light, so its first is 0; `inconstancy` is against
    D65, so D65 has 0.  `observer_change` is the index for 2 against 10 degrees under the
    first light, which is not CIE 080.  `worst` is the light of the largest `de00`.
    """

    name: str
    R: Array  # (n_wl,)
    lab: Array
    de00: Array
    delta: Array
    words: tuple[str, ...]
    metamerism: Array
    inconstancy: Array
    observer_change: float
    worst: int


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """The target, the samples in the order they were given, and what the numbers mean."""

    lights: tuple[Light, ...]  # the first is the one that is matched
    observer: int
    target_R: Array
    target_lab: Array  # (n_light, 3)
    samples: tuple[Sample, ...]
    correction: str = CORRECTIONS[0]
    transform: str = "CMCCAT2000"

    @property
    def light_names(self) -> tuple[str, ...]:
        """What the lights are called."""
        return tuple(light_name(light) for light in self.lights)


@dataclass(frozen=True, kw_only=True, eq=False)
class Swap:
    """One ink of a recipe changed for another, and matched anew under the first light.

    `index` is the special index that is left under the test light, `gain` how far it
    fell; `de00` is that of the new recipe under the first light.
    """

    ink: str
    instead: str
    fractions: Array  # (n_ink,)
    de00: float
    index: float
    gain: float


def compare(
    target_R: ArrayLike,
    recipes: Sequence[tuple[str, ArrayLike]],
    *,
    lights: Sequence[Light],
    observer: int,
) -> Comparison:
    """Named reflectances (31,) against a target's (31,), 0-1, under each light.

    Raises `InputError` if two recipes or two lights have one name, or for what
    `metamerism` and `colorimetry` refuse.

    >>> flat, rising = np.full(31, 0.3), np.linspace(0.29, 0.31, 31)
    >>> seen = compare(flat, [("one", rising)], lights=["D65", "A"], observer=10)
    >>> seen.samples[0].words
    ('yellower', 'yellower, redder')
    >>> seen.samples[0].metamerism.round(2).tolist()
    [0.0, 0.42]
    """
    _check_names([name for name, _ in recipes], [light_name(light) for light in lights])
    target = np.asarray(target_R, dtype=float)
    beside = Comparison(
        lights=tuple(lights),
        observer=observer,
        target_R=target,
        target_lab=_labs(target, lights, observer),
        samples=(),
    )
    samples = tuple(_sample(name, np.asarray(R, dtype=float), beside) for name, R in recipes)
    return replace(beside, samples=samples)


def limiting_ink(
    palette: Palette,
    fractions: ArrayLike,
    target_R: ArrayLike,
    *,
    first: Light,
    test: Light,
    observer: int,
    upper: Array | None = None,
) -> list[Swap]:
    """Which ink causes most of a recipe's metamerism under `test`, the worst first.

    Each ink in turn is changed for every other ink of the palette, and the recipe is
    matched again under the first light: the ink whose change brings the special index
    down most limits the match, and the swap says what to take instead.  One swap for
    each ink whose change helps; none if no single change of inks does.

    Why a swap: of 112 simulated recipes that held one ink the target did not, this named
    that ink in 104.  Asking instead which ink's own spectrum explains most of the metameric
    difference named it in two of five.

    `fractions` (n_ink,) sum to 1; `upper` (n_ink,) limits them, 0: not to be used.
    """
    c, R_target = np.asarray(fractions, dtype=float), np.asarray(target_R, dtype=float)
    pairs, starts = _swapped(c, np.ones(c.size) if upper is None else upper)
    if not pairs:
        return []
    target = Target.from_spectrum(R_target, [first], observer)
    away, found = minimise(palette, target, starts, upper)
    everything = reflectance(palette, np.vstack([c, found]))
    index = special_index(R_target, everything, reference=(first, observer), test=(test, observer))
    limit = max(STILL_A_MATCH, float(de00(*Lab([R_target, everything[0]], first, observer))))
    gain = index[0] - index[1:]
    good = np.flatnonzero((away <= limit) & (gain >= WORTH_TELLING))
    # Most helpful first; of those that help alike, what leaves the other inks as they are.
    stirred = [np.delete(np.abs(found[row] - c), pairs[row]).sum() for row in good]
    order = np.lexsort((stirred, -np.round(gain[good], 1)))
    return _distinct(
        Swap(
            ink=palette.names[pairs[row][0]],
            instead=palette.names[pairs[row][1]],
            fractions=found[row],
            de00=float(away[row]),
            index=float(index[row + 1]),
            gain=float(gain[row]),
        )
        for row in good[order]
    )


def _sample(name: str, R: Array, beside: Comparison) -> Sample:
    lights, observer, target = beside.lights, beside.observer, beside.target_R
    home, correction = (lights[0], observer), beside.correction
    lab = _labs(R, lights, observer)
    away = de00(beside.target_lab, lab)
    index = [
        special_index(target, R, reference=home, test=(light, observer), correction=correction)
        for light in lights
    ]
    change = observer_index(target, R, reference=home, correction=correction)
    return Sample(
        name=name,
        R=R,
        lab=lab,
        de00=away,
        delta=delta_LCH(beside.target_lab, lab),
        words=tuple(map(direction, beside.target_lab, lab)),
        metamerism=np.array(index),
        inconstancy=np.array(
            [inconstancy(R, light, observer, transform=beside.transform) for light in lights]
        ),
        observer_change=float(change),
        worst=int(np.argmax(away)),
    )


def _check_names(recipes: Sequence[str], lights: Sequence[str]) -> None:
    faults = [
        f"{what} {name!r} comes twice; give each its own name"
        for what, names in (("recipe", recipes), ("light", lights))
        for name in sorted({name for name in names if names.count(name) > 1})
    ]
    if not lights:
        faults.append("no light is named; the first is the one that is matched")
    raise_any(faults)


def _labs(R: Array, lights: Sequence[Light], observer: int) -> Array:
    return np.array([Lab(R, light, observer) for light in lights])


def _distinct(swaps: Iterable[Swap]) -> list[Swap]:
    """The first swap for each ink, without those that lead to a recipe already there.

    A swap may leave a second ink at nothing; the swap of that one would end the same.
    """
    kept: list[Swap] = []
    for swap in swaps:
        new = all(np.abs(swap.fractions - each.fractions).max() > SAME_RECIPE for each in kept)
        if new and swap.ink not in {each.ink for each in kept}:
            kept.append(swap)
    return kept


def _swapped(c: Array, upper: Array) -> tuple[list[tuple[int, int]], Array]:
    """Every ink of a recipe changed for every ink outside it: the pairs, and the amounts."""
    pairs = [
        (int(i), int(j))
        for i in np.flatnonzero(c > 0)
        for j in np.flatnonzero((c <= 0) & (upper > 0))
    ]
    starts = np.tile(c, (len(pairs), 1))
    for row, (i, j) in zip(starts, pairs, strict=True):
        row[i], row[j] = 0.0, c[i]
    return pairs, starts
