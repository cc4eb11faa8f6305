"""How long each verb of a record book takes when the book is old.

    python -m tests.studies.book_speed          prints the table and stores it (two minutes)

The demo shop with a book of 100 and of 10,000 batches: random mixtures of its inks, read as
the shop's own fit predicts them with noise.  Each verb runs in this process, after one run
that imports what it needs; the median of five, processor time.  A hundred
batches are written row by row as the package would have; the others are copies, each with a
reading of its own.
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
from matchkit.book.stock import keep_leftover
from matchkit.book.store import insert, open_book, reading, record, writing
from matchkit.cli import main
from matchkit.colorimetry.grid import GRID_NM
from matchkit.inks.palette import reflectance
from matchkit.simulator.simulate import read
from matchkit.workflows.session import Session

STORED = Path(__file__).with_suffix(".json")
DEMO = Path(__file__).parents[2] / "data" / "demo-shop"
COLOURS, WRITTEN, OPEN = 40, 88, 12  # names; batches written; the last, which are not closed
SERIES, LEFTOVERS = 25, 8  # of 40 names each; containers on the shelf
COPIED = (
    "target", "formula", "formula_ink", "batch", "weighing", "movement", "measurement", "closing",
)  # fmt: skip
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


def old_book(folder, n_batches, *, seed=1):
    """Write a book of so many batches into a shop folder; the names of its fitted inks.

    `WRITTEN` batches are written one by one, then copied until there are enough, each reading a
    little different; the last `OPEN` are not closed.
    """
    session = Session(folder)
    shop, found = session.files, next(iter(session.fits.values()))
    palette, rng = found.palette, np.random.default_rng(seed)
    C = _mixtures(palette, COLOURS, rng)
    asked = reflectance(palette, C)
    which = rng.integers(COLOURS, size=WRITTEN + OPEN)
    grams = np.round(BATCH_G * C[which] + rng.normal(0, 0.05, (len(which), C.shape[1])), 2)
    grams = np.where(C[which] > 0, np.maximum(grams, 0.01), 0)
    seen = read(reflectance(palette, grams / grams.sum(axis=1, keepdims=True)), rng)[:, 0]
    clock = {"at": datetime(2016, 1, 4, 8, tzinfo=UTC)}
    book = open_book(folder, who="Old hand", clock=lambda: clock["at"])
    with writing(book) as db:
        for k, name in enumerate(which):
            clock["at"] += timedelta(hours=20)
            if k == WRITTEN:
                _copied(db, round((n_batches - OPEN) / WRITTEN) - 1)
                clock["at"] += timedelta(days=3000)
            _batch(db, book, shop, palette, f"colour {name}", asked[name], grams[k],
                   seen[k], closed=k < WRITTEN)  # fmt: skip
    rows = zip(GRID_NM.tolist(), read(seen[-1], rng)[0].tolist(), strict=True)
    lines = ["wavelength_nm,reflectance", *(f"{nm:g},{R:.5f}" for nm, R in rows)]
    (folder / "sample.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    for batch in range(1, LEFTOVERS + 1):
        keep_leftover(book, shop, batch, 300.0, f"left of {batch}")
    Session(folder).learn()
    return palette.names


def _copied(db, times):
    """The records of a book so many times more, under numbers of their own."""
    most = {table: db.execute(f"SELECT max(id) FROM {table}").fetchone()[0] for table in COPIED}
    count = "WITH RECURSIVE n(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM n WHERE k < ?)"
    for table in COPIED if times else ():
        names = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
        made = {name: f"{name} + n.k * {most[name]}" for name in names if name in most}
        made["id"] = f"id + n.k * {most[table]}"
        if table in ("target", "formula"):
            made["name"] = f"name || ' ' || (n.k % {SERIES})"
        if table == "measurement":  # the first band a little different
            first = "CAST(substr(R, 2, instr(R, ',') - 2) AS REAL)"
            made["R"] = f"printf('[%.6f', {first} + 0.000002 * n.k) || substr(R, instr(R, ','))"
            made["L"] = "L + 0.00001 * n.k"
        cells = ", ".join(made.get(name, name) for name in names)
        db.execute(f"INSERT INTO {table} {count} SELECT {cells} FROM {table}, n", [times])


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


def seconds_of(folder, inks, runs=5, verbs=VERBS):
    """Median processor seconds of each verb, by its name."""
    taken = {}
    for verb, words in verbs.items():
        times = []
        for _ in range(runs + 1):
            with tempfile.TemporaryDirectory() as out:
                new = _begun(folder) if "{new}" in words else 0
                args = words.format(
                    shop=folder,
                    out=out,
                    n=_last(folder),
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


def _last(folder):
    """The last batch that was measured."""
    with reading(open_book(folder)) as db:
        return db.execute("SELECT max(batch) FROM measurement").fetchone()[0]


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


def markdown(table):
    """The table as README shows it."""
    sizes = [key for key in table[0] if key != "verb"]
    heads = [f"{int(n):,} batches" for n in sizes]
    lines = [f"| verb | {' | '.join(heads)} |", f"|---|{'---|' * len(sizes)}"]
    lines += [f"| {r['verb']} | {' | '.join(f'{r[n]:.2f} s' for n in sizes)} |" for r in table]
    return "\n".join(lines)


if __name__ == "__main__":
    rows = {}
    for n in (100, 10_000):
        with tempfile.TemporaryDirectory() as beside:
            shop = Path(beside) / "shop"
            started = time.perf_counter()
            names = shop_with(shop, n)
            sys.stderr.write(f"{n} batches written in {time.perf_counter() - started:.0f} s\n")
            rows[n] = seconds_of(shop, names)
    table = [{"verb": verb, **{str(n): rows[n][verb] for n in rows}} for verb in VERBS]
    STORED.write_text(json.dumps(table, indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(markdown(table) + "\n")
