"""From a reflectance to what is seen: XYZ, Lab, colour difference, a swatch.

Arithmetic on arrays.  Shapes broadcast, and the last axis is wavelength (31) for
reflectance `R`, 0-1, or the three coordinates (3) for everything else.

    XYZ     tristimulus values; Y of a perfect white is 100
    Lab     CIELAB of the light and observer the XYZ were made for
    white   XYZ of the perfect white of that light and observer (`illuminants.white`)
    de00    CIEDE2000 with kL = kC = kH = 1

Target first, sample second: differences are sample minus target.

Sources:

    [CIE15]  CIE 015:2018, Colorimetry: CIELAB and its differences.
    [S05]    Sharma, Wu & Dalal (2005), Color Res. Appl. 30, 21-30: CIEDE2000.
    [CMC84]  Clarke, McDonald & Rigg (1984), J. Soc. Dyers Colour. 100, 128-132;
             the formula of ISO 105-J03.
    [SRGB]   IEC 61966-2-1:1999, sRGB.
    [L85]    Lam (1985), thesis, University of Bradford: the Bradford transform, as the
             ICC profile format uses it.

The papers and standards were not at hand; the tests hold every formula to published
examples or to colour-science.
"""

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array, Mask
from matchkit.colorimetry.grid import N_WL
from matchkit.colorimetry.illuminants import Light, weights, white
from matchkit.errors import InputError

# CIELAB: the cube root above EPSILON, a straight line below [CIE15].
EPSILON = 216 / 24389
KAPPA = 24389 / 27

# d Lab / d (f(X), f(Y), f(Z))
LAB_OF_F = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])

# Where chroma begins to saturate [S05].
POW25_7 = 25.0**7

# Two hues this close to half a turn apart count as just that.  The rounding of a
# computer must not decide which way round their mean lies (pairs 10 and 14 of [S05]).
HALF_TURN = np.pi * (1 + 1e-12)

# [L85]
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
# x, y of red, green, blue and white [SRGB]
SRGB_XY = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06], [0.3127, 0.3290]])


def XYZ(R: ArrayLike, light: Light, observer: int) -> Array:
    """Tristimulus values (..., 3), 0-100, of reflectances (..., 31), 0-1.

    Raises `InputError` for an unknown light, or spectra that are not on the grid.

    >>> XYZ([0.5] * 31, "D50", 2).round(2).tolist()
    [48.21, 50.0, 41.26]
    """
    R = np.asarray(R, dtype=float)
    if R.shape[-1:] != (N_WL,):
        found = R.shape[-1] if R.ndim else "one number"
        raise InputError(f"spectrum: found {found}, need {N_WL} values, 400-700 nm by 10; resample")
    return R @ weights(light, observer)


def Lab(R: ArrayLike, light: Light, observer: int) -> Array:
    """CIELAB (..., 3) of reflectances (..., 31), 0-1, against that light's own white.

    >>> Lab(np.linspace(0.1, 0.7, 31), "A", 10).round(2).tolist()
    [72.16, 12.77, 31.96]
    """
    return XYZ_to_Lab(XYZ(R, light, observer), white(light, observer))


def XYZ_to_Lab(XYZ: ArrayLike, white: ArrayLike) -> Array:
    """CIELAB (..., 3) of XYZ (..., 3); both on the scale of `white` [CIE15].

    Zero and below stay on the straight branch, so a noisy black does no harm.

    >>> XYZ_to_Lab([19.01, 20, 21.78], [95.047, 100, 108.883]).round(4).tolist()
    [51.8372, 0.0031, -0.0061]
    """
    t = np.asarray(XYZ, dtype=float) / np.asarray(white, dtype=float)
    f = np.where(t > EPSILON, np.cbrt(t), (KAPPA * t + 16) / 116)
    lab: Array = np.empty_like(f)
    lab[..., 0] = 116 * f[..., 1] - 16
    lab[..., 1] = 500 * (f[..., 0] - f[..., 1])
    lab[..., 2] = 200 * (f[..., 1] - f[..., 2])
    return lab


