"""How much of a ground an ink hides, and what a stack of films looks like.

A palette fitted on films speaks of one film over one ground once `over` has
given it both.  Opacity is told of what an instrument reads, never of reflectance below
the surface: the two ratios differ, and only the first is the contrast ratio.

Sources: contrast ratio and hiding after the public abstracts of ISO 6504-1:2019 and ASTM D2805,
of which the second asks for Y over 15.  Its white of reflectance 0.80 is from memory.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array, Mask
from matchkit.colorimetry.illuminants import Light
from matchkit.colorimetry.tristimulus import XYZ, Lab, de00
from matchkit.errors import InputError
from matchkit.inks.palette import Palette, deepen, mixture_K_S, reflectance
from matchkit.optics.film import Film, film_inside
from matchkit.optics.kubelka_munk import contrast_ratio

BLACK_R, WHITE_R = 0.0, 0.80  # the grounds that contrast ratio is told over
LEAST_Y = 15.0  # luminance over white below which hiding is not defined
SCAN_UM = np.geomspace(0.5, 1000.0, 133)  # thinner is no film, thicker no print
FINER = 24  # halvings of a step of the scan

# One film of a stack: the palette it is of, its mass fractions (n_ink,), its thickness.
Layer = tuple[Palette, Array, float]


def over(
    palette: Palette,
    R_g: ArrayLike,
    thickness_um: float | Array,
    *,
    R_g_beam: ArrayLike | None = None,
    thickness_sd: float = 0.0,
    printed: bool = False,
) -> Palette:
    """The palette as films of a thickness over a ground look.

    `R_g` (..., n_wl) is met from inside the film: see `film.ground_inside` for cloth and
    card, `layer_ground` for another film.  With `printed` it is a garment, which may show.
    InputError if the inks were fitted on drawdowns that hide, for these say nothing about
    thickness.
    """
    film = _film_of(palette)
    R_g = np.broadcast_to(np.asarray(R_g, dtype=float), (*np.shape(R_g)[:-1], palette.K.shape[1]))
    beam = None if R_g_beam is None else np.asarray(R_g_beam, dtype=float)
    new = replace(
        film,
        R_g=R_g,
        R_g_beam=beam,
        thickness_um=thickness_um,
        thickness_sd=thickness_sd,
        printed=printed,
    )
    return replace(palette, film=new)


def drawn_as(palette: Palette, other: Palette) -> Palette:
    """The palette with its films as thick, and over the same ground, as those of `other`."""
    ours, film = palette.film, other.film
    if ours is None or film is None:
        return palette
    film = replace(film, spread=ours.spread, back=ours.back, dim=ours.dim)
    return replace(palette, film=film)


def layer_ground(palette: Palette, c: ArrayLike) -> tuple[Array, Array]:
    """What a printed film is as a ground: `R_g` and `R_g_beam` of the next film on it.

    `palette` comes from `over`, `c` (n_ink,) is the mixture that was printed.
    """
    K, S = mixture_K_S(palette, c)
    S = np.maximum(S, 1e-12)
    return film_inside(deepen(K / S, palette.deep)[0] * S, S, film=_film_of(palette))


def stacked_R(layers: Sequence[Layer], R_g: ArrayLike) -> Array:
    """What an instrument reads of films printed on each other, the lowest first, on a ground.

    Two layers of the same mixture read as one of both thicknesses.
    """
    ground, beam = np.asarray(R_g, dtype=float), None
    for palette, c, thickness_um in layers[:-1]:
        ground, beam = layer_ground(over(palette, ground, thickness_um, R_g_beam=beam), c)
    palette, c, thickness_um = layers[-1]
    return reflectance(over(palette, ground, thickness_um, R_g_beam=beam), c)


def opacity(
    palette: Palette, c: ArrayLike, thickness_um: float | Array, light: Light, observer: int
) -> tuple[Array, Array]:
    """Contrast ratio of films of mixture `c` (n_ink,), and their Y over white.

    Both (...), for `thickness_um` (...).
    """
    thick = np.asarray(thickness_um, dtype=float)[..., None]
    grounds = [np.full(palette.K.shape[1], R) for R in (BLACK_R, WHITE_R)]
    black, white = (
        XYZ(reflectance(over(palette, ground, thick), c), light, observer)[..., 1]
        for ground in grounds
    )
    return contrast_ratio(black, white), white


def hiding_um(
    palette: Palette, c: ArrayLike, light: Light, observer: int, *, ratio: float = 0.98
) -> float | None:
    """The thickness from which a mixture hides: its contrast ratio is `ratio` or more.

    None where that is not defined (Y over white below 15 there) or no print is so thick.
    """

    def hides(thickness_um: Array) -> Mask:
        return np.asarray(opacity(palette, c, thickness_um, light, observer)[0] >= ratio)

    found = _from_where(hides)
    if found is None or float(opacity(palette, c, found, light, observer)[1]) < LEAST_Y:
        return None
    return found


def covering_um(
    palette: Palette,
    c: ArrayLike,
    grounds: ArrayLike,
    light: Light,
    observer: int,
    *,
    de00_limit: float = 1.0,
) -> float | None:
    """The thickness from which a mixture is within `de00_limit` of its own opaque colour.

    `grounds` (n_ground, n_wl) or (n_wl,): over each of them.  None if no print is so thick.
    """
    bare = np.atleast_2d(np.asarray(grounds, dtype=float))[:, None, :]
    opaque = Lab(reflectance(over(palette, bare[0, 0], np.inf), c), light, observer)

    def covers(thickness_um: Array) -> Mask:
        films = over(palette, bare, np.atleast_1d(thickness_um)[:, None])
        away = de00(opaque, Lab(reflectance(films, c), light, observer))
        near: Mask = np.all(away <= de00_limit, axis=0)
        return near

    return _from_where(covers)


def _from_where(holds: Callable[[Array], Mask]) -> float | None:
    """The thickness from which something holds for good, or None if it does nowhere."""
    fails = np.flatnonzero(~holds(SCAN_UM))
    if not fails.size:
        return float(SCAN_UM[0])
    last = int(fails[-1])
    if last + 1 == len(SCAN_UM):
        return None
    low, high = SCAN_UM[last], SCAN_UM[last + 1]
    for _ in range(FINER):
        middle = np.sqrt(low * high)
        low, high = (low, middle) if bool(holds(np.array([middle]))[0]) else (middle, high)
    return float(high)


def _film_of(palette: Palette) -> Film:
    if palette.film is None:
        raise InputError(
            "these inks were fitted on drawdowns that hide, which say nothing about thickness; "
            "draw them over a black and white card at a known thickness"
        )
    return palette.film
