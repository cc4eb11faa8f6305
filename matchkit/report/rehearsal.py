"""How blind jobs came out, as parts."""

from typing import Any

from matchkit.matching.probability import chance_text
from matchkit.practice.rehearse import BATCH_G, HAND, LIGHTS
from matchkit.report.learning_plots import mixer_shares, stated_chances
from matchkit.report.parts import Part, Picture, Table
from matchkit.workflows.rehearsing import Rehearsal

PICTURES = ("mixers", "chances")  # by which a person asks for them
WHO = {
    "matchkit": "infers lots and weighing errors, then adds the least",
    "ceiling": "the mixture the target was made from, same lots and hand: a perfect model",
    "textbook": "single-constant theory; re-matches the target shifted by the error",
}


def rehearsal_parts(found: Rehearsal) -> list[Part]:
    """How many jobs were in tolerance, by mixer; how true the stated chances were."""
    given = found.options
    harder = f"; made harder by: {', '.join(given.troubles)}" * bool(given.troubles)
    learned = f", lots known from {given.earlier_batches} batches" * bool(given.earlier_batches)
    return [
        f"{given.targets} blind jobs on invented inks: lots {given.lots_percent:g} %"
        f" apart{learned}, {BATCH_G:g} g batches, balance {HAND.resolution_g:g} g, tolerance dE00"
        f" {given.tolerance_de00:g} under {LIGHTS[0]}{harder}.",
        Table(
            caption="Percent of jobs in tolerance",
            head=("Mixer", "Targets", "jobs", "first", "after 1", "after 2", "added %"),
            rows=tuple(map(_row, found.scores)),
            words=(1,),
        ),
        *(f"{mixer}: {what}" for mixer, what in WHO.items()),
        "added %: median first addition, in percent of the batch, of jobs that got one",
        Table(
            caption="Chance stated for the first drawdown",
            head=("stated", "jobs", "in tolerance %"),
            rows=tuple(
                (chance_text(tenth["said"]), str(tenth["jobs"]), f"{100 * tenth['came_true']:.0f}")
                for tenth in found.chances
            ),
        ),
        "The simulator follows the physics of light in ink, but it is no shop: real inks, hands and"
        " films do worse.",
        Picture(
            name="mixers",
            draw=lambda ax: mixer_shares(ax, found.scores),
            alt="Jobs in tolerance by mixer: first drawdown, after one correction, after two",
            height_in=2.6,
        ),
        Picture(
            name="chances",
            draw=lambda ax: stated_chances(ax, found.chances),
            alt="Stated chance against the share of jobs that were in tolerance",
            height_in=2.8,
        ),
    ]


def _row(row: dict[str, Any]) -> tuple[str, ...]:
    shares = ("" if row.get(k) is None else f"{100 * row[k]:.1f}" for k in ("first", "one", "two"))
    added = row.get("added_percent")
    return (
        row["mixer"],
        row["kind"],
        str(row["jobs"]),
        *shares,
        "" if added is None else f"{added:.2f}",
    )
