"""``matchkit ticket``: make the weigh-out ticket of a formula."""

import argparse

from matchkit.cli import asked
from matchkit.cli.folders import say
from matchkit.cli.outputs import new_file, page
from matchkit.cli.printed import container_option, job_of, job_options
from matchkit.cli.values import in_grams, named_percent, positive
from matchkit.files.write import csv_text, write_file
from matchkit.paper.ticket import Ticket
from matchkit.paper.ticket_sheet import ticket_html, ticket_text
from matchkit.paper.weighing import Additive
from matchkit.report.parts import to_json
from matchkit.workflows.predicting import recipe_in
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import Wanted, spectrum_in, wanted_spectrum
from matchkit.workflows.weighing_out import TicketChoices, ticket

SENSITIVE = "auto"  # in place of INK=PERCENT


def arguments(parser: argparse.ArgumentParser) -> None:
    recipe_options(parser, "batch size (what the job needs, or the formula's own grams)")
    html_option(parser)
    details(parser)
    asked.reference_lots_option(parser)
    asked.json_option(parser)


def recipe_options(parser: argparse.ArgumentParser, grams: str) -> None:
    """SHOP and RECIPE, what it is compared with, and how much of it."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument("recipe", metavar="RECIPE", help="CSV ink,grams or ink,percent; mixes too")
    parser.add_argument("--target", metavar="FILE", help="spectrum file of the target")
    asked.reading_options(parser)
    parser.add_argument("--grams", type=in_grams(positive), metavar="G", help=grams)


def recipe_wanted(args: argparse.Namespace, session: Session) -> Wanted | None:
    """The target of `recipe_options`; None where none was given."""
    if not args.target:
        return None
    spectrum = spectrum_in(session, args.target, args.name)
    return wanted_spectrum(session, spectrum.name, spectrum.R)


def html_option(parser: argparse.ArgumentParser) -> None:
    """Where the page is written."""
    parser.add_argument(
        "--html", type=page, metavar="FILE", help="write the printable ticket there"
    )
    parser.add_argument(
        "--weigh-sheet", type=new_file, metavar="FILE",
        help="write a CSV ink,grams there, to correct where the balance shows something else",
    )  # fmt: skip


def details(parser: argparse.ArgumentParser) -> None:
    """What stands on a ticket beside the formula."""
    parser.add_argument("--job", default="", help="the job's name")
    parser.add_argument("--date", default="", help="the date on the ticket (today)")
    container_option(parser)
    parser.add_argument(
        "--additive", action="append", type=named_percent, default=[], metavar="NAME=PERCENT",
        help="dosed on top of the finished colour, not part of it",
    )  # fmt: skip
    parser.add_argument(
        "--hold-back", action="append", type=_held, default=[], metavar="INK=PERCENT|auto",
        help="weigh this percent of an ink first and the rest after a drawdown; auto: the most"
        " sensitive inks, with what that does for the chance",
    )  # fmt: skip
    parser.add_argument(
        "--letdowns", action="store_true", help="weigh amounts that are too small from letdowns"
    )
    job_options(
        parser.add_argument_group("how much ink the job needs, printed on the ticket"),
        required=False,
    )


def choices_of(args: argparse.Namespace) -> TicketChoices:
    """What `details` ask for."""
    held = [pair for pair in args.hold_back if pair != SENSITIVE]
    return TicketChoices(
        job=args.job,
        day=args.date,
        container=args.container,
        additives=tuple(Additive(name=name, percent=percent) for name, percent in args.additive),
        hold_back={ink: percent / 100 for ink, percent in held},
        hold_sensitive=SENSITIVE in args.hold_back,
        letdowns=args.letdowns,
        print_job=job_of(args),
        density=args.density,
    )


def run(args: argparse.Namespace) -> None:
    """Make the ticket; print it, and write the page if wanted."""
    choices = choices_of(args)
    session = asked.session_of(args)
    formula = recipe_in(session, args.recipe)
    wanted = recipe_wanted(args, session)
    made = ticket(session, formula, choices, wanted=wanted, batch_g=args.grams)
    write_ticket(args.html, made, args.weigh_sheet)
    print(to_json(made.to_dict() | asked.scales_of(args)) if args.json else ticket_text(made))


def write_ticket(path: str | None, made: Ticket, sheet: str | None = None) -> None:
    """Write the page, and the sheet for the weights, where they are wanted."""
    if path:
        write_file(path, ticket_html(made))
        say(f"written: {path}")
    if sheet:
        write_file(sheet, csv_text(["ink", "grams"], made.formula))
        say(f"written: {sheet}; replace the planned weights there by what the balance showed")


def _held(text: str) -> tuple[str, float] | str:
    """The type of ``--hold-back``."""
    return text if text == SENSITIVE else named_percent(text)
