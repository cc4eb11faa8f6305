"""Is a reading to be trusted?  Repeats, odd shapes, drift of the instrument, opacity.

Nothing here repairs or drops a reading: it says what is odd, and a person decides.

Sources:

    [S42]  Saunderson (1942): the surface term, by way of `optics`.
    [6504] ISO 6504-1:2019, hiding power at a contrast ratio of 98 %, for films of
           luminous reflectance 70 and up.  Only its abstract was read.

Limits without a source are common practice, or were set on spectra that others
measured (see the tests): above what any of them shows.
"""

from dataclasses import dataclass
from math import comb

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array, Mask
from matchkit.colorimetry.grid import GRID_NM, average, to_grid
from matchkit.colorimetry.illuminants import Light
from matchkit.colorimetry.tristimulus import XYZ, Lab, de00
from matchkit.colorimetry.words import direction
from matchkit.errors import InputError
from matchkit.optics.kubelka_munk import (
    contrast_ratio,
    surface_constants,
    with_surface,
    without_surface,
)

# Repeats of one drawdown, lifted and put down again, lie within a few tenths.  Common
# practice, no source.
DISAGREE_DE00 = 0.5
OUTLIER_TIMES = 4.0  # as far off as this many times the spread of the others

# StandardDrift of a tile.  Common practice, no source: a good instrument repeats to 0.1.
WATCH_DE00 = 0.2
STOP_DE00 = 0.5

HIDING = 0.98  # [6504]
HIDING_VALID_Y = 70.0  # [6504]
SEEN_DE00 = 0.5  # common practice, no source

# Set on the 144 spectra of colour-cxf's sample, CIE 13.3's and a chart's: the noisiest has
# 0.0031, the steepest single leap is 2.7 times its neighbours, and none comes nearer to
# the pattern of a spike than a misfit of 0.8.
NOISY = 0.004
JUMP_LEAST, JUMP_TIMES = 0.025, 4.0
SPIKE_LEAST, SPIKE_MISFIT = 0.015, 0.5

# Padding repeats a value.  So does a black that is printed with three decimals.
FLAT_RUN = 10
FLAT_LEAST = 0.1

_DIFFERENCES = 5  # of this order leave noise and take smooth shapes out
_NOISE_GAIN = comb(2 * _DIFFERENCES, _DIFFERENCES) ** 0.5  # sum of squared binomials
_MEDIAN = 0.6745  # median of |x| for a standard normal x
_SPIKE = np.array([1, -4, 6, -4, 1]) / 6  # what one wrong value does to `_unlike`


@dataclass(frozen=True, kw_only=True)
class Repeats:
    """Repeat readings of one sample: their mean and how far each lies from it."""

    mean: Array  # (n_wl,)
    each_de00: Array  # (n_readings,), from the mean
    spread_de00: float  # the mean of these: mean colour difference from the mean
    outliers: tuple[int, ...]  # readings that the others contradict; still in the mean


@dataclass(frozen=True, kw_only=True)
class StandardDrift:
    """A standard read again: how far it has moved, in which direction, and what that means."""

    de00: float
    words: str
    state: str  # "well", "watch" or "stop"


@dataclass(frozen=True, kw_only=True)
class Opacity:
    """One film read over black and over white."""

    contrast_ratio: float
    de00: float
    opaque: bool  # enough to count as a drawdown that hides its ground
    words: str


def repeats(readings: ArrayLike, light: Light = "D65", observer: int = 10) -> Repeats:
    """Average (n_readings, 31) and say how well the readings agree.

    A reading is an outlier if, of three or more, it lies more than 0.5 dE00 and four
    times the others' own spread from their mean.  It is named, not left out.

    >>> steps = np.linspace(0.2, 0.6, 31) + np.array([[0.0], [0.0004], [-0.0004], [0.02]])
    >>> found = repeats(steps)
    >>> round(found.spread_de00, 2), found.outliers
    (0.43, (3,))
    """
    R = np.asarray(readings, dtype=float)
    mean = average(R)
    labs = Lab(R, light, observer)
    each = de00(Lab(mean, light, observer), labs)
    outliers = [
        i for i in range(len(R)) if len(R) > 2 and _contradicted(R, labs, i, light, observer)
    ]
    return Repeats(
        mean=mean, each_de00=each, spread_de00=float(each.mean()), outliers=tuple(outliers)
    )