def Lab_to_XYZ(Lab: ArrayLike, white: ArrayLike) -> Array:
    """XYZ (..., 3) of CIELAB (..., 3), on the scale of `white` [CIE15].

    >>> Lab_to_XYZ([50, 0, 0], [95.047, 100, 108.883]).round(3).tolist()
    [17.506, 18.419, 20.055]
    """
    L, a, b = np.moveaxis(np.asarray(Lab, dtype=float), -1, 0)
    f_y = (L + 16) / 116
    f = np.stack([f_y + a / 500, f_y, f_y - b / 200], axis=-1)
    t = np.where(f > np.cbrt(EPSILON), f**3, (116 * f - 16) / KAPPA)
    scaled: Array = t * np.asarray(white, dtype=float)
    return scaled


def Lab_jacobian(XYZ: ArrayLike, white: ArrayLike) -> Array:
    """How Lab moves with XYZ: d Lab / d XYZ (..., 3, 3), rows L, a, b.

    >>> Lab_jacobian([95.047, 100, 108.883], [95.047, 100, 108.883])[0].round(4).tolist()
    [0.0, 0.3867, 0.0]
    """
    white = np.asarray(white, dtype=float)
    t = np.asarray(XYZ, dtype=float) / white
    slope = np.where(t > EPSILON, np.cbrt(np.maximum(t, EPSILON)) ** -2 / 3, KAPPA / 116)
    jacobian: Array = LAB_OF_F * (slope / white)[..., None, :]
    return jacobian


def de00(lab_1: ArrayLike, lab_2: ArrayLike) -> Array:
    """CIEDE2000 colour difference (...) of Lab (..., 3); symmetric [S05].

    >>> de00([50, 2.6772, -79.7751], [50, 0, -82.7485]).round(4).tolist()
    2.0425
    """
    lightness, chroma, hue = _de00_parts(lab_1, lab_2)
    return np.sqrt(lightness**2 + chroma**2 + hue**2)


def de00_vector(lab_1: ArrayLike, lab_2: ArrayLike) -> Array:
    """The difference (..., 3) whose length is exactly `de00`: lightness, chroma, hue.

    (dL'/SL, dC'/SC + RT/2 dH'/SH, sqrt(1 - RT^2/4) dH'/SH): the rotation term of
    [S05] completed to a sum of squares, for solvers that want residuals.

    >>> de00_vector([50, 2.49, -0.001], [51, 2.49, -0.001]).round(4).tolist()
    [0.9992, 0.0, 0.0]
    """
    return np.stack(np.broadcast_arrays(*_de00_parts(lab_1, lab_2)), axis=-1)


def de00_contour(
    lab: ArrayLike,
    radius: float = 1.0,
    plane: str = "ab",
    n: int = 180,
    through: ArrayLike | None = None,
) -> Array:
    """The colours (n, 3) whose `de00` from one colour `lab` (3,) is `radius`: a tolerance.

    `plane` "ab" holds L* still; "LC" holds the hue, and where it crosses the neutral axis
    the points beyond have the opposite hue.  The points go once round.  With another colour
    `through` (3,) its L* or its hue is held, not that of `lab`; there are no points (0, 3)
    where that plane lies beyond the tolerance.

    >>> outline = de00_contour([50, 60, 30], 1.0)
    >>> de00([50, 60, 30], outline[::60]).round(9).tolist()
    [1.0, 1.0, 1.0]
    """
    if plane not in ("ab", "LC"):
        raise InputError(f"plane is {plane!r}; write ab or LC")
    lab = np.asarray(lab, dtype=float)
    centre = lab if through is None else into_plane(lab, through, plane)
    _, C, h = _LCh(centre)
    if de00(lab, centre) >= radius:
        return np.empty((0, 3))
    chroma, hue = np.array([[0, np.cos(h), np.sin(h)], [0, -np.sin(h), np.cos(h)]])
    up = np.array([1.0, 0.0, 0.0]) if plane == "LC" else hue
    turn = np.linspace(0, 2 * np.pi, n, endpoint=False)[:, None]
    # Chroma is stretched as de00 does it, so that the points lie evenly.
    ray = np.cos(turn) * chroma * (1 + 0.045 * C) + np.sin(turn) * up
    return _at_distance(lab, centre, ray, radius)


