"""Is it near enough?  A drawdown against its target, in ten seconds."""

from typing import Any

from matchkit.arrays import Array
from matchkit.files.spectrum import read_spectrum
from matchkit.forms import parts as ui
from matchkit.forms.begin import opened_form
from matchkit.forms.rows import SpectrumFile, TargetPicker
from matchkit.forms.shops import OpenShop
from matchkit.report.check import check_parts
from matchkit.workflows.checking import check as look

EXAMPLE, FILE = "the example's drawdown", "from a file of mine"


def check(opened: OpenShop, target: str = "") -> Any:
    """The form; `target` is the colour of the shop's list that it starts with."""
    return opened_form(opened, lambda: CheckForm(opened, target).box)


class MeasuredPicker:
    """How the drawdown measured: a file, or the demo shop's example."""

    def __init__(self, opened: OpenShop) -> None:
        self.example = opened.folder / "example" / "measured.csv"
        ways = [*([EXAMPLE] if self.example.is_file() else []), FILE]
        self.way = ui.choice("How did it measure?", ways, ways[0], radio=True)
        self.file = SpectrumFile(opened, "Choose the measured file", "Which spectrum")
        self.box = ui.below(ui.boxed(self.way), self.file.box)
        ui.shown_by(self.way, {FILE: self.file.box})

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


class CheckForm:
    """The form's widgets."""

    def __init__(self, opened: OpenShop, start: str = "") -> None:
        self.opened = opened
        self.problems, self.results = ui.area(), ui.area()
        self.picker = TargetPicker(opened, start)
        self.measured = MeasuredPicker(opened)
        self.look = ui.button("Is it near enough?", self.judge, self.problems, main=True)
        ui.on_change([*self.picker.changing(), *self.measured.changing()], self._aged)
        self.box = ui.form(
            ui.section("1. The colour that was wanted", self.picker.box),
            ui.section("2. The drawdown, cured and cool", self.measured.box),
            ui.section("3. The verdict", self.look, self.problems, self.results),
            name="check",
        )

    def judge(self) -> None:
        """Show the verdict."""
        self.results.value = ""
        session = self.opened.session()
        found = look(session, self.picker.wanted(session), self.measured.readings())
        ui.put(self.results, [*session.notices, *check_parts(found)])

    def _aged(self) -> None:
        self.results.value = self.problems.value = ""