def _contradicted(R: Array, labs: Array, i: int, light: Light, observer: int) -> bool:
    middle = Lab(np.delete(R, i, axis=0).mean(axis=0), light, observer)
    spread = float(de00(middle, np.delete(labs, i, axis=0)).mean())
    return float(de00(middle, labs[i])) > max(DISAGREE_DE00, OUTLIER_TIMES * spread)


def disagreement(found: Repeats) -> str:
    """What to say of repeats that do not agree, or an empty text.

    >>> disagreement(repeats(np.linspace(0.2, 0.6, 31) + np.array([[0.0], [0.03]])))
    '2 readings lie up to 0.9 dE00 from their mean; measure a third to see which is wrong'
    """
    most, n = float(found.each_de00.max()), len(found.each_de00)
    if found.outliers:
        named = " and ".join(str(i + 1) for i in found.outliers)
        far = max(float(found.each_de00[i]) for i in found.outliers)
        return (
            f"reading {named} of {n} lies {far:.1f} dE00 from the mean and the others agree;"
            " it is still in the mean: take it out, or measure again"
        )
    if most <= DISAGREE_DE00:
        return ""
    way = "measure a third to see which is wrong" if n == 2 else "clean, calibrate, measure again"
    return f"{n} readings lie up to {most:.1f} dE00 from their mean; {way}"


def noise(R: ArrayLike) -> Array:
    """Noise of spectra (..., n_wl) at 10 nm, as a standard deviation each, (...).

    The median size of their fifth differences: a smooth curve has hardly any, and an edge
    or a wrong value does not count.

    >>> wiggle = np.random.default_rng(1).normal(0, 0.01, 31)
    >>> noise([np.linspace(0.2, 0.6, 31), 0.4 + wiggle]).round(3).tolist()
    [0.0, 0.008]
    """
    differences = np.abs(np.diff(np.asarray(R, dtype=float), _DIFFERENCES))
    spread: Array = np.median(differences, axis=-1) / (_MEDIAN * _NOISE_GAIN)
    return spread


def jumps(R: ArrayLike) -> list[int]:
    """Where one spectrum steps: at i the value leaps and the slope on both sides is small.

    >>> jumps(np.where(np.arange(31) < 12, 0.30, 0.34))
    [12]
    """
    return [int(i) + 2 for i in np.flatnonzero(_leaps(np.asarray(R, dtype=float)))]


def spikes(R: ArrayLike) -> list[int]:
    """Single values that do not belong to the curve around them.

    >>> R = np.linspace(0.2, 0.6, 31)
    >>> R[15] += 0.03
    >>> spikes(R)
    [15]
    """
    return [int(i) + 4 for i in np.flatnonzero(_lone(np.asarray(R, dtype=float)))]


def _leaps(R: Array) -> Mask:
    slope = np.abs(np.diff(R))
    beside = np.maximum(slope[..., :-2], slope[..., 2:])
    return slope[..., 1:-1] > np.maximum(JUMP_LEAST, JUMP_TIMES * beside)


def _lone(R: Array) -> Mask:
    """Where the values against the cubic through their four neighbours look like one slip."""
    beside = -R[..., :-4] + 4 * R[..., 1:-3] + 4 * R[..., 3:-1] - R[..., 4:]
    unlike = R[..., 2:-2] - beside / 6
    windows = np.lib.stride_tricks.sliding_window_view(unlike, _SPIKE.size, axis=-1)
    height = windows @ _SPIKE / (_SPIKE @ _SPIKE)
    misfit = np.linalg.norm(windows - height[..., None] * _SPIKE, axis=-1)
    fits = misfit < SPIKE_MISFIT * np.abs(height) * np.linalg.norm(_SPIKE)
    found: Mask = fits & (np.abs(height) > SPIKE_LEAST)
    return found


