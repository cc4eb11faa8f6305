"""Pictures of inks, their lots, recipes and fits; `charts` says how they are to be read."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.book.lessons import LotDrift
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.illuminants import Light, light_name
from matchkit.colorimetry.tristimulus import Lab
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette, deepen, mixture_K_S, reflectance
from matchkit.inks.shop import Drawdown
from matchkit.optics.kubelka_munk import k_over_s, without_surface
from matchkit.report import marks
from matchkit.report.marks import Axes

FormulaRow = tuple[str, Sequence[tuple[float, str]], tuple[str, str], str]


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
        hatch = None if k == 0 else marks.nth(marks.HATCHES, k - 1)
        ax.barh(
            0, percent, left=left, height=1, facecolor=face, edgecolor=marks.INK, hatch=hatch, lw=1
        )
        if percent >= 22:
            text = f"{marks.wrapped(name, 12)}\n{percent:.2f} %"
            box = {"facecolor": "white", "edgecolor": "none", "pad": 1.5}
            ax.text(middle, 0, text, ha="center", va="center", fontsize=marks.USUAL, bbox=box)
        else:
            narrow.append((middle, f"{marks.short(name, 24)} {percent:.2f} %"))
    # Names run towards the middle; in this order no name lies on another's line.
    order = [part for part in reversed(narrow) if part[0] <= 50]
    order += [part for part in narrow if part[0] > 50]
    for depth, (middle, text) in enumerate(order):
        y, side = 0.85 + 0.42 * depth, "left" if middle <= 50 else "right"
        tick = middle + (1.2 if side == "left" else -1.2)
        ax.plot([middle, middle, tick], [0.5, y, y], color=marks.INK, lw=0.8)
        ax.text(tick, y, f" {text} ", ha=side, va="center", fontsize=marks.USUAL)
    ax.set(xlim=(-1, 101), ylim=(0.75 + 0.42 * max(len(narrow), 1), -0.6))
    ax.axis("off")
    return ax


def formulas(ax: Axes, rows: Sequence[FormulaRow], title: str) -> Axes:
    """What formulas differ by: each as a bar of its inks, and how far it is under a light.

    A row holds the inks and percents in words, the percents with their colours, the colours
    of target and formula under that light, and the words beside these.
    """
    letters = int(1.15 * marks.letters_over(ax))
    right = 121 + 21 * max(1.0, 90 / letters)  # what stands beside keeps its room
    ax.set(xlim=(-4, right), ylim=(len(rows) - 0.05, -0.35))
    ax.axis("off")
    for k, (inks, parts, pair, beside) in enumerate(rows):
        left = 0.0
        ax.text(-1.5, k + 0.2, f"{k + 1}", ha="right", va="center", fontsize=marks.USUAL)
        for percent, colour in parts:
            ax.barh(
                k + 0.2,
                percent,
                left=left,
                height=0.4,
                facecolor=colour,
                edgecolor=marks.INK,
                lw=marks.HAIR,
            )
            left += percent
        ax.text(0, k + 0.43, marks.short(inks, letters), ha="left", va="top", fontsize=marks.SMALL)
        for half, colour in enumerate(pair):
            marks.swatch(ax, 103 + 8 * half, k, 8, 0.4, colour)
        ax.plot([111, 111], [k, k + 0.4], color=marks.INK, lw=marks.HAIR)
        ax.text(121, k + 0.2, beside, ha="left", va="center", fontsize=marks.SMALL)
    pairs = [colour for *_, pair, _ in rows for colour in pair]
    return marks.title(ax, title + marks.off_screen_note(pairs))


def ink_moves(
    ax: Axes,
    palette: Palette,
    fractions: ArrayLike,
    *,
    light: Light,
    observer: int,
) -> Axes:
    """What adding 1 % of each of its inks does to a colour: arrows in a*, b*, L* in words."""
    c = np.asarray(fractions, dtype=float)
    shown = np.flatnonzero(c > 0).tolist()
    after = (c + 0.01 * np.eye(c.size)[shown]) / 1.01
    lab = Lab(reflectance(palette, np.vstack([c, after])), light, observer)
    here, moves = lab[0], lab[1:] - lab[0]
    ax.plot(*here[1:], "o", color=marks.INK, ms=5)
    tips, texts = [here[1:]], ["this recipe"]
    for i, move in zip(shown, moves, strict=True):
        tip = here[1:] + move[1:]
        ax.annotate(
            "", tip, here[1:], arrowprops={"arrowstyle": "-|>", "lw": 1.4, "color": marks.INK}
        )
        ax.plot(*tip, alpha=0)  # so that the axes reach it
        tips.append(tip)
        texts.append(f"{marks.short(palette.names[i], 18)} {marks.lightness_step(move[0])}")
    ax.set_aspect("equal", adjustable="datalim")
    ax.margins(0.25)
    about = f"+1 % of the batch, {marks.short(light_name(light), 24)}, {observer} degrees"
    ax.set_title(about, fontsize=marks.USUAL, loc="left")
    marks.axis_names(ax, "a*", "b*")
    shafts = here[1:] + np.linspace(0.1, 0.9, 9)[:, None, None] * moves[:, 1:]
    return marks.name_points(ax, np.array(tips), texts, avoid=shafts)


def ink_optics(ax: Axes, palette: Palette, ink: str, drawdowns: Sequence[Drawdown] = ()) -> Axes:
    """K/S of an ink and its ladder above, what it scatters below."""
    upper, lower = marks.two_panels(ax, share=0.66)
    K_over_S(upper, palette, ink, drawdowns).set_xlabel("")
    upper.set_xticklabels([])
    scattering(lower, palette, [ink])
    return ax


def K_over_S(ax: Axes, palette: Palette, ink: str, drawdowns: Sequence[Drawdown] = ()) -> Axes:
    """K/S of an ink alone and let down in a white or clear: lines fitted, points measured.

    Drawdowns that hold anything else, and films that let their card show, are left out.
    """
    from matplotlib.ticker import LogLocator, NullFormatter

    at = palette.index(ink)
    alone = np.eye(len(palette.inks))[at]
    ends = []
    levels = [drawdown for drawdown in drawdowns if _is_level(drawdown, palette, ink)]
    for k, drawdown in enumerate(levels):
        c = np.zeros(len(palette.inks))
        for name, fraction in zip(drawdown.inks, drawdown.fractions, strict=True):
            c[palette.index(name)] += fraction
        curve = _film_K_over_S(palette, c)
        ax.plot(GRID_NM, curve, color=marks.INK, lw=0.9, ls=marks.nth(marks.DASHES, k))
        read = without_surface(drawdown.R, base=palette.base, gain=palette.gain, k2=palette.k2)
        measured = k_over_s(np.clip(read, 1e-4, 1))
        (points,) = ax.plot(
            GRID_NM, measured, marks.nth(marks.MARKERS, k), color=marks.INK, ms=4.5, mfc="white"
        )
        points.set(markeredgewidth=0.9, markevery=(k % 3, 3))
        ends.append((curve[-1], _level_name(drawdown, palette, ink), marks.INK))
    if not any(len(drawdown.inks) == 1 for drawdown in levels):
        curve = _film_K_over_S(palette, alone)
        ax.plot(GRID_NM, curve, color=marks.INK, lw=2)
        ends.append((curve[-1], "alone", marks.INK))
    ax.set_yscale("log")
    ax.yaxis.set_major_locator(LogLocator(numticks=6))
    ax.yaxis.set_minor_formatter(NullFormatter())
    marks.title(ax, f"{marks.short(ink, 30)}: lines fitted, points measured")
    marks.wavelength_axis(ax, "K/S of the film")
    return marks.end_labels(ax, ends)


def scattering(ax: Axes, palette: Palette, inks: Sequence[str] = ()) -> Axes:
    """What inks scatter per gram; the white's is 1, for hiding films tell no more."""
    ends = []
    for k, name in enumerate(inks or palette.names):
        S = palette.S[palette.index(name)]
        marks.spectrum_line(ax, S, k)
        ends.append((S[-1], name, marks.nth(marks.COLOURS, k)))
    if all(palette.inks[palette.index(name)].role != "white" for _, name, _ in ends):
        ax.axhline(1, color=marks.INK, lw=1)
        ends.append((1.0, "white", marks.INK))
    ax.set_ylim(0, max(1.1, 1.1 * ax.get_ylim()[1]))
    marks.wavelength_axis(ax, "S (white: 1)")
    return marks.end_labels(ax, ends)


