"""Exercises, their answers and a simulated job, as parts."""

from collections.abc import Sequence

from matchkit.arrays import Array
from matchkit.practice import colour, sheet
from matchkit.practice.exercise import LETTERS, Exercise
from matchkit.practice.hints import Outcome
from matchkit.practice.job import BATCH_G, PracticeBatch, enough, named
from matchkit.practice.kinds import BOOK, TITLES, Standing
from matchkit.practice.simulated_shop import BEFORE, LIGHTS, Swatch, stepped, swatch
from matchkit.report.check import edge_to_edge
from matchkit.report.learning_plots import curves, way
from matchkit.report.parts import Heading, Part, Picture, Table
from matchkit.workflows.practising import Class, Exercises, Ladder, MarkedAnswers

IN_NUMBERS = ("", "In numbers")


# ---- exercises


def exercises_parts(found: Exercises, *, answers: bool = False) -> list[Part]:
    """The exercises with their choices, the answers if wanted, and how far the learner is."""
    own = any(each.kind == BOOK for each in found.exercises)
    parts: list[Part] = [BEFORE, *([] if own else [sheet.INVENTED])]
    for number, each in enumerate(found.exercises, start=1):
        parts += [_heading(number, each), *question_parts(each)]
        parts += [f"{LETTERS[k]}) {choice.text}" for k, choice in enumerate(each.choices)]
    if answers:
        parts.append(Heading(text="Answers"))
        for number, each in enumerate(found.exercises, start=1):
            parts += [_heading(number, each), _right(each), each.explanation]
    return [*parts, *standing_parts(found.standings)]


def marked_parts(found: MarkedAnswers) -> list[Part]:
    """What is said to each answer, how many were right, and how far the learner is."""
    lines = [
        f"{each.code} {LETTERS[choice]}) {marked.words}"
        for (each, choice), marked in zip(found.given, found.marks, strict=True)
    ]
    right = sum(marked.right for marked in found.marks)
    told = f"{right} of {len(found.marks)} right"
    return [*lines, told, *standing_parts(found.standings)]


def standing_parts(standings: Sequence[Standing]) -> list[Part]:
    """How far a learner is, a line for each kind, or for each direction judged by eye."""
    lines: list[Part] = []
    for each in standings:
        unit = "times the limit" if each.kind == "light" else f"dE00 under {LIGHTS[0]}"
        size = "" if each.size is None else f", {each.size:.1f} {unit}"
        often = "" if each.threshold is None else f"; 7 in 10 right at level {each.threshold:.1f}"
        if each.guessing:
            often = "; so far no better than guessing: look, or ask for a hint"
        lines.append(
            f"{each.axis or TITLES[each.kind]}: {each.n_right} of {each.n_answers} right, score"
            f" {each.score:g}; now at level {each.staircase.level} of 0 to"
            f" {each.staircase.n_levels - 1}{size}{often}"
        )
    return lines


def ladder_parts(found: Ladder) -> list[Part]:
    """The six sessions, the directions by eye, jobs, and how well additions are foreseen."""
    rows = tuple(
        (each.title, "passed" if done else "to do", each.mark) for each, done in found.sessions
    )
    parts: list[Part] = [Table(head=("Session", "", "Pass mark"), rows=rows, words=(1, 2))]
    if all(done for _, done in found.sessions):
        parts.append("All six sessions are passed.")
    if found.directions:
        parts += [Heading(text="By eye, direction by direction"), *standing_parts(found.directions)]
    if found.from_instrument:
        parts.append(
            f"Your eye tells {' and '.join(found.from_instrument)} badly on this screen: take"
            f" {'this direction' if len(found.from_instrument) == 1 else 'these directions'} from"
            " the instrument."
        )
    if found.jobs:
        parts.append(f"Jobs: {found.jobs_made} of {found.jobs} made as asked, cause named.")
    for each in found.calibrations:
        far = ""
        if each.n_right:
            how = "too far" if each.times > 1 else "not far enough"
            times = max(each.times, 1 / each.times)
            far = "; about as far as measured" if times < 1.25 else f"; {times:.1f} times {how}"
        parts.append(
            f"Additions predicted, {each.axis}: {each.n_right} of {each.n} the right way{far}."
        )
    return parts


