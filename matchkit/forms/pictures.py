"""Pictures that only forms need; like those of `plots` they take `ax` and return it."""

import struct
import zlib
from collections.abc import Callable

from matplotlib.axes import Axes

from matchkit.plots.charts import new_axes, picture
from matchkit.plots.marks import patches
from matchkit.report.parts import Picture

__all__ = ["drawn", "flat", "patches"]


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


def flat(colour: str, alt: str, width: int = 440, height: int = 120) -> Picture:
    """One colour without anything drawn, quick enough to follow a slider."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    line = b"\0" + bytes((red, green, blue)) * width
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(line * height, 9)
    chunks = (b"IHDR", header), (b"IDAT", body), (b"IEND", b"")
    png = b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in chunks
    )
    return Picture(png=png, alt=alt)
