"""What goes on paper or on a garment: tickets, job size, cover."""

from matchkit.colorimetry.illuminants import light_name
from matchkit.matching.garment import Covering, Print
from matchkit.paper.jobsize import JobSize, summary
from matchkit.paper.ticket import Ticket
from matchkit.paper.ticket_sheet import ticket_html, ticket_text
from matchkit.report.marks import colour_table
from matchkit.report.parts import Page, Part, Picture, Table
from matchkit.workflows.predicting import Cover
from matchkit.workflows.session import Notice


def ticket_page(made: Ticket) -> Page:
    """The page of a ticket."""
    title = f"Weigh-out ticket {made.job or made.target}".rstrip()
    return Page(title=title, html=ticket_html(made), text=ticket_text(made))


def size_parts(found: JobSize) -> list[Part]:
    """How much, and every number it was worked out with."""
    return [
        *(line[0].upper() + line[1:] + "." for line in summary(found)),
        Table(head=("Worked out with",), rows=tuple((line,) for line in found.assumptions)),
    ]


def cover_parts(found: Cover) -> list[Part]:
    """Every way to print over every garment, and what the least work is that covers."""
    viewing, strokes, verdicts = found.viewing, found.strokes, found.verdicts
    below = strokes.underbase_um
    ways = [_short(each) for each in verdicts[0].prints]
    head = ("Garment", "What it needs", *(f"dE00, {way}" for way in ways))
    rows = tuple(
        (each.ground, each.words, *(f"{p.de00:.2f}" for p in each.prints)) for each in verdicts
    )
    return [
        f"One stroke lays down {strokes.stroke_um:g} um"
        + (f", the underbase {below:g} um of white" if below is not None else "")
        + f"; compared with {found.target or 'the colour of the formula where it hides'} under"
        f" {light_name(viewing.light)}, tolerance {viewing.tolerance_de00:g}.",
        _chart(found, ways),
        Table(head=head, rows=rows, words=(1,)),
        _covering_words(found.covering, viewing.tolerance_de00),
        *(Notice(code="prove_on_garment", text=line) for line in found.warnings),
    ]


def _chart(found: Cover, ways: list[str]) -> Picture:
    """Each garment bare and printed, beside the colour that is wanted."""
    rows = [
        (each.ground, [found.target_hex, each.ground_hex, *(p.hex for p in each.prints)])
        for each in found.verdicts
    ]
    told = "; ".join(f"{each.ground}: {each.words}" for each in found.verdicts)
    return Picture(
        name="prints",
        draw=lambda ax: colour_table(ax, rows, ["wanted", "bare", *ways]),
        alt=f"Each garment bare and printed. {told}. Never approve a colour by a screen.",
        width_in=6.4,
        height_in=0.8 + 0.55 * len(rows),
        wide=True,
    )


def _short(way: Print) -> str:
    strokes = "1 stroke" if way.strokes == 1 else f"{way.strokes} strokes"
    return f"{strokes} on underbase" if way.underbase else strokes


def _covering_words(found: Covering, tolerance_de00: float) -> str:
    hiding = (
        f"the formula hides (contrast ratio 0.98) from {found.hiding_um:.0f} um"
        if found.hiding_um is not None
        else "its hiding thickness is not defined (too dark over white, or never)"
    )
    covers = (
        f"from {found.covering_um:.0f} um it is"
        if found.covering_um is not None
        else "at no printable thickness is it"
    )
    return (
        f"One stroke has a contrast ratio of {found.contrast_ratio:.3f}; {hiding}; {covers}"
        f" within dE00 {tolerance_de00:g} of its opaque colour over all of them."
    )