def class_parts(found: Class) -> list[Part]:
    """Every learner in a row: sessions passed, what the eye tells, jobs."""

    def row(name: str, ladder: Ladder) -> tuple[str, ...]:
        passed = "".join(each.title[0] if done else "-" for each, done in ladder.sessions)
        eyes = {each.axis: each.threshold_size for each in ladder.directions}
        seen = (
            "instrument"
            if axis in ladder.from_instrument
            else ""
            if (size := eyes.get(axis)) is None
            else f"{size:.1f}"
            for axis in colour.AXES
        )
        return (name, passed, *seen, f"{ladder.jobs_made} of {ladder.jobs}")

    head = ("Learner", "Sessions passed", *colour.AXES, "Jobs made")
    rows = tuple(row(name, ladder) for name, ladder in found.learners)
    return [
        Table(head=head, rows=rows, words=(1,)),
        "Directions: the dE00 that the eye judges right 7 times in 10; empty: too few answers yet.",
    ]


def _heading(number: int, exercise: Exercise) -> Heading:
    return Heading(text=f"{number}. {TITLES[exercise.kind]} ({exercise.code})")


def _right(exercise: Exercise) -> str:
    return f"Answer: {LETTERS[exercise.answer]}) {exercise.choices[exercise.answer].text}"


def question_parts(exercise: Exercise, *, numbers: bool = True) -> list[Part]:
    """The question, its swatches edge to edge, and all its numbers, if they are wanted."""
    swatches = exercise.swatches
    parts: list[Part] = [exercise.question, *([_pair(swatches)] if swatches else [])]
    if exercise.kind == "light":
        parts.append(_curves(swatches))
    return [*parts, Table(head=IN_NUMBERS, rows=exercise.facts, words=(1,))] if numbers else parts


def answer_parts(exercise: Exercise, chosen: int) -> list[Part]:
    """The right choice, the explanation, and the picture that it speaks of."""
    parts: list[Part] = [_right(exercise), exercise.explanation]
    if exercise.kind == "see":
        return [*parts, *_arrows(exercise.swatches[0], exercise.swatches[1:], None)]
    if exercise.kind == BOOK:
        return [*parts, *_arrows(exercise.swatches[1], exercise.after, exercise.swatches[0])]
    if exercise.kind == "fix":
        ends = [exercise.after[k] for k in dict.fromkeys((exercise.answer, chosen))]
        return [*parts, *_arrows(exercise.swatches[1], ends, exercise.swatches[0])]
    if exercise.kind == "light":
        light = exercise.after[0].light
        rows = tuple((f"{each.name} under {light}", each.numbers) for each in exercise.after)
        return [*parts, _pair(exercise.after), Table(head=IN_NUMBERS, rows=rows, words=(1,))]
    return parts


def _pair(swatches: Sequence[Swatch]) -> Picture:
    above, below = swatches[0], swatches[1:]
    under = f" under {above.light}"
    return edge_to_edge(
        above.hex,
        [each.hex for each in below],
        [f"{each.name}{under}" for each in below],
        f"Above: {above.name}{under}",
    )


def _curves(swatches: Sequence[Swatch]) -> Picture:
    names = " and ".join(each.name for each in swatches)
    alt = f"Reflectance of {names}, 400 to 700 nm"
    return Picture(draw=lambda ax: curves(ax, swatches), alt=alt)


def _arrows(begin: Swatch, ends: Sequence[Swatch], target: Swatch | None) -> list[Part]:
    """Arrows from one colour to others."""
    named = [(each.name, each.lab) for each in (begin, *ends)]
    words = "; ".join(f"{each.name}: {each.numbers}" for each in (begin, *ends))
    arrows = [(0, k) for k in range(1, len(named))]
    return _planes(named, arrows, None if target is None else target.lab, words)


def _planes(
    named: Sequence[tuple[str, Array]],
    arrows: Sequence[tuple[int, int]],
    target: Array | None,
    words: str,
    tolerance_de00: float = 1.0,
) -> list[Part]:
    """Colours (Lab) and the arrows between them, in a*, b* and in C*, L*."""

    def picture(plane: str) -> Picture:
        return Picture(
            draw=lambda ax: way(ax, named, arrows, target, plane, tolerance_de00),
            alt=f"{plane} of {words}",
        )

    return [picture("ab"), picture("LC")]


# ---- the simulated job


