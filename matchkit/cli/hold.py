"""``matchkit hold``: will a formula hold its colour over the garments it is printed on."""

import argparse
from dataclasses import asdict

import numpy as np

from matchkit.cli.films import microns, open_films
from matchkit.cli.shops import (
    name_option,
    one_spectrum,
    palettes_of,
    recipe_in,
    reference_lots_option,
)
from matchkit.cli.terminal import json_option, print_json, say, spectrum_json, swatch, table
from matchkit.inks.shop import Shop
from matchkit.matching.garment import (
    INVENTED,
    Covering,
    Verdict,
    covering_words,
    grounds_for,
    hiding_R,
    over_grounds,
)

STROKE_UM = "50"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument("recipe", metavar="RECIPE", help="CSV ink,grams or ink,percent; mixes too")
    parser.add_argument("--target", metavar="FILE", help="spectrum file (the recipe when it hides)")
    name_option(parser)
    parser.add_argument(
        "--thickness", default=STROKE_UM, metavar="UM",
        help=f"of one stroke, um (or 2mil); from the mesh's data sheet or measured ({STROKE_UM})",
    )  # fmt: skip
    parser.add_argument("--underbase", metavar="UM", help="of the white below (one stroke)")
    parser.add_argument(
        "--over", action="append", default=[], metavar="GROUND",
        help="only this ground of grounds.csv (all that are no drawdown card)",
    )  # fmt: skip
    reference_lots_option(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Try every ground and print."""
    stroke_um = microns(args.thickness, "--thickness")
    underbase_um = stroke_um if args.underbase is None else microns(args.underbase, "--underbase")
    shop, films = open_films(args)
    _, palette, c = recipe_in(args.recipe, shop, palettes_of(films))
    aim = one_spectrum(args.target, args.name, shop).R if args.target else hiding_R(palette, c)
    grounds, invented = grounds_for(shop, args.over)
    if invented:
        say(INVENTED)
    verdicts, told = over_grounds(
        shop, palette, c, aim, grounds, stroke_um=stroke_um, underbase_um=underbase_um
    )
    if args.json:
        print_json({**_rounded(told), "stroke_um": stroke_um, "underbase_um": underbase_um,
                    "grounds": [_json(each) for each in verdicts]})  # fmt: skip
    else:
        print(_report(verdicts, told, stroke_um, underbase_um, shop))


def _rounded(told: Covering) -> dict[str, float | None]:
    return {key: None if v is None else round(v, 4) for key, v in asdict(told).items()}


def _json(verdict: Verdict) -> dict[str, object]:
    return {
        "ground": verdict.ground,
        "holds": verdict.holds,
        "words": verdict.words,
        "prints": [
            {"strokes": each.strokes, "underbase": each.underbase, "de00": round(each.de00, 4),
             "lab": np.round(each.lab, 4).tolist(), "reflectance": spectrum_json(each.R)}
            for each in verdict.prints
        ],
    }  # fmt: skip


def _report(
    verdicts: tuple[Verdict, ...],
    told: Covering,
    stroke_um: float,
    underbase_um: float,
    shop: Shop,
) -> str:
    names = [each.name for each in verdicts[0].prints]
    rows = [[each.ground, *(f"{p.de00:.2f}" for p in each.prints), each.words] for each in verdicts]
    lines = [
        f"dE00 to the target ({shop.lights[0]}, tolerance {shop.tolerance_de00:g}); one stroke"
        f" {stroke_um:g} um, underbase {underbase_um:g} um of white",
        "",
        table(["Ground", *names, "What it needs"], rows),
    ]
    for each in verdicts:
        blocks = "".join(swatch(p.hex, 4) for p in each.prints)
        if blocks:
            lines.append(f"{swatch(each.ground_hex, 4)}{blocks}{each.ground}")
    lines += ["", *covering_words(told, shop.tolerance_de00)]
    lines.append(
        "A print is not a drawdown: prove it on the garment, cured, under the agreed light."
    )
    return "\n".join(lines)
