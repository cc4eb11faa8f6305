"""Whatever cuts a write short, the old files or the new ones are there, never a mixture."""

import json
import os
import signal
import subprocess
import sys

import pytest
from dying import Cut, cut_at

from matchkit.errors import InputError
from matchkit.files import lock, write
from matchkit.files.lock import LOCK
from matchkit.files.tables import read_table
from matchkit.files.write import BESIDE, NOTE, csv_text, finish, settled, write_file, write_files

OLD = {"a.csv": "old a", "b.csv": "old b"}
NEW = {"a.csv": "new a", "b.csv": "new b", "c.csv": "new c"}


def fill(folder, contents):
    folder.mkdir()
    for name, content in contents.items():
        (folder / name).write_text(content)
    return folder


def present(folder, names=NEW):
    """What a reader finds."""
    paths = {name: settled(folder, name) for name in names}
    return {name: path.read_text() for name, path in paths.items() if path.exists()}


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_one_file_is_replaced_and_keeps_its_permissions(tmp_path):
    path = tmp_path / "fit.json"
    write_file(path, "old")
    path.chmod(0o640)
    write_file(path, "nüw")
    assert path.read_text(encoding="utf-8") == "nüw"
    assert path.stat().st_mode & 0o777 == 0o640
    write_file(path, b"\x00\xff")
    assert path.read_bytes() == b"\x00\xff"
    assert names(tmp_path) == ["fit.json"]


def test_several_files_are_replaced(tmp_path):
    folder = fill(tmp_path / "shop", OLD | {"mine.txt": "stays"})
    write_files(folder, NEW)
    assert present(folder) == NEW
    assert names(folder) == ["a.csv", "b.csv", "c.csv", "mine.txt"]


def test_a_new_folder_with_folders_inside(tmp_path):
    write_files(tmp_path / "demo", NEW | {"targets/x.csv": "x"})
    assert names(tmp_path) == ["demo"]
    assert names(tmp_path / "demo") == ["a.csv", "b.csv", "c.csv", "targets"]
    assert (tmp_path / "demo" / "targets" / "x.csv").read_text() == "x"


@pytest.mark.parametrize("count", range(1, 30))
def test_dying_at_any_step_leaves_old_or_new(tmp_path, monkeypatch, count):
    folder = fill(tmp_path / "shop", OLD)
    with monkeypatch.context() as patch:
        cut_at(patch, count)
        try:
            write_files(folder, NEW)
            died = False
        except Cut:
            died = True

    assert present(folder) in ((OLD, NEW) if died else (NEW,))

    write_files(folder, {"a.csv": "newest"})  # the next write finishes what was left
    assert present(folder)["a.csv"] == "newest"
    assert present(folder)["b.csv"] in ("old b", "new b")
    assert not (folder / NOTE).exists()


@pytest.mark.parametrize("count", range(1, 8))
def test_dying_while_a_folder_is_made_leaves_none_or_all(tmp_path, monkeypatch, count):
    folder = tmp_path / "demo"
    with monkeypatch.context() as patch:
        cut_at(patch, count)
        try:
            write_files(folder, NEW)
        except Cut:
            assert not folder.exists() or present(folder) == NEW


def test_a_killed_process_leaves_old_or_new(tmp_path):
    """SIGKILL after a random time, ten times over; from outside, nothing simulated."""
    folder = fill(tmp_path / "shop", {name: "0" for name in NEW})
    code = (
        "import sys, itertools; from matchkit.files.write import write_files\n"
        f"names = {list(NEW)}\n"
        "print('ready', flush=True)\n"
        "for i in itertools.count(int(sys.argv[2])):\n"
        "    write_files(sys.argv[1], {name: str(i) for name in names})\n"
    )
    for start in range(10):
        run = subprocess.Popen(
            [sys.executable, "-c", code, str(folder), str(start * 100_000)], stdout=subprocess.PIPE
        )
        run.stdout.readline()
        with pytest.raises(subprocess.TimeoutExpired):
            run.wait(0.005 + 0.003 * start)
        os.kill(run.pid, signal.SIGKILL)
        run.wait()
        run.stdout.close()
        assert len(set(present(folder).values())) == 1


