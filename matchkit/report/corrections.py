"""What went wrong with a batch, and what to add to it, as parts."""

from datetime import date

from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.correcting.correct import Correction
from matchkit.inks.shop import Shop
from matchkit.matching.probability import chance_text
from matchkit.matching.rank import MOSTLY_CLEAR, is_mostly_clear
from matchkit.paper.sheet import SHORT_CAUTIONS, grams_text
from matchkit.paper.ticket_sheet import addition_html
from matchkit.report.check import beside_target, edge_to_edge
from matchkit.report.parts import Page, Part, Picture, Table, by_light
from matchkit.workflows.correcting_batch import Advice
from matchkit.workflows.finishing_batch import Finish

FINISHES = {
    "scaled": "The same colour, a bigger batch",
    "least_growth": "Near enough with the least growth",
    "same_size": "No growth, the best that is left",
}


def correction_parts(found: Advice) -> list[Part]:
    """Where a batch stands, what went wrong, and what each addition would bring."""
    light, tolerance = found.wanted.target.light_names[0], found.tolerance_de00
    before = found.de00_before[0]
    now = f"Now: dE00 {before:.2f}"
    if found.by_eye:
        now = f"Now, by eye: about dE00 {before:.1f}"
    chance = chance_text(found.still.chance_in_tolerance)
    parts: list[Part] = [
        f"{now} under {light}, tolerance {tolerance:g}; chance in tolerance as it is: {chance}"
    ]
    if found.chance_weighed is not None:
        weighed = chance_text(found.chance_weighed)
        parts.append(f"Chance of these weights before anything was measured: {weighed}")
    parts += _what_happened(found)
    if found.in_tolerance:
        return [*parts, "In tolerance: leave it."]
    if found.verdict:
        parts.append(found.verdict + _neighbour(found))
    if not found.offered:
        nothing = "Nothing to add." if before <= tolerance else "No addition brings it nearer."
        return parts if found.verdict else [*parts, nothing]
    parts += _pictures(found)
    parts += [_way(found, name, way) for name, way in found.offered.items()]
    return [*parts, SHORT_CAUTIONS]


def finish_parts(found: Finish) -> list[Part]:
    """The ways to finish a batch in which too much, or a wrong ink, went in."""
    rescue, step = found.rescue, found.resolution_g
    parts: list[Part] = []
    if rescue.over:
        parts.append(f"Over-poured: {', '.join(rescue.over)}")
    if rescue.wrong:
        parts.append(f"Not in the plan: {', '.join(rescue.wrong)}")
    parts = parts or ["Nothing is over the plan: weigh the rest as planned."]
    for name, way in rescue.ways.items():
        told = by_light("dE00", found.wanted.target.light_names, way.de00.tolist())
        room = "" if way.fits else "; more than the container takes"
        head = f"{FINISHES[name]}: {grams_text(way.total_g, step)} g, {told}{room}"
        rows = tuple((ink, grams_text(g, step)) for ink, g in found.rest(way.rest_g).items())
        if rows:
            parts.append(Table(head=("Still to weigh", "grams"), rows=rows, caption=head))
        else:
            parts.append(f"{head}; nothing more to weigh")
    return [*parts, SHORT_CAUTIONS]


def addition_page(found: Advice, way: Correction, shop: Shop, day: str = "") -> Page:
    """The slip to print for one addition; `day` is today's."""
    held = found.belief.grams + way.additions_g
    html = addition_html(
        found.palette.names,
        way,
        found.wanted.name,
        found.wanted.target.light_names,
        shop,
        day or date.today().isoformat(),
        mark=MOSTLY_CLEAR if is_mostly_clear(found.palette, held / held.sum()) else "",
        remarks=found.remarks(way),
    )
    return Page(title=f"Addition {found.wanted.name}", html=html)


def _what_happened(found: Advice) -> list[Part]:
    """Weighing errors, and inks that look stronger or weaker than the lots that were fitted."""
    errors = [
        f"{e.ink}: {e.noted_g:g} g noted, but about {e.probably_g:g} g went in, by the reading (a"
        " weighing error, or a lot that is far off); weigh the container"
        for e in found.errors
    ]
    strengths = [
        f"{s.ink} looks {abs(s.percent):.0f} % {'strong' if s.percent > 0 else 'weak'}"
        f" against the other inks of the batch (+-{s.error_percent:.0f})"
        for s in found.strengths
    ]
    return [*errors, *strengths]


def _neighbour(found: Advice) -> str:
    if found.neighbour is None:
        return ""
    name, away = found.neighbour
    return f" As it is, it is nearest to {name} (dE00 {away:.1f})."


def _way(found: Advice, name: str, way: Correction) -> Table:
    step, lights = found.resolution_g, found.wanted.target.light_names
    after = by_light("dE00", lights, way.de00.tolist())
    head = (
        f"{name.capitalize()}: add {grams_text(way.added_g, step)} g,"
        f" {grams_text(way.total_g, step)} g in all; then {after};"
        f" chance in tolerance {chance_text(way.chance_in_tolerance)}"
    )
    head = ". ".join([head, *found.remarks(way)])
    rows = tuple((ink, grams_text(g, step)) for ink, g in found.additions(way).items())
    return Table(head=("Add", "grams"), rows=rows, caption=head)


def _pictures(found: Advice) -> list[Picture]:
    """The target beside the batch now and after the first addition; the rest where asked for."""
    target = found.wanted.target
    if target.R is None:
        return []
    light, observer, first = target.lights[0], target.observer, next(iter(found.offered.values()))
    now = found.still.R if found.R is None else found.R
    strip = edge_to_edge(
        hex_colour(target.R, light, observer),
        [hex_colour(R, light, observer) for R in (now, first.R)],
        [f"now: dE00 {found.de00_before[0]:.2f}", f"after: dE00 {first.de00[0]:.2f}"],
        f"Above: {found.wanted.name} under {target.light_names[0]}",
    )
    states = [("as it is", found.still.R), *((n, way.R) for n, way in found.offered.items())]
    return [strip, *beside_target(target, states, found.tolerance_de00)]
