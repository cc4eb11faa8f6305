"""The weigh sheet of a plan: written, filled in, and carried into drawdowns.csv."""

import csv
import json

import numpy as np
import pytest
from own_shop import BENCH, drawn, instrument_csv, read_rows
from test_contents import simulated

from matchkit.cli import main
from matchkit.files.shop import read_inks
from matchkit.inks.drawdowns import drawdown_plan

HEAD = "ink,role,series,density_g_per_ml,cost_per_kg,stock_g,max_percent,lot,note\n"
ROOM = ("--geometry", BENCH.geometry, "--condition", "unknown")


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
    """A shop whose drawdowns are planned, with the sheet beside it."""
    folder = tmp_path / "ours"
    run("new", folder, *ROOM)
    rows = [f"{ink.name},{ink.role},,,,,,7,\n" for ink in BENCH.inks]
    (folder / "inks.csv").write_text(HEAD + "".join(rows))
    sheet = tmp_path / "weighed.csv"
    status, _, err = run("plan", folder, "--levels", 5, "--write", "--weigh-sheet", sheet)
    assert status == 0
    assert f"--weighed {sheet} --write" in err
    return folder


def filled(sheet, showed, *more, sort=None):
    """The sheet with `showed` (row number from 1: grams), rows of one's own, sorted anew."""
    rows = read_rows(sheet)
    for no, g in showed.items():
        rows[no - 1]["showed_g"] = f"{g}"
    rows += [dict.fromkeys(rows[0], "") | row for row in more]
    rows.sort(key=sort or (lambda row: 0))
    with sheet.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    return sheet


def amounts(folder):
    return {
        (row["drawdown"], row["ink"]): float(row["percent"])
        for row in read_rows(folder / "drawdowns.csv")
    }


def first_pot(sheet):
    """The row number of the first weight that goes into a pot, and that row."""
    return next(
        (no, row)
        for no, row in enumerate(read_rows(sheet), start=1)
        if row["pot"] == "1" and row["add_g"]
    )


def test_a_sheet_left_empty_changes_nothing(ours, run, tmp_path):
    before = (ours / "drawdowns.csv").read_bytes()
    status, out, err = run("plan", ours, "--weighed", tmp_path / "weighed.csv", "--write")
    assert status == 0
    assert "as drawdowns.csv says" in out and "already has" in err
    assert (ours / "drawdowns.csv").read_bytes() == before
    assert len(list(ours.glob("*.bak"))) == 1  # of the plan


@pytest.mark.parametrize("sort", [None, lambda row: (row["drawdown"], row["what"])])
def test_an_unsteady_hand_gets_the_percents_that_were_in_the_pots(
    ours, run, tmp_path, monkeypatch, sort
):
    """Against the literal bench of `test_contents`; sorted by a spreadsheet or not."""
    rng = np.random.default_rng(4)
    plan = drawdown_plan(read_inks(ours), levels=5)
    monkeypatch.setattr("test_contents.NAMES", list(BENCH.names))
    shown, true = simulated(plan, lambda g: round(g * rng.uniform(0.9, 1.08), 2))
    sheet = filled(tmp_path / "weighed.csv", dict(enumerate(shown, start=1)), sort=sort)
    # The readings may be in already: only percents change, and the fit is an old one then.
    (tmp_path / "all.csv").write_text(instrument_csv(drawn(ours)))
    assert run("import", tmp_path / "all.csv", ours)[0] == 0
    assert run("fit", ours)[0] == 0
    spectra, old = (ours / "spectra.csv").read_bytes(), (ours / "drawdowns.csv").read_bytes()

    status, out, err = run("plan", ours, "--weighed", sheet)
    assert status == 0 and "nothing is written yet" in err and "as weighed, %" in out
    assert (ours / "drawdowns.csv").read_bytes() == old
    status, out, err = run("plan", ours, "--weighed", sheet, "--write", "--json")
    assert status == 0 and "drawdowns.csv.2.bak" in err
    assert set(json.loads(out)["changed"]) <= true.keys()
    assert (ours / "drawdowns.csv.2.bak").read_bytes() == old
    assert (ours / "spectra.csv").read_bytes() == spectra
    now = drawn(ours)
    for name, percents in true.items():
        assert 100 * now[name] == pytest.approx(percents, abs=1e-4)
    assert all(row["lot"] == "7" for row in read_rows(ours / "drawdowns.csv"))
    masstone = f"{BENCH.names[-1]} masstone"
    assert masstone not in true and now[masstone].max() == 1
    assert "fit.json is of other drawdowns" in run("predict", ours, _recipe(tmp_path))[2]
    assert "already has" in run("plan", ours, "--weighed", sheet, "--write")[2]


def _recipe(folder):
    (folder / "mix.csv").write_text(f"ink,percent\n{BENCH.names[0]},100\n")
    return folder / "mix.csv"


