"""Practise: four kinds of exercise and a whole job, on invented inks, without spending any.

    from matchkit import forms
    forms.practise.see()

Differences are judged by eye, or, once the numbers are shown, by the numbers: each has its own
level.  Answers are kept in the folder `practice` beside the notebook, for who writes a name.
"""

from collections.abc import Callable, Sequence
from typing import Any

import ipywidgets as w

from matchkit.errors import InputError
from matchkit.forms import begin, book_demo
from matchkit.forms import parts as ui
from matchkit.forms.learner import FOLDER, LearnerField, today
from matchkit.forms.play import play
from matchkit.forms.practise_job import PracticeJobForm
from matchkit.forms.shops import OpenShop, keep
from matchkit.practice.exercise import Exercise
from matchkit.practice.kinds import BOOK, EYE, NUMBERS, TITLES, Standing
from matchkit.practice.sheet import sheet_html
from matchkit.practice.simulated_shop import BEFORE
from matchkit.report import practice
from matchkit.report.parts import Page
from matchkit.workflows import practising
from matchkit.workflows.misses import misses

SHEET = 6  # exercises of a sheet


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


def book(opened: OpenShop) -> Any:
    """Batches of the shop's own book that came out wrong: what would you have added?"""

    def made() -> Any:
        found = misses(book_demo.with_book(opened).session()).exercises
        if not found:
            raise InputError("no batch of the book was out of tolerance and then brought nearer")
        return ExerciseForm(BOOK, found).box

    return begin.opened_form(opened, made)


def everything(opened: OpenShop, who: ui.Field) -> Any:
    """All that there is to practise, one at a time; each is made when it is first looked at.

    `who` is the field of the page into which the name is typed once for everything.
    """
    LearnerField.shared[:] = [who]
    makers: dict[str, Callable[[], Any]] = {
        "The shelf as sliders": lambda: play(opened),
        "See the difference": see,
        "Which ink, and how much": fix,
        "Under the other light": light,
        "At the balance": sums,
        "A whole job": job,
        TITLES[BOOK]: lambda: book(opened),
        "All learners": trainer,
    }
    place, problems, made = ui.below(), ui.area(), {}
    chosen = ui.choice("What to practise", list(makers), TITLES["see"])

    def show() -> None:
        name = str(chosen.value)
        if name not in made:
            made[name] = makers[name]()
        place.children = [made[name]]

    chosen.observe(ui.safe(show, problems), names="value")
    show()
    return ui.form(ui.boxed(chosen), problems, place, name="practise-all")


def trainer() -> Any:
    """How far all learners of the folder are, for who trains them."""
    place, problems = ui.area(), ui.area()
    look = ui.safe(
        lambda: ui.put(place, practice.class_parts(practising.class_of(FOLDER))), problems
    )
    look()
    again = ui.button("Look again", look, problems)
    return ui.form(ui.section("All learners", place), problems, again, name="practise-trainer")


