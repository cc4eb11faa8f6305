"""A measured light source from a file: CSV, a row for each wavelength.

``wavelength_nm,power`` in any unit of power.  Lines above the headings are left alone.
The weights of a lamp are made from whole nanometres, so what an instrument gives in finer
steps is averaged over one nanometre each: an emission line between two of them counts in
full.
"""

import re
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.illuminants import MeasuredIlluminant, lamp
from matchkit.errors import InputError
from matchkit.files.grid import SEPARATORS
from matchkit.files.tables import Table, amount, parse_table
from matchkit.files.text import Findings, label, read_text

Array = NDArray[np.float64]

COLUMNS = ("wavelength_nm", "power")
ABOVE = 200  # lines looked through for the headings
DARK = 0.01  # of the peak: what lies below zero by less is the unrest of a dark reading
SEEN_NM = (360.0, 780.0)  # no weight lies outside
_NM = re.compile(r"(wavelength|wave length|lambda|λ|nm)s?[\s_\[(]*(nm)?[\])]*")
_POWER = re.compile(
    r"(relative[ _]|spectral[ _]|radiant[ _])*"
    r"(power|power distribution|spd|irradiance|radiance|flux|intensity)([\s_\[(].*)?"
)


def read_lamp(path: str | Path) -> tuple[MeasuredIlluminant, list[str]]:
    """The light in a file, called as the file without its suffix; and what was assumed.

    Raises `InputError` with every fault of the file.
    """
    path = Path(path)
    found = Findings(file=label(path))
    table = _table(read_text(path), found.file)
    found.faults.extend(table.faults)
    nm, power = _columns(table, found)
    if found.faults:
        raise InputError(found.faults)
    order = np.argsort(nm, kind="stable")
    nm, power = _whole_nm(nm[order], _without_dark(power[order], found), found)
    try:
        return lamp(label(Path(path.stem)), nm, power), found.notes
    except InputError as error:
        raise InputError([f"{found.file}: {fault}" for fault in error.faults]) from None


def _table(text: str, file: str) -> Table:
    lines = re.split(r"\r\n|\r|\n", text)
    start = next((i for i, line in enumerate(lines[:ABOVE]) if _heads(line)), 0)
    content = "\n".join([""] * start + lines[start:])  # rows keep their numbers
    return parse_table(content, file, required=COLUMNS, numeric=COLUMNS, rename=_renamed)


def _heads(line: str) -> bool:
    splits = [line.split(separator) for separator in SEPARATORS if separator in line]
    return any("wavelength_nm" in map(_renamed, cells) for cells in splits)


def _renamed(column: str) -> str:
    """What a heading means."""
    column = " ".join(column.strip('" ').casefold().split())
    if _NM.fullmatch(column):
        return COLUMNS[0]
    return COLUMNS[1] if len(column) < 80 and _POWER.fullmatch(column) else column


def _columns(table: Table, found: Findings) -> tuple[Array, Array]:
    """Wavelengths and power as they stand; rows that cannot be read are faults."""
    seen: dict[float, str] = {}
    rows = []
    for row in table.rows:
        pair = [
            amount(row, name, decimal=table.decimal, faults=found.faults, low=low, required=True)
            for name, low in zip(COLUMNS, (1.0, -np.inf), strict=True)
        ]
        if pair[0] in seen:
            found.faults.append(f"{row.where}: {pair[0]:g} nm is there twice; keep one")
        elif pair[0] is not None:
            seen[pair[0]] = row.where
        rows.append(pair)
    if not rows and not found.faults:
        found.faults.append(f"{found.file}: no values under the headings; export again")
    return tuple(np.array(rows, dtype=float).reshape(-1, 2).T)  # type: ignore[return-value]


def _without_dark(power: Array, found: Findings) -> Array:
    """No power is below zero; what a dark reading leaves there is taken as none."""
    below = (power < 0) & (power >= -DARK * power.max())
    if below.any():
        found.notes.append(
            f"{found.file}: {below.sum()} values just below 0, as dark readings are; taken as 0"
        )
    return np.where(below, 0.0, power)


def _whole_nm(nm: Array, power: Array, found: Findings) -> tuple[Array, Array]:
    """Powers in whole nanometres, each the mean over one, if the steps are finer."""
    covers = nm.size > 1 and nm[0] <= GRID_NM[0] and nm[-1] >= GRID_NM[-1]
    if not covers or np.median(np.diff(nm)) >= 1:
        return nm, power
    found.notes.append(
        f"{found.file}: steps of {np.median(np.diff(nm)):.2g} nm, averaged to whole nanometres"
    )
    whole = np.arange(np.ceil(max(nm[0], SEEN_NM[0])), np.floor(min(nm[-1], SEEN_NM[1])) + 1)
    edges = np.clip(np.append(whole - 0.5, whole[-1:] + 0.5), nm[0], nm[-1])
    fine = np.union1d(nm, edges)
    values = np.interp(fine, nm, power)
    area = np.append(0.0, np.cumsum(np.diff(fine) * (values[1:] + values[:-1]) / 2))
    return whole, np.diff(area[np.searchsorted(fine, edges)]) / np.diff(edges)
