"""CSV layouts beside the wide one, headings of every habit, lines above the table."""

import numpy as np
import pytest
from broken_files import TWO, long, tall
from small_shop import NM, SPECTRA, wide

from matchkit.errors import InputError
from matchkit.files.spectrum import read_readings, read_spectra

SWAPPED = str.maketrans(",.", ";,")


@pytest.fixture
def read(tmp_path):
    def _read(content, name="target.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return read_spectra(path)

    return _read


def faults_of(read, content):
    with pytest.raises(InputError) as refusal:
        read(content)
    for fault in refusal.value.faults:
        assert fault.isprintable()
        assert fault.startswith("target.csv")
    return refusal.value.faults


def assert_two(spectra):
    assert [each.name for each in spectra] == ["Lemon", "White"]
    np.testing.assert_allclose(spectra[0].readings, SPECTRA["Lemon"], atol=6e-5)
    np.testing.assert_allclose(spectra[1].readings, SPECTRA["White"], atol=6e-5)


@pytest.mark.parametrize(
    "content",
    [
        long(),
        long().translate(SWAPPED),
        long(separator="\t"),
        long(separator="\t").replace(".", ","),
        long(heads=("Sample Name", "Wavelength [nm]", "Reflectance factor")),
        long(heads=("Muster", "Wellenlänge (nm)", "Reflexion")),
        long(heads=("échantillon", "longueur d'onde", "réflectance")),
        long(heads=("patch", "λ", "value")),
        long(heads=("whatever", "nm", "R")),
        tall(),
        tall().translate(SWAPPED),
        tall(separator="\t"),
        tall().replace("wavelength,", "nm,"),
        tall().replace(",", " "),
        "\n".join(line + ",," for line in tall().splitlines()),
    ],
)
def test_long_and_tall(read, content):
    spectra, notes = read(content)
    assert_two(spectra)
    assert notes == []


def test_long_by_wavelength_with_the_names_mixed(read):
    head, *rows = long({"Lemon": TWO["Lemon"], "Grey": SPECTRA["Grey"]}).splitlines()
    mixed = [rows[i + 31 * j] for i in range(31) for j in range(2)]
    spectra, _ = read("\n".join([head, *mixed]))
    assert [each.name for each in spectra] == ["Lemon", "Grey"]
    np.testing.assert_allclose(spectra[1].R, SPECTRA["Grey"][0], atol=6e-6)


def test_long_with_a_column_that_counts_the_readings(read):
    head, *rows = long({"White": [R / 10 for R in TWO["White"]]}).splitlines()
    counted = [f"{i // 31},{row}" for i, row in enumerate(rows)]
    mixed = [counted[i + 31 * j] for i in range(31) for j in range(2)]
    (white,), _ = read("\n".join([f"reading,{head}", *mixed]))
    assert white.readings.shape == (2, 31)


def test_long_in_percent_by_its_heading(read):
    content = long({"Deep": [100 * R for R in TWO["Lemon"]]}, heads=("name", "nm", "R (%)"))
    (deep,), notes = read(content)
    np.testing.assert_allclose(deep.readings, TWO["Lemon"], atol=6e-6)
    assert notes == ["target.csv: read as percent: as the file says"]


def test_long_names_on_different_wavelengths(read):
    wider = np.arange(380, 741, 20)
    R = np.interp(wider, NM, SPECTRA["Grey"][0])
    more = "".join(f"Grey,{w},{v:.5f}\n" for w, v in zip(wider, R, strict=True))
    spectra, _ = read(long() + more)
    assert [each.name for each in spectra] == ["Lemon", "White", "Grey"]


@pytest.mark.parametrize(
    ("separator", "decimal"), [(",", "."), (";", ","), ("\t", ","), ("\t", "."), ("  ", ".")]
)
def test_two_bare_columns(read, separator, decimal):
    rows = [f"{w}{separator}{v:.4f}" for w, v in zip(NM, SPECTRA["Lemon"][0], strict=True)]
    content = "\n".join(rows)
    if decimal == ",":
        content = content.replace(".", ",")
    (lemon,), notes = read(content)
    assert lemon.name == "target"
    np.testing.assert_allclose(lemon.R, SPECTRA["Lemon"][0], atol=6e-5)
    assert notes == ["target.csv: no headings; read as wavelength and reflectance"]


def test_lines_above_the_table_say_how_it_was_measured(read):
    above = (
        "Report;two samples\nDate: 2026-03-02\nGeometry;d/8\nSpecular;Included\nUV: excluded\n"
        "Backing;Black\nFilter;none\nScale;0..100\nRange;400;700\n\n"
    )
    percent = {name: [100 * R for R in reads] for name, reads in TWO.items()}
    spectra, notes = read(above + wide(percent, separator=";"))
    assert_two(spectra)
    assert {each.geometry for each in spectra} == {"d/8 specular included"}
    assert {each.condition for each in spectra} == {"UV excluded"}
    assert {each.backing for each in spectra} == {"black"}
    assert notes == [
        "target.csv: the table begins in row 11; the lines above are read for how it was measured,"
        " and otherwise left alone",
        "target.csv: read as percent: as the file says",
    ]


def test_a_percentage_in_a_remark_is_no_scale(read):
    assert_two(read("Reflectance of 5 % tints; two\n" + wide(TWO, separator=";"))[0])
    spectra, notes = read("Unit,%\n" + wide({"a": [100 * R for R in TWO["Lemon"]]}))
    assert notes[1] == "target.csv: read as percent: as the file says"
    np.testing.assert_allclose(spectra[0].readings, TWO["Lemon"], atol=6e-5)


@pytest.mark.parametrize("table", [wide(TWO), long(), tall()])
def test_lines_above_any_layout(read, table):
    spectra, _ = read("Made by,us\nMode,SPEX\n,,\n" + table)
    assert_two(spectra)
    assert spectra[0].geometry == "d/8 specular excluded"


def test_rows_keep_their_numbers_below_such_lines(read):
    content = "Made by,us\n\n" + wide(TWO).replace("0.8200", "x", 1)
    assert faults_of(read, content)[0].startswith("target.csv row 4: 650 nm: 'x' is not a number")
    rows = long().splitlines()
    rows[5] = "Lemon,440,x"
    assert faults_of(read, "A,b\n" + "\n".join(rows))[0].startswith("target.csv row 7: reflectance")


def test_columns_that_say_how_each_row_was_measured(read):
    lines = wide(TWO).splitlines()
    rows = [line.replace(",", ",45/0,M1,White,none,", 1) for line in lines[1:]]
    head = lines[0].replace(",", ",Geometry,Condition,Backing,Filter,", 1)
    spectra, _ = read("\n".join([head, *rows]))
    assert_two(spectra)
    first = spectra[0]
    assert (first.geometry, first.condition, first.backing, first.filter) == (
        "45/0",
        "M1",
        "white",
        "",
    )


def test_a_column_that_only_counts_is_not_the_name(read):
    lines = wide(TWO).splitlines()
    numbered = [lines[0].replace("drawdown", "No,Sample name")]
    numbered += [f"{i},{line}" for i, line in enumerate(lines[1:], 1)]
    spectra, _ = read("\n".join(numbered))
    assert_two(spectra)


@pytest.mark.parametrize(
    "form", ["R{}", "R {}", "%R {}", "nm{}", "NM_{}", "SPEC_{}", "{} nm", "{}nm"]
)
def test_every_spelling_of_a_wavelength(read, form):
    lines = wide(TWO).splitlines()
    lines[0] = ",".join(["name", *(form.format(nm) for nm in NM)])
    spectra, _ = read("\n".join(lines))
    np.testing.assert_allclose(
        spectra[0].R, SPECTRA["Lemon"][0] / (100 if "%" in form else 1), atol=6e-5
    )


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
@pytest.mark.parametrize("content", [long(), tall(), "A;b\n" + wide(TWO)])
def test_encodings(read, content, encoding):
    assert_two(read(content.encode(encoding))[0])


@pytest.mark.parametrize("step_nm", [5, 10, 20])
def test_steps_of_5_10_and_20_nm_are_one_colour(read, step_nm):
    """The test samples of CIE 13.3 as colour-science has them, written at three steps."""
    from colour.quality.datasets import SDS_TCS

    from matchkit.colorimetry.tristimulus import Lab, de00

    nm = np.arange(380.0, 781.0, step_nm)
    tcs = list(SDS_TCS["CIE 1995"].items())
    spectra, _ = read(tall({name: [[sd[w] for w in nm]] for name, sd in tcs}, nm, separator=";"))
    truth = np.array([[sd[w] for w in range(400, 701, 10)] for _, sd in tcs])
    error = de00(Lab([each.R for each in spectra], "D65", 10), Lab(truth, "D65", 10))
    assert error.max() < (0.13 if step_nm == 20 else 1e-3)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (long().replace("0.04099", "", 1), "row 2: reflectance: nothing is there"),
        (long().replace("Lemon,400", ",400"), "row 2: the name is empty; write a name"),
        (long().replace("Lemon,", "../x,"), "the name '../x' is a path to another folder"),
        (long().replace("Lemon,430", "Lemon,4300"), "wavelengths must rise: 440 nm comes after"),
        (long().replace("Lemon,430,", "Lemon,440,"), "440 nm comes twice"),
        (long().replace("Lemon,700", "Lemon,701"), "wavelengths are not evenly spaced"),
        (long().replace("reflectance", "x"), "no column 'reflectance'"),
        (long(heads=("name", "nm", "nm")), "several columns of wavelengths"),
        (long() + "White,400\n", "row 95: reflectance: nothing is there"),
        (long() + "White,400,0,5\n", "row 95: 4 cells under 3 columns; decimal commas"),
        (tall().replace("White", "", 1), "column 3: values without a name above them"),
        (tall().replace("Lemon", "..\\x", 1), "column 2: the heading '..\\\\x' is a path"),
        (tall().replace("0.04099", "?", 1), "row 2: 'Lemon': '?' is not a number"),
        (
            "Geometry,specular included and specular excluded\n" + wide(TWO),
            "states d/8 specular included and d/8 specular excl",
        ),
        ("wavelength,R\n", "no values under the header"),
        ("x" * 300_000, "300000 characters; no header is so long"),
        ("," * 1_200_000, "more than 160,000 rows or 500,000 cells"),
        ("\n" * 300_000 + "name,400,410\n", "more than 160,000 rows or 500,000 cells"),
    ],
)
def test_files_that_are_refused(read, content, reason):
    faults = faults_of(read, content)
    assert any(reason in fault for fault in faults), faults


def test_the_kind_of_a_file_is_told(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text(wide(TWO))
    assert read_readings(path)[1] == "CSV"


def test_three_decimals_after_a_comma_are_decimals_in_a_spectrum(read):
    """What a spreadsheet of many countries writes: semicolons, commas, percent."""
    rows = [f"{nm};{f'{10 + (nm - 380) / 7:.3f}'.replace('.', ',')}" for nm in range(400, 701, 10)]
    ((spectrum,), _) = read("nm;%R\n" + "\n".join(rows) + "\n")
    assert spectrum.R[0] == pytest.approx(0.12857, abs=1e-6)
