"""Lights and observers: the tables that turn a reflectance into XYZ.

A light and an observer become one table `W`, (31, 3), so that XYZ is ``R @ W``.
A dozen lights are stored beside the package; any other is made when asked for.

The recipe, the same for every light:

    1. CIE colour-matching functions at 1 nm, 360-780 nm.
    2. The light at 1 nm.  A is Planck's formula [CIE15]; D65 is its 5 nm table
       joined by straight lines; every other table goes through 4-point (cubic)
       Lagrange interpolation.  Zero outside the table.
    3. Lagrange weights of a 10 nm reflectance [E2022]; what belongs outside
       400-700 nm is folded into the two end wavelengths [E308].
    4. The white of a table is its column sums, and no other.

It gives the published whites of [E308] within 0.001; see the tests.  The weights
are for data that are corrected for bandpass.  Some weights are negative, and
rightly so.

Sources:

    [CIE15]  CIE 015:2018, Colorimetry (the tables are those of colour-science).
    [E308]   ASTM E308, computing the colors of objects by using the CIE system.
    [E2022]  ASTM E2022, calculation of weighting factors for tristimulus
             integration.
"""

import csv
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.colorimetry.grid import GRID_NM
from matchkit.errors import InputError, raise_any

OBSERVERS = (2, 10)  # degrees; CIE 1931 and CIE 1964
STORED = (
    *("A", "C", "D50", "D55", "D65", "D75"),
    *("FL2", "FL7", "FL11", "FL12", "LED-B3", "LED-B5"),
)
FINE_NM = np.arange(360.0, 781.0)
CMFS = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}


@dataclass(frozen=True, kw_only=True)
class MeasuredIlluminant:
    """A measured light, such as that of a booth or a shop floor; `lamp` makes one from arrays.

    It is accepted wherever the name of a light is.  It carries its own relative power, in
    tuples, so that `weights` can cache its table and one name can't mean two lights.

    Raises `InputError` if `weights_for` could not read it.
    """

    name: str
    wavelengths_nm: tuple[float, ...]
    power: tuple[float, ...]  # relative

    def __post_init__(self) -> None:
        if not self.name.strip() or self.name in STORED:
            raise InputError(f"lamp is called {self.name!r}; give it a name that no CIE light has")
        nm, power = (np.asarray(v, dtype=float) for v in (self.wavelengths_nm, self.power))
        _check_lamp(nm, power, f"lamp {self.name!r}")


Light = str | MeasuredIlluminant


def lamp(name: str, wavelengths_nm: ArrayLike, power: ArrayLike) -> MeasuredIlluminant:
    """A `MeasuredIlluminant` from relative `power` (n,) at `wavelengths_nm` (n,).

    >>> booth = lamp("north window", np.arange(380, 781, 5), np.linspace(1, 0.4, 81))
    >>> white(booth, 10).round(2).tolist()
    [97.3, 100.0, 121.17]
    """
    nm, values = (np.ravel(np.asarray(v, dtype=float)).tolist() for v in (wavelengths_nm, power))
    return MeasuredIlluminant(name=name, wavelengths_nm=tuple(nm), power=tuple(values))


def light_name(light: Light) -> str:
    """What a light is called.

    >>> light_name("LED-B3")
    'LED-B3'
    """
    return light.name if isinstance(light, MeasuredIlluminant) else light


@cache
def weights(light: Light, observer: int) -> Array:
    """Tristimulus weights (31, 3) of `light` for the 2 or 10 degree `observer`.

    Y of a perfect white is 100.  The array is shared and read-only.

    Raises `InputError` for an unknown light, with the names that come close.

    >>> weights("D65", 10).sum(axis=0).round(3).tolist()
    [94.811, 100.0, 107.305]
    """
    _check_observer(observer)
    if isinstance(light, MeasuredIlluminant):
        W = weights_for(light.wavelengths_nm, light.power, observer)
    else:
        W = _stored()[light, observer] if light in STORED else weights_of(light, observer)
    W.setflags(write=False)
    return W


@cache
def white(light: Light, observer: int) -> Array:
    """XYZ (3,) of a perfect white, 0-100: the column sums of the weights [E308].

    >>> white("FL11", 2).round(3).tolist()
    [100.962, 100.0, 64.35]
    """
    total: Array = weights(light, observer).sum(axis=0)
    total.setflags(write=False)
    return total


def weights_of(light: str, observer: int) -> Array:
    """The table (31, 3) of a named light, made afresh by the recipe.

    Names are those of colour-science: A to E, D50..., FL1 to FL12, FL3.1..., HP1...,
    LED-B1..., ID50, ID65.

    >>> weights_of("E", 2).sum(axis=0).round(2).tolist()
    [100.01, 100.0, 100.03]
    """
    return weights_for(*_spectral_power(light), observer)


