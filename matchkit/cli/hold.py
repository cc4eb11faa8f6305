"""``matchkit hold``: will a formula hold its colour over the garments it is printed on."""

import argparse

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.films import microns, open_films
from matchkit.cli.shops import (
    name_option,
    one_spectrum,
    palettes_of,
    recipe_in,
    reference_lots_option,
)
from matchkit.cli.terminal import json_option, print_json, say, spectrum_json, swatch, table
from matchkit.colorimetry import Lab
from matchkit.garment import Verdict, stand_in_grounds, will_hold
from matchkit.inks import Shop
from matchkit.opacity import covering_um, hiding_um, opacity, over
from matchkit.palette import Palette, reflectance
from matchkit.prints import bare_ground, garments
from matchkit.spectra import GRID_NM

Array = NDArray[np.float64]

STROKE_UM = "50"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument("recipe", metavar="RECIPE", help="CSV ink,grams or ink,percent")
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
    _, palette, c = recipe_in(args.recipe, palettes_of(films))
    light, observer = shop.lights[0], shop.observer
    hides = reflectance(over(palette, np.zeros(len(GRID_NM)), np.inf), c)
    aim = one_spectrum(args.target, args.name, shop).R if args.target else hides
    grounds = _grounds(shop, args.over)
    verdicts = will_hold(
        palette,
        c,
        Lab(aim, light, observer),
        grounds,
        stroke_um=stroke_um,
        underbase_um=underbase_um,
        tolerance_de00=shop.tolerance_de00,
        light=light,
        observer=observer,
    )
    told = _opacity(palette, c, stroke_um, grounds, shop)
    if args.json:
        print_json({**told, "stroke_um": stroke_um, "underbase_um": underbase_um,
                    "grounds": [_json(each) for each in verdicts]})  # fmt: skip
    else:
        print(_report(verdicts, told, stroke_um, underbase_um, shop))


def _grounds(shop: Shop, names: list[str]) -> dict[str, Array]:
    """The grounds that were named, else the shop's garments, else invented tees."""
    chosen = names or [each.name for each in garments(shop)]
    if chosen:
        return {name: bare_ground(shop, name) for name in chosen}
    say("grounds.csv names no garment: invented tees stand in; measure your own bare and add them")
    return stand_in_grounds(GRID_NM)


def _opacity(
    palette: Palette, c: Array, stroke_um: float, grounds: dict[str, Array], shop: Shop
) -> dict[str, float | None]:
    """Contrast ratio of one stroke, and the thicknesses that hide and that cover."""
    light, observer = shop.lights[0], shop.observer
    ratio, _ = opacity(palette, c, stroke_um, light, observer)
    every = np.array(list(grounds.values()))
    found = {
        "contrast_ratio": float(ratio),
        "hiding_um": hiding_um(palette, c, light, observer),
        "covering_um": covering_um(
            palette, c, every, light, observer, de00_limit=shop.tolerance_de00
        ),
    }
    return {key: None if value is None else round(value, 4) for key, value in found.items()}


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
    told: dict[str, float | None],
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
        table(["Ground", *names, ""], rows),
    ]
    for each in verdicts:
        blocks = "".join(swatch(p.hex, 4) for p in each.prints)
        if blocks:
            lines.append(f"{swatch(each.ground_hex, 4)}{blocks}{each.ground}")
    lines += ["", *_opacity_words(told, stroke_um, shop)]
    lines.append(
        "A print is not a drawdown: prove it on the garment, cured, under the agreed light."
    )
    return "\n".join(lines)


def _opacity_words(told: dict[str, float | None], stroke_um: float, shop: Shop) -> list[str]:
    ratio, hides, covers = told["contrast_ratio"], told["hiding_um"], told["covering_um"]
    assert ratio is not None
    hiding = (
        f"hides (contrast ratio 0.98) from {hides:.0f} um"
        if hides is not None
        else "hiding thickness not defined (too dark over white, or never)"
    )
    covering = (
        f"from {covers:.0f} um within {shop.tolerance_de00:g} dE00 of its opaque colour over all"
        if covers is not None
        else "at no printable thickness like its opaque colour over all"
    )
    return [f"One stroke has a contrast ratio of {ratio:.3f}; {hiding};", f"{covering} of them."]
