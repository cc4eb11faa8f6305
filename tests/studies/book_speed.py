"""How long each verb of a record book takes when the book is old.

    python -m tests.studies.book_speed          prints the table and stores it (two minutes)

The demo shop with a book of 100 and of 10,000 batches: random mixtures of its inks, read as
the shop's own fit predicts them with noise.  Each verb runs in this process, after one run
that imports what it needs; the median of five, processor time.  The books are written at once,
row by row, as the package would have written them batch by batch.
"""

import contextlib
import io
import json
import shutil
import statistics
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from matchkit.book.rows import colour
from matchkit.book.store import insert, open_book, record, writing
from matchkit.cli import main
from matchkit.colorimetry.grid import GRID_NM
from matchkit.inks.palette import reflectance
from matchkit.simulator.simulate import read
from matchkit.workflows.session import Session

STORED = Path(__file__).with_suffix(".json")
DEMO = Path(__file__).parents[2] / "data" / "demo-shop"
COLOURS, OPEN = 200, 12  # names in a book, and its last batches, which are not closed
BATCH_G = 500.0
TARGET = DEMO / "example" / "target.csv"
# Verbs that read, and verbs that write; {n} is the last batch, which is open.
VERBS = {
    "begin again": "book {shop} begin --again 7 --grams 500",
    "today": "book {shop} today",
    "tickets": "book {shop} tickets --html {out}/tickets.html",
    "find a colour": f"book {{shop}} find --like {TARGET}",
    "find words": "book {shop} find --text 7",
    "show": "book {shop} show {n}",
    "stock": "book {shop} stock",
    "reorder": "book {shop} reorder",
    "use-up": "book {shop} use-up",
    "lots": "book {shop} lots",
    "drift": "book {shop} drift {ink}",
    "pass-shares": "book {shop} pass-shares",
    "ticket": "book {shop} ticket {n} --html {out}/ticket.html",
    "label": "book {shop} label {n} --html {out}/label.html",
    "weigh": "book {shop} weigh {new} --as-planned",
    "measure": "book {shop} measure {n} {sample}",
    "correct": "book {shop} correct {n}",
    "predict": f"predict {{shop}} {DEMO}/example/weighed.csv",
    "check": f"check {{shop}} {TARGET} {{sample}}",
}


