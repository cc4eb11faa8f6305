"""``matchkit import`` and ``matchkit instrument`` as a person runs them."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from broken_files import cgats, cxf
from small_shop import SPECTRA, edge, put, wide
from test_files_incoming import NEW, WITHOUT, contents

from matchkit.cli import main
from matchkit.files.spectrum import read_spectra
from matchkit.fitting.held_out import fractions_of
from matchkit.inks.palette import reflectance
from matchkit.workflows.session import Session

SAMPLES = Path(__file__).parent / "authorities" / "samples"


@pytest.fixture
def shop(tmp_path):
    return put(tmp_path / "shop", spectra_csv=wide(WITHOUT))


@pytest.fixture
def write(tmp_path):
    def _write(content, name="a.txt"):
        (tmp_path / name).write_text(content)
        return str(tmp_path / name)

    return _write


@pytest.fixture
def run(capsys):
    def _run(*args):
        status = main([str(arg) for arg in args])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return status, out, err

    return _run


def test_preview_of_the_real_file_needs_no_shop(run):
    status, out, err = run("import", SAMPLES / "colour_cxf_sample.cxf", "--preview")
    lines = out.splitlines()
    assert (status, err) == (0, "")
    assert lines[0] == (
        "colour_cxf_sample.cxf: CxF3, 144 names, 144 readings, 380-680 nm by 10, scale 0-1."
    )
    assert lines[1:3] == [
        "Measured: 45/0.",
        "L*a*b* in the file agree with the spectra within 0.12 dE*ab.",
    ]
    assert "Not usable in a shop or for a match: colour_cxf_sample.cxf: wavelengths end" in lines[3]
    assert lines[-1].startswith("104 more names: ")
    assert len(run("import", SAMPLES / "colour_cxf_sample.cxf", "--preview", "--all")[1]) > 5000


def test_preview_shows_what_is_odd(run, write):
    grey = edge(0.3, 0.32, 500)
    slip, step = grey.copy(), grey + 0.05 * (np.arange(31) > 14)
    slip[9] += 0.04
    path = write(
        wide(
            {
                "good": [edge(0.05, 0.6, 550), edge(0.05, 0.601, 550)],
                "slip": [slip],
                "step": [step],
                "flat": [np.full(31, 0.5)],
                "over": [edge(0.3, 1.02, 500)],
                "apart": [grey, grey + 0.06],
                "copy": [step],
            }
        )
    )
    status, out, _ = run("import", path, "--preview")
    assert status == 0
    for line in (
        "Odd: 'slip': one value off the curve, 0.3",
        "Odd: 'step': steps by +0.05",
        "Odd: 'step': the very values of 'copy': is one of them a copy?",
        "Odd: 'flat': the same value, 0.5, 31 times in a row from 400 nm",
        "Odd: 'over': 1.02 at 6",
        "Odd: 'apart': 2 readings lie up to",
    ):
        assert line in out
    assert "Odd: 'good'" not in out
    row = next(line for line in out.splitlines() if line.startswith("good"))
    assert row.split()[1:3] == ["2", "0.02"]
    assert len(row.split()[3]) == 31
    assert set(row.split()[3]) == set("▁▂▃▄▅")


def test_preview_as_json(run, write):
    path = write(cgats({"a": [100 * R for R in SPECTRA["White"]]}, head="GEOMETRY 45/0"))
    status, out, err = run("import", path, "--preview", "--json")
    seen = json.loads(out)
    assert status == 0
    assert (seen["format"], seen["scale"], seen["ranges"]) == (
        "CGATS.17",
        "percent",
        ["400-700 nm by 10"],
    )
    assert seen["spectra"][0]["name"] == "a"
    assert seen["spectra"][0]["readings"] == 2
    assert seen["spectra"][0]["measured"] == "45/0"
    assert seen["spectra"][0]["spread_de00"] < 0.2
    assert seen["imported"] is None
    assert seen["notes"] == [err.strip()]


def test_preview_with_a_shop_says_why_it_would_not_do(run, shop, write):
    before = contents(shop)
    status, out, err = run("import", write(cgats(NEW, head="GEOMETRY 45/0")), shop, "--preview")
    assert status == 2
    assert "2 names, 2 readings" in out
    assert "no rule turns one into the other" in err
    assert contents(shop) == before


def test_import(run, shop, write):
    path = write(cxf(NEW))
    status, out, err = run("import", path, shop)
    assert (status, err) == (0, "")
    assert out.splitlines()[-3:] == [
        "Brought in: 2 readings of 'Grey', 'Lemon'.",
        "The old spectra.csv is kept as spectra.csv.1.bak.",
        "Every drawdown of this shop has a reading.",
    ]
    status, out, err = run("import", path, shop)
    assert status == 0
    assert "Nothing new: spectra.csv is as it was." in out.splitlines()
    assert err == "a.txt: in spectra.csv already: 'Grey', 'Lemon'\n"


def test_import_as_json(run, shop, write):
    one = {"x": NEW["Grey"]}
    path = write(cxf(one))
    status, out, _ = run("import", path, shop, "--drawdown", "Grey", "--json")
    assert status == 0
    assert json.loads(out)["imported"] == {
        "names": ["Grey"],
        "readings": 1,
        "kept": "spectra.csv.1.bak",
        "missing": ["Lemon"],
        "outliers": [],
    }


def test_what_is_wrong_is_exit_2_and_nothing_written(run, shop, write):
    before = contents(shop)
    sound = write(wide(NEW), "sound.csv")
    for args, words in [
        ((sound,), "name the shop folder, or say --preview to look only"),
        ((write("name,400\n"), shop), "a.txt row 1: no wavelength columns"),
        (
            (write(wide({"Cobalt": SPECTRA["Grey"]}), "b.csv"), shop),
            "neither in drawdowns.csv nor in mixes",
        ),
        ((sound, shop, "--index", "x"), "--index: found 'x'"),
        ((sound, "nowhere"), "shop.toml: not found"),
        (("nowhere.csv", shop), "nowhere.csv: not found"),
        ((sound, "--to", "a.pdf"), "'.pdf' is not known"),
    ]:
        status, _, err = run("import", *args)
        assert status == 2, words
        assert words in err
    assert contents(shop) == before


def test_a_file_is_written_anew_in_the_way_of_the_shop(run, shop, write, tmp_path):
    lifted = {name: [R + 0.04 for R in reads] for name, reads in NEW.items()}
    path = write(cgats(lifted, head="MODE SPIN"))
    new = tmp_path / "new.csv"
    status, _, err = run("import", path, shop, "--index", "1.5", "--to", new)
    assert status == 0
    assert "turned into d/8 specular excluded" in err
    assert f"written: {new}" in err
    spectra, _ = read_spectra(new)
    np.testing.assert_allclose(spectra[0].R, NEW["Grey"][0], atol=3e-5)
    assert spectra[0].geometry == "d/8 specular excluded"
    assert run("import", path, "--to", new)[0] == 2


def test_a_terminal_without_the_bars(run, write, monkeypatch):
    monkeypatch.setattr("matchkit.cli.import_._draws", lambda text: False)
    _, out, _ = run("import", write(wide(NEW)), "--preview")
    assert out.isascii()


def test_instrument(run, shop, write):
    before = contents(shop)
    assert "no white tile and no reference drawdown" in run("instrument", shop)[1]
    assert contents(shop) == before
    tile = write(wide({"our tile": SPECTRA["White"]}), "tile.csv")
    kept = write(wide({"our lemon": SPECTRA["Lemon"]}), "kept.csv")
    day = ("--date", "2026-03-02")
    status, out, _ = run("instrument", shop, "--tile", tile, "--drawdown", kept, *day)
    assert status == 0
    assert "first readings kept" in out
    write(wide({"our tile": [0.97 * SPECTRA["White"][0]]}), "tile.csv")
    status, out, _ = run("instrument", shop, "--tile", tile, "--date", "2026-03-03", "--json")
    found = json.loads(out)
    assert "the tile has moved" in found["advice"]
    assert [each["date"] for each in found["standards"][-1]["days"]] == ["2026-03-02", "2026-03-03"]
    assert set(contents(shop)) == {*before, "instrument.csv"}
    assert run("instrument", shop, "--tile", tile, "--date", "today")[0] == 2


def test_opacity(run, shop, write):
    light, dark = edge(0.30, 0.80, 500), edge(0.25, 0.70, 500)
    over = {
        "black": write(wide({"film": [dark]}), "black.csv"),
        "white": write(wide({"film": [light]}), "white.csv"),
    }
    args = ("instrument", shop, "--over-black", over["black"])
    assert "give both" in run(*args)[2]
    _, out, _ = run(*args, "--over-white", over["white"])
    assert out.startswith("film: not opaque: contrast ratio 0.8")
    _, out, _ = run(*args, "--over-white", over["black"], "--json")
    told = json.loads(out)
    assert told.pop("scales") == {"black.csv": "0-1"}
    assert told == {"contrast_ratio": 1.0, "de00": 0.0, "opaque": True}


def test_help_needs_no_slow_library():
    code = (
        "import sys; from matchkit.cli import main\n"
        "try: main(['import', '--help'])\n"
        "except SystemExit: pass\n"
        "print({'colour', 'scipy', 'matplotlib'} & set(sys.modules))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout
    assert out.endswith("set()\n")
    assert "--not-fluorescent" in out


def test_a_drawdown_that_stands_far_out_is_told_at_once(run, write, fitted_demo, tmp_path):
    """One with 12 % too much of its ink, as the fit itself predicts it."""
    folder = tmp_path / "demo"
    shutil.copytree(fitted_demo, folder)
    session = Session(folder)
    fit = session.fits["plastisol"]
    drawdown = next(each for each in session.files.drawdowns if each.name == "Kelp Green 5")
    c = fractions_of([drawdown], fit.palette.inks)[0]
    c[fit.palette.names.index("Kelp Green")] *= 1.12
    path = write(wide({"KELP GREEN 5": [reflectance(fit.palette, c / c.sum())]}), "new.csv")
    status, out, _ = run("import", path, folder, "--replace")
    assert status == 0
    assert "Kelp Green 5: off by" in out and "(mis-weighed?)" in out


def test_repeats_called_by_letters_are_averaged_when_that_is_said(run, shop, write):
    grey = NEW["Grey"][0]
    path = write(wide({"grey a": [grey], "GREY b": [grey + 0.01], "Grey 3/3": [grey + 0.02]}))
    assert run("import", path, shop)[0] == 2
    status, out, err = run("import", path, shop, "--repeats")
    assert status == 0
    assert "3 readings of 'Grey'" in out
    assert "taken as readings of 'grey': 'grey a', 'GREY b', 'Grey 3/3'" in err


def test_readings_of_one_name_that_disagree_are_told_wherever_they_are_read(run, shop, write):
    grey = NEW["Grey"][0]
    path = write(wide({"Grey": [grey, 1.3 * grey]}))
    _, _, err = run("check", shop, path, path)
    assert "Grey: 2 readings lie up to" in err