def test_a_full_disk_changes_nothing(tmp_path, monkeypatch):
    folder = fill(tmp_path / "shop", OLD)
    real = write._flushed

    def full(path, content):
        real(path, content[:2])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(write, "_flushed", full)
    for attempt in (
        lambda: write_files(folder, NEW),
        lambda: write_file(folder / "a.csv", "x"),
        lambda: write_files(tmp_path / "fresh", NEW),
    ):
        with pytest.raises(InputError, match="cannot be written: No space left on device"):
            attempt()
    assert present(folder) == OLD
    assert not (folder / NOTE).exists()
    assert [name for name in names(tmp_path) if not name.startswith(BESIDE)] == ["shop"]


def test_a_file_that_is_open_elsewhere_waits(tmp_path, monkeypatch):
    """On Windows a spreadsheet locks what it shows; simulated, not run there."""
    folder = fill(tmp_path / "shop", OLD)
    real = write._replace

    def locked(beside, path):
        if path.name == "b.csv":
            raise PermissionError(13, "Permission denied")
        real(beside, path)

    monkeypatch.setattr(write, "_replace", locked)
    with pytest.raises(InputError, match=r"b\.csv: the new content waits beside it"):
        write_files(folder, NEW)
    assert present(folder) == NEW
    monkeypatch.setattr(write, "_replace", real)
    finish(folder)
    assert names(folder) == sorted(NEW)


@pytest.mark.parametrize("name", ["../x", "/x", "a/../../x", "", ".", "a\\b", "c:x", NOTE, "sub/x"])
def test_names_that_lead_elsewhere_are_refused(tmp_path, name):
    folder = fill(tmp_path / "shop", OLD)
    with pytest.raises(InputError, match="plain file name"):
        write_files(folder, {"a.csv": "new", name: "x"})
    assert present(folder) == OLD


def test_a_forged_note_is_not_followed(tmp_path):
    folder = fill(tmp_path / "shop", OLD)
    for note in ('{"a.csv": "b.csv"}', f'{{"../a": "{BESIDE}1"}}', "[1]", "{", '"x"', "[" * 9999):
        (folder / NOTE).write_text(note)
        with pytest.raises(InputError, match="remove it and check the files"):
            settled(folder, "a.csv")
    assert {name: (folder / name).read_text() for name in OLD} == OLD


def test_places_that_cannot_be_written(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="is a file; name a folder"):
        write_files(tmp_path / "file", NEW)
    with pytest.raises(InputError, match="cannot be written"):
        write_file(tmp_path / "nowhere" / "a.csv", "x")


def test_csv_text_quotes_what_needs_it():
    text = csv_text(["ink", "grams"], [['Red "deep", 1', 0.1], ["a\nb", None]])
    assert text == 'ink,grams\n"Red ""deep"", 1",0.1\n"a\nb",\n'


# ---- one writer at a time


def writes_as(folder, machine, pid):
    """What a program that was killed leaves."""
    owner = {"owner": "Ana", "machine": machine, "pid": pid, "since": "2026-03-02T09:12:00+00:00"}
    (folder / LOCK).write_text(json.dumps(owner | {"token": "1"}), encoding="utf-8")


def test_the_lock_of_a_killed_writer_stops_nobody_on_its_machine(tmp_path):
    folder = fill(tmp_path / "shop", OLD)
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    for pid in (gone.pid, os.getpid()):  # a number that came round again, or ours
        writes_as(folder, lock.machine(), pid)
        write_files(folder, NEW)
        assert present(folder) == NEW and not (folder / LOCK).exists()


