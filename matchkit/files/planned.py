"""A drawdown plan into a shop: its rows in `drawdowns.csv`, and the places in `spectra.csv`.

The shop is a new folder, or one in which work has begun: what has a reading stays as it
is, and so does every column that is not ours.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from unicodedata import normalize

from matchkit.colorimetry.grid import GRID_NM
from matchkit.errors import InputError
from matchkit.files.conditions import listed
from matchkit.files.grid import laid
from matchkit.files.mixtures import AMOUNTS
from matchkit.files.tables import Table, parse_table, without_waiting
from matchkit.files.text import encoding_mark, label, read_text
from matchkit.files.write import csv_text, name_of_copy, settled, write_files
from matchkit.inks.shop import Ink
from matchkit.plan.drawdowns import Plan, Step, shop_files

__all__ = [
    "DRAWDOWNS",
    "EXAMPLES",
    "Lines",
    "Planned",
    "drawn_in",
    "lines_text",
    "told",
    "waiting_in",
    "write_new_shop",
    "write_plan",
]

DRAWDOWNS, SPECTRA = "drawdowns.csv", "spectra.csv"

# Rows to overwrite, so that every column has an example.
EXAMPLES = (
    Ink(name="White", role="white", density_g_per_ml=1.4),
    Ink(name="Black", role="black", density_g_per_ml=1.2),
    Ink(name="Clear", role="clear", density_g_per_ml=1.1),
    Ink(name="Red", role="colour", density_g_per_ml=1.2),
)


@dataclass(frozen=True, kw_only=True)
class Planned:
    """What became of `drawdowns.csv`; names of drawdowns."""

    added: tuple[str, ...]  # planned, and to be measured
    taken_out: tuple[str, ...]  # never measured, and planned no more
    measured: tuple[str, ...]  # planned again, but there with a reading: left as they are
    kept: str  # the file that holds the old rows; empty: nothing was lost


@dataclass(frozen=True, kw_only=True)
class _Line:
    """A row as it stands in its file, and what of it counts here."""

    drawdown: str
    cells: list[str]
    ink: str = ""
    film: bool = False
    waiting: bool = False  # for its reading


@dataclass(frozen=True, kw_only=True)
class Lines:
    """A table with its rows as they stand."""

    table: Table
    lines: list[_Line]
    mark: str  # of the encoding, that some spreadsheets need


def write_new_shop(
    folder: str | Path, plan: Plan, *, name: str, geometry: str, condition: str
) -> tuple[str, ...]:
    """A new shop folder with the inks and drawdowns of a plan, whole or not at all.

    Gives the names of its files.  Raises `InputError` where something of that name is there.
    """
    if Path(folder).exists():
        raise InputError(f"{folder}: is there already; name a new folder")
    files = shop_files(plan, name=name, geometry=geometry, condition=condition)
    write_files(folder, files)
    return tuple(files)


def write_plan(
    folder: str | Path, plan: Plan, inks: Sequence[Ink], *, new_ink: str | None = None
) -> Planned:
    """Put the drawdowns of a plan into a shop's files; both are written, or neither.

    A drawdown that was never measured and is not in the plan goes out if it holds the
    `new_ink`; without one, if it holds none of the shop's `inks` that are of another series.

    Raises
    ------
    InputError
        With the faults of the two files; then nothing was written.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise InputError(f"{label(folder)}: not found; a shop folder is expected")
    drawn, spectra, measured = _two_files(folder)
    new = {step.drawdown: step for step in plan.steps if step.drawdown not in measured}
    foreign = {ink.name for ink in inks} - {ink.name for ink in plan.inks}
    out = _taken_out(drawn, measured.keys() | new.keys(), foreign, new_ink)
    planned = {name: list(_rows(step, drawn, plan)) for name, step in new.items()}
    there = {name: [li.cells for li in drawn.lines if li.drawdown == name] for name in planned}
    anew = out.keys() | {name for name, cells in planned.items() if cells != there[name]}
    rows = [line.cells for line in drawn.lines if line.drawdown not in anew]
    rows += [row for name, cells in planned.items() if name in anew for row in cells]
    places = [line.cells for line in spectra.lines if not (line.waiting and line.drawdown in anew)]
    waiting = {line.drawdown for line in spectra.lines if line.waiting} - anew
    places += [_laid(spectra.table, {"drawdown": name}) for name in new if name not in waiting]
    contents: dict[str, str | bytes] = {}
    if anew:
        contents[DRAWDOWNS] = lines_text(drawn, rows)
    if anew or len(places) != len(spectra.lines):
        contents[SPECTRA] = lines_text(spectra, places)
    kept = ""
    if any(line.drawdown in anew for line in drawn.lines):
        kept = name_of_copy(folder, DRAWDOWNS)
        contents[kept] = settled(folder, DRAWDOWNS).read_bytes()
    if contents:
        write_files(folder, contents)
    return Planned(
        added=tuple(new),
        taken_out=tuple(out),
        measured=tuple(s.drawdown for s in plan.steps if s.drawdown in measured),
        kept=kept,
    )


