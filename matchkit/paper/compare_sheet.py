"""A comparison on paper: one A4 page that helps a customer to choose.

Candidates stand side by side, each beside the target under every light, with what the
numbers say in words.  Formulas are not on it: they are the shop's.  Nothing is told by
colour alone, and what no screen can show is hatched and says so.
"""

from collections.abc import Iterable, Sequence
from html import escape
from string import ascii_uppercase

import numpy as np

from matchkit.colorimetry.illuminants import Light, MeasuredIlluminant, light_name
from matchkit.colorimetry.tristimulus import XYZ, hex_colours, in_srgb, white
from matchkit.errors import InputError
from matchkit.matching.compare import Comparison, Sample
from matchkit.matching.probability import chance_text
from matchkit.matching.rank import Candidate
from matchkit.paper.sheet import caution_list, name_html, page, tick

__all__ = ["MOST_CANDIDATES", "comparison_html", "light_in_words"]

MOST_CANDIDATES = 4
NOT_A_PROOF = (
    "A screen is not a proof, nor is a print-out of it: these swatches show which way a candidate"
    " parts from the target, not its colour. Judge cured prints side by side under these lights."
)
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

STYLE = """
.cols { display: grid; grid-template-columns: repeat(COLUMNS, minmax(0, 1fr)); gap: 0 4mm; }
.cols section { display: grid; grid-row: span ROWS; grid-template-rows: subgrid;
  align-content: start; break-inside: avoid; }
.cols h2 { margin: 2mm 0 0.5mm; font-size: 10pt; line-height: 1.15; max-height: 3.45em;
  overflow: hidden; }
.cols div { margin: 0.8mm 0; }
.view { display: flex; height: HEIGHTmm; border: 0.3mm solid #000; margin: 0.3mm 0; }
.view span { flex: 1; display: flex; align-items: center; justify-content: center;
  font-size: 7pt; line-height: 1; }
.view b { background: #fff; font-weight: normal; padding: 0.3mm 0.6mm; }
.off { background-image: repeating-linear-gradient(45deg, #0008 0 0.25mm, #fff8 0.25mm 0.5mm,
  transparent 0.5mm 2mm); }
.cols .facts p { margin: 0; }
.choose { font-weight: bold; }
.notes { columns: 2 80mm; margin-top: 1.5mm; }
@media screen and (max-width: 600px) {
  .cols { grid-template-columns: repeat(NARROW, minmax(0, 1fr)); gap: 0 3mm; }
  .view { height: min(HEIGHTmm, 16mm); } }
"""


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
    letters = ascii_uppercase[: len(candidates)]
    sections = [
        _candidate(letter, sample, candidate, comparison, tolerance_de00)
        for letter, sample, candidate in zip(letters, comparison.samples, candidates, strict=True)
    ]
    parts = [
        _head(comparison, target_name, tolerance_de00, shop, job, date),
        f'<div class="cols">\n{"".join(sections)}</div>',
        _fill_in(),
        _notes(comparison),
    ]
    title = " - ".join(filter(None, ("Colour comparison", job, target_name)))
    style = _style(len(candidates), len(comparison.lights))
    return page(title, "\n".join(parts), size="A4", lang=lang, style=style)


def light_in_words(light: Light) -> str:
    """What a light is, for someone who has never read a table of illuminants.

    >>> light_in_words("FL11"), light_in_words("LED-B3")
    ('three-band fluorescent', 'white LED')
    """
    if isinstance(light, MeasuredIlluminant):
        return "measured lamp"
    begins = [kind for kind in KINDS if light.startswith(kind)]
    return KINDS[max(begins, key=len)] if begins else ""


def _style(n_candidate: int, n_light: int) -> str:
    least, most = SWATCH_MM
    height = min(max(SWATCHES_MM / n_light - WORDS_MM, least), most)
    return (
        STYLE.replace("COLUMNS", str(n_candidate))
        .replace("NARROW", str(min(n_candidate, 2)))
        .replace("ROWS", str(n_light + 3))
        .replace("HEIGHT", f"{height:.1f}")
    )


def _head(
    comparison: Comparison, target: str, tolerance: float, shop: str, job: str, date: str
) -> str:
    first = comparison.light_names[0]
    about = " · ".join(escape(part) for part in ("Colour comparison", shop, date) if part)
    L, a, b = comparison.target_lab[0]
    facts = (
        f"Target under {first}, {comparison.observer}° observer: L* {L:.1f}, a* {_signed(a, 1)},"
        f" b* {_signed(b, 1)}. Tolerance: dE00 {tolerance:g} under {first}."
    )
    return (
        f'<p class="small">{about}</p>\n<h1>{name_html(target)}</h1>\n'
        + (f"<p><b>{name_html(job)}</b></p>\n" if job else "")
        + f"<p>Each swatch: <b>target left, candidate right</b>, as predicted, for eyes used to"
        f" that light. {escape(facts)}</p>\n"
        f'<div class="warn"><p>{NOT_A_PROOF}</p></div>'
    )


