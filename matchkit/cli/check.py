"""``matchkit check``: is it near enough?"""

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.pictures import (
    COMPARED,
    chosen,
    compared,
    keep_picture,
    picture_faults,
    picture_option,
)
from matchkit.cli.shops import by_light, lab_options, name_option, one_spectrum, one_target
from matchkit.cli.terminal import json_option, print_json, say, swatch, table
from matchkit.colorimetry.tristimulus import Lab, de00, hex_colour
from matchkit.errors import InputError
from matchkit.files.settings import read_settings
from matchkit.files.spectrum import NamedSpectrum, read_readings
from matchkit.inks.shop import Shop
from matchkit.matching.compare import compare
from matchkit.matching.rank import Verdict, check, check_lab
from matchkit.matching.solve import Target


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument(
        "target", metavar="TARGET", nargs="?", help="spectrum file of the target; or --lab"
    )
    parser.add_argument(
        "measured",
        metavar="MEASURED",
        help="spectrum file of the drawdown, cured and cool; repeat readings are averaged",
    )
    name_option(parser, "TARGET")
    lab_options(parser)
    parser.add_argument(
        "--measured-name", metavar="NAME",
        help="which spectrum of MEASURED (its only one, else the one called as --name)",
    )  # fmt: skip
    picture_option(parser, COMPARED)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Compare and print.  The inks are not needed, so only shop.toml is read."""
    if faults := picture_faults(args):
        raise InputError(faults)
    shop = read_settings(Path(args.shop) / "shop.toml", "shop.toml")
    for note in shop.notes:
        say(note)
    name, target = one_target(args, shop, "check")
    measured = _measured(args, shop)
    if args.target and measured.name == name and Path(args.measured).samefile(args.target):
        say(
            f"target and measured are one and the same, {name!r} of {args.target}; say with"
            " --measured-name which one is the drawdown"
        )
    elif target.R is not None and np.array_equal(measured.R, target.R):
        say("target and measured hold one and the same spectrum; hand in that of the drawdown")
    verdict = _verdict(target, measured.readings, shop.tolerance_de00)
    if args.picture:
        assert target.R is not None  # a Lab and a picture were refused
        both = [("measured", measured.R)]
        seen = compare(target.R, both, lights=shop.lights, observer=shop.observer)
        keep_picture(args.picture, chosen(args, compared(seen, shop.tolerance_de00)))
    if args.json:
        print_json(_json(target, verdict))
        return
    for label, R in (("target", target.R), ("measured", measured.R)):
        block = "" if R is None else swatch(hex_colour(R, target.lights[0], target.observer))
        if block:
            print(f"{block}{label}")
    first = verdict.lights[0]
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


def _verdict(target: Target, readings: NDArray[np.float64], tolerance_de00: float) -> Verdict:
    """The measured readings (n, n_wl) against a spectrum, or against a Lab under its light."""
    if target.R is not None:
        return check(
            target.R, readings, lights=target.lights, observer=target.observer,
            tolerance_de00=tolerance_de00,
        )  # fmt: skip
    light = target.lights[0]
    own = Lab(readings.mean(axis=0), light, target.observer)
    verdict = check_lab(target.lab[0].tolist(), own.tolist(), target.light_names[0], tolerance_de00)
    if len(readings) == 1:
        return verdict
    spread = de00(Lab(readings, light, target.observer), own).mean()
    return replace(verdict, spread_de00=float(spread))


def _json(target: Target, verdict: Verdict) -> dict[str, Any]:
    told = zip(verdict.lights, verdict.delta.tolist(), verdict.words, strict=True)
    answer: dict[str, Any] = {
        "passed": verdict.passed,
        "de00": by_light(target.lights, verdict.de00),
        "delta": {
            light: {"L": round(d[0], 4), "C": round(d[1], 4), "H": round(d[2], 4), "words": words}
            for light, d, words in told
        },
        "spread_de00": verdict.spread_de00,
    }
    return answer if target.R is not None else {**answer, "observer": target.observer}


def _measured(args: argparse.Namespace, shop: Shop) -> NamedSpectrum:
    """The drawdown: as ``--measured-name`` has it, else the file's only one, else as ``--name``."""
    name = args.measured_name
    if name is None and args.name is not None:
        blocks, _, _ = read_readings(args.measured)
        held = {each for block in blocks for each in block.names}
        name = args.name if len(held) > 1 and args.name in held else None
    return one_spectrum(args.measured, name, shop, "--measured-name")
