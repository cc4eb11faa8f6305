"""Parts that every printed sheet shares: page, swatches, cautions, mixing, plain text.

A sheet is one HTML page without scripts or anything from outside; a browser prints it.
Nothing on it is told by colour alone, so a grey printer does.  Names may be of any length
and script.  The same facts go into plain text, in columns that also hold where letters
are two columns wide or run from right to left.
"""

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from html import escape

__all__ = [
    "CAUTIONS",
    "DEFER",
    "MIX",
    "SHORT_CAUTIONS",
    "STIR_FIRST",
    "UNSOURCED",
    "bullets",
    "caution_list",
    "grams_text",
    "isolated",
    "name_html",
    "page",
    "swatch_pair",
    "text_columns",
    "tick",
    "width",
    "wrapped",
]

# Common practice, no source.
CAUTIONS: Mapping[str, str] = {
    "skin": "Wear gloves and eye protection; no harsh solvents on skin. Rags and waste ink go"
    " where the safety data sheet and local rules say.",
    "machine": "Rotating parts trap hair, sleeves, jewellery and fingers: keep clear; fix the"
    " container first; wait for standstill before reaching in.",
    "cure": "The whole film must reach the temperature on the ink's data sheet. Under-cured ink"
    " washes out; a wash test decides.",
    "load": "Too much pigment concentrate may never cure, or rub off. The limit is the maker's.",
    "use": "Children's wear, toys, food contact, safety wear: composition limits are law in many"
    " places, and this sheet knows nothing about composition.",
    "approval": "A predicted colour is not an approved colour: approve on the cured print, under"
    " the agreed light.",
}
DEFER = (
    "The makers' technical and safety data sheets and local rules come before anything on this"
    " sheet."
)
SHORT_CAUTIONS = (
    f"Cautions: gloves and eye protection. {CAUTIONS['machine']} Cure at the temperature on the"
    " ink's data sheet. The makers' technical and safety data sheets and local rules come first."
)
UNSOURCED = "common practice, no source"
STIR_FIRST = "Stir the stock inks first: settled ink weighs right but gives the wrong colour."
MIX = (
    "Fix the container. Start slowly; speed and time as the machine's manual and the ink's data"
    " sheet say.",
    "Stop, scrape wall, base and tool, mix again until no streak shows.",
)

