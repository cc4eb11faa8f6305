"""A target colour, and CIEDE2000 for solvers: a vector, and its slopes.

`tristimulus.de00` gives the size of a difference.  A solver also needs its direction, and
its slopes with the colour.  The slopes hold the weighting functions S_L, S_C, S_H, R_T and
the stretch of a* constant; they are exact where the two colours meet and approximate elsewhere.

Coordinates are the first axis, (3, ...), because these arrays are long.

Source: Sharma, Wu & Dalal (2005), Color Res. Appl. 30, 21-30, as in `tristimulus`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, pi, sin
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.grid import N_WL, check_reflectance, to_grid
from matchkit.colorimetry.illuminants import Light, light_name, weights, white
from matchkit.colorimetry.tristimulus import XYZ_to_Lab
from matchkit.errors import InputError

POW25_7 = 25.0**7
DEGREE = pi / 180


@dataclass(frozen=True, kw_only=True)
class Target:
    """A target colour: Lab (n_light, 3) under each light, and its reflectance `R` if known.

    `W` (n_wl, 3 n_light) holds the tristimulus weights of `lights` and `observer`, `whites`
    (n_light, 3) the XYZ of their whites.  Formulas are found by the smallest F, the sum of
    the dE00 under the lights, each multiplied by its `share` (n_light,).

    >>> Target.from_spectrum([0.2] * 31, ("D65", "A", "FL11")).share.tolist()
    [1.0, 0.1, 0.1]
    """

    lights: tuple[Light, ...]
    observer: int
    lab: Array
    W: Array
    whites: Array
    share: Array
    R: Array | None

    @property
    def light_names(self) -> tuple[str, ...]:
        """What the lights are called."""
        return tuple(light_name(light) for light in self.lights)

    @classmethod
    def from_spectrum(
        cls,
        spectrum: Any,
        lights: Sequence[Light] = ("D65",),
        observer: int = 10,
        *,
        other_weight: float = 0.2,
    ) -> "Target":
        """A target whose reflectance is known, so that it can be judged under every light.

        `spectrum` is reflectance 0-1: an array (n_wl,) on the package grid, 400-700 nm by 10;
        a pair of wavelengths and values, which are taken to that grid; or an object with
        `wavelengths` and `values`, such as a `colour.SpectralDistribution`.  The first of
        `lights` is the one that is matched; the mean dE00 of the others is multiplied by
        `other_weight` and added.  Raises InputError for wavelengths that
        don't cover the grid, and for what is no reflectance.

        >>> import numpy as np
        >>> Target.from_spectrum(np.full(31, 0.2)).lab.round(2).tolist()
        [[51.84, 0.0, 0.0]]
        """
        R = _on_grid(spectrum)
        W = np.hstack([weights(light, observer) for light in lights])
        whites = np.array([white(light, observer) for light in lights])
        return cls(
            lights=tuple(lights),
            observer=observer,
            lab=XYZ_to_Lab((R @ W).reshape(-1, 3), whites),
            W=W,
            whites=whites,
            share=_share(len(lights), other_weight),
            R=R,
        )

    @classmethod
    def from_lab(cls, lab: Sequence[float], light: Light = "D65", observer: int = 10) -> "Target":
        """A target known only as L*, a*, b* under one light; nothing is known of other lights.

        >>> Target.from_lab([50, 20, 10], "D50", 2).light_names
        ('D50',)
        """
        return cls(
            lights=(light,),
            observer=observer,
            lab=np.array([lab], dtype=float),
            W=weights(light, observer),
            whites=white(light, observer)[None],
            share=np.ones(1),
            R=None,
        )


def _on_grid(spectrum: Any) -> Array:
    """Reflectance (n_wl,) from any of the forms that `Target.from_spectrum` takes."""
    if hasattr(spectrum, "wavelengths") and hasattr(spectrum, "values"):
        R = to_grid(spectrum.wavelengths, spectrum.values)
    elif len(spectrum) == 2:
        R = to_grid(*spectrum)
    else:
        R = np.asarray(spectrum, dtype=float)
    if R.shape != (N_WL,):
        raise InputError(
            f"a spectrum on the grid has {N_WL} values, 400-700 nm by 10, found shape {R.shape};"
            " give (wavelengths, values) instead"
        )
    if faults := check_reflectance(R):
        raise InputError(faults)
    return R


def _share(n_light: int, other_weight: float) -> Array:
    others = max(n_light - 1, 1)
    return np.array([1.0] + [other_weight / others] * (n_light - 1))


def difference(target: Array, sample: Array) -> Array:
    """The vector (3, ...) from `target` to `sample`, (3, ...), whose length is dE00.

    >>> v = difference(np.array([50, 2.6772, -79.7751]), np.array([50, 0, -82.7485]))
    >>> round(float(np.sqrt((v**2).sum())), 4)
    2.0425
    """
    L_1, a_1, b_1, L_2, a_2, b_2, C_1, C_2 = _stretched(target, sample)
    S_L, S_C, S_H, half_R_T, _, _ = _weights(L_1, a_1, b_1, L_2, a_2, b_2, C_1, C_2)
    dH = _dH(a_1, b_1, a_2, b_2, C_1, C_2) / S_H
    dC = (C_2 - C_1) / S_C
    return np.stack(
        np.broadcast_arrays((L_2 - L_1) / S_L, dC + half_R_T * dH, dH * np.sqrt(1 - half_R_T**2))
    )


def difference_slope(target: Array, sample: Array) -> tuple[Array, Array]:
    """`difference` (3, ...) and its slope (3, 3, ...) with the sample's L*, a*, b*.

    Rows are lightness, chroma, hue; columns L*, a*, b*.
    """
    L_1, a_1, b_1, L_2, a_2, b_2, C_1, C_2 = _stretched(target, sample)
    S_L, S_C, S_H, half_R_T, cos_h, sin_h = _weights(L_1, a_1, b_1, L_2, a_2, b_2, C_1, C_2)
    dH = _dH(a_1, b_1, a_2, b_2, C_1, C_2) / S_H
    level = np.sqrt(1 - half_R_T**2)
    v = np.empty((3, *S_L.shape), dtype=S_L.dtype)
    v[0], v[1], v[2] = (L_2 - L_1) / S_L, (C_2 - C_1) / S_C + half_R_T * dH, dH * level
    grow = _grow(*target[1:], *sample[1:])
    slope = np.zeros((3, 3, *S_L.shape), dtype=S_L.dtype)
    slope[0, 0] = 1 / S_L
    along_a, along_b = cos_h / S_C, sin_h / S_C  # a step along the mean hue is chroma,
    across_a, across_b = -sin_h / S_H, cos_h / S_H  # across it is hue
    slope[1, 1] = grow * (along_a + half_R_T * across_a)
    slope[1, 2] = along_b + half_R_T * across_b
    slope[2, 1] = grow * level * across_a
    slope[2, 2] = level * across_b
    return v, slope


def _stretched(target: Array, sample: Array) -> tuple[Array, ...]:
    """L, a', b of both and their chromas C'."""
    L_1, a_1, b_1 = target
    L_2, a_2, b_2 = sample
    grow = _grow(a_1, b_1, a_2, b_2)
    a_1, a_2 = a_1 * grow, a_2 * grow
    return (
        L_1, a_1, b_1, L_2, a_2, b_2,
        np.sqrt(a_1 * a_1 + b_1 * b_1), np.sqrt(a_2 * a_2 + b_2 * b_2),
    )  # fmt: skip


def _grow(a_1: Array, b_1: Array, a_2: Array, b_2: Array) -> Array:
    """The stretch of a*, 1 + G."""
    C = (np.sqrt(a_1 * a_1 + b_1 * b_1) + np.sqrt(a_2 * a_2 + b_2 * b_2)) / 2
    return 1.5 - 0.5 * _chroma_share(C)


def _chroma_share(C: Array) -> Array:
    C_2 = C * C
    C_7 = C_2 * C_2 * C_2 * C
    return np.sqrt(C_7 / (C_7 + POW25_7))


def _weights(
    L_1: Array, a_1: Array, b_1: Array, L_2: Array, a_2: Array, b_2: Array, C_1: Array, C_2: Array
) -> tuple[Array, ...]:
    """S_L, S_C, S_H, R_T / 2, and the direction of the mean hue.

    The mean hue points along the sum of the two unit vectors, which is the short way
    round; T is then a polynomial in its cosine and sine.
    """
    one, two = np.maximum(C_1, 1e-12), np.maximum(C_2, 1e-12)
    x, y = a_1 / one + a_2 / two, b_1 / one + b_2 / two
    x, y = np.where(C_1 < 1e-9, a_2, x), np.where(C_1 < 1e-9, b_2, y)
    long = np.sqrt(x * x + y * y)
    opposite = long < 1e-9  # half a turn apart: either way round; take the sample's left
    cos_h = np.where(opposite, -b_2 / two, x / np.where(opposite, 1, long))
    cos_h = np.where(opposite & (C_2 < 1e-9), 1.0, cos_h)  # two greys: any direction will do
    sin_h = np.where(opposite, a_2 / two, y / np.where(opposite, 1, long))
    C = (C_1 + C_2) / 2
    L_50 = ((L_1 + L_2) / 2 - 50) ** 2
    S_L = 1 + 0.015 * L_50 / np.sqrt(20 + L_50)
    S_C = 1 + 0.045 * C
    cos_2, sin_2 = cos_h * cos_h - sin_h * sin_h, 2 * cos_h * sin_h
    cos_3, sin_3 = cos_2 * cos_h - sin_2 * sin_h, sin_2 * cos_h + cos_2 * sin_h
    cos_4, sin_4 = cos_2 * cos_2 - sin_2 * sin_2, 2 * cos_2 * sin_2
    T = (
        1
        - 0.17 * (cos_h * cos(30 * DEGREE) + sin_h * sin(30 * DEGREE))
        + 0.24 * cos_2
        + 0.32 * (cos_3 * cos(6 * DEGREE) - sin_3 * sin(6 * DEGREE))
        - 0.20 * (cos_4 * cos(63 * DEGREE) + sin_4 * sin(63 * DEGREE))
    )
    S_H = 1 + 0.015 * C * T
    hue = np.arctan2(sin_h, cos_h)
    off_blue = (np.where(hue < 0, hue + 2 * pi, hue) - 275 * DEGREE) / (25 * DEGREE)
    half_R_T = -_chroma_share(C) * np.sin(60 * DEGREE * np.exp(-off_blue * off_blue))
    return S_L, S_C, S_H, half_R_T, cos_h, sin_h


def _dH(a_1: Array, b_1: Array, a_2: Array, b_2: Array, C_1: Array, C_2: Array) -> Array:
    """dH' = 2 sqrt(C_1 C_2) sin(dh / 2), signed by the way round from 1 to 2."""
    cross = a_1 * b_2 - b_1 * a_2
    dot = a_1 * a_2 + b_1 * b_2
    both = C_1 * C_2
    # Near hues by their cross product: both - dot would lose half the digits there.
    near: Array = cross * np.sqrt(2 / np.maximum(both + dot, 1e-30))
    far = np.copysign(np.sqrt(np.maximum(2 * (both - dot), 0)), cross)
    return np.where(dot > 0, near, far)
