"""The verbs of ``matchkit book`` that follow a bucket from the balance to the shelf."""

import argparse
import sys
from collections.abc import Mapping

from matchkit.book import containers, entries, find
from matchkit.cli import asking, book_keep, values
from matchkit.cli.asked import (
    batch_argument,
    batch_of,
    give,
    reading_options,
    reference_lots_option,
)
from matchkit.cli.correct import correct_options, options_of
from matchkit.cli.ticket import choices_of, details, html_option, write_ticket
from matchkit.errors import InputError
from matchkit.files.readings import NamedSpectrum
from matchkit.paper.ticket_sheet import ticket_text
from matchkit.report import check, corrections, html
from matchkit.workflows import booking
from matchkit.workflows.correcting_batch import correct_batch
from matchkit.workflows.finishing_batch import finish_in_book
from matchkit.workflows.measuring_batch import measure_batch
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import SHORTEST, spectrum_in, spectrum_pasted
from matchkit.workflows.weighing_out import batch_ticket


def ticket_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    html_option(parser)
    details(parser)
    reference_lots_option(parser)


def ticket(session: Session, args: argparse.Namespace) -> None:
    """The formula as it was written down; its colour and chance with the lots of today."""
    batch = find.scanned(session.open_book(), args.batch)
    made = batch_ticket(session, batch, choices_of(args))
    write_ticket(args.html, made, args.weigh_sheet)
    give(args, lambda: {"batch": batch, **made.to_dict()}, lambda: [ticket_text(made).rstrip("\n")])


def weigh_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    _poured_argument(parser, "what was weighed; without it you are asked for each ink")
    parser.add_argument(
        "--as-planned", action="store_true", help="the balance showed just what was planned"
    )


def weigh(session: Session, args: argparse.Namespace) -> None:
    if args.poured and args.as_planned:
        raise InputError("weigh: say what was weighed, or --as-planned, one of the two")
    batch = batch_of(session, args)
    if args.as_planned:
        book_keep.give_written(args, booking.weigh(session, batch))
        return
    planned = booking.planned(session, batch)

    def over(grams: Mapping[str, float]) -> tuple[str, list[dict[str, float]]]:
        """How to finish a batch in which too much went in; nothing where that is slight."""
        try:
            finish = finish_in_book(session, batch, grams)
        except InputError as error:  # such as a batch without a target
            return "; ".join(error.faults), []
        ways = [finish.rest(way.rest_g) for way in finish.rescue.ways.values()]
        return html.to_text(corrections.finish_parts(finish)) if finish.rescue.over else "", ways

    grams = asking.poured(args.poured, planned) if args.poured else None
    grams = grams or asking.ask_weights(planned, session.settings.resolution_g, over)
    book_keep.give_written(args, booking.weigh(session, batch, grams))


def _poured_argument(parser: argparse.ArgumentParser, words: str) -> None:
    parser.add_argument(
        "poured", metavar="INK=G", nargs="*", help=f"{words}: INK=GRAMS each, or one CSV ink,grams"
    )


def measure_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument(
        "spectrum", metavar="SPECTRUM",
        help="the drawdown, cured and cool: a file, '-' for what is typed or piped in, or the"
        " values themselves in quotes; several are averaged",
    )  # fmt: skip
    reading_options(parser)
    for state, todo in containers.UNFIT.items():
        parser.add_argument(
            f"--{state.replace(' ', '-')}", dest="state", action="append_const", const=state,
            help=f"the drawdown was {state}, so that add nothing because of it: {todo}",
        )  # fmt: skip


def measure(session: Session, args: argparse.Namespace) -> None:
    batch = batch_of(session, args)
    spectrum = _reading(session, args)
    found = measure_batch(session, batch, spectrum.readings, spectrum.name, state=args.state or ())
    give(args, found.to_dict, lambda: [f"Batch {batch}:", *check.measured_parts(found)])


def _reading(session: Session, args: argparse.Namespace) -> NamedSpectrum:
    """A spectrum of a file, of standard input, or of values that were pasted."""
    words = args.spectrum
    if words == "-":
        return spectrum_pasted(session, sys.stdin.read(), args.name)
    if len(words.split()) > SHORTEST or len(words.split(";")) > SHORTEST:
        return spectrum_pasted(session, words, args.name)
    return spectrum_in(session, words, args.name)


def correct_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument(
        "--weighed", metavar="RECIPE",
        help="while it is still being weighed: ink,grams of what has gone in so far",
    )  # fmt: skip
    correct_options(parser)


def correct(session: Session, args: argparse.Namespace) -> None:
    batch, options = batch_of(session, args), options_of(args)
    if args.weighed:
        finish = finish_in_book(session, batch, asking.poured([args.weighed], {}), options)
        give(args, finish.to_dict, lambda: corrections.finish_parts(finish))
        return
    found = correct_batch(session, batch, options)
    first = next(iter(found.ways))
    head = f"Batch {batch}, correction {found.correction} ({first}) written down"
    if found.least.added_g:
        head += (
            "; what you add, write down with"
            f" `matchkit book SHOP add {batch} INK=G ... --correction {found.correction}`"
        )
    give(args, found.to_dict, lambda: [head, *corrections.correction_parts(found)])


def add_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    _poured_argument(parser, "only what was added")
    parser.add_argument(
        "--correction", type=values.whole(), metavar="N", help="the advice that was followed"
    )


def add(session: Session, args: argparse.Namespace) -> None:
    batch, followed = batch_of(session, args), args.correction
    if not args.poured:
        raise InputError("add: say what was added, such as Chalk=2.5, or name a file of it")
    grams = asking.poured(args.poured, {})
    book_keep.give_written(args, booking.add(session, batch, grams, correction=followed))


def close_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument("outcome", metavar="OUTCOME", help=", ".join(entries.OUTCOMES))
    parser.add_argument("--approved-by", default="", metavar="NAME", help="who approved the print")
    parser.add_argument("--light", default="", help="under which light")
    parser.add_argument("--note", default="", help="remarks; the reason, if it is out of tolerance")


def close(session: Session, args: argparse.Namespace) -> None:
    approval = {"approved_by": args.approved_by, "light": args.light, "note": args.note}
    batch = batch_of(session, args)
    book_keep.give_written(args, booking.close(session, batch, args.outcome, **approval))


def leftover_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument(
        "grams", type=values.in_grams(values.number), metavar="G",
        help="how much is left, or 0: what jobs take is learned from it",
    )  # fmt: skip
    parser.add_argument(
        "name", metavar="NAME", nargs="?", default="",
        help="its name on the shelf (the colour and the batch)",
    )  # fmt: skip


def leftover(session: Session, args: argparse.Namespace) -> None:
    batch = batch_of(session, args)
    book_keep.give_written(args, booking.leftover(session, batch, args.grams, args.name))
