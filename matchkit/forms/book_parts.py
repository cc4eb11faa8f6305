"""The record book as a person reads it: today's jobs, a job's story, what was found."""

from collections.abc import Sequence

from matchkit.book.find import Found, Near
from matchkit.book.jobs import Job, Poured, local_day, sharing, sharing_words
from matchkit.book.stock import Order
from matchkit.book.store import Book
from matchkit.book.work import Advice, foretold, target_of, verdict
from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.forms.formulas import target_hex
from matchkit.inks.shop import Shop
from matchkit.matching.probability import chance_text
from matchkit.paper.sheet import grams_text
from matchkit.report.compared import edge_to_edge
from matchkit.report.parts import Part, Picture, Table

__all__ = [
    "about",
    "advice_parts",
    "found_parts",
    "jobs_parts",
    "near_parts",
    "off_plan",
    "order_parts",
    "shelf_parts",
    "story_parts",
]

SWATCHES = 4  # readings shown at most: the last ones


def about(story: Job) -> str:
    """A batch in a line: what stands in a list to choose from."""
    named = ", ".join(filter(None, [story.name, story.job, story.customer]))
    return f"{story.batch} {named}: {story.state}"


def jobs_parts(jobs: Sequence[Job]) -> list[Part]:
    """What is to be done, and what can be mixed at once."""
    if not jobs:
        return ["No open jobs."]
    rows = tuple(
        (f"{j.batch}", j.name, j.state, j.job, j.customer, j.due, f"{j.planned_g:g}") for j in jobs
    )
    head = ("Batch", "Colour", "Next", "Job", "Customer", "Due", "Grams")
    shared = [_sentence(sharing_words(*pair)) for pair in sharing(jobs)]
    return [Table(head=head, rows=rows, words=(1, 2, 3, 4, 5)), *shared]


def story_parts(book: Book, shop: Shop, story: Job) -> list[Part]:
    """A job from what was asked to how it ended."""
    parts: list[Part] = []
    if story.readings:
        parts.append(_sentence(verdict(book, shop, story)))
    return [*parts, _strip(book, shop, story), _bucket(shop, story), _events(book, story)]


def advice_parts(shop: Shop, advice: Advice) -> list[Part]:
    """What to add to a batch, what it brings, and what earlier batches told of the lots."""
    found, light = advice.correction, advice.target.light_names[0]
    head = f"dE00 {advice.de00_before[0]:.2f} now"
    if not found.added_g:
        return [f"{head}: nothing to add." if found.can_be_saved else f"{head}: can't be saved."]
    saved = "" if found.can_be_saved else " This does not bring it within tolerance."
    return [
        f"{head}, {found.de00[0]:.2f} after {grams_text(found.added_g, shop.resolution_g)} g under"
        f" {light}; chance within {shop.tolerance_de00:g}:"
        f" {chance_text(found.chance_in_tolerance)}.{saved}",
        *_known(advice),
    ]


def found_parts(rows: Sequence[Found]) -> list[Part]:
    """Batches and formulas, newest first."""
    if not rows:
        return ["Nothing in the book fits that."]
    cells = tuple(
        (_number(r.batch), local_day(r.at), r.name, r.job, r.customer, r.outcome) for r in rows
    )
    head = ("Batch", "Day", "Colour", "Job", "Customer", "Outcome")
    return [Table(head=head, rows=cells, words=(1, 2, 3, 4, 5))]


def near_parts(rows: Sequence[Near], within: float) -> list[Part]:
    """What there is near a colour, nearest first."""
    if not rows:
        return [f"Nothing in the book within dE00 {within:g}."]
    cells = tuple(
        (_number(r.batch), f"{r.de00:.2f}", r.name, r.customer, r.what, _shares(r)) for r in rows
    )
    head = ("Batch", "dE00", "Colour", "Customer", "As it", "Percent")
    return [Table(head=head, rows=cells, words=(2, 3, 4, 5))]


def order_parts(orders: Sequence[Order], days: int) -> list[Part]:
    """What runs low."""
    if not orders:
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
        )
        for o in orders
    )
    used = f"Used in {days} days, g"
    head = ("Ink", "In stock, g", "For open jobs, g", used, "Lasts, days", "Order, g")
    return [Table(head=head, rows=cells)]


def shelf_parts(shop: Shop) -> list[Part]:
    """What is on the shelf, of which lot; nothing where nobody ever counted."""
    rows = [(i.name, i.lot, "" if i.stock_g is None else f"{i.stock_g:.0f}") for i in shop.inks]
    rows += [(m.name, "leftover", f"{m.stock_g:.0f}") for m in shop.mixes if m.stock_g]
    head = ("Ink", "Lot", "In stock, g")
    return [Table(head=head, rows=tuple(rows), words=(1,), caption="On the shelf")]


