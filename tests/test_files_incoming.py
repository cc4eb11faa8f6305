"""Readings come into a shop whole or not at all, by name, and the old file is kept."""

import contextlib
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from broken_files import cgats, cxf
from dying import Cut, cut_at
from small_shop import DRAWDOWNS, FILES, NM, SPECTRA, TOML, edge, put, wide

from matchkit.errors import InputError
from matchkit.files import write
from matchkit.files.fitted import write_fits
from matchkit.files.health import keep_reading
from matchkit.files.incoming import Bringing, bring_in
from matchkit.files.lock import LOCK
from matchkit.files.planned import NEW_SHOP
from matchkit.files.shop import read_shop
from matchkit.files.write import BESIDE, NOTE, finish, settled

NEW = {"Grey": [edge(0.29, 0.305, 500)], "Lemon": [edge(0.045, 0.81, 501)]}
WITHOUT = {name: R for name, R in SPECTRA.items() if name not in NEW}


@pytest.fixture
def shop(tmp_path):
    """A shop that has yet to measure Grey and Lemon."""
    return put(tmp_path / "shop", spectra_csv=wide(WITHOUT))


@pytest.fixture
def measured(tmp_path):
    path = tmp_path / "from_instrument.txt"
    path.write_text(cgats(NEW))
    return path


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def faults_of(path, folder, **more):
    before = contents(folder)
    with pytest.raises(InputError) as refusal:
        bring_in(path, folder, Bringing(**more))
    assert contents(folder) == before
    assert all(fault.isprintable() for fault in refusal.value.faults)
    return refusal.value.faults


def test_readings_come_in_by_name_and_the_old_file_is_kept(shop, measured):
    before = contents(shop)
    done = bring_in(measured, shop)
    assert (done.names, done.n_readings, done.missing) == (("Grey", "Lemon"), 2, ())
    assert done.kept == "spectra.csv.1.bak"
    after = contents(shop)
    assert after.pop("spectra.csv.1.bak") == before.pop("spectra.csv")
    assert after.pop("spectra.csv").startswith(wide(WITHOUT).encode())
    assert after == before
    read = {each.name: each for each in read_shop(shop).drawdowns}
    np.testing.assert_allclose(read["Grey"].readings, NEW["Grey"], atol=6e-6)
    assert bring_in(measured, shop).names == ()
    assert "spectra.csv.2.bak" not in contents(shop)


def test_the_next_copy_gets_the_next_number(shop, measured, tmp_path):
    bring_in(measured, shop)
    again = tmp_path / "again.csv"
    again.write_text(wide({"Grey": [edge(0.292, 0.306, 500)]}))
    assert bring_in(again, shop, Bringing(existing="add")).kept == "spectra.csv.2.bak"
    assert len(read_shop(shop).drawdowns[-1].readings) == 2
    assert bring_in(again, shop, Bringing(existing="replace")).kept == "spectra.csv.3.bak"
    (one,) = read_shop(shop).drawdowns[-1].readings
    np.testing.assert_allclose(one, edge(0.292, 0.306, 500), atol=6e-5)
    assert bring_in(again, shop, Bringing(existing="replace")).names == ()


def test_the_first_readings_of_a_shop(tmp_path):
    for text in (None, "", wide({})):
        folder = put(tmp_path / "shop", spectra_csv=text, mixes_csv=None)
        path = tmp_path / "all.cxf"
        named = {name: SPECTRA[name] for name in ("White", "Black", "Lemon", "Lemon 10")}
        path.write_text(cxf(named))
        done = bring_in(path, folder)
        assert done.missing == ("Grey",)
        assert bool(done.kept) == (text is not None)
        (folder / "spectra.csv").unlink()


