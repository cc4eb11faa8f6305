"""A batch of whatever gives a formula: a colour, a recipe, a past batch, the book, the shelf."""

from dataclasses import dataclass, replace

from matchkit.book import entries
from matchkit.book.entries import JobDetails, Logged
from matchkit.book.jobs import job
from matchkit.book.work import approved_R, formula_of
from matchkit.errors import InputError, did_you_mean
from matchkit.workflows.booked import BookedFormula, book_best, predicted, write_down
from matchkit.workflows.finishing_batch import left_out_of
from matchkit.workflows.formulas import Search
from matchkit.workflows.measuring_batch import wanted_kept
from matchkit.workflows.predicting import Formula, grams_asked
from matchkit.workflows.printed import PrintedOver
from matchkit.workflows.session import Session
from matchkit.workflows.sizing import SizedBy, as_before
from matchkit.workflows.wanted import Wanted, wanted_spectrum

USUAL_G = 1000.0


@dataclass(frozen=True, kw_only=True)
class Source:
    """What a batch is begun from: one of these, or a `recipe` for a colour that is `wanted`.

    `batch` is a past batch by its number, `formula` one that the book has, such as an imported
    paper formula, `mix` stands on the shelf under that name.
    """

    wanted: Wanted | None = None
    recipe: Formula | None = None
    batch: int | None = None
    formula: int | None = None
    mix: str = ""


@dataclass(frozen=True, kw_only=True)
class _Known:
    """A formula, the colour it is for, and what is said of it; `number` is its own in the book."""

    name: str
    formula: Formula
    wanted: Wanted | None
    source: str
    customer: str = ""
    printed: PrintedOver | None = None
    left_out: tuple[str, ...] = ()
    number: int | None = None
    target: int | None = None


def begin(
    session: Session,
    source: Source,
    details: JobDetails,
    search: Search | None = None,
    *,
    batch_g: float | None = None,
    rematch: bool = False,
    rank: int = 1,
    sized_by: SizedBy | None = None,
) -> BookedFormula:
    """Write a batch down, of any source of a formula, with the lots of today.

    A past batch is made as it ended in its container, additions counted.  With `rematch`, and
    for a colour alone, formulas are looked for as `search` says, and that of `rank` is taken:
    for a past batch to what it measured when it was approved.  Without `batch_g` the batch is
    what the job of `sized_by` needs, else as large as the source says, else 1000 g.
    InputError for a recipe in grams, and another batch.
    """
    sized_by = None if batch_g else sized_by
    if sized_by:  # as it is now: what is kept of it stays the same
        sized_by = replace(sized_by, job=as_before(session, sized_by.job))
    if source.recipe and not sized_by:  # before there is a book
        batch_g = grams_asked(source.recipe, batch_g, USUAL_G)
    session.open_book(create=True)
    search = search or Search()
    given = [each for each in (source.batch, source.formula, source.mix or None) if each]
    if len(given) + bool(source.wanted or source.recipe) != 1:
        raise InputError(
            "a batch is begun from one thing: a colour, a recipe, a past batch, a formula of the"
            " book or a mix"
        )
    if source.wanted and (rematch or not source.recipe):
        search = replace(search, batch_g=batch_g or USUAL_G)
        return book_best(session, source.wanted, search, details, rank=rank, sized_by=sized_by)
    known = _known(session, source)
    printed = search.printed or known.printed
    search = replace(search, without=(*search.without, *known.left_out))
    if sized_by:
        batch_g = sized_by.grams(session, known.formula)
    grams = batch_g or known.formula.total_g or USUAL_G
    details = replace(details, customer=details.customer or known.customer)
    if rematch:
        if known.wanted is None:
            raise InputError(f"{known.name}: nobody measured it, so there is no colour to match")
        search = replace(search, batch_g=grams, printed=printed)
        return book_best(
            session, known.wanted, search, details, rank=rank, source="reprint",
            sized_by=sized_by,
        )  # fmt: skip
    each = predicted(session, known.wanted, known.formula, grams, printed)
    if known.number is None or printed != known.printed:
        return write_down(
            session, known.name, known.wanted, each, details, known.source, printed, (), sized_by,
            search.without,
        )  # fmt: skip
    batch = entries.open_batch(
        session.open_book(),
        known.number,
        grams,
        details,
        print_job=sized_by.to_book() if sized_by else "",
    )
    return BookedFormula(
        name=known.name,
        wanted=known.wanted,
        written=each,
        records=Logged(target=known.target, formula=known.number, batch=batch),
        shop=session.shop,
    )


def colour_of_batch(session: Session, batch: int) -> Wanted:
    """The colour of a past batch, to make it again: as it was approved, else as it was wanted."""
    known = _known(session, Source(batch=batch))
    if known.wanted is None:
        raise InputError(f"batch {batch} was never measured, and no target of it is in the book")
    return known.wanted


def _known(session: Session, source: Source) -> _Known:
    """The formula of a source; InputError where there is none by that number or name."""
    if source.recipe is not None:
        wanted = source.wanted
        name = wanted.name if wanted else source.recipe.name
        return _Known(name=name, formula=source.recipe, wanted=wanted, source="recipe")
    if source.mix:
        return _of_mix(session, source.mix)
    if source.formula is not None:
        return _of_book(session, source.formula)
    assert source.batch is not None
    record = job(session.open_book(), source.batch)
    if not record.readings:
        session.note(
            "never_measured",
            f"batch {record.batch} was never measured: this is its formula as it was planned",
        )
        kept = _of_book(session, record.formula)
        planned = replace(kept.formula, total_g=record.planned_g)
        return replace(kept, formula=planned, customer=record.customer)
    R, approved = approved_R(record, session.shop)
    when = "when it was approved" if approved else "last; it was never approved"
    session.note("colour_of_batch", f"the colour is what batch {record.batch} measured {when}")
    return _Known(
        name=record.name,
        formula=Formula(amounts=record.container, total_g=record.planned_g),
        wanted=wanted_spectrum(session, record.name, R),
        source="reprint",
        customer=record.customer,
        printed=PrintedOver.from_book(record.printed),
        left_out=left_out_of(session, record),
    )


def _of_book(session: Session, number: int) -> _Known:
    kept = formula_of(session.open_book(), number)
    return _Known(
        name=kept.name,
        formula=Formula(name=kept.name, amounts=kept.shares),
        wanted=wanted_kept(session, kept.name, kept.target),
        source="recipe",
        customer=kept.customer,
        printed=PrintedOver.from_book(kept.printed),
        number=number,
        target=kept.target,
    )


def _of_mix(session: Session, name: str) -> _Known:
    mixes = {mix.name: mix for mix in session.shop.mixes}
    if name not in mixes:
        there = ", ".join(mixes) or "none"
        raise InputError(f"no mix is called {name!r}; there are {there}{did_you_mean(name, mixes)}")
    mix = mixes[name]
    amounts = dict(zip(mix.inks, mix.fractions, strict=True))
    return _Known(
        name=name,
        formula=Formula(name=name, amounts=amounts),
        wanted=None if mix.R is None else wanted_spectrum(session, name, mix.R),
        source="recipe",
    )
