"""Grounds of films, and whether readings suit a shop."""

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path

from matchkit.arrays import Array
from matchkit.colorimetry.grid import LOWEST, average
from matchkit.errors import did_you_mean
from matchkit.files.readings import (
    NamedSpectrum,
    Stated,
    condition_fault,
    geometry_fault,
    listed,
    specular_differs,
    wording_of,
)
from matchkit.files.recipe import Mixture, agreed
from matchkit.files.shop_tables import spectral_rows
from matchkit.files.tables import FileTable, Row, amount, wording
from matchkit.files.text import Findings, quoted
from matchkit.fitting.instrument import other_specular
from matchkit.inks.recipe import density_g_per_ml
from matchkit.inks.shop import Ground, Ink, Shop
from matchkit.optics.film import SURFACES

CONVERTS = "converts"


def stated_of(spectrum: NamedSpectrum) -> Stated:
    """How a spectrum says it was measured."""
    return Stated(**{each.name: getattr(spectrum, each.name) for each in fields(Stated)})


def suited(
    spectra: Sequence[NamedSpectrum],
    shop: Shop,
    found: Findings,
    *,
    index: float | None = None,
    not_fluorescent: bool = False,
) -> list[NamedSpectrum]:
    """The spectra that were measured as the shop does, or could be converted.

    Of a name that was measured in several ways those that fit are taken, and that is
    said; a name of which none fits is a fault.  `index` is the refractive index of a
    glossy film; `not_fluorescent` says that UV does not matter.
    """
    ways = [_way(each, shop, index, not_fluorescent) for each in spectra]
    native = {each.name for each, way in zip(spectra, ways, strict=True) if not way}
    kept: list[NamedSpectrum] = []
    converted: list[str] = []
    refused: dict[str, list[str]] = {}
    for spectrum, way in zip(spectra, ways, strict=True):
        if not way:
            kept.append(spectrum)
        elif way == CONVERTS and spectrum.name not in native:
            kept.append(_converted(spectrum, shop, index or 0.0, found))
            converted.append(spectrum.name)
        else:
            refused.setdefault(way, []).append(spectrum.name)
    _say(refused, {spectrum.name for spectrum in kept}, found)
    if converted:
        found.notes.append(
            f"{found.file}: {listed(converted)}: turned into {shop.geometry} for a glossy film of"
            f" index {index:g}; a matte film would need another reading"
        )
    alike = [each.name for each in kept if condition_fault(stated_of(each), shop)]
    if alike:
        found.notes.append(
            f"{found.file}: {listed(alike)}: taken as measured with {shop.condition}, since you"
            " say that nothing fluoresces"
        )
    return kept


def check_one_way(spectra: Sequence[NamedSpectrum], found: Findings) -> None:
    """Readings of one name that were measured in two ways are no repeats."""
    ways: dict[str, list[str]] = {}
    for spectrum in spectra:
        ways.setdefault(spectrum.name, []).append(
            wording_of(stated_of(spectrum)) or "a way that is not stated"
        )
    for name, each in ways.items():
        if len(each) > 1:
            found.faults.append(
                f"{found.file}: {quoted(name)} was measured in {len(each)} ways:"
                f" {'; '.join(each[:4])}. They are no repeats: export one, or name them apart"
            )


def _way(spectrum: NamedSpectrum, shop: Shop, index: float | None, not_fluorescent: bool) -> str:
    """An empty text if it fits, CONVERTS, or why it does not fit."""
    stated = stated_of(spectrum)
    why = condition_fault(stated, shop, not_fluorescent=not_fluorescent)
    if not why and index is not None and specular_differs(stated, shop):
        return CONVERTS
    return why or geometry_fault(stated, shop)


def _converted(spectrum: NamedSpectrum, shop: Shop, index: float, found: Findings) -> NamedSpectrum:
    R = other_specular(spectrum.readings, made=spectrum.geometry, wanted=shop.geometry, n=index)
    if R.min() < LOWEST or R.max() <= 0:
        found.faults.append(
            f"{found.file}: {quoted(spectrum.name)}: without what a surface of index {index:g}"
            f" mirrors, {R.min():.3f} is left of it; the film is not that glossy, so measure it"
            f" as the shop does, {shop.geometry}"
        )
    return replace(spectrum, readings=R, geometry=shop.geometry)


def _say(refused: dict[str, list[str]], kept: set[str], found: Findings) -> None:
    """One line for each reason: a fault where nothing else of that name fits, else a note."""
    for why, names in refused.items():
        reason = "the shop's own way is there too" if why == CONVERTS else why
        lost = [name for name in dict.fromkeys(names) if name not in kept]
        spare = [name for name in dict.fromkeys(names) if name in kept]
        if lost:
            found.faults.append(f"{found.file}: {listed(lost)}: {reason}")
        if spare:
            found.notes.append(f"{found.file}: {listed(spare)}: readings left out: {reason}")


FILE, FILMS = "grounds.csv", "films.csv"
FILM_NUMBERS = ("thickness_um", "g_per_m2")
THICKNESS_UM = (1.0, 2000.0)  # a film of ink, not a mistaken unit


def read_grounds(path: Path | None, found: Findings) -> tuple[Ground, ...]:
    """The grounds a shop has measured bare; repeat readings of one name are averaged.

    Columns `ground`, perhaps `surface` (rough or smooth), and wavelengths.  Row faults go
    to `found`; InputError where nothing can be read.
    """
    if path is None:
        return ()
    readings: dict[str, list[tuple[Row, Array]]] = {}
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
    drawn: Sequence[Mixture], table: FileTable, inks: Mapping[str, Ink] | None, found: Findings
) -> list[Mixture]:
    """The drawdowns of a table with ground and thickness, where they are films."""
    if not {"ground", *FILM_NUMBERS} & set(table.columns):
        return list(drawn)
    return [_with_film(mixture, table, inks, found) for mixture in drawn]


def _with_film(
    mixture: Mixture, table: FileTable, inks: Mapping[str, Ink] | None, found: Findings
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
    elif told and not ground:
        found.faults.append(f"{where}: {name} has no ground; a film over a ground needs both")
    elif ground and not told and table.file != FILMS:
        found.faults.append(
            f"{where}: {name} has no thickness_um or g_per_m2; a film over a ground needs both, one"
            f" that hides neither; in {FILMS} the thickness may be empty, and the fit finds it"
        )
    else:
        thickness = _thickness(mixture, *told.popitem(), inks, found) if told else None
        return replace(mixture, ground=ground or "", thickness_um=thickness)
    return mixture


def _thickness(
    mixture: Mixture, key: str, value: float, inks: Mapping[str, Ink] | None, found: Findings
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


def sample_faults(shop: Shop) -> list[str]:
    """What is wrong with the ground that `shop.toml` names for drawdowns."""
    known = [ground.name for ground in shop.grounds]
    if not shop.over or shop.over in known:
        return []
    return [
        f"shop.toml drawdown.over: ground {quoted(shop.over)} is not in {FILE};"
        f" measure it bare{did_you_mean(shop.over, known)}"
    ]


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
