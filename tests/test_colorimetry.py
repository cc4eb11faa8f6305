"""Lab, colour differences and swatches against other people's numbers."""

import re

import colorspacious
import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from published import (
    COLORMATH_DIFFERENCES,
    IEC_XYZ_TO_SRGB,
    ISO_18314_4_EXAMPLE,
    SHARMA_2005_TABLE_1,
)

from matchkit.colorimetry import illuminants as lights
from matchkit.colorimetry import tristimulus as cm
from matchkit.colorimetry.grid import GRID_NM

BOTH = [(light, observer) for light in lights.STORED for observer in lights.OBSERVERS]
PAIR_1, PAIR_2, PAIR_DE00 = (np.array(column) for column in zip(*SHARMA_2005_TABLE_1, strict=True))
WHITE_D65 = cm.white("D65", 2)
repeatable = settings(derandomize=True, deadline=None)
labs = arrays(float, 3, elements=st.floats(-128, 128)).map(lambda v: v * [0.5, 1, 1] + [50, 0, 0])


# ---- Lab ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("light", "XYZ", "lab"), ISO_18314_4_EXAMPLE)
def test_lab_of_the_iso_18314_4_example(light, XYZ, lab):
    """Its whites are not printed: 0.003 is what the last digit of a white can do."""
    assert cm.XYZ_to_Lab(XYZ, cm.white(light, 10)) == pytest.approx(lab, abs=0.003)


def test_lab_of_a_near_grey():
    """colorspacious 1.1.2 and a hand calculation, D65, 2 degrees."""
    lab = cm.XYZ_to_Lab([19.01, 20, 21.78], [95.047, 100, 108.883])
    assert lab == pytest.approx([51.8372, 0.00308, -0.00609], abs=5e-5)


@pytest.mark.parametrize(("light", "observer"), [("D50", 2), ("A", 10)])
def test_lab_is_that_of_colorspacious_and_colour_science(light, observer):
    white = cm.white(light, observer)
    XYZ = np.random.default_rng(3).random((500, 3)) ** 3 * white
    space = {"name": "CIELab", "XYZ100_w": white}
    ours = cm.XYZ_to_Lab(XYZ, white)
    np.testing.assert_allclose(ours, colorspacious.cspace_convert(XYZ, "XYZ100", space), atol=1e-9)
    theirs = colour.XYZ_to_Lab(XYZ / 100, colour.XYZ_to_xy(white))
    np.testing.assert_allclose(ours, theirs, atol=1e-9)


@pytest.mark.parametrize(("light", "observer"), BOTH)
def test_a_perfect_white_is_100_0_0(light, observer):
    assert cm.Lab(np.ones(31), light, observer) == pytest.approx([100, 0, 0], abs=1e-8)


@pytest.mark.parametrize("grey", [0.004, 0.05, 0.5])
def test_a_flat_grey_is_neutral_under_every_light(grey):
    for light, observer in BOTH:
        assert cm.Lab(np.full(31, grey), light, observer)[1:] == pytest.approx([0, 0], abs=1e-10)


def test_zero_and_below_stay_finite_and_smooth():
    assert cm.XYZ_to_Lab([0, 0, 0], WHITE_D65).tolist() == [0, 0, 0]
    steps = np.linspace(-0.5, 1.5, 2001)[:, None] * WHITE_D65 / 100
    L = cm.XYZ_to_Lab(steps, WHITE_D65)[:, 0]
    assert L[0] == pytest.approx(-0.5 * 9.03296, abs=1e-4)  # kappa / 100 [CIE 015]
    assert (np.diff(L) > 0).all()
    assert np.abs(np.diff(L, 2)).max() < 1e-4


@repeatable
@given(labs)
def test_lab_comes_back_from_xyz(lab):
    """L* from -14 to 114, so the straight branch below 8 is included."""
    back = cm.XYZ_to_Lab(cm.Lab_to_XYZ(lab, WHITE_D65), WHITE_D65)
    np.testing.assert_allclose(back, lab, atol=1e-9)


@pytest.mark.parametrize("share", [1e-4, 0.005, 0.02, 0.3, 1.0])
def test_jacobian_is_the_slope_of_lab(share):
    XYZ, step = share * WHITE_D65 * [0.9, 1, 1.1], 1e-5
    ends = [cm.XYZ_to_Lab(XYZ + sign * step * np.eye(3), WHITE_D65) for sign in (1, -1)]
    slope = (ends[0] - ends[1]).T / (2 * step)
    np.testing.assert_allclose(cm.Lab_jacobian(XYZ, WHITE_D65), slope, atol=1e-5)


