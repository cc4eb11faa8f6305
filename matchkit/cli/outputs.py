"""Where a command may write: never over what it reads, and never over a shop's own files.

An option that writes a file has one of the types here, which marks the name; `check_outputs`
finds the marked names of any command before that runs.
"""

import argparse
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from matchkit.cli.folders import is_shop
from matchkit.errors import raise_any

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
    if Path(path).suffix.lower() not in PICTURES:
        raise argparse.ArgumentTypeError(f"found {path!r}; end the name in {', '.join(PICTURES)}")
    return OutFile(path)


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
    raise_any(faults)


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