def told(done: Planned) -> list[str]:
    """What became of the shop's files, in words."""
    lines = [f"drawdowns.csv: {len(done.added)} planned drawdowns wait for their readings"]
    if done.measured:
        lines.append(f"measured already, and left as they are: {listed(done.measured)}")
    if done.taken_out:
        lines.append(f"never measured, and taken out: {listed(done.taken_out)}")
    if done.kept:
        lines.append(f"the old drawdowns.csv is kept as {done.kept}")
    return lines


def waiting_in(folder: str | Path) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of a shop's `drawdowns.csv` that wait for a reading, and all that have one.

    Raises `InputError` with the faults of the two files.
    """
    drawn, _, measured = _two_files(Path(folder))
    names = dict.fromkeys(line.drawdown for line in drawn.lines)
    return tuple(name for name in names if name not in measured), tuple(measured)


def _two_files(folder: Path) -> tuple[Lines, Lines, dict[str, None]]:
    """What was drawn down, the spectra, and the names that have a reading."""
    drawn = drawn_in(folder)
    spectra = _lines_of(folder, SPECTRA, ("drawdown", *(f"{nm:.0f}" for nm in GRID_NM)))
    measured = dict.fromkeys(line.drawdown for line in spectra.lines if not line.waiting)
    return drawn, spectra, measured


def drawn_in(folder: Path) -> Lines:
    """The rows of `drawdowns.csv` as they stand; none where there is no such file.

    Raises `InputError` with the faults of its rows and columns.
    """
    return _lines_of(folder, DRAWDOWNS, ("drawdown", "ink", "percent", "lot"))


def _lines_of(folder: Path, name: str, columns: Sequence[str]) -> Lines:
    """The table, or an empty one of these columns where there is no such file."""
    path = settled(folder, name)
    there = path.is_file() and path.stat().st_size > 0
    spectral = name == SPECTRA
    table = parse_table(
        read_text(path, name) if there else csv_text(columns, []),
        name,
        required=("drawdown",) if spectral else ("drawdown", "ink"),
        numeric=() if spectral else AMOUNTS,
        text=() if spectral else ("lot", "ground"),
        spectral=spectral,
    )
    faults = list(table.faults)
    if not spectral and not set(AMOUNTS) & set(table.columns):
        faults.append(f"{name}: no column 'percent' or 'grams'; name the amounts one of these")
    if faults:
        raise InputError(faults)
    waiting = {row.where for row in without_waiting(table)[1]} if spectral else ()
    return Lines(
        table=table,
        lines=[
            _Line(
                drawdown=normalize("NFC", row.cells["drawdown"]),
                cells=cells,
                ink=normalize("NFC", row.cells.get("ink", "")),
                film=bool(row.cells.get("ground")),
                waiting=row.where in waiting,
            )
            for row, (_, cells, _) in zip(table.rows, laid(table.grid), strict=True)
        ],
        mark=encoding_mark(path) if there else "",
    )


def _taken_out(
    drawn: Lines, stays: Collection[str], foreign: Collection[str], new_ink: str | None
) -> dict[str, set[str]]:
    """The drawdowns that leave the shop, with the inks they hold."""
    inks: dict[str, set[str]] = {}
    films = {line.drawdown for line in drawn.lines if line.film}
    for line in drawn.lines:
        inks.setdefault(line.drawdown, set()).add(line.ink)
    return {
        name: held
        for name, held in inks.items()
        if name not in stays
        and name not in films
        and (held.isdisjoint(foreign) if new_ink is None else new_ink in held)
    }


def _rows(step: Step, drawn: Lines, plan: Plan) -> Iterable[list[str]]:
    """The rows of one drawdown; percents are grams of a 100 g batch too."""
    table = drawn.table
    unit = next(unit for unit in AMOUNTS if unit in table.columns)
    lots = {ink.name: ink.lot for ink in plan.inks}
    for ink, percent in zip(step.inks, step.percents, strict=True):
        amount = f"{percent:.4f}".replace(".", table.decimal)
        cells = {"drawdown": step.drawdown, "ink": ink, unit: amount, "lot": lots[ink]}
        yield _laid(table, cells)


def _laid(table: Table, cells: Mapping[str, str]) -> list[str]:
    return [cells.get(column, "") for column in table.columns]


def lines_text(file: Lines, rows: Iterable[Sequence[str]]) -> str:
    """The table as text, separated and marked as it was."""
    grid = file.table.grid
    return file.mark + csv_text(grid.head, rows, grid.separator)
