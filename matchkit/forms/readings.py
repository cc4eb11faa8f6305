"""An instrument's file into the shop: look at it, say what it is of, bring it in."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

import ipywidgets as w
import numpy as np
from matplotlib.axes import Axes

from matchkit.colorimetry.grid import to_grid
from matchkit.colorimetry.tristimulus import Lab, hex_colours
from matchkit.errors import InputError
from matchkit.files.conditions import condition_fault, listed, specular_differs
from matchkit.files.incoming import Imported, bring_in
from matchkit.files.planned import waiting_in
from matchkit.files.preview import Preview, Previewed, preview
from matchkit.files.shop import read_measuring
from matchkit.files.spectrum import read_readings
from matchkit.files.text import did_you_mean
from matchkit.forms.begin import opened_form, quiet
from matchkit.forms.parts import (
    alert,
    amount_field,
    area,
    boxed,
    button,
    choice,
    form,
    on_change,
    put,
    read,
    row,
    safe,
    section,
    tell,
)
from matchkit.forms.pictures import drawn, patches
from matchkit.forms.shops import STAYS, OpenShop, handed_in, is_demo
from matchkit.inks.shop import Shop
from matchkit.plots.marks import INK
from matchkit.report.parts import Part, Picture, Table

__all__ = ["ReadingsForm", "preview_parts", "readings"]

CHOOSE = ("(choose)", "")
ALL = "\0all"  # no name in a file holds this character
ROWS, PATCHES = 40, 6  # names in the table; patches in a row of colours
LISTED = 8  # names in a sentence
HALF = 50  # L*, above which a dark line is seen better than a light one
RUN = "Run the cell with open_shop again, and the cells below it: they take the readings in."
# A fault names what a command takes; here it is a part of the form.
HERE = (
    ("say --add to average all, or --replace", "say above what becomes of them"),
    ("`matchkit import --index 1.5` (of most resins: common practice, no source) converts it",
     "its refractive index, 1.5 for most resins (common practice, no source), written above,"
     " converts it"),
    ("say so with `matchkit import --not-fluorescent`", "say so above"),
)  # fmt: skip


def readings(opened: OpenShop) -> Any:
    """The form; the shop may have no reading yet."""
    return opened_form(opened, lambda: ReadingsForm(opened).box, fitted=False)


class ReadingsForm:
    """Its widgets."""

    def __init__(self, opened: OpenShop) -> None:
        self.opened = opened
        self.problems, self.state, self.about, self.done = alert(), area(), area(), area()
        self.seen: Preview | None = None
        self.needs_index = self.needs_dull = False
        self.upload = w.FileUpload(
            accept="", multiple=False, description="Choose the instrument's file"
        )
        self.which = choice("Bring in", [])
        self.of = choice("It is the drawdown", [CHOOSE], "")
        self.existing = choice(
            "Where there are readings already",
            [
                ("bring nothing in, and say so", "refuse"),
                ("average old and new", "add"),
                ("put the new in place of the old", "replace"),
            ],
            "refuse",
            radio=True,
        )
        self.index = amount_field("Refractive index of the glossy films", "", most=3, empty=True)
        self.dull = w.Checkbox(
            value=False, description="Neither ink nor ground fluoresces", indent=False
        )
        self.upload.observe(safe(self.take, self.problems), names="value")
        on_change([self.which], self._which_changed)
        on_change([self.of], self._shown)
        self.bring = button("Bring them in", self.write, self.problems, main=True)
        self.choices = {
            "which": boxed(self.which),
            "of": boxed(self.of),
            "existing": boxed(self.existing),
            "otherwise": area(),
            "index": self.index.box,
            "dull": self.dull,
        }
        self.box = form(
            *quiet(STAYS if is_demo(opened) else ""),
            section("1. The file", self.state, self.upload, self.about),
            section(
                "2. Into the shop",
                row(self.choices["which"], self.choices["of"]),
                self.choices["existing"],
                self.choices["otherwise"],
                row(self.choices["index"], self.choices["dull"]),
                self.bring,
                self.problems,
                self.done,
            ),
            name="readings",
        )
        self._look()
        self._shown()

    def take(self) -> None:
        """Look at the file that was handed in."""
        self.seen, self.about.value, self.done.value = None, "", ""
        self.index.text.value, self.dull.value, self.existing.value = "", False, "refuse"
        try:
            if self.upload.value:
                self._look()
                with handed_in(self.upload.value[0]) as path:
                    seen = preview(path, self.shop.lights[0], self.shop.observer)
                    self.needs_index, self.needs_dull = _needs(path, self.shop)
                self.seen = seen
                tell(self.choices["otherwise"], self._otherwise(), "quiet")
                self._listed()
        finally:
            self._shown()

    def write(self) -> None:
        """Bring the readings into the shop's `spectra.csv`."""
        self.done.value = ""
        if self.seen is None:
            raise InputError(f"no file was read yet: press {self.upload.description!r} first")
        if is_demo(self.opened):
            tell(self.done, STAYS, "quiet")
            return
        one = self.which.value != ALL
        if one and not self.of.value:
            raise InputError(f"choose which drawdown {self.which.value!r} is of")
        (index,) = read(self.index)
        try:
            with handed_in(self.upload.value[0]) as path:
                done = bring_in(
                    path,
                    self.opened.folder,
                    name=self.which.value if one else None,
                    drawdown=self.of.value if one else None,
                    existing=self.existing.value,
                    skip_others=not one,
                    index=index,
                    not_fluorescent=self.dull.value,
                )
        except InputError as error:
            raise InputError([_here(line) for line in error.faults]) from None
        self.existing.value = "refuse"
        self._look()
        self._listed(self.which.value)
        self._shown()
        tell(self.done, [*_brought(done), *still_waiting(self.waiting), RUN], "done")

    def _look(self) -> None:
        """The folder as it is now: other forms and commands write to it too."""
        self.shop, drawdowns, mixes = read_measuring(self.opened.folder)
        self.waiting, self.measured = waiting_in(self.opened.folder)
        self.known = (*drawdowns, *mixes)
        tell(self.state, still_waiting(self.waiting), "quiet")

    def _listed(self, before: str = "") -> None:
        """What of the file may be brought in, and a look at it."""
        assert self.seen is not None
        names = list(dict.fromkeys(each.name for each in self.seen.spectra))
        ours = [name for name in names if name in self.known]
        offered = [(name, name) for name in names]
        if ours and len(names) > 1:
            offered.insert(0, (f"all drawdowns of this shop ({len(ours)})", ALL))
        self.which.options = offered
        self.which.value = before if before in names else offered[0][1]
        self._which_changed()
        put(self.about, preview_parts(self.seen, self.shop, self.known, self.measured))

    def _which_changed(self) -> None:
        """A name of the file is a drawdown's, or is to be given one; first those that wait."""
        last = [name for name in self.known if name not in self.waiting]
        offered = [CHOOSE, *((name, name) for name in (*self.waiting, *last))]
        if self.of.options != tuple(offered):
            self.of.options = offered
        self.of.value = self.which.value if self.which.value in self.known else ""
        self._shown()

    def _otherwise(self) -> list[str]:
        """What may bring in a file that was measured otherwise than the shop measures."""
        ours = f"{self.shop.geometry}, {self.shop.condition}"
        lines = [f"Measured otherwise than this shop, which measures {ours}."]
        if self.needs_index:
            lines.append(
                "Glossy films can be converted: write their index, 1.5 for most resins"
                " (common practice, no source)."
            )
        if self.needs_dull:
            lines.append("Where nothing fluoresces, it does not matter how much UV there was.")
        return [*lines, "If that does not hold, measure again as the shop does."]

    def _shown(self) -> None:
        """Only the choices that the file and the shop leave open."""
        one = self.seen is not None and self.which.value != ALL
        wanted = {
            "which": len(self.which.options) > 1,
            "of": one,
            "existing": bool(self._drawdowns() & set(self.measured)),
            "otherwise": self.needs_index or self.needs_dull,
            "index": self.needs_index,
            "dull": self.needs_dull,
        }
        for name, part in self.choices.items():
            part.layout.display = None if self.seen is not None and wanted[name] else "none"

    def _drawdowns(self) -> set[str]:
        """Those that the chosen readings are of."""
        if self.seen is not None and self.which.value == ALL:
            return {each.name for each in self.seen.spectra} & set(self.known)
        return {self.of.value}


