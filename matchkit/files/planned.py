"""A drawdown plan into a shop: its rows in `drawdowns.csv`, and the places in `spectra.csv`.

The shop is a new folder, or one in which work has begun: what has a reading stays as it
is, and so does every column that is not ours.
"""

import json
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from matchkit.errors import InputError
from matchkit.files import lock, shop_tables, write
from matchkit.files.text import label
from matchkit.inks.drawdowns import Plan, Step, numbered
from matchkit.inks.shop import GEOMETRIES, Ink, Shop

INK_NUMBERS = ("density_g_per_ml", "cost_per_kg", "stock_g", "max_percent")
INK_COLUMNS = ("ink", "role", "series", *INK_NUMBERS, "lot", "lot_spread_percent", "note")

# Rows to overwrite, so that every column has an example.
EXAMPLES = (
    Ink(name="White", role="white", density_g_per_ml=1.4),
    Ink(name="Black", role="black", density_g_per_ml=1.2),
    Ink(name="Clear", role="clear", density_g_per_ml=1.1),
    Ink(name="Red", role="colour", density_g_per_ml=1.2),
)

# An empty geometry or condition is left for the shop to state: it can't be guessed.
NEW_SHOP = Shop(
    name="Our shop", geometry="", condition="", observer=10, lights=("D65", "A", "FL11")
)


@dataclass(frozen=True, kw_only=True)
class Planned:
    """What became of `drawdowns.csv`; names of drawdowns."""

    added: tuple[str, ...]  # planned, and to be measured
    taken_out: tuple[str, ...]  # never measured, and planned no more
    measured: tuple[str, ...]  # planned again, but there with a reading: left as they are
    kept: str  # the file that holds the old rows; empty: nothing was lost


def write_new_shop(folder: str | Path, plan: Plan, shop: Shop) -> tuple[str, ...]:
    """A new shop folder with the inks and drawdowns of a plan, whole or not at all.

    `shop` says how it measures and looks.  Gives the names of the files.  Raises
    `InputError` where something of that name is there.
    """
    if Path(folder).exists():
        raise InputError(f"{folder}: is there already; name a new folder")
    files = shop_files(plan, shop)
    write.write_files(folder, files)
    return tuple(files)


def write_plan(
    folder: str | Path, plan: Plan, inks: Sequence[Ink], *, new_ink: str | None = None
) -> Planned:
    """Put the drawdowns of a plan into a shop's files; both are written, or neither.

    A drawdown that was never measured and is not in the plan goes out if it holds the
    `new_ink`; without one, if it holds none of the shop's `inks` that are of another series.

    InputError with the faults of the two files; then nothing was written.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise InputError(f"{label(folder)}: not found; a shop folder is expected")
    with lock.locked(folder):
        return _put_plan(folder, plan, inks, new_ink)


def _put_plan(folder: Path, plan: Plan, inks: Sequence[Ink], new_ink: str | None) -> Planned:
    drawn, spectra, measured = _two_files(folder)
    drawn = drawn.with_column(shop_tables.NUMBER)
    plan = numbered(plan, drawn.by_number)
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
    places += [spectra.row({"drawdown": name}) for name in new if name not in waiting]
    contents: dict[str, str | bytes] = {}
    if anew:
        contents[shop_tables.DRAWDOWNS] = drawn.text(rows)
    if anew or len(places) != len(spectra.lines):
        contents[shop_tables.SPECTRA] = spectra.text(places)
    kept = ""
    if any(line.drawdown in anew for line in drawn.lines):
        kept = write.write_keeping(folder, [shop_tables.DRAWDOWNS], contents)
    elif contents:
        write.write_files(folder, contents)
    return Planned(
        added=tuple(new),
        taken_out=tuple(out),
        measured=tuple(s.drawdown for s in plan.steps if s.drawdown in measured),
        kept=kept,
    )


def waiting_in(folder: str | Path) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of a shop's `drawdowns.csv` that wait for a reading, and all that have one.

    Raises `InputError` with the faults of the two files.
    """
    drawn, _, measured = _two_files(Path(folder))
    names = dict.fromkeys(line.drawdown for line in drawn.lines)
    return tuple(name for name in names if name not in measured), tuple(measured)


