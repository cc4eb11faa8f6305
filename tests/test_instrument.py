"""Repeats, odd shapes, drift, opacity, the specular part: against spectra others measured."""

import csv
from pathlib import Path

import numpy as np
import pytest
from test_spectra import samples

from matchkit.colorimetry.grid import GRID_NM, to_grid
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.files.spectrum import read_readings
from matchkit.fitting.instrument import (
    diagnosis,
    disagreement,
    drift,
    jumps,
    noise,
    oddities,
    opacity,
    other_specular,
    repeats,
    spikes,
    stretched,
)
from matchkit.optics.kubelka_munk import film_R, with_surface

AUTHORITIES = Path(__file__).parent / "authorities"
INCLUDED, EXCLUDED = "d/8 specular included", "d/8 specular excluded"
SLOPE = np.linspace(0.2, 0.6, 31)


def measured():
    """182 spectra that others measured: wavelengths and values, three sets."""
    (block,), _, _ = read_readings(AUTHORITIES / "samples" / "colour_cxf_sample.cxf")
    nm, R = samples()  # CIE 13.3 and the chart of ISO 17321-1
    return [(block.nm, block.values), (GRID_NM, to_grid(nm, R)), (nm, R)]


def test_nothing_is_odd_about_spectra_that_others_measured():
    """The limits are above what these show; CIE 13.3 is printed in 5 nm steps, 3 decimals."""
    for nm, R in measured():
        told = [line for lines in oddities(nm, R) for line in lines]
        assert told == []


def test_noise_is_found_as_a_standard_deviation():
    rng = np.random.default_rng(5)
    for nm, R in measured()[:2]:
        smooth = noise(R)
        noisy = noise(R + rng.normal(0, 0.01, R.shape))
        assert smooth.max() < 0.0035
        assert 0.008 < np.median(noisy) < 0.0115
        told = oddities(nm, R + rng.normal(0, 0.01, R.shape))
        found = np.mean([any("noisy" in line for line in lines) for lines in told])
        assert found > 0.9


@pytest.mark.parametrize("at", [6, 15, 24])
def test_a_step_and_a_spike_are_found_where_they_are(at):
    assert jumps(SLOPE + 0.05 * (np.arange(31) >= at)) == [at]
    for height in (0.03, -0.03):
        R = SLOPE.copy()
        R[at] += height
        assert spikes(R) == [at]
    told = oddities(GRID_NM, [SLOPE + 0.05 * (np.arange(31) >= at)])[0]
    assert told[0].startswith(f"steps by +0.063 at {400 + 10 * at} nm: a lamp or a filter")


def test_one_slip_in_a_measured_spectrum_is_found():
    """Measured: 99 % of slips of 0.03, and no measured spectrum is taken for one."""
    rng = np.random.default_rng(6)
    _, R = measured()[0]
    places = rng.integers(5, 26, len(R))
    bad = R.copy()
    bad[np.arange(len(R)), places] += 0.03 * rng.choice([-1, 1], len(R))
    hits = [place in spikes(each) for each, place in zip(bad, places, strict=True)]
    assert np.mean(hits) > 0.95


def test_edges_of_a_screen_print_ink_are_no_oddity():
    """The steepest edge a band of 10 nm can show: from 5 to 80 % within 30 nm."""
    edge = 0.05 + 0.75 / (1 + np.exp((560 - GRID_NM) / 6))
    assert oddities(GRID_NM, [edge]) == [[]]


def test_values_that_are_odd_by_themselves():
    R = np.array(
        [SLOPE - 0.21, SLOPE + 0.45, np.full(31, 0.3), np.where(GRID_NM < 470, 0.2, SLOPE)]
    )
    first = [lines[0] for lines in oddities(GRID_NM, R)]
    assert first[0] == "-0.01 at 400 nm is below 0: calibrate the black"
    assert first[1].startswith("1.05 at 700 nm is over 1: fluorescent, glossy, or a wrong scale")
    assert first[2].startswith("the same value, 0.3, 31 times in a row from 400 nm")
    padded = np.where(GRID_NM < 500, SLOPE[10], SLOPE)
    assert oddities(GRID_NM, [padded])[0] == [
        "the same value, 0.3333, 11 times in a row from 400 nm: a placeholder, or padding"
    ]


def test_a_black_that_is_printed_with_three_decimals_may_be_flat():
    assert oddities(GRID_NM, [np.full(31, 0.004)]) == [[]]


def test_5_nm_data_are_looked_at_in_10_nm_steps():
    nm = np.arange(380.0, 741, 5)
    fine = np.linspace(0.2, 0.7, nm.size)
    assert oddities(nm, [fine + 0.05 * (nm >= 550)])[0][0].endswith(
        "at 550 nm: a lamp or a filter that changed while it measured, or two files put together"
    )
    assert oddities(np.arange(400, 701, 20.0), [SLOPE[::2]]) == [[]]


def test_spread_is_the_mean_difference_from_the_mean():
    rng = np.random.default_rng(1)
    R = SLOPE + rng.normal(0, 0.002, (5, 31))
    found = repeats(R, "D50", 2)
    mean = R.mean(axis=0)
    expected = [float(de00(Lab(mean, "D50", 2), Lab(each, "D50", 2))) for each in R]
    assert found.each_de00 == pytest.approx(expected)
    assert found.spread_de00 == pytest.approx(np.mean(expected))
    np.testing.assert_allclose(found.mean, mean)
    assert found.outliers == ()
    assert disagreement(found) == ""


