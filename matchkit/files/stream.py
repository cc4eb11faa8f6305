"""Long runs in a file that can be gone on with, and spectra for other programs."""

import csv
import json
import os
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import astuple, fields
from pathlib import Path
from typing import BinaryIO

from matchkit.colorimetry.grid import GRID_NM
from matchkit.errors import InputError
from matchkit.files.grounds import stated_of
from matchkit.files.readings import NamedSpectrum, Stated, name_fault
from matchkit.files.text import label, quoted, unshielded
from matchkit.files.write import csv_text, write_file

KINDS = (".csv", ".jsonl")
FORMAT = 1
FLUSH_S = 2.0  # at most this much work is lost where the power fails


class Growing:
    """A file that is added to at its end, `done` answers in it."""

    def __init__(self, path: Path, digest: str, head: bytes, done: int, size: int) -> None:
        self.done = done
        self._path, self._digest, self._head, self._size = path, digest, head, size
        self._file: BinaryIO | None = None
        self._flushed = time.monotonic()

    def add(self, text: str) -> None:
        """The lines of one more answer."""
        try:
            file = self._file or self._opened()
            file.write(text.encode("utf-8"))
            file.flush()
            self.done += 1
            if time.monotonic() - self._flushed > FLUSH_S:
                os.fsync(file.fileno())
                self._flushed = time.monotonic()
        except OSError as error:
            raise self._refused(error) from None

    def close(self) -> None:
        """All on the disk; a half line that nothing was written over is cut off."""
        try:
            file = self._file or (self._opened() if self._size else None)
            if file:
                os.fsync(file.fileno())
                file.close()
        except OSError as error:
            raise self._refused(error) from None

    def _opened(self) -> BinaryIO:
        if not self._size:
            # Gone first: old answers must never stand beside the new digest.
            self._path.unlink(missing_ok=True)
            write_file(_beside(self._path), json.dumps(_said(self._digest)) + "\n")
            write_file(self._path, self._head)
        self._file = self._path.open("r+b")
        self._file.truncate(self._size or len(self._head))
        self._file.seek(0, os.SEEK_END)
        return self._file

    def _refused(self, error: OSError) -> InputError:
        why = error.strerror or error
        return InputError(f"{label(self._path)}: {why}; what is written stays, go on later")


@contextmanager
def growing(
    path: str | Path,
    *,
    digest: str,
    names: Sequence[str],
    columns: Sequence[str],
    anew: bool = False,
) -> Iterator[Growing]:
    """The file to add the answers `names` to; `columns` head a CSV: name, rank, and more.

    `anew` begins again what was begun here.  Raises `InputError` where what is there has
    another digest or other answers, or is no such file.
    """
    path = Path(path)
    if path.suffix.casefold() not in KINDS:
        raise InputError(f"{label(path)}: a name that ends in {' or '.join(KINDS)} is needed")
    if not path.parent.is_dir():
        raise InputError(f"{path.parent}: no such folder; make it, or write elsewhere")
    is_csv = path.suffix.casefold() == ".csv"
    head = csv_text(columns, []).encode("utf-8") if is_csv else b""
    done = size = 0
    if path.exists():
        known = _begun(path)
        if not anew:
            if known != _said(digest):
                raise InputError(
                    f"{label(path)}: was begun with other inks, targets or options, or by another"
                    " version; give another name, or --anew to start over"
                )
            try:
                done, size = _kept(path, head, names)
                if path.stat().st_size == _whole(path):
                    done, size = len(names), path.stat().st_size
            except OSError as error:
                raise InputError(f"{label(path)}: cannot be read: {error.strerror}") from None
    file = Growing(path, digest, head, done, size)
    try:
        yield file
    finally:
        file.close()
    if names and file.done == len(names):
        # Said once more: of rows alone nobody could tell whether the last answer has more.
        with suppress(InputError):  # an answer is written again then, no more
            whole = {**_said(digest), "bytes": path.stat().st_size}
            write_file(_beside(path), json.dumps(whole) + "\n")


def _beside(path: Path) -> Path:
    return path.with_name(path.name + ".run.json")


def _said(digest: str) -> dict[str, object]:
    return {"format": FORMAT, "digest": digest}


def _begun(path: Path) -> dict[str, object]:
    """What was said when the file was begun; nobody's other file is ever written over."""
    try:
        there = json.loads(_beside(path).read_text(encoding="utf-8"))
        return {"format": there["format"], "digest": there["digest"]}
    except (OSError, ValueError, LookupError, TypeError, RecursionError):
        raise InputError(
            f"{label(path)}: is there already and was not begun here; give another name"
        ) from None


def _whole(path: Path) -> object:
    """The bytes of a file that was written to its end, or None."""
    return json.loads(_beside(path).read_text(encoding="utf-8")).get("bytes")


