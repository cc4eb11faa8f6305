"""Pictures: each function takes an `ax` first, draws into it and returns it.

They are to be read on a phone, in a grey print and by people who see few colours: every
line, bar and point carries its own name, and differs by dash, hatch or marker as well.
Arguments are what the core gives out; nothing is computed here but places on the paper.

`spectra` and `ink_optics` use their `ax` as a frame for two panels.  No figure is kept:
`new_axes` makes one, `picture` turns one into bytes.
"""

import io
import warnings
from collections.abc import Sequence
from textwrap import fill

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import LogLocator, NullFormatter
from numpy.typing import ArrayLike, NDArray

from matchkit.colorimetry import XYZ, Lab, de00_contour, hex_colours, in_srgb, white
from matchkit.compare import Comparison
from matchkit.faults import BadInput
from matchkit.fit import Fit
from matchkit.inks import Drawdown
from matchkit.lights import Light, light_name
from matchkit.marks import (
    COLOURS,
    DASHES,
    FAINT,
    HATCHES,
    INK,
    MARKERS,
    SMALL,
    USUAL,
    axis_names,
    end_labels,
    letters_across,
    name_points,
    nth,
    plain,
    settle,
    short,
    wrapped,
)
from matchkit.optics import k_over_s, without_surface
from matchkit.palette import Palette, deepen, mixture_K_S, reflectance
from matchkit.spectra import GRID_NM

__all__ = [
    "K_over_S",
    "LC_plane",
    "ab_plane",
    "composition",
    "differences",
    "ink_moves",
    "ink_optics",
    "light_bars",
    "new_axes",
    "picture",
    "reflectances",
    "residuals",
    "scattering",
    "spectra",
    "swatches",
]

Array = NDArray[np.float64]

NOT_A_PROOF = "A screen is not a proof: judge cured prints under these lights."


def new_axes(width_in: float = 4.6, height_in: float = 3.4) -> tuple[Figure, Axes]:
    """An empty figure and its axes, of a size that a phone and half a page can show."""
    figure = Figure(figsize=(width_in, height_in), dpi=160)
    figure.set_layout_engine("constrained", w_pad=0.08, h_pad=0.08)
    return figure, figure.add_subplot()


def picture(figure: Figure, form: str = "png") -> bytes:
    """The figure as the bytes of a file, "png", "svg" or "pdf"; the same each time."""
    dates = {"png": "Software", "svg": "Date", "pdf": "CreationDate"}
    if form not in dates:
        raise BadInput(f"picture: form is {form!r}; write {', '.join(dates)}")
    out = io.BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "matchkit"}), warnings.catch_warnings():
        # A name in a script the font lacks is drawn as boxes; that is no fault of the shop.
        warnings.filterwarnings("ignore", message="Glyph")
        figure.savefig(out, format=form, metadata={dates[form]: None})
    return out.getvalue()


# ---- spectra ------------------------------------------------------------------------------


def spectra(ax: Axes, comparison: Comparison) -> Axes:
    """Reflectance of the target and the trials above, trial minus target below."""
    upper, lower = _two_panels(ax, share=0.62)
    reflectances(upper, comparison).set_xlabel("")
    upper.set_xticklabels([])
    differences(lower, comparison)
    return ax


def reflectances(ax: Axes, comparison: Comparison) -> Axes:
    """Reflectance of the target and of each trial."""
    ax.plot(GRID_NM, comparison.target_R, color=INK, lw=2.2)
    ends = [(comparison.target_R[-1], "target", INK)]
    for k, trial in enumerate(comparison.trials):
        _line(ax, trial.R, k)
        ends.append((trial.R[-1], trial.name, nth(COLOURS, k)))
    ax.set_ylim(bottom=0)
    _wavelengths(ax, "reflectance")
    return end_labels(ax, ends)


def differences(ax: Axes, comparison: Comparison) -> Axes:
    """Reflectance of each trial minus that of the target, in hundredths."""
    ax.axhline(0, color=INK, lw=2.2)
    ends = []
    for k, trial in enumerate(comparison.trials):
        apart = 100 * (trial.R - comparison.target_R)
        _line(ax, apart, k)
        ends.append((apart[-1], trial.name, nth(COLOURS, k)))
    reach = max(1.0, 1.1 * float(np.abs(ax.get_ylim()).max()))
    ax.set_ylim(-reach, reach)
    _wavelengths(ax, "trial - target,\nhundredths")
    return end_labels(ax, ends)


# ---- colours ------------------------------------------------------------------------------


