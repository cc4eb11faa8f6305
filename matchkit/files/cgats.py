"""CGATS.17 (ISO 28178) text.  How it is written: see `export`.

One table or several, each with BEGIN_DATA_FORMAT and BEGIN_DATA; a row is a line.  The
wavelengths are in the names of fields, in every spelling met so far, or stand beside
the values in pairs of fields.  Keywords hold for the table they stand before and for
those after it.
"""

import contextlib
import re
from dataclasses import dataclass, field

import numpy as np

from matchkit.arrays import Array
from matchkit.errors import InputError
from matchkit.files.grid import LONGEST_HEADER, LONGEST_NM, MOST_CELLS, MOST_ROWS, SHORTEST_NM
from matchkit.files.readings import Readings, StatedLab, light_name, name_fault, stated_in
from matchkit.files.text import Findings, decimal_mark, number, quoted

MOST_FIELDS = 5000
MOST_FAULTS = 100  # of one kind; the rest are counted

_SPECTRAL = re.compile(r"(?:SPECTRAL_?NM_?|SPECTRAL_|NM_?|SPEC_|R_)?([0-9]{3,4})(?:NM)?", re.I)
_PAIR_NM = re.compile("SPECTRAL_NM|WAVELENGTH", re.I)
_PAIR_VALUE = re.compile("SPECTRAL_(PCT|DEC|VALUE)", re.I)
_LAB = ("LAB_L", "LAB_A", "LAB_B")
_NAMES = ("SAMPLE_NAME", "SAMPLENAME", "NAME", "SAMPLE_ID", "SAMPLEID", "ID", "SAMPLE_LOC")
_WORD = re.compile(r'"((?:[^"]|"")*)"|([^\s"]+)')
_NUMBERS = re.compile(r"[-+0-9.eE ]*")
_LIGHT = re.compile(r"ILLUMINANT\W+([A-Z][A-Z0-9.-]*)", re.I)
_OBSERVER = re.compile(r"OBSERVER\W+(2|10)(?![0-9])|(?<![0-9])(2|10)\s*(?:DEG|°)", re.I)


@dataclass(kw_only=True)
class _Table:
    """One table as it was written; `rows` hold the number of their line."""

    keywords: dict[str, str]
    fields: list[str] = field(default_factory=list)
    rows: list[tuple[int, list[str]]] = field(default_factory=list)
    misfits: list[str] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class _Columns:
    """Where the spectra are in the rows of a table."""

    places: list[int]  # of the values
    nm: list[float]  # empty: `nm_places` hold them
    nm_places: list[int]
    scale: str


def cgats_readings(text: str, found: Findings) -> list[Readings]:
    """All readings of a CGATS.17 file, a block for each table that holds spectra.

    Faults of rows go to `found`; raises `InputError` where the file cannot be taken apart.
    """
    tables = _tables(text, found)
    blocks, without = [], []
    for table in tables:
        _check_counts(table, found)
        columns = _columns(table, found)
        if columns is None:
            without.append(table.fields)
        elif table.rows:
            blocks.append(_block(table, columns, found))
    if without and not found.faults:
        shown = ", ".join(quoted(name) for name in without[0][:8])
        line = f"{found.file}: a table without spectral fields, it has {shown}"
        if not blocks:
            raise InputError(
                f"{line}; export the spectra, or give L*a*b* to `matchkit match --lab`"
            )
        found.notes.append(f"{line}; left out")
    return [block for block in blocks if block.names]


def _tables(text: str, found: Findings) -> list[_Table]:
    """The file line by line; every table that ends, as it was written."""
    if text.count("\n") + text.count("\r") - text.count("\r\n") > MOST_ROWS:
        raise InputError(f"{found.file}: more than {MOST_ROWS:,} lines; split the file")
    lines = re.split(r"\r\n|\r|\n", text)
    table, tables, inside, cells = _Table(keywords={}), [], "", 0
    for i, line in enumerate(lines, 1):
        word = line[:40].strip("\ufeff \t").upper().partition(" ")[0]
        if len(line) > LONGEST_HEADER:
            raise InputError(f"{found.file} row {i}: {len(line):,} characters; no row is so long")
        if word.startswith(("BEGIN_DATA", "END_DATA")):
            _check_mark(word, inside, f"{found.file} row {i}")
            inside = word if word.startswith("BEGIN") else ""
            if word == "BEGIN_DATA_FORMAT":
                table.fields = []
            elif word == "END_DATA":
                tables.append(table)
                # Keywords hold for the next table too, and the fields until they are named anew.
                kept = {k: v for k, v in table.keywords.items() if not k.startswith("NUMBER_OF")}
                table = _Table(keywords=kept, fields=table.fields)
        elif word and not word.startswith("#"):
            _take(table, inside, i, line, found.file)
            cells += len(table.fields) if inside == "BEGIN_DATA" else 0
        if len(table.fields) > MOST_FIELDS or cells > MOST_CELLS:
            raise InputError(f"{found.file}: more than {MOST_CELLS:,} values; split the file")
    if inside:
        end = inside.replace("BEGIN", "END")
        raise InputError(f"{found.file}: {end} is missing; the file was cut short, so export again")
    if not tables:
        raise InputError(f"{found.file}: no BEGIN_DATA; export it again")
    return tables


