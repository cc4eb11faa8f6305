"""What a record book that learns is worth: the share of batches in tolerance at the first drawdown.

    python -m tests.studies.book_learning             prints the table and stores it (ten minutes)
    python -m tests.studies.book_learning easy-3 ...  some rows, into the stored table

A simulated shop makes its jobs one after another, with inks whose lots lie 5 % apart in
strength.  Each ink's lot changes twice, at times of its own.  Four mixers weigh for the same
targets, with the same lots, weighing errors and noise:

    unknown    the fit of the drawdowns; every lot is taken as the one that was fitted
    lots       the same fit, and the lots as the record book has them from the jobs before
    learned    the book's batches counted in the fit as well, then the lots
    known      the fit of the drawdowns with the true strengths of today's lots, which nobody has

Rows: the plain simulator (easy), and all troubles of `simulator.troubles` at once, with inks of
another make than those anything was chosen on, drawn over a card of which both halves are read
(hard) or handed in as hiding (hiding); with 3 or 10 drawdowns of each ink.  Scored is the first
drawdown; nothing is corrected, so that the book has one reading a batch.  The seeds were used
for nothing else.
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
from matchkit.inks.shop import Ground, Shop
from matchkit.matching.match import fractions_for
from matchkit.matching.rank import Choices, candidates
from matchkit.matching.solve import minimise, solve
from matchkit.practice.rehearse import BATCH_G, HAND, LIGHTS, OBSERVER, drawdowns_of, known_inks
from matchkit.simulator.job import job
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import (
    KINDS,
    bare_card_R,
    draw_lots,
    drawdown_R,
    random_mixtures,
)
from tests.studies.hard_accuracy import troubles_of

STORED = Path(__file__).with_suffix(".json")
SEEDS = (7101,)
JOBS, N_COLOURS, PART = 45, 5, 15
LOTS_PERCENT = 5.0
CHANGES = 2
TOLERANCE = 1.0
MIXERS = ("unknown", "lots", "learned", "known")
ROWS = {
    "easy-3": ("none", ("white",), 3),
    "easy-10": ("none", ("white",), 10),
    "hard-3": ("all", ("white", "black"), 3),
    "hard-10": ("all", ("white", "black"), 10),
    "hiding-3": ("all_hiding", ("white",), 3),
}


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


def play(seed, row="easy-10", n_jobs=JOBS, n_colours=N_COLOURS):
    """dE00 (n_jobs, 4) of the first drawdowns, a column for each mixer."""
    trouble, halves, per_ink = ROWS[row]
    hard = trouble != "none"
    bench = make_bench(seed, n_colours=n_colours, troubles=troubles_of(trouble), unlike=hard)
    plain, drawn = drawdowns_of(bench, np.random.default_rng([seed, 1]), per_ink, halves)
    inks = [replace(ink, lot_spread_percent=LOTS_PERCENT) for ink in plain]
    fitted = known_inks(bench, inks, drawn)
    targets = targets_of(bench, np.random.default_rng([seed, 2]), n_jobs)
    strengths, numbers = lots_by_job(np.random.default_rng([seed, 3]), len(inks), n_jobs)
    away = np.zeros((n_jobs, len(MIXERS)))
    with tempfile.TemporaryDirectory() as folder:
        books = {}
        for mixer in ("lots", "learned"):
            (Path(folder) / mixer).mkdir()
            books[mixer] = open_book(Path(folder) / mixer, who="study")
        for k, target in enumerate(targets):
            shop, found = today(bench, fitted, inks, numbers[k], drawn)
            shops = {"lots": replace(shop, count_batches=False), "learned": shop}
            solved = solve(found.palette, target)
            palettes = {
                "unknown": found.palette,
                **{m: learned(books[m], shops[m], {"": found}).fits[""].palette for m in books},
                "known": replace(found.palette, strengths=strengths[k]),
            }
            for column, mixer in enumerate(MIXERS):
                best, grams = formula(solved, target, palettes[mixer])
                shown, R = first_drawdown(bench, grams, strengths[k], [seed, 4, k])
                lab = XYZ_to_Lab(R @ target.W[:, :3], target.whites[0])
                away[k, column] = de00(target.lab[0], lab)
                if mixer in books:
                    keep(books[mixer], shop, target, best, shown, R, name=f"job {k + 1}")
                    save_lessons(books[mixer], shops[mixer], {"": found})
    return away


def today(bench, fitted, inks, numbers, drawn):
    """The shop and its fit with the lots that are on the shelf."""
    lots = tuple(replace(ink, lot=f"{n}") for ink, n in zip(inks, numbers.tolist(), strict=True))
    films = bool(drawn[0].ground)
    cards = [Ground(name=h, R=bare_card_R(bench, h), surface="smooth") for h in ("white", "black")]
    shop = Shop(
        name="study",
        geometry=bench.geometry,
        condition="UV included",
        observer=OBSERVER,
        lights=LIGHTS,
        resolution_g=HAND.resolution_g,
        inks=lots,
        drawdowns=tuple(drawn),
        grounds=tuple(cards) if films else (),
        over="white" if films else "",
    )
    return shop, replace(fitted, palette=replace(fitted.palette, inks=lots))


def keep(book, shop, target, best, shown, R, name):
    """One job in the book, as a shop writes it down."""
    batch = log_match(book, shop, target, best, name=name).batch
    names = [ink.name for ink in shop.inks]
    held = {name: float(g) for name, g in zip(names, shown, strict=True) if g > 0}
    weigh(book, shop, batch, held)
    measure(book, shop, batch, R)


def study(away):
    """Shares in tolerance and median dE00 of the whole, and of one `PART` of the jobs after
    another, from (n_seed, n_jobs, 4)."""
    first = range(0, away.shape[1], PART)
    parts = {"all": away} | {f"{k + 1}-{k + PART}": away[:, k : k + PART] for k in first}
    rows = []
    for of, part in parts.items():
        each = part.reshape(-1, len(MIXERS))
        share, median = (each <= TOLERANCE).mean(axis=0), np.median(each, axis=0)
        row = {mixer: round(float(s), 3) for mixer, s in zip(MIXERS, share, strict=True)}
        row |= {f"de00_{m}": round(float(e), 2) for m, e in zip(MIXERS, median, strict=True)}
        rows.append({"of": of, "jobs": len(each), **row})
    return rows


def markdown(found):
    """The table as README shows it."""
    lines = [
        "| shop, drawdowns an ink | jobs | drawdowns alone | lots learned | batches count, lots"
        " learned | lots known | median dE00 |",
        "|---|---|---|---|---|---|---|",
    ]
    for name, rows in found.items():
        bench, per_ink = name.split("-")
        for row in rows:
            cells = " | ".join(f"{100 * row[mixer]:.0f} %" for mixer in MIXERS)
            medians = " / ".join(f"{row[f'de00_{mixer}']:.2f}" for mixer in MIXERS)
            head = f"{bench}, {per_ink}" if row["of"] == "all" else ""
            lines.append(f"| {head} | {row['of']} ({row['jobs']}) | {cells} | {medians} |")
    return "\n".join(lines)


if __name__ == "__main__":
    kept = json.loads(STORED.read_text(encoding="utf-8")) if STORED.exists() else {}
    for name in sys.argv[1:] or ROWS:
        kept[name] = study(np.array([play(seed, name) for seed in SEEDS]))
        kept = {row: kept[row] for row in ROWS if row in kept}
        STORED.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
        sys.stdout.write(f"{name}\n")
    sys.stdout.write(markdown(kept) + "\n")
