"""The road to a shop of one's own, as a person goes it: from an empty folder to a formula.

The readings come from the virtual bench, which knows nothing of Kubelka-Munk theory.
"""

import json

import numpy as np
import pytest
from own_shop import BENCH, drawn, instrument_csv, read_rows
from small_shop import edge, wide

from matchkit.cli import main
from matchkit.files.incoming import bring_in
from matchkit.files.planned import write_plan
from matchkit.files.shop import read_inks, read_shop
from matchkit.files.shop_tables import drawn_in
from matchkit.inks.drawdowns import drawdown_plan

HEAD = "ink,role,series,density_g_per_ml,cost_per_kg,stock_g,max_percent,lot,note\n"


@pytest.fixture
def run(capsys):
    def _run(*args):
        status = main([str(arg) for arg in args])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return status, out, err

    return _run


@pytest.fixture
def ours(tmp_path, run):
    """A new folder in which the examples were replaced by the bench's inks."""
    folder = tmp_path / "ours"
    status, out, _ = run("new", folder, "--geometry", BENCH.geometry, "--condition", "unknown")
    assert status == 0
    assert "\n1. Put your inks into" in out
    rows = [f"{ink.name},{ink.role},,,,,,7,\n" for ink in BENCH.inks]
    (folder / "inks.csv").write_text(HEAD + "".join(rows))
    return folder


def measured(path, mixtures):
    """An instrument's file of these mixtures."""
    path.write_text(instrument_csv(mixtures))
    return path


def test_from_an_empty_folder_to_a_formula(ours, run, tmp_path):
    status, out, err = run("plan", ours, "--write", "--levels", 5, "--html", tmp_path / "plan.html")
    assert status == 0
    assert "planned drawdowns wait for their readings" in err
    assert "never measured, and taken out: 'White " in err
    mixtures = drawn(ours)
    assert len(mixtures) == len(read_rows(ours / "spectra.csv"))
    assert all(row["lot"] == "7" for row in read_rows(ours / "drawdowns.csv"))

    status, out, err = run("fit", ours)
    assert status == 2
    assert err.count("\n") <= 2
    assert "nothing is measured yet" in err

    names = list(mixtures)
    first = [name for name in names if name.startswith(("White", BENCH.inks[-1].name))]
    status, out, err = run(
        "import", measured(tmp_path / "a.csv", {name: mixtures[name] for name in first}), ours
    )
    assert status == 0
    assert f"Brought in: {len(first)} readings" in out
    assert [row["drawdown"] for row in read_rows(ours / "spectra.csv")] == names

    status, out, err = run("fit", ours)
    assert status == 0
    left = len(names) - len(first)
    assert f"no reading yet of {left} of {len(names)} drawdowns, which are left out" in err

    rest = {name: c for name, c in mixtures.items() if name not in first}
    assert run("import", measured(tmp_path / "b.csv", rest), ours)[0] == 0
    assert "left out" not in run("fit", ours)[2]
    want = np.zeros(len(BENCH.inks))
    want[[0, -1, -2]] = 0.9, 0.06, 0.04
    target = measured(tmp_path / "target.csv", {"wanted": want})
    status, out, err = run("match", ours, target, "--json")
    assert status == 0
    best = json.loads(out)["matches"][0]["formulas"][0]
    assert best["de00"]["D65"] < 0.3
    made = np.zeros(len(BENCH.inks))
    for part in best["inks"]:
        made[BENCH.names.index(part["ink"])] = part["percent"] / 100
    assert np.abs(made - want).max() < 0.03


def test_a_new_ink_is_planned_into_a_shop_that_is_measured(ours, run, tmp_path):
    run("plan", ours, "--write", "--levels", 3)
    measure_all(ours, run, tmp_path)
    before = (ours / "spectra.csv").read_text()
    old = read_rows(ours / "drawdowns.csv")
    with (ours / "inks.csv").open("a") as file:
        file.write("Late Plum,colour,,,,,,1,\n")
    status, _, err = run("plan", ours, "--ink", "Late Plum", "--write", "--levels", 3)
    assert status == 0
    assert "taken out" not in err
    assert "is kept as" not in err
    rows = read_rows(ours / "drawdowns.csv")
    assert rows[: len(old)] == old
    assert {row["drawdown"].split(" ")[0] for row in rows[len(old) :]} == {"Late"}
    assert (ours / "spectra.csv").read_text().startswith(before)
    assert "no drawdown holds 'Late Plum'" in " ".join(read_shop(ours).notes)
    # Planned again with more drawdowns, the first plan's are not left over.
    run("plan", ours, "--ink", "Late Plum", "--write", "--levels", 4)
    late = [row for row in read_rows(ours / "drawdowns.csv") if "Late" in row["drawdown"]]
    plan = drawdown_plan(read_inks(ours), levels=4, new_ink="Late Plum")
    assert {row["drawdown"] for row in late} == {step.drawdown for step in plan.steps}


