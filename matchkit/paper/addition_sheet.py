"""An addition slip on paper: what to add to a batch, on a running total."""

from collections.abc import Sequence

import numpy as np

from matchkit.correcting.correct import Correction
from matchkit.inks.shop import Shop
from matchkit.matching.probability import chance_text
from matchkit.paper.pages import page
from matchkit.paper.sheet import MIX, UNSOURCED, caution_list

# Common practice, no source.
STEPS = (
    "Stir the batch first, then tare the balance with it on.",
    "Add in this order, on the running total; stop short, and creep up.",
    *MIX,
    "Draw down, cure, let cool, measure; this slip is the next round's start.",
)
CAUTIONS = ("skin", "machine", "cure", "load", "approval")


def addition_html(
    names: Sequence[str],
    addition: Correction,
    target: str,
    lights: Sequence[str],
    shop: Shop,
    day: str,
    *,
    mark: str = "",
    remarks: Sequence[str] = (),
) -> str:
    """A page to print on A5: the largest addition first.

    `names` are the inks of the palette that `addition` was found with, `lights` those of
    the target, `day` the date of the slip; `mark` says what the batch will be that a
    person must know, `remarks` what to know of the addition.
    """
    rows, total_g = [], 0.0
    for i in np.argsort(-addition.additions_g, kind="stable"):
        if addition.additions_g[i] > 0:
            total_g += float(addition.additions_g[i])
            rows.append((names[i], float(addition.additions_g[i]), total_g))
    de00 = ", ".join(f"{n} {e:.2f}" for n, e in zip(lights, addition.de00, strict=True))
    facts = {
        "addition": addition,
        "target": target,
        "shop": shop,
        "day": day,
        "mark": mark,
        "predicted": f"Predicted after the addition: dE00 {de00}; chance in tolerance"
        f" ({shop.tolerance_de00:g}): {chance_text(addition.chance_in_tolerance)}."
        + "".join(f" {each}." for each in remarks),
        "rows": rows,
        "steps": STEPS,
        "unsourced": UNSOURCED,
        "cautions": caution_list(CAUTIONS),
    }
    return page("addition", facts, resolution_g=shop.resolution_g)
