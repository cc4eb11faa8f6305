"""What the commands about prints share: what is printed on, thickness as typed."""

import argparse

from matchkit.cli.values import microns, share
from matchkit.errors import InputError
from matchkit.workflows.printed import PrintedOver

SPREAD = 0.1  # of thickness from print to print: common practice, no source


def over_options(parser: argparse.ArgumentParser) -> None:
    """What a formula is printed on, and how thick."""
    parser.add_argument(
        "--over", metavar="GROUND", help="match the print on this ground of grounds.csv"
    )
    parser.add_argument(
        "--thickness",
        type=microns,
        metavar="UM",
        help="with --over: thickness of the printed film, um (or 2.4mil)",
    )
    parser.add_argument(
        "--underbase",
        type=microns,
        metavar="UM",
        help="with --over: white of this thickness below the print",
    )
    parser.add_argument(
        "--thickness-spread", type=share(50, none=True), default=SPREAD, metavar="PERCENT",
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
