"""The parts of README that are results: made from runs and stored tables, never typed.

    python -m tests.studies.readme          rewrites them between their marks

A test holds README to what this script would write.
"""

import json
import re
from pathlib import Path

from matchkit.files.write import data_folder
from matchkit.workflows.planning import PlanChoices, plan_drawdowns
from matchkit.workflows.session import Session
from tests.studies import (
    blind_accuracy,
    book_learning,
    book_speed,
    films,
    first_formula,
    hard_accuracy,
    library_scale,
    many_starts,
    oil_films,
    rehearsal,
    speed,
    tinters,
    watercolours,
)

DEMO = data_folder() / "demo-shop"
README = Path(__file__).parents[2] / "README.md"
STUDIES = Path(__file__).with_name("README.md")


def plan_totals():
    """What the drawdowns of the demo shop take, few and many."""
    made = [(n, plan_drawdowns(Session(DEMO), PlanChoices(levels=n)).plan) for n in (3, 5, 10)]
    lines = ["| drawdowns of each ink, at most | drawdowns in all | ink in all |", "|---|---|---|"]
    return "\n".join(
        lines
        + [
            f"| {n} | {len(plan.steps)} | {sum(g for _, g in plan.used_g) / 1000:.1f} kg |"
            for n, plan in made
        ]
    )


def accuracy():
    """The blind accuracy table, from the stored study."""
    return blind_accuracy.markdown(stored(blind_accuracy))


def stored(study):
    """What a long study kept."""
    return json.loads(study.STORED.read_text(encoding="utf-8"))


def rehearsal_table():
    return rehearsal.markdown(stored(rehearsal))


def first_table():
    return first_formula.markdown(stored(first_formula))


def film_table():
    return films.markdown(stored(films)).split("\n\n")[0]


def slab_table():
    return films.markdown(stored(films)).split("\n\n")[1]


def paint_table():
    return watercolours.markdown(stored(watercolours))


def hard_table():
    return hard_accuracy.markdown(stored(hard_accuracy))


def oil_table():
    return oil_films.markdown(stored(oil_films))


def tinters_table():
    return tinters.markdown(stored(tinters))


def book_table():
    return book_learning.markdown(stored(book_learning))


def book_speed_table():
    return book_speed.markdown(stored(book_speed))


def speed_table():
    starts = stored(many_starts)
    return (
        f"{speed.markdown(stored(speed))}\n\nThe ten best are the ten best there are: beside"
        f" descents of every subset of up to 4 of 16 inks from {many_starts.STARTS} random starts"
        f" ({starts['targets']} targets, half of them with limits), they were never worse by more"
        f" than {starts['worst']:.4f} (`python -m tests.studies.many_starts`)."
    )


def library_line():
    return library_scale.markdown(stored(library_scale))


def trust():
    """What a shop may expect, simulated and real, in a few rows."""
    easy = {r["kind"]: r for r in stored(blind_accuracy) if chosen_from_ten(r)}
    hard, few = (next(r for r in stored(hard_accuracy) if is_everything(r, n)) for n in (10, 3))
    job = next(r for r in stored(rehearsal)["scores"] if is_plain_job(r))
    oil = [r["held_out"][0] for r in stored(oil_films)["rows"] if r["chosen"]]
    third, most = (
        [r["two_constant_film"][0] for r in stored(watercolours) if r["pairs_seen"] == seen]
        for seen in watercolours.SEEN
    )
    medians = [r["de00_median"] for r in easy.values()]
    rows = [
        ("simulated", "unseen mixtures of easy inks, ten drawdowns of each",
         f"half within dE00 {min(medians):.2f} to {max(medians):.2f} (pastel to clear-based),"
         f" 19 of 20 within {max(r['de00_p95'] for r in easy.values()):.2f}"),
        ("simulated", "the same with every trouble at once, films over both halves of a card",
         f"half within dE00 {hard['unseen'][0]:.1f}, 19 of 20 within {hard['unseen'][1]:.1f};"
         f" {100 * hard['first']:.0f} % in tolerance at the first drawdown (at best"
         f" {100 * hard['ceiling']:.0f} %), {100 * hard['after_one']:.0f} % after one correction"
         f" ({hard['jobs']} jobs)"),
        ("simulated", "chances stated for these; with three drawdowns of each ink",
         f"{100 * hard['said']:.0f} % stated, {100 * hard['first']:.0f} % in tolerance;"
         f" {100 * few['said']:.0f} % stated, {100 * few['first']:.0f} % in tolerance"),
        ("simulated", "jobs with easy inks, lots 5 % apart",
         f"{100 * job['first']:.0f} % in tolerance at the first drawdown; of the others"
         f" {100 * job.get('one_of_out', job['one']):.0f} % after one correction, which adds"
         f" {job['added_percent_out']:.1f} %"),
        ("real", "oil paints over cards, unseen mixtures",
         f"half within dE00 {min(oil):.1f} to {max(oil):.1f}"),
        ("real", "watercolours on paper, unseen pairs",
         f"half within dE00 {sum(third) / len(third):.1f} (a third of the pairs seen),"
         f" {sum(most) / len(most):.1f} (five of six seen)"),
    ]  # fmt: skip
    lines = ["| inks | what was predicted | how far off |", "|---|---|---|"]
    return "\n".join([*lines, *(f"| {' | '.join(row)} |" for row in rows)])


def chosen_from_ten(r):
    return r["drawdowns_per_ink"] == 10 and r["theory"] == "chosen"


def is_everything(r, drawdowns):
    return (r["trouble"], r["drawdowns_per_ink"], r["road"]) == ("all", drawdowns, "both")


def is_plain_job(r):
    """Ten drawdowns, lots 5 % apart, nothing learned yet, all kinds of target."""
    asked = {"drawdowns_per_ink": 10, "lots_percent": 5.0, "earlier": 0}
    asked |= {"mixer": "matchkit", "kind": "all"}
    return all(r[key] == value for key, value in asked.items())


PARTS = {
    "plan": plan_totals,
    "blind accuracy": accuracy,
    "hard": hard_table,
    "rehearsal": rehearsal_table,
    "first formula": first_table,
    "book": book_table,
    "book speed": book_speed_table,
    "film": film_table,
    "slabs": slab_table,
    "paint": paint_table,
    "oil": oil_table,
    "tinters": tinters_table,
    "speed": speed_table,
    "library": library_line,
    "trust": trust,
}


def filled(text):
    """A text with each of its parts made anew."""
    for name, make in PARTS.items():
        start, end = f"<!-- {name} -->", f"<!-- /{name} -->"
        pattern = re.compile(re.escape(start) + ".*?" + re.escape(end), re.DOTALL)
        if pattern.search(text):
            made = f"{start}\n{make()}\n{end}"
            text = pattern.sub(lambda _, made=made: made, text)
    return text


if __name__ == "__main__":
    for path in (README, STUDIES):
        path.write_text(filled(path.read_text(encoding="utf-8")), encoding="utf-8")
