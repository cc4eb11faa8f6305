"""Recipe files: CSV ``ink,grams`` or ``ink,percent``, one row for each ink.

A recipe may name a mix of the shelf as if it were an ink.  Here, and nowhere else, such a
mix is taken apart into what it holds.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from matchkit.errors import InputError
from matchkit.files.amounts import quoted
from matchkit.files.mixtures import AMOUNTS, Mixture, mixtures
from matchkit.files.tables import read_table
from matchkit.files.text import Findings, label
from matchkit.inks.recipe import taken_apart
from matchkit.inks.shop import Mix


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

    Parameters
    ----------
    path : path
        CSV with the columns ``ink`` and one of ``grams`` and ``percent`` (by mass,
        sum 100 +- 0.1).
    inks : names, or a mapping of names to series
        All inks that may occur, those of one series together.  None: any.
    mixes : iterable of Mix
        Mixes that may be named beside the inks; they are taken apart.
    grams_only : bool
        Refuse percents, where weights are needed.

    Raises
    ------
    InputError
        With every fault of the file.
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
    if found.faults:
        raise InputError(found.faults)
    mixture = read[0]
    amounts, notes = in_inks(mixture, series, mixes, found)
    if found.faults:
        raise InputError(found.faults)
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