def test_an_outlier_is_named_and_stays_in_the_mean():
    R = SLOPE + np.array([[0.0], [0.0005], [0.04], [-0.0005]])
    found = repeats(R)
    assert found.outliers == (2,)
    np.testing.assert_allclose(found.mean, R.mean(axis=0))
    assert disagreement(found).startswith("reading 3 of 4 lies 1.7 dE00 from the mean")


def test_two_that_differ_and_many_that_differ_name_no_culprit():
    assert repeats(SLOPE + np.array([[0.0], [0.04]])).outliers == ()
    wild = repeats(SLOPE + np.array([[0.0], [0.04], [0.08], [-0.04]]))
    assert wild.outliers == ()
    assert "clean, calibrate, measure again" in disagreement(wild)
    assert repeats([SLOPE]).spread_de00 == 0


def test_drift_has_a_size_a_direction_and_a_state():
    tile = np.full(31, 0.88)
    assert drift(tile, tile).state == "well"
    assert drift(tile, tile - 0.008).state == "watch"
    dirty = drift(tile, tile - np.linspace(0.06, 0.0, 31))
    assert dirty.state == "stop"
    assert "yellower" in dirty.words
    assert dirty.de00 == pytest.approx(
        float(de00(Lab(tile, "D65", 10), Lab(tile - np.linspace(0.06, 0, 31), "D65", 10)))
    )


def test_what_tile_and_drawdown_say_together():
    still = drift(SLOPE, SLOPE)
    moved = drift(SLOPE, SLOPE + 0.03)
    for tile, drawdown, words in [
        (None, None, "no white tile and no reference drawdown kept yet"),
        (still, still, "the spectrophotometer has not drifted"),
        (still, None, "the spectrophotometer has not drifted"),
        (moved, moved, "tile and drawdown have both moved: the instrument"),
        (moved, still, "the tile has moved, for the drawdown has not moved: clean it"),
        (moved, None, "the tile has moved: clean it"),
        (still, moved, "only the reference drawdown has moved: it is soiled"),
        (None, moved, "the reference drawdown has moved: read the white tile"),
    ]:
        assert diagnosis(tile, drawdown).startswith(words)


def test_opacity_follows_the_thickness_of_a_film():
    """A Kubelka-Munk film over black and white with a surface of n = 1.5 (see optics)."""
    surface = {"base": 0.0, "gain": 0.96, "k2": 0.596}
    thin, thick = (
        [with_surface(film_R(0.05 * SLOPE, 1.0, X, g), **surface) for g in (0.05, 0.8)]
        for X in (3.0, 60.0)
    )
    assert not opacity(*thin).opaque
    assert opacity(*thin).words.startswith("not opaque: contrast ratio 0.")
    found = opacity(*thick)
    assert found.opaque
    assert found.contrast_ratio > 0.98
    assert "it counts as a drawdown" in found.words


def test_a_contrast_ratio_of_a_dark_film_is_not_held_against_it():
    """ISO 6504-1 is for Y of 70 and up (its abstract)."""
    dark = np.full(31, 0.012)
    found = opacity(dark * 0.97, dark)
    assert found.contrast_ratio < 0.98
    assert found.opaque
    assert "are the two mixed up?" in opacity(SLOPE + 0.05, SLOPE).words
    with pytest.raises(InputError, match="reading of nothing"):
        opacity(np.zeros(31), SLOPE)


def test_specular_included_and_excluded_of_a_glossy_film():
    """tests/authorities/saunderson_examples.csv, up to 7e-6 for 8 degrees in place of 0."""
    with (AUTHORITIES / "saunderson_examples.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    count = 0
    for row in rows:
        n = float(row["n"])
        if not 1.3 <= n <= 1.8:
            continue
        both = float(row["Rm_specular_included"]), float(row["Rm_specular_excluded_k1_dropped"])
        out = other_specular([both[0]], made=INCLUDED, wanted=EXCLUDED, n=n)
        back = other_specular([both[1]], made=EXCLUDED, wanted=INCLUDED, n=n)
        assert out[0] == pytest.approx(both[1], abs=1e-5)
        assert back[0] == pytest.approx(both[0], abs=1e-5)
        count += 1
    assert count > 20


def test_what_cannot_be_converted():
    with pytest.raises(InputError, match=r"refractive index is 15; a cured film has 1.3 to 1.8"):
        other_specular(SLOPE, made=INCLUDED, wanted=EXCLUDED, n=15)
    with pytest.raises(InputError, match="cannot be turned into"):
        other_specular(SLOPE, made="45/0", wanted=EXCLUDED, n=1.5)


def test_stretching_repeats_the_end_values():
    R = stretched(np.arange(420, 661, 10), np.linspace(0.2, 0.5, 25))
    assert R[:3].tolist() == [0.2, 0.2, 0.2]
    assert R[-5:].tolist() == [0.5] * 5
    with pytest.raises(InputError, match="must rise"):
        stretched([500, 400], [0.1, 0.1])
