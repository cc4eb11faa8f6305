"""What makes a real shop harder than the plain simulator: troubles, each with an amount.

All of them are 0 in the plain simulator.  The amounts in `USUAL` are ours: large enough to
be seen beside the noise of reading, small enough to happen (common practice, no source).
How the inks of one simulated shop differ in a trouble is drawn from the shop's seed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.colorimetry.grid import GRID_NM
from matchkit.errors import InputError

Generator = np.random.Generator

MOST_G = 0.85
EXCITED_NM, EMITS_NM, EMITS_WIDTH_NM = 500.0, (520.0, 600.0), 22.0
DRIFT_NM = 60.0  # a drift of 1 % in gain goes with a wavelength scale 0.6 nm off
POT_G = 50.0  # what a drawdown is weighed into


@dataclass(frozen=True, kw_only=True)
class Troubles:
    """How much of each trouble there is; 0 is none.

    `card` is the nominal thickness in um of drawdowns over a card that is half black and
    half white; 0: every drawdown hides.

    >>> Troubles(drift=0.003).named
    ('drift',)
    """

    anisotropy: float = 0.0  # inks' mean cosines of scattering lie so far from the series'
    index: float = 0.0  # rise of the refractive index from clear to full of pigment
    semi_matt: float = 0.0  # mean share of the surface reflection that stays in a reading
    crowding: float = 0.0  # mean loss of scattering of every ink at full load
    flocculation: float = 0.0  # largest loss of an ink's strength beside another ink
    card: float = 0.0
    thickness: float = 0.0  # of a drawdown against the nominal, standard deviation
    fluorescence: float = 0.0  # most that an ink's glow adds to a reading
    drift: float = 0.0  # of the instrument's gain, from the mean to either end
    weighing: float = 0.0  # share of an ink that goes astray unseen, standard deviation
    mislabelled: int = 0  # drawdowns that carry the reading of another one

    @property
    def named(self) -> tuple[str, ...]:
        """Names of the troubles that there are."""
        return tuple(f.name for f in fields(self) if getattr(self, f.name))


NO_TROUBLES = Troubles()
USUAL = Troubles(
    anisotropy=0.3,
    index=0.06,
    semi_matt=0.1,
    crowding=0.2,
    flocculation=0.2,
    card=200.0,
    thickness=0.06,
    fluorescence=0.02,
    drift=0.003,
    weighing=0.01,
    mislabelled=1,
)


def only(*names: str) -> Troubles:
    """The usual amount of the named troubles, and none of the others.

    A thickness that varies is of a film that shows its card: `thickness` brings `card`.

    >>> only("thickness").card
    200.0
    """
    unknown = set(names) - set(USUAL.named)
    if unknown:
        raise InputError(f"troubles: {', '.join(sorted(unknown))}; write {', '.join(USUAL.named)}")
    asked = {*names, "card"} if "thickness" in names else {*names}
    return Troubles(**{name: getattr(USUAL, name) for name in asked})


@dataclass(frozen=True, kw_only=True, eq=False)
class Traits:
    """How the inks of one simulated shop differ in its troubles, (n_ink,) unless said."""

    g: Array  # mean cosine of one scattering
    raises_n: Array  # what the ink alone adds to the refractive index of the clear
    matt: Array  # share of the surface reflection left in a reading
    crowds: Array  # loss of scattering at full load
    flocculates: Array  # (n_ink, n_ink) loss of strength beside each other ink
    glow: Array  # (n_ink, n_wl) what the ink emits where it takes all the light


def draw_traits(troubles: Troubles, roles: Sequence[str], g: float, rng: Generator) -> Traits:
    """The traits of a shop's inks; `g` is the mean cosine of the series."""
    n = len(roles)
    pigment = np.array([role != "clear" for role in roles])
    colour = np.array([role == "colour" for role in roles])
    own_g = np.clip(g + troubles.anisotropy * rng.uniform(-1, 1, n), 0.0, MOST_G)
    raises_n = troubles.index * pigment * rng.uniform(0.5, 1.5, n)
    matt = troubles.semi_matt * rng.uniform(0, 2, n)
    crowds = np.clip(troubles.crowding * pigment * rng.uniform(0, 2, n), 0, 0.9)
    beside = rng.uniform(0, 1, (n, n)) * (rng.uniform(0, 1, (n, n)) < 0.5)
    beside *= pigment[:, None] * pigment * (1 - np.eye(n))
    height = rng.uniform(0, 1, n) * colour * (rng.uniform(0, 1, n) < 0.3)
    glowing = np.flatnonzero(colour)
    if glowing.size:  # one ink at least glows as much as the trouble says
        height[rng.choice(glowing)] = 1.0
    at = rng.uniform(*EMITS_NM, (n, 1))
    glow = height[:, None] * np.exp(-0.5 * ((GRID_NM - at) / EMITS_WIDTH_NM) ** 2)
    return Traits(
        g=own_g,
        raises_n=raises_n,
        matt=matt,
        crowds=crowds,
        flocculates=troubles.flocculation * beside,
        glow=troubles.fluorescence * glow,
    )


def crowded(traits: Traits, share: Array) -> Array:
    """What is left of each ink's scattering, (..., n_ink), of mixtures `share` (..., n_ink).

    Half of the load is the ink's own, half that of everything with pigment in it.
    """
    load = (share * (traits.raises_n > 0)).sum(axis=-1, keepdims=True)
    left: Array = 1 - traits.crowds * (share + load) / 2
    return left


def glowing(traits: Traits, absorbed: Array, mu_a: Array, R: Array) -> Array:
    """What fluorescence adds to readings R (..., n_wl).

    `absorbed` (..., n_ink, n_wl) is each ink's part of the absorption `mu_a` (..., n_wl).
    """
    blue = GRID_NM < EXCITED_NM
    own = absorbed[..., blue] / np.maximum(mu_a, 1e-12)[..., None, blue]
    taken = (own * np.clip(1 - R, 0, 1)[..., None, blue]).mean(axis=-1)
    result: Array = taken @ traits.glow
    return result


def drifted(R: Array, when: ArrayLike, troubles: Troubles) -> Array:
    """Readings (..., n_wl) of an instrument that has drifted; `when` (...) is -1 to 1."""
    away = troubles.drift * np.asarray(when, dtype=float)[..., None]
    off_nm = DRIFT_NM * away
    slope = np.gradient(R, GRID_NM, axis=-1)
    return np.maximum(R * (1 + away) + off_nm * slope, 0)


def astray(grams: Array, troubles: Troubles, rng: Generator) -> Array:
    """What truly ends up in the mixture of what was weighed: the hand loses a little."""
    return grams * np.maximum(1 + troubles.weighing * rng.standard_normal(grams.shape), 0)


def swapped(readings: Array, troubles: Troubles, rng: Generator) -> Array:
    """Readings (..., n, n_repeat, n_wl) with some under a wrong label: another's reading."""
    mixed = readings.copy()
    n = readings.shape[-3]
    for wrong in rng.choice(n, size=min(troubles.mislabelled, n), replace=False).tolist():
        mixed[..., wrong, :, :] = readings[..., (wrong + int(rng.integers(1, n))) % n, :, :]
    return mixed