def test_separators_decimal_commas_and_other_columns_stay(tmp_path, measured):
    text = wide(WITHOUT).replace("drawdown,", "date,drawdown,").replace(",700\n", ",700,note\n")
    lines = text.splitlines()
    rows = [lines[0], *(f"2026-03-02,{line},good" for line in lines[1:])]
    text = "\ufeff" + "\n".join(rows).translate(str.maketrans(",.", ";,")) + "\n"
    folder = put(tmp_path / "shop", spectra_csv=text)
    bring_in(measured, folder)
    after = (folder / "spectra.csv").read_text(encoding="utf-8")
    assert after.startswith(text)
    assert after.splitlines()[-1].startswith(";Lemon;0,04")
    assert after.splitlines()[-1].endswith("0;")
    assert len(read_shop(folder).drawdowns) == 5


@pytest.mark.parametrize("nm", [np.arange(380, 741, 5), np.arange(400, 701, 20)])
def test_other_wavelengths_are_brought_to_the_grid(tmp_path, measured, nm):
    other = {name: [np.interp(nm, NM, R) for R in reads] for name, reads in WITHOUT.items()}
    folder = put(tmp_path / "shop", spectra_csv=wide(other, nm))
    done = bring_in(measured, folder)
    assert f"in {nm.size} columns; it has 400, 410, ... 700 nm now" in done.notes[0]
    read = {each.name: each for each in read_shop(folder).drawdowns}
    np.testing.assert_allclose(read["White"].R, np.mean(SPECTRA["White"], axis=0), atol=0.02)
    np.testing.assert_allclose(read["Grey"].R, NEW["Grey"][0], atol=6e-6)


