"""What an option may be: types for argparse, which names the option and says what was found."""

import argparse
import re
from collections.abc import Callable
from math import inf, isfinite

from matchkit.files.text import two_ways, ungrouped
from matchkit.paper.jobsize import CM2_PER_IN2, UM_PER_MIL
from matchkit.paper.weighing import CONTAINERS_ML, Container

CM_PER_IN = 2.54
DIGITS = r"([0-9]+[.,]?[0-9]*|[.,][0-9]+)"


def number(text: str) -> float:
    """A number with a decimal point.

    >>> number("2.5")
    2.5
    """
    return _read(text, "a number alone, such as 2.5")


def positive(text: str) -> float:
    """A number above 0."""
    value = number(text)
    if value <= 0:
        raise _found(text, "a number above 0")
    return value


def in_grams(read: Callable[[str], float]) -> Callable[[str], float]:
    """`read`, of grams: 2,5 and 1 000 are taken too; 1.000, which may be 1 or 1000, is not.

    >>> in_grams(positive)("1 000")
    1000.0
    """

    def typed(text: str) -> float:
        if fault := two_ways(text):
            raise argparse.ArgumentTypeError(fault)
        return read(ungrouped(text).replace(",", "."))

    return typed


def between(low: float, high: float, words: str = "") -> Callable[[str], float]:
    """The type of a number from `low` to `high`, which `words` tell otherwise."""

    def read(text: str) -> float:
        value = number(text)
        if not low <= value <= high:
            raise _found(text, words or f"{low:g} to {high:g}")
        return value

    return read


def whole(low: float = 1, high: float = inf) -> Callable[[str], int]:
    """The type of a whole number from `low` to `high`."""

    def read(text: str) -> int:
        what = "a whole number"
        if high < inf:
            what += f" from {low:g} to {high:g}"
        elif low:
            what += f", {low:g} or more"
        value = _read(text, what)
        if value != int(value) or not low <= value <= high:
            raise _found(text, what)
        return int(value)

    return read


def share(most: float, *, none: bool = False) -> Callable[[str], float]:
    """The type of a percentage above 0 (0 too, with `none`), which becomes a share."""

    def read(text: str) -> float:
        percent = number(text)
        if not 0 <= percent <= most or (percent == 0 and not none):
            raise _found(text, f"{'0' if none else 'more than 0'} to {most:g} percent")
        return percent / 100

    return read


def lab(text: str) -> list[float]:
    """L*, a*, b* with decimal points."""
    parts = text.split(",")
    if len(parts) != 3:
        raise _found(text, "L,a,b with decimal points, as 62.5,10,-4.2")
    return [number(part) for part in parts]


def microns(text: str) -> float:
    """A thickness in um: ``60``, ``60um``, ``2.4mil`` or ``2,4mil`` (thousandths of an inch).

    >>> microns("60um"), microns("2,5mil")
    (60.0, 63.5)
    """
    word = text.strip().casefold().replace(",", ".")
    for unit, um in (("mil", UM_PER_MIL), ("um", 1.0), ("µm", 1.0), ("μm", 1.0)):
        if word.endswith(unit):
            return um * positive(word.removesuffix(unit).strip())
    return positive(word)


def size_cm2(text: str) -> float:
    """The area of an artwork from its sides, ``30x40cm`` or ``12x16in``."""
    sides = re.fullmatch(rf"{DIGITS}\s*[x×*]\s*{DIGITS}\s*(cm|in)", text.strip().casefold())
    if sides is None:
        raise argparse.ArgumentTypeError(f"found {text!r}; write it as 30x40cm or 12x16in")
    unit = CM_PER_IN if sides[3] == "in" else 1.0
    return _decimal(sides[1]) * _decimal(sides[2]) * unit**2


def area_cm2(text: str) -> float:
    """An area, ``1200cm2`` or ``186in2``."""
    area = re.fullmatch(rf"{DIGITS}\s*(cm2|cm²|in2|in²)", text.strip().casefold())
    if area is None:
        raise argparse.ArgumentTypeError(f"found {text!r}; write it as 1200cm2 or 186in2")
    return _decimal(area[1]) * (CM2_PER_IN2 if area[2].startswith("in") else 1.0)


def container(text: str) -> Container:
    """A container by its name, or of so many millilitres."""
    if text in CONTAINERS_ML:
        return Container(name=text, volume_ml=CONTAINERS_ML[text])
    try:
        return Container(name=f"{text} ml", volume_ml=positive(text))
    except argparse.ArgumentTypeError:
        names = ", ".join(CONTAINERS_ML)
        raise argparse.ArgumentTypeError(f"found {text!r}; write {names}, or millilitres") from None


def named_percent(text: str) -> tuple[str, float]:
    """A name and a percentage, ``NAME=PERCENT``."""
    name, equals, percent = text.rpartition("=")
    if not equals or not name:
        raise _found(text, "NAME=PERCENT")
    return name, number(percent)


def _decimal(digits: str) -> float:
    return float(digits.replace(",", "."))


def _read(text: str, what: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = inf
    if not isfinite(value):
        raise _found(text, what)
    return value


def _found(text: str, what: str) -> argparse.ArgumentTypeError:
    return argparse.ArgumentTypeError(f"found {text!r}, need {what}")
