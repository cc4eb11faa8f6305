"""``matchkit rehearse``: blind jobs on invented inks, to see what to expect."""

import argparse

from matchkit.cli.asked import give, json_option, options_of, picture_option
from matchkit.cli.terminal import progress_line
from matchkit.report.rehearsal import PICTURES, rehearsal_parts
from matchkit.workflows.rehearsing import DRAWDOWNS, RehearsalOptions, rehearse

NUMBERS = {
    "targets": "targets",
    "seed": "seed",
    "lots": "lots_percent",
    "tolerance": "tolerance_de00",
    "earlier": "earlier_batches",
    "drawdowns": "drawdowns_per_ink",
}


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("--targets", metavar="N", help="how many jobs (40)")
    parser.add_argument("--seed", metavar="S", help="other inks, other targets (1)")
    parser.add_argument(
        "--lots", metavar="PERCENT", help="standard deviation of strength by lot (5)"
    )
    parser.add_argument("--tolerance", metavar="DE00", help="tolerance (1.0)")
    parser.add_argument(
        "--earlier", metavar="N", help="batches that have already told about the lots (0)"
    )
    parser.add_argument(
        "--drawdowns", choices=[str(n) for n in DRAWDOWNS], help="drawdowns of each ink (10)"
    )
    picture_option(parser, PICTURES)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Play the jobs and print how they came out."""
    options = options_of(args, RehearsalOptions, NUMBERS)
    found = rehearse(options, progress_line("targets matched"))
    give(args, found.to_dict, lambda: rehearsal_parts(found))
