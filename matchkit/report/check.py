"""A check: the difference in words, in numbers and as a picture."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.matching.compare import Comparison, compare
from matchkit.report.charts import LC_plane, ab_plane, light_bars, spectra, swatches
from matchkit.report.marks import strip
from matchkit.report.parts import Banner, Part, Picture, Swatches, Table
from matchkit.workflows.checking import Check
from matchkit.workflows.measuring_batch import MeasuredBatch

NEVER = "Never approve a colour by a screen."
PLANES = {"ab": ab_plane, "LC": LC_plane}
COMPARED = ("swatches", "spectra", "lights", "ab", "LC")  # by which a person asks for them


def compared_pictures(
    seen: Comparison, tolerance_de00: float, shown: Sequence[str] = COMPARED
) -> list[Picture]:
    """Every picture of a comparison, each named as in `COMPARED`; those not in `shown` aside.

    Of good matches the first light shows little, since all lie on the target: where they are
    asked for, the planes are drawn for the worst light too.
    """
    n_light, n = len(seen.lights), len(seen.samples)
    names = ", ".join(each.name for each in seen.samples)
    away = np.array([each.de00 for each in seen.samples]).max(axis=0)
    views = list(dict.fromkeys([0, int(away.argmax())]))

    def plane(name: str, axes: str, light: int) -> Picture:
        alt = f"{axes} of the target and of {names} under {seen.light_names[light]}"
        return Picture(
            name=name,
            draw=lambda ax: PLANES[name](ax, seen, tolerance_de00=tolerance_de00, light=light),
            alt=alt,
            aside=light != views[0],
        )

    pictures = [
        Picture(
            name="swatches",
            draw=lambda ax: swatches(ax, seen),
            alt=f"The target and {names} side by side under each light. {NEVER}",
            height_in=0.9 + 0.62 * n_light,
        ),
        Picture(
            name="spectra",
            draw=lambda ax: spectra(ax, seen),
            alt=f"Reflectance of the target and of {names}",
            height_in=4.2,
        ),
        Picture(
            name="lights",
            draw=lambda ax: light_bars(ax, seen, tolerance_de00=tolerance_de00),
            alt=f"dE00 of {names} under each light",
            height_in=0.8 + 0.22 * n_light * (n + 1),
        ),
        *(plane("ab", "a* and b*", light) for light in views),
        *(plane("LC", "L* and C*", light) for light in views),
    ]
    return [replace(each, aside=each.aside or each.name not in shown) for each in pictures]


def beside_target(
    target: Target,
    named: Sequence[tuple[str, Array]],
    tolerance_de00: float,
    shown: Sequence[str] = (),
) -> list[Picture]:
    """The pictures of named colours (n_wl,) beside a target; none of one known only as Lab."""
    if target.R is None:
        return []
    seen = compare(target.R, named, lights=target.lights, observer=target.observer)
    return compared_pictures(seen, tolerance_de00, shown)


def edge_to_edge(above: str, below: Sequence[str], names: Sequence[str], title: str) -> Picture:
    """One web colour edge to edge with others below it."""
    return Picture(
        draw=lambda ax: strip(ax, above, below, names, title),
        alt=f"{title}; below it: {', '.join(names)}. {NEVER}",
        width_in=6.4,
        height_in=1.6,
        wide=True,
    )


def check_parts(found: Check) -> list[Part]:
    """In or out of tolerance, by how much and in which direction, under each light."""
    verdict, target = found.verdict, found.wanted.target
    word = "IN TOLERANCE" if verdict.passed else "OUT OF TOLERANCE"
    head = (
        f"{word}: dE00 {verdict.de00[0]:.2f} under {verdict.lights[0]}, tolerance"
        f" {found.tolerance_de00:g}"
    )
    shown = Banner(text=head, passed=verdict.passed)
    parts: list[Part] = [shown, f"Drawdown compared with target: {verdict.words[0]}"]
    if target.R is not None:
        light, observer = target.lights[0], target.observer
        colours = hex_colour(target.R, light, observer), hex_colour(found.R, light, observer)
        parts.insert(0, Swatches(colours=colours, names=("target", "drawdown")))
        parts.append(
            edge_to_edge(colours[0], [colours[1]], ["the drawdown"], f"Above: {found.wanted.name}")
        )
    rows = tuple(
        (light, f"{e:.2f}", *(f"{v:+z.2f}" for v in d), words)
        for light, e, d, words in zip(
            verdict.lights, verdict.de00, verdict.delta, verdict.words, strict=True
        )
    )
    head_row = ("Light", "dE00", "dL*", "dC*", "dH*", "In words")
    parts.append(Table(head=head_row, rows=rows, words=(5,)))
    if verdict.spread_de00 is not None:
        parts.append(
            f"{found.n_readings} readings, on average dE00 {verdict.spread_de00:.2f} from their"
            " mean."
        )
    if found.compared is not None:
        parts += compared_pictures(found.compared, found.tolerance_de00, ("spectra", "ab", "LC"))
    return parts


def measured_parts(found: MeasuredBatch) -> list[Part]:
    """How a drawdown of a batch in the record book compares with its target."""
    judged: list[Part] = ["Measured; it has no target to be judged by."]
    if found.judged is not None:
        judged = check_parts(found.judged)
    return [*judged, *found.odd]
