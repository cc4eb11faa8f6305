"""``matchkit compare``: recipes side by side under the lights."""

import argparse
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from matchkit.cli.asked import prefer_option
from matchkit.cli.formulas import SHEER_WORDS
from matchkit.cli.match import fewer_words
from matchkit.cli.outputs import page
from matchkit.cli.pictures import (
    COMPARED,
    chosen,
    compared,
    keep_picture,
    picture_faults,
    picture_option,
    recipe_panels,
)
from matchkit.cli.shops import (
    by_light,
    lamp_option,
    lamps_in,
    name_option,
    one_spectrum,
    open_shop_of_today,
    palettes_of,
    recipe_in,
    reference_lots_option,
)
from matchkit.cli.terminal import json_option, positive, print_json, say, swatch, table
from matchkit.colorimetry.illuminants import Light, weights
from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.errors import InputError
from matchkit.files.write import write_file
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Shop
from matchkit.matching.compare import Comparison, Sample, Swap, blame, compare
from matchkit.matching.match import fractions_for, match, odds_of, palette_for
from matchkit.matching.rank import Candidate, limits, weighed
from matchkit.matching.solve import Target, spectral_target
from matchkit.paper.compare_sheet import comparison_html

WEIGHED_G = 1000.0  # what percents stand for where nobody says how much


@dataclass(frozen=True, kw_only=True)
class _Entry:
    """One recipe that is compared, and what it is made of."""

    name: str
    palette: Palette
    candidate: Candidate

    @property
    def batch_g(self) -> float:
        return sum(self.candidate.grams)


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument("target", metavar="TARGET", help="spectrum file of the target")
    parser.add_argument(
        "recipes",
        metavar="RECIPE",
        nargs="*",
        default=[],
        help="CSV ink,grams or ink,percent; mixes too",
    )
    name_option(parser, "TARGET")
    parser.add_argument("--lab", type=_no_lab, help=argparse.SUPPRESS)
    parser.add_argument("--match", metavar="N", help="compare the N best formulas of a match")
    parser.add_argument("--grams", default="1000", metavar="G", help="with --match: batch (1000)")
    prefer_option(parser, "with --match: as match ranks")
    parser.add_argument(
        "--light", action="append", default=[], metavar="NAME",
        help="one more light beside the shop's: any CIE illuminant, as LED-B3 or FL12",
    )  # fmt: skip
    lamp_option(parser)
    parser.add_argument(
        "--sheet", type=page, metavar="FILE", help="write a page for the customer (.html, A4)"
    )
    parser.add_argument("--job", default="", help="with --sheet: the job's name")
    parser.add_argument("--date", default="", help="with --sheet: the date on it (today)")
    reference_lots_option(parser)
    picture_option(parser, (*COMPARED, "recipes"))
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Predict the recipes, compare them with the target, print and write what is wanted."""
    top = _top(args)
    shop, fits = open_shop_of_today(args)
    spectrum = one_spectrum(args.target, args.name, shop)
    target = spectral_target(spectrum.R, _lights(args, shop), shop.observer)
    entries = [*_written(args, shop, fits, target), *_matched(args, shop, fits, target, top)]
    seen = compare(
        spectrum.R,
        [(entry.name, entry.candidate.R) for entry in entries],
        lights=target.lights,
        observer=shop.observer,
    )
    if args.sheet:
        _sheet(args, shop, seen, entries, spectrum.name)
    if args.picture:
        named = [(entry.name, entry.candidate) for entry in entries]
        recipes = recipe_panels(
            named, palettes_of(fits), light=seen.lights[0], observer=seen.observer
        )
        panels = {**compared(seen, shop.tolerance_de00), "recipes": recipes}
        keep_picture(args.picture, chosen(args, panels))
    if args.json:
        print_json(_json(seen, entries))
        return
    print(f"{spectrum.name}, {shop.observer} degree observer")
    for sample, entry in zip(seen.samples, entries, strict=True):
        print("\n" + _report(seen, sample, entry, _culprit(seen, sample, entry)))
    print(
        f"\nindex: special metamerism index, {seen.correction} correction; shift: colour "
        f"inconstancy against D65, {seen.transform}, D = 1; both in dE00"
    )


def _no_lab(_: str) -> str:
    """What to do instead: the indices need the target's spectrum."""
    raise argparse.ArgumentTypeError(
        "other lights can't be judged by a Lab, so recipes are not compared by it; `matchkit match`"
        " and `matchkit check` take --lab"
    )


def _top(args: argparse.Namespace) -> int:
    """How many formulas of a match are wanted; every fault of the options at once."""
    faults = picture_faults(args)
    names = [Path(path).stem for path in args.recipes]
    faults += [
        f"compare: two recipe files are called {name}; rename one"
        for name in sorted({name for name in names if names.count(name) > 1})
    ]
    if not args.recipes and args.match is None:
        faults.append("compare: give recipe files, or --match N for the best formulas of a match")
    if args.match is None:
        top = 0.0
    else:
        top = positive(args.match, "--match")
        if top != int(top):
            faults.append(f"--match: found {args.match!r}, need a whole number")
    if faults:
        raise InputError(faults)
    return int(top)


def _lights(args: argparse.Namespace, shop: Shop) -> list[Light]:
    """The shop's lights, then the named, then the measured; every unknown name at once."""
    faults = []
    for name in args.light:
        try:
            weights(name, shop.observer)
        except InputError as error:
            faults += [f"--light: {fault}" for fault in error.faults]
    if faults:
        raise InputError(faults)
    return list(dict.fromkeys([*shop.lights, *args.light, *lamps_in(args.lamp)]))


