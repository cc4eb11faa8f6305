"""A ticket on paper: a printable A5 page, and plain text."""

from collections.abc import Iterable
from html import escape

from matchkit.matching.probability import chance_text
from matchkit.paper.jobsize import summary
from matchkit.paper.sheet import (
    UNSOURCED,
    bullets,
    grams_text,
    isolated,
    name_html,
    page,
    swatch_pair,
    text_columns,
    tick,
    wrapped,
)
from matchkit.paper.ticket import Ticket
from matchkit.paper.weighing import Fill, MadeLetdown, TicketRow

__all__ = ["ticket_html", "ticket_text"]

SWATCH_NOTE = "Swatches only tell jobs apart: never judge a colour by a print-out or a screen."
ADDITIVE_NOTE = (
    "Weighed on top once the colour is right; not part of the colour calculation, so prove the"
    " colour with it."
)
JOB_SIZE, WITH = "Ink for the whole job", "Worked out with"
MIXING = f"Mixing ({UNSOURCED})"
HELD_BACK = "After the first drawdown"
TO_FILL_IN = ("Mixed by", "Date", "Lots checked", "Measured dE00")
TEXT_WIDTH = 76
TEXT_COLUMNS = (3, 26, 9, 9, 7, 12)  # tick, ink, add, balance, percent, lot


# ---- the page


def ticket_html(ticket: Ticket, *, lang: str = "en") -> str:
    """A page to print on A5, or to read on a telephone beside the balance."""
    parts = [
        _head(ticket),
        _swatches(ticket),
        _warnings(ticket.warnings),
        _weighing(ticket),
        _letdowns(ticket),
        _additives(ticket),
        _job_size(ticket),
        f"<h2>{MIXING}</h2>\n{bullets(ticket.steps, ticks=True)}",
        _fill_in(),
        f'<h2>Cautions</h2>\n<div class="small">{bullets(ticket.cautions)}</div>',
    ]
    title = " - ".join(filter(None, ("Weigh-out ticket", ticket.job, ticket.target)))
    return page(title, "\n".join(filter(None, parts)), size="A5", lang=lang)


def _head(ticket: Ticket) -> str:
    where = " · ".join(escape(part) for part in (ticket.shop, ticket.date) if part)
    title = name_html(ticket.job or ticket.target or "Weigh-out ticket")
    return f'<p class="small">Weigh-out ticket · {where}</p>\n<h1>{title}</h1>'


def _swatches(ticket: Ticket) -> str:
    predicted = (ticket.predicted_hex, f"Predicted {ticket.predicted_hex}")
    if not ticket.target_lab:
        pair = swatch_pair([predicted])
    else:
        pair = swatch_pair([(ticket.target_hex, f"Target {ticket.target_hex}"), predicted])
    name = f'<p class="ink">Target: {name_html(ticket.target)}</p>\n' if ticket.target else ""
    return f'{name}{pair}\n{_lab_table(ticket)}\n<p class="small">{SWATCH_NOTE}</p>'


def _lab_table(ticket: Ticket) -> str:
    head = _cells("th", _lab_head(ticket))
    lines = (f"<tr>{_cells('td', cells)}</tr>" for cells in _lab_cells(ticket))
    return (
        f'<table class="small">\n<thead><tr>{head}</tr></thead>\n<tbody>'
        + "\n".join(lines)
        + f"</tbody>\n</table>\n<p>{escape(_promise(ticket))}</p>"
    )


def _cells(tag: str, cells: Iterable[str]) -> str:
    """Table cells; all but the first are figures."""
    return "".join(
        f"<{tag}{' class=n' if i else ''}>{escape(cell)}</{tag}>" for i, cell in enumerate(cells)
    )


def _warnings(warnings: Iterable[str]) -> str:
    lines = "".join(f"<p><b>Note:</b> {escape(line)}</p>" for line in warnings)
    return f'<div class="warn">{lines}</div>' if lines else ""


