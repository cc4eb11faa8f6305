"""What to add to a batch so that it comes in; round by round, odds before and after."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import ipywidgets as w
import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.tristimulus import Lab, de00, hex_colour
from matchkit.correcting.advice import verdict, worth_doing
from matchkit.correcting.correct import Correction, fewest_inks, nearest
from matchkit.correcting.correct import correct as smallest
from matchkit.correcting.diagnose import Belief, Round, infer, model_error_f
from matchkit.correcting.lots import for_palette
from matchkit.errors import InputError
from matchkit.files.recipe import read_recipe
from matchkit.files.spectrum import read_spectrum
from matchkit.fitting.fit import Fit
from matchkit.forms.begin import opened_form
from matchkit.forms.check import MeasuredPicker
from matchkit.forms.lots import Today, by_the_book, counted_on, lots_tick
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
    section,
    tell,
)
from matchkit.forms.rows import FormulaRows
from matchkit.forms.shops import EXAMPLE_BATCH, OpenShop, fit_of, keep
from matchkit.forms.targets import TargetPicker
from matchkit.matching.match import fractions_for, odds_of
from matchkit.matching.probability import chance_text, spread_of
from matchkit.matching.solve import Target, spectral_target
from matchkit.paper.addition_sheet import addition_html
from matchkit.paper.sheet import SHORT_CAUTIONS, grams_text
from matchkit.report.compared import edge_to_edge
from matchkit.report.parts import Page, Part, Table

__all__ = ["CorrectForm", "Job", "correct", "correct_parts", "corrections", "job_of"]

Array = NDArray[np.float64]

WAYS = {"smallest addition": smallest, "fewest inks": fewest_inks, "closest colour": nearest}


@dataclass(frozen=True, kw_only=True)
class Job:
    """A batch on the bench: what is thought of it after its rounds, and where it must go."""

    opened: OpenShop
    found: Fit
    before: Fit  # with the lots as they were known before this batch was measured
    target_name: str
    target: Target
    rounds: tuple[Round, ...]
    belief: Belief
    room_g: float


def correct(opened: OpenShop, target: str = "", batch: str = EXAMPLE_BATCH) -> Any:
    """The form; it starts with a colour of the shop's list and a batch that was saved."""
    return opened_form(opened, lambda: CorrectForm(opened, target, batch).box)


