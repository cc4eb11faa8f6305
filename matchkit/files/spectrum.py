"""Spectrum files: one or many named spectra, as CSV.

Wide, with any first column for the names and wavelengths as the other headings; or
two columns, ``wavelength_nm`` and ``reflectance``.  Rows with one name are repeat
readings.  Other formats are told apart by how the text begins, in `read_spectra`.
"""

import re
from dataclasses import dataclass
from pathlib import Path
from unicodedata import normalize

import numpy as np
from numpy.typing import NDArray

from matchkit.faults import BadInput
from matchkit.files.amounts import quoted
from matchkit.files.tables import Row, amount, is_wavelength, parse_table, spectral_values
from matchkit.files.text import Findings, did_you_mean, label, read_text, text_fault
from matchkit.spectra import (
    HIGHEST,
    PERCENT,
    average,
    check_reflectance,
    reflectance_doubts,
    to_grid,
)

__all__ = ["NamedSpectrum", "read_spectra", "read_spectrum"]

Spectrum = NDArray[np.float64]  # (..., n_wl)

LISTED = 20  # names in a message
_NM = re.compile(r"(wavelength|wave length|lambda|nm)s?[\s_\[(]*(nm)?[\])]*")
_R = re.compile(r"(reflectance|reflectance[ _]factor|r|%\s*r)[\s_\[(]*(%|percent|pct)?[\])]*")


@dataclass(frozen=True, kw_only=True)
class NamedSpectrum:
    """A measured sample: its readings on the grid, (n_readings, n_wl), 0-1."""

    name: str
    readings: Spectrum

    @property
    def R(self) -> Spectrum:
        """The mean of the readings, (n_wl,)."""
        return average(self.readings)


@dataclass(frozen=True, kw_only=True)
class _Raw:
    """Readings as the file has them."""

    where: list[str]
    names: list[str]
    nm: Spectrum  # (n,)
    values: Spectrum  # (n_readings, n)
    percent: bool  # the headings say so


def read_spectra(path: str | Path) -> tuple[list[NamedSpectrum], list[str]]:
    """Every named spectrum of a file in its order, and what was assumed, a line each.

    Values are percent where the headings say so or one exceeds 2; that is said.
    Raises `BadInput` with every fault of the file.
    """
    path = Path(path)
    text, file = read_text(path), label(path)
    begin = text.lstrip()[:200].lstrip().upper()
    if begin.startswith(("CGATS", "ISO28178")) or "BEGIN_DATA_FORMAT" in text.upper():
        raise BadInput(f"{file}: CGATS text, which is not read yet; export CSV")
    if begin.startswith("<"):
        raise BadInput(f"{file}: XML, such as CxF, which is not read yet; export CSV")
    return _from_csv(text, file, name=label(Path(path.stem)))


def read_spectrum(path: str | Path, name: str | None = None) -> tuple[NamedSpectrum, list[str]]:
    """One spectrum: the file's only one, or the one of that `name`; and what was assumed.

    Raises `BadInput` with the names if the file holds several and none is chosen.
    """
    spectra, notes = read_spectra(path)
    if name is None and len(spectra) == 1:
        return spectra[0], notes
    chosen = [spectrum for spectrum in spectra if spectrum.name == name]
    if chosen:
        return chosen[0], notes
    names = [spectrum.name for spectrum in spectra]
    listed = ", ".join(quoted(each) for each in names[:LISTED])
    more = f" and {len(names) - LISTED} more" if len(names) > LISTED else ""
    if name is None:
        raise BadInput(f"{label(Path(path))}: holds several spectra; name one of {listed}{more}")
    hint = did_you_mean(name, names)
    raise BadInput(f"{label(Path(path))}: no {quoted(name)}; it holds {listed}{more}{hint}")


def _from_csv(text: str, file: str, name: str) -> tuple[list[NamedSpectrum], list[str]]:
    found = Findings(file=file)
    first_line = next((line for line in text.splitlines() if line.strip(",;\t ")), "")
    heads = {_renamed(cell.strip(' "').casefold()) for cell in re.split("[,;\t]", first_line)}
    raw = (_two_columns if "wavelength_nm" in heads else _wide)(text, name, found)
    if found.faults:
        raise BadInput(found.faults)
    R = to_grid(raw.nm, _scaled(raw, found), where=file)
    if found.faults:
        raise BadInput(found.faults)
    named: dict[str, list[Spectrum]] = {}
    for where, each, spectrum in zip(raw.where, raw.names, R, strict=True):
        found.faults.extend(check_reflectance(spectrum, f"{where} {quoted(each)}"))
        found.notes.extend(reflectance_doubts(spectrum, f"{where} {quoted(each)}"))
        named.setdefault(each, []).append(spectrum)
    if found.faults:
        raise BadInput(found.faults)
    return [
        NamedSpectrum(name=each, readings=np.array(R)) for each, R in named.items()
    ], found.notes


