"""What most likely went wrong with a batch, in words."""

import numpy as np
from numpy.typing import NDArray

from matchkit.correcting.diagnose import Belief
from matchkit.inks.palette import Palette

Array = NDArray[np.float64]

SLIP_G, SLIP_SHARE = 0.2, 0.03  # a pour farther off than both is a slip worth telling


def slips(palette: Palette, belief: Belief, weighed_g: Array) -> list[tuple[str, float, float]]:
    """Inks of which something else went in, probably: name, grams told, grams in the bucket."""
    off = np.abs(belief.grams - weighed_g)
    at = np.flatnonzero(off > np.maximum(SLIP_G, SLIP_SHARE * weighed_g))
    return [
        (palette.names[i], round(float(weighed_g[i]), 6), round(float(belief.grams[i]), 2))
        for i in at
    ]


def what_happened(palette: Palette, belief: Belief, weighed_g: Array) -> list[str]:
    """Weights that slipped, and inks that look stronger or weaker than their reference lot."""
    lines = [
        f"{ink}: {told:g} g were told, about {probably:g} g went in; weigh the bucket"
        for ink, told, probably in slips(palette, belief, weighed_g)
    ]
    error = np.sqrt(np.diag(belief.covariance))
    for i in np.flatnonzero(belief.grams > 0):
        by = 100 * (belief.strengths[i] - 1)
        if abs(by) > 1 and abs(by) > 100 * error[i]:
            word = "strong" if by > 0 else "weak"
            lines.append(
                f"{palette.names[i]} looks {abs(by):.0f} % {word} (+-{100 * error[i]:.0f})"
            )
    return lines
