"""The way onto the grid, against colour-science's Sprague interpolator and real samples."""

import numpy as np
import pytest

from matchkit.colorimetry.grid import (
    GRID_NM,
    average,
    check_reflectance,
    reflectance_doubts,
    to_grid,
)
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError


def samples():
    """Wavelengths (n,) at 5 nm and reflectances (38, n) that others measured.

    The 14 test-colour samples of CIE 13.3 and the 24 patches of the ISO 17321-1 chart,
    as colour-science 0.4.7 carries them; 380-780 nm is common to both.
    """
    from chart import PATCHES
    from colour.quality.datasets import SDS_TCS

    nm = np.arange(380.0, 781.0, 5.0)
    sds = [*SDS_TCS["CIE 1995"].values(), *PATCHES.values()]
    return nm, np.array([[sd[w] for w in nm] for sd in sds])


def colour_error(R, R_true):
    """dE00 under D65, 10 degrees."""
    return de00(Lab(R, "D65", 10), Lab(R_true, "D65", 10))


@pytest.mark.parametrize("nm", [np.arange(400, 701, 20.0), np.arange(380, 721, 20.0)])
def test_20_nm_agrees_with_the_sprague_interpolator_of_colour_science(nm):
    """Everywhere, the two end intervals included (CIE 167:2005 as colour-science has it)."""
    from colour import SpragueInterpolator

    R = np.random.default_rng(3).uniform(0.3, 0.6, (5, nm.size))
    expected = [SpragueInterpolator(nm, row)(GRID_NM) for row in R]

    np.testing.assert_allclose(to_grid(nm, R), expected, rtol=0, atol=1e-13)


def test_20_nm_on_odd_tens_agrees_too():
    from colour import SpragueInterpolator

    nm = np.arange(390, 711, 20.0)
    R = np.random.default_rng(4).uniform(0.3, 0.6, nm.size)

    np.testing.assert_allclose(to_grid(nm, R), SpragueInterpolator(nm, R)(GRID_NM), atol=1e-13)


@pytest.mark.parametrize("step_nm", [1, 2, 2.5, 5, 10])
def test_finer_and_wider_data_are_picked_not_changed(step_nm):
    nm = np.arange(360, 780.001, step_nm)
    assert to_grid(nm, nm).tolist() == GRID_NM.tolist()


def test_wavelengths_printed_with_two_decimals_are_even_enough():
    nm = np.round(np.linspace(380, 780, 121), 2)  # 3.33 nm steps
    np.testing.assert_allclose(to_grid(nm, nm), GRID_NM, atol=0.01)


def test_5_nm_data_are_every_second_value_of_their_own():
    nm, R = samples()
    assert (to_grid(nm, R) == R[:, 4:-16:2]).all()
    assert (to_grid(nm, R) == to_grid(nm[::2], R[:, ::2])).all()


@pytest.mark.parametrize("first_nm", [380, 390, 400])
def test_20_nm_data_of_real_samples_come_near_their_10_nm_spectra(first_nm):
    """Measured: median 0.04 dE00, worst 0.124; reflectance within 0.07 beside steep edges."""
    nm, R = samples()
    expected = to_grid(nm, R)
    start = int(np.searchsorted(nm, first_nm))
    coarse = slice(start, None, 4)

    error = colour_error(to_grid(nm[coarse], R[:, coarse]), expected)

    assert np.median(error) < 0.05
    assert error.max() < 0.13


def test_straight_lines_would_be_four_times_worse():
    nm, R = samples()
    expected = to_grid(nm, R)
    straight = np.array([np.interp(GRID_NM, nm[::4], row[::4]) for row in R])
    error = colour_error(straight, expected)
    assert np.median(error) > 0.2
    assert error.max() > 0.4


def test_smoothing_5_nm_data_to_10_nm_would_move_colours_a_little():
    """What the choice to take every second value is worth: 0.06 dE00, 0.12 at most."""
    nm, R = samples()
    smooth = (R[:, :-2] + 2 * R[:, 1:-1] + R[:, 2:]) / 4
    error = colour_error(to_grid(nm, R), to_grid(nm[1:-1], smooth))
    assert 0.03 < np.median(error) < 0.1
    assert error.max() < 0.15


