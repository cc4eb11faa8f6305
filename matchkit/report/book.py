"""The record book as a person reads it: a day's jobs, a batch, what was found, the shelf."""

from collections.abc import Mapping, Sequence

from matchkit.book.find import Near
from matchkit.book.jobs import BatchRecord, Poured, local_day, off_plan, state_words
from matchkit.book.shared import SharedBase
from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.matching.probability import chance_text
from matchkit.matching.rank import MOSTLY_CLEAR
from matchkit.paper.jobsize import money_text
from matchkit.paper.sheet import grams_text
from matchkit.report.check import edge_to_edge
from matchkit.report.formulas import target_hex
from matchkit.report.parts import Heading, Part, Picture, Table
from matchkit.workflows.booking import ImportedFormulas
from matchkit.workflows.ink_history import LotCheck
from matchkit.workflows.looking_up import BatchShown, NearColour, Records
from matchkit.workflows.session import Notice
from matchkit.workflows.shelf import LotsToday, Orders, Stock
from matchkit.workflows.today import Day, DayJob
from matchkit.workflows.using_up import UseUp

SOURCES = {
    "match": "by a match",
    "recipe": "by a recipe",
    "paper": "by a paper formula",
    "reprint": "as an earlier batch",
}
SWATCHES = 4  # readings shown at most: the last ones


NEXT = {  # what a job needs, by its state
    "to weigh": "weigh it",
    "to measure": "stir, draw down, cure, let cool, measure",
    "out: to correct": "out of tolerance: add what brings it in",
    "in: to approve": "in tolerance: approve it on the cured print, under the agreed light",
    "measured; no target to judge by": "judge it by eye, then close the job",
}


def next_parts(record: BatchRecord) -> list[Part]:
    """The job in a line, how far it is, and what it needs next."""
    named = ", ".join(filter(None, [record.name, record.job, record.customer]))
    turn = f", round {len(record.pours)}" if len(record.pours) > 1 else ""
    then = f"Next: {NEXT[record.state]}." if record.state in NEXT else f"It is {record.state}."
    return [Heading(text=f"Batch {record.batch}: {named}{turn}"), then]


def about(record: BatchRecord) -> str:
    """A batch in a line: what stands in a list to choose from."""
    named = ", ".join(filter(None, [record.name, record.job, record.customer]))
    return f"{record.batch} {named}: {state_words(record.state)}"


def day_parts(day: Day) -> list[Part]:
    """What is to be done, and what can be mixed at once."""
    if not day.jobs:
        return ["No open jobs."]
    rows = tuple(
        (f"{j.batch}", j.name, state_words(j.state), ", ".join(each.signs), j.job, j.customer,
         j.due, f"{round(sum(j.container.values()), 1):g}")
        for each in day.jobs
        for j in [each.record]
    )  # fmt: skip
    head = ("Batch", "Colour", "Next", "Note", "Job", "Customer", "Due", "Grams")
    table = Table(head=head, rows=rows, words=(1, 2, 3, 4, 5, 6))
    waiting = [_waiting(each) for each in day.jobs if each.short_g]
    return [table, *waiting, *(part for each in day.sharing for part in _shared_parts(each))]


def _waiting(each: DayJob) -> str:
    lacking = ", ".join(f"{g:g} g of {ink}" for ink, g in each.short_g.items())
    return f"Batch {each.record.batch} waits for ink: {lacking} more than the shelf has for it."


def _shared_parts(shared: SharedBase) -> list[Part]:
    """The base colour that jobs share: how to mix it once, what that saves and risks."""
    *first, last = (f"{each.batch}" for each in shared.jobs)
    total = sum(shared.grams.values())
    batches = f"batches {', '.join(first)} and {last}"
    rows = [("Base colour", f"{total:.2f}", _weights(shared.grams))]
    rows += [
        (f"Batch {job.batch}", f"{grams:.2f}", _weights(then))
        for job, (grams, then) in zip(shared.jobs, shared.parts, strict=True)
    ]
    head = ("Container", "Base colour, g", "Inks, g")
    return [
        f"Mix the common part once: {100 * shared.share:.0f} % of {batches} is one base colour."
        f" {shared.saved_g:.0f} g fewer are weighed ink by ink and stirred again."
        " Risk: a weighing error in the base is in all of them, and no addition takes ink out"
        " again; draw the base down and measure it before it is divided.",
        Table(head=head, rows=tuple(rows), words=(2,)),
    ]


def _weights(grams: Mapping[str, float]) -> str:
    return ", ".join(f"{ink} {g:.2f}" for ink, g in grams.items())


