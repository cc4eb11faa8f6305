"""What a record book that learns is worth: the share of batches that come in at once.

    python -m tests.studies.book_learning          prints the table and stores it

A shop that never was makes its jobs one after another on the virtual bench, with inks
whose lots lie 5 % apart in strength.  Each ink's lot changes twice, at times of its own.
Three mixers weigh for the same targets, with the same lots, slips and noise:

    unknown    every lot is taken as the one that was fitted
    learned    as the record book has it from the jobs before: real records in a real book
    known      the true strengths of today's lots, which nobody has

Scored is the first drawdown; nothing is corrected, so that the book hears one reading a
batch.  The seeds were used for nothing else.
"""

import json
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from matchkit.book.containers import measure, weigh
from matchkit.book.entries import log_match
from matchkit.book.lessons import learned, save_lessons
from matchkit.book.store import open_book
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import XYZ_to_Lab, de00
from matchkit.fitting.fit import fit
from matchkit.inks.shop import Shop
from matchkit.matching.match import fractions_for
from matchkit.matching.rank import Choices, candidates
from matchkit.matching.solve import minimise, solve
from matchkit.practice.rehearse import BATCH_G, HAND, LIGHTS, OBSERVER, drawdowns_of
from matchkit.simulator.job import job
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import KINDS, draw_lots, drawdown_R, random_mixtures

STORED = Path(__file__).with_suffix(".json")
SEEDS = tuple(range(7101, 7121))
JOBS = 60
LOTS_PERCENT = 5.0
CHANGES = 2
TOLERANCE = 1.0
MIXERS = ("unknown", "learned", "known")


def lots_by_job(rng, n_ink, n_jobs):
    """Strengths (n_jobs, n_ink) and lot numbers (n_jobs, n_ink)."""
    strengths, numbers = np.ones((n_jobs, n_ink)), np.zeros((n_jobs, n_ink), dtype=int)
    for i in range(n_ink):
        changes = np.sort(rng.choice(np.arange(1, n_jobs), size=CHANGES, replace=False))
        numbers[:, i] = np.searchsorted(changes, np.arange(n_jobs), side="right")
        strengths[:, i] = draw_lots(rng, CHANGES + 1, LOTS_PERCENT / 100)[numbers[:, i]]
    return strengths, numbers


def targets_of(bench, rng, n):
    """Colours that the bench's reference lots can mix, going round the four kinds."""
    c = np.concatenate([random_mixtures(bench, rng, KINDS[k % len(KINDS)], 1) for k in range(n)])
    return [Target.from_spectrum(R, LIGHTS, OBSERVER) for R in drawdown_R(bench, c)]


def formula(solved, target, palette):
    """The formula for a solved target with the lots as the palette has them, and its grams."""
    F, fractions = minimise(palette, target, solved.fractions)
    best = candidates(
        replace(solved, fractions=fractions, F=F),
        palette,
        target,
        Choices(batch_g=BATCH_G),
        resolution_g=HAND.resolution_g,
        tolerance_de00=TOLERANCE,
    )[0]
    return best, fractions_for(palette, best.inks, best.grams) * BATCH_G


def first_drawdown(bench, grams, strengths, seed):
    """What the balance showed and what was read; the same slips and noise for every mixer."""

    def leave(shown_g, readings):
        return np.zeros_like(grams)

    rng = np.random.default_rng(seed)
    done = job(bench, grams, strengths, rng, correct=leave, rounds=0, hand=HAND)
    return done.shown_g[0], done.readings[0]


def play(seed, n_jobs=JOBS, n_colours=13):
    """dE00 (n_jobs, 3) of the first drawdowns, a column for each mixer."""
    bench = make_bench(seed, n_colours=n_colours)
    plain, drawn = drawdowns_of(bench, np.random.default_rng([seed, 1]), 10)
    inks = [replace(ink, lot_spread_percent=LOTS_PERCENT) for ink in plain]
    fitted = fit(drawn, inks, geometry=bench.geometry, observer=OBSERVER)
    targets = targets_of(bench, np.random.default_rng([seed, 2]), n_jobs)
    strengths, numbers = lots_by_job(np.random.default_rng([seed, 3]), len(inks), n_jobs)
    away = np.zeros((n_jobs, len(MIXERS)))
    with tempfile.TemporaryDirectory() as folder:
        book = open_book(folder, who="study")
        for k, target in enumerate(targets):
            shop, found = today(bench, fitted, inks, numbers[k])
            solved = solve(found.palette, target)
            palettes = {
                "unknown": found.palette,
                "learned": learned(book, shop, {"": found}).fits[""].palette,
                "known": replace(found.palette, strengths=strengths[k]),
            }
            for column, mixer in enumerate(MIXERS):
                best, grams = formula(solved, target, palettes[mixer])
                shown, R = first_drawdown(bench, grams, strengths[k], [seed, 4, k])
                lab = XYZ_to_Lab(R @ target.W[:, :3], target.whites[0])
                away[k, column] = de00(target.lab[0], lab)
                if mixer == "learned":
                    keep(book, shop, target, best, shown, R, name=f"job {k + 1}")
                    save_lessons(book, shop, {"": found})
    return away


def today(bench, fitted, inks, numbers):
    """The shop and its fit with the lots that are on the shelf."""
    lots = tuple(replace(ink, lot=f"{n}") for ink, n in zip(inks, numbers.tolist(), strict=True))
    shop = Shop(
        name="study",
        geometry=bench.geometry,
        condition="UV included",
        observer=OBSERVER,
        lights=LIGHTS,
        resolution_g=HAND.resolution_g,
        inks=lots,
    )
    return shop, replace(fitted, palette=replace(fitted.palette, inks=lots))


def keep(book, shop, target, best, shown, R, name):
    """One job in the book, as a shop writes it down."""
    batch = log_match(book, shop, target, best, name=name).batch
    names = [ink.name for ink in shop.inks]
    held = {name: float(g) for name, g in zip(names, shown, strict=True) if g > 0}
    weigh(book, shop, batch, held)
    measure(book, shop, batch, R)


def table(away):
    """Shares within tolerance and the part of the gap that learning closes, from (n, 3)."""
    share = (away <= TOLERANCE).mean(axis=0)
    unknown, learned_, known = share.tolist()
    row = {mixer: round(float(s), 3) for mixer, s in zip(MIXERS, share, strict=True)}
    gap = known - unknown
    row["gap_closed"] = round((learned_ - unknown) / gap, 2) if gap > 0 else None
    median = np.median(away, axis=0)
    row |= {f"de00_{m}": round(float(e), 2) for m, e in zip(MIXERS, median, strict=True)}
    return row | {"jobs": len(away)}


def study(away):
    """The whole, and by thirds of the time, from (n_seed, n_jobs, 3)."""
    rows = [{"of": "all jobs", **table(away.reshape(-1, 3))}]
    for k, part in enumerate(np.array_split(np.arange(away.shape[1]), 3), start=1):
        rows.append({"of": f"third {k}", **table(away[:, part].reshape(-1, 3))})
    return rows


def markdown(rows):
    """The table as README shows it."""
    lines = [
        "| jobs | lots unknown | learned | known | part of the gap closed |",
        "|---|---|---|---|---|",
    ]
    for row in rows:
        cells = " | ".join(f"{100 * row[mixer]:.0f} %" for mixer in MIXERS)
        lines.append(f"| {row['of']} ({row['jobs']}) | {cells} | {row['gap_closed']:.2f} |")
    return "\n".join(lines)


if __name__ == "__main__":
    found = study(np.array([play(seed) for seed in SEEDS]))
    STORED.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(markdown(found) + "\n")
