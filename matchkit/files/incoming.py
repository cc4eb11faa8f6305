"""Measurements into a shop: readings of a file into its spectra, by drawdown name.

Everything is read and judged before anything is written; then the new files and copies of
the old ones are put in place together, and nobody else writes in the folder meanwhile.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.grid import GRID_NM
from matchkit.errors import InputError, did_you_mean, raise_any
from matchkit.files import grid, lock, settings, shop_tables, write
from matchkit.files.readings import NamedSpectrum, listed
from matchkit.files.shop import read_measuring
from matchkit.files.spectrum import read_spectra
from matchkit.files.tables import FileTable
from matchkit.files.text import label, quoted
from matchkit.fitting.instrument import disagreement, oddities, repeats
from matchkit.inks.shop import Drawdown, Shop

SAME = 5e-7  # readings closer than six decimals can tell are one reading
HINTS = 20


@dataclass(frozen=True, kw_only=True)
class Imported:
    """What came into a shop."""

    names: tuple[str, ...]
    n_readings: int
    kept: str  # the files that hold the old readings; empty: there were none
    missing: tuple[str, ...]  # drawdowns and films that wait for a reading
    notes: tuple[str, ...]
    outliers: tuple[str, ...] = ()  # those whose colour others of the ink contradict

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, a part of what ``matchkit import --json`` prints."""
        return {
            "names": list(self.names),
            "readings": self.n_readings,
            "kept": self.kept or None,
            "missing": list(self.missing),
            "outliers": list(self.outliers),
        }


@dataclass(frozen=True, kw_only=True)
class Bringing:
    """What is to be brought in of a file, and how.

    Only the spectrum called `name`, and the `drawdown` that it is of, if the file calls it
    otherwise.  `existing` is "refuse", "add" or "replace", for drawdowns that have readings
    already; `skip_others` leaves out what is no drawdown of the shop, which is a fault
    otherwise.  For the others see `read_spectra`.
    """

    name: str | None = None
    drawdown: str | None = None
    existing: str = "refuse"
    skip_others: bool = False
    index: float | None = None
    not_fluorescent: bool = False
    scale: str = ""
    repeats: bool = False


def bring_in(path: str | Path, folder: str | Path, how: Bringing | None = None) -> Imported:
    """Write the readings of a spectrum file into a shop's `spectra.csv`.

    Those of films go into `film_spectra.csv`, unless `spectra.csv` has that name already.

    InputError with every fault of the file and the folder; then nothing was written.
    """
    read_measuring(folder)  # says what is wrong with the folder before anything is made there
    with lock.locked(folder):
        return _brought_in(Path(path), Path(folder), how or Bringing())


