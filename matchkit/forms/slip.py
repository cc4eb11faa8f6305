"""A slip for the bench: what to add to a batch, on a running total."""

from collections.abc import Sequence
from datetime import date
from html import escape

import numpy as np

from matchkit.correcting.correct import Correction
from matchkit.inks.shop import Shop
from matchkit.matching.probability import chance_text
from matchkit.paper.sheet import (
    MIX,
    UNSOURCED,
    bullets,
    caution_list,
    grams_text,
    name_html,
    page,
    tick,
)
from matchkit.report.parts import Page

__all__ = ["addition_page"]

# Common practice, no source.
STEPS = (
    "Stir the batch first, then tare the balance with it on.",
    "Add in this order, on the running total; stop short, and creep up.",
    *MIX,
    "Draw down, cure, let cool, measure; this slip is the next round's start.",
)


def addition_page(
    names: Sequence[str],
    addition: Correction,
    target: str,
    lights: Sequence[str],
    shop: Shop,
    day: str = "",
) -> Page:
    """The printable slip."""
    step, total, rows = shop.resolution_g, 0.0, []
    for i in np.argsort(-addition.additions_g, kind="stable"):
        grams = float(addition.additions_g[i])
        if grams <= 0:
            continue
        total += grams
        rows.append(
            f'<tr><td class="box">{tick(names[i])}</td>'
            f'<td class="ink">{name_html(names[i])}</td>'
            f'<td class="n big">{grams_text(grams, step)}</td>'
            f'<td class="n mid">{grams_text(total, step)}</td></tr>'
        )
    told = ", ".join(f"{n} {e:.2f}" for n, e in zip(lights, addition.de00, strict=True))
    body = [
        f'<p class="small">Addition slip · {escape(shop.name)} · '
        f"{escape(day or date.today().isoformat())}</p>",
        f"<h1>{name_html(target)}</h1>",
        f"<p>Foretold after the addition: dE00 {escape(told)}; chance within "
        f"{shop.tolerance_de00:g}: {chance_text(addition.chance_in_tolerance)}.</p>",
        '<table>\n<thead><tr><th></th><th>Add</th><th class="n">Grams</th>'
        '<th class="n">Balance shows, g</th></tr></thead>\n<tbody>\n'
        + "\n".join(rows)
        + "\n</tbody>\n</table>",
        f"<p><b>{grams_text(addition.added_g, step)} g in all;</b> the batch is then "
        f"{grams_text(addition.total_g, step)} g.</p>",
        f"<h2>How ({UNSOURCED})</h2>\n{bullets(STEPS, ticks=True)}",
        f'<h2>Cautions</h2>\n<div class="small">'
        f"{bullets(caution_list(('skin', 'machine', 'cure', 'load', 'approval')))}</div>",
    ]
    title = f"Addition {target}"
    return Page(title=title, html=page(title, "\n".join(body), size="A5"))