def batch_parts(shown: BatchShown) -> list[Part]:
    """A batch from what was asked for to how it ended."""
    verdict = [_sentence(shown.verdict)] if shown.verdict else []
    return [
        f"Batch {about(shown.record)}",
        *filter(None, [shown.record.formula_note, shown.record.note]),
        *verdict,
        *([Notice(code="mostly_clear", text=MOSTLY_CLEAR)] if shown.mostly_clear else []),
        _strip(shown),
        _contents(shown),
        _events(shown),
    ]


def record_parts(records: Records) -> list[Part]:
    """Batches and formulas, newest first."""
    if not records.found:
        return [f"Nothing in the book fits that{records.hint or '.'}"]
    cells = tuple(
        (_number(r.batch), f"{r.formula}", local_day(r.at), r.name, r.job, r.customer, r.outcome)
        for r in records.found
    )
    head = ("Batch", "Formula", "Day", "Colour", "Job", "Customer", "Outcome")
    return [Table(head=head, rows=cells, words=(2, 3, 4, 5, 6))]


def near_parts(found: NearColour) -> list[Part]:
    """What there is near a colour, nearest first."""
    if not found.near:
        return [f"Nothing in the book within dE00 {found.within_de00:g}."]
    cells = tuple(
        (_number(r.batch), f"{r.formula}", f"{r.de00:.2f}", r.name, r.customer, r.what, _shares(r))
        for r in found.near
    )
    head = ("Batch", "Formula", "dE00", "Colour", "Customer", "As it", "Percent")
    return [Table(head=head, rows=cells, words=(3, 4, 5, 6))]


def order_parts(orders: Orders) -> list[Part]:
    """What runs low."""
    days = orders.days
    if not orders.orders:
        return [
            f"Enough of every ink whose stock is counted, for {days} days like the last {days}."
            " Inks without a stock in inks.csv, or never counted in the book, are not looked at."
        ]
    cells = tuple(
        (
            o.ink,
            *(f"{g:.0f}" for g in (o.stock_g, o.promised_g, o.used_g)),
            "" if o.lasts_days is None else f"{o.lasts_days:.0f}",
            f"{o.order_g:.0f}",
            "" if o.containers is None else f"{o.containers}",
            "" if o.cost is None else money_text(o.cost, orders.currency),
            o.by,
            ", ".join(f"{need.batch}" for need in o.needs),
        )
        for o in orders.orders
    )
    used = f"Used in {days} days, g"
    head = (
        *("Ink", "In stock, g", "For open jobs, g", used, "Lasts, days", "Order, g"),
        *("Containers", "Cost", "Needed by", "For batches"),
    )
    cost = [] if orders.cost is None else [f"Total {money_text(orders.cost, orders.currency)}."]
    return [Table(head=head, rows=cells, words=(8, 9)), *cost]


def stock_parts(stock: Stock) -> list[Part]:
    """What is on the shelf, of which lot; a mix only while there is some of it."""
    rows = tuple(
        (
            name,
            "leftover" if name in stock.leftovers else stock.lots.get(name, ""),
            "not counted" if grams is None else f"{grams:.2f}",
        )
        for name, grams in stock.grams.items()
        if name in stock.lots or grams
    )
    return [
        Table(head=("Ink", "Lot", "In stock, g"), rows=rows, words=(1,), caption="On the shelf")
    ]


def use_up_parts(found: UseUp) -> list[Part]:
    """What could be worked off, the oldest first."""
    if not found.leftovers:
        return ["No leftover is on the shelf."]
    rows = []
    for each in found.leftovers:
        head = (each.name, each.date, f"{each.stock_g:.0f}")
        rows += [
            (
                *head, b.target, f"{b.used_g:.2f}", f"{b.de00:.2f}",
                "not known" if b.saved is None else money_text(b.saved, found.currency),
            )
            for b in each.becomes
        ] or [(*head, "none of the nearest", "", "", "")]  # fmt: skip
    columns = ("Leftover", "Since", "There, g", "Becomes", "Takes, g", "dE00", "Saves")
    caption = f"Colours made again, in batches of {found.batch_g:g} g; the oldest leftover first"
    return [Table(head=columns, rows=tuple(rows), words=(1, 3), caption=caption)]


def lots_parts(lots: LotsToday) -> list[Part]:
    """How strong today's lots are, and which batches fit none."""
    rows = tuple((x.ink, x.lot, f"{x.strength:.3f}", f"{x.error:.3f}") for x in lots.lots)
    return [Table(head=("Ink", "Lot", "Strength", "+-"), rows=rows, words=(1,)), *lots.odd]


def lot_check_parts(check: LotCheck) -> list[Part]:
    """What a drawdown tells of a new lot, and what becomes of that."""
    return [*map(_sentence, check.words), *map(_sentence, filter(None, [check.then]))]


