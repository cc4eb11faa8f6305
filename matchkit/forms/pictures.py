"""Pictures that only forms need; like those of `plots` they take `ax` and return it."""

from collections.abc import Callable

from matplotlib.axes import Axes

from matchkit.plots.charts import new_axes, picture
from matchkit.report.parts import Picture

__all__ = ["drawn"]


def drawn(
    draw: Callable[[Axes], Axes],
    alt: str,
    width_in: float = 4.6,
    height_in: float = 3.4,
    *,
    wide: bool = False,
) -> Picture:
    """What `draw` draws, as a picture."""
    figure, ax = new_axes(width_in, height_in)
    draw(ax)
    return Picture(png=picture(figure), alt=alt, wide=wide)
