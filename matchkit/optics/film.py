"""One film of ink over a ground, as an instrument reads it: arrays in, arrays out.

Kubelka-Munk theory takes all light in the film as diffuse.  An instrument sends in a beam
(or, read backwards, looks along one), and what a thin film returns depends on how soon
that beam has become diffuse.  So the beam is kept as a third stream beside the two of
Kubelka and Munk.  It loses spread S per um to the diffuse streams, a share `back` of that
to the one going up, and dim K to absorption.  With R the reflectance for diffuse light and
R_b that for the beam, a thin layer on top of what is there changes them by

    dR/dX   = S - 2 (K + S) R + S R^2                                           [KM31]
    dR_b/dX = spread S (back + (1 - back) R - R_b) - dim K R_b - (K + S - S R) R_b
    R_m     = base + gain (1 - k2) R_b / (1 - k2 R)

from R = R_g and R_b = R_g_beam at X = 0; the code has the closed forms.  An infinite `spread`
stands for plain Kubelka-Munk theory with Saunderson's surface: R_b = R, and `back` and
`dim` are not used.

Symbols are those of `kubelka_munk`.  The ground is met from inside the film: cloth and other
rough grounds as they read, a smooth one without its own surface (`ground_inside`).

Sources: [KM31], [K48] and [S42] as in `kubelka_munk`.  A beam beside two diffuse streams is an
old idea (Duntley 1942, J. Opt. Soc. Am. 32, 61, from memory); this three-number form is ours.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.errors import InputError
from matchkit.optics import kubelka_munk

SURFACES = ("rough", "smooth")
N_FILM = 1.5  # refractive index of a smooth surface whose own is not known
HIDES = 40.0  # bSX beyond which exp(-bSX) is nothing: the film hides
CLOSE = 1e-5  # relative; nearer to its removable singularity the closed form loses digits


@dataclass(frozen=True, kw_only=True)
class Film:
    """How thick a film is, what it lies on, and how its light becomes diffuse.

    `R_g` and `R_g_beam` (n_wl,) are the ground's reflectance for diffuse light and for
    the beam, met from inside the film; None: the same.  `thickness_um` is a number, or
    (..., 1) for many films at once; infinite: it hides.  `thickness_sd` is how far it
    strays, as a share of it (standard deviation).  `printed`: the ground is what the film is
    made for, so that it may show; over a card it may not.
    """

    R_g: Array
    thickness_um: float | Array = np.inf
    R_g_beam: Array | None = None
    spread: float = np.inf
    back: float = 0.0
    dim: float = 0.0
    thickness_sd: float = 0.0
    printed: bool = False

    def __post_init__(self) -> None:
        least = float(np.min(self.thickness_um))
        if not least > 0:
            raise InputError(f"film: thickness is {least:g} um; need more than 0")


def film_reading(
    K: ArrayLike, S: ArrayLike, *, film: Film, base: float, gain: float, k2: float
) -> Array:
    """What an instrument reads, (..., n_wl), of a film with `K`, `S` (..., n_wl) per um.

    >>> over = Film(R_g=np.array([0.8, 0.0]), thickness_um=1.0)
    >>> film_reading(0.25, 1.0, film=over, base=0.0, gain=1.0, k2=0.0).round(6).tolist()
    [0.579253, 0.411383]
    """
    return film_slopes(K, S, film=film, base=base, gain=gain, k2=k2)[0]


def film_slopes(
    K: ArrayLike, S: ArrayLike, *, film: Film, base: float, gain: float, k2: float
) -> tuple[Array, Array, Array]:
    """`film_reading`, and its slopes by K and by S, each (..., n_wl)."""
    R_b, R, dR_b, dR = _inside(K, S, film)
    below = 1 - k2 * R
    level = gain * (1 - k2) / below
    by_K, by_S = level * (dR_b + (k2 * R_b / below) * dR)
    return base + level * R_b, by_K, by_S


def film_inside(K: ArrayLike, S: ArrayLike, *, film: Film) -> tuple[Array, Array]:
    """Reflectance below the surface for diffuse light and for the beam: R, R_b.

    They are what the next film printed on this one has for a ground: `R_g`, `R_g_beam`.
    """
    R_b, R, _, _ = _inside(K, S, film)
    return R, R_b


def film_K_S(
    R_black: ArrayLike, R_white: ArrayLike, R_g_black: ArrayLike, R_g_white: ArrayLike, X: ArrayLike
) -> tuple[Array, Array]:
    """K and S per unit of thickness of one film over two grounds, plain theory, exactly.

    All reflectances are internal, (..., n_wl).  Where both readings agree the film hides
    and only K/S is known: the S returned is then the least that hides.

    >>> K, S = film_K_S(0.4113832, 0.5792527, 0.0, 0.8, 1.0)
    >>> round(float(K), 4), round(float(S), 4)
    (0.25, 1.0)
    """
    R0, T = kubelka_munk.layers_from_two_grounds(R_black, R_white, R_g_black, R_g_white)
    R0, T = np.clip(R0, 1e-6, 1 - 1e-6), np.clip(T, np.exp(-HIDES / 4), 1.0)
    a = np.maximum((1 + R0**2 - T**2) / (2 * R0), 1 + kubelka_munk.TINY)
    b = np.sqrt(a**2 - 1)
    # asinh from T and R0 together: R0 / T = sinh(bSX) / b, which holds for b = 0 too.
    S = np.arcsinh(b * R0 / T) / (b * np.asarray(X, dtype=float))
    return S * (a - 1), S


def ground_inside(R: ArrayLike, surface: str, geometry: str) -> Array:
    """A ground's reflectance (..., n_wl) as a film on it meets it, from what it reads bare.

    `surface` is "rough" (cloth, uncoated board: as it reads) or "smooth" (coated card,
    cured ink: its own surface, of index 1.5, is taken off).

    >>> ground_inside([0.592833], "smooth", "d/8 specular excluded").round(3).tolist()
    [0.8]
    """
    if surface not in SURFACES:
        raise InputError(f"ground: surface is {surface!r}; write {' or '.join(SURFACES)}")
    R = np.asarray(R, dtype=float)
    if surface == "smooth":
        base, gain, k2 = kubelka_munk.surface_constants(N_FILM, geometry)
        R = kubelka_munk.without_surface(R, base=base, gain=gain, k2=k2)
    return np.clip(R, 0.0, 0.999)


def _inside(K: ArrayLike, S: ArrayLike, film: Film) -> tuple[Array, Array, Array, Array]:
    """R_b, R, and their slopes by K and S stacked: (2, ..., n_wl)."""
    whole = [np.asarray(v, dtype=float) for v in (K, S, film.thickness_um, film.R_g)]
    K_all, S_all, X_all, R_g = np.broadcast_arrays(*whole)
    return _streams(
        np.maximum(K_all, kubelka_munk.TINY), np.maximum(S_all, kubelka_munk.TINY), X_all, R_g, film
    )


def _streams(
    K: Array, S: Array, X: Array, R_g: Array, film: Film
) -> tuple[Array, Array, Array, Array]:
    """`_inside` for arrays of one shape."""
    g = K * (K + 2 * S)
    X = np.minimum(X, HIDES / np.sqrt(g))
    R0, T, dR0, dT = _layer(K, S, X, g)
    open_ = 1 - R_g * R0
    R, dR = R0 + T * T * R_g / open_, dR0 * (1 + (T * R_g / open_) ** 2) + 2 * T * R_g / open_ * dT
    if np.isinf(film.spread):
        return R, R, dR, dR
    e, P, Q, de, dP, dQ = _source(K, S, X, g, film)
    beam_g = R_g if film.R_g_beam is None else film.R_g_beam
    up = (R_g * P * (e - T) + (beam_g - Q) * e) / open_
    d_up = (
        R_g * (dP * (e - T) + P * (de - dT)) + (beam_g - Q) * de - dQ * e + up * R_g * dR0
    ) / open_
    R_b = Q - R0 * P + T * up
    return R_b, R, dQ - dR0 * P - R0 * dP + dT * up + T * d_up, dR


def _layer(K: Array, S: Array, X: Array, g: Array) -> tuple[Array, Array, Array, Array]:
    """R0 and T of the layer and their slopes [K48]; g = K (K + 2 S) = (bS)^2.

    R0 = S s / (a s + c) and T = 1 / (a s + c), with a = K + S, s = sinh(X sqrt g) / sqrt g
    and c = cosh(X sqrt g); both are even in sqrt g, so g is the variable.  s and c are
    kept times exp(-X sqrt g), which cancels.
    """
    root = np.sqrt(g)
    y = root * X
    fade = np.exp(-y)
    s, c = -np.expm1(-2 * y) / (2 * root), (1 + fade * fade) / 2
    s_g = np.where(y > 1e-3, (X * c - s) / (2 * g), X**3 / 6 * fade)
    a, c_g, dg, dS = K + S, X * s / 2, 2 * np.stack([K + S, K]), _by_S(S)
    M = a * s + c
    dM = s + (a * s_g + c_g) * dg
    R0, T = S * s / M, fade / M
    return R0, T, (dS * s + S * s_g * dg - R0 * dM) / M, -T / M * dM


def _source(
    K: Array, S: Array, X: Array, g: Array, film: Film
) -> tuple[Array, Array, Array, Array, Array, Array]:
    """What is left of the beam at the ground, and the diffuse light P (down), Q (up) it feeds.

    With eps = spread S + dim K the streams that follow the beam are P e^(-eps x) and
    Q e^(-eps x): the particular solution of the two-stream equations.
    """
    back, fed = film.back, film.spread * S
    eps = fed + film.dim * K
    near = np.abs(eps * eps - g) < 2 * CLOSE * g
    eps = np.where(near, np.sqrt(g) * (1 + CLOSE), eps)
    a, dS, dg = K + S, _by_S(S), 2 * np.stack([K + S, K])
    d_fed = film.spread * dS
    d_eps = d_fed + film.dim * (1 - dS)
    D, dD = eps * eps - g, 2 * eps * d_eps - dg
    down, up = (a + eps) * (1 - back) + S * back, (a - eps) * back + S * (1 - back)
    P, Q = -fed * down / D, -fed * up / D
    d_down, d_up = (1 + d_eps) * (1 - back) + dS * back, (1 - d_eps) * back + dS * (1 - back)
    dP = -(d_fed * down + fed * d_down + P * dD) / D
    dQ = -(d_fed * up + fed * d_up + Q * dD) / D
    e = np.exp(-eps * X)
    return e, P, Q, -X * d_eps * e, dP, dQ


def _by_S(S: Array) -> Array:
    """dS/dK and dS/dS, shaped to multiply (2, ..., n_wl)."""
    return np.array([0.0, 1.0]).reshape(2, *(1,) * np.ndim(S))