def still_waiting(waiting: Sequence[str]) -> list[str]:
    """Which drawdowns have no reading yet."""
    if not waiting:
        return ["Every drawdown of this shop has a reading."]
    return [f"Drawdowns that wait for a reading: {len(waiting)} ({listed(waiting, LISTED)})."]


def preview_parts(
    seen: Preview, shop: Shop, known: Sequence[str], measured: Sequence[str], most: int = ROWS
) -> list[Part]:
    """What a file holds, and which of it are drawdowns of the shop; `most` names of it."""
    n = sum(len(each.readings) for each in seen.spectra)
    ways = list(dict.fromkeys(each.stated or "not stated" for each in seen.spectra))
    shown = seen.spectra[:most]
    table = Table(
        head=("Name in the file", "Readings", "Spread, dE00", "In this shop"),
        rows=tuple(_row(each, known, measured) for each in shown),
        words=(3,),
    )
    odd = [f"{each.name}: {line}" for each in seen.spectra for line in each.oddities]
    return [
        f"{seen.file}: {seen.format}, {_counted(len(seen.spectra), 'name')},"
        f" {_counted(n, 'reading')},"
        f" {', '.join(seen.ranges)}, scale {seen.scale}. Measured: {'; '.join(ways[:4])}.",
        *(f"A shop refuses this: {line}" for line in seen.refusals),
        *seen.notes,
        *([] if seen.refusals else _colours(shown, shop, seen.file)),
        table,
        *_some([each.name for each in seen.spectra[most:]], "more names: "),
        *(f"Odd: {line}" for line in odd[:LISTED]),
        *_some(odd[LISTED:], "more that are odd: "),
    ]


