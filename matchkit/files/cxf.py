"""CxF3 (ISO 17972-1), as far as measured reflectances go: a small reader of our own.

Each object's spectra with their first wavelength, the step that their colour
specification states, how it says they were measured, and CIELAB beside them.  All
other elements, extensions among them, are passed over.

The parser is that of defusedxml, and a file that declares a document type or an entity
is refused: no spectrum needs either, and both are how a small file takes all memory.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from xml.etree.ElementTree import Element, ParseError

import numpy as np
from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import fromstring

from matchkit.errors import InputError
from matchkit.files.readings import Readings, Stated, StatedLab, light_name, name_fault, stated_in
from matchkit.files.text import Findings, number, quoted
from matchkit.inks.shop import GEOMETRIES

CORE = "{http://colorexchangeformat.com/CxF3-core}"
MOST_TAGS, MOST_ATTRIBUTES = 500_000, 200_000  # 20,000 spectra with all that may stand beside
MOST_VALUES = 2000  # in one spectrum
LISTED = 3

_SPHERE = {"Specular_Excluded": GEOMETRIES[0], "Specular_Included": GEOMETRIES[1]}
_FILTERS = {"Filter_UVExcluded": "UV excluded", "Filter_None": "UV included"}
_NUMBERS = re.compile(r"[-+0-9.eE\s]*")


@dataclass(frozen=True, kw_only=True)
class _Specification:
    """What a ColorSpecification says of the values that refer to it."""

    start_nm: float | None
    step_nm: float | None
    measured: str  # the MeasurementType
    stated: Stated
    light: str
    observer: int  # 0: not stated


@dataclass(frozen=True, kw_only=True)
class _One:
    """One spectrum of one object."""

    where: str
    name: str
    start_nm: float
    step_nm: float
    values: list[float]
    stated: Stated
    lab: StatedLab | None


def cxf_readings(content: bytes, found: Findings) -> list[Readings]:
    """All reflectance spectra of a CxF3 file.

    Faults of objects go to `found`; raises `InputError` where the file is not CxF3.
    """
    root = _root(content, found.file)
    path = f"{CORE}Resources/{CORE}ColorSpecificationCollection/{CORE}ColorSpecification"
    known = {each.get("Id", ""): _specification(each, found) for each in root.iterfind(path)}
    groups: dict[tuple[float, float, int], list[_One]] = {}
    without = []
    objects = root.iterfind(f"{CORE}Resources/{CORE}ObjectCollection/{CORE}Object")
    for i, each in enumerate(objects, 1):
        spectra = list(_spectra(each, f"{found.file} object {i}", known, found))
        if each.find(f"{CORE}ColorValues/{CORE}ReflectanceSpectrum") is None:
            without.append(_name(each) or str(i))
        for one in spectra:
            groups.setdefault((one.start_nm, one.step_nm, len(one.values)), []).append(one)
    if without:
        names = ", ".join(quoted(name) for name in without[:LISTED])
        line = f"{found.file}: {len(without)} of the objects have no reflectance spectrum: {names}"
        if groups or found.faults:
            found.notes.append(f"{line}; left out")
        else:
            found.faults.append(f"{line}; export spectra, or give L*a*b* to `matchkit match --lab`")
    return [_block(*key, ones) for key, ones in groups.items()]


def _root(content: bytes, file: str) -> Element:
    if content.count(b"<") > MOST_TAGS or content.count(b"=") > MOST_ATTRIBUTES:
        raise InputError(f"{file}: more XML than 20,000 spectra need; split the file")
    try:
        root: Element = fromstring(content, forbid_dtd=True)
    except DefusedXmlException:
        raise InputError(
            f"{file}: declares a document type or an entity, which no spectrum needs and which"
            " can do harm; export it anew, or remove the DOCTYPE"
        ) from None
    except ParseError as error:
        reason = re.sub(r"\s+", " ", str(error))[:100]
        raise InputError(f"{file}: not well-formed XML: {reason}; export it anew") from None
    except (ValueError, LookupError):
        raise InputError(f"{file}: its encoding is not known; export it as UTF-8") from None
    if root.tag == f"{CORE}CxF":
        return root
    space, _, name = root.tag.rpartition("}")
    if name.casefold() == "cxf":
        found = quoted(space.lstrip("{")) if space else "no namespace"
        raise InputError(f"{file}: another version of CxF ({found}); export CxF3 (ISO 17972-1)")
    raise InputError(f"{file}: XML, but not CxF3: it is {quoted(name)}; export CxF3, CGATS or CSV")


def _specification(each: Element, found: Findings) -> _Specification:
    where = f"{found.file} ColorSpecification {quoted(each.get('Id', ''))}"
    extent = each.find(f"{CORE}MeasurementSpec/{CORE}WavelengthRange")
    start, step = (
        _number_of(None if extent is None else extent.get(name), f"{where} {name}", found)
        for name in ("StartWL", "Increment")
    )
    stated, faults = _measured(each)
    found.faults.extend(f"{where}: {fault}" for fault in faults)
    observer = _text(each, "TristimulusSpec/Observer")
    return _Specification(
        start_nm=start,
        step_nm=step,
        measured=_text(each, "MeasurementSpec/MeasurementType"),
        stated=stated,
        light=light_name(_text(each, "TristimulusSpec/Illuminant")),
        observer={"2_Degree": 2, "10_Degree": 10}.get(observer, 0),
    )


def _measured(each: Element) -> tuple[Stated, list[str]]:
    """Geometry, condition, backing and filter of a ColorSpecification."""
    device = "MeasurementSpec/Device"
    kept = _text(each, f"{device}/DeviceFilter")
    polarised = _text(each, f"{device}/DevicePolarization").casefold() in ("true", "1")
    stated, faults = stated_in(
        [
            ("illumination", "M3" if polarised else _text(each, f"{device}/DeviceIllumination")),
            ("uv", _FILTERS.get(kept, kept)),
            ("filter", kept),
            ("backing", _text(each, "MeasurementSpec/Backing")),
        ]
    )
    return replace(stated, geometry=_geometry(each)), faults


def _geometry(each: Element) -> str:
    choice = "MeasurementSpec/GeometryChoice"
    sphere = _text(each, f"{choice}/SphereGeometry")
    if sphere:
        return _SPHERE.get(sphere, "")
    angles = [
        _text(each, f"{choice}/SingleAngle/{name}")
        for name in ("IlluminationAngle", "MeasurementAngle")
    ]
    try:
        light, eye = (number(angle) for angle in angles)
    except InputError:
        several = each.find(_path(f"{choice}/MultiAngle")) is not None
        return "at several angles" if several else ""
    return GEOMETRIES[2] if {light, eye} == {45.0, 0.0} else f"{light:g}/{eye:g}"


def _spectra(
    each: Element, where: str, known: dict[str, _Specification], found: Findings
) -> Iterator[_One]:
    """The spectra of one object; a fault for each that cannot be read."""
    name = _name(each)
    spectra = each.findall(f"{CORE}ColorValues/{CORE}ReflectanceSpectrum")
    if spectra and (fault := name_fault(name)):
        found.faults.append(f"{where}: the name {fault}")
        return
    where_named = f"{where} {quoted(name)}"
    labs = _labs(each, known) if spectra else {}
    for spectrum in spectra:
        own = spectrum.get("ColorSpecification", "")
        try:
            start, step, values = _values(spectrum, known.get(own), own)
        except InputError as error:
            found.faults.append(f"{where_named}: {error}")
            continue
        lab = labs.get(own) or (next(iter(labs.values())) if len(labs) == 1 else None)
        yield _One(
            where=where,
            name=name,
            start_nm=start,
            step_nm=step,
            values=values,
            stated=known[own].stated,
            lab=lab,
        )


def _values(
    spectrum: Element, known: _Specification | None, name: str
) -> tuple[float, float, list[float]]:
    """First wavelength, step and values of a spectrum; raises the reason why not."""
    if known is None:
        raise InputError(
            f"refers to ColorSpecification {quoted(name)}, which is not in the file; without it"
            " its wavelengths are not known, so export the file anew"
        )
    if known.measured not in ("", "Spectrum_Reflectance", "Colorimetric_Reflectance"):
        raise InputError(f"measured as {quoted(known.measured)}; a reflectance is needed")
    start = spectrum.get("StartWL")
    start_nm = known.start_nm if start is None else number(start)
    if start_nm is None or not known.step_nm:
        missing = "Increment" if start_nm is not None else "StartWL"
        raise InputError(f"no {missing} is stated, so its wavelengths are not known; export anew")
    if known.start_nm is not None and start_nm != known.start_nm:
        raise InputError(
            f"begins at {start_nm:g} nm by its own account and at {known.start_nm:g} nm by that"
            f" of ColorSpecification {quoted(name)}; one is wrong, so export the file anew"
        )
    return start_nm, known.step_nm, _numbers(spectrum.text or "")


def _numbers(text: str) -> list[float]:
    words = text[: 40 * MOST_VALUES].split()
    if not 2 <= len(words) <= MOST_VALUES:
        raise InputError(f"{len(words)} values; a spectrum has 31 or so")
    if _NUMBERS.fullmatch(text):
        try:
            values = [float(word) for word in words]
        except ValueError:
            pass
        else:
            if np.isfinite(values).all():
                return values
    for i, word in enumerate(words, 1):
        try:
            number(word)
        except InputError as error:
            raise InputError(f"value {i}: {error}") from None
    return [number(word) for word in words]


def _labs(each: Element, known: dict[str, _Specification]) -> dict[str, StatedLab]:
    """CIELAB values beside the spectra, by their colour specification."""
    labs = {}
    for lab in each.iterfind(f"{CORE}ColorValues/{CORE}ColorCIELab"):
        name = lab.get("ColorSpecification", "")
        specification = known.get(name)
        try:
            L, a, b = (number(_text(lab, axis)) for axis in "LAB")
        except InputError:
            continue  # a Lab is only a check on the spectrum
        if specification and specification.light and specification.observer:
            labs[name] = StatedLab(
                Lab=(L, a, b), light=specification.light, observer=specification.observer
            )
    return labs


def _block(start_nm: float, step_nm: float, n: int, ones: list[_One]) -> Readings:
    return Readings(
        where=[one.where for one in ones],
        names=[one.name for one in ones],
        nm=start_nm + step_nm * np.arange(n, dtype=np.float64),
        values=np.array([one.values for one in ones]),
        stated=[one.stated for one in ones],
        labs=[one.lab for one in ones],
    )


def _name(each: Element) -> str:
    return (each.get("Name") or "").strip() or (each.get("Id") or "").strip()


def _path(path: str) -> str:
    return "/".join(CORE + name for name in path.split("/"))


def _text(each: Element, path: str) -> str:
    return (each.findtext(_path(path)) or "").strip()


def _number_of(text: str | None, where: str, found: Findings) -> float | None:
    if text is None:
        return None
    try:
        return number(text)
    except InputError as error:
        found.faults.append(f"{where}: {error}")
        return None