def test_the_lock_of_another_machine_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(lock, "PATIENCE_S", 0.05)
    folder = fill(tmp_path / "shop", OLD)
    writes_as(folder, "press-2", 4)
    with pytest.raises(InputError, match="Ana on press-2") as refusal:
        write_files(folder, NEW)
    assert "is writing in this folder" in str(refusal.value)
    assert f"delete {LOCK} in the folder" in str(refusal.value)
    assert present(folder) == OLD and (folder / LOCK).exists()


def test_a_lock_that_names_nobody_is_waited_for_and_then_removed(tmp_path, monkeypatch):
    monkeypatch.setattr(lock, "PATIENCE_S", 0.05)
    folder = fill(tmp_path / "shop", OLD)
    (folder / LOCK).write_text("")
    with pytest.raises(InputError, match="another program is writing"):
        write_files(folder, NEW)
    os.utime(folder / LOCK, (0, 0))
    write_files(folder, NEW)
    assert present(folder) == NEW


def waiting(tmp_path, monkeypatch):
    """A folder whose new content waits, since the old file can't be replaced."""
    folder = fill(tmp_path / "shop", OLD)
    with monkeypatch.context() as patch:
        patch.setattr(
            write,
            "_replace",
            lambda beside, path: (_ for _ in ()).throw(PermissionError(13, "in use")),
        )
        with pytest.raises(InputError, match="the new content waits beside it"):
            write_files(folder, {"a.csv": "new a"})
    assert present(folder)["a.csv"] == "new a"
    return folder


def test_an_edit_that_was_saved_while_new_content_waits_is_not_lost(tmp_path, monkeypatch):
    folder = waiting(tmp_path, monkeypatch)
    (folder / "a.csv").write_text("edited")
    for work in (lambda: settled(folder, "a.csv"), lambda: write_files(folder, {"b.csv": "b"})):
        with pytest.raises(InputError, match=r"a\.csv: was edited after new content") as refusal:
            work()
    assert (folder / "a.csv").read_text() == "edited"
    beside = next(folder.glob(f"{BESIDE}*"))
    assert beside.name in str(refusal.value)
    beside.unlink()  # the edit is the right one
    write_files(folder, {"b.csv": "b"})
    assert present(folder) == {"a.csv": "edited", "b.csv": "b"}


def test_the_new_content_can_be_chosen_too(tmp_path, monkeypatch):
    folder = waiting(tmp_path, monkeypatch)
    (folder / "a.csv").write_text("edited")
    (folder / "a.csv").unlink()
    write_files(folder, {"b.csv": "b"})
    assert present(folder) == {"a.csv": "new a", "b.csv": "b"}


@pytest.mark.parametrize("name", ["=1+1", "+A1", "-A1", "@SUM(A1)", "'=x", "''-y", "'s-Gravenhage"])
def test_no_spreadsheet_runs_a_name_and_our_readers_take_it_back(tmp_path, name):
    text = csv_text(["name", "grams"], [[name, -1.5], ["-2.5", "-0,5"]])
    first, second = (line.split(",", 1)[0] for line in text.splitlines()[1:])
    assert first[0] not in "=+-@"
    assert second == "-2.5"
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")
    assert [row.first for row in read_table(path).rows] == [name, "-2.5"]


def test_a_name_outside_the_code_page_of_a_file_crashes_nothing(tmp_path):
    path = tmp_path / "a.csv"
    row = ["\u017dlut\u00e1", *(nm / 10 for nm in range(400, 701, 10))]
    path.write_text(csv_text(["name", *range(400, 701, 10)], [row]), encoding="utf-8")
    words = [sys.executable, "-m", "matchkit", "import", str(path), "--preview"]
    ascii_only = os.environ | {"PYTHONIOENCODING": "ascii"}
    done = subprocess.run(words, capture_output=True, env=ascii_only)
    assert done.returncode == 0, done.stderr
    assert rb"\u017dlut\xe1" in done.stdout
