"""Pictures of recipes: what one is made of, and what a little more of each ink does to it."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.illuminants import Light
from matchkit.colorimetry.tristimulus import hex_colours
from matchkit.inks.palette import Palette, reflectance
from matchkit.report.parts import Picture

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]
RECIPES, MOVES = "recipes", "moves"  # by which a person asks for them


def recipe_picture(
    title: str,
    inks: Sequence[str],
    percents: Sequence[float],
    *,
    palette: Palette,
    light: Light,
    observer: int,
) -> Picture:
    """A recipe as a bar in its inks' own colours; drawn only where it is asked for.

    `inks` are in the order of the bar, with their `percents`; one that the `palette` does not
    hold, such as a leftover, stays white.
    """

    def draw(ax: "Axes") -> Any:
        from matchkit.plots.inks import composition
        from matchkit.plots.marks import USUAL

        alone = reflectance(palette, np.eye(len(palette.inks)))
        known = dict(zip(palette.names, hex_colours(alone, light, observer), strict=True))
        colours = [known.get(name, "#ffffff") for name in inks]
        ax.set_title(title, loc="left", fontsize=USUAL)
        return composition(ax, inks, percents, colours=colours)

    told = ", ".join(f"{ink} {share:.4g} %" for ink, share in zip(inks, percents, strict=True))
    narrow = sum(percent < 22 for percent in percents)
    height_in = 1.0 + 0.2 * narrow
    return Picture(name=RECIPES, draw=draw, alt=f"{title}: {told}", height_in=height_in, aside=True)


def moves_picture(palette: Palette, fractions: Array, *, light: Light, observer: int) -> Picture:
    """What 1 % more of each ink does to the recipe `fractions` (n_ink,)."""

    def draw(ax: "Axes") -> Any:
        from matchkit.plots.inks import ink_moves

        return ink_moves(ax, palette, fractions, light=light, observer=observer)

    names = ", ".join(palette.names[k] for k in np.flatnonzero(fractions > 0))
    alt = f"What 1 % more of {names} does to the colour"
    return Picture(name=MOVES, draw=draw, alt=alt, height_in=3.6, aside=True)
