"""``matchkit compare``: compare formulas under several lights."""

import argparse
from pathlib import Path

from matchkit.cli import asked
from matchkit.cli.folders import say
from matchkit.cli.outputs import page
from matchkit.cli.values import in_grams, positive, whole
from matchkit.colorimetry.illuminants import Light, weights
from matchkit.errors import InputError, raise_any
from matchkit.files.write import write_file
from matchkit.report import check, comparison, formulas, html
from matchkit.workflows import comparing, finding, predicting
from matchkit.workflows.formulas import Search
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import lamps_in, spectrum_in, wanted_spectrum


def arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("shop", metavar="SHOP", help="the shop folder")
    add("target", metavar="TARGET", help="spectrum file of the target")
    add(
        "recipes",
        metavar="RECIPE",
        nargs="*",
        default=[],
        help="CSV ink,grams or ink,percent; mixes too",
    )
    asked.reading_options(parser, "TARGET")
    add("--lab", type=_no_lab, help=argparse.SUPPRESS)
    add("--match", type=whole(), metavar="N", help="compare the N best formulas of a match")
    add("--grams", type=in_grams(positive), default=1000.0, metavar="G", help="with --match (1000)")
    asked.prefer_option(parser, "with --match: as match ranks")
    add(
        "--light", action="append", default=[], metavar="NAME",
        help="one more light beside the shop's: any CIE illuminant, as LED-B3 or FL12",
    )  # fmt: skip
    asked.lamp_option(parser)
    add("--sheet", type=page, metavar="FILE", help="write a page for the customer (.html, A4)")
    add("--shop-copy", type=page, metavar="FILE", help="the same page with the formulas on it")
    add("--job", default="", help="with --sheet: the job's name")
    add("--date", default="", help="with --sheet: the date on it (today)")
    asked.reference_lots_option(parser)
    asked.picture_option(parser, (*check.COMPARED, formulas.RECIPES))
    asked.json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Predict the recipes, compare them with the target, print and write what is wanted."""
    top = _top(args)
    session = asked.session_of(args)
    spectrum = spectrum_in(session, args.target, args.name)
    wanted = wanted_spectrum(session, spectrum.name, spectrum.R, lights=_lights(args, session))
    recipes = [predicting.recipe_in(session, path) for path in args.recipes]
    if top:
        best = finding.find_formulas(
            session, wanted, Search(top=top, batch_g=args.grams, prefer=args.prefer)
        )
        say(html.to_text(formulas.reach_parts(best)))
        recipes += [
            comparing.formula_of(f"formula {rank}", each)
            for rank, each in enumerate(best.match.formulas, start=1)
        ]
    found = comparing.compare(session, wanted, recipes)
    for path, own in ((args.sheet, False), (args.shop_copy, True)):
        if path:
            made = comparison.comparison_page(found, job=args.job, day=args.date, shop_copy=own)
            write_file(path, made.html)
            say(f"written: {path}")
    asked.give(args, found.to_dict, lambda: comparison.comparison_parts(found))


def _no_lab(_: str) -> str:
    """What to do instead: the indices need the target's spectrum."""
    raise argparse.ArgumentTypeError(
        "other lights can't be judged by a Lab, so formulas are not compared by it; `matchkit"
        " match` and `matchkit check` take --lab"
    )


def _top(args: argparse.Namespace) -> int:
    """How many formulas of a match are wanted; every fault of the options at once."""
    faults = ["--show goes with --picture FILE"] if args.show and not args.picture else []
    names = [Path(path).stem for path in args.recipes]
    faults += [
        f"compare: two formula files are called {name}; rename one"
        for name in sorted({name for name in names if names.count(name) > 1})
    ]
    if not args.recipes and args.match is None:
        faults.append("compare: give formula files, or --match N for the best formulas of a match")
    raise_any(faults)
    return args.match or 0


def _lights(args: argparse.Namespace, session: Session) -> list[Light]:
    """The shop's lights, then the named, then the measured; every unknown name at once."""
    shop, faults = session.settings, []
    for name in args.light:
        try:
            weights(name, shop.observer)
        except InputError as error:
            faults += [f"--light: {fault}" for fault in error.faults]
    raise_any(faults)
    return list(dict.fromkeys([*shop.lights, *args.light, *lamps_in(session, args.lamp)]))