def into_plane(lab: ArrayLike, other: ArrayLike, plane: str) -> Array:
    """Colours (..., 3) with the L* (plane "ab") or the hue ("LC") of others (..., 3).

    >>> into_plane([50, 3, 4], [60, 0, 1], "LC").round(9).tolist()
    [50.0, 0.0, 5.0]
    """
    (L, C, h), (L_other, _, h_other) = _LCh(lab), _LCh(other)
    L, h = (L_other, h) if plane == "ab" else (L, h_other)
    return np.stack(np.broadcast_arrays(L, C * np.cos(h), C * np.sin(h)), axis=-1)


def delta_LCH(lab_std: ArrayLike, lab_trial: ArrayLike) -> Array:
    """dL*, dC*, dH* (..., 3), sample minus target; dH* has the sign of the hue step.

    dH* is positive counter-clockwise: red to yellow to green to blue [CIE15].

    >>> delta_LCH([50, 30, 0], [52, 0, 40]).round(3).tolist()
    [2.0, 10.0, 48.99]
    """
    (L_1, C_1, h_1), (L_2, C_2, h_2) = (_LCh(lab) for lab in (lab_std, lab_trial))
    dH = 2 * np.sqrt(C_1 * C_2) * np.sin(_hue_step(h_1, h_2) / 2)
    return np.stack(np.broadcast_arrays(L_2 - L_1, C_2 - C_1, dH), axis=-1)


def cmc(lab_std: ArrayLike, lab_trial: ArrayLike, l: float = 2.0, c: float = 1.0) -> Array:  # noqa: E741
    """CMC(l:c) colour difference (...); not symmetric, the target comes first [CMC84].

    >>> cmc([0.9, 16.3, -2.22], [0.7, 14.2, -1.80]).round(3).tolist()
    1.443
    """
    L, C, h = _LCh(lab_std)
    dL, dC, dH = np.moveaxis(delta_LCH(lab_std, lab_trial), -1, 0)
    S_L = np.where(L < 16, 0.511, 0.040975 * L / (1 + 0.01765 * np.maximum(L, 16)))
    S_C = 0.0638 * C / (1 + 0.0131 * C) + 0.638
    purple_to_green = (h < np.radians(164)) | (h > np.radians(345))
    T = np.where(
        purple_to_green,
        0.36 + 0.4 * np.abs(np.cos(h + np.radians(35))),
        0.56 + 0.2 * np.abs(np.cos(h + np.radians(168))),
    )
    F = C**2 / np.sqrt(C**4 + 1900)
    S_H = S_C * (F * T + 1 - F)
    difference: Array = np.sqrt((dL / (l * S_L)) ** 2 + (dC / (c * S_C)) ** 2 + (dH / S_H) ** 2)
    return difference


def srgb(XYZ: ArrayLike, white: ArrayLike) -> Array:
    """sRGB (..., 3), 0-1, to show a colour: `white` is shown as the screen's white.

    Full adaptation from `white` (3,) to D65 by the Bradford transform [L85], the curve of
    [SRGB], then clipped; ask `in_srgb` whether the screen can show it.

    >>> srgb([96.422, 100, 82.521], [96.422, 100, 82.521]).round(4).tolist()
    [1.0, 1.0, 1.0]
    """
    return np.clip(_encoded(XYZ, white), 0, 1)