STYLE = """
@page { size: SIZE; margin: 8mm 9mm 11mm; @bottom-left { content: FOOT; font: 8pt sans-serif; }
  @bottom-right { content: counter(page) " / " counter(pages); font: 8pt sans-serif; } }
* { box-sizing: border-box; print-color-adjust: exact; -webkit-print-color-adjust: exact; }
html { font: 10pt/1.3 system-ui, "Noto Sans", "DejaVu Sans", sans-serif; color: #000;
  background: #fff; -webkit-text-size-adjust: 100%; }
body { margin: 0 auto; max-width: WIDTH; padding: 4mm; overflow-wrap: anywhere; }
h1 { font-size: 15pt; line-height: 1.15; margin: 0 0 1mm; }
h2 { font-size: 11pt; margin: 3mm 0 1mm; break-after: avoid; }
p, ul, ol { margin: 0 0 1.5mm; }
ul, ol { padding-left: 5mm; }
table { border-collapse: collapse; width: 100%; }
th { font-size: 8pt; font-weight: normal; text-align: left; vertical-align: bottom; }
td { border-top: 0.3mm solid #000; padding: 1mm 1.5mm 1mm 0; vertical-align: top; }
tr { break-inside: avoid; }
thead { display: table-header-group; }
.n { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }
td.n, th.n { padding-left: 1.5mm; }
.n + td, .n + th { padding-left: 3mm; }
td.n:last-child, th.n:last-child { padding-right: 0; }
.big { font-size: 17pt; font-weight: bold; line-height: 1.15; }
.mid { font-size: 13pt; line-height: 1.5; }
.ink { font-size: 12pt; font-weight: bold; line-height: 1.2; }
.small { font-size: 8pt; line-height: 1.2; }
.small td { padding: 0.4mm 1.5mm 0.4mm 0; }
.part { display: block; font-size: 8pt; font-weight: normal; line-height: 1.25; }
.box { width: 9mm; }
.steps { list-style: none; padding: 0; }
.steps li { padding: 0 0 0.8mm 6.5mm; text-indent: -6.5mm; break-inside: avoid; }
.steps input { margin-right: 2mm; width: 4.5mm; height: 4.5mm; }
input { appearance: none; -webkit-appearance: none; width: 6mm; height: 6mm; margin: 0;
  border: 0.4mm solid #000; border-radius: 0; vertical-align: middle; text-indent: 0;
  background: #fff; }
input:checked::before { content: "\\2713"; display: block; font: bold 11pt/1 sans-serif;
  text-align: center; }
.across { columns: 3 55mm; }
.pair { display: flex; margin: 2mm 0; break-inside: avoid; }
.pair figure { flex: 1 1 0; min-width: 0; margin: 0; }
.pair span { display: block; height: 16mm; border: 0.4mm solid #000; }
.pair figure + figure span { border-left: 0; }
.pair figure + figure figcaption { padding-left: 2mm; }
.warn { border: 0.6mm solid #000; padding: 1.5mm 2mm; margin: 2mm 0; }
.warn p:last-child { margin: 0; }
.whole { break-inside: avoid; }
.fill { display: flex; flex-wrap: wrap; gap: 0 4mm; margin: 2mm 0; break-inside: avoid; }
.fill p { flex: 1 1 45mm; display: flex; min-height: 7mm; align-items: flex-end; }
.line { border-bottom: 0.3mm solid #000; flex: 1; margin-left: 2mm; }
.blank { border-bottom: 0.3mm solid #000; display: inline-block; width: 11mm; }
@media screen and (max-width: 420px) { .big { font-size: 15pt; } .mid { font-size: 11pt; } }
@media print { body { max-width: none; padding: 0; } }
"""
FOOT = 60  # letters of the title at the foot of every page
WIDEST = 34  # columns of text in a cell
SHEETS = {"A4": "210mm", "A5": "148mm"}


def page(title: str, body: str, *, size: str = "A5", lang: str = "en", style: str = "") -> str:
    """A whole HTML page to print on `size`, "A4" or "A5"; `body` is HTML, `title` text.

    Pages are numbered and carry the title, so that loose ones are found again.  `style` is
    what one kind of sheet needs beyond the shared style.
    """
    foot = _css_string(title if len(title) <= FOOT else title[:FOOT] + "...")
    shared = STYLE.replace("SIZE", size).replace("WIDTH", SHEETS[size]).replace("FOOT", foot)
    return (
        f'<!doctype html>\n<html lang="{escape(lang)}">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{shared}{style}</style>\n</head>\n"
        f"<body>\n{body}\n</body>\n</html>\n"
    )


def _css_string(text: str) -> str:
    """Text for a style sheet, where only plain letters and figures stand for themselves."""
    plain = (c if c.isascii() and c.isalnum() else f"\\{ord(c):x} " for c in text)
    return f'"{"".join(plain)}"'


def name_html(name: str) -> str:
    """A name, safe in HTML, that leaves the direction of the text around it alone.

    >>> name_html("<b>")
    '<bdi>&lt;b&gt;</bdi>'
    """
    return f"<bdi>{escape(name)}</bdi>"


def tick(what: str) -> str:
    """A box to tick, on paper or on a screen; `what` is read aloud, not shown."""
    return f'<input type="checkbox" aria-label="{escape(what)}">'


def bullets(lines: Iterable[str], *, ticks: bool = False) -> str:
    """Text lines as an HTML list, with boxes to tick if wanted."""
    items = (f"<li>{tick(line) if ticks else ''}{escape(line)}</li>" for line in lines)
    return f"<ul{' class=steps' if ticks else ''}>\n" + "\n".join(items) + "\n</ul>"


