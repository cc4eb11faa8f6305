"""Readings, and under which conditions an instrument took them."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields, replace

from matchkit.arrays import Array
from matchkit.colorimetry.grid import average
from matchkit.files.text import Findings, quoted, text_fault
from matchkit.inks.shop import GEOMETRIES, Shop

EXCLUDED, INCLUDED, ANNULAR = GEOMETRIES
LONGEST = 200  # characters of a key or a value that are looked at
SPHERE = "d/8"  # where the specular part is not mentioned

# Keys that speak of a measurement; others may hold such words by chance.
_ABOUT = re.compile(
    "geometry|specular|illumination|condition|filter|uv|polari[sz]|backing|ground"
    "|instrumentation|measurement|source|mode"
)
_INCL, _EXCL = "(?:incl|included|inkl)", "(?:excl|excluded|exkl)"
_GEOMETRY = {
    ANNULAR: r"(?<![\d:/.])(?:45[acx]?\s*[/:]\s*0|0\s*[/:]\s*45)[acx]?(?![\d:/.])",
    SPHERE: r"(?<![a-z])d\s*[/:]\s*8(?!\d)|(?<!\d)8\s*[/:]\s*d(?![a-z])|\bsphere\b",
    INCLUDED: rf"specular\W*(?:component|part)?[\W_]*{_INCL}|\b(?:sci|spin)\b|di\s*[/:]\s*8",
    EXCLUDED: rf"specular\W*(?:component|part)?[\W_]*{_EXCL}|\b(?:sce|spex)\b|de\s*[/:]\s*8",
}
_CONDITION = {
    **{f"M{i}": rf"(?<![a-z0-9])m{i}(?![a-z0-9])" for i in range(4)},
    "UV excluded": rf"uv[\W_]*(?:filter|light)?[\W_]*(?:{_EXCL}|cut)",
    "UV included": rf"uv[\W_]*(?:light)?[\W_]*{_INCL}",
}
_BACKING = {
    colour: rf"{colour}\W*(?:backing|ground)|(?:backing|ground|over)[\W_]*(?:is\W+)?{colour}"
    for colour in ("white", "black")
}


@dataclass(frozen=True, kw_only=True)
class Stated:
    """What a file states of a measurement; an empty text where it is silent."""

    geometry: str = ""  # one of GEOMETRIES, SPHERE, or as the file words it
    condition: str = ""  # M0 to M3, UV included or UV excluded
    backing: str = ""
    filter: str = ""


def stated_in(pairs: Iterable[tuple[str, str]]) -> tuple[Stated, list[str]]:
    """What keys and their values state, and a line for each contradiction.

    >>> stated_in([("Geometry", "45a:0"), ("MEASUREMENT_SOURCE", "M1, white backing")])[0]
    Stated(geometry='45/0', condition='M1', backing='white', filter='')
    """
    told: dict[str, dict[str, None]] = {field.name: {} for field in fields(Stated)}
    for key, value in pairs:
        key = key[:LONGEST].casefold().replace("_", " ")
        value = " ".join(value[:LONGEST].split())
        text = f"{key}: {value.casefold()}"
        if not value or not _ABOUT.search(key):
            continue
        told["geometry"] |= _found(_GEOMETRY, text) or _verbatim(key, ("geometry",), value)
        told["condition"] |= _found(_CONDITION, text)
        told["backing"] |= _found(_BACKING, text) or _verbatim(key, ("backing", "ground"), value)
        told["filter"] |= _verbatim(key, ("filter",), value)
    _drop_vaguer(told)
    faults = [
        f"states {' and '.join(values)} as its {name}; one file, one way of measuring"
        for name, values in told.items()
        if len(values) > 1 and name != "filter"
    ]
    return Stated(**{name: next(iter(values), "") for name, values in told.items()}), faults


def wording_of(stated: Stated) -> str:
    """All that is stated, in a row, or an empty text.

    >>> wording_of(Stated(geometry="45/0", condition="M1", backing="white"))
    '45/0, M1, white backing'
    """
    geometry = "d/8, specular part not mentioned" if stated.geometry == SPHERE else stated.geometry
    backing = f"{stated.backing} backing" if stated.backing else ""
    kept = f"filter {stated.filter}" if stated.filter else ""
    return ", ".join(text for text in (geometry, stated.condition, backing, kept) if text)


def geometry_fault(stated: Stated, shop: Shop) -> str:
    """Why the geometry is not the shop's, or an empty text."""
    same = stated.geometry in ("", shop.geometry)
    if same or (stated.geometry == SPHERE and shop.geometry != ANNULAR):
        return ""
    ours = f"measured {stated.geometry}, but this shop measures {shop.geometry}"
    if not specular_differs(stated, shop):
        return f"{ours}; no rule turns one into the other, so measure again or ask for other data"
    return (
        f"{ours}, and dark colours differ by several dE00 between the two; measure again, or if"
        " the film is glossy, `matchkit import --index 1.5` (of most resins: common practice, no"
        " source) converts it"
    )


def specular_differs(stated: Stated, shop: Shop) -> bool:
    """Whether one is d/8 with the specular part included and the other excluded."""
    return {stated.geometry, shop.geometry} == {INCLUDED, EXCLUDED}


