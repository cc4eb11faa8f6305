"""A comparison on paper: one A4 page that helps a customer to choose.

Candidates stand side by side, each beside the target under every light, with what the
numbers say in words.  Formulas are not on it: they are the shop's, and stand on its copy.
Nothing is told by colour alone, and what no screen can show says so.
"""

from collections.abc import Sequence

import numpy as np

from matchkit.colorimetry.illuminants import Light, MeasuredIlluminant, light_name
from matchkit.colorimetry.tristimulus import hex_colours
from matchkit.errors import InputError
from matchkit.matching.compare import Comparison, Sample
from matchkit.matching.probability import chance_text
from matchkit.matching.rank import Candidate
from matchkit.paper.sheet import OFF_SCREEN, caution_list, minus, page

MOST_CANDIDATES = 4

# What the tables of CIE 015 stand for, by the longest beginning of the name.
KINDS = {
    "A": "incandescent",
    "C": "daylight",
    "D": "daylight",
    "D50": "warm daylight",
    "D75": "north sky",
    "FL": "fluorescent",
    "FL2": "cool white fluorescent",
    "FL11": "three-band fluorescent",
    "FL12": "three-band fluorescent",
    "HP": "high-pressure lamp",
    "LED-": "white LED",
    "ID": "daylight indoors",
}

# Left for the swatches on an A4 page, after heading, facts and cautions; and what stands
# above and below each swatch.
SWATCHES_MM, WORDS_MM, FORMULAS_MM = 160.0, 19.0, 24.0
SWATCH_MM = (5.0, 34.0)


def comparison_html(
    comparison: Comparison,
    candidates: Sequence[Candidate],
    *,
    target_name: str,
    tolerance_de00: float,
    shop: str = "",
    job: str = "",
    date: str = "",
    shop_copy: bool = False,
    lang: str = "en",
) -> str:
    """A page to print on A4, one where there are up to six lights.

    `candidates` are those of the comparison's samples, in their order, one to four; of them
    the customer's sheet takes the number of inks and the chance. Only the `shop_copy` names
    each candidate's formula, its inks with percents and what they cost.

    Raises `InputError` for none or more than four.
    """
    if not 1 <= len(candidates) <= MOST_CANDIDATES:
        raise InputError(
            f"sheet: {len(candidates)} candidates; one page shows 1 to {MOST_CANDIDATES}, leave"
            " some out"
        )
    sections = [
        (_views(sample, comparison), _facts(sample, candidate, comparison))
        for sample, candidate in zip(comparison.samples, candidates, strict=True)
    ]
    formulas = [
        (sample.name, _formula(candidate))
        for sample, candidate in zip(comparison.samples, candidates, strict=True)
    ]
    least, most = SWATCH_MM
    all_mm = SWATCHES_MM - FORMULAS_MM * shop_copy
    facts = {
        "target_name": target_name,
        "tolerance_de00": tolerance_de00,
        "shop": shop,
        "job": job,
        "date": date,
        "facts": _target_facts(comparison, tolerance_de00),
        "candidates": sections,
        "formulas": formulas if shop_copy else [],
        "n_light": len(comparison.lights),
        "height_mm": min(max(all_mm / len(comparison.lights) - WORDS_MM, least), most),
        "notes": _notes(comparison),
        "lang": lang,
    }
    return page("comparison", facts)


def light_in_words(light: Light) -> str:
    """What a light is, for someone who has never read a table of illuminants.

    >>> light_in_words("FL11"), light_in_words("LED-B3")
    ('three-band fluorescent', 'white LED')
    """
    if isinstance(light, MeasuredIlluminant):
        return "measured lamp"
    begins = [kind for kind in KINDS if light.startswith(kind)]
    return KINDS[max(begins, key=len)] if begins else ""


def _target_facts(comparison: Comparison, tolerance_de00: float) -> str:
    first, (L, a, b) = comparison.light_names[0], comparison.target_lab[0]
    return (
        f"Target under {first}, {comparison.observer}° observer: L* {L:.1f}, a* {_signed(a, 1)},"
        f" b* {_signed(b, 1)}. Tolerance: dE00 {tolerance_de00:g} under {first}."
    )


def _views(sample: Sample, comparison: Comparison) -> list[dict[str, object]]:
    """Target and candidate under each light, and how they differ."""
    R, views = np.array([comparison.target_R, sample.R]), []
    for row, light in enumerate(comparison.lights):
        colours = hex_colours(R, light, comparison.observer)
        dL, dC, dH = (_signed(value, 1) for value in sample.delta[row])
        views.append(
            {
                "light": light_name(light),
                "kind": light_in_words(light),
                "halves": colours,
                "de00": float(sample.de00[row]),
                "words": sample.words[row],
                "delta": f"L* {dL} C* {dC} H* {dH}",
            }
        )
    return views


def _facts(sample: Sample, candidate: Candidate, comparison: Comparison) -> list[str]:
    names = comparison.light_names
    index, shift = int(np.argmax(sample.metamerism)), int(np.argmax(sample.inconstancy))
    lines = [f"Worst light: {names[sample.worst]}, dE00 {sample.de00[sample.worst]:.2f}"]
    if len(names) > 1:
        lines.append(f"Metamerism index: {sample.metamerism[index]:.2f} ({names[index]})")
    lines += [
        f"Colour inconstancy from D65: {sample.inconstancy[shift]:.1f} ({names[shift]})",
        f"{len(candidate.inks)} inks",
    ]
    if candidate.chance_in_tolerance is not None:
        chance = chance_text(candidate.chance_in_tolerance)
        lines.append(f"Chance in tolerance at the first drawdown: {chance}")
    if candidate.mostly_clear:
        lines.append("MOSTLY CLEAR: the garment shows through; see it on the garment")
    return lines


def _notes(comparison: Comparison) -> list[str]:
    return [
        "dE00: colour difference by CIEDE2000. L*, C*, H*: candidate minus target; plus is"
        " lighter, cleaner, and a turn of hue from red to yellow to green to blue.",
        f"Metamerism index: how far target and candidate would lie apart under that light if"
        f" they matched exactly under {comparison.light_names[0]}, dE00.",
        "Colour inconstancy: how far the candidate itself shifts from daylight D65 to that light,"
        " dE00; the target shifts too.",
        *([OFF_SCREEN] if _any_off_screen(comparison) else []),
        *caution_list(("approval", "use")),
    ]


def _any_off_screen(comparison: Comparison) -> bool:
    R = np.array([comparison.target_R, *(sample.R for sample in comparison.samples)])
    return not all(
        colour.on_screen
        for light in comparison.lights
        for colour in hex_colours(R, light, comparison.observer)
    )


def _formula(candidate: Candidate) -> list[str]:
    inks = zip(candidate.inks, candidate.percents, strict=True)
    cost = candidate.cost_per_kg
    lines = [f"{ink} {percent:.2f} %" for ink, percent in inks]
    return lines if cost is None else [*lines, f"Cost {cost:.2f}/kg"]


def _signed(value: float, digits: int) -> str:
    """A difference with its sign, a true minus, and no minus nought."""
    return minus(f"{round(float(value), digits) + 0.0:+.{digits}f}")
