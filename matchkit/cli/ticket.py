"""``matchkit ticket``: a weigh-out ticket for a recipe."""

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from datetime import date
from math import ceil

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.outputs import page
from matchkit.cli.printed import job_of, job_options, size_of
from matchkit.cli.shops import (
    name_option,
    one_spectrum,
    open_shop_of_today,
    palettes_of,
    recipe_in,
    reference_lots_option,
)
from matchkit.cli.terminal import json_option, number_of, positive, print_json, say
from matchkit.correcting.hold_back import hold_back
from matchkit.errors import InputError
from matchkit.files.text import did_you_mean
from matchkit.files.write import write_file
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.recipe import as_ink, taken_apart, weigh_out
from matchkit.inks.shop import Shop
from matchkit.matching.match import fractions_for, odds_of
from matchkit.matching.probability import chance_text, spread_of
from matchkit.matching.rank import Candidate, weighed
from matchkit.matching.solve import Target, spectral_target
from matchkit.paper.jobsize import Job
from matchkit.paper.ticket import CONTAINERS_ML, Additive, Container, Ticket, ticket
from matchkit.paper.ticket_sheet import ticket_html, ticket_text


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument("recipe", metavar="RECIPE", help="CSV ink,grams or ink,percent; mixes too")
    parser.add_argument("--target", metavar="FILE", help="spectrum file of the target")
    name_option(parser)
    parser.add_argument(
        "--grams", metavar="G", help="batch size (what the job needs, or the recipe's own grams)"
    )
    parser.add_argument(
        "--html", type=page, metavar="FILE", help="write the printable ticket there"
    )
    details(parser)
    reference_lots_option(parser)
    json_option(parser)


def details(parser: argparse.ArgumentParser) -> None:
    """What stands on a ticket beside the formula."""
    parser.add_argument("--job", default="", help="the job's name")
    parser.add_argument("--date", default="", help="the date on the ticket (today)")
    parser.add_argument(
        "--container", metavar="NAME",
        help=f"what it is mixed in: {', '.join(CONTAINERS_ML)}, or millilitres",
    )  # fmt: skip
    parser.add_argument(
        "--additive", action="append", default=[], metavar="NAME=PERCENT",
        help="dosed on top of the finished colour, not part of it",
    )  # fmt: skip
    parser.add_argument(
        "--hold-back", action="append", default=[], metavar="INK=PERCENT|auto",
        help="weigh this percent of an ink first and the rest after a drawdown; auto: the "
        "touchy inks, with what that does for the odds",
    )  # fmt: skip
    parser.add_argument(
        "--letdowns", action="store_true", help="weigh too small weights from letdowns"
    )
    job_options(
        parser.add_argument_group("how much ink the job needs, told on the ticket"), required=False
    )


def run(args: argparse.Namespace) -> None:
    """Make the ticket; print it, and write the page if wanted."""
    job = job_of(args)
    shop, fits = open_shop_of_today(args)
    written, palette, c = recipe_in(args.recipe, shop, palettes_of(fits))
    found = next(f for f in fits.values() if f.palette is palette)
    batch_g = _batch(args, written.grams, job, palette, c)
    if args.target:
        spectrum = one_spectrum(args.target, args.name, shop)
        R, name = spectrum.R, spectrum.name
    else:
        R, name = reflectance(palette, c), f"{written.name}, as predicted"
    target = spectral_target(R, shop.lights, shop.observer)
    poured_g = weigh_out(written.shares, batch_g, shop.resolution_g).tolist()
    by_name = dict(zip(written.poured, poured_g, strict=True))
    candidate, said = on_the_balance(args, shop, found, by_name, target)
    made = make(args, shop, candidate, target, name, warnings=said)
    if args.html:
        write_file(args.html, ticket_html(made))
        say(f"written: {args.html}")
    if args.json:
        print_json(asdict(made))
    else:
        print(ticket_text(made))


def on_the_balance(
    args: argparse.Namespace, shop: Shop, found: Fit, by_name: Mapping[str, float], target: Target
) -> tuple[Candidate, list[str]]:
    """What is weighed, grams by name, as a candidate; and what has to be said about it."""
    candidate, grams = _weighed(shop, found, by_name, target)
    return candidate, [
        *hold_touchy(args, shop, found, candidate, target),
        *_over_limit(found.palette, candidate, grams),
    ]


def _weighed(
    shop: Shop, found: Fit, by_name: Mapping[str, float], target: Target
) -> tuple[Candidate, NDArray[np.float64]]:
    """What goes on the balance, mixes by their own names first; and the grams of inks in it."""
    palette = found.palette
    grams = _inks_in(palette, by_name, shop)
    candidate = weighed(palette, grams, target, odds=odds_of(found, target, shop))
    mixes = [name for name in by_name if name not in palette.names]
    if not mixes:
        return candidate, grams
    order = [*mixes, *(ink for ink in candidate.inks if by_name.get(ink, 0.0) > 0)]
    return replace(
        candidate, inks=tuple(order), grams=tuple(by_name[name] for name in order)
    ), grams


