"""An answer as parts, and its JSON."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from matchkit.report.marks import Axes
from matchkit.workflows.session import Notice


@dataclass(frozen=True, kw_only=True)
class Heading:
    """The title of what follows."""

    text: str


@dataclass(frozen=True, kw_only=True)
class Banner:
    """The answer in a line, and whether it is a good one; a form shows it large."""

    text: str
    passed: bool


@dataclass(frozen=True, kw_only=True)
class Table:
    """Text cells under a heading; every column but the first holds figures, unless `words`."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    words: tuple[int, ...] = ()  # columns that hold words


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture and what it shows in words, for those who can't see it.

    `draw` draws into an `ax`; `png` stands in its place where the bytes are there already.
    `name` is what a person asks for it by, as in ``--show``.
    """

    alt: str
    draw: Callable[[Axes], object] | None = None
    png: bytes = b""
    width_in: float = 4.6
    height_in: float = 3.4
    wide: bool = False  # fills a line of a form; others stand side by side
    name: str = ""
    aside: bool = False  # drawn only where it is asked for by its name


@dataclass(frozen=True, kw_only=True)
class Swatches:
    """Colours beside each other: web colours (``#rrggbb``) and what each one is."""

    colours: tuple[str, ...]
    names: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Page:
    """A whole page to print, shown in a frame; `text` says the same where there is none."""

    title: str
    html: str
    text: str = ""


Part = str | Notice | Heading | Banner | Table | Picture | Swatches | Page


def by_light(head: str, lights: Sequence[str], values: Sequence[float]) -> str:
    """Differences under each light in one line.

    >>> by_light("dE00", ["D65", "A"], [0.1234, 1.0])
    'dE00 D65 0.12  A 1.00'
    """
    return f"{head} " + "  ".join(
        f"{light} {value:.2f}" for light, value in zip(lights, values, strict=True)
    )


def to_json(answer: Mapping[str, Any]) -> str:
    """The one JSON document of an answer.  NaN has no place in it."""
    return json.dumps(answer, ensure_ascii=False, allow_nan=False, indent=1)
