"""The label on a container: what is in it, for which job, and a code that finds its record.

One small HTML page (A6) to print and to stick or tape on.  The code needs the package
segno (`pip install -e ".[label]"` in matchkit's folder); without it the label says the same
in letters.
"""

from matchkit.book.find import reference
from matchkit.book.jobs import BatchRecord, local_day, mostly_clear, state_words
from matchkit.book.store import Book
from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.inks.shop import Shop
from matchkit.matching.rank import MOSTLY_CLEAR
from matchkit.paper.sheet import OFF_SCREEN, caution_list, page

LABEL_CAUTIONS = ("skin", "cure", "use")


def label_html(book: Book, shop: Shop, batch: BatchRecord) -> str:
    """The label of a batch as a printable page.

    Amounts are what is in the container, additions counted; the swatch is what was measured
    last.  Whether the batch was approved stands on it in words.
    """
    contents = _contents(batch)
    facts = {
        "batch": batch,
        "facts": (
            ("Customer", batch.customer),
            ("Job", batch.job),
            ("Batch", f"{batch.batch}, {local_day((batch.pours or (batch,))[-1].at)}"),
            ("Mixed by", ", ".join(dict.fromkeys(pour.who for pour in batch.pours if pour.who))),
            ("Shop", shop.name),
        ),
        "code": (code := reference(book, batch.batch)),
        "qr": qr_svg(code),
        "state": state_words(batch.state),
        "closed": batch.closed_at and local_day(batch.closed_at),
        "measured": _measured(shop, batch),
        "contents": contents,
        "mark": MOSTLY_CLEAR if mostly_clear(batch, shop.inks) else "",
        "total_g": sum(g for *_, g in contents),
        "cautions": caution_list(LABEL_CAUTIONS),
    }
    return page("label", facts, resolution_g=shop.resolution_g)


def qr_svg(text: str) -> str:
    """A QR code (ISO/IEC 18004) as SVG to stand in a page; empty without segno."""
    try:
        import segno
    except ImportError:
        return ""
    return segno.make(text, error="m", micro=False).svg_inline(border=4, omitsize=True)


def _measured(shop: Shop, batch: BatchRecord) -> tuple[str, str] | None:
    """The colour that was measured of what is in the container, with its numbers."""
    if (last := batch.read_now) is None:
        return None
    away = "" if last.de00 is None else f", dE00 {last.de00:.2f} from the target"
    L, a, b = last.lab
    told = f"measured {local_day(last.at)}: L* {L:.1f}, a* {a:.1f}, b* {b:.1f} ({last.light}){away}"
    colour = hex_colour(last.R, shop.lights[0], shop.observer)
    return colour, told if colour.on_screen else f"{told}. {OFF_SCREEN}"


def _contents(batch: BatchRecord) -> list[tuple[str, str, float]]:
    """Inks with their lots and grams in the container; planned ones before weighing."""
    grams: dict[str, float] = {}
    lots: dict[str, list[str]] = {}
    for pour in batch.pours:
        for ink, lot, g in zip(pour.inks, pour.lots, pour.actual_g, strict=True):
            grams[ink] = grams.get(ink, 0.0) + g
            lots.setdefault(ink, []).append(lot)
    grams = grams or {ink: share * batch.planned_g for ink, share in batch.shares.items()}
    return [
        (ink, ", ".join(dict.fromkeys(filter(None, lots.get(ink, [])))), g)
        for ink, g in grams.items()
        if g > 0
    ]