def _strip(book: Book, shop: Shop, story: Job) -> Picture:
    """The target edge to edge with the prediction and the last readings."""
    target, first = target_of(book, shop, story), foretold(book, story)
    light = shop.lights[0] if target is None else target.lights[0]
    shown = [("predicted", first.R, first.de00)]
    for k, r in enumerate(story.readings, start=1):
        shown.append((f"drawdown {k}", r.R, r.de00))
    shown = shown[:1] + shown[1:][-SWATCHES:]
    below = [hex_colour(R, light, shop.observer) for _, R, _ in shown]
    names = [name if de00 is None else f"{name}: {de00:.2f}" for name, _, de00 in shown]
    above = below[0] if target is None else target_hex(target)
    what = "no colour was asked for; the predicted one" if target is None else story.name
    return edge_to_edge(above, below, names, f"Above: {what}. Below, with dE00")


def _bucket(shop: Shop, story: Job) -> Table:
    """Planned, weighed and added grams of each ink, with the lots."""
    today = {ink.name: ink.lot for ink in shop.inks}
    inks = dict.fromkeys([*story.shares, *(ink for pour in story.pours for ink in pour.inks)])
    head = ["Ink", "Lot", "Planned, g"]
    head += ["Weighed, g" if k == 0 else "Added, g" for k in range(len(story.pours))]
    step, rows = shop.resolution_g, []
    poured = [dict(zip(pour.inks, pour.actual_g, strict=True)) for pour in story.pours]
    for ink in inks:
        cells = [_grams(story.shares.get(ink, 0.0) * story.planned_g, step)]
        cells += [_grams(each.get(ink, 0.0), step) for each in poured]
        if len(poured) > 1:
            cells.append(_grams(sum(each.get(ink, 0.0) for each in poured), step))
        rows.append((ink, _lots(story.pours, ink) or today.get(ink, ""), *cells))
    head += ["In the bucket, g"] if len(poured) > 1 else []
    return Table(head=tuple(head), rows=tuple(rows), words=(1,), caption="The formula")


def _events(book: Book, story: Job) -> Table:
    """What happened, in order, and who did it."""
    first = foretold(book, story)
    told = "" if first.de00 is None else f"predicted dE00 {first.de00:.2f}"
    if first.chance is not None:
        told += f", chance {chance_text(first.chance)}"
    rows = [(local_day(story.at), f"asked for, {story.planned_g:g} g", told, story.who)]
    for k, pour in enumerate(story.pours):
        what = f"{sum(pour.actual_g):g} g {'added' if k else 'weighed'}"
        rows.append((local_day(pour.at), what, off_plan(pour), pour.who))
        for r in story.readings:
            if r.weighing == pour.weighing:
                how = "" if r.de00 is None else f"dE00 {r.de00:.2f}, {_in(r.passed)}"
                rows.append((local_day(r.at), "measured", how, r.who))
    if story.outcome:
        by = f"by {story.approved_by}" if story.approved_by else ""
        rows.append((local_day(story.closed_at), story.outcome, by, ""))
    head = ("Day", "What", "How", "Who wrote it")
    return Table(head=head, rows=tuple(rows), words=(1, 2, 3), caption="What happened")


def off_plan(pour: Poured) -> str:
    """How far the weights lie from the plan, where there was one."""
    if not any(pour.planned_g):
        return ""
    off = [
        (abs(g - planned), ink, g - planned)
        for ink, g, planned in zip(pour.inks, pour.actual_g, pour.planned_g, strict=True)
    ]
    _, ink, by = max(off)
    return "as planned" if by == 0 else f"furthest off the plan: {ink} {by:+.2f} g"


def _known(advice: Advice) -> list[str]:
    """What earlier batches told of the inks that are in play."""
    held = advice.belief.grams > 0
    played = [ink for ink, there in zip(advice.inks, held, strict=True) if there]
    return [
        f"The book knows: {line}."
        for line in advice.words
        if any(line.startswith(f"{ink} ") for ink in played)
    ]


def _lots(pours: Sequence[Poured], ink: str) -> str:
    lots = [lot for p in pours for i, lot in zip(p.inks, p.lots, strict=True) if i == ink and lot]
    return ", ".join(dict.fromkeys(lots))


def _grams(grams: float, step: float) -> str:
    return grams_text(grams, step) if grams > 0 else ""


def _number(batch: int | None) -> str:
    return "formula only" if batch is None else str(batch)


def _shares(row: Near) -> str:
    return ", ".join(f"{ink} {100 * f:.2f}" for ink, f in row.shares.items())


def _in(passed: bool | None) -> str:
    return "in tolerance" if passed else "out of tolerance"


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}."