def oddities(wavelengths_nm: ArrayLike, values: ArrayLike) -> list[list[str]]:
    """What is odd about the shape of spectra (n_spectra, n), 0-1: lines for each.

    >>> oddities(GRID_NM, [np.full(31, 0.5), np.linspace(0.2, 0.7, 31)])
    [['the same value, 0.5, 31 times in a row from 400 nm: a placeholder, or padding'], []]
    """
    nm, R = (np.asarray(v, dtype=float) for v in (wavelengths_nm, values))
    step = float(nm[1] - nm[0]) if nm.size > 1 else 0.0
    every = max(1, round(10 / step)) if step > 0 else 1
    coarse, at = R[:, ::every], nm[::every]  # the limits were set at 10 nm
    equal = np.lib.stride_tricks.sliding_window_view(coarse, min(FLAT_RUN, at.size), axis=-1)
    flat = (np.ptp(equal, axis=-1) == 0).any(axis=-1)
    doubt = (R.min(axis=-1) < 0) | (R.max(axis=-1) > 1) | flat
    shaped = step <= 10 and at.size > _SPIKE.size + 4
    if shaped:
        doubt |= _leaps(coarse).any(axis=-1) | _lone(coarse).any(axis=-1) | (noise(coarse) > NOISY)
    return [
        [*_level(nm, each), *_padding(at, few), *(_shape(at, few) if shaped else [])] if odd else []
        for each, few, odd in zip(R, coarse, doubt, strict=True)
    ]


def _shape(nm: Array, R: Array) -> list[str]:
    """Oddities of the curve as a whole."""
    lines = [
        f"steps by {R[i] - R[i - 1]:+.3f} at {nm[i]:g} nm: a lamp or a filter that changed while"
        " it measured, or two files put together"
        for i in jumps(R)
    ]
    lines += [
        f"one value off the curve, {R[i]:.3f} at {nm[i]:g} nm: a slip of typing, or dust"
        for i in spikes(R)
    ]
    if noise(R) > NOISY:
        lines.append(
            f"noisy, about {noise(R):.3f} from value to value: measure again with more readings,"
            " and clean the aperture"
        )
    return lines


def _level(nm: Array, R: Array) -> list[str]:
    """Values below 0 and over 1."""
    lines = []
    if R.min() < 0:
        lines.append(f"{R.min():.4g} at {nm[R.argmin()]:g} nm is below 0: calibrate the black")
    if R.max() > 1:
        lines.append(
            f"{R.max():.4g} at {nm[R.argmax()]:g} nm is over 1: fluorescent, glossy, or a wrong"
            " scale or white calibration"
        )
    return lines


def _padding(nm: Array, R: Array) -> list[str]:
    """One value again and again."""
    # Where the longest run of equal values begins, and how long it is.
    edges = np.flatnonzero(np.diff(R) != 0) + 1
    starts = np.concatenate([[0], edges])
    lengths = np.diff(np.concatenate([starts, [R.size]]))
    longest = int(lengths.argmax())
    first, run = int(starts[longest]), int(lengths[longest])
    value = float(R[first])
    three_decimals = abs(round(value, 3) - value) < 1e-9
    if run < min(FLAT_RUN, R.size) or (value < FLAT_LEAST and three_decimals):
        return []
    return [
        f"the same value, {value:.4g}, {run} times in a row from {nm[first]:g} nm:"
        " a placeholder, or padding"
    ]


def stretched(wavelengths_nm: ArrayLike, values: ArrayLike) -> Array:
    """Spectra (..., n) on the grid, what was not measured filled with the nearest value.

    To look at a colour over the range there is: it equals adding the weights beyond the
    range to its ends, as ASTM E308 says.  Not for matching; `to_grid` makes nothing up.

    >>> stretched(np.arange(380, 690, 10), np.linspace(0.2, 0.5, 31))[-3:].round(2).tolist()
    [0.5, 0.5, 0.5]
    """
    nm, R = (np.asarray(v, dtype=float) for v in (wavelengths_nm, values))
    step = float(nm[1] - nm[0]) if nm.size > 1 else 0.0
    if not 0 < step <= 50:
        return to_grid(nm, R)  # which says what is wrong
    below = max(0, int(np.ceil((nm[0] - GRID_NM[0]) / step - 1e-6)))
    above = max(0, int(np.ceil((GRID_NM[-1] - nm[-1]) / step - 1e-6)))
    lower, upper = nm[0] - step * np.arange(below, 0, -1), nm[-1] + step * np.arange(1, above + 1)
    sides = [(0, 0)] * (R.ndim - 1) + [(below, above)]
    return to_grid(np.concatenate([lower, nm, upper]), np.pad(R, sides, mode="edge"))


