"""One writer at a time in a shop folder: a lock file that names who writes.

The file is made only where there is none, which local disks and shares both do for one of
two.  A writer that was killed leaves it behind: on its own machine the next writer sees
that and goes on; of another machine nobody can tell, so a person is told whose it is.
"""

import getpass
import json
import os
import platform
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from threading import get_ident
from typing import Any

from matchkit.errors import InputError
from matchkit.files.text import label

LOCK = ".matchkit-lock"
PATIENCE_S = 10.0  # how long a writer waits for another
UNSIGNED_S = 10.0  # a lock that names nobody for so long is of a writer that was killed

_HELD: dict[tuple[str, int], str] = {}  # the token of each folder's lock, by thread


class Refused(InputError):
    """The folder can't be written."""


@contextmanager
def locked(folder: str | Path) -> Iterator[None]:
    """Nobody else writes in the folder meanwhile; within one thread it may be asked for again.

    Raises InputError where another goes on writing, and for a folder that can't be written.
    """
    folder = Path(folder)
    held = (os.path.realpath(folder), get_ident())
    if held in _HELD:
        yield
        return
    token = _HELD[held] = secrets.token_hex(8)  # known here before it stands there
    try:
        _take(folder / LOCK, token)
        try:
            yield
        finally:
            with suppress(OSError):
                if _owner(folder / LOCK).get("token") == token:
                    (folder / LOCK).unlink()
    finally:
        del _HELD[held]  # last: whoever sees the file without this takes it for one left behind


def awaited(folder: Path, note: Path) -> None:
    """Wait for a writer at work to take its `note` away; of one that is gone it stays."""
    path = folder / LOCK
    while note.exists() and (os.path.realpath(folder), get_ident()) not in _HELD:
        try:
            old = time.time() - path.stat().st_mtime > PATIENCE_S
        except OSError:
            return
        if old or _left_behind(path, _owner(path)):
            return
        time.sleep(0.01)


def machine() -> str:
    """The name of this computer."""
    return platform.node()


def _take(path: Path, token: str) -> None:
    """Make the lock file, or wait for it."""
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666)
        except OSError as error:
            if not path.exists():  # it may not be made; while one is deleted Windows says so too
                if time.monotonic() > until - PATIENCE_S + 1:
                    raise _refused(path, error) from None
            elif not _cleared(path) and time.monotonic() > until:
                raise InputError(_told(path)) from None
            time.sleep(0.01)
            continue
        since = datetime.now().astimezone().isoformat(timespec="seconds")
        who = {"owner": _user(), "machine": machine(), "pid": os.getpid(), "since": since}
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as stream:
                json.dump({**who, "token": token}, stream)
        except OSError as error:
            path.unlink(missing_ok=True)
            raise _refused(path, error) from None
        return


def _refused(path: Path, error: OSError) -> Refused:
    why = error.strerror or error
    return Refused(f"{label(path.parent)}: cannot be written: {why}")


def _cleared(path: Path) -> bool:
    """Whether a lock was removed whose writer is gone; one at a time looks and removes."""
    with _alone(path.parent):
        owner = _owner(path)
        # Looked at twice: a writer that has just ended took its file away itself.
        if not _left_behind(path, owner) or _owner(path) != owner:
            return False
        path.unlink(missing_ok=True)
        return True


def _left_behind(path: Path, owner: dict[str, Any]) -> bool:
    if not owner:
        with suppress(OSError):
            return time.time() - path.stat().st_mtime > UNSIGNED_S
        return False
    if owner["machine"] != machine():
        return False
    if owner["pid"] == os.getpid():
        return owner["token"] not in _HELD.values()
    return not _runs(owner["pid"])


def _owner(path: Path) -> dict[str, Any]:
    """Who wrote the lock; nothing where it is not written yet, or not by this program."""
    try:
        owner = json.loads(path.read_text(encoding="utf-8"))
        kinds = {"owner": str, "machine": str, "pid": int, "since": str, "token": str}
        return owner if all(isinstance(owner[k], kind) for k, kind in kinds.items()) else {}
    except (OSError, ValueError, LookupError, TypeError, RecursionError):
        return {}


def _told(path: Path) -> str:
    owner = _owner(path)
    who = "another program"
    if owner:
        who = "{owner} on {machine} (process {pid}, since {since})".format(**owner)
    return (
        f"{label(path.parent)}: {who} is writing in this folder; try again when that has ended."
        f" If that program or computer was stopped, delete {LOCK} in the folder"
    )


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, ImportError, KeyError):  # an account without a name
        return "somebody"


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """The system's own lock on the folder, where there is one; it ends with the program."""
    if os.name != "posix":
        yield
        return
    import fcntl

    handle = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):  # a share may have none
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _runs(pid: int) -> bool:
    """Whether a process of this machine is still there."""
    if os.name == "nt":
        return _runs_on_windows(pid)
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True  # of another user
    return True


def _runs_on_windows(pid: int) -> bool:
    import ctypes

    windll = getattr(ctypes, "windll", None)
    if windll is None:
        return True
    handle = windll.kernel32.OpenProcess(0x1000, False, pid)  # to ask about it, no more
    if handle:
        code = ctypes.c_ulong()
        windll.kernel32.GetExitCodeProcess(handle, ctypes.byref(code))
        windll.kernel32.CloseHandle(handle)
        return code.value == 259  # STILL_ACTIVE
    return bool(windll.kernel32.GetLastError() == 5)  # access denied: it is there
