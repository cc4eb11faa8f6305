"""What the commands about prints share: what is printed on, thickness as typed."""

import argparse

from matchkit.cli.terminal import number_of, positive
from matchkit.errors import InputError
from matchkit.paper.jobsize import UM_PER_MIL
from matchkit.workflows.printed import PrintedOver, films_alone

__all__ = ["films_alone", "microns", "over_options", "printed_of"]

SPREAD_PERCENT = "10"  # of thickness from print to print: common practice, no source


def over_options(parser: argparse.ArgumentParser) -> None:
    """What a formula is printed on, and how thick."""
    parser.add_argument(
        "--over", metavar="GROUND", help="match the print on this ground of grounds.csv"
    )
    parser.add_argument(
        "--thickness", metavar="UM", help="with --over: of the printed film, um (or 2.4mil)"
    )
    parser.add_argument(
        "--underbase", metavar="UM", help="with --over: white of this thickness below the print"
    )
    parser.add_argument(
        "--thickness-spread", default=SPREAD_PERCENT, metavar="PERCENT",
        help=f"how far thickness strays from print to print, standard deviation"
        f" ({SPREAD_PERCENT}: common practice, no source)",
    )  # fmt: skip


def printed_of(args: argparse.Namespace) -> PrintedOver | None:
    """What `over_options` ask for; None without ``--over``."""
    if args.over is None:
        if args.thickness or args.underbase:
            raise InputError("--thickness and --underbase go with --over GROUND")
        return None
    if args.thickness is None:
        raise InputError("--over: say how thick the print is with --thickness UM")
    percent = number_of(args.thickness_spread, "--thickness-spread")
    if not 0 <= percent <= 50:
        raise InputError(f"--thickness-spread: found {percent:g}; need 0 to 50 percent")
    below = None if args.underbase is None else microns(args.underbase, "--underbase")
    return PrintedOver(
        over=args.over,
        thickness_um=microns(args.thickness, "--thickness"),
        underbase_um=below,
        thickness_spread=percent / 100,
    )


def microns(text: str, option: str) -> float:
    """A thickness in um: ``60``, ``60um`` or ``2.4mil`` (thousandths of an inch)."""
    word = text.strip().casefold()
    for unit, um in (("mil", UM_PER_MIL), ("um", 1.0), ("µm", 1.0), ("μm", 1.0)):
        if word.endswith(unit):
            return um * positive(word.removesuffix(unit).strip(), option)
    return positive(word, option)
