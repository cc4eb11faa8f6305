"""A whole job on invented inks, in which something goes wrong."""

from dataclasses import replace
from typing import Any

import ipywidgets as w
import numpy as np

from matchkit.arrays import Array
from matchkit.errors import InputError
from matchkit.forms import parts as ui
from matchkit.forms.learner import LearnerField, today
from matchkit.practice import incidents, job, looks
from matchkit.practice.hints import Hint, again_from, finish, hint, take
from matchkit.practice.safety import Safety
from matchkit.practice.simulated_shop import BEFORE, OPPOSITE, practice_shop
from matchkit.report.practice import job_parts, outcome_parts
from matchkit.workflows.practising import keep_job


class PracticeJobForm:
    """The form's widgets, the job, and the safety question that waits for an answer."""

    def __init__(self, seed: int) -> None:
        self.batch: job.PracticeBatch = job.start(practice_shop(), seed=seed)
        self.asked: Safety | None = None
        self.kept = False  # of this job
        self.problems, self.note = ui.area(), ui.area()
        self.state, self.end, self.safety_words = ui.area(), ui.area(), ui.area()
        self.who = LearnerField(self.problems, lambda: None)
        names = list(self.batch.shop.bench.names)
        self.ink, self.grams = ui.choice("Ink", names, names[0]), ui.amount_field("Grams")
        self.seconds = ui.amount_field("Seconds", f"{job.LONG_ENOUGH_S:g}")
        self.number = ui.amount_field("Job number", f"{seed}", most=10**6)
        self.at = ui.choice("Look", [(words, key) for key, (words, _) in incidents.LOOKS.items()])
        self.way = ui.choice("The addition will make it", ["", *OPPOSITE], "")
        sizes = [(f"about {size:g} dE00", size) for size in job.SIZES_DE00]
        self.far = ui.choice("by", sizes, job.SIZES_DE00[1])
        self.cause = ui.choice(
            "What went wrong here?",
            [("", None), *((each.name, each.key) for each in incidents.INCIDENTS)],
        )
        self.again = ui.choice("Play again from", [])
        self.safety = ui.choice("Choose", [], radio=True)
        self.reply = ui.button("Answer", self._answer, self.problems, main=True)
        self.asking = ui.below(self.safety_words, ui.boxed(self.safety), self.reply)
        self.guessing = ui.row(ui.boxed(self.way), ui.boxed(self.far))
        self.back = ui.row(
            ui.boxed(self.again), ui.button("Play again from here", self._again, self.problems)
        )
        self.box = ui.form(
            w.HTML(f'<p class="mk-quiet">{BEFORE}</p>'),
            self.who.box,
            ui.row(self.number.box, ui.button("Start this job", self._start, self.problems)),
            ui.section("The job", self.state),
            ui.section(
                "Your move",
                ui.row(ui.boxed(self.at), self._move("Look there", "look")),
                self.guessing,
                ui.row(
                    ui.boxed(self.ink),
                    self.grams.box,
                    self._move("Pour it in", "weigh"),
                    ui.button("Pour the ticket", self._ticket, self.problems),
                ),
                ui.row(self.seconds.box, self._move("Stir", "stir")),
                ui.row(
                    self._move("Draw down and cure", "drawdown"), self._move("Measure", "measure")
                ),
                ui.row(
                    ui.button("What would you do? (costs a point)", self._hint, self.problems),
                    ui.button("Do that for me (costs a point)", self._take, self.problems),
                ),
                ui.row(ui.boxed(self.cause), ui.button("Finish", self._finish, self.problems)),
            ),
            self.problems,
            self.note,
            self.asking,
            self.end,
            self.back,
            name="practise-job",
        )
        self._restart(self.batch)

    def _move(self, words: str, action: str) -> Any:
        return ui.button(words, lambda: self._do(action), self.problems)

    def _do(self, action: str) -> None:
        """One move of the learner's, unless a safety question comes first."""
        if self._first(action):
            return
        grams = ((self.ink.value, ui.read(self.grams)[0]),) if action == "weigh" else ()
        self._take_move(
            Hint(
                action=action,
                grams=grams,
                seconds=ui.read(self.seconds)[0] if action == "stir" else 0.0,
                at=self.at.value,
            )
        )

    def _ticket(self) -> None:
        """The whole ticket, in one go; its rest where some of it is in already."""
        if self._first("weigh"):
            return
        rest: Array = np.maximum(job.BATCH_G * self.batch.ticket - self.batch.shown_g, 0.0).round(2)
        self._take_move(Hint(action="weigh", grams=job.named(self.batch, rest)))

    def _take_move(self, move: Hint) -> None:
        batch = self.batch
        if move.action in ("weigh", "add") and batch.readings and batch.guess is None:
            if not self.way.value:
                raise InputError("before you add: choose which way it will move the colour")
            batch = job.expect(batch, self.way.value, self.far.value)
        self._moved(take(batch, move))

    def _first(self, action: str) -> bool:
        """Whether a safety question comes first; it is then shown."""
        self.asked = looks.asked_before(self.batch, action)
        self.note.value = ""
        self.asking.layout.display = None if self.asked else "none"
        if self.asked is None:
            return False
        ui.put(self.safety_words, ["Before hands go near it:", self.asked.question])
        ui.tell(self.note, "First answer the question below, then make your move again.", "look")
        self.safety.options = [(text, k) for k, text in enumerate(self.asked.choices)]
        self.safety.value = None
        return True

    def _answer(self) -> None:
        if self.asked is None or self.safety.value is None:
            raise InputError("nothing is chosen yet: choose an answer first")
        right = self.safety.value == self.asked.answer
        self.batch, words = looks.answer_safety(self.batch, self.asked.key, self.safety.value)
        if right:
            ui.tell(self.note, f"{words} Now make your move.", "done")
            self.asking.layout.display = "none"
        else:
            ui.tell(self.note, words)

    def _hint(self) -> None:
        advice = hint(self.batch)
        self.batch = replace(self.batch, hints=self.batch.hints + 1)
        grams = ", ".join(f"{name} {g:.2f} g" for name, g in advice.grams)
        seconds = f"{advice.seconds:g} s" if advice.seconds else ""
        at = incidents.LOOKS[advice.at][0] if advice.at else ""
        parts = [part for part in (grams or seconds or at, advice.why) if part]
        ui.tell(self.note, f"{advice.action}: {'. '.join(parts)}", "quiet")

    def _take(self) -> None:
        """The move that the hint says."""
        advice = hint(self.batch)
        if advice.action == "finish":
            self._finish()
        elif not self._first(advice.action):
            self._moved(replace(take(self.batch, advice), hints=self.batch.hints + 1))

    def _moved(self, batch: job.PracticeBatch) -> None:
        self.batch = batch
        self.end.value = ""
        last = batch.moves[-1]
        ui.tell(self.note, f"{last.action}: {last.words}", "done")
        self._show()

    def _finish(self) -> None:
        """The account; the job is kept once, for who has a name."""
        if self.cause.value is None:
            raise InputError("before you finish: choose what went wrong here")
        found = finish(self.batch, self.cause.value)
        if not self.kept:
            self.who.learner = keep_job(
                self.who.now(), self.batch, found, self.cause.value, today()
            )
            self.kept = True
        ui.put(self.end, outcome_parts(self.batch, found))
        moves = enumerate(self.batch.moves)
        self.again.options = [(f"before move {k + 1}: {m.action}", k) for k, m in moves]
        if found.costliest_move is not None:
            self.again.value = found.costliest_move
        self.back.layout.display = None

    def _again(self) -> None:
        """Play the job again from before a move; what comes is not counted."""
        if self.again.value is not None:
            self.kept = True
            self._restart(again_from(self.batch, self.again.value), kept=True)

    def _start(self) -> None:
        seed = ui.read(self.number)[0]
        if seed != int(seed):
            raise InputError(f"Job number: {seed:g} is no whole number")
        self._restart(job.start(practice_shop(), seed=int(seed)))

    def _restart(self, batch: job.PracticeBatch, *, kept: bool = False) -> None:
        self.batch, self.kept, self.cause.value = batch, kept, None
        self.note.value = self.end.value = ""
        self.asking.layout.display = self.back.layout.display = "none"
        self._show()

    def _show(self) -> None:
        self.way.value = ""
        self.guessing.layout.display = None if self.batch.readings else "none"
        ui.put(self.state, job_parts(self.batch))
