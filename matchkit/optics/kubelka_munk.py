"""Kubelka-Munk optics of an ink film: arrays in, arrays out.

No inks, no files, no colour spaces.  Symbols, used as argument names everywhere:

    R        reflectance just below the surface, 0-1 (what Kubelka-Munk speaks of)
    R_m      reflectance factor as an instrument reads it, 0-1
    R_g      reflectance of the ground below the film, in optical contact, 0-1
    R_inf    R of a film too thick to see through
    K, S     absorption and scattering, per unit of thickness
    X        thickness, in the same unit
    k1, k2   share of light reflected at the surface, from outside and from inside
    n        refractive index of the film

Wavelength is the last axis, ``(..., n_wl)``; everything broadcasts.

Sources:

    [KM31]  Kubelka & Munk (1931), Z. tech. Phys. 12, 593-601.
    [K48]   Kubelka (1948), J. Opt. Soc. Am. 38, 448-457.
    [S42]   Saunderson (1942), J. Opt. Soc. Am. 32, 727-736 (form from memory,
            inverted numerically in the tests).
    [ISO]   ISO 18314-2:2023 covers the same formulas and geometries.
"""

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.errors import InputError

TINY = 1e-12


def k_over_s(R_inf: ArrayLike) -> Array:
    """K/S of a film too thick to see through, (1 - R)^2 / 2R [KM31].

    `R_inf` lies in (0, 1]; zero and below raise InputError, since no finite K/S gives them.

    >>> k_over_s([0.5, 0.2, 1.0]).round(6).tolist()
    [0.25, 1.6, 0.0]
    """
    R = np.asarray(R_inf, dtype=float)
    if (R <= 0).any() or (R > 1).any():
        raise InputError(
            f"R_inf must be above 0 and at most 1, got {R.min():.4g} to {R.max():.4g}; "
            "check the surface correction and the scale"
        )
    q: Array = (1 - R) ** 2 / (2 * R)
    return q


def R_inf(q: ArrayLike) -> Array:
    """Reflectance of a hiding film from q = K/S, the inverse of `k_over_s`.

    Written as 1 / (1 + q + sqrt(q^2 + 2q)): the textbook 1 + q - sqrt(q^2 + 2q)
    loses all digits for a very dark ink.

    >>> R_inf([0.25, 1.6, 1e8]).round(12).tolist()
    [0.5, 0.2, 5e-09]
    """
    q = np.asarray(q, dtype=float)
    R: Array = 1 / (1 + q + np.sqrt(q * (q + 2)))
    return R


def film_R0_T(K: ArrayLike, S: ArrayLike, X: ArrayLike) -> tuple[Array, Array]:
    """Reflectance over black and transmittance of a layer [K48].

    `K`, `S` >= 0 are (..., n_wl), `X` >= 0 broadcasts.  K = 0 and S = 0 are allowed.
    Returns ``(R0, T)``, each (..., n_wl).

    >>> R0, T = film_R0_T([0.25, 0.0, 1.0], [1.0, 1.0, 0.0], 1.0)
    >>> R0.round(6).tolist(), T.round(6).tolist()
    ([0.411383, 0.5, 0.0], [0.375205, 0.5, 0.367879])
    """
    K, S, X = (np.asarray(v, dtype=float) for v in (K, S, X))
    # b*S rather than b, so that S = 0 needs no division; tanh and exp never overflow.
    aS = K + S
    bS = np.sqrt(np.maximum(K * (K + 2 * S), TINY**2))
    # With y = bSX: coth y = (1 + e) / (1 - e) and sinh y = (1 - e) / (2 sqrt e), e = exp(-2y).
    e = np.exp(-2 * bS * X)
    slab = -np.expm1(-2 * bS * X)  # 1 - e, without loss for thin films
    ratio = np.where(bS * X > 1e-9, slab / np.where(bS > 0, bS, 1), 2 * X)  # (1 - e) / bS
    below = aS * ratio + 1 + e
    return S * ratio / below, 2 * np.sqrt(e) / below


def film_R(K: ArrayLike, S: ArrayLike, X: ArrayLike, R_g: ArrayLike) -> Array:
    """Reflectance of a layer over a ground `R_g`, R0 + T^2 R_g / (1 - R0 R_g) [K48].

    >>> film_R([0.25, 1.0], [1.0, 0.0], 1.0, 0.8).round(6).tolist()
    [0.579253, 0.108268]
    """
    R0, T = film_R0_T(K, S, X)
    R_g = np.asarray(R_g, dtype=float)
    R: Array = R0 + T**2 * R_g / (1 - R0 * R_g)
    return R


