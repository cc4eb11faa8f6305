"""The drift chart: what an ink's lots have done, batch by batch."""

from collections.abc import Sequence

import numpy as np

from matchkit.book.lessons import LotDrift
from matchkit.report.marks import USUAL, Axes


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
                xytext=(0, -10), textcoords="offset points", fontsize=USUAL,
            )  # fmt: skip
    ax.axhline(100, color="black", lw=0.6)
    ax.set_xlim(0.4, len(rows) + 0.6)
    ax.set_xticks(n, [str(row.batch) for row in rows], rotation=90 if len(rows) > 12 else 0)
    ax.set_xlabel("batch")
    ax.set_ylabel("strength, % of the fitted lot")
    ax.set_title(ink)
    if rows:
        ax.legend(fontsize=USUAL, loc="best")
    return ax


def _lots(rows: Sequence[LotDrift]) -> list[tuple[int, int]]:
    """From where to where the batches are of one lot."""
    starts = [k for k in range(len(rows)) if k == 0 or rows[k].lot != rows[k - 1].lot]
    return list(zip(starts, [*starts, len(rows)][1:], strict=True))
