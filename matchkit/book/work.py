"""The record book at work: how a batch stands, a reprint, old paper formulas."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from matchkit.arrays import Array
from matchkit.book.batches import fit_key
from matchkit.book.entries import JobDetails, log_formula
from matchkit.book.jobs import BatchRecord
from matchkit.book.rows import by_ink, contents, held_by, left_g, must_be, named, parts_of
from matchkit.book.store import Book, reading
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab
from matchkit.colorimetry.words import direction
from matchkit.errors import InputError, raise_any
from matchkit.files.recipe import AMOUNTS, in_inks, mixtures, series_with
from matchkit.files.tables import read_table, wording
from matchkit.files.text import Findings, label
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.recipe import weigh_out
from matchkit.inks.shop import Shop
from matchkit.matching.match import chances_of, fit_for, fractions_for
from matchkit.matching.rank import Candidate, weighed

PRINTED = 100  # printed jobs, the last, that tell what jobs take


@dataclass(frozen=True, kw_only=True)
class Predicted:
    """What was predicted of a batch's formula; None where no colour was asked for."""

    R: Array  # (n_wl,)
    de00: float | None
    chance: float | None


@dataclass(frozen=True, kw_only=True)
class PaperFormula:
    """A formula from an old card: inks, mass fractions, and the card's own words."""

    name: str
    inks: tuple[str, ...]
    fractions: tuple[float, ...]
    customer: str
    note: str
    taken: tuple[str, ...] = ()  # mixes that were taken apart, a line each


@dataclass(frozen=True, kw_only=True)
class KeptFormula:
    """A formula as the book has it; `target` is the number of the colour it is for, if any."""

    name: str
    customer: str
    target: int | None
    printed: str  # as JSON; empty: a film that hides
    shares: dict[str, float]  # mass fractions, in weighing order


def formula_of(book: Book, number: int) -> KeptFormula:
    """A formula by its number; InputError if there is none or it was struck."""
    with reading(book) as db:
        must_be(db, "formula", number)
        told = "SELECT name, customer, target, printed FROM formula WHERE id = ?"
        (row,) = named(db, told, [number])
        return KeptFormula(**row, shares=parts_of(db, "formula", number))


@dataclass(frozen=True, kw_only=True)
class Recurring:
    """A colour of two batches or more: as it was asked for last, and its last formula.

    `R` (n_wl,) is None where only `lab`, under `light` and `observer`, is known; `shares` are
    mass fractions by ink, mixtures taken apart.
    """

    name: str
    batches: int
    R: Array | None
    lab: tuple[float, float, float]
    light: str
    observer: int
    shares: dict[str, float]


def recurring(book: Book) -> list[Recurring]:
    """The colours that were made again, most batches first; those of one name are one."""
    with reading(book) as db:
        rows = named(
            db,
            "WITH made AS (SELECT f.name AS name, max(f.target) AS target, count(*) AS batches,"
            " max(f.id) AS formula FROM batch_now b JOIN formula f ON f.id = b.formula"
            " WHERE f.target IS NOT NULL GROUP BY lower(f.name) HAVING count(*) > 1)"
            " SELECT made.name, batches, R, L, a, b, light, observer, formula"
            " FROM made JOIN target t ON t.id = made.target ORDER BY batches DESC, made.name",
        )
        mixes = {name for (name,) in db.execute("SELECT name FROM mix")}
        shares: dict[int, dict[str, float]] = {row["formula"]: {} for row in rows}
        for formula, ink, fraction in db.execute(
            "SELECT formula, ink, fraction FROM formula_ink"
            f" WHERE formula IN ({', '.join(map(str, shares))}) ORDER BY id"
        ):
            shares[formula][ink] = fraction
        for formula, parts in shares.items():
            if mixes & {*parts}:
                shares[formula] = held_by(db, formula)
    for row in rows:
        row["R"] = None if row["R"] is None else np.array(json.loads(row["R"]))
        row["lab"] = tuple(row.pop(axis) for axis in "Lab")
        row["shares"] = shares[row.pop("formula")]
    return [Recurring(**row) for row in rows]


