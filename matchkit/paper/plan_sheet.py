"""A drawdown plan on paper: a printable A4 page, and plain text."""

from collections.abc import Iterable
from itertools import groupby

from matchkit.paper.pages import page
from matchkit.paper.sheet import (
    MIX,
    SHORT_CAUTIONS,
    STIR_FIRST,
    UNSOURCED,
    caution_list,
    grams_text,
    isolated,
    text_columns,
    wrapped,
)
from matchkit.plan.drawdowns import Plan, Step
from matchkit.plan.pots import Grams

__all__ = ["plan_html", "plan_text"]

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
PLAN_CAUTIONS = ("skin", "machine", "cure", "load")
HEAD = ("", "Drawdown", "pot", "leave, g", "add, g", "then holds, g", "or in a pot of its own, g")
TEXT_WIDTH = 100
TEXT_COLUMNS = (3, 38, 3, 8, 34)  # tick, drawdown, pot, leave, add


def plan_html(plan: Plan, *, title: str = "Drawdown plan", lang: str = "en") -> str:
    """A page to print on A4 and to work through from top to bottom."""
    facts = {
        "plan": plan,
        "title": title,
        "summary": _summary(plan),
        "how": HOW,
        "unsourced": UNSOURCED,
        "made_first": MADE_FIRST,
        "series": list(_by_ink(plan)),
        "head": HEAD,
        "pot_cells": lambda step: _pot_cells(step, plan.resolution_g),
        "cautions": caution_list(PLAN_CAUTIONS),
        "lang": lang,
    }
    return page("plan", facts, resolution_g=plan.resolution_g)


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
