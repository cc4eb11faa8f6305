"""Write the demo shop's record book again:  python data/make_demo_book.py

Four invented weeks: customers, jobs, hands and lots are invented.  The readings are what the
shop's own fit gives for lots that are a little off, so they show how a book is kept, and
nothing about how well colours are predicted.  Weights come from a seed and times from a
clock of its own.
"""

import json
import shutil
import tempfile
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matchkit.book.containers import add, measure, weigh
from matchkit.book.copies import export
from matchkit.book.entries import JobDetails, close, log_match
from matchkit.book.jobs import job, planned_grams
from matchkit.book.lessons import fit_key, save_lessons
from matchkit.book.stock import count, open_lot
from matchkit.book.store import Book, open_book
from matchkit.book.work import prediction
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.grid import GRID_NM
from matchkit.files.write import csv_text, write_file
from matchkit.inks.palette import reflectance
from matchkit.matching.match import fractions_for
from matchkit.simulator.simulate import read
from matchkit.workflows.correcting_batch import correct_batch
from matchkit.workflows.session import Session

Array = NDArray[np.float64]

DATA = Path(__file__).parent
SHOP, FOLDER = DATA / "demo-shop", DATA / "demo-book"
MEASURED = "measured"  # the folder where the instrument's files come in
UID = "DE300001"  # of the book, on its labels
START = datetime(2026, 3, 2, 10, tzinfo=UTC)  # a Monday; ten o'clock is that day nearly everywhere
DAYS = 25
SEED = 9
HAND_G = 0.04  # how far a pour is off
# Where the hand slipped: job, ink, how many times too much.
SLIPS = {
    2: ("Kelp Green", 1.3), 5: ("Rust Earth", 1.1), 7: ("Slipway Blue", 1.12),
    9: ("Dusk Violet", 1.5), 13: ("Slipway Blue", 1.2),
}  # fmt: skip
NEW_LOT_DAY, NEW_LOT = 19, ("Sharp Lemon", "L-044")  # from that day on

# Strength of the lots in use; the fitted ones are 1.
LOTS = {
    "L-031": 1.09, "L-044": 0.95, "W-118": 0.985, "K-042": 0.95, "T-015": 0.97, "F-009": 0.97,
    "G-064": 1.015, "V-023": 1.06, "O-051": 1.01, "D-088": 0.96, "Y-036": 1.02, "R-012": 1.03,
}  # fmt: skip

# Formulas for colours of the shop's list, as `matchkit match` gives them, in percent.
FORMULAS = {
    "Pale mint": {"Quay White": 96.49, "Kelp Green": 2.55, "Sharp Lemon": 0.96},
    "Sea teal": {
        "Quay White": 66.0, "Slipway Blue": 23.58, "Sharp Lemon": 8.68, "Lamp Orange": 1.74
    },
    "Bottle green": {
        "Sharp Lemon": 39.02, "Slipway Blue": 31.07, "Bollard Black": 25.27, "Quay White": 4.64
    },
    "Walnut brown": {
        "Rust Earth": 45.09, "Sharp Lemon": 29.17, "Deckhand Blue": 20.61, "Dusk Violet": 5.13
    },
    "Powder blue": {"Quay White": 94.35, "Deckhand Blue": 4.76, "Dusk Violet": 0.89},
    "Shell pink": {"Quay White": 93.19, "Foxglove Magenta": 5.22, "Straw Gold": 1.59},
    "Dusty rose": {
        "Quay White": 75.7, "Rust Earth": 13.78, "Dusk Violet": 8.12, "Bollard Black": 2.4
    },
}  # fmt: skip

# Day of the weeks above, colour, grams, job, customer, who mixed it, how far it has come.
WEIGHED, OUT, IN, DONE = 1, 2, 3, 4
JOBS = (
    (0, "Sea teal", 900, "Regatta tees", "Kite Club", "Ana", DONE),
    (2, "Pale mint", 1200, "Aprons", "Ferry Cafe", "Bo", DONE),
    (3, "Bottle green", 600, "Scout shirts", "Tern Scouts", "Ana", DONE),
    (7, "Shell pink", 800, "Tote bags", "Night Market", "Bo", DONE),
    (9, "Walnut brown", 700, "Work vests", "Slipway Yard", "Ana", DONE),
    (11, "Powder blue", 1000, "Sunday run", "Tern Street Choir", "Bo", DONE),
    (14, "Sea teal", 500, "Regatta tees, again", "Kite Club", "Bo", DONE),
    (16, "Bottle green", 900, "Leaders' shirts", "Tern Scouts", "Ana", DONE),
    (19, "Walnut brown", 500, "Caps", "Slipway Yard", "Ana", DONE),
    (21, "Pale mint", 600, "Napkins", "Ferry Cafe", "Bo", DONE),
    (22, "Bottle green", 400, "Flags", "Kite Club", "Ana", DONE),
    (24, "Dusty rose", 700, "Spring tees", "Night Market", "Bo", IN),
    (25, "Bottle green", 800, "Crew jackets", "Tern Scouts", "Ana", OUT),
    (25, "Walnut brown", 600, "Aprons, dark", "Ferry Cafe", "Bo", WEIGHED),
    (25, "Sea teal", 900, "Choir shirts", "Tern Street Choir", "", 0),
    (25, "Pale mint", 700, "Bags, second run", "Night Market", "", 0),
)


class _Asked(NamedTuple):
    """One of `JOBS`."""

    day: int
    name: str
    grams: float
    job: str
    customer: str
    who: str
    far: int


