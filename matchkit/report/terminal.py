"""Parts of an answer as text: on a terminal, in a file, to a screen reader."""

import os
import sys
from collections.abc import Sequence

from matchkit.paper.sheet import text_columns
from matchkit.report.parts import Heading, Page, Part, Picture, Swatches, Table
from matchkit.workflows.session import Notice

WIDEST = 200  # columns of a cell: a terminal wraps by itself


def to_text(parts: Sequence[Part]) -> str:
    """The parts below each other; what is only to be seen, such as a picture, is left out.

    A table has an empty line before and after it, a heading before it.

    >>> print(to_text(["In tolerance.", Table(head=("Ink", "grams"), rows=(("White", "9.50"),))]))
    In tolerance.
    <BLANKLINE>
    Ink    grams
    White   9.50
    """
    lines: list[str] = []
    after_table = False
    for part in parts:
        if isinstance(part, Picture | Page):
            continue
        text = text_of(part)
        if not text:
            continue
        if lines and (after_table or isinstance(part, Heading | Table)):
            lines.append("")
        lines.append(text)
        after_table = isinstance(part, Table)
    return "\n".join(lines)


def text_of(part: Part) -> str:
    """One part in plain text: what is read where nothing else can be shown."""
    if isinstance(part, Picture):
        return f"[picture: {part.alt}]"
    if isinstance(part, Page):
        return f"[page: {part.title}]"
    if isinstance(part, Notice | Heading):
        return part.text
    if isinstance(part, Swatches):
        shown = [
            f"{block}{name}"
            for colour, name in zip(part.colours, part.names, strict=True)
            if (block := swatch(colour))
        ]
        return "\n".join(shown)
    if isinstance(part, Table):
        align = "".join("l" if k == 0 or k in part.words else "r" for k in range(len(part.head)))
        widest = [WIDEST] * len(part.head)
        lines = text_columns([part.head, *part.rows], align, widest=widest)
        return "\n".join([part.caption, *lines] if part.caption else lines)
    return part


def swatch(colour: str, wide: int = 6) -> str:
    """A block of a web colour where the terminal can show it, else nothing."""
    if not _shows_colours():
        return ""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"\x1b[48;2;{red};{green};{blue}m{' ' * wide}\x1b[0m "


def _shows_colours() -> bool:
    return (
        sys.stdout is not None
        and sys.stdout.isatty()
        and "NO_COLOR" not in os.environ
        and os.environ.get("TERM", "") not in ("", "dumb")
    )
