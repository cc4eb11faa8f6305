"""What the balance showed of a drawdown plan: a sheet to fill in, and `drawdowns.csv` after it.

The sheet holds the plan's own weights, so it can be read without the plan.  It is written
as `drawdowns.csv` is, with its separator and its decimal mark.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from matchkit.errors import InputError, did_you_mean, raise_any
from matchkit.files.lock import locked
from matchkit.files.readings import listed
from matchkit.files.recipe import AMOUNTS
from matchkit.files.shop import read_inks
from matchkit.files.shop_tables import DRAWDOWNS, ShopLine, ShopTable, drawn_in
from matchkit.files.tables import FileTable, Row, amount, read_table, wording
from matchkit.files.text import label
from matchkit.files.write import csv_text, write_file, write_keeping
from matchkit.inks.contents import LETDOWN, Contents, Weighing, contents, weighings
from matchkit.inks.drawdowns import Plan
from matchkit.inks.shop import Ink

COLUMNS = ("no", "drawdown", "pot", "what", "leave_g", "add_g", "showed_g")
LEFT = "left in the pot"


@dataclass(frozen=True, kw_only=True)
class Change:
    """An ink of a drawdown whose percent is another than `drawdowns.csv` has."""

    drawdown: str
    ink: str
    before: str  # as it stands there; empty: not there
    percent: float


@dataclass(frozen=True, kw_only=True)
class Reweighed:
    """`drawdowns.csv` as the weights make it; nothing is written yet."""

    contents: Contents
    changes: tuple[Change, ...]
    text: str
    before: tuple[ShopLine, ...]  # the rows that were read

    @property
    def changed(self) -> tuple[str, ...]:
        """The drawdowns that change."""
        return tuple(dict.fromkeys(each.drawdown for each in self.changes))

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit plan --weighed --json`` prints it."""
        drawdowns = [
            {
                "drawdown": name,
                "inks": [
                    {"ink": ink, "percent": round(percent, 6)}
                    for ink, percent in self.contents.percents(name).items()
                ],
            }
            for name in self.contents.held
        ]
        notes = list(self.contents.notes)
        return {"drawdowns": drawdowns, "changed": list(self.changed), "notes": notes}


def check_new(path: str | Path) -> None:
    """Raises `InputError` if a sheet of that name is there: it may hold readings."""
    if Path(path).exists():
        raise InputError(f"{label(Path(path))}: is there already; give another name")


def write_weigh_sheet(path: str | Path, plan: Plan, folder: str | Path) -> None:
    """A new CSV with a row for every weight of a plan, and an empty column to fill in.

    Raises `InputError` if the file is there.
    """
    check_new(path)
    table = drawn_in(Path(folder)).table
    rows = []
    for no, each in enumerate(weighings(plan), start=1):
        planned = f"{each.planned_g:.10g}".replace(".", table.decimal)
        leave, add = (planned, "") if each.left else ("", planned)
        rows.append([no, each.made, each.pot, each.what or LEFT, leave, add, ""])
    write_file(Path(path), csv_text(COLUMNS, rows, table.grid.separator))


def weighed(folder: str | Path, readings: str | Path | Sequence[Weighing]) -> Reweighed:
    """Follow the pots of weights, and put their percents in place of the plan's.

    The `readings` are a filled-in sheet, or weights in the order of the work.  Only their
    drawdowns change, and nothing is written: `put_weighed` does that.  Raises `InputError`
    with every fault of the sheet, or for what can't have been.
    """
    inks = {ink.name: ink for ink in read_inks(folder)}
    drawn, where = drawn_in(Path(folder)), ""
    if isinstance(readings, str | Path):
        where = f"{label(Path(readings))}: "
        readings = _readings(Path(readings), {line.drawdown for line in drawn.lines})
    found = contents(readings, inks)
    faults = [fault for name in found.held if (fault := _unlike(name, found, drawn, inks))]
    raise_any([where + fault for fault in faults])
    changes, rows = _rows(found, drawn, inks)
    before = tuple(drawn.lines)
    return Reweighed(contents=found, changes=tuple(changes), text=drawn.text(rows), before=before)


def put_weighed(folder: str | Path, found: Reweighed) -> str:
    """Write the new `drawdowns.csv`; gives the name of the copy that keeps the old one.

    Nothing is written, and the name is empty, where nothing changes.  InputError where
    somebody else changed `drawdowns.csv` since it was read.
    """
    if not found.changes:
        return ""
    with locked(folder):
        if tuple(drawn_in(folder).lines) != found.before:
            raise InputError(f"{DRAWDOWNS}: was changed meanwhile; do it again")
        return write_keeping(folder, [DRAWDOWNS], {DRAWDOWNS: found.text})


