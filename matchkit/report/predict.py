"""The colour that a formula will have, as parts."""

from dataclasses import replace

import numpy as np

from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.matching.compare import compare
from matchkit.matching.probability import chance_text
from matchkit.report.compared import compared_pictures
from matchkit.report.formulas import sensitive_text, weights_table
from matchkit.report.parts import Part, Swatches, Table
from matchkit.report.recipes import moves_picture, recipe_picture
from matchkit.workflows.predicting import Prediction


def prediction_parts(found: Prediction) -> list[Part]:
    """Its colour under each light, how near that is, its weights, and the ink to pour with care."""
    made, target, wanted = found.candidate, found.target, found.wanted
    light, observer = target.lights[0], target.observer
    parts: list[Part] = [
        Swatches(colours=(hex_colour(made.R, light, observer),), names=("",)),
        f"Predicted for the {observer} degree observer."
        + (" No target was named, so nothing is said about how near it is." if not wanted else ""),
        _colours(found),
    ]
    if wanted is not None:
        parts.append(
            f"That is dE00 {made.de00[0]:.2f} from {wanted.name} under {target.light_names[0]};"
            f" chance within {found.shop.tolerance_de00:g} at the first drawdown:"
            f" {chance_text(made.chance_in_tolerance or 0.0)}."
        )
    if found.batch_g is not None:
        parts.append(weights_table(made, found.shop.resolution_g))
    held = [i for i in np.argsort(-found.c, kind="stable").tolist() if found.c[i] > 0]
    palette = found.fit.palette
    bar = recipe_picture(
        "recipe",
        [palette.names[i] for i in held],
        [100 * float(found.c[i]) for i in held],
        palette=palette,
        light=light,
        observer=observer,
    )
    parts.append(replace(bar, aside=False, wide=True, width_in=6.4, height_in=1.7))
    if wanted is not None and target.R is not None:
        seen = compare(
            target.R, [("this formula", made.R)], lights=target.lights, observer=observer
        )
        shown = ("swatches", "spectra")
        parts += compared_pictures(seen, found.shop.tolerance_de00, shown)
    of_g = None if found.batch_g else round(1e4 * found.sensitive.step_g, 6)
    return [
        *parts,
        moves_picture(palette, found.c, light=light, observer=observer),
        sensitive_text(found.sensitive, of_g),
    ]


def _colours(found: Prediction) -> Table:
    made, names = found.candidate, found.target.light_names
    away = [()] * len(names) if found.wanted is None else [(f"{e:.2f}",) for e in made.de00]
    rows = tuple(
        (light, *(f"{value:.2f}" for value in lab), *off)
        for light, lab, off in zip(names, made.lab, away, strict=True)
    )
    return Table(head=("Light", "L*", "a*", "b*", *(("dE00",) if found.wanted else ())), rows=rows)
