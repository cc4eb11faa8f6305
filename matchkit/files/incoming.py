"""Measurements into a shop: readings of a file into `spectra.csv`, by drawdown name.

Everything is read and judged before anything is written; then the new `spectra.csv`
and a copy of the old one are put in place together.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from unicodedata import normalize

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import GRID_NM, to_grid
from matchkit.errors import InputError
from matchkit.files.amounts import quoted
from matchkit.files.conditions import listed
from matchkit.files.grid import laid, wavelength_columns
from matchkit.files.readings import NamedSpectrum
from matchkit.files.settings import geometry_faults
from matchkit.files.shop import read_measuring
from matchkit.files.spectrum import read_spectra
from matchkit.files.tables import Table, read_table, spectral_values, without_waiting
from matchkit.files.text import did_you_mean, encoding_mark, label
from matchkit.files.write import csv_text, name_of_copy, settled, write_files
from matchkit.fitting.instrument import disagreement, oddities, repeats
from matchkit.inks.shop import Drawdown, Shop

__all__ = ["Imported", "bring_in"]

Array = NDArray[np.float64]

FILE = "spectra.csv"
SAME = 5e-7  # readings closer than six decimals can tell are one reading
HINTS = 20


@dataclass(frozen=True, kw_only=True)
class Imported:
    """What came into a shop."""

    names: tuple[str, ...]
    n_readings: int
    kept: str  # the file that holds the old spectra.csv; empty: there was none
    missing: tuple[str, ...]  # drawdowns that have no reading yet
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Row:
    """A row of `spectra.csv`: its reading, and its cells as they are written."""

    name: str
    others: list[str]  # cells that are no wavelength
    values: list[str]  # (31,)
    R: Array | None  # (31,); None: the row waits for its reading


@dataclass(frozen=True, kw_only=True)
class _Old:
    """`spectra.csv` as it stands; its wavelengths are brought to the grid."""

    others: list[str]  # headings that are no wavelength
    naming: int  # which of them is the drawdown
    at: int  # how many of them come before the wavelengths
    rows: list[_Row]
    separator: str
    decimal: str
    mark: str  # of the encoding, that some spreadsheets need
    notes: list[str]


def bring_in(
    path: str | Path,
    folder: str | Path,
    *,
    name: str | None = None,
    drawdown: str | None = None,
    existing: str = "refuse",
    skip_others: bool = False,
    index: float | None = None,
    not_fluorescent: bool = False,
) -> Imported:
    """Write the readings of a spectrum file into a shop's `spectra.csv`.

    Parameters
    ----------
    path, folder : paths
        The spectrum file and the shop folder.
    name, drawdown : str
        Only the spectrum of that `name`, and the `drawdown` that it is of, if the file
        calls it otherwise.
    existing : str
        "refuse", "add" or "replace", for drawdowns that have readings already.
    skip_others : bool
        Leave out what is no drawdown of the shop; otherwise it is a fault.
    index, not_fluorescent
        See `read_spectra`.

    Raises
    ------
    InputError
        With every fault of the file and the folder; then nothing was written.
    """
    folder = Path(folder)
    shop, drawdowns, mixes = read_measuring(folder)
    spectra, notes = read_spectra(
        path, name=name, shop=shop, index=index, not_fluorescent=not_fluorescent
    )
    file = label(Path(path))
    spectra = spectra if drawdown is None else [_renamed(spectra, drawdown, file)]
    spectra, skipped = _known(spectra, (*drawdowns, *mixes), skip_others, file)
    old_path = settled(folder, FILE)
    old = _old(old_path) if old_path.exists() and old_path.stat().st_size else _none()
    new, held = _against(spectra, old, existing, file)
    faults = geometry_faults(replace(shop, drawdowns=tuple(map(_as_drawdown, new))))
    if faults:
        raise InputError([fault.replace(f"in {FILE}", f"in {file}") for fault in faults])
    kept = ""
    if new:
        kept = _write(folder, old_path, old, new, replacing=existing == "replace")
    measured = {row.name for row in old.rows if row.R is not None} | {each.name for each in new}
    return Imported(
        names=tuple(each.name for each in new),
        n_readings=sum(len(each.readings) for each in new),
        kept=kept,
        missing=tuple(each for each in drawdowns if each not in measured),
        notes=(*notes, *old.notes, *skipped, *held, *_doubts(new, shop)),
    )


def _renamed(spectra: Sequence[NamedSpectrum], drawdown: str, file: str) -> NamedSpectrum:
    """The only spectrum, under its name in the shop."""
    if len(spectra) > 1:
        held = listed([each.name for each in spectra], HINTS)
        raise InputError(
            f"{file}: holds several spectra; say with --name which one is of"
            f" {quoted(drawdown)}: {held}"
        )
    return replace(spectra[0], name=drawdown)


def _known(
    spectra: Sequence[NamedSpectrum], known: Sequence[str], skip_others: bool, file: str
) -> tuple[list[NamedSpectrum], list[str]]:
    """Those of the shop; the others are a fault, or a note if they may be left out."""
    ours = [each for each in spectra if each.name in known]
    others = [each.name for each in spectra if each.name not in known]
    if not others or (skip_others and ours):
        return ours, [f"{file}: left out: {listed(others, HINTS)}"] if others else []
    faults = [
        f"{file}: {quoted(name)} is neither in drawdowns.csv nor in mixes.csv"
        f"{did_you_mean(name, known) if i < HINTS else ''}"
        for i, name in enumerate(others)
    ]
    way = "add them to drawdowns.csv"
    if ours:
        way += ", or leave them out with --skip-others"
    raise InputError([*faults, f"{file}: nothing was brought in; rename them, {way}"])


def _none() -> _Old:
    return _Old(
        others=["drawdown"],
        naming=0,
        at=1,
        rows=[],
        separator=",",
        decimal=".",
        mark="",
        notes=[],
    )


def _old(path: Path) -> _Old:
    whole = read_table(path, file=FILE, required=("drawdown",), spectral=True)
    table, waiting = without_waiting(whole)
    rows, values, faults = spectral_values(table)
    if table.faults or faults:
        raise InputError([*table.faults, *faults])
    R = to_grid(table.nm, values, where=FILE)
    waves = wavelength_columns(table.columns)
    others = [i for i in range(len(table.columns)) if i not in waves]
    found = {
        row.where: (_texts(row.values, own, table), own) for row, own in zip(rows, R, strict=True)
    }
    found |= {row.where: ([""] * GRID_NM.size, None) for row in waiting}
    return _Old(
        others=[table.grid.head[i] for i in others],
        naming=others.index(table.columns.index("drawdown")),
        at=sum(i < min(waves) for i in others),
        rows=[
            _Row(
                name=normalize("NFC", row.cells["drawdown"]),
                others=[line[i] for i in others],
                values=found[row.where][0],
                R=found[row.where][1],
            )
            for row, (_, line, _) in zip(whole.rows, laid(whole.grid), strict=True)
        ],
        separator=table.grid.separator,
        decimal=table.decimal,
        mark=encoding_mark(path),
        notes=_cropped(table),
    )


def _texts(cells: Sequence[str], R: Array, table: Table) -> list[str]:
    """Values on the grid as they stand in the file, or as they came out of it."""
    there = {round(float(nm), 1): cell for nm, cell in zip(table.nm, cells, strict=True)}
    return [
        there.get(round(float(nm), 1), _text(value, table.decimal))
        for nm, value in zip(GRID_NM, R, strict=True)
    ]


def _cropped(table: Table) -> list[str]:
    if table.nm.size == GRID_NM.size:
        return []
    return [
        f"{FILE}: had {table.nm[0]:g}-{table.nm[-1]:g} nm in {table.nm.size} columns; it has"
        " 400, 410, ... 700 nm now, which is what counts"
    ]


def _against(
    spectra: Sequence[NamedSpectrum], old: _Old, existing: str, file: str
) -> tuple[list[NamedSpectrum], list[str]]:
    """The spectra that are new, held against what the shop has."""
    held: dict[str, list[Array]] = {}
    for row in old.rows:
        if row.R is not None:
            held.setdefault(row.name, []).append(row.R)
    new, same, faults = [], [], []
    for each in spectra:
        there = held.get(each.name, [])
        fresh = [R for R in each.readings if not _among(R, there)]
        if not fresh and (existing != "replace" or len(there) == len(each.readings)):
            same.append(each.name)
            continue
        if there and existing == "refuse":
            faults.append(
                f"{file}: {quoted(each.name)} has readings in {FILE} already: {len(there)};"
                " say --add to average all, or --replace"
            )
        kept = each.readings if existing == "replace" else np.array(fresh)
        new.append(replace(each, readings=kept))
    if faults:
        raise InputError(faults)
    return new, [f"{file}: in {FILE} already: {listed(same, HINTS)}"] if same else []


def _among(R: Array, others: Iterable[Array]) -> bool:
    return any(float(np.abs(R - other).max()) <= SAME for other in others)


def _write(
    folder: Path, old_path: Path, old: _Old, new: Sequence[NamedSpectrum], *, replacing: bool
) -> str:
    """Put the new file and a copy of the old one in place together; the copy's name."""
    fresh = {each.name: _rows_of(each, old) for each in new}
    gone = set(fresh) if replacing else set()
    rows: list[_Row] = []
    for row in old.rows:
        if row.R is None and row.name in fresh:  # what waited gets its place
            rows += fresh[row.name]
            fresh[row.name] = []
        elif row.name not in gone:
            rows.append(row)
    rows += [row for each in fresh.values() for row in each]
    waves = [f"{nm:.0f}" for nm in GRID_NM]
    lines = [(old.others, waves), *((row.others, row.values) for row in rows)]
    head, *body = ([*others[: old.at], *values, *others[old.at :]] for others, values in lines)
    contents: dict[str, str | bytes] = {FILE: old.mark + csv_text(head, body, old.separator)}
    kept = ""
    if old_path.exists():
        kept = name_of_copy(folder, FILE)
        contents[kept] = old_path.read_bytes()
    write_files(folder, contents)
    return kept


def _rows_of(spectrum: NamedSpectrum, old: _Old) -> list[_Row]:
    """A row for each of its readings, under the old file's headings."""
    others = ["" for _ in old.others]
    others[old.naming] = spectrum.name
    texts = [[_text(value, old.decimal) for value in R] for R in spectrum.readings]
    return [_Row(name=spectrum.name, others=others, values=v, R=spectrum.R) for v in texts]


def _text(value: float, decimal: str) -> str:
    return f"{value:.6f}".replace(".", decimal)


def _as_drawdown(spectrum: NamedSpectrum) -> Drawdown:
    return Drawdown(name=spectrum.name, inks=(), fractions=(), readings=spectrum.readings)


def _doubts(new: Iterable[NamedSpectrum], shop: Shop) -> list[str]:
    """What is odd about readings that came in all the same."""
    lines = []
    for each in new:
        odd = [line for found in oddities(GRID_NM, each.readings) for line in found]
        odd.append(disagreement(repeats(each.readings, shop.lights[0], shop.observer)))
        lines += [f"{quoted(each.name)}: {line}" for line in dict.fromkeys(odd) if line]
    return lines
