"""One reading or many from any file, lamps too."""

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.grid import GRID_NM, check_reflectance, reflectance_doubts, to_grid
from matchkit.colorimetry.illuminants import MeasuredIlluminant, lamp
from matchkit.errors import InputError, did_you_mean, raise_any
from matchkit.files import cgats, csv_spectra, cxf, grid, grounds
from matchkit.files.readings import NamedSpectrum, Readings, Stated, listed, with_repeats
from matchkit.files.scale import Darkest, scaled
from matchkit.files.tables import FileTable, amount, parse_table
from matchkit.files.text import Findings, label, quoted, read_bytes, read_text, text_of
from matchkit.inks.shop import Shop

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
    lines = re.split(r"\r\n|\r|\n", read_text(path))
    start = next((i for i, line in enumerate(lines[:ABOVE]) if _heads(line)), 0)
    content = "\n".join([""] * start + lines[start:])
    table = parse_table(content, found.file, required=COLUMNS, numeric=COLUMNS, rename=_renamed)
    found.faults.extend(table.faults)
    nm, power = _columns(table, found)
    raise_any(found.faults)
    order = np.argsort(nm, kind="stable")
    nm, power = _whole_nm(nm[order], _without_dark(power[order], found), found)
    try:
        return lamp(label(Path(path.stem)), nm, power), found.notes
    except InputError as error:
        raise InputError([f"{found.file}: {fault}" for fault in error.faults]) from None


def _heads(line: str) -> bool:
    splits = [line.split(separator) for separator in grid.SEPARATORS if separator in line]
    return any("wavelength_nm" in map(_renamed, cells) for cells in splits)


def _renamed(column: str) -> str:
    """What a heading means."""
    column = " ".join(column.strip('" ').casefold().split())
    if _NM.fullmatch(column):
        return COLUMNS[0]
    return COLUMNS[1] if len(column) < 80 and _POWER.fullmatch(column) else column


def _columns(table: FileTable, found: Findings) -> tuple[Array, Array]:
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


FORMATS = ("CSV", "CGATS.17", "CxF3")
LISTED = 20  # names in a message
_CGATS = ("CGATS", "ISO28178", "IT8.7")


def read_spectra(
    path: str | Path,
    *,
    name: str | None = None,
    shop: Shop | None = None,
    index: float | None = None,
    not_fluorescent: bool = False,
    scale: str = "",
    repeats: bool = False,
    darkest: Darkest | None = None,
) -> tuple[list[NamedSpectrum], list[str]]:
    """Every named spectrum of a file in its order, and what was assumed, a line each.

    Values become 0-1; whether they were percent is told by the file, or asked for: see
    `files.scale`.

    The file is CSV, CGATS.17 or CxF3; `name` asks for one spectrum of it.  What it states of
    the measuring must agree with the `shop` (None: with itself only).  `index` is the refractive
    index of glossy films: the specular part is then added or taken away where file and shop
    differ in it, and that is said.  With `not_fluorescent` it does not matter how much UV there
    was.  `scale` is "percent" or "fraction", where the file leaves it open.  With `repeats`,
    names such as "red a", "red b" and "red 1/3" are readings of "red".  `darkest` gives the
    darkest reflectance that the shop has measured, or None: as percent a file may not be much
    darker.  InputError with every fault of the file, or if it may be percent or 0-1.

    >>> from matchkit.files.write import data_folder
    >>> spectra, notes = read_spectra(data_folder() / "demo-shop" / "targets.csv")
    >>> spectra[-1].name, spectra[-1].R.shape, notes
    ('Squall blue', (31,), [])
    """
    path = Path(path)
    blocks, _, found = read_readings(path)
    blocks, scale = scaled(blocks, found, scale, darkest)
    raise_any(found.faults)
    spectra = _on_grid(with_repeats(blocks, found) if repeats else blocks, scale, found)
    raise_any(found.faults)
    if name is not None:
        spectra = _named(spectra, name, found.file)
    if shop is not None:
        spectra = grounds.suited(spectra, shop, found, index=index, not_fluorescent=not_fluorescent)
    grounds.check_one_way(spectra, found)
    raise_any(found.faults)
    return spectra, found.notes