def test_arrays_of_any_depth_give_what_single_spectra_give():
    R = np.random.default_rng(2).random((4, 5, 31))
    lab = cm.Lab(R, "FL2", 10)
    assert lab.shape == (4, 5, 3)
    np.testing.assert_allclose(lab[2, 3], cm.Lab(R[2, 3], "FL2", 10), atol=1e-10)
    assert cm.Lab_jacobian(cm.XYZ(R, "FL2", 10), cm.white("FL2", 10)).shape == (4, 5, 3, 3)
    table = cm.de00(lab[:, :, None], lab[0])
    assert table.shape == (4, 5, 5)
    assert table[1, 2, 4] == pytest.approx(float(cm.de00(lab[1, 2], lab[0, 4])), abs=1e-10)
    for function in (cm.de00_vector, cm.delta_LCH):
        assert function(lab[:, :, None], lab[0]).shape == (4, 5, 5, 3)


# ---- differences --------------------------------------------------------------------------


@pytest.mark.parametrize(("lab_1", "lab_2", "expected"), SHARMA_2005_TABLE_1)
def test_de00_matches_every_printed_digit_both_ways(lab_1, lab_2, expected):
    assert cm.de00(lab_1, lab_2) == pytest.approx(expected, abs=1e-4)
    assert cm.de00(lab_2, lab_1) == pytest.approx(expected, abs=1e-4)


def test_de00_of_whole_arrays_matches_sharma_2005():
    np.testing.assert_allclose(cm.de00(PAIR_1, PAIR_2), PAIR_DE00, atol=5e-5)


def test_de00_is_that_of_colour_science():
    lab = np.random.default_rng(4).normal([50, 0, 0], [20, 40, 40], (2, 3000, 3))
    theirs = colour.delta_E(*lab, method="CIE 2000")
    np.testing.assert_allclose(cm.de00(*lab), theirs, atol=1e-10)


@repeatable
@given(labs, labs)
def test_de00_is_symmetric_and_the_length_of_its_vector(lab_1, lab_2):
    difference = cm.de00(lab_1, lab_2)
    assert difference == cm.de00(lab_2, lab_1)
    vector = cm.de00_vector(lab_1, lab_2)
    assert np.linalg.norm(vector) == pytest.approx(difference, abs=1e-9)
    np.testing.assert_allclose(cm.de00_vector(lab_2, lab_1), -vector, atol=1e-9)


@repeatable
@given(labs)
def test_de00_of_a_colour_with_itself_is_0(lab):
    assert cm.de00(lab, lab) == 0


def test_signs_of_the_vector_are_those_of_sample_minus_target():
    lighter_duller_yellower = cm.de00_vector([50, 40, 10], [52, 30, 15])
    assert np.sign(lighter_duller_yellower).tolist() == [1, -1, 1]


def test_neutral_samples_raise_no_floating_point_error():
    neutral = np.array([[0.0, 0, 0], [100, -0.0, 0], [50, 0, -0.0]])
    with np.errstate(divide="raise", invalid="raise", over="raise"):
        assert cm.de00(neutral, neutral).tolist() == [0, 0, 0]
        assert np.isfinite(cm.de00(neutral[:, None], PAIR_1)).all()
        assert np.isfinite(cm.de00_vector(PAIR_1, neutral[:, None])).all()
        assert np.isfinite(cm.cmc(neutral[:, None], PAIR_1)).all()
        assert cm.delta_LCH(neutral[0], [50, 3, 4]).tolist() == [50, 5, 0]
    # The sign of a zero changes nothing.
    assert cm.de00([50, -0.0, 0.0], [50, -1, 2]) == cm.de00([50, 0.0, -0.0], [50, -1, 2])


@pytest.mark.parametrize(("formula", "target", "sample", "expected"), COLORMATH_DIFFERENCES)
def test_differences_of_another_program(formula, target, sample, expected):
    ours = {
        "CIE76": np.linalg.norm(cm.delta_LCH(target, sample)),
        "CIEDE2000": cm.de00(target, sample),
        "CMC(2:1)": cm.cmc(target, sample),
        "CMC(1:1)": cm.cmc(target, sample, l=1, c=1),
    }
    assert ours[formula] == pytest.approx(expected, abs=5e-4)