def condition_fault(stated: Stated, shop: Shop, *, not_fluorescent: bool = False) -> str:
    """Why the condition is not the shop's, or an empty text."""
    theirs, ours = _light(stated.condition), _light(shop.condition)
    if not theirs or not ours or theirs & ours:
        return ""
    told = f"measured with {stated.condition}, but this shop measures with {shop.condition}"
    if "M3" in theirs | ours:
        return f"{told}; polarising takes the gloss out, so measure again or ask for other data"
    if not_fluorescent:
        return ""
    return (
        f"{told}; measure again, or if neither ink nor ground fluoresces, for then they read"
        " alike, say so with `matchkit import --not-fluorescent`"
    )


def _light(condition: str) -> set[str]:
    """The conditions of ISO 13655 that a statement may mean; none: anything."""
    by_words = {"UV included": {"M0", "M1"}, "UV excluded": {"M2"}, "": set(), "unknown": set()}
    return by_words.get(condition, {condition})


def _found(patterns: dict[str, str], text: str) -> dict[str, None]:
    return dict.fromkeys(name for name, pattern in patterns.items() if re.search(pattern, text))


def _verbatim(key: str, about: tuple[str, ...], value: str) -> dict[str, None]:
    """The words under a key of that name, as they are."""
    silent = value.casefold() in ("", "-", "unknown", "none", "n/a", "na")
    if silent or not any(word in key for word in about) or not value.isprintable():
        return {}
    return {value[:40]: None}


def _drop_vaguer(told: dict[str, dict[str, None]]) -> None:
    """d/8 says less than d/8 specular included, and UV less than one of M0 to M3."""
    if len(told["geometry"]) > 1:
        told["geometry"].pop(SPHERE, None)
    exact = {name: None for name in told["condition"] if name.startswith("M")}
    told["condition"] = exact or told["condition"]


def listed(names: Sequence[str], most: int = 3) -> str:
    """Some names in a message, and how many more there are.

    >>> listed(["a", "b", "c", "d", "e"])
    "'a', 'b', 'c' and 2 more"
    """
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(quoted(name) for name in names[:most]) + more


LISTED = 6
# What an instrument puts behind a name for each of its readings.
# A bare number is none of it: "red 10" and "red 20" are two letdowns.
_REPEAT = re.compile(
    r"(.*[^\s_-])[\s_-]+(?:[A-Za-z]|#[0-9]{1,2}|[0-9]{1,2}/[0-9]{1,2}|\([0-9]{1,2}(?:/[0-9]{1,2})?\))"
)


@dataclass(frozen=True, kw_only=True)
class StatedLab:
    """A CIELAB value that stands beside a spectrum, and what it was computed for."""

    Lab: tuple[float, float, float]
    light: str = ""  # not stated, and the observer neither
    observer: int = 0


@dataclass(frozen=True, kw_only=True)
class Readings:
    """Rows that share their wavelengths; lists hold one entry a row."""

    where: list[str]  # begins a message
    names: list[str]
    nm: Array  # (n,)
    values: Array  # (n_readings, n)
    stated: list[Stated]
    scale: str = ""  # "percent" or "0-1" where the file says so
    labs: list[StatedLab | None] = field(default_factory=list)  # empty, or one a row


@dataclass(frozen=True, kw_only=True)
class NamedSpectrum:
    """A measured sample: its readings on the grid, (n_readings, n_wl), 0-1.

    How it was measured, where the file states it: see `conditions.Stated`.
    """

    name: str
    readings: Array
    geometry: str = ""
    condition: str = ""
    backing: str = ""
    filter: str = ""
    scale: str = "0-1"  # of its file, or "percent"

    @property
    def R(self) -> Array:
        """The mean of the readings, (n_wl,)."""
        return average(self.readings)


def light_name(text: str) -> str:
    """A light as files write it, as colour-science names it: F11 is FL11.

    >>> light_name("F11"), light_name("d65")
    ('FL11', 'D65')
    """
    name = text.strip().upper()
    return f"FL{name[1:]}" if re.fullmatch("F[0-9]{1,2}", name) else name


def with_repeats(blocks: Sequence[Readings], found: Findings) -> list[Readings]:
    """The readings with those called "red a", "red b" or "red 1/3" called "red"; that is noted.

    A lone "red a" stays; capitals make no difference.
    """
    names = list(dict.fromkeys(name for block in blocks for name in block.names))
    groups: dict[str, list[str]] = {}
    for name in names:
        mark = _REPEAT.fullmatch(name)
        groups.setdefault((mark[1] if mark else name).casefold(), []).append(name)
    called: dict[str, str] = {}
    for group in groups.values():
        if len(group) > 1:
            mark = _REPEAT.fullmatch(group[0])
            plain = mark[1] if mark else group[0]
            called |= dict.fromkeys(group, plain)
            found.notes.append(
                f"{found.file}: taken as readings of {quoted(plain)}: {listed(group, LISTED)}"
            )
    return [
        replace(block, names=[called.get(name, name) for name in block.names]) for block in blocks
    ]


def name_fault(name: str) -> str:
    """Why a text cannot name a spectrum, or an empty text."""
    fault = text_fault(name) or ("" if name.strip() else "is empty; write a name")
    if not fault and ".." in name.replace("\\", "/").split("/"):
        fault = f"{quoted(name)} is a path to another folder; write a plain name"
    return fault
