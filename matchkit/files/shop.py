"""A shop folder: `shop.toml`, `inks.csv`, `drawdowns.csv`, `spectra.csv`, `mixes.csv`.

Films over a card, which let it show, stand in `films.csv` and `film_spectra.csv`, or among
the drawdowns with their `ground` filled in; the cards and garments in `grounds.csv`.

All files are read before anything is said, and what is wrong with any of them is
said at once.  What is odd, or had to be assumed, becomes a line of `Shop.notes`.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import numpy as np

from matchkit.colorimetry.grid import average
from matchkit.errors import InputError, did_you_mean, plainly, raise_any
from matchkit.files.grounds import (
    FILM_NUMBERS,
    on_known_grounds,
    read_grounds,
    sample_faults,
    with_films,
)
from matchkit.files.readings import listed
from matchkit.files.recipe import AMOUNTS, Mixture, agreed, hint_at, mixtures
from matchkit.files.settings import geometry_doubts, geometry_faults, read_settings
from matchkit.files.shop_tables import ReadingRows, all_readings
from matchkit.files.tables import FileTable, Row, amount, read_table, wording
from matchkit.files.text import Findings, label, quoted
from matchkit.files.write import settled
from matchkit.inks.shop import ROLES, Drawdown, Ink, Mix, Shop

FILES = ("shop.toml", "inks.csv", "drawdowns.csv", "spectra.csv")
NO_FILMS_ONLY = ("drawdowns.csv", "spectra.csv")  # may be missing where there are films
OPTIONAL_FILES = ("mixes.csv", "grounds.csv", "films.csv", "film_spectra.csv")

DENSITY_G_PER_ML = (0.3, 10.0)  # wider than any ink, narrow enough to catch kg per m3

T = TypeVar("T")
Inks = dict[str, Ink] | None  # None: inks.csv could not be read, so any name may be right


def read_shop(folder: str | Path, settings: Shop | None = None) -> Shop:
    """Everything a shop folder states, checked; `settings` is its `shop.toml`, if read before.

    Raises `InputError` with every fault of every file: the file, the row or key, what
    was found, what was expected.
    """
    paths = _paths(folder)
    found = Findings(file=label(Path(folder)))
    shop = settings or _tried(lambda: read_settings(paths["shop.toml"], "shop.toml"), found)
    inks = _tried(lambda: _inks(paths["inks.csv"], found), found)
    drawn = _tried(lambda: _all_drawn(paths, inks, found), found)
    mixed = _tried(lambda: _mixed(paths.get("mixes.csv"), inks, found), found)
    readings = _tried(lambda: all_readings(paths, found), found)
    grounds = _tried(lambda: read_grounds(paths.get("grounds.csv"), found), found)
    if drawn is not None and mixed is not None and readings is not None:
        _check_pairs(drawn, mixed, readings, found)
    if drawn is not None and grounds is not None:
        drawn = on_known_grounds(drawn, grounds, found, file="grounds.csv" in paths)
    if shop is None or inks is None or drawn is None or mixed is None or readings is None:
        raise InputError(found.faults)
    shop = replace(_assembled(shop, inks, drawn, mixed, readings), grounds=grounds or ())
    found.faults.extend([*geometry_faults(shop), *sample_faults(shop)])
    raise_any(found.faults)
    notes = (*shop.notes, *found.notes, *_gaps(shop), *geometry_doubts(shop))
    return replace(shop, notes=notes)


def read_inks(folder: str | Path) -> tuple[Ink, ...]:
    """The inks of a shop folder alone, before anything was drawn down."""
    paths = _paths(folder)
    found = Findings(file=label(Path(folder)))
    inks = _tried(lambda: _inks(paths["inks.csv"], found), found)
    if found.faults or inks is None:
        raise InputError(found.faults)
    return tuple(inks.values())


def read_shelf(folder: str | Path) -> tuple[tuple[Ink, ...], tuple[Mix, ...]]:
    """The inks and the mixes of a shop folder, without any spectra."""
    paths = _paths(folder)
    found = Findings(file=label(Path(folder)))
    inks = _tried(lambda: _inks(paths["inks.csv"], found), found)
    mixed = _tried(lambda: _mixed(paths.get("mixes.csv"), inks, found), found)
    if found.faults or inks is None or mixed is None:
        raise InputError(found.faults)
    return tuple(inks.values()), tuple(mixed)


def read_measuring(
    folder: str | Path,
) -> tuple[Shop, tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """How a shop measures, and what: the names of its drawdowns, its mixes, its `films.csv`.

    The films are among the drawdowns too.

    Needs no spectra, so that the first ones can be brought in.  Raises `InputError` with
    every fault of the files it reads.
    """
    paths = _paths(folder)
    found = Findings(file=label(Path(folder)))
    shop = _tried(lambda: read_settings(paths["shop.toml"], "shop.toml"), found)
    inks = _tried(lambda: _inks(paths["inks.csv"], found), found)
    drawn = _tried(lambda: _all_drawn(paths, inks, found), found)
    mixed = _tried(lambda: _mixed(paths.get("mixes.csv"), inks, found), found)
    if found.faults or shop is None:
        raise InputError(found.faults)
    films = [each for each in drawn or () if each.rows[0].where.startswith("films.csv")]
    names, mixes, over = (tuple(each.name for each in kind or ()) for kind in (drawn, mixed, films))
    return shop, names, mixes, over


def _paths(folder: str | Path) -> dict[str, Path]:
    folder = Path(folder)
    try:
        if not folder.is_dir():
            state = "is a file" if folder.exists() else "not found"
            raise InputError(f"{label(folder)}: {state}; a shop folder is expected")
        paths = {name: settled(folder, name) for name in (*FILES, *OPTIONAL_FILES)}
        films = paths["films.csv"].exists()
        needed = [name for name in FILES if not (films and name in NO_FILMS_ONLY)]
        return {name: path for name, path in paths.items() if name in needed or path.exists()}
    except OSError as error:
        raise plainly(error) or error from None


def _inks(path: Path, found: Findings) -> dict[str, Ink]:
    """`inks.csv`, by name.  No name twice, and at least one white."""
    table = read_table(
        path,
        file="inks.csv",
        required=("ink", "role"),
        numeric=(
            *("density_g_per_ml", "cost_per_kg", "stock_g", "max_percent"),
            *("lot_spread_percent", "container_g"),
        ),
        text=("series", "lot", "note", "active"),
        limits=("series", "stock_g", "max_percent"),
    )
    _hear(table, found)
    inks: dict[str, Ink] = {}
    rows: dict[str, Row] = {}
    series: dict[str, str] = {}
    for row in table.rows:
        ink = _ink(row, table.decimal, series, found)
        first = rows.setdefault(ink.name.casefold(), row)
        if first is not row and ink.name:
            place = first.where.rpartition(" ")[2]
            found.faults.append(
                f"{row.where}: ink {quoted(ink.name)} is already in row {place};"
                " one row for each ink, and names that differ in more than capitals"
            )
        inks.setdefault(ink.name, ink)
    if not any(ink.role == "white" for ink in inks.values()):
        found.faults.append(
            f"{table.file}: no ink has the role white; the white is the gauge for how much every"
            " other ink scatters, so add it here and its letdowns to drawdowns.csv"
        )
    return inks


def _ink(row: Row, decimal: str, series: dict[str, str], found: Findings) -> Ink:
    """One row of `inks.csv`; after a fault, something to go on with."""
    low, high = DENSITY_G_PER_ML
    faults = found.faults
    role = wording(row, "role", faults=faults).casefold()
    if role not in ROLES:
        choice, hint = ", ".join(ROLES), did_you_mean(role, ROLES)
        faults.append(f"{row.where}: role is {quoted(role)}; write one of {choice}{hint}")
    group = wording(row, "series", faults=faults)
    limit = amount(row, "max_percent", decimal=decimal, faults=faults, high=100.0)
    spread = amount(row, "lot_spread_percent", decimal=decimal, faults=faults, high=100.0)
    return Ink(
        name=wording(row, "ink", faults=faults, required=True),
        role=role if role in ROLES else ROLES[0],  # a missing white is no second fault
        series=series.setdefault(group.casefold(), group),
        density_g_per_ml=amount(
            row, "density_g_per_ml", decimal=decimal, faults=faults, low=low, high=high
        ),
        cost_per_kg=amount(row, "cost_per_kg", decimal=decimal, faults=faults),
        stock_g=amount(row, "stock_g", decimal=decimal, faults=faults),
        max_percent=100.0 if limit is None else limit,
        lot=wording(row, "lot", faults=faults),
        note=wording(row, "note", faults=faults),
        lot_spread_percent=Ink.lot_spread_percent if spread is None else spread,
        container_g=amount(row, "container_g", decimal=decimal, faults=faults, low=1.0),
        active=_active(row, found),
    )


def _active(row: Row, found: Findings) -> bool:
    """Whether an ink is still mixed with: `yes`, `no`, or empty for yes."""
    said = wording(row, "active", faults=found.faults).casefold()
    if said not in ("", "yes", "no"):
        found.faults.append(f"{row.where}: active is {quoted(said)}; write yes or no")
    return said != "no"


def _all_drawn(paths: dict[str, Path], inks: Inks, found: Findings) -> list[Mixture]:
    """`drawdowns.csv` and `films.csv`, without the spectra; no name in both."""
    drawn: list[Mixture] = []
    if "drawdowns.csv" in paths:
        drawn = _drawn(paths["drawdowns.csv"], "drawdowns.csv", inks, found)
    if "films.csv" in paths:
        names = {mixture.name for mixture in drawn}
        for film in _drawn(paths["films.csv"], "films.csv", inks, found):
            if film.name and film.name in names:
                found.faults.append(
                    f"{film.rows[0].where}: {quoted(film.name)} is a drawdown too; rename the film"
                )
            elif film.name and not film.ground:
                found.faults.append(
                    f"{film.rows[0].where}: film {quoted(film.name)} lies on no ground; write"
                    " which, or move it to drawdowns.csv if it hides"
                )
            else:
                drawn.append(film)
    return drawn


def _drawn(path: Path, file: str, inks: Inks, found: Findings) -> list[Mixture]:
    table = read_table(
        path,
        file=file,
        required=("drawdown", "ink"),
        numeric=(*AMOUNTS, *FILM_NUMBERS),
        text=("lot", "ground"),
        limits=("ground", *FILM_NUMBERS),
    )
    _hear(table, found)
    drawn = mixtures(table, by="drawdown", either=True, series=_series(inks), found=found)
    return with_films(drawn, table, inks, found)


def _mixed(path: Path | None, inks: Inks, found: Findings) -> list[Mix]:
    """`mixes.csv`, without the spectra."""
    if path is None:
        return []
    table = read_table(
        path,
        file="mixes.csv",
        required=("name", "ink"),
        numeric=(*AMOUNTS, "stock_g"),
        text=("date",),
        limits=("stock_g",),
    )
    _hear(table, found)
    read = mixtures(table, by="name", series=_series(inks), found=found)
    for mixture in read:
        if inks and mixture.name in inks:
            found.faults.append(
                f"{mixture.rows[0].where}: {quoted(mixture.name)} is an ink's name; rename the mix"
            )
    return [_mix(mixture, table.decimal, found) for mixture in read]


def _mix(mixture: Mixture, decimal: str, found: Findings) -> Mix:
    """Stock and date belong to the mix: any of its rows may state them, all alike."""
    rows, faults = mixture.rows, found.faults
    stocks = [amount(row, "stock_g", decimal=decimal, faults=faults) for row in rows]
    stock = agreed(stocks, "stock_g", mixture, found)
    dates = [wording(row, "date", faults=faults) or None for row in rows]
    date = agreed(dates, "date", mixture, found)
    return Mix(
        name=mixture.name,
        inks=mixture.inks,
        fractions=mixture.fractions,
        stock_g=stock,
        date=date or "",
    )


def _check_pairs(
    drawn: list[Mixture], mixed: list[Mix], readings: dict[str, ReadingRows], found: Findings
) -> None:
    """Every drawdown has a reading or waits for one; every reading has a drawdown or a mix."""
    known = dict.fromkeys([*(mixture.name for mixture in drawn), *(mix.name for mix in mixed)])
    stray = [name for name, each in readings.items() if name not in known and not each.waiting]
    for mixture in drawn:
        name, where = mixture.name, mixture.rows[0].where
        if name and name not in readings:
            hint = hint_at(name, stray, found)
            spectra = "film_spectra.csv" if where.startswith("films.csv") else "spectra.csv"
            found.faults.append(
                f"{where}: drawdown {quoted(name)} has no reading in {spectra}; measure it{hint}"
            )
    waiting = [m.name for m in drawn if m.name in readings and readings[m.name].waiting]
    if 0 < len(waiting) < len(drawn):
        found.notes.append(
            f"no reading yet of {len(waiting)} of {len(drawn)} drawdowns, which are left out:"
            f" {listed(waiting)}"
        )
    for name in filter(None, stray):
        hint = hint_at(name, known, found)
        found.faults.append(
            f"{readings[name].where}: {quoted(name)} is neither in drawdowns.csv nor in mixes.csv;"
            f" add what it was mixed from{hint}"
        )


def _assembled(
    shop: Shop,
    inks: dict[str, Ink],
    drawn: list[Mixture],
    mixed: list[Mix],
    readings: dict[str, ReadingRows],
) -> Shop:
    """The shop with all that is sound, so that it can be asked for contradictions.

    Films of which none states its thickness are as thick as `shop.toml` says of drawdowns.
    """
    read = {name: each.spectra for name, each in readings.items() if each.spectra}
    stated = any(mixture.thickness_um for mixture in drawn)
    usual_um = None if stated else shop.over_um
    return replace(
        shop,
        inks=tuple(inks.values()),
        drawdowns=tuple(
            Drawdown(
                name=mixture.name,
                inks=mixture.inks,
                fractions=mixture.fractions,
                readings=np.array(read[mixture.name]),
                lots=mixture.lots,
                ground=mixture.ground,
                thickness_um=usual_um if mixture.ground and not stated else mixture.thickness_um,
            )
            for mixture in drawn
            if mixture.inks and mixture.name in read
        ),
        mixes=tuple(
            replace(mix, R=average(read[mix.name])) if mix.name in read else mix for mix in mixed
        ),
    )


def _gaps(shop: Shop) -> list[str]:
    """What the shop cannot do yet: a line each."""
    if not shop.drawdowns:
        return [
            "nothing is measured yet: `matchkit plan` says what to draw down, `matchkit import`"
            " brings the readings in"
        ]
    drawn = {ink for drawdown in shop.drawdowns for ink in drawdown.inks}
    missing = [quoted(ink.name) for ink in shop.inks if ink.name not in drawn]
    notes = []
    if missing:
        notes.append(
            f"inks.csv: no drawdown holds {', '.join(missing)}; no formula can until one does"
        )
    gauged = {ink.series for ink in shop.inks if ink.role == "white" and ink.name in drawn}
    for series in dict.fromkeys(ink.series for ink in shop.inks if ink.name in drawn):
        if series not in gauged:
            where = f"series {quoted(series)}" if series else "the inks without a series"
            notes.append(
                f"inks.csv: no drawdown of {where} holds a white, the gauge for how much every"
                " other ink scatters; formulas in it are a guess"
            )
    return notes


def _series(inks: Inks) -> dict[str, str] | None:
    return None if inks is None else {name: ink.series for name, ink in inks.items()}


def _hear(table: FileTable, found: Findings) -> None:
    found.faults.extend(table.faults)
    found.notes.extend(table.notes)


def _tried(read: Callable[[], T], found: Findings) -> T | None:
    """What `read` gives; if it gives up, its faults join the others."""
    try:
        return read()
    except InputError as error:
        found.faults.extend(error.faults)
        return None
