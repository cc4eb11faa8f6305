"""What every search for formulas can be told on the command line."""

import argparse

from matchkit.cli.asked import prefer_option, reference_lots_option
from matchkit.cli.films import over_options, printed_of
from matchkit.cli.terminal import positive
from matchkit.errors import InputError
from matchkit.workflows.formulas import ANY_LEFTOVER, Search

__all__ = ["search_of", "search_options"]


def search_options(parser: argparse.ArgumentParser) -> None:
    """How formulas are looked for, beside the target itself."""
    parser.add_argument("--grams", default="1000", metavar="G", help="batch size (1000)")
    parser.add_argument(
        "--max-inks", default="4", metavar="N", help="white and clear count too (4)"
    )
    parser.add_argument("--top", default="5", metavar="N", help="how many formulas (5)")
    parser.add_argument(
        "--without", action="append", default=[], metavar="INK", help="leave an ink or a mix out"
    )
    parser.add_argument(
        "--use", metavar="MIX", help="make the most of a leftover or letdown of mixes.csv"
    )
    parser.add_argument(
        "--leftovers", action="store_true", help="which mix on the shelf to start from"
    )
    prefer_option(
        parser,
        "chance: the best chance at the first drawdown; steady: what holds under every light",
    )
    parser.add_argument(
        "--all", action="store_true",
        help="list too what is mostly clear or can hardly be weighed, beside others as near",
    )  # fmt: skip
    over_options(parser)
    reference_lots_option(parser)


def search_of(args: argparse.Namespace) -> Search:
    """What `search_options` ask for; InputError with every fault in the numbers at once."""
    faults: list[str] = []
    values = []
    for text, option in (
        (args.grams, "--grams"),
        (args.max_inks, "--max-inks"),
        (args.top, "--top"),
    ):
        try:
            value = positive(text, option)
            if option != "--grams" and value != int(value):
                raise InputError(f"{option}: found {text!r}, need a whole number")
            values.append(value)
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    return Search(
        batch_g=values[0],
        max_inks=int(values[1]),
        top=int(values[2]),
        without=tuple(args.without),
        prefer=args.prefer,
        every=args.all,
        leftover=args.use or (ANY_LEFTOVER if args.leftovers else None),
        printed=printed_of(args),
    )
