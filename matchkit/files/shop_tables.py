"""The tables of a shop folder, spectra among them."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from unicodedata import normalize

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.grid import (
    GRID_NM,
    PERCENT,
    are_sound,
    check_reflectance,
    reflectance_doubts,
    to_grid,
)
from matchkit.errors import InputError, did_you_mean, raise_any
from matchkit.files import lock, recipe, tables, write
from matchkit.files.grid import laid
from matchkit.files.text import Findings, encoding_mark, quoted, read_text


@dataclass(frozen=True, kw_only=True)
class ReadingRows:
    """The repeat readings of one name, and where the first stands."""

    where: str
    spectra: list[Array]  # each (n_wl,)
    waiting: bool = False  # its rows are empty: there to be measured


def all_readings(paths: dict[str, Path], found: Findings) -> dict[str, ReadingRows]:
    """Readings by name.  A row with a fault, or with no value yet, still counts as a name."""
    readings: dict[str, ReadingRows] = {}
    if "spectra.csv" in paths:
        readings = _readings(paths["spectra.csv"], "spectra.csv", found)
    if "film_spectra.csv" in paths:
        films = _readings(paths["film_spectra.csv"], "film_spectra.csv", found)
        for name in films.keys() & readings.keys():
            found.faults.append(
                f"{films[name].where}: {quoted(name)} is in spectra.csv too; keep it in one"
            )
        readings |= films
    return readings


def _readings(path: Path, file: str, found: Findings) -> dict[str, ReadingRows]:
    table, pairs, waiting = spectral_rows(path, file, ("drawdown",), found, may_wait=True)
    readings: dict[str, ReadingRows] = {}
    for row in table.rows:
        name = tables.wording(row, "drawdown", faults=found.faults, required=True)
        readings.setdefault(name, ReadingRows(where=row.where, spectra=[]))
    for row, R in pairs:
        name = tables.wording(row, "drawdown", faults=[])
        found.notes.extend(reflectance_doubts(R, f"{row.where} {quoted(name)}"))
        readings[name].spectra.append(R)
    for row in waiting:
        name = tables.wording(row, "drawdown", faults=found.faults, required=True)
        readings.setdefault(name, ReadingRows(where=row.where, spectra=[], waiting=True))
    return readings


def spectral_rows(
    path: Path,
    file: str,
    required: Sequence[str],
    found: Findings,
    *,
    text: Sequence[str] = (),
    may_wait: bool = False,
) -> tuple[tables.FileTable, list[tuple[tables.Row, Array]], list[tables.Row]]:
    """A shop's table of readings: rows with their reflectance (n_wl,), and rows that wait.

    The last of the `required` columns names what was read.  Row faults go to `found`;
    InputError where nothing can be read, or the file is in percent.
    """
    table = tables.read_table(path, file=file, required=required, text=text, spectral=True)
    waiting: list[tables.Row] = []
    if may_wait:
        table, waiting = tables.without_waiting(table)
    found.faults.extend(table.faults)
    found.notes.extend(table.notes)
    rows, values, faults = tables.spectral_values(table)
    found.faults.extend(faults)
    on_grid = to_grid(table.nm, values, where=file)
    if percent := _percent_fault(table, rows, values):
        raise InputError(percent)
    for k in np.flatnonzero(~are_sound(on_grid)):
        name = quoted(rows[k].cells.get(required[-1], ""))
        found.faults.extend(check_reflectance(on_grid[k], f"{rows[k].where} {name}"))
    return table, list(zip(rows, on_grid, strict=True)), waiting


def _percent_fault(table: tables.FileTable, rows: list[tables.Row], values: Array) -> str:
    """One line for a file in percent, however many rows it has."""
    advice = "write reflectance factors, 0-1 (divide by 100)"
    if table.percent:
        return f"{table.file}: the wavelengths are headed %; {advice} and take the % away"
    high = np.flatnonzero((values > PERCENT).any(axis=1))
    if not high.size:
        return ""
    first, at = values[high[0]], int(values[high[0]].argmax())
    more = f" (and {high.size - 1} more rows)" if high.size > 1 else ""
    found = f"{first[at]:.4g} at {table.nm[at]:g} nm{more}"
    return f"{rows[high[0]].where}: {found} looks like percent; {advice}"


INKS = "inks.csv"
DRAWDOWNS, SPECTRA, FILM_SPECTRA = "drawdowns.csv", "spectra.csv", "film_spectra.csv"
NUMBER = "no"  # a column
WAVES = tuple(f"{nm:.0f}" for nm in GRID_NM)


@dataclass(frozen=True, kw_only=True)
class ShopLine:
    """A row as it stands in its file, and what of it counts here."""

    drawdown: str
    cells: list[str]
    ink: str = ""
    film: bool = False
    number: str = ""  # short, to be keyed into an instrument
    waiting: bool = False  # for its reading
    values: tuple[str, ...] = ()  # the cells of the wavelengths
    R: Array | None = None  # (n_wl,), where asked for


@dataclass(frozen=True, kw_only=True)
class ShopTable:
    """A table with its rows as they stand."""

    table: tables.FileTable
    lines: list[ShopLine]
    mark: str  # of the encoding, that some spreadsheets need

    @property
    def numbers(self) -> dict[str, str]:
        """Drawdowns by their short numbers; a number that two have is none."""
        pairs = {(line.number, line.drawdown) for line in self.lines if line.number}
        count = Counter(number for number, _ in pairs)
        return {number: name for number, name in pairs if count[number] == 1}

    @property
    def by_number(self) -> dict[str, int]:
        """The short numbers by drawdown, where they are numbers."""
        return {name: int(no) for no, name in self.numbers.items() if no.isdecimal()}

    def with_column(self, name: str) -> "ShopTable":
        """The table with a last column of that name, empty where there was none."""
        if name in self.table.columns:
            return self
        grid = replace(self.table.grid, head=[*self.table.grid.head, name])
        return replace(
            self,
            table=replace(self.table, columns=(*self.table.columns, name), grid=grid),
            lines=[replace(line, cells=[*line.cells, ""]) for line in self.lines],
        )

    @property
    def unit(self) -> str:
        """The column of amounts; a planned drawdown's grams are those of a 100 g batch."""
        return next(unit for unit in recipe.AMOUNTS if unit in self.table.columns)

    def number(self, value: float, decimals: int = 4) -> str:
        """A number as this file writes numbers."""
        return f"{value:.{decimals}f}".replace(".", self.table.decimal)

    def row(self, cells: Mapping[str, str]) -> list[str]:
        """A new row: cells by column, the others empty."""
        return [cells.get(column, "") for column in self.table.columns]

    def text(self, rows: Iterable[Sequence[str]], head: Sequence[str] = ()) -> str:
        """The table with these rows, separated and marked as it was."""
        grid = self.table.grid
        return self.mark + write.csv_text(head or grid.head, rows, grid.separator)


