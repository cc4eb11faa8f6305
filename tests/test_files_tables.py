"""CSV of every local habit: read as it was meant, or refused with the reason."""

import numpy as np
import pytest

from matchkit.errors import InputError, did_you_mean, nearest
from matchkit.files import text as files_text
from matchkit.files.tables import amount, parse_table, read_table, spectral_values, wording
from matchkit.files.text import read_text

PLAIN = "ink,grams,note\nWhite,120.5,first\nRed,3,\n"


def recipe(content, **more):
    columns = {"required": ("ink",), "numeric": ("grams",), "text": ("note",)} | more
    return parse_table(content, "t.csv", **columns)


def cells(table):
    return [row.cells for row in table.rows]


def faults_of(content, **more):
    with pytest.raises(InputError) as refusal:
        recipe(content, **more)
    return refusal.value.faults


@pytest.mark.parametrize(
    "content",
    [
        PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("\n", "\r"),
        PLAIN.rstrip(),
        PLAIN.replace(",", ";"),
        PLAIN.replace(",", "\t"),
        "\n\n" + PLAIN,
        PLAIN.replace("\nRed", "\n\n,,\nRed"),
        PLAIN.replace("ink,", " INK , ").replace("White", " White "),
        PLAIN.replace("White", '"White"').replace("first", '"first"'),
        "".join(line + ",\n" for line in PLAIN.splitlines()),
        PLAIN.replace("Red,3,", "Red,3,,,"),
        PLAIN.replace("Red,3,", "Red,3"),
        PLAIN.replace("ink,grams,note", "supplier,ink,grams,note")
        .replace("White", "x,White")
        .replace("Red", ",Red"),
    ],
)
def test_habits_that_change_nothing(content):
    table = recipe(content)
    assert cells(table) == [
        {"ink": "White", "grams": "120.5", "note": "first"},
        {"ink": "Red", "grams": "3", "note": ""},
    ]
    assert table.decimal == "."
    assert not table.faults
    assert not table.notes


def test_decimal_commas_between_semicolons_tabs_or_in_quotes():
    for content in ("ink;grams\nRed;12,5\n", "ink\tgrams\nRed\t12,5\n", 'ink,grams\nRed,"12,5"\n'):
        table = recipe(content)
        assert table.decimal == ","
        assert amount(table.rows[0], "grams", decimal=table.decimal, faults=[]) == 12.5


def test_rows_are_numbered_as_a_spreadsheet_does():
    table = recipe('\n\nink,grams,note\nRed,1,"two\nlines"\n\n;,,\nBlue,2,\n')
    assert [row.where for row in table.rows] == ["t.csv row 4", "t.csv row 6", "t.csv row 7"]


def test_decimal_commas_between_commas_are_refused_in_every_row():
    table = recipe("ink,grams\nWhite,12,5\nRed,87,5\nBlue,3\n")
    assert [fault[:11] for fault in table.faults] == ["t.csv row 2", "t.csv row 3"]
    assert all("decimal commas" in fault for fault in table.faults)


def test_a_trailing_comma_does_not_hide_a_decimal_comma():
    """12,5, under two columns and one more: 12 and 5, or 12.5 and nothing?"""
    (fault,) = recipe("ink,grams,note\nWhite,12,5,\n").faults
    assert "decimal commas" in fault


def test_extra_cells_are_refused():
    (fault,) = recipe("ink,grams\nWhite,12.5,x\n").faults
    assert fault == (
        "t.csv row 2: 3 cells under 2 columns; remove the extra cells or name their columns"
    )


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        ("ink;grams\nWhite;1,5\nRed;2.5\n", "two decimal marks"),
        ("ink;grams\nWhite;1,250\n", "can be read as 1250 or as 1,25;"),
        ("ink;grams\nWhite;1.250\n", "can be read as 1250 or as 1.25;"),
        ("ink;grams\nWhite,1\n", None),
        ("ink\nWhite\n", "one column only"),
        ("\n \n;;\n", "the file is empty"),
        ("", "the file is empty"),
        ("a,b\n1,2\n", "column 'ink' is missing; found 'a', 'b'"),
        ("inks,grams\nRed,2\n", "column 'ink' is missing; is 'inks' meant? Rename it"),
        ("ink,grams,grams\nRed,2,3\n", "column 'grams' is there 2 times"),
        ('ink,grams\n"Red,2\nBlue,3\n', "a quotation mark is not closed"),
        ('ink,grams\n"Red"x,2\n', "a quotation mark is not closed"),
        ("ink," * 30_000, "120000 characters; no header is so long"),
        ("ink,grams\n" + "x" * 200_000 + ",2\n", "longer than 100,000 characters"),
    ],
)
def test_tables_that_cannot_be_understood(content, reason):
    if reason is None:
        assert "not separated by semicolons" in recipe(content).faults[0]
    else:
        assert any(reason in fault for fault in faults_of(content))


def test_a_near_miss_of_a_name_is_asked_about():
    """A limit that would be lost is a fault, a remark that would be lost is a note."""
    table = recipe("ink,grams,notes,shelf\nRed,2,x,3\n")
    assert table.notes == ("t.csv row 1: column 'notes' is not read; did you mean 'note'?",)
    (fault,) = faults_of("ink,gramms\nRed,2\n", limits=("grams",))
    assert "did you mean 'grams'" in fault


