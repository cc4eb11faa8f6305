"""Parts of an answer as HTML: in a form, on a page, and as what a notebook stores.

One list of parts is shown in two ways.  A form or a page puts `to_html` on the screen;
`show` hands the parts to the notebook, which stores them, so that a reader without Python
sees them too.  Code hosts strip colours from stored HTML: colours are in pictures, never in
a style.
"""

import base64
from collections.abc import Sequence
from html import escape

from matchkit.report.parts import Heading, Page, Part, Picture, Swatches, Table
from matchkit.report.pictures import png_of
from matchkit.report.terminal import text_of
from matchkit.workflows.session import Notice


def to_html(parts: Sequence[Part]) -> str:
    """The parts as HTML; a string is a paragraph of plain text.

    >>> to_html(["5 < 6"])
    '<p>5 &lt; 6</p>'
    """
    return "\n".join(filter(None, map(_html, parts)))


def show(parts: Sequence[Part]) -> None:
    """Hand the parts to the notebook, which stores them: no widget, nothing that needs one."""
    from IPython.display import display

    for part in parts:
        if isinstance(part, Swatches) or (isinstance(part, Picture) and part.aside):
            continue  # colours in HTML would be stripped; a picture has them
        bundle: dict[str, object] = {"text/plain": text_of(part)}
        metadata: dict[str, object] = {}
        if isinstance(part, Picture):
            bundle["image/png"] = base64.b64encode(png_of(part)).decode("ascii")
            metadata["image/png"] = {"alt": part.alt, "width": 720 if part.wide else 500}
        elif not isinstance(part, Page):
            bundle["text/html"] = _table(part) if isinstance(part, Table) else _html(part)
        display(bundle, metadata=metadata, raw=True)  # type: ignore[no-untyped-call]


def _html(part: Part) -> str:
    if isinstance(part, Picture) and part.aside:
        return ""
    if isinstance(part, Picture):
        data = base64.b64encode(png_of(part)).decode("ascii")
        kind = "mk-wide" if part.wide else "mk-half"
        return f'<img class="{kind}" alt="{escape(part.alt)}" src="data:image/png;base64,{data}">'
    if isinstance(part, Table):
        return f'<div class="mk-scroll">{_table(part)}</div>'
    if isinstance(part, Page):
        return _framed(part)
    if isinstance(part, Heading):
        return f"<h4>{escape(part.text)}</h4>"
    if isinstance(part, Notice):
        counted = part.code == "lots_learned"
        text = f"Counted on: {part.text}." if counted else part.text
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
        f'<iframe title="{escape(page.title)}" srcdoc="{escape(page.html)}"></iframe></div>'
    )
