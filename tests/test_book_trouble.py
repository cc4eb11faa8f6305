"""The book killed, crowded and starved of disk: whole each time, and nothing told is lost.

What SQLite promises is taken from its documentation (sqlite.org, "Atomic Commit",
"Write-Ahead Logging", from memory); that the book keeps it is tried here.
"""

import os
import random
import signal
import sqlite3
import subprocess
import time

import pytest
from book_shop import INKS, POUR, SHOP, Clock, by_hand, child, ended, forks, logged, one_batch

from matchkit.book import store as book_module
from matchkit.book.containers import add
from matchkit.book.copies import backup, check
from matchkit.book.stock import stock
from matchkit.book.store import open_book, reading
from matchkit.errors import InputError

pytestmark = pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")


@pytest.fixture
def book(tmp_path):
    return open_book(tmp_path, who="Ana", clock=Clock())


# ---- killed, crowded


@forks
def test_ten_kills_leave_ten_sound_books(tmp_path):
    """SIGKILL at any moment: what was acknowledged is there, and nothing is half there."""
    rng = random.Random(8)
    for n in range(10):
        folder = tmp_path / str(n)
        folder.mkdir()
        book = open_book(folder)
        batch = one_batch(book)
        said, hears = os.pipe()

        def write_on(book=book, batch=batch, hears=hears):
            while True:
                os.write(hears, f"{add(book, SHOP, batch, POUR)}\n".encode())

        pid = child(write_on)
        os.close(hears)
        heard = os.read(said, 64)  # it is at work
        time.sleep(rng.uniform(0, 0.02))
        os.kill(pid, signal.SIGKILL)
        assert ended(pid) == -signal.SIGKILL
        while more := os.read(said, 65536):
            heard += more
        os.close(said)
        acknowledged = [int(word) for word in heard.split()]
        assert check(book) == []
        with reading(book) as db:
            poured = db.execute(
                "SELECT weighing, count(*) FROM movement WHERE kind = 'weighed' GROUP BY weighing"
            ).fetchall()
            kept = [row[0] for row in db.execute("SELECT id FROM weighing ORDER BY id")]
        assert set(acknowledged) <= set(kept)
        assert len(kept) <= len(acknowledged) + 2  # the first, and one not yet acknowledged
        assert poured == [(weighing, len(POUR)) for weighing in kept]
        assert add(book, SHOP, batch, POUR) == kept[-1] + 1


@forks
def test_two_writers_and_a_backup_at_once(tmp_path):
    """Two times 150 weigh-outs while copies are made: no error, and the stock is exact."""
    book = open_book(tmp_path)
    batches = [one_batch(book) for _ in range(2)]

    def write(batch):
        for _ in range(150):
            add(book, SHOP, batch, POUR)

    children = [child(lambda batch=batch: write(batch)) for batch in batches]
    copies = []
    while len(copies) < 3:
        copies.append(backup(book, tmp_path / f"copy{len(copies)}.db"))
        time.sleep(0.05)
    assert [ended(pid) for pid in children] == [0, 0]
    held = stock(book, SHOP)
    for ink in INKS:
        if ink.stock_g is None:
            assert held[ink.name] is None
        else:  # in milligrams, by hand
            left = round(ink.stock_g * 1000) - 302 * round(POUR.get(ink.name, 0) * 1000)
            assert round(held[ink.name] * 1000) == left
    assert check(book) == []
    for copy in copies:
        with by_hand(copy) as db:
            assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            assert db.execute("SELECT count(*) % 3 FROM movement_now WHERE kind='weighed'")


def test_a_writer_that_blocks_is_told_of(book, monkeypatch):
    monkeypatch.setattr(book_module, "PATIENCE_S", 0.05)
    with by_hand(book.path) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(InputError, match="another program has kept it to itself"):
            logged(book)
        assert stock(book, SHOP)["Lemon"] == 3000  # who reads does not wait
    logged(book)


# ---- disks


def test_a_full_disk_is_told_and_the_book_is_whole(book, monkeypatch):
    """The same error as a full disk gives, by SQLite's own limit on the size of a file."""
    batch = one_batch(book)
    with reading(book) as db:
        (pages,) = db.execute("PRAGMA page_count").fetchone()
    monkeypatch.setattr(
        book_module, "PRAGMAS", (*book_module.PRAGMAS, f"max_page_count = {pages + 3}")
    )
    kept = _until_full(book, batch)
    assert len(kept) > 3
    monkeypatch.undo()
    assert check(book) == []
    assert add(book, SHOP, batch, POUR) == kept[-1] + 1


def _until_full(book, batch):
    kept = []
    with pytest.raises(InputError, match="the disk is full; nothing of this record was written"):
        for _ in range(5000):
            kept.append(add(book, SHOP, batch, POUR))
    with reading(book) as db:
        (last,) = db.execute("SELECT max(id) FROM weighing").fetchone()
    assert last == kept[-1]
    return kept


def test_a_disk_that_is_really_full(tmp_path):
    """A small disk in memory; needs the right to mount one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=560k", "tmpfs", str(disk)]
    if not hasattr(os, "geteuid") or os.geteuid() or subprocess.call(mount, stderr=-3):
        pytest.skip("may not mount a disk")
    try:
        ballast = disk / "ballast"
        ballast.write_bytes(b"x" * 60_000)
        book = open_book(disk)
        batch = one_batch(book)
        kept = _until_full(book, batch)
        assert check(book) == []
        ballast.unlink()
        assert add(book, SHOP, batch, POUR) == kept[-1] + 1
        assert check(book) == []
    finally:
        subprocess.call(["umount", str(disk)])


@pytest.mark.skipif(os.name != "posix", reason="the file locks of another system")
def test_a_disk_without_shared_memory_falls_back(tmp_path, monkeypatch):
    """Dot-file locks carry no write-ahead log (sqlite.org, "The OS Backend (VFS)")."""

    def plain(path, *, create=False):
        mode = "rwc" if create else "rw"
        uri = f"{path.resolve().as_uri()}?mode={mode}&vfs=unix-dotfile"
        return sqlite3.connect(uri, uri=True, isolation_level=None)

    monkeypatch.setattr(book_module, "connect", plain)
    book = open_book(tmp_path)
    assert "does not carry the write-ahead log" in book.notes[0]
    one_batch(book)
    assert check(book) == []


def test_a_book_that_may_only_be_read(book, monkeypatch):
    one_batch(book)

    def read_only(path, *, create=False):
        return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None)

    monkeypatch.setattr(book_module, "connect", read_only)
    assert stock(book, SHOP)["Scarlet"] == 2499.75
    with pytest.raises(InputError, match="may be read only"):
        logged(book)
