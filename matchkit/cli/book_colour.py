"""The verbs of ``matchkit book`` that bring colours into it: matches, reprints, old cards."""

import argparse
from dataclasses import replace

from matchkit.book.entries import JobDetails
from matchkit.book.find import scanned
from matchkit.cli.asked import batch_argument, batch_of, give, target_options, wanted_of
from matchkit.cli.formulas import search_of, search_options
from matchkit.cli.printed import container_option, job_of, job_options
from matchkit.cli.ticket import html_option, write_ticket
from matchkit.cli.values import in_grams, positive, whole
from matchkit.errors import InputError
from matchkit.report import book, formulas
from matchkit.workflows import beginning, booking, predicting
from matchkit.workflows.beginning import USUAL_G, Source
from matchkit.workflows.booked import BookedFormula, book_reprint
from matchkit.workflows.booked import reprint as match_again
from matchkit.workflows.session import Session
from matchkit.workflows.sizing import SizedBy
from matchkit.workflows.wanted import Wanted
from matchkit.workflows.weighing_out import TicketChoices, batch_ticket


def _job_options(parser: argparse.ArgumentParser) -> None:
    """What a batch is for."""
    parser.add_argument("--job", default="", help="the job's name")
    parser.add_argument("--customer", default="", help="for whom")
    parser.add_argument("--due", default="", metavar="DAY", help="as 2026-11-25")
    parser.add_argument("--note", default="", help="remarks about the job")
    container_option(parser)


def _details(args: argparse.Namespace) -> JobDetails:
    return JobDetails(
        job=args.job, customer=args.customer, due=args.due, note=args.note,
        container_ml=args.container.volume_ml if args.container else 0.0,
    )  # fmt: skip


def begin_arguments(parser: argparse.ArgumentParser) -> None:
    log_match_arguments(parser)
    html_option(parser)
    parser.add_argument("--again", metavar="BATCH", help="of a past batch, as it ended")
    parser.add_argument(
        "--formula",
        type=whole(),
        metavar="N",
        help="of a formula of the book, by its number as find shows it",
    )
    parser.add_argument("--mix", default="", metavar="NAME", help="of a mix on the shelf")
    parser.add_argument(
        "--rematch", action="store_true",
        help="match anew to its colour: of a past batch, what it measured when it was approved",
    )  # fmt: skip


def log_match_arguments(parser: argparse.ArgumentParser) -> None:
    target_options(parser)
    parser.add_argument("--recipe", metavar="FILE", help="the formula, if one was chosen already")
    parser.add_argument(
        "--rank", type=whole(), default=1, metavar="N",
        help="else which formula of the match (1, the best)",
    )  # fmt: skip
    search_options(parser)
    parser.set_defaults(grams=None)
    _job_options(parser)
    job_options(
        parser.add_argument_group("without --grams: as much as the job needs"), required=False
    )


def begin(session: Session, args: argparse.Namespace) -> None:
    source = Source(
        wanted=_wanted(session, args) if args.target or args.lab else None,
        recipe=predicting.recipe_in(session, args.recipe) if args.recipe else None,
        batch=scanned(session.open_book(), args.again) if args.again else None,
        formula=args.formula,
        mix=args.mix,
    )
    made = _begin(session, args, source, rematch=args.rematch)
    if args.html or args.weigh_sheet:
        choices = TicketChoices(container=args.container)
        ticket = batch_ticket(session, made.records.batch, choices)
        write_ticket(args.html, ticket, args.weigh_sheet)


def log_match(session: Session, args: argparse.Namespace) -> None:
    recipe = predicting.recipe_in(session, args.recipe) if args.recipe else None
    _begin(session, args, Source(wanted=_wanted(session, args), recipe=recipe))


def _wanted(session: Session, args: argparse.Namespace) -> Wanted:
    name = args.name if args.lab else None
    args.command, args.name = args.verb, None if args.lab else args.name
    wanted = wanted_of(args, session, other_weight=args.other_lights)
    return replace(wanted, name=name or wanted.name)


def _begin(
    session: Session, args: argparse.Namespace, source: Source, *, rematch: bool = False
) -> BookedFormula:
    grams, args.grams, job = args.grams, args.grams or USUAL_G, job_of(args)
    search = replace(search_of(args), top=max(args.top, args.rank))
    made = beginning.begin(
        session, source, _details(args), search, batch_g=grams, rematch=rematch, rank=args.rank,
        sized_by=None if job is None else SizedBy(job=job, density=args.density),
    )  # fmt: skip
    give(args, made.to_dict, lambda: formulas.booked_parts(made))
    return made


def reprint_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    search_options(parser)
    parser.add_argument(
        "--log", type=whole(0), metavar="N",
        help="write the Nth formula down as a batch (0: the old formula)",
    )  # fmt: skip
    _job_options(parser)


def reprint(session: Session, args: argparse.Namespace) -> None:
    made = match_again(session, batch_of(session, args), search_of(args))
    answer, parts = made.to_dict(), formulas.reprint_parts(made)
    if args.log is not None:
        if args.log >= len(made.choices):
            raise InputError(f"--log: found {args.log}; write 0 to {len(made.choices) - 1}")
        batch = book_reprint(session, made, args.log, _details(args)).records.batch
        answer["batch"] = batch
        parts.append(f"Written down as batch {batch}.")
    give(args, lambda: answer, lambda: parts)


def import_paper_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("cards", metavar="FILE", help="CSV formula,ink,percent (or grams), customer and note too")
    add("--again", action="store_true", help="write down too what the book has already")


def import_paper(session: Session, args: argparse.Namespace) -> None:
    imported = booking.import_paper(session, args.cards, again=args.again)
    give(args, imported.to_dict, lambda: book.imported_parts(imported))


def open_batch_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "formula", type=whole(), metavar="FORMULA",
        help="its number, as import-paper and find show it",
    )  # fmt: skip
    parser.add_argument(
        "--grams", type=in_grams(positive), default=USUAL_G, metavar="G", help="batch size (1000)"
    )
    _job_options(parser)


def open_batch(session: Session, args: argparse.Namespace) -> None:
    source = Source(formula=args.formula)
    made = beginning.begin(session, source, _details(args), batch_g=args.grams)
    give(args, made.to_dict, lambda: formulas.booked_parts(made))
