"""What every printed sheet says, cautions and mixing, and columns of plain text.

The columns also hold where letters are two columns wide or run from right to left.
"""

import unicodedata
from collections.abc import Iterable, Mapping, Sequence

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

WIDEST = 34  # columns of text in a cell


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
