"""What the record book tells: a batch, what was found, a label."""

import json
from dataclasses import asdict, dataclass
from typing import Any

from matchkit.book import work
from matchkit.book.find import Found, Near, near
from matchkit.book.find import find as find_records
from matchkit.book.jobs import BatchRecord, job, mostly_clear
from matchkit.book.label import label_html, qr_svg
from matchkit.book.story import Event, events_of
from matchkit.book.work import Predicted
from matchkit.colorimetry.difference import Target
from matchkit.errors import did_you_mean
from matchkit.inks.shop import Shop
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import Wanted


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


def job_dict(record: BatchRecord) -> dict[str, Any]:
    """What every list of jobs tells of one."""
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
    events: tuple[Event, ...]

    @property
    def mostly_clear(self) -> bool:
        """Whether what is in the container, or is planned, will not hide."""
        return mostly_clear(self.record, self.shop.inks)

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
        return job_dict(record) | {
            "formula": record.formula,
            "target": record.target,
            "inks": inks,
            "mostly_clear": self.mostly_clear,
            "weighings": weighings,
            "measurements": measurements,
            "approved_by": record.approved_by,
            "note": record.note,
            "source": record.source,
            "printed": json.loads(record.printed) if record.printed else None,
            "notes": [*filter(None, [record.formula_note, record.closing_note])],
            "container": {ink: round(g, 6) for ink, g in record.container.items()},
            "events": [asdict(each) for each in self.events],
        }


def show(session: Session, batch: int) -> BatchShown:
    """A batch from what was asked for to how it ended."""
    book, shop = session.open_book(), session.shop
    record = job(book, batch)
    return BatchShown(
        record=record,
        shop=shop,
        target=work.target_of(book, shop, record.target),
        predicted=work.predicted_of(book, record),
        verdict=work.verdict(book, shop, record) if record.readings else "",
        events=events_of(book, batch),
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
    """What the book has near a colour, under the first light and the observer it is wanted for."""
    target = wanted.target
    found = near(
        session.open_book(), session.settings, target.lab[0], light=target.lights[0],
        observer=target.observer, within=within_de00, top=top,
    )  # fmt: skip
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