def _weighing(ticket: Ticket) -> str:
    small = {each.ink for each in ticket.letdowns if not ticket.letdowns_used}
    rows = [_first_row(row, row.ink in small, ticket.resolution_g) for row in ticket.rows]
    held = [row for row in ticket.rows if row.final_g is not None]
    if held:
        rows.append(f'<tr><td colspan="4"><b>{HELD_BACK}</b></td></tr>')
        rows += [_held_row(row, ticket.resolution_g) for row in held]
    total = grams_text(ticket.batch_g, ticket.resolution_g)
    return (
        "<h2>Weigh</h2>\n<table>\n<thead><tr><th></th><th>Ink</th>"
        '<th class="n">Add, g</th><th class="n">Balance shows, g</th></tr></thead>\n<tbody>\n'
        + "\n".join(rows)
        + f"\n</tbody>\n</table>\n<p><b>Batch {total} g.</b> {escape(_volume(ticket.fill))}</p>"
    )


def _first_row(row: TicketRow, small: bool, resolution_g: float) -> str:
    remarks = [f"{_percent(row.percent)} %"]
    if row.lot:
        remarks.append(f"lot {row.lot}")
    if row.final_g is not None:
        remarks.append(f"hold back {grams_text(row.then_g, resolution_g)} g")
    if small:
        remarks.append("better from a letdown")
    remark = f'<span class="part">{escape(" · ".join(remarks))}</span>'
    return _weigh_row(row.ink, remark, row.first_g, row.total_g, resolution_g)


def _held_row(row: TicketRow, resolution_g: float) -> str:
    remark = f'<span class="part">all of {grams_text(row.grams, resolution_g)} g</span>'
    return _weigh_row(row.ink, remark, row.then_g, row.final_g or 0.0, resolution_g)


def _weigh_row(ink: str, remark: str, add_g: float, shows_g: float, resolution_g: float) -> str:
    return (
        f'<tr><td class="box">{tick(f"{ink} weighed")}</td>'
        f'<td class="ink">{name_html(ink)}{remark}</td>'
        f'<td class="n big">{grams_text(add_g, resolution_g)}</td>'
        f'<td class="n mid">{grams_text(shows_g, resolution_g)}</td></tr>'
    )


def _letdowns(ticket: Ticket) -> str:
    if not ticket.letdowns:
        return ""
    lines = _letdown_lines(ticket)
    return f'<div class="whole"><h2>{_letdown_title(ticket)}</h2>\n{bullets(lines)}</div>'


def _additives(ticket: Ticket) -> str:
    if not ticket.additives:
        return ""
    rows = "\n".join(
        f'<tr><td class="box">{tick(f"{each.name} weighed")}</td>'
        f'<td class="ink">{name_html(each.name)}<span class="part">{each.percent:g} % of the'
        f' batch</span></td><td class="n big">{grams_text(each.grams, ticket.resolution_g)}</td>'
        "</tr>"
        for each in ticket.additives
    )
    table = f"<table><tbody>\n{rows}\n</tbody></table>"
    note = f'<p class="small">{ADDITIVE_NOTE}</p>'
    return f'<div class="whole"><h2>Additives, on top, g</h2>\n{table}\n{note}</div>'


def _job_size(ticket: Ticket) -> str:
    found = ticket.job_size
    if found is None:
        return ""
    head, *more = (escape(line) for line in summary(found))
    told = "; ".join([f"<strong>{head}</strong>", *more])
    worked = escape("; ".join(found.assumptions))
    return (
        f'<div class="whole"><h2>{JOB_SIZE}</h2>\n<p>{told}.</p>\n'
        f'<p class="small">{WITH}: {worked}.</p></div>'
    )


def _fill_in() -> str:
    lines = "".join(f'<p>{what} <span class="line"></span></p>' for what in TO_FILL_IN)
    return f'<div class="fill">{lines}</div>'


# ---- the same in plain text


