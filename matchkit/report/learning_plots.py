"""Pictures of exercises and rehearsals."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.grid import GRID_NM
from matchkit.practice.simulated_shop import Swatch
from matchkit.report import marks
from matchkit.report.marks import Axes

ROOM = 0.15  # beyond the outermost point, as a share: names stand there
LEAST_SPAN = 0.5  # either way, Lab


def curves(ax: Axes, swatches: Sequence[Swatch]) -> Axes:
    """Reflectance, the first solid, the others dashed."""
    for k, each in enumerate(swatches):
        ax.plot(GRID_NM, each.R, color=marks.INK, ls="--" if k else "-", label=each.name)
    ax.set(xlabel="wavelength, nm", ylabel="reflectance", xlim=(400, 700), ylim=(0, None))
    ax.legend(frameon=False, fontsize=marks.USUAL)
    return ax


def way(
    ax: Axes,
    named: Sequence[tuple[str, Array]],
    arrows: Sequence[tuple[int, int]],
    target: Array | None,
    plane: str,
    tolerance_de00: float = 1.0,
) -> Axes:
    """Named colours (Lab) and arrows between them, in the "ab" or the "LC" plane."""
    points = marks.in_plane(np.array([lab for _, lab in named]), plane)
    if target is not None:
        aim = marks.in_plane(target, plane)[0]
        marks.tolerance_outline(
            ax, target, np.array([lab for _, lab in named]), tolerance_de00, plane
        )
        ax.annotate(
            "target",
            (aim[0], aim[1]),
            xytext=(6, -10),
            textcoords="offset points",
            fontsize=marks.USUAL,
        )
    for a, b in arrows:
        ax.annotate(
            "",
            tuple(points[b]),
            xytext=tuple(points[a]),
            arrowprops={"arrowstyle": "->", "color": marks.INK},
        )
    for (name, _), point in zip(named, points, strict=False):
        ax.plot(*point, marker="o", color=marks.INK, ms=4)
        ax.annotate(
            name,
            (point[0], point[1]),
            xytext=(5, 5),
            textcoords="offset points",
            fontsize=marks.USUAL,
        )
    middle = points.mean(axis=0)
    ax.update_datalim([middle - LEAST_SPAN, middle + LEAST_SPAN])
    ax.margins(ROOM)
    ax.set_aspect("equal", adjustable="datalim")
    ax.set(xlabel="a*" if plane == "ab" else "C*", ylabel="b*" if plane == "ab" else "L*")
    return ax


def mixer_shares(ax: Axes, rows: Sequence[dict[str, Any]]) -> Axes:
    """Bars of jobs in tolerance, by mixer: first drawdown, after one, after two."""
    told = {"first": "first drawdown", "one": "after one correction", "two": "after two"}
    whole = [row for row in rows if row["kind"] == "all"]
    for y, row in enumerate(whole):
        for k, (key, words) in enumerate(told.items()):
            if key not in row:
                continue
            share, at = 100 * row[key], y + 0.27 * (k - 1)
            ax.barh(
                at,
                share,
                0.24,
                facecolor="white",
                edgecolor=marks.COLOURS[k],
                hatch=marks.HATCHES[k],
            )
            ax.text(share + 1, at, f"{share:.0f} {words}", va="center", fontsize=marks.SMALL)
    ax.set(xlim=(0, 170), xticks=[0, 25, 50, 75, 100], ylim=(len(whole) - 0.5, -0.5))
    ax.set_yticks(range(len(whole)), [row["mixer"] for row in whole])
    return marks.axis_names(ax, "jobs in tolerance, %", "")


def stated_chances(ax: Axes, tenths: Sequence[dict[str, Any]]) -> Axes:
    """Stated chance against the share of jobs in tolerance; each point tells its jobs."""
    ax.plot([0, 100], [0, 100], color=marks.FAINT, lw=1)
    for tenth in tenths:
        x, y = 100 * tenth["said"], 100 * tenth["came_true"]
        ax.plot(x, y, "o", color=marks.COLOURS[0], markerfacecolor="white")
        ax.annotate(
            f"{tenth['jobs']} jobs", (x, y), (-6, 0), textcoords="offset points",
            fontsize=marks.SMALL, ha="right", va="center",
        )  # fmt: skip
    ax.set(xlim=(-5, 105), ylim=(-5, 105), xticks=range(0, 101, 25), yticks=range(0, 101, 25))
    return marks.axis_names(ax, "stated chance, %", "in tolerance, %")
