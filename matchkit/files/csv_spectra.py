"""Spectra in CSV of every local habit.

Layouts, told apart by the headings:

    wide    a row for each reading: a name, then values under their wavelengths
    long    a row for each value: name, wavelength, value; one spectrum needs no name
    tall    a row for each wavelength, a column for each reading, headed by its name
    bare    two columns of numbers without a heading

Lines above the table are read for how it was measured, and otherwise left alone.
Separators and decimal marks: see `tables`; blanks separate where nothing else does.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from matchkit.errors import InputError, raise_any
from matchkit.files.grid import (
    COUNTING,
    LONGEST_HEADER,
    MOST_FAULTS,
    NAMING,
    READING,
    Grid,
    Head,
    check_size,
    find_head,
    is_number,
    is_wavelength,
    laid,
    renamed,
    split_table,
    waves,
    without_headings,
)
from matchkit.files.readings import Readings, Stated, StatedLab, name_fault, stated_in
from matchkit.files.tables import FileTable, Row, parse_table, spectral_values
from matchkit.files.text import Findings, decimal_mark, number, quoted

Lines = list[tuple[int, list[str], str]]  # as `tables.laid` gives them

FEWEST = 16  # 400-700 nm by 20
MANY_ROWS = 20_000  # so many rows are not read to find that they hold no spectra
LAB = {axis: re.compile(rf"(cie)?(lab)?[ _]?{axis}\*?(\s*[(\[].*)?") for axis in "lab"}
STATING = ("geometry", "condition", "backing", "filter")  # columns that may stand beside


@dataclass(kw_only=True)
class _Series:
    """Values of one reading as they come, row by row."""

    where: str
    name: str
    nm: list[float] = field(default_factory=list)
    values: list[float] = field(default_factory=list)


def csv_readings(text: str, name: str, found: Findings) -> list[Readings]:
    """All readings of a CSV file; `name` is that of its only spectrum, if it has none.

    Faults of rows go to `found`; raises `InputError` where no table can be made out.
    """
    check_size(text, found.file)
    lines = whole = re.split(r"\r\n|\r|\n", text)
    head, bare = find_head(lines), None
    if head is None:
        lines, head, bare = without_headings(whole)
    start = bare.head_row if bare else head.line if head else 0
    stated, scale = _above(lines[:start], found)
    content = text
    if start or lines is not whole:
        content = "\n".join([""] * start + lines[start:])  # rows keep their numbers
    if bare:
        found.notes.append(f"{found.file}: no headings; read as wavelength and reflectance")
        blocks = _by_wavelength(bare, name, found)
    elif head and not head.wide:
        grid = split_table(content, found.file, required=("wavelength_nm",), rename=renamed)
        blocks = _by_wavelength(grid, name, found)
    else:
        blocks = [_wide(content, head, name, found)]
    return [_with_above(block, stated, scale) for block in blocks]


def _above(lines: Sequence[str], found: Findings) -> tuple[Stated, str]:
    """How the lines above a table say it was measured, and on which scale."""
    pairs = []
    for line in lines:
        key, _, value = re.sub("[=;,\t]", ":", line[:LONGEST_HEADER]).partition(":")
        pairs.append((key.strip(' "'), value.strip(' ":')))
    stated, faults = stated_in(pairs)
    found.faults.extend(f"{found.file}: {fault}" for fault in faults)
    if any(key for key, _ in pairs):
        found.notes.append(
            f"{found.file}: the table begins in row {len(lines) + 1}; the lines above are read for"
            " how it was measured, and otherwise left alone"
        )
    scales = [_scale(value) for key, value in pairs if re.search("scale|unit|reflect", key, re.I)]
    return stated, next((scale for scale in scales if scale), "")


def _scale(value: str) -> str:
    """The scale that a line above the table states, and nothing else."""
    value = value.casefold().strip("()[] ")
    if re.fullmatch(r"%|percent|%\s*r|0\s*(-|\.\.|to)\s*100\s*%?", value):
        return "percent"
    return "0-1" if re.fullmatch(r"0\s*(-|\.\.|to)\s*1(\.0)?|factor|fraction", value) else ""


def _with_above(block: Readings, stated: Stated, scale: str) -> Readings:
    """A block with what stands above the table, where the table itself is silent."""
    each = [
        Stated(
            geometry=own.geometry or stated.geometry,
            condition=own.condition or stated.condition,
            backing=own.backing or stated.backing,
            filter=own.filter or stated.filter,
        )
        for own in block.stated
    ]
    return replace(block, stated=each, scale=block.scale or scale)


def _wide(content: str, head: Head | None, name: str, found: Findings) -> Readings:
    """A row for each reading."""
    if head and content.count("\n") > MANY_ROWS and len(waves(head.cells)) < FEWEST:
        raise InputError(f"{found.file}: {len(waves(head.cells))} wavelengths; a spectrum has more")
    naming = _name_column(head.cells) if head else ""
    columns = [
        *STATING,
        "scale",
        *_lab_columns(head.cells if head else ()),
        *filter(None, [naming]),
    ]
    table = parse_table(content, found.file, text=columns, spectral=True)
    rows, values, faults = spectral_values(table)
    found.faults.extend([*table.faults, *faults])
    found.notes.extend(table.notes)
    if not table.rows and not table.faults:
        found.faults.append(f"{found.file}: no spectra under the header; export again")
    if is_wavelength(table.columns[0]):
        if len(table.rows) > 1:
            found.faults.append(f"{found.file}: no column of names; put one before the wavelengths")
        names = [name for _ in rows]
    else:
        names = [row.cells.get(naming, row.first) for row in rows]
        where = f"the cell of {naming!r}" if naming else "the first cell"
        _check_names(
            [(row.where, each) for row, each in zip(rows, names, strict=True)], where, found
        )
    return Readings(
        where=[row.where for row in rows],
        names=names,
        nm=table.nm,
        values=values,
        stated=_stated_beside(table, [row.cells for row in rows], found),
        scale="percent" if table.percent else _scale_beside(table),
        labs=_labs_beside(table, rows),
    )


def _scale_beside(table: FileTable) -> str:
    """The scale that a column of this name states alike in every row, as our own files do."""
    stated = {_scale(row.cells.get("scale", "")) for row in table.rows}
    return stated.pop() if len(stated) == 1 else ""


def _lab_columns(heads: Sequence[str]) -> tuple[str, ...]:
    """The columns of L*, a* and b*, where all three are there."""
    names = [cell.strip().casefold() for cell in heads]
    found = [next((name for name in names if LAB[axis].fullmatch(name)), "") for axis in LAB]
    return tuple(found) if all(found) else ()


def _labs_beside(table: FileTable, rows: Sequence[Row]) -> list[StatedLab | None]:
    """What these columns hold, for a light that is not stated."""
    columns = _lab_columns(table.columns)
    labs: list[StatedLab | None] = []
    for row in rows if columns else ():
        try:
            L, a, b = (number(row.cells[name], table.decimal) for name in columns)
        except InputError:
            labs.append(None)
        else:
            labs.append(StatedLab(Lab=(L, a, b)))
    return labs


def _name_column(heads: Sequence[str]) -> str:
    """The column of names where the first one only counts; else none, and the first is it."""
    columns = [cell.casefold() for cell in heads]
    if columns[0] and not COUNTING.fullmatch(columns[0]):
        return ""
    return next((column for column in columns[1:] if NAMING.fullmatch(column)), "")


def _check_names(names: Iterable[tuple[str, str]], what: str, found: Findings) -> None:
    for where, name in names:
        fault = name_fault(name)
        if fault:
            found.faults.append(f"{where}: {what} {fault}")


def _stated_beside(
    table: FileTable, rows: Sequence[dict[str, str]], found: Findings
) -> list[Stated]:
    """What columns such as ``geometry`` state, row by row."""
    columns = [column for column in STATING if column in table.columns]
    known: dict[tuple[str, ...], Stated] = {}
    for row in rows:
        cells = tuple(row[column] for column in columns)
        if cells not in known:
            known[cells], faults = stated_in(zip(columns, cells, strict=True))
            found.faults.extend(f"{found.file}: {fault}" for fault in faults)
    return [known[tuple(row[column] for column in columns)] for row in rows]


def _by_wavelength(grid: Grid, name: str, found: Findings) -> list[Readings]:
    """A row for each wavelength: long or tall."""
    grid = replace(grid, file=found.file)
    columns = [renamed(cell) for cell in grid.head]
    if columns.count("wavelength_nm") > 1:
        raise InputError(f"{found.file}: several columns of wavelengths; keep one")
    wave = columns.index("wavelength_nm")
    values = [i for i, column in enumerate(columns) if column in ("reflectance", "percent")]
    others = [i for i in range(len(columns)) if i not in (wave, *values) and columns[i]]
    lines = laid(grid)
    found.faults.extend(f"{found.file} row {row}: {fault}" for row, _, fault in lines if fault)
    rows = [line for line in lines if not line[2]]
    if not rows:
        raise InputError(found.faults or f"{found.file}: no values under the header; export again")
    naming = _long_names(columns, others, values, rows)
    if not values and naming is None and others:
        return _tall(grid, rows, wave, others, found)
    if len(values) != 1:
        count = "two columns of values" if values else "no column 'reflectance'"
        raise InputError(f"{found.file}: {count}; write wavelength_nm and reflectance")
    repeat = next((i for i in others if READING.fullmatch(columns[i])), None)
    places = (wave, values[0], naming, repeat if naming is not None else None)
    return _long(grid, rows, places, name, found)


def _long_names(
    columns: list[str], others: list[int], values: list[int], rows: Lines
) -> int | None:
    """The column of names in a long table, if it has one."""
    for pattern in (NAMING, COUNTING):
        for i in others:
            if pattern.fullmatch(columns[i]):
                return i
    text_first = 0 in others and not is_number(rows[0][1][0])
    return 0 if values and text_first else None


def _long(
    grid: Grid,
    rows: Lines,
    places: tuple[int, int, int | None, int | None],
    name: str,
    found: Findings,
) -> list[Readings]:
    """Rows of name, wavelength and value; a name that starts over is read again."""
    wave, value, naming, repeat = places
    decimal = _decimal((cells[i] for _, cells, _ in rows for i in (wave, value)), grid)
    heads = ("wavelength_nm", renamed(grid.head[value]))
    readings: dict[tuple[str, str], list[_Series]] = {}
    known: dict[str, float] = {}  # the same few wavelengths again and again
    bad = 0
    for row, cells, _ in rows:
        try:
            nm = known.get(cells[wave]) or number(cells[wave], decimal)
            known[cells[wave]] = nm
            R = number(cells[value], decimal)
        except InputError:
            bad += 1
            for head, i in zip(heads, (wave, value), strict=True) if bad <= MOST_FAULTS else ():
                _number_in(f"{found.file} row {row}: {head}", cells[i], decimal, found)
            continue
        own = name if naming is None else cells[naming]
        key = (own, "" if repeat is None else cells[repeat])
        series = readings.get(key)
        if series is None or (naming is not None and nm == series[-1].nm[0]):
            new = _Series(where=f"{found.file} row {row}", name=own)
            series = readings.setdefault(key, [])
            series.append(new)
        series[-1].nm.append(nm)
        series[-1].values.append(R)
    if bad > MOST_FAULTS:
        found.faults.append(f"{found.file}: {bad - MOST_FAULTS} more rows that hold no number")
    each = [series for several in readings.values() for series in several]
    if naming is not None:
        first = {series.name: series.where for series in reversed(each)}
        _check_names([(where, own) for own, where in first.items()], "the name", found)
    return _grouped(each, "percent" if heads[1] == "percent" else "")


def _tall(grid: Grid, rows: Lines, wave: int, others: list[int], found: Findings) -> list[Readings]:
    """A column for each reading."""
    decimal = _decimal((cells[i] for _, cells, _ in rows for i in (wave, *others)), grid)
    found.faults.extend(
        f"{grid.file} column {i + 1}: values without a name above them; write one"
        for i, heading in enumerate(grid.head)
        if not heading and any(cells[i] for _, cells, _ in rows)
    )
    places = [f"{grid.file} column {i + 1}" for i in others]
    names = [grid.head[i] for i in others]
    _check_names(zip(places, names, strict=True), "the heading", found)
    table = []
    heads = ("wavelength_nm", *map(quoted, names))
    for row, cells, _ in rows:
        try:
            table.append([number(cells[i], decimal) for i in (wave, *others)])
        except InputError:
            for head, i in zip(heads, (wave, *others), strict=True):
                _number_in(f"{found.file} row {row}: {head}", cells[i], decimal, found)
    raise_any(found.faults)
    numbers = np.array(table, dtype=float)
    return [
        Readings(
            where=places,
            names=names,
            nm=numbers[:, 0],
            values=np.ascontiguousarray(numbers[:, 1:].T),
            stated=[Stated()] * len(names),
        )
    ]


def _grouped(each: Sequence[_Series], scale: str) -> list[Readings]:
    """Readings that share their wavelengths, together."""
    groups: dict[tuple[float, ...], list[_Series]] = {}
    for series in each:
        groups.setdefault(tuple(series.nm), []).append(series)
    return [
        Readings(
            where=[series.where for series in group],
            names=[series.name for series in group],
            nm=np.array(nm),
            values=np.array([series.values for series in group]),
            stated=[Stated()] * len(group),
            scale=scale,
        )
        for nm, group in groups.items()
    ]


def _decimal(cells: Iterable[str], grid: Grid) -> str:
    try:
        return decimal_mark(cells, grid.separator, reflectance=True)
    except InputError as error:
        raise InputError(f"{grid.file}: {error}") from None


def _number_in(where: str, cell: str, decimal: str, found: Findings) -> None:
    """A fault if a cell is not a number."""
    try:
        number(cell, decimal)
    except InputError as error:
        found.faults.append(f"{where}: {error}")
