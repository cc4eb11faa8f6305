"""Batches in the record book: what happens to one, and formulas that were there before."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from matchkit.book import containers, copies, entries, jobs, rows, stock, work
from matchkit.book.jobs import planned_grams as planned_of
from matchkit.book.work import PaperFormula
from matchkit.errors import InputError
from matchkit.files.text import quoted
from matchkit.workflows.correcting_batch import Advice
from matchkit.workflows.session import Session

TAUGHT = ("batch", "weighing", "measurement")  # struck, what they taught is unlearned


@dataclass(frozen=True, kw_only=True)
class Written:
    """What was written down, in a sentence; `records` are the numbers of what was written."""

    text: str
    records: Mapping[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """The numbers of the records, by what they are."""
        return dict(self.records)


# ---- what happens to a batch --------------------------------------------------------------


def planned(session: Session, batch: int) -> dict[str, float]:
    """Grams by ink that are to be weighed for a batch; InputError if it was weighed already."""
    record = jobs.job(session.open_book(), batch)
    if record.pours:
        raise InputError(containers.weighed_already(batch, record.pours[0].weighing))
    return planned_of(record, session.settings.resolution_g)


def weigh(session: Session, batch: int, grams: Mapping[str, float] | None = None) -> Written:
    """Write down what was weighed for a batch, grams by ink; None: just what was planned.

    InputError where an ink of the plan is not told: was none of it poured, or is it to come?
    """
    book, shop = session.open_book(), session.files
    planned = planned_of(jobs.job(book, batch), shop.resolution_g)
    grams = planned if grams is None else grams
    if untold := [ink for ink, g in planned.items() if g > 0 and ink not in grams]:
        raise InputError(
            [
                f"{ink}: {planned[ink]:g} g planned, no weight given; write 0 if none went in"
                for ink in untold
            ]
        )
    containers.weigh(book, shop, batch, grams)
    return _poured(session, batch, "weighed", "measure")


def add(
    session: Session, batch: int, grams: Mapping[str, float], *, correction: int | None = None
) -> Written:
    """Write down what was added to a batch; `correction` is the advice that was followed."""
    containers.add(session.open_book(), session.files, batch, grams, correction=correction)
    return _poured(session, batch, "added", "measure again")


def follow(session: Session, advice: Advice, name: str) -> int:
    """Write down which of the additions that were offered is followed; its number in the book."""
    assert advice.batch is not None
    record, way = jobs.job(session.open_book(), advice.batch), advice.offered[name]
    return containers.log_correction(
        session.open_book(), advice.batch, way, advice.palette.names, choice=name,
        measurement=record.readings[-1].measurement if advice.R is not None else None,
    )  # fmt: skip


def _poured(session: Session, batch: int, did: str, then: str) -> Written:
    """What the last weigh-out was, how far from its plan, and what comes next."""
    step = session.files.resolution_g
    pour = jobs.job(session.open_book(), batch).pours[-1]
    actual = dict(zip(pour.inks, pour.actual_g, strict=True))
    planned = dict(zip(pour.inks, pour.planned_g, strict=True))
    far = jobs.far_from_plan(actual, planned, step) if any(pour.planned_g) else []
    if far:
        back = rows.taken_back("weighing", pour.weighing)
        session.note(
            "far_from_plan",
            *(f"far from the plan: {line}" for line in far),
            f"it is written down; if it is a weighing error, {back} takes it back",
        )
    told = ", ".join(filter(None, [f"{sum(pour.actual_g):g} g {did}", jobs.off_plan(pour)]))
    left = stock.stock(session.open_book(), session.files)
    session.note(
        "below_zero",
        *(
            f"{name}: {left[name]:g} g on the shelf by the book, so there was more than it knew:"
            f" count it, `matchkit book SHOP count {quoted(name)} G`"
            for name in pour.inks
            if (left.get(name) or 0.0) < 0
        ),
    )
    text = f"Batch {batch}: {told}. Draw down, cure, let cool, {then}."
    return Written(text=text, records={"batch": batch, "weighing": pour.weighing})


def close(
    session: Session,
    batch: int,
    outcome: str,
    *,
    approved_by: str = "",
    light: str = "",
    note: str = "",
    left: tuple[float, str] | None = None,
) -> Written:
    """A batch is "approved", "rejected" or "abandoned"; by whom, under which light.

    What is `left` of it, grams and a name, goes on the shelf with that.  A batch that is
    approved out of tolerance needs a `note` that says why.
    """
    number = entries.close(
        session.open_book(), batch, outcome,
        approved_by=approved_by, light=light, note=note, left=left, shop=session.files,
    )  # fmt: skip
    text = f"Batch {batch}: {outcome}."
    if left:
        text += f" {_kept(*left)}"
    elif outcome == "approved" and jobs.job(session.open_book(), batch).print_job:
        text += (
            " When it is printed, write down what is left of it, 0 g too: the next job of this mesh"
            " and fabric can use that."
        )
    return Written(text=text, records={"batch": batch, "closing": number})


def leftover(session: Session, batch: int, grams: float, name: str = "") -> Written:
    """What is left of a batch, 0 g too, goes on the shelf under a name of its own."""
    book = session.open_book()
    name = name or f"{jobs.job(book, batch).name} left of {batch}"
    number = stock.keep_leftover(book, session.files, batch, grams, name)
    return Written(text=_kept(grams, name), records={"batch": batch, "mix": number})


def _kept(grams: float, name: str) -> str:
    if not grams:
        return "Nothing is left of it; that is written down."
    return f"{name}: {grams:g} g on the shelf; it can be weighed like an ink."


def mend(session: Session, batch: int, changes: Mapping[str, str]) -> Written:
    """Mend the job, customer, due day or note of a batch; what was there before is struck."""
    book = session.open_book()
    record = jobs.job(book, batch)
    now = {name: getattr(record, name) for name in ("job", "customer", "due", "note")}
    number = entries.mend(book, batch, entries.JobDetails(**{**now, **changes}))
    told = ", ".join(f"{name} {words or 'none'}" for name, words in changes.items())
    text = f"Batch {batch}: {told}. What was there before stays in the book as struck."
    return Written(text=text, records={"batch": batch, "details": number})


def strike(session: Session, what: str, number: int, why: str) -> Written:
    """Strike a record that was wrong; it stays in the book as struck, with the reason."""
    record = entries.strike(session.open_book(), what, number, why)
    if what in TAUGHT and session.fits_kept:
        session.learn()
    text = f"Struck: {what} {number}. Write the right one anew."
    return Written(text=text, records={"strike": record})


# ---- copies of the book -------------------------------------------------------------------


def backup(session: Session, to: str | Path) -> Written:
    """A whole copy of the book, also while it is in use: a new file, or in a folder."""
    path = copies.backup(session.open_book(), to)
    return Written(text=f"written: {path}", records={"written": str(path)})


def export(session: Session, folder: str | Path) -> Written:
    """Everything in the book as CSV and JSON, in a folder that is not there yet."""
    names = copies.export(session.open_book(), folder)
    text = f"written: {len(names)} files in {folder}"
    return Written(text=text, records={"folder": str(folder), "files": names})


def restore(session: Session, source: str | Path) -> Written:
    """Restore the book from a backup or an export, in a shop that has none."""
    path = copies.restore(source, session.folder).path
    return Written(text=f"restored: {path}", records={"restored": str(path)})


# ---- formulas that the book has -----------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class ImportedFormulas:
    """Paper formulas with their numbers in the book; `left_out` were there already."""

    cards: tuple[tuple[int, PaperFormula], ...]
    left_out: tuple[tuple[int, str], ...]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        return {
            "formulas": [{"formula": n, "name": card.name} for n, card in self.cards],
            "left_out": [{"formula": n, "name": name} for n, name in self.left_out],
        }


def import_paper(session: Session, path: str | Path, *, again: bool = False) -> ImportedFormulas:
    """Write old paper formulas down, with the colours that today's inks are predicted to give.

    What the book has already is left out, unless `again`.
    """
    book, shop = session.open_book(create=True), session.shop
    cards = work.read_paper(path, shop)
    session.note("taken_apart", *(line for card in cards for line in card.taken))
    there = [None] * len(cards) if again else work.paper_in_book(book, cards)
    known = [(n, card.name) for n, card in zip(there, cards, strict=True) if n is not None]
    for number, name in known:
        session.note(
            "left_out",
            f"{name} is in the book already, formula {number}; left out (--again writes it anew)",
        )
    new = [card for n, card in zip(there, cards, strict=True) if n is None]
    numbers = work.import_paper(book, shop, session.fits, new)
    return ImportedFormulas(cards=tuple(zip(numbers, new, strict=True)), left_out=tuple(known))
