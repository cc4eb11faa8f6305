"""A drawdown plan into a shop: its rows in `drawdowns.csv`, and the places in `spectra.csv`.

What has a reading stays as it is, and so does every column that is not ours.
"""

import csv
import io
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from unicodedata import normalize

from matchkit.faults import BadInput
from matchkit.files.grid import laid
from matchkit.files.mixtures import AMOUNTS
from matchkit.files.tables import Table, parse_table, without_waiting
from matchkit.files.text import label, read_text
from matchkit.files.write import csv_text, name_of_copy, settled, write_files
from matchkit.inks import Ink
from matchkit.plan import Plan, Step
from matchkit.spectra import GRID_NM

__all__ = ["Planned", "write_plan"]

DRAWDOWNS, SPECTRA = "drawdowns.csv", "spectra.csv"


@dataclass(frozen=True, kw_only=True)
class Planned:
    """What became of `drawdowns.csv`; names of drawdowns."""

    added: tuple[str, ...]  # planned, and to be measured
    taken_out: tuple[str, ...]  # never measured, and planned no more
    measured: tuple[str, ...]  # planned again, but there with a reading: left as they are
    kept: str  # the file that holds the old rows; empty: nothing was lost


@dataclass(frozen=True, kw_only=True)
class _Line:
    """A row as it stands in its file, and what of it counts here."""

    drawdown: str
    cells: list[str]
    ink: str = ""
    film: bool = False
    waiting: bool = False  # for its reading


@dataclass(frozen=True, kw_only=True)
class _File:
    """A table with its rows as they stand."""

    table: Table
    lines: list[_Line]
    mark: str  # of the encoding, that some spreadsheets need


def write_plan(
    folder: str | Path, plan: Plan, inks: Sequence[Ink], *, new_ink: str | None = None
) -> Planned:
    """Put the drawdowns of a plan into a shop's files; both are written, or neither.

    A drawdown that was never measured and is not in the plan goes out if it holds the
    `new_ink`; without one, if it holds none of the shop's `inks` that are of another series.

    Raises
    ------
    BadInput
        With the faults of the two files; then nothing was written.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise BadInput(f"{label(folder)}: not found; a shop folder is expected")
    drawn = _file(folder, DRAWDOWNS, ("drawdown", "ink", "percent", "lot"))
    spectra = _file(folder, SPECTRA, ("drawdown", *(f"{nm:.0f}" for nm in GRID_NM)))
    measured = {line.drawdown for line in spectra.lines if not line.waiting}
    new = {step.drawdown: step for step in plan.steps if step.drawdown not in measured}
    foreign = {ink.name for ink in inks} - {ink.name for ink in plan.inks}
    out = _taken_out(drawn, measured | new.keys(), foreign, new_ink)
    anew = out.keys() | new.keys()
    rows = [line.cells for line in drawn.lines if line.drawdown not in anew]
    rows += [row for step in new.values() for row in _rows(step, drawn, plan)]
    places = [line.cells for line in spectra.lines if not (line.waiting and line.drawdown in anew)]
    places += [_laid(spectra.table, {"drawdown": name}) for name in new]
    contents: dict[str, str | bytes] = {
        DRAWDOWNS: _text(drawn, rows),
        SPECTRA: _text(spectra, places),
    }
    kept = ""
    if any(line.drawdown in anew for line in drawn.lines):
        kept = name_of_copy(folder, DRAWDOWNS)
        contents[kept] = settled(folder, DRAWDOWNS).read_bytes()
    write_files(folder, contents)
    return Planned(
        added=tuple(new),
        taken_out=tuple(out),
        measured=tuple(s.drawdown for s in plan.steps if s.drawdown in measured),
        kept=kept,
    )


def _file(folder: Path, name: str, columns: Sequence[str]) -> _File:
    """The table, or an empty one of these columns where there is no such file."""
    path = settled(folder, name)
    there = path.is_file() and path.stat().st_size > 0
    spectral = name == SPECTRA
    table = parse_table(
        read_text(path, name) if there else csv_text(columns, []),
        name,
        required=("drawdown",) if spectral else ("drawdown", "ink"),
        numeric=() if spectral else AMOUNTS,
        text=() if spectral else ("lot", "ground"),
        spectral=spectral,
    )
    faults = list(table.faults)
    if not spectral and not set(AMOUNTS) & set(table.columns):
        faults.append(f"{name}: no column 'percent' or 'grams'; name the amounts one of these")
    if faults:
        raise BadInput(faults)
    waiting = {row.where for row in without_waiting(table)[1]} if spectral else ()
    return _File(
        table=table,
        lines=[
            _Line(
                drawdown=normalize("NFC", row.cells["drawdown"]),
                cells=cells,
                ink=normalize("NFC", row.cells.get("ink", "")),
                film=bool(row.cells.get("ground")),
                waiting=row.where in waiting,
            )
            for row, (_, cells, _) in zip(table.rows, laid(table.grid), strict=True)
        ],
        mark="\ufeff" if there and path.read_bytes()[:1] in (b"\xef", b"\xff", b"\xfe") else "",
    )


def _taken_out(
    drawn: _File, stays: Collection[str], foreign: Collection[str], new_ink: str | None
) -> dict[str, set[str]]:
    """The drawdowns that leave the shop, with the inks they hold."""
    inks: dict[str, set[str]] = {}
    films = {line.drawdown for line in drawn.lines if line.film}
    for line in drawn.lines:
        inks.setdefault(line.drawdown, set()).add(line.ink)
    return {
        name: held
        for name, held in inks.items()
        if name not in stays
        and name not in films
        and (held.isdisjoint(foreign) if new_ink is None else new_ink in held)
    }


def _rows(step: Step, drawn: _File, plan: Plan) -> Iterable[list[str]]:
    """The rows of one drawdown; percents are grams of a 100 g batch too."""
    table = drawn.table
    unit = next(unit for unit in AMOUNTS if unit in table.columns)
    lots = {ink.name: ink.lot for ink in plan.inks}
    for ink, percent in zip(step.inks, step.percents, strict=True):
        amount = f"{percent:.4f}".replace(".", table.decimal)
        cells = {"drawdown": step.drawdown, "ink": ink, unit: amount, "lot": lots[ink]}
        yield _laid(table, cells)


def _laid(table: Table, cells: Mapping[str, str]) -> list[str]:
    return [cells.get(column, "") for column in table.columns]


def _text(file: _File, rows: Iterable[Sequence[str]]) -> str:
    """The table as text, separated and marked as it was."""
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=file.table.grid.separator, lineterminator="\n")
    writer.writerow(file.table.grid.head)
    writer.writerows(rows)
    return file.mark + stream.getvalue()
