"""Parts that the forms share: fields with their fault beside them, work that can be stopped.

A callback of a widget that fails shows nothing in a notebook, and a number field of a
browser reads 12,5 as 125.  So every callback goes through `safe`, and amounts are typed
into text fields that are read by `files.amounts`.

JupyterLab may hand messages to several threads of the kernel (its "subshells"), so that a press
comes in while the choice before it is still at work.  Callbacks wait for each other here.
"""

import os
import threading
from collections.abc import Callable, Sequence
from html import escape
from typing import Any, TypeVar

import ipywidgets as w

from matchkit.faults import BadInput, briefly
from matchkit.files.amounts import parse_amount
from matchkit.forms.show import Part, html_of

__all__ = [
    "Field",
    "Runner",
    "alert",
    "amount_field",
    "area",
    "boxed",
    "button",
    "choice",
    "folded",
    "form",
    "number_field",
    "on_change",
    "put",
    "raising",
    "read",
    "row",
    "safe",
    "section",
    "tell",
]

T = TypeVar("T")
ONE_AT_A_TIME = threading.RLock()
STYLE = """
.mk { --jp-widgets-font-size: 15px; --jp-widgets-inline-height: 34px;
  --jp-widgets-inline-width: 19em; max-width: 60em; font-size: 15px; line-height: 1.45;
  padding: 4px 4px 12px; overflow: visible; }
.mk .widget-html, .mk .widget-html-content { line-height: 1.45; font-size: 15px; height: auto;
  overflow: visible; }
.mk .widget-box { overflow: visible; min-width: 0; max-width: 100%; }
.mk .widget-html { min-width: 0; max-width: 100%; width: 100%; }
.mk .widget-html-content { min-width: 0; max-width: 100%; }
.mk-row > .widget-html { width: auto; }
.mk-scroll { overflow-x: auto; max-width: 100%; }
.mk h3 { font-size: 18px; margin: 14px 0 4px; }
.mk p { margin: 4px 0; max-width: 46em; }
.mk img { height: auto; margin: 6px 12px 6px 0; background: #fff; vertical-align: top; }
.mk-wide { width: 46em; max-width: 100%; display: block; }
.mk-half { width: 26em; max-width: 100%; }
.mk-row { flex-flow: row wrap; align-items: flex-start; gap: 4px 20px; }
.mk-field { margin: 2px 0; max-width: 100%; }
.mk-field > .widget-inline-hbox, .mk-field > .widget-inline-vbox { flex-direction: column;
  align-items: stretch; height: auto; max-width: 100%; }
.mk-field .widget-label { width: auto; text-align: left; height: auto; line-height: 1.3;
  white-space: normal; overflow: visible; font-weight: 600; padding: 2px 0; }
.mk-field select { flex: none; height: 36px; font-size: 15px; }
.mk-field .widget-slider { flex-flow: row wrap; }
.mk-field .widget-slider .widget-label { flex: 0 0 100%; }
.mk-field .widget-slider .slider-container { flex: 1 1 12em; height: 34px; display: flex;
  flex-direction: column; justify-content: center; }
.mk-short { width: max-content; } .mk-short .widget-text { width: auto; }
.mk-short input { width: 9em; align-self: flex-start; }
.mk .widget-checkbox { width: auto; min-width: 11em; height: auto; padding: 4px 0;
  margin: 0; line-height: 1.3; }
.mk .widget-checkbox label, .mk .widget-radio-box label { display: flex; align-items: center;
  gap: 8px; font-weight: normal; }
.mk .widget-radio-box label { flex-direction: row-reverse; justify-content: flex-end; }
.mk .mk-table .mk-w { min-width: 7em; }
.mk .mk-table td.mk-n { white-space: nowrap; }
.mk input[type=radio], .mk input[type=checkbox] { flex: none; margin: 0; align-self: center; }
.mk .widget-radio-box { flex-flow: row wrap; gap: 2px 18px; margin: 0; height: auto; }
.mk .widget-radio, .mk .widget-radio-box label { width: auto; }
.mk .widget-radio-box label { height: auto; min-height: 28px; line-height: 1.4; margin: 0; }
.mk input[type=radio], .mk input[type=checkbox] { width: 18px; height: 18px; }
.mk button.jupyter-button { height: auto; min-height: 36px; padding: 4px 16px; font-size: 15px;
  width: auto; max-width: 100%; white-space: normal; line-height: 1.3; align-self: flex-start;
  border: 1px solid currentColor; margin: 6px 8px 6px 0; }
.mk button.mk-main { background: #1d4e6b; color: #fff; border-color: #1d4e6b; font-weight: 600; }
.mk button:disabled { opacity: .45; }
.mk :focus-visible { outline: 3px solid #c2560c !important; outline-offset: 2px; }
.mk-alert, .mk-fault { border-left: 5px solid #a11212; padding: 4px 10px; background: #fdecec;
  color: #4a0808; max-width: 44em; }
.mk-fault { max-width: 20em; font-size: 14px; padding: 2px 8px; }
.mk-quiet { font-size: 14px; opacity: .85; }
.mk-done, .mk-look { padding: 4px 10px; max-width: 44em; overflow-wrap: anywhere; }
.mk-done { border-left: 5px solid #24613c; background: #eaf5ee; color: #12321f; }
.mk-look { border-left: 5px solid #a86a00; background: #fdf3dc; color: #3d2800; }
.mk progress { width: 18em; max-width: 100%; height: 14px; vertical-align: middle; }
.mk table.mk-table { border-collapse: collapse; margin: 8px 0; font-size: 15px; table-layout: auto;
  width: auto; max-width: 100%; }
.mk .mk-table caption { text-align: left; white-space: nowrap; font-weight: 600;
  padding: 2px 0; caption-side: top; }
.mk .mk-table th, .mk .mk-table td { text-align: left; padding: 4px 14px 4px 0; border: 0;
  border-bottom: 1px solid #b9bec3; vertical-align: top; font-weight: normal; max-width: 26em;
  white-space: normal; }
.mk .mk-table thead th { font-size: 14px; font-weight: 600; vertical-align: bottom; }
.mk .mk-table .mk-n { text-align: right; font-variant-numeric: tabular-nums; }
.mk-page iframe { width: 100%; max-width: 150mm; height: 36em; border: 1px solid #777;
  background: #fff; display: block; }
"""


