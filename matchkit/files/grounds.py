"""``grounds.csv``, and the columns of ``drawdowns.csv`` that tell of films over a ground.

Both are for shops that want to know how a print looks: a shop whose drawdowns all hide
has neither.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import average
from matchkit.errors import did_you_mean
from matchkit.files.amounts import quoted
from matchkit.files.mixtures import Mixture, agreed
from matchkit.files.shop_spectra import spectral_rows
from matchkit.files.tables import Row, Table, amount, wording
from matchkit.files.text import Findings
from matchkit.inks.recipe import density_g_per_ml
from matchkit.inks.shop import Ground, Ink
from matchkit.optics.film import SURFACES

Spectrum = NDArray[np.float64]  # (n_wl,)

FILE = "grounds.csv"
FILM_NUMBERS = ("thickness_um", "g_per_m2")
THICKNESS_UM = (1.0, 2000.0)  # a film of ink, not a mistaken unit


def read_grounds(path: Path | None, found: Findings) -> tuple[Ground, ...]:
    """The grounds a shop has measured bare; repeat readings of one name are averaged.

    Columns `ground`, perhaps `surface` (rough or smooth), and wavelengths.  Row faults go
    to `found`; InputError where nothing can be read.
    """
    if path is None:
        return ()
    readings: dict[str, list[tuple[Row, Spectrum]]] = {}
    for row, R in spectral_rows(path, FILE, ("ground",), found, text=("surface",))[1]:
        name = wording(row, "ground", faults=found.faults, required=True)
        readings.setdefault(name, []).append((row, R))
    return tuple(
        Ground(
            name=name,
            R=average([R for _, R in each]),
            surface=_surface(name, [row for row, _ in each], found),
        )
        for name, each in readings.items()
    )


def _surface(name: str, rows: Sequence[Row], found: Findings) -> str:
    """rough unless a row says otherwise; all rows of a ground say the same."""
    stated = {wording(row, "surface", faults=found.faults).casefold() for row in rows} - {""}
    unknown = stated - set(SURFACES)
    if unknown:
        found.faults.append(
            f"{rows[0].where}: surface of {quoted(name)} is {quoted(sorted(unknown)[0])}; write "
            "rough (cloth, uncoated board) or smooth (coated card, cured ink)"
        )
    elif len(stated) > 1:
        found.faults.append(
            f"{rows[0].where}: {quoted(name)} is rough and smooth; state it once"
        )  # fmt: skip
    return "smooth" if stated == {"smooth"} else "rough"


def with_films(
    drawn: Sequence[Mixture], table: Table, inks: Mapping[str, Ink] | None, found: Findings
) -> list[Mixture]:
    """The drawdowns of a table with ground and thickness, where they are films."""
    return [_with_film(mixture, table, inks, found) for mixture in drawn]


def _with_film(
    mixture: Mixture, table: Table, inks: Mapping[str, Ink] | None, found: Findings
) -> Mixture:
    """Ground and thickness belong to the drawdown: any of its rows may state them, all alike."""
    where, name = mixture.rows[0].where, quoted(mixture.name)
    before, rows, faults = len(found.faults), mixture.rows, found.faults
    ground = agreed(
        [wording(row, "ground", faults=faults) or None for row in rows], "ground", mixture, found
    )
    told: dict[str, float] = {}
    for key in FILM_NUMBERS:
        stated = [amount(row, key, decimal=table.decimal, faults=faults) for row in rows]
        if (value := agreed(stated, key, mixture, found)) is not None:
            told[key] = value
    if len(faults) > before:
        return mixture
    if len(told) == 2:
        found.faults.append(f"{where}: {name} has thickness_um and g_per_m2; keep one")
    elif bool(ground) != bool(told):
        lacks = "no thickness_um or g_per_m2" if ground else "no ground"
        found.faults.append(
            f"{where}: {name} has {lacks}; a film over a ground needs both, one that hides neither"
        )
    elif told:
        thickness = _thickness(mixture, *told.popitem(), inks, found)
        return replace(mixture, ground=ground or "", thickness_um=thickness)
    return mixture


def _thickness(
    mixture: Mixture,
    key: str,
    value: float,
    inks: Mapping[str, Ink] | None,
    found: Findings,
) -> float | None:
    """The thickness in um: as stated, or grams per area through the density."""
    where, name = mixture.rows[0].where, quoted(mixture.name)
    if key == "g_per_m2" and inks is not None:
        known = [inks[ink] for ink in mixture.inks if ink in inks]
        density = density_g_per_ml(known, mixture.fractions) if known else None
        if density is None:
            found.faults.append(
                f"{where}: {name} states g_per_m2, but the density of an ink in it is not known; "
                "fill in density_g_per_ml of inks.csv, or write thickness_um"
            )
            return None
        value /= density  # 1 g/m2 of 1 g/ml is 1 um
    low, high = THICKNESS_UM
    if not low <= value <= high:
        found.faults.append(
            f"{where}: {name} is {value:g} um thick; expected {low:g} to {high:g} um"
        )
        return None
    return value


def on_known_grounds(
    drawn: list[Mixture], grounds: Sequence[Ground], found: Findings, *, file: bool
) -> list[Mixture]:
    """The drawdowns that can be used; a ground that `grounds.csv` does not have is a fault.

    Where there is no such file at all, films are left out and the rest is used: what hides
    needs no ground.
    """
    hiding = [mixture for mixture in drawn if not mixture.ground]
    if not file and 0 < len(hiding) < len(drawn):
        found.notes.append(
            f"there is no {FILE}, so drawdowns that name a ground are left out"
            f" ({len(drawn) - len(hiding)}); measure the card bare to know how prints look"
        )
        return hiding
    known = [ground.name for ground in grounds]
    for mixture in drawn:
        if mixture.ground and mixture.ground not in known:
            found.faults.append(
                f"{mixture.rows[0].where}: ground {quoted(mixture.ground)} is not in {FILE};"
                f" measure it bare{did_you_mean(mixture.ground, known)}"
            )
    return drawn
