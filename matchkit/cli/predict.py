"""``matchkit predict``: the colour a recipe will have."""

import argparse

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.pictures import Panel, keep_picture, moves_panel, picture_option, recipe_panel
from matchkit.cli.shops import (
    lab_by_light,
    open_shop_of_today,
    palettes_of,
    recipe_in,
    reference_lots_option,
    strengths_json,
)
from matchkit.cli.terminal import json_option, print_json, spectrum_json, swatch, table
from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.shop import Shop


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument("recipe", metavar="RECIPE", help="CSV ink,grams or ink,percent; mixes too")
    reference_lots_option(parser)
    picture_option(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Predict and print."""
    shop, fits = open_shop_of_today(args)
    _, palette, c = recipe_in(args.recipe, shop, palettes_of(fits))
    R = reflectance(palette, c)
    lab = lab_by_light(R, shop.lights, shop.observer)
    if args.picture:
        keep_picture(args.picture, _panels(palette, c, shop))
    if args.json:
        answer = {"reflectance": spectrum_json(R), "lab": lab}
        print_json({**answer, **strengths_json(palettes_of(fits))})
        return
    print(swatch(hex_colour(R, shop.lights[0], shop.observer)) + f"{shop.observer} degree observer")
    rows = [[light, *(f"{v:.2f}" for v in values)] for light, values in lab.items()]
    print(table(["Light", "L*", "a*", "b*"], rows))


def _panels(palette: Palette, c: NDArray[np.float64], shop: Shop) -> list[Panel]:
    light, observer = shop.lights[0], shop.observer
    held = [i for i in np.argsort(-c, kind="stable") if c[i] > 0]
    names, percents = [palette.names[i] for i in held], [100 * float(c[i]) for i in held]
    return [
        recipe_panel("recipe", names, percents, palette=palette, light=light, observer=observer),
        moves_panel(palette, c, light=light, observer=observer),
    ]