class CorrectForm:
    """Its widgets, the rounds so far, and the additions that were found last."""

    def __init__(self, opened: OpenShop, start: str = "", batch: str = "") -> None:
        self.opened = opened
        self.rounds: list[Round] = []
        self.job: Job | None = None
        self.ways: dict[str, Correction] = {}
        self.problems, self.results, self.slip, self.saved = alert(), area(), area(), area()
        self.picker = TargetPicker(opened, start, lab=False)
        self.rows = FormulaRows(opened, "grams", batch)
        self.room = amount_field("Room left in the container, grams", "", empty=True)
        self.measured = MeasuredPicker(opened)
        self.lots = lots_tick(opened)
        self.look = button("What should I add?", self.find, self.problems, main=True)
        self.way = choice("Which addition?", [], radio=True)
        self.save = button("Save the addition slip", self.write, self.problems, main=True)
        self.next = button("I have added it: next round", self.added, self.problems)
        self.chosen = w.VBox([boxed(self.way), row(self.save, self.next), self.saved, self.slip])
        self.chosen.layout.display = "none"
        self.round = area()
        on_change(
            [
                *self.picker.changing(),
                *self.rows.changing(),
                *self.measured.changing(),
                self.room.text,
                self.lots,
            ],
            self._forget,
        )
        self.box = form(
            section("1. The colour that was wanted", self.picker.box),
            section("2. What is in the bucket, grams", self.round, self.rows.box, self.room.box),
            section("3. How it measured, cured and cool", self.measured.box),
            section(
                "4. The addition", self.lots, self.look, self.problems, self.results, self.chosen
            ),
            name="correct",
        )

    def find(self) -> None:
        """Find what went wrong and what to add."""
        self._forget()
        faults: list[str] = []
        for entry in (self.rows.read, lambda: read(self.room)):
            try:
                entry()
            except InputError as error:
                faults += error.faults
        if faults:
            raise InputError(faults)
        palette, grams = self.rows.read()
        now = Round(grams=grams, R=self.measured.readings().mean(axis=0))
        series = next(s for s, f in self.opened.fits.items() if f.palette is palette)
        room = np.inf if self.room.value is None else self.room.value
        today = by_the_book(self.opened, learning=self.lots.value, measured=now.R)
        self.job = job_of(
            self.opened,
            self.opened.fits[series],
            self.picker.read(),
            [*self.rounds, now],
            room,
            today=today,
        )
        every = corrections(self.job)
        self.ways = worth_doing(every, float(grams.sum()))
        put(self.results, [*counted_on(today.words), *correct_parts(self.job, every)])
        self.way.options = list(self.ways)
        self.way.value = next(iter(self.ways), None)
        self.chosen.layout.display = None if self.ways else "none"

    def write(self) -> None:
        """Save the slip of the chosen addition, and show it ready to print."""
        job, addition = self._chosen()
        html = addition_html(
            job.found.palette.names,
            addition,
            job.target_name,
            job.target.light_names,
            self.opened.shop,
            date.today().isoformat(),
        )
        page = Page(title=f"Addition {job.target_name}", html=html)
        path = keep(page.title, ".html", page.html)
        tell(self.saved, f"Saved: {path.resolve()}", "done")
        put(self.slip, [page])

    def added(self) -> None:
        """The addition is in the bucket: ask for the next measurement."""
        job, addition = self._chosen()
        self.rounds = list(job.rounds)
        total = job.rounds[-1].grams + addition.additions_g
        held = {n: float(g) for n, g in zip(job.found.palette.names, total, strict=True) if g > 0}
        self.rows.fill(held)
        self.measured.empty()
        room = self.room.value
        if room is not None:
            self.room.text.value = f"{max(room - addition.added_g, 0.01):.6g}"
        self._forget()
        tell(
            self.round,
            f"Round {len(self.rounds) + 1}. The rows hold what is in the bucket now, and the room "
            "is what is left of it; change them if the balance showed something else. Then hand in "
            "the new measurement.",
            "quiet",
        )

    def _chosen(self) -> tuple[Job, Correction]:
        if self.job is None or self.way.value is None:
            raise InputError("there is no addition yet: press 'What should I add?' first")
        return self.job, self.ways[self.way.value]

    def _forget(self) -> None:
        self.job, self.ways = None, {}
        for place in (self.results, self.slip, self.saved, self.problems):
            place.value = ""
        self.chosen.layout.display = "none"


def job_of(
    opened: OpenShop,
    found: Fit,
    target: tuple[str, Target],
    rounds: Sequence[Round],
    room_g: float = np.inf,
    today: Today | None = None,
) -> Job:
    """What the rounds of a batch say about it; InputError if they can't belong to it.

    `found` is the fit as it was made; `today` says what is known of the lots since.
    """
    palette, before, known = found.palette, found, None
    if today is not None:
        opened = today.opened
        series = next(s for s, f in opened.fits.items() if f.palette.names == palette.names)
        before = opened.fits[series]
        known = for_palette(today.lots[series], palette) if today.lots else None
    spread = spread_of(palette, found.error_Lab, opened.shop.resolution_g)
    belief = infer(
        palette, rounds, spread, target=target[1], model_f=model_error_f(found), known=known
    )
    return Job(
        opened=opened,
        found=found,
        before=before,
        target_name=target[0],
        target=target[1],
        rounds=tuple(rounds),
        belief=belief,
        room_g=room_g,
    )


def corrections(job: Job) -> dict[str, Correction]:
    """The ways to correct that differ, by name; none where nothing is to be added."""
    ways: dict[str, Correction] = {}
    for name, how in WAYS.items():
        found = _correction(job, how, job.room_g)
        same = any(np.array_equal(found.additions_g, each.additions_g) for each in ways.values())
        if how is smallest and found.added_g == 0:
            break  # it is where a correction aims
        if found.added_g > 0 and not same:
            ways[name] = found
    return ways


def correct_parts(job: Job, ways: dict[str, Correction]) -> list[Part]:
    """Where the batch stands, what happened to it, and what each addition would bring."""
    light, tolerance = job.target.light_names[0], job.opened.shop.tolerance_de00
    measured = _measured(job)
    parts: list[Part] = [
        f"Now: dE00 {measured:.2f} under {light}, tolerance {tolerance:g}.",
        *_happened(job),
    ]
    if not ways:
        done = measured <= tolerance
        return [*parts, "Nothing to add." if done else "No addition brings it nearer."]
    batch_g = float(job.rounds[-1].grams.sum())
    free = _correction(job, smallest, np.inf) if job.room_g < np.inf else None
    if leave := verdict(ways, batch_g, job.room_g, free):
        parts.append(leave)
    if sound := worth_doing(ways, batch_g):
        parts += [_swatches(job, sound), *_additions(job, sound), _odds(job, sound)]
        parts.append(SHORT_CAUTIONS)
    return parts


