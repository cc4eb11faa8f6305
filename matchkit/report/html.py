"""Parts for the terminal and as a page, with their pictures."""

import base64
import os
import struct
import sys
import zlib
from collections.abc import Sequence
from html import escape
from math import inf
from pathlib import Path

from matchkit.errors import InputError
from matchkit.files.write import write_file
from matchkit.paper.sheet import text_columns
from matchkit.report.charts import new_axes
from matchkit.report.charts import picture as drawn
from matchkit.report.parts import Banner, Heading, Page, Part, Picture, Swatches, Table
from matchkit.workflows.session import Notice

STORING = "MATCHKIT_STORE_EXAMPLES"  # in the environment: notebooks are run to be stored
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
        return part.text or f"[page: {part.title}]"
    if isinstance(part, Notice | Heading | Banner):
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


WIDTH_IN = 4.6  # what `plots` sets its type for


def png_of(picture: Picture, most_in: float = inf) -> bytes:
    """The picture as PNG, drawn at most so wide: type keeps its size on a narrow screen."""
    if picture.draw is None:
        return picture.png
    figure, ax = new_axes(min(picture.width_in, most_in), picture.height_in)
    picture.draw(ax)
    return drawn(figure)


def pictures_of(parts: Sequence[Part], names: Sequence[str] = ()) -> list[Picture]:
    """The pictures of an answer that have one of `names`, in that order; else the first ones.

    Raises InputError for a name that the answer has no picture of, or where it has none.
    """
    there: dict[str, list[Picture]] = {}
    for part in parts:
        if isinstance(part, Picture) and part.name and part.draw:
            there.setdefault(part.name, []).append(part)
    if not there:
        raise InputError("--picture: this answer has no picture; a Lab has no spectrum to show")
    chosen = list(names) or list(there)[:3]
    if missing := [name for name in chosen if name not in there]:
        have = ", ".join(there)
        raise InputError(f"--show {missing[0]}: this answer has no such picture; it has {have}")
    return [picture for name in chosen for picture in there[name]]


def write_pictures(path: str | Path, pictures: Sequence[Picture]) -> None:
    """Draw the pictures one below the other into a file (.png, .svg or .pdf)."""
    from matplotlib.figure import Figure

    heights = [each.height_in for each in pictures]
    figure = Figure(figsize=(WIDTH_IN, sum(heights)), dpi=160)
    figure.set_layout_engine("constrained", w_pad=0.08, h_pad=0.08)
    # A subfigure is laid out by itself: names placed in one stay put when the next is drawn.
    places = figure.subfigures(len(pictures), 1, height_ratios=heights, squeeze=False)[:, 0]
    for place, each in zip(places, pictures, strict=True):
        assert each.draw is not None
        each.draw(place.add_subplot())
    write_file(path, drawn(figure, Path(path).suffix.lower()[1:]))


