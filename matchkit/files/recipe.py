"""Recipe files: CSV ``ink,grams`` or ``ink,percent``, one row for each ink."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from matchkit.faults import BadInput
from matchkit.files.mixtures import AMOUNTS, mixtures
from matchkit.files.tables import read_table
from matchkit.files.text import Findings, label

__all__ = ["WrittenRecipe", "read_recipe"]


@dataclass(frozen=True, kw_only=True)
class WrittenRecipe:
    """A recipe as it was written down; inks of amount 0 are left out."""

    name: str  # of the file, without suffix
    inks: tuple[str, ...]
    fractions: tuple[float, ...]  # by mass, sum 1
    grams: tuple[float, ...] | None  # None: only percents are known


def read_recipe(
    path: str | Path, inks: Iterable[str] | None = None, *, grams_only: bool = False
) -> WrittenRecipe:
    """The recipe in a file.

    Parameters
    ----------
    path : path
        CSV with the columns ``ink`` and one of ``grams`` and ``percent`` (by mass,
        sum 100 +- 0.1).
    inks : names
        All that may occur: inks and mixes.  None: any.
    grams_only : bool
        Refuse percents, where weights are needed.

    Raises
    ------
    BadInput
        With every fault of the file.
    """
    path = Path(path)
    table = read_table(path, required=("ink",), numeric=AMOUNTS)
    found = Findings(file=label(path), faults=list(table.faults))
    if grams_only and "percent" in table.columns and "grams" not in table.columns:
        raise BadInput(f"{found.file}: percents, but weights are needed here; write ink,grams")
    series = None if inks is None else dict.fromkeys(inks, "")
    read = mixtures(table, series=series, found=found)
    if not table.rows and not found.faults:
        found.faults.append(f"{found.file}: no inks under the header; write a row for each")
    if found.faults:
        raise BadInput(found.faults)
    mixture = read[0]
    return WrittenRecipe(
        name=label(Path(path.stem)),
        inks=mixture.inks,
        fractions=mixture.fractions,
        grams=mixture.amounts if mixture.unit == "grams" else None,
    )
