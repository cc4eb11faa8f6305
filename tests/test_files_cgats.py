"""CGATS.17 (ISO 28178) text in every spelling, against the samples and colour-science."""

from pathlib import Path

import numpy as np
import pytest
from broken_files import TWO, cgats, pairs
from small_shop import NM, SPECTRA

from matchkit.errors import InputError
from matchkit.files.spectrum import read_readings, read_spectra

SAMPLES = Path(__file__).parent / "authorities" / "samples"


@pytest.fixture
def read(tmp_path):
    def _read(content, name="target.txt"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return read_spectra(path)

    return _read


def faults_of(read, content):
    with pytest.raises(InputError) as refusal:
        read(content)
    assert all(
        fault.isprintable() and fault.startswith("target.txt") for fault in refusal.value.faults
    )
    return refusal.value.faults


def assert_two(spectra, atol=6e-6):
    assert [each.name for each in spectra] == ["Lemon", "White"]
    np.testing.assert_allclose(spectra[0].readings, SPECTRA["Lemon"], atol=atol)
    np.testing.assert_allclose(spectra[1].readings, SPECTRA["White"], atol=atol)


@pytest.mark.parametrize("name", ["spectral_nm", "spectral_nm_400", "nm_400"])
def test_the_samples(name):
    spectra, notes = read_spectra(SAMPLES / f"{name}.cgats.txt")
    assert [each.name for each in spectra] == ["red 100", "green 100"]
    red = spectra[0]
    assert red.R[[0, 20, 30]].tolist() == [0.04, 0.42, 0.79982]
    assert (red.geometry, red.condition, red.backing) == ("45/0", "M1", "white")
    assert notes == []


@pytest.mark.parametrize(
    "field",
    [
        *("SPECTRAL_NM{:.0f}", "SPECTRAL_NM_{:.0f}", "NM_{:.0f}", "nm{:.0f}", "NM{:.0f}"),
        *("SPEC_{:.0f}", "spectral_{:.0f}", "R_{:.0f}", "Spectral_nm{:.0f}", "{:.0f}"),
    ],
)
def test_every_spelling_of_a_wavelength(read, field):
    spectra, notes = read(cgats(field=field))
    assert_two(spectra)
    assert notes == []


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: text.replace(" ", "\t"),
        lambda text: text.replace("CGATS.17", "# made by hand\nISO28178"),
        lambda text: text.replace("CGATS.17\n", ""),
        lambda text: text.replace("CGATS.17", "IT8.7/3"),
        lambda text: text.replace('"Lemon"', "Lemon").replace('"White"', "White"),
        lambda text: text.replace("BEGIN_DATA\n", "BEGIN_DATA\n# two samples\n\n"),
        lambda text: text.replace("SAMPLE_NAME SPEC", "SAMPLE_NAME\nSPEC"),
        lambda text: text.replace("NUMBER_OF_SETS 3\n", "").replace("NUMBER_OF_FIELDS 33\n", ""),
        lambda text: "\ufeff" + text,
        lambda text: text.replace("END_DATA\n", "END_DATA\n\n"),
        lambda text: text.replace("ORIGINATOR", 'KEYWORD "SHIFT"\nSHIFT "early 2"\nORIGINATOR'),
        lambda text: text.replace("0.", "0,"),
    ],
)
def test_habits_that_change_nothing(read, change):
    spectra, notes = read(change(cgats()))
    assert_two(spectra)
    assert notes == []


def test_utf_16(read):
    assert_two(read(cgats().encode("utf-16"))[0])


def test_names_with_blanks_in_quotes_or_between_tabs(read):
    named = {'Lemon 10 % "deep"': SPECTRA["Lemon"]}
    quoted = cgats(named).replace('"Lemon 10 % "deep""', '"Lemon 10 % ""deep"""')
    assert read(quoted)[0][0].name == 'Lemon 10 % "deep"'
    tabs = (
        cgats({"Lemon_10": SPECTRA["Lemon"]}).replace(" ", "\t").replace('"Lemon_10"', "Lemon 10")
    )
    assert read(tabs)[0][0].name == "Lemon 10"


def test_names_from_the_id_where_there_is_no_name(read):
    content = cgats().replace("SAMPLE_NAME", "SAMPLE_LOC")
    assert [each.name for each in read(content)[0]] == ["1", "2", "3"]
    empty = cgats().replace('"Lemon"', '""')
    assert [each.name for each in read(empty)[0]] == ["1", "White"]