def _readings(sheet: Path, drawn: set[str]) -> list[Weighing]:
    """The rows of the sheet in the order of the work."""
    table = read_table(
        sheet,
        required=("drawdown", "what", "showed_g"),
        numeric=("no", "leave_g", "add_g", "showed_g"),
        text=("pot",),
        limits=("leave_g", "add_g"),
    )
    faults = list(table.faults)
    groups: dict[str, list[tuple[float, Weighing]]] = defaultdict(list)
    for row in table.rows:
        no, each = _reading(row, table, faults)
        groups[each.made].append((no, each))
    pots = {
        made: next((each.pot for _, each in group if each.pot), "")
        for made, group in groups.items()
    }
    for made, pot in pots.items():
        if made and pot != LETDOWN and made not in drawn:
            where = groups[made][0][1].where
            faults.append(
                f"{where}{made!r} is not in drawdowns.csv; put the plan in first"
                f" (`matchkit plan --write`){did_you_mean(made, drawn)}"
            )
    raise_any(faults)
    # A spreadsheet may have sorted the rows: the first number of a drawdown says when it was made.
    order = sorted(groups, key=lambda made: min(no for no, _ in groups[made]))
    return [
        replace(each, pot=pots[made] or f"of {made}") for made in order for _, each in groups[made]
    ]


def _reading(row: Row, table: FileTable, faults: list[str]) -> tuple[float, Weighing]:
    def grams(column: str) -> float | None:
        return amount(row, column, decimal=table.decimal, faults=faults)

    no, leave_g, add_g, showed_g = map(grams, ("no", "leave_g", "add_g", "showed_g"))
    if leave_g is not None and add_g is not None:
        faults.append(f"{row.where}: leave_g and add_g are both filled in; a row is one weight")
    each = Weighing(
        made=wording(row, "drawdown", faults=faults, required=True),
        pot=wording(row, "pot", faults=faults),
        what="" if leave_g is not None else wording(row, "what", faults=faults, required=True),
        planned_g=add_g if leave_g is None else leave_g,
        showed_g=showed_g,
        left=leave_g is not None,
        where=f"{row.where}: ",
    )
    return float("inf") if no is None else no, each


def _unlike(name: str, found: Contents, drawn: ShopTable, inks: Mapping[str, Ink]) -> str:
    """Why these weights can't be those of the drawdown, or nothing."""
    held = found.held[name]
    there = [line.ink for line in drawn.lines if line.drawdown == name]
    if not there:
        return f"{name!r} is not in drawdowns.csv; put the plan in first"
    strange = [ink for ink in there if ink not in held]
    if strange:
        return (
            f"{name!r}: drawdowns.csv has {listed(strange)} in it and these weights have not; add a"
            " row for what was weighed, or take the drawdown out of the sheet"
        )
    series = dict.fromkeys(inks[ink].series for ink in held)
    if len(series) > 1:
        return f"{name!r}: inks of different series in one pot: {listed([*held])}; never mixed"
    return ""


def _rows(
    found: Contents, drawn: ShopTable, inks: Mapping[str, Ink]
) -> tuple[list[Change], list[Sequence[str]]]:
    """What changes, and all rows of `drawdowns.csv`; an ink not foreseen gets a row."""
    table = drawn.table
    last = {line.drawdown: i for i, line in enumerate(drawn.lines)}
    changes: list[Change] = []
    rows: list[Sequence[str]] = []
    for i, line in enumerate(drawn.lines):
        if line.drawdown not in found.held:
            rows.append(line.cells)
            continue
        percents = found.percents(line.drawdown)
        there = {each.ink for each in drawn.lines if each.drawdown == line.drawdown}
        new = [ink for ink in percents if ink not in there] if i == last[line.drawdown] else []
        for ink in [line.ink, *new]:
            cells = dict(zip(table.columns, line.cells, strict=True))
            before = cells[drawn.unit] if ink == line.ink else ""
            amount_text = drawn.number(percents[ink])
            if before != amount_text:
                changes.append(
                    Change(drawdown=line.drawdown, ink=ink, before=before, percent=percents[ink])
                )
            cells |= {other: "" for other in AMOUNTS if other in cells} | {drawn.unit: amount_text}
            if ink != line.ink:
                cells |= {"ink": ink} | ({"lot": inks[ink].lot} if "lot" in cells else {})
            rows.append(list(cells.values()))
    return changes, rows