def in_srgb(XYZ: ArrayLike, white: ArrayLike) -> Mask:
    """Whether (...) a screen can show it: clipping would not change an 8-bit value.

    >>> in_srgb([[40, 40, 30], [10, 40, 5]], [96.422, 100, 82.521]).tolist()
    [True, False]
    """
    level = 255 * _encoded(XYZ, white)
    shown: Mask = np.all((level >= -0.5) & (level <= 255.5), axis=-1)
    return shown


class WebColour(str):
    """A web colour; `on_screen` is False where it is only the nearest that a screen can show."""

    on_screen: bool = True


def hex_colour(R: ArrayLike, light: Light, observer: int) -> WebColour:
    """One reflectance (31,) as a web colour, as near as a screen comes.

    >>> hex_colour([1.0] * 31, "A", 10)
    '#ffffff'
    """
    return hex_colours(np.reshape(R, (1, -1)), light, observer)[0]


def hex_colours(R: ArrayLike, light: Light, observer: int) -> list[WebColour]:
    """Reflectances (n, 31) as web colours.

    >>> hex_colours([[0.0] * 31, [0.5] * 31], "D50", 2)
    ['#000000', '#bcbcbc']
    """
    return _web_colours(XYZ(R, light, observer), white(light, observer))


def hex_of_Lab(lab: ArrayLike, light: Light, observer: int) -> WebColour:
    """One Lab (3,) under a light as a web colour.

    >>> hex_of_Lab([100.0, 0.0, 0.0], "D65", 10)
    '#ffffff'
    """
    reference = white(light, observer)
    return _web_colours(np.reshape(Lab_to_XYZ(lab, reference), (1, 3)), reference)[0]


def _web_colours(XYZ: Array, white: Array) -> list[WebColour]:
    levels = np.rint(255 * srgb(XYZ, white)).astype(int).tolist()
    colours = [WebColour("#{:02x}{:02x}{:02x}".format(*row)) for row in levels]
    for colour, shown in zip(colours, in_srgb(XYZ, white).tolist(), strict=True):
        colour.on_screen = shown
    return colours


def _LCh(lab: ArrayLike) -> tuple[Array, Array, Array]:
    """Lightness, chroma, and hue in radians, 0 to a whole turn."""
    L, a, b = np.moveaxis(np.asarray(lab, dtype=float), -1, 0)
    return L, np.hypot(a, b), _hue(a, b)


def _hue(a: Array, b: Array) -> Array:
    h = np.arctan2(b, a)
    return np.where(h < 0, h + 2 * np.pi, h)


def _hue_step(h_1: Array, h_2: Array) -> Array:
    """From hue 1 to hue 2 the short way round, radians."""
    step = h_2 - h_1
    turn = np.where(np.abs(step) > HALF_TURN, 2 * np.pi, 0.0)
    return step - np.copysign(turn, step)


def _at_distance(lab: Array, start: Array, ray: Array, radius: float) -> Array:
    """Where rays (n, 3) from `start` (3,) reach that `de00` from `lab` (3,), by halving."""
    near, far = np.zeros((len(ray), 1)), np.full((len(ray), 1), radius)
    while (short := de00(lab, start + far * ray)[:, None] < radius).any():
        near, far = np.where(short, far, near), np.where(short, 2 * far, far)
    for _ in range(50):
        middle = (near + far) / 2
        short = de00(lab, start + middle * ray)[:, None] < radius
        near, far = np.where(short, middle, near), np.where(short, far, middle)
    return start + far * ray


