"""What a spectrum file holds, before anything is done with it."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.grid import HIGHEST, LOWEST, to_grid
from matchkit.colorimetry.tristimulus import Lab
from matchkit.errors import InputError, raise_any
from matchkit.files.readings import Readings, Stated, listed, with_repeats, wording_of
from matchkit.files.scale import Darkest, scaled
from matchkit.files.spectrum import read_readings
from matchkit.files.text import quoted
from matchkit.fitting.instrument import disagreement, oddities, repeats, stretched

BARS = "▁▂▃▄▅▆▇█"
PLAIN_BARS = "_.:-=+*#"  # where a terminal cannot show the others
WIDEST = 40  # characters of a small picture
LAB_APART = 1.0  # dE*ab; bandpass and rounding stay below half of it (ASTM E2729, 5.1)


@dataclass(frozen=True, kw_only=True)
class Previewed:
    """One name of a file: its readings (n_readings, n) as measured, 0-1, and what is odd."""

    name: str
    nm: Array  # (n,)
    readings: Array
    stated: str  # how it was measured, in words; empty: not stated
    spread_de00: float | None  # of repeats: mean colour difference from the mean
    oddities: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Preview:
    """A spectrum file: format, scale, ranges, what was assumed, why a match refuses it."""

    file: str
    format: str
    scale: str  # "0-1" or "percent", as the file has it
    ranges: tuple[str, ...]  # such as "400-700 nm by 10"
    spectra: tuple[Previewed, ...]
    lab_apart: float | None  # largest dE*ab between a stated Lab and its spectrum's
    refusals: tuple[str, ...]
    notes: tuple[str, ...]


def preview(
    path: str | Path,
    light: str = "D65",
    observer: int = 10,
    *,
    scale: str = "",
    repeats: bool = False,
    darkest: Darkest | None = None,
) -> Preview:
    """Look at a file.  Repeats are compared under `light`; for the others see `read_spectra`.

    Raises `InputError` if it is unreadable, or if it may be percent or 0-1.
    """
    raw, kind, found = read_readings(path)
    blocks, told = scaled(raw, found, scale, darkest)
    blocks = with_repeats(blocks, found) if repeats else blocks
    raise_any(found.faults)
    ranges, refusals, spectra = [], [], []
    copies = _copies(blocks)
    apart: list[float] = []
    for block in blocks:
        ranges.append(_range(block.nm))
        refusals += _refusal(block, found.file)
        off = _labs_apart(block)
        apart += [float(value) for value in off if np.isfinite(value)]
        spectra += _previewed(block, off, copies, light, observer)
    return Preview(
        file=found.file,
        format=kind,
        scale=told,
        ranges=tuple(dict.fromkeys(ranges)),
        spectra=tuple(spectra),
        lab_apart=max(apart, default=None),
        refusals=tuple(dict.fromkeys(refusals)),
        notes=tuple(found.notes),
    )


def sparkline(values: Array, bars: str = BARS) -> str:
    """A spectrum in one line of text, 0 to 1 from the lowest bar to the highest.

    >>> sparkline(np.array([0.0, 0.2, 0.5, 0.9, 1.0]), PLAIN_BARS)
    '_.=##'
    """
    shown = np.asarray(values, dtype=float)
    if shown.size > WIDEST:
        shown = shown[np.linspace(0, shown.size - 1, WIDEST).round().astype(int)]
    level = np.clip(shown / max(1.0, float(shown.max())) * len(bars), 0, len(bars) - 1)
    return "".join(bars[int(i)] for i in level)


def _previewed(
    block: Readings, off: Array, copies: dict[bytes, Counter[str]], light: str, observer: int
) -> list[Previewed]:
    """The readings of a block by name and way of measuring."""
    groups: dict[tuple[str, Stated], list[int]] = {}
    for i, key in enumerate(zip(block.names, block.stated, strict=True)):
        groups.setdefault(key, []).append(i)
    shown, each_odd = [], oddities(block.nm, block.values)
    for (name, stated), rows in groups.items():
        readings = block.values[rows]
        spread, odd = _spread(block.nm, readings, light, observer)
        odd += [*_told([each_odd[i] for i in rows]), *_copied(name, readings, copies)]
        odd += [
            f"the file gives it an L*a*b* {far:.1f} dE*ab from that of its spectrum: wrong"
            " wavelengths, scale or light"
            for far in off[rows]
            if far > LAB_APART
        ]
        shown.append(
            Previewed(
                name=name,
                nm=block.nm,
                readings=readings,
                stated=wording_of(stated),
                spread_de00=spread,
                oddities=tuple(dict.fromkeys(odd)),
            )
        )
    return shown


def _spread(
    nm: Array, readings: Array, light: str, observer: int
) -> tuple[float | None, list[str]]:
    """The spread of repeats, and what to say if they disagree."""
    if len(readings) < 2:
        return None, []
    try:
        found = repeats(stretched(nm, readings), light, observer)
    except InputError:  # its wavelengths, which `refusals` tell of
        return None, []
    line = disagreement(found)
    return found.spread_de00, [line] if line else []


def _told(each_odd: Sequence[list[str]]) -> list[str]:
    """Oddities with the number of the reading, where there are several."""
    several = len(each_odd) > 1
    return [
        f"reading {i}: {line}" if several else line
        for i, lines in enumerate(each_odd, 1)
        for line in lines
    ]


def _copies(blocks: Sequence[Readings]) -> dict[bytes, Counter[str]]:
    """How often each name has the same values."""
    names: dict[bytes, Counter[str]] = {}
    for block in blocks:
        for name, values in zip(block.names, block.values, strict=True):
            names.setdefault(values.tobytes(), Counter())[name] += 1
    return names


def _copied(name: str, readings: Array, copies: dict[bytes, Counter[str]]) -> list[str]:
    lines = []
    for key in dict.fromkeys(R.tobytes() for R in readings):
        other = next((each for each in copies[key] if each != name), "")
        if other:
            count = len(copies[key]) - 2
            more = f" and {count} more" if count else ""
            lines.append(f"the very values of {quoted(other)}{more}: is one of them a copy?")
        if copies[key][name] > 1:
            lines.append("the same reading more than once: a copy, not a repeat")
    return lines


def _range(nm: Array) -> str:
    step = f" by {nm[1] - nm[0]:g}" if nm.size > 1 else ""
    return f"{nm.min():g}-{nm.max():g} nm{step}" if nm.size else "no wavelengths"


def _refusal(block: Readings, file: str) -> list[str]:
    """Why a match or a shop would not take these readings."""
    try:
        to_grid(block.nm, block.values, where=file)
    except InputError as error:
        return list(error.faults)
    wrong = ((block.values > HIGHEST) | (block.values < LOWEST)).any(axis=-1)
    names = list(dict.fromkeys(block.names[i] for i in np.flatnonzero(wrong)))
    if names:
        return [f"{file}: {listed(names)}: a value below {LOWEST:g} or over {HIGHEST:g}"]
    return []


def _labs_apart(block: Readings) -> Array:
    """dE*ab between a Lab that stands beside a spectrum and the spectrum's own, or NaN."""
    off = np.full(len(block.names), np.nan)
    kinds: dict[tuple[str, int], list[int]] = {}
    labs = {i: lab for i, lab in enumerate(block.labs) if lab and lab.light}
    for i, lab in labs.items():
        kinds.setdefault((lab.light, lab.observer), []).append(i)
    for (light, observer), rows in kinds.items():
        stated = np.array([labs[i].Lab for i in rows])
        try:
            own = Lab(stretched(block.nm, block.values[rows]), light, observer)
        except InputError:  # a light nobody knows, or wavelengths that `refusals` tell of
            continue
        off[rows] = np.linalg.norm(own - stated, axis=-1)
    return off