def flat(colour: str, alt: str, width: int = 440, height: int = 120) -> Picture:
    """One colour without anything drawn, quick enough to follow a slider."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    line = b"\0" + bytes((red, green, blue)) * width
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(line * height, 9)
    chunks = (b"IHDR", header), (b"IDAT", body), (b"IEND", b"")
    png = b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in chunks
    )
    return Picture(png=png, alt=alt)


def to_html(parts: Sequence[Part], *, drawn: bool = True, most_in: float = inf) -> str:
    """The parts as HTML; a string is a paragraph of plain text.

    Not `drawn`, pictures leave their places empty for now; else they are at most `most_in` wide.

    >>> to_html(["5 < 6"])
    '<p>5 &lt; 6</p>'
    """
    return "\n".join(filter(None, (_html(part, drawn, most_in) for part in parts)))


def show(parts: Sequence[Part], *, folded: bool = False) -> None:
    """Hand the parts to the notebook, which stores them: no widget, nothing that needs one.

    With `folded` they are an example of the form above, which must not be taken for the form:
    one line, to be opened by a click, unless they are to be stored.
    """
    from IPython.display import display

    words = (text_of(part) for part in parts if isinstance(part, str | Notice | Heading | Banner))
    line = f"Example: {next(words, '')}"
    if folded and not os.environ.get(STORING):
        inner = f"<summary>{escape(line)}</summary>{to_html(parts)}"
        html = f'<details class="mk">{inner}</details>'
        display({"text/html": html, "text/plain": line}, raw=True)  # type: ignore[no-untyped-call]
        return
    if folded:  # what a notebook shows of an output that is folded
        display({"text/plain": line}, raw=True)  # type: ignore[no-untyped-call]
    for part in parts:
        if isinstance(part, Swatches) or (isinstance(part, Picture) and part.aside):
            continue  # colours in HTML would be stripped; a picture has them
        bundle: dict[str, object] = {"text/plain": text_of(part)}
        metadata: dict[str, object] = {}
        if isinstance(part, Picture):
            bundle["image/png"] = base64.b64encode(png_of(part)).decode("ascii")
            metadata["image/png"] = {"alt": part.alt, "width": 720 if part.wide else 500}
        else:
            bundle["text/html"] = _table(part) if isinstance(part, Table) else _html(part)
        display(bundle, metadata=metadata, raw=True)  # type: ignore[no-untyped-call]


def _html(part: Part, drawn: bool = True, most_in: float = inf) -> str:
    if isinstance(part, Picture) and part.aside:
        return ""
    if isinstance(part, Picture):
        kind = "mk-wide" if part.wide else "mk-half"
        if not (drawn or part.png):
            shape = f"aspect-ratio: {min(part.width_in, most_in):.2f} / {part.height_in}"
            return f'<div class="{kind} mk-quiet" style="{shape}">The picture is being drawn.</div>'
        data = base64.b64encode(png_of(part, most_in)).decode("ascii")
        return f'<img class="{kind}" alt="{escape(part.alt)}" src="data:image/png;base64,{data}">'
    if isinstance(part, Table):
        return f'<div class="mk-scroll">{_table(part)}</div>'
    if isinstance(part, Page):
        return _framed(part)
    if isinstance(part, Heading):
        return f"<h4>{escape(part.text)}</h4>"
    if isinstance(part, Banner):
        kind = "mk-pass" if part.passed else "mk-fail"
        return f'<div role="status" class="{kind}">{escape(part.text)}</div>'
    if isinstance(part, Notice):
        counted = part.code == "lots_learned"
        text = f"Allowed for: {part.text}." if counted else part.text
        quiet = counted or part.code == "lots_spread"  # not a warning, good to know
        return f'<p class="{"mk-quiet" if quiet else "mk-look"}">{escape(text)}</p>'
    if isinstance(part, Swatches):
        return ""
    return f"<p>{escape(part)}</p>"


def _table(table: Table) -> str:
    head = "".join(_cell("th", ' scope="col"', k, cell, table) for k, cell in enumerate(table.head))
    rows = "\n".join(
        "<tr>"
        + _cell("th", ' scope="row"', 0, row[0], table)
        + "".join(_cell("td", "", k, cell, table) for k, cell in enumerate(row[1:], start=1))
        + "</tr>"
        for row in table.rows
    )
    caption = f"<caption>{escape(table.caption)}</caption>" if table.caption else ""
    return (
        f'<table class="mk-table">{caption}<thead><tr>{head}</tr></thead>\n'
        f"<tbody>\n{rows}\n</tbody></table>"
    )


def _cell(tag: str, scope: str, k: int, text: str, table: Table) -> str:
    words = k == 0 or k in table.words
    # JupyterLab sets stored tables flush right; this is no colour, so losing it does no harm.
    left = f' class="{"mk-w" if k else ""}" style="text-align: left"'
    kind = left if words else ' class="mk-n"'
    return f"<{tag}{scope}{kind}>{escape(text)}</{tag}>"


def _framed(page: Page) -> str:
    """The page in a frame of its own, with a button that prints the frame alone."""
    printing = "this.parentNode.querySelector('iframe').contentWindow.print()"
    return (
        '<div class="mk-page">'
        f'<button type="button" class="jupyter-button mk-print" onclick="{printing}">'
        f"Print this page</button>\n"
        f'<iframe title="{escape(page.title)}" srcdoc="{escape(page.html)}"'
        ' style="width: 100%; max-width: 150mm; height: 36em; border: 1px solid #777;'
        ' background: #fff; display: block"></iframe></div>'
    )
