"""What every search for formulas can be told on the command line, of prints too."""

import argparse
from math import inf

from matchkit.cli import asked, values
from matchkit.errors import InputError
from matchkit.workflows.formulas import ANY_LEFTOVER, Search
from matchkit.workflows.printed import PrintedOver
from matchkit.workflows.wanted import OTHER_WEIGHT

SPREAD = 0.1  # of thickness from print to print: common practice, no source


def search_options(parser: argparse.ArgumentParser) -> None:
    """How formulas are looked for, beside the target itself."""
    add = parser.add_argument
    number_options(parser, top=5)
    add("--without", action="append", default=[], metavar="INK", help="leave this ink or mix out")
    add(
        "--use",
        metavar="MIX",
        help="use as much as possible of this leftover or letdown of mixes.csv",
    )
    add("--leftovers", action="store_true", help="start from whichever leftover saves most")
    asked.prefer_option(
        parser,
        "chance: the best chance at the first drawdown; steady: the nearest under the worst light",
    )
    add(
        "--all", action="store_true",
        help="also list formulas that are mostly clear or hard to weigh",
    )  # fmt: skip
    over_options(parser)
    asked.reference_lots_option(parser)


def number_options(parser: argparse.ArgumentParser, *, top: int) -> None:
    """How much, of how many inks, how many formulas; the weight of the other lights."""
    for name, kind, usual, words in (
        ("grams", values.in_grams(values.positive), 1000.0, "batch size"),
        ("max-inks", values.whole(), 4, "most inks in a formula, white and clear included"),
        ("top", values.whole(), top, "how many formulas for a target"),
        (
            "other-lights",
            values.between(0, inf, "0 or more"),
            OTHER_WEIGHT,
            "weight of the other lights beside the first",
        ),
    ):
        metavar = {"grams": "G", "other-lights": "W"}.get(name, "N")
        parser.add_argument(
            f"--{name}", type=kind, default=usual, metavar=metavar, help=f"{words} ({usual:g})"
        )


def search_of(args: argparse.Namespace) -> Search:
    """What `search_options` ask for."""
    return Search(
        batch_g=args.grams,
        max_inks=args.max_inks,
        top=args.top,
        without=tuple(args.without),
        prefer=args.prefer,
        every=args.all,
        leftover=args.use or (ANY_LEFTOVER if args.leftovers else None),
        printed=printed_of(args),
    )


def over_options(parser: argparse.ArgumentParser) -> None:
    """What a formula is printed on, and how thick."""
    parser.add_argument(
        "--over", metavar="GROUND", help="match the print on this ground of grounds.csv"
    )
    parser.add_argument(
        "--thickness",
        type=values.microns,
        metavar="UM",
        help="with --over: thickness of the printed film, um (or 2.4mil)",
    )
    parser.add_argument(
        "--underbase",
        type=values.microns,
        metavar="UM",
        help="with --over: white of this thickness below the print",
    )
    parser.add_argument(
        "--thickness-spread", type=values.share(50, none=True), default=SPREAD, metavar="PERCENT",
        help=f"how much the thickness varies from print to print, standard deviation"
        f" ({100 * SPREAD:g}: common practice, no source)",
    )  # fmt: skip


def printed_of(args: argparse.Namespace) -> PrintedOver | None:
    """What `over_options` ask for; None without ``--over``."""
    if args.over is None:
        if args.thickness or args.underbase:
            raise InputError("--thickness and --underbase go with --over GROUND")
        return None
    if args.thickness is None:
        raise InputError("--over: say how thick the print is with --thickness UM")
    return PrintedOver(
        over=args.over,
        thickness_um=args.thickness,
        underbase_um=args.underbase,
        thickness_spread=args.thickness_spread,
    )
