"""``matchkit correct``: what to add to a batch to bring it within tolerance."""

import argparse
from collections.abc import Sequence

import numpy as np

from matchkit.cli import asked
from matchkit.cli.folders import say
from matchkit.cli.values import between, in_grams, lab
from matchkit.errors import InputError
from matchkit.files.recipe import read_recipe
from matchkit.report import check, corrections
from matchkit.workflows.correcting_batch import WORDS, Mixed, correct
from matchkit.workflows.finishing_batch import CorrectOptions, finish_batch
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import spectrum_in


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    asked.target_options(parser)
    parser.add_argument(
        "--weighed", metavar="RECIPE", action="append", default=[], required=True,
        help="what was weighed, ink,grams; for later rounds again, with what was added or "
        "with all that is in the container",
    )  # fmt: skip
    parser.add_argument(
        "--measured", metavar="SPECTRUM", action="append", default=[],
        help="the drawdown of that round, cured and cool; without it: an over-pour",
    )  # fmt: skip
    parser.add_argument(
        "--measured-name", metavar="NAME",
        help="which spectrum of the measured files, if they hold several",
    )  # fmt: skip
    parser.add_argument(
        "--looks", metavar="WORDS",
        help=f'instead of --measured, what you see: "a touch red, too dark" ({WORDS})',
    )  # fmt: skip
    parser.add_argument(
        "--measured-lab", metavar="L,a,b", type=lab,
        help="instead of --measured, where there is only Lab under the shop's first light "
        "(with --lab: under its light)",
    )  # fmt: skip
    parser.add_argument(
        "--plan", metavar="RECIPE",
        help="while still weighing: the planned ink,grams; --weighed is what has gone in",
    )  # fmt: skip
    correct_options(parser)
    parser.add_argument(
        "--without", action="append", default=[], metavar="INK", help="do not add this ink"
    )
    asked.picture_option(parser, check.COMPARED)
    asked.json_option(parser)


def correct_options(parser: argparse.ArgumentParser) -> None:
    """The options that the command and the book's verb share."""
    parser.add_argument(
        "--room", metavar="G", type=in_grams(between(0, np.inf, "0 or more")), default=np.inf,
        help="grams that the container still takes",
    )  # fmt: skip
    parser.add_argument(
        "--anyway", action="store_true",
        help="suggest an addition even if the reading is implausible",
    )  # fmt: skip
    asked.reference_lots_option(parser)


def options_of(args: argparse.Namespace) -> CorrectOptions:
    """What `correct_options` say, and ``--without``."""
    return CorrectOptions(
        room_g=args.room, without=tuple(getattr(args, "without", ())), anyway=args.anyway
    )


def run(args: argparse.Namespace) -> None:
    """Find what went wrong and what to add, and print it."""
    if args.show and not args.picture:
        raise InputError("--show goes with --picture FILE")
    options = options_of(args)
    ways = sum(map(bool, (args.measured, args.looks, args.measured_lab)))
    if args.plan and ways:
        raise InputError(
            "--plan is for a batch that is still being weighed: nothing is measured yet"
        )
    if ways > 1:
        raise InputError("correct: give one of --measured, --measured-lab and --looks")
    if args.measured and len(args.measured) != len(args.weighed):
        raise InputError(
            f"correct: {len(args.weighed)} --weighed but {len(args.measured)} --measured; "
            "each round needs both"
        )
    if not args.measured and len(args.weighed) > 1:
        raise InputError("correct: several --weighed need a --measured each")
    session = asked.session_of(args)
    wanted = asked.wanted_of(args, session)
    contents = _contents(session, args.weighed)
    if args.plan:
        planned = _contents(session, [args.plan])[0]
        finish = finish_batch(session, wanted, planned, contents[0], options)
        asked.give(args, finish.to_dict, lambda: corrections.finish_parts(finish))
        return
    if args.measured:
        option = "--measured-name"
        rounds = [
            Mixed(
                grams=held,
                R=spectrum_in(session, path, args.measured_name, option=option).R,
                source=path,
            )
            for held, path in zip(contents, args.measured, strict=True)
        ]
    else:
        rounds = [Mixed(grams=contents[0], lab=args.measured_lab, looks=args.looks or "")]
    found = correct(session, wanted, rounds, options)
    asked.give(args, found.to_dict, lambda: corrections.correction_parts(found))


def _contents(session: Session, paths: Sequence[str]) -> list[dict[str, float]]:
    """What was in the container at each round, in grams by ink or mix."""
    inks = {n: series for series, fit in session.fits.items() for n in fit.palette.names}
    contents: list[dict[str, float]] = []
    for path in paths:
        written = read_recipe(path, inks, mixes=session.shop.mixes, grams_only=True)
        total = sum(written.grams or ())
        now = {n: total * share for n, share in zip(written.poured, written.shares, strict=True)}
        if contents:
            before = contents[-1]
            whole = all(now.get(name, 0.0) >= g - 1e-9 for name, g in before.items())
            content = "all that is in the container" if whole else "what was added"
            say(f"{path}: read as {content}")
            if not whole:
                now = {n: before.get(n, 0.0) + now.get(n, 0.0) for n in {**before, **now}}
        contents.append(now)
    return contents
