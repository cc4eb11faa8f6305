"""Spectra held against the way a shop measures: taken, turned into it by a rule, or refused.

The one rule there is: a glossy film of known refractive index reads the same d/8 with the
specular part included as excluded, plus what its surface mirrors; see
`instrument.other_specular`.
"""

from collections.abc import Sequence
from dataclasses import fields, replace

from matchkit.colorimetry.grid import LOWEST
from matchkit.files.amounts import quoted
from matchkit.files.conditions import (
    Stated,
    condition_fault,
    geometry_fault,
    listed,
    specular_differs,
    wording_of,
)
from matchkit.files.readings import NamedSpectrum
from matchkit.files.text import Findings
from matchkit.fitting.instrument import other_specular
from matchkit.inks.shop import Shop

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
