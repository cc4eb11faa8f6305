"""Pictures of an answer as bytes or in a file.  Only here the drawing library is loaded."""

import struct
import zlib
from collections.abc import Sequence
from pathlib import Path

from matchkit.errors import InputError
from matchkit.files.write import write_file
from matchkit.report.parts import Part, Picture

WIDTH_IN = 4.6  # what `plots` sets its type for


def png_of(picture: Picture) -> bytes:
    """The picture as PNG."""
    if picture.draw is None:
        return picture.png
    from matchkit.plots.charts import new_axes
    from matchkit.plots.charts import picture as drawn

    figure, ax = new_axes(picture.width_in, picture.height_in)
    picture.draw(ax)
    return drawn(figure)


def pictures_of(parts: Sequence[Part], names: Sequence[str] = (), usual: int = 3) -> list[Picture]:
    """The pictures of an answer that have one of `names`, in that order; else the first ones.

    Raises InputError for a name that the answer has no picture of, or where it has none.
    """
    there: dict[str, list[Picture]] = {}
    for part in parts:
        if isinstance(part, Picture) and part.name and part.draw:
            there.setdefault(part.name, []).append(part)
    if not there:
        raise InputError("--picture: this answer has no picture; a Lab has no spectrum to show")
    chosen = list(names) or list(there)[:usual]
    if missing := [name for name in chosen if name not in there]:
        have = ", ".join(there)
        raise InputError(f"--show {missing[0]}: this answer has no such picture; it has {have}")
    return [picture for name in chosen for picture in there[name]]


def write_pictures(path: str | Path, pictures: Sequence[Picture]) -> None:
    """Draw the pictures one below the other into a file (.png, .svg or .pdf)."""
    from matplotlib.figure import Figure

    from matchkit.plots.charts import picture as drawn

    heights = [each.height_in for each in pictures]
    figure = Figure(figsize=(WIDTH_IN, sum(heights)), dpi=160)
    figure.set_layout_engine("constrained", w_pad=0.08, h_pad=0.08)
    # A subfigure is laid out by itself: names placed in one stay put when the next is drawn.
    places = figure.subfigures(len(pictures), 1, height_ratios=heights, squeeze=False)[:, 0]
    for place, each in zip(places, pictures, strict=True):
        assert each.draw is not None
        each.draw(place.add_subplot())
    write_file(path, drawn(figure, Path(path).suffix.lower()[1:]))


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
