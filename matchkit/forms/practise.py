"""Practise: four kinds of exercise and a whole job, on invented inks, without spending any.

    from matchkit import forms
    forms.practise.see()

Numbers stand beside every colour, so that nothing hangs on a screen or an eye.  Answers are
kept in the folder `practice` beside the notebook, for who writes a name.
"""

from collections.abc import Sequence
from datetime import date
from typing import Any

import ipywidgets as w

from matchkit.errors import InputError
from matchkit.files.progress import progress_path
from matchkit.forms import parts as ui
from matchkit.practice.exercise import Exercise
from matchkit.practice.hints import Hint, finish, hint, take
from matchkit.practice.job import (
    LONG_ENOUGH_S,
    PracticeBatch,
    answer_safety,
    asked_before,
    start,
)
from matchkit.practice.kinds import TITLES, Standing
from matchkit.practice.safety import Safety
from matchkit.practice.simulated_shop import BEFORE, practice_shop
from matchkit.report.html import to_text
from matchkit.report.practice import (
    answer_parts,
    job_parts,
    outcome_parts,
    question_parts,
    standing_parts,
)
from matchkit.workflows.practising import (
    Learner,
    PracticeOptions,
    learner_of,
    mark_answers,
    practise,
)

FOLDER = "practice"


def see() -> Any:
    """See the difference between two swatches."""
    return ExerciseForm("see").box


def fix() -> Any:
    """Which ink fixes a batch, and how much of it."""
    return ExerciseForm("fix").box


def light() -> Any:
    """Will a match hold under the other light."""
    return ExerciseForm("light").box


def sums() -> Any:
    """Sums at the balance."""
    return ExerciseForm("sums").box


def job(seed: int = 1) -> Any:
    """A whole job, from an empty container to a batch in tolerance."""
    return PracticeJobForm(seed).box


