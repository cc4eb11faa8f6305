"""Measurements into a shop: readings of a file into `spectra.csv`, by drawdown name.

Everything is read and judged before anything is written; then the new `spectra.csv`
and a copy of the old one are put in place together.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import GRID_NM
from matchkit.errors import InputError, did_you_mean
from matchkit.files.amounts import quoted
from matchkit.files.conditions import listed
from matchkit.files.grid import wavelength_columns
from matchkit.files.readings import NamedSpectrum
from matchkit.files.settings import geometry_faults
from matchkit.files.shop import read_measuring
from matchkit.files.shop_tables import SPECTRA, WAVES, ShopLine, ShopTable, drawn_in, spectra_in
from matchkit.files.spectrum import read_spectra
from matchkit.files.tables import Table
from matchkit.files.text import label
from matchkit.files.write import write_keeping
from matchkit.fitting.instrument import disagreement, oddities, repeats
from matchkit.inks.shop import Drawdown, Shop

Array = NDArray[np.float64]

SAME = 5e-7  # readings closer than six decimals can tell are one reading
HINTS = 20


@dataclass(frozen=True, kw_only=True)
class Imported:
    """What came into a shop."""

    names: tuple[str, ...]
    n_readings: int
    kept: str  # the file that holds the old spectra.csv; empty: there was none
    missing: tuple[str, ...]  # rows of drawdowns.csv that wait for a reading
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, a part of what ``matchkit import --json`` prints."""
        return {
            "names": list(self.names),
            "readings": self.n_readings,
            "kept": self.kept or None,
            "missing": list(self.missing),
        }


@dataclass(frozen=True, kw_only=True)
class Bringing:
    """What is to be brought in of a file, and how.

    Only the spectrum called `name`, and the `drawdown` that it is of, if the file calls it
    otherwise.  `existing` is "refuse", "add" or "replace", for drawdowns that have readings
    already; `skip_others` leaves out what is no drawdown of the shop, which is a fault
    otherwise.  For `index` and `not_fluorescent` see `read_spectra`.
    """

    name: str | None = None
    drawdown: str | None = None
    existing: str = "refuse"
    skip_others: bool = False
    index: float | None = None
    not_fluorescent: bool = False


def bring_in(path: str | Path, folder: str | Path, how: Bringing | None = None) -> Imported:
    """Write the readings of a spectrum file into a shop's `spectra.csv`.

    Raises
    ------
    InputError
        With every fault of the file and the folder; then nothing was written.
    """
    how = how or Bringing()
    shop, drawdowns, mixes = read_measuring(folder)
    spectra, notes = read_spectra(
        path, name=how.name, shop=shop, index=how.index, not_fluorescent=how.not_fluorescent
    )
    file = label(Path(path))
    spectra = spectra if how.drawdown is None else [_renamed(spectra, how.drawdown, file)]
    spectra, skipped = _known(spectra, (*drawdowns, *mixes), how.skip_others, file)
    old = spectra_in(folder, values=True)
    drawn = dict.fromkeys(line.drawdown for line in drawn_in(folder).lines)
    new, held = _against(spectra, old, how.existing, file)
    faults = geometry_faults(replace(shop, drawdowns=tuple(map(_as_drawdown, new))))
    if faults:
        raise InputError([fault.replace(f"in {SPECTRA}", f"in {file}") for fault in faults])
    kept = ""
    if new:
        text = _with(old, new, replacing=how.existing == "replace")
        kept = write_keeping(folder, SPECTRA, {SPECTRA: text})
    measured = {line.drawdown for line in old.lines if line.R is not None}
    measured |= {each.name for each in new}
    return Imported(
        names=tuple(each.name for each in new),
        n_readings=sum(len(each.readings) for each in new),
        kept=kept,
        missing=tuple(name for name in drawn if name not in measured),
        notes=(*notes, *_cropped(old.table), *skipped, *held, *_doubts(new, shop)),
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


def _cropped(table: Table) -> list[str]:
    if table.nm.size == GRID_NM.size:
        return []
    return [
        f"{SPECTRA}: had {table.nm[0]:g}-{table.nm[-1]:g} nm in {table.nm.size} columns; it has"
        " 400, 410, ... 700 nm now, which is what counts"
    ]


def _against(
    spectra: Sequence[NamedSpectrum], old: ShopTable, existing: str, file: str
) -> tuple[list[NamedSpectrum], list[str]]:
    """The spectra that are new, held against what the shop has."""
    held: dict[str, list[Array]] = {}
    for line in old.lines:
        if line.R is not None:
            held.setdefault(line.drawdown, []).append(line.R)
    new, same, faults = [], [], []
    for each in spectra:
        there = held.get(each.name, [])
        fresh = [R for R in each.readings if not _among(R, there)]
        if not fresh and (existing != "replace" or len(there) == len(each.readings)):
            same.append(each.name)
            continue
        if there and existing == "refuse":
            faults.append(
                f"{file}: {quoted(each.name)} has readings in {SPECTRA} already: {len(there)};"
                " say --add to average all, or --replace"
            )
        kept = each.readings if existing == "replace" else np.array(fresh)
        new.append(replace(each, readings=kept))
    if faults:
        raise InputError(faults)
    return new, [f"{file}: in {SPECTRA} already: {listed(same, HINTS)}"] if same else []


def _among(R: Array, others: Iterable[Array]) -> bool:
    return any(float(np.abs(R - other).max()) <= SAME for other in others)


def _with(old: ShopTable, new: Sequence[NamedSpectrum], *, replacing: bool) -> str:
    """The text of `spectra.csv` with the new readings, all of it on the grid."""
    head, waves = old.table.grid.head, wavelength_columns(old.table.columns)
    others = [i for i in range(len(head)) if i not in waves]
    before = sum(i < min(waves) for i in others)

    def row(cells: Sequence[str], values: Sequence[str]) -> list[str]:
        kept = [cells[i] for i in others]
        return [*kept[:before], *values, *kept[before:]]

    fresh = {
        each.name: [
            row(old.row({"drawdown": each.name}), [old.number(value, 6) for value in R])
            for R in each.readings
        ]
        for each in new
    }
    gone = set(fresh) if replacing else set()
    rows: list[list[str]] = []
    for line in old.lines:
        if line.R is None and line.drawdown in fresh:  # what waited gets its place
            rows += fresh[line.drawdown]
            fresh[line.drawdown] = []
        elif line.drawdown not in gone:
            rows.append(row(line.cells, _texts(line, old)))
    return old.text([*rows, *(row for own in fresh.values() for row in own)], row(head, WAVES))


def _texts(line: ShopLine, old: ShopTable) -> list[str]:
    """Values on the grid as they stand in the file, or as they came out of it."""
    if line.R is None:
        return [""] * GRID_NM.size
    there = {round(float(nm), 1): cell for nm, cell in zip(old.table.nm, line.values, strict=True)}
    return [
        there.get(round(float(nm), 1), old.number(value, 6))
        for nm, value in zip(GRID_NM, line.R, strict=True)
    ]


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