def test_percent_by_its_values_or_by_the_keyword(read):
    percent = {name: [100 * R for R in reads] for name, reads in TWO.items()}
    spectra, notes = read(cgats(percent))
    assert_two(spectra)
    assert notes == ["target.txt: read as percent: values go up to 90.1"]
    spectra, notes = read(
        cgats({"Deep": [0.012 * R for R in percent["Lemon"]]}, head="SPECTRAL_NORM 100")
    )
    assert spectra[0].R.max() == pytest.approx(0.012 * SPECTRA["Lemon"][0].max(), abs=1e-6)
    assert notes[0] == "target.txt: read as percent: as the file says"
    (fault,) = faults_of(read, cgats(percent, head="SPECTRAL_NORM 1.0"))
    assert fault.startswith("target.txt: the file says its scale is 0-1, but values go up to 90.1")


def test_pairs_of_wavelength_and_value(read):
    spectra, notes = read(pairs())
    assert_two(spectra)
    assert notes == ["target.txt: read as percent: as the file says"]
    (fault,) = faults_of(read, pairs().replace('"White" 400', '"White" 390', 1))
    assert fault.startswith("target.txt row 7: its wavelengths are not those of the first row")
    (fault,) = faults_of(read, pairs().replace("SPECTRAL_PCT\n", "REMARK\n"))
    assert "31 fields of wavelengths and 30 of values" in fault


def test_several_tables_that_share_keywords_and_fields(read):
    first, second = cgats({"Lemon": SPECTRA["Lemon"]}), cgats({"White": SPECTRA["White"]})
    rest = second.partition("\n")[2]
    spectra, _ = read(first.replace("ORIG", 'FILTER "M1"\nORIG') + rest)
    assert_two(spectra)
    assert [each.condition for each in spectra] == ["M1", "M1"]
    only_data = "NUMBER_OF_SETS 2\nBEGIN_DATA" + rest.partition("BEGIN_DATA\n")[2].join(["\n", ""])
    assert_two(read(first + only_data)[0])


def test_a_table_without_spectra_beside_one_with(read):
    lab = "NUMBER_OF_FIELDS 4\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
    lab += "NUMBER_OF_SETS 1\nBEGIN_DATA\n1 50 1 2\nEND_DATA\n"
    spectra, notes = read(cgats() + lab)
    assert_two(spectra)
    assert (
        "without spectral fields, it has 'SAMPLE_ID', 'LAB_L', 'LAB_A', 'LAB_B'; left out"
        in notes[0]
    )
    assert "export the spectra, or give L*a*b*" in faults_of(read, "CGATS.17\n" + lab)[0]


@pytest.mark.parametrize("step_nm", [5, 10, 20])
def test_steps_of_5_10_and_20_nm_are_one_colour(read, step_nm):
    """The test samples of CIE 13.3 as colour-science has them, 5 nm, written at three steps.

    10 nm are every second value of them; 20 nm differ by the interpolation of CIE 167.
    """
    from colour.quality.datasets import SDS_TCS

    from matchkit.colorimetry.tristimulus import Lab, de00

    nm = np.arange(380.0, 781.0, step_nm)
    tcs = [(sd.name, sd) for sd in SDS_TCS["CIE 1995"].values()]
    spectra, _ = read(cgats({name: [[sd[w] for w in nm]] for name, sd in tcs}, nm))
    truth = np.array([[sd[w] for w in range(400, 701, 10)] for _, sd in tcs])
    R = np.array([each.R for each in spectra])
    error = de00(Lab(R, "D65", 10), Lab(truth, "D65", 10))
    assert error.max() < (0.13 if step_nm == 20 else 1e-3)
    assert (error.max() > 0.01) == (step_nm == 20)


