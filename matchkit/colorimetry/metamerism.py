"""Metamerism of two samples, and colour inconstancy of one.

A metameric pair matches under the reference light and not under the test light.  A real pair
never matches exactly, so the sample is first corrected to a match under the reference; the
difference that remains under the test light is the special index.  There are several
corrections, and their results differ: state the correction with every index.

    multiplicative XYZ   the sample's XYZ under the test is scaled by what would make it
                         match under the reference; the usual one
    additive Lab         the sample's Lab under the test loses the difference that it has
                         under the reference
    parameric            the sample's spectrum is given the target's fundamental, which makes
                         the pair exactly metameric under the reference

The first two need only XYZ or Lab, not spectra.  The third changes the spectrum as little
as possible (least squares) and suits pairs that differ much under the reference best.  For
an exactly metameric pair all three agree.

Change of observer compares 2 with 10 degrees.  That is common practice and it is not
CIE 080, whose deviate observer is a table of its own.

Colour inconstancy is a property of one sample: the difference between its colour under a test
light, taken to D65 by a chromatic adaptation transform, and its colour under D65.  Other
transforms give up to four times the number: print the transform's name beside it.

Target first, sample second; arrays broadcast, the last axis is wavelength (31) or the
three coordinates.  A *view* is a light and an observer, ``("D65", 10)``.

Sources (none at hand; the tests hold the arithmetic to published examples and to
colour-science):

    [ISO18314-4]  ISO 18314-4, metamerism index for change of illuminant: the two simple
                  corrections, as colour-science states them.
    [CIE15]       CIE 015:2018: the special index.
    [CIE80]       CIE 080:1989, observer metamerism; not what `observer_index` computes.
    [F87]         Fairman (1987), Color Res. Appl. 12, 261-262, parameric decomposition,
                  and Cohen & Kappauf (1982), Am. J. Psychol. 95, 537-564, matrix R;
                  titles from memory.
    [CMC02]       Li, Luo, Rigg & Hunt (2002), Color Res. Appl. 27, 49-58: CMCCAT2000, and
                  ISO 105-J05, the inconstancy index; from memory.
    [CIECAM]      CIE 159:2004 for CAT02, CIE 248:2022 for CAT16.
"""

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.colorimetry.illuminants import Light, weights, white
from matchkit.colorimetry.tristimulus import XYZ, XYZ_to_Lab, cmc, de00
from matchkit.errors import InputError

View = tuple[Light, int]

CORRECTIONS = ("multiplicative XYZ", "additive Lab", "parameric")

# Cone-like responses of XYZ, by transform: [CMC02] and [CIECAM].
TRANSFORMS: dict[str, Array] = {
    "CMCCAT2000": np.array(
        [[0.7982, 0.3389, -0.1371], [-0.5918, 1.5512, 0.0406], [0.0008, 0.0239, 0.9753]]
    ),
    "CAT02": np.array(
        [[0.7328, 0.4296, -0.1624], [-0.7036, 1.6975, 0.0061], [0.0030, 0.0136, 0.9834]]
    ),
    "CAT16": np.array(
        [
            [0.401288, 0.650173, -0.051461],
            [-0.250268, 1.204414, 0.045854],
            [-0.002079, 0.048952, 0.953127],
        ]
    ),
}


def scaled(target: ArrayLike, sample: ArrayLike, sample_test: ArrayLike) -> Array:
    """The sample under the test (..., 3), times what would make it match under the reference.

    `target` and `sample` are seen under the reference, in XYZ (as [ISO18314-4] wants it)
    or in Lab; so is the answer.  Where a sample's value is zero there is nothing to scale
    and it stays.

    >>> scaled([10, 12, 5], [10, 10, 10], [8, 10, 4]).tolist()
    [8.0, 12.0, 2.0]
    """
    target, sample = np.asarray(target, dtype=float), np.asarray(sample, dtype=float)
    factor = np.divide(
        target, sample, out=np.ones(np.broadcast(target, sample).shape), where=sample != 0
    )
    corrected: Array = np.asarray(sample_test, dtype=float) * factor
    return corrected


def shifted(target: ArrayLike, sample: ArrayLike, sample_test: ArrayLike) -> Array:
    """The sample under the test (..., 3), plus what would make it match under the reference.

    In Lab, as [ISO18314-4] wants it, or in XYZ.

    >>> shifted([50, 10, 5], [51, 10, 4], [52, 9, 3]).tolist()
    [51.0, 9.0, 4.0]
    """
    lacks = np.asarray(target, dtype=float) - np.asarray(sample, dtype=float)
    corrected: Array = np.asarray(sample_test, dtype=float) + lacks
    return corrected


def matrix_R(light: Light, observer: int) -> Array:
    """The projection (31, 31) of a spectrum onto its fundamental, A (A'A)^-1 A' [F87].

    Two spectra with one fundamental match under that light; what is left of each is its
    metameric black.  A are the weights (31, 3).

    >>> round(float(np.trace(matrix_R("D65", 10))), 6)
    3.0
    """
    # The same projection through an orthogonal basis of A: better rounded than (A'A)^-1.
    basis, _ = np.linalg.qr(weights(light, observer))
    projection: Array = basis @ basis.T
    return projection


