"""Formulas that are written into the record book, each with a batch to make of it."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from matchkit.book import batches, entries, jobs, work
from matchkit.book.entries import JobDetails, Logged
from matchkit.inks.shop import Shop
from matchkit.matching.match import fit_for
from matchkit.matching.probability import most_sensitive
from matchkit.workflows import finding, weighing_out
from matchkit.workflows.finishing_batch import left_out_of
from matchkit.workflows.formulas import FoundFormula, FoundFormulas, Search, amounts_dict
from matchkit.workflows.predicting import Formula, on_balance
from matchkit.workflows.printed import PrintedOver
from matchkit.workflows.session import Notice, Session, by_light
from matchkit.workflows.sizing import SizedBy
from matchkit.workflows.wanted import Wanted, wanted_spectrum


@dataclass(frozen=True, kw_only=True, eq=False)
class BookedFormula:
    """A formula that was written down, with a batch to make of it.

    `wanted` is the colour it is for, None where none was asked for, as of a paper formula.
    `reach` and `notices` are those of the search that it comes from, if there was one.
    """

    name: str
    wanted: Wanted | None
    written: FoundFormula
    records: Logged
    shop: Shop
    reach: Notice | None = None
    notices: tuple[Notice, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit book SHOP log-match --json`` prints it."""
        formula, wanted = self.written.formula, self.wanted
        away = None if wanted is None else by_light(wanted.target.lights, formula.de00)
        inks = {"inks": amounts_dict(formula), "de00": away}
        told = (*([self.reach] if self.reach else []), *self.notices, *self.written.notices)
        return asdict(self.records) | inks | {"notices": [vars(each) for each in told]}


@dataclass(frozen=True, kw_only=True, eq=False)
class Reprint:
    """A batch of the book matched again to what it measured, with today's lots.

    `again` is the old formula as it would come out today, beside the `found` ones.
    `approved`: it is matched to what was approved, not just to what was measured last.
    """

    batch: int
    customer: str
    approved: bool
    again: FoundFormula
    found: FoundFormulas

    @property
    def choices(self) -> tuple[FoundFormula, ...]:
        """The old formula, then the others, best first."""
        return (self.again, *self.found.formulas)

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit book SHOP reprint --json`` prints it."""
        lights = self.found.wanted.target.lights
        formulas = [
            {
                "inks": amounts_dict(each.formula),
                "de00": by_light(lights, each.formula.de00),
                "chance_in_tolerance": round(each.formula.chance_in_tolerance or 0.0, 4),
            }
            for each in self.choices
        ]
        return {"of_batch": self.batch, "name": self.found.wanted.name, "formulas": formulas}


def book_best(
    session: Session,
    wanted: Wanted,
    search: Search,
    details: JobDetails,
    *,
    rank: int = 1,
    source: str = "match",
    sized_by: SizedBy | None = None,
) -> BookedFormula:
    """Find formulas, and write the best of them down, or that of another `rank`.

    With `sized_by` the batch is what that needs.
    """
    session.open_book(create=True)
    if sized_by is None:
        found = finding.find_formulas(session, wanted, search)
    else:
        found = weighing_out.find_for_job(session, wanted, search, sized_by, rank=rank)
    return book_found(session, found, rank - 1, details, source=source, sized_by=sized_by)


def book_found(
    session: Session,
    found: FoundFormulas,
    k: int,
    details: JobDetails,
    *,
    name: str = "",
    source: str = "match",
    sized_by: SizedBy | None = None,
) -> BookedFormula:
    """Write down the formula at place `k` of those that were found; `name` is the colour's.

    With `sized_by` it is weighed anew, in a batch of what that needs.
    """
    session.open_book(create=True)
    wanted = replace(found.wanted, name=name or found.wanted.name)
    each, search = found.ranked(k + 1), found.search
    doubts = [found.reach.text] if found.reach.code != "in_reach" else []
    name, printed = wanted.name, search.printed
    if sized_by is not None:
        formula = Formula(amounts=dict(zip(each.formula.inks, each.formula.grams, strict=True)))
        grams = sized_by.grams(session, formula)
        if grams != search.batch_g:
            each = predicted(session, wanted, formula, grams, printed)
    written = write_down(
        session, name, wanted, each, details, source, printed, doubts, sized_by, search.without
    )
    return replace(written, reach=found.reach, notices=found.notices)


def reprint(session: Session, batch: int, search: Search) -> Reprint:
    """Match again to what a batch measured when it was approved, with today's lots.

    The old formula is what ended in the container, additions counted.  A batch that was never
    approved counts as it measured last.
    """
    record = jobs.job(session.open_book(), batch)
    without = (*search.without, *left_out_of(session, record))
    printed = search.printed or PrintedOver.from_book(record.printed)
    search = replace(search, printed=printed, without=without)
    R, approved = work.approved_R(record, session.shop)
    wanted = wanted_spectrum(session, record.name, R)
    return Reprint(
        batch=batch,
        customer=record.customer,
        approved=approved,
        again=predicted(
            session, wanted, Formula(amounts=record.container), search.batch_g, search.printed
        ),
        found=finding.find_formulas(session, wanted, search),
    )


def book_reprint(session: Session, made: Reprint, k: int, details: JobDetails) -> BookedFormula:
    """Write one of the `choices` of a reprint down, for its customer unless another is named."""
    each, found = made.choices[k], made.found
    whose = replace(details, customer=details.customer or made.customer)
    return write_down(
        session, found.wanted.name, found.wanted, each, whose, "reprint", found.search.printed,
        left_out=found.search.without,
    )  # fmt: skip


def predicted(
    session: Session,
    wanted: Wanted | None,
    formula: Formula,
    batch_g: float,
    printed: PrintedOver | None = None,
) -> FoundFormula:
    """A formula as it is weighed today; mixes of the shelf in it count as they were read."""
    made = on_balance(session, formula, wanted, batch_g, printed)
    shop, palette, mixed = session.shop, made.fit.palette, made.candidate
    alone = set(mixed.inks) <= set(palette.names)
    return FoundFormula(
        formula=mixed,
        palette=palette,
        sensitive=most_sensitive(palette, made.c * batch_g, made.target) if alone else None,
        notices=finding.warnings_of(mixed, made.target, shop),
    )


def write_down(
    session: Session,
    name: str,
    wanted: Wanted | None,
    each: FoundFormula,
    details: JobDetails,
    source: str,
    printed: PrintedOver | None = None,
    doubts: Sequence[str] = (),
    sized_by: SizedBy | None = None,
    left_out: Sequence[str] = (),
) -> BookedFormula:
    """Write the target, if any, formula and batch down; `doubts` stand in the formula's note.

    `left_out` names what is not to be in it, nor to be added to it later.
    """
    fits = session.films if printed else session.fits
    on = [f"Matched as a print, {printed.words}."] if printed else []
    doubts = [f"{text[0].upper()}{text[1:]}" for text in doubts]
    records = entries.log_match(
        session.open_book(),
        session.shop,
        None if wanted is None else wanted.target,
        each.formula,
        name=name,
        source=source,
        fit=batches.fit_key(fit_for(fits, each.palette.names).palette),
        printed="" if printed is None else json.dumps(printed.to_dict()),
        details=details,
        note=" ".join([*on, *doubts]),
        left_out=left_out,
        print_job=sized_by.to_book() if sized_by else "",
    )
    return BookedFormula(name=name, wanted=wanted, written=each, records=records, shop=session.shop)
