"""Tables of text, as a spreadsheet saves them.

Any separator (see `grid`), decimal point or decimal comma: what they are is found out
from the file, and a file that could be read two ways is refused.

Faults of single rows gather in `FileTable.faults`, so that one look at a file tells
everything that is wrong with it.
"""

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from operator import itemgetter
from pathlib import Path

import numpy as np

from matchkit.arrays import Array
from matchkit.errors import InputError, nearest, raise_any
from matchkit.files.grid import MOST_FAULTS, Grid, laid, split_table, wavelength_columns
from matchkit.files.text import (
    decimal_mark,
    label,
    number,
    plain_numbers,
    quoted,
    read_text,
    text_fault,
)


@dataclass(frozen=True, kw_only=True)
class Row:
    """One row under the header."""

    where: str  # file and row, begins a message
    cells: dict[str, str]  # the known columns, stripped
    first: str  # the first cell, whatever its column is called
    values: tuple[str, ...] = ()  # the cells of the wavelength columns
    broken: bool = False  # too wide: its names are known, its numbers are not


@dataclass(frozen=True, kw_only=True)
class FileTable:
    """A table as it was understood; row faults found so far, remarks on columns."""

    file: str
    grid: Grid
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    decimal: str
    nm: Array  # (n,), of the wavelength columns
    percent: bool  # a wavelength column is headed %
    faults: tuple[str, ...]
    notes: tuple[str, ...]


def read_table(
    path: Path,
    *,
    file: str = "",
    required: Sequence[str] = (),
    numeric: Sequence[str] = (),
    text: Sequence[str] = (),
    limits: Sequence[str] = (),
    spectral: bool = False,
) -> FileTable:
    """A CSV file as rows by column name; `file` names it in messages.  See `parse_table`."""
    return parse_table(
        read_text(path, file),
        file or label(path),
        required=required,
        numeric=numeric,
        text=text,
        limits=limits,
        spectral=spectral,
    )


def parse_table(
    content: str,
    file: str,
    *,
    required: Sequence[str] = (),
    numeric: Sequence[str] = (),
    text: Sequence[str] = (),
    limits: Sequence[str] = (),
    spectral: bool = False,
    rename: Callable[[str], str] = str.casefold,
) -> FileTable:
    """The rows of `content`.  Unknown columns are left alone.

    `file` names it in messages.  `required`, `numeric` and `text` are columns that must be
    there, that hold numbers, that may be there; `limits` those whose loss would do harm: a
    near-miss of such a name is a fault, of another one a note.  With `spectral`, wavelengths are
    expected as columns: ``400``, ``400 nm`` or ``400 %``.  `rename` makes a column name of a
    header cell.  InputError when the rows cannot be told apart into cells at all.

    >>> table = parse_table("Ink;grams\\nRed;12,5\\n", "a.csv", required=["ink"], numeric=["grams"])
    >>> table.rows[0].where, table.rows[0].cells, table.decimal
    ('a.csv row 2', {'ink': 'Red', 'grams': '12,5'}, ',')
    """
    grid = split_table(content, file, required=required, spectral=spectral, rename=rename)
    columns = [rename(cell) for cell in grid.head]
    known = list(dict.fromkeys([*required, *numeric, *text]))
    head = f"{file} row {grid.head_row}"
    faults, notes = _column_faults(columns, known, required, limits, head)
    waves = wavelength_columns(columns) if spectral else {}
    faults += _wave_faults(waves, columns, head) if spectral else []
    raise_any(faults)
    places = {name: columns.index(name) for name in known if name in columns}
    lines = laid(grid)
    values = itemgetter(*waves) if waves else lambda cells: ()
    rows = [
        Row(
            where=f"{file} row {row}",
            cells={name: cells[place] for name, place in places.items()},
            first=cells[0],
            values=values(cells),
            broken=bool(fault),
        )
        for row, cells, fault in lines
    ]
    return FileTable(
        file=file,
        grid=grid,
        columns=tuple(columns),
        rows=tuple(rows),
        decimal=_decimal(rows, numeric, grid.separator, file, spectral),
        nm=np.array([wave[0] for wave in waves.values()]),
        percent=any(wave[1] for wave in waves.values()),
        faults=tuple(
            f"{row.where}: {fault}" for row, (_, _, fault) in zip(rows, lines, strict=True) if fault
        ),
        notes=tuple(notes),
    )


