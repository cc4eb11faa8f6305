"""The verbs of ``matchkit book`` that follow a bucket from the balance to the shelf."""

import argparse
from typing import Any

import numpy as np

from matchkit.book_bucket import add as add_to_batch
from matchkit.book_bucket import log_correction
from matchkit.book_bucket import measure as measure_batch
from matchkit.book_bucket import weigh as weigh_batch
from matchkit.book_entries import OUTCOMES
from matchkit.book_entries import close as close_batch
from matchkit.book_find import scanned
from matchkit.book_jobs import job, planned_grams
from matchkit.book_lessons import teach
from matchkit.book_stock import keep_leftover
from matchkit.book_work import advise, verdict
from matchkit.cli.book_desk import (
    Answer,
    batch_argument,
    desk,
    known,
    learning_option,
    shop_of,
    whole,
)
from matchkit.cli.shops import by_light, decimals, name_option, one_spectrum
from matchkit.cli.terminal import positive, say, table
from matchkit.faults import BadInput
from matchkit.files.fitted import fitted
from matchkit.files.recipe import read_recipe
from matchkit.inks import Shop


def weigh_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument("recipe", metavar="RECIPE", nargs="?", help="CSV ink,grams as weighed")
    parser.add_argument(
        "--as-planned", action="store_true", help="the balance showed just what was planned"
    )


def weigh(args: argparse.Namespace) -> Answer:
    if bool(args.recipe) == args.as_planned:
        raise BadInput("weigh: give the file of what was weighed, or --as-planned")
    book, shop = desk(args), shop_of(args)
    batch = scanned(book, args.batch)
    planned = planned_grams(job(book, batch), shop.resolution_g)
    grams = planned if args.as_planned else _grams(args.recipe)
    number = weigh_batch(book, shop, batch, grams)
    text = f"batch {batch}: {sum(grams.values()):g} g weighed; draw down, cure, measure"
    return {"batch": batch, "weighing": number}, text


def _grams(path: str) -> dict[str, float]:
    """A recipe file in grams; its names are checked by the book, which knows the leftovers."""
    written = read_recipe(path, None, grams_only=True)
    return dict(zip(written.inks, written.grams or (), strict=True))


def measure_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument(
        "spectrum", metavar="SPECTRUM", help="of the drawdown, cured and cool; several are averaged"
    )
    name_option(parser)


def measure(args: argparse.Namespace) -> Answer:
    book, shop = desk(args), shop_of(args)
    batch = scanned(book, args.batch)
    spectrum = one_spectrum(args.spectrum, args.name, shop)
    number = measure_batch(book, shop, batch, spectrum.readings, name=spectrum.name)
    fits, why = fitted(args.shop, shop)
    if why:
        say(why)
    for line in teach(book, shop, fits):
        if line.startswith(f"batch {batch}:"):  # the others were told of in their time
            say(line)
    story = job(book, batch)
    last = story.readings[-1]
    answer = {"batch": batch, "measurement": number, "de00": last.de00, "passed": last.passed}
    return answer, f"batch {batch}: {verdict(book, shop, story)}"


def correct_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument("--room", metavar="G", help="grams that the container still takes")
    parser.add_argument(
        "--anyway", action="store_true", help="prescribe even where the reading can't be explained"
    )
    learning_option(parser)


def correct(args: argparse.Namespace) -> Answer:
    room_g = np.inf if args.room is None else positive(args.room, "--room")
    book = desk(args)
    batch = scanned(book, args.batch)
    shop, fits, _ = known(args, book, learning=not args.reference_lots)
    advice = advise(
        book, shop, fits, batch, room_g=room_g, learning=not args.reference_lots,
        anyway=args.anyway,
    )  # fmt: skip
    found = advice.correction
    number = log_correction(book, batch, found, advice.inks, measurement=advice.measurement)
    additions = {
        ink: g for ink, g in zip(advice.inks, found.additions_g.tolist(), strict=True) if g > 0
    }
    lights = advice.target.light_names
    answer = {
        "batch": batch,
        "correction": number,
        "additions": [{"ink": ink, "grams": g} for ink, g in additions.items()],
        "added_grams": round(found.added_g, 6),
        "total_grams": round(found.total_g, 6),
        "de00_before": by_light(lights, advice.de00_before),
        "de00": by_light(lights, found.de00),
        "chance_in_tolerance": round(found.chance_in_tolerance, 4),
        "can_be_saved": found.can_be_saved,
    }
    return answer, _advice_text(answer, shop)


def _advice_text(answer: dict[str, Any], shop: Shop) -> str:
    light = next(iter(answer["de00"]))
    before, after = answer["de00_before"][light], answer["de00"][light]
    head = f"batch {answer['batch']}, correction {answer['correction']}: dE00 {before:.2f}"
    if not answer["additions"]:
        return f"{head}: nothing to add" if answer["can_be_saved"] else f"{head}: can't be saved"
    digits = decimals(shop.resolution_g)
    rows = [[each["ink"], f"{each['grams']:.{digits}f}"] for each in answer["additions"]]
    saved = "" if answer["can_be_saved"] else "; this does not bring it within tolerance"
    chance = 100 * answer["chance_in_tolerance"]
    return f"{head} -> {after:.2f} under {light}, chance {chance:.0f} %{saved}\n" + table(
        ["Add", "grams"], rows, indent=2
    )


def add_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument("recipe", metavar="RECIPE", help="CSV ink,grams: only what was added")
    parser.add_argument("--correction", metavar="N", help="the advice that was followed")


def add(args: argparse.Namespace) -> Answer:
    followed = None if args.correction is None else whole(args.correction, "--correction")
    book = desk(args)
    batch, grams = scanned(book, args.batch), _grams(args.recipe)
    number = add_to_batch(book, shop_of(args), batch, grams, correction=followed)
    text = f"batch {batch}: {sum(grams.values()):g} g added; draw down, cure, measure again"
    return {"batch": batch, "weighing": number}, text


def close_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument("outcome", metavar="OUTCOME", help=", ".join(OUTCOMES))
    parser.add_argument("--approved-by", default="", metavar="NAME", help="who approved the print")
    parser.add_argument("--light", default="", help="under which light")
    parser.add_argument("--note", default="", help="anything worth keeping")


def close(args: argparse.Namespace) -> Answer:
    book = desk(args)
    batch = scanned(book, args.batch)
    number = close_batch(
        book, batch, args.outcome, approved_by=args.approved_by, light=args.light, note=args.note
    )
    return {"batch": batch, "closing": number}, f"batch {batch}: {args.outcome}"


def leftover_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument("grams", metavar="G", help="how much is left")
    parser.add_argument("name", metavar="NAME", help="what it is called on the shelf")


def leftover(args: argparse.Namespace) -> Answer:
    grams = positive(args.grams, "grams")
    book = desk(args)
    batch = scanned(book, args.batch)
    number = keep_leftover(book, shop_of(args), batch, grams, args.name)
    text = f"{args.name}: {grams:g} g on the shelf; it can be weighed like an ink"
    return {"batch": batch, "mix": number}, text
