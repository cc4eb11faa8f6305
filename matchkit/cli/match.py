"""``matchkit match``: starting formulas for one or many targets."""

import argparse

from matchkit.cli import asked, folders, formulas, outputs, ticket
from matchkit.colorimetry.illuminants import Light
from matchkit.errors import InputError
from matchkit.files.write import csv_text, write_file
from matchkit.report.check import COMPARED
from matchkit.report.formulas import RECIPES, formulas_parts
from matchkit.report.parts import Part
from matchkit.workflows import beginning, finding, weighing_out
from matchkit.workflows.session import Session
from matchkit.workflows.sizing import SizedBy
from matchkit.workflows.wanted import Wanted, lamps_in, spectra_in, wanted_spectrum


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    asked.target_options(parser, many=True)
    formulas.search_options(parser)
    asked.lamp_option(parser)
    parser.add_argument(
        "--trade-offs",
        action="store_true",
        help="say what each formula gives up (always with steady)",
    )
    parser.add_argument(
        "--ticket", type=outputs.page, metavar="FILE", help="write the ticket of formula 1 (.html)"
    )
    parser.add_argument(
        "--recipe", type=outputs.recipe_csv, metavar="FILE", help="write formula 1 as CSV ink,grams"
    )
    asked.picture_option(parser, (*COMPARED, RECIPES))
    ticket.details(parser)
    parser.set_defaults(grams=None)
    asked.json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Match every target and print."""
    sized, args.grams = args.grams is not None, args.grams or beginning.USUAL_G
    search = formulas.search_of(args)
    if args.show and not args.picture:
        raise InputError("--show goes with --picture FILE")
    choices = ticket.choices_of(args)
    for option, given in (("--prints", choices.print_job), ("--hold-back", args.hold_back)):
        if given and not args.ticket:
            raise InputError(f"{option}: it is printed on the ticket; give --ticket FILE too")
    session = asked.session_of(args)
    wanted = _wanted(args, session)
    if len(wanted) > 1 and (args.ticket or args.recipe or args.picture):
        raise InputError(
            "--ticket, --recipe and --picture are for one target; choose it with --name"
        )
    tell = folders.progress_line("combinations of inks tried") if len(wanted) == 1 else None
    tell_many = folders.progress_line("targets matched")
    answers = []
    for done, each in enumerate(wanted, start=1):
        if choices.print_job and not sized:
            sized_by = SizedBy(job=choices.print_job, density=choices.density)
            found = weighing_out.find_for_job(session, each, search, sized_by, progress=tell)
        else:
            found = finding.find_formulas(session, each, search, progress=tell)
        answers.append(found)
        if not tell:
            tell_many(done, len(wanted))
    if args.ticket:
        ticket.write_ticket(args.ticket, weighing_out.found_ticket(session, answers[0], 0, choices))
    if args.recipe:
        best = answers[0].ranked(1).formula
        rows = list(zip(best.inks, best.grams, strict=True))
        write_file(args.recipe, csv_text(["ink", "grams"], rows))
        folders.say(f"written: {args.recipe}")
    told = args.trade_offs or search.prefer == "steady"

    def parts() -> list[Part]:
        return [part for each in answers for part in formulas_parts(each, trade_offs=told)]

    matches = {"matches": [each.to_dict() for each in answers]}
    asked.give(args, lambda: matches | answers[0].shared_dict(), parts)


def _wanted(args: argparse.Namespace, session: Session) -> list[Wanted]:
    """The colours: of a file without ``--name`` all there are."""
    weight = args.other_lights
    if args.lab is not None and args.lamp:
        raise InputError("--lamp: a Lab can't be judged under other lights; measure the sample")
    lights: list[Light] = [*session.settings.lights, *lamps_in(session, args.lamp)]
    if args.lab is not None or args.name or args.target is None:
        return [asked.wanted_of(args, session, other_weight=weight, lights=lights)]
    if args.light or args.observer:
        raise InputError(
            "--light and --observer go with --lab; a spectrum is judged as shop.toml says"
        )
    return [
        wanted_spectrum(session, each.name, each.R, lights=lights, other_weight=weight)
        for each in spectra_in(session, args.target)
    ]
