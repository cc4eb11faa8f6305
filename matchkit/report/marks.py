"""Marks and names on a picture: what keeps lines apart without colour.

Every line, bar and point gets a dash, a hatch or a marker of its own and has its name
beside it, placed so that names lie on nothing else.  Lengths are in points of the paper.
"""

import warnings
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import de00, de00_contour, into_plane
from matchkit.paper.sheet import OFF_SCREEN_MARK, minus
from matchkit.paper.sheet import width as columns
from matchkit.paper.sheet import wrapped as in_lines

if TYPE_CHECKING:
    from matplotlib.axes import Axes as Axes
else:  # the drawing library is loaded once something is drawn
    Axes = Any

Box = tuple[float, float, float, float]  # left, bottom, right, top
T = TypeVar("T")

SMALL, USUAL = 8.5, 9.5  # type size, legible when 4.6 inches are shown on a phone
# Of the type size: the width of a letter in a name and in a sentence, a line's height.
LETTER, PROSE, LINE = 0.56, 0.48, 1.3
INK, FAINT = "#111111", "#8a8a8a"
HAIR = 0.4  # all that stands between two swatches
# Colours that differ for colour-blind eyes too (Okabe & Ito 2008, from memory).  Lists of
# unlike length: no two of the first forty-two lines are the same without colour.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#8A6D00", "#56B4E9")
DASHES = ((0, (6, 2)), (0, (1, 1.2)), (0, (7, 2, 1.5, 2)), (0, (3, 1)), (0, (9, 3)), (0, (2, 3)))
MARKERS = ("o", "s", "^", "D", "v", "P", "*")
HATCHES = ("////", "....", "\\\\\\\\", "xxxx", "----", "++++")
ELLIPSIS = "\u2026"
FLUSH = {"shrinkA": 1, "shrinkB": 0}
WHITE_BOX = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.6}


def nth(styles: Sequence[T], k: int) -> T:
    """Style number `k`; after the last one they begin again."""
    return styles[k % len(styles)]


def short(name: str, length: int) -> str:
    """A name that fits in so many columns, cut with an ellipsis where it does not.

    >>> short("Foxglove Magenta", 9)
    'Foxglove\u2026'
    """
    if columns(name) <= length:
        return _literal(name)
    while columns(name) > length - 1:
        name = name[:-1]
    return _literal(name.rstrip() + ELLIPSIS)


def wrapped(name: str, width: int) -> str:
    """A name on two lines at most.

    >>> wrapped("the customer's shop floor", 12)
    "the\\ncustomer's\u2026"
    """
    lines = in_lines(name, max(width, 4))
    if len(lines) > 2:
        return f"{_literal(lines[0])}\n{short(' '.join(lines[1:]), width)}"
    return _literal("\n".join(lines))


def _literal(name: str) -> str:
    """Between two dollar signs a picture would read mathematics."""
    return name.replace("$", r"\$")


def plain(ax: Axes) -> Axes:
    """Take the box off an `ax`, and make its figures small."""
    ax.spines[["top", "right"]].set_visible(False)
    ax.tick_params(labelsize=SMALL)
    return ax


def axis_names(ax: Axes, x: str, y: str) -> Axes:
    """Write the names of both axes."""
    ax.set_xlabel(x, fontsize=USUAL)
    ax.set_ylabel(y, fontsize=USUAL)
    return plain(ax)


def letters_over(ax: Axes) -> int:
    """How many usual letters of a sentence fit above an `ax` that fills its figure."""
    figure = ax.figure
    return int(0.8 * figure.bbox.width / figure.dpi * 72 / (PROSE * USUAL))


def title(ax: Axes, words: str) -> Axes:
    """Write a title, on two lines where one would be cut."""
    ax.set_title(wrapped(words, letters_over(ax)), fontsize=USUAL, loc="left")
    return ax


