"""A file that grows answer by answer, and goes on where it was cut short.

Beside FILE stands FILE.run.json with a digest of all that the answers depend on; with
another digest the file is refused.  A kill can leave half a line, or half of the rows of one
answer: what follows the last answer that is surely whole is cut off before more is written,
so that a file that was cut short and gone on with is the same as one that was not.
"""

import csv
import json
import os
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from matchkit.faults import BadInput
from matchkit.files.text import label
from matchkit.files.write import csv_text, write_file

__all__ = ["KINDS", "Growing", "growing"]

KINDS = (".csv", ".jsonl")
FORMAT = 1
FLUSH_S = 2.0  # at most this much work is lost where the power fails


class Growing:
    """A file open at its end, `done` answers in it."""

    def __init__(self, file: BinaryIO, done: int) -> None:
        self.done = done
        self._file, self._flushed = file, time.monotonic()

    def add(self, text: str) -> None:
        """The lines of one more answer."""
        self._file.write(text.encode("utf-8"))
        self._file.flush()
        self.done += 1
        if time.monotonic() - self._flushed > FLUSH_S:
            os.fsync(self._file.fileno())
            self._flushed = time.monotonic()


@contextmanager
def growing(
    path: str | Path, *, digest: str, columns: Sequence[str], anew: bool = False
) -> Iterator[Growing]:
    """The file to add answers to; `columns` head a CSV, whose first names the answer.

    `anew` begins again, whatever is there.  Raises `BadInput` where what is there has
    another digest, or is no such file.
    """
    path = Path(path)
    if path.suffix.casefold() not in KINDS:
        raise BadInput(f"{label(path)}: a name that ends in {' or '.join(KINDS)} is needed")
    if not path.parent.is_dir():
        raise BadInput(f"{path.parent}: no such folder; make it, or write elsewhere")
    head = csv_text(columns, []) if path.suffix.casefold() == ".csv" else ""
    done, keep = (0, 0) if anew or not path.exists() else _kept(path, digest, head)
    beside = path.with_name(path.name + ".run.json")
    try:
        if not keep:
            write_file(beside, json.dumps({"format": FORMAT, "digest": digest}) + "\n")
            write_file(path, head)
        with path.open("r+b") as file:
            file.truncate(keep or len(head.encode("utf-8")))
            file.seek(0, os.SEEK_END)
            yield Growing(file, done)
            os.fsync(file.fileno())
    except OSError as error:
        raise BadInput(
            f"{label(path)}: {error.strerror}; what is written stays, go on later"
        ) from None


def _kept(path: Path, digest: str, head: str) -> tuple[int, int]:
    """How many answers are surely whole, and the bytes they take; the head counts."""
    beside = path.with_name(path.name + ".run.json")
    begin = "give another name, or --anew to begin again"
    try:
        there = json.loads(beside.read_text(encoding="utf-8"))
        known = (there["format"], there["digest"])
    except (OSError, ValueError, KeyError, TypeError):
        raise BadInput(f"{label(path)}: is there already and was not begun here; {begin}") from None
    if known != (FORMAT, digest):
        raise BadInput(
            f"{label(path)}: was begun with other inks, targets or options, or by another"
            f" version; {begin}"
        )
    with path.open("rb") as file:
        return _whole_rows(file, head) if head else _whole_lines(file)


def _whole_lines(file: BinaryIO) -> tuple[int, int]:
    done = size = 0
    for line in file:
        if line.endswith(b"\n"):
            done, size = done + 1, size + len(line)
    return done, size


def _whole_rows(file: BinaryIO, head: str) -> tuple[int, int]:
    """Several rows may tell of one answer, so the last one counts as cut short."""
    size = len(file.readline())
    if size != len(head.encode("utf-8")):
        return 0, 0
    answers, begins, name = 0, size, None
    for line in file:
        if not line.endswith(b"\n"):
            break
        first = next(csv.reader([line.decode("utf-8")]))[:2]
        if first[1] == "1":
            answers, begins, name = answers + 1, size, first[0]
        size += len(line)
    return (answers - 1, begins) if name is not None else (0, size)
