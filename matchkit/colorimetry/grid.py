"""The one wavelength grid of every spectrum, and how a spectrum is brought onto it.

Reflectance factors are 0-1, wavelength is the last axis: ``(..., n_wl)``.
Spectra are brought to `GRID_NM` once, where they are read.

The only interpolation is Sprague's [CIE167].  It passes through the values it is
given, so data at 1, 2, 5 or 10 nm need no arithmetic: the values at 400, 410, ...
700 nm are taken as they stand, which of 5 nm data is every second one.
They are not smoothed to a 10 nm bandwidth, for the weights in `illuminants` are for
spectra free of it; smoothing would move test colours by 0.06 dE00, 0.12 at most.
Only 20 nm data get values that were not measured, at the middles of their
intervals: within 0.13 dE00 of the 10 nm spectrum, straight lines 0.5 (see tests).

Sources:

    [CIE167]  CIE 167:2005, recommended practice for tabulating spectral data:
              Sprague's interpolation for evenly spaced data, and its values
              beyond the ends.  Not read by us: coefficients as colour-science
              carries them, and the tests compare with its interpolator.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchkit.arrays import Array, Mask
from matchkit.errors import InputError

GRID_NM: Array = np.arange(400.0, 701.0, 10.0)
N_WL = GRID_NM.size

TOLERANCE_NM = 0.02  # wavelengths are printed with two decimals at most (3.33 nm steps)

# Limits on a measured reflectance factor, 0-1.  Common practice, no source:
# a dark reading is uncertain by a few thousandths; a white tile's certificate and
# a 45/0 reading of a glossy white can pass 1 by a percent or two, not by five.
LOWEST = -0.005
HIGHEST = 1.05
PERCENT = 2.0  # above this it is no reflectance factor at all, fluorescent or not

# Two values beyond an end from the six nearest it, the farther first [CIE167].
_BEYOND = np.array([[884, -1960, 3033, -2648, 1080, -180], [508, -540, 488, -367, 144, -24]]) / 209

# Sprague's fifth-degree polynomial at the middle of an interval; there it equals
# the six-point Lagrange formula.
_MIDDLE = np.array([3, -25, 150, 150, -25, 3]) / 256


def to_grid(wavelengths_nm: ArrayLike, values: ArrayLike, where: str = "") -> Array:
    """Spectra on 400-700 nm by 10, from any even steps that lead there.

    Wider ranges are cropped.  20 nm steps are halved by Sprague's interpolation
    [CIE167]; beside a steep edge its polynomial can dip below zero, which no
    reflectance does, so a middle between values >= 0 is not let below 0.

    `wavelengths_nm` (n,) rise, evenly spaced, and cover 400-700 nm; `values` (..., n) are in
    any unit, and nothing but the wavelength changes.  `where` begins the message of a fault,
    such as ``"spectra.csv"``.  InputError if the wavelengths do not rise evenly, end too early,
    or miss the grid.

    >>> to_grid([380 + 5 * i for i in range(81)], [i / 100 for i in range(81)])[:3].tolist()
    [0.04, 0.06, 0.08]
    """
    nm, given = np.asarray(wavelengths_nm, dtype=float), np.asarray(values, dtype=float)
    fault = _wavelength_fault(nm, given)
    if fault:
        raise InputError(_at(where) + fault)
    if abs(_step_nm(nm) - 20) < TOLERANCE_NM:
        nm, given = np.linspace(nm[0], nm[-1], 2 * nm.size - 1), _halved(given)
    return given[..., _nearest(nm)]


def average(readings: ArrayLike) -> Array:
    """The mean of repeat readings, (n_readings, n_wl) to (n_wl,).

    >>> average([[0.25, 0.5], [0.75, 0.5]]).tolist()
    [0.5, 0.5]
    """
    each = np.asarray(readings, dtype=float)
    if each.ndim < 2 or each.shape[-2] == 0:
        raise InputError(f"readings must be (n_readings, n_wl), at least one; got {each.shape}")
    mean: Array = each.mean(axis=-2)
    return mean


def check_reflectance(R: ArrayLike, where: str = "") -> list[str]:
    """What makes one spectrum on the grid, (n_wl,), unusable: a line per fault.

    >>> check_reflectance([0.9] * 30 + [1.2], "white")[0][:45]
    'white: 1.2 at 700 nm is over 1.05: a fluoresc'
    """
    each = np.asarray(R, dtype=float)
    if not np.isfinite(each).all():
        first = int(np.argmin(np.isfinite(each)))
        return [f"{_at(where)}{_value(each, first)} is not a number; measure again"]
    low, high = int(each.argmin()), int(each.argmax())
    if each[high] > PERCENT:
        return [
            f"{_at(where)}{_value(each, high)} looks like percent;"
            " write reflectance factors, 0-1 (divide by 100)"
        ]
    faults = []
    if each[high] <= 0:
        faults.append(f"{_at(where)}no value is above 0: the reading failed; measure again")
    elif each[low] < LOWEST:
        faults.append(
            f"{_at(where)}{_value(each, low)} is negative;"
            " reflectance is 0-1, so calibrate the black and measure again"
        )
    if each[high] > HIGHEST:
        faults.append(
            f"{_at(where)}{_value(each, high)} is over {HIGHEST:g}: a fluorescent ink or a"
            " brightened ground, for which the model does not hold, or a wrong white"
            " calibration; leave it out or measure again"
        )
    return faults


def are_sound(R: Array) -> Mask:
    """Which of many spectra (n, n_wl) `check_reflectance` has nothing against, (n,).

    >>> are_sound(np.array([[0.0, 0.9], [0.2, 1.2]])).tolist()
    [True, False]
    """
    high = R.max(axis=1)
    sound: Mask = (high > 0) & (high <= HIGHEST) & (R.min(axis=1) >= LOWEST)
    return sound


def reflectance_doubts(R: ArrayLike, where: str = "") -> list[str]:
    """What is odd about one spectrum, (n_wl,), but could be true: a line each.

    >>> reflectance_doubts([0.5] * 31, "grey")
    ['grey: every value is 0.5; a placeholder? No instrument reads a flat line']
    """
    each = np.asarray(R, dtype=float)
    if (each == each[0]).all():
        return [
            f"{_at(where)}every value is {each[0]:.4g}; a placeholder?"
            " No instrument reads a flat line"
        ]
    return []


def _at(where: str) -> str:
    return f"{where}: " if where else ""


def _value(R: Array, index: int) -> str:
    return f"{R[index]:.4g} at {GRID_NM[index]:.0f} nm" if R.size == N_WL else f"{R[index]:.4g}"


def _step_nm(nm: Array) -> float:
    return float((nm[-1] - nm[0]) / (nm.size - 1))


def _nearest(nm: Array) -> NDArray[np.intp]:
    """Where each grid wavelength is, or would be, in evenly spaced `nm`."""
    index: NDArray[np.intp] = np.rint((GRID_NM - nm[0]) / _step_nm(nm)).astype(np.intp)
    return index


def _wavelength_fault(nm: Array, values: Array) -> str:
    """Why `values` at `nm` cannot be brought to the grid, or an empty string."""
    if nm.ndim != 1 or nm.size < 2 or not ((nm > 0) & (nm < 1e5)).all():
        return "wavelengths must be a row of two or more numbers in nm"
    if values.ndim == 0 or values.shape[-1] != nm.size:
        return f"{nm.size} wavelengths, but the values have shape {values.shape}"
    return _order_fault(nm) or _range_fault(nm) or _step_fault(nm)


def _order_fault(nm: Array) -> str:
    falls = np.flatnonzero(np.diff(nm) <= 0)
    if falls.size:
        before, after = nm[falls[0]], nm[falls[0] + 1]
        what = "twice" if before == after else f"after {before:g}"
        return f"wavelengths must rise: {after:g} nm comes {what}; sort them, each once"
    return ""


def _range_fault(nm: Array) -> str:
    need = "400-700 nm must be covered"
    if nm[0] > GRID_NM[0] + TOLERANCE_NM:
        return f"wavelengths begin at {nm[0]:g} nm; {need}, and nothing is made up beyond the data"
    if nm[-1] < GRID_NM[-1] - TOLERANCE_NM:
        return f"wavelengths end at {nm[-1]:g} nm; {need}, and nothing is made up beyond the data"
    return ""


def _step_fault(nm: Array) -> str:
    step, steps = _step_nm(nm), np.diff(nm)
    worst = int(np.abs(steps - np.median(steps)).argmax())
    if abs(steps[worst] - np.median(steps)) > TOLERANCE_NM:
        return (
            f"wavelengths are not evenly spaced: {nm[worst]:g} to {nm[worst + 1]:g} nm,"
            f" elsewhere {np.median(steps):g} nm; one is missing or misspelt"
        )
    if abs(step - 20) < TOLERANCE_NM:
        nm = np.linspace(nm[0], nm[-1], 2 * nm.size - 1)
    elif step > 10 + TOLERANCE_NM:
        return f"wavelength steps are {step:.4g} nm; export steps of 20 nm or of 10 nm or less"
    missed = np.abs(nm[_nearest(nm)] - GRID_NM) > TOLERANCE_NM
    if missed.any():
        return (
            f"wavelengths {nm[0]:g}, {nm[1]:g}, ... step over {GRID_NM[missed][0]:.0f} nm;"
            " export at 400, 410, ... 700 nm, values between them are not moved"
        )
    return ""


def _halved(values: Array) -> Array:
    """Evenly spaced values, (..., n), and their middles: (..., 2n - 1) [CIE167]."""
    with np.errstate(invalid="ignore", over="ignore"):
        before = values[..., :6] @ _BEYOND.T
        after = values[..., :-7:-1] @ _BEYOND.T
        padded = np.concatenate([before, values, after[..., ::-1]], axis=-1)
        n = values.shape[-1] - 1
        middle = sum(w * padded[..., k : k + n] for k, w in enumerate(_MIDDLE))
    floor = np.minimum(np.minimum(values[..., :-1], values[..., 1:]), 0)
    fine = np.empty((*values.shape[:-1], 2 * n + 1))
    fine[..., ::2], fine[..., 1::2] = values, np.maximum(middle, floor)
    return fine