def settle(ax: Axes) -> None:
    """Lay the figure out, so that places on the paper can be asked for; drawing it takes longer."""
    figure = ax.figure.canvas.figure
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")
        if engine := figure.get_layout_engine():
            engine.execute(figure)
    for each in [inner for outer in figure.axes for inner in (outer, *outer.child_axes)]:
        place = each.get_axes_locator()
        # It takes a renderer, which an inset has no use for.
        each.apply_aspect(place and place(each, None))  # type: ignore[arg-type,truthy-function]


def letters_across(ax: Axes) -> int:
    """How many small letters of a sentence fit side by side."""
    return max(12, int(_size(ax)[0] / (PROSE * SMALL)))


def end_labels(ax: Axes, ends: Sequence[tuple[float, str, str]]) -> Axes:
    """Name lines at their right ends: value, name, colour.

    Names keep off each other; where there are more than there is room for, some in
    between go without.
    """
    settle(ax)
    gap = LINE * SMALL / _size(ax)[1]
    ends = sorted(ends)
    room = int(1 / gap) + 1
    if len(ends) > room:
        ends = [ends[k] for k in np.linspace(0, len(ends) - 1, room).round().astype(int)]
    to_axes, x = ax.transData + ax.transAxes.inverted(), ax.get_xlim()[1]
    at = np.array([to_axes.transform((x, value))[1] for value, _, _ in ends])
    for (_, name, colour), start, place in zip(ends, at, apart(at, gap), strict=True):
        ax.annotate(
            short(name, 16),
            xy=(1.0, start),
            xytext=(1.07, place),
            xycoords="axes fraction",
            textcoords="axes fraction",
            va="center",
            fontsize=SMALL,
            arrowprops={"arrowstyle": "-", "color": colour, "lw": 0.8, "relpos": (0, 0.5)} | FLUSH,
        )
    return ax


def apart(at: Array, gap: float) -> Array:
    """Places 0-1 near rising `at`, at least `gap` between neighbours if there is room.

    >>> apart(np.array([0.2, 0.21, 0.9]), 0.1).round(3).tolist()
    [0.155, 0.255, 0.9]
    """
    steps = gap * np.arange(at.size)
    # Less the gaps, places need only not fall: neighbours that do are put at their mean.
    pools: list[list[float]] = []
    for value in at - steps:
        pools.append([float(value)])
        while len(pools) > 1 and np.mean(pools[-2]) > np.mean(pools[-1]):
            pools[-2:] = [pools[-2] + pools[-1]]
    level = np.array([np.mean(pool) for pool in pools for _ in pool])
    places: Array = np.clip(level, 0, max(0.0, 1 - gap * (at.size - 1))) + steps
    return places


def name_points(ax: Axes, points: Array, names: Sequence[str], avoid: ArrayLike = ()) -> Axes:
    """Name points (n, 2) where there is room, with a line to each name that stands off.

    Names also keep off the points `avoid` (m, 2).
    """
    settle(ax)
    scale = ax.figure.dpi / 72
    at = ax.transData.transform(points) / scale
    others = ax.transData.transform(np.reshape(avoid, (-1, 2))) / scale
    taken: list[Box] = [(x - 3, y - 3, x + 3, y + 3) for x, y in [*at, *others]]
    frame = np.array(ax.get_window_extent().extents) / scale
    for point, start, name in zip(points, at, names, strict=True):
        box = _free_box(start, name, taken, frame)
        taken.append(box)
        ax.annotate(
            name,
            xy=(float(point[0]), float(point[1])),
            xytext=((box[0] + box[2]) / 2 - start[0], (box[1] + box[3]) / 2 - start[1]),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=SMALL,
            bbox=WHITE_BOX,
            arrowprops={"arrowstyle": "-", "color": FAINT, "lw": 0.7, "shrinkA": 0, "shrinkB": 3},
        )
    return ax


def _size(ax: Axes) -> tuple[float, float]:
    extent, scale = ax.get_window_extent(), ax.figure.dpi / 72
    return extent.width / scale, extent.height / scale