def residuals(ax: Axes, fit: Fit) -> Axes:
    """How far each drawdown is from what the fit says, and from what it says unseen, by ink."""
    owners = np.array([_owner(row, fit.palette) for row in fit.fractions])
    order, unseen = np.argsort(owners, kind="stable"), fit.de00_held_out
    x = np.empty(len(order))
    x[order] = np.arange(len(order)) + 1.5 * np.cumsum(np.diff(owners[order], prepend=0) > 0)
    ax.vlines(
        x, fit.de00_fitted, np.where(np.isnan(unseen), fit.de00_fitted, unseen), color=marks.FAINT
    )
    ax.plot(x, unseen, "o", color=marks.INK, ms=3.5, mfc="white", mew=0.9)
    ax.plot(x, fit.de00_fitted, "x", color=marks.COLOURS[0], ms=3.5, mew=0.9)
    ends = [
        (float(np.nanmedian(unseen)), "median unseen", marks.INK),
        (float(np.nanpercentile(unseen, 95)), "95 % unseen", marks.INK),
    ]
    for level, _, _ in ends:
        ax.axhline(level, color=marks.INK, lw=0.9, ls="--")
    ax.set_ylim(bottom=0)
    ax.set_xlim(-1, x.max() + 1)
    inks = np.unique(owners)
    names = [marks.short(fit.palette.names[i], 16) for i in inks]
    ax.set_xticks([x[owners == i].mean() for i in inks], names, rotation=45, ha="right")
    ax.set_ylabel(f"dE00 under {fit.light}", fontsize=marks.USUAL)
    ax.set_title("o unseen (held out)   x in the fit", fontsize=marks.USUAL, loc="left")
    marks.end_labels(marks.plain(ax), ends)
    told = np.fmax(unseen, fit.de00_fitted)
    worst = np.argsort(-told)[:3]
    points = np.column_stack([x[worst], told[worst]])
    return marks.name_points(ax, points, [marks.short(fit.drawdowns[i], 24) for i in worst])


