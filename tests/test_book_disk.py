"""A book on a share, on a full disk, in a folder that may only be read: never damaged, still read.

What SQLite's files hold is taken from its documentation (sqlite.org, "File Format",
"Write-Ahead Logging"); the program's reading of them is held against SQLite's own.
"""

import os
import re
import shutil
import sqlite3
import subprocess
from contextlib import closing
from pathlib import PureWindowsPath

import pytest
from book_shop import POUR, SHOP, Clock, by_hand, child, ended, forks, one_batch

from matchkit.book import disk
from matchkit.book.containers import add
from matchkit.book.copies import backup, check, export, restore
from matchkit.book.schema import STEPS
from matchkit.book.stock import stock
from matchkit.book.store import FILE, open_book, reading
from matchkit.errors import InputError
from matchkit.files import lock
from matchkit.files.lock import LOCK

pytestmark = pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")


def mounted(monkeypatch, tmp_path, folder, kind):
    """The system says that a folder lies on a file system of this kind."""
    table = tmp_path / "mounts"
    where = str(folder).replace(" ", "\\040")
    table.write_text(f"/dev/root / ext4 rw 0 0\nserver:/jobs {where} {kind} rw 0 0\n")
    monkeypatch.setattr(disk, "MOUNTS", table)


def journal(path):
    with by_hand(path) as db:
        return db.execute("PRAGMA journal_mode").fetchone()[0]


# ---- where it lies


@pytest.mark.parametrize(
    ("path", "says"),
    [
        (r"\\server\jobs\book.db", "file:////server/jobs/book.db?mode=rw"),
        (r"\\?\UNC\server\jobs\book.db", "file:////server/jobs/book.db?mode=rw"),
        (r"\\?\C:\Shop\book.db", "file:///C:/Shop/book.db?mode=rw"),
        (r"C:\50 % off #1?\book.db", "file:///C:/50%20%25%20off%20%231%3F/book.db?mode=rw"),
    ],
)
def test_addresses_that_windows_builds_have_no_host(path, says):
    assert disk.address(PureWindowsPath(path), "rw") == says


def test_sqlite_takes_the_address_of_a_share_and_refuses_one_with_a_host(tmp_path):
    there = tmp_path / "jobs"
    there.mkdir()
    share = PureWindowsPath("/" + str(there / "book.db").replace("/", "\\"))  # \\tmp\...\book.db
    with closing(sqlite3.connect(disk.address(share, "rwc"), uri=True)) as db:
        db.execute("CREATE TABLE t (x)")
    assert (there / "book.db").exists()
    with pytest.raises(sqlite3.OperationalError, match="invalid uri authority"):
        sqlite3.connect(share.as_uri(), uri=True)


MAC = """\
/dev/disk3s1s1 on / (apfs, sealed, local, read-only, journaled)
devfs on /dev (devfs, local, nobrowse)
//ana@server.local/jobs on /Volumes/jobs on ice (smbfs, nodev, nosuid, mounted by ana)
"""


