"""Thousands of targets into one file: the same whoever works, whatever cuts it short."""

import csv
import json
import os
import signal
import subprocess
import sys
import time

import joblib
import numpy as np
import pytest

from matchkit.cli import main
from matchkit.files.places import data_folder
from matchkit.files.shop import read_shop
from matchkit.files.spectrum import read_spectra
from matchkit.library import matches
from matchkit.match import fit_shop, match
from matchkit.solve import spectral_target

DEMO = data_folder() / "demo-shop"
SOME = ("--max-inks", "2")  # quick


@pytest.fixture(scope="module")
def shop(fitted_demo):
    return fitted_demo


@pytest.fixture(scope="module")
def opened(shop):
    """The shop, its fits and twenty targets."""
    known = read_shop(shop)
    spectra, _ = read_spectra(shop / "targets.csv", shop=known)
    targets = [(s.name, spectral_target(s.R, known.lights, known.observer)) for s in spectra[:20]]
    return known, fit_shop(known), targets


def run(shop, into, *words):
    return main(["library", str(shop), str(shop / "targets.csv"), "--into", str(into), *words])


def plain(found):
    return [(f.inks, f.grams, f.de00.tolist()) for f in found.formulas]


@pytest.fixture(scope="module")
def one_by_one(opened):
    shop, fits, targets = opened
    return [plain(m) for m in matches(shop, fits, targets, max_inks=3)]


def test_every_answer_is_one_that_match_gives(opened, one_by_one):
    shop, fits, targets = opened
    for (name, target), (got,) in list(zip(targets, one_by_one, strict=True))[::4]:
        listed = plain(match(shop, fits, target, name=name, max_inks=3))
        assert got in listed


def test_formulas_that_hide_come_first(opened, one_by_one):
    clear = [
        sum(g for ink, g in zip(inks, grams, strict=True) if ink == "Clear Base") / sum(grams)
        for ((inks, grams, _),) in one_by_one
    ]
    assert np.mean(np.array(clear) > 0.5) < 0.2


def test_two_processes_give_the_same(opened, one_by_one):
    shop, fits, targets = opened
    found = matches(shop, fits, iter(targets), max_inks=3, workers=2)
    assert [plain(m) for m in found] == one_by_one


@pytest.mark.filterwarnings("ignore")
def test_a_cluster_gives_the_same(opened, one_by_one):
    distributed = pytest.importorskip("distributed")
    shop, fits, targets = opened
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50
        ) as cluster,
        distributed.Client(cluster),
        joblib.parallel_config(backend="dask"),
    ):
        found = [plain(m) for m in matches(shop, fits, targets, max_inks=3, workers=2)]
    assert found == one_by_one


def test_targets_are_drawn_as_they_are_needed(opened):
    shop, fits, targets = opened
    drawn = []

    def endless():
        while True:
            drawn.append(1)
            yield targets[0]

    found = matches(shop, fits, endless(), max_inks=2)
    next(found)
    assert len(drawn) <= 8


@pytest.mark.parametrize("suffix", [".csv", ".jsonl"])
def test_whatever_is_cut_off_it_goes_on_to_the_same_file(shop, tmp_path, suffix, capsys):
    whole = tmp_path / f"whole{suffix}"
    assert run(shop, whole, "--top", "2", *SOME) == 0
    there = whole.read_bytes()
    rng = np.random.default_rng(5)
    for size in (0, 10, *rng.integers(200, len(there), 3).tolist(), len(there) - 1, len(there)):
        cut = tmp_path / f"cut{suffix}"
        cut.write_bytes(there[:size])
        (tmp_path / f"cut{suffix}.run.json").write_bytes(
            (tmp_path / f"whole{suffix}.run.json").read_bytes()
        )
        assert run(shop, cut, "--top", "2", *SOME) == 0
        assert cut.read_bytes() == there, size
    capsys.readouterr()


def test_a_kill_costs_nothing_that_was_written(shop, tmp_path, capsys):
    whole, cut = tmp_path / "whole.csv", tmp_path / "cut.csv"
    assert run(shop, whole, *SOME) == 0
    words = [sys.executable, "-m", "matchkit", "library", str(shop), str(shop / "targets.csv")]
    for least in (300, 900):
        going = subprocess.Popen([*words, "--into", str(cut), *SOME], stderr=subprocess.DEVNULL)
        until = time.monotonic() + 30
        while (not cut.exists() or cut.stat().st_size < least) and time.monotonic() < until:
            time.sleep(0.01)
        going.send_signal(signal.SIGKILL)
        going.wait()
        lines = cut.read_bytes().split(b"\n")[:-1]
        assert whole.read_bytes().startswith(b"\n".join(lines))
    assert run(shop, cut, *SOME) == 0
    assert cut.read_bytes() == whole.read_bytes()
    assert "of 27 targets are there; going on" in capsys.readouterr().err


