"""A shop to practise in: invented inks, their fit, and colours that a screen can show.

The inks are those of the simulator, so no answer is typed in: what a mixture looks
like comes from radiative transfer and the colorimetry.  The palette beside it is what a
shop would know of these inks after drawing them down.
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from matchkit.arrays import Array, Mask
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.illuminants import white
from matchkit.colorimetry.tristimulus import XYZ, Lab, XYZ_to_Lab, de00, hex_colour, in_srgb
from matchkit.colorimetry.words import direction
from matchkit.fitting.fit import fit
from matchkit.fitting.held_out import STRUCTURES
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Ink
from matchkit.matching.probability import Spread, spread_of
from matchkit.matching.solve import solve
from matchkit.practice.rehearse import drawdowns_of
from matchkit.simulator.pigments import Bench, make_bench
from matchkit.simulator.simulate import drawdown_R

LIGHTS, OBSERVER = ("D65", "A", "FL11"), 10
RESOLUTION_G = 0.01
N_COLOURS = 6
DRAWDOWNS = 10  # of each ink
N_INKS, LEAST_SHARE = 3, 0.008  # of a colour to practise on
COLOURED = (0.03, 0.6)  # the share of everything but white in it
POOL = 30_000  # mixtures among which pairs of one colour are looked for
LOTS = 0.08  # standard deviation of log strength between lots: worse than a shop's, to practise
FAR_UNDER = 0.5  # dE00 up to which two recipes pass for a match under the first light
OPPOSITE = {
    "lighter": "darker", "darker": "lighter", "cleaner": "duller", "duller": "cleaner",
    "redder": "greener", "greener": "redder", "yellower": "bluer", "bluer": "yellower",
}  # fmt: skip

# IEC 61966-2-1: linear red, green, blue to XYZ with Y of white 1.
XYZ_OF_SRGB = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)

BEFORE = (
    "Screens, printers and eyes differ: a screen that is not calibrated shows other colours,"
    " and about one man in twelve tells red from green less well than others (a common figure,"
    " from memory, no source). So L*, a* and b* of every swatch can be shown, and every"
    " exercise can be answered from them: L* up is lighter, a* up is redder, b* up is yellower."
    " What counts in the shop is the cured drawdown under the agreed light."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class PracticeShop:
    """A simulated shop for learners: `bench` is the truth, `palette` what a fit knows of it.

    `spread` is how far lots, pours, readings and the fit usually lie apart here.
    """

    seed: int
    bench: Bench
    palette: Palette
    spread: Spread


@dataclass(frozen=True, kw_only=True, eq=False)
class Swatch:
    """A colour to look at: reflectance (n_wl,), Lab (3,) under `light`, and a web colour."""

    name: str
    R: Array
    light: str
    lab: Array
    hex: str

    @property
    def numbers(self) -> str:
        """L*, a*, b* as they stand beside the swatch."""
        return "L* {:.1f}  a* {:.1f}  b* {:.1f}".format(*self.lab)


@cache
def practice_shop(seed: int = 31) -> PracticeShop:
    """The practice shop of that seed, made and fitted once: six colours, white, black and clear.

    >>> practice_shop().bench.names[3:6]
    ('Lemon', 'Scarlet', 'Sky blue')
    """
    bench = make_bench(seed, n_colours=N_COLOURS)
    rng = np.random.default_rng([seed, 1])
    inks, drawn = drawdowns_of(bench, rng, DRAWDOWNS)
    found = fit(
        drawn,
        _weighty(inks, rng),
        geometry=bench.geometry,
        observer=OBSERVER,
        structures=STRUCTURES[-1:],
    )
    usual = spread_of(found.palette, found.error, RESOLUTION_G)
    return PracticeShop(
        seed=seed,
        bench=bench,
        palette=found.palette,
        spread=replace(usual, log_strength=np.full(len(bench.inks), LOTS)),
    )


def _weighty(inks: list[Ink], rng: np.random.Generator) -> list[Ink]:
    """The inks with invented densities, and with how far their lots lie apart."""
    heavy = {"white": 1.45, "black": 1.15, "clear": 1.05, "colour": 1.15}
    return [
        replace(
            ink,
            density_g_per_ml=round(heavy[ink.role] + rng.uniform(-0.05, 0.05), 2),
            lot_spread_percent=100 * LOTS,
        )
        for ink in inks
    ]


def mixture(shop: PracticeShop, rng: np.random.Generator, colours: int = 2) -> Array:
    """A light or middling colour (n_ink,) to practise on: so many inks in white.

    None of them is a trace, and every screen can show it.

    >>> c = mixture(practice_shop(), np.random.default_rng(1))
    >>> int((c > 0).sum()), round(float(c.sum()), 6)
    (3, 1.0)
    """
    while True:
        c = _in_white(shop.bench, rng, 8, colours)
        good = (np.where(c > 0, c, 1).min(axis=1) >= LEAST_SHARE) & on_screen(
            drawdown_R(shop.bench, c)
        )
        if good.any():
            return np.asarray(c[int(good.argmax())])


def _in_white(bench: Bench, rng: np.random.Generator, n: int, colours: int) -> Array:
    """Mixtures (n, n_ink) of white and so many colours, or black, each."""
    others = np.array(bench.where("colour") + bench.where("black"))
    picked = others[np.argsort(rng.random((n, len(others))), axis=1)[:, :colours]]
    c = np.zeros((n, len(bench.inks)))
    np.put_along_axis(c, picked, rng.exponential(1.0, (n, colours)), axis=1)
    c *= (rng.uniform(*COLOURED, n) / c.sum(axis=1))[:, None]
    c[:, bench.where("white")[0]] = 1 - c.sum(axis=1)
    return c


def on_screen(R: Array, light: str = "D65") -> Mask:
    """Whether (...) a screen can show reflectances (..., n_wl) as seen under a light."""
    return in_srgb(XYZ(R, light, OBSERVER), white(light, OBSERVER))


def swatch(name: str, R: Array, light: str = "D65", observer: int = OBSERVER) -> Swatch:
    """A reflectance (n_wl,) as something to look at."""
    return Swatch(
        name=name,
        R=R,
        light=light,
        lab=Lab(R, light, observer),
        hex=hex_colour(R, light, observer),
    )


def hex_Lab(hex_colour: str) -> Array:
    """Lab (3,) of what a screen makes of a web colour: steps of 8 bits and all.

    >>> hex_Lab("#ffffff").round(2).tolist()
    [100.0, 0.0, 0.0]
    """
    v = np.array([int(hex_colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    return XYZ_to_Lab(linear @ XYZ_OF_SRGB.T, XYZ_OF_SRGB.sum(axis=1))


def main_word(target: Array, sample: Array) -> str:
    """The largest part of a difference in one word, or "" where none is visible.

    >>> main_word(np.array([50.0, 30.0, 20.0]), np.array([51.0, 30.0, 20.0]))
    'lighter'
    """
    word = direction(target, sample).split(", ")[0].split()[-1]
    return word if word in OPPOSITE else ""


def stepped(lab: Array, word: str, away_de00: float) -> Array:
    """The colour (3,) that is so many dE00 from `lab`, in the direction of a word.

    >>> stepped(np.array([50.0, 0.0, 0.0]), "lighter", 2.0).round(1).tolist()
    [52.0, 0.0, 0.0]
    """
    a, b = lab[1:]
    C = max(float(np.hypot(a, b)), 1e-9)
    ways = {
        "lighter": (1.0, 0.0, 0.0),
        "cleaner": (0.0, a / C, b / C),
        "redder": (0.0, 1.0, 0.0),
        "yellower": (0.0, 0.0, 1.0),
    }
    way = np.array(ways[word] if word in ways else ways[OPPOSITE[word]]) * (
        1 if word in ways else -1
    )
    steps = np.linspace(0, 4 * away_de00, 200)[:, None] * way
    nearest = int(np.argmin(np.abs(de00(lab, lab + steps) - away_de00)))
    end: Array = lab + steps[nearest]
    return end


def target_of(R: Array) -> Target:
    """A colour to hit, measured."""
    return Target.from_spectrum(R, LIGHTS, OBSERVER)


@cache
def formula_for(shop: PracticeShop, c: tuple[float, ...]) -> Array:
    """Fractions (n_ink,) that a match puts first for the colour of a mixture `c` (n_ink)."""
    target = target_of(drawdown_R(shop.bench, np.array(c)))
    best: Array = solve(shop.palette, target, max_inks=int(np.count_nonzero(c))).fractions[0]
    return best


@cache
def pairs_alike(shop: PracticeShop) -> tuple[Array, Array]:
    """Pairs of mixtures (n, 2, n_ink) of one colour under the first light.

    The second answer, (n, n_light), is how far they are apart under each of the lights, dE00.
    """
    c = _in_white(shop.bench, np.random.default_rng([shop.seed, 2]), POOL, N_INKS)
    R = drawdown_R(shop.bench, c)
    R, c = R[on_screen(R)], c[on_screen(R)]
    cell = np.floor(Lab(R, LIGHTS[0], OBSERVER) / FAR_UNDER).astype(int)
    order = np.lexsort(cell.T)
    same = np.all(cell[order][1:] == cell[order][:-1], axis=1)
    pairs = np.stack([order[1:][same], order[:-1][same]], axis=1)
    away = np.stack([de00(*np.moveaxis(Lab(R[pairs], x, OBSERVER), 1, 0)) for x in LIGHTS], axis=1)
    near = away[:, 0] <= FAR_UNDER
    return c[pairs[near]], away[near]
