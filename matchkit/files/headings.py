"""Which line of a CSV file holds the headings of its spectra, and what they mean."""

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from matchkit.errors import InputError
from matchkit.files.amounts import number
from matchkit.files.grid import LONGEST_HEADER, SEPARATORS, Grid, is_wavelength, wavelength_columns

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
