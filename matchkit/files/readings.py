"""Readings as a file has them, and spectra as the rest of the package has them.

`Readings`, on their own wavelengths and in their own scale, are what the readers of
all formats hand over.  `scaled` brings the values to 0-1, which may take a look at the
whole file; only then does a spectrum come to the grid, as a `NamedSpectrum`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from unicodedata import normalize

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import HIGHEST, PERCENT, average
from matchkit.errors import briefly
from matchkit.files.amounts import quoted
from matchkit.files.conditions import Stated
from matchkit.files.text import Findings, text_fault

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class StatedLab:
    """A CIELAB value that stands beside a spectrum, and what it was computed for."""

    Lab: tuple[float, float, float]
    light: str
    observer: int


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


def name_fault(name: str) -> str:
    """Why a text cannot name a spectrum, or an empty text."""
    fault = text_fault(name) or ("" if name.strip() else "is empty; write a name")
    if not fault and ".." in name.replace("\\", "/").split("/"):
        fault = f"{quoted(name)} is a path to another folder; write a plain name"
    return fault


def scaled(blocks: Sequence[Readings], found: Findings) -> list[Readings]:
    """The readings with values 0-1 and names composed (NFC); that they were percent is said."""
    scales = {block.scale for block in blocks} - {""}
    high = max(float(block.values.max(initial=0)) for block in blocks)
    if len(scales) > 1:
        found.faults.append(f"{found.file}: parts of the file state different scales; use one")
    declared = next(iter(scales), "")
    if declared == "0-1" and high > PERCENT:
        found.faults.append(
            f"{found.file}: the file says its scale is 0-1, but values go up to {high:.4g}; one of"
            " the two is wrong"
        )
    percent = declared == "percent" or (not declared and high > PERCENT)
    if percent:
        reason = "as the file says" if declared else f"values go up to {high:.4g}"
        found.notes.append(f"{found.file}: read as percent: {reason}")
        for block in blocks:
            found.faults.extend([] if declared else _slips(block))
            found.notes.extend(briefly(_too_dark(block)))
    return [
        replace(
            block,
            names=[normalize("NFC", name) for name in block.names],
            values=block.values / 100 if percent else block.values,
        )
        for block in blocks
    ]


def _slips(block: Readings) -> list[str]:
    """Rows of 0-1 but for one value, which must not turn the whole file into percent."""
    beyond = block.values > HIGHEST
    lone = (beyond.sum(axis=-1) == 1) & (block.values > PERCENT).any(axis=-1)
    return [
        f"{block.where[i]} {quoted(block.names[i])}: {block.values[i].max():.4g} at"
        f" {block.nm[block.values[i].argmax()]:g} nm among values below {HIGHEST:g}; mend it"
        for i in np.flatnonzero(lone)
    ]


def _too_dark(block: Readings) -> list[str]:
    """Rows of a file in percent that may have been written as 0-1."""
    return [
        f"{block.where[i]} {quoted(block.names[i])}: nowhere above {HIGHEST:g} %, darker than"
        " most blacks; if it was written as 0-1, write the whole file in one scale"
        for i in np.flatnonzero(block.values.max(axis=-1) <= HIGHEST)
    ]
