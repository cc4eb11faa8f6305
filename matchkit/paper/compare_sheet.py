"""A comparison on paper: one A4 page that helps a customer to choose.

Candidates stand side by side, each beside the target under every light, with what the
numbers say in words.  Formulas are not on it: they are the shop's.  Nothing is told by
colour alone, and what no screen can show is hatched and says so.
"""

from collections.abc import Sequence
from string import ascii_uppercase

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.illuminants import Light, MeasuredIlluminant, light_name, white
from matchkit.colorimetry.tristimulus import XYZ, hex_colours, in_srgb
from matchkit.errors import InputError
from matchkit.matching.compare import Comparison, Sample
from matchkit.matching.probability import chance_text
from matchkit.matching.rank import Candidate
from matchkit.paper.sheet import caution_list, page

MOST_CANDIDATES = 4
OFF_SCREEN = "Hatched, “off screen”: no screen can show this colour; the nearest is shown."

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
SWATCHES_MM, WORDS_MM = 160.0, 19.0
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
    lang: str = "en",
) -> str:
    """A page to print on A4, one where there are up to six lights.

    `candidates` are those of the comparison's samples, in their order, one to four; of them
    the sheet takes the number of inks and the odds; what inks cost the shop is not on it.

    Raises `InputError` for none or more than four.
    """
    if not 1 <= len(candidates) <= MOST_CANDIDATES:
        raise InputError(
            f"sheet: {len(candidates)} candidates; one page shows 1 to {MOST_CANDIDATES}, leave"
            " some out"
        )
    rows = zip(ascii_uppercase, comparison.samples, candidates, strict=False)
    sections = [
        (letter, sample.name, _views(sample, comparison), _facts(sample, candidate, comparison))
        for letter, sample, candidate in rows
    ]
    least, most = SWATCH_MM
    facts = {
        "target_name": target_name,
        "tolerance_de00": tolerance_de00,
        "shop": shop,
        "job": job,
        "date": date,
        "facts": _target_facts(comparison, tolerance_de00),
        "candidates": sections,
        "n_light": len(comparison.lights),
        "height_mm": min(max(SWATCHES_MM / len(comparison.lights) - WORDS_MM, least), most),
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
        dL, dC, dH = (_signed(value, 2) for value in sample.delta[row])
        views.append(
            {
                "light": light_name(light),
                "kind": light_in_words(light),
                "halves": list(zip(colours, _on_screen(R, light, comparison), strict=True)),
                "de00": float(sample.de00[row]),
                "words": sample.words[row],
                "delta": f"L* {dL} C* {dC} H* {dH}",
            }
        )
    return views


def _on_screen(R: NDArray[np.float64], light: Light, comparison: Comparison) -> list[bool]:
    observer = comparison.observer
    shown: list[bool] = in_srgb(XYZ(R, light, observer), white(light, observer)).tolist()
    return shown


def _facts(sample: Sample, candidate: Candidate, comparison: Comparison) -> list[str]:
    names = comparison.light_names
    index, shift = int(np.argmax(sample.metamerism)), int(np.argmax(sample.inconstancy))
    lines = [f"Worst light: {names[sample.worst]}, dE00 {sample.de00[sample.worst]:.2f}"]
    if len(names) > 1:
        lines.append(f"Metamerism index: {sample.metamerism[index]:.2f} ({names[index]})")
    lines += [
        f"Inconstancy from D65: {sample.inconstancy[shift]:.1f} ({names[shift]})",
        f"{len(candidate.inks)} inks",
    ]
    if candidate.chance_in_tolerance is not None:
        lines.append(f"In tolerance at once: {chance_text(candidate.chance_in_tolerance)}")
    if candidate.mostly_clear:
        lines.append("Mostly clear: what is below shows through; see it on the garment")
    return lines


def _notes(comparison: Comparison) -> list[str]:
    return [
        "dE00: colour difference by CIEDE2000. L*, C*, H*: candidate minus target; plus is"
        " lighter, cleaner, and a turn of hue from red to yellow to green to blue.",
        f"Metamerism index: what parts the pair if it matched exactly under"
        f" {comparison.light_names[0]} (special index, {comparison.correction} correction,"
        " dE00).",
        f"Inconstancy: how far the candidate itself shifts against D65 (colour inconstancy,"
        f" {comparison.transform}, D = 1, dE00); the target shifts too.",
        *([OFF_SCREEN] if _any_off_screen(comparison) else []),
        *caution_list(("approval", "use")),
    ]


def _any_off_screen(comparison: Comparison) -> bool:
    R = np.array([comparison.target_R, *(sample.R for sample in comparison.samples)])
    return not all(all(_on_screen(R, light, comparison)) for light in comparison.lights)


def _signed(value: float, digits: int) -> str:
    """A difference with its sign, a true minus, and no minus nought."""
    return f"{round(float(value), digits) + 0.0:+.{digits}f}".replace("-", "\N{MINUS SIGN}")
