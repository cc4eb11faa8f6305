"""Invented inks of the simulator, as light meets them: absorption and scattering.

Every ink is drawn from a seed.  Absorption is a sum of smooth edges and bands whose
places, widths and heights are random inside the range of a hue; scattering falls with
wavelength and has bumps.  The inks and their names are invented; the ranges are common
practice, no source, chosen so that masstones and tints look like pigmented plastisol.

`unlike` gives pigments of another make: bands with long tails, scattering anywhere between
next to nothing and the white's, films of higher index, stronger forward scattering, other
crowding.  What was chosen by looking at the usual pigments can be judged on these.
"""

from dataclasses import dataclass, replace

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.grid import GRID_NM, N_WL
from matchkit.simulator.troubles import NO_TROUBLES, Traits, Troubles, draw_traits

Generator = np.random.Generator

TRAITS = 17  # the stream of random numbers that traits are drawn from
WHITE_MU_S = 0.10  # reduced scattering of the white alone at 550 nm, per um


@dataclass(frozen=True, kw_only=True, eq=False)
class BenchInk:
    """An ink as light meets it: absorption and scattering per um of the ink alone.

    `mu_s` is the true scattering; what counts for hiding is mu_s (1 - g).
    """

    name: str
    role: str  # white, black, clear or colour
    mu_a: Array  # (n_wl,)
    mu_s: Array  # (n_wl,)


@dataclass(frozen=True, kw_only=True, eq=False)
class Bench:
    """Inks that may be mixed with each other, and how their films are read.

    White crowds: at a share c it scatters only ``1 - crowding_loss * c**crowding_power``
    of what it would scatter per gram if it were alone among strangers.  `surface_left`
    is the share of the surface reflection that a semi-matt film scatters into a reading
    that is meant to leave it out (specular excluded, 45/0).  `traits` says how the inks
    differ in the shop's `troubles`, None where there are none.
    """

    inks: tuple[BenchInk, ...]
    n: float  # refractive index of the film
    g: float  # mean cosine of one scattering
    crowding_loss: float
    crowding_power: float
    geometry: str
    surface_left: float = 0.0
    troubles: Troubles = NO_TROUBLES
    traits: Traits | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """Ink names, in the order of the fractions."""
        return tuple(ink.name for ink in self.inks)

    def where(self, role: str) -> list[int]:
        """Positions of the inks of one role."""
        return [i for i, ink in enumerate(self.inks) if ink.role == role]


