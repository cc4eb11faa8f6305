"""``matchkit check``: is it near enough?"""

import argparse
from pathlib import Path

from matchkit.cli.pictures import (
    COMPARED,
    chosen,
    compared,
    keep_picture,
    picture_faults,
    picture_option,
)
from matchkit.cli.shops import by_light, name_option, one_spectrum
from matchkit.cli.terminal import json_option, print_json, say, swatch, table
from matchkit.colorimetry import hex_colour
from matchkit.compare import compare
from matchkit.faults import BadInput
from matchkit.files.settings import read_settings
from matchkit.files.spectrum import NamedSpectrum, read_readings
from matchkit.inks import Shop
from matchkit.judge import check


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument("target", metavar="TARGET", help="spectrum file of the target")
    parser.add_argument(
        "measured",
        metavar="MEASURED",
        help="spectrum file of the drawdown, cured and cool; repeat readings are averaged",
    )
    name_option(parser, "TARGET")
    parser.add_argument(
        "--measured-name", metavar="NAME",
        help="which spectrum of MEASURED (its only one, else the one called as --name)",
    )  # fmt: skip
    picture_option(parser, COMPARED)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Compare and print.  The inks are not needed, so only shop.toml is read."""
    if faults := picture_faults(args):
        raise BadInput(faults)
    shop = read_settings(Path(args.shop) / "shop.toml", "shop.toml")
    for note in shop.notes:
        say(note)
    target = one_spectrum(args.target, args.name, shop)
    measured = _measured(args, shop)
    if measured.name == target.name and Path(args.measured).samefile(args.target):
        say(
            f"target and measured are one and the same, {target.name!r} of {args.target}; say with"
            " --measured-name which one is the drawdown"
        )
    verdict = check(
        target.R,
        measured.readings,
        lights=shop.lights,
        observer=shop.observer,
        tolerance_de00=shop.tolerance_de00,
    )
    if args.picture:
        both = [("measured", measured.R)]
        seen = compare(target.R, both, lights=shop.lights, observer=shop.observer)
        keep_picture(args.picture, chosen(args, compared(seen, shop.tolerance_de00)))
    if args.json:
        delta = {
            light: {"L": round(d[0], 4), "C": round(d[1], 4), "H": round(d[2], 4), "words": words}
            for light, d, words in zip(
                shop.lights, verdict.delta.tolist(), verdict.words, strict=True
            )
        }
        answer = {
            "passed": verdict.passed,
            "de00": by_light(shop.lights, verdict.de00),
            "delta": delta,
        }
        print_json({**answer, "spread_de00": verdict.spread_de00})
        return
    for label, R in (("target", target.R), ("measured", measured.R)):
        block = swatch(hex_colour(R, shop.lights[0], shop.observer))
        if block:
            print(f"{block}{label}")
    first = shop.lights[0]
    word = "PASS" if verdict.passed else "FAIL"
    print(f"{word}: dE00 {verdict.de00[0]:.2f} under {first}, tolerance {shop.tolerance_de00:g}")
    print(f"The measured one is: {verdict.words[0]}")
    rows = [
        [light, f"{e:.2f}", *(f"{v:+.2f}" for v in d), words]
        for light, e, d, words in zip(
            verdict.lights, verdict.de00, verdict.delta, verdict.words, strict=True
        )
    ]
    print(table(["Light", "dE00", "dL*", "dC*", "dH*", "in words"], rows))
    if verdict.spread_de00 is not None:
        print(
            f"{len(measured.readings)} readings, on average {verdict.spread_de00:.2f} dE00 "
            "from their mean"
        )


def _measured(args: argparse.Namespace, shop: Shop) -> NamedSpectrum:
    """The drawdown: as ``--measured-name`` has it, else the file's only one, else as ``--name``."""
    name = args.measured_name
    if name is None and args.name is not None:
        blocks, _, _ = read_readings(args.measured)
        held = {each for block in blocks for each in block.names}
        name = args.name if len(held) > 1 and args.name in held else None
    return one_spectrum(args.measured, name, shop, "--measured-name")