def weights_for(wavelengths_nm: ArrayLike, values: ArrayLike, observer: int) -> Array:
    """The table (31, 3) of any light, such as a measured lamp, by the same recipe.

    `values` (n,) are its relative power at `wavelengths_nm` (n,), which ascend and
    cover 400-700 nm in steps of at most 10 nm; of finer data only whole nanometres are
    read, so average them first.  Their scale does not matter.

    Raises `InputError` if the light cannot be read that way.

    >>> lamp = weights_for([380, 390, *GRID_NM, 710, 720], [1.0] * 35, 2)
    >>> lamp.sum(axis=0).round(2).tolist()
    [99.98, 100.0, 100.0]
    """
    _check_observer(observer)
    nm, power = (np.asarray(v, dtype=float) for v in (wavelengths_nm, values))
    _check_lamp(nm, power)
    colour = _colour()
    routines, shape = colour.colorimetry, colour.SpectralShape
    fine, wide, grid = shape(360, 780, 1), shape(360, 780, 10), shape(400, 700, 10)
    cmfs = colour.MSDS_CMFS[CMFS[observer]].copy().trim(fine)
    light = colour.SpectralDistribution(_four_point(nm, power, FINE_NM), fine)
    W = routines.tristimulus_weighting_factors_ASTME2022(cmfs, light, wide)
    folded: Array = routines.adjust_tristimulus_weighting_factors_ASTME308(W, wide, grid)
    return folded


@cache
def _stored() -> dict[tuple[str, int], Array]:
    """Every table of weights.csv, by light and observer."""
    text = (
        resources.files("matchkit.colorimetry.tables")
        .joinpath("weights.csv")
        .read_text(encoding="utf-8")
    )
    rows = list(csv.reader(text.splitlines()))[1:]
    W = np.array([row[3:] for row in rows], dtype=float).reshape(-1, GRID_NM.size, 3)
    keys = [(row[0], int(row[1])) for row in rows[:: GRID_NM.size]]
    return dict(zip(keys, W, strict=True))


def _spectral_power(light: str) -> tuple[Array, Array]:
    """Wavelengths and relative power of a light that colour-science knows."""
    colour = _colour()
    if light == "A":
        shape = colour.SpectralShape(360, 780, 1)
        return FINE_NM, colour.sd_CIE_standard_illuminant_A(shape).values
    names = list(colour.SDS_ILLUMINANTS)  # the mapping itself would take "d65" as well
    if light not in names:
        raise InputError(_unknown(light, names))
    sd = colour.SDS_ILLUMINANTS[light]
    if light == "D65":
        return FINE_NM, np.interp(FINE_NM, sd.wavelengths, sd.values)
    return sd.wavelengths, sd.values


def _four_point(x: Array, y: Array, x_new: Array) -> Array:
    """Cubic Lagrange interpolation through the four nearest points, zero outside."""
    first = np.clip(np.searchsorted(x, x_new, side="right") - 2, 0, x.size - 4)
    near = first[:, None] + np.arange(4)
    total = np.zeros_like(x_new)
    for j in range(4):
        others = np.delete(near, j, axis=1)
        terms = (x_new[:, None] - x[others]) / (x[near[:, j]][:, None] - x[others])
        total += y[near[:, j]] * terms.prod(axis=1)
    inside = (x_new >= x[0]) & (x_new <= x[-1])
    return np.where(inside, total, 0.0)


def _unknown(light: str, names: list[str]) -> str:
    """The fault line for a light nobody knows."""
    by_capitals = {name.upper(): name for name in names}
    close = get_close_matches(str(light).upper(), by_capitals, n=4, cutoff=0.6)
    known = [by_capitals[name] for name in close] or STORED
    return f"light is {light!r}; write a name such as {', '.join(known)}"


def _check_observer(observer: int) -> None:
    if observer not in OBSERVERS:
        raise InputError(f"observer is {observer!r}; write 2 or 10 (degrees)")


def _check_lamp(nm: Array, power: Array, where: str = "light") -> None:
    """All that is wrong with a measured light, in one go."""
    if nm.ndim != 1 or nm.shape != power.shape or nm.size < 4:
        found = f"{nm.shape} wavelengths and {power.shape} values"
        raise InputError(f"{where}: found {found}; give two lists of one length, four or more")
    faults = []
    if not (np.isfinite(nm).all() and np.isfinite(power).all()):
        faults.append(f"{where}: a wavelength or value is missing; fill it or measure again")
    elif (np.diff(nm) <= 0).any() or np.diff(nm).max() > 10:
        faults.append(
            f"{where}: wavelengths must ascend in steps of at most 10 nm; sort or resample"
        )
    elif nm[0] > GRID_NM[0] or nm[-1] < GRID_NM[-1]:
        faults.append(f"{where}: found {nm[0]:g}-{nm[-1]:g} nm; it must cover 400-700 nm")
    if (power < 0).any() or not (power > 0).any():
        faults.append(
            f"{where}: power must not be negative, nor zero throughout; check the columns"
        )
    raise_any(faults)


def _colour() -> Any:
    """colour-science, imported when needed: it takes most of a second.

    It also sets numpy's printing to an old style for the whole process; put it back.
    """
    with np.printoptions():
        import colour
    return colour