# An edge absorbs below its centre, a band around it: kind, centre, width, height, each
# a range to draw from (nm, nm, share of the peak).
Shape = tuple[str, tuple[float, float], tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class _Family:
    """The ranges a colour is drawn from; `strength` and `scatter` are shares of the white."""

    name: str
    strength: tuple[float, float]  # peak absorption against the white's scattering
    scatter: tuple[float, float]
    shapes: tuple[Shape, ...]
    dirt: tuple[float, float] = (0.002, 0.02)  # absorption everywhere, share of the peak
    slope: tuple[float, float] = (0.2, 1.6)  # scattering falls with wavelength to this power


# In the order they are taken, so that a few inks still reach round the hues.
# fmt: off
_FAMILIES = (
    _Family("Lemon", (0.3, 0.9), (0.10, 0.35), (
        ("edge", (466, 486), (6, 11), (1, 1)),)),
    _Family("Scarlet", (0.4, 1.2), (0.12, 0.35), (
        ("edge", (574, 592), (6, 11), (0.8, 1)),
        ("band", (510, 535), (25, 40), (0.1, 0.4)),)),
    _Family("Sky blue", (0.6, 1.6), (0.03, 0.15), (
        ("band", (608, 630), (24, 36), (0.8, 1)),
        ("band", (670, 695), (28, 42), (0.6, 1)),
        ("band", (340, 380), (30, 45), (0.1, 0.4)),)),
    _Family("Magenta", (0.4, 1.2), (0.03, 0.15), (
        ("band", (515, 535), (22, 34), (0.6, 1)),
        ("band", (555, 572), (14, 22), (0.6, 1)),
        ("band", (380, 410), (30, 50), (0.1, 0.4)),)),
    _Family("Green", (0.5, 1.4), (0.03, 0.15), (
        ("band", (636, 660), (30, 44), (0.8, 1)),
        ("band", (700, 730), (30, 45), (0.4, 0.9)),
        ("edge", (440, 470), (10, 18), (0.4, 0.9)),)),
    _Family("Violet", (0.6, 1.6), (0.02, 0.10), (
        ("band", (530, 548), (22, 32), (0.6, 0.9)),
        ("band", (574, 594), (18, 28), (0.8, 1)),
        ("band", (616, 634), (12, 20), (0.2, 0.7)),)),
    _Family("Orange", (0.3, 1.0), (0.10, 0.35), (
        ("edge", (540, 562), (7, 12), (1, 1)),
        ("band", (470, 500), (25, 40), (0.1, 0.5)),)),
    _Family("Deep blue", (0.3, 1.0), (0.04, 0.20), (
        ("band", (578, 606), (38, 54), (0.8, 1)),
        ("band", (640, 690), (40, 60), (0.3, 0.7)),)),
    _Family("Gold", (0.3, 0.9), (0.12, 0.40), (
        ("edge", (498, 518), (7, 13), (1, 1)),)),
    _Family("Red earth", (0.4, 1.0), (0.30, 0.60), (
        ("edge", (564, 582), (12, 20), (0.8, 1)),
        ("band", (640, 700), (60, 90), (0.03, 0.10)),), dirt=(0.01, 0.04)),
    _Family("Crimson", (0.5, 1.3), (0.04, 0.18), (
        ("edge", (592, 608), (7, 12), (0.7, 1)),
        ("band", (552, 574), (20, 32), (0.3, 0.8)),)),
    _Family("Ochre", (0.3, 0.7), (0.30, 0.60), (
        ("edge", (492, 512), (13, 22), (0.8, 1)),
        ("band", (640, 680), (40, 60), (0.05, 0.15)),), dirt=(0.01, 0.05)),
    _Family("Brown", (0.4, 0.9), (0.15, 0.45), (
        ("edge", (540, 590), (32, 60), (0.8, 1)),
        ("band", (420, 470), (40, 60), (0.1, 0.4)),), dirt=(0.03, 0.12)),
    _Family("Sea green", (0.4, 1.2), (0.05, 0.25), (
        ("band", (650, 690), (48, 70), (0.8, 1)),
        ("edge", (400, 430), (8, 16), (0.3, 0.8)),)),
)
# fmt: on
# A masstone that absorbs more than this many times what it scatters reads like a hole.
DARKEST = (1.5, 4.5)


def _log_between(rng: Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _edge(centre_nm: float, width_nm: float, tails: bool = False) -> Array:
    x = (GRID_NM - centre_nm) / width_nm
    return 0.5 - np.arctan(0.8 * x) / np.pi if tails else 1 / (1 + np.exp(x))


def _band(centre_nm: float, width_nm: float, tails: bool = False) -> Array:
    x = (GRID_NM - centre_nm) / width_nm
    return 1 / (1 + 0.7 * x**2) if tails else np.exp(-0.5 * x**2)


def _power(slope: float) -> Array:
    return (GRID_NM / 550.0) ** -slope


def _absorption(family: _Family, rng: Generator, tails: bool = False) -> Array:
    """The shapes added up, peak 1, on a floor of dirt that leans to the blue."""
    total = np.zeros(N_WL)
    for kind, centre, width, height in family.shapes:
        shape = _edge if kind == "edge" else _band
        total += rng.uniform(*height) * shape(rng.uniform(*centre), rng.uniform(*width), tails)
    floor = _log_between(rng, *family.dirt) * _power(rng.uniform(0, 1.5))
    result: Array = total / total.max() + floor
    return result


def _colour(family: _Family, name: str, rng: Generator, g: float) -> BenchInk:
    mu_a = WHITE_MU_S * _log_between(rng, *family.strength) * _absorption(family, rng)
    level = WHITE_MU_S * _log_between(rng, *family.scatter)
    level = max(level, float(mu_a.max()) / rng.uniform(*DARKEST))
    bump = rng.uniform(-0.25, 0.5) * _band(rng.uniform(430, 680), rng.uniform(30, 70))
    scatter = level * _power(rng.uniform(*family.slope)) * (1 + bump)
    return BenchInk(name=name, role="colour", mu_a=mu_a, mu_s=scatter / (1 - g))


def _unlike(family: _Family, name: str, rng: Generator, g: float) -> BenchInk:
    """A colour of the family's hue whose pigment is of another make."""
    mu_a = WHITE_MU_S * _log_between(rng, 0.25, 2.0) * _absorption(family, rng, tails=True)
    level = max(WHITE_MU_S * _log_between(rng, 0.02, 0.9), float(mu_a.max()) / 6)
    step = 1 + rng.uniform(-0.4, 0.4) * _edge(rng.uniform(430, 680), rng.uniform(10, 40))
    scatter = level * _power(rng.uniform(-0.5, 2.5)) * step
    return BenchInk(name=name, role="colour", mu_a=mu_a, mu_s=scatter / (1 - g))


def _white(rng: Generator, g: float) -> BenchInk:
    """Titanium dioxide in a base: grey by a trace, and an absorption edge below 420 nm."""
    trace = _log_between(rng, 3e-4, 9e-4) * _power(rng.uniform(0, 2))
    edge = rng.uniform(0.10, 0.25) * _edge(rng.uniform(396, 402), rng.uniform(4, 5.5))
    scatter = WHITE_MU_S * _power(rng.uniform(0.3, 0.9))
    return BenchInk(
        name="White", role="white", mu_a=WHITE_MU_S * (trace + edge), mu_s=scatter / (1 - g)
    )


def _black(rng: Generator, g: float) -> BenchInk:
    """Carbon black: much absorption, little scattering, that mostly by the filler."""
    mu_a = WHITE_MU_S * _log_between(rng, 0.6, 1.3) * _power(rng.uniform(-0.1, 0.5))
    scatter = mu_a.max() / rng.uniform(2.5, 5.0) * _power(rng.uniform(0.5, 1.5))
    return BenchInk(name="Black", role="black", mu_a=mu_a, mu_s=scatter / (1 - g))


def _clear(rng: Generator, g: float) -> BenchInk:
    """A base without pigment: slightly cloudy, slightly yellow."""
    yellow = rng.uniform(5e-4, 2e-3) * np.exp(-(GRID_NM - 400) / rng.uniform(40, 80))
    scatter = WHITE_MU_S * _log_between(rng, 0.01, 0.04) * _power(rng.uniform(0.5, 2))
    mu_a = WHITE_MU_S * (_log_between(rng, 5e-5, 3e-4) + yellow)
    return BenchInk(name="Clear", role="clear", mu_a=mu_a, mu_s=scatter / (1 - g))


def make_bench(
    seed: int,
    *,
    n_colours: int = 13,
    geometry: str = "d/8 specular excluded",
    surface_left: float = 0.0,
    troubles: Troubles | None = None,
    unlike: bool = False,
) -> Bench:
    """A white, a black, a clear and `n_colours` colours, all of them drawn from the seed.

    Another seed is another shop: other pigments, film, scattering and crowding.  With
    `troubles` the same pigments behave as harder shops have them; `unlike` pigments are of
    another make, see the module.

    >>> bench = make_bench(7, n_colours=2)
    >>> bench.names
    ('White', 'Black', 'Clear', 'Lemon', 'Scarlet')
    """
    rng = np.random.default_rng(seed)
    n, g = rng.uniform(1.46, 1.56), rng.uniform(0.0, 0.6)
    loss, power = rng.uniform(0.15, 0.45), rng.uniform(0.4, 1.0)
    if unlike:
        n, g = rng.uniform(1.50, 1.60), rng.uniform(0.3, 0.8)
        loss, power = rng.uniform(0.05, 0.6), rng.uniform(0.6, 2.0)
    colours = []
    for i in range(n_colours):
        family, again = _FAMILIES[i % len(_FAMILIES)], i // len(_FAMILIES)
        name = f"{family.name} {again + 1}" if again else family.name
        colours.append((_unlike if unlike else _colour)(family, name, rng, g))
    inks = (_white(rng, g), _black(rng, g), _clear(rng, g), *colours)
    traits = None
    if troubles is not None and troubles.named:
        own = np.random.default_rng([seed, TRAITS])
        traits = draw_traits(troubles, [ink.role for ink in inks], g, own)
        # What hides is mu_s (1 - g), and that stays.
        inks = tuple(
            replace(ink, mu_s=ink.mu_s * (1 - g) / (1 - own_g))
            for ink, own_g in zip(inks, traits.g, strict=True)
        )
    return Bench(
        inks=inks,
        n=n,
        g=g,
        crowding_loss=loss,
        crowding_power=power,
        geometry=geometry,
        surface_left=surface_left,
        troubles=troubles or NO_TROUBLES,
        traits=traits,
    )
