"""Wavelengths in columns: grids, and headings of spectra."""

import csv
import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from matchkit.errors import InputError
from matchkit.files.text import number, quoted, unshielded

# Far above any table of a shop, and low enough for a hostile file to do no harm.
LONGEST_HEADER = 100_000  # characters
MOST_CELLS = 500_000  # 15,000 spectra
MOST_ROWS = 160_000  # 5,000 spectra, a row for each value
MOST_FAULTS = 500  # rows of one kind; the rest are counted
SHORTEST_NM, LONGEST_NM = 200.0, 2600.0  # a heading beyond these is no wavelength
SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_WAVELENGTH = re.compile(
    r"(?:spectral_?nm_?|spectral_|spec_|nm_?|%?r[ _]?)?"
    r"([0-9]{3,4}(?:[.,][0-9]{1,4})?)\s*(?:nm)?\s*[\[(]?(%?)[\])]?"
)


@dataclass(frozen=True, kw_only=True)
class Grid:
    """A table cut into cells, nothing understood yet."""

    file: str
    head_row: int  # of the header, counted from 1
    separator: str
    head: list[str]  # the header's cells, stripped
    records: list[list[str]]  # the rows under it


def split_table(
    content: str,
    file: str,
    *,
    required: Sequence[str] = (),
    spectral: bool = False,
    rename: Callable[[str], str] = str.casefold,
) -> Grid:
    """The cells of `content`; the separator is the one with which the header makes sense.

    Raises `InputError` if there is none, or more than one, or the table is too large.
    """
    check_size(content, file)
    row, separator = _header(content, file, required, spectral, rename)
    records = _records(content, separator, file)
    return Grid(
        file=file,
        head_row=row,
        separator=separator,
        head=[cell.strip() for cell in records[row - 1]],
        records=records[row:],
    )


def check_size(content: str, file: str) -> None:
    """Refuse a table that is too large to be one, before it takes memory."""
    # As the csv module counts them: \r\n is one break.
    breaks = content.count("\n") + content.count("\r") - content.count("\r\n")
    if breaks > MOST_ROWS or breaks + max(map(content.count, SEPARATORS)) > MOST_CELLS:
        raise InputError(f"{file}: more than {MOST_ROWS:,} rows or {MOST_CELLS:,} cells; split it")


def is_wavelength(column: str) -> bool:
    """Whether a column name is a wavelength: ``400``, ``400 nm`` or ``400 %``."""
    return bool(wavelength_columns([column]))


def wavelength_columns(columns: Sequence[str]) -> dict[int, tuple[float, bool]]:
    """Place of each wavelength column: its wavelength [nm], and whether headed %."""
    matches = ((place, _WAVELENGTH.fullmatch(name)) for place, name in enumerate(columns))
    found = {
        place: (float(match[1].replace(",", ".")), "%" in match[0])
        for place, match in matches
        if match
    }
    return {p: wave for p, wave in found.items() if SHORTEST_NM <= wave[0] <= LONGEST_NM}


def laid(grid: Grid) -> list[tuple[int, list[str], str]]:
    """Rows that are not blank: number, cells under the header, why they do not fit."""
    width, lines = len(grid.head), []
    for row, record in enumerate(grid.records, grid.head_row + 1):
        cells = list(map(str.strip, record))
        fault = ""
        if len(cells) != width:
            fault = _width_fault(cells, width, grid.separator)
            cells = (cells + [""] * width)[:width]
        if fault or any(cells):
            lines.append((row, cells, fault))
    return lines


def _header(
    content: str, file: str, required: Sequence[str], spectral: bool, rename: Callable[[str], str]
) -> tuple[int, str]:
    """Row number of the header, and the separator with which it makes sense."""
    lines = re.split(r"\r\n|\r|\n", content)
    row = next((i for i, line in enumerate(lines, 1) if line.strip(",;\t ")), 0)
    if not row:
        raise InputError(f"{file}: the file is empty; write a header and the rows below it")
    if len(lines[row - 1]) > LONGEST_HEADER:
        raise InputError(
            f"{file} row {row}: {len(lines[row - 1])} characters; no header is so long"
        )
    split = {s: _split_line(lines[row - 1], s, rename) for s in SEPARATORS if s in lines[row - 1]}
    if not split:
        found = quoted(lines[row - 1].strip())
        raise InputError(f"{file} row {row}: one column only, {found}; separate columns by commas")
    fitting = [
        separator
        for separator, columns in split.items()
        if set(required) <= set(columns) and (not spectral or len(wavelength_columns(columns)) > 1)
    ]
    if len(fitting) > 1:
        marks = " or ".join(SEPARATORS[separator] for separator in fitting)
        raise InputError(f"{file} row {row}: can be read as separated by {marks}; use one of them")
    best = max(split, key=lambda s: (len(set(required) & set(split[s])), len(split[s])))
    return row, fitting[0] if fitting else best


def _split_line(line: str, separator: str, rename: Callable[[str], str]) -> list[str]:
    try:
        cells = next(csv.reader([line], delimiter=separator, strict=True), [])
    except csv.Error:
        return []
    return [rename(cell.strip()) for cell in cells]


def _records(content: str, separator: str, file: str) -> list[list[str]]:
    """All rows as cells; blank rows keep their place in the numbering."""
    records: list[list[str]] = []
    try:
        records.extend(csv.reader(io.StringIO(content, ""), delimiter=separator, strict=True))
    except csv.Error as error:
        reason = "a quotation mark is not closed, or text follows it"
        if "field limit" in str(error):
            reason = "a cell is longer than 100,000 characters"
        raise InputError(f"{file} row {len(records) + 1}: {reason}; mend the row") from None
    if "'" in content:
        records = [[unshielded(cell) for cell in record] for record in records]
    return records