def _take(table: _Table, inside: str, i: int, line: str, file: str) -> None:
    """A line that is no mark."""
    if inside == "BEGIN_DATA_FORMAT":
        table.fields = [*table.fields, *_words(line, 0)]
    elif inside == "BEGIN_DATA":
        _add_row(table, i, line, file)
    else:
        _add_keyword(table, line)


def _check_mark(mark: str, inside: str, where: str) -> None:
    """A mark opens what is not open, or closes what is."""
    opens = mark in ("BEGIN_DATA", "BEGIN_DATA_FORMAT")
    if not opens and mark not in ("END_DATA", "END_DATA_FORMAT"):
        raise InputError(f"{where}: {quoted(mark)} is not known; misspelt?")
    if (inside and opens) or (not opens and inside != mark.replace("END", "BEGIN")):
        before = f"before {inside.replace('BEGIN', 'END')}" if inside else "but nothing is open"
        raise InputError(f"{where}: {mark} {before}; a part is missing, so export again")


def _add_row(table: _Table, i: int, line: str, file: str) -> None:
    width = len(table.fields)
    words = _words(line, width)
    if len(words) == width and line.count('"') % 2 == 0:
        table.rows.append((i, words))
        return
    why = f"{len(words)} values for {width} fields; a name with blanks stands in quotes"
    if line.count('"') % 2:
        why = "a quotation mark is not closed"
    table.misfits.append(f"{file} row {i}: {why}" if len(table.misfits) < MOST_FAULTS else "")


def _add_keyword(table: _Table, line: str) -> None:
    key, _, value = line.strip().replace("\t", " ").partition(" ")
    value = value.strip().strip('"').strip()
    if key.upper() == "WEIGHTING_FUNCTION":  # several, one a line
        value = f"{table.keywords.get('WEIGHTING_FUNCTION', '')}; {value}"
    table.keywords[key[:100].upper()] = value[:400]


def _words(line: str, width: int) -> list[str]:
    """The words of a line; by tabs alone where that gives as many as there are fields."""
    if width and "\t" in line:
        cells = [cell.strip(' "') for cell in line.strip(" \r\n").split("\t")]
        if len(cells) == width:
            return cells
    if '"' not in line:
        return line.split()
    return [
        word[1].replace('""', '"') if word[2] is None else word[2] for word in _WORD.finditer(line)
    ]


def _check_counts(table: _Table, found: Findings) -> None:
    """What the file counts must be what there is; rows that do not fit are named."""
    found.faults.extend(table.misfits[:MOST_FAULTS])
    if len(table.misfits) > MOST_FAULTS:
        more = len(table.misfits) - MOST_FAULTS
        found.faults.append(f"{found.file}: {more} more rows that do not fit the fields")
    n = len(table.rows) + len(table.misfits)
    for key, there, what in (
        ("NUMBER_OF_FIELDS", len(table.fields), "fields are named"),
        ("NUMBER_OF_SETS", n, "rows of data follow"),
    ):
        stated = table.keywords.get(key, "")
        if stated and stated != str(there):
            shown = stated if re.fullmatch("[0-9]{1,9}", stated) else quoted(stated)
            found.faults.append(
                f"{found.file}: {key} is {shown}, but {there} {what}; a part is missing, so"
                " export again"
            )


