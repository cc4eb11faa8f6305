"""Percent or 0-1: what the values of a spectrum file are, never guessed.

The file says it; or a value over 2 shows percent; or the L*a*b* that stand beside the
spectra are those of one scale; or a person says it; or as percent it would be darker than
any film is, or than anything that the shop has measured.  Else the person is asked.
"""

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from unicodedata import normalize

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.grid import HIGHEST, PERCENT, to_grid
from matchkit.colorimetry.tristimulus import Lab
from matchkit.errors import InputError, briefly
from matchkit.files.readings import Readings, StatedLab
from matchkit.files.text import Findings, quoted
from matchkit.fitting.instrument import stretched

Darkest = Callable[[], float | None]

SCALES = {"percent": "percent", "fraction": "0-1"}  # as a person says it, as it is told
LAB_WITHIN = 0.5  # dE*ab
DARKER = 0.7  # of the shop's darkest reading; less than that is no film of this shop
NO_FILM = 0.1  # percent of reflectance that no film is below; common practice, no source
USUAL = (("D65", 10), ("D50", 2), ("D65", 2), ("D50", 10), ("A", 10), ("C", 2))


@dataclass(frozen=True, kw_only=True, eq=False)
class ScaleQuestion:
    """A file that may be percent or 0-1: its first spectrum in each scale, (n_wl,)."""

    file: str
    name: str
    percent: Array
    fraction: Array

    @property
    def L(self) -> tuple[float, float]:
        """L* (D65, 10 degrees) as percent, and as 0-1."""
        dark, light = Lab(np.array([self.percent, self.fraction]), *USUAL[0])[:, 0]
        return float(dark), float(light)


def scaled(
    blocks: Sequence[Readings], found: Findings, said: str = "", darkest: Darkest | None = None
) -> tuple[list[Readings], str]:
    """The readings with values 0-1 and names composed (NFC), and the scale that they had.

    `said` is a key of `SCALES`, where a person says it; `darkest` gives the shop's darkest
    reflectance.  What is not plain to see is noted; where both are possible, that is a fault.
    """
    scale, why = _scale(blocks, found, said, darkest)
    if not scale:
        asked = _question(blocks, found)
        found.faults.append(
            f"{found.file}: percent or 0-1? As percent {quoted(asked.name)} has L*"
            f" {asked.L[0]:.0f}, as 0-1 L* {asked.L[1]:.0f}; say it with --scale percent or"
            " --scale fraction"
        )
    elif why:
        found.notes.append(f"{found.file}: read as {scale}: {why}")
    percent = scale == "percent"
    light = any((block.values > PERCENT).any() for block in blocks)
    for block in blocks if percent else ():
        found.faults.extend(_slips(block) if light and not block.scale else [])
        found.notes.extend(briefly(_too_dark(block, HIGHEST if light else NO_FILM)))
    return [
        replace(
            block,
            names=[normalize("NFC", name) for name in block.names],
            values=block.values / 100 if percent else block.values,
        )
        for block in blocks
    ], scale


def question(
    blocks: Sequence[Readings], found: Findings, darkest: Darkest | None = None
) -> ScaleQuestion | None:
    """What a person is to be asked about a file, or None where its scale is plain."""
    return None if _scale(blocks, found, "", darkest)[0] else _question(blocks, found)


def _scale(
    blocks: Sequence[Readings], found: Findings, said: str, darkest: Darkest | None
) -> tuple[str, str]:
    """The scale, or an empty text where both are possible; and why, where that is not plain."""
    declared = {block.scale for block in blocks} - {""}
    high = max(float(block.values.max(initial=0)) for block in blocks)
    low = min(float(block.values.min(initial=high)) for block in blocks)
    if len(declared) > 1:
        found.faults.append(f"{found.file}: parts of the file state different scales; use one")
    if declared == {"0-1"} and high > PERCENT:
        found.faults.append(
            f"{found.file}: the file says its scale is 0-1, but values go up to {high:.4g}; one of"
            " the two is wrong"
        )
    if declared:
        scale = min(declared)
        return scale, "as the file says" if scale == "percent" else ""
    if high > PERCENT:
        return "percent", f"values go up to {high:.4g}"
    by_lab = _by_lab(blocks)
    if by_lab:
        return by_lab, "its own L*a*b* are of this scale" if by_lab == "percent" else ""
    if said:
        return SCALES[said], "as was said"
    if low < NO_FILM:
        return "0-1", ""
    known = darkest() if darkest else None
    if known is not None and low / 100 < DARKER * known:
        return "0-1", (
            f"as percent, {low:.2g} % would be darker than any reading of this shop,"
            f" {100 * known:.2g} %"
        )
    return "", ""


def _by_lab(blocks: Sequence[Readings]) -> str:
    """The scale in which the spectra have the L*a*b* that stand beside them, if just one."""
    fits = {scale: [_fits(block, divisor) for block in blocks if any(block.labs)]
            for scale, divisor in (("percent", 100.0), ("0-1", 1.0))}  # fmt: skip
    agree = [scale for scale, each in fits.items() if each and all(each)]
    return agree[0] if len(agree) == 1 else ""


def _fits(block: Readings, divisor: float) -> bool:
    """Whether most rows have their L*a*b*, under the light that is stated or a usual one."""
    rows = [i for i, lab in enumerate(block.labs) if lab]
    labs: list[StatedLab] = [lab for lab in block.labs if lab]
    stated = np.array([lab.Lab for lab in labs])
    said = dict.fromkeys((lab.light, lab.observer) for lab in labs)
    for light, observer in USUAL if set(said) == {("", 0)} else said:
        with suppress(InputError):  # a light nobody knows; wavelengths that can't be read
            own = Lab(stretched(block.nm, block.values[rows] / divisor), light, observer)
            far = np.linalg.norm(own - stated, axis=-1)
            if np.median(far) <= LAB_WITHIN:
                return True
    return False


def _question(blocks: Sequence[Readings], found: Findings) -> ScaleQuestion:
    block = next(block for block in blocks if block.names)
    R = to_grid(block.nm, block.values[0], where=found.file)
    return ScaleQuestion(file=found.file, name=block.names[0], percent=R / 100, fraction=R)


def _slips(block: Readings) -> list[str]:
    """Rows of 0-1 but for one value, which must not turn the whole file into percent."""
    beyond = block.values > HIGHEST
    lone = (beyond.sum(axis=-1) == 1) & (block.values > PERCENT).any(axis=-1)
    return [
        f"{block.where[i]} {quoted(block.names[i])}: {block.values[i].max():.4g} at"
        f" {block.nm[block.values[i].argmax()]:g} nm among values below {HIGHEST:g}; mend it"
        for i in np.flatnonzero(lone)
    ]


def _too_dark(block: Readings, lowest: float) -> list[str]:
    """Rows of a file in percent that may have been written as 0-1: they go below `lowest`."""
    return [
        f"{block.where[i]} {quoted(block.names[i])}: nowhere above {HIGHEST:g} %, darker than"
        " most blacks; if it was written as 0-1, write the whole file in one scale"
        for i in np.flatnonzero(
            (block.values.max(axis=-1) <= HIGHEST) & (block.values.min(axis=-1) < lowest)
        )
    ]