def raising() -> bool:
    """Whether a fault of the program goes on to whoever called: set by the tests."""
    return bool(os.environ.get("MATCHKIT_FORMS_RAISE"))


# ---- what is seen -------------------------------------------------------------------------


def form(*children: Any, name: str) -> Any:
    """The whole form, as one widget; `name` is read aloud by a screen reader."""
    style = w.HTML(f"<style>{STYLE}</style>")
    style.layout.display = "none"
    # A style in a part that is not displayed still counts in every browser.
    box = w.VBox([style, *children])
    box.add_class("mk")
    box.add_class("mk-" + name)
    return box


def section(title: str, *children: Any) -> Any:
    """A step of a form: its title, then its parts below each other."""
    return w.VBox([w.HTML(f"<h3>{escape(title)}</h3>"), *children])


def row(*children: Any) -> Any:
    """Parts side by side; they go on below where the screen is narrow or enlarged."""
    box = w.Box(list(children))
    box.add_class("mk-row")
    return box


def area() -> Any:
    """A place for results."""
    return w.HTML("")


def alert() -> Any:
    """A place for what went wrong; a screen reader reads it at once."""
    return w.HTML("")


def put(place: Any, parts: Sequence[Part]) -> None:
    """Show the parts there."""
    place.value = html_of(parts)


def tell(place: Any, lines: Sequence[str] | str, kind: str = "alert") -> None:
    """Say lines there; `kind` is "alert" (wrong), "done", "look" (at this) or "quiet"."""
    lines = [lines] if isinstance(lines, str) else lines
    role = "alert" if kind == "alert" else "status"
    inner = "<br>".join(escape(line) for line in lines)
    place.value = f'<div role="{role}" class="mk-{kind}">{inner}</div>' if inner else ""


def button(words: str, work: Callable[[], None], problems: Any, *, main: bool = False) -> Any:
    """A button; what goes wrong is told in `problems`."""
    each = w.Button(description=words)
    if main:
        each.add_class("mk-main")
    each.on_click(safe(work, problems))
    return each


def choice(label: str, options: Sequence[Any], value: Any = None, *, radio: bool = False) -> Any:
    """One of several: a list to open, or buttons that are all seen."""
    kind = w.RadioButtons if radio else w.Dropdown
    given = {} if value is None else {"value": value}
    return kind(options=options, description=label, **given)


def folded(words: str, *children: Any) -> Any:
    """Parts that are seen after a press on a button, which says `words`."""
    inside = w.VBox(list(children))
    inside.layout.display = "none"
    each = w.ToggleButton(description=f"Show {words}")

    def turn(_: object) -> None:
        inside.layout.display = None if each.value else "none"
        each.description = f"{'Hide' if each.value else 'Show'} {words}"

    each.observe(turn, names="value")
    return w.VBox([each, inside])


def boxed(widget: Any) -> Any:
    """A widget with its label above it."""
    box = w.VBox([widget])
    box.add_class("mk-field")
    return box


# ---- callbacks ----------------------------------------------------------------------------


def on_change(widgets: Sequence[Any], work: Callable[[], None]) -> None:
    """Do `work`, which can't fail, whenever one of the widgets changes."""
    for each in widgets:
        each.observe(lambda _: alone(work), names="value")


def alone(work: Callable[[], None]) -> None:
    """Do `work` while no other callback is at work."""
    with ONE_AT_A_TIME:
        work()


def safe(work: Callable[[], None], problems: Any) -> Callable[..., None]:
    """`work` as a callback whose errors are seen in `problems`."""

    def run(*_: object) -> None:
        problems.value = ""
        try:
            alone(work)
        except Exception as error:
            tell(problems, said(error))
            if raising() and not isinstance(error, BadInput):
                raise

    return run


