"""Curves over wavelength, as a picture and with a handle to turn, for the notebooks on theory."""

from collections.abc import Callable, Mapping
from typing import Any

import ipywidgets as w
import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike

from matchkit.forms import parts as ui
from matchkit.report.html import show
from matchkit.report.marks import COLOURS, end_labels, nth, spectrum_line, wavelength_axis
from matchkit.report.parts import Picture

Curves = Mapping[str, ArrayLike]


def curves(y: str, named: Curves) -> None:
    """Show curves at 400 to 700 nm, each (31,), by their names; `y` names what they are of."""
    show([_picture(y, named)])


def turn(y: str, draw: Callable[[float], Curves], words: str, ends: tuple[float, float]) -> Any:
    """The form: a slider called `words` from one of the `ends` to the other.

    `draw` gives the curves, as `curves` takes them, for where the slider stands.
    """
    low, high = ends
    place, problems = ui.area(), ui.area()
    slider = w.FloatSlider(
        value=(low + high) / 2, min=low, max=high, step=(high - low) / 40, readout_format=".2f",
        description=words,
    )  # fmt: skip

    def look() -> None:
        ui.put(place, [_picture(y, draw(slider.value))])

    slider.observe(ui.safe(look, problems), names="value")
    look()
    return ui.form(ui.row(ui.boxed(slider)), problems, place, name="curves")


def _picture(y: str, named: Curves) -> Picture:
    def draw(ax: Axes) -> None:
        lines = {name: np.asarray(values, dtype=float) for name, values in named.items()}
        for k, values in enumerate(lines.values()):
            spectrum_line(ax, values, k)
        ax.set_ylim(bottom=0)
        wavelength_axis(ax, y)
        end_labels(
            ax, [(v[-1], name, nth(COLOURS, k)) for k, (name, v) in enumerate(lines.items())]
        )

    return Picture(alt=f"{y} at 400 to 700 nm: {', '.join(named)}", draw=draw, height_in=2.8)