def swatches(ax: Axes, comparison: Comparison) -> Axes:
    """Target (left half) and trial (right half) under each light, as far as a screen can.

    Each row is seen by eyes used to its light.  What no screen can show is hatched and
    says so.
    """
    n, bottom = len(comparison.trials), len(comparison.lights)
    ax.set(xlim=(-1.0, n), ylim=(bottom + 0.35, -0.5))
    ax.axis("off")
    settle(ax)
    letters = int(0.8 * letters_across(ax) / (n + 1))
    for k, trial in enumerate(comparison.trials):
        name = wrapped(trial.name, letters - 1)
        ax.text(k + 0.46, -0.06, name, ha="center", va="bottom", fontsize=USUAL)
    for row, light in enumerate(comparison.lights):
        name = wrapped(light_name(light), letters - 2)
        ax.text(-0.08, row + 0.36, name, ha="right", va="center", fontsize=USUAL)
        _swatch_row(ax, comparison, row)
    caption = fill(f"Left half target, right half trial. {NOT_A_PROOF}", letters_across(ax))
    ax.text(-1.0, bottom, caption, ha="left", va="top", fontsize=SMALL)
    return ax


def ab_plane(
    ax: Axes, comparison: Comparison, *, tolerance_de00: float = 1.0, light: int = 0
) -> Axes:
    """a* and b* of target and trials, with the target's tolerance at its own lightness.

    `light` is a position in the comparison's lights.
    """
    target = comparison.target_lab[light]
    outline = de00_contour(target, tolerance_de00, "ab")[:, 1:]
    points = np.array([trial.lab[light, 1:] for trial in comparison.trials]).reshape(-1, 2)
    ax.set_aspect("equal", adjustable="datalim")
    return _plane(ax, comparison, light, target[1:], outline, points, ("a*", "b*"), "its L*")


def LC_plane(
    ax: Axes, comparison: Comparison, *, tolerance_de00: float = 1.0, light: int = 0
) -> Axes:
    """L* and C* of target and trials, with the target's tolerance at its own hue."""
    target = comparison.target_lab[light]
    along = de00_contour(target, tolerance_de00, "LC")
    hue = np.arctan2(target[2], target[1])
    signed = along[:, 1] * np.cos(hue) + along[:, 2] * np.sin(hue)
    outline = np.column_stack([signed, along[:, 0]])
    lab = np.array([trial.lab[light] for trial in comparison.trials]).reshape(-1, 3)
    points = np.column_stack([np.hypot(lab[:, 1], lab[:, 2]), lab[:, 0]])
    here = np.array([np.hypot(target[1], target[2]), target[0]])
    _plane(ax, comparison, light, here, outline, points, ("C*", "L*"), "its hue")
    if signed.min() < 0:
        ax.set_xlim(left=0)  # there is no chroma below 0: the outline leaves the paper
    return ax


def light_bars(ax: Axes, comparison: Comparison, *, tolerance_de00: float | None = None) -> Axes:
    """dE00 of each trial under each light, the tolerance as a line."""
    n = len(comparison.trials)
    longest = max((float(trial.de00.max()) for trial in comparison.trials), default=0.0)
    longest = max(longest, tolerance_de00 or 0.0, 0.1)
    for row, name in enumerate(comparison.light_names):
        for k, trial in enumerate(comparison.trials):
            y, size = row * (n + 1) + k, float(trial.de00[row])
            hatch, edge = nth(HATCHES, k), nth(COLOURS, k)
            ax.barh(y, size, height=0.8, facecolor="white", edgecolor=edge, hatch=hatch)
            text = f"{size:.2f} {short(trial.name, 18)}"
            note = ax.text(size + 0.02 * longest, y, text, va="center", fontsize=SMALL)
            note.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 0.6})
        middle = row * (n + 1) + (n - 1) / 2
        ax.text(-0.02 * longest, middle, wrapped(name, 12), ha="right", va="center", fontsize=USUAL)
    if tolerance_de00 is not None:
        ax.axvline(tolerance_de00, color=INK, lw=1, ls="--")
        ax.text(tolerance_de00, -0.9, "tolerance", ha="center", va="bottom", fontsize=SMALL)
    ax.set(xlim=(0, 1.45 * longest), ylim=(len(comparison.lights) * (n + 1) - 1.4, -0.8))
    ax.set_yticks([])
    ax.set_xlabel("dE00", fontsize=USUAL)
    return plain(ax)


# ---- recipes ------------------------------------------------------------------------------


