"""The fit of the inks, their history, the instrument."""

from collections.abc import Sequence
from itertools import groupby

import numpy as np

from matchkit.book.jobs import local_day
from matchkit.book.lessons import LotDrift
from matchkit.colorimetry.tristimulus import Lab, hex_colour
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit, ink_errors
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Drawdown
from matchkit.report.html import flat
from matchkit.report.ink_plots import drift_chart, ink_optics, residuals
from matchkit.report.marks import patches
from matchkit.report.parts import Heading, Part, Picture, Table
from matchkit.workflows.fitting_inks import InksFitted, letdown_series
from matchkit.workflows.ink_history import FilmHiding, InkHistory, InstrumentCheck, PassShares
from matchkit.workflows.session import Notice


def fit_parts(found: InksFitted) -> list[Part]:
    """How good each fit is, and which drawdowns to look at."""
    parts: list[Part] = []
    for series, fit in found.fits.items():
        parts += _series(f"Series {series}: " if series else "", fit)
    for series, fit in found.films.items():
        parts += _series(f"Films over a ground, {f'series {series}: ' if series else ''}", fit)
    return parts


def ink_parts(fit: Fit, drawdowns: Sequence[Drawdown], ink: str) -> list[Part]:
    """An ink's letdowns, its K/S and S with the measured points, and how well they are met."""
    levels = letdown_series(fit, drawdowns, ink)
    own = [d for d in drawdowns if ink in d.inks]
    n_own = int((fit.fractions[:, fit.palette.index(ink)] > 0).sum())
    mean, most = ink_errors(fit)[ink]
    return [
        *([_letdowns(fit, levels, f"{ink}, let down in the white")] if levels else []),
        optics_picture(fit, own, ink),
        f"{ink}: its {n_own} drawdowns are met to dE00 {mean:.2f} on average, {most:.2f} at worst.",
    ]


def tint_parts(fit: Fit, ink: str, percent: float) -> list[Part]:
    """An ink let down in the white at some percent: its predicted colour."""
    palette = fit.palette
    white = next(i for i, each in enumerate(palette.inks) if each.role == "white")
    c = np.zeros(len(palette.inks))
    c[white] = 1 - percent / 100
    c[palette.index(ink)] += percent / 100
    R = reflectance(palette, c)
    L, a, b = Lab(R, fit.light, fit.observer)
    words = f"{percent:.3g} % {ink} in the white: L* {L:.1f}, a* {a:.1f}, b* {b:.1f}"
    return [flat(hex_colour(R, fit.light, fit.observer), words), words + "."]


def optics_picture(fit: Fit, drawdowns: Sequence[Drawdown], ink: str) -> Picture:
    """K/S of an ink alone and let down, as fitted and as measured, and what it scatters."""
    if ink not in fit.palette.names:
        raise InputError(f"{ink!r}: no drawdown of this ink was fitted")
    return Picture(
        name="optics",
        draw=lambda ax: ink_optics(ax, fit.palette, ink, drawdowns),
        alt=f"K/S of {ink} alone and let down, and what it scatters",
        height_in=4.2,
    )


def _series(title: str, fit: Fit) -> list[Part]:
    palette = fit.palette
    held = fit.de00_held_out[~np.isnan(fit.de00_held_out)]
    title += f"{len(palette.inks)} inks from {len(fit.drawdowns)} drawdowns"
    parts: list[Part] = [Heading(text=title[0].upper() + title[1:])]
    if held.size:
        parts.append(
            f"Predicts unseen drawdowns ({held.size}, {fit.light}): median dE00"
            f" {np.median(held):.2f}, 95 % within {np.percentile(held, 95):.2f}."
        )
    parts += [
        f"Theory kept: {palette.model} (k2 {palette.k2:.2f}, white crowding"
        f" {palette.crowding.max():.2f}, depth {palette.deep:.2f}).",
        Table(
            head=("Theory", "Median dE00", "95 % within"),
            rows=tuple((s.model, f"{s.de00_median:.2f}", f"{s.de00_p95:.2f}") for s in fit.scores),
            caption="How well each theory predicts unseen drawdowns",
        ),
        Table(
            head=("Ink", "Mean dE00", "Worst"),
            rows=tuple(
                (name, f"{mean:.2f}", f"{most:.2f}")
                for name, (mean, most) in ink_errors(fit).items()
            ),
            caption="How well each ink's own drawdowns are met",
        ),
        _residuals(fit),
    ]
    parts += [Notice(code="outlier", text=f"Look at this drawdown: {t}") for t in fit.outliers]
    parts += [Notice(code="fit_warning", text=f"Unreliable: {t}") for t in fit.warnings]
    return parts