class ExerciseForm:
    """The form's widgets, the exercise that is asked, and the answers so far."""

    def __init__(self, kind: str, own: Sequence[Exercise] = ()) -> None:
        self.kind, self.own = kind, own
        self.given: Exercise | None = None
        self.problems, self.question = ui.area(), ui.area()
        self.tip, self.verdict, self.stands = ui.area(), ui.area(), ui.area()
        self.who = LearnerField(self.problems, self._next)
        self.pick = ui.choice("Your answer", [], radio=True)
        self.look = ui.button("Mark my answer", self._mark, self.problems, main=True)
        self.ask = ui.button("Give me a hint", self._hint, self.problems)
        self.show = ui.button("Show the numbers", self._numbers, self.problems)
        self.go_on = ui.button("Next one", self._skip, self.problems)
        self.print = ui.button("A sheet to print", self._print, self.problems)
        self.page = ui.area()
        if kind != "see":
            self.show.layout.display = "none"
        if own:
            self.print.layout.display = "none"
        self.box = ui.form(
            w.HTML(f'<p class="mk-quiet">{BEFORE}</p>'),
            self.who.box,
            ui.section(TITLES[kind], self.question, ui.boxed(self.pick)),
            ui.row(self.look, self.show, self.ask, self.go_on),
            self.problems,
            self.tip,
            self.verdict,
            self.stands,
            self.print,
            self.page,
            name=f"practise-{kind}",
        )
        self._next()

    def _next(self, seed: int | None = None) -> None:
        """A new exercise, as hard as the answers so far say, or that of a seed."""
        learner = self.who.now()
        if self.own:
            found = practising.Exercises(exercises=tuple(self.own))
        else:
            options = practising.PracticeOptions(
                kinds=(self.kind,), gauge=self.start_gauge, today=today(), seed=seed
            )
            found = practising.practise(options, learner)
        self.given, self.gauge = found.exercises[0], self.start_gauge
        self.aided = self.left = False
        self.tip.value = self.verdict.value = ""
        self._ask()
        self.pick.options = [(each.text, k) for k, each in enumerate(self.given.choices)]
        self.pick.value = None
        self.look.disabled = self.show.disabled = False
        self._stand(found.standings, practising.ladder_of(self.who.learner))

    @property
    def start_gauge(self) -> str:
        """What a difference is judged by before anything is pressed."""
        return EYE if self.kind == "see" else NUMBERS

    def _ask(self) -> None:
        assert self.given is not None
        ui.put(self.question, practice.question_parts(self.given, numbers=self.gauge == NUMBERS))

    def _skip(self) -> None:
        """Go on; an exercise that was not answered is told, once."""
        if self.look.disabled or self.left:
            left = self.given if self.left else None
            self.own = [*self.own[1:], *self.own[:1]]
            self._next(left.seed + 1 if left else None)
            return
        self.left = True
        ui.tell(self.tip, "This one is not answered. Press again to leave it.", "look")

    def _numbers(self) -> None:
        """Show the numbers; the answer then counts for the other gauge."""
        self.gauge = NUMBERS
        self.show.disabled = True
        self._ask()
        ui.tell(self.tip, "This answer counts for the numbers, not for the eye.", "quiet")

    def _hint(self) -> None:
        if self.given is not None:
            self.aided = True
            ui.tell(self.tip, f"{self.given.hint} (With a hint this moves no level.)", "quiet")

    def _mark(self) -> None:
        """Mark the choice, once, and keep it for who has a name."""
        if self.given is None or self.pick.value is None:
            raise InputError("nothing is chosen yet: choose an answer first")
        chosen = int(self.pick.value)
        found = practising.mark_answers(
            [(self.given, chosen)], today(), self.who.now(), gauge=self.gauge, aided=self.aided
        )
        assert found.learner is not None
        self.who.learner = found.learner
        self.look.disabled = self.show.disabled = True
        self.gauge = NUMBERS
        self._ask()
        ui.put(self.verdict, [found.marks[0].words, *practice.answer_parts(self.given, chosen)])
        self._stand(found.standings, practising.ladder_of(found.learner))

    def _stand(self, standings: Sequence[Standing], ladder: practising.Ladder) -> None:
        own = [each for each in standings if each.kind == self.kind]
        ui.put(self.stands, [*practice.standing_parts(own), *practice.ladder_parts(ladder)])

    def _print(self) -> None:
        """Two pages to print: exercises with name and date, and their answers apart."""
        learner = self.who.now()
        found = practising.practise(
            practising.PracticeOptions(kinds=(self.kind,), count=SHEET), learner
        )
        name, pages = self.who.text.value.strip(), []
        for answers, what in ((False, TITLES[self.kind]), (True, f"{TITLES[self.kind]}: answers")):
            title = ", ".join(filter(None, [what, name, today()]))
            html = sheet_html(found.exercises, answers=answers, title=title)
            pages.append(Page(title=title, html=html))
            keep(title, ".html", html)
        ui.put(self.page, [*pages, "Both pages are kept in the folder tickets."])
