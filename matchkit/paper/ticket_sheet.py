"""A ticket and an addition slip as text and as a page."""

from collections.abc import Iterable, Sequence

import numpy as np

from matchkit.correcting.correct import Correction
from matchkit.inks.shop import Shop
from matchkit.matching.probability import chance_text
from matchkit.matching.rank import MOSTLY_CLEAR
from matchkit.paper import jobsize, sheet
from matchkit.paper.ticket import Ticket
from matchkit.paper.weighing import Fill

WORDS = {  # on the page and in the text
    "additives": "Additives, on top, g",
    "additive_note": "Weighed on top once the colour is right; not part of the colour calculation,"
    " so prove the colour with it.",
    "job_size": "Ink for the whole job",
    "assumed": "Worked out with",
    "mixing": f"Mixing ({sheet.UNSOURCED})",
    "held_back": "Held back: add in steps after the first drawdown",
}
SWATCHES = "Never judge a colour by a print-out or a screen."
TEXT_WIDTH = 76
TEXT_COLUMNS = (3, 26, 9, 9, 7, 12)  # tick, ink, add, balance, percent, lot


def ticket_html(ticket: Ticket, *, lang: str = "en") -> str:
    """A page to print on A5, or to read on a telephone beside the balance."""
    return tickets_html([ticket], lang=lang)


def tickets_html(tickets: Sequence[Ticket], *, lang: str = "en") -> str:
    """Tickets of one shop in one print, at least one, each on a sheet of its own."""
    first, *more = tickets
    named = filter(None, ("Weigh-out ticket", first.job, first.target))
    title = f"Weigh-out tickets, {first.date}" if more else " - ".join(named)
    facts = {
        "title": title,
        "tickets": [_facts(each) for each in tickets],
        "percent": _percent,
        "words": WORDS,
        "lang": lang,
    }
    return sheet.page("ticket", facts, resolution_g=first.resolution_g)


def _facts(ticket: Ticket) -> dict[str, object]:
    """What stands on one ticket."""
    swatches = filter(None, (ticket.target_hex, ticket.predicted_hex))
    shown = all(getattr(each, "on_screen", True) for each in swatches)
    return {
        "ticket": ticket,
        "mostly_clear": MOSTLY_CLEAR,
        "swatch_words": [SWATCHES, *([] if shown else [sheet.OFF_SCREEN])],
        "labs": [_lab_head(ticket), *_lab_cells(ticket)],
        "promise": _promise(ticket),
        "better_from_letdown": [each.ink for each in ticket.letdowns if not ticket.letdowns_used],
        "volume": _volume(ticket.fill),
        "letdown_title": _letdown_title(ticket),
        "letdowns": _letdown_lines(ticket),
        "job_size": ticket.job_size and jobsize.summary(ticket.job_size, ticket.batch_g),
    }


