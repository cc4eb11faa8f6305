"""An instrument's file into the shop: look at it, say what it is of, bring it in."""

from typing import Any

import ipywidgets as w

from matchkit.errors import InputError
from matchkit.files.incoming import Bringing
from matchkit.forms import parts as ui
from matchkit.forms.begin import opened_form, quiet
from matchkit.forms.rows import HowRead
from matchkit.forms.shops import AGAIN, STAYS, OpenShop, handed_in, is_demo
from matchkit.report.plan import imported_parts, look_parts, waiting_line
from matchkit.workflows.fitting_inks import Look, bring, look_at, place_of
from matchkit.workflows.session import Notice, Session

CHOOSE = ("(choose)", "")
ALL = "\0all"  # no name in a file holds this character
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
    """The form's widgets."""

    def __init__(self, opened: OpenShop) -> None:
        self.opened = opened
        self.problems = ui.area()
        self.state, self.about, self.done = ui.area(), ui.area(), ui.area()
        self.seen: Look | None = None
        self.upload = w.FileUpload(
            accept="", multiple=False, description="Choose the instrument's file"
        )
        self.which = ui.choice("Bring in", [])
        self.of = ui.choice("It is the drawdown", [CHOOSE], "")
        self.existing = ui.choice(
            "Where there are readings already",
            [
                ("import nothing, and say so", "refuse"),
                ("average old and new", "add"),
                ("put the new in place of the old", "replace"),
            ],
            "refuse",
            radio=True,
        )
        self.index = ui.amount_field("Refractive index of the glossy films", "", most=3, empty=True)
        self.dull = ui.tick("Neither ink nor ground fluoresces")
        self.how = HowRead(self.take, self.problems)
        self.upload.observe(ui.safe(self._handed, self.problems), names="value")
        ui.on_change([self.which], self._which_changed)
        ui.on_change([self.of], self._shown)
        self.bring = ui.button("Bring them in", self.write, self.problems, main=True)
        self.choices = {
            "which": ui.boxed(self.which),
            "of": ui.boxed(self.of),
            "existing": ui.boxed(self.existing),
            "otherwise": ui.area(),
            "index": self.index.box,
            "dull": self.dull,
        }
        self.box = ui.form(
            *quiet(STAYS if is_demo(opened) else ""),
            ui.section("1. The file", self.state, self.upload, self.how.box, self.about),
            ui.section(
                "2. Into the shop",
                ui.row(self.choices["which"], self.choices["of"]),
                self.choices["existing"],
                self.choices["otherwise"],
                ui.row(self.choices["index"], self.choices["dull"]),
                self.bring,
                self.problems,
                self.done,
            ),
            name="readings",
        )
        self._look()
        self._shown()

    def _handed(self) -> None:
        self.how.new()
        self.index.text.value, self.dull.value, self.existing.value = "", False, "refuse"
        self.take()

    def take(self) -> None:
        """Look at the file that was handed in."""
        self.seen, self.about.value, self.done.value = None, "", ""
        try:
            if self.upload.value:
                self._look()
                session = self._session()
                with handed_in(self.upload.value[0]) as path:
                    if self.how.asks(session, path):
                        return
                    self.seen = look_at(path, session)
                self.how.offer([each.name for each in self.seen.seen.spectra])
                ui.tell(self.choices["otherwise"], self._otherwise(self.seen), "quiet")
                self._listed()
        finally:
            self._shown()

    def write(self) -> None:
        """Bring the readings into the shop's `spectra.csv`."""
        self.done.value = ""
        if self.seen is None:
            raise InputError(f"no file was read yet: press {self.upload.description!r} first")
        if is_demo(self.opened):
            ui.tell(self.done, STAYS, "quiet")
            return
        one = self.which.value != ALL
        if one and not self.of.value:
            raise InputError(f"choose which drawdown {self.which.value!r} is of")
        (index,) = ui.read(self.index)
        try:
            with handed_in(self.upload.value[0]) as path:
                how = Bringing(
                    name=self.which.value if one else None,
                    drawdown=self.of.value if one else None,
                    existing=self.existing.value,
                    skip_others=not one,
                    index=index,
                    not_fluorescent=self.dull.value,
                )
                done = bring(self._session(), path, how)
        except InputError as error:
            raise InputError([_here(line) for line in error.faults]) from None
        self.existing.value = "refuse"
        self._look()
        self._listed(self.which.value)
        self._shown()
        notes = [Notice(code="reading", text=note) for note in done.notes]
        ui.put(self.done, [*imported_parts(done), *notes, AGAIN])

    def _session(self) -> Session:
        return self.opened.session(scale=self.how.scale, repeats=self.how.repeats.value)

    def _look(self) -> None:
        """The folder as it is now: other forms and commands write to it too."""
        self.place = place_of(self.opened.session())
        ui.tell(self.state, waiting_line(self.place.waiting), "quiet")

    def _listed(self, before: str = "") -> None:
        """What of the file may be brought in, and a look at it."""
        assert self.seen is not None
        names = list(dict.fromkeys(each.name for each in self.seen.seen.spectra))
        ours = [name for name in names if self.place.called(name)]
        offered = [(name, name) for name in names]
        if ours and len(names) > 1:
            offered.insert(0, (f"all drawdowns of this shop ({len(ours)})", ALL))
        self.which.options = offered
        self.which.value = before if before in names else offered[0][1]
        self._which_changed()
        ui.put(self.about, look_parts(self.seen, self.place, bars=""))

    def _which_changed(self) -> None:
        """A name of the file is a drawdown's, or is to be given one; first those that wait."""
        last = [name for name in self.place.names if name not in self.place.waiting]
        offered = [CHOOSE, *((name, name) for name in (*self.place.waiting, *last))]
        if self.of.options != tuple(offered):
            self.of.options = offered
        self.of.value = self.place.called(self.which.value or "")
        self._shown()

    def _otherwise(self, look: Look) -> list[str]:
        """What may bring in a file that was measured otherwise than the shop measures."""
        shop = self.place.shop
        lines = [
            f"Measured otherwise than this shop, which measures {shop.geometry}, {shop.condition}."
        ]
        if look.index_helps:
            lines.append(
                "Glossy films can be converted: write their index, 1.5 for most resins"
                " (common practice, no source)."
            )
        if look.dull_helps:
            lines.append("Where nothing fluoresces, it does not matter how much UV there was.")
        return [*lines, "If that does not hold, measure again as the shop does."]

    def _shown(self) -> None:
        """Only the choices that the file and the shop leave open."""
        index, dull = (self.seen.index_helps, self.seen.dull_helps) if self.seen else (False, False)
        wanted = {
            "which": len(self.which.options) > 1,
            "of": self.which.value != ALL,
            "existing": bool(self._drawdowns() & set(self.place.measured)),
            "otherwise": index or dull,
            "index": index,
            "dull": dull,
        }
        for name, part in self.choices.items():
            part.layout.display = None if self.seen is not None and wanted[name] else "none"

    def _drawdowns(self) -> set[str]:
        """Those that the chosen readings are of."""
        if self.seen is not None and self.which.value == ALL:
            return {self.place.called(each.name) for each in self.seen.seen.spectra}
        return {self.of.value}


def _here(line: str) -> str:
    """A fault in the words of the form, not of a command."""
    for command, words in HERE:
        line = line.replace(command, words)
    return line