def _candidate(
    letter: str, sample: Sample, candidate: Candidate, comparison: Comparison, tolerance: float
) -> str:
    views = (_view(sample, comparison, row, tolerance) for row in range(len(comparison.lights)))
    name = name_html(sample.name)
    return (
        f"<section>\n<h2>{letter} · {name}</h2>\n{''.join(views)}"
        f"{_facts(sample, candidate, comparison)}"
        f'<p class="choose">{tick(f"{letter}: pull a print")} Pull a print of {letter}</p>\n'
        "</section>\n"
    )


def _view(sample: Sample, comparison: Comparison, row: int, tolerance: float) -> str:
    """Target and candidate under one light, edge to edge, and how they differ."""
    light, observer = comparison.lights[row], comparison.observer
    R = np.array([comparison.target_R, sample.R])
    shown = in_srgb(XYZ(R, light, observer), white(light, observer)).tolist()
    halves = "".join(map(_half, hex_colours(R, light, observer), shown))
    kind = light_in_words(light)
    label = f"<b>{escape(light_name(light))}</b>" + (f" {escape(kind)}" if kind else "")
    size = float(sample.de00[row])
    over = f"<b>, over {tolerance:g}</b>" if size > tolerance else ""
    dL, dC, dH = (_signed(value, 2) for value in sample.delta[row])
    return (
        f'<div class="small">{label}<span class="view">{halves}</span>'
        f"<b>dE00 {size:.2f}</b>{over} · {escape(sample.words[row])}"
        f'<span class="part">L* {dL} C* {dC} H* {dH}</span></div>\n'
    )


def _half(colour: str, on_screen: bool) -> str:
    if on_screen:
        return f'<span style="background-color:{colour}"></span>'
    return f'<span class="off" style="background-color:{colour}"><b>off screen</b></span>'


def _facts(sample: Sample, candidate: Candidate, comparison: Comparison) -> str:
    names = comparison.light_names
    index, shift = int(np.argmax(sample.metamerism)), int(np.argmax(sample.inconstancy))
    lines = [f"Worst light: {names[sample.worst]}, dE00 {sample.de00[sample.worst]:.2f}"]
    if len(names) > 1:
        lines.append(f"Metamerism index: {sample.metamerism[index]:.2f} ({names[index]})")
    lines += [
        f"Own shift from D65: {sample.inconstancy[shift]:.1f} ({names[shift]})",
        f"{len(candidate.inks)} inks",
    ]
    if candidate.chance_in_tolerance is not None:
        lines.append(f"In tolerance at once: {chance_text(candidate.chance_in_tolerance)}")
    if candidate.mostly_clear:
        lines.append("Mostly clear: what is below shows through; see it on the garment")
    return f'<div class="small facts">{_paragraphs(lines)}</div>\n'


def _fill_in() -> str:
    lines = "".join(f'<p>{what}<span class="line"></span></p>' for what in ("Chosen by", "Date"))
    return f'<div class="fill">{lines}</div>'


def _notes(comparison: Comparison) -> str:
    notes = [
        "dE00: colour difference by CIEDE2000. L*, C*, H*: candidate minus target; plus is"
        " lighter, cleaner, and a turn of hue from red to yellow to green to blue.",
        f"Metamerism index: what parts the pair if it matched exactly under"
        f" {comparison.light_names[0]} (special index, {comparison.correction} correction,"
        " dE00).",
        f"Own shift: how far the candidate itself changes against D65 (colour inconstancy,"
        f" {comparison.transform}, D = 1, dE00); the target shifts too.",
        *([OFF_SCREEN] if _any_off_screen(comparison) else []),
        *caution_list(("approval", "use")),
    ]
    return f'<div class="small notes">{_paragraphs(notes)}</div>'


def _any_off_screen(comparison: Comparison) -> bool:
    R = np.array([comparison.target_R, *(sample.R for sample in comparison.samples)])
    observer = comparison.observer
    return not all(
        in_srgb(XYZ(R, light, observer), white(light, observer)).all()
        for light in comparison.lights
    )


def _paragraphs(lines: Iterable[str]) -> str:
    return "".join(f"<p>{escape(line)}</p>" for line in lines)


def _signed(value: float, digits: int) -> str:
    """A difference with its sign, a true minus, and no minus nought."""
    return f"{round(float(value), digits) + 0.0:+.{digits}f}".replace("-", "\N{MINUS SIGN}")