def ticket_text(ticket: Ticket) -> str:
    """The ticket as plain text, at most 76 columns wide."""
    parts = [
        _text_head(ticket),
        [
            *text_columns([_lab_head(ticket), *_lab_cells(ticket)], "lrrr"),
            *_hung("", _promise(ticket)),
        ],
        [line for warning in ticket.warnings for line in _hung("NOTE: ", warning)],
        _text_weighing(ticket),
        _text_list(_letdown_title(ticket), _letdown_lines(ticket), "- "),
        _text_additives(ticket),
        _text_job_size(ticket),
        _text_list(MIXING, ticket.steps, "[ ] "),
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
        weights = (grams_text(g, resolution_g) for g in (row.first_g, row.total_g))
        cells.append(["[ ]", row.ink, *weights, _percent(row.percent), row.lot])
    held = [row for row in ticket.rows if row.final_g is not None]
    if held:
        cells.append(["", f"{HELD_BACK}:", "", "", "", ""])
    for row in held:
        weights = (grams_text(g, resolution_g) for g in (row.then_g, row.final_g or 0.0))
        cells.append(["[ ]", row.ink, *weights, "", ""])
    batch = f"Batch {grams_text(ticket.batch_g, resolution_g)} g. {_volume(ticket.fill)}"
    return [*text_columns(cells, "llrrrl", widest=TEXT_COLUMNS), *_hung("", batch)]


def _text_additives(ticket: Ticket) -> list[str]:
    if not ticket.additives:
        return []
    cells = [
        ["[ ]", each.name, grams_text(each.grams, ticket.resolution_g), f"{each.percent:g} %"]
        for each in ticket.additives
    ]
    return ["Additives, on top, g", *text_columns(cells, "llrr"), *_hung("", ADDITIVE_NOTE)]


def _text_job_size(ticket: Ticket) -> list[str]:
    found = ticket.job_size
    if found is None:
        return []
    return [
        *_text_list(JOB_SIZE, summary(found), "- "),
        *_text_list(f"{WITH}:", found.assumptions, "- "),
    ]


def _text_list(title: str, lines: Iterable[str], mark: str) -> list[str]:
    hung = [part for line in lines for part in _hung(mark, line)]
    return [title, *hung] if hung else []


def _hung(mark: str, text: str) -> list[str]:
    """`text` behind a mark, further lines under its beginning."""
    lines = wrapped(text, TEXT_WIDTH - len(mark))
    return [(mark if i == 0 else " " * len(mark)) + line for i, line in enumerate(lines)]


# ---- words for both


def _percent(percent: float) -> str:
    return f"{percent:.2f}" if percent >= 0.1 else f"{percent:.3f}"


def _lab_head(ticket: Ticket) -> list[str]:
    target = ["target L* a* b*"] if ticket.target_lab else []
    return [
        f"{ticket.observer}° observer",
        *target,
        "predicted L* a* b*",
        *(["dE00"] if target else []),
    ]


def _lab_cells(ticket: Ticket) -> list[list[str]]:
    """A line for each light."""
    columns = [_labs(lab) for lab in (ticket.target_lab, ticket.predicted_lab) if lab]
    if ticket.de00:
        columns.append([f"{difference:.2f}" for difference in ticket.de00])
    return [list(cells) for cells in zip(ticket.lights, *columns, strict=True)]


def _labs(labs: Iterable[tuple[float, ...]]) -> list[str]:
    return ["  ".join(f"{value:.1f}" for value in lab) for lab in labs]


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
    return f"{volume} ({isolated(fill.container.name)}: {100 * fill.share:.0f} % full)."


def _letdown_title(ticket: Ticket) -> str:
    return "Letdowns to make first" if ticket.letdowns_used else "The way out: weigh from letdowns"


def _letdown_lines(ticket: Ticket) -> list[str]:
    """How to make each letdown, and what is then weighed otherwise."""
    lines = [_letdown_recipe(each, ticket.resolution_g) for each in ticket.letdowns]
    if ticket.letdowns and not ticket.letdowns_used:
        before = {row.ink: row.grams for row in ticket.rows}
        changed = [(name, g) for name, g in ticket.letdown_grams if before.get(name) != g]
        gone = ", no ".join(isolated(each.ink) for each in ticket.letdowns)
        lines.append(
            f"Then weigh {_listed(changed, ticket.resolution_g)}; no {gone}. All else stays as"
            " above, and so does the batch."
        )
    return lines


def _letdown_recipe(letdown: MadeLetdown, resolution_g: float) -> str:
    return f"{isolated(letdown.name)}: {_listed(letdown.parts, resolution_g)}. Stir it well."


def _listed(grams: Iterable[tuple[str, float]], resolution_g: float) -> str:
    return " and ".join(f"{grams_text(g, resolution_g)} g {isolated(name)}" for name, g in grams)