def test_wavelengths_are_found_in_any_usual_heading():
    for heads in ("400,410", "400 nm,410 nm", "400nm,410nm", "400.0,410.0", '"400,0","410,0"'):
        table = parse_table(f"name,{heads}\na,0.1,0.2\n", "t.csv", spectral=True)
        assert table.nm.tolist() == [400, 410]
        assert table.rows[0].values == ("0.1", "0.2")
        assert not table.percent
    assert parse_table("name,400 %,410 %\na,1,2\n", "t.csv", spectral=True).percent
    semicolons = parse_table("name;400,0;410,0\na;0,1;0,2\n", "t.csv", spectral=True)
    assert (semicolons.nm.tolist(), semicolons.decimal) == ([400, 410], ",")
    for heads, reason in [("a,b", "no wavelength columns"), ("400,410 %", "headed %")]:
        with pytest.raises(InputError, match=reason):
            parse_table(f"name,{heads}\na,1,2\n", "t.csv", spectral=True)


def test_bad_cells_of_a_spectrum_are_one_line_a_row():
    content = "name,400,410,420\na,0.1,0.2,0.3\nb,nan,x,0.3\nc,0.1,,0.3\n"
    rows, values, faults = spectral_values(parse_table(content, "t.csv", spectral=True))
    assert [row.first for row in rows] == ["a"]
    np.testing.assert_array_equal(values, [[0.1, 0.2, 0.3]])
    assert faults == [
        "t.csv row 3: 400 nm: 'nan' is not a number; write one such as 0.5"
        " (and 1 more cells of this row)",
        "t.csv row 4: 410 nm: nothing is there; write a number, such as 0.5",
    ]


def test_amounts_have_ranges_and_empty_cells():
    table = recipe("ink,grams\nRed,-2\nBlue,\nGreen,140\nGrey,x\n")
    faults = []
    values = [
        amount(row, "grams", decimal=".", faults=faults, high=100, required=row.first == "Blue")
        for row in table.rows
    ]
    assert values == [None] * 4
    assert faults == [
        "t.csv row 2: grams is -2; write 0 to 100",
        "t.csv row 3: grams: nothing is there; write a number, such as 0.5",
        "t.csv row 4: grams is 140; write 0 to 100",
        "t.csv row 5: grams: 'x' is not a number; write one such as 0.5",
    ]


@pytest.mark.parametrize("name", ["a\tb", "a\x07b", "a\u2028b", "a\u202eb", "a\x85b"])
def test_invisible_characters_in_names_are_refused(name):
    faults = []
    wording(recipe(f'ink,grams\n"{name}",1\n').rows[0], "ink", faults=faults)
    assert "invisible" in faults[0]
    assert faults[0].isprintable()


def test_accents_stored_in_two_ways_are_one_name():
    rows = recipe("ink,grams\nCr\u00e8me,1\nCre\u0300me,1\n").rows
    assert len({wording(row, "ink", faults=[]) for row in rows}) == 1


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_encodings_with_a_mark_or_utf_8(tmp_path, encoding):
    path = tmp_path / "t.csv"
    path.write_bytes("ink,grams\nCrème ł,1\n".encode(encoding))
    assert read_table(path, required=("ink", "grams")).rows[0].cells["ink"] == "Crème ł"


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "the file is empty"),
        (b" \r\n \n", "the file is empty"),
        (b"PK\x03\x04rest", "spreadsheet workbook"),
        (b"\xd0\xcf\x11\xe0rest", "old spreadsheet workbook"),
        (b"%PDF-1.7", "PDF"),
        (b"ink,grams\nCr\xe8me,1\n", "row 2: not UTF-8 text (byte 0xe8)"),
        (b"ink,grams\x00\n", "binary"),
        (bytes(range(256)), "binary"),
        ("ink,grams".encode("utf-16-le"), "UTF-16 without its mark"),
        ("ink,grams".encode("utf-32"), "binary"),
        (b"\xff\xfea", "not UTF-8"),
    ],
)
def test_files_that_are_no_text(tmp_path, content, reason):
    path = tmp_path / "t.csv"
    path.write_bytes(content)
    with pytest.raises(InputError) as refusal:
        read_text(path)
    assert refusal.value.faults[0].startswith("t.csv")
    assert reason in str(refusal.value)


def test_missing_files_folders_and_files_too_large(tmp_path, monkeypatch):
    (tmp_path / "Inks.CSV").write_text("x")
    with pytest.raises(InputError, match=r"inks\.csv: not found; there is a 'Inks\.CSV'"):
        read_text(tmp_path / "inks.csv")
    with pytest.raises(InputError, match=r"is a folder; a file is expected$"):
        read_text(tmp_path)
    monkeypatch.setattr(files_text, "LARGEST_BYTES", 2_000_000)
    (tmp_path / "big.csv").write_bytes(b"1" * 2_000_001)
    with pytest.raises(InputError, match="larger than 2 MB"):
        read_text(tmp_path / "big.csv")


def test_hints_are_for_slips_only():
    assert did_you_mean("Lemmon", ["Lemon", "White"]) == "; did you mean 'Lemon'?"
    assert did_you_mean("Cobalt", ["Lemon", "White"]) == ""
    assert nearest("x" * 100_000, ["x" * 99_999]) == ""
