"""What the sheets share, and the plan's."""

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from itertools import groupby
from typing import TYPE_CHECKING

from matchkit.inks.drawdowns import Plan, Step

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup


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
OFF_SCREEN_MARK = "\N{ALMOST EQUAL TO}"
OFF_SCREEN = f"{OFF_SCREEN_MARK} No screen can show this colour; the nearest is shown."
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


def minus(text: str) -> str:
    """Figures with a true minus, as they stand on paper and in pictures.

    >>> minus("a* -4.2, see-1-0") == "a* \u22124.2, see-1-0"
    True
    """
    return re.sub(r"(?<![\w.-])-(?=\d)", "\N{MINUS SIGN}", text)


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
    rows: Sequence[Sequence[str]], align: str, *, widest: Sequence[int] = ()
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
            lines.append("  ".join(placed).rstrip())
    return lines


def _placed(text: str, size: int, align: str) -> str:
    space = " " * (size - width(text))
    return space + isolated(text) if align == "r" else isolated(text) + space


FOOT = 60  # letters of the title at the foot of every page


def page(template: str, facts: Mapping[str, object], *, resolution_g: float = 0.01) -> str:
    """A whole HTML page made from `templates/<template>.html.j2`.

    `facts` are what the template speaks of, by name; `lang`, the language of the page, is
    "en" unless given.  A template writes grams by ``grams(g)``, with the decimals of a
    balance that shows steps of `resolution_g`.
    """
    made = _environment().get_template(f"{template}.html.j2")
    return made.render({"lang": "en", "grams": lambda g: grams_text(g, resolution_g)} | dict(facts))


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("matchkit.paper"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {"css_string": _css_string, "minus": minus}
    return made


def _css_string(text: str) -> "Markup":
    """Text for a style sheet, where only plain letters and figures stand for themselves."""
    from markupsafe import Markup

    short = text if len(text) <= FOOT else text[:FOOT] + "..."
    plain = (c if c.isascii() and c.isalnum() else f"\\{ord(c):x} " for c in short)
    return Markup(f'"{"".join(plain)}"')


# Common practice, no source.
HOW = (
    STIR_FIRST,
    "Make the letdowns.",
    "Write the weight of each empty pot on it. A new pot: weigh in what 'add' says. The same pot"
    " again: after its drawdown take ink out until 'leave' is in it, then add.",
    *MIX,
    "Draw down, on a card with black and white, thick enough to hide both: where they can be told"
    " apart, pull another coat over the cured one.",
    "A drawdown is named after its ink, such as 'Red 5.5 in white'; its number may be keyed into"
    " the instrument in place of the name.",
    "Cure all alike, let cool, measure on the white and on the black: the same reading, or it"
    " does not hide.",
    "Other weights than planned? Write what the balance showed on the lines beside them, and enter"
    " it where the plan was made: drawdowns.csv then gets the true percents, pot after pot.",
    "What a pot holds in the end is a leftover: keep it with its percents.",
)
MADE_FIRST = "Letdowns, to weigh small amounts from"
PLAN_CAUTIONS = ("skin", "machine", "cure", "load")
HEAD = (
    "",
    "No.",
    "Drawdown",
    "pot",
    "leave, g",
    "add, g",
    "then holds, g",
    "or in a pot of its own, g",
)


def plan_html(plan: Plan, *, title: str = "Drawdown plan", shop: str = "", date: str = "") -> str:
    """Pages to print on A4, one for each ink, to work through from top to bottom."""
    facts = {
        "plan": plan,
        "title": title,
        "shop": shop,
        "date": date,
        "head_line": " · ".join(filter(None, (title, shop, date))),
        "summary": plan_summary(plan),
        "how": HOW,
        "unsourced": UNSOURCED,
        "made_first": MADE_FIRST,
        "series": [(ink, list(steps)) for ink, steps in groupby(plan.steps, lambda step: step.ink)],
        "head": HEAD,
        "short": lambda step: step.drawdown.removeprefix(f"{step.ink} "),
        "pot_cells": lambda step: _pot_cells(step, plan.resolution_g),
        "cautions": caution_list(PLAN_CAUTIONS),
    }
    return page("plan", facts, resolution_g=plan.resolution_g)


def plan_summary(plan: Plan) -> str:
    """How many drawdowns, how much ink, and in which order."""
    used_g, fresh_g = (sum(g for _, g in grams) for grams in (plan.used_g, plan.fresh_g))
    return (
        f"{len(plan.steps)} drawdowns take {used_g:.0f} g of ink; with a pot for each it would be"
        f" {fresh_g:.0f} g. Work from top to bottom: from weak to strong, one pot"
        " serves a letdown series."
    )


def _pot_cells(step: Step, resolution_g: float) -> tuple[str, str, str]:
    """Pot, what to leave in it, and what it holds then."""
    holds = grams_text(step.pot_g, resolution_g)
    if step.pot == 0:
        return "can", "", holds
    leave = "new" if step.leave_g is None else grams_text(step.leave_g, resolution_g)
    return str(step.pot), leave, holds