def _width_fault(cells: list[str], width: int, separator: str) -> str:
    """Why a row cannot be laid under the header, or an empty string."""
    more = f"{len(cells)} cells under {width} columns"
    if len(cells) == 1 and any(mark in cells[0] for mark in SEPARATORS if mark != separator):
        return f"not separated by {SEPARATORS[separator]} like the header; save the file anew"
    if len(cells) <= width:
        return ""
    # 12,5 between commas is two cells; with an empty cell after it the row may
    # still seem to fit.
    halves = any(
        re.fullmatch(r"[+-]?[0-9]{1,9}", left) and re.fullmatch(r"[0-9]{1,9}", right)
        for left, right in pairwise(cells[: 2 * width])
    )
    if separator == "," and halves:
        return f"{more}; decimal commas between separating commas? Separate by semicolons"
    if any(cells[width:]):
        return f"{more}; remove the extra cells or name their columns"
    return ""


ABOVE = 200  # lines looked through for the headings
SURE = 10  # so many wavelengths in one line are headings; two may be a range that is stated

_NM = re.compile(
    r"(wavelength|wave length|lambda|λ|nm|wellenlänge|longueur d'onde|lunghezza d'onda"
    r"|longitud de onda)s?[\s_\[(]*(nm)?[\])]*"
)
_R = re.compile(
    r"(reflectance|reflectance[ _]factor|reflectivity|values?|r|%\s*r"
    r"|reflexion|réflectance|riflettanza|reflectancia)[\s_\[(]*(%|percent|pct)?[\])]*"
)
_OF = r"(sample|patch|drawdown|target|object|colou?r|ink|muster|échantillon|campione|muestra)"
NAMING = re.compile(rf"{_OF}[ _]?(name)?|name")
COUNTING = re.compile(rf"({_OF}[ _]?)?(id|no\.?|nr\.?|number|index|#)")
READING = re.compile(r"(reading|repeat|replicate|measurement|messung)([ _]?(no\.?|nr\.?|id))?")


@dataclass(frozen=True, kw_only=True)
class Head:
    """The line that holds the headings."""

    line: int  # from 0
    wide: bool
    cells: list[str]


def find_head(lines: Sequence[str]) -> Head | None:
    """The headings: many wavelengths, or two, or one that says wavelength."""
    first = None
    for i, line in enumerate(lines[:ABOVE]):
        if len(line) > LONGEST_HEADER:
            break
        splits = [_cells(line, separator) for separator in SEPARATORS if separator in line]
        best = max(splits, key=lambda cells: len(waves(cells)), default=[])
        if len(waves(best)) >= SURE:
            return Head(line=i, wide=True, cells=best)
        if first is None and len(waves(best)) > 1:
            first = Head(line=i, wide=True, cells=best)
        for cells in splits if first is None else ():
            if "wavelength_nm" in map(renamed, cells) and _number_below(lines, i, cells):
                return Head(line=i, wide=False, cells=cells)
    return first


def waves(cells: Sequence[str]) -> dict[int, tuple[float, bool]]:
    """Places of the wavelengths among headings; see `tables.wavelength_columns`."""
    return wavelength_columns([cell.casefold() for cell in cells])


def _number_below(lines: Sequence[str], i: int, cells: list[str]) -> bool:
    """Whether the line after the headings has a number under the wavelength, or there is none."""
    place = [renamed(cell) for cell in cells].index("wavelength_nm")
    below = next((line for line in lines[i + 1 : i + ABOVE] if line.strip(",;\t ")), None)
    if below is None:
        return True
    splits = [_cells(below, separator) for separator in SEPARATORS]
    return any(len(row) > place and is_number(row[place]) for row in splits)


def without_headings(lines: list[str]) -> tuple[list[str], Head | None, Grid | None]:
    """What else may be: blanks that separate, or two bare columns of numbers."""
    spaced = ["\t".join(line.split()) for line in lines]
    plain = not any(mark in line for line in lines[:ABOVE] for mark in ";\t")
    if plain and (head := find_head(spaced)):
        return spaced, head, None
    for each in [lines, spaced] if plain else [lines]:
        if grid := _bare(each):
            return each, None, grid
    return lines, None, None


def _bare(lines: list[str]) -> Grid | None:
    """Three lines or more of a rising wavelength and a value."""
    for separator in SEPARATORS:
        rising = [_pair(line, separator) for line in lines[:ABOVE]]
        for i in range(len(rising) - 2):
            if 0 < rising[i] < rising[i + 1] < rising[i + 2]:
                records = [_cells(line, separator) for line in lines[i:]]
                heads = ["wavelength_nm", "reflectance"]
                return Grid(file="", head_row=i, separator=separator, head=heads, records=records)
    return None


def _pair(line: str, separator: str) -> float:
    """The wavelength of a line that holds one and a value, else 0."""
    cells = _cells(line, separator) if len(line) < LONGEST_HEADER else []
    if len(cells) == 2 and all(map(is_number, cells)) and is_wavelength(cells[0]):
        return float(cells[0].replace(",", "."))
    return 0.0


def _cells(line: str, separator: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    except csv.Error:
        return []


def is_number(cell: str) -> bool:
    """Tell whether a cell holds a number, with either decimal mark."""
    try:
        number(cell, "," if "," in cell else ".")
    except InputError:
        return False
    return True


def renamed(column: str) -> str:
    """What a heading of a long or tall table means."""
    column = " ".join(column.casefold().split())
    if len(column) > 40:
        return column
    if _NM.fullmatch(column):
        return "wavelength_nm"
    value = _R.fullmatch(column)
    if value is None:
        return column
    return "percent" if "%" in column or value[2] else "reflectance"
