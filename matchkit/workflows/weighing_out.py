"""What is weighed: formulas for a job, and the ticket to weigh by.

Every number of a ticket comes from here, whichever door asks for it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.correcting.hold_back import HoldBack, hold_back
from matchkit.errors import InputError, did_you_mean
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import reflectance
from matchkit.inks.recipe import as_ink, taken_apart
from matchkit.inks.shop import Mix, Shop
from matchkit.matching.match import fractions_for
from matchkit.matching.probability import chance_text, spread_of
from matchkit.matching.rank import Candidate
from matchkit.paper.jobsize import PrintJob, whole_g
from matchkit.paper.sheet import grams_text
from matchkit.paper.ticket import Ticket
from matchkit.paper.ticket import ticket as made_ticket
from matchkit.paper.weighing import Additive, Container
from matchkit.workflows.finding import find_formulas
from matchkit.workflows.formulas import FoundFormulas, Search
from matchkit.workflows.predicting import Formula, Weighed, grams_of, on_balance
from matchkit.workflows.printed import PrintedOver
from matchkit.workflows.session import Session
from matchkit.workflows.sizing import SizedBy, sized
from matchkit.workflows.wanted import Wanted

ON_TICKET = ("stock", "on_card")  # notices of what was found that a ticket repeats


def find_for_job(
    session: Session,
    wanted: Wanted,
    search: Search,
    sized_by: SizedBy,
    *,
    rank: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> FoundFormulas:
    """Formulas for a colour in a batch of what a job needs of the formula of `rank`.

    `search.batch_g` is where the search begins: how dense a formula is tells how much of it is
    needed, so it is looked for anew in that size.
    """
    found = find_formulas(session, wanted, search, progress=progress)
    for _ in range(3):  # another size may have another formula, where stock is short
        best = found.ranked(rank).formula
        amounts = dict(zip(best.inks, best.grams, strict=True))
        grams = sized_by.grams(session, Formula(amounts=amounts))
        if grams == found.search.batch_g:
            break
        found = find_formulas(session, wanted, replace(search, batch_g=grams), progress=progress)
    return found


# ---- the ticket


@dataclass(frozen=True, kw_only=True)
class TicketChoices:
    """What stands on a ticket beside the formula.

    `hold_back` gives by ink the share that is weighed first, 0-1.  Besides, `hold_colours`
    is the share of each colour and black that goes in last, and with `hold_sensitive` the
    most sensitive inks are held back by as much as their lots spread.  `density` in g/ml is
    that of the mixture, where ``inks.csv`` does not know it.  Without `day` it is today.
    """

    job: str = ""
    day: str = ""
    container: Container | None = None
    additives: tuple[Additive, ...] = ()
    hold_back: Mapping[str, float] = field(default_factory=dict)
    hold_colours: float = 0.0
    hold_sensitive: bool = False
    letdowns: bool = False
    print_job: PrintJob | None = None
    density: float | None = None


def ticket(
    session: Session,
    formula: Formula,
    choices: TicketChoices,
    *,
    wanted: Wanted | None = None,
    batch_g: float | None = None,
    printed: PrintedOver | None = None,
    warnings: Sequence[str] = (),
) -> Ticket:
    """The ticket to weigh a formula by, its colour predicted with the lots of today.

    `printed` is what it is printed on.  The batch is `batch_g`, else what the job needs in whole
    grams, else as much as the formula says in grams; InputError where none of these is known.
    """
    if batch_g is None and choices.print_job is not None:
        size = sized(session, formula, choices.print_job, density=choices.density)
        batch_g = whole_g(size)
    batch_g = batch_g or formula.total_g
    if batch_g is None:
        raise InputError(
            "the formula holds percents only; say how many grams to mix (--grams G), or what is to"
            " be printed"
        )
    made = on_balance(session, formula, wanted, batch_g, printed)
    return _ticket(
        session,
        made.candidate,
        choices,
        fit=made.fit,
        wanted=wanted,
        warnings=[*warnings, *_over_limit(made)],
    )


def found_ticket(session: Session, found: FoundFormulas, k: int, choices: TicketChoices) -> Ticket:
    """The ticket of formula `k`, from 0, of those that were found."""
    formula = found.ranked(k + 1).formula
    held = taken_apart(dict.fromkeys(formula.inks, 1.0), session.shop.mixes)
    fit = next(each for each in found.fits.values() if set(held) <= set(each.palette.names))
    told = [each.text for each in found.notices if each.code in ON_TICKET]
    return _ticket(session, formula, choices, fit=fit, wanted=found.wanted, warnings=told)


def _ticket(
    session: Session,
    candidate: Candidate,
    choices: TicketChoices,
    *,
    fit: Fit,
    wanted: Wanted | None = None,
    warnings: Sequence[str] = (),
) -> Ticket:
    """The ticket of a formula that was found or weighed out; `fit` predicted its colour."""
    shop = session.shop
    inks = (*shop.inks, *(as_ink(mix, shop.inks) for mix in shop.mixes))
    if strange := [ink for ink in choices.hold_back if ink not in candidate.inks]:
        raise InputError(
            [
                f"--hold-back: {ink!r} is not in this formula{did_you_mean(ink, candidate.inks)}"
                for ink in strange
            ]
        )
    held, told = _held_back(shop, fit, candidate, wanted, choices)
    size = None
    if choices.print_job is not None:
        poured = Formula(amounts=dict(zip(candidate.inks, candidate.grams, strict=True)))
        size = sized(
            session, poured, choices.print_job, container=choices.container, density=choices.density
        )
    return made_ticket(
        candidate,
        None if wanted is None else wanted.target,
        shop,
        target_name="" if wanted is None else wanted.name,
        inks=inks,
        job=choices.job,
        date=choices.day or (session.clock().date() if session.clock else date.today()).isoformat(),
        hold_back=held,
        use_letdowns=choices.letdowns,
        additives=choices.additives,
        container=choices.container,
        job_size=size,
        warnings=[*_on_shelf(shop, fit, candidate, wanted), *warnings, *told],
    )


def _on_shelf(shop: Shop, fit: Fit, candidate: Candidate, wanted: Wanted | None) -> list[str]:
    """Mixes of the shelf that have the colour already, the nearest first.

    As they were read, else as predicted; those that the formula takes anyway are left out.
    """
    own = Target.from_spectrum(candidate.R, shop.lights, shop.observer)
    target = wanted.target if wanted else own
    light, observer = target.lights[0], target.observer
    found = []
    for mix in shop.mixes:
        if not mix.stock_g or mix.name in candidate.inks or not {*mix.inks} <= {*fit.palette.names}:
            continue
        R, read = colour_of(mix, fit)
        away = float(de00(target.lab[0], Lab(R, light, observer)))
        if away <= shop.tolerance_de00:
            how = "measured" if read else "predicted"
            there = f"{grams_text(mix.stock_g, shop.resolution_g)} g of this are on the shelf"
            text = f"{there}: {mix.name}, {how} dE00 {away:.2f} from the target. Use it up first."
            found.append((away, text))
    return [text for _, text in sorted(found)]


def colour_of(mix: Mix, fit: Fit) -> tuple[Array, bool]:
    """What a mix reads (n_wl,), and whether it was measured; a print's is always predicted."""
    if mix.R is not None and not fit.palette.printed:  # it was read as a drawdown
        return mix.R, True
    return reflectance(fit.palette, fractions_for(fit.palette, mix.inks, mix.fractions)), False


