"""Recipes and mixtures that a person wrote."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TypeVar

from matchkit.errors import InputError, did_you_mean, nearest, raise_any
from matchkit.files.tables import FileTable, Row, amount, read_table, wording
from matchkit.files.text import Findings, label, quoted
from matchkit.inks.recipe import taken_apart
from matchkit.inks.shop import Mix

T = TypeVar("T")

AMOUNTS = ("percent", "grams")  # percent by mass
SUM_TOLERANCE = 0.1 + 1e-9  # percent; three shares rounded to 0.1 may miss 100 by nearly this
FAR = 10.0  # percent: a sum that no rounding and hardly a slip explains
MOST = 1e12  # grams: a million tons, and no slip of the keyboard that sums overflow
HINTS = 20  # comparing names takes time, and nobody reads on after so many faults


@dataclass(frozen=True, kw_only=True)
class Mixture:
    """One mixture as written; inks of amount 0 are left out, after a fault all of them."""

    name: str  # empty where a file holds one mixture only
    inks: tuple[str, ...]
    amounts: tuple[float, ...]
    unit: str  # one of AMOUNTS; empty after a fault
    lots: tuple[str, ...]  # one per ink, or empty
    rows: tuple[Row, ...]
    ground: str = ""  # of a drawdown that lets it show
    thickness_um: float | None = None

    @property
    def fractions(self) -> tuple[float, ...]:
        """By mass, sum 1."""
        total = sum(self.amounts)
        return tuple(value / total for value in self.amounts)


def mixtures(
    table: FileTable,
    *,
    by: str = "",
    either: bool = False,
    series: Mapping[str, str] | None,
    found: Findings,
) -> list[Mixture]:
    """The mixtures of a table, in order of their first rows.

    `table` has a column ``ink``, one of `AMOUNTS`, and perhaps ``lot``; `by` is the column that
    names the mixture a row belongs to (empty: all rows are one).  With `either` both columns of
    amounts may be there, where each mixture keeps to one of them.  `series` is that of every
    known ink, or None: any ink will do.  InputError if there is no column of amounts, or two
    where one is wanted.
    """
    both = either and set(AMOUNTS) <= set(table.columns)
    unit = "" if both else _unit(table)
    groups: dict[str, list[Row]] = {}
    for row in table.rows:
        name = wording(row, by, faults=found.faults, required=True) if by else ""
        groups.setdefault(name, []).append(row)
    return [
        _mixture(name, rows, unit or _unit_of(name, rows, found), table.decimal, series, found)
        for name, rows in groups.items()
    ]


def _unit(table: FileTable) -> str:
    units = [unit for unit in AMOUNTS if unit in table.columns]
    if len(units) == 1:
        return units[0]
    if units:
        raise InputError(f"{table.file}: columns 'percent' and 'grams' are both there; keep one")
    near = nearest("percent", table.columns) or nearest("grams", table.columns)
    hint = f"is {quoted(near)} meant? Rename it" if near else "name the amounts one of these"
    raise InputError(f"{table.file}: no column 'percent' or 'grams'; {hint}")


def _unit_of(name: str, rows: list[Row], found: Findings) -> str:
    """The one column of the two in which a mixture's amounts stand; "" after a fault."""
    filled = {unit: [row for row in rows if row.cells.get(unit)] for unit in AMOUNTS}
    used = [unit for unit in AMOUNTS if filled[unit]]
    if len(used) < 2:
        return used[0] if used else AMOUNTS[0]
    places = " and ".join(
        f"{unit} in row {filled[unit][0].where.rpartition(' ')[2]}" for unit in AMOUNTS
    )
    found.faults.append(
        f"{rows[0].where}: {quoted(name)}: {places}; write all its amounts in one of the two"
        " columns and leave the other empty"
    )
    return ""


def _mixture(
    name: str,
    rows: list[Row],
    unit: str,
    decimal: str,
    series: Mapping[str, str] | None,
    found: Findings,
) -> Mixture:
    before = len(found.faults)
    values = [
        amount(row, unit, decimal=decimal, faults=found.faults, required=True) if unit else None
        for row in rows
    ]
    inks = [wording(row, "ink", faults=found.faults, required=True) for row in rows]
    lots = [wording(row, "lot", faults=found.faults) for row in rows]
    _check_names(inks, rows, series, found)
    amounts = [0.0 if value is None else value for value in values]
    sound = bool(unit) and len(found.faults) == before and not any(row.broken for row in rows)
    if sound:
        _check_sum(amounts, unit, name, rows[0], found)
    used = [i for i, value in enumerate(amounts) if sound and value > 0]
    return Mixture(
        name=name,
        inks=tuple(inks[i] for i in used),
        amounts=tuple(amounts[i] for i in used),
        unit=unit,
        lots=tuple(lots[i] for i in used) if any(lots) else (),
        rows=tuple(rows),
    )


def _check_names(
    inks: list[str], rows: list[Row], series: Mapping[str, str] | None, found: Findings
) -> None:
    """Every ink known, none twice, all of one series."""
    seen: dict[str, Row] = {}
    for ink, row in zip(inks, rows, strict=True):
        if ink and ink in seen:
            first = seen[ink].where.rpartition(" ")[2]
            found.faults.append(
                f"{row.where}: ink {quoted(ink)} is already in row {first}; one row for each ink"
            )
        elif ink and series is not None and ink not in series:
            hint = hint_at(ink, series, found)
            found.faults.append(f"{row.where}: ink {quoted(ink)} is not in the shop's inks{hint}")
        seen.setdefault(ink, row)
    known = {series[ink]: ink for ink in inks if ink in series} if series else {}
    if len(known) > 1:
        listed = ", ".join(
            f"{quoted(ink)} ({group or 'no series'})" for group, ink in known.items()
        )
        found.faults.append(
            f"{rows[0].where}: inks of different series in one mixture: {listed};"
            " series are never mixed"
        )


