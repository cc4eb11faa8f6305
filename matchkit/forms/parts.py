"""Parts that the forms share: fields with their fault beside them, work that can be stopped.

A callback of a widget that fails shows nothing in a notebook, and a number field of a
browser reads 12,5 as 125.  So every callback goes through `safe`, and amounts are typed
into text fields that are read by `files.amounts`.

JupyterLab may hand messages to several threads of the kernel (its "subshells"), so that a press
comes in while the choice before it is still at work.  Callbacks wait for each other here.
"""

import math
import os
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import Any, TypeVar

import ipywidgets as w

from matchkit.errors import InputError, briefly, plainly, raise_any
from matchkit.files.text import parse_amount, text_fault
from matchkit.forms.shops import STYLE
from matchkit.report.html import to_html
from matchkit.report.parts import Part, Picture

T = TypeVar("T")
ONE_AT_A_TIME = threading.RLock()
PX_PER_IN = 72 * 11 / 8.5  # of a picture: its smallest type, 8.5 points, is 11 px high
MOST_IN = [math.inf]  # how wide pictures are drawn at most
DOUBLE_S = 0.4  # a press that comes so soon after the last was done is the second of a double one


def raising() -> bool:
    """Whether a fault of the program goes on to whoever called, and no press is too soon.

    Set by the tests.
    """
    return bool(os.environ.get("MATCHKIT_FORMS_RAISE"))


# ---- what is seen -------------------------------------------------------------------------


def form(*children: Any, name: str) -> Any:
    """The whole form, as one widget; `name` is read aloud by a screen reader."""
    style = w.HTML(f"<style>{STYLE}</style>")
    style.layout.display = "none"
    # A style in a part that is not displayed still counts in every browser.
    box = below(style, *children)
    box.add_class("mk")
    box.add_class("mk-" + name)
    return box


def section(title: str, *children: Any) -> Any:
    """A step of a form: its title, then its parts below each other."""
    return below(w.HTML(f"<h3>{escape(title)}</h3>"), *children)


def below(*children: Any) -> Any:
    """Parts below each other."""
    return w.VBox(list(children))


def row(*children: Any) -> Any:
    """Parts side by side; they go on below where the screen is narrow or enlarged."""
    box = w.Box(list(children))
    box.add_class("mk-row")
    return box


def area() -> Any:
    """A place for results, or for what went wrong."""
    return w.HTML("")


def put(place: Any, parts: Sequence[Part], *, below: str = "") -> None:
    """Show the parts there, `below` what was told (HTML); words and figures wait for no picture.

    What was emptied or filled anew while a picture was drawn stays as it is.
    """
    if any(isinstance(part, Picture) and part.draw for part in parts):
        words = place.value = below + to_html(parts, drawn=False, most_in=MOST_IN[0])
        drawn = below + to_html(parts, most_in=MOST_IN[0])
        with ONE_AT_A_TIME:
            place.value = drawn if place.value == words else place.value
    else:
        place.value = below + to_html(parts, most_in=MOST_IN[0])


def screen(wide_px: float) -> None:
    """From now on pictures are drawn for a page with so much room across."""
    MOST_IN[0] = wide_px / PX_PER_IN


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
    each.on_click(safe(work, problems, wait_s=DOUBLE_S))
    return each


def choice(label: str, options: Sequence[Any], value: Any = None, *, radio: bool = False) -> Any:
    """One of several: a list to open, or buttons that are all seen."""
    kind = w.RadioButtons if radio else w.Dropdown
    given = {} if value is None else {"value": value}
    return kind(options=options, description=label, **given)


def tick(words: str, value: bool = False) -> Any:
    """A box to tick."""
    return w.Checkbox(value=value, description=words, indent=False)


def folded(words: str, *children: Any, make: Callable[[], Any] | None = None) -> Any:
    """Parts that are seen after a press on a button, which says `words`.

    `make` makes them at the first press: a page with many of them opens sooner.
    """
    inside = w.VBox(list(children))
    inside.layout.display = "none"
    each = w.ToggleButton(description=f"Show {words}")

    def turn(_: object) -> None:
        if make and not inside.children:
            inside.children, each.made = [make()], True
        inside.layout.display = None if each.value else "none"
        each.description = f"{'Hide' if each.value else 'Show'} {words}"

    each.observe(turn, names="value")
    return below(each, inside)


def shown_by(chosen: Any, parts: Mapping[Any, Any]) -> None:
    """Of parts by what is chosen, from now on only that part is seen."""

    def show(_: object = None) -> None:
        for value, part in parts.items():
            part.layout.display = None if chosen.value == value else "none"

    chosen.observe(show, names="value")
    show()


