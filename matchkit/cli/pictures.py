"""``--picture FILE``: panels below one another, as wide as a phone can show.

Only `keep_picture` loads the drawing library; a panel is a height in inches and a function
that draws into an `ax`.
"""

import argparse
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.outputs import picture_file
from matchkit.cli.terminal import say
from matchkit.colorimetry.illuminants import Light
from matchkit.colorimetry.tristimulus import hex_colours
from matchkit.errors import InputError
from matchkit.files.write import write_file
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.shop import Drawdown
from matchkit.matching.compare import Comparison
from matchkit.matching.match import palette_for
from matchkit.matching.rank import Candidate

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "COMPARED",
    "Panel",
    "chosen",
    "compared",
    "fit_panels",
    "keep_picture",
    "moves_panel",
    "picture_faults",
    "picture_option",
    "recipe_panel",
    "recipe_panels",
]

Array = NDArray[np.float64]
Panel = tuple[float, "Callable[[Axes], object]"]

WIDTH_IN = 4.6  # what `plots` sets its type for
# Panels of a comparison; the first three are what a file holds unless others are named.
COMPARED = ("swatches", "spectra", "lights", "ab", "LC")
FIRST = 3


def picture_option(parser: argparse.ArgumentParser, panels: Sequence[str] = ()) -> None:
    """``--picture``, and ``--show`` where there are several panels to choose from."""
    parser.add_argument(
        "--picture",
        metavar="FILE",
        type=picture_file,
        help="write a picture of the answer (.png, .svg, .pdf)",
    )
    if panels:
        parser.add_argument(
            "--show",
            action="append",
            choices=panels,
            help=f"with --picture: what it shows ({', '.join(panels[:FIRST])})",
        )


def picture_faults(args: argparse.Namespace) -> list[str]:
    """What is wrong with the two options together, a line or none."""
    return ["--show goes with --picture FILE"] if args.show and not args.picture else []


def chosen(args: argparse.Namespace, panels: Mapping[str, Sequence[Panel]]) -> list[Panel]:
    """The panels that ``--show`` names, in its order; without it the usual ones.

    Raises `InputError` for one that the answer has not: `compared` needs a spectrum.
    """
    names = args.show or list(panels)[:FIRST]
    missing = [name for name in names if name not in panels]
    if missing:
        raise InputError(
            f"--show {missing[0]}: needs the target's spectrum; here is {', '.join(panels)}"
        )
    return [panel for name in names for panel in panels[name]]


def compared(comparison: Comparison, tolerance_de00: float) -> dict[str, list[Panel]]:
    """Every panel of a comparison, by its name in `COMPARED`."""
    from matchkit.plots import charts as plots

    n_light, n = len(comparison.lights), len(comparison.samples)
    # Of matches the first light shows little: all lie on the target.  So the worst as well.
    away = np.array([sample.de00 for sample in comparison.samples]).max(axis=0)
    views = list(dict.fromkeys([0, int(away.argmax())]))

    def lights(ax: "Axes") -> Any:
        return plots.light_bars(ax, comparison, tolerance_de00=tolerance_de00)

    def plane(draw: Callable[..., object], light: int) -> Panel:
        return 3.4, lambda ax: draw(ax, comparison, tolerance_de00=tolerance_de00, light=light)

    return {
        "swatches": [(0.9 + 0.62 * n_light, lambda ax: plots.swatches(ax, comparison))],
        "spectra": [(4.2, lambda ax: plots.spectra(ax, comparison))],
        "lights": [(0.8 + 0.22 * n_light * (n + 1), lights)],
        "ab": [plane(plots.ab_plane, light) for light in views],
        "LC": [plane(plots.LC_plane, light) for light in views],
    }


def recipe_panel(
    title: str,
    inks: Sequence[str],
    percents: Sequence[float],
    *,
    palette: Palette,
    light: Light,
    observer: int,
) -> Panel:
    """A recipe as a bar in its inks' own colours."""
    alone = reflectance(palette, np.eye(len(palette.inks)))
    colours = hex_colours(alone[[palette.index(name) for name in inks]], light, observer)

    def draw(ax: "Axes") -> Any:
        from matchkit.plots import charts as plots
        from matchkit.plots.marks import USUAL

        ax.set_title(title, loc="left", fontsize=USUAL)
        return plots.composition(ax, inks, percents, colours=colours)

    narrow = sum(percent < 22 for percent in percents)
    return 1.0 + 0.2 * narrow, draw


def recipe_panels(
    named: Sequence[tuple[str, Candidate]],
    palettes: Mapping[str, Palette],
    *,
    light: Light,
    observer: int,
) -> list[Panel]:
    """`recipe_panel` of formulas and their names."""
    return [
        recipe_panel(
            name,
            each.inks,
            each.percents,
            palette=palette_for(palettes, each.inks),
            light=light,
            observer=observer,
        )
        for name, each in named
    ]


def moves_panel(palette: Palette, fractions: Array, *, light: Light, observer: int) -> Panel:
    """What 1 % more of each ink does to a recipe."""

    def draw(ax: "Axes") -> Any:
        from matchkit.plots import charts as plots

        return plots.ink_moves(ax, palette, fractions, light=light, observer=observer)

    return 3.6, draw


def fit_panels(found: Fit, inks: Sequence[str], drawdowns: Sequence[Drawdown]) -> list[Panel]:
    """How far each drawdown is off; or K/S and S of the inks that are named."""
    from matchkit.plots import charts as plots

    def optics(ink: str) -> Panel:
        return 4.2, lambda ax: plots.ink_optics(ax, found.palette, ink, drawdowns)

    if inks:
        return [optics(ink) for ink in inks]
    return [(3.4, lambda ax: plots.residuals(ax, found))]


def keep_picture(path: str, panels: Sequence[Panel]) -> None:
    """Draw the panels one below the other and write the file."""
    from matplotlib.figure import Figure

    from matchkit.plots import charts as plots

    heights = [height for height, _ in panels]
    figure = Figure(figsize=(WIDTH_IN, sum(heights)), dpi=160)
    figure.set_layout_engine("constrained", w_pad=0.08, h_pad=0.08)
    # A subfigure is laid out by itself: names placed in one stay put when the next is drawn.
    parts = figure.subfigures(len(panels), 1, height_ratios=heights, squeeze=False)[:, 0]
    for part, (_, draw) in zip(parts, panels, strict=True):
        draw(part.add_subplot())
    write_file(path, plots.picture(figure, Path(path).suffix.lower()[1:]))
    say(f"written: {path}")
