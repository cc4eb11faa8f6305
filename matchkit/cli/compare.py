"""``matchkit compare``: recipes side by side under the lights."""

import argparse
from pathlib import Path
from typing import Any

from matchkit.cli.shops import (
    by_light,
    name_option,
    one_spectrum,
    open_shop,
    palettes_of,
    recipe_in,
)
from matchkit.cli.terminal import json_option, print_json, swatch, table
from matchkit.colorimetry import hex_colour
from matchkit.compare import Comparison, Trial, blame, compare
from matchkit.faults import BadInput
from matchkit.palette import reflectance


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument("target", metavar="TARGET", help="spectrum file of the target")
    parser.add_argument("recipes", metavar="RECIPE", nargs="+", help="CSV ink,grams or ink,percent")
    name_option(parser)
    parser.add_argument(
        "--light", action="append", default=[], help="one more light beside the shop's"
    )
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Predict the recipes, compare them with the target, print."""
    names = [Path(path).stem for path in args.recipes]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise BadInput(f"compare: two recipe files are called {', '.join(twice)}; rename one")
    shop, fits = open_shop(args.shop)
    target = one_spectrum(args.target, args.name)
    read = [recipe_in(path, palettes_of(fits)) for path in args.recipes]
    lights = list(dict.fromkeys([*shop.lights, *args.light]))
    seen = compare(
        target.R,
        [
            (name, reflectance(palette, c))
            for name, (_, palette, c) in zip(names, read, strict=True)
        ],
        lights=lights,
        observer=shop.observer,
    )
    if args.json:
        print_json(_json(seen))
        return
    blamed = []
    for trial, (_, palette, c) in zip(seen.trials, read, strict=True):
        swaps = []
        if trial.worst:
            swaps = blame(
                palette,
                c,
                target.R,
                first=lights[0],
                test=lights[trial.worst],
                observer=shop.observer,
            )
        blamed.append(swaps[0] if swaps else None)
    print(f"{target.name}, {shop.observer} degree observer")
    for trial, swap in zip(seen.trials, blamed, strict=True):
        print("\n" + _report(seen, trial))
        if swap:
            print(
                f"  {swap.ink} makes it so: with {swap.instead} instead, matched anew, the index "
                f"under {lights[trial.worst]} falls by {swap.gain:.1f} to {swap.index:.1f}"
            )
    print(
        f"\nindex: special metamerism index, {seen.correction} correction; shift: colour "
        f"inconstancy against D65, {seen.transform}, D = 1; both in dE00"
    )


def _json(seen: Comparison) -> dict[str, Any]:
    names = seen.light_names
    return {
        "recipes": [
            {
                "name": trial.name,
                "lab": by_light(names, trial.lab),
                "de00": by_light(names, trial.de00),
                "metamerism": by_light(names[1:], trial.metamerism[1:]),
                "inconstancy": {
                    light: round(float(value), 4)
                    for light, value in zip(names, trial.inconstancy, strict=True)
                    if light != "D65"
                },
                "words": dict(zip(names, trial.words, strict=True)),
                "worst_light": names[trial.worst],
                "observer_change": round(trial.observer_change, 4),
            }
            for trial in seen.trials
        ],
        "correction": seen.correction,
        "transform": f"{seen.transform}, D = 1",
    }


def _report(seen: Comparison, trial: Trial) -> str:
    rows = [
        [
            light,
            f"{trial.de00[i]:.2f}",
            *(f"{v:+.2f}" for v in trial.delta[i]),
            f"{trial.metamerism[i]:.2f}" if i else "",
            f"{trial.inconstancy[i]:.2f}" if light != "D65" else "",
            trial.words[i],
        ]
        for i, light in enumerate(seen.light_names)
    ]
    block = swatch(hex_colour(trial.R, seen.lights[0], seen.observer))  # type: ignore[arg-type]
    head = f"{block}{trial.name}: worst under {seen.light_names[trial.worst]}"
    columns = ["Light", "dE00", "dL*", "dC*", "dH*", "index", "shift", "in words"]
    return f"{head}\n{table(columns, rows, indent=2)}"