def test_one_spectrum_under_another_name(shop, tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(wide({"1": NEW["Grey"], "2": NEW["Lemon"]}))
    assert (
        "say with --name which one is of 'Grey': '1', '2'"
        in faults_of(path, shop, drawdown="Grey")[0]
    )
    assert "no '3'; it holds '1', '2'" in faults_of(path, shop, name="3", drawdown="Grey")[0]
    assert bring_in(path, shop, Bringing(name="1", drawdown="Grey")).names == ("Grey",)
    assert bring_in(path, shop, Bringing(name="2", drawdown="Lemon")).missing == ()


def test_names_that_the_shop_does_not_know(shop, tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(wide(NEW | {"Gray": NEW["Grey"], "Cobalt": NEW["Grey"]}))
    assert faults_of(path, shop) == (
        "a.csv: 'Gray' is neither in drawdowns.csv nor in mixes.csv; did you mean 'Grey'?",
        "a.csv: 'Cobalt' is neither in drawdowns.csv nor in mixes.csv",
        "a.csv: nothing was brought in; rename them, add them to drawdowns.csv, or leave them out"
        " with --skip-others",
    )
    done = bring_in(path, shop, Bringing(skip_others=True))
    assert done.names == ("Grey", "Lemon")
    assert "a.csv: left out: 'Gray', 'Cobalt'" in done.notes


def test_what_is_there_already_is_not_overwritten_by_chance(tmp_path, measured):
    folder = put(tmp_path / "shop")
    assert faults_of(measured, folder) == (
        "from_instrument.txt: 'Grey' has readings in spectra.csv already: 1; say --add to average"
        " all, or --replace",
        "from_instrument.txt: 'Lemon' has readings in spectra.csv already: 1; say --add to average"
        " all, or --replace",
    )


def test_readings_made_otherwise_are_refused_or_converted(shop, tmp_path):
    path = tmp_path / "a.txt"
    lifted = {name: [R + 0.04 for R in reads] for name, reads in NEW.items()}
    path.write_text(cgats(lifted, head="MODE SPIN"))
    assert "no rule" not in faults_of(path, shop)[0]
    done = bring_in(path, shop, Bringing(index=1.5))
    assert "turned into d/8 specular excluded" in done.notes[0]
    np.testing.assert_allclose(read_shop(shop).drawdowns[-1].R, NEW["Grey"][0], atol=3e-5)
    path.write_text(cgats(NEW, head="GEOMETRY 45/0"))
    assert "no rule turns one into the other" in faults_of(path, shop)[0]


def test_readings_that_the_stated_geometry_cannot_give(tmp_path, measured):
    """Less than a film's surface sends back (Fresnel), see settings."""
    included = TOML.replace("excluded", "included")
    folder = put(tmp_path / "shop", shop_toml=included, spectra_csv=wide({}), mixes_csv=None)
    path = tmp_path / "a.csv"
    path.write_text(wide({"Black": SPECTRA["Black"]}))
    (fault,) = faults_of(path, folder)
    assert "'Black' in a.csv reads 0.012; a film's surface alone sends back" in fault


def test_a_shop_with_faults_takes_nothing(tmp_path, measured):
    folder = put(tmp_path / "shop", drawdowns_csv=DRAWDOWNS.replace("97.5", "90"))
    assert "percents sum to" in faults_of(measured, folder)[0]
    folder = put(tmp_path / "shop", spectra_csv=wide(WITHOUT).replace("0.9000", "x"))
    assert "spectra.csv row 2" in faults_of(measured, folder)[0]
    with pytest.raises(InputError, match="a shop folder is expected"):
        bring_in(measured, tmp_path / "nowhere")


def test_what_is_odd_comes_in_and_is_said(shop, tmp_path):
    path = tmp_path / "a.csv"
    bad = edge(0.29, 0.305, 500)
    bad[12] += 0.05
    far = edge(0.33, 0.345, 500)
    path.write_text(wide({"Grey": [edge(0.29, 0.305, 500), bad, far]}))
    notes = bring_in(path, shop).notes
    assert any(note.startswith("'Grey': one value off the curve, 0.3") for note in notes)
    assert any("readings lie up to" in note or "from the mean" in note for note in notes)


def seen(folder):
    """What a reader of the shop finds: the content of every file that counts."""
    names = {*FILES, "instrument.csv", "fit.json", "spectra.csv.1.bak"}
    paths = {name: settled(folder, name) for name in sorted(names)}
    return {name: path.read_bytes() for name, path in paths.items() if path.exists()}


def changes(measured):
    """Everything that writes into a shop folder from here."""
    R = np.array(SPECTRA["White"])
    return {
        "import": lambda folder: bring_in(measured, folder),
        "instrument": lambda folder: keep_reading(
            folder, kind="tile", name="tile", readings=R, date="2026-03-02"
        ),
        "fit": lambda folder: write_fits(folder, NEW_SHOP, {}),
    }


@pytest.mark.parametrize("kind", ["import", "instrument", "fit"])
def test_dying_at_any_write_leaves_the_old_folder_or_the_new(tmp_path, measured, monkeypatch, kind):
    change = changes(measured)[kind]
    whole = put(tmp_path / "whole", spectra_csv=wide(WITHOUT))
    old = seen(whole)
    change(whole)
    new = seen(whole)
    assert old != new
    outcomes = []
    for count in range(1, 40):
        folder = put(tmp_path / f"{kind}{count}", spectra_csv=wide(WITHOUT))
        with monkeypatch.context() as patch:
            calls = cut_at(patch, count)
            with contextlib.suppress(Cut):
                change(folder)
        after = seen(folder)
        assert after in (old, new), count
        outcomes.append(after == new)
        if len(calls) < count:
            break
        finish(folder)  # as the next write does
        assert seen(folder) == after
        assert not (folder / NOTE).exists()
        assert {name: (folder / name).read_bytes() for name in after} == after
    assert outcomes == sorted(outcomes)  # old up to one step, new from there on
    assert outcomes[0] is False
    assert outcomes[-1] is True


def test_a_killed_import_leaves_the_old_folder_or_the_new(tmp_path, measured):
    """SIGKILL at the first, second, ... write of a real process; from outside."""
    code = (
        "import os, signal, sys\n"
        "from pathlib import Path\n"
        "from matchkit.files import incoming, write\n"
        "left = [int(sys.argv[3])]\n"
        "def dying(real):\n"
        "    def step(*args, **more):\n"
        "        left[0] -= 1\n"
        "        if left[0] == 0:\n"
        "            os.kill(os.getpid(), signal.SIGKILL)\n"
        "        return real(*args, **more)\n"
        "    return step\n"
        "write._flushed = dying(write._flushed)\n"
        "for name in ('replace', 'unlink', 'chmod'):\n"
        "    setattr(Path, name, dying(getattr(Path, name)))\n"
        "incoming.bring_in(sys.argv[1], sys.argv[2])\n"
    )
    ends = []
    for count in (1, 2, 3, 4, 5, 6):
        folder = put(tmp_path / f"shop{count}", spectra_csv=wide(WITHOUT))
        old = seen(folder)
        run = subprocess.run([sys.executable, "-c", code, str(measured), str(folder), str(count)])
        after = seen(folder)
        ends.append((run.returncode, after == old))
        if after != old:
            assert len(read_shop(folder).drawdowns) == 5
            assert after["spectra.csv.1.bak"] == old["spectra.csv"]
    assert ends[0] == (-signal.SIGKILL, True)
    assert ends[-1] == (-signal.SIGKILL, False)


def test_a_folder_that_cannot_be_written(shop, measured, monkeypatch):
    def full(path, content):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(write, "_flushed", full)
    (fault,) = faults_of(measured, shop)
    assert "cannot be written: No space left on device" in fault
    assert not any(name.startswith(BESIDE) for name in contents(shop))


# ---- films, and two at a time


FILMS = (
    "drawdown,ink,percent,ground,thickness_um\nThin,Lemon,100,card,50\nThinner,Lemon,100,card,30\n"
)


def test_readings_of_films_go_to_the_file_of_films(tmp_path):
    """Beside a film that has its reading there, which is not listed as missing."""
    folder = put(tmp_path / "shop")
    (folder / "films.csv").write_text(FILMS)
    (folder / "grounds.csv").write_text(wide({"card": [np.full(31, 0.8)]}, first="ground"))
    (folder / "film_spectra.csv").write_text(wide({"Thinner": [edge(0.2, 0.6, 500)]}))
    path = tmp_path / "a.csv"
    path.write_text(wide({"Thin": [edge(0.1, 0.7, 500)]}))
    before = (folder / "spectra.csv").read_bytes()
    done = bring_in(path, folder)
    assert (done.names, done.missing, done.kept) == (("Thin",), (), "film_spectra.csv.1.bak")
    assert (folder / "spectra.csv").read_bytes() == before
    assert {"Thin", "Thinner"} <= {each.name for each in read_shop(folder).drawdowns}
    assert bring_in(path, folder).notes[-1] == "a.csv: in film_spectra.csv already: 'Thin'"
    path.write_text(wide({"Thin": [edge(0.2, 0.75, 500)]}))
    with pytest.raises(InputError, match=r"readings in film_spectra\.csv already: 1; say --add"):
        bring_in(path, folder)


def test_imports_at_once_lose_nothing(tmp_path):
    """Eight threads bring in a reading each of one drawdown, with readings beside it."""
    folder = put(tmp_path / "shop")
    paths = [tmp_path / f"{k}.csv" for k in range(8)]
    for k, path in enumerate(paths):
        path.write_text(wide({"Grey": [edge(0.29, 0.32 + 0.001 * k, 500)]}))
    with ThreadPoolExecutor(8) as pool:
        done = list(pool.map(lambda path: bring_in(path, folder, Bringing(existing="add")), paths))
    assert [each.names for each in done] == [("Grey",)] * 8
    (grey,) = (each for each in read_shop(folder).drawdowns if each.name == "Grey")
    assert len(grey.readings) == len(SPECTRA["Grey"]) + 8
    assert not (folder / LOCK).exists()