def read_spectrum(
    path: str | Path, name: str | None = None, *, shop: Shop | None = None
) -> tuple[NamedSpectrum, list[str]]:
    """One spectrum: the file's only one, or the one of that `name`; see `read_spectra`.

    Raises `InputError` with the names if the file holds several and none is chosen.
    """
    spectra, notes = read_spectra(path, name=name, shop=shop)
    return chosen(spectra, path), notes


def chosen(spectra: Sequence[NamedSpectrum], path: str | Path, option: str = "") -> NamedSpectrum:
    """The only one of a file's spectra; InputError with the names if there are several.

    `option` is what chooses one on a command line.
    """
    if len(spectra) > 1:
        held = listed([spectrum.name for spectrum in spectra], LISTED)
        how = f"with {option}, one of" if option else "one of"
        raise InputError(f"{label(Path(path))}: holds several spectra; name {how} {held}")
    return spectra[0]


def _named(spectra: Sequence[NamedSpectrum], name: str, file: str) -> list[NamedSpectrum]:
    """Those of a name, capitals aside, or the names that there are."""
    own = [spectrum for spectrum in spectra if spectrum.name == name]
    alike = [spectrum for spectrum in spectra if spectrum.name.casefold() == name.casefold()]
    chosen = own or alike
    if not chosen:
        names = [spectrum.name for spectrum in spectra]
        held = listed(names, LISTED)
        raise InputError(f"{file}: no {quoted(name)}; it holds {held}{did_you_mean(name, names)}")
    return chosen


def read_readings(path: str | Path) -> tuple[list[Readings], str, Findings]:
    """All readings as the file has them, the one of `FORMATS` it is in, and the findings.

    Nothing is scaled, resampled or held against the grid.  Raises `InputError` with every
    fault of the file.
    """
    path = Path(path)
    found = Findings(file=label(path))
    content = read_bytes(path)
    begin = content[:400].replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    if begin.startswith(b"<"):
        kind, blocks = FORMATS[2], cxf.cxf_readings(content, found)
    else:
        text = text_of(content, found.file)
        if text.lstrip("\ufeff \t\r\n").upper().startswith(_CGATS) or (
            "BEGIN_DATA_FORMAT" in text[:100_000].upper()
        ):
            kind, blocks = FORMATS[1], cgats.cgats_readings(text, found)
        else:
            kind, blocks = FORMATS[0], csv_spectra.csv_readings(text, label(Path(path.stem)), found)
    if not found.faults and not any(block.names for block in blocks):
        found.faults.append(f"{found.file}: no spectra in it; export them")
    raise_any(found.faults)
    return blocks, kind, found


def _on_grid(blocks: Sequence[Readings], scale: str, found: Findings) -> list[NamedSpectrum]:
    """Readings on the grid, together where name and conditions are the same."""
    together: dict[tuple[str, Stated], list[Array]] = {}
    for block in blocks:
        try:
            R = to_grid(block.nm, block.values, where=found.file)
        except InputError as error:
            found.faults.extend(error.faults)
            continue
        rows = zip(block.where, block.names, block.stated, R, strict=True)
        for where, name, stated, each in rows:
            found.faults.extend(check_reflectance(each, f"{where} {quoted(name)}"))
            found.notes.extend(reflectance_doubts(each, f"{where} {quoted(name)}"))
            together.setdefault((name, stated), []).append(each)
    return [
        NamedSpectrum(
            name=name,
            readings=np.array(R),
            geometry=stated.geometry,
            condition=stated.condition,
            backing=stated.backing,
            filter=stated.filter,
            scale=scale,
        )
        for (name, stated), R in together.items()
    ]
