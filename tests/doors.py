"""The same job asked at every door: the command, the form, the record book's verb, Python.

`JOBS` holds for each job how every door is asked; an adapter gives back what a person is told
there, as a dict of facts.  What is told in words becomes a code or a number by the tables of
texts below, so that a wording may change at one place.  `Absent` says that a door is not there
although the job makes sense; a job that makes none at a door has None in its place.  A fact of
value None was not asked at that door.

Everything happens in copies of one shop folder that keeps a record book: three batches have
told how strong today's lots are, a lot was checked, and stock was counted.
"""

import contextlib
import io
import json
import re
import shutil
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np

from matchkit.book.batches import fit_key
from matchkit.book.checks import log_check
from matchkit.book.containers import measure, weigh
from matchkit.book.entries import log_match
from matchkit.book.find import batch_read
from matchkit.book.lessons import Learned, learned, save_lessons
from matchkit.book.stock import count, keep_leftover, open_lot, today
from matchkit.book.store import open_book
from matchkit.book.work import prediction
from matchkit.cli import main
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.grid import GRID_NM
from matchkit.correcting.lot_check import judge_lot, letdown
from matchkit.files.fitted import fit_content, read_fits
from matchkit.files.shop import read_shop
from matchkit.files.spectrum import read_spectrum
from matchkit.files.write import csv_text
from matchkit.fitting.fit import Fit
from matchkit.inks.shop import Drawdown, Shop
from matchkit.matching.probability import spread_of
from matchkit.matching.rank import Candidate
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import opaque_R, read

Facts = dict[str, Any]
Adapter = Callable[["Room"], Facts]

SHOP_SEED = 33  # of data/make_demo_shop.py: the bench that the demo shop's inks come from
TARGET = "Sea teal"
LAB = (55.0, -25.0, -10.0)
GROUND, PRINT_UM = "navy tee", 60.0

NAMES = (  # of the demo shop's inks, in the bench's order
    "Quay White", "Bollard Black", "Ebb Clear", "Sharp Lemon", "Buoy Scarlet", "Slipway Blue",
    "Foxglove Magenta", "Kelp Green", "Dusk Violet", "Lamp Orange", "Deckhand Blue", "Straw Gold",
    "Rust Earth", "Dock Crimson", "Sand Ochre", "Tar Brown",
)  # fmt: skip

# Today's lots, beside those that were fitted, and the formula that most jobs are about.
LOTS = {"Quay White": 0.97, "Kelp Green": 0.94, "Slipway Blue": 1.06, "Bollard Black": 1.07}
FORMULA = {
    "Quay White": 315.72, "Kelp Green": 104.49, "Slipway Blue": 73.18, "Bollard Black": 9.61,
}  # fmt: skip
TAUGHT: tuple[tuple[str, dict[str, float]], ...] = (
    (TARGET, FORMULA),
    ("Pale mint", {"Quay White": 480.0, "Kelp Green": 15.0, "Sharp Lemon": 5.0}),
    ("Powder blue", {"Quay White": 470.0, "Slipway Blue": 20.0, "Bollard Black": 10.0}),
)
COUNTED = {"Slipway Blue": 200.0}
CHECKED = ("Straw Gold", "Y-040", 1.08)
LEFT = ("Left from a job", 150.0)

# What is told in words, by the code that stands for it: one line for each thing to say.
WARNINGS = {
    "anyway": r"--anyway",
    "batch differs from job": r"the job needs \d+ g",
    "clear": r"[Ss]heer|[Mm]ostly clear",
    "far from plan": r"far from the plan",
    "farther than tolerance": r"is outside the tolerance",
    "garment": r"prove it on the garment|see it on the garment|on a dark garment",
    "invented grounds": r"[Ii]nvented",
    "Lab only": r"Only Lab values",
    "leave it": r"can't be (?:brought within|saved)|not bring it within tolerance|It takes \d+ g",
    "lots' spread": r"Chances allow for lots differing",
    "new batch": r"mix a new batch",
    "not all looked at": r"not all were looked at|can be looked at one by one",
    "not near enough": r"[Nn]ot near enough",
    "other light": r"agree which light counts|Matches under .*?, not under",
    "over a limit": r"over its limit",
    "short list": r"[Oo]nly \d+ formulas? \(",
    "small weight": r"steps of the balance",
    "stock": r"[Ss]tock holds this back",
    "taken apart": r"is a mix: taken as",
    "too little stock": r"in stock, less than is needed",
}
VERDICTS = {
    "out of reach with this stock": r"[Oo]ut of reach with the stock",
    "out of reach": r"[Oo]utside what these inks can reach",
    "too few inks": r"but not with",
    "in reach": r"in gamut|inks can reach it",
    "nothing to add": r"[Nn]othing to add",
    "no addition helps": r"No addition brings it nearer",
    "passes": r"\bIN TOLERANCE\b",
    "fails": r"\bOUT OF TOLERANCE\b",
}
LOT = re.compile(r"(?:^|: )([A-Z][\w ]*?)(?: lot \S+)? has run (\d+) % (strong|weak)", re.M)
STRENGTH = re.compile(r"^(.+?) looks (\d+) % (?:too )?(strong|weak)", re.M)
SLIP = re.compile(r"^(.+?): ([\d.]+) g noted, but about ([\d.]+) g went in", re.M)
CHANCE = re.compile(r"chance(?: in tolerance| within [\d.]+)?:? ((?:over |under )?\d+ %)", re.I)
SENSITIVE = re.compile(r"Most sensitive: \S+ g too much (.+?) shifts|Pour (.+?) with most care")