def _two_files(
    folder: Path,
) -> tuple[shop_tables.ShopTable, shop_tables.ShopTable, dict[str, None]]:
    """What was drawn down, the spectra, and the names that have a reading in either file."""
    drawn, spectra = shop_tables.drawn_in(folder), shop_tables.spectra_in(folder)
    names = {line.drawdown for line in drawn.lines}
    films = [
        line
        for line in shop_tables.spectra_in(folder, shop_tables.FILM_SPECTRA).lines
        if line.drawdown in names
    ]
    read = [*spectra.lines, *films]
    measured = dict.fromkeys(line.drawdown for line in read if not line.waiting)
    return drawn, spectra, measured


def _taken_out(
    drawn: shop_tables.ShopTable,
    stays: Collection[str],
    foreign: Collection[str],
    new_ink: str | None,
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


def _rows(step: Step, drawn: shop_tables.ShopTable, plan: Plan) -> Iterable[list[str]]:
    """The rows of one drawdown."""
    lots = {ink.name: ink.lot for ink in plan.inks}
    for ink, percent in zip(step.inks, step.percents, strict=True):
        amount = drawn.number(percent)
        yield drawn.row(
            {
                "drawdown": step.drawdown,
                "ink": ink,
                drawn.unit: amount,
                "lot": lots[ink],
                shop_tables.NUMBER: str(step.number),
            }
        )


def shop_files(plan: Plan, shop: Shop = NEW_SHOP) -> dict[str, str]:
    """The files of a shop folder to fill in: file name to text.

    Inks, drawdowns and balance are those of the plan; spectra wait to be measured.
    """
    lots = {ink.name: ink.lot for ink in plan.inks}
    drawn = (
        (step.drawdown, ink, f"{percent:.4f}", lots[ink], step.number)
        for step in plan.steps
        for ink, percent in zip(step.inks, step.percents, strict=True)
    )
    places = ([step.drawdown, *[""] * len(shop_tables.WAVES)] for step in plan.steps)
    return {
        "shop.toml": _settings(plan, shop),
        "inks.csv": write.csv_text(INK_COLUMNS, map(_ink_row, plan.inks)),
        shop_tables.DRAWDOWNS: write.csv_text(
            ("drawdown", "ink", "percent", "lot", shop_tables.NUMBER), drawn
        ),
        shop_tables.SPECTRA: write.csv_text(("drawdown", *shop_tables.WAVES), places),
    }


def _ink_row(ink: Ink) -> list[str]:
    numbers = (ink.density_g_per_ml, ink.cost_per_kg, ink.stock_g)
    limit = "" if ink.max_percent == 100 else _plain(ink.max_percent)
    cells = ("" if number is None else _plain(number) for number in numbers)
    spread = _plain(ink.lot_spread_percent)
    return [ink.name, ink.role, ink.series, *cells, limit, ink.lot, spread, ink.note]


def _plain(number: float) -> str:
    return f"{number:.10g}"


def _settings(plan: Plan, shop: Shop) -> str:
    choices = " or ".join(map(_quoted, GEOMETRIES))
    return f"""\
name = {_quoted(shop.name)}

# How every spectrum in this folder was measured: the instrument's settings say it.
[measurement]
# write {choices}
geometry = {_quoted(shop.geometry)}
# sphere: write "UV included", "UV excluded" or "unknown"; 45/0: "M0" to "M3"
condition = {_quoted(shop.condition)}

[viewing]
observer = {shop.observer}  # degrees: 10 or 2
lights = [{", ".join(map(_quoted, shop.lights))}]  # the first is the one that is matched

[tolerance]
de00 = {shop.tolerance_de00:g}  # 1 tight, 2 commercial: common practice, no source

[balance]
resolution_g = {_plain(plan.resolution_g)}
"""


def _quoted(text: str) -> str:
    """A TOML basic string; JSON's rules for quotes and escapes are a part of TOML's."""
    return json.dumps(text, ensure_ascii=False)