def _over_limit(palette: Palette, candidate: Candidate, grams: NDArray[np.float64]) -> list[str]:
    """Inks that only the mixes take over their limit; the ticket sees the others itself."""
    alone = dict(zip(candidate.inks, candidate.percents, strict=True))
    percents = 100 * grams / grams.sum()
    return [
        f"{ink.name}: {percent:.1f} % with what the mixes hold of it, over its limit of"
        f" {ink.max_percent:g} %."
        for ink, percent in zip(palette.inks, percents.tolist(), strict=True)
        if percent > ink.max_percent + 0.05 >= alone.get(ink.name, 0.0)
    ]


def make(
    args: argparse.Namespace,
    shop: Shop,
    candidate: Candidate,
    target: Target | None,
    name: str,
    warnings: Sequence[str] = (),
) -> Ticket:
    """The ticket of a candidate with the details given on the command line."""
    job, container = job_of(args), container_of(args.container)
    inks = (*shop.inks, *(as_ink(mix, shop.inks) for mix in shop.mixes))
    shelf = {ink.name: ink for ink in inks}
    held = _pairs(args.hold_back, "--hold-back")
    if strange := [ink for ink in held if ink not in candidate.inks]:
        raise InputError(
            [
                f"--hold-back: {ink!r} is not in this formula{did_you_mean(ink, candidate.inks)}"
                for ink in strange
            ]
        )
    used = [shelf[ink] for ink in candidate.inks] if job else []
    return ticket(
        candidate,
        target,
        shop,
        target_name=name,
        inks=inks,
        job=args.job,
        date=args.date or date.today().isoformat(),
        hold_back={ink: percent / 100 for ink, percent in held.items()},
        use_letdowns=args.letdowns,
        additives=[
            Additive(name=k, percent=v) for k, v in _pairs(args.additive, "--additive").items()
        ],
        container=container,
        job_size=size_of(args, job, used, candidate.grams, container) if job else None,
        warnings=warnings,
    )


def _inks_in(palette: Palette, amounts: Mapping[str, float], shop: Shop) -> NDArray[np.float64]:
    """Grams (n_ink,) of what goes on the balance, mixes taken apart."""
    held = taken_apart(amounts, shop.mixes)
    grams: NDArray[np.float64] = sum(amounts.values()) * fractions_for(
        palette, [*held], [*held.values()]
    )
    return grams


def hold_touchy(
    args: argparse.Namespace, shop: Shop, found: Fit, candidate: Candidate, target: Target
) -> list[str]:
    """With ``--hold-back auto``: put the touchy inks into the options, and say the odds."""
    if "auto" not in args.hold_back:
        return []
    args.hold_back.remove("auto")
    palette = found.palette
    by_name = dict(zip(candidate.inks, candidate.grams, strict=True))
    alone_g = np.array([by_name.get(name, 0.0) for name in palette.names])
    held = hold_back(
        palette, _inks_in(palette, by_name, shop), target,
        spread_of(palette, found.error_Lab, shop.resolution_g), shop.tolerance_de00,
        resolution_g=shop.resolution_g, share=None, alone_g=alone_g,
    )  # fmt: skip
    args.hold_back += [f"{ink}={100 * held.share:g}" for ink in held.inks]
    one, two = chance_text(held.chance_one_stage), chance_text(held.chance_two_stage)
    if not held.inks:
        return [f"Nothing is worth holding back: the chance in one stage is {one}."]
    return [f"Chance in tolerance: {one} in one stage, {two} in two (measure between)."]


def _batch(
    args: argparse.Namespace,
    grams: tuple[float, ...] | None,
    job: Job | None,
    palette: Palette,
    c: NDArray[np.float64],
) -> float:
    """What to mix: as told, what the job needs in whole grams, or the recipe's own grams."""
    if args.grams is not None:
        return positive(args.grams, "--grams")
    if job is not None:
        used = np.flatnonzero(c)
        inks = [palette.inks[i] for i in used.tolist()]
        return float(ceil(size_of(args, job, inks, c[used].tolist(), None).total_g))
    if grams is None:
        raise InputError("ticket: the recipe holds percents only; say how much with --grams G")
    return sum(grams)


def _pairs(words: list[str], option: str) -> dict[str, float]:
    """``NAME=PERCENT`` words as a mapping."""
    pairs = {}
    for word in words:
        name, equals, percent = word.rpartition("=")
        if not equals or not name:
            raise InputError(f"{option}: found {word!r}, need NAME=PERCENT")
        pairs[name] = number_of(percent, option)
    return pairs


def container_of(text: str | None) -> Container | None:
    if text is None:
        return None
    if text in CONTAINERS_ML:
        return Container(name=text, volume_ml=CONTAINERS_ML[text])
    try:
        return Container(name=f"{text} ml", volume_ml=positive(text, "--container"))
    except InputError:
        raise InputError(
            f"--container: found {text!r}; write {', '.join(CONTAINERS_ML)}, or millilitres"
        ) from None
