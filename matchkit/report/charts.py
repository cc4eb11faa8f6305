"""Pictures: each function takes an `ax` first, draws into it and returns it.

They are to be read on a phone, in a grey print and by people who see few colours: every
line, bar and point carries its own name, and differs by dash, hatch or marker as well.
Arguments are what the core gives out; nothing is computed here but places on the paper.

`spectra` and `ink_optics` use their `ax` as a frame for two panels.  No figure is kept:
`new_axes` makes one, `picture` turns one into bytes.
"""

import io
import warnings
from textwrap import fill
from typing import Any

import numpy as np

from matchkit.colorimetry import grid, illuminants, tristimulus
from matchkit.errors import InputError
from matchkit.matching.compare import Comparison
from matchkit.paper.sheet import OFF_SCREEN, OFF_SCREEN_MARK
from matchkit.report import marks
from matchkit.report.marks import Axes

NOT_A_PROOF = "Never approve a colour by a screen: judge cured prints under these lights."


def new_axes(width_in: float = 4.6, height_in: float = 3.4) -> tuple[Any, Axes]:
    """An empty figure and its axes, of a size that a phone and half a page can show."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), dpi=160)
    FigureCanvasAgg(figure)  # it keeps the sizes of all letters, from laying out to drawing
    figure.set_layout_engine("constrained", w_pad=0.08, h_pad=0.08)
    return figure, figure.add_subplot()


def picture(figure: Any, form: str = "png") -> bytes:
    """The figure as the bytes of a file, "png", "svg" or "pdf"; the same each time."""
    import matplotlib

    dates = {"png": "Software", "svg": "Date", "pdf": "CreationDate"}
    if form not in dates:
        raise InputError(f"picture: form is {form!r}; write {', '.join(dates)}")
    out = io.BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "matchkit"}), warnings.catch_warnings():
        # A name in a script the font lacks is drawn as boxes; that is no fault of the shop.
        warnings.filterwarnings("ignore", message="Glyph")
        if form == "png" and hasattr(figure.canvas, "print_png"):  # `savefig` draws twice
            figure.canvas.print_png(out, metadata={dates[form]: None})
        else:
            figure.savefig(out, format=form, metadata={dates[form]: None})
    return out.getvalue()


# ---- spectra ------------------------------------------------------------------------------


def spectra(ax: Axes, comparison: Comparison) -> Axes:
    """Reflectance of the target and the samples above, sample minus target below."""
    upper, lower = marks.two_panels(ax, share=0.62)
    reflectances(upper, comparison).set_xlabel("")
    upper.set_xticklabels([])
    differences(lower, comparison)
    return ax


def reflectances(ax: Axes, comparison: Comparison) -> Axes:
    """Reflectance of the target and of each sample."""
    ax.plot(grid.GRID_NM, comparison.target_R, color=marks.INK, lw=2.2)
    ends = [(comparison.target_R[-1], "target", marks.INK)]
    for k, sample in enumerate(comparison.samples):
        marks.spectrum_line(ax, sample.R, k)
        ends.append((sample.R[-1], sample.name, marks.nth(marks.COLOURS, k)))
    ax.set_ylim(bottom=0)
    marks.wavelength_axis(ax, "reflectance")
    return marks.end_labels(ax, ends)


def differences(ax: Axes, comparison: Comparison) -> Axes:
    """Reflectance of each sample minus that of the target, in hundredths."""
    ax.axhline(0, color=marks.INK, lw=2.2)
    ends = []
    for k, sample in enumerate(comparison.samples):
        apart = 100 * (sample.R - comparison.target_R)
        marks.spectrum_line(ax, apart, k)
        ends.append((apart[-1], sample.name, marks.nth(marks.COLOURS, k)))
    reach = max(1.0, 1.1 * float(np.abs(ax.get_ylim()).max()))
    ax.set_ylim(-reach, reach)
    marks.wavelength_axis(ax, "sample - target,\nhundredths")
    return marks.end_labels(ax, ends)


# ---- colours ------------------------------------------------------------------------------


def swatches(ax: Axes, comparison: Comparison) -> Axes:
    """Target (left half) and sample (right half) under each light, as far as a screen can.

    Each row is seen by eyes used to its light.  What no screen can show is the nearest and
    says so.
    """
    n, bottom = len(comparison.samples), len(comparison.lights)
    ax.set(xlim=(-1.0, n), ylim=(bottom + 0.35, -0.5))
    ax.axis("off")
    marks.settle(ax)
    letters = int(0.8 * marks.letters_across(ax) / (n + 1))
    for k, sample in enumerate(comparison.samples):
        name = marks.wrapped(sample.name, letters - 1)
        ax.text(k + 0.46, -0.06, name, ha="center", va="bottom", fontsize=marks.USUAL)
    for row, light in enumerate(comparison.lights):
        name = marks.wrapped(illuminants.light_name(light), letters - 2)
        ax.text(-0.08, row + 0.36, name, ha="right", va="center", fontsize=marks.USUAL)
        _swatch_row(ax, comparison, row)
    marked = f"{OFF_SCREEN} " * (OFF_SCREEN_MARK in {text.get_text() for text in ax.texts})
    words = f"Left half target, right half sample. {marked}{NOT_A_PROOF}"
    caption = fill(words, int(0.85 * marks.letters_across(ax)))
    ax.text(-1.0, bottom, caption, ha="left", va="top", fontsize=marks.SMALL)
    return ax


def ab_plane(
    ax: Axes, comparison: Comparison, *, tolerance_de00: float = 1.0, light: int = 0
) -> Axes:
    """a* and b* of target and samples, with the target's tolerance at its own lightness.

    Where a sample is out of tolerance by its lightness, the tolerance is drawn at that
    lightness, so that it does not seem to be in.  `light` is a position in the comparison's lights.
    """
    ax.set_aspect("equal", adjustable="datalim")
    return _plane(ax, comparison, light, "ab", tolerance_de00)


def LC_plane(
    ax: Axes, comparison: Comparison, *, tolerance_de00: float = 1.0, light: int = 0
) -> Axes:
    """L* and C* of target and samples, with the target's tolerance at its own hue."""
    _plane(ax, comparison, light, "LC", tolerance_de00)
    if ax.get_xlim()[0] < 0:
        ax.set_xlim(left=0)  # there is no chroma below 0: the outline leaves the paper
    return ax