@pytest.mark.parametrize(("l", "c"), [(2, 1), (1, 1)])
def test_cmc_is_that_of_colour_science(l, c):  # noqa: E741
    lab = np.random.default_rng(6).uniform([0, -90, -90], [100, 90, 90], (2, 3000, 3))
    for target, sample in (lab, (PAIR_1, PAIR_2), (PAIR_2, PAIR_1)):
        theirs = colour.difference.delta_E_CMC(target, sample, l=l, c=c)
        np.testing.assert_allclose(cm.cmc(target, sample, l=l, c=c), theirs, atol=1e-8)


def test_cmc_takes_the_target_first():
    """Pair 1 of Sharma 2005; both ways computed with colour-science 0.4.7."""
    assert cm.cmc(PAIR_1[0], PAIR_2[0]) == pytest.approx(1.7387, abs=1e-4)
    assert cm.cmc(PAIR_2[0], PAIR_1[0]) == pytest.approx(1.7014, abs=1e-4)


@repeatable
@given(labs, labs)
def test_delta_LCH_splits_the_euclidean_difference(target, sample):
    """CIE 015: dE*ab^2 = dL*^2 + dC*^2 + dH*^2."""
    parts = cm.delta_LCH(target, sample)
    assert np.linalg.norm(parts) == pytest.approx(np.linalg.norm(sample - target), abs=1e-6)
    turn = target[1] * sample[2] - target[2] * sample[1]  # left turn: positive dH*
    if abs(turn) > 1e-6:
        assert np.sign(parts[2]) == np.sign(turn)


# ---- swatches -----------------------------------------------------------------------------


@pytest.mark.parametrize(("light", "observer"), [("D65", 2), ("D50", 2), ("A", 10), ("FL11", 10)])
def test_srgb_is_that_of_colour_science(light, observer):
    """Theirs multiplies by the four-digit matrix of the standard: less than one 8-bit step."""
    white = cm.white(light, observer)
    XYZ = np.random.default_rng(7).random((500, 3)) * white
    xy = colour.XYZ_to_xy(white)
    theirs = colour.XYZ_to_sRGB(XYZ / 100, xy, chromatic_adaptation_transform="Bradford")
    np.testing.assert_allclose(cm.srgb(XYZ, white), np.clip(theirs, 0, 1), atol=1 / 255)
    ours, clipped = cm.in_srgb(XYZ, white), np.abs(theirs - np.clip(theirs, 0, 1)).max(axis=-1)
    assert ours[clipped == 0].all()
    assert not ours[clipped > 1 / 255].any()
    space = colour.RGB_COLOURSPACES["sRGB"].copy()
    space.use_derived_transformation_matrices(True)  # from the primaries, as ours is
    exact = colour.XYZ_to_RGB(XYZ / 100, space, xy, "Bradford", apply_cctf_encoding=True)
    np.testing.assert_allclose(cm.srgb(XYZ, white), np.clip(exact, 0, 1), atol=1e-9)


def test_srgb_primaries_make_the_matrix_of_the_standard():
    """IEC 61966-2-1, four decimals: read off the dark end, where the curve is 12.92 x."""
    screen_white = np.array([0.3127, 0.3290, 0.3583]) / 0.3290 * 100
    primaries = np.linalg.inv(IEC_XYZ_TO_SRGB).T * 0.2
    rgb = cm.srgb(primaries, screen_white) / (12.92 * 0.002)
    np.testing.assert_allclose(rgb, np.eye(3), atol=5e-4)


@pytest.mark.parametrize(("light", "observer"), BOTH)
def test_black_and_white_are_black_and_white_on_screen(light, observer):
    white = cm.white(light, observer)
    assert cm.in_srgb([white, 0 * white], white).all()
    ends = cm.hex_colours([np.zeros(31), np.ones(31)], light, observer)
    assert ends == ["#000000", "#ffffff"]


def test_out_of_gamut_is_told_and_still_shown():
    orange = 1 / (1 + np.exp((580 - GRID_NM) / 3))
    assert not cm.in_srgb(cm.XYZ(orange, "D65", 2), WHITE_D65)
    assert re.fullmatch("#ff[0-9a-f]{2}00", cm.hex_colour(orange, "D65", 2))


@repeatable
@given(arrays(float, 31, elements=st.floats(0, 1)))
def test_hex_colour_rounds_srgb(R):
    text = cm.hex_colour(R, "D50", 2)
    shown = np.array([int(text[i : i + 2], 16) for i in (1, 3, 5)])
    exact = 255 * cm.srgb(cm.XYZ(R, "D50", 2), cm.white("D50", 2))
    assert np.abs(shown - exact).max() <= 0.5 + 1e-9