def layers_from_two_grounds(
    R_black: ArrayLike, R_white: ArrayLike, R_g_black: ArrayLike, R_g_white: ArrayLike
) -> tuple[Array, Array]:
    """R0 and T of a layer from its reflectance over two known grounds.

    All are internal reflectances, (..., n_wl).  From R = R0 + T^2 g / (1 - R0 g) for
    both grounds; where the two readings agree the film hides, and T is 0.

    >>> over_black, over_white = film_R(0.25, 1.0, 1.0, [0.05, 0.8])
    >>> R0, T = layers_from_two_grounds(over_black, over_white, 0.05, 0.8)
    >>> round(float(R0), 6), round(float(T), 6)
    (0.411383, 0.375205)
    """
    Rb, Rw, gb, gw = (np.asarray(v, dtype=float) for v in (R_black, R_white, R_g_black, R_g_white))
    # T^2 = (R - R0)(1/g - R0) holds over both grounds: subtract, and R0 is linear.
    ib, iw = 1 / np.maximum(gb, TINY), 1 / np.maximum(gw, TINY)
    gap = (Rb + ib) - (Rw + iw)
    R0 = (Rb * ib - Rw * iw) / np.where(np.abs(gap) > TINY, gap, TINY)
    return R0, np.sqrt(np.maximum((Rw - R0) * (iw - R0), 0))


def surface_constants(n: float, geometry: str) -> tuple[float, float, float]:
    """Base, gain and k2 of the surface for refractive index `n` and a geometry.

    With them R_m = base + gain (1 - k2) R / (1 - k2 R), see `with_surface`:

        specular included   base k1, gain 1 - k1           [S42]
        specular excluded   base 0,  gain 1 - k1           [S42], the k1 term trapped
        45/0                base 0,  gain (1 - k45)(1 - k0) / (1 - r_e)

    k1 and k45 are Fresnel reflectances at 8 and 45 degrees, r_e that for diffuse light
    from outside, and k2 = 1 - (1 - r_e) / n^2.  The 45/0 form is derived here: the film
    is lit through one window and seen through another, and 1/n^2 = (1 - k2)/(1 - r_e).

    >>> [round(v, 4) for v in surface_constants(1.5, "d/8 specular included")]
    [0.04, 0.96, 0.5963]
    """
    r_e = _fresnel_diffuse(n)
    k2 = 1 - (1 - r_e) / n**2
    if geometry == "45/0":
        gain = (1 - fresnel(n, 45.0)) * (1 - fresnel(n, 0.0)) / (1 - r_e)
        return 0.0, gain, k2
    k1 = fresnel(n, 8.0)
    return (k1 if geometry.endswith("included") else 0.0), 1 - k1, k2


def fresnel(n: float, angle_deg: float) -> float:
    """Reflectance of unpolarised light that meets a smooth surface of index `n` from air.

    >>> round(fresnel(1.5, 0), 4), round(fresnel(1.5, 45), 5)
    (0.04, 0.05024)
    """
    cos_i = np.cos(np.radians(angle_deg))
    cos_t = np.sqrt(1 - (np.sin(np.radians(angle_deg)) / n) ** 2)
    r_s = (cos_i - n * cos_t) / (cos_i + n * cos_t)
    r_p = (n * cos_i - cos_t) / (n * cos_i + cos_t)
    return float((r_s**2 + r_p**2) / 2)


def _fresnel_diffuse(n: float) -> float:
    """Fresnel reflectance for diffuse light from outside: closed form of Walsh (1926).

    The form is quoted from memory; a test holds it to the numerical integral.
    """
    if n == 1:
        return 0.0
    n2, n4 = n**2, n**4
    return float(
        0.5
        + (n - 1) * (3 * n + 1) / (6 * (n + 1) ** 2)
        + n2 * (n2 - 1) ** 2 / (n2 + 1) ** 3 * np.log((n - 1) / (n + 1))
        - 2 * n**3 * (n2 + 2 * n - 1) / ((n2 + 1) * (n4 - 1))
        + 8 * n4 * (n4 + 1) / ((n2 + 1) * (n4 - 1) ** 2) * np.log(n)
    )


def with_surface(R: ArrayLike, *, base: float, gain: float, k2: float) -> Array:
    """What an instrument reads of a film whose internal reflectance is `R` [S42].

    `base`, `gain` and `k2` come from `surface_constants` or from a fit.

    >>> with_surface([0.4, 1.0], base=0.04, gain=0.96, k2=0.59635).round(5).tolist()
    [0.24356, 1.0]
    """
    R = np.asarray(R, dtype=float)
    return base + gain * (1 - k2) * R / (1 - k2 * R)


def without_surface(R_m: ArrayLike, *, base: float, gain: float, k2: float) -> Array:
    """Internal reflectance of a film that reads `R_m`, the inverse of `with_surface`.

    A reading at or below `base` cannot come from that surface; the result is then
    zero or negative.

    >>> without_surface([0.24356, 1.0], base=0.04, gain=0.96, k2=0.59635).round(4).tolist()
    [0.4, 1.0]
    """
    inner = (np.asarray(R_m, dtype=float) - base) / gain
    return inner / (1 - k2 + k2 * inner)


def contrast_ratio(Y_black: ArrayLike, Y_white: ArrayLike) -> Array:
    """Contrast ratio: Y measured over black, divided by Y measured over white.

    ISO 6504 and ASTM D2805 define it on instrument readings.  Apply `with_surface` to
    internal reflectances first: their ratio is another number.

    >>> round(float(contrast_ratio(68.6, 70.0)), 3)
    0.98
    """
    ratio: Array = np.asarray(Y_black, dtype=float) / np.asarray(Y_white, dtype=float)
    return ratio
