"""What a spectrum file holds, and what came of it, as parts."""

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from matchkit.colorimetry.grid import to_grid
from matchkit.colorimetry.tristimulus import Lab, hex_colours
from matchkit.errors import did_you_mean
from matchkit.files.amounts import quoted
from matchkit.files.conditions import listed
from matchkit.files.incoming import Imported
from matchkit.files.preview import BARS, Previewed, sparkline
from matchkit.report.parts import Part, Picture, Table
from matchkit.workflows.importing import Look, Place
from matchkit.workflows.session import Notice

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST = 40  # names in the table
LISTED = 8  # names in a sentence
PATCHES = 6  # in a row of colours
HALF = 50  # L*, above which a dark line is seen better than a light one


def look_parts(
    look: Look, place: Place | None = None, *, most: int | None = MOST, bars: str = BARS
) -> list[Part]:
    """What a file holds, and which of it are drawdowns of the shop; `most` names of it.

    `bars` are the characters of the small pictures in the table; empty: none are needed.
    """
    seen = look.seen
    n = sum(len(each.readings) for each in seen.spectra)
    ways = list(dict.fromkeys(each.stated or "not stated" for each in seen.spectra))
    shown, odd = seen.spectra[:most], odd_lines(look)
    head = ["Name in the file", "Readings", "Spread, dE00"]
    head += [*(["Reflectance 0 to 1"] if bars else []), *(["In this shop"] if place else [])]
    there = Table(
        head=tuple(head), rows=tuple(_row(each, place, bars) for each in shown), words=(3, 4)
    )
    agrees = []
    if seen.lab_apart is not None:
        agrees = [f"L*a*b* in the file agree with the spectra within {seen.lab_apart:.2f} dE*ab."]
    return [
        f"{seen.file}: {seen.format}, {_counted(len(seen.spectra), 'name')},"
        f" {_counted(n, 'reading')}, {', '.join(seen.ranges)}, scale {seen.scale}.",
        f"Measured: {'; '.join(ways[:4])}{' ...' if len(ways) > 4 else ''}.",
        *agrees,
        *_notices("refused", "A match or a shop refuses this", seen.refusals),
        *([] if seen.refusals else _colours(shown, look)),
        there,
        *_some([each.name for each in seen.spectra[len(shown) :]], "more names"),
        *_notices("odd", "Odd", odd[:most]),
        *_some(odd[len(odd[:most]) :], "more that are odd"),
    ]


def odd_lines(look: Look) -> list[str]:
    """What is odd, each line with the name it is of."""
    return [f"{quoted(each.name)}: {line}" for each in look.seen.spectra for line in each.oddities]


def imported_parts(done: Imported) -> list[Part]:
    """What came in, and what is still to come."""
    if not done.names:
        return ["Nothing new: spectra.csv is as it was.", waiting_line(done.missing)]
    copies = done.kept.split(", ") if done.kept else []
    kept = [f"The old {copy.rsplit('.', 2)[0]} is kept as {copy}." for copy in copies]
    return [
        f"Brought in: {_counted(done.n_readings, 'reading')} of {listed(done.names, LISTED)}.",
        *kept,
        *_notices("outlier", "Look at this drawdown", done.outliers),
        waiting_line(done.missing),
    ]


def waiting_line(waiting: Sequence[str]) -> str:
    """Which drawdowns have no reading yet."""
    if not waiting:
        return "Every drawdown of this shop has a reading."
    return f"Drawdowns that wait for a reading: {len(waiting)} ({listed(waiting, LISTED)})."


def _row(each: Previewed, place: Place | None, bars: str) -> tuple[str, ...]:
    spread = "" if each.spread_de00 is None else f"{each.spread_de00:.2f}"
    row = [each.name, str(len(each.readings)), spread]
    row += [sparkline(each.readings.mean(axis=0), bars)] if bars else []
    called = place.called(each.name) if place else ""
    if place and not called:
        row.append(f"no drawdown of this shop{did_you_mean(each.name, place.names)}")
    elif place:
        has = "has readings already" if called in place.measured else "waits for its reading"
        row.append(has if called == each.name else f"{called}: {has}")
    return tuple(row)


def _colours(shown: Sequence[Previewed], look: Look) -> list[Picture]:
    """What was measured, as colours with their curves, in rows of six."""
    light, observer = (look.shop.lights[0], look.shop.observer) if look.shop else ("D65", 10)

    def draw(ax: "Axes", row: Sequence[Previewed]) -> "Axes":
        from matchkit.plots.marks import INK, patches

        R = np.array([to_grid(e.nm, e.readings, where=look.seen.file).mean(axis=0) for e in row])
        patches(ax, hex_colours(R, light, observer), [each.name for each in row], "")
        x = np.linspace(0.04, 0.96, R.shape[-1])
        for k, (own, Lab_own) in enumerate(zip(R, Lab(R, light, observer), strict=True)):
            pen = INK if Lab_own[0] > HALF else "white"
            ax.plot(k + x, 1 - np.clip(own, 0, 1), color=pen, lw=1.2)
        ax.set(xlim=(0, PATCHES), ylim=(1.9, -0.05))  # patches of one size in every row
        return ax

    rows = [shown[k : k + PATCHES] for k in range(0, len(shown), PATCHES)]
    return [
        Picture(
            draw=partial(draw, row=row),
            alt="Measured colours, and their reflectance from 0 to 1:"
            f" {', '.join(each.name for each in row)}",
            width_in=6.4,
            height_in=1.3,
            wide=True,
        )
        for row in rows
    ]


def _notices(code: str, head: str, lines: Sequence[str]) -> list[Notice]:
    return [Notice(code=code, text=f"{head}: {line}") for line in lines]


def _counted(n: int, what: str) -> str:
    return f"{n} {what}" if n == 1 else f"{n} {what}s"


def _some(names: Sequence[str], words: str) -> list[str]:
    return [f"{len(names)} {words}: {listed(names, LISTED)}"] if names else []
