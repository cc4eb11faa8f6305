"""Is it near enough?  A drawdown against its target, in ten seconds."""

from typing import Any

import ipywidgets as w
import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.errors import InputError
from matchkit.files.spectrum import read_spectrum
from matchkit.forms.begin import opened_form
from matchkit.forms.parts import alert, area, boxed, button, choice, form, on_change, put, section
from matchkit.forms.pictures import drawn, edge_to_edge
from matchkit.forms.shops import OpenShop
from matchkit.forms.show import Part, Table
from matchkit.forms.targets import SpectrumFile, TargetPicker
from matchkit.inks.shop import Shop
from matchkit.matching.compare import compare
from matchkit.matching.rank import check as judged
from matchkit.plots.charts import LC_plane, ab_plane, spectra

__all__ = ["CheckForm", "MeasuredPicker", "check", "check_parts"]

Array = NDArray[np.float64]

EXAMPLE, FILE = "the example's first proof", "from a file of mine"


def check(opened: OpenShop, target: str = "") -> Any:
    """The form; `target` is the colour of the shop's list that it starts with."""
    return opened_form(opened, lambda: CheckForm(opened, target).box)


class MeasuredPicker:
    """How the drawdown measured: a file, or the demo shop's example."""

    def __init__(self, opened: OpenShop) -> None:
        self.example = opened.folder / "example" / "measured.csv"
        ways = [*([EXAMPLE] if self.example.is_file() else []), FILE]
        self.way = choice("How did it measure?", ways, ways[0], radio=True)
        self.file = SpectrumFile(opened.shop, "Choose the measured file", "Which spectrum")
        self.box = w.VBox([boxed(self.way), self.file.box])
        self.way.observe(lambda _: self._shown(), names="value")
        self._shown()

    def readings(self) -> Array:
        """The readings (n_readings, n_wl)."""
        if self.way.value == EXAMPLE:
            return read_spectrum(self.example)[0].readings
        return self.file.readings()[1]

    def changing(self) -> list[Any]:
        """The widgets that change which measurement is meant."""
        return [self.way, self.file.names]

    def empty(self) -> None:
        """Ask for a new file."""
        self.way.value = FILE
        self.file.empty()

    def _shown(self) -> None:
        self.file.box.layout.display = None if self.way.value == FILE else "none"


class CheckForm:
    """Its widgets."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.problems, self.results = alert(), area()
        self.picker = TargetPicker(opened, start, lab=False)
        self.measured = MeasuredPicker(opened)
        self.look = button("Is it near enough?", self.judge, self.problems, main=True)
        on_change([*self.picker.changing(), *self.measured.changing()], self._aged)
        self.box = form(
            section("1. The colour that was wanted", self.picker.box),
            section("2. The drawdown, cured and cool", self.measured.box),
            section("3. The verdict", self.look, self.problems, self.results),
            name="check",
        )

    def judge(self) -> None:
        """Show the verdict."""
        self.results.value = ""
        name, R = self.picker.spectrum()
        put(self.results, check_parts(self.opened.shop, name, R, self.measured.readings()))

    def _aged(self) -> None:
        self.results.value = self.problems.value = ""


def check_parts(shop: Shop, name: str, target_R: Array, readings: Array) -> list[Part]:
    """Pass or fail, by how much and in which direction, under each light."""
    if readings.ndim != 2:
        raise InputError("a drawdown is one or more readings")
    verdict = judged(
        target_R,
        readings,
        lights=shop.lights,
        observer=shop.observer,
        tolerance_de00=shop.tolerance_de00,
    )
    R, light = readings.mean(axis=0), shop.lights[0]
    word = "PASS" if verdict.passed else "FAIL"
    head = (
        f"{word}: dE00 {verdict.de00[0]:.2f} under {light}, tolerance {shop.tolerance_de00:g}. "
        f"Beside {name} the drawdown is: {verdict.words[0]}."
    )
    seen = compare(target_R, [("drawdown", R)], lights=shop.lights, observer=shop.observer)
    rows = tuple(
        (each, f"{e:.2f}", *(f"{v:+.2f}" for v in d), words)
        for each, e, d, words in zip(
            verdict.lights, verdict.de00, verdict.delta, verdict.words, strict=True
        )
    )
    colours = hex_colour(target_R, light, shop.observer), hex_colour(R, light, shop.observer)
    parts: list[Part] = [
        head,
        edge_to_edge(colours[0], [colours[1]], ["the drawdown"], f"Above: {name}"),
        Table(head=("Light", "dE00", "dL*", "dC*", "dH*", "In words"), rows=rows, words=(5,)),
        drawn(
            lambda ax: ab_plane(ax, seen, tolerance_de00=shop.tolerance_de00),
            f"a* and b* of target and drawdown. {head}",
        ),
        drawn(
            lambda ax: LC_plane(ax, seen, tolerance_de00=shop.tolerance_de00),
            f"L* and C* of target and drawdown. {head}",
        ),
        drawn(lambda ax: spectra(ax, seen), "Reflectance of target and drawdown"),
    ]
    if verdict.spread_de00 is not None and len(readings) > 1:
        parts.append(
            f"{len(readings)} readings, on average dE00 {verdict.spread_de00:.2f} from their mean."
        )
    return parts
