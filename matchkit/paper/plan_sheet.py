"""A drawdown plan on paper: a printable A4 page."""

from collections.abc import Iterable
from itertools import groupby

from matchkit.paper.pages import page
from matchkit.paper.sheet import (
    MIX,
    STIR_FIRST,
    UNSOURCED,
    caution_list,
    grams_text,
)
from matchkit.plan.drawdowns import Plan, Step

# Common practice, no source.
HOW = (
    STIR_FIRST,
    "Make the letdowns.",
    "Write the weight of each empty pot on it. A new pot: weigh in what 'add' says. The same pot"
    " again: after its drawdown take ink out until 'leave' is in it, then add.",
    *MIX,
    "Draw down, on a card with black and white, thick enough to hide both: where they can be told"
    " apart, pull another coat over the cured one.",
    "The number of a drawdown may be keyed into the instrument in place of its name.",
    "Cure all alike, let cool, measure on the white and on the black: the same reading, or it"
    " does not hide.",
    "Weights came out otherwise? Write what the balance showed on the lines beside them, and enter"
    " it in the form of notebook 12 or in the sheet that `matchkit plan --weigh-sheet` writes: the"
    " pots are followed, and drawdowns.csv gets the true percents.",
    "What a pot holds in the end is a leftover: keep it with its percents.",
)
MADE_FIRST = "Letdowns, to weigh small amounts from"
PLAN_CAUTIONS = ("skin", "machine", "cure", "load")
HEAD = (
    "",
    "Drawdown",
    "no.",
    "pot",
    "leave, g",
    "add, g",
    "then holds, g",
    "or in a pot of its own, g",
)


def plan_html(plan: Plan, *, title: str = "Drawdown plan", lang: str = "en") -> str:
    """A page to print on A4 and to work through from top to bottom."""
    facts = {
        "plan": plan,
        "title": title,
        "summary": plan_summary(plan),
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


def _by_ink(plan: Plan) -> Iterable[tuple[str, list[Step]]]:
    return ((ink, list(steps)) for ink, steps in groupby(plan.steps, key=lambda step: step.ink))


def plan_summary(plan: Plan) -> str:
    """How many drawdowns, how much ink, and in which order."""
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