@dataclass(frozen=True, kw_only=True)
class PrintedJob:
    """An approved batch of a job that was printed, of which somebody wrote down what was left.

    `print_job` is what was printed, as JSON; `poured_g` what was in the container, by ink.
    """

    batch: int
    print_job: str
    poured_g: dict[str, float]
    left_g: float


def printed_jobs(book: Book) -> list[PrintedJob]:
    """The last approved batches that were sized by a job and whose rest was written down."""
    with reading(book) as db:
        rows = db.execute(
            "SELECT b.id, b.print_job FROM batch_now b JOIN closing_now c ON c.batch = b.id"
            " WHERE b.print_job <> '' AND c.outcome = 'approved'"
            " AND b.id IN (SELECT batch FROM mix_now WHERE batch IS NOT NULL)"
            " ORDER BY b.id DESC LIMIT ?",
            [PRINTED],
        ).fetchall()
        return [
            PrintedJob(
                batch=batch, print_job=told, poured_g=by_ink(contents(db, batch)),
                left_g=left_g(db, batch),
            )
            for batch, told in rows
        ]  # fmt: skip


def target_of(book: Book, shop: Shop, target: int | None) -> Target | None:
    """A target by its number, seen as the shop sees now; None where none was asked for."""
    with reading(book) as db:
        row = db.execute(
            "SELECT R, L, a, b, light, observer FROM target WHERE id = ?", [target]
        ).fetchone()
    if row is None:
        return None
    if row[0] is None:
        return Target.from_lab(row[1:4], row[4], row[5])
    return Target.from_spectrum(np.array(json.loads(row[0])), shop.lights, shop.observer)


def why_struck(book: Book, target: int) -> str:
    """Why a target was struck; "" where it was not."""
    told = "SELECT why FROM strike WHERE what = 'target' AND record = ?"
    with reading(book) as db:
        return str((db.execute(told, [target]).fetchone() or [""])[0])


def predicted_of(book: Book, batch: BatchRecord) -> Predicted:
    """What the formula of a batch was predicted to give when it was written down."""
    with reading(book) as db:
        told = "SELECT R, de00, chance FROM formula WHERE id = ?"
        (row,) = named(db, told, [batch.formula])
    return Predicted(**row | {"R": np.array(json.loads(row["R"]))})


def verdict(book: Book, shop: Shop, batch: BatchRecord) -> str:
    """The last reading of a batch in a line: in tolerance or not, and which way it is off."""
    last, target = batch.readings[-1], target_of(book, shop, batch.target)
    if target is None or last.de00 is None:
        return "measured; it has no target to be judged by"
    seen = Lab(last.R, target.lights[0], target.observer)
    word = "IN TOLERANCE" if last.passed else "OUT OF TOLERANCE"
    if last.state:
        word = f"NOT JUDGED ({', '.join(last.state)})"
    elif last.weighing != batch.pours[-1].weighing:
        word = f"BEFORE THE LAST ADDITION {word}"
    now = last.de00 <= shop.tolerance_de00
    then = "" if last.passed in (None, now) else " now, another when it was read"
    return (
        f"{word}: dE00 {last.de00:.2f} under {target.light_names[0]}, tolerance "
        f"{shop.tolerance_de00:g}{then}; drawdown compared with target: "
        f"{direction(target.lab[0], seen)}"
    )


def approved_R(record: BatchRecord, shop: Shop) -> tuple[Array, bool]:
    """How a batch measured (n_wl,) when it was approved, else last, and whether it was approved."""
    seen = [r for r in record.readings if r.geometry == shop.geometry and not r.state]
    if not seen:
        raise InputError(
            f"batch {record.batch} has no measurement in the shop's geometry ({shop.geometry}) of a"
            " drawdown that was cured, stirred and hiding; measure a kept print of it, and match"
            " that"
        )
    approved = [r for r in seen if r.measurement == record.closed_on]
    return (approved or seen)[-1].R, bool(approved)


