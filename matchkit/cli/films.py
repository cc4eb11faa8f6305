"""What the commands about prints share: a shop's films, its grounds, thickness as typed."""

import argparse
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.shops import open_shop_of_today
from matchkit.cli.terminal import number_of, positive, say
from matchkit.errors import InputError
from matchkit.files.fitted import films_fitted
from matchkit.files.shop import read_shop
from matchkit.fitting.fit import Fit, TooFew
from matchkit.inks.shop import Shop
from matchkit.matching.prints import bare_ground, film_fits, fits_over, has_films, with_lots
from matchkit.paper.jobsize import UM_PER_MIL

__all__ = [
    "films_alone",
    "microns",
    "open_films",
    "over_options",
    "printed_json",
    "printed_over",
    "printed_words",
    "thickness_sd",
]

Array = NDArray[np.float64]

SPREAD_PERCENT = "10"  # of thickness from print to print: common practice, no source


def open_films(args: argparse.Namespace) -> tuple[Shop, dict[str, Fit]]:
    """A shop and its inks as films, with today's lots where the record book knows them."""
    shop = read_shop(args.shop)
    if not has_films(shop):
        for note in shop.notes:
            say(note)
        film_fits(shop)  # says what to draw
    fits: Mapping[str, Fit] = {}
    try:
        if shop.hiding:
            shop, fits = open_shop_of_today(args)
        else:
            for note in shop.notes:
                say(note)
    except TooFew as error:
        say(films_alone(error))
    films, why = films_fitted(args.shop, shop)
    if why:
        say(why)
    return shop, with_lots(films, fits)


def films_alone(error: TooFew) -> str:
    """What is told where drawdowns that hide are too few to fit, but there are films."""
    return (
        f"formulas that hide can't be predicted: {'; '.join(error.faults)}. Prints can: they rest"
        " on the films"
    )


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
        help=f"how far thickness strays from print to print, standard deviation"
        f" ({SPREAD_PERCENT}: common practice, no source)",
    )  # fmt: skip


def thickness_sd(args: argparse.Namespace) -> float:
    """The spread of thickness as a share."""
    percent = number_of(args.thickness_spread, "--thickness-spread")
    if not 0 <= percent <= 50:
        raise InputError(f"--thickness-spread: found {percent:g}; need 0 to 50 percent")
    return percent / 100


def printed_over(args: argparse.Namespace) -> tuple[Shop, dict[str, Fit]]:
    """A shop and its inks as prints over ``--over``."""
    if args.thickness is None:
        raise InputError("--over: say how thick the print is with --thickness UM")
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


def printed_words(args: argparse.Namespace) -> str:
    """What ``--over`` and its like ask for: how thick, on what."""
    if args.over is None:
        return ""
    words = f"{microns(args.thickness, '--thickness'):.4g} um over {args.over}"
    if args.underbase is None:
        return words
    return f"{words} with {microns(args.underbase, '--underbase'):.4g} um of white below"


def printed_json(args: argparse.Namespace) -> dict[str, object]:
    """The same as keys."""
    underbase = args.underbase
    return {
        "over": args.over,
        "thickness_um": round(microns(args.thickness, "--thickness"), 4),
        "underbase_um": None if underbase is None else round(microns(underbase, "--underbase"), 4),
        "thickness_spread": thickness_sd(args),
    }


def microns(text: str, option: str) -> float:
    """A thickness in um: ``60``, ``60um`` or ``2.4mil`` (thousandths of an inch)."""
    word = text.strip().casefold()
    for unit, um in (("mil", UM_PER_MIL), ("um", 1.0), ("µm", 1.0), ("μm", 1.0)):
        if word.endswith(unit):
            return um * positive(word.removesuffix(unit).strip(), option)
    return positive(word, option)
