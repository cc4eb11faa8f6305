"""The verbs of ``matchkit book`` that follow a bucket from the balance to the shelf."""

import argparse
from typing import Any

import numpy as np

from matchkit.book.containers import log_correction
from matchkit.book.containers import measure as measure_batch
from matchkit.book.entries import OUTCOMES
from matchkit.book.find import scanned
from matchkit.book.jobs import job
from matchkit.book.lessons import save_lessons
from matchkit.book.rows import reading_text, taken_back
from matchkit.book.work import Advice, advise, target_of, verdict
from matchkit.cli.asked import Answer, batch_argument, batch_of, reference_lots_option
from matchkit.cli.book_keep import give_written
from matchkit.cli.shops import by_light, decimals, name_option, one_spectrum
from matchkit.cli.terminal import positive, say, table, whole
from matchkit.cli.ticket import choices_of, details, html_option, write_ticket
from matchkit.correcting.advice import worth_doing
from matchkit.errors import InputError
from matchkit.files.recipe import read_recipe
from matchkit.inks.shop import Shop
from matchkit.matching.probability import chance_text
from matchkit.paper.ticket_sheet import ticket_text
from matchkit.workflows import booking
from matchkit.workflows.session import Session
from matchkit.workflows.weighing_out import batch_ticket


def ticket_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    html_option(parser)
    details(parser)
    reference_lots_option(parser)


def ticket(session: Session, args: argparse.Namespace) -> Answer:
    """The formula as it was written down; its colour and chance with the lots of today."""
    batch = scanned(session.open_book(), args.batch)
    made = batch_ticket(session, batch, choices_of(args))
    write_ticket(args.html, made)
    return {"batch": batch, **made.to_dict()}, ticket_text(made).rstrip("\n")


def weigh_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument("recipe", metavar="RECIPE", nargs="?", help="CSV ink,grams as weighed")
    parser.add_argument(
        "--as-planned", action="store_true", help="the balance showed just what was planned"
    )


def weigh(session: Session, args: argparse.Namespace) -> None:
    if bool(args.recipe) == args.as_planned:
        raise InputError("weigh: give the file of what was weighed, or --as-planned")
    grams = None if args.as_planned else _grams(args.recipe)
    give_written(args, booking.weigh(session, batch_of(session, args), grams))


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


def measure(session: Session, args: argparse.Namespace) -> Answer:
    book, shop = session.open_book(), session.files
    batch = scanned(book, args.batch)
    spectrum = one_spectrum(args.spectrum, args.name, shop)
    number = measure_batch(book, shop, batch, spectrum.readings, name=spectrum.name)
    target = target_of(book, shop, job(book, batch))
    if (
        target is not None
        and target.R is not None
        and reading_text(target.R) == reading_text(spectrum.R)
    ):
        say(
            f"this is the target's own spectrum, {spectrum.name!r} of {args.spectrum}; if the"
            f" drawdown is in another file, {taken_back('measurement', number)} takes it back"
        )
    for line in save_lessons(book, shop, session.fits):
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
    reference_lots_option(parser)


def correct(session: Session, args: argparse.Namespace) -> Answer:
    room_g = np.inf if args.room is None else positive(args.room, "--room")
    book = session.open_book()
    batch = scanned(book, args.batch)
    shop, fits, _ = session.shop, session.fits, session.learned()
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
    return answer, "\n\n".join([_advice_text(answer, shop), *_other_ways(advice, shop)])


def _other_ways(advice: Advice, shop: Shop) -> list[str]:
    """The other additions that a mixer may like better; the one that is logged is told apart."""
    found, digits = advice.correction, decimals(shop.resolution_g)
    ways = worth_doing(advice.ways, found.total_g - found.added_g)
    told = []
    for name, way in ways.items():
        if way is found:
            continue
        rows = [
            [ink, f"{g:.{digits}f}"]
            for ink, g in zip(advice.inks, way.additions_g.tolist(), strict=True)
            if g > 0
        ]
        head = (
            f"or, {name}: {way.added_g:.{digits}f} g -> {way.de00[0]:.2f} under"
            f" {advice.target.light_names[0]}, chance {chance_text(way.chance_in_tolerance)}"
        )
        told.append(head + "\n" + table(["Add", "grams"], rows, indent=2))
    return told


def _advice_text(answer: dict[str, Any], shop: Shop) -> str:
    light = next(iter(answer["de00"]))
    before, after = answer["de00_before"][light], answer["de00"][light]
    head = f"batch {answer['batch']}, correction {answer['correction']}: dE00 {before:.2f}"
    if not answer["additions"]:
        return f"{head}: nothing to add" if answer["can_be_saved"] else f"{head}: can't be saved"
    digits = decimals(shop.resolution_g)
    rows = [[each["ink"], f"{each['grams']:.{digits}f}"] for each in answer["additions"]]
    saved = "" if answer["can_be_saved"] else "; this does not bring it within tolerance"
    chance = chance_text(answer["chance_in_tolerance"])
    return f"{head} -> {after:.2f} under {light}, chance {chance}{saved}\n" + table(
        ["Add", "grams"], rows, indent=2
    )


def add_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument("recipe", metavar="RECIPE", help="CSV ink,grams: only what was added")
    parser.add_argument("--correction", metavar="N", help="the advice that was followed")


def add(session: Session, args: argparse.Namespace) -> None:
    followed = None if args.correction is None else whole(args.correction, "--correction")
    batch = batch_of(session, args)
    give_written(args, booking.add(session, batch, _grams(args.recipe), correction=followed))


def close_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument("outcome", metavar="OUTCOME", help=", ".join(OUTCOMES))
    parser.add_argument("--approved-by", default="", metavar="NAME", help="who approved the print")
    parser.add_argument("--light", default="", help="under which light")
    parser.add_argument("--note", default="", help="anything worth keeping")


def close(session: Session, args: argparse.Namespace) -> None:
    approval = {"approved_by": args.approved_by, "light": args.light, "note": args.note}
    batch = batch_of(session, args)
    give_written(args, booking.close(session, batch, args.outcome, **approval))


def leftover_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument("grams", metavar="G", help="how much is left")
    parser.add_argument("name", metavar="NAME", help="what it is called on the shelf")


def leftover(session: Session, args: argparse.Namespace) -> None:
    grams = positive(args.grams, "grams")
    batch = batch_of(session, args)
    give_written(args, booking.leftover(session, batch, grams, args.name))