def batch_ticket(session: Session, batch: int, choices: TicketChoices) -> Ticket:
    """The ticket of a batch of the record book: its formula as it was written down.

    Batch, job and customer stand on it, and what it was sized by.  InputError where there is no
    such batch.
    """
    from matchkit.book.jobs import job, local_day, planned_grams
    from matchkit.book.work import target_of

    book, shop = session.open_book(), session.shop
    asked = job(book, batch)
    target = target_of(book, shop, asked.target)
    facts = (choices.job or asked.job, asked.customer, f"batch {asked.batch}")
    if choices.print_job is None and (sized_by := SizedBy.from_book(asked.print_job)):
        choices = replace(choices, print_job=sized_by.job, density=sized_by.density)
    weighed_on = sorted(local_day(pour.at) for pour in asked.pours)
    planned = planned_grams(asked, shop.resolution_g)
    return ticket(
        session,
        Formula(name=asked.name, amounts=planned, total_g=sum(planned.values())),
        replace(choices, job=", ".join(filter(None, facts))),
        wanted=None if target is None else Wanted(name=asked.name, target=target),
        printed=PrintedOver.from_book(asked.printed),
        warnings=[
            *filter(None, [asked.formula_note, asked.note]),
            *(f"Weighed already, {day}: this is the formula as planned." for day in weighed_on[:1]),
        ],
        batch_g=sum(planned.values()),
    )


def _over_limit(made: Weighed) -> list[str]:
    """Inks that only the mixes take over their limit; the ticket sees the others itself."""
    alone = dict(zip(made.candidate.inks, made.candidate.percents, strict=True))
    return [
        f"{ink.name}: {percent:.1f} % with what the mixes hold of it, over its limit of"
        f" {ink.max_percent:g} %."
        for ink, percent in zip(made.fit.palette.inks, (100 * made.c).tolist(), strict=True)
        if percent > ink.max_percent + 0.05 >= alone.get(ink.name, 0.0)
    ]


def _held_back(
    shop: Shop, fit: Fit, candidate: Candidate, wanted: Wanted | None, choices: TicketChoices
) -> tuple[dict[str, float], list[str]]:
    """The share of each ink that is weighed first, and what holding back brings."""
    roles = {ink.name: ink.role for ink in shop.inks}
    held = {
        name: 1 - choices.hold_colours
        for name in candidate.inks
        if choices.hold_colours and roles.get(name) in ("colour", "black")
    } | dict(choices.hold_back)
    if not choices.hold_sensitive:
        return held, []
    found = _sensitive_held(shop, fit, candidate, wanted)
    one, two = chance_text(found.chance_one_stage), chance_text(found.chance_two_stage)
    if not found.inks:
        return held, [f"Nothing is worth holding back: the chance in one stage is {one}."]
    held |= {ink: found.share for ink in found.inks}
    return held, [f"Chance in tolerance: {one} in one stage, {two} in two (measure between)."]


def _sensitive_held(shop: Shop, fit: Fit, candidate: Candidate, wanted: Wanted | None) -> HoldBack:
    palette = fit.palette
    poured = dict(zip(candidate.inks, candidate.grams, strict=True))
    target = (
        Target.from_spectrum(candidate.R, shop.lights, shop.observer)
        if wanted is None
        else wanted.target
    )
    return hold_back(
        palette,
        grams_of(palette, poured, shop),
        target,
        spread_of(palette, fit.error, shop.resolution_g),
        shop.tolerance_de00,
        resolution_g=shop.resolution_g,
        share=None,
        alone_g=np.array([poured.get(name, 0.0) for name in palette.names]),
    )