def test_an_ink_that_was_not_foreseen_gets_a_row(ours, run, tmp_path):
    _, row = first_pot(tmp_path / "weighed.csv")
    made = row["drawdown"]
    stray = next(name for name in BENCH.names[::-1] if (made, name) not in amounts(ours))
    own = {"drawdown": made, "what": stray, "showed_g": "1.5"}
    status, _, _ = run(
        "plan", ours, "--weighed", filled(tmp_path / "weighed.csv", {}, own), "--write"
    )
    assert status == 0
    assert amounts(ours)[made, stray] > 0
    sums = {}
    for (name, _), percent in amounts(ours).items():
        sums[name] = sums.get(name, 0) + percent
    assert list(sums.values()) == pytest.approx([100] * len(sums), abs=1e-3)
    assert next(r["lot"] for r in read_rows(ours / "drawdowns.csv") if r["ink"] == stray) == "7"


def test_semicolons_decimal_commas_and_own_columns_are_kept(ours, run, tmp_path):
    rows = read_rows(ours / "drawdowns.csv")
    text = "\ufeffdrawdown;who;ink;grams\n" + "".join(
        f"{r['drawdown']};me;{r['ink']};{r['percent'].replace('.', ',')}\n" for r in rows
    )
    (ours / "drawdowns.csv").write_text(text, encoding="utf-8")
    sheet = tmp_path / "semicolons.csv"
    run("plan", ours, "--levels", 5, "--weigh-sheet", sheet)
    lines = sheet.read_text().splitlines()
    assert lines[0].count(";") == 6 and any(",5;" in line for line in lines)
    no = next(i for i, line in enumerate(lines) if line.split(";")[2] == "1")
    planned = float(lines[no].split(";")[5].replace(",", "."))
    lines[no] += f"{planned + 1:.2f}".replace(".", ",")
    sheet.write_text("\n".join(lines))
    assert run("plan", ours, "--weighed", sheet, "--write")[0] == 0
    now = (ours / "drawdowns.csv").read_text(encoding="utf-8")
    assert now.startswith("\ufeffdrawdown;who;ink;grams\n") and now != text
    changed = [b for a, b in zip(text.splitlines(), now.splitlines(), strict=True) if a != b]
    assert changed and all(line.split(";")[1] == "me" for line in changed)
    assert all(len(line.rpartition(",")[2]) == 4 for line in changed)


def test_a_sheet_that_cannot_be_is_refused_and_nothing_is_written(ours, run, tmp_path):
    no, _ = first_pot(tmp_path / "weighed.csv")
    sheet = filled(
        tmp_path / "weighed.csv",
        {no: -2, no + 1: "1 g"},
        {"drawdown": "Rde 5 in white", "what": BENCH.names[0], "showed_g": "3"},
    )
    before = (ours / "drawdowns.csv").read_bytes()
    status, out, err = run("plan", ours, "--weighed", sheet, "--write")
    assert status == 2 and not out
    assert f"weighed.csv row {no + 1}: showed_g is -2; write 0 or more" in err
    assert f"weighed.csv row {no + 2}: showed_g: '1 g': leave out the unit" in err
    assert "'Rde 5 in white' is not in drawdowns.csv; put the plan in first" in err
    assert (ours / "drawdowns.csv").read_bytes() == before


def test_more_left_than_there_was_says_row_pot_and_weights(ours, run, tmp_path):
    rows = read_rows(tmp_path / "weighed.csv")
    no = next(i for i, row in enumerate(rows, start=1) if row["leave_g"])
    status, _, err = run("plan", ours, "--weighed", filled(tmp_path / "weighed.csv", {no: 900}))
    assert status == 2
    assert f"weighed.csv row {no + 1}: '{rows[no - 1]['drawdown']}': 900 g left in pot" in err


def test_a_likely_slip_is_remarked(ours, run, tmp_path):
    no, row = first_pot(tmp_path / "weighed.csv")
    g = 10 * float(row["add_g"])
    status, _, err = run("plan", ours, "--weighed", filled(tmp_path / "weighed.csv", {no: g}))
    assert status == 0
    assert f"note: weighed.csv row {no + 1}: {g:g} g of {row['what']} where {row['add_g']} g" in err


def test_a_drawdown_that_holds_other_inks_by_now_is_not_rewritten(ours, run, tmp_path):
    _, row = first_pot(tmp_path / "weighed.csv")
    text = (ours / "drawdowns.csv").read_text()
    stray = next(n for n in BENCH.names[::-1] if (row["drawdown"], n) not in amounts(ours))
    (ours / "drawdowns.csv").write_text(text + f"{row['drawdown']},{stray},0,\n")
    status, _, err = run("plan", ours, "--weighed", tmp_path / "weighed.csv", "--write")
    assert status == 2
    assert f"drawdowns.csv has {stray} in it and these weights have not" in err.replace("'", "")


def test_a_sheet_that_is_there_is_never_overwritten(ours, run, tmp_path):
    before = (tmp_path / "weighed.csv").read_bytes()
    drawdowns = (ours / "drawdowns.csv").read_bytes()
    status, _, err = run("plan", ours, "--write", "--weigh-sheet", tmp_path / "weighed.csv")
    assert status == 2 and "is there already; give another name" in err
    assert (tmp_path / "weighed.csv").read_bytes() == before
    assert (ours / "drawdowns.csv").read_bytes() == drawdowns
