"""What a form shows, and what a notebook keeps: paragraphs, tables, pictures, pages.

One list of parts is shown in two ways.  A form puts it on the screen as HTML; a still
hands it to the notebook, which stores it, so that a reader without Python sees it too.
Code hosts strip colours from stored HTML: colours are in pictures, never in a style.
"""

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from matchkit.paper.sheet import text_columns

__all__ = ["Page", "Part", "Picture", "Table", "html_of", "show", "text_of"]


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A PNG and what it shows in words, for those who can't see it."""

    png: bytes
    alt: str
    wide: bool = False  # fills a line of a form; others stand side by side


@dataclass(frozen=True, kw_only=True)
class Table:
    """Text cells under a heading; every column but the first holds figures, unless `words`."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    words: tuple[int, ...] = ()  # columns that hold words


@dataclass(frozen=True, kw_only=True)
class Page:
    """A whole page to print, shown in a frame."""

    title: str
    html: str


Part = str | Table | Picture | Page


def html_of(parts: Sequence[Part]) -> str:
    """The parts as HTML for a form; a string is a paragraph of plain text.

    >>> html_of(["5 < 6"])
    '<p>5 &lt; 6</p>'
    """
    return "\n".join(_html(part) for part in parts)


def text_of(part: Part) -> str:
    """The part in plain text: what is read where nothing else can be shown."""
    if isinstance(part, Picture):
        return f"[picture: {part.alt}]"
    if isinstance(part, Page):
        return f"[page: {part.title}]"
    if isinstance(part, Table):
        align = "".join("l" if k == 0 or k in part.words else "r" for k in range(len(part.head)))
        lines = text_columns([part.head, *part.rows], align)
        return "\n".join([part.caption, *lines] if part.caption else lines)
    return part


def show(parts: Sequence[Part]) -> None:
    """Hand the parts to the notebook, which stores them: no widget, nothing that needs one."""
    from IPython.display import display

    for part in parts:
        bundle: dict[str, object] = {"text/plain": text_of(part)}
        metadata: dict[str, object] = {}
        if isinstance(part, Picture):
            bundle["image/png"] = base64.b64encode(part.png).decode("ascii")
            metadata["image/png"] = {"alt": part.alt, "width": 720 if part.wide else 500}
        elif not isinstance(part, Page):
            bundle["text/html"] = _table(part) if isinstance(part, Table) else _html(part)
        display(bundle, metadata=metadata, raw=True)  # type: ignore[no-untyped-call]


def _html(part: Part) -> str:
    if isinstance(part, Picture):
        data = base64.b64encode(part.png).decode("ascii")
        kind = "mk-wide" if part.wide else "mk-half"
        return f'<img class="{kind}" alt="{escape(part.alt)}" src="data:image/png;base64,{data}">'
    if isinstance(part, Table):
        return f'<div class="mk-scroll">{_table(part)}</div>'
    if isinstance(part, Page):
        return _framed(part)
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
        f'<iframe title="{escape(page.title)}" srcdoc="{escape(page.html)}"></iframe></div>'
    )
