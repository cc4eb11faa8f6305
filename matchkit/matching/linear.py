"""Amounts by linear theory: where K and S add up, a spectrum is matched by linear least squares.

A mixture with fractions c has K/S = q where sum c (K - q S) = 0 at every wavelength.  With one S
for all inks (single-constant theory) this is Duncan's rule, K/S of a mixture = sum c K/S.  How
white crowds and how deep colours differ is left out, so `solve` takes these amounts as a start.

Sources: Duncan (1940), Proc. Phys. Soc. 52, 390; Lawson & Hanson (1974), non-negative least
squares, as `scipy.optimize.nnls`.
"""

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.errors import InputError
from matchkit.inks.palette import Palette

RIDGE = 1e-6  # of each ink's own square: it keeps inks apart that are alike
LEVEL = 0.05  # of K/S: below it errors count as they are, above it by their share


def linear_misses(palette: Palette, R: ArrayLike) -> Array:
    """What each ink alone adds to the misfit of K/S at a measured `R` (n_wl,): (n_ink, n_wl)."""
    inner = (np.clip(R, 0.003, 0.97) - palette.base) / palette.gain
    inner = np.clip(inner, 2e-3, 0.99)
    under = inner / (1 - palette.k2 + palette.k2 * inner)
    q = (1 - under) ** 2 / (2 * under)
    return (palette.K - q * palette.S) / (q + LEVEL)


def linear_fractions(palette: Palette, R: ArrayLike) -> Array:
    """Find the mass fractions (n_ink,) whose K/S comes nearest to that of a spectrum.

    `R` (n_wl,) is the measured reflectance, 0-1, on the package's grid.  The problem is solved
    by non-negative least squares; the misfit of K/S at each wavelength is divided by K/S + 0.05.
    Fractions are 0 or more and sum to 1.  With a palette that was fitted by single-constant
    theory, such as ``fit(shop, theory="single-constant")`` gives, only white's crowding and the
    depth of deep colours are left out.  Raises InputError where `R` and the palette differ in
    their number of wavelengths.

    >>> from matchkit.inks.palette import reflectance
    >>> from matchkit.inks.shop import Ink
    >>> inks = tuple(Ink(name=name, role="colour") for name in ("White", "Red", "Blue"))
    >>> K = np.linspace([0.01, 2.0, 0.1], [0.02, 0.3, 4.0], 31).T
    >>> palette = Palette(
    ...     inks=inks, K=K, S=np.ones((3, 31)), crowding=np.zeros(3), base=0.0, gain=1.0, k2=0.0
    ... )
    >>> linear_fractions(palette, reflectance(palette, [0.7, 0.3, 0.0])).round(4).tolist()
    [0.7, 0.3, 0.0]
    """
    from scipy.optimize import nnls

    n, n_wl = palette.K.shape
    if np.shape(R) != (n_wl,):
        raise InputError(f"R: found shape {np.shape(R)}; give {n_wl} values, one per wavelength")
    A = linear_misses(palette, R)
    ridge = np.diag(np.sqrt(RIDGE * (A**2).sum(axis=1)))
    # The last row asks for a sum of 1.  Its weight changes the sum found, never the proportions.
    rows = np.vstack([A.T, ridge, np.ones((1, n))])
    c, _ = nnls(rows, np.append(np.zeros(n_wl + n), 1.0))
    fractions: Array = c / c.sum()
    return fractions
