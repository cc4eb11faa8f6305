"""``matchkit match``: starting formulas for one or many targets."""

import argparse
from collections.abc import Iterator, Mapping

from matchkit.cli.asked import prefer_option, session_of
from matchkit.cli.films import over_options, printed_of
from matchkit.cli.formulas import match_json, match_report
from matchkit.cli.leftovers import use_leftover
from matchkit.cli.outputs import page, recipe_csv
from matchkit.cli.pictures import (
    COMPARED,
    Panel,
    chosen,
    compared,
    keep_picture,
    picture_faults,
    picture_option,
    recipe_panels,
)
from matchkit.cli.printed import job_of
from matchkit.cli.shops import (
    lab_options,
    lab_target_in,
    lamp_option,
    lamps_in,
    name_option,
    one_target_of,
    open_shop_of_today,
    palettes_of,
    reference_lots_option,
    strengths_json,
)
from matchkit.cli.terminal import (
    json_option,
    number_of,
    positive,
    print_json,
    progress_line,
    say,
)
from matchkit.cli.ticket import details, hold_touchy, make
from matchkit.colorimetry.illuminants import Light
from matchkit.errors import InputError
from matchkit.files.spectrum import read_spectra, read_spectrum
from matchkit.files.write import csv_text, write_file
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette
from matchkit.inks.recipe import taken_apart
from matchkit.inks.shop import Shop
from matchkit.matching.compare import compare
from matchkit.matching.match import Match, MoreStock, match, stock_words, with_more_stock
from matchkit.matching.solve import Target, spectral_target
from matchkit.paper.ticket_sheet import ticket_html
from matchkit.workflows.printed import PrintedOver, printed_fits

