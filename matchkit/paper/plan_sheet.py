"""A drawdown plan on paper: a printable A4 page, and plain text."""

from collections.abc import Iterable
from html import escape
from itertools import groupby

from matchkit.paper.sheet import (
    MIX,
    SHORT_CAUTIONS,
    STIR_FIRST,
    UNSOURCED,
    bullets,
    caution_list,
    grams_text,
    isolated,
    name_html,
    page,
    text_columns,
    tick,
    wrapped,
)
from matchkit.plan.drawdowns import Plan, Step
from matchkit.plan.pots import Grams

__all__ = ["plan_html", "plan_text"]

Letdowns = tuple[tuple[str, Grams], ...]

# Common practice, no source.
HOW = (
    STIR_FIRST,
    "Make the letdowns.",
    "Write the weight of each empty pot on it. A new pot: weigh in what 'add' says. The same pot"
    " again: after its drawdown take ink out until 'leave' is in it, then add.",
    *MIX,
    "Draw down, on a card with black and white, thick enough to hide both: where they can be told"
    " apart, pull another coat over the cured one.",
    "Cure all alike, let cool, measure on the white and on the black: the same reading, or it"
    " does not hide.",
    "Weights came out otherwise? Write what the balance showed on the lines beside them, and enter"
    " it in the form of notebook 12 or in the sheet that `matchkit plan --weigh-sheet` writes: the"
    " pots are followed, and drawdowns.csv gets the true percents.",
    "What a pot holds in the end is a leftover: keep it with its percents.",
)
MADE_FIRST = "Letdowns, to weigh small amounts from"
APART = "Letdowns that only a pot of its own needs"
PLAN_CAUTIONS = ("skin", "machine", "cure", "load")
HEAD = ("", "Drawdown", "pot", "leave, g", "add, g", "then holds, g", "or in a pot of its own, g")
HEAD_FIGURES = (2, 3, 5)
TEXT_WIDTH = 100
TEXT_COLUMNS = (3, 38, 3, 8, 34)  # tick, drawdown, pot, leave, add


def plan_html(plan: Plan, *, title: str = "Drawdown plan", lang: str = "en") -> str:
    """A page to print on A4 and to work through from top to bottom."""
    parts = [
        f"<h1>{name_html(title)}</h1>\n<p>{escape(_summary(plan))}</p>",
        "".join(f'<p class="small"><b>Note:</b> {escape(note)}.</p>' for note in plan.notes),
        f"<h2>How ({UNSOURCED})</h2>\n{bullets(HOW)}",
        _needed(plan),
        _letdowns(MADE_FIRST, plan.letdowns, plan.resolution_g),
        _letdowns(APART, plan.fresh_letdowns, plan.resolution_g),
        *(_ladder(ink, steps, plan) for ink, steps in _by_ink(plan)),
        f"<h2>Cautions</h2>\n{bullets(caution_list(PLAN_CAUTIONS))}",
    ]
    return page(title, "\n".join(filter(None, parts)), size="A4", lang=lang)


def _needed(plan: Plan) -> str:
    items = "".join(
        f"<li>{tick(name)}{name_html(name)}: {grams_text(g, plan.resolution_g)} g</li>"
        for name, g in plan.used_g
    )
    return f"<h2>Ink that it takes</h2>\n<ul class='steps across'>{items}</ul>"


def _letdowns(title: str, letdowns: Letdowns, resolution_g: float) -> str:
    if not letdowns:
        return ""
    rows = "\n".join(
        f'<tr><td class="box">{tick(name)}</td><td>{name_html(name)}</td>'
        f"<td>{_weights_html(parts, resolution_g, ' + ')}</td></tr>"
        for name, parts in letdowns
    )
    return f"<h2>{title}</h2>\n<table>{rows}</table>"