def _de00_parts(lab_1: ArrayLike, lab_2: ArrayLike) -> tuple[Array, Array, Array]:
    """The three parts of `de00_vector`; names and order of [S05].

    Its rule for the mean hue of a neutral sample is left out: dH' is 0 there, and the
    mean hue reaches the result only through dH'.
    """
    L_1, a_1, b_1 = np.moveaxis(np.asarray(lab_1, dtype=float), -1, 0)
    L_2, a_2, b_2 = np.moveaxis(np.asarray(lab_2, dtype=float), -1, 0)
    grow = 1.5 - 0.5 * _chroma_share((np.hypot(a_1, b_1) + np.hypot(a_2, b_2)) / 2)
    a_1, a_2 = a_1 * grow, a_2 * grow
    C_1, C_2, h_1, h_2 = np.hypot(a_1, b_1), np.hypot(a_2, b_2), _hue(a_1, b_1), _hue(a_2, b_2)

    C, h = (C_1 + C_2) / 2, _mean_hue(h_1, h_2)
    L_50 = ((L_1 + L_2) / 2 - 50) ** 2
    S_L = 1 + 0.015 * L_50 / np.sqrt(20 + L_50)
    S_C = 1 + 0.045 * C
    S_H = 1 + 0.015 * C * _hue_weight(h)
    half_R_T = -_chroma_share(C) * np.sin(2 * _blue_turn(h))
    hue = 2 * np.sqrt(C_1 * C_2) * np.sin(_hue_step(h_1, h_2) / 2) / S_H
    chroma = (C_2 - C_1) / S_C + half_R_T * hue
    return (L_2 - L_1) / S_L, chroma, hue * np.sqrt(1 - half_R_T**2)


def _chroma_share(C: Array) -> Array:
    """sqrt(C^7 / (C^7 + 25^7)), 0 to 1 [S05]."""
    C_2 = C * C
    C_7 = C_2 * C_2 * C_2 * C
    return np.sqrt(C_7 / (C_7 + POW25_7))


def _mean_hue(h_1: Array, h_2: Array) -> Array:
    """The hue midway, the short way round, 0 to a whole turn [S05]."""
    total = h_1 + h_2
    far = np.abs(h_2 - h_1) > HALF_TURN
    return total / 2 + np.where(far, np.where(total < 2 * np.pi, np.pi, -np.pi), 0.0)


def _hue_weight(h: Array) -> Array:
    """T of [S05]."""
    weight: Array = (
        1
        - 0.17 * np.cos(h - np.radians(30))
        + 0.24 * np.cos(2 * h)
        + 0.32 * np.cos(3 * h + np.radians(6))
        - 0.20 * np.cos(4 * h - np.radians(63))
    )
    return weight


def _blue_turn(h: Array) -> Array:
    """Delta theta of [S05], radians: the blue region's tilt."""
    off_blue = (h - np.radians(275)) / np.radians(25)
    turn: Array = np.radians(30) * np.exp(-off_blue * off_blue)
    return turn


def _srgb_of_XYZ() -> Array:
    """Linear sRGB of XYZ (Y 0-1), from the primaries, so that white is exactly 1, 1, 1."""
    XYZ_of_primary = np.column_stack([SRGB_XY, 1 - SRGB_XY.sum(axis=1)]) / SRGB_XY[:, 1:]
    red_green_blue, screen_white = XYZ_of_primary[:3].T, XYZ_of_primary[3]
    return np.linalg.inv(red_green_blue * np.linalg.solve(red_green_blue, screen_white))


def _encoded(XYZ: ArrayLike, white: ArrayLike) -> Array:
    """sRGB before clipping: below 0 or above 1 where a screen cannot follow."""
    screen_white = np.append(SRGB_XY[3], 1 - SRGB_XY[3].sum()) / SRGB_XY[3, 1]
    gain = (BRADFORD @ screen_white) / (BRADFORD @ np.asarray(white, dtype=float))
    adapt = np.linalg.solve(BRADFORD, gain[:, None] * BRADFORD)
    linear = np.asarray(XYZ, dtype=float) @ (_srgb_of_XYZ() @ adapt).T
    curve = 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(linear > 0.0031308, curve, 12.92 * linear)