def read_paper(path: str | Path, shop: Shop) -> list[PaperFormula]:
    """Old paper formulas from a CSV file: ``formula,ink,percent`` or ``formula,ink,grams``.

    One row for each ink; ``customer`` and ``note`` may be there, on any row of a formula.
    A mix of the shop is taken apart into its inks.
    Raises `InputError` with every fault of the file, such as inks the shop does not have.
    """
    path = Path(path)
    table = read_table(
        path, required=("formula", "ink"), numeric=AMOUNTS, text=("customer", "note")
    )
    found = Findings(file=label(path), faults=list(table.faults))
    series = {ink.name: ink.series for ink in shop.inks}
    cards = []
    for mixture in mixtures(
        table, by="formula", series=series_with(series, shop.mixes), found=found
    ):
        said = {
            key: next(
                filter(None, (wording(r, key, faults=found.faults) for r in mixture.rows)), ""
            )
            for key in ("customer", "note")
        }
        if mixture.inks:
            amounts, taken = in_inks(mixture, series, shop.mixes, found)
            total = sum(amounts.values())
            cards.append(
                PaperFormula(
                    name=mixture.name,
                    inks=tuple(amounts),
                    fractions=tuple(amount / total for amount in amounts.values()),
                    taken=taken,
                    **said,
                )
            )
    if not cards and not found.faults:
        found.faults.append(f"{found.file}: no formulas under the header")
    raise_any(found.faults)
    return cards


def paper_in_book(book: Book, cards: Sequence[PaperFormula]) -> list[int | None]:
    """For each card the formula that the book has of it, name and amounts alike, if any."""
    with reading(book) as db:
        rows = db.execute(
            "SELECT id, name, customer FROM formula_now WHERE source = 'paper' ORDER BY id"
        ).fetchall()
        kept = [(number, said, parts_of(db, "formula", number)) for number, *said in rows]
    return [
        next((n for n, said, parts in kept if said == [card.name, card.customer]
              and _alike(parts, card)), None)
        for card in cards
    ]  # fmt: skip


def _alike(parts: Mapping[str, float], card: PaperFormula) -> bool:
    """Whether shares in the book are those of a card, to what a balance shows of a kilogram."""
    own = dict(zip(card.inks, card.fractions, strict=True))
    return all(abs(parts.get(ink, 0.0) - own.get(ink, 0.0)) < 2e-5 for ink in {*parts, *own})


def import_paper(
    book: Book, shop: Shop, fits: Mapping[str, Fit], cards: Sequence[PaperFormula]
) -> list[int]:
    """Write old paper formulas into the book with the colour that today's inks give them."""
    told = [prediction(shop, fits, card.inks, card.fractions) for card in cards]
    return [
        log_formula(
            book,
            shop,
            candidate,
            name=card.name,
            details=JobDetails(customer=card.customer, note=card.note),
            source="paper",
            fit=fit_key(palette),
        )
        for card, (candidate, palette) in zip(cards, told, strict=True)
    ]


def prediction(
    shop: Shop,
    fits: Mapping[str, Fit],
    inks: Sequence[str],
    fractions: Sequence[float],
    *,
    batch_g: float = 1000.0,
    target: Target | None = None,
) -> tuple[Candidate, Palette]:
    """A formula as it would be weighed, with its predicted colour, and its palette.

    Without a target its differences are those from its own colour, so 0, and no chance of
    hitting it is told.
    """
    found = fit_for(fits, inks)
    palette = found.palette
    c = fractions_for(palette, inks, fractions)
    own = Target.from_spectrum(reflectance(palette, c), shop.lights, shop.observer)
    grams = weigh_out(c, batch_g, shop.resolution_g)
    chance = None if target is None else chances_of(found, target, shop)
    return weighed(palette, grams, target or own, chances_of=chance), palette