def _free_box(start: Array, name: str, taken: Sequence[Box], frame: Array) -> Box:
    """The box near a point that lies on least, in one of 12 directions."""
    size = np.array([LETTER * SMALL * len(name), LINE * SMALL])
    best, least = (0.0, 0.0, 0.0, 0.0), np.inf
    for far in (6, 14, 24, 36, 50, 66):
        for turn in np.arange(12) * np.pi / 6:
            middle = start + (far + size / 2) * [np.cos(turn), np.sin(turn)]
            box = (*(middle - size / 2), *(middle + size / 2))
            cost = _covered(box, taken) + 20 * _outside(box, frame) + far
            if cost < least:
                best, least = box, cost
    return best


def _covered(box: Box, taken: Sequence[Box]) -> float:
    """How much of a box lies on others."""
    return sum(
        max(0.0, min(box[2], other[2]) - max(box[0], other[0]))
        * max(0.0, min(box[3], other[3]) - max(box[1], other[1]))
        for other in taken
    )


def _outside(box: Box, frame: Array) -> float:
    """How far a box reaches beyond the frame."""
    low = max(0.0, frame[0] - box[0]) + max(0.0, frame[1] - box[1])
    return float(low + max(0.0, box[2] - frame[2]) + max(0.0, box[3] - frame[3]))


def two_panels(ax: Axes, share: float) -> tuple[Axes, Axes]:
    """Panels inside `ax`, which stays as their frame; the upper takes `share` of it."""
    ax.axis("off")
    gap = 0.06
    return ax.inset_axes((0, 1 - share, 1, share)), ax.inset_axes((0, 0, 1, 1 - share - gap))


def spectrum_line(ax: Axes, values: Array, k: int) -> None:
    """A spectrum (n_wl,) as the k-th line: colour, dash and marker of its own."""
    colour, marker = nth(COLOURS, k), nth(MARKERS, k)
    (line,) = ax.plot(GRID_NM, values, color=colour, ls=nth(DASHES, k), lw=1.6)
    line.set(marker=marker, markersize=4, markerfacecolor="white", markevery=(2 + k, 6))


def wavelength_axis(ax: Axes, y: str) -> Axes:
    """Wavelength along, `y` up."""
    ax.set_xlim(400, 700)
    ax.set_xticks([400, 500, 600, 700])
    return axis_names(ax, "wavelength, nm", y)


def in_plane(lab: Array, plane: str, hue: float | None = None) -> Array:
    """Colours (n, 3) as points (n, 2): a* and b*, or C* and L*; C* along a hue (radians) if given.

    >>> in_plane(np.array([50.0, 3.0, 4.0]), "LC").tolist()
    [[5.0, 50.0]]
    """
    L, a, b = np.reshape(lab, (-1, 3)).T
    C = np.hypot(a, b) if hue is None else a * np.cos(hue) + b * np.sin(hue)
    return np.column_stack([a, b] if plane == "ab" else [C, L])


def tolerance_outline(
    ax: Axes, target: Array, samples: Array, tolerance_de00: float, plane: str
) -> str:
    """Draw the tolerance about a target (3,) in the plane "ab" or "LC"; say at which L* or hue.

    That is the target's own, unless it would take in a sample (n, 3) which is out of
    tolerance by what the plane does not show: then that sample's, where the outline is smaller
    or is not met at all.
    """
    held = "L*" if plane == "ab" else "hue"
    out = de00(target, samples) > tolerance_de00
    hidden = out & (de00(target, into_plane(samples, target, plane)) <= tolerance_de00)
    whose, through = "target's", target
    if hidden.any():
        away = np.where(hidden, de00(target, into_plane(target, samples, plane)), -1.0)
        whose, through = "sample's", samples[int(np.argmax(away))]
    hue = float(np.arctan2(through[2], through[1]))
    outline = de00_contour(target, tolerance_de00, plane, through=through)
    ax.plot(*in_plane(target, plane)[0], "+", color=INK, ms=9, mew=1.6)
    if not outline.size:
        return f"one is out of tolerance by {held} alone"
    points = in_plane(outline, plane, hue)
    closed = np.vstack([points, points[:1]])
    ax.fill(*closed.T, facecolor="#e9e9e9", edgecolor=INK, lw=1.2, zorder=0.5)
    return f"grey: tolerance at {whose} {held}"