def composition(
    ax: Axes,
    inks: Sequence[str],
    percents: Sequence[float],
    *,
    colours: Sequence[str] | None = None,
) -> Axes:
    """One recipe as a bar of 100 %; small shares are named below it.

    `colours` fill the parts, such as each ink's own colour.
    """
    starts = np.concatenate([[0.0], np.cumsum(percents)])
    narrow = []
    for k, (name, percent) in enumerate(zip(inks, percents, strict=True)):
        face = colours[k] if colours else "white"
        left, middle = starts[k], starts[k] + percent / 2
        hatch = None if k == 0 else nth(HATCHES, k - 1)
        ax.barh(0, percent, left=left, height=1, facecolor=face, edgecolor=INK, hatch=hatch, lw=1)
        if percent >= 22:
            text = f"{wrapped(name, 12)}\n{percent:.4g} %"
            box = {"facecolor": "white", "edgecolor": "none", "pad": 1.5}
            ax.text(middle, 0, text, ha="center", va="center", fontsize=USUAL, bbox=box)
        else:
            narrow.append((middle, f"{short(name, 24)} {percent:.4g} %"))
    # Names run towards the middle; in this order no name lies on another's line.
    order = [part for part in reversed(narrow) if part[0] <= 50]
    order += [part for part in narrow if part[0] > 50]
    for depth, (middle, text) in enumerate(order):
        y, side = 0.85 + 0.42 * depth, "left" if middle <= 50 else "right"
        tick = middle + (1.2 if side == "left" else -1.2)
        ax.plot([middle, middle, tick], [0.5, y, y], color=INK, lw=0.8)
        ax.text(tick, y, f" {text} ", ha=side, va="center", fontsize=USUAL)
    ax.set(xlim=(-1, 101), ylim=(0.75 + 0.42 * max(len(narrow), 1), -0.6))
    ax.axis("off")
    return ax


def ink_moves(
    ax: Axes,
    palette: Palette,
    fractions: ArrayLike,
    *,
    light: Light,
    observer: int,
    inks: Sequence[str] = (),
    step: float = 0.01,
    target_lab: ArrayLike | None = None,
    tolerance_de00: float = 1.0,
) -> Axes:
    """What adding 1 % of each ink does to a colour: arrows in a*, b*, the step in L* in words.

    `inks` are those to show, the recipe's own if none is named; `step` is the addition as
    a share of the batch.  A target is drawn with its tolerance.
    """
    c = np.asarray(fractions, dtype=float)
    shown = [palette.index(name) for name in inks] or np.flatnonzero(c > 0).tolist()
    after = (c + step * np.eye(c.size)[shown]) / (1 + step)
    lab = Lab(reflectance(palette, np.vstack([c, after])), light, observer)
    here, moves = lab[0], lab[1:] - lab[0]
    ax.plot(*here[1:], "o", color=INK, ms=5)
    tips, texts = [here[1:]], ["this recipe"]
    if target_lab is not None:
        target = np.asarray(target_lab, dtype=float)
        _outline(ax, de00_contour(target, tolerance_de00, "ab")[:, 1:], target[1:])
        tips.append(target[1:])
        texts.append("target")
    for i, move in zip(shown, moves, strict=True):
        tip = here[1:] + move[1:]
        ax.annotate("", tip, here[1:], arrowprops={"arrowstyle": "-|>", "lw": 1.4, "color": INK})
        ax.plot(*tip, alpha=0)  # so that the axes reach it
        tips.append(tip)
        texts.append(f"{short(palette.names[i], 18)} {_lighter(move[0])}")
    ax.set_aspect("equal", adjustable="datalim")
    ax.margins(0.25)
    about = f"+{100 * step:g} % of the batch, {short(light_name(light), 24)}, {observer} degrees"
    ax.set_title(about, fontsize=USUAL, loc="left")
    axis_names(ax, "a*", "b*")
    shafts = here[1:] + np.linspace(0.1, 0.9, 9)[:, None, None] * moves[:, 1:]
    return name_points(ax, np.array(tips), texts, avoid=shafts)


# ---- inks and fits ------------------------------------------------------------------------


def ink_optics(ax: Axes, palette: Palette, ink: str, drawdowns: Sequence[Drawdown] = ()) -> Axes:
    """K/S of an ink and its ladder above, what it scatters below."""
    upper, lower = _two_panels(ax, share=0.66)
    K_over_S(upper, palette, ink, drawdowns).set_xlabel("")
    upper.set_xticklabels([])
    scattering(lower, palette, [ink])
    return ax