def _kept(path: Path, head: bytes, names: Sequence[str]) -> tuple[int, int]:
    """How many answers are surely whole, and the bytes they take; the head counts.

    Several rows of a CSV may tell of one answer, so its last one counts as cut short.
    """
    with path.open("rb") as file:
        top = file.readline() if head else b""
        if top != head:
            if head.startswith(top):
                return 0, 0
            raise _changed(path, 1)
        answers, begins, size = 0, len(head), len(head)
        for number, line in enumerate(file, start=2 if head else 1):
            if not line.endswith(b"\n"):
                break
            name, rank = _answer(line, bool(head))
            if rank == 1:
                answers, begins = answers + 1, size
            if not 0 < answers <= len(names) or name != names[answers - 1]:
                raise _changed(path, number)
            size += len(line)
    return (answers - 1, begins) if head and answers else (answers, size)


def _answer(line: bytes, is_csv: bool) -> tuple[str | None, int]:
    """Whom a line tells of, and which of the formulas; None where it is no such line."""
    try:
        if not is_csv:
            return json.loads(line)["target"], 1
        cells = next(csv.reader([line.decode("utf-8")]))
        return unshielded(cells[0]), int(cells[1])
    except (ValueError, LookupError, TypeError, RecursionError, csv.Error):
        return None, 0


def _changed(path: Path, number: int) -> InputError:
    return InputError(
        f"{label(path)} line {number}: is not what was written; the file was changed since."
        " Keep it under another name, or --anew to begin again"
    )


SUFFIXES = {".csv": "CSV", ".txt": "CGATS.17", ".cgats": "CGATS.17"}


def write_spectra(path: str | Path, spectra: Sequence[NamedSpectrum]) -> None:
    """Write a new file, CSV or CGATS.17 by its suffix; one that is there is left alone.

    Raises `InputError` if it is there, if its suffix is another, or for a name that
    cannot be written.
    """
    path = Path(path)
    kind = SUFFIXES.get(path.suffix.casefold())
    if kind is None:
        known = ", ".join(SUFFIXES)
        raise InputError(f"{label(path)}: {quoted(path.suffix)} is not known; write {known}")
    if path.exists():
        raise InputError(f"{label(path)}: is there already; give another name")
    write_file(path, spectra_csv(spectra) if kind == "CSV" else spectra_cgats(spectra))


def spectra_csv(spectra: Sequence[NamedSpectrum]) -> str:
    """Spectra as CSV, a row for each reading, 0-1 with six decimals.

    Raises `InputError` for a name that cannot be written.
    """
    _check(spectra)
    stated = [stated_of(each) for each in spectra]
    kept = [each.name for each in fields(Stated) if any(getattr(s, each.name) for s in stated)]
    rows = [
        [each.name, *(getattr(said, column) for column in kept), "fraction", *_values(R)]
        for each, said in zip(spectra, stated, strict=True)
        for R in each.readings
    ]
    return csv_text(["name", *kept, "scale", *(f"{nm:.0f}" for nm in GRID_NM)], rows)


def spectra_cgats(spectra: Sequence[NamedSpectrum]) -> str:
    """Spectra as CGATS.17, a table for each way of measuring, a row for each reading.

    Values are 0-1 with six decimals.  Raises `InputError` for a name that cannot be written.
    """
    _check(spectra)
    groups: dict[Stated, list[NamedSpectrum]] = {}
    for each in spectra:
        groups.setdefault(stated_of(each), []).append(each)
    lines = ["CGATS.17", 'ORIGINATOR "matchkit"', 'KEYWORD "MEASUREMENT_GEOMETRY"']
    for stated, group in groups.items():
        lines += _table(stated, group)
    return "\n".join(lines) + "\n"


def _table(stated: Stated, group: Sequence[NamedSpectrum]) -> list[str]:
    names = ["SAMPLE_ID", "SAMPLE_NAME", *(f"SPECTRAL_NM{nm:.0f}" for nm in GRID_NM)]
    keys = ("MEASUREMENT_GEOMETRY", "MEASUREMENT_SOURCE", "SAMPLE_BACKING", "FILTER")
    said = [value or "unknown" for value in astuple(stated)]
    rows = [(each.name, R) for each in group for R in each.readings]
    return [
        *(f"{key} {_in_quotes(value)}" for key, value in zip(keys, said, strict=True)),
        "SPECTRAL_NORM 1",
        f"NUMBER_OF_FIELDS {len(names)}",
        *("BEGIN_DATA_FORMAT", " ".join(names), "END_DATA_FORMAT"),
        f"NUMBER_OF_SETS {len(rows)}",
        "BEGIN_DATA",
        *(f"{i} {_in_quotes(name)} {' '.join(_values(R))}" for i, (name, R) in enumerate(rows, 1)),
        "END_DATA",
    ]


def _values(R: Sequence[float]) -> list[str]:
    return [f"{value:.6f}" for value in R]


def _in_quotes(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def _check(spectra: Sequence[NamedSpectrum]) -> None:
    named = [(each.name, name_fault(each.name)) for each in spectra]
    faults = [f"name {quoted(name)}: {fault}" for name, fault in named if fault]
    if faults or not spectra:
        raise InputError(faults or "no spectra to write")