def _written(
    args: argparse.Namespace, shop: Shop, fits: Mapping[str, Fit], target: Target
) -> list[_Entry]:
    """The recipe files, as they are written."""
    entries = []
    for path in args.recipes:
        written, palette, c = recipe_in(path, shop, palettes_of(fits))
        found = next(each for each in fits.values() if each.palette is palette)
        grams = c * (sum(written.grams) if written.grams else WEIGHED_G)
        candidate = weighed(palette, grams, target, odds=odds_of(found, target, shop))
        entries.append(_Entry(name=written.name, palette=palette, candidate=candidate))
    return entries


def _matched(
    args: argparse.Namespace, shop: Shop, fits: Mapping[str, Fit], target: Target, top: int
) -> list[_Entry]:
    """The best formulas of a match under all the lights."""
    if not top:
        return []
    found = match(
        shop, fits, target, top=top, prefer=args.prefer, batch_g=positive(args.grams, "--grams")
    )
    if len(found.formulas) < top:
        say(fewer_words(len(found.formulas), top, "`matchkit match --all`"))
    palettes = palettes_of(fits)
    return [
        _Entry(name=f"formula {rank}", palette=palette_for(palettes, each.inks), candidate=each)
        for rank, each in enumerate(found.formulas, start=1)
    ]


def _culprit(seen: Comparison, sample: Sample, entry: _Entry) -> Swap | None:
    """The ink that parts a recipe from the target under its worst light, if one does."""
    if not sample.worst:
        return None
    c = fractions_for(entry.palette, entry.candidate.inks, entry.candidate.grams)
    swaps = blame(
        entry.palette,
        c,
        seen.target_R,
        first=seen.lights[0],
        test=seen.lights[sample.worst],
        observer=seen.observer,
        # What is in the recipe already may stay, whatever the shelf says.
        upper=np.maximum(limits(entry.palette, entry.batch_g), c),
    )
    return swaps[0] if swaps else None


def _sheet(
    args: argparse.Namespace, shop: Shop, seen: Comparison, entries: list[_Entry], target: str
) -> None:
    html = comparison_html(
        seen,
        [entry.candidate for entry in entries],
        target_name=target,
        tolerance_de00=shop.tolerance_de00,
        shop=shop.name,
        job=args.job,
        date=args.date or date.today().isoformat(),
    )
    write_file(args.sheet, html)
    say(f"written: {args.sheet}")


def _json(seen: Comparison, entries: list[_Entry]) -> dict[str, Any]:
    names = seen.light_names
    return {
        "recipes": [
            {
                "name": sample.name,
                "inks": [
                    {"ink": ink, "percent": round(percent, 6)}
                    for ink, percent in zip(
                        entry.candidate.inks, entry.candidate.percents, strict=True
                    )
                ],
                "lab": by_light(names, sample.lab),
                "de00": by_light(names, sample.de00),
                "metamerism": by_light(names[1:], sample.metamerism[1:]),
                "inconstancy": {
                    light: round(float(value), 4)
                    for light, value in zip(names, sample.inconstancy, strict=True)
                    if light != "D65"
                },
                "words": dict(zip(names, sample.words, strict=True)),
                "worst_light": names[sample.worst],
                "observer_change": round(sample.observer_change, 4),
                "cost_per_kg": entry.candidate.cost_per_kg,
                "chance_in_tolerance": entry.candidate.chance_in_tolerance,
            }
            for sample, entry in zip(seen.samples, entries, strict=True)
        ],
        "correction": seen.correction,
        "transform": f"{seen.transform}, D = 1",
    }


def _report(seen: Comparison, sample: Sample, entry: _Entry, swap: Swap | None) -> str:
    rows = [
        [
            light,
            f"{sample.de00[i]:.2f}",
            *(f"{v:+.2f}" for v in sample.delta[i]),
            f"{sample.metamerism[i]:.2f}" if i else "",
            f"{sample.inconstancy[i]:.2f}" if light != "D65" else "",
            sample.words[i],
        ]
        for i, light in enumerate(seen.light_names)
    ]
    block = swatch(hex_colour(sample.R, seen.lights[0], seen.observer))
    columns = ["Light", "dE00", "dL*", "dC*", "dH*", "index", "shift", "in words"]
    other = 2 if seen.observer == 10 else 10
    lines = [
        f"{block}{sample.name}: worst under {seen.light_names[sample.worst]}{_cost(entry)}",
        "  " + ", ".join(
            f"{ink} {percent:.2f} %"
            for ink, percent in zip(entry.candidate.inks, entry.candidate.percents, strict=True)
        ),
        table(columns, rows, indent=2),
        f"  seen by the {other} degree observer under {seen.light_names[0]}: index "
        f"{sample.observer_change:.2f} (change of observer; not the deviate observer of CIE 080)",
    ]  # fmt: skip
    if entry.candidate.mostly_clear:
        lines.append(f"  ! {SHEER_WORDS}")
    if swap:
        lines.append(
            f"  {swap.ink} makes it so: with {swap.instead} instead, matched anew, the index "
            f"under {seen.light_names[sample.worst]} falls by {swap.gain:.1f} to {swap.index:.1f}"
        )
    return "\n".join(lines)


def _cost(entry: _Entry) -> str:
    cost = entry.candidate.cost_per_kg
    return "" if cost is None else f", cost {cost:.2f}/kg"