def drift_chart(ax: Axes, ink: str, rows: Sequence[LotDrift]) -> Axes:
    """Strength in percent of the fitted lot: each batch alone, and all of a lot so far.

    Bars and band are one standard error; a dashed line stands where a new lot begins.
    """
    n = np.arange(1, len(rows) + 1)
    alone, so_far = (np.array([getattr(row, key) for row in rows]) for key in ("alone", "strength"))
    bar, band = (np.array([getattr(row, key) for row in rows]) for key in ("alone_error", "error"))
    ax.errorbar(
        n, 100 * alone, 100 * alone * bar, fmt="o", ms=4, lw=0.8, color="0.45", label="batch alone"
    )
    for start, end in _lots(rows):
        part = slice(start, end)
        middle, half = 100 * so_far[part], 100 * so_far[part] * band[part]
        label = "lot so far" if start == 0 else None
        ax.plot(n[part], middle, ".-", color="black", ms=3, lw=1.6, label=label)
        ax.fill_between(n[part], middle - half, middle + half, color="black", alpha=0.15, lw=0)
        if start:
            ax.axvline(n[start] - 0.5, color="black", lw=0.8, ls="--")
        if rows[start].lot:
            ax.annotate(
                f"lot {rows[start].lot}", (n[start] - 0.4, 1), xycoords=("data", "axes fraction"),
                xytext=(0, -10), textcoords="offset points", fontsize=marks.USUAL,
            )  # fmt: skip
    ax.axhline(100, color="black", lw=0.6)
    ax.set_xlim(0.4, len(rows) + 0.6)
    ax.set_xticks(n, [str(row.batch) for row in rows], rotation=90 if len(rows) > 12 else 0)
    ax.set_xlabel("batch")
    ax.set_ylabel("strength, % of the fitted lot")
    ax.set_title(ink)
    if rows:
        ax.legend(fontsize=marks.USUAL, loc="best")
    return ax


def _owner(fractions: Array, palette: Palette) -> int:
    """The ink that a drawdown tells of: its colour, else its black, else its white."""
    rank = {"colour": 3, "black": 2, "white": 1}
    held = np.flatnonzero(fractions > 0).tolist()
    return max(held, key=lambda i: (rank.get(palette.inks[i].role, 0), fractions[i]))


def _film_K_over_S(palette: Palette, c: Array) -> Array:
    K, S = mixture_K_S(palette, c)
    return deepen(K / np.maximum(S, 1e-12), palette.deep)[0]


def _is_level(drawdown: Drawdown, palette: Palette, ink: str) -> bool:
    """The ink alone, or with one white or clear, in a film that hides its card."""
    if drawdown.ground:
        return False
    others = [name for name in drawdown.inks if name != ink]
    known = ink in drawdown.inks and set(drawdown.inks) <= set(palette.names)
    if not known or len(others) > 1:
        return False
    return all(palette.inks[palette.index(name)].role in ("white", "clear") for name in others)


def _level_name(drawdown: Drawdown, palette: Palette, ink: str) -> str:
    share = sum(f for name, f in zip(drawdown.inks, drawdown.fractions, strict=True) if name == ink)
    rest = [palette.inks[palette.index(name)].role for name in drawdown.inks if name != ink]
    return f"{100 * share:.3g} % in {rest[0]}" if rest else "alone"


def _lots(rows: Sequence[LotDrift]) -> list[tuple[int, int]]:
    """From where to where the batches are of one lot."""
    starts = [k for k in range(len(rows)) if k == 0 or rows[k].lot != rows[k - 1].lot]
    return list(zip(starts, [*starts, len(rows)][1:], strict=True))