def _row(each: Previewed, known: Sequence[str], measured: Sequence[str]) -> tuple[str, ...]:
    if each.name not in known:
        here = f"no drawdown of this shop{did_you_mean(each.name, known)}"
    else:
        here = "has readings already" if each.name in measured else "waits for its reading"
    spread = "" if each.spread_de00 is None else f"{each.spread_de00:.2f}"
    return each.name, str(len(each.readings)), spread, here


def _colours(shown: Sequence[Previewed], shop: Shop, file: str) -> list[Picture]:
    """What was measured, as colours with their curves, in rows of six."""
    names = [each.name for each in shown]
    R = np.array([to_grid(each.nm, each.readings, where=file).mean(axis=0) for each in shown])
    L = Lab(R, shop.lights[0], shop.observer)[:, 0]
    hexes = hex_colours(R, shop.lights[0], shop.observer)

    def draw(ax: Axes, row: slice) -> Axes:
        patches(ax, hexes[row], names[row], "")
        x = np.linspace(0.04, 0.96, R.shape[-1])
        for k, (own, lightness) in enumerate(zip(R[row], L[row], strict=True)):
            pen = INK if lightness > HALF else "white"
            ax.plot(k + x, 1 - np.clip(own, 0, 1), color=pen, lw=1.2)
        ax.set(xlim=(0, PATCHES), ylim=(1.9, -0.05))  # patches of one size in every row
        return ax

    rows = [slice(k, k + PATCHES) for k in range(0, len(names), PATCHES)]
    return [
        drawn(
            partial(draw, row=row),
            f"Measured colours, and their reflectance from 0 to 1: {', '.join(names[row])}",
            6.4,
            1.3,
            wide=True,
        )
        for row in rows
    ]


def _counted(n: int, what: str) -> str:
    return f"{n} {what}" if n == 1 else f"{n} {what}s"


def _some(names: Sequence[str], words: str) -> list[str]:
    return [f"{len(names)} {words}{listed(names, LISTED)}"] if names else []


def _needs(path: Path, shop: Shop) -> tuple[bool, bool]:
    """Whether an index would help, and the word that nothing fluoresces."""
    stated = {each for block in read_readings(path)[0] for each in block.stated}
    dull = any(
        condition_fault(each, shop) and not condition_fault(each, shop, not_fluorescent=True)
        for each in stated
    )
    return any(specular_differs(each, shop) for each in stated), dull


def _here(line: str) -> str:
    """A fault in the words of the form, not of a command."""
    for command, words in HERE:
        line = line.replace(command, words)
    return line


def _brought(done: Imported) -> list[str]:
    """What came in."""
    if not done.names:
        return ["Nothing new: spectra.csv is as it was.", *done.notes]
    lines = [f"Brought in: {_counted(done.n_readings, 'reading')} of {listed(done.names, LISTED)}."]
    if done.kept:
        lines.append(f"The old spectra.csv is kept as {done.kept}.")
    return [*lines, *done.notes]