def imported_parts(imported: ImportedFormulas) -> list[Part]:
    """Which paper formulas were written down, under which numbers."""
    if not imported.cards:
        return ["Nothing new to write down."]
    rows = tuple((f"{n}", card.name, card.customer) for n, card in imported.cards)
    return [Table(head=("Formula", "Name", "Customer"), rows=rows, words=(1, 2))]


def _strip(shown: BatchShown) -> Picture:
    """The target edge to edge with the prediction and the last readings."""
    record, target, first = shown.record, shown.target, shown.predicted
    light = shown.shop.lights[0] if target is None else target.lights[0]
    seen = [(f"drawdown {k}", r.R, r.de00) for k, r in enumerate(record.readings, start=1)]
    seen = [("predicted", first.R, first.de00), *seen[-SWATCHES:]]
    below = [hex_colour(R, light, shown.shop.observer) for _, R, _ in seen]
    names = [name if de00 is None else f"{name}: {de00:.2f}" for name, _, de00 in seen]
    above = below[0] if target is None else target_hex(target)
    what = "no colour was asked for; the predicted one" if target is None else record.name
    return edge_to_edge(above, below, names, f"Above: {what}. Below, with dE00")


def _contents(shown: BatchShown) -> Table:
    """Planned, weighed and added grams of each ink, with the lots."""
    record, step = shown.record, shown.shop.resolution_g
    today = {ink.name: ink.lot for ink in shown.shop.inks}
    inks = dict.fromkeys([*record.shares, *(ink for pour in record.pours for ink in pour.inks)])
    poured = [dict(zip(pour.inks, pour.actual_g, strict=True)) for pour in record.pours]
    rows = []
    for ink in inks:
        added = [each.get(ink, 0.0) for each in poured]
        grams = [record.shares.get(ink, 0.0) * record.planned_g, *added]
        grams += [sum(added)] if len(poured) > 1 else []
        lot = _lots(record.pours, ink) or today.get(ink, "")
        rows.append((ink, lot, *(grams_text(g, step) if g > 0 else "" for g in grams)))
    head = ["Ink", "Lot", "Planned, g"]
    head += ["Weighed, g" if k == 0 else "Added, g" for k in range(len(poured))]
    head += ["In the container, g"] if len(poured) > 1 else []
    return Table(head=tuple(head), rows=tuple(rows), words=(1,), caption="The formula")


def _events(shown: BatchShown) -> Table:
    """What happened, in order, who did it, and the number by which it can be struck."""
    record, first = shown.record, shown.predicted
    told = [] if first.de00 is None else [f"predicted dE00 {first.de00:.2f}"]
    if first.chance is not None:
        told.append(f"chance {chance_text(first.chance)}")
    asked = f"asked for, {record.planned_g:g} g, {SOURCES[record.source]}"
    rows = [(record.at, asked, ", ".join(told), record.who, f"batch {record.batch}")]
    rows += [(e.at, e.what, e.how, e.who, f"{e.kind} {e.number}") for e in shown.events]
    for k, pour in enumerate(record.pours):
        what = f"{sum(pour.actual_g):g} g {'added' if k else 'weighed'}"
        number = f"weighing {pour.weighing}"
        rows.append((pour.at, what, off_plan(pour), pour.who, number))
        for r in record.readings:
            if r.weighing == pour.weighing:
                how = "in tolerance" if r.passed else "out of tolerance"
                how = ", ".join(r.state) or how
                how = how * bool(r.state) if r.de00 is None else f"dE00 {r.de00:.2f}, {how}"
                how = ", ".join(filter(None, [how, r.name, r.note]))
                rows.append((r.at, "measured", how, r.who, f"measurement {r.measurement}"))
    if record.outcome:
        by = f"by {record.approved_by}" if record.approved_by else ""
        how = ", ".join(filter(None, [by, record.closing_note]))
        rows.append((record.closed_at, record.outcome, how, "", f"closing {record.closing}"))
    rows.sort(key=lambda row: row[0])
    head = ("Day", "What", "How", "Who wrote it", "Record")
    cells = tuple((local_day(at), *rest) for at, *rest in rows)
    return Table(head=head, rows=cells, words=(1, 2, 3, 4), caption="What happened")


def _lots(pours: Sequence[Poured], ink: str) -> str:
    lots = [lot for p in pours for i, lot in zip(p.inks, p.lots, strict=True) if i == ink and lot]
    return ", ".join(dict.fromkeys(lots))


def _number(batch: int | None) -> str:
    return "formula only" if batch is None else str(batch)


def _shares(row: Near) -> str:
    return ", ".join(f"{ink} {100 * f:.2f}" for ink, f in row.shares.items())


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}."
