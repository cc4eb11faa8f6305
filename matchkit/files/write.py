"""Writing without loss, and the places where files of this package lie."""

import contextlib
import csv
import io
import json
import os
import secrets
import time
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from hashlib import sha256
from itertools import count
from pathlib import Path, PurePosixPath

from matchkit.errors import InputError
from matchkit.files.lock import awaited, locked
from matchkit.files.text import label, shielded

PACKAGE = Path(__file__).parents[1]
SETTINGS = "MATCHKIT_SETTINGS"  # in the environment: a folder in place of the person's own
OPENED = "shops.txt"  # in that folder: the folders of shops, a line each, the last one first
SECRET = "page-secret.txt"  # in it too: what lets a browser into the job page
NEW_FILE = os.O_WRONLY | os.O_CREAT | os.O_EXCL
MOST = 20  # shops that are remembered


def data_folder() -> Path:
    """The folder ``data``: inside an installed package, or beside it in a checkout."""
    return _shipped("data")


def notebooks_folder() -> Path:
    """The folder ``notebooks``, likewise."""
    return _shipped("notebooks")


def _shipped(name: str) -> Path:
    installed = PACKAGE / f"_{name}"
    return installed if installed.is_dir() else PACKAGE.parent / name


def opened_shops() -> list[Path]:
    """The folders of shops that were opened here, the last one first, as far as they are there."""
    try:
        lines = (_settings() / OPENED).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return []
    return [Path(line) for line in lines if line and Path(line).is_dir()]


def remember_shop(folder: Path) -> None:
    """Put a shop's folder first among those that were opened; no harm where that can't be kept."""
    own = Path(os.path.realpath(folder))
    kept = [own, *(each for each in opened_shops() if each != own)][:MOST]
    with suppress(OSError):
        _settings().mkdir(parents=True, exist_ok=True)
        (_settings() / OPENED).write_text("\n".join(map(str, kept)) + "\n", encoding="utf-8")


def kept_secret() -> str:
    """What lets a browser into the job page: made once, in a file that only this person reads."""
    path, made = _settings() / SECRET, secrets.token_urlsafe(18)
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileExistsError), os.fdopen(os.open(path, NEW_FILE, 0o600), "w") as file:
            file.write(made)
        return path.read_text(encoding="utf-8").strip() or made
    return made


def _settings() -> Path:
    if own := os.environ.get(SETTINGS):
        return Path(own)
    from platformdirs import user_config_path

    return user_config_path("matchkit", appauthor=False)


NOTE = ".matchkit-writing.json"
STALE_S = 3600.0
BESIDE = ".matchkit-new-"  # how the names of files begin that are not in their place yet


def write_file(path: str | Path, content: str | bytes) -> None:
    """Write one file, whole or not at all; its folder must exist.

    Raises `InputError` with the reason when the disk refuses; then nothing changed.
    """
    path = Path(path)
    beside = path.with_name(_new_name())
    try:
        _flushed(beside, content)
        _replace(beside, path)
        _flush_folder(path.parent)
    except OSError as error:
        _remove([beside])
        raise _refused(path, error) from None


def write_files(folder: str | Path, contents: Mapping[str, str | bytes]) -> None:
    """Write several files of a folder, all or none; a missing folder appears whole.

    Names are relative; subfolders only in a new folder.  Raises `InputError` with the
    reason when the disk refuses; then nothing changed, unless the message says so.
    """
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{label(folder)}: is a file; name a folder")
    _check_names(contents, flat=folder.exists())
    try:
        if folder.exists():
            with locked(folder):
                finish(folder)
                _change(folder, contents)
        else:
            _create(folder, contents)
    except OSError as error:
        raise _refused(folder, error) from None


def settled(folder: str | Path, name: str) -> Path:
    """Where the present content of a file is: beside its place if a write was cut short.

    InputError where the old file was edited after that.
    """
    folder = Path(folder)
    awaited(folder, folder / NOTE)
    beside, old = _waiting(folder).get(name, ("", ""))
    if beside and (folder / beside).exists():
        _check_unedited(folder, name, beside, old)
    waiting = folder / beside
    return waiting if beside and waiting.exists() else folder / name


def finish(folder: str | Path) -> None:
    """Put in place what an interrupted write left, and clear away the rest."""
    folder = Path(folder)
    waiting = _waiting(folder)
    for name, (beside, old) in waiting.items():
        if (folder / beside).exists():
            _check_unedited(folder, name, beside, old)
    for name, (beside, _) in waiting.items():
        try:
            _replace(folder / beside, folder / name)
        except FileNotFoundError:
            continue  # in its place already
        except OSError as error:
            raise InputError(
                f"{name}: the new content waits beside it, and counts, until the old can be"
                f" replaced ({error.strerror}); close the file elsewhere and write again"
            ) from None
    if waiting:
        _flush_folder(folder)
        _remove([folder / NOTE])
    _remove(path for path in folder.glob(BESIDE + "*") if _stale(path))


