"""Many faults of one kind are told in few lines, and none is lost."""

import pytest
from small_shop import DRAWDOWNS, NM, put

from matchkit.cli import main
from matchkit.errors import briefly


def test_a_fault_of_many_rows_is_read_three_times_with_the_other_rows(tmp_path, capsys):
    """A column of values that a spreadsheet spoilt, and two more faults below it."""
    names = [f"Tint {k}" for k in range(1, 21)]
    drawn = DRAWDOWNS + "".join(f"{n},Lemon,5,L4\n{n},White,95,W7\n" for n in names)
    rows = [["drawdown", *map(str, NM)], *([name, "#REF!", *["0.3"] * 30] for name in names)]
    rows += [["Tint 1", "", *["0.3"] * 30], ["Tint 21", *["0.3"] * 31]]
    spectra = "".join(",".join(row) + "\n" for row in rows)
    shop = put(tmp_path / "shop", drawdowns_csv=drawn, spectra_csv=spectra, mixes_csv=None)
    assert main(["fit", str(shop)]) == 2
    said = capsys.readouterr().err.splitlines()
    why = said[0].partition("400 nm: ")[2]
    assert why.startswith("'#REF!'")
    assert said[:4] == [
        *(f"spectra.csv row {row}: 400 nm: {why}" for row in (2, 3, 4)),
        "spectra.csv rows 5-21: the same, 17 more",
    ]
    assert said[4].startswith("spectra.csv row 22: 400 nm: nothing is there")
    assert any("'Tint 21' is neither in drawdowns.csv" in line for line in said[5:])


@pytest.mark.parametrize(
    "faults",
    [
        [f"a.csv row {row}: grams: nothing is there" for row in range(2, 8)],  # few
        [f"a.csv row {row}: grams is {-row}; write 0 or more" for row in range(2, 30)],
        [f"a.csv row {row}: ink 'x' is not known; did you mean 'x{row}'?" for row in range(2, 30)],
        [f"a.csv: column 'c{k}' is missing" for k in range(30)],
        [f"{k}.csv row 2: grams: nothing is there" for k in range(30)],
    ],
)
def test_faults_that_differ_are_all_told(faults):
    assert briefly(faults) == faults


def test_every_row_is_named_whatever_stands_between():
    one = [f"a.csv row {row}: drawdown 'D{row}' has no reading" for row in (3, 5, 7, 8, 9, 20, 22)]
    mixed = [line for fault in one for line in (fault, f"b: {fault}")]
    assert [line for line in briefly(mixed) if line.startswith("a.csv")] == [
        *one[:3],
        "a.csv rows 8-9, 20, 22: the same, 4 more",
    ]