def parameric(R_target: ArrayLike, R_sample: ArrayLike, light: Light, observer: int) -> Array:
    """The sample (..., 31) with the target's fundamental: an exact metamer of it [F87].

    >>> pair = np.linspace(0.1, 0.7, 31), np.linspace(0.2, 0.6, 31)
    >>> made = parameric(*pair, "D65", 10)
    >>> bool(np.allclose(XYZ(made, "D65", 10), XYZ(pair[0], "D65", 10)))
    True
    """
    lacks = np.asarray(R_target, dtype=float) - np.asarray(R_sample, dtype=float)
    corrected: Array = np.asarray(R_sample, dtype=float) + lacks @ matrix_R(light, observer)
    return corrected


def special_index(
    R_target: ArrayLike,
    R_sample: ArrayLike,
    *,
    reference: View,
    test: View,
    correction: str = "multiplicative XYZ",
) -> Array:
    """Special metamerism index (...), in dE00, for a change from `reference` to `test`.

    Spectra (..., 31), 0-1.  `correction` is one of `CORRECTIONS`; print it with the number.

    >>> pair = np.linspace(0.1, 0.7, 31), np.linspace(0.2, 0.6, 31)
    >>> float(special_index(*pair, reference=("D65", 10), test=("A", 10)).round(4))
    1.2374
    """
    if correction not in CORRECTIONS:
        raise InputError(f"correction is {correction!r}; write {', '.join(CORRECTIONS)}")
    if correction == "parameric":
        R_sample = parameric(R_target, R_sample, *reference)
    test_white = white(*test)
    sample = XYZ(R_sample, *test)
    target_0, sample_0 = XYZ(R_target, *reference), XYZ(R_sample, *reference)
    if correction == "multiplicative XYZ":
        sample = scaled(target_0, sample_0, sample)
    lab = XYZ_to_Lab(sample, test_white)
    if correction == "additive Lab":
        home = white(*reference)
        lab = shifted(XYZ_to_Lab(target_0, home), XYZ_to_Lab(sample_0, home), lab)
    return de00(XYZ_to_Lab(XYZ(R_target, *test), test_white), lab)


def observer_index(
    R_target: ArrayLike,
    R_sample: ArrayLike,
    *,
    reference: View,
    correction: str = "multiplicative XYZ",
) -> Array:
    """The special index (...) for a change between the 2 and the 10 degree observer.

    Label it so: it is not the deviate observer of [CIE80].

    >>> pair = np.linspace(0.1, 0.7, 31), np.linspace(0.2, 0.6, 31)
    >>> float(observer_index(*pair, reference=("D65", 10)).round(4))
    0.4498
    """
    light, observer = reference
    test = (light, 2 if observer == 10 else 10)
    return special_index(R_target, R_sample, reference=reference, test=test, correction=correction)


def adapted(
    XYZ: ArrayLike,
    white: ArrayLike,
    to_white: ArrayLike,
    *,
    transform: str = "CMCCAT2000",
    D: float = 1.0,
) -> Array:
    """The corresponding colour of XYZ (..., 3), from adaptation to `white` to that to `to_white`.

    `D` is the degree of adaptation; with 1, complete adaptation, every grey stays grey.
    The CMCCAT2000 of [CMC02] derives D from the luminances, 0.944 at 200 cd/m2.

    >>> adapted([94.469, 85, 29.92], [111.14, 100, 35.2], [94.81, 100, 107.3]).round(2).tolist()
    [80.59, 85.0, 91.2]
    """
    if transform not in TRANSFORMS:
        raise InputError(f"transform is {transform!r}; write {', '.join(TRANSFORMS)}")
    M = TRANSFORMS[transform]
    left, entered = (np.asarray(each, dtype=float) for each in (white, to_white))
    gain = D * (M @ entered) / (M @ left) * left[1] / entered[1] + 1 - D
    return np.asarray(XYZ, dtype=float) @ np.linalg.solve(M, gain[:, None] * M).T


def inconstancy(
    R: ArrayLike,
    light: Light,
    observer: int,
    *,
    transform: str = "CMCCAT2000",
    formula: str = "CIEDE2000",
) -> Array:
    """How far (...) samples (..., 31) themselves shift between D65 and `light`.

    The corresponding colour of [CMC02] with D = 1; print the transform with the number.
    `formula` is "CIEDE2000" or "CMC(2:1)", D65 being the reference of the latter.

    >>> inconstancy(np.full(31, 0.2), "A", 10).round(6).tolist()
    0.0
    """
    home = white("D65", observer)
    carried = adapted(XYZ(R, light, observer), white(light, observer), home, transform=transform)
    under_D65, under_light = XYZ_to_Lab(XYZ(R, "D65", observer), home), XYZ_to_Lab(carried, home)
    if formula == "CIEDE2000":
        return de00(under_D65, under_light)
    if formula == "CMC(2:1)":
        return cmc(under_D65, under_light)
    raise InputError(f"formula is {formula!r}; write CIEDE2000 or CMC(2:1)")
