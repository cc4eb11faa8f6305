"""`shop.toml`: how a shop measures and looks, and the readings that contradict it."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.illuminants import weights
from matchkit.errors import InputError, nearest, raise_any
from matchkit.files.text import Findings, label, quoted, read_text, text_fault
from matchkit.inks.shop import GEOMETRIES, Shop

RESOLUTION_G = (0.001, 1.0)  # of balances that ink is weighed on
SECTIONS = ("measurement", "viewing", "tolerance", "balance", "drawdown", "book")
KEYS = (
    "name",
    "currency",
    "measurement.geometry",
    "measurement.condition",
    "viewing.observer",
    "viewing.lights",
    "tolerance.de00",
    "balance.resolution_g",
    "drawdown.over",
    "drawdown.thickness_um",
    "book.count_batches",
)
SPHERE = ("UV included", "UV excluded", "unknown")
ANNULAR = ("M0", "M1", "M2", "M3")  # ISO 13655
CONDITIONS = dict(zip(GEOMETRIES, (SPHERE, SPHERE, ANNULAR), strict=True)) | {"": SPHERE + ANNULAR}

# A smooth or rough film sends back ((n - 1) / (n + 1))^2 of the light at its surface
# (Fresnel), all of which a sphere with the specular part included collects.  No cured
# resin has an index below 1.40, 0.028; 0.003 for the error of a dark reading.
SURFACE_LEAST = 0.025
# The same for n = 1.5, the usual resin: a black that sends back this much in other
# geometries is either very matte or was measured with the specular part included.
SURFACE_USUAL = 0.04
DARKEST_BANDS = 3  # averaged, so that the noise of one wavelength decides nothing


def read_settings(path: Path, file: str = "") -> Shop:
    """The shop without its inks; `Shop.notes` says what was assumed.

    Raises `InputError` with every fault of the file.
    """
    found = Findings(file=file or label(path))
    root = _parsed(path, found.file)
    values = _flat(root, found)
    geometry = _one_of(values, "measurement.geometry", GEOMETRIES, found)
    observer = _observer(values, found)
    over, over_um = _drawdown(values, found)
    shop = Shop(
        name=_name(values, path, found),
        geometry=geometry,
        condition=_one_of(values, "measurement.condition", CONDITIONS[geometry], found),
        observer=observer,
        lights=_lights(values, observer, found),
        tolerance_de00=_positive(values, "tolerance.de00", 1.0, found),
        resolution_g=_positive(values, "balance.resolution_g", 0.01, found, RESOLUTION_G),
        currency=_currency(values, found),
        over=over,
        over_um=over_um,
        count_batches=_switch(values, "book.count_batches", found),
        notes=tuple(found.notes),
    )
    raise_any(found.faults)
    return shop


def geometry_faults(shop: Shop) -> list[str]:
    """Readings that cannot have been made as `shop.geometry` says.

    With the specular part included nothing reads less than the film's surface sends
    back.  Matte films are no exception: the sphere collects that light too.
    """
    if shop.geometry != "d/8 specular included" or not shop.drawdowns:
        return []
    dark = [_darkest(drawdown.R) for drawdown in shop.drawdowns]
    least = int(np.argmin(dark))
    if dark[least] >= SURFACE_LEAST:
        return []
    return [
        f"shop.toml measurement.geometry: {shop.geometry!r}, but"
        f" {quoted(shop.drawdowns[least].name)} in spectra.csv reads {dark[least]:.3f}; a film's"
        f" surface alone sends back {SURFACE_LEAST} or more then. Write 'd/8 specular excluded'"
        " or '45/0', whichever it was, or measure again"
    ]


def geometry_doubts(shop: Shop) -> list[str]:
    """Readings that are odd for `shop.geometry`, but could be true of matte inks."""
    blacks = {ink.name for ink in shop.inks if ink.role == "black"}
    alone = [d for d in shop.drawdowns if len(d.inks) == 1 and d.inks[0] in blacks]
    if shop.geometry == "d/8 specular included" or not alone:
        return []
    dark = min(_darkest(drawdown.R) for drawdown in alone)
    if dark < SURFACE_USUAL:
        return []
    return [
        f"shop.toml measurement.geometry: {shop.geometry!r}, but the black alone reads"
        f" {dark:.3f} at its darkest; right for a very matte black, else the specular part"
        " was included"
    ]


def _darkest(R: Array) -> float:
    return float(np.sort(R)[:DARKEST_BANDS].mean())


def _parsed(path: Path, file: str) -> dict[str, Any]:
    try:
        return tomllib.loads(read_text(path, file))
    except RecursionError:
        raise InputError(f"{file}: nested too deeply; see the demo shop for an example") from None
    except InputError:
        raise
    except ValueError as error:  # TOMLDecodeError, and whole numbers of 4,300 digits
        reason = re.sub(r"\s+", " ", str(error))[:120]
        hint = "texts stand in quotes, numbers have a decimal point, lists stand in [ ]"
        raise InputError(f"{file}: not valid TOML: {reason}; {hint}") from None


def _flat(root: Mapping[str, Any], found: Findings) -> dict[str, Any]:
    """Every key with its section before it, as in ``viewing.lights``."""
    values: dict[str, Any] = {}
    for key, value in root.items():
        if key not in SECTIONS:
            values[key] = value
        elif isinstance(value, dict):
            values.update({f"{key}.{inner}": each for inner, each in value.items()})
        else:
            found.faults.append(f"{found.file} {key}: is {_shown(value)}; write it as [{key}]")
    for key in [key for key in values if key not in KEYS]:
        _unknown_key(key, [known for known in (*KEYS, *SECTIONS) if known not in values], found)
    return values


def _unknown_key(key: str, missing: list[str], found: Findings) -> None:
    """A near-miss of a key that is missing is a fault, any other key a note."""
    meant = nearest(key.casefold(), missing)
    where = f"{found.file} {key if _plain(key) else quoted(key)}"
    if meant:
        found.faults.append(f"{where}: not a known key; did you mean {meant!r}?")
    else:
        found.notes.append(f"{where}: not a known key; it is not read")


def _name(values: Mapping[str, Any], path: Path, found: Findings) -> str:
    name = values.get("name")
    if name is None:
        found.notes.append(f"{found.file} name: not stated; the folder's is used")
        return label(path.absolute().parent)
    if not isinstance(name, str) or not name.strip() or text_fault(name):
        found.faults.append(f"{found.file} name: is {_shown(name)}; write a name in quotes")
        return ""
    return name.strip()


def _currency(values: Mapping[str, Any], found: Findings) -> str:
    """The name that stands behind a cost; none where none is stated."""
    currency = values.get("currency", "")
    if not isinstance(currency, str) or text_fault(currency) or len(currency) > 12:
        found.faults.append(
            f"{found.file} currency: is {_shown(currency)}; write its short name in quotes"
        )
        return ""
    return currency.strip()


def _one_of(values: Mapping[str, Any], key: str, allowed: Sequence[str], found: Findings) -> str:
    """One of the `allowed` texts, in their spelling, or an empty string and a fault."""
    value = values.get(key)
    spelling = {" ".join(text.casefold().split()): text for text in allowed}
    folded = " ".join(value.casefold().split()) if isinstance(value, str) else ""
    if folded in spelling:
        return spelling[folded]
    choice = " or ".join(f'"{text}"' for text in allowed)
    near = nearest(folded, spelling)
    hint = f"; did you mean {spelling[near]!r}?" if near else ""
    found.faults.append(f"{found.file} {key}: {_state(values, key)}; write {choice}{hint}")
    return ""


def _observer(values: Mapping[str, Any], found: Findings) -> int:
    value = values.get("viewing.observer")
    if _is_number(value) and value in (2, 10):
        return int(value)
    state = _state(values, "viewing.observer")
    found.faults.append(f"{found.file} viewing.observer: {state}; write 2 or 10 (degrees)")
    return 0


def _lights(values: Mapping[str, Any], observer: int, found: Findings) -> tuple[str, ...]:
    where, lights = f"{found.file} viewing.lights", values.get("viewing.lights")
    if not isinstance(lights, list) or not lights or not all(map(_plain, lights)):
        state = _state(values, "viewing.lights")
        found.faults.append(f'{where}: {state}; write a list of names, such as ["D65", "A"]')
        return ()
    for light in dict.fromkeys(lights):
        if lights.count(light) > 1:
            found.faults.append(f"{where}: {light!r} is there {lights.count(light)} times")
        try:
            weights(light, observer or 10)
        except InputError as error:
            found.faults.extend(f"{where}: {line}" for line in error.faults)
    return tuple(lights)


def _positive(
    values: Mapping[str, Any],
    key: str,
    usual: float,
    found: Findings,
    between: tuple[float, float] | None = None,
) -> float:
    """A number above 0, or `between` two others; a missing one is `usual`, and said."""
    if key not in values:
        found.notes.append(f"{found.file} {key}: not stated; {usual:g} is used")
        return usual
    value = values[key]
    low, high = between or (0.0, 1000.0)
    if _is_number(value) and value > 0 and low <= value <= high:
        return float(value)
    state, right = _state(values, key), f" from {low:g} to {high:g}" if between else ""
    found.faults.append(f"{found.file} {key}: {state}; write a number{right} such as {usual:g}")
    return usual


def _drawdown(values: Mapping[str, Any], found: Findings) -> tuple[str, float | None]:
    """The ground and thickness of what targets are compared with; "" and None: it hides."""
    over, um = "drawdown.over", "drawdown.thickness_um"
    if over not in values and um not in values:
        return "", None
    if not _plain(values.get(over)):
        state = _state(values, over)
        found.faults.append(f"{found.file} {over}: {state}; write the name of a ground in quotes")
        return "", None
    return values[over].strip(), _positive(values, um, 200.0, found) if um in values else None


def _switch(values: Mapping[str, Any], key: str, found: Findings) -> bool:
    value = values.get(key, True)
    if not isinstance(value, bool):
        found.faults.append(f"{found.file} {key}: {_state(values, key)}; write true or false")
    return value is not False


def _is_number(value: object) -> bool:
    """TOML has true and false; Python counts them as numbers, we do not."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def _plain(value: object) -> bool:
    """A text that can stand in a message as it is."""
    return isinstance(value, str) and 0 < len(value) <= 40 and not text_fault(value)


def _state(values: Mapping[str, Any], key: str) -> str:
    return f"is {_shown(values[key])}" if key in values else "is missing"


def _shown(value: object) -> str:
    """A TOML value as it stands in a message: short and on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict | list):
        return "a section" if isinstance(value, dict) else "a list that does not fit"
    if isinstance(value, int) and abs(value) > 1e15:
        return "a huge number"
    return quoted(value) if isinstance(value, str) else str(value)
