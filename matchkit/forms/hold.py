"""Will it hold?  A formula over each garment, in one stroke or two, with an underbase."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.forms.begin import opened_form, quiet
from matchkit.forms.lots import by_the_book, counted_on, lots_tick
from matchkit.forms.parts import (
    Runner,
    alert,
    amount_field,
    area,
    boxed,
    choice,
    form,
    on_change,
    put,
    read,
    row,
    section,
)
from matchkit.forms.pictures import chart, drawn
from matchkit.forms.rows import FormulaRows
from matchkit.forms.shops import EXAMPLE_BATCH, OpenShop, films_of, target_of
from matchkit.forms.shops import listed_targets as listed
from matchkit.matching.garment import (
    INVENTED,
    Print,
    Verdict,
    covering_words,
    grounds_for,
    hiding_R,
    over_grounds,
)
from matchkit.matching.match import palette_for
from matchkit.matching.prints import has_films, with_lots
from matchkit.report.parts import Part, Picture, Table

__all__ = ["NO_TARGET", "HoldForm", "hold", "hold_parts"]

NO_TARGET = "the formula's own colour when it hides"
PROVE = "A print is not a drawdown: prove it on the garment, cured, under the agreed light."
MOST_UM = 1000.0


def hold(opened: OpenShop, start: str = EXAMPLE_BATCH) -> Any:
    """The form; `start` is the saved batch that it starts with, if there is one."""
    return opened_form(opened, lambda: HoldForm(opened, start).box)


class HoldForm:
    """Its widgets, and the films, which are fitted when they are first asked for."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.films: dict[str, Fit] = {}
        self.problems, self.results = alert(), area()
        self.rows = FormulaRows(opened, "percent", start)
        self.target = choice("It should look like", [NO_TARGET, *listed(opened)], NO_TARGET)
        self.stroke = amount_field("One stroke, um", "50", most=MOST_UM)
        self.underbase = amount_field("Underbase, um (empty: none)", "50", most=MOST_UM, empty=True)
        self.lots = lots_tick(opened)
        self.run = Runner(
            "Will it hold?", self._work, self._answer, self.problems, "garments looked at"
        )
        texts = [self.stroke.text, self.underbase.text]
        on_change([*self.rows.changing(), self.target, self.lots, *texts], self._aged)
        self.box = form(
            *quiet(_no_films(opened)),
            section("1. The formula", self.rows.box),
            section(
                "2. The print",
                boxed(self.target),
                row(self.stroke.box, self.underbase.box),
            ),
            section("3. Over each garment", self.lots, self.run.box, self.problems, self.results),
            name="hold",
        )

    def _work(self) -> Callable[[Callable[[int, int], None]], list[Part]]:
        """Read the form; what is wrong with it is told before any work begins."""
        faults: list[str] = []
        for entry in (self.rows.read, lambda: read(self.stroke, self.underbase)):
            try:
                entry()
            except InputError as error:
                faults += error.faults
        if faults:
            raise InputError(faults)
        palette, grams = self.rows.read()
        stroke_um, underbase_um = read(self.stroke, self.underbase)
        amounts = dict(zip(palette.names, grams.tolist(), strict=True))

        def work(_: Callable[[int, int], None]) -> list[Part]:
            self.films = self.films or films_of(self.opened)
            today = by_the_book(self.opened, learning=self.lots.value)
            films = with_lots(self.films, today.opened.fits)
            shown = hold_parts(
                self.opened, films, amounts, self.target.value, stroke_um, underbase_um
            )
            return [*counted_on(today.words), *shown]

        return work

    def _answer(self, parts: list[Part]) -> None:
        put(self.results, parts)

    def _aged(self) -> None:
        self.results.value = self.problems.value = ""


def hold_parts(
    opened: OpenShop,
    films: Mapping[str, Fit],
    amounts: Mapping[str, float],
    target: str,
    stroke_um: float,
    underbase_um: float | None,
) -> list[Part]:
    """What each garment does to a formula, of `amounts` by mass; `target` of the shop's list."""
    shop = opened.shop
    light, observer = shop.lights[0], shop.observer
    used = {name: amount for name, amount in amounts.items() if amount > 0}
    palette = palette_for({s: found.palette for s, found in films.items()}, list(used))
    c = np.array([used.get(name, 0.0) for name in palette.names])
    c /= c.sum()
    aim = hiding_R(palette, c)
    if target != NO_TARGET:
        aim = target_of(opened, target)
    grounds, invented = grounds_for(shop)
    verdicts, told = over_grounds(
        shop, palette, c, aim, grounds, stroke_um=stroke_um, underbase_um=underbase_um
    )
    return [
        *([INVENTED[0].upper() + INVENTED[1:] + "."] if invented else []),
        f"One stroke lays down {stroke_um:g} um{_below(underbase_um)}; compared with {target},"
        f" under {light}, tolerance {shop.tolerance_de00:g}.",
        _chart(verdicts, hex_colour(aim, light, observer)),
        _table(verdicts),
        " ".join(covering_words(told, shop.tolerance_de00)),
        PROVE,
    ]


def _no_films(opened: OpenShop) -> str:
    """What is to be drawn before a press on the button can tell anything."""
    if has_films(opened.shop):
        return ""
    try:
        films_of(opened)
    except InputError as error:
        return str(error)
    return ""


def _chart(verdicts: tuple[Verdict, ...], wanted: str) -> Picture:
    names = ["wanted", "bare", *(_short(each) for each in verdicts[0].prints)]
    rows = [
        (each.ground, [wanted, each.ground_hex, *(p.hex for p in each.prints)]) for each in verdicts
    ]
    told = "; ".join(f"{each.ground}: {each.words}" for each in verdicts)
    height = 0.8 + 0.55 * len(rows)
    return drawn(
        lambda ax: chart(ax, rows, names),
        f"Each garment bare and printed. {told}. A screen is not a proof.",
        6.4,
        height,
        wide=True,
    )


def _below(underbase_um: float | None) -> str:
    return "" if underbase_um is None else f", the underbase {underbase_um:g} um of white"


def _short(way: Print) -> str:
    strokes = "1 stroke" if way.strokes == 1 else f"{way.strokes} strokes"
    return f"{strokes} on underbase" if way.underbase else strokes


def _table(verdicts: tuple[Verdict, ...]) -> Table:
    head = ("Garment", "What it needs", *(f"dE00, {_short(p)}" for p in verdicts[0].prints))
    rows = tuple(
        (each.ground, each.words, *(f"{p.de00:.2f}" for p in each.prints)) for each in verdicts
    )
    return Table(head=head, rows=rows, words=(1,))