def _wide(text: str, name: str, found: Findings) -> _Raw:
    """A row for each reading: its name, then its values under their wavelengths."""
    table = parse_table(text, found.file, spectral=True)
    rows, values, faults = spectral_values(table)
    found.faults.extend([*table.faults, *faults])
    if not table.rows and not table.faults:
        found.faults.append(f"{found.file}: no spectra under the header; export again")
    if is_wavelength(table.columns[0]):
        if len(table.rows) > 1:
            found.faults.append(f"{found.file}: no column of names; put one before the wavelengths")
        names = [name for _ in rows]
    else:
        names = [_name(row, found) for row in rows]
    where = [row.where for row in rows]
    return _Raw(where=where, names=names, nm=table.nm, values=values, percent=table.percent)


def _name(row: Row, found: Findings) -> str:
    fault = text_fault(row.first) or ("" if row.first else "is empty; write a name")
    if fault:
        found.faults.append(f"{row.where}: the first cell {fault}")
    return normalize("NFC", row.first)


def _two_columns(text: str, name: str, found: Findings) -> _Raw:
    """One spectrum, a row for each wavelength; the file's name is its name."""
    columns = ("wavelength_nm", "reflectance", "percent")
    table = parse_table(text, found.file, required=columns[:1], numeric=columns, rename=_renamed)
    found.faults.extend(table.faults)
    if not table.rows:
        raise BadInput(table.faults or f"{found.file}: no values under the header; export again")
    scales = [scale for scale in columns[1:] if scale in table.columns]
    if len(scales) != 1:
        count = "two columns of values" if scales else "no column 'reflectance'"
        raise BadInput(f"{found.file}: {count}; write wavelength_nm and reflectance")
    pairs = [
        [
            amount(row, column, decimal=table.decimal, faults=found.faults, low=low, required=True)
            for column, low in ((columns[0], 0.0), (scales[0], -np.inf))
        ]
        for row in table.rows
    ]
    both = np.array(pairs, dtype=float).reshape(-1, 2)
    return _Raw(
        where=[found.file],
        names=[name],
        nm=both[:, 0],
        values=both[None, :, 1],
        percent=scales[0] == "percent",
    )


def _renamed(column: str) -> str:
    """What a heading of a two-column file means."""
    column = column.casefold()
    if _NM.fullmatch(column):
        return "wavelength_nm"
    value = _R.fullmatch(column)
    if value is None:
        return column
    return "percent" if "%" in column or value[2] else "reflectance"


def _scaled(raw: _Raw, found: Findings) -> Spectrum:
    """The values as 0-1; that they were percent is said."""
    high = raw.values.max(axis=-1)
    if not raw.percent and high.max() <= PERCENT:
        return raw.values
    if raw.percent:
        found.notes.append(f"{found.file}: read as percent, as the headings say")
    else:
        found.faults.extend(_slips(raw))
        found.notes.append(f"{found.file}: values go up to {high.max():.4g}: read as percent")
    for where, name, most in zip(raw.where, raw.names, high, strict=True):
        if most <= HIGHEST:
            found.notes.append(
                f"{where} {quoted(name)}: nowhere above {most:.3g} %, darker than most blacks; if"
                " it was written as 0-1, write the whole file in one scale"
            )
    return raw.values / 100


def _slips(raw: _Raw) -> list[str]:
    """Rows of 0-1 but for one value, which must not turn the whole file into percent."""
    beyond = raw.values > HIGHEST
    lone = (beyond.sum(axis=-1) == 1) & (raw.values > PERCENT).any(axis=-1)
    return [
        f"{raw.where[i]} {quoted(raw.names[i])}: {raw.values[i].max():.4g} at"
        f" {raw.nm[raw.values[i].argmax()]:g} nm among values below {HIGHEST:g}; mend it"
        for i in np.flatnonzero(lone)
    ]
