"""Spectrum files: wide or two columns, 0-1 or percent, one name or many."""

import numpy as np
import pytest
from small_shop import NM, SPECTRA, edge, wide

from matchkit.errors import InputError
from matchkit.files.spectrum import read_spectra, read_spectrum

TWO = {"Lemon": SPECTRA["Lemon"], "Grey": SPECTRA["Grey"]}
PERCENT = {name: [100 * R for R in reads] for name, reads in TWO.items()}


@pytest.fixture
def write(tmp_path):
    def _write(content, name="target.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return path

    return _write


def faults_of(path, **more):
    with pytest.raises(InputError) as refusal:
        (read_spectrum if more else read_spectra)(path, **more)
    for fault in refusal.value.faults:
        assert fault.isprintable()
        assert fault.startswith(path.name)
    return refusal.value.faults


def columns(R, head="wavelength_nm,reflectance", form="{:.4f}"):
    return head + "\n" + "".join(f"{w},{form.format(v)}\n" for w, v in zip(NM, R, strict=True))


@pytest.mark.parametrize("first", ["name", "target", "drawdown", "Sample ID", ""])
def test_wide_with_any_first_column(write, first):
    spectra, notes = read_spectra(write(wide(TWO, first=first)))
    assert [spectrum.name for spectrum in spectra] == ["Lemon", "Grey"]
    np.testing.assert_allclose(spectra[0].R, SPECTRA["Lemon"][0], atol=5e-5)
    assert notes == []


def test_other_columns_are_left_alone(write):
    content = wide(TWO).replace("drawdown,", "name,customer,").replace("Lemon,", "Lemon,A. B.,")
    assert len(read_spectra(write(content.replace("Grey,", "Grey,,")))[0]) == 2


def test_rows_with_one_name_are_repeat_readings(write):
    (white,), _ = read_spectra(write(wide({"White": SPECTRA["White"]})), scale="fraction")
    assert white.readings.shape == (2, 31)
    np.testing.assert_allclose(white.R, np.mean(SPECTRA["White"], axis=0), atol=5e-5)


@pytest.mark.parametrize(
    "head",
    [
        "wavelength_nm,reflectance",
        "Wavelength (nm),Reflectance",
        "wavelength,R",
        "nm,reflectance factor",
        "reflectance,wavelength_nm",
    ],
)
def test_two_columns_are_one_spectrum_named_by_the_file(write, head):
    content = columns(SPECTRA["Lemon"][0], head)
    if head.startswith("refl"):
        rows = [line.split(",")[::-1] for line in content.splitlines()[1:]]
        content = head + "\n" + "".join(",".join(row) + "\n" for row in rows)
    spectrum, notes = read_spectrum(write(content, "my lemon.csv"))
    assert spectrum.name == "my lemon"
    assert spectrum.readings.shape == (1, 31)
    np.testing.assert_allclose(spectrum.R, SPECTRA["Lemon"][0], atol=5e-5)
    assert notes == []


@pytest.mark.parametrize("head", ["wavelength_nm,reflectance (%)", "nm,R%", "nm,percent", "nm,%R"])
def test_percent_that_two_columns_declare(write, head):
    spectrum, notes = read_spectrum(write(columns(100 * SPECTRA["Grey"][0], head)))
    np.testing.assert_allclose(spectrum.R, SPECTRA["Grey"][0], atol=5e-5)
    assert notes == ["target.csv: read as percent: as the file says"]


def test_percent_that_headings_declare(write):
    content = wide(PERCENT)
    for w in NM:
        content = content.replace(f",{w}", f",{w} %", 1)
    spectra, notes = read_spectra(write(content))
    np.testing.assert_allclose(spectra[1].R, SPECTRA["Grey"][0], atol=5e-5)
    assert notes == ["target.csv: read as percent: as the file says"]


def test_percent_that_the_values_tell(write):
    spectra, notes = read_spectra(write(wide(PERCENT)))
    np.testing.assert_allclose(spectra[1].R, SPECTRA["Grey"][0], atol=5e-5)
    assert notes == ["target.csv: read as percent: values go up to 82"]


def test_a_spectrum_that_may_be_in_another_scale_is_said(write):
    _, notes = read_spectra(write(wide(PERCENT | {"Deep": [edge(0.2, 0.9, 500)]})))
    assert "row 4 'Deep': nowhere above 1.05 %" in notes[1]


def test_one_slip_does_not_turn_a_file_into_percent(write):
    slip = SPECTRA["Grey"][0].copy()
    slip[7] = 3.1
    (fault,) = faults_of(write(wide(TWO | {"Grey": [slip]})))
    assert fault.startswith("target.csv row 3 'Grey': 3.1 at 470 nm among values below 1.05")


def test_decimal_commas(write):
    swapped = str.maketrans(",.", ";,")
    spectra, _ = read_spectra(write(wide(TWO).translate(swapped)))
    np.testing.assert_allclose(spectra[0].R, SPECTRA["Lemon"][0], atol=5e-5)
    spectrum, _ = read_spectrum(write(columns(SPECTRA["Lemon"][0]).translate(swapped)))
    np.testing.assert_allclose(spectrum.R, SPECTRA["Lemon"][0], atol=5e-5)


def test_several_names_need_a_choice(write):
    path = write(wide(TWO))
    assert read_spectrum(path, name="Grey")[0].name == "Grey"
    assert faults_of(path, name=None) == (
        "target.csv: holds several spectra; name one of 'Lemon', 'Grey'",
    )
    assert faults_of(path, name="Gray") == (
        "target.csv: no 'Gray'; it holds 'Lemon', 'Grey'; did you mean 'Grey'?",
    )
    many = write(wide({f"n{i}": SPECTRA["Lemon"] for i in range(30)}))
    assert faults_of(many, name=None)[0].endswith("'n19' and 10 more")


def test_a_single_row_without_a_name_takes_the_files(write):
    content = wide({"": SPECTRA["Lemon"]}).replace("drawdown,", "").replace("\n,", "\n")
    assert read_spectrum(write(content))[0].name == "target"
    two_rows = content + content.splitlines()[1] + "\n"
    assert "no column of names" in faults_of(write(two_rows))[0]


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        ("CGATS.17\nBEGIN_DATA_FORMAT\n", "END_DATA_FORMAT is missing; the file was cut short"),
        ("\n  ISO28178\n", "no BEGIN_DATA; export it again"),
        ('\ufeff<?xml version="1.0"?><CxF/>', "another version of CxF (no namespace)"),
        ("", "the file is empty"),
        ("name,400,410\n", "no spectra under the header"),
        ("wavelength_nm,reflectance\n", "no values under the header"),
        ("wavelength_nm,value\n400,0.1\n", "a row of two or more numbers"),
        ("wavelength_nm\n400\n", "one column only"),
        ("wavelength_nm,reflectance,percent\n400,0.1,10\n", "two columns of values"),
        ("wavelength_nm,reflectance\n400,0,1\n410,0,2\n", "decimal commas"),
        ("wavelength_nm,reflectance\n400,0.1\n400,0.1\n", "400 nm comes twice"),
        ("wavelength_nm,reflectance\n400,0.1\n410,\n", "row 3: reflectance: nothing is there"),
        ("name,L,a,b\nx,50,1,2\n", "no wavelength columns"),
        (wide({"": SPECTRA["Grey"]}), "row 2: the first cell is empty"),
        (wide({"a\x07": SPECTRA["Grey"]}), "invisible character"),
        (wide({"x": [edge(0.03, 1.4, 500)]}), "a fluorescent ink"),
        (wide({"x": [edge(30, 140, 500)]}), "a fluorescent ink"),
        (wide({"x": [np.full(31, np.nan)]}), "is not a number"),
        (wide({"x": SPECTRA["Grey"]}, NM + 10), "begin at 410 nm"),
    ],
)
def test_files_that_are_refused(write, content, reason):
    assert any(reason in fault for fault in faults_of(write(content)))


def test_every_fault_of_a_file_is_said(write):
    bad = {"a": [edge(-0.1, 0.5, 500)], "b": [edge(0.3, 1.4, 500)], "c": SPECTRA["Grey"]}
    assert len(faults_of(write(wide(bad)))) == 2