def amount(
    row: Row,
    name: str,
    *,
    decimal: str,
    faults: list[str],
    low: float = 0.0,
    high: float = float("inf"),
    required: bool = False,
) -> float | None:
    """The number in a cell, or None: an empty cell, or a line more in `faults`."""
    cell = row.cells.get(name, "")
    if row.broken or (not cell and not required):
        return None
    try:
        value = number(cell, decimal)
    except InputError as error:
        faults.append(f"{row.where}: {name}: {error}")
        return None
    if low <= value <= high:
        return value
    expected = f"{low:g} or more" if high == float("inf") else f"{low:g} to {high:g}"
    faults.append(f"{row.where}: {name} is {cell}; write {expected}")
    return None


def wording(row: Row, name: str, *, faults: list[str], required: bool = False) -> str:
    """The text in a cell; an empty one is a fault if required.

    Composed (NFC): an accent may be stored in two ways that look the same.
    """
    cell = row.cells.get(name, "")
    if fault := text_fault(cell):
        faults.append(f"{row.where}: {name} {fault}")
    elif required and not cell:
        faults.append(f"{row.where}: {name} is empty; write a name")
    return cell if cell.isascii() else unicodedata.normalize("NFC", cell)


def spectral_values(table: FileTable) -> tuple[list[Row], Array, list[str]]:
    """The rows whose wavelength cells are all numbers, their values, the faults.

    One fault a row: the first bad cell and how many more there are.  The values
    are (n_rows, n) on ``table.nm``.
    """
    sound = [row for row in table.rows if not row.broken]
    plain = plain_numbers([cell for row in sound for cell in row.values], table.decimal)
    if plain:
        return sound, np.array(plain).reshape(len(sound), table.nm.size), []
    rows, values = [], []
    faults: list[str] = []
    more = 0
    for row in sound:
        try:
            values.append([number(cell, table.decimal) for cell in row.values])
            rows.append(row)
        except InputError:
            if len(faults) < MOST_FAULTS:
                faults.append(_bad_cells(row, table))
            else:
                more += 1
    if more:
        faults.append(f"{table.file}: {more} more rows whose values are not all numbers")
    return rows, np.array(values).reshape(len(rows), table.nm.size), faults


def without_waiting(table: FileTable) -> tuple[FileTable, list[Row]]:
    """The table without the rows that hold a name and no value yet, and those rows."""
    kept: list[Row] = []
    waiting: list[Row] = []
    for row in table.rows:
        (kept if row.broken or any(row.values) else waiting).append(row)
    return replace(table, rows=tuple(kept)), waiting


def _column_faults(
    columns: list[str], known: list[str], required: Sequence[str], limits: Sequence[str], head: str
) -> tuple[list[str], list[str]]:
    """Missing, doubled and nearly right column names: faults and notes."""
    others = [name for name in columns if name and name not in known][:100]
    faults: list[str] = []
    notes: list[str] = []
    for name in known:
        if name in columns:
            if columns.count(name) > 1:
                times = f"{columns.count(name)} times"
                faults.append(f"{head}: column {name!r} is there {times}; keep one")
            continue
        near = nearest(name, others)
        if name in required:
            found = "found " + ", ".join(quoted(column) for column in columns[:12])
            hint = f"is {quoted(near)} meant? Rename it" if near else found
            faults.append(f"{head}: column {name!r} is missing; {hint}")
        elif near:
            line = f"{head}: column {quoted(near)} is not read; did you mean {name!r}?"
            (faults if name in limits else notes).append(line)
    return faults, notes


def _wave_faults(waves: dict[int, tuple[float, bool]], columns: list[str], head: str) -> list[str]:
    if len(waves) < 2:
        found = ", ".join(quoted(column) for column in columns[:6])
        return [f"{head}: no wavelength columns, found {found}; write 400, 410, ... 700"]
    if len({percent for _, percent in waves.values()}) > 1:
        return [f"{head}: some wavelengths are headed % and some are not; use one scale"]
    return []


def _decimal(
    rows: list[Row], numeric: Sequence[str], separator: str, file: str, spectral: bool
) -> str:
    """The decimal mark of all numeric cells together."""
    sound = [row for row in rows if not row.broken]
    named = (row.cells.get(name, "") for row in sound for name in numeric)
    try:
        return decimal_mark(
            chain(named, *(row.values for row in sound)), separator, reflectance=spectral
        )
    except InputError as error:
        raise InputError(f"{file}: {error}") from None


def _bad_cells(row: Row, table: FileTable) -> str:
    reasons = []
    for nm, cell in zip(table.nm, row.values, strict=True):
        try:
            number(cell, table.decimal)
        except InputError as error:
            reasons.append(f"{nm:g} nm: {error}")
    more = f" (and {len(reasons) - 1} more cells of this row)" if len(reasons) > 1 else ""
    return f"{row.where}: {reasons[0]}{more}"