def _check_sum(amounts: list[float], unit: str, name: str, row: Row, found: Findings) -> None:
    total = sum(amounts)
    what = f"{quoted(name)}: " if name else ""
    if not total > 0:
        found.faults.append(f"{row.where}: {what}{unit} sum to 0; weigh something")
    elif not total < MOST:
        found.faults.append(
            f"{row.where}: {what}{unit} sum to {total:.3g}, more than any batch; "
            "is a decimal point missing?"
        )
    elif unit == "percent" and abs(total - 100) > SUM_TOLERANCE:
        hint = "; if these are grams, put them in a column 'grams'"
        found.faults.append(
            f"{row.where}: {what}percents sum to {total:.6g}; expected 100 +- 0.1"
            + (hint if abs(total - 100) > FAR else "")
        )


def agreed(stated: Iterable[T | None], key: str, mixture: Mixture, found: Findings) -> T | None:
    """What any row of a mixture may state, all alike; None where no row does."""
    values = list(dict.fromkeys(value for value in stated if value is not None))
    if len(values) > 1:
        told = " and ".join(f"{v:g}" if isinstance(v, float) else str(v) for v in values)
        found.faults.append(
            f"{mixture.rows[0].where}: {key} of {quoted(mixture.name)} is {told}; state it once"
        )
    return values[0] if values else None


def hint_at(name: str, names: Iterable[str], found: Findings) -> str:
    """`did_you_mean`, until there are faults enough."""
    return did_you_mean(name, islice(names, 1000)) if len(found.faults) < HINTS else ""


@dataclass(frozen=True, kw_only=True)
class WrittenRecipe:
    """A recipe as it was written down; inks of amount 0 are left out.

    `inks` with their `fractions` and `grams` are what is in it, every mix taken apart, of
    which `notes` tell, a line each.  `poured` and `shares` are what is weighed, with the
    mixes by their own names.
    """

    name: str  # of the file, without suffix
    inks: tuple[str, ...]
    fractions: tuple[float, ...]  # by mass, sum 1
    grams: tuple[float, ...] | None  # None: only percents are known
    poured: tuple[str, ...]
    shares: tuple[float, ...]  # by mass, sum 1
    notes: tuple[str, ...] = ()


def read_recipe(
    path: str | Path,
    inks: Iterable[str] | None = None,
    *,
    mixes: Iterable[Mix] = (),
    grams_only: bool = False,
) -> WrittenRecipe:
    """The recipe in a file.

    The file is CSV with the columns ``ink`` and one of ``grams`` and ``percent`` (by mass, sum
    100 +- 0.1).  `inks` are all that may occur, names or a mapping of names to series, those of
    one series together (None: any); `mixes` may be named beside them and are taken apart.  With
    `grams_only` percents are refused.  InputError with every fault of the file.
    """
    path, mixes = Path(path), tuple(mixes)
    table = read_table(path, required=("ink",), numeric=AMOUNTS)
    found = Findings(file=label(path), faults=list(table.faults))
    if grams_only and "percent" in table.columns and "grams" not in table.columns:
        raise InputError(f"{found.file}: percents, but weights are needed here; write ink,grams")
    series = None
    if inks is not None:
        series = dict(inks) if isinstance(inks, Mapping) else dict.fromkeys(inks, "")
    read = mixtures(
        table, series=None if series is None else series_with(series, mixes), found=found
    )
    if not table.rows and not found.faults:
        found.faults.append(f"{found.file}: no inks under the header; write a row for each")
    raise_any(found.faults)
    mixture = read[0]
    amounts, notes = in_inks(mixture, series, mixes, found)
    raise_any(found.faults)
    total = sum(amounts.values())
    return WrittenRecipe(
        name=label(Path(path.stem)),
        inks=tuple(amounts),
        fractions=tuple(amount / total for amount in amounts.values()),
        grams=tuple(amounts.values()) if mixture.unit == "grams" else None,
        poured=mixture.inks,
        shares=mixture.fractions,
        notes=notes,
    )


def series_with(series: Mapping[str, str], mixes: Iterable[Mix]) -> dict[str, str]:
    """The series of every ink and of every mix; a mix is of the series of its inks."""
    of_mixes = {
        mix.name: next((series[ink] for ink in mix.inks if ink in series), "") for mix in mixes
    }
    return {**of_mixes, **series}


def in_inks(
    mixture: Mixture, series: Mapping[str, str] | None, mixes: Iterable[Mix], found: Findings
) -> tuple[dict[str, float], tuple[str, ...]]:
    """The amounts of a mixture by ink, and a line for each mix that was taken apart.

    A mix with an ink that `series` does not have is a fault.
    """
    named = [mix for mix in mixes if mix.name in mixture.inks]
    found.faults.extend(
        f"{found.file}: {quoted(mix.name)} is a mix that holds {quoted(ink)}, of which no drawdown"
        " was fitted; draw it down and measure it, or write another ink"
        for mix in named
        for ink in mix.inks
        if series is not None and ink not in series
    )
    amounts = dict(zip(mixture.inks, mixture.amounts, strict=True))
    return taken_apart(amounts, named), tuple(map(mix_note, named))


def mix_note(mix: Mix) -> str:
    """What is said where a mix counts as the inks in it."""
    parts = ", ".join(
        f"{100 * fraction:.3g} % {ink}"
        for ink, fraction in zip(mix.inks, mix.fractions, strict=True)
    )
    aside = "" if mix.R is None else "; its own reading is not counted"
    return f"{mix.name} is a mix: taken as {parts}{aside}"
