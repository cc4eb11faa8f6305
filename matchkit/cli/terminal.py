"""How answers look on a terminal: tables, swatches, progress, JSON."""

import argparse
import json
import os
import sys
import time
import unicodedata
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import GRID_NM
from matchkit.errors import InputError

__all__ = [
    "json_option",
    "number_of",
    "positive",
    "print_json",
    "progress_line",
    "say",
    "spectrum_json",
    "swatch",
    "table",
    "whole",
]

WAIT_S = 1.0  # progress shows after this long


def say(line: str) -> None:
    """A line for the person, never part of the answer: standard error."""
    print(line, file=sys.stderr)


def print_json(answer: dict[str, Any]) -> None:
    """The one JSON document of a command.  NaN has no place in it."""
    print(json.dumps(answer, ensure_ascii=False, allow_nan=False, indent=1))


def json_option(parser: argparse.ArgumentParser) -> None:
    """``--json``, which every command takes."""
    parser.add_argument(
        "--json", action="store_true", help="one JSON document instead of text for people"
    )


def spectrum_json(R: NDArray[np.float64]) -> dict[str, list[float]]:
    """A spectrum as JSON writes it."""
    return {
        "wavelength_nm": [int(nm) for nm in GRID_NM],
        "values": [round(float(value), 6) for value in R],
    }


def number_of(text: str, option: str) -> float:
    """A number with a decimal point from the command line; InputError names the option."""
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        raise InputError(f"{option}: found {text!r}, need a number with a decimal point")
    return value


def positive(text: str, option: str) -> float:
    """A number above zero from the command line."""
    value = number_of(text, option)
    if value <= 0:
        raise InputError(f"{option}: found {text!r}, need a number above 0")
    return value


def whole(text: str, option: str) -> int:
    """A whole number above 0 from the command line."""
    value = positive(text, option)
    if value != int(value):
        raise InputError(f"{option}: found {text!r}, need a whole number")
    return int(value)


def swatch(hex_colour: str, wide: int = 6) -> str:
    """A block of colour where the terminal can show it, else nothing."""
    if not _colours():
        return ""
    red, green, blue = (int(hex_colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"\x1b[48;2;{red};{green};{blue}m{' ' * wide}\x1b[0m "


def _colours() -> bool:
    return (
        sys.stdout.isatty()
        and "NO_COLOR" not in os.environ
        and os.environ.get("TERM", "") not in ("", "dumb")
    )


def width(text: str) -> int:
    """Columns that a text takes: wide characters take two, combining marks none."""
    return sum(
        0 if unicodedata.combining(ch) else 2 if unicodedata.east_asian_width(ch) in "WF" else 1
        for ch in text
    )


def table(header: Sequence[str], rows: Sequence[Sequence[str]], *, indent: int = 0) -> str:
    """Columns under a header: text to the left, numbers to the right."""
    columns = list(zip(header, *rows, strict=True))
    wide = [max(width(cell) for cell in column) for column in columns]
    right = [all(_is_number(cell) for cell in column[1:]) and len(column) > 1 for column in columns]
    lines = []
    for row in (header, *rows):
        cells = [
            " " * (w - width(cell)) + cell if r else cell + " " * (w - width(cell))
            for cell, w, r in zip(row, wide, right, strict=True)
        ]
        lines.append((" " * indent + "  ".join(cells)).rstrip())
    return "\n".join(lines)


def _is_number(cell: str) -> bool:
    return not cell or cell.lstrip("+-").replace(".", "", 1).replace(" %", "").isdigit()


def progress_line(what: str) -> Callable[[int, int], None]:
    """A callback that keeps one line of progress once a second has passed."""
    started = time.monotonic()
    last = [started]

    def tell(done: int, total: int) -> None:
        now = time.monotonic()
        if now - started < WAIT_S or (now - last[0] < 0.2 and done < total):
            return
        last[0] = now
        end = "\n" if done >= total or not sys.stderr.isatty() else ""
        start = "\r" if sys.stderr.isatty() else ""
        print(f"{start}{what}: {done} of {total}", end=end, file=sys.stderr, flush=True)

    return tell
