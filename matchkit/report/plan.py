"""The plan of drawdowns, and readings that came in."""

from collections.abc import Sequence
from datetime import date
from functools import partial
from itertools import groupby

import numpy as np

from matchkit.colorimetry.grid import to_grid
from matchkit.colorimetry.tristimulus import Lab, hex_colours
from matchkit.errors import did_you_mean
from matchkit.files.incoming import Imported
from matchkit.files.planned import Planned
from matchkit.files.preview import BARS, Previewed, sparkline
from matchkit.files.readings import listed
from matchkit.files.text import quoted
from matchkit.files.weighed import Reweighed
from matchkit.inks.drawdowns import Plan, Step
from matchkit.inks.pots import Grams
from matchkit.paper.sheet import SHORT_CAUTIONS, grams_text, plan_html, plan_summary
from matchkit.report.marks import INK, Axes, patches
from matchkit.report.parts import Page, Part, Picture, Table
from matchkit.workflows.fitting_inks import Look, Place
from matchkit.workflows.planning import DrawdownPlan, NewShop
from matchkit.workflows.session import Notice


def new_shop_parts(made: NewShop) -> list[Part]:
    """What was made."""
    plan, shop = made.plan, made.shop
    lights = " and ".join([", ".join(shop.lights[:-1]), shop.lights[-1]])
    return [
        f"Made: the folder {made.folder}, with {', '.join(made.files)}.",
        f"It has {len(plan.inks)} inks, and {len(plan.steps)} drawdowns of them that wait for"
        " their readings.",
        f"Its lights are {lights} with the {shop.observer} degree observer, its tolerance is dE00"
        f" {shop.tolerance_de00:g}; change them in shop.toml.",
        *(f"{note}." for note in plan.notes),
    ]


def plan_page(made: DrawdownPlan) -> Page:
    """The plan to print and to work through."""
    today = date.today().isoformat()
    html = plan_html(made.plan, title=made.title, shop=made.shop, date=today)
    return Page(title=made.title, html=html)


def plan_parts(made: DrawdownPlan) -> list[Part]:
    """The plan as tables: what to make first, then drawdown by drawdown."""
    plan = made.plan
    letdowns = Table(
        head=("Letdown", "Weigh"),
        rows=tuple((name, _weights(parts, plan)) for name, parts in plan.letdowns),
        caption="Letdowns, to make first and to weigh small amounts from",
        words=(1,),
    )
    series = [
        Table(
            head=("Drawdown", "No.", "Take", "Add"),
            rows=tuple(
                (s.drawdown, str(s.number), _pot(s, plan), _weights(s.adds, plan)) for s in steps
            ),
            caption=f"{ink}, from top to bottom",
            words=(2, 3),
        )
        for ink, steps in groupby(plan.steps, key=lambda step: step.ink)
    ]
    first = [letdowns] if plan.letdowns else []
    notes = [f"{note}." for note in plan.notes]
    return [plan_summary(plan), *notes, *first, *series, SHORT_CAUTIONS]


def to_come_lines(made: DrawdownPlan) -> list[str]:
    """Whether the shop's files have these drawdowns: readings of others can't be brought in."""
    if made.to_come is None:
        return ["It can't be put into the shop yet:", *made.in_the_way]
    if not made.to_come:
        return ["All of these drawdowns are in the shop's files."]
    return [
        f"{len(made.to_come)} of these {len(made.plan.steps)} drawdowns are not in the shop's files"
        " yet: put the plan into the shop, so that their readings can come in."
    ]


def put_lines(done: Planned) -> list[str]:
    """What became of the shop's files."""
    lines = [f"drawdowns.csv: {len(done.added)} planned drawdowns wait for their readings"]
    if done.measured:
        lines.append(f"measured already, and left as they are: {listed(done.measured)}")
    if done.taken_out:
        lines.append(f"never measured, and taken out: {listed(done.taken_out)}")
    if done.kept:
        lines.append(f"the old drawdowns.csv is kept as {done.kept}")
    return lines


def weighed_parts(found: Reweighed) -> list[Part]:
    """Which percents the weights change."""
    if not found.changes:
        return ["Every weight is as drawdowns.csv says."]
    rows = tuple(
        (each.drawdown, each.ink, each.before, f"{each.percent:.4f}") for each in found.changes
    )
    head = ("Drawdown", "Ink", "in drawdowns.csv", "as weighed, %")
    return [Table(head=head, rows=rows, words=(1,))]


def weighed_lines(found: Reweighed, kept: str) -> list[str]:
    """What became of ``drawdowns.csv``, whose old content is `kept` as a copy."""
    if not found.changes:
        return ["drawdowns.csv already has these weights"]
    names = found.changed
    lines = [f"drawdowns.csv: percents of {len(names)} drawdowns as weighed: {listed(names)}"]
    return [*lines, f"the old drawdowns.csv is kept as {kept}; fit again now"]


def _weights(parts: Grams, plan: Plan) -> str:
    return ", ".join(f"{grams_text(g, plan.resolution_g)} g {what}" for what, g in parts)


def _pot(step: Step, plan: Plan) -> str:
    if step.pot == 0:
        return "straight from the can"
    if step.leave_g is None:
        return f"pot {step.pot}, clean"
    return f"pot {step.pot}, down to {grams_text(step.leave_g, plan.resolution_g)} g"


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
        *_notices("refused", "Not usable in a shop or for a match", seen.refusals),
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

    def draw(ax: Axes, row: Sequence[Previewed]) -> Axes:
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
