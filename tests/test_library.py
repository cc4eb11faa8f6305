"""Thousands of targets into one file: the same whoever works, whatever cuts it short."""

import csv
import gc
import json
import os
import shutil
import signal
import subprocess
import sys
import time
import tracemalloc
from pathlib import Path

import joblib
import numpy as np
import pytest
from dying import ctrl_c_heard

from matchkit.cli import main
from matchkit.colorimetry.difference import Target
from matchkit.errors import InputError
from matchkit.files import stream
from matchkit.files.fitted import fit_content, read_fits
from matchkit.files.shop import read_shop
from matchkit.files.spectrum import read_spectra
from matchkit.files.write import data_folder
from matchkit.matching.library import matches
from matchkit.matching.match import match
from matchkit.matching.rank import Choices

DEMO = data_folder() / "demo-shop"
ONE, SOME = ("--max-inks", "1"), ("--max-inks", "2")  # quick
FEW = Choices(max_inks=3, top=1)


@pytest.fixture(scope="module")
def shop(seven_inks, tmp_path_factory):
    folder = shutil.copytree(seven_inks, tmp_path_factory.mktemp("library") / "shop")
    lines = (folder / "targets.csv").read_text(encoding="utf-8").splitlines()
    for name, n in (("few.csv", 5), ("dozen.csv", 12)):
        (folder / name).write_text("\n".join(lines[: n + 1]) + "\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def opened(shop):
    """The shop, its fits and nine targets."""
    known = read_shop(shop)
    spectra, _ = read_spectra(shop / "targets.csv", shop=known)
    targets = [
        (s.name, Target.from_spectrum(s.R, known.lights, known.observer)) for s in spectra[:9]
    ]
    return known, read_fits(shop, known, fit_content(shop))[0]["series"], targets


@pytest.fixture(scope="module")
def made(shop, tmp_path_factory):
    """Whole files of the few targets, `a.csv` and `a.jsonl`, to be copied and spoiled."""
    folder = tmp_path_factory.mktemp("made")
    for name in ("a.csv", "a.jsonl"):
        assert run(shop, folder / name, *SOME) == 0
    return folder


def run(shop, into, *words, targets="few.csv"):
    return main(["library", str(shop), str(shop / targets), "--into", str(into), *words])


def started(shop, into, *words, targets="targets.csv"):
    """The command in a process of its own, for signals."""
    words = ["library", str(shop), str(shop / targets), "--into", str(into), *words]
    with ctrl_c_heard():
        return subprocess.Popen(
            [sys.executable, "-m", "matchkit", *words],
            stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True,
        )  # fmt: skip


def wait_for(path, size, process):
    until = time.monotonic() + 600
    while (not path.exists() or path.stat().st_size < size) and time.monotonic() < until:
        if process.poll() is not None:
            return
        time.sleep(0.005)


def plain(found):
    return [(f.inks, f.grams, f.de00.tolist()) for f in found.formulas]


@pytest.fixture(scope="module")
def one_by_one(opened):
    shop, fits, targets = opened
    return [plain(m) for m in matches(shop, fits, targets, FEW)]


def test_every_answer_is_that_of_match(opened, one_by_one):
    shop, fits, targets = opened
    for (name, target), got in list(zip(targets, one_by_one, strict=True))[::4]:
        assert got == plain(match(shop, fits, target, FEW, name=name))


class Deadly:
    """Whoever unpacks it is gone, as if killed."""

    def __reduce__(self):
        return os._exit, (9,)


def test_two_processes_give_the_same_and_one_that_is_gone_is_told(opened, one_by_one, monkeypatch):
    """In one test, since processes take long to start."""
    shop, fits, targets = opened
    for stretch in (128, 3):  # wherever it ends
        monkeypatch.setattr("matchkit.matching.library.STRETCH", stretch)
        found = matches(shop, fits, iter(targets), FEW, workers=2)
        assert [plain(m) for m in found] == one_by_one
    with pytest.raises(InputError, match="try fewer workers"):
        list(matches(shop, fits, [*targets, ("last", Deadly())], FEW, workers=2))


@pytest.mark.filterwarnings("ignore")
def test_a_cluster_gives_the_same(opened, one_by_one):
    distributed = pytest.importorskip("distributed")
    shop, fits, targets = opened
    with (
        distributed.LocalCluster(
            n_workers=2, processes=False, dashboard_address=None, silence_logs=50
        ) as cluster,
        distributed.Client(cluster),
        joblib.parallel_config(backend="dask"),
    ):
        found = [plain(m) for m in matches(shop, fits, targets[:8], FEW, workers=2)]
    assert found == one_by_one[:8]


@pytest.mark.parametrize(("workers", "ahead"), [(1, 1), (2, 16)])
def test_targets_are_drawn_as_they_are_needed(opened, monkeypatch, workers, ahead):
    monkeypatch.setattr("matchkit.matching.library.STRETCH", 8)  # for each of two processes
    shop, fits, targets = opened
    drawn = []

    def endless():
        while True:
            drawn.append(1)
            yield targets[0]

    with joblib.parallel_config(backend="threading"):  # which starts at once
        found = matches(shop, fits, endless(), Choices(max_inks=1), workers=workers)
        next(found)
        time.sleep(0.2)  # workers that could run on would do so now
        assert len(drawn) == ahead
        found.close()


def test_no_workers_are_refused(opened):
    shop, fits, targets = opened
    with pytest.raises(InputError, match="found 0"):
        next(matches(shop, fits, targets, Choices(), workers=0))


@pytest.mark.parametrize("suffix", [".csv", ".jsonl"])
def test_whatever_is_cut_off_it_goes_on_to_the_same_file(shop, tmp_path, suffix, capsys):
    whole = tmp_path / f"whole{suffix}"
    assert run(shop, whole, "--top", "2", *SOME) == 0
    there = whole.read_bytes()
    rng = np.random.default_rng(5)
    for size in (0, *rng.integers(200, len(there), 2).tolist(), len(there) - 1):
        cut = tmp_path / f"cut{suffix}"
        cut.write_bytes(there[:size])
        (tmp_path / f"cut{suffix}.run.json").write_bytes(
            (tmp_path / f"whole{suffix}.run.json").read_bytes()
        )
        assert run(shop, cut, "--top", "2", *SOME) == 0
        assert cut.read_bytes() == there, size
    capsys.readouterr()


def test_a_kill_costs_nothing_that_was_written(shop, tmp_path, capsys):
    whole, cut = tmp_path / "whole.jsonl", tmp_path / "cut.jsonl"
    assert run(shop, whole, *ONE, targets="dozen.csv") == 0
    size = whole.stat().st_size
    for least in np.random.default_rng(7).integers(300, size * 3 // 4, 1):
        going = started(shop, cut, *ONE, targets="dozen.csv")
        wait_for(cut, least, going)
        going.send_signal(signal.SIGKILL)
        going.wait()
        going.stderr.close()
        lines = cut.read_bytes().split(b"\n")[:-1]
        assert whole.read_bytes().startswith(b"\n".join(lines))
    capsys.readouterr()
    assert run(shop, cut, *ONE, targets="dozen.csv") == 0
    assert cut.read_bytes() == whole.read_bytes()
    assert "of 12 targets are there; going on" in capsys.readouterr().err


@pytest.mark.parametrize("words", [(), ("--workers", "2", "--anew")])
def test_ctrl_c_says_how_to_go_on(shop, tmp_path, words):
    into = tmp_path / "a.jsonl"
    going = started(shop, into, *words)
    wait_for(into, 300, going)
    going.send_signal(signal.SIGINT)
    _, said = going.communicate(timeout=600)
    assert going.returncode == 130
    how = "the same command, without --anew, goes on" if words else "the same command goes on"
    assert how in said and "Traceback" not in said and "Warning" not in said


def test_what_was_begun_otherwise_is_refused(shop, made, tmp_path, capsys):
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    into = tmp_path / "a.csv"
    before = into.read_bytes()
    capsys.readouterr()
    assert run(shop, into, "--max-inks", "1") == 2
    assert "was begun with other inks, targets or options" in capsys.readouterr().err
    assert into.read_bytes() == before
    assert run(shop, into, "--max-inks", "1", "--anew") == 0
    assert into.read_bytes() != before
    other = tmp_path / "list.csv"
    other.write_text("mine\n", encoding="utf-8")
    for words in ((), ("--anew",)):
        assert run(shop, other, *words) == 2
        assert "was not begun here" in capsys.readouterr().err
        assert other.read_text(encoding="utf-8") == "mine\n"


@pytest.mark.parametrize("suffix", [".csv", ".jsonl"])
@pytest.mark.parametrize(
    "change",
    [
        lambda lines: [*lines[:3], *lines[4:]],
        lambda lines: [*lines[:3], b"\n", *lines[3:]],
        lambda lines: [*lines, lines[-1]],
        lambda lines: [*lines, b"\xff,1\n"],
        lambda lines: [lines[1], lines[0], *lines[2:]],
    ],
    ids=["a line less", "an empty line", "a line twice", "no text", "another order"],
)
def test_what_was_changed_since_is_left_alone(shop, made, tmp_path, capsys, suffix, change):
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    into = tmp_path / f"a{suffix}"
    changed = b"".join(change(into.read_bytes().splitlines(keepends=True)))
    into.write_bytes(changed)
    capsys.readouterr()
    assert run(shop, into, *SOME) == 2
    assert "the file was changed since" in capsys.readouterr().err
    assert into.read_bytes() == changed


def test_a_table_that_a_spreadsheet_saved_is_left_alone(shop, made, tmp_path, capsys):
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    into = tmp_path / "a.csv"
    saved = into.read_bytes().replace(b"\n", b"\r\n")
    into.write_bytes(saved)
    assert run(shop, into, *SOME) == 2
    assert "line 1" in capsys.readouterr().err
    assert into.read_bytes() == saved
    assert run(shop, into, *SOME, "--anew") == 0


def test_old_answers_never_pass_for_new_ones(shop, made, tmp_path, monkeypatch):
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    into = tmp_path / "a.csv"
    new = ("--max-inks", "2", "--without", "Ebb Clear")
    write_file = stream.write_file

    def cut_short(path, content):
        write_file(path, content)
        raise KeyboardInterrupt

    monkeypatch.setattr(stream, "write_file", cut_short)
    assert run(shop, into, *new, "--anew") == 130
    monkeypatch.undo()
    assert run(shop, into, *new) == 0
    assert b"Ebb Clear" not in into.read_bytes()


@pytest.mark.parametrize("workers", ["1", "2"])
def test_a_batch_nothing_can_fill_leaves_no_file(shop, tmp_path, capsys, workers):
    into = tmp_path / "a.csv"
    with joblib.parallel_config(backend="threading"):  # which starts at once
        assert run(shop, into, "--grams", "1e9", "--workers", workers) == 2
    assert "make a smaller batch" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


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
    monkeypatch.setattr("matchkit.matching.library.find_spec", lambda name: None)
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
    assert told["targets"] == len(rows) == 5
    assert told["in_gamut"] == sum(row["in_gamut"] == "yes" for row in rows)
    for row in rows:
        grams = [float(row[f"grams {k}"]) for k in (1, 2) if row[f"grams {k}"]]
        assert sum(grams) == pytest.approx(1000)


def test_memory_does_not_grow_with_the_number_of_targets(opened):
    shop, fits, targets = opened
    endless = ((str(k), targets[k % 3][1]) for k in range(15))
    held = []
    tracemalloc.start()
    try:
        for _ in matches(shop, fits, endless, Choices(max_inks=1, top=1)):
            gc.collect()
            held.append(tracemalloc.get_traced_memory()[0] / 1e6)
    finally:
        tracemalloc.stop()
    assert held[-1] - held[4] < 0.05  # MB; an answer and its target take some 0.01


KILLED = """
import os, signal
from matchkit.matching.library import _on_many

def one(name, target):
    import os
    return os.getpid()

print(*set(_on_many(one, [(str(k), None) for k in range(16)], 2)), flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(not Path("/proc/self/cmdline").exists(), reason="processes are seen in /proc")
def test_workers_end_with_the_process_that_asked(tmp_path):
    """They had gone on for five minutes after it was killed."""
    told = tmp_path / "workers"  # a pipe would be held open by a worker that was given nothing
    with told.open("w") as out:
        subprocess.run([sys.executable, "-c", KILLED], stdout=out, stderr=subprocess.DEVNULL)
    workers = [Path(f"/proc/{pid}/cmdline") for pid in told.read_text().split()]
    assert workers
    for _ in range(600):
        if not any(each.exists() and each.read_bytes() for each in workers):
            return
        time.sleep(0.1)
    raise AssertionError("workers are still there after a minute")


@pytest.mark.slow
def test_sixty_inks_up_to_six_at_a_time_stay_under_300_MB():
    done = subprocess.run([sys.executable, "-c", SIXTY], capture_output=True, text=True, check=True)
    assert float(done.stdout) < 300


# Formulas as a child process, whose peak is its own.  Many of them are perfect: the worst case.
SIXTY = """
import resource
import numpy as np
from matchkit.colorimetry.difference import Target
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Ink
from matchkit.matching.solve import solve

rng, x = np.random.default_rng(3), np.linspace(0, 1, 31)
middle, wide, much = rng.uniform(0, 1, 60), rng.uniform(0.1, 0.3, 60), rng.uniform(0.5, 8, 60)
K = 0.01 + much[:, None] * np.exp(-(((x - middle[:, None]) / wide[:, None]) ** 2))
S = np.outer(np.append(1.0, rng.uniform(0.05, 0.4, 59)), np.ones(31))
K[0] = 0.003
inks = tuple(Ink(name=str(k), role="colour" if k else "white") for k in range(60))
palette = Palette(inks=inks, K=K, S=S, crowding=np.zeros(60), base=0.0, gain=1.0, k2=0.4)
solve(palette, Target.from_spectrum(0.2 + 0.5 * x), max_inks=6)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""