ON_CARD = "A drawdown of it on a card has another colour: prove it on the garment."


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument(
        "targets", metavar="TARGETS", nargs="?", help="a spectrum file, one target or many"
    )
    name_option(parser)
    lab_options(parser)
    parser.add_argument("--grams", default="1000", metavar="G", help="batch size (1000)")
    parser.add_argument(
        "--max-inks", default="4", metavar="N", help="white and clear count too (4)"
    )
    parser.add_argument("--top", default="5", metavar="N", help="how many formulas (5)")
    parser.add_argument(
        "--without", action="append", default=[], metavar="INK", help="leave an ink or a mix out"
    )
    parser.add_argument(
        "--use", metavar="MIX", help="make the most of a leftover or letdown of mixes.csv"
    )
    parser.add_argument(
        "--leftovers", action="store_true", help="which mix on the shelf to start from"
    )
    parser.add_argument(
        "--other-lights", default="0.2", metavar="W", help="what the other lights count (0.2)"
    )
    prefer_option(
        parser, "chance: the best chance at the first drawdown; steady: the best worst light"
    )
    parser.add_argument(
        "--all", action="store_true",
        help="list too what is mostly clear or can hardly be weighed, beside others as near",
    )  # fmt: skip
    parser.add_argument(
        "--trade-offs", action="store_true", help="what each formula gives up (with steady always)"
    )
    over_options(parser)
    lamp_option(parser)
    parser.add_argument(
        "--ticket", type=page, metavar="FILE", help="write the ticket of formula 1 (.html)"
    )
    parser.add_argument(
        "--recipe", type=recipe_csv, metavar="FILE", help="write formula 1 as CSV ink,grams"
    )
    picture_option(parser, (*COMPARED, "recipes"))
    details(parser)
    reference_lots_option(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Match every target and print."""
    batch_g, max_inks, top = _options(args)
    if job_of(args) is not None and not args.ticket:
        raise InputError("--prints: the job's size is told on the ticket; give --ticket FILE too")
    if args.hold_back and not args.ticket:
        raise InputError("--hold-back: it is told on the ticket; give --ticket FILE too")
    if args.over and (args.use or args.leftovers):
        raise InputError("--over: leftovers are used up by what hides; leave out one of the two")
    printed, shop, fits = _opened(args)
    targets = list(_targets(args, shop))
    if len(targets) > 1 and (args.ticket or args.recipe or args.picture):
        raise InputError(
            "--ticket, --recipe and --picture are for one target; choose it with --name"
        )
    tell = progress_line("subsets of inks looked at")
    tell_many = progress_line("targets matched")
    answers = []
    for done, (name, target) in enumerate(targets, start=1):
        found = match(
            shop,
            fits,
            target,
            name=name,
            without=args.without,
            prefer=args.prefer,
            every=args.all,
            progress=tell if len(targets) == 1 else None,
            batch_g=batch_g,
            max_inks=max_inks,
            top=top,
        )
        more = None
        if args.use or args.leftovers:
            found = use_leftover(args, shop, fits, target, found, batch_g, max_inks, top)
        else:
            more = with_more_stock(
                shop,
                fits,
                target,
                found,
                batch_g=batch_g,
                max_inks=max_inks,
                without=args.without,
                prefer=args.prefer,
            )
        answers.append((found, target, more))
        if len(targets) > 1:
            tell_many(done, len(targets))
    _keep(args, shop, answers, fits)
    if args.json:
        print_json(
            {"matches": [match_json(found, target, more) for found, target, more in answers]}
            | ({"printed": printed.to_dict()} if printed else {})
            | strengths_json(palettes_of(fits))
        )
    else:
        told = args.trade_offs or args.prefer == "steady"
        print(
            "\n\n".join(
                match_report(
                    found,
                    target,
                    shop,
                    palettes_of(fits),
                    told,
                    printed.words if printed else "",
                    list(filter(None, [_fewer(args, shop, found, top)])),
                    max_inks,
                    more,
                )
                for found, target, more in answers
            )
        )


def _opened(
    args: argparse.Namespace,
) -> tuple[PrintedOver | None, Shop, Mapping[str, Fit]]:
    """What is printed on, the shop of today and its fits, which are prints on that."""
    printed = printed_of(args)
    if printed is None:
        return None, *open_shop_of_today(args)
    session = session_of(args)
    return printed, session.shop, printed_fits(session, printed)


def _fewer(args: argparse.Namespace, shop: Shop, found: Match, top: int) -> str:
    """Why a list is shorter than it was asked for; nothing where it is not."""
    n, mixes = len(found.formulas), {mix.name for mix in shop.mixes}
    if n >= top:
        return ""
    head = f"{n} formula{'s' if n > 1 else ''}, not {top}: "
    if args.leftovers and not args.use and found.formulas[0].inks[0] in mixes:
        return head + "one for each mix on the shelf that can be brought near enough."
    if args.use:
        one = "one of these" if n > 1 else "it"
        return f"{head}any other only stirs more into {one}, or comes less near."
    return fewer_words(n, top, "" if args.all else "--all")


def fewer_words(n: int, top: int, all_with: str) -> str:
    """Why a plain match has `n` formulas, not `top`; `all_with` lists those left out."""
    one = "one of these" if n > 1 else "it"
    poor = f", or is as near but less sure or mostly clear ({all_with} lists those)"
    return (
        f"{n} formula{'s' if n > 1 else ''}, not {top}: any other only stirs more into"
        f" {one}{poor if all_with else ''}."
    )


def _keep(
    args: argparse.Namespace,
    shop: Shop,
    answers: list[tuple[Match, Target, MoreStock | None]],
    fits: Mapping[str, Fit],
) -> None:
    """The files that were asked for: a ticket, a recipe, a picture."""
    if not (args.ticket or args.recipe or args.picture):
        return
    (found, target, more), formula = answers[0], answers[0][0].formulas[0]
    if args.ticket:
        printed = printed_of(args)
        told = [f"Matched as a print, {printed.words}. {ON_CARD}"] if printed else []
        if more:
            words = stock_words(more, found, target)
            told.append(f"{words[0].upper()}{words[1:]}.")
        held = taken_apart(dict.fromkeys(formula.inks, 1.0), shop.mixes)
        own = next(fit for fit in fits.values() if set(held) <= set(fit.palette.names))
        told += hold_touchy(args, shop, own, formula, target)
        made = make(args, shop, formula, target, found.target, warnings=told)
        write_file(args.ticket, ticket_html(made))
        say(f"written: {args.ticket}")
    if args.recipe:
        rows = list(zip(formula.inks, formula.grams, strict=True))
        write_file(args.recipe, csv_text(["ink", "grams"], rows))
        say(f"written: {args.recipe}")
    if args.picture:
        panels = _panels(found, target, palettes_of(fits), shop.tolerance_de00)
        keep_picture(args.picture, chosen(args, panels))


def _panels(
    found: Match, target: Target, palettes: Mapping[str, Palette], tolerance_de00: float
) -> dict[str, list[Panel]]:
    """What a picture of a match can show: of a Lab without a spectrum only the recipes."""
    named = [(f"formula {rank}", formula) for rank, formula in enumerate(found.formulas, start=1)]
    light, observer = target.lights[0], target.observer
    recipes = recipe_panels(named, palettes, light=light, observer=observer)
    if target.R is None:
        return {"recipes": recipes}
    seen = compare(
        target.R,
        [(name, formula.R) for name, formula in named],
        lights=target.lights,
        observer=observer,
    )
    return {**compared(seen, tolerance_de00), "recipes": recipes}


def _options(args: argparse.Namespace) -> tuple[float, int, int]:
    """Batch size, inks at most, formulas to show; or every fault in them at once."""
    faults = picture_faults(args)
    values: list[float] = []
    for text, option in (
        (args.grams, "--grams"),
        (args.max_inks, "--max-inks"),
        (args.top, "--top"),
    ):
        try:
            value = positive(text, option)
            if option != "--grams" and value != int(value):
                raise InputError(f"{option}: found {text!r}, need a whole number")
            values.append(value)
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    return values[0], int(values[1]), int(values[2])


def _targets(args: argparse.Namespace, shop: Shop) -> Iterator[tuple[str, Target]]:
    one_target_of(args, "match", args.targets)
    if args.lab is not None and args.lamp:
        raise InputError("--lamp: a Lab can't be judged under other lights; measure the sample")
    if args.lab is not None:
        yield _lab_target(args, shop)
        return
    weight = number_of(args.other_lights, "--other-lights")
    if weight < 0:
        raise InputError(f"--other-lights: found {args.other_lights!r}, need 0 or more")
    if args.name:
        spectrum, notes = read_spectrum(args.targets, args.name, shop=shop)
        spectra = [spectrum]
    else:
        spectra, notes = read_spectra(args.targets, shop=shop)
    for note in notes:
        say(note)
    lights: list[Light] = [*shop.lights, *lamps_in(args.lamp)]
    for spectrum in spectra:
        yield (
            spectrum.name,
            spectral_target(spectrum.R, lights, shop.observer, other_weight=weight),
        )


def _lab_target(args: argparse.Namespace, shop: Shop) -> tuple[str, Target]:
    target = lab_target_in(args, shop)
    say(
        f"Lab only, under {target.light_names[0]} and {target.observer} degrees: how a formula "
        "compares with the sample under other lights can't be judged; measure the sample if there "
        "is one"
    )
    return f"Lab {args.lab}", target