def test_ctrl_c_says_how_to_go_on(shop, tmp_path):
    into = tmp_path / "a.jsonl"
    words = [sys.executable, "-m", "matchkit", "library", str(shop), str(shop / "targets.csv")]
    going = subprocess.Popen(
        [*words, "--into", str(into)], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
    )
    until = time.monotonic() + 30
    while (not into.exists() or into.stat().st_size < 300) and time.monotonic() < until:
        time.sleep(0.01)
    going.send_signal(signal.SIGINT)
    _, said = going.communicate(timeout=30)
    assert going.returncode == 1
    assert "the same command goes on" in said and "Traceback" not in said


def test_what_was_begun_otherwise_is_refused(shop, tmp_path, capsys):
    into = tmp_path / "a.csv"
    assert run(shop, into, *SOME) == 0
    before = into.read_bytes()
    capsys.readouterr()
    assert run(shop, into, "--max-inks", "1") == 2
    assert "was begun with other inks, targets or options" in capsys.readouterr().err
    assert into.read_bytes() == before
    assert run(shop, into, "--max-inks", "1", "--anew") == 0
    assert into.read_bytes() != before
    other = tmp_path / "list.csv"
    other.write_text("mine\n", encoding="utf-8")
    assert run(shop, other) == 2
    assert "was not begun here" in capsys.readouterr().err
    assert other.read_text(encoding="utf-8") == "mine\n"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--into", "a.txt"), "ends in .csv or .jsonl"),
        (("--into", "a.csv", "--workers", "0"), "--workers: found '0'"),
        (("--into", "a.csv", "--top", "x"), "--top: found 'x'"),
        (("--into", "a.csv", "--without", "Lemonn"), "no ink is called 'Lemonn'"),
        (("--into", "no/such/a.csv"), "no/such"),
    ],
)
def test_bad_words_are_told(shop, tmp_path, monkeypatch, capsys, words, says):
    monkeypatch.chdir(tmp_path)
    assert main(["library", str(shop), str(shop / "targets.csv"), *words]) == 2
    said = capsys.readouterr()
    assert says in said.err and not said.out
    assert not list(tmp_path.iterdir())


def test_more_workers_need_joblib(shop, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("matchkit.library.find_spec", lambda name: None)
    assert run(shop, tmp_path / "a.csv", "--workers", "2") == 2
    assert "matchkit[many]" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_a_bad_target_is_told_before_anything_is_written(shop, tmp_path, capsys):
    lines = (DEMO / "targets.csv").read_text(encoding="utf-8").splitlines()
    lines[5] = lines[5].rsplit(",", 1)[0] + ",-0.2"
    path = tmp_path / "t.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert main(["library", str(shop), str(path), "--into", str(tmp_path / "o.csv")]) == 2
    assert "row 6" in capsys.readouterr().err
    assert not (tmp_path / "o.csv").exists()


def test_the_summary_and_the_table(shop, tmp_path, capsys):
    into = tmp_path / "a.csv"
    assert run(shop, into, "--json", *SOME) == 0
    told = json.loads(capsys.readouterr().out)
    with into.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert told["targets"] == len(rows) == 27
    assert told["in_gamut"] == sum(row["in_gamut"] == "yes" for row in rows)
    for row in rows:
        grams = [float(row[f"grams {k}"]) for k in (1, 2) if row[f"grams {k}"]]
        assert sum(grams) == pytest.approx(1000)


MEMORY = """
import resource, sys
import numpy as np
from matchkit.files.fitted import fitted
from matchkit.files.shop import read_shop
from matchkit.library import matches
from matchkit.solve import spectral_target
shop = read_shop(sys.argv[1])
fits, _ = fitted(sys.argv[1], shop)
rng = np.random.default_rng(1)
def targets():
    for k in range(int(sys.argv[2])):
        R = shop.drawdowns[k % 100].R * rng.uniform(0.8, 1)
        yield str(k), spectral_target(R, shop.lights, shop.observer)
for found in matches(shop, fits, targets(), max_inks=2):
    pass
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def test_memory_does_not_grow_with_the_number_of_targets(shop):
    few, many = (
        float(
            subprocess.run(
                [sys.executable, "-c", MEMORY, str(shop), n],
                capture_output=True, text=True, check=True, env=os.environ,
            ).stdout
        )
        for n in ("10", "60")
    )  # fmt: skip
    assert many - few < 20