def old_book(folder, n_batches, *, seed=1, days=3000):
    """Write a book of so many batches into a shop folder; the names of its fitted inks."""
    session = Session(folder)
    shop, found = session.files, next(iter(session.fits.values()))
    palette, rng = found.palette, np.random.default_rng(seed)
    C = _mixtures(palette, COLOURS, rng)
    asked = reflectance(palette, C)
    which = rng.integers(COLOURS, size=n_batches)
    grams = np.round(BATCH_G * C[which] + rng.normal(0, 0.05, (n_batches, C.shape[1])), 2)
    grams = np.where(C[which] > 0, np.maximum(grams, 0.01), 0)
    seen = read(reflectance(palette, grams / grams.sum(axis=1, keepdims=True)), rng)[:, 0]
    start = datetime(2016, 1, 4, 8, tzinfo=UTC)
    clock = {"at": start}
    book = open_book(folder, who="Old hand", clock=lambda: clock["at"])
    with writing(book) as db:
        for k in range(n_batches):
            clock["at"] = start + timedelta(days=days * k / n_batches)
            _batch(db, book, shop, palette, f"colour {which[k]}", asked[which[k]], grams[k],
                   seen[k], closed=k < n_batches - OPEN)  # fmt: skip
    rows = zip(GRID_NM.tolist(), read(seen[-1], rng)[0].tolist(), strict=True)
    lines = ["wavelength_nm,reflectance", *(f"{nm:g},{R:.5f}" for nm, R in rows)]
    (folder / "sample.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return palette.names


def _mixtures(palette, n, rng):
    """Mass fractions (n, n_ink): a base and two or three colours."""
    roles = [ink.role for ink in palette.inks]
    colours = [i for i, role in enumerate(roles) if role in ("colour", "black")]
    C = np.zeros((n, len(roles)))
    for row in C:
        some = rng.choice(colours, size=rng.integers(2, 4), replace=False)
        row[some] = rng.uniform(0.01, 0.12, len(some))
        row[roles.index("white")] = 1 - row.sum()
    return C


def _batch(db, book, shop, palette, name, asked, grams, seen, *, closed):
    inks = [(ink, g) for ink, g in zip(palette.inks, grams.tolist(), strict=True) if g > 0]
    total = sum(g for _, g in inks)
    said = {"name": name, "customer": ""}
    target = record(db, book, "target", {**said, **colour(shop, asked), "note": ""})
    formula = record(
        db, book, "formula",
        {**said, "target": target, "source": "match", **colour(shop, asked), "de00": 0.2,
         "chance": 0.9, "fit": "", "note": "", "printed": ""},
    )  # fmt: skip
    for ink, g in inks:
        insert(db, "formula_ink", {"formula": formula, "ink": ink.name, "fraction": g / total})
    batch = record(
        db, book, "batch",
        {"formula": formula, "job": "", "customer": "", "due": "", "note": "", "print_job": "",
         "planned_mg": round(1000 * total)},
    )  # fmt: skip
    weighing = record(db, book, "weighing", {"batch": batch, "correction": None, "note": ""})
    for ink, g in inks:
        record(
            db, book, "movement",
            {"kind": "weighed", "ink": ink.name, "lot": ink.lot, "mix": None, "note": "",
             "mg": -round(1000 * g), "planned_mg": round(1000 * g), "weighing": weighing},
        )  # fmt: skip
    read_as = record(
        db, book, "measurement",
        {"batch": batch, "weighing": weighing, "name": "", **colour(shop, seen), "readings": 1,
         "de00": 0.4, "passed": 1, "state": "", "note": ""},
    )  # fmt: skip
    if closed:
        record(
            db, book, "closing",
            {"batch": batch, "outcome": "approved", "measurement": read_as, "approved_by": "",
             "light": "D65", "note": ""},
        )  # fmt: skip


def seconds_of(folder, n_batches, inks, runs=5):
    """Median processor seconds of each verb, by its name."""
    taken = {}
    for verb, words in VERBS.items():
        times = []
        for _ in range(runs + 1):
            with tempfile.TemporaryDirectory() as out:
                new = _begun(folder) if "{new}" in words else 0
                args = words.format(
                    shop=folder,
                    out=out,
                    n=n_batches,
                    new=new,
                    ink="INK",
                    sample=folder / "sample.csv",
                ).split()
                args = [inks[3] if word == "INK" else word for word in args]
                said, started = io.StringIO(), time.process_time()
                with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
                    ended = main(args)
                times.append(time.process_time() - started)
            if ended:
                raise SystemExit(f"{verb}: {said.getvalue()}")
        taken[verb] = round(statistics.median(times[1:]), 3)
    return taken


def _begun(folder):
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(io.StringIO()):
        main(["book", str(folder), "begin", "--again", "7", "--grams", "500", "--json"])
    return json.loads(said.getvalue())["batch"]


def shop_with(folder, n_batches):
    """A copy of the demo shop, fitted, with a book of so many batches; its fitted inks."""
    shutil.copytree(DEMO, folder)
    with contextlib.redirect_stdout(io.StringIO()):
        main(["fit", str(folder)])
    return old_book(folder, n_batches)


if __name__ == "__main__":
    rows = {}
    for n in (100, 10_000):
        with tempfile.TemporaryDirectory() as beside:
            shop = Path(beside) / "shop"
            started = time.perf_counter()
            names = shop_with(shop, n)
            sys.stderr.write(f"{n} batches written in {time.perf_counter() - started:.0f} s\n")
            rows[n] = seconds_of(shop, n, names)
    table = [{"verb": verb, **{str(n): rows[n][verb] for n in rows}} for verb in VERBS]
    STORED.write_text(json.dumps(table, indent=1) + "\n", encoding="utf-8")
    for row in table:
        sys.stdout.write(f"{row['verb']:20}{row['100']:8.2f}{row['10000']:8.2f}\n")