def K_over_S(ax: Axes, palette: Palette, ink: str, drawdowns: Sequence[Drawdown] = ()) -> Axes:
    """K/S of an ink alone and let down in a white or clear: lines fitted, points measured.

    Drawdowns that hold anything else are left out.
    """
    at = palette.index(ink)
    alone = np.eye(len(palette.inks))[at]
    ends = []
    rungs = [drawdown for drawdown in drawdowns if _is_rung(drawdown, palette, ink)]
    for k, drawdown in enumerate(rungs):
        c = np.zeros(len(palette.inks))
        for name, fraction in zip(drawdown.inks, drawdown.fractions, strict=True):
            c[palette.index(name)] += fraction
        curve = _film_K_over_S(palette, c)
        ax.plot(GRID_NM, curve, color=FAINT, lw=1)
        read = without_surface(drawdown.R, base=palette.base, gain=palette.gain, k2=palette.k2)
        measured = k_over_s(np.clip(read, 1e-4, 1))
        ax.plot(GRID_NM, measured, nth(MARKERS, k), color=INK, ms=3, mfc="none", mew=0.8)
        ends.append((curve[-1], _rung_name(drawdown, palette, ink), INK))
    if not any(len(drawdown.inks) == 1 for drawdown in rungs):
        curve = _film_K_over_S(palette, alone)
        ax.plot(GRID_NM, curve, color=INK, lw=2)
        ends.append((curve[-1], "alone", INK))
    ax.set_yscale("log")
    ax.yaxis.set_major_locator(LogLocator(numticks=6))
    ax.yaxis.set_minor_formatter(NullFormatter())
    ax.set_title(f"{short(ink, 30)}: lines fitted, points measured", fontsize=USUAL, loc="left")
    _wavelengths(ax, "K/S of the film")
    return end_labels(ax, ends)


def scattering(ax: Axes, palette: Palette, inks: Sequence[str] = ()) -> Axes:
    """What inks scatter per gram; the white's is 1, for hiding films tell no more."""
    ends = []
    for k, name in enumerate(inks or palette.names):
        S = palette.S[palette.index(name)]
        _line(ax, S, k)
        ends.append((S[-1], name, nth(COLOURS, k)))
    if all(palette.inks[palette.index(name)].role != "white" for _, name, _ in ends):
        ax.axhline(1, color=INK, lw=1)
        ends.append((1.0, "white", INK))
    ax.set_ylim(0, max(1.1, 1.1 * ax.get_ylim()[1]))
    _wavelengths(ax, "S (white: 1)")
    return end_labels(ax, ends)


def residuals(ax: Axes, fit: Fit, *, name_worst: int = 3) -> Axes:
    """How far each drawdown is from what the fit says, and from what it says unseen."""
    x, unseen = np.arange(len(fit.drawdowns)), fit.de00_held_out
    ax.vlines(x, fit.de00_fitted, np.where(np.isnan(unseen), fit.de00_fitted, unseen), color=FAINT)
    ax.plot(x, unseen, "o", color=INK, ms=3.5, mfc="white", mew=0.9)
    ax.plot(x, fit.de00_fitted, "x", color=COLOURS[0], ms=3.5, mew=0.9)
    ends = [
        (float(np.nanmedian(unseen)), "median unseen", INK),
        (float(np.nanpercentile(unseen, 95)), "95 % unseen", INK),
    ]
    for level, _, _ in ends:
        ax.axhline(level, color=INK, lw=0.9, ls="--")
    ax.set_ylim(bottom=0)
    ax.set_xlim(-1, len(x))
    ax.set_xlabel("drawdowns, in the order of the file", fontsize=USUAL)
    ax.set_ylabel(f"dE00 under {fit.light}", fontsize=USUAL)
    ax.set_title("o unseen (held out)   x in the fit", fontsize=USUAL, loc="left")
    end_labels(plain(ax), ends)
    told = np.fmax(unseen, fit.de00_fitted)
    worst = np.argsort(-told)[:name_worst]
    points = np.column_stack([x[worst], told[worst]])
    return name_points(ax, points, [short(fit.drawdowns[i], 24) for i in worst])


# ---- shared ---------------------------------------------------------------------------------


def _two_panels(ax: Axes, share: float) -> tuple[Axes, Axes]:
    """Panels inside `ax`, which stays as their frame; the upper takes `share` of it."""
    ax.axis("off")
    gap = 0.06
    return ax.inset_axes((0, 1 - share, 1, share)), ax.inset_axes((0, 0, 1, 1 - share - gap))


