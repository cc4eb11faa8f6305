"""Folded parts of the book's form about the job in sight: mix it again, strike a record."""

from collections.abc import Callable, Sequence

import ipywidgets as w

from matchkit.book.entries import log_match, strike
from matchkit.book.jobs import Job, local_day
from matchkit.book.lessons import fit_key
from matchkit.book.work import Reprint, reprint
from matchkit.errors import InputError
from matchkit.forms.formulas import shares
from matchkit.forms.parts import (
    Field,
    alert,
    amount_field,
    area,
    boxed,
    button,
    choice,
    put,
    read,
    row,
)
from matchkit.matching.match import palette_for
from matchkit.matching.probability import chance_text
from matchkit.matching.rank import Candidate
from matchkit.workflows.session import Session

__all__ = ["AgainPart", "StrikePart"]

Signed = Callable[[], tuple[Session, Job]]
STAYS = "Nothing is erased: the record stays in the book as struck, with your reason."


class AgainPart:
    """The job's colour matched to what was approved; `show_job` is told the new batch."""

    def __init__(self, signed: Signed, show_job: Callable[[int], None]) -> None:
        self.signed, self.show_job = signed, show_job
        self.found: Reprint | None = None
        self.problems, self.results = alert(), area()
        self.grams = amount_field("Batch, grams", "1000", most=1e6)
        self.job = Field("Job", "", str, short=False)
        self.due = Field("Due", "", str)
        self.due.text.placeholder = "2026-03-30"
        self.look = button("Match it again", self._find, self.problems, main=True)
        self.which = choice("Which formula?", [], radio=True)
        self.write = button("Begin this job again", self._begin, self.problems, main=True)
        self.chosen = w.VBox(
            [boxed(self.which), row(self.job.box, self.due.box), self.write],
        )
        self.box = w.VBox([self.grams.box, self.look, self.problems, self.results, self.chosen])
        self.show()

    def show(self) -> None:
        """Another job is in sight: nothing is found yet."""
        self.found = None
        self.results.value = self.problems.value = ""
        self.chosen.layout.display = "none"

    def _find(self) -> None:
        """The old formula with today's lots, and what would be nearer."""
        self.show()
        (grams,) = read(self.grams)
        session, story = self.signed()
        known = session.learned()
        self.found = found = reprint(
            session.open_book(), session.shop, known, story.batch, batch_g=grams
        )
        light = found.target.light_names[0]
        put(
            self.results,
            [
                f"Matched under {light} to what batch {found.batch} measured"
                + (" when it was approved" if story.closed_on else " last")
                + ", with the lots of today.",
                *(f"The book knows: {line}." for line in known.words),
            ],
        )
        self.which.options = [
            (_line("The old formula" if k == 0 else f"Formula {k}", each), k)
            for k, each in enumerate(_choices(found))
        ]
        self.which.value = 0
        self.chosen.layout.display = None

    def _begin(self) -> None:
        if self.found is None:
            raise InputError("nothing was matched yet: press 'Match it again' first")
        found, chosen = self.found, _choices(self.found)[self.which.value]
        session, _ = self.signed()
        palettes = {series: fit.palette for series, fit in session.fits.items()}
        logged = log_match(
            session.open_book(),
            session.shop,
            found.target,
            chosen,
            name=found.name,
            customer=found.customer,
            job=self.job.text.value,
            due=self.due.text.value.strip(),
            source="reprint",
            fit=fit_key(palette_for(palettes, chosen.inks)),
        )
        self.show_job(logged.batch)


class StrikePart:
    """A record that was wrong is struck, never changed; `done` is told in words."""

    def __init__(self, signed: Signed, done: Callable[[str], None]) -> None:
        self.signed, self.done = signed, done
        self.problems = alert()
        self.which = choice("Which record is wrong?", [])
        self.which.layout = w.Layout(width="40em", max_width="100%")
        self.why = Field("What was wrong with it?", "", str, short=False)
        self.write = button("Strike it", self._strike, self.problems)
        words = w.HTML(f"<p>{STAYS}</p>")
        self.box = w.VBox([words, boxed(self.which), self.why.box, self.write, self.problems])

    def show(self, story: Job) -> None:
        """The records of another job."""
        options = _records(story)
        if [*self.which.options] != options:
            self.which.options = options
            self.which.value = options[0][1]
        self.problems.value = self.why.text.value = ""

    def _strike(self) -> None:
        session, _ = self.signed()
        if not self.why.text.value.strip():
            raise InputError("What was wrong with it? Whoever reads the book later wants to know")
        what, number = self.which.value
        words = self.which.label
        strike(session.open_book(), what, number, self.why.text.value)
        self.done(f"struck: {words}. Write the right one anew")


def _records(story: Job) -> list[tuple[str, tuple[str, int]]]:
    """What can be struck, the newest first."""
    told: list[tuple[str, str, tuple[str, int]]] = []
    for k, pour in enumerate(story.pours):
        what = f"{sum(pour.actual_g):g} g {'added' if k else 'weighed'} on {local_day(pour.at)}"
        told.append((pour.at, f"{what}, and drawdowns made of it", ("weighing", pour.weighing)))
        for r in story.readings:
            if r.weighing == pour.weighing:
                away = "" if r.de00 is None else f", dE00 {r.de00:.2f}"
                what = f"the drawdown of {local_day(r.at)}{away}"
                told.append((r.at, what, ("measurement", r.measurement)))
    if story.closing is not None:
        how = f"that it ended: {story.outcome}"
        told.append((story.closed_at, how, ("closing", story.closing)))
    told.sort(key=lambda each: each[0])
    newest = [(words, record) for _, words, record in reversed(told)]
    return [*newest, ("the whole job", ("batch", story.batch))]


def _choices(found: Reprint) -> Sequence[Candidate]:
    return [found.again, *found.match.formulas]


def _line(head: str, formula: Candidate) -> str:
    chance = chance_text(formula.chance_in_tolerance or 0.0)
    return f"{head}: dE00 {formula.de00[0]:.2f}, chance {chance}: {shares(formula)}"
