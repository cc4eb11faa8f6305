"""New files of an instrument's folder go where they are said to belong, each once."""

import csv
import json
import shutil
from pathlib import Path

import pytest

from matchkit.cli import main
from matchkit.files.spectrum import read_spectra
from matchkit.files.write import data_folder
from matchkit.workflows.watching import arrivals


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    shutil.copytree(data_folder() / "demo-shop", folder)
    return folder


@pytest.fixture
def exports(tmp_path: Path) -> Path:
    folder = tmp_path / "exports"
    folder.mkdir()
    return folder


def watch(shop: Path, exports: Path, monkeypatch: pytest.MonkeyPatch, *answers: str) -> int:
    left = list(answers)

    def answer(_: str = "") -> str:
        if not left:
            raise EOFError
        return left.pop(0)

    monkeypatch.setattr("builtins.input", answer)
    words = ["watch", str(shop), str(exports), "--once", "--every", "0.01"]
    assert main(words) == 0
    assert not left, f"never asked for {left}"
    return 0


def went(shop: Path) -> list[str]:
    with (shop / "watched.csv").open(encoding="utf-8") as file:
        return [row["went"] for row in csv.DictReader(file)]


def one(shop: Path, path: Path) -> None:
    """The shop's example target in a file as an instrument exports it."""
    text = (shop / "example" / "target.csv").read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")


def test_a_file_becomes_a_target_and_is_not_asked_about_again(shop, exports, monkeypatch) -> None:
    one(shop, exports / "a.csv")
    before = [each.name for each in read_spectra(shop / "targets.csv")[0]]
    watch(shop, exports, monkeypatch, "t", "what?", "t Harbour grey")
    spectra = {each.name: each for each in read_spectra(shop / "targets.csv")[0]}
    assert [*before, "Harbour grey"] == list(spectra)
    assert (shop / "targets.csv.1.bak").is_file()
    watch(shop, exports, monkeypatch)  # asks nothing
    shutil.copy(exports / "a.csv", exports / "the same again.csv")
    watch(shop, exports, monkeypatch)
    assert went(shop) == ["target Harbour grey"]


def test_a_drawdown_of_an_ink_and_of_a_batch(shop, exports, monkeypatch, capsys) -> None:
    rows = (shop / "spectra.csv").read_text(encoding="utf-8").splitlines()
    (shop / "spectra.csv").write_text("\n".join(rows[:-1]) + "\n", encoding="utf-8")
    (exports / "ladder.csv").write_text("\n".join([rows[0], rows[-1]]) + "\n", encoding="utf-8")
    watch(shop, exports, monkeypatch, "d")
    assert rows[-1].split(",")[0] in (shop / "spectra.csv").read_text(encoding="utf-8")
    example = shop / "example"
    log = ["book", str(shop), "log-match", str(example / "target.csv"), "--by", "Ada"]
    assert main([*log, "--recipe", str(example / "weighed.csv")]) == 0
    assert main(["book", str(shop), "weigh", "1", str(example / "weighed.csv"), "--by", "Ada"]) == 0
    shutil.copy(example / "measured.csv", exports / "proof.csv")
    capsys.readouterr()
    watch(shop, exports, monkeypatch, "b 99", "b 1", "wet", "uncured")
    said = capsys.readouterr()
    assert "99" in said.err and "To measure: batch 1" in said.err
    assert "batch 1" in said.out and "uncured" in said.err
    assert main(["book", str(shop), "show", "1", "--json"]) == 0
    (reading,) = json.loads(capsys.readouterr().out)["measurements"]
    assert reading["passed"] is None
    again = exports / "again.csv"
    again.write_text((exports / "proof.csv").read_text(encoding="utf-8") + "\n", encoding="utf-8")
    watch(shop, exports, monkeypatch, "b 1", "")
    capsys.readouterr()
    assert main(["book", str(shop), "show", "1", "--json"]) == 0
    _, fit_one = json.loads(capsys.readouterr().out)["measurements"]
    assert fit_one["passed"] is not None
    assert went(shop) == ["drawdowns", "batch 1", "batch 1"]


def test_the_second_reading_of_a_drawdown_and_one_that_the_file_calls_otherwise(
    shop, exports, monkeypatch, capsys
) -> None:
    rows = (shop / "spectra.csv").read_text(encoding="utf-8").splitlines()
    name, *values = rows[-1].split(",")
    count = sum(row.startswith(f"{name},") for row in rows)
    for k, called in enumerate((name, "Sample 7")):
        text = "\n".join([rows[0], ",".join([called, *values[:-1], f"0.9{k}"])])
        (exports / f"{k}.csv").write_text(text + "\n", encoding="utf-8")
    watch(shop, exports, monkeypatch, "d", "a", f"a {name}")
    assert "readings in spectra.csv already" in capsys.readouterr().err
    rows = (shop / "spectra.csv").read_text(encoding="utf-8").splitlines()
    assert sum(row.startswith(f"{name},") for row in rows) == count + 2


def test_a_file_that_grows_is_waited_for_and_a_broken_one_is_left(
    shop, exports, monkeypatch, capsys
) -> None:
    path, sizes = exports / "slow.csv", {}
    path.write_text("name,400,410\n", encoding="utf-8")
    assert arrivals(exports, shop, sizes) == ([], [path])
    one(shop, path)
    assert arrivals(exports, shop, sizes) == ([], [path])
    (new,), growing = arrivals(exports, shop, sizes)
    assert (new.path, growing) == (path, [])
    path.write_text("no spectra here\n", encoding="utf-8")
    watch(shop, exports, monkeypatch)
    assert went(shop) == ["left"]
    assert "slow.csv" in capsys.readouterr().err


def test_where_nobody_answers_the_file_is_asked_about_next_time(
    shop, exports, monkeypatch, capsys
) -> None:
    one(shop, exports / "a.csv")
    watch(shop, exports, monkeypatch)
    assert not (shop / "watched.csv").exists()
    capsys.readouterr()
    monkeypatch.setattr("builtins.input", lambda _="": "n")
    assert main(["watch", str(shop), str(exports), "--once", "--every", "0.01", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["went"] == "left"
    assert main(["watch", str(shop), str(exports / "none"), "--once"]) == 2