def _line(ax: Axes, values: Array, k: int) -> None:
    colour, marker = nth(COLOURS, k), nth(MARKERS, k)
    (line,) = ax.plot(GRID_NM, values, color=colour, ls=nth(DASHES, k), lw=1.6)
    line.set(marker=marker, markersize=4, markerfacecolor="white", markevery=(2 + k, 6))


def _wavelengths(ax: Axes, y: str) -> Axes:
    ax.set_xlim(400, 700)
    ax.set_xticks([400, 500, 600, 700])
    return axis_names(ax, "wavelength, nm", y)


def _swatch_row(ax: Axes, comparison: Comparison, row: int) -> None:
    light, observer = comparison.lights[row], comparison.observer
    R = np.array([comparison.target_R, *(trial.R for trial in comparison.trials)])
    colours = hex_colours(R, light, observer)
    shown = in_srgb(XYZ(R, light, observer), white(light, observer)).tolist()
    for k, trial in enumerate(comparison.trials):
        for half, one in enumerate((0, k + 1)):
            _swatch(ax, k + 0.46 * half, row, colours[one], on_screen=shown[one], left=one == 0)
        note = f"dE00 {trial.de00[row]:.2f}"
        ax.text(k + 0.46, row + 0.73, note, ha="center", va="top", fontsize=SMALL)


def _swatch(ax: Axes, x: float, y: float, colour: str, *, on_screen: bool, left: bool) -> None:
    ax.add_patch(Rectangle((x, y), 0.46, 0.7, facecolor=colour, edgecolor="none"))
    if on_screen:
        return
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    dark = 0.3 * red + 0.6 * green + 0.1 * blue < 128
    line = "white" if dark else INK
    over = Rectangle((x, y), 0.46, 0.7, facecolor="none", edgecolor=line, linewidth=0, alpha=0.6)
    over.set_hatch("///" if left else "\\\\\\")
    ax.add_patch(over)
    note = ax.text(x + 0.23, y + 0.35, "off\nscreen", ha="center", va="center", color=line)
    note.set(fontsize=SMALL - 1, bbox={"facecolor": colour, "edgecolor": "none", "pad": 1})


def _outline(ax: Axes, outline: Array, middle: Array) -> None:
    closed = np.vstack([outline, outline[:1]])
    ax.fill(*closed.T, facecolor="#e9e9e9", edgecolor=INK, lw=1.2, zorder=0.5)
    ax.plot(*middle, "+", color=INK, ms=9, mew=1.6)


def _plane(
    ax: Axes,
    comparison: Comparison,
    light: int,
    middle: Array,
    outline: Array,
    points: Array,
    dimensions: tuple[str, str],
    own: str,
) -> Axes:
    """Target, tolerance and trials in two of a colour's three dimensions."""
    _outline(ax, outline, middle)
    names = ["target"]
    for k, (trial, point) in enumerate(zip(comparison.trials, points, strict=True)):
        ax.plot(*point, nth(MARKERS, k), color=nth(COLOURS, k), ms=7, mec=INK)
        names.append(f"{short(trial.name, 16)}, dE00 {trial.de00[light]:.2f}")
    ax.margins(0.18)
    about = f"{short(comparison.light_names[light], 16)}, {comparison.observer} degrees"
    ax.set_title(f"{about}; grey: target's tolerance at {own}", fontsize=USUAL, loc="left")
    axis_names(ax, *dimensions)
    return name_points(ax, np.vstack([middle, points]), names)


def _lighter(dL: float) -> str:
    """The step in lightness that a flat picture cannot show."""
    return f"(L* {round(dL, 1) + 0.0:+.1f})".replace("-", "\u2212")


def _film_K_over_S(palette: Palette, c: Array) -> Array:
    K, S = mixture_K_S(palette, c)
    return deepen(K / np.maximum(S, 1e-12), palette.deep)[0]


def _is_rung(drawdown: Drawdown, palette: Palette, ink: str) -> bool:
    """The ink alone, or with one white or clear."""
    others = [name for name in drawdown.inks if name != ink]
    known = ink in drawdown.inks and set(drawdown.inks) <= set(palette.names)
    if not known or len(others) > 1:
        return False
    return all(palette.inks[palette.index(name)].role in ("white", "clear") for name in others)


def _rung_name(drawdown: Drawdown, palette: Palette, ink: str) -> str:
    share = sum(f for name, f in zip(drawdown.inks, drawdown.fractions, strict=True) if name == ink)
    rest = [palette.inks[palette.index(name)].role for name in drawdown.inks if name != ink]
    return f"{100 * share:.3g} % in {rest[0]}" if rest else "alone"
