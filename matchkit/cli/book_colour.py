"""The verbs of ``matchkit book`` that bring colours into it: matches, reprints, old cards."""

import argparse
from collections.abc import Mapping
from typing import Any

from matchkit.book.entries import log_match as log
from matchkit.book.find import scanned
from matchkit.book.lessons import fit_key
from matchkit.book.work import as_poured, prediction
from matchkit.book.work import reprint as match_again
from matchkit.cli.asked import Answer, batch_argument, give, reference_lots_option
from matchkit.cli.shops import (
    by_light,
    decimals,
    lab_options,
    lab_target_in,
    name_option,
    one_spectrum,
    one_target_of,
    palettes_of,
    written_in,
)
from matchkit.cli.terminal import positive, table, whole
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.inks.shop import Shop
from matchkit.matching.match import match, palette_for
from matchkit.matching.probability import chance_text
from matchkit.matching.rank import Candidate
from matchkit.matching.solve import Target, spectral_target
from matchkit.report.book import imported_parts, opened_parts
from matchkit.workflows import booking
from matchkit.workflows.finding import warnings_of
from matchkit.workflows.session import Session


def _formula_options(parser: argparse.ArgumentParser) -> None:
    """What every search for formulas can be told."""
    parser.add_argument("--grams", default="1000", metavar="G", help="batch size (1000)")
    parser.add_argument(
        "--max-inks", default="4", metavar="N", help="white and clear count too (4)"
    )
    parser.add_argument(
        "--without", action="append", default=[], metavar="INK", help="leave an ink out"
    )
    reference_lots_option(parser)


def _job_options(parser: argparse.ArgumentParser) -> None:
    """What a batch is for."""
    parser.add_argument("--job", default="", help="the job's name")
    parser.add_argument("--customer", default="", help="for whom")
    parser.add_argument("--due", default="", metavar="DAY", help="as 2026-11-25")


def log_match_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("targets", metavar="TARGET", nargs="?", help="a spectrum file")
    name_option(parser)
    lab_options(parser)
    parser.add_argument("--recipe", metavar="FILE", help="the formula, if one was chosen already")
    parser.add_argument(
        "--rank", default="1", metavar="N", help="else which formula of the match (1, the best)"
    )
    _formula_options(parser)
    _job_options(parser)


def log_match(session: Session, args: argparse.Namespace) -> Answer:
    grams, rank = positive(args.grams, "--grams"), whole(args.rank, "--rank")
    book = session.open_book(create=True)
    shop, fits, told = session.shop, session.fits, session.learned()
    name, target = _target(args, shop)
    if args.recipe:
        formula, inks = _recipe(args, shop, told.fits, target, grams)
    else:
        found = match(
            shop, told.fits, target, name=name, batch_g=grams, without=args.without,
            max_inks=whole(args.max_inks, "--max-inks"), top=rank,
        )  # fmt: skip
        if len(found.formulas) < rank:
            raise InputError(f"--rank: found {rank}; the match has {len(found.formulas)} formulas")
        formula = found.formulas[rank - 1]
        inks = formula.inks
    logged = log(
        book, shop, target, formula, name=name, job=args.job, customer=args.customer,
        due=args.due, source="recipe" if args.recipe else "match",
        fit=fit_key(palette_for({s: f.palette for s, f in fits.items()}, inks)),
    )  # fmt: skip
    answer: dict[str, Any] = {"target": logged.target, "formula": logged.formula}
    answer |= {"batch": logged.batch, "inks": _amounts(formula)}
    answer["de00"] = by_light(target.light_names, formula.de00)
    text = f"batch {logged.batch}: {name}, {sum(formula.grams):g} g, {_predicted(formula, target)}"
    return answer, f"{text}\n{_table(formula, shop, target)}"


def _target(args: argparse.Namespace, shop: Shop) -> tuple[str, Target]:
    one_target_of(args, "log-match", args.targets)
    if args.lab is None:
        spectrum = one_spectrum(args.targets, args.name, shop)
        return spectrum.name, spectral_target(spectrum.R, shop.lights, shop.observer)
    return args.name or f"Lab {args.lab}", lab_target_in(args, shop)


