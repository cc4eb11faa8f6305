"""How a command ends where a person slips or has seen enough: order, Ctrl-C, a closed pipe."""

import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing

import pytest
from dying import ctrl_c_heard

import matchkit
from matchkit import cli
from matchkit.cli import fit, main
from matchkit.files.fitted import FILE
from matchkit.files.write import data_folder
from tests.studies.readme import README

posix = pytest.mark.skipif(sys.platform == "win32", reason="signals and pipes as POSIX has them")


@pytest.fixture
def here(fitted_demo, tmp_path, monkeypatch):
    """The demo shop as OURS, and an instrument's file p1.csv."""
    shutil.copytree(fitted_demo, tmp_path / "OURS")
    shutil.copy(data_folder() / "demo-shop" / "targets.csv", tmp_path / "p1.csv")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("import OURS p1.csv", "the wrong way round; write `matchkit import p1.csv OURS`"),
        ("match p1.csv OURS", "the wrong way round; write `matchkit match OURS p1.csv ...`"),
        ("check p1.csv OURS p1.csv", "write `matchkit check OURS p1.csv ...`"),
        ("book p1.csv import-paper OURS", "write `matchkit book OURS import-paper ...`"),
        ("fit p1.csv", "p1.csv: is a file; a shop folder is expected"),
        ("plan OURS/inks.csv", "a shop folder is expected, such as OURS"),
        ("book p1.csv today", "p1.csv: is a file; a shop folder is expected"),
    ],
)
def test_a_file_in_the_place_of_the_folder(words, told, here, capsys):
    assert main(words.split()) == 2
    said = capsys.readouterr()
    assert said.err.strip().endswith(told)
    assert not said.out


def test_ctrl_c_ends_quietly_with_the_status_shells_know(here, capsys, monkeypatch):
    def stop(args):
        raise KeyboardInterrupt

    monkeypatch.setattr(fit, "run", stop)
    assert main(["fit", "OURS"]) == 130
    assert capsys.readouterr().err == "stopped\n"

    def half_loaded(args):
        try:
            stop(args)
        except KeyboardInterrupt as error:
            raise ImportError("initialization failed") from error

    monkeypatch.setattr(fit, "run", half_loaded)
    assert main(["fit", "OURS"]) == 130
    monkeypatch.setattr(cli, "parser", stop)  # while modules are still being loaded
    assert main(["fit", "OURS"]) == 130


@posix
@pytest.mark.parametrize("after_s", [0.1, 0.2, 0.4])
def test_ctrl_c_at_once_leaves_no_traceback(here, after_s):
    with ctrl_c_heard():
        child = subprocess.Popen(
            [sys.executable, "-m", "matchkit", "rehearse", "--targets", "500"],
            stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True,
        )  # fmt: skip
    time.sleep(after_s)
    child.send_signal(signal.SIGINT)
    told = child.communicate(timeout=600)[1]
    not_up_yet = "Traceback" in told  # of Python itself, which has a status of its own
    assert not (not_up_yet and "matchkit" in told)
    assert not_up_yet or child.returncode in (130, -signal.SIGINT)


@posix
def test_the_fit_is_kept_though_nobody_reads_it_to_the_end(here):
    for name in (FILE, "films.csv", "film_spectra.csv"):  # hiding drawdowns alone are quick
        (here / "OURS" / name).unlink()
    child = subprocess.Popen(
        [sys.executable, "-m", "matchkit", "fit", "OURS"], stdout=subprocess.PIPE
    )
    child.stdout.close()
    assert child.wait(timeout=600) == 0
    assert (here / "OURS" / FILE).is_file()


def test_a_verb_of_the_book_without_its_shop_is_helped(here, capsys):
    with pytest.raises(SystemExit):
        main(["book", "weigh", "--help"])
    said = capsys.readouterr().out
    assert said.startswith("usage: matchkit book SHOP weigh") and "--as-planned" in said
    assert main(["book", "weigh", "OURS", "1", "r.csv"]) == 2
    assert "`matchkit book OURS weigh ...`" in capsys.readouterr().err
    assert main(["book", "today"]) == 2
    assert "the shop folder comes first" in capsys.readouterr().err


def test_the_version_is_told_before_anything_heavy_loads(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert ended.value.code == 0
    assert capsys.readouterr().out == f"matchkit {matchkit.__version__}\n"
    code = "import sys; from matchkit.cli import main\ntry: main(['--version'])\nfinally: "
    code += "print(any(name in sys.modules for name in ('numpy', 'matplotlib', 'sqlite3')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.endswith("\nFalse\n"), done.stderr


def test_a_book_of_a_newer_version_is_refused_in_one_sentence(here, capsys):
    assert main(["book", "OURS", "count", "Quay White", "100"]) == 0
    with closing(sqlite3.connect(here / "OURS" / "book.db")) as db:
        db.execute("PRAGMA user_version = 99")
    kept = (here / "OURS" / "book.db").read_bytes()
    for words in (["stock"], ["count", "Quay White", "50"], ["backup", "copy.db"]):
        capsys.readouterr()
        assert main(["book", "OURS", *words]) == 2
        (line,) = capsys.readouterr().err.splitlines()
        assert line.startswith("book.db: version 99, written by a newer matchkit; ")
        assert line.endswith('update matchkit here as README says under "Update"')
    assert (here / "OURS" / "book.db").read_bytes() == kept
    assert "\n## Update\n" in README.read_text(encoding="utf-8")
