"""Light in a film of ink, by radiative transfer: the second opinion on Kubelka-Munk.

Adding-doubling: the film is cut into layers so thin that one scattering is nearly all
that happens, and two equal layers are joined again and again.  The radiance is kept at
a handful of angles; the angles are split at the critical angle, because the light that
is caught under the surface and the light that gets out behave differently.

Units: mu_a, mu_s per um, thickness in um.  Wavelength is an ordinary leading axis here:
every function takes ``(...)`` and works on the whole stack at once.

Sources:

    [vdH80]  van de Hulst, Multiple Light Scattering (1980): doubling, notation.
    [Pra95]  Prahl, The adding-doubling method, in Welch & van Gemert (eds.),
             Optical-Thermal Response of Laser-Irradiated Tissue (1995): quadrature
             split at the critical angle, the surface as a layer of its own.
    [Wis77]  Wiscombe, The delta-M method, J. Atmos. Sci. 34 (1977): forward peak.
             All three from memory; the numbers are checked against iadpython in
             tests/test_transfer.py.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import chebyshev, legendre
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.errors import InputError

GEOMETRIES = ("d/8 specular excluded", "d/8 specular included", "45/0")
N_ANGLES = 16
# Weight of the extra 45 degree node: it is looked at, but carries no light.
LOOK_ONLY = 1e-12
# Thickest starting layer, in units of the most glancing cosine.
THIN = 1 / 32
# A film this dark at its back is opaque: nothing below changes a reading by more than 1e-6.
OPAQUE_T = 1e-6
MAX_DOUBLINGS = 60
TABLE_DEGREE = 96
# The table starts here in s = sqrt(1 - albedo) and is carried on to s = 0 by its own
# series: nearer to 0 the doublings are so many that rounding reaches 1e-6.
TABLE_START = 1e-3


@dataclass(frozen=True, kw_only=True, eq=False)
class Angles:
    """The directions inside the film, and what the surface does to each.

    Matrices over these directions are flux-scaled, ``sqrt(F) R sqrt(F)``, so that
    joining layers is the plain matrix product and every layer is symmetric.
    The last direction is normal to the film; the one before it leaves at 45 degrees.
    """

    n: Array  # of one film, or (...) of many
    mu: Array  # cosine inside the film, (..., m)
    w: Array  # quadrature weight on 0-1, (..., m)
    inside_R: Array  # Fresnel reflectance from inside; 1 beyond the critical angle

    @property
    def root_F(self) -> Array:
        """Square root of the share of a diffuse flux in each direction, (..., m)."""
        return np.sqrt(2 * self.mu * self.w)

    @property
    def surface_T(self) -> Array:
        """What the surface lets through, (..., m)."""
        return 1 - self.inside_R


def fresnel_R(mu_air: ArrayLike, n: ArrayLike) -> Array:
    """Unpolarised Fresnel reflectance of a film of index n, cosine counted in air.

    >>> fresnel_R([1.0, np.sqrt(0.5)], 1.5).round(5).tolist()
    [0.04, 0.05024]
    """
    mu, n = np.asarray(mu_air, dtype=float), np.asarray(n, dtype=float)
    inside = np.sqrt(1 - (1 - mu**2) / n**2)
    # At grazing incidence with n = 1 both terms are 0/0; nothing is reflected there.
    parallel = (n * mu - inside) / np.maximum(n * mu + inside, 1e-300)
    across = (mu - n * inside) / np.maximum(mu + n * inside, 1e-300)
    result: Array = (parallel**2 + across**2) / 2
    return result


def _gauss(a: ArrayLike, b: ArrayLike, m: int) -> tuple[Array, Array]:
    a, b = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    x, w = legendre.leggauss(m)
    return (a + b + (b - a) * x) / 2, (b - a) * w / 2


def _radau(a: ArrayLike, b: ArrayLike, m: int) -> tuple[Array, Array]:
    """Gauss-Radau with a node at b, from the eigenvalues of its Jacobi matrix."""
    a, b = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    k = np.arange(1, m)
    off = k / np.sqrt(4.0 * k**2 - 1)
    jacobi = np.diag(off, 1) + np.diag(off, -1)
    jacobi[-1, -1] = m / (2 * m - 1)  # this entry is what puts a node on the end
    x, vectors = np.linalg.eigh(jacobi)
    w = 2 * vectors[0] ** 2
    return (a + b + (b - a) * x) / 2, (b - a) * w / 2


@lru_cache(maxsize=32)
def angles(n: float, n_angles: int = N_ANGLES) -> Angles:
    """Directions for a film of index n: Gauss below the critical angle, Radau above [Pra95].

    >>> film = angles(1.5)
    >>> film.mu.shape, round(float(np.sum(film.root_F**2)), 6)
    ((17,), 1.0)
    """
    return angles_of(n, n_angles)


def angles_of(n: ArrayLike, n_angles: int = N_ANGLES) -> Angles:
    """As `angles`, for films of many indices at once: n is (...).

    >>> angles_of([1.5, 1.6]).mu.shape
    (2, 17)
    """
    n = np.asarray(n, dtype=float)
    if not np.all(n >= 1) or n_angles < 4 or n_angles % 2:
        raise InputError(f"film: n is {n}, angles {n_angles}; need n >= 1 and 4 or more, even")
    critical = np.sqrt(1 - 1 / n**2)[..., None]
    half = n_angles // 2 if np.all(n > 1) else 0
    mu_in, w_in = _gauss(0.0, critical, half) if half else (critical[..., :0], critical[..., :0])
    mu_out, w_out = _radau(critical, 1.0, n_angles - half)
    mu_45, look_only = np.sqrt(1 - 0.5 / n**2)[..., None], np.full_like(critical, LOOK_ONLY)
    ends = np.ones_like(critical)
    mu = np.concatenate([mu_in, mu_out[..., :-1], mu_45, ends], axis=-1)
    w = np.concatenate([w_in, w_out[..., :-1], look_only, w_out[..., -1:]], axis=-1)
    mu_air = np.sqrt(np.clip(1 - n[..., None] ** 2 * (1 - mu**2), 0, None))
    inside_R = np.where(mu > critical, fresnel_R(mu_air, n[..., None]), 1.0)
    return Angles(n=n, mu=mu, w=w, inside_R=inside_R)


def _scatter(film: Angles, g: ArrayLike) -> tuple[Array, Array, Array]:
    """Scattering into the same and the opposite hemisphere, and the delta-M share g^M.

    Henyey-Greenstein averaged over azimuth; the moments beyond what the quadrature can
    hold are counted as light that was not scattered at all [Wis77].  g is (...).
    """
    order = film.mu.shape[-1] - 1
    k = np.arange(order)
    g = np.asarray(g, dtype=float)[..., None]
    peak = g**order
    moment = ((2 * k + 1) * (np.power(g, k) - peak) / (1 - peak))[..., None, :]
    P = legendre.legvander(film.mu, order - 1)
    scale = np.sqrt(film.w / film.mu)
    both = scale[..., :, None] * scale[..., None, :] / 2
    same = both * ((P * moment) @ P.swapaxes(-1, -2))
    opposite = both * ((P * moment * (-1.0) ** k) @ P.swapaxes(-1, -2))
    return same, opposite, peak[..., 0]


def _thin_layer(film: Angles, g: ArrayLike, a: Array, b: Array) -> tuple[Array, Array]:
    """R, T of layers of (delta-M scaled) albedo a and optical thickness b << mu.

    The midpoint rule ("diamond" start), exact to second order.  Lit alike from both
    sides a layer returns R + T, lit by opposite signs T - R; each is one solve.
    """
    same, opposite, _ = _scatter(film, g)
    one = np.eye(film.mu.shape[-1])
    extinct = one / film.mu[..., None]
    a, half_b = a[..., None, None], b[..., None, None] / 2
    plus = half_b * (extinct - a * (same + opposite))
    minus = half_b * (extinct - a * (same - opposite))
    R_plus_T = np.linalg.solve(one + plus, one - plus)
    T_minus_R = np.linalg.solve(one + minus, one - minus)
    return (R_plus_T - T_minus_R) / 2, (R_plus_T + T_minus_R) / 2


def _double(R: Array, T: Array) -> tuple[Array, Array]:
    """Two equal layers on top of each other [vdH80]."""
    between = np.linalg.solve(np.eye(R.shape[-1]) - R @ R, T)
    return R + T @ R @ between, T @ between


def _optics(mu_a: ArrayLike, mu_s: ArrayLike, film: Angles, g: ArrayLike) -> tuple[Array, Array]:
    """Albedo and extinction after delta-M scaling, broadcast together."""
    absorb, scatter = np.broadcast_arrays(
        np.asarray(mu_a, dtype=float), np.asarray(mu_s, dtype=float)
    )
    if not (np.all(absorb >= 0) and np.all(scatter >= 0)):
        raise InputError("film: mu_a and mu_s must be numbers of 0 or more")
    scatter = scatter * (1 - _scatter(film, g)[2])
    total = absorb + scatter
    return np.divide(scatter, total, out=np.zeros_like(total), where=total > 0), total


def layer(
    mu_a: ArrayLike, mu_s: ArrayLike, thickness_um: ArrayLike, *, film: Angles, g: ArrayLike
) -> tuple[Array, Array]:
    """R and T of a bare film, without surface or ground: flux-scaled (..., m, m).

    mu_a, mu_s (scattering, not reduced) and thickness_um broadcast to ``(...)``.

    >>> R, T = layer(0.0, 1.0, 2.0, film=angles(1.0), g=0.0)
    >>> root_F = angles(1.0).root_F
    >>> round(float(root_F @ (R + T) @ root_F), 6)  # nothing is lost without absorption
    1.0
    """
    a, total = _optics(mu_a, mu_s, film, g)
    thickness = np.asarray(thickness_um, dtype=float)
    if not np.all((thickness >= 0) & np.isfinite(thickness)):
        raise InputError("film: thickness must be finite and 0 or more; for opaque films use thick")
    a, b = np.broadcast_arrays(a, total * thickness)
    thinnest = film.mu.min() * THIN
    doublings = np.ceil(np.log2(np.maximum(b / thinnest, 1))).astype(int)
    R, T = _thin_layer(film, g, a, b / 2.0**doublings)
    for done in range(int(doublings.max(initial=0))):
        todo = doublings > done
        R[todo], T[todo] = _double(R[todo], T[todo])
    return R, T


def thick(mu_a: ArrayLike, mu_s: ArrayLike, *, film: Angles, g: ArrayLike) -> Array:
    """R of a bare film so thick that nothing comes through: flux-scaled (..., m, m).

    >>> film = angles(1.0)
    >>> R = thick(0.2, 0.8, film=film, g=0.0)
    >>> round(float(film.root_F @ R @ film.root_F), 4)  # albedo 0.8, diffuse light
    0.3419
    """
    a, _ = _optics(mu_a, mu_s, film, g)
    R, T = _thin_layer(film, g, a, np.full(a.shape, film.mu.min() * THIN))
    todo = np.ones(a.shape, dtype=bool)
    for _ in range(MAX_DOUBLINGS):
        R[todo], T[todo] = _double(R[todo], T[todo])
        todo = np.max(np.abs(T), axis=(-2, -1)) > OPAQUE_T
        if not todo.any():
            break
    return R


def over_matrix(R: Array, T: Array, ground: Array) -> Array:
    """R of a layer over a ground given as a flux-scaled matrix (m, m) or (..., m, m)."""
    below = np.linalg.solve(np.eye(R.shape[-1]) - ground @ R, ground @ T)
    return R + T @ below


def over_ground(R: Array, T: Array, ground_R: ArrayLike, *, film: Angles) -> Array:
    """R of a layer in optical contact with a matt (Lambertian) ground: (..., m, m)."""
    matt = film.root_F[..., :, None] * film.root_F[..., None, :]
    return over_matrix(R, T, np.asarray(ground_R, dtype=float)[..., None, None] * matt)


def _under_surface(R: Array, film: Angles) -> Array:
    """Light that went in and comes to the surface from below, all bounces: (..., m, m)."""
    between = np.eye(R.shape[-1]) - R * film.inside_R[..., None, :]
    return np.asarray(np.linalg.solve(between, R), dtype=np.float64)


def normal_R(R: Array, *, film: Angles) -> Array:
    """Share of a beam along the normal that comes back, surface reflection included.

    Read backwards (reciprocity) it is the d/8 reading, specular included.
    """
    down = film.surface_T[..., -1] / film.root_F[..., -1]
    up = _under_surface(R, film)[..., :, -1] * (film.root_F * film.surface_T)
    result: Array = film.inside_R[..., -1] + up.sum(axis=-1) * down
    return result


def diffuse_R(R: Array, *, film: Angles) -> Array:
    """Share of a diffuse flux in air that comes back, surface reflection included."""
    out = film.root_F * film.surface_T
    outside = (film.root_F**2 * film.inside_R * (film.inside_R < 1)).sum(axis=-1)
    through = (_under_surface(R, film) * out[..., None, :] * out[..., None]).sum(axis=(-2, -1))
    result: Array = film.n**2 * (outside + through)
    return result


def radiance_factor_45(R: Array, *, film: Angles) -> Array:
    """45/0 radiance factor against a perfect matt white, (...)."""
    pair = (film.surface_T[..., -2:] / film.root_F[..., -2:]).prod(axis=-1)
    result: Array = _under_surface(R, film)[..., -2, -1] * pair / film.n**2
    return result


def reading(R: Array, *, film: Angles, geometry: str) -> Array:
    """What an instrument of that geometry reads from a bare film matrix: (...)."""
    if geometry not in GEOMETRIES:
        raise InputError(f"geometry is {geometry!r}; write {', '.join(GEOMETRIES)}")
    if geometry == "45/0":
        return radiance_factor_45(R, film=film)
    surface = film.inside_R[..., -1] if geometry.endswith("excluded") else 0.0
    return normal_R(R, film=film) - surface


def layer_R(
    mu_a: ArrayLike,
    mu_s: ArrayLike,
    thickness_um: ArrayLike,
    ground_R: ArrayLike,
    *,
    n: float,
    g: float,
    geometry: str,
) -> Array:
    """Measured reflectance of a film over a matt ground; all arguments broadcast.

    >>> layer_R(0.1, 0.9, [0.0, 2.0, 50.0], 0.05, n=1.5, g=0.0,
    ...         geometry="d/8 specular included").round(3).tolist()
    [0.06, 0.225, 0.26]
    """
    film = angles(n)
    R, T = layer(mu_a, mu_s, thickness_um, film=film, g=g)
    return reading(over_ground(R, T, ground_R, film=film), film=film, geometry=geometry)


@lru_cache(maxsize=64)
def _thick_table(n: float, g: float, geometry: str) -> Array:
    """Chebyshev series of the opaque reading in s = sqrt(1 - albedo), 0-1.

    In s the reading is smooth right up to both ends: a white without absorption is
    s = 0, where it leaves 1 with a finite slope, and an ink without scattering s = 1.
    """
    film = angles(n)
    x = chebyshev.chebpts1(TABLE_DEGREE + 1)
    absorb = (TABLE_START + (1 - TABLE_START) * (1 + x) / 2) ** 2
    R = reading(thick(absorb, 1 - absorb, film=film, g=g), film=film, geometry=geometry)
    return np.asarray(chebyshev.chebfit(x, R, TABLE_DEGREE), dtype=np.float64)


def thick_R(mu_a: ArrayLike, mu_s: ArrayLike, *, n: float, g: float, geometry: str) -> Array:
    """Measured reflectance of an opaque film, from a table made once per film and geometry.

    Only mu_a / mu_s matters; both broadcast to ``(...)``.  Agrees with `thick` and
    `reading` to 1e-6.

    >>> thick_R([0.1, 0.02], [0.9, 0.98], n=1.5, g=0.0,
    ...         geometry="d/8 specular included").round(4).tolist()
    [0.2601, 0.5017]
    """
    absorb, scatter = np.broadcast_arrays(
        np.asarray(mu_a, dtype=float), np.asarray(mu_s, dtype=float)
    )
    total = absorb + scatter
    if not (np.all(absorb >= 0) and np.all(scatter >= 0) and np.all(total > 0)):
        raise InputError("film: mu_a and mu_s must be 0 or more, and not both 0")
    series = _thick_table(float(n), float(g), geometry)
    x = 2 * (np.sqrt(absorb / total) - TABLE_START) / (1 - TABLE_START) - 1
    result: Array = chebyshev.chebval(x, series)
    return result
