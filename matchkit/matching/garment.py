"""Does it cover?  A formula printed over each ground, in one stroke or two, with an underbase.

An opaque drawdown is not a print: a thin film lets the ground show.  For each ground the
ways to print are tried from the least work to the most, and the first one that comes
within tolerance is named.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.illuminants import Light
from matchkit.colorimetry.tristimulus import Lab, de00, hex_colour
from matchkit.errors import InputError
from matchkit.inks.opacity import covering_um, hiding_um, opacity, over
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.shop import Shop
from matchkit.matching.prints import bare_ground, garments, under_white

# Invented tees for a shop that has measured none: a level, and a step above an edge in nm
# (below it where the edge is negative).
INVENTED = (
    "grounds.csv names no garment, so invented tees stand in; measure your own, unprinted, and add"
    " them"
)
STAND_INS = {
    "white tee": (0.82, 0.0, 550),
    "grey tee": (0.30, 0.0, 550),
    "navy tee": (0.035, 0.03, -480),
    "black tee": (0.03, 0.0, 550),
    "red tee": (0.05, 0.45, 600),
}


@dataclass(frozen=True, kw_only=True)
class Print:
    """One way to print a formula over a ground, and how far it is from the target.

    `R` (n_wl,) is what an instrument would read; `lab` and `de00` are for the first light.
    """

    strokes: int
    underbase: bool
    R: Array
    lab: Array
    de00: float
    hex: str

    @property
    def name(self) -> str:
        """In words."""
        strokes = {1: "one stroke", 2: "two strokes"}.get(self.strokes, f"{self.strokes} strokes")
        return f"{strokes} on an underbase" if self.underbase else strokes


@dataclass(frozen=True, kw_only=True)
class GroundVerdict:
    """What a ground does to a formula: every way to print, and what is needed.

    `covers`: one of these ways comes within tolerance of the target.
    """

    ground: str
    ground_hex: str
    prints: tuple[Print, ...]
    covers: bool
    words: str


@dataclass(frozen=True, kw_only=True)
class Covering:
    """How much a formula hides: the contrast ratio of one stroke, and thicknesses in um.

    From `hiding_um` the contrast ratio is 0.98, from `covering_um` the print is within
    tolerance of its opaque colour over every ground; None: not defined, or nowhere.
    """

    contrast_ratio: float
    hiding_um: float | None
    covering_um: float | None


@dataclass(frozen=True, kw_only=True)
class Strokes:
    """How a print is laid down: um of one stroke, and of the white below it.

    `underbase_um` None: no underbase is considered.  `tried` are the numbers of strokes.
    """

    stroke_um: float
    underbase_um: float | None = None
    tried: tuple[int, ...] = (1, 2)

    def __post_init__(self) -> None:
        if not self.stroke_um > 0 or (self.underbase_um is not None and not self.underbase_um > 0):
            raise InputError("cover: a stroke and an underbase must be thicker than 0 um")


@dataclass(frozen=True, kw_only=True)
class Viewing:
    """Under what a print is judged, and how near it must come."""

    light: Light
    observer: int
    tolerance_de00: float


def grounds_for(shop: Shop, names: Sequence[str] = ()) -> tuple[dict[str, Array], bool]:
    """The named grounds, else the shop's garments, else invented tees, and whether these.

    Each (n_wl,), as met from inside the film.  InputError for a name that is not there.
    """
    chosen = list(names) or [each.name for each in garments(shop)]
    if chosen:
        return {name: bare_ground(shop, name) for name in chosen}, False
    return stand_in_grounds(GRID_NM), True


def covering(
    palette: Palette, c: Array, grounds: Mapping[str, Array], stroke_um: float, viewing: Viewing
) -> Covering:
    """How much formula `c` (n_ink,) of a palette of films hides."""
    light, observer = viewing.light, viewing.observer
    every = np.array(list(grounds.values()))
    limit = viewing.tolerance_de00
    return Covering(
        contrast_ratio=float(opacity(palette, c, stroke_um, light, observer)[0]),
        hiding_um=hiding_um(palette, c, light, observer),
        covering_um=covering_um(palette, c, every, light, observer, de00_limit=limit),
    )


def shows_through(palette: Palette, c: Array, light: Light, observer: int) -> float:
    """How far prints of formula `c` (n_ink,) are from its colour when it hides, dE00.

    `palette` comes from `opacity.over`; of several grounds the one that shows most.
    """
    prints = Lab(reflectance(palette, c), light, observer)
    return float(np.max(de00(Lab(hiding_R(palette, c), light, observer), prints)))


def hiding_R(palette: Palette, c: Array) -> Array:
    """Reflectance (n_wl,) of formula `c` (n_ink,) of a palette of films, where it hides."""
    return reflectance(over(palette, np.zeros(len(GRID_NM)), np.inf), c)


def cover(
    palette: Palette,
    c: Array,
    target_lab: Array,
    grounds: Mapping[str, Array],
    strokes: Strokes,
    viewing: Viewing,
) -> tuple[GroundVerdict, ...]:
    """A verdict for each ground.

    `palette` is one of films, `c` (n_ink,) the formula, `target_lab` (3,) what it should
    look like.  `grounds` are met from inside the film, each (n_wl,).
    """
    verdicts = []
    for name, R_g in grounds.items():
        below: list[tuple[bool, tuple[Array, Array | None]]] = [(False, (R_g, None))]
        if strokes.underbase_um is not None:
            below.append((True, under_white(palette, R_g, strokes.underbase_um)))
        prints = []
        for based, (R, R_beam) in below:
            for n in strokes.tried:
                film = over(palette, R, n * strokes.stroke_um, R_g_beam=R_beam)
                prints.append(_print(reflectance(film, c), n, based, target_lab, viewing))
        ground_hex = hex_colour(R_g, viewing.light, viewing.observer)
        verdicts.append(_verdict(name, ground_hex, tuple(prints), viewing.tolerance_de00))
    return tuple(verdicts)


def stand_in_grounds(wavelengths_nm: Array) -> dict[str, Array]:
    """Five invented tees, for a shop whose grounds.csv names no garment."""
    made = {}
    for name, (level, step, edge) in STAND_INS.items():
        up = 1 / (1 + np.exp(-np.sign(edge) * (wavelengths_nm - abs(edge)) / 12))
        made[name] = level + step * up
    return made


def _print(R: Array, strokes: int, underbase: bool, target_lab: Array, viewing: Viewing) -> Print:
    lab = Lab(R, viewing.light, viewing.observer)
    return Print(
        strokes=strokes,
        underbase=underbase,
        R=R,
        lab=lab,
        de00=float(de00(target_lab, lab)),
        hex=hex_colour(R, viewing.light, viewing.observer),
    )


def _verdict(
    name: str, ground_hex: str, prints: tuple[Print, ...], tolerance: float
) -> GroundVerdict:
    """The least work that comes within tolerance; an underbase is more work than a stroke."""
    good = [each for each in prints if each.de00 <= tolerance]
    best = min(prints, key=lambda each: each.de00)
    if not good:
        words = f"does not cover; the nearest is {best.name}, {best.de00:.2f} dE00 off"
    elif good[0] is prints[0]:
        words = f"covers in {prints[0].name}"
    elif good[0].underbase:
        words = f"needs an underbase ({good[0].name})"
    else:
        words = f"needs {good[0].name}"
    return GroundVerdict(
        ground=name, ground_hex=ground_hex, prints=prints, covers=bool(good), words=words
    )