def _columns(table: _Table, found: Findings) -> _Columns | None:
    """The spectral fields of a table, or None."""
    marks = [_SPECTRAL.fullmatch(name) for name in table.fields]
    named = [(i, float(mark[1])) for i, mark in enumerate(marks) if mark]
    named = [(i, nm) for i, nm in named if SHORTEST_NM <= nm <= LONGEST_NM]
    nm_places = [i for i, name in enumerate(table.fields) if _PAIR_NM.fullmatch(name)]
    places = [i for i, name in enumerate(table.fields) if _PAIR_VALUE.fullmatch(name)]
    norm = table.keywords.get("SPECTRAL_NORM", "").replace(",", ".")
    scale = {"1": "0-1", "100": "percent"}.get(
        norm.rstrip("0").rstrip(".") if "." in norm else norm
    )
    if len(named) > 1:
        return _Columns(
            places=[i for i, _ in named],
            nm=[nm for _, nm in named],
            nm_places=[],
            scale=scale or "",
        )
    if not nm_places and not places:
        return None
    if len(nm_places) != len(places):
        raise InputError(
            f"{found.file}: {len(nm_places)} fields of wavelengths and {len(places)} of values;"
            " they must come in pairs"
        )
    kind = table.fields[places[0]].upper().rpartition("_")[2]
    return _Columns(
        places=places,
        nm=[],
        nm_places=nm_places,
        scale={"PCT": "percent", "DEC": "0-1"}.get(kind, scale or ""),
    )


def _block(table: _Table, columns: _Columns, found: Findings) -> Readings:
    stated, faults = stated_in(table.keywords.items())
    found.faults.extend(f"{found.file}: {fault}" for fault in faults)
    rows, numbers = _numbers(table, [*columns.nm_places, *columns.places], found)
    n = len(columns.nm_places)
    nm = np.array(columns.nm) if columns.nm else numbers[0, :n] if len(rows) else np.empty(0)
    for (i, _), row in zip(rows, numbers, strict=True) if n else ():
        if (row[:n] != nm).any():
            found.faults.append(
                f"{found.file} row {i}: its wavelengths are not those of the first row; put it into"
                " a table of its own"
            )
    names = _names(table, rows, found)
    return Readings(
        where=[f"{found.file} row {i}" for i, _ in rows],
        names=names,
        nm=nm,
        values=numbers[:, n:],
        stated=[stated] * len(rows),
        scale=columns.scale,
        labs=_labs(table, rows),
    )


def _numbers(
    table: _Table, places: list[int], found: Findings
) -> tuple[list[tuple[int, list[str]]], Array]:
    """The rows whose values are all numbers, and these, (n_rows, n)."""
    cells = [[words[i] for i in places] for _, words in table.rows]
    try:
        marked = (cell for row in cells for cell in row if "," in cell or "." in cell)
        commas = any("," in cell for row in cells for cell in row)
        decimal = decimal_mark(marked, reflectance=True) if commas else "."
    except InputError as error:
        raise InputError(f"{found.file}: {error}") from None
    rows, values, bad = [], [], 0
    for row, each in zip(table.rows, cells, strict=True):
        try:
            values.append(_floats(each, decimal))
            rows.append(row)
        except InputError as error:
            bad += 1
            if bad <= MOST_FAULTS:
                found.faults.append(f"{found.file} row {row[0]}: {error}")
    return rows, np.array(values, dtype=float).reshape(len(rows), len(places))


def _floats(cells: list[str], decimal: str) -> list[float]:
    if decimal == "." and _NUMBERS.fullmatch(" ".join(cells)):
        with contextlib.suppress(ValueError):
            values = [float(cell) for cell in cells]
            if np.isfinite(values).all():
                return values
    return [number(cell, decimal) for cell in cells]


def _names(table: _Table, rows: list[tuple[int, list[str]]], found: Findings) -> list[str]:
    """From the first field of names that is not empty."""
    fields = [name.upper() for name in table.fields]
    places = [fields.index(name) for name in _NAMES if name in fields]
    names = []
    for i, words in rows:
        name = next((words[place] for place in places if words[place]), "" if places else str(i))
        fault = name_fault(name)
        if fault:
            found.faults.append(f"{found.file} row {i}: the name {fault}")
        names.append(name)
    return names


def _labs(table: _Table, rows: list[tuple[int, list[str]]]) -> list[StatedLab | None]:
    """CIELAB beside the spectra, and for which light and observer where the file says it."""
    fields = [name.upper() for name in table.fields]
    said = "; ".join(
        f"{key.replace('_', ' ')}: {value}"
        for key, value in table.keywords.items()
        if key in ("WEIGHTING_FUNCTION", "ILLUMINANT", "OBSERVER")
    )
    light, observer = _LIGHT.search(said), _OBSERVER.search(said)
    if not set(_LAB) <= set(fields):
        return []
    seen = ("", 0)
    if light and observer:
        seen = (light_name(light[1]), int(observer[1] or observer[2]))
    places = [fields.index(name) for name in _LAB]
    labs: list[StatedLab | None] = []
    for _, words in rows:
        try:
            L, a, b = (number(words[i].replace(",", ".")) for i in places)
        except InputError:
            labs.append(None)
            continue
        labs.append(StatedLab(Lab=(L, a, b), light=seen[0], observer=seen[1]))
    return labs