def boxed(*widgets: Any) -> Any:
    """A widget with its label above it, and what belongs below it."""
    box = below(*widgets)
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


def safe(work: Callable[[], None], problems: Any, *, wait_s: float = 0.0) -> Callable[..., None]:
    """`work` as a callback whose errors are seen in `problems`.

    For `wait_s` after it was done it does nothing, and what it told stays in sight.
    """
    ended = -math.inf

    def run(*_: object) -> None:
        nonlocal ended
        with ONE_AT_A_TIME:
            if time.monotonic() - ended < wait_s and not raising():
                return
            problems.value = ""
            try:
                work()
            except Exception as error:
                tell(problems, said(error))
                if raising() and plainly(error) is None:
                    raise
            finally:
                ended = time.monotonic()

    return run


def said(error: Exception) -> list[str]:
    """What a person reads about an error."""
    if told := plainly(error):
        return briefly(told.faults)
    return [
        "This is an error in the program, not in what you entered; nothing was saved.",
        f"Please report this line: {type(error).__name__}: {error}",
    ]


# ---- fields -------------------------------------------------------------------------------


class Field:
    """A labelled text field; what is wrong with its entry stands below it."""

    def __init__(
        self, label: str, value: str, parse: Callable[[str], Any], short: bool = True
    ) -> None:
        self.text = w.Text(value=value, description=label, continuous_update=False)
        self.parse = parse
        self.problem = area()
        self.box = boxed(self.text, self.problem)
        if short:
            self.box.add_class("mk-short")
        self.text.observe(lambda _: self.look(), names="value")

    def look(self) -> list[str]:
        """Read the entry; its faults, which are shown too."""
        try:
            self.parse(self.text.value)
        except InputError as error:
            inner = "<br>".join(escape(line) for line in error.faults)
            self.problem.value = f'<div role="alert" class="mk-fault">{inner}</div>'
            return [f"{self.text.description}: {line}" for line in error.faults]
        self.problem.value = ""
        return []

    @property
    def value(self) -> Any:
        """The entry, read; InputError if it can't be."""
        return self.parse(self.text.value)


def amount_field(
    label: str,
    value: str = "",
    *,
    most: float = float("inf"),
    empty: bool = False,
    zero: bool = False,
) -> Field:
    """A field for grams or percents above 0, or 0 with `zero`; `empty`: may stay empty: None."""

    def parse(text: str) -> float | None:
        if empty and not text.strip():
            return None
        amount = parse_amount(text, most=most)
        if amount == 0 and not zero:
            raise InputError("enter more than 0")
        if amount > most:
            raise InputError(f"{text.strip()} is too much; at most {most:g}")
        return amount

    return Field(label, value, parse)


def number_field(label: str, value: str, low: float, high: float) -> Field:
    """A field for a number that may be negative, such as a* and b*."""
    most = max(abs(low), abs(high))

    def parse(text: str) -> float:
        text = text.strip().replace("\N{MINUS SIGN}", "-")
        sign = -1.0 if text.startswith("-") else 1.0
        number = sign * parse_amount(text[1:] if text[:1] in "+-" else text, most=most)
        if not low <= number <= high:
            raise InputError(f"{text} is not from {low:g} to {high:g}")
        return number

    return Field(label, value, parse)


def name_field(who: str = "") -> Field:
    """The field for the name of who writes."""
    return Field("Your name", who, _name)


def _name(text: str) -> str:
    if not text.strip():
        raise InputError("write your name: every record is signed")
    if fault := text_fault(text):
        raise InputError(fault)
    return text.strip()


def read(*fields: Field) -> list[Any]:
    """The values of all fields, or every fault in them at once."""
    raise_any([fault for field in fields for fault in field.look()])
    return [field.value for field in fields]


def read_all(*entries: Callable[[], Any]) -> list[Any]:
    """What each of `entries` reads, or every fault in all of them at once."""
    values: list[Any] = []
    faults: list[str] = []
    for entry in entries:
        try:
            values.append(entry())
        except InputError as error:
            faults += error.faults
    raise_any(faults)
    return values


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
        """Until the work is over; raises what went wrong with it, InputError aside."""
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

    def aged(self) -> None:
        """What the work began with has changed: an answer to that would mislead."""
        if self.start.disabled:
            self._halt("Stopped, since an entry has changed. Press again.")

    def _halt(self, why: str = "Stopped. Nothing was changed.") -> None:
        self._job += 1
        self._busy(False)
        tell(self.note, why, "quiet")

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
            self._error = error if raising() and not isinstance(error, InputError) else None
        finally:
            if job == self._job:
                self._busy(False)