def example_job(opened: OpenShop) -> Job:
    """The shop's example batch and its first proof."""
    folder = opened.folder / "example"
    target, measured = (read_spectrum(folder / f"{n}.csv")[0] for n in ("target", "measured"))
    written = read_recipe(folder / "weighed.csv", grams_only=True)
    found = fit_of(opened, written.inks[0])
    grams = fractions_for(found.palette, written.inks, written.grams or ()) * sum(
        written.grams or ()
    )
    wanted = spectral_target(target.R, opened.shop.lights, opened.shop.observer)
    return job_of(opened, found, (target.name, wanted), [Round(grams=grams, R=measured.R)])


def _correction(job: Job, how: Any, room_g: float) -> Correction:
    shop, palette = job.opened.shop, job.found.palette
    today = {ink.name: ink.stock_g for ink in shop.inks}
    stock = [today.get(name) for name in palette.names]
    found: Correction = how(
        palette,
        job.belief,
        job.target,
        spread_of(palette, job.found.error_Lab, shop.resolution_g),
        tolerance_de00=shop.tolerance_de00,
        resolution_g=shop.resolution_g,
        room_g=room_g,
        upper_g=np.array([np.inf if g is None else g for g in stock]),
    )
    return found


def _measured(job: Job) -> float:
    R, light = job.rounds[-1].R, job.target.lights[0]
    assert R is not None
    return float(de00(job.target.lab[0], Lab(R, light, job.target.observer)))


def _happened(job: Job) -> list[Part]:
    """Inks that look stronger or weaker than the lots that were fitted."""
    error = np.sqrt(np.diag(job.belief.covariance))
    lines: list[Part] = []
    for i in np.flatnonzero(job.belief.grams > 0):
        by = 100 * (job.belief.strengths[i] - 1)
        if abs(by) > max(1, 100 * error[i]):
            word = "strong" if by > 0 else "weak"
            name = job.found.palette.names[i]
            lines.append(
                f"{name} looks {abs(by):.0f} % too {word} (give or take {100 * error[i]:.0f})."
            )
    return lines


def _swatches(job: Job, ways: dict[str, Correction]) -> Part:
    light, observer = job.target.lights[0], job.target.observer
    R = job.rounds[-1].R
    assert R is not None and job.target.R is not None
    first = next(iter(ways.values()))
    below = [hex_colour(R, light, observer), hex_colour(first.R, light, observer)]
    names = [f"now: dE00 {_measured(job):.2f}", f"after: dE00 {first.de00[0]:.2f}"]
    above = hex_colour(job.target.R, light, observer)
    return edge_to_edge(
        above, below, names, f"Above: {job.target_name} under {job.target.light_names[0]}"
    )


def _additions(job: Job, ways: dict[str, Correction]) -> list[Part]:
    step = job.opened.shop.resolution_g
    tables: list[Part] = []
    for name, each in ways.items():
        order = np.argsort(-each.additions_g, kind="stable")
        rows = tuple(
            (job.found.palette.names[i], grams_text(float(each.additions_g[i]), step))
            for i in order
            if each.additions_g[i] > 0
        )
        caption = f"{name.capitalize()}: {grams_text(each.added_g, step)} g in all"
        tables.append(Table(head=("Add", "Grams"), rows=rows, caption=caption))
    return tables


def _odds(job: Job, ways: dict[str, Correction]) -> Table:
    """The chance before mixing, as the batch stands, and after each addition."""
    odds = odds_of(job.before, job.target, job.opened.shop)
    asked = odds(job.rounds[0].grams)
    still = _correction(job, smallest, 0.0)
    rows = [("as weighed, before it was measured", "", chance_text(asked))]
    rows.append(("as it is now", f"{_measured(job):.2f}", chance_text(still.chance_in_tolerance)))
    for name, each in ways.items():
        rows.append(
            (f"after the {name}", f"{each.de00[0]:.2f}", chance_text(each.chance_in_tolerance))
        )
    return Table(
        head=("Odds", "dE00", "Chance within tolerance"),
        rows=tuple(rows),
        caption="Before and after",
    )