def said(error: Exception) -> list[str]:
    """What a person reads about an error."""
    if isinstance(error, BadInput):
        return briefly(error.faults)
    return [
        "This is a fault of the program, not of what you entered; nothing was saved.",
        f"Please pass this line on: {type(error).__name__}: {error}",
    ]


# ---- fields -------------------------------------------------------------------------------


class Field:
    """A labelled text field; what is wrong with its entry stands below it."""

    def __init__(
        self, label: str, value: str, parse: Callable[[str], Any], short: bool = True
    ) -> None:
        self.text = w.Text(value=value, description=label, continuous_update=False)
        self.parse = parse
        self.problem = alert()
        self.box = w.VBox([self.text, self.problem])
        self.box.add_class("mk-field")
        if short:
            self.box.add_class("mk-short")
        self.text.observe(lambda _: self.look(), names="value")

    def look(self) -> list[str]:
        """Read the entry; its faults, which are shown too."""
        try:
            self.parse(self.text.value)
        except BadInput as error:
            inner = "<br>".join(escape(line) for line in error.faults)
            self.problem.value = f'<div role="alert" class="mk-fault">{inner}</div>'
            return [f"{self.text.description}: {line}" for line in error.faults]
        self.problem.value = ""
        return []

    @property
    def value(self) -> Any:
        """The entry, read; BadInput if it can't be."""
        return self.parse(self.text.value)


def amount_field(
    label: str, value: str = "", *, most: float = float("inf"), empty: bool = False
) -> Field:
    """A field for grams or percents above 0; `empty`: may stay empty, which is None."""

    def parse(text: str) -> float | None:
        if empty and not text.strip():
            return None
        amount = parse_amount(text)
        if amount == 0:
            raise BadInput("0 is nothing; write more than 0")
        if amount > most:
            raise BadInput(f"{text.strip()} is too much; at most {most:g}")
        return amount

    return Field(label, value, parse)


def number_field(label: str, value: str, low: float, high: float) -> Field:
    """A field for a number that may be negative, such as a* and b*."""

    def parse(text: str) -> float:
        text = text.strip().replace("\N{MINUS SIGN}", "-")
        sign = -1.0 if text.startswith("-") else 1.0
        number = sign * parse_amount(text[1:] if text[:1] in "+-" else text)
        if not low <= number <= high:
            raise BadInput(f"{text} is not from {low:g} to {high:g}")
        return number

    return Field(label, value, parse)


def read(*fields: Field) -> list[Any]:
    """The values of all fields, or every fault in them at once."""
    faults = [fault for field in fields for fault in field.look()]
    if faults:
        raise BadInput(faults)
    return [field.value for field in fields]


# ---- work that takes a while --------------------------------------------------------------


class _Stopped(Exception):
    """The person pressed Stop."""


class Runner:
    """A button that starts long work beside one that stops it; progress in between.

    `prepare` reads the form and gives the work, which is called with a progress function;
    `done` gets its answer.  A stopped work's answer is thrown away.
    """

    def __init__(
        self,
        words: str,
        prepare: Callable[[], Callable[[Callable[[int, int], None]], T]],
        done: Callable[[T], None],
        problems: Any,
        what: str,
    ) -> None:
        self.start = button(words, self._begin, problems, main=True)
        self.stop = button("Stop", self._halt, problems)
        self.stop.disabled = True
        self.note = area()
        self.box = row(self.start, self.stop, self.note)
        self._prepare, self._done, self._problems, self._what = prepare, done, problems, what
        self._job = 0
        self._thread: threading.Thread | None = None
        self._error: Exception | None = None

    def wait(self) -> None:
        """Until the work is over; raises what went wrong with it, BadInput aside."""
        if self._thread is not None:
            self._thread.join()
        if self._error is not None:
            raise self._error

    def _begin(self) -> None:
        work = self._prepare()
        self._job += 1
        self._busy(True)
        tell(self.note, "Working ...", "quiet")
        self._thread = threading.Thread(target=self._run, args=(self._job, work), daemon=True)
        self._thread.start()

    def _halt(self) -> None:
        self._job += 1
        self._busy(False)
        tell(self.note, "Stopped. Nothing was changed.", "quiet")

    def _busy(self, busy: bool) -> None:
        self.start.disabled, self.stop.disabled = busy, not busy

    def _run(self, job: int, work: Callable[[Callable[[int, int], None]], Any]) -> None:
        def progress(done: int, total: int) -> None:
            if job != self._job:
                raise _Stopped
            self.note.value = (
                f'<progress value="{done}" max="{total}" aria-label="progress"></progress> '
                f"{done:,} of {total:,} {escape(self._what)}"
            )

        try:
            answer = work(progress)
            if job == self._job:
                self.note.value = ""
                self._done(answer)
        except _Stopped:
            return
        except Exception as error:
            if job == self._job:
                self.note.value = ""
                tell(self._problems, said(error))
            self._error = error if raising() and not isinstance(error, BadInput) else None
        finally:
            if job == self._job:
                self._busy(False)
