"""Spectra written for others: CSV as a spreadsheet opens it, or CGATS.17 text.

Both are read back by `spectrum.read_spectra`, to 1e-6 of reflectance and with all that
is known of how they were measured.
"""

from collections.abc import Sequence
from dataclasses import astuple, fields
from pathlib import Path

from matchkit.colorimetry.grid import GRID_NM
from matchkit.errors import InputError
from matchkit.files.amounts import quoted
from matchkit.files.conditions import Stated
from matchkit.files.readings import NamedSpectrum, name_fault
from matchkit.files.suited import stated_of
from matchkit.files.text import label
from matchkit.files.write import csv_text, write_file

SUFFIXES = {".csv": "CSV", ".txt": "CGATS.17", ".cgats": "CGATS.17"}


def write_spectra(path: str | Path, spectra: Sequence[NamedSpectrum]) -> None:
    """Write a new file, CSV or CGATS.17 by its suffix; one that is there is left alone.

    Raises `InputError` if it is there, if its suffix is another, or for a name that
    cannot be written.
    """
    path = Path(path)
    kind = SUFFIXES.get(path.suffix.casefold())
    if kind is None:
        known = ", ".join(SUFFIXES)
        raise InputError(f"{label(path)}: {quoted(path.suffix)} is not known; write {known}")
    if path.exists():
        raise InputError(f"{label(path)}: is there already; give another name")
    write_file(path, spectra_csv(spectra) if kind == "CSV" else spectra_cgats(spectra))


def spectra_csv(spectra: Sequence[NamedSpectrum]) -> str:
    """Spectra as CSV, a row for each reading, 0-1 with six decimals.

    Raises `InputError` for a name that cannot be written.
    """
    _check(spectra)
    stated = [stated_of(each) for each in spectra]
    kept = [each.name for each in fields(Stated) if any(getattr(s, each.name) for s in stated)]
    rows = [
        [each.name, *(getattr(said, column) for column in kept), "fraction", *_values(R)]
        for each, said in zip(spectra, stated, strict=True)
        for R in each.readings
    ]
    return csv_text(["name", *kept, "scale", *(f"{nm:.0f}" for nm in GRID_NM)], rows)


def spectra_cgats(spectra: Sequence[NamedSpectrum]) -> str:
    """Spectra as CGATS.17, a table for each way of measuring, a row for each reading.

    Values are 0-1 with six decimals.  Raises `InputError` for a name that cannot be written.
    """
    _check(spectra)
    groups: dict[Stated, list[NamedSpectrum]] = {}
    for each in spectra:
        groups.setdefault(stated_of(each), []).append(each)
    lines = ["CGATS.17", 'ORIGINATOR "matchkit"', 'KEYWORD "MEASUREMENT_GEOMETRY"']
    for stated, group in groups.items():
        lines += _table(stated, group)
    return "\n".join(lines) + "\n"


def _table(stated: Stated, group: Sequence[NamedSpectrum]) -> list[str]:
    names = ["SAMPLE_ID", "SAMPLE_NAME", *(f"SPECTRAL_NM{nm:.0f}" for nm in GRID_NM)]
    keys = ("MEASUREMENT_GEOMETRY", "MEASUREMENT_SOURCE", "SAMPLE_BACKING", "FILTER")
    said = [value or "unknown" for value in astuple(stated)]
    rows = [(each.name, R) for each in group for R in each.readings]
    return [
        *(f"{key} {_in_quotes(value)}" for key, value in zip(keys, said, strict=True)),
        "SPECTRAL_NORM 1",
        f"NUMBER_OF_FIELDS {len(names)}",
        *("BEGIN_DATA_FORMAT", " ".join(names), "END_DATA_FORMAT"),
        f"NUMBER_OF_SETS {len(rows)}",
        "BEGIN_DATA",
        *(f"{i} {_in_quotes(name)} {' '.join(_values(R))}" for i, (name, R) in enumerate(rows, 1)),
        "END_DATA",
    ]


def _values(R: Sequence[float]) -> list[str]:
    return [f"{value:.6f}" for value in R]


def _in_quotes(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def _check(spectra: Sequence[NamedSpectrum]) -> None:
    named = [(each.name, name_fault(each.name)) for each in spectra]
    faults = [f"name {quoted(name)}: {fault}" for name, fault in named if fault]
    if faults or not spectra:
        raise InputError(faults or "no spectra to write")