def measure_all(folder, run, tmp_path):
    status, _, _ = run("import", measured(tmp_path / "all.csv", drawn(folder)), folder)
    assert status == 0


def test_what_is_measured_stays_whatever_is_planned(ours, run, tmp_path):
    run("plan", ours, "--write", "--levels", 3)
    measure_all(ours, run, tmp_path)
    rows = (ours / "drawdowns.csv").read_text()
    spectra = (ours / "spectra.csv").read_text()
    status, _, err = run("plan", ours, "--write", "--levels", 10)
    assert status == 0
    assert (ours / "drawdowns.csv").read_text().startswith(rows)
    assert (ours / "spectra.csv").read_text().startswith(spectra)
    assert "measured already, and left as they are" in err


def test_semicolons_commas_and_own_columns_are_kept(ours):
    (ours / "drawdowns.csv").write_text(
        "\ufeffdrawdown;who;ink;grams\nOld mix;me;White;12,5\nOld mix;me;Gone Ink;3\n"
        "Film;me;White;5\n".replace("grams", "grams;ground")
        .replace("12,5", "12,5;")
        .replace("Ink;3", "Ink;3;")
        .replace("White;5", "White;5;card"),
        encoding="utf-8",
    )
    (ours / "spectra.csv").unlink()
    inks = read_inks(ours)
    done = write_plan(ours, drawdown_plan(inks, levels=3), inks)
    assert done.taken_out == ("Old mix",)
    assert (ours / done.kept).read_text(encoding="utf-8").startswith("\ufeffdrawdown;who")
    lines = (ours / "drawdowns.csv").read_text(encoding="utf-8").splitlines()
    assert lines[:2] == ["\ufeffdrawdown;who;ink;grams;ground;no", "Film;me;White;5;card;"]
    assert all(line.count(";") == 5 for line in lines)
    assert any(line.startswith("White") and ",0000;" in line for line in lines)


def test_another_series_is_left_alone(ours):
    inks_csv = (ours / "inks.csv").read_text()
    (ours / "inks.csv").write_text(inks_csv + "Sea White,white,water,,,,,,\n")
    (ours / "drawdowns.csv").write_text(
        "drawdown,ink,percent\nTheirs,Sea White,100\nOurs,White,100\n"
    )
    inks = read_inks(ours)
    done = write_plan(ours, drawdown_plan([i for i in inks if not i.series], levels=3), inks)
    assert done.taken_out == ("Ours",)


def test_a_broken_file_is_left_as_it_is(ours, run):
    (ours / "drawdowns.csv").write_text("drawdown,ink\nA,White\n")
    spectra = (ours / "spectra.csv").read_bytes()
    status, _, err = run("plan", ours, "--write")
    assert status == 2
    assert "no column 'percent' or 'grams'" in err
    assert (ours / "drawdowns.csv").read_text() == "drawdown,ink\nA,White\n"
    assert (ours / "spectra.csv").read_bytes() == spectra


def test_a_plan_numbers_its_drawdowns_and_import_takes_the_numbers(ours):
    """Numbers stay when the plan is made again; they follow on where there are some."""
    inks = read_inks(ours)
    write_plan(ours, drawdown_plan(inks, levels=3), inks)
    numbers = drawn_in(ours).numbers
    assert len(numbers) == len({line.drawdown for line in drawn_in(ours).lines})
    write_plan(ours, drawdown_plan(inks, levels=4), inks)
    after = drawn_in(ours).by_number
    kept = {name: int(no) for no, name in numbers.items() if name in after}
    assert len(kept) > 3 and all(after[name] == no for name, no in kept.items())
    assert len(set(after.values())) == len(after)
    name = min(kept)
    path = ours.parent / "numbered.csv"
    path.write_text(wide({f"{kept[name]:03d}": [edge(0.05, 0.6, 500)]}), encoding="utf-8")
    assert bring_in(path, ours).names == (name,)
