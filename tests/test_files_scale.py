"""Percent or 0-1: told by the file, by its own L*a*b*, by the shop, or asked; never guessed."""

import numpy as np
import pytest

from matchkit.colorimetry.tristimulus import Lab
from matchkit.errors import InputError
from matchkit.files.spectrum import read_spectra

NM = np.arange(400, 701, 10)
DARK = np.linspace(0.55, 0.90, 31)  # percent of a near-black, or a white that is 0-1


@pytest.fixture
def write(tmp_path):
    def written(R, before="name", cells="Dark", above=""):
        head = ",".join([before, *(str(nm) for nm in NM)])
        row = ",".join([cells, *(f"{value:.4f}" for value in R)])
        path = tmp_path / f"dark{len(list(tmp_path.iterdir()))}.csv"
        path.write_text(f"{above}{head}\n{row}\n", encoding="utf-8")
        return path

    return written


def read(path, **said):
    (spectrum,), notes = read_spectra(path, **said)
    return spectrum, " ".join(notes)


def test_a_file_that_may_be_either_is_asked_about(write):
    for R in (DARK, DARK * 1.155 / 0.9, DARK * 0.22 / 0.9):
        with pytest.raises(InputError) as refusal:
            read_spectra(write(R))
        (line,) = refusal.value.faults
        assert "percent or 0-1?" in line
        assert "--scale percent or --scale fraction" in line
        assert "fluorescent" not in line


def test_what_a_person_says_is_taken_and_told(write):
    spectrum, told = read(write(DARK), scale="percent")
    assert pytest.approx(DARK / 100, abs=1e-6) == spectrum.R
    assert spectrum.scale == "percent"
    assert "read as percent: as was said" in told
    spectrum, told = read(write(DARK), scale="fraction")
    assert pytest.approx(DARK, abs=1e-4) == spectrum.R
    assert "read as 0-1" in told


@pytest.mark.parametrize("said", ["", "percent", "fraction"])
def test_what_the_file_says_is_not_asked(write, said):
    for path, scale in (
        (write(DARK, above="scale,percent\n"), "percent"),
        (write(DARK, before="name,scale", cells="Dark,fraction"), "0-1"),
        (write(DARK * 3), "percent"),  # to 2.7: no reflectance
    ):
        assert read(path, scale=said)[0].scale == scale


@pytest.mark.parametrize(("divisor", "scale"), [(100, "percent"), (1, "0-1")])
def test_its_own_lab_shows_the_scale(write, divisor, scale):
    for light, observer in (("D50", 2), ("D65", 10)):
        own = Lab(DARK / divisor, light, observer)
        cells = ",".join(["Dark", *(f"{value:.2f}" for value in own)])
        spectrum, told = read(write(DARK, before="name,L*,a*,b*", cells=cells))
        assert spectrum.scale == scale
        assert ("its own L*a*b*" in told) == (scale == "percent")
    wrong = write(DARK, before="name,L*,a*,b*", cells="Dark,50,0,0")
    with pytest.raises(InputError, match="percent or 0-1"):
        read_spectra(wrong)


def test_as_percent_no_file_is_much_darker_than_the_shop(write):
    """A light target is not asked about: as percent it is darker than the shop's black."""
    pastel = np.linspace(0.3, 0.9, 31)
    spectrum, told = read(write(pastel), darkest=lambda: 0.0074)
    assert pytest.approx(pastel) == spectrum.R
    assert "darker than any reading of this shop, 0.74 %" in told
    with pytest.raises(InputError, match="percent or 0-1"):
        read_spectra(write(pastel), darkest=lambda: 0.004)
    with pytest.raises(InputError, match="percent or 0-1"):
        read_spectra(write(pastel), darkest=lambda: None)


def test_what_no_film_reads_is_not_asked_about_and_not_told(write):
    spectrum, told = read(write(np.linspace(0.05, 0.9, 31)))
    assert (spectrum.scale, told) == ("0-1", "")


def test_a_heading_of_percent_over_values_that_no_film_has_is_questioned(tmp_path):
    path = tmp_path / "pairs.csv"
    rows = "".join(f"{nm},{0.05 + (nm - 400) / 1000:.4f}\n" for nm in NM)
    path.write_text(f"wavelength_nm,reflectance %\n{rows}", encoding="utf-8")
    spectrum, told = read(path)
    assert spectrum.scale == "percent"
    assert "darker than most blacks; if it was written as 0-1" in told