class ExerciseForm:
    """The form's widgets, the exercise that is asked, and the answers so far."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self.who = Learner()
        self.given: Exercise | None = None
        self.problems, self.question = ui.alert(), ui.area()
        self.tip, self.verdict, self.stands = ui.area(), ui.area(), ui.area()
        self.learner = ui.Field("Your name (nothing is kept without one)", "", str)
        self.pick = ui.choice("Your answer", [], radio=True)
        self.look = ui.button("Mark my answer", self._mark, self.problems, main=True)
        self.ask = ui.button("Give me a hint", self._hint, self.problems)
        self.go_on = ui.button("Next one", self._next, self.problems)
        self.learner.text.observe(ui.safe(self._enter, self.problems), names="value")
        self.box = ui.form(
            w.HTML(f'<p class="mk-quiet">{BEFORE}</p>'),
            self.learner.box,
            ui.section(TITLES[kind], self.question, ui.boxed(self.pick)),
            ui.row(self.look, self.ask, self.go_on),
            self.problems,
            self.tip,
            self.verdict,
            self.stands,
            name=f"practise-{kind}",
        )
        self._next()

    def _next(self) -> None:
        """A new exercise, as hard as the answers so far say."""
        found = practise(PracticeOptions(kinds=(self.kind,)), self.who)
        self.given = found.exercises[0]
        self.tip.value = self.verdict.value = ""
        ui.put(self.question, question_parts(self.given))
        self.pick.options = [(each.text, k) for k, each in enumerate(self.given.choices)]
        self.pick.value = None
        self.look.disabled = False
        self._stand(found.standings)

    def _hint(self) -> None:
        if self.given is not None:
            ui.tell(self.tip, self.given.hint, "quiet")

    def _mark(self) -> None:
        """Mark the choice, once, and keep it for who has a name."""
        if self.given is None or self.pick.value is None:
            raise InputError("nothing is chosen yet: choose an answer first")
        chosen = int(self.pick.value)
        found = mark_answers([(self.given, chosen)], date.today().isoformat(), self.who)
        assert found.learner is not None
        self.who = found.learner
        self.look.disabled = True
        ui.put(self.verdict, [found.marks[0].words, *answer_parts(self.given, chosen)])
        self._stand(found.standings)

    def _enter(self) -> None:
        """Go on where the learner of that name stopped."""
        name = self.learner.text.value
        self.who = learner_of(progress_path(FOLDER, name)) if name.strip() else Learner()
        self._next()

    def _stand(self, standings: Sequence[Standing]) -> None:
        own = [each for each in standings if each.kind == self.kind]
        ui.tell(self.stands, to_text(standing_parts(own)), "quiet")


class PracticeJobForm:
    """The form's widgets, the job, and the safety question that waits for an answer."""

    def __init__(self, seed: int) -> None:
        self.batch: PracticeBatch = start(practice_shop(), seed=seed)
        self.asked: Safety | None = None
        self.problems, self.state, self.note, self.end = (
            ui.alert(),
            ui.area(),
            ui.alert(),
            ui.area(),
        )
        names = list(self.batch.shop.bench.names)
        self.ink, self.grams = ui.choice("Ink", names, names[0]), ui.amount_field("Grams")
        self.seconds = ui.amount_field("Seconds", f"{LONG_ENOUGH_S:g}")
        self.number = ui.amount_field("Job number", f"{seed}", most=10**6)
        self.safety = ui.choice("Choose", [], radio=True)
        self.safety_words = ui.area()
        self.reply = ui.button("Answer", self._answer, self.problems, main=True)
        self.asking = w.VBox([self.safety_words, ui.boxed(self.safety), self.reply])
        self.asking.layout.display = "none"
        self.box = ui.form(
            w.HTML(f'<p class="mk-quiet">{BEFORE}</p>'),
            ui.row(self.number.box, ui.button("Start this job", self._start, self.problems)),
            ui.section("The job", self.state),
            ui.section(
                "Your move",
                ui.row(ui.boxed(self.ink), self.grams.box, self._move("Pour it in", "weigh")),
                ui.row(self.seconds.box, self._move("Stir", "stir")),
                ui.row(
                    self._move("Draw down and cure", "drawdown"), self._move("Measure", "measure")
                ),
                ui.row(
                    ui.button("What would you do?", self._hint, self.problems),
                    ui.button("Do that for me", self._take, self.problems),
                    ui.button("Finish", self._finish, self.problems),
                ),
            ),
            self.problems,
            self.note,
            self.asking,
            self.end,
            name="practise-job",
        )
        self._show()

    def _move(self, words: str, action: str) -> Any:
        return ui.button(words, lambda: self._do(action), self.problems)

    def _do(self, action: str) -> None:
        """One move of the learner's, unless a safety question comes first."""
        if self._first(action):
            return
        grams = ((self.ink.value, ui.read(self.grams)[0]),) if action == "weigh" else ()
        seconds = ui.read(self.seconds)[0] if action == "stir" else 0.0
        self._moved(take(self.batch, Hint(action=action, grams=grams, seconds=seconds)))

    def _first(self, action: str) -> bool:
        """Whether a safety question comes first; it is then shown."""
        self.asked = asked_before(self.batch, action)
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
        self.batch, words = answer_safety(self.batch, self.asked.key, self.safety.value)
        if right:
            ui.tell(self.note, f"{words} Now make your move.", "done")
            self.asking.layout.display = "none"
        else:
            ui.tell(self.note, words)

    def _hint(self) -> None:
        advice = hint(self.batch)
        grams = ", ".join(f"{name} {g:.2f} g" for name, g in advice.grams)
        seconds = f"{advice.seconds:g} s" if advice.seconds else ""
        parts = [part for part in (grams or seconds, advice.why) if part]
        ui.tell(self.note, f"{advice.action}: {'. '.join(parts)}", "quiet")

    def _take(self) -> None:
        """The move that the hint says."""
        advice = hint(self.batch)
        if advice.action == "finish":
            self._finish()
        elif not self._first(advice.action):
            self._moved(take(self.batch, advice))

    def _moved(self, batch: PracticeBatch) -> None:
        self.batch = batch
        self.end.value = ""
        last = batch.moves[-1]
        ui.tell(self.note, f"{last.action}: {last.words}", "done")
        self._show()

    def _finish(self) -> None:
        ui.put(self.end, outcome_parts(self.batch, finish(self.batch)))

    def _start(self) -> None:
        seed = ui.read(self.number)[0]
        if seed != int(seed):
            raise InputError(f"Job number: {seed:g} is no whole number")
        self.batch = start(practice_shop(), seed=int(seed))
        self.note.value = self.end.value = ""
        self.asking.layout.display = "none"
        self._show()

    def _show(self) -> None:
        ui.put(self.state, job_parts(self.batch))