def ticket_text(ticket: Ticket) -> str:
    """The ticket as plain text, at most 76 columns wide."""
    parts = [
        _text_head(ticket),
        [
            *sheet.text_columns([_lab_head(ticket), *_lab_cells(ticket)], "lrrrrrrr"),
            *_hung("", _promise(ticket)),
        ],
        [line for warning in ticket.warnings for line in _hung("NOTE: ", warning)],
        _text_weighing(ticket),
        _text_list(_letdown_title(ticket), _letdown_lines(ticket), "- "),
        _text_additives(ticket),
        _text_job_size(ticket),
        _text_list(WORDS["mixing"], ticket.steps, "[ ] "),
        _text_list("Cautions", ticket.cautions, "- "),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _text_head(ticket: Ticket) -> list[str]:
    facts = (
        ("Weigh-out ticket", ", ".join(filter(None, (ticket.shop, ticket.date)))),
        ("Job", ticket.job),
        ("Target", ticket.target),
    )
    return [line for what, text in facts if text for line in _hung(f"{what}: ", text)]


def _text_weighing(ticket: Ticket) -> list[str]:
    resolution_g = ticket.resolution_g
    cells = [["", "Weigh", "add, g", "shows, g", "percent", "lot"]]
    for row in ticket.rows:
        weights = (sheet.grams_text(g, resolution_g) for g in (row.first_g, row.total_g))
        cells.append(["[ ]", row.ink, *weights, _percent(row.percent), row.lot])
    held = [row for row in ticket.rows if row.final_g is not None]
    if held:
        cells.append(["", f"{WORDS['held_back']}:", "", "", "", ""])
    for row in held:
        weights = (sheet.grams_text(g, resolution_g) for g in (row.then_g, row.final_g or 0.0))
        cells.append(["[ ]", row.ink, *weights, "", ""])
    batch = f"Batch {sheet.grams_text(ticket.batch_g, resolution_g)} g. {_volume(ticket.fill)}"
    return [*sheet.text_columns(cells, "llrrrl", widest=TEXT_COLUMNS), *_hung("", batch)]


def _text_additives(ticket: Ticket) -> list[str]:
    if not ticket.additives:
        return []
    cells = [
        ["[ ]", each.name, sheet.grams_text(each.grams, ticket.resolution_g), f"{each.percent:g} %"]
        for each in ticket.additives
    ]
    note = _hung("", WORDS["additive_note"])
    return [WORDS["additives"], *sheet.text_columns(cells, "llrr"), *note]


def _text_job_size(ticket: Ticket) -> list[str]:
    found = ticket.job_size
    if found is None:
        return []
    return [
        *_text_list(WORDS["job_size"], jobsize.summary(found, ticket.batch_g), "- "),
        *_text_list(f"{WORDS['assumed']}:", found.assumptions, "- "),
    ]


def _text_list(title: str, lines: Iterable[str], mark: str) -> list[str]:
    hung = [part for line in lines for part in _hung(mark, line)]
    return [title, *hung] if hung else []


def _hung(mark: str, text: str) -> list[str]:
    """`text` behind a mark, further lines under its beginning."""
    lines = sheet.wrapped(text, TEXT_WIDTH - len(mark))
    return [(mark if i == 0 else " " * len(mark)) + line for i, line in enumerate(lines)]


def _percent(percent: float) -> str:
    return f"{percent:.2f}" if percent >= 0.1 else f"{percent:.3f}"


def _lab_head(ticket: Ticket) -> list[str]:
    target = ("target L*", "a*", "b*") if ticket.target_lab else ()
    end = ("dE00",) if target else ()
    return [f"{ticket.observer}° observer", *target, "predicted L*", "a*", "b*", *end]


def _lab_cells(ticket: Ticket) -> list[list[str]]:
    """A line for each light."""
    rows = [[light] for light in ticket.lights]
    for k, row in enumerate(rows):
        for labs in filter(None, (ticket.target_lab, ticket.predicted_lab)):
            row += [f"{round(value, 1) + 0.0:.1f}" for value in labs[k]]
        row += [f"{difference:.2f}" for difference in ticket.de00[k : k + 1]]
    return rows


def _promise(ticket: Ticket) -> str:
    tolerance = f"Tolerance: dE00 {ticket.tolerance_de00:g} under {ticket.lights[0]}."
    if ticket.chance_in_tolerance is None:
        return tolerance
    return f"{tolerance} Chance to be within it: {chance_text(ticket.chance_in_tolerance)}."


def _volume(fill: Fill | None) -> str:
    if fill is None:
        return "Volume not known."
    volume = f"About {fill.volume_ml / 1000:.3g} litres"
    if fill.container is None or fill.share is None:
        return f"{volume}."
    return f"{volume} ({sheet.isolated(fill.container.name)}: {100 * fill.share:.0f} % full)."


def _letdown_title(ticket: Ticket) -> str:
    return "Letdowns to make first" if ticket.letdowns_used else "Better: weigh from letdowns"


def _letdown_lines(ticket: Ticket) -> list[str]:
    """How to make each letdown, and what is then weighed otherwise."""
    step = ticket.resolution_g
    lines = [
        f"{sheet.isolated(each.name)}: {_listed(each.parts, step)}. Stir it well."
        for each in ticket.letdowns
    ]
    if ticket.letdowns and not ticket.letdowns_used:
        before = {row.ink: row.grams for row in ticket.rows}
        changed = [(name, g) for name, g in ticket.letdown_grams if before.get(name) != g]
        gone = ", no ".join(sheet.isolated(each.ink) for each in ticket.letdowns)
        lines.append(
            f"Then weigh {_listed(changed, ticket.resolution_g)}; no {gone}. All else stays as"
            " above, and so does the batch."
        )
    return lines


def _listed(grams: Iterable[tuple[str, float]], resolution_g: float) -> str:
    return " and ".join(
        f"{sheet.grams_text(g, resolution_g)} g {sheet.isolated(name)}" for name, g in grams
    )


# Common practice, no source.
STEPS = (
    "Stir the batch first, then tare the balance with it on.",
    "Add in this order, on the running total; stop short, and creep up.",
    *sheet.MIX,
    "Draw down, cure, let cool, measure; this slip is the next round's start.",
)
CAUTIONS = ("skin", "machine", "cure", "load", "approval")


def addition_html(
    names: Sequence[str],
    addition: Correction,
    target: str,
    lights: Sequence[str],
    shop: Shop,
    day: str,
    *,
    mark: str = "",
    remarks: Sequence[str] = (),
) -> str:
    """A page to print on A5: the largest addition first.

    `names` are the inks of the palette that `addition` was found with, `lights` those of
    the target, `day` the date of the slip; `mark` says what the batch will be that a
    person must know, `remarks` what to know of the addition.
    """
    rows, total_g = [], 0.0
    for i in np.argsort(-addition.additions_g, kind="stable"):
        if addition.additions_g[i] > 0:
            total_g += float(addition.additions_g[i])
            rows.append((names[i], float(addition.additions_g[i]), total_g))
    de00 = ", ".join(f"{n} {e:.2f}" for n, e in zip(lights, addition.de00, strict=True))
    facts = {
        "addition": addition,
        "target": target,
        "shop": shop,
        "day": day,
        "mark": mark,
        "predicted": f"Predicted after the addition: dE00 {de00}; chance in tolerance"
        f" ({shop.tolerance_de00:g}): {chance_text(addition.chance_in_tolerance)}."
        + "".join(f" {each}." for each in remarks),
        "rows": rows,
        "steps": STEPS,
        "unsourced": sheet.UNSOURCED,
        "cautions": sheet.caution_list(CAUTIONS),
    }
    return sheet.page("addition", facts, resolution_g=shop.resolution_g)