def drawn_in(folder: str | Path) -> ShopTable:
    """The rows of `drawdowns.csv`; none where there is no such file.

    Raises `InputError` with the faults of its rows and columns.
    """
    table, mark = _read(
        Path(folder),
        DRAWDOWNS,
        ("drawdown", "ink", "percent", "lot"),
        required=("drawdown", "ink"),
        numeric=recipe.AMOUNTS,
        text=("lot", "ground", NUMBER),
    )
    faults = list(table.faults)
    if not set(recipe.AMOUNTS) & set(table.columns):
        faults.append(f"{DRAWDOWNS}: no column 'percent' or 'grams'; name the amounts one of these")
    raise_any(faults)
    lines = [
        ShopLine(
            drawdown=normalize("NFC", row.cells["drawdown"]),
            cells=cells,
            ink=normalize("NFC", row.cells["ink"]),
            film=bool(row.cells.get("ground")),
            number=row.cells.get(NUMBER, ""),
        )
        for row, (_, cells, _) in zip(table.rows, laid(table.grid), strict=True)
    ]
    return ShopTable(table=table, lines=lines, mark=mark)


def spectra_in(folder: str | Path, name: str = SPECTRA, *, values: bool = False) -> ShopTable:
    """The rows of `spectra.csv` or `film_spectra.csv`; none where there is no such file.

    With `values` every reading is read, on the grid.  Raises `InputError` with the faults.
    """
    table, mark = _read(Path(folder), name, ("drawdown", *WAVES), spectral=True)
    measured, waiting = tables.without_waiting(table)
    faults, R = list(table.faults), {}
    if values:
        rows, found, wrong = tables.spectral_values(measured)
        faults += wrong
        if not faults:
            on_grid = to_grid(table.nm, found, where=name)
            R = {row.where: own for row, own in zip(rows, on_grid, strict=True)}
    raise_any(faults)
    places = {row.where for row in waiting}
    lines = [
        ShopLine(
            drawdown=normalize("NFC", row.cells["drawdown"]),
            cells=cells,
            waiting=row.where in places,
            values=row.values,
            R=R.get(row.where),
        )
        for row, (_, cells, _) in zip(table.rows, laid(table.grid), strict=True)
    ]
    return ShopTable(table=table, lines=lines, mark=mark)


def measured_in(folder: str | Path) -> bool:
    """Whether any reading was written down; a new shop has names without readings."""
    for name in (SPECTRA, FILM_SPECTRA):
        if write.settled(folder, name).exists():
            try:
                table, _ = _read(Path(folder), name, ("drawdown", *WAVES), spectral=True)
            except InputError:
                return True  # something is there, and its faults are to be told
            if any(cell for row in table.rows for cell in row.values):
                return True
    return False


def retire_in(folder: str | Path, ink: str) -> str:
    """Write `no` into the column `active` of an ink of `inks.csv`; all else stays as it is.

    Gives the name of the copy of the file as it was.  InputError where the file has no such ink.
    """
    with lock.locked(folder):
        table, mark = _read(Path(folder), INKS, ("ink",), required=("ink",), text=("active",))
        there = ShopTable(table=table, lines=[], mark=mark)
        lines = [
            ShopLine(drawdown="", cells=cells, ink=normalize("NFC", row.cells["ink"]))
            for row, (_, cells, _) in zip(table.rows, laid(table.grid), strict=True)
        ]
        if ink not in (names := [line.ink for line in lines]):
            raise InputError(f"{quoted(ink)} is not in {INKS}{did_you_mean(ink, names)}")
        there = replace(there, lines=lines).with_column("active")
        k = there.table.columns.index("active")
        rows = [
            [*line.cells[:k], "no", *line.cells[k + 1 :]] if line.ink == ink else line.cells
            for line in there.lines
        ]
        return write.write_keeping(folder, [INKS], {INKS: there.text(rows)})


def _read(
    folder: Path,
    name: str,
    columns: Sequence[str],
    *,
    required: Sequence[str] = ("drawdown",),
    numeric: Sequence[str] = (),
    text: Sequence[str] = (),
    spectral: bool = False,
) -> tuple[tables.FileTable, str]:
    """The table, or an empty one of these columns where there is no such file, and its mark."""
    path = write.settled(folder, name)
    there = path.is_file() and path.stat().st_size > 0
    content = read_text(path, name) if there else write.csv_text(columns, [])
    table = tables.parse_table(
        content, name, required=required, numeric=numeric, text=text, spectral=spectral
    )
    return table, encoding_mark(path) if there else ""