def test_mounts_as_macos_tells_them():
    assert disk._told_mounts(MAC) == [
        ("/", "apfs"), ("/dev", "devfs"), ("/Volumes/jobs on ice", "smbfs"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "kind", ["nfs4", "cifs", "smbfs", "fuse.newfs", "virtiofs", "9p", "madeup"]
)
def test_what_is_not_known_to_be_local_is_taken_for_a_share(tmp_path, monkeypatch, kind):
    there = tmp_path / "on the server"
    there.mkdir()
    mounted(monkeypatch, tmp_path, there, kind)
    assert not disk.is_local(there / FILE)
    assert disk.is_local(tmp_path / FILE)
    book = open_book(there)
    assert "network folder" in book.notes[0]
    assert journal(book.path) == "delete"


# ---- on a share


def test_on_a_share_programs_take_turns_with_the_rollback_journal(tmp_path, monkeypatch):
    there = tmp_path / "share"
    there.mkdir()
    mounted(monkeypatch, tmp_path, there, "cifs")
    book = open_book(there)
    one_batch(book)
    assert check(book) == [] and journal(book.path) == "delete"
    assert not (there / LOCK).exists()
    monkeypatch.undo()  # brought to a local disk, the book takes the better journal
    assert open_book(there).notes == ()
    assert journal(book.path) == "wal"


def test_a_book_that_its_machine_keeps_with_the_log_is_read_from_elsewhere_never_written(
    tmp_path, monkeypatch
):
    there = tmp_path / "share"
    there.mkdir()
    book = open_book(there, who="Ana", clock=Clock())
    batch = one_batch(book)
    mounted(monkeypatch, tmp_path, there, "smb3")
    before = {path.name: path.read_bytes() for path in there.iterdir()}
    seen = open_book(there)
    assert "can't be written now" in seen.notes[0] and "work there" in seen.notes[0]
    assert stock(seen, SHOP)["Scarlet"] == 2499.75
    assert check(seen) == []
    with pytest.raises(InputError, match="only that machine can go on with: work there"):
        add(seen, SHOP, batch, POUR)
    assert {path.name: path.read_bytes() for path in there.iterdir()} == before
    # The way out where no program works on that machine.
    copy = backup(seen, tmp_path / "copy.db")
    other = tmp_path / "share" / "again"
    other.mkdir()
    kept = restore(copy, other)
    assert journal(kept.path) == "delete"
    assert add(kept, SHOP, batch, POUR) > 0


@forks
def test_two_machines_that_write_to_a_share_lose_nothing(tmp_path, monkeypatch):
    there = tmp_path / "share"
    there.mkdir()
    mounted(monkeypatch, tmp_path, there, "nfs4")
    book = open_book(there)
    batch = one_batch(book)

    def press(name):
        lock.machine = lambda: name
        for _ in range(12):
            add(book, SHOP, batch, POUR)

    pids = [child(lambda name=name: press(name)) for name in ("press-1", "press-2")]
    assert [ended(pid) for pid in pids] == [0, 0]
    with reading(book) as db:
        assert db.execute("SELECT count(*) FROM weighing").fetchone() == (12 * 2 + 1,)
    assert check(book) == [] and journal(book.path) == "delete"


def test_a_machine_that_was_switched_off_while_it_wrote_is_told(tmp_path, monkeypatch):
    there = tmp_path / "share"
    there.mkdir()
    mounted(monkeypatch, tmp_path, there, "nfs4")
    book = open_book(there)
    monkeypatch.setattr(lock, "PATIENCE_S", 0.05)
    with lock.locked(there):
        owner = (there / LOCK).read_text()
    (there / LOCK).write_text(owner.replace(lock.machine(), "press-2"))
    with pytest.raises(InputError, match=r"on press-2 .* delete \.matchkit-lock in the folder"):
        one_batch(book)


# ---- where nothing can be written


def test_a_book_is_read_as_sqlite_reads_it_log_and_all(tmp_path):
    """Whatever stands in the file and whatever in the log: page for page what SQLite finds."""
    book = open_book(tmp_path, clock=Clock())
    batch = one_batch(book)
    with closing(sqlite3.connect(book.path)) as open_elsewhere:  # so that the log stays
        open_elsewhere.execute("SELECT * FROM book").fetchall()
        for _ in range(5):
            add(book, SHOP, batch, POUR)
            assert (tmp_path / f"{FILE}-wal").stat().st_size > 0
            with closing(disk.snapshot(book.path)) as db, reading(book) as theirs:
                assert list(db.iterdump()) == list(theirs.iterdump())
        # A log that was torn counts up to its last whole commit.
        torn = tmp_path / "torn"
        torn.mkdir()
        for end in ("", "-wal"):
            shutil.copy(f"{book.path}{end}", torn)
    log = torn / f"{FILE}-wal"
    log.write_bytes(log.read_bytes()[:-1000])
    with closing(disk.snapshot(torn / FILE)) as db:
        (mine,) = db.execute("SELECT count(*) FROM weighing").fetchone()
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    with closing(sqlite3.connect(torn / FILE)) as db:
        assert db.execute("SELECT count(*) FROM weighing").fetchone() == (mine,)


def test_a_book_in_the_middle_of_a_rollback_is_left_alone(tmp_path):
    book = open_book(tmp_path)
    (tmp_path / f"{FILE}-journal").write_bytes(b"x" * 512)
    monkey = disk.TRIES
    disk.TRIES = 2
    try:
        assert disk.snapshot(book.path) is None
    finally:
        disk.TRIES = monkey


@pytest.fixture
def small_disk(tmp_path):
    """A small disk in memory; needs the right to mount one."""
    there = tmp_path / "disk"
    there.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=600k", "tmpfs", str(there)]
    if not hasattr(os, "geteuid") or os.geteuid() or subprocess.call(mount, stderr=-3):
        pytest.skip("may not mount a disk")
    yield there
    subprocess.call(["umount", "-l", str(there)])


def still_read(there, tmp_path, why):
    seen = open_book(there)
    assert why in seen.notes[0] and "as of its last write" in seen.notes[0]
    assert stock(seen, SHOP)["Scarlet"] == 2499.75
    copy = backup(seen, tmp_path / "elsewhere.db")
    with by_hand(copy) as db:
        assert db.execute("SELECT count(*) FROM weighing").fetchone() == (1,)
    with pytest.raises(InputError, match=FILE):
        one_batch(seen)


def test_a_full_disk_does_not_stop_reading(small_disk, tmp_path):
    one_batch(open_book(small_disk, clock=Clock()))
    with pytest.raises(OSError, match="No space"), (small_disk / "fill").open("wb") as stream:
        while True:
            stream.write(bytes(4096))
            stream.flush()
    still_read(small_disk, tmp_path, "the disk is full or failing")


def test_a_folder_that_may_only_be_read_does_not_stop_reading(small_disk, tmp_path):
    one_batch(open_book(small_disk, clock=Clock()))
    subprocess.check_call(["mount", "-o", "remount,ro", str(small_disk)])
    still_read(small_disk, tmp_path, "it may only be read here")


# ---- older books, and exports that are no books


def test_a_migration_keeps_a_copy_first(tmp_path):
    folder = tmp_path / "older"
    folder.mkdir()
    with closing(sqlite3.connect(folder / FILE, isolation_level=None)) as db:
        old_version(db)
    book = open_book(folder)
    kept = folder / f"{FILE}.version-1.1.bak"
    assert kept.name in book.notes[0]
    with by_hand(kept) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (1,)
        assert db.execute("SELECT uid FROM book").fetchone() == ("AB12",)
    with by_hand(book.path) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (len(STEPS),)
    assert open_book(folder).notes == ()


def test_an_older_book_that_can_t_be_copied_stays_as_it_is_and_is_read(small_disk):
    with closing(sqlite3.connect(small_disk / FILE, isolation_level=None)) as db:
        old_version(db)
    subprocess.check_call(["mount", "-o", "remount,ro", str(small_disk)])
    assert check(open_book(small_disk)) == []
    with by_hand(small_disk / FILE) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (1,)


def old_version(db):
    """A book of version 1, with nothing in it."""
    from matchkit.book.schema import APPLICATION_ID

    for line in STEPS[0]:
        db.execute(line)
    db.execute("INSERT INTO book VALUES (1, '2026-03-02T09:00:00Z', 'AB12')")
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute("PRAGMA user_version = 1")


@pytest.mark.parametrize("wrong", ['"abc"', "1e400", "0.5", "12345678901234567890123"])
def test_restore_refuses_what_check_would_call_broken(tmp_path, wrong):
    book = open_book(tmp_path, clock=Clock())
    one_batch(book)
    export(book, tmp_path / "out")
    path = tmp_path / "out" / "book.json"
    text = path.read_text(encoding="utf-8")
    (tmp_path / "other").mkdir()
    path.write_text(re.sub(r'"mg": -?\d+', f'"mg": {wrong}', text, count=1), encoding="utf-8")
    with pytest.raises(InputError, match=r"movement \d+: (mg|Python int)"):
        restore(path, tmp_path / "other")
    assert list((tmp_path / "other").iterdir()) == []