def _brought_in(path: Path, folder: Path, how: Bringing) -> Imported:
    shop, drawdowns, mixes, films = read_measuring(folder)
    tables = {
        name: shop_tables.spectra_in(folder, name, values=True)
        for name in (shop_tables.SPECTRA, shop_tables.FILM_SPECTRA)
    }
    there = [line.R for each in tables.values() for line in each.lines if line.R is not None]
    spectra, notes = read_spectra(
        path,
        name=how.name,
        shop=shop,
        index=how.index,
        not_fluorescent=how.not_fluorescent,
        scale=how.scale,
        repeats=how.repeats,
        darkest=lambda: min((float(R.min()) for R in there), default=None),
    )
    file = label(path)
    spectra = spectra if how.drawdown is None else [_renamed(spectra, how.drawdown, file)]
    numbers = shop_tables.drawn_in(folder).numbers
    spectra, skipped = _known(spectra, (*drawdowns, *mixes), numbers, how.skip_others, file)
    place = dict.fromkeys((*drawdowns, *mixes), shop_tables.SPECTRA) | dict.fromkeys(
        films, shop_tables.FILM_SPECTRA
    )
    place |= {line.drawdown: name for name, table in tables.items() for line in table.lines}
    new, held = _against(spectra, tables, place, how.existing, file)
    drawn = (Drawdown(name=e.name, inks=(), fractions=(), readings=e.readings) for e in new)
    faults = settings.geometry_faults(replace(shop, drawdowns=tuple(drawn)))
    raise_any([fault.replace(f"in {shop_tables.SPECTRA}", f"in {file}") for fault in faults])
    texts: dict[str, str | bytes] = {}
    for name, old in tables.items():
        if own := [each for each in new if place[each.name] == name]:
            texts[name] = _with(old, own, replacing=how.existing == "replace")
            notes = [*notes, *_cropped(old.table)]
    kept = write.write_keeping(folder, texts, texts) if texts else ""
    measured = {li.drawdown for each in tables.values() for li in each.lines if li.R is not None}
    measured |= {each.name for each in new}
    return Imported(
        names=tuple(each.name for each in new),
        n_readings=sum(len(each.readings) for each in new),
        kept=kept,
        missing=tuple(name for name in drawdowns if name not in measured),
        notes=(*notes, *skipped, *held, *_doubts(new, shop)),
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


def called_in_shop(name: str, known: Collection[str], numbers: Mapping[str, str]) -> str:
    """The drawdown or mix that a name means, capitals aside, or a plan's short number; else "".

    >>> called_in_shop("club RED", ["Club red"], {}), called_in_shop("017", [], {"17": "Grey"})
    ('Club red', 'Grey')
    """
    if name in known:
        return name
    alike = [other for other in known if other.casefold() == name.casefold()]
    return alike[0] if len(alike) == 1 else numbers.get(name.strip().lstrip("#0"), "")


def _known(
    spectra: Sequence[NamedSpectrum],
    known: Sequence[str],
    numbers: Mapping[str, str],
    skip_others: bool,
    file: str,
) -> tuple[list[NamedSpectrum], list[str]]:
    """Those of the shop by its names; the others are a fault, or a note if they may be left out."""
    found: dict[str, list[NamedSpectrum]] = {}
    others = []
    for each in spectra:
        if name := called_in_shop(each.name, known, numbers):
            found.setdefault(name, []).append(each)
        else:
            others.append(each.name)
    ours = [
        replace(group[0], name=name, readings=np.concatenate([each.readings for each in group]))
        for name, group in found.items()
    ]
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


def _cropped(table: FileTable) -> list[str]:
    if table.nm.size == GRID_NM.size:
        return []
    return [
        f"{table.file}: had {table.nm[0]:g}-{table.nm[-1]:g} nm in {table.nm.size} columns; it has"
        " 400, 410, ... 700 nm now, which is what counts"
    ]


def _against(
    spectra: Sequence[NamedSpectrum],
    tables: Mapping[str, shop_tables.ShopTable],
    place: Mapping[str, str],
    existing: str,
    file: str,
) -> tuple[list[NamedSpectrum], list[str]]:
    """The spectra that are new, held against what the shop has; `place` is each one's file."""
    held: dict[str, list[Array]] = {}
    for line in (line for table in tables.values() for line in table.lines):
        if line.R is not None:
            held.setdefault(line.drawdown, []).append(line.R)
    new, same, faults = [], [], []
    for each in spectra:
        there = held.get(each.name, [])
        fresh = [R for R in each.readings if all(np.abs(R - other).max() > SAME for other in there)]
        if not fresh and (existing != "replace" or len(there) == len(each.readings)):
            same.append(each.name)
            continue
        if there and existing == "refuse":
            faults.append(
                f"{file}: {quoted(each.name)} has readings in {place[each.name]} already:"
                f" {len(there)};"
                " say --add to average all, or --replace"
            )
        kept = each.readings if existing == "replace" else np.array(fresh)
        new.append(replace(each, readings=kept))
    raise_any(faults)
    there_already = {name: [each for each in same if place[each] == name] for name in tables}
    return new, [
        f"{file}: in {name} already: {listed(names, HINTS)}"
        for name, names in there_already.items()
        if names
    ]


def _with(old: shop_tables.ShopTable, new: Sequence[NamedSpectrum], *, replacing: bool) -> str:
    """The text of `spectra.csv` with the new readings, all of it on the grid."""
    head, waves = old.table.grid.head, grid.wavelength_columns(old.table.columns)
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
    return old.text(
        [*rows, *(row for own in fresh.values() for row in own)], row(head, shop_tables.WAVES)
    )


def _texts(line: shop_tables.ShopLine, old: shop_tables.ShopTable) -> list[str]:
    """Values on the grid as they stand in the file, or as they came out of it."""
    if line.R is None:
        return [""] * GRID_NM.size
    there = {round(float(nm), 1): cell for nm, cell in zip(old.table.nm, line.values, strict=True)}
    return [
        there.get(round(float(nm), 1), old.number(value, 6))
        for nm, value in zip(GRID_NM, line.R, strict=True)
    ]


def _doubts(new: Iterable[NamedSpectrum], shop: Shop) -> list[str]:
    """What is odd about readings that came in all the same."""
    lines = []
    for each in new:
        odd = [line for found in oddities(GRID_NM, each.readings) for line in found]
        odd.append(disagreement(repeats(each.readings, shop.lights[0], shop.observer)))
        lines += [f"{quoted(each.name)}: {line}" for line in dict.fromkeys(odd) if line]
    return lines
