"""Readings as a file has them, and spectra as the rest of the package has them.

`Readings`, on their own wavelengths and in their own scale, are what the readers of
all formats hand over.  `scale.scaled` brings the values to 0-1, which may take a look at the
whole file; only then does a spectrum come to the grid, as a `NamedSpectrum`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import average
from matchkit.files.amounts import quoted
from matchkit.files.conditions import Stated, listed
from matchkit.files.text import Findings, text_fault

Array = NDArray[np.float64]

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