def lightness_step(dL: float) -> str:
    """The step in lightness that a flat picture cannot show."""
    return f"({signed('L*', dL)})"


def signed(name: str, value: float) -> str:
    """A difference with its sign and one decimal.

    >>> signed("dL*", -0.01)
    'dL* +0.0'
    """
    return minus(f"{name} {round(value, 1) + 0.0:+.1f}")


def swatch(ax: Axes, x: float, y: float, width: float, height: float, colour: str) -> None:
    """A web colour without an edge; one that no screen can show is the nearest, and says so."""
    from matplotlib.patches import Rectangle

    ax.add_patch(Rectangle((x, y), width, height, facecolor=colour, edgecolor="none"))
    if getattr(colour, "on_screen", True):
        return
    at, low = x + 0.03 * width, y + 0.95 * height
    note = ax.text(at, low, OFF_SCREEN_MARK, ha="left", va="bottom", fontsize=SMALL)
    note.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 0.4})


def off_screen_note(colours: Iterable[str]) -> str:
    """What the mark means, if one of the web colours has it; to go on with a title."""
    marked = not all(getattr(each, "on_screen", True) for each in colours)
    return f" ({OFF_SCREEN_MARK} off screen, the nearest)" if marked else ""


def colour_table(ax: Axes, rows: Sequence[tuple[str, Sequence[str]]], names: Sequence[str]) -> Axes:
    """Colours in a table: a row's name before its colours, a column's name above them."""
    ax.set(xlim=(-1.3, len(names)), ylim=(len(rows) + 0.3, -1.0))
    for y, (row, colours) in enumerate(rows):
        for x, colour in enumerate(colours):
            swatch(ax, x, y, 0.94, 0.86, colour)
        ax.text(-0.08, y + 0.43, wrapped(row, 16), ha="right", va="center", fontsize=USUAL)
    note = off_screen_note(colour for _, colours in rows for colour in colours).strip(" ()")
    ax.text(0, len(rows), note, ha="left", va="top", fontsize=SMALL)
    for x, name in enumerate(names):
        ax.text(x, -0.12, wrapped(name, 12), ha="left", va="bottom", fontsize=USUAL)
    ax.axis("off")
    return ax


def patches(ax: Axes, colours: Sequence[str], names: Sequence[str], title: str) -> Axes:
    """Colours side by side, each with its name below."""
    ax.set(xlim=(0, max(len(colours), 1)), ylim=(1.6, -0.5))
    for k, (colour, name) in enumerate(zip(colours, names, strict=True)):
        swatch(ax, k, 0, 1, 1, colour)
        size = USUAL if len(colours) * 8 <= letters_over(ax) else SMALL
        ax.text(k + 0.5, 1.1, wrapped(name, 12), ha="center", va="top", fontsize=size)
    title += off_screen_note(colours)
    ax.text(0, -0.12, title, ha="left", va="bottom", fontsize=USUAL)
    ax.axis("off")
    return ax


def strip(ax: Axes, above: str, below: Sequence[str], names: Sequence[str], title: str) -> Axes:
    """One colour (a web colour) edge to edge with several others below it."""
    from matplotlib.patches import Rectangle

    n = max(len(below), 1)
    ax.set(xlim=(0, n), ylim=(1.35, -0.2))
    swatch(ax, 0, 0, n, 0.5, above)
    for k, (colour, name) in enumerate(zip(below, names, strict=True)):
        swatch(ax, k, 0.5, 1, 0.5, colour)
        if k:
            ax.plot([k, k], [0.5, 1], color=INK, lw=HAIR)
        ax.text(k + 0.5, 1.05, wrapped(name, 70 // n), ha="center", va="top", fontsize=USUAL)
    title += off_screen_note([above, *below])
    ax.text(0, -0.05, title, ha="left", va="bottom", fontsize=USUAL)
    ax.add_patch(Rectangle((0, 0), n, 1, facecolor="none", edgecolor=INK, lw=HAIR))
    ax.axis("off")
    return ax