@dataclass(frozen=True)
class Absent:
    """A door that is not there though the job makes sense, and what one would look for."""

    why: str


# ---- the shop, and who asks


class Room:
    """A copy of the shop folder, and files beside it."""

    def __init__(self, made: Path, place: Path) -> None:
        self.folder, self.place = place / "shop", place
        shutil.copytree(made, self.folder)
        self.batch = 0  # of the record book, where a job begins one

    @property
    def targets(self) -> Path:
        return self.folder / "targets.csv"

    @cached_property
    def target_R(self) -> Any:
        return read_spectrum(self.targets, TARGET)[0].R

    @cached_property
    def opened(self) -> Any:
        """The shop as a notebook opens it."""
        from matchkit.forms.shops import open_shop

        return open_shop(self.folder)

    def command(self, *words: object) -> tuple[str, dict[str, Any]]:
        """What a command tells a person on both streams, and its JSON, asked one after another."""
        told, _ = spoken([*words])
        _, out = spoken([*words, "--json"])
        return told, json.loads(out) if out else {}

    def verb(self, verb: str, *words: object) -> tuple[str, dict[str, Any]]:
        """The same of a verb of the record book, signed where it writes."""
        return self.command("book", self.folder, verb, *words, "--by", "Ana")

    def recipe(self, name: str, amounts: Mapping[str, float]) -> Path:
        path = self.place / f"{name}.csv"
        path.write_text(csv_text(["ink", "grams"], [*amounts.items()]), encoding="utf-8")
        return path

    def spectrum(self, name: str, R: Any) -> Path:
        path = self.place / f"{name}.csv"
        head, row = ["name", *(f"{nm:g}" for nm in GRID_NM)], [name, *np.round(R, 5).tolist()]
        path.write_text(csv_text(head, [row]), encoding="utf-8")
        return path

    def begun(self, noted: Mapping[str, float], *aim: object) -> int:
        """A batch of the record book that is to be weighed so."""
        wanted, recipe = aim or (self.targets, "--name", TARGET), self.recipe("noted", noted)
        _, out = spoken(["book", self.folder, "log-match", *wanted, "--recipe", recipe, "--json"])
        self.batch = int(json.loads(out)["batch"])
        return self.batch

    def kept(self, noted: Mapping[str, float], R: Any, *aim: object) -> int:
        """A batch of the record book that was weighed as `noted` and read as `R`."""
        self.begun(noted, *aim)
        reading = self.spectrum("reading", R)
        spoken(["book", self.folder, "weigh", self.batch, self.place / "noted.csv"])
        spoken(["book", self.folder, "measure", self.batch, reading])
        return self.batch