def job_parts(batch: PracticeBatch) -> list[Part]:
    """What the learner knows: the target, the ticket, what is in the container, every reading."""
    assert batch.target.R is not None
    held = ", ".join(f"{name} {g:.2f} g" for name, g in named(batch, batch.shown_g))
    ticket = ", ".join(f"{name} {g:.2f} g" for name, g in named(batch, BATCH_G * batch.ticket))
    target = swatch("target", batch.target.R)
    seen = [swatch(f"reading {k}", r.R) for k, r in enumerate(batch.readings, start=1)]
    rounds = tuple(
        (
            f"Reading {k}",
            f"{shown.numbers}: {r.de00:.2f} dE00, {r.words}"
            + ("" if r.believed else " (of no use: see what was looked at)"),
        )
        for k, (shown, r) in enumerate(zip(seen, batch.readings, strict=True), start=1)
    )
    container = f"{batch.shown_g.sum():.2f} g: {held}" if held else "nothing yet"
    looked = tuple(("Looked at", m.words) for m in batch.moves if m.action == "look")
    parts: list[Part] = [
        f"Make {BATCH_G:g} g of the target within {batch.tolerance_de00:g} dE00 under"
        f" {' and '.join(batch.lights)}, in few rounds and with little waste. The container takes"
        f" {batch.capacity_g:g} g. The lots of today are not quite those that were fitted, and"
        " something may go wrong: find out what before you add ink because of it.",
        _pair([target, *seen]),
        Table(
            head=IN_NUMBERS,
            rows=(
                ("Target", target.numbers),
                ("Ticket", ticket),
                *rounds,
                ("In the container", container),
                *looked,
            ),
            words=(1,),
        ),
    ]
    return [*parts, *_path(batch), *_expected(batch)] if batch.readings else parts


def _expected(batch: PracticeBatch) -> list[Part]:
    """The last addition: the way it went over the way that was expected of it."""
    if len(batch.readings) < 2 or not (last := batch.readings[-1]).guess or not last.moved:
        return []
    before, guess, went = batch.readings[-2].lab, last.guess, last.moved
    named = [
        ("before", before),
        (f"expected: {guess.word}", stepped(before, guess.word, guess.de00)),
        ("measured", last.lab),
    ]
    said = (
        f"Expected: {guess.word} by about {guess.de00:g} dE00."
        f" Measured: {went.word or 'no visible difference'} by {went.de00:.1f} dE00."
    )
    return [said, *_planes(named, [(0, 1), (0, 2)], batch.target.lab[0], said)]


def outcome_parts(batch: PracticeBatch, outcome: Outcome) -> list[Part]:
    """How it ended, what went wrong, what each move did, and which one cost most."""
    word = "IN TOLERANCE" if outcome.came_in else "OUT OF TOLERANCE"
    if not enough(batch):
        word = f"NOT ENOUGH: {batch.shown_g.sum():.0f} g of {BATCH_G:g} g"
    away = "nothing measured" if outcome.de00 is None else f"{outcome.de00:.2f} dE00"
    lots = ", ".join(f"{name} {round(100 * (s - 1)) + 0:+d} %" for name, s in outcome.lots)
    hidden, names = batch.hidden, batch.shop.bench.names
    happened = hidden.incident.told.format(
        ink=names[hidden.ink],
        other=names[hidden.other],
        percent=100 * hidden.strengths[hidden.ink],
        lamp=LIGHTS[1],
        first=LIGHTS[0],
        capacity=batch.capacity_g,
    )
    rounds = f"{outcome.rounds} round{'s' if outcome.rounds != 1 else ''}"
    hints = f", {batch.hints} hint{'s' if batch.hints != 1 else ''}" if batch.hints else ""
    parts: list[Part] = [
        f"{word}: {away} after {rounds}, {outcome.minutes:.0f} minutes{hints},"
        f" {outcome.waste_g:.0f} g wasted; {outcome.points:g} of 10 points.",
        outcome.costliest or "No move cost much.",
        f"What went wrong: {happened}",
        f"The lots of today were: {lots}." if lots else "Nothing was weighed.",
        *outcome.told,
    ]
    if outcome.unanswered:
        keys = ", ".join(each.key for each in outcome.unanswered)
        parts.append(f"Safety questions still open: {keys}.")
    return parts


def _path(batch: PracticeBatch) -> list[Part]:
    named = [(f"reading {k}", lab) for k, lab in enumerate(batch.path, start=1)]
    words = "; ".join(f"reading {k}: {r.words}" for k, r in enumerate(batch.readings, start=1))
    steps = [(k, k + 1) for k in range(len(named) - 1)]
    about = f"the readings, the target and its tolerance. {words}"
    return _planes(named, steps, batch.target.lab[0], about, batch.tolerance_de00)
