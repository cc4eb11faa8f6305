"""A shop to practise in: invented inks, their fit, and colours that a screen can show.

The inks are those of the simulator, so no answer is typed in: what a mixture looks
like comes from radiative transfer and the colorimetry.  The palette beside it is what a
shop would know of these inks after drawing them down.
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.illuminants import white
from matchkit.colorimetry.tristimulus import XYZ, Lab, XYZ_to_Lab, de00, hex_colour, in_srgb
from matchkit.colorimetry.words import direction
from matchkit.correcting.diagnose import model_error_f
from matchkit.fitting.fit import fit
from matchkit.fitting.held_out import STRUCTURES
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Ink
from matchkit.matching.probability import Spread, spread_of
from matchkit.matching.solve import solve
from matchkit.rehearsal.rehearse import drawdowns_of
from matchkit.simulator.pigments import Bench, make_bench
from matchkit.simulator.simulate import drawdown_R, random_mixtures

Array = NDArray[np.float64]

LIGHTS, OBSERVER = ("D65", "A", "FL11"), 10
RESOLUTION_G = 0.01
N_COLOURS, N_MIXTURES = 6, 16
DRAWDOWNS = 10  # of each ink
N_INKS, LEAST_SHARE = 3, 0.008  # of a colour to practise on
LOTS = 0.08  # standard deviation of log strength between lots: worse than a shop's, to practise
TRACE = 0.001  # a share below which a recipe is a copy of another with a speck added
MOST_CLEAR = 0.3  # in a recipe to compare: one that is mostly clear is another kind of ink
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
    " from memory, no source). So L*, a* and b* stand beside every swatch, and every"
    " exercise can be answered from them: L* up is lighter, a* up is redder, b* up is yellower."
    " What counts in the shop is the cured drawdown under the agreed light."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class PracticeShop:
    """A simulated shop for learners: `bench` is the truth, `palette` what a fit knows of it.

    `mixtures` (n, n_ink) are colours to practise on; `spread` is how far lots, pours and
    readings usually lie apart here, and `model_f` the fit's own error.
    """

    seed: int
    bench: Bench
    palette: Palette
    spread: Spread
    model_f: float
    mixtures: Array


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
    usual = spread_of(found.palette, found.error_Lab, RESOLUTION_G)
    return PracticeShop(
        seed=seed,
        bench=bench,
        palette=found.palette,
        spread=replace(usual, log_strength=np.full(len(bench.inks), LOTS)),
        model_f=model_error_f(found),
        mixtures=_mixtures(bench, rng),
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


def _mixtures(bench: Bench, rng: np.random.Generator) -> Array:
    """Light and middling colours of three inks that a screen can show."""
    both = [random_mixtures(bench, rng, kind, 16 * N_MIXTURES) for kind in ("pastel", "half")]
    few = [c[_fit_to_practise(bench, c)][: N_MIXTURES // 2] for c in both]
    chosen: Array = np.concatenate(few)
    return chosen


def _fit_to_practise(bench: Bench, c: Array) -> NDArray[np.bool_]:
    """Three inks, none of them a trace, and on every screen."""
    held = (c > 0).sum(axis=1) == N_INKS
    weighable = np.where(c > 0, c, 1).min(axis=1) >= LEAST_SHARE
    shown = on_screen(drawdown_R(bench, c))
    good: NDArray[np.bool_] = held & weighable & shown
    return good


def on_screen(R: Array, light: str = "D65") -> NDArray[np.bool_]:
    """Whether (...) a screen can show reflectances (..., n_wl) as seen under a light."""
    shown: NDArray[np.bool_] = in_srgb(XYZ(R, light, OBSERVER), white(light, OBSERVER))
    return shown


def swatch(name: str, R: Array, light: str = "D65") -> Swatch:
    """A reflectance (n_wl,) as something to look at."""
    return Swatch(
        name=name,
        R=R,
        light=light,
        lab=Lab(R, light, OBSERVER),
        hex=hex_colour(R, light, OBSERVER),
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


def target_of(R: Array) -> Target:
    """A colour to hit, measured."""
    return Target.from_spectrum(R, LIGHTS, OBSERVER)


@cache
def formula_for(shop: PracticeShop, k: int) -> Array:
    """Fractions (n_ink,) that a match puts first for mixture `k` of a practice shop."""
    target = target_of(drawdown_R(shop.bench, shop.mixtures[k]))
    best: Array = solve(shop.palette, target, max_inks=N_INKS).fractions[0]
    return best


@cache
def alike(shop: PracticeShop, k: int) -> Array:
    """Other mixtures (n, n_ink) with the colour of mixture `k` under the first light only."""
    R = drawdown_R(shop.bench, shop.mixtures[k])
    target = Target.from_spectrum(R, LIGHTS[:1], OBSERVER)
    upper = [MOST_CLEAR if ink.role == "clear" else 1.0 for ink in shop.palette.inks]
    found = solve(shop.palette, target, upper=np.array(upper)).fractions
    found = found[np.where(found > 0, found, 1).min(axis=1) >= TRACE]
    away = de00(target.lab[0], Lab(drawdown_R(shop.bench, found), LIGHTS[0], OBSERVER))
    matching: Array = found[away <= FAR_UNDER]
    return matching