def _recipe(
    args: argparse.Namespace, shop: Shop, fits: Mapping[str, Fit], target: Target, grams: float
) -> tuple[Candidate, tuple[str, ...]]:
    """The formula as it is poured, mixes by their names, and the inks in it."""
    written = written_in(args.recipe, shop, palettes_of(fits))
    batch_g = sum(written.grams) if written.grams else grams
    formula, _ = prediction(
        shop, fits, written.inks, written.fractions, batch_g=batch_g, target=target
    )
    return as_poured(formula, written, shop.resolution_g), written.inks


def _amounts(formula: Candidate) -> list[dict[str, Any]]:
    return [
        {"ink": ink, "grams": g, "percent": round(percent, 6)}
        for ink, g, percent in zip(formula.inks, formula.grams, formula.percents, strict=True)
    ]


def _predicted(formula: Candidate, target: Target) -> str:
    told = zip(target.light_names, formula.de00, strict=True)
    line = "predicted dE00 " + "  ".join(f"{light} {value:.2f}" for light, value in told)
    if formula.chance_in_tolerance is not None:
        line += f", chance {chance_text(formula.chance_in_tolerance)}"
    return line


def _table(formula: Candidate, shop: Shop, target: Target) -> str:
    digits = decimals(shop.resolution_g)
    rows = [
        [ink, f"{g:.{digits}f}", f"{percent:.3f}"]
        for ink, g, percent in zip(formula.inks, formula.grams, formula.percents, strict=True)
    ]
    lines = [table(["Ink", "grams", "percent"], rows, indent=2)]
    return "\n".join([*lines, *(f"  {each.text}" for each in warnings_of(formula, target, shop))])


def reprint_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    _formula_options(parser)
    parser.add_argument(
        "--log", metavar="N", help="write the Nth formula down as a batch (0: the old formula)"
    )
    _job_options(parser)


def reprint(session: Session, args: argparse.Namespace) -> Answer:
    grams = positive(args.grams, "--grams")
    book = session.open_book()
    shop, fits, told = session.shop, session.fits, session.learned()
    found = match_again(
        book, shop, told, scanned(book, args.batch), batch_g=grams, without=args.without,
        max_inks=whole(args.max_inks, "--max-inks"),
    )  # fmt: skip
    choices = [found.again, *found.match.formulas]
    lights = found.target.light_names
    answer: dict[str, Any] = {"of_batch": found.batch, "name": found.name}
    answer["formulas"] = [
        {
            "inks": _amounts(each),
            "de00": by_light(lights, each.de00),
            "chance_in_tolerance": round(each.chance_in_tolerance or 0.0, 4),
        }
        for each in choices
    ]
    text = [f"{found.name}, batch {found.batch}, matched to what it measured"]
    for k, each in enumerate(choices):
        head = "The old formula today" if k == 0 else f"Formula {k}"
        text += ["", f"{head}: {_predicted(each, found.target)}", _table(each, shop, found.target)]
    if args.log is not None:
        if not args.log.isdecimal() or int(args.log) >= len(choices):
            raise InputError(f"--log: found {args.log!r}; write 0 to {len(choices) - 1}")
        chosen = choices[int(args.log)]
        logged = log(
            book, shop, found.target, chosen, name=found.name, job=args.job, due=args.due,
            customer=args.customer or found.customer, source="reprint",
            fit=fit_key(palette_for({s: f.palette for s, f in fits.items()}, chosen.inks)),
        )  # fmt: skip
        answer["batch"] = logged.batch
        text += ["", f"written down as batch {logged.batch}"]
    return answer, "\n".join(text)


def import_paper_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "cards", metavar="FILE", help="CSV formula,ink,percent (or grams), customer and note too"
    )
    parser.add_argument(
        "--again", action="store_true", help="write down too what the book has already"
    )


def import_paper(session: Session, args: argparse.Namespace) -> None:
    imported = booking.import_paper(session, args.cards, again=args.again)
    give(args, imported.to_dict, lambda: imported_parts(imported))


def open_batch_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "formula", metavar="FORMULA", help="its number, as import-paper and find tell"
    )
    parser.add_argument("--grams", default="1000", metavar="G", help="batch size (1000)")
    _job_options(parser)


def open_batch(session: Session, args: argparse.Namespace) -> None:
    grams = positive(args.grams, "--grams")
    if not args.formula.isdecimal():
        raise InputError(f"open-batch: found {args.formula!r}, need the number of a formula")
    details = booking.JobDetails(job=args.job, customer=args.customer, due=args.due)
    opened = booking.open_batch(session, int(args.formula), grams, details)
    give(args, opened.to_dict, lambda: opened_parts(opened))