def spoken(words: Sequence[object]) -> tuple[str, str]:
    """Both streams of a command one after the other, and standard output by itself."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        main([str(word) for word in words])
    return err.getvalue() + "\n" + out.getvalue(), out.getvalue()


def cured(poured: Mapping[str, float], lots: Mapping[str, float] = LOTS, seed: int = 5) -> Any:
    """How a drawdown of it reads on the bench: radiative transfer, not the theory of the fit."""
    return read(_on_bench(poured, lots), np.random.default_rng(seed))[0]


def _on_bench(poured: Mapping[str, float], lots: Mapping[str, float]) -> Any:
    bench = make_bench(SHOP_SEED)
    c = np.array([poured.get(name, 0.0) for name in NAMES])
    return opaque_R(bench, c / c.sum(), [lots.get(name, 1.0) for name in NAMES])


def make_shop(fitted_demo: Path, folder: Path) -> Path:
    """The demo shop with a book that knows something of lots and stock."""
    shutil.copytree(fitted_demo, folder)
    shop = read_shop(folder)
    fits = read_fits(folder, shop, fit_content(folder))[0]["series"]
    book = open_book(folder, who="Ana")
    for k, (name, grams) in enumerate(TAUGHT):
        R = read_spectrum(folder / "targets.csv", name)[0].R
        target = Target.from_spectrum(R, shop.lights, shop.observer)
        formula, palette = prediction(
            shop, fits, [*grams], [*grams.values()], batch_g=sum(grams.values()), target=target
        )
        batch = log_match(book, shop, target, formula, name=name, fit=fit_key(palette)).batch
        weigh(book, shop, batch, grams)
        measure(book, shop, batch, cured(grams, seed=k))
        if not k:
            keep_leftover(book, shop, batch, LEFT[1], LEFT[0])
    save_lessons(book, shop, fits)
    ink, lot, strength = CHECKED
    drawdown = check_drawdown(shop, ink, strength)
    spread = spread_of(fits["plastisol"].palette, fits["plastisol"].error, shop.resolution_g)
    found = judge_lot(
        fits["plastisol"].palette, ink, [drawdown], spread, light=shop.lights[0],
        observer=shop.observer, lot=lot, reference=shop.hiding,
    )  # fmt: skip
    log_check(book, shop, drawdown, found)
    open_lot(book, shop, ink, lot)
    for name, grams_g in COUNTED.items():
        count(book, shop, name, grams_g)
    return folder


def check_drawdown(shop: Shop, ink: str, strength: float) -> Drawdown:
    """10 % of a lot so strong in white, drawn down on the bench."""
    inks, fractions = letdown(shop, ink, 10.0)
    R = cured(dict(zip(inks, fractions, strict=True)), {**LOTS, ink: strength}, seed=9)
    return Drawdown(name="check", inks=inks, fractions=fractions, readings=R[None])


@dataclass(frozen=True)
class Known:
    """What a person who calls the library has in hand: the shop of today, its fits, its lots."""

    shop: Shop
    plain: Mapping[str, Fit]
    told: Learned

    @property
    def fits(self) -> Mapping[str, Fit]:
        return self.told.fits


def by_library(room: Room, *, learning: bool = True, heard: Any = None) -> Known:
    """The shop as its book has it, by the library's own functions; `heard` is a reading."""
    files = read_shop(room.folder)
    fits = read_fits(room.folder, files, fit_content(room.folder))[0]["series"]
    book = open_book(room.folder, create=False)
    shop = today(book, files)
    without = None if heard is None else batch_read(book, heard)
    told = learned(book, shop, fits, learning=learning, without=without)
    return Known(shop, fits, told)


def seen(html: str) -> str:
    """What a form shows, as plain text: a line for each paragraph and row, cells by tabs."""
    html = re.sub(r"</t[dh]>", "\t", html)
    html = re.sub(r"</?(?:p|tr|div|table|caption|h\d|li|br|th?ead|tbody|ul)\b[^>]*>", "\n", html)
    return re.sub(r"\n\s*\n+", "\n", unescape(re.sub(r"<[^>]*>", "", html)))


def handed(path: Path) -> Any:
    """What the browser hands over for a chosen file."""
    content = memoryview(path.read_bytes())
    when = datetime(2026, 1, 2, tzinfo=UTC)
    given = {"name": path.name, "type": "text/csv", "size": len(content), "content": content}
    return ({**given, "last_modified": when},)


# ---- what was told


def warned(text: str) -> list[str]:
    return [code for code, pattern in WARNINGS.items() if re.search(pattern, text)]


def judged(text: str) -> str:
    return next((code for code, how in VERDICTS.items() if re.search(how, text)), "nothing said")


def lots_told(text: str) -> dict[str, float]:
    """Inks whose lots are counted on, in percent off the fitted ones."""
    return {ink: _signed(by, how) for ink, by, how in LOT.findall(text)}


def strengths_told(text: str) -> dict[str, float]:
    return {ink: _signed(by, how) for ink, by, how in STRENGTH.findall(text)}


def slips_told(text: str) -> dict[str, list[float]]:
    """Weighing errors: by ink what was noted, and what went in."""
    return {ink: [float(told), float(went)] for ink, told, went in SLIP.findall(text)}


def chances_told(text: str) -> list[str]:
    return CHANCE.findall(text)


def sensitive(text: str) -> list[str]:
    return [a or b for a, b in SENSITIVE.findall(text)]


def _signed(by: str, how: str) -> float:
    return float(by) if how == "strong" else -float(by)


def amounts(inks: Iterable[str], grams: Iterable[float]) -> dict[str, float]:
    """Grams by ink, of what there is any of."""
    return {ink: round(float(g), 2) for ink, g in zip(inks, grams, strict=True) if g > 0}


def by_name(rows: Iterable[Mapping[str, Any]]) -> dict[str, float]:
    """The same of JSON's rows."""
    listed = [*rows]
    return amounts([row["ink"] for row in listed], [row["grams"] for row in listed])


def candidate_facts(made: Candidate, lights: Sequence[str]) -> Facts:
    return {
        "inks": amounts(made.inks, made.grams),
        "de00": dict(zip(lights, made.de00.tolist(), strict=True)),
    }


def same(one: Any, other: Any) -> bool:
    """Whether two facts agree, numbers to what is shown of them."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(same(one[k], other[k]) for k in one)
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, int | float) and isinstance(other, int | float):
        return abs(one - other) <= 0.0056
    return bool(one == other)
