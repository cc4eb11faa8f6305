"""`spectra.csv` and `film_spectra.csv`: the readings of drawdowns, mixes and films by name."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import PERCENT, check_reflectance, reflectance_doubts, to_grid
from matchkit.errors import InputError
from matchkit.files.amounts import quoted
from matchkit.files.tables import (
    Row,
    Table,
    read_table,
    spectral_values,
    without_waiting,
    wording,
)
from matchkit.files.text import Findings

Spectrum = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Readings:
    """The repeat readings of one name, and where the first stands."""

    where: str
    spectra: list[Spectrum]  # each (n_wl,)
    waiting: bool = False  # its rows are empty: there to be measured


def all_readings(paths: dict[str, Path], found: Findings) -> dict[str, Readings]:
    """Readings by name.  A row with a fault, or with no value yet, still counts as a name."""
    readings = _readings(paths["spectra.csv"], "spectra.csv", found)
    if "film_spectra.csv" in paths:
        films = _readings(paths["film_spectra.csv"], "film_spectra.csv", found)
        for name in films.keys() & readings.keys():
            found.faults.append(
                f"{films[name].where}: {quoted(name)} is in spectra.csv too; keep it in one"
            )
        readings |= films
    return readings


def _readings(path: Path, file: str, found: Findings) -> dict[str, Readings]:
    table, pairs, waiting = spectral_rows(path, file, ("drawdown",), found, may_wait=True)
    readings: dict[str, Readings] = {}
    for row in table.rows:
        name = wording(row, "drawdown", faults=found.faults, required=True)
        readings.setdefault(name, Readings(where=row.where, spectra=[]))
    for row, R in pairs:
        name = wording(row, "drawdown", faults=[])
        found.notes.extend(reflectance_doubts(R, f"{row.where} {quoted(name)}"))
        readings[name].spectra.append(R)
    for row in waiting:
        name = wording(row, "drawdown", faults=found.faults, required=True)
        readings.setdefault(name, Readings(where=row.where, spectra=[], waiting=True))
    return readings


def spectral_rows(
    path: Path,
    file: str,
    required: Sequence[str],
    found: Findings,
    *,
    text: Sequence[str] = (),
    may_wait: bool = False,
) -> tuple[Table, list[tuple[Row, Spectrum]], list[Row]]:
    """A shop's table of readings: rows with their reflectance (n_wl,), and rows that wait.

    The last of the `required` columns names what was read.  Row faults go to `found`;
    InputError where nothing can be read, or the file is in percent.
    """
    table = read_table(path, file=file, required=required, text=text, spectral=True)
    waiting: list[Row] = []
    if may_wait:
        table, waiting = without_waiting(table)
    found.faults.extend(table.faults)
    found.notes.extend(table.notes)
    rows, values, faults = spectral_values(table)
    found.faults.extend(faults)
    on_grid = to_grid(table.nm, values, where=file)
    if percent := _percent_fault(table, rows, values):
        raise InputError(percent)
    for row, R in zip(rows, on_grid, strict=True):
        name = quoted(row.cells.get(required[-1], ""))
        found.faults.extend(check_reflectance(R, f"{row.where} {name}"))
    return table, list(zip(rows, on_grid, strict=True)), waiting


def _percent_fault(table: Table, rows: list[Row], values: Spectrum) -> str:
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
