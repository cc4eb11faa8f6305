"""Values of options, and files that are written."""

import argparse
import re
from collections.abc import Callable, Iterator
from contextlib import suppress
from math import inf, isfinite
from pathlib import Path

from matchkit.cli.folders import is_shop
from matchkit.errors import InputError
from matchkit.files.text import two_ways, ungrouped
from matchkit.paper.jobsize import CM2_PER_IN2, UM_PER_MIL
from matchkit.paper.weighing import CONTAINERS_ML, Container

CM_PER_IN = 2.54
DIGITS = r"([0-9]+\.?[0-9]*|\.[0-9]+)"


def number(text: str) -> float:
    """A number with a decimal point.

    >>> number("2.5")
    2.5
    """
    return _read(text, "a number with a decimal point")


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
    """A thickness in um: ``60``, ``60um`` or ``2.4mil`` (thousandths of an inch).

    >>> microns("60um")
    60.0
    """
    word = text.strip().casefold()
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
    return float(sides[1]) * float(sides[2]) * unit**2


def area_cm2(text: str) -> float:
    """An area, ``1200cm2`` or ``186in2``."""
    area = re.fullmatch(rf"{DIGITS}\s*(cm2|cm²|in2|in²)", text.strip().casefold())
    if area is None:
        raise argparse.ArgumentTypeError(f"found {text!r}; write it as 1200cm2 or 186in2")
    return float(area[1]) * (CM2_PER_IN2 if area[2].startswith("in") else 1.0)


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


# Of a shop folder, in lower case: some disks take INKS.CSV for inks.csv.
OWN = (
    *("shop.toml", "inks.csv", "drawdowns.csv", "spectra.csv", "mixes.csv", "grounds.csv"),
    *("films.csv", "film_spectra.csv", "targets.csv", "instrument.csv", "fit.json", "book.db"),
)
PAGES, PICTURES = (".html", ".htm"), (".png", ".svg", ".pdf")
RECORDS = (".toml", ".json", ".jsonl", ".cxf", ".xml", ".db", ".bak")  # neither pages nor tables
TABLES = (".csv", ".txt")
RECIPE_HEAD = b"ink,grams"


class OutFile(str):
    """The name of a file that an option writes."""


class RecipeFile(OutFile):
    """The name of a recipe file that an option writes; it is written over a recipe alone."""


def page(path: str) -> OutFile:
    """The type of an option that writes a page."""
    return OutFile(_not_ending(path, (*TABLES, *RECORDS, *PICTURES), ".html"))


def picture_file(path: str) -> OutFile:
    """The type of an option that draws a picture."""
    return OutFile(_ending(path, PICTURES))


def recipe_csv(path: str) -> OutFile:
    """The type of an option that writes a recipe."""
    return RecipeFile(_not_ending(path, (*PAGES, *RECORDS, *PICTURES), ".csv"))


def new_file(path: str) -> OutFile:
    """The type of an option whose command itself knows what it may write over."""
    return OutFile(path)


def check_outputs(args: argparse.Namespace) -> None:
    """InputError with every name of `args` that may not be written."""
    named = [(key, text) for key, value in vars(args).items() for text in _texts(value)]
    inputs = [text for _, text in named if not isinstance(text, OutFile)]
    told = [(key, _refused(text, inputs)) for key, text in named if isinstance(text, OutFile)]
    faults = [f"--{key.replace('_', '-')}: {why}; give another name" for key, why in told if why]
    if faults:
        raise InputError(faults)


def _ending(path: str, suffixes: tuple[str, ...]) -> str:
    if Path(path).suffix.lower() not in suffixes:
        raise argparse.ArgumentTypeError(f"found {path!r}; end the name in {', '.join(suffixes)}")
    return path


def _not_ending(path: str, others: tuple[str, ...], usual: str) -> str:
    if Path(path).suffix.lower() in others:
        raise argparse.ArgumentTypeError(f"found {path!r}; end the name in {usual}")
    return path


def _texts(value: object) -> Iterator[str]:
    """The texts of an argument: one, or those of a list."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, list):
        yield from (each for each in value if isinstance(each, str))


def _refused(output: str, inputs: list[str]) -> str:
    """Why a name may not be written, or an empty string."""
    path = Path(output)
    with suppress(OSError, ValueError, RuntimeError):  # no path at all: writing will say so
        real = path.resolve()
        if any(p.name.lower() in OWN and is_shop(p.parent) for p in (path.absolute(), real)):
            return f"{output} is one of the shop's own files"
        if real.is_file() and any(_same(real, text) for text in inputs):
            return f"{output} is read by this very command"
        if isinstance(output, RecipeFile) and not _was_recipe(real):
            return f"{output} is there already and is no recipe of {RECIPE_HEAD.decode()}"
    return ""


def _same(real: Path, text: str) -> bool:
    with suppress(OSError, ValueError):
        return real.samefile(text)
    return False


def _was_recipe(path: Path) -> bool:
    """Whether a file is not there, empty, or what this option writes."""
    if not path.is_file() or not path.stat().st_size:
        return True
    with path.open("rb") as file:
        return file.read(len(RECIPE_HEAD) + 3).removeprefix(b"\xef\xbb\xbf").startswith(RECIPE_HEAD)