class _Weeks:
    """Whoever keeps the book: the folder, the hand, and a clock that goes on."""

    def __init__(self, folder: Path) -> None:
        self.session = Session(SHOP)
        self.folder = folder
        self.rng = np.random.default_rng(SEED)
        self.time = START
        self.lots = {ink.name: ink.lot for ink in self.session.files.inks}

    def book(self, who: str) -> Book:
        return open_book(self.folder, who=who, clock=lambda: self.time)


def make(folder: Path) -> None:
    """The book and the file that nobody has written down yet, in an empty folder."""
    weeks = _Weeks(folder)
    shop = weeks.session.files
    count(weeks.book("Ana"), shop, "Sharp Lemon", 1900.0, note="stock-take")
    for each in map(_Asked._make, JOBS):
        weeks.time = max(START + timedelta(days=each.day), weeks.time + timedelta(minutes=5))
        if each.day >= NEW_LOT_DAY and weeks.lots[NEW_LOT[0]] != NEW_LOT[1]:
            open_lot(weeks.book("Ana"), shop, *NEW_LOT)
            weeks.lots[NEW_LOT[0]] = NEW_LOT[1]
        _job(weeks, each)
    save_lessons(weeks.book("Ana"), shop, weeks.session.fits)


def _job(weeks: _Weeks, asked: _Asked) -> None:
    """One job, as far as it has come."""
    shop, fits = weeks.session.files, weeks.session.fits
    target = Target.from_spectrum(weeks.session.targets[asked.name], shop.lights, shop.observer)
    inks = FORMULAS[asked.name]
    formula, palette = prediction(
        shop, fits, [*inks], [*inks.values()], batch_g=asked.grams, target=target
    )
    due = (weeks.time + timedelta(days=3 + len(asked.job) % 3)).date().isoformat()
    book = weeks.book(asked.who or "Ana")
    batch = log_match(
        book, shop, target, formula, name=asked.name, fit=fit_key(palette),
        details=JobDetails(job=asked.job, customer=asked.customer, due=due),
    ).batch  # fmt: skip
    if asked.far == 0:
        return
    held = _poured(weeks, planned_grams(job(book, batch), shop.resolution_g))
    ink, times = SLIPS.get(batch, ("", 1.0))
    held |= {ink: round(times * held[ink], 2)} if ink else {}
    weigh(book, shop, batch, held)
    R = _reading(weeks, held)
    if asked.far == WEIGHED:
        _to_hand_in(weeks, f"batch {batch} {asked.name}", R)
        return
    measure(book, shop, batch, R, name=f"{asked.name} 1")
    if asked.far > OUT and not job(book, batch).readings[-1].passed:
        _brought_in(weeks, book, batch, held, asked.name)
    if asked.far == DONE:
        close(book, batch, "approved", approved_by=asked.customer, light=shop.lights[0])


def _brought_in(weeks: _Weeks, book: Book, batch: int, held: dict[str, float], name: str) -> None:
    """The addition that the book advises, and its drawdown."""
    session = Session(SHOP, earlier=weeks.session)
    vars(session)["book"] = book  # which does not lie in the shop's folder yet
    found = correct_batch(session, batch)
    grams = zip(found.palette.names, found.least.additions_g.tolist(), strict=True)
    added = _poured(weeks, {ink: g for ink, g in grams if g > 0})
    weeks.time += timedelta(minutes=40)
    shop = weeks.session.files
    add(book, shop, batch, added, correction=found.correction)
    for ink, g in added.items():
        held[ink] = held.get(ink, 0.0) + g
    measure(book, shop, batch, _reading(weeks, held), name=f"{name} 2")


def _poured(weeks: _Weeks, planned: Mapping[str, float]) -> dict[str, float]:
    """What the balance shows in the end."""
    off = weeks.rng.normal(0, HAND_G, len(planned)).round(2)
    return {
        ink: round(max(g + float(d), 0.01), 2)
        for (ink, g), d in zip(planned.items(), off, strict=True)
    }


def _reading(weeks: _Weeks, held: Mapping[str, float]) -> Array:
    """How the drawdown reads, with the lots that are in use, (1, n_wl)."""
    palette = weeks.session.fit_of([*held])[1].palette
    strengths = np.array([LOTS.get(weeks.lots[name], 1.0) for name in palette.names])
    c = fractions_for(palette, [*held], [*held.values()])
    return read(reflectance(palette, c, strengths), weeks.rng)


def _to_hand_in(weeks: _Weeks, name: str, R: Array) -> None:
    """A reading that nobody has written down yet, as the instrument's file."""
    path = weeks.folder / MEASURED
    path.mkdir()
    columns = ["name", *(f"{nm:g}" for nm in GRID_NM)]
    rows = [[name, *each] for each in R.round(5).tolist()]
    write_file(path / f"{weeks.time:%Y-%m-%d}.csv", csv_text(columns, rows))


def main() -> None:
    """Make the book anew, and keep it as the JSON of its export."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place, "book")
        folder.mkdir()
        make(folder)
        export(open_book(folder), Path(place, "export"))
        whole = json.loads(Path(place, "export", "book.json").read_text(encoding="utf-8"))
        whole["tables"]["book"][0]["uid"] = UID
        FOLDER.mkdir(exist_ok=True)
        write_file(FOLDER / "book.json", json.dumps(whole, ensure_ascii=False) + "\n")
        shutil.copytree(folder / MEASURED, FOLDER / MEASURED, dirs_exist_ok=True)


if __name__ == "__main__":
    main()
