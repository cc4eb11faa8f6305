"""``matchkit cover``: does a formula cover the garments it is printed on."""

import argparse

from matchkit.cli import asked
from matchkit.cli.values import microns
from matchkit.errors import InputError
from matchkit.report.printed import cover_parts
from matchkit.workflows.predicting import Strokes, cover, recipe_in
from matchkit.workflows.printed import films_today
from matchkit.workflows.wanted import spectrum_in, wanted_spectrum

STROKE_UM = 50.0


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument("recipe", metavar="RECIPE", help="CSV ink,grams or ink,percent; mixes too")
    parser.add_argument(
        "--target", metavar="FILE", help="spectrum file (the formula where it hides)"
    )
    asked.reading_options(parser)
    parser.add_argument(
        "--thickness", type=microns, default=STROKE_UM, metavar="UM",
        help=f"film of one stroke, um (or 2mil): mesh data sheet or measured ({STROKE_UM:g})",
    )  # fmt: skip
    parser.add_argument(
        "--underbase", type=microns, metavar="UM", help="thickness of the white below (one stroke)"
    )
    parser.add_argument(
        "--over", action="append", default=[], metavar="GROUND",
        help="only this ground of grounds.csv (all but the drawdown cards)",
    )  # fmt: skip
    asked.reference_lots_option(parser)
    asked.picture_option(parser)
    asked.json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Try every ground and print."""
    below_um = args.thickness if args.underbase is None else args.underbase
    strokes = Strokes(stroke_um=args.thickness, underbase_um=below_um)
    session = asked.session_of(args)
    films = films_today(session)
    series = {ink: name for name, fit in films.items() for ink in fit.palette.names}
    formula = recipe_in(session, args.recipe, series)
    wanted = None
    if args.target:
        spectrum = spectrum_in(session, args.target, args.name)
        wanted = wanted_spectrum(session, spectrum.name, spectrum.R)
    elif args.name:
        raise InputError("--name goes with --target FILE")
    found = cover(session, formula, strokes, wanted=wanted, over=args.over)
    asked.give(args, found.to_dict, lambda: cover_parts(found))