def swatch_pair(swatches: Sequence[tuple[str, str]]) -> str:
    """Colours edge to edge: web colour and what stands below it, both text."""
    figures = (
        f'<figure><span style="background:{escape(colour)}"></span>'
        f'<figcaption class="small">{escape(caption)}</figcaption></figure>'
        for colour, caption in swatches
    )
    return f'<div class="pair">{"".join(figures)}</div>'


def caution_list(keys: Iterable[str]) -> tuple[str, ...]:
    """The cautions of those keys, and what comes before all of them."""
    return (*(CAUTIONS[key] for key in keys), DEFER)


def grams_text(grams: float, resolution_g: float) -> str:
    """A weight with as many decimals as the balance shows.

    >>> grams_text(12.5, 0.01), grams_text(12.0, 1.0)
    ('12.50', '12')
    """
    decimals = len(f"{resolution_g:.6f}".rstrip("0").partition(".")[2])
    return f"{grams:.{decimals}f}"


def isolated(name: str) -> str:
    """A name for a line of text: one written from right to left is set apart (UAX #9).

    Else the figures that follow it would change places.

    >>> isolated("Red"), isolated("\u05d0") == "\u2068\u05d0\u2069"
    ('Red', True)
    """
    if any(unicodedata.bidirectional(letter) in ("R", "AL") for letter in name):
        return f"\N{FIRST STRONG ISOLATE}{name}\N{POP DIRECTIONAL ISOLATE}"
    return name


def width(text: str) -> int:
    """Columns that `text` takes where every letter is one wide, or two (UAX #11).

    >>> width("Rot"), width("赤"), width("e\\u0301")
    (3, 2, 1)
    """
    return sum(_columns(letter) for letter in text)


def _columns(letter: str) -> int:
    if unicodedata.category(letter) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(letter) in "WF" else 1


def wrapped(text: str, columns: int) -> list[str]:
    """`text` in lines no wider than `columns`, cut between words where that is possible.

    >>> wrapped("Quay White letdown", 10)
    ['Quay White', 'letdown']
    """
    lines = [""]
    for word in text.split():
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if width(joined) <= columns:
            lines[-1] = joined
            continue
        pieces = _pieces(word, columns)
        lines[-1:] = [*([lines[-1]] if lines[-1] else []), *pieces]
    return lines


def _pieces(word: str, columns: int) -> list[str]:
    """A word cut to lines; marks stay with the letter they stand on."""
    pieces = [""]
    for letter in word:
        if width(pieces[-1]) + _columns(letter) > columns and pieces[-1]:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def text_columns(
    rows: Sequence[Sequence[str]], align: str, *, widest: Sequence[int] = (), gap: str = "  "
) -> list[str]:
    """Rows of cells as lines of text.

    `align` holds "l" or "r" for each column, `widest` how wide it may get (34 if not
    given); longer cells go on below.

    >>> text_columns([["White", "95.00"], ["Red", "5.00"]], "lr")
    ['White  95.00', 'Red     5.00']
    """
    limits = widest or [WIDEST] * len(align)
    cells = [[wrapped(cell, n) for cell, n in zip(row, limits, strict=False)] for row in rows]
    sizes = [
        max(width(line) for cell in column for line in cell) for column in zip(*cells, strict=True)
    ]
    lines = []
    for row in cells:
        for i in range(max(map(len, row))):
            parts = [cell[i] if i < len(cell) else "" for cell in row]
            placed = [_placed(p, size, a) for p, size, a in zip(parts, sizes, align, strict=False)]
            lines.append(gap.join(placed).rstrip())
    return lines


def _placed(text: str, size: int, align: str) -> str:
    space = " " * (size - width(text))
    return space + isolated(text) if align == "r" else isolated(text) + space
