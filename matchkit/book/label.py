"""The label on a bucket: what is in it, for which job, and a code that finds its record.

One small HTML page (A6) to print and to stick or tape on.  The code needs the package
segno (`pip install -e ".[label]"` in matchkit's folder); without it the label says the same
in letters.
"""

from html import escape

from matchkit.book.find import reference
from matchkit.book.jobs import Job, local_day
from matchkit.book.store import Book
from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.inks.shop import Shop
from matchkit.paper.sheet import DEFER, caution_list, grams_text, name_html, page, swatch_pair

__all__ = ["label_html", "qr_svg"]

LABEL_CAUTIONS = ("skin", "cure", "use")
STYLE = """
@page { size: 105mm 148mm; margin: 5mm;
  @bottom-left { content: none; } @bottom-right { content: none; } }
body { max-width: 105mm; padding: 2mm; }
.head { display: flex; gap: 3mm; align-items: flex-start; }
.head > div { flex: 1; min-width: 0; }
.head > .code { flex: 0 0 27mm; font: 6pt/1.2 monospace; text-align: center; }
.code svg { display: block; width: 27mm; height: 27mm; }
.stamp { border: 0.6mm solid #000; padding: 0.5mm 2mm; font-weight: bold; }
.pair span { height: 11mm; }
td { padding: 0.4mm 1.5mm 0.4mm 0; }
"""


def label_html(book: Book, shop: Shop, batch: Job) -> str:
    """The label of a batch as a printable page.

    Amounts are what is in the bucket, additions counted; the swatch is what was measured
    last.  Whether the batch was approved stands on it in words.
    """
    code = reference(book, batch.batch)
    facts = [
        ("Customer", batch.customer),
        ("Job", batch.job),
        ("Batch", f"{batch.batch}, {local_day((batch.pours or (batch,))[-1].at)}"),
        ("Mixed by", ", ".join(dict.fromkeys(pour.who for pour in batch.pours if pour.who))),
        ("Shop", shop.name),
    ]
    lines = [f"{what}: {name_html(said)}" for what, said in facts if said]
    body = (
        f'<div class="head"><div><h1>{name_html(batch.name)}</h1>'
        f"<p>{'<br>'.join(lines)}</p></div>"
        f'<div class="code">{qr_svg(code)}{escape(code).replace("/B", "/<wbr>B")}</div></div>'
        f'<p class="stamp">{_approval(batch)}</p>'
        f"{_swatch(shop, batch)}{_contents(shop, batch)}"
        f'<p class="small">{escape(" ".join(caution_list(LABEL_CAUTIONS)[:-1]))}'
        f" <b>{escape(DEFER)}</b></p>"
    )
    return page(f"{batch.name}, batch {batch.batch}", body, style=STYLE)


def qr_svg(text: str) -> str:
    """A QR code (ISO/IEC 18004) as SVG to stand in a page; empty without segno."""
    try:
        import segno
    except ImportError:
        return ""
    made: str = segno.make(text, error="m", micro=False).svg_inline(border=4, omitsize=True)
    return made


def _approval(batch: Job) -> str:
    if batch.outcome == "approved":
        by = f" by {name_html(batch.approved_by)}" if batch.approved_by else ""
        return f"APPROVED{by}, {local_day(batch.closed_at)}"
    if batch.outcome:
        return f"{batch.outcome.upper()}: do not print with it"
    return f"NOT APPROVED YET ({escape(batch.state)})"


def _swatch(shop: Shop, batch: Job) -> str:
    """The colour that was measured last, with its numbers."""
    if not batch.readings:
        return ""
    last = batch.readings[-1]
    away = "" if last.de00 is None else f", dE00 {last.de00:.2f} from the target"
    L, a, b = last.lab
    told = f"measured {local_day(last.at)}: L* {L:.1f}, a* {a:.1f}, b* {b:.1f} ({last.light}){away}"
    return swatch_pair([(hex_colour(last.R, shop.lights[0], shop.observer), told)])


def _contents(shop: Shop, batch: Job) -> str:
    """Inks with their lots, percent and grams in the bucket; planned ones before weighing."""
    grams: dict[str, float] = {}
    lots: dict[str, list[str]] = {}
    for pour in batch.pours:
        for ink, lot, g in zip(pour.inks, pour.lots, pour.actual_g, strict=True):
            grams[ink] = grams.get(ink, 0.0) + g
            lots.setdefault(ink, []).append(lot)
    head = "weighed" if grams else "to weigh"
    grams = grams or {ink: share * batch.planned_g for ink, share in batch.shares.items()}
    total = sum(grams.values())
    rows = [
        f"<tr><td>{name_html(ink)}</td>"
        f"<td>{name_html(', '.join(dict.fromkeys(filter(None, lots.get(ink, [])))))}</td>"
        f'<td class="n">{100 * g / total:.2f}</td>'
        f'<td class="n">{grams_text(g, shop.resolution_g)}</td></tr>'
        for ink, g in grams.items()
        if g > 0
    ]
    whole = f'<td class="n">{grams_text(total, shop.resolution_g)}</td>'
    return (
        f'<table><thead><tr><th>Ink</th><th>Lot</th><th class="n">%</th>'
        f'<th class="n">g {head}</th></tr></thead><tbody>{"".join(rows)}'
        f'<tr><td>In all</td><td></td><td class="n">100</td>{whole}</tr></tbody></table>'
    )
