"""What the commands about prints share: a shop's films, its grounds, thickness as typed."""

import argparse
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.shops import open_shop_of_today
from matchkit.cli.terminal import number_of, positive, say
from matchkit.faults import BadInput
from matchkit.files.fitted import films_fitted
from matchkit.files.shop import read_shop
from matchkit.fit import Fit
from matchkit.inks import Shop
from matchkit.prints import bare_ground, film_fits, fits_over, has_films, with_lots

__all__ = ["microns", "open_films", "over_options", "printed_over", "thickness_sd"]

Array = NDArray[np.float64]

UM_PER_MIL = 25.4
SPREAD_PERCENT = "10"  # of thickness from print to print: common practice, no source


def open_films(args: argparse.Namespace) -> tuple[Shop, dict[str, Fit]]:
    """A shop and its inks as films, with today's lots where the record book knows them."""
    shop = read_shop(args.shop)
    if not has_films(shop):
        film_fits(shop)  # says what to draw
    fits: Mapping[str, Fit] = {}
    if any(d.thickness_um is None for d in shop.drawdowns):
        shop, fits = open_shop_of_today(args)
    else:
        for note in shop.notes:
            say(note)
    films, why = films_fitted(args.shop, shop)
    if why:
        say(why)
    return shop, with_lots(films, fits)


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
    thickness_spread_option(parser)


def thickness_spread_option(parser: argparse.ArgumentParser) -> None:
    """How far thickness strays."""
    parser.add_argument(
        "--thickness-spread", default=SPREAD_PERCENT, metavar="PERCENT",
        help=f"how far thickness strays from print to print, standard deviation ({SPREAD_PERCENT})",
    )  # fmt: skip


def thickness_sd(args: argparse.Namespace) -> float:
    """The spread of thickness as a share."""
    percent = number_of(args.thickness_spread, "--thickness-spread")
    if not 0 <= percent <= 50:
        raise BadInput(f"--thickness-spread: found {percent:g}; need 0 to 50 percent")
    return percent / 100


def printed_over(args: argparse.Namespace) -> tuple[Shop, dict[str, Fit]]:
    """A shop and its inks as prints over ``--over``."""
    if args.thickness is None:
        raise BadInput("--over: say how thick the print is with --thickness UM")
    thickness_um = microns(args.thickness, "--thickness")
    underbase_um = None if args.underbase is None else microns(args.underbase, "--underbase")
    sd = thickness_sd(args)
    shop, films = open_films(args)
    return shop, fits_over(
        films,
        bare_ground(shop, args.over),
        thickness_um,
        underbase_um=underbase_um,
        thickness_sd=sd,
    )


def microns(text: str, option: str) -> float:
    """A thickness in um: ``60``, ``60um`` or ``2.4mil`` (thousandths of an inch)."""
    word = text.strip().casefold()
    for unit, um in (("mil", UM_PER_MIL), ("um", 1.0), ("µm", 1.0), ("μm", 1.0)):
        if word.endswith(unit):
            return um * positive(word.removesuffix(unit).strip(), option)
    return positive(word, option)
