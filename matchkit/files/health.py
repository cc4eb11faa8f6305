"""``instrument.csv``: what a white tile and a kept drawdown have read, day by day.

Columns: ``date,kind,name,400,...``; kind is ``tile`` or ``drawdown``.  Rows of one day
and one name are repeats.  The first day of a name is what later days are held against.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date as calendar
from pathlib import Path

from matchkit.arrays import Array
from matchkit.colorimetry.grid import GRID_NM, average, check_reflectance
from matchkit.errors import raise_any
from matchkit.files import lock, shop_tables, write
from matchkit.files.readings import name_fault
from matchkit.files.tables import Row
from matchkit.files.text import Findings, quoted
from matchkit.fitting.instrument import StandardDrift, diagnosis, drift
from matchkit.inks.shop import Shop

FILE = "instrument.csv"
KINDS = ("tile", "drawdown")
AGED_DAYS = 30  # a check older than this says little about today; common practice, no source


@dataclass(frozen=True, kw_only=True)
class Kept:
    """One reading of a standard."""

    date: str  # ISO, 2026-03-02
    kind: str  # one of KINDS
    name: str
    R: Array  # (31,)


@dataclass(frozen=True, kw_only=True)
class History:
    """One standard over time, against its first day."""

    kind: str
    name: str
    dates: tuple[str, ...]
    drifts: tuple[StandardDrift, ...]  # one a date; the first is 0


@dataclass(frozen=True, kw_only=True)
class Health:
    """How the instrument is: every standard's history, and one line of advice."""

    histories: tuple[History, ...]
    advice: str


def read_kept(folder: str | Path) -> list[Kept]:
    """All readings of a shop's ``instrument.csv``, by date; none if it is not there.

    Raises `InputError` with every fault of the file.
    """
    path = write.settled(Path(folder), FILE)
    if not path.exists():
        return []
    found = Findings(file=FILE)
    rows = shop_tables.spectral_rows(path, FILE, ("date", "kind", "name"), found)[1]
    kept = [_kept(row, R, found) for row, R in rows]
    raise_any(found.faults)
    return sorted(kept, key=lambda each: each.date)


def keep_reading(folder: str | Path, *, kind: str, name: str, readings: Array, date: str) -> None:
    """Add readings (n_readings, 31) of a standard to a shop's ``instrument.csv``.

    Raises `InputError` if they are not readings, or the file has faults; then nothing was
    written.
    """
    faults = [fault for R in readings for fault in check_reflectance(R, quoted(name))]
    if kind not in KINDS:
        faults.append(f"kind is {quoted(kind)}; write {' or '.join(KINDS)}")
    if fault := name_fault(name):
        faults.append(f"name {fault}")
    if fault := date_fault(date):
        faults.append(f"date {fault}")
    raise_any(faults)
    new = [Kept(date=date, kind=kind, name=name, R=R) for R in readings]
    columns = ["date", "kind", "name", *(f"{nm:.0f}" for nm in GRID_NM)]
    with lock.locked(folder):
        every = sorted([*read_kept(folder), *new], key=lambda each: each.date)
        rows = [[k.date, k.kind, k.name, *(f"{value:.6f}" for value in k.R)] for k in every]
        write.write_files(folder, {FILE: write.csv_text(columns, rows)})


def health(kept: Sequence[Kept], shop: Shop, today: str) -> Health:
    """StandardDrift of each standard from its first day, under the shop's first light.

    The advice is about the newest reading of each kind; `today` (ISO) tells if that is
    too long ago.
    """
    groups: dict[tuple[str, str], dict[str, list[Array]]] = {}
    for each in kept:
        days = groups.setdefault((each.kind, each.name), {})
        days.setdefault(each.date, []).append(each.R)
    histories = [_history(kind, name, days, shop) for (kind, name), days in groups.items()]
    histories.sort(key=lambda each: each.dates[-1])
    newest = {each.kind: each for each in histories}
    tile, drawdown = (newest.get(kind) for kind in KINDS)
    advice = diagnosis(_last(tile), _last(drawdown))
    if histories and all(len(each.dates) < 2 for each in newest.values()):
        advice = "first readings kept; read tile and drawdown again on a later day"
    last = max((each.dates[-1] for each in histories), default=today)
    age = (calendar.fromisoformat(today) - calendar.fromisoformat(last)).days
    if age > AGED_DAYS:
        advice = f"last looked at {age} days ago; read tile and drawdown again. Then: {advice}"
    return Health(histories=tuple(histories), advice=advice)


def _history(kind: str, name: str, days: dict[str, list[Array]], shop: Shop) -> History:
    dates = sorted(days)
    means = [average(days[day]) for day in dates]
    return History(
        kind=kind,
        name=name,
        dates=tuple(dates),
        drifts=tuple(drift(means[0], R, shop.lights[0], shop.observer) for R in means),
    )


def _last(history: History | None) -> StandardDrift | None:
    """The last drift, if there is a second day to see one."""
    return history.drifts[-1] if history and len(history.dates) > 1 else None


def _kept(row: Row, R: Array, found: Findings) -> Kept:
    cells = {key: row.cells[key] for key in ("date", "kind", "name")}
    kind = cells["kind"].casefold()
    if fault := date_fault(cells["date"]):
        found.faults.append(f"{row.where}: date {fault}")
    if kind not in KINDS:
        choice = " or ".join(KINDS)
        found.faults.append(f"{row.where}: kind is {quoted(cells['kind'])}; write {choice}")
    if fault := name_fault(cells["name"]):
        found.faults.append(f"{row.where}: name {fault}")
    return Kept(date=cells["date"], kind=kind, name=cells["name"], R=R)


def date_fault(text: str) -> str:
    """Why a text is no date, or an empty text."""
    try:
        calendar.fromisoformat(text)
    except ValueError:
        return f"is {quoted(text)}; write year-month-day, such as 2026-03-02"
    return "" if len(text) == 10 else f"is {quoted(text)}; write it with hyphens"