def light_bars(ax: Axes, comparison: Comparison, *, tolerance_de00: float | None = None) -> Axes:
    """dE00 of each sample under each light, the tolerance as a line."""
    n = len(comparison.samples)
    longest = max((float(sample.de00.max()) for sample in comparison.samples), default=0.0)
    longest = max(longest, tolerance_de00 or 0.0, 0.1)
    for row, name in enumerate(comparison.light_names):
        for k, sample in enumerate(comparison.samples):
            y, size = row * (n + 1) + k, float(sample.de00[row])
            hatch, edge = marks.nth(marks.HATCHES, k), marks.nth(marks.COLOURS, k)
            ax.barh(y, size, height=0.8, facecolor="white", edgecolor=edge, hatch=hatch)
            text = f"{size:.2f} {marks.short(sample.name, 18)}"
            note = ax.text(size + 0.02 * longest, y, text, va="center", fontsize=marks.SMALL)
            note.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 0.6})
        middle = row * (n + 1) + (n - 1) / 2
        ax.text(
            -0.02 * longest,
            middle,
            marks.wrapped(name, 12),
            ha="right",
            va="center",
            fontsize=marks.USUAL,
        )
    if tolerance_de00 is not None:
        ax.axvline(tolerance_de00, color=marks.INK, lw=1, ls="--")
        ax.text(tolerance_de00, -0.9, "tolerance", ha="center", va="bottom", fontsize=marks.SMALL)
    ax.set(xlim=(0, 1.45 * longest), ylim=(len(comparison.lights) * (n + 1) - 1.4, -0.8))
    ax.set_yticks([])
    ax.set_xlabel("dE00", fontsize=marks.USUAL)
    return marks.plain(ax)


# ---- shared ---------------------------------------------------------------------------------


def _swatch_row(ax: Axes, comparison: Comparison, row: int) -> None:
    light, observer = comparison.lights[row], comparison.observer
    R = np.array([comparison.target_R, *(sample.R for sample in comparison.samples)])
    target, *colours = tristimulus.hex_colours(R, light, observer)
    for k, (sample, colour) in enumerate(zip(comparison.samples, colours, strict=True)):
        marks.swatch(ax, k, row, 0.46, 0.7, target)
        marks.swatch(ax, k + 0.46, row, 0.46, 0.7, colour)
        ax.plot([k + 0.46, k + 0.46], [row, row + 0.7], color=marks.INK, lw=marks.HAIR)
        note = f"dE00 {sample.de00[row]:.2f}"
        ax.text(k + 0.46, row + 0.73, note, ha="center", va="top", fontsize=marks.SMALL)


def _plane(ax: Axes, comparison: Comparison, light: int, plane: str, tolerance_de00: float) -> Axes:
    """Target, tolerance and samples in two of a colour's dimensions, the third in words."""
    target = comparison.target_lab[light]
    lab = np.array([sample.lab[light] for sample in comparison.samples]).reshape(-1, 3)
    told = marks.tolerance_outline(ax, target, lab, tolerance_de00, plane)
    points, names = marks.in_plane(lab, plane), ["target"]
    for k, (sample, point) in enumerate(zip(comparison.samples, points, strict=True)):
        ax.plot(
            *point,
            marks.nth(marks.MARKERS, k),
            color=marks.nth(marks.COLOURS, k),
            ms=7,
            mec=marks.INK,
        )
        beside = [marks.signed("dL*", float(lab[k, 0] - target[0]))] if plane == "ab" else []
        away = f"dE00 {sample.de00[light]:.2f}"
        names.append(", ".join([marks.short(sample.name, 16), away, *beside]))
    ax.margins(0.18)
    about = f"{marks.short(comparison.light_names[light], 16)}, {comparison.observer} degrees"
    marks.title(ax, f"{about}; {told}")
    marks.axis_names(ax, *(("a*", "b*") if plane == "ab" else ("C*", "L*")))
    return marks.name_points(ax, np.vstack([marks.in_plane(target, plane), points]), names)