def test_a_steep_edge_does_not_dip_below_zero():
    nm = np.arange(400, 701, 20.0)
    R = np.where(nm < 560, 0.0, 0.9)
    assert to_grid(nm, R).min() == 0
    assert to_grid(nm, R - 0.001).min() == pytest.approx(-0.001)


def test_leading_axes_stay():
    assert to_grid(np.arange(380, 731, 10), np.ones((2, 3, 36))).shape == (2, 3, 31)
    assert to_grid(np.arange(400, 701, 20), np.ones((2, 3, 16))).shape == (2, 3, 31)
    assert to_grid(np.arange(400, 701, 20), np.ones((0, 16))).shape == (0, 31)


@pytest.mark.parametrize(
    ("nm", "reason"),
    [
        (np.arange(380, 681, 10), "end at 680 nm"),
        (np.arange(380, 691, 10), "end at 690 nm"),
        (np.arange(410, 731, 10), "begin at 410 nm"),
        (np.arange(405, 696, 10), "begin at 405 nm"),
        (np.arange(395, 706, 10), "step over 400 nm"),
        (np.arange(395, 720, 20), "step over 400 nm"),
        (np.arange(400, 701, 4), "step over 410 nm"),
        (np.arange(400, 701, 15), "steps are 15 nm"),
        (np.arange(400, 701, 50), "steps are 50 nm"),
        (np.arange(700, 399, -10), "690 nm comes after 700"),
        ([*range(400, 560, 10), *range(550, 701, 10)], "550 nm comes twice"),
        ([w for w in range(400, 701, 10) if w != 550], "540 to 560 nm"),
        ([400], "two or more numbers"),
        ([], "two or more numbers"),
        ([400, float("nan"), 700], "two or more numbers"),
        ([-1e300, 400, 700, 1e300], "two or more numbers"),
    ],
)
def test_wavelengths_that_do_not_lead_to_the_grid_are_refused(nm, reason):
    with pytest.raises(InputError, match=r"^t\.csv: ") as refusal:
        to_grid(nm, np.ones(len(nm)), where="t.csv")
    assert reason in str(refusal.value)


def test_wavelengths_and_values_must_fit():
    with pytest.raises(InputError, match="31 wavelengths, but the values have shape"):
        to_grid(GRID_NM, np.ones(30))


def test_average_is_over_readings():
    readings = np.random.default_rng(1).uniform(size=(3, 31))
    np.testing.assert_allclose(average(readings), readings.sum(axis=0) / 3)
    for nothing in (np.ones((0, 31)), np.ones(31)):
        with pytest.raises(InputError, match="at least one"):
            average(nothing)


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        (float("nan"), "nan at 410 nm is not a number"),
        (float("-inf"), "-inf at 410 nm is not a number"),
        (88.2, "88.2 at 410 nm looks like percent"),
        (-0.02, "-0.02 at 410 nm is negative"),
        (1.06, "1.06 at 410 nm is over 1.05: a fluorescent ink"),
    ],
)
def test_unusable_reflectances_are_named_with_their_place(value, reason):
    R = np.linspace(0.2, 0.8, 31)
    R[1] = value
    (fault,) = check_reflectance(R, "spectra.csv row 3")
    assert fault.startswith(f"spectra.csv row 3: {reason}")


def test_negative_and_fluorescent_are_both_said():
    assert len(check_reflectance(np.linspace(-0.1, 1.2, 31))) == 2


def test_a_reading_of_nothing_is_a_fault():
    assert "the reading failed" in check_reflectance(np.zeros(31))[0]


def test_noise_about_zero_and_a_glossy_white_in_45_0_pass():
    """R of a perfect glossy white is 1.0039 in 45/0, n = 1.5 (tests of optics)."""
    assert check_reflectance(np.linspace(-0.004, 1.0039, 31)) == []


def test_a_flat_line_is_doubted_not_refused():
    flat = np.full(31, 0.5)
    assert check_reflectance(flat) == []
    assert "placeholder" in reflectance_doubts(flat)[0]
    assert reflectance_doubts(np.linspace(0.1, 0.2, 31)) == []