def _ladder(ink: str, steps: list[Step], plan: Plan) -> str:
    head = "".join(
        f"<th{' class=n' if i in HEAD_FIGURES else ''}>{text}</th>" for i, text in enumerate(HEAD)
    )
    rows = "\n".join(_step_row(step, plan.resolution_g) for step in steps)
    return (
        f"<h2>{name_html(ink)}</h2>\n<table>\n<thead><tr>{head}</tr></thead>\n"
        f"<tbody>\n{rows}\n</tbody>\n</table>"
    )


def _step_row(step: Step, resolution_g: float) -> str:
    pot, leave, holds = _pot_cells(step, resolution_g)
    return (
        f'<tr><td class="box">{tick(step.drawdown)}</td><td>{name_html(step.drawdown)}</td>'
        f'<td class="n">{pot}</td><td class="n"><b>{leave}</b></td>'
        f"<td>{_weights_html(step.adds, resolution_g)}</td>"
        f'<td class="n">{holds}</td><td class="small">{_fresh(step, resolution_g)}</td></tr>'
    )


def _weights_html(grams: Grams, resolution_g: float, between: str = "<br>") -> str:
    """What to weigh, figures first, and a line for what the balance showed."""
    return between.join(
        f'<b>{grams_text(g, resolution_g)}</b> <span class="blank"></span> {name_html(what)}'
        for what, g in grams
    )


def _fresh(step: Step, resolution_g: float) -> str:
    if step.leave_g is None and step.pot == 0:
        return ""
    return ", ".join(f"{grams_text(g, resolution_g)} {name_html(what)}" for what, g in step.fresh)


# ---- the same in plain text


def plan_text(plan: Plan) -> str:
    """The plan as plain text: letdowns, then ink by ink what to leave and add."""
    parts = [
        [*wrapped(_summary(plan), TEXT_WIDTH), *(f"Note: {note}." for note in plan.notes)],
        *([_text_letdowns(plan)] if plan.letdowns else []),
        *(_text_ladder(ink, steps, plan.resolution_g) for ink, steps in _by_ink(plan)),
        wrapped(SHORT_CAUTIONS, TEXT_WIDTH),
    ]
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def _text_letdowns(plan: Plan) -> list[str]:
    cells = [["[ ]", name, _weights(parts, plan.resolution_g)] for name, parts in plan.letdowns]
    return [
        MADE_FIRST,
        *text_columns(cells, "lll", widest=(3, 44, 48)),
    ]


def _text_ladder(ink: str, steps: Iterable[Step], resolution_g: float) -> list[str]:
    cells = [["", *HEAD[1:5]]]
    for step in steps:
        pot, leave, _ = _pot_cells(step, resolution_g)
        cells.append(["[ ]", step.drawdown, pot, leave, _weights(step.adds, resolution_g)])
    return [isolated(ink), *text_columns(cells, "llrrl", widest=TEXT_COLUMNS)]


def _weights(grams: Grams, resolution_g: float) -> str:
    return ", ".join(f"{grams_text(g, resolution_g)} {isolated(what)}" for what, g in grams)


# ---- words for both


def _by_ink(plan: Plan) -> Iterable[tuple[str, list[Step]]]:
    return ((ink, list(steps)) for ink, steps in groupby(plan.steps, key=lambda step: step.ink))


def _summary(plan: Plan) -> str:
    used_g, fresh_g = (sum(g for _, g in grams) for grams in (plan.used_g, plan.fresh_g))
    return (
        f"{len(plan.steps)} drawdowns take {used_g:.0f} g of ink; with a pot for each it would be"
        f" {fresh_g:.0f} g. Work from top to bottom: from weak to strong, one pot"
        " serves a ladder."
    )


def _pot_cells(step: Step, resolution_g: float) -> tuple[str, str, str]:
    """Pot, what to leave in it, and what it holds then."""
    holds = grams_text(step.pot_g, resolution_g)
    if step.pot == 0:
        return "can", "", holds
    leave = "new" if step.leave_g is None else grams_text(step.leave_g, resolution_g)
    return str(step.pot), leave, holds