def test_a_stated_lab_is_kept_with_its_light(tmp_path):
    content = cgats().replace("SAMPLE_NAME SPEC", "SAMPLE_NAME LAB_L LAB_A LAB_B SPEC")
    content = content.replace("FIELDS 33", "FIELDS 36").replace('"Lemon"', '"Lemon" 80 1 70,5')
    content = content.replace('"White"', '"White" 95 x 2').replace("0,5", "0.5")
    functions = 'WEIGHTING_FUNCTION "ILLUMINANT, D50"\nWEIGHTING_FUNCTION "OBSERVER, 2 degree"\n'
    path = tmp_path / "target.txt"
    path.write_text(content.replace("ORIG", functions + "ORIG"))
    (block,), kind, _ = read_readings(path)
    assert kind == "CGATS.17"
    assert block.labs[0].Lab == (80, 1, 70.5)
    assert (block.labs[0].light, block.labs[0].observer) == ("D50", 2)
    assert block.labs[1] is None
    path.write_text(content)
    assert read_readings(path)[0][0].labs[0].light == ""


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("END_DATA\n", "", "END_DATA is missing; the file was cut short"),
        ("END_DATA_FORMAT\n", "", "BEGIN_DATA before END_DATA_FORMAT; a part is missing"),
        ("BEGIN_DATA\n", "", "END_DATA but nothing is open"),
        ("BEGIN_DATA\n", "BEGIN_DATEN\n", "END_DATA but nothing is open"),
        ("END_DATA\n", "END_DATEN\n", "END_DATA is missing; the file was cut short"),
        ("BEGIN_DATA\n", "BEGIN_DATAS\n", "'BEGIN_DATAS' is not known; misspelt?"),
        ("NUMBER_OF_SETS 3", "NUMBER_OF_SETS 4", "NUMBER_OF_SETS is 4, but 3 rows of data follow"),
        ("NUMBER_OF_SETS 3", "NUMBER_OF_SETS \ufeff", "NUMBER_OF_SETS is '\\ufeff', but 3 rows"),
        ("FIELDS 33", "FIELDS 34", "NUMBER_OF_FIELDS is 34, but 33 fields are named"),
        ('"Lemon"', "Lemon ten", "row 9: 34 values for 33 fields; a name with blanks stands in"),
        ('"Lemon"', '"Lemon', "row 9: a quotation mark is not closed"),
        ('"Lemon"', '"../x"', "row 9: the name '../x' is a path to another folder"),
        ('"Lemon"', '"a\x07b"', "row 9: the name 'a\\x07b' holds a line break or an invisible"),
        ("0.82000", "nan", "row 9: 'nan' is not a number"),
        ("0.82000", "inf", "row 9: 'inf' is not a number"),
        ("0.82000", "1e999", "row 9: '1e999' is not a number"),
        ("0.82000", "0.8.2", "row 9: '0.8.2'"),
        ("0.82000", "0,82", "'0,82' and '0.04099' use two decimal marks"),
        ("0.82000", "8.2", "8.2 at 680 nm among values below 1.05; mend it"),
        ("NM700", "NM701", "wavelengths are not evenly spaced"),
        ("NM700", "NM690", "690 nm comes twice"),
        ("SPECTRAL_NM", "WEIGHT_", "a table without spectral fields"),
        ('"invented"', '"x"\nMEASUREMENT_SOURCE "M0 and M1"', "states M0 and M1 as its condition"),
    ],
)
def test_files_that_are_refused(read, old, new, reason):
    content = cgats()
    assert old in content
    count = -1 if old == "SPECTRAL_NM" else 1
    faults = faults_of(read, content.replace(old, new, count))
    assert any(reason in fault for fault in faults), faults


def test_many_misfits_are_counted_not_listed(read):
    rows = "\n".join(["x"] * 500)
    faults = faults_of(read, cgats().replace("END_DATA\n", rows + "\nEND_DATA\n"))
    assert len(faults) == 102
    assert "400 more rows that do not fit the fields" in faults[100]


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        ("CGATS.17\n" + "x" * 200_000, "row 2: 200,000 characters; no row is so long"),
        ("CGATS.17\n" + "\n" * 300_000, "more than 160,000 lines"),
        ("CGATS.17\nBEGIN_DATA_FORMAT\n" + "X " * 6000, "more than 500,000 values"),
    ],
)
def test_files_that_are_too_large(read, content, reason):
    assert any(reason in fault for fault in faults_of(read, content))


def test_other_columns_are_left_alone(read):
    content = (
        cgats().replace("SAMPLE_NAME", "SAMPLE_NAME XYZ_X", 1).replace("FIELDS 33", "FIELDS 34")
    )
    content = content.replace('"Lemon"', '"Lemon" 12.5').replace('"White"', '"White" 80')
    assert_two(read(content)[0])


def test_wavelengths_of_the_grid_are_found_among_more(read):
    nm = np.arange(360, 751, 10)
    spectra, _ = read(cgats({"Lemon": [np.interp(nm, NM, SPECTRA["Lemon"][0])]}, nm))
    np.testing.assert_allclose(spectra[0].R, SPECTRA["Lemon"][0], atol=6e-6)
