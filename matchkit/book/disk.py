"""Where a record book lies: its address for SQLite, whose disk it is, and how it reads as it lies.

SQLite's write-ahead log needs memory that all its programs share, so it is for a disk of
this machine; over a network it damages books (sqlite.org, "Write-Ahead Logging").  Which
file systems are local is a list: whatever is not on it counts as another machine's.
"""

import os
import re
import sqlite3
import struct
import subprocess
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path, PurePath
from urllib.parse import quote

MOUNTS = Path("/proc/self/mounts")
LOCAL = {  # file systems that one machine has to itself, as Linux and macOS name them
    "apfs", "aufs", "bcachefs", "btrfs", "exfat", "ext2", "ext3", "ext4", "f2fs", "ffs", "fuseblk",
    "hfs", "hfsplus", "jfs", "msdos", "nilfs2", "ntfs", "ntfs3", "overlay", "ramfs", "reiserfs",
    "rootfs", "tmpfs", "udf", "ufs", "vfat", "xfs", "zfs",
}  # fmt: skip
LOCAL_DRIVES = (2, 3, 6)  # what Windows calls removable, fixed, and in memory
WAL, JOURNAL = "-wal", "-journal"
TRIES = 20  # to read a book that somebody else writes, until it holds still


def address(path: PurePath, mode: str) -> str:
    r"""The URI by which SQLite opens a file: "ro", "rw" or "rwc".  Of a share it has no host.

    >>> from pathlib import PureWindowsPath
    >>> address(PureWindowsPath(r"\\server\jobs\Shop 1\book.db"), "rw")
    'file:////server/jobs/Shop%201/book.db?mode=rw'
    >>> address(PureWindowsPath(r"C:\Shop\book.db"), "ro")
    'file:///C:/Shop/book.db?mode=ro'
    """
    text = re.sub(r"^//\?/(UNC/)?", lambda found: "//" if found[1] else "", path.as_posix())
    return f"file://{'' if text.startswith('/') else '/'}{quote(text, safe='/:')}?mode={mode}"


def is_local(path: Path) -> bool:
    """Whether a file lies on a disk of this machine, as far as the system tells."""
    path = path.resolve()
    if os.name == "nt":
        plain = str(path).removeprefix("\\\\?\\")
        shared = plain.startswith(("\\\\", "UNC\\"))
        return not shared and _windows_drive(plain[:3]) in LOCAL_DRIVES
    best, kind, above = "", "", {str(each) for each in (path, *path.parents)}
    for where, filesystem in _mounts():
        if len(where) >= len(best) and where in above:
            best, kind = where, filesystem
    return kind in LOCAL


def written_ahead(path: Path) -> bool:
    """Whether a book is kept with the write-ahead log, by the head of its file or what is beside.

    Asking SQLite would begin that log.
    """
    with suppress(OSError), path.open("rb") as stream:
        return stream.read(20)[18:19] == b"\x02" or _size(path, WAL) > 0
    return False


def snapshot(path: Path) -> sqlite3.Connection | None:
    """The book in memory, as its last write left it; None where it doesn't hold still.

    Nothing is written, so that a full disk or a folder that may only be read is no obstacle.
    OSError where it may not be read.
    """
    for _ in range(TRIES):
        before = _state(path)
        if _size(path, JOURNAL) == 0:
            pages = bytearray(path.read_bytes())
            if _size(path, WAL) > 0:
                pages = _with_log(pages, path.with_name(path.name + WAL).read_bytes())
            if _state(path) == before and len(pages) > 20:
                pages[18:20] = b"\x01\x01"  # the log is in it now
                db = sqlite3.connect(":memory:", isolation_level=None)
                db.deserialize(bytes(pages))
                return db
        time.sleep(0.01)
    return None


def _with_log(pages: bytearray, log: bytes) -> bytearray:
    """A database with the committed pages of its write-ahead log (sqlite.org, "File Format")."""
    magic, _, size, _, *salts = struct.unpack(">6I", log[:24])
    words = ">" if magic & 1 else "<"
    sums = _summed(log[:24], (0, 0), words)
    if sums != struct.unpack(">2I", log[24:32]):
        return pages
    size = 65536 if size == 1 else size
    waiting: list[tuple[int, bytes]] = []
    for at in range(32, len(log) - size - 23, 24 + size):
        number, whole, *own = struct.unpack(">4I", log[at : at + 16])
        page = log[at + 24 : at + 24 + size]
        sums = _summed(page, _summed(log[at : at + 8], sums, words), words)
        if own != salts or sums != struct.unpack(">2I", log[at + 16 : at + 24]):
            break  # of an earlier log
        waiting.append((number, page))
        if whole:  # a commit: so many pages has the database now
            pages.extend(bytes(max(0, whole * size - len(pages))))
            for each, content in waiting:
                pages[(each - 1) * size : each * size] = content
            del pages[whole * size :]
            waiting = []
    return pages


def _summed(data: bytes, sums: tuple[int, int], words: str) -> tuple[int, int]:
    a, b = sums
    for x, y in struct.iter_unpack(f"{words}2I", data):
        a = (a + x + b) & 0xFFFFFFFF
        b = (b + y + a) & 0xFFFFFFFF
    return a, b


def _state(path: Path) -> list[tuple[int, int]]:
    """What changes when anybody writes."""
    found = []
    for end in ("", WAL, JOURNAL):
        with suppress(OSError):
            told = path.with_name(path.name + end).stat()
            found.append((told.st_size, told.st_mtime_ns))
    return found


def _size(path: Path, end: str) -> int:
    with suppress(OSError):
        return path.with_name(path.name + end).stat().st_size
    return 0


def _mounts() -> Iterator[tuple[str, str]]:
    """Where each file system is mounted, and its kind."""
    with suppress(OSError):
        for line in MOUNTS.read_text(encoding="utf-8", errors="replace").splitlines():
            _, where, kind, *_ = line.split()
            yield _unescaped(where), kind
        return
    with suppress(OSError, subprocess.SubprocessError):  # macOS has no such table
        told = subprocess.run(["/sbin/mount"], capture_output=True, timeout=10, check=False)
        yield from _told_mounts(told.stdout.decode("utf-8", "replace"))


def _told_mounts(text: str) -> list[tuple[str, str]]:
    """What `mount` prints on macOS: ``//ana@server/jobs on /Volumes/jobs (smbfs, nodev)``."""
    return re.findall(r"^.*? on (/.*) \((\w+)", text, re.MULTILINE)


def _unescaped(field: str) -> str:
    r"""A field of the mount table, where a space is written ``\040``."""
    return re.sub(r"\\([0-7]{3})", lambda found: chr(int(found[1], 8)), field)


def _windows_drive(root: str) -> int:
    import ctypes

    windll = getattr(ctypes, "windll", None)
    return int(windll.kernel32.GetDriveTypeW(root)) if windll else 0