def _residuals(fit: Fit) -> Picture:
    worst = fit.drawdowns[int(np.argmax(np.fmax(fit.de00_held_out, fit.de00_fitted)))]
    alt = f"How far each drawdown is from its prediction; the worst is {worst}"
    return Picture(
        name="residuals", draw=lambda ax: residuals(ax, fit), alt=alt, width_in=6.4, wide=True
    )


def _letdowns(fit: Fit, levels: Sequence[tuple[float, Drawdown]], title: str) -> Picture:
    names = [f"{percent:.3g} %" for percent, _ in levels]
    colours = [hex_colour(d.R, fit.light, fit.observer) for _, d in levels]
    return Picture(
        draw=lambda ax: patches(ax, colours, names, title),
        alt=f"{title}: {', '.join(names)}",
        width_in=6.4,
        height_in=1.3,
        wide=True,
    )


PER_BATCH_IN, NARROWEST_IN, WIDEST_IN = 0.35, 5.2, 8.5  # of the chart
NAMES = {"month": "by month", "ink": "by ink", "mixer": "by who mixed"}


def history_parts(found: InkHistory) -> list[Part]:
    """A sentence for each lot, the chart, and its numbers."""
    ink, rows = found.ink, found.rows
    if not rows:
        return [f"No measured batch of the book holds {ink}."]
    told = [lot_words(ink, list(of_lot)) for _, of_lot in groupby(rows, lambda r: r.lot)]
    wide = min(max(NARROWEST_IN, PER_BATCH_IN * len(rows) + 2), WIDEST_IN)
    cells = tuple(
        (local_day(r.at), str(r.batch), r.lot, f"{100 * r.alone:.1f}",
         f"{100 * r.alone * r.alone_error:.1f}", f"{100 * r.strength:.1f}",
         f"{100 * r.strength * r.error:.1f}")
        for r in rows
    )  # fmt: skip
    return [
        *told,
        Picture(
            name="lots",
            draw=lambda ax: drift_chart(ax, ink, rows),
            alt=" ".join(told),
            width_in=wide,
            wide=True,
        ),
        Table(
            head=("Day", "Batch", "Lot", "Batch alone", "+-", "Lot so far", "+-"),
            rows=cells,
            caption="Strength, % of the fitted lot",
            words=(2,),
        ),
        "Batch alone (grey): what each batch says by itself. Lot so far (black): all batches of"
        " the lot up to that one, which the next match uses. +-, bars and band are"
        " one standard error.",
    ]


def lot_words(ink: str, rows: Sequence[LotDrift]) -> str:
    """How strong one lot has run, by its last batch."""
    last, n = rows[-1], len(rows)
    named = f"{ink} lot {last.lot}" if last.lot else ink
    by, error = 100 * (last.strength - 1), 100 * last.strength * last.error
    over = f"over {n} batch{'es' if n != 1 else ''}"
    if abs(by) < max(1.0, error):
        return f"{named} has run as strong as the fitted lot {over}, give or take {error:.0f} %."
    how = "strong" if by > 0 else "weak"
    return f"{named} has run {abs(by):.0f} % {how} {over}, give or take {error:.0f} %."


def share_parts(found: PassShares) -> list[Part]:
    """How many batches were in tolerance, at the first drawdown and in the end."""
    if not found.rows:
        return ["No batch was measured against a target yet."]
    cells = tuple(
        (each.group or "(no name)", str(each.jobs), _percent(each.first), _percent(each.final))
        for each in found.rows
    )
    first = {"mixer": "Who mixed"}.get(found.by, found.by.capitalize())
    head = (first, "Batches", "First drawdown", "In the end")
    return [Table(head=head, rows=cells, caption=f"In tolerance, {NAMES[found.by]}")]


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


LAST = 10  # days shown of each standard


def instrument_parts(found: InstrumentCheck) -> list[Part]:
    """What each standard has read against its first day, and what to do."""
    rows = tuple(
        (each.kind, each.name, day, f"{moved.de00:.2f}", moved.words if i else "first reading")
        for each in found.health.histories
        for i, (day, moved) in enumerate(zip(each.dates, each.drifts, strict=True))
        if i == 0 or i >= len(each.dates) - LAST
    )
    head = ("Kind", "Name", "Day", "dE00", "Against its first day")
    advice = found.health.advice
    return [*([Table(head=head, rows=rows, words=(1, 2, 4))] if rows else []), advice]


def hiding_parts(found: FilmHiding) -> list[Part]:
    """Whether the film counts as a drawdown that hides."""
    return [f"{found.name}: {found.opacity.words}"]