def drift(
    R_first: ArrayLike, R_now: ArrayLike, light: Light = "D65", observer: int = 10
) -> StandardDrift:
    """A white tile or a kept drawdown, (31,), as it read first and as it reads now.

    >>> drift(np.full(31, 0.85), np.full(31, 0.84)).words
    'a touch darker'
    """
    first, now = Lab(R_first, light, observer), Lab(R_now, light, observer)
    far = float(de00(first, now))
    state = "well" if far <= WATCH_DE00 else "watch" if far <= STOP_DE00 else "stop"
    return StandardDrift(de00=far, words=direction(first, now), state=state)


def diagnosis(tile: StandardDrift | None, drawdown: StandardDrift | None) -> str:
    """What a tile and a reference drawdown say together: one line of advice.

    >>> moved = drift(np.full(31, 0.85), np.full(31, 0.80))
    >>> diagnosis(drift(np.full(31, 0.85), np.full(31, 0.85)), moved)[:44]
    'only the reference drawdown has moved: it is'
    """
    if tile is None and drawdown is None:
        return "no white tile and no reference drawdown kept yet; read both today"
    off = [each is not None and each.state != "well" for each in (tile, drawdown)]
    if off == [True, True]:
        return (
            "tile and drawdown have both moved: the instrument; calibrate, clean the aperture,"
            " read both again, and measure nothing that counts before they agree"
        )
    if off[0]:
        also = "" if drawdown is None else ", for the drawdown has not moved"
        return f"the tile has moved{also}: clean it, calibrate, read it again"
    if off[1] and tile is None:
        return (
            "the reference drawdown has moved: read the white tile to see if it is the instrument"
        )
    if off[1]:
        return "only the reference drawdown has moved: it is soiled or has faded; keep a new one"
    return "the spectrophotometer has not drifted"


def opacity(
    R_black: ArrayLike, R_white: ArrayLike, light: Light = "D65", observer: int = 10
) -> Opacity:
    """Does a film read over black, (31,), and over white hide its ground?

    Yes if the two differ by at most 0.5 dE00 and, for a light colour, the contrast ratio
    is at least 0.98 [6504]; of a dark one the ratio is mostly noise.

    >>> opacity(np.full(31, 0.70), np.full(31, 0.75)).words[:41]
    'not opaque: contrast ratio 0.933, 1.5 dE0'
    """
    Y = [float(XYZ(R, light, observer)[1]) for R in (R_black, R_white)]
    if min(Y) <= 0:
        raise InputError("a reading of nothing over black or white; measure again")
    ratio = float(contrast_ratio(*Y))
    far = float(de00(Lab(R_black, light, observer), Lab(R_white, light, observer)))
    opaque = far <= SEEN_DE00 and (ratio >= HIDING or max(Y) < HIDING_VALID_Y)
    told = f"contrast ratio {ratio:.3f}, {far:.1f} dE00 between black and white ground"
    if ratio > 1 and far > SEEN_DE00:
        words = f"lighter over black than over white: {told}; are the two mixed up?"
        return Opacity(contrast_ratio=ratio, de00=far, opaque=False, words=words)
    advice = "it counts as a drawdown" if opaque else "pull it thicker, or twice, and measure again"
    words = f"{'opaque' if opaque else 'not opaque'}: {told}; {advice}"
    return Opacity(contrast_ratio=ratio, de00=far, opaque=opaque, words=words)


def other_specular(R: ArrayLike, *, made: str, wanted: str, n: float) -> Array:
    """A reading d/8 with the specular part included, as it would be excluded, or back.

    For a glossy film of refractive index `n` only, whose mirror image an excluding sphere
    loses whole [S42]; a matte film keeps part of it and must be measured anew.

    >>> kinds = {"made": "d/8 specular included", "wanted": "d/8 specular excluded"}
    >>> other_specular([0.24356], n=1.5, **kinds).round(4).tolist()
    [0.2036]
    """
    if not 1.3 <= n <= 1.8:
        raise InputError(
            f"refractive index is {n:g}; a cured film has 1.3 to 1.8, mostly 1.5"
            " (common practice, no source)"
        )
    if not (made.startswith("d/8 specular") and wanted.startswith("d/8 specular")):
        raise InputError(f"{made!r} cannot be turned into {wanted!r}; measure again")
    base, gain, k2 = surface_constants(n, made)
    inner = without_surface(R, base=base, gain=gain, k2=k2)
    base, gain, k2 = surface_constants(n, wanted)
    return with_surface(inner, base=base, gain=gain, k2=k2)
