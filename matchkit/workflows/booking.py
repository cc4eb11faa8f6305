"""Batches in the record book: what happens to one, a day's jobs, and what there was before."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from matchkit.book import containers, entries, work
from matchkit.book.find import Found, Near, near
from matchkit.book.find import find as find_records
from matchkit.book.jobs import (
    BatchRecord,
    common,
    far_from_plan,
    job,
    off_plan,
    sharing,
    todays_jobs,
)
from matchkit.book.jobs import planned_grams as planned_of
from matchkit.book.label import label_html, qr_svg
from matchkit.book.rows import taken_back
from matchkit.book.stock import keep_leftover
from matchkit.book.work import PaperFormula, Predicted
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab
from matchkit.errors import InputError, did_you_mean
from matchkit.inks.shop import Shop
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import Wanted


@dataclass(frozen=True, kw_only=True)
class Written:
    """What was written down, in a sentence; `records` are the numbers of what was written."""

    text: str
    records: Mapping[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """The numbers of the records, by what they are."""
        return dict(self.records)


@dataclass(frozen=True, kw_only=True)
class Query:
    """Which batches and formulas are looked for; what is empty leaves nothing out."""

    ink: str = ""
    lot: str = ""
    customer: str = ""
    text: str = ""
    since: str = ""
    until: str = ""
    top: int = 20


# ---- what happens to a batch --------------------------------------------------------------


def weigh(session: Session, batch: int, grams: Mapping[str, float] | None = None) -> Written:
    """Write down what was weighed for a batch, grams by ink; None: just what was planned."""
    book, shop = session.open_book(), session.files
    if grams is None:
        grams = planned_of(job(book, batch), shop.resolution_g)
    containers.weigh(book, shop, batch, grams)
    return _poured(session, batch, "weighed", "measure")


def add(
    session: Session, batch: int, grams: Mapping[str, float], *, correction: int | None = None
) -> Written:
    """Write down what was added to a batch; `correction` is the advice that was followed."""
    containers.add(session.open_book(), session.files, batch, grams, correction=correction)
    return _poured(session, batch, "added", "measure again")


def _poured(session: Session, batch: int, did: str, then: str) -> Written:
    """What the last weigh-out was, how far from its plan, and what comes next."""
    step = session.files.resolution_g
    pour = job(session.open_book(), batch).pours[-1]
    actual = dict(zip(pour.inks, pour.actual_g, strict=True))
    planned = dict(zip(pour.inks, pour.planned_g, strict=True))
    far = far_from_plan(actual, planned, step) if any(pour.planned_g) else []
    if far:
        back = taken_back("weighing", pour.weighing)
        session.note(
            "far_from_plan",
            *(f"far from the plan: {line}" for line in far),
            f"it is written down; if it is a weighing error, {back} takes it back",
        )
    told = ", ".join(filter(None, [f"{sum(pour.actual_g):g} g {did}", off_plan(pour)]))
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
) -> Written:
    """A batch is "approved", "rejected" or "abandoned"; by whom, under which light."""
    number = entries.close(
        session.open_book(), batch, outcome, approved_by=approved_by, light=light, note=note
    )
    return Written(text=f"Batch {batch}: {outcome}.", records={"batch": batch, "closing": number})


def leftover(session: Session, batch: int, grams: float, name: str) -> Written:
    """What is left of a batch goes on the shelf under a name of its own."""
    number = keep_leftover(session.open_book(), session.files, batch, grams, name)
    text = f"{name}: {grams:g} g on the shelf; it can be weighed like an ink."
    return Written(text=text, records={"batch": batch, "mix": number})


def strike(session: Session, what: str, number: int, why: str) -> Written:
    """Strike a record that was wrong; it stays in the book as struck, with the reason."""
    record = entries.strike(session.open_book(), what, number, why)
    text = f"Struck: {what} {number}. Write the right one anew."
    return Written(text=text, records={"strike": record})


# ---- formulas that the book has -----------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Opened:
    """A new batch of a formula that the book has, and what to weigh for it."""

    record: BatchRecord
    planned_g: Mapping[str, float]
    resolution_g: float

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        inks = [{"ink": ink, "grams": g} for ink, g in self.planned_g.items()]
        return {"batch": self.record.batch, "formula": self.record.formula, "inks": inks}


def open_batch(session: Session, formula: int, grams: float, details: entries.JobDetails) -> Opened:
    """Open a batch of a formula by its number, such as that of an old paper card."""
    book, step = session.open_book(), session.settings.resolution_g
    record = job(book, entries.open_batch(book, formula, grams, details))
    return Opened(record=record, planned_g=planned_of(record, step), resolution_g=step)


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


# ---- questions ----------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Day:
    """The open jobs, and those of today; pairs of them that share a base colour."""

    jobs: tuple[BatchRecord, ...]
    sharing: tuple[tuple[BatchRecord, BatchRecord, float], ...]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        pairs = [
            {
                "batches": [one.batch, other.batch],
                "share": round(share, 4),
                "base": common(one.shares, other.shares),
            }
            for one, other, share in self.sharing
        ]
        return {"jobs": [_job_dict(each) for each in self.jobs], "sharing": pairs}


def day(session: Session) -> Day:
    """What is to be done today, and what can be mixed at once."""
    jobs = todays_jobs(session.open_book())
    return Day(jobs=tuple(jobs), sharing=tuple(sharing(jobs)))


def _job_dict(record: BatchRecord) -> dict[str, Any]:
    return {
        "batch": record.batch,
        "name": record.name,
        "job": record.job,
        "customer": record.customer,
        "due": record.due,
        "grams": record.planned_g,
        "state": record.state,
        "de00": record.readings[-1].de00 if record.readings else None,
    }


@dataclass(frozen=True, kw_only=True, eq=False)
class BatchShown:
    """All that the book has about a batch; `verdict` judges its last reading, if there is one."""

    record: BatchRecord
    shop: Shop
    target: Target | None
    predicted: Predicted
    verdict: str

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        record = self.record
        inks = [{"ink": ink, "percent": round(100 * f, 6)} for ink, f in record.shares.items()]
        weighings = [
            {
                "weighing": p.weighing,
                "at": p.at,
                "by": p.who,
                "inks": [
                    {"ink": ink, "lot": lot, "planned_grams": planned, "grams": g}
                    for ink, lot, planned, g in zip(
                        p.inks, p.lots, p.planned_g, p.actual_g, strict=True
                    )
                ],
            }
            for p in record.pours
        ]
        measurements = [
            {
                "measurement": r.measurement,
                "at": r.at,
                "by": r.who,
                "weighing": r.weighing,
                "de00": r.de00,
                "passed": r.passed,
                "lab": {r.light: list(r.lab)},
            }
            for r in record.readings
        ]
        return _job_dict(record) | {
            "formula": record.formula,
            "target": record.target,
            "inks": inks,
            "weighings": weighings,
            "measurements": measurements,
            "approved_by": record.approved_by,
        }


def show(session: Session, batch: int) -> BatchShown:
    """A batch from what was asked for to how it ended."""
    book, shop = session.open_book(), session.shop
    record = job(book, batch)
    return BatchShown(
        record=record,
        shop=shop,
        target=work.target_of(book, shop, record),
        predicted=work.predicted_of(book, record),
        verdict=work.verdict(book, shop, record) if record.readings else "",
    )


@dataclass(frozen=True, kw_only=True)
class Records:
    """Batches and formulas, newest first; `hint` is of a name that may be mistyped."""

    found: tuple[Found, ...]
    hint: str = ""

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        return {"found": [asdict(each) for each in self.found]}


def find(session: Session, query: Query) -> Records:
    """Batches and formulas by ink, lot, customer, words and days."""
    found = find_records(session.open_book(), **asdict(query))
    inks = [] if found or not query.ink else [ink.name for ink in session.files.inks]
    hint = "" if not inks or query.ink in inks else did_you_mean(query.ink, inks)
    return Records(found=tuple(found), hint=hint)


@dataclass(frozen=True, kw_only=True)
class NearColour:
    """What the book has within a dE00 of a colour, nearest first."""

    near: tuple[Near, ...]
    within_de00: float

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        return {"near": [asdict(each) for each in self.near]}


def find_colour(
    session: Session, wanted: Wanted, *, within_de00: float = 2.0, top: int = 20
) -> NearColour:
    """What the book has near a colour, under the shop's first light and observer."""
    shop, target = session.settings, wanted.target
    light, observer = shop.lights[0], shop.observer
    if target.R is not None:
        lab = Lab(target.R, light, observer)
    elif (target.lights[0], target.observer) == (light, observer):
        lab = target.lab[0]
    else:
        raise InputError(
            f"the book is searched under {light} and {observer} degrees; give the Lab for those"
        )
    found = near(session.open_book(), shop, lab, within=within_de00, top=top)
    return NearColour(near=tuple(found), within_de00=within_de00)


@dataclass(frozen=True, kw_only=True)
class Label:
    """The label of a container, as a page to print."""

    title: str
    html: str


def label(session: Session, batch: int) -> Label:
    """The label of a batch: what is in it, for whom, and the code that finds it again."""
    book = session.open_book()
    record = job(book, batch)
    if not qr_svg("1"):
        session.note(
            "no_code",
            "no QR code: the package segno is missing; in the folder of matchkit run: "
            'pip install -e ".[label]"',
        )
    html = label_html(book, session.shop, record)
    return Label(title=f"Label {batch} {record.name}", html=html)
