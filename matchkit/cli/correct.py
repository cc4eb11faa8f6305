"""``matchkit correct``: what to add to a batch so that it comes in."""

import argparse
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.corrections import Job, as_json, before_and_after, report
from matchkit.cli.pictures import (
    COMPARED,
    chosen,
    compared,
    keep_picture,
    picture_faults,
    picture_option,
)
from matchkit.cli.rescue import rescue, rescue_json, rescue_report
from matchkit.cli.shops import (
    by_the_book,
    lab_of,
    lab_options,
    name_option,
    one_spectrum,
    one_target,
    open_shop,
    palettes_of,
    reference_lots_option,
    written_in,
)
from matchkit.cli.terminal import json_option, positive, print_json, say
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.correcting.correct import correct, nothing_learned
from matchkit.correcting.diagnose import Belief, Round, infer, model_error_f
from matchkit.correcting.lots import for_palette
from matchkit.correcting.visual import WORDS, look_round, lots_that_explain
from matchkit.errors import InputError, did_you_mean
from matchkit.files.text import label
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Shop
from matchkit.matching.match import palette_for
from matchkit.matching.probability import Spread, spread_of
from matchkit.matching.solve import Target

Array = NDArray[np.float64]

LAB_NOISE = 0.15  # of L*, a*, b* that are only told: a reading and its rounding
ROOM_AT_MOST = 100.0  # times the batch: more is a slip of the keyboard


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument(
        "target", metavar="TARGET", nargs="?", help="spectrum file of the target; or --lab"
    )
    name_option(parser, "TARGET")
    lab_options(parser)
    parser.add_argument(
        "--weighed", metavar="RECIPE", action="append", default=[], required=True,
        help="what was weighed, ink,grams; for later rounds again, with what was added or "
        "with all that is in the bucket",
    )  # fmt: skip
    parser.add_argument(
        "--measured", metavar="SPECTRUM", action="append", default=[],
        help="how that round measured, cured and cool; without it: an over-pour",
    )  # fmt: skip
    parser.add_argument(
        "--measured-name", metavar="NAME",
        help="which spectrum of the measured files, where they hold several",
    )  # fmt: skip
    parser.add_argument(
        "--looks", metavar="WORDS",
        help=f'instead of --measured, what the eye says: "a touch red, too dark" ({WORDS})',
    )  # fmt: skip
    parser.add_argument(
        "--measured-lab", metavar="L,a,b",
        help="instead of --measured, where there is only Lab under the shop's first light "
        "(with --lab: under its light)",
    )  # fmt: skip
    parser.add_argument(
        "--plan", metavar="RECIPE",
        help="while still weighing: the planned ink,grams; --weighed is what has gone in",
    )  # fmt: skip
    parser.add_argument("--room", metavar="G", help="grams that the container still takes")
    parser.add_argument(
        "--without", action="append", default=[], metavar="INK", help="do not add it"
    )
    parser.add_argument(
        "--anyway", action="store_true", help="prescribe even where the reading can't be explained"
    )
    reference_lots_option(parser)
    picture_option(parser, COMPARED)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Infer what went wrong, solve the additions, print."""
    if faults := picture_faults(args):
        raise InputError(faults)
    job = _job(args)
    if args.plan:
        _rescue(args, job)
        return
    answer = job.choose(correct)
    if args.picture:
        seen = before_and_after(job, answer)
        keep_picture(args.picture, chosen(args, compared(seen, job.shop.tolerance_de00)))
    if args.json:
        print_json(as_json(job, answer))
    else:
        print(report(job, answer, args.shop))


def _rescue(args: argparse.Namespace, job: Job) -> None:
    """The ways on after an over-pour, from the plan and what has gone in."""
    if args.measured or args.looks or args.measured_lab:
        raise InputError(
            "--plan is for a batch that is still being weighed: nothing is measured yet"
        )
    palette = replace(job.found.palette, strengths=job.belief.strengths)
    planned = _contents([args.plan], job.shop, {"": palette})[0]
    plan_g = np.array([planned.get(name, 0.0) for name in palette.names])
    found = rescue(job.shop, palette, plan_g, job.belief.grams, job.target, job.room_g)
    if args.json:
        print_json(rescue_json(found, palette, job.target))
    else:
        print(rescue_report(found, palette, job.target, job.shop))


def _job(args: argparse.Namespace) -> Job:
    room_g = np.inf if args.room is None else _room(args.room)
    shop, fits = open_shop(args.shop)
    if sum(map(bool, (args.measured, args.looks, args.measured_lab))) > 1:
        raise InputError("correct: give one of --measured, --measured-lab and --looks")
    if args.measured and len(args.measured) != len(args.weighed):
        raise InputError(
            f"correct: {len(args.weighed)} --weighed but {len(args.measured)} --measured; "
            "each round needs both"
        )
    if not args.measured and len(args.weighed) > 1:
        raise InputError("correct: several --weighed need a --measured each")
    palettes = palettes_of(fits)
    readings = [
        one_spectrum(path, args.measured_name, shop, "--measured-name").R for path in args.measured
    ]
    shop, told = by_the_book(args, shop, fits, readings[-1] if readings else None)
    contents = _contents(args.weighed, shop, palettes)
    palette = palette_for(palettes, [name for each in contents for name in each])
    series, found = next((s, f) for s, f in fits.items() if f.palette is palette)
    _, target = one_target(args, shop, "correct")
    grams = [np.array([each.get(n, 0.0) for n in palette.names]) for each in contents]
    if room_g < np.inf and room_g > ROOM_AT_MOST * grams[-1].sum():
        raise InputError(f"--room: found {args.room!r}, more than {ROOM_AT_MOST:g} times the batch")
    spread = spread_of(palette, found.error_Lab, shop.resolution_g)
    known = for_palette(told.lots[series], palette) if told else None
    belief, before = _belief(args, found, grams, spread, target, readings, known)
    upper_g = _stock(shop, palette, args.without)
    return Job(shop, found, target, belief, spread, room_g, upper_g, before, grams[-1])


def _room(text: str) -> float:
    if text.strip() in ("0", "0.0"):
        return 0.0
    return positive(text, "--room")


def _contents(
    paths: list[str], shop: Shop, palettes: Mapping[str, Palette]
) -> list[dict[str, float]]:
    """What was in the bucket at each round, by ink."""
    contents: list[dict[str, float]] = []
    for path in paths:
        written = written_in(path, shop, palettes, grams_only=True)
        assert written.grams is not None
        now = dict(zip(written.inks, written.grams, strict=True))
        if contents:
            before = contents[-1]
            whole = all(now.get(name, 0.0) >= g - 1e-9 for name, g in before.items())
            say(f"{path}: read as " + ("all that is in the bucket" if whole else "what was added"))
            if not whole:
                now = {n: before.get(n, 0.0) + now.get(n, 0.0) for n in {**before, **now}}
        try:
            palette_for(palettes, [*now])
        except InputError as error:
            raise InputError([f"{label(Path(path))}: {fault}" for fault in error.faults]) from error
        contents.append(now)
    return contents


def _belief(
    args: argparse.Namespace,
    found: Fit,
    grams: list[Array],
    spread: Spread,
    target: Target,
    readings: list[Array],
    known: tuple[Array, Array] | None,
) -> tuple[Belief, Array | None]:
    """What is thought of the batch, and the measured dE00 of the last round."""
    palette = found.palette
    if args.measured_lab:
        lab = lab_of(args.measured_lab, "--measured-lab")
        say(
            "Lab only: which ink went wrong is told less surely, and other lights can't be "
            "judged; measure the spectrum if you can"
        )
        told = Round(grams=grams[-1], lab=lab, lab_covariance=LAB_NOISE**2 * np.eye(3))
        belief = infer(palette, [told], spread, target=target, refuse=False, known=known)
        return belief, de00(target.lab, np.vstack([lab, np.full((len(target.lab) - 1, 3), np.nan)]))
    if args.looks:
        told = look_round(args.looks, grams[-1], target)
        lots = known or (np.zeros(len(palette.inks)), np.diag(spread.log_strength**2))
        lots = lots_that_explain(palette, told, target, lots)
        say(
            "an eye's word says the direction and little of the amount: add half, look again; "
            "other lights can't be judged"
        )
        belief = infer(
            palette, [told], spread, target=target, refuse=False, known=lots, slips=False
        )
        return belief, None
    if not readings:
        return nothing_learned(palette, grams[-1], spread, known), None
    rounds = [Round(grams=g, R=R) for g, R in zip(grams, readings, strict=True)]
    try:
        belief = infer(
            palette, rounds, spread, target=target, model_f=model_error_f(found),
            refuse=not args.anyway, known=known,
        )  # fmt: skip
    except InputError as error:
        sure = "if it is right all the same, --anyway prescribes by it"
        raise InputError(
            [f"{args.measured[-1]}: {fault}; {sure}" for fault in error.faults]
        ) from error
    seen = np.array([Lab(readings[-1], light, target.observer) for light in target.lights])
    return belief, de00(target.lab, seen)


def _stock(shop: Shop, palette: Palette, without: list[str]) -> Array:
    """Grams of each ink that may be added."""
    mixes = {mix.name for mix in shop.mixes}  # no addition takes them, so they may be named
    unknown = [name for name in without if name not in {*palette.names, *mixes}]
    if unknown:
        there = f"the inks are {', '.join(sorted(palette.names))}"
        raise InputError(
            [
                f"--without: no ink is called {name!r}; {there}"
                f"{did_you_mean(name, [*palette.names, *mixes])}"
                for name in unknown
            ]
        )
    today = {ink.name: ink.stock_g for ink in shop.inks}
    stock = [np.inf if today.get(n) is None else today[n] for n in palette.names]
    upper = np.array(stock, dtype=float)
    upper[[palette.index(name) for name in without if name not in mixes]] = 0
    return upper