def write_keeping(
    folder: str | Path, names: Iterable[str], contents: Mapping[str, str | bytes]
) -> str:
    """Write files of a folder together with copies of what its files `names` hold now.

    Gives the names of the copies, such as ``inks.csv.1.bak``; empty where there is none.
    """
    kept: dict[str, str | bytes] = {}
    with locked(folder):
        for name in names:
            if (old := settled(folder, name)).exists():
                copies = (f"{name}.{i}.bak" for i in count(1))
                copy = next(each for each in copies if not (Path(folder) / each).exists())
                kept[copy] = old.read_bytes()
        write_files(folder, {**contents, **kept})
    return ", ".join(kept)


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]], separator: str = ",") -> str:
    """A table as CSV: commas unless said otherwise, decimal points, None as an empty cell.

    No text in it is run as a formula by a spreadsheet; our readers take it as it was.

    >>> csv_text(["ink", "grams"], [["White", 12.5], ["Red, deep", None]])
    'ink,grams\\nWhite,12.5\\n"Red, deep",\\n'
    """
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=separator, lineterminator="\n")
    writer.writerow([shielded(column) for column in columns])
    writer.writerows([shielded(cell) for cell in row] for row in rows)
    return stream.getvalue()


def _change(folder: Path, contents: Mapping[str, str | bytes]) -> None:
    """New contents for files of a folder that exists."""
    beside = {name: _new_name() for name in contents}
    waits = {name: [new, _held(folder / name)] for name, new in beside.items()}
    note = folder / _new_name()
    try:
        for name, content in contents.items():
            _flushed(folder / beside[name], content)
        _flushed(note, json.dumps(waits))
        _flush_folder(folder)
        note.replace(folder / NOTE)
    except OSError:
        _remove([note, *(folder / new for new in beside.values())])
        raise
    finish(folder)


def _create(folder: Path, contents: Mapping[str, str | bytes]) -> None:
    """A new folder, filled beside its place and renamed."""
    beside = folder.with_name(_new_name())
    places = {beside / name: content for name, content in contents.items()}
    folders = list(dict.fromkeys([beside, *(path.parent for path in places)]))
    try:
        for each in folders:
            each.mkdir(parents=True, exist_ok=True)
        for path, content in places.items():
            _flushed(path, content)
        beside.rename(folder)
        _flush_folder(folder.parent)
    except OSError:
        _remove(places)
        _remove_folders(beside)
        raise


def _held(path: Path) -> str:
    """What a file holds, as a digest; empty where there is none."""
    return sha256(path.read_bytes()).hexdigest() if path.is_file() else ""


def _check_unedited(folder: Path, name: str, beside: str, old: str | None) -> None:
    """InputError if a file is not there as it was when its new content was written."""
    edited = old is not None and _held(folder / name) not in (old, "")
    if edited and (folder / beside).exists():  # else it has just come into its place
        raise InputError(
            f"{name}: was edited after new content for it was written, which waits beside it in"
            f" {beside}; look at both, delete the one that is wrong, and go on"
        )


def _waiting(folder: Path) -> dict[str, tuple[str, str | None]]:
    """From the note of an interrupted write: for a file the name beside it, and what it held."""
    try:
        note = dict(json.loads((folder / NOTE).read_text(encoding="utf-8")))
        # Earlier notes have no digest, only the name.
        pairs: dict[str, tuple[str, str | None]] = {
            name: (each, None) if isinstance(each, str) else (str(each[0]), str(each[1]))
            for name, each in note.items()
        }
    except (FileNotFoundError, NotADirectoryError):
        return {}
    except (OSError, ValueError, LookupError, TypeError, RecursionError) as error:
        raise InputError(
            f"{NOTE}: cannot be read ({error}); remove it and check the files"
        ) from None
    if not all(_plain(b) and b.startswith(BESIDE) and _plain(n) for n, (b, _) in pairs.items()):
        raise InputError(f"{NOTE}: not written by this program; remove it and check the files")
    return pairs


def _new_name() -> str:
    return BESIDE + secrets.token_hex(8)


def _stale(path: Path) -> bool:
    """Left by a program that is no longer running, most likely."""
    with contextlib.suppress(OSError):
        return time.time() - path.stat().st_mtime > STALE_S
    return False


def _refused(path: Path, error: OSError) -> InputError:
    return InputError(f"{label(path)}: cannot be written: {error.strerror or error}")


def _check_names(names: Iterable[str], *, flat: bool) -> None:
    for name in names:
        parts = PurePosixPath(name).parts
        if not parts or not all(map(_plain, parts)) or (flat and len(parts) > 1):
            raise InputError(f"{name!r} is not a plain file name; nothing was written")


def _plain(name: str) -> bool:
    return name not in ("", ".", "..") and not set(name) & set("/\\:\0") and name != NOTE


def _flushed(path: Path, content: str | bytes) -> None:
    data = content if isinstance(content, bytes) else content.encode("utf-8")
    with path.open("xb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _replace(beside: Path, path: Path) -> None:
    """Rename over `path`, which keeps its permissions."""
    with contextlib.suppress(FileNotFoundError):
        beside.chmod(path.stat().st_mode)
    beside.replace(path)


def _flush_folder(folder: Path) -> None:
    """Make renames last; Windows has no such call and needs none."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _remove(paths: Iterable[Path]) -> None:
    for path in paths:
        with contextlib.suppress(OSError):
            path.unlink()


def _remove_folders(top: Path) -> None:
    """Empty folders from the inside out."""
    inner = sorted((path for path in top.rglob("*") if path.is_dir()), reverse=True)
    for folder in [*inner, top]:
        with contextlib.suppress(OSError):
            folder.rmdir()
