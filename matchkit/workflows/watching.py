"""A folder into which an instrument's software exports: each new file is taken once.

What was taken stands in `watched.csv` of the shop's folder, by the content of the file: a file
that is exported again under another name is not taken twice.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from matchkit.book.jobs import BatchRecord, job, todays_jobs
from matchkit.book.store import now
from matchkit.errors import InputError, raise_any
from matchkit.files import stream, tables
from matchkit.files.incoming import Bringing, Imported
from matchkit.files.readings import NamedSpectrum
from matchkit.files.spectrum import read_spectra
from matchkit.files.write import csv_text, write_file, write_keeping
from matchkit.workflows import fitting_inks, wanted
from matchkit.workflows.measuring_batch import MeasuredBatch, measure_batch
from matchkit.workflows.session import Session

TAKEN, COLUMNS = "watched.csv", ("when", "file", "digest", "went")
TARGETS = "targets.csv"
SUFFIXES = (".csv", ".txt", ".cxf", ".xml", ".cgats")
LEFT = "left"  # looked at, and to be left alone


@dataclass(frozen=True, kw_only=True)
class Arrival:
    """A new file with spectra, and the digest of its content."""

    path: Path
    digest: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Placed:
    """Where a new file went: "drawdowns", "target NAME", "batch N" or "left".

    `imported` and `measured` hold what came of it.
    """

    arrival: Arrival
    went: str
    imported: Imported | None = None
    measured: MeasuredBatch | None = None

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit watch --json`` prints it for each file."""
        return {
            "file": self.arrival.path.name,
            "went": self.went,
            "imported": self.imported.to_dict() if self.imported else None,
            "measured": self.measured.to_dict() if self.measured else None,
        }


def arrivals(
    folder: Path, shop: Path, seen: dict[Path, tuple[int, int, str]]
) -> tuple[list[Arrival], list[Path]]:
    """The files of a folder that are new and whole, and those that are still being written.

    A file is whole when it has not changed since the last look; `seen` keeps size, time of
    change and digest between looks, and is filled here.  Raises InputError where the folder
    is none.
    """
    if not folder.is_dir():
        raise InputError(f"{folder}: no such folder; name the one that the instrument exports to")
    known, new, growing = {digest for _, _, digest, _ in _rows(shop)}, [], []
    for path in sorted(folder.iterdir()):
        if path.suffix.casefold() not in SUFFIXES or not path.is_file():
            continue
        state = path.stat()
        now = (state.st_size, state.st_mtime_ns)
        size, changed, digest = seen.get(path, (0, 0, ""))
        if (size, changed) != now or size == 0:
            seen[path] = (*now, "")
            growing.append(path)
            continue
        digest = digest or hashlib.sha256(path.read_bytes()).hexdigest()
        seen[path] = (*now, digest)
        if digest not in known:
            known.add(digest)
            new.append(Arrival(path=path, digest=digest))
    return new, growing


def as_drawdowns(session: Session, arrival: Arrival, how: Bringing) -> Placed:
    """The file's readings into the shop's drawdowns, as ``matchkit import`` brings them in."""
    done = fitting_inks.bring(session, arrival.path, how)
    return _noted(session, Placed(arrival=arrival, went="drawdowns", imported=done))


def to_measure(session: Session) -> tuple[BatchRecord, ...]:
    """The batches of the record book that wait for a drawdown; none without a book."""
    records = todays_jobs(session.book) if session.book else []
    return tuple(each for each in records if each.state == "to measure")


def as_batch(session: Session, arrival: Arrival, batch: int, state: Sequence[str] = ()) -> Placed:
    """The file's one sample as the drawdown of a batch in the record book.

    `state` is what is wrong with the drawdown, by `containers.UNFIT`.
    """
    job(session.open_book(), batch)
    spectrum = _one(session, arrival)
    measured = measure_batch(session, batch, spectrum.readings, spectrum.name, state)
    return _noted(session, Placed(arrival=arrival, went=f"batch {batch}", measured=measured))


def as_target(session: Session, arrival: Arrival, name: str) -> Placed:
    """The file's one sample as a colour of the shop's list, of which a copy is kept."""
    if not name.strip():
        raise InputError("the target needs a name")
    if name in session.targets:
        raise InputError(f"{TARGETS} has a colour {name!r} already; give another name")
    path = session.folder / TARGETS
    there = read_spectra(path, scale="fraction")[0] if path.is_file() else []
    spectrum = _one(session, arrival)
    new = NamedSpectrum(name=name.strip(), readings=spectrum.R[None, :])
    write_keeping(session.folder, [TARGETS], {TARGETS: stream.spectra_csv([*there, new])})
    return _noted(session, Placed(arrival=arrival, went=f"target {name.strip()}"))


def leave(session: Session, arrival: Arrival) -> Placed:
    """The file is none of these: it is not asked about again."""
    return _noted(session, Placed(arrival=arrival, went=LEFT))


def _one(session: Session, arrival: Arrival) -> NamedSpectrum:
    spectra = wanted.spectra_in(session, arrival.path)
    if len(spectra) > 1:
        names = ", ".join(each.name for each in spectra[:6])
        raise InputError(
            f"{arrival.path.name} holds {len(spectra)} samples ({names}); one is wanted here"
        )
    return spectra[0]


def _rows(shop: Path) -> list[tuple[str, ...]]:
    path = shop / TAKEN
    if not path.is_file():
        return []
    table = tables.read_table(path, file=TAKEN, required=COLUMNS, text=COLUMNS)
    raise_any(table.faults)
    return [tuple(row.cells[name] for name in COLUMNS) for row in table.rows]


def _noted(session: Session, placed: Placed) -> Placed:
    when = (session.clock or now)().isoformat(timespec="seconds")
    row = (when, placed.arrival.path.name, placed.arrival.digest, placed.went)
    text = csv_text(COLUMNS, [*_rows(session.folder), row])
    write_file(session.folder / TAKEN, text)
    return placed
