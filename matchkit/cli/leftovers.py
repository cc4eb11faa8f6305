"""``matchkit match --use`` and ``--leftovers``: formulas that start from a mix on the shelf."""

import argparse
from collections.abc import Mapping
from dataclasses import replace

from matchkit.cli.terminal import say
from matchkit.correcting.diagnose import model_error_f
from matchkit.correcting.leftovers import Use, use, which_bucket
from matchkit.correcting.mixes import shelf_of
from matchkit.errors import InputError, did_you_mean
from matchkit.fitting.fit import Fit
from matchkit.inks.shop import Mix, Shop
from matchkit.matching.match import Match
from matchkit.matching.probability import spread_of
from matchkit.matching.solve import Target


def use_leftover(
    args: argparse.Namespace,
    shop: Shop,
    fits: Mapping[str, Fit],
    target: Target,
    plain: Match,
    batch_g: float,
    max_inks: int,
    top: int,
) -> Match:
    """The formulas that take the most of a leftover, in place of the `plain` ones."""
    if args.use in args.without:
        raise InputError(f"--use and --without both name {args.use!r}; leave out one of the two")
    found = [
        each
        for fit in fits.values()
        if (mixes := _of_series(shop, fit, args.use, args.without))
        for each in _uses(args, shop, fit, mixes, target, plain, batch_g, max_inks, top)
    ]
    if not found and args.use:
        there = [mix.name for mix in shop.mixes]
        hint = "" if args.use in there else did_you_mean(args.use, there)
        raise InputError(f"--use: no formula takes {args.use!r}; {_there(shop)}{hint}")
    if not found and not shop.mixes:
        raise InputError("--leftovers: no mix stands on the shelf; write it into mixes.csv")
    if not found:
        say(
            f"--leftovers: none can be brought to {plain.target} near enough; {_there(shop)}. The"
            " formulas are without one; --use MIX shows how near one comes"
        )
        return plain
    for each in found:
        say(_line(each, target, shop.tolerance_de00))
    return replace(plain, formulas=tuple(each.candidate for each in found[:top]))


def _of_series(shop: Shop, fit: Fit, name: str | None, without: list[str]) -> list[Mix]:
    known = set(fit.palette.names)
    return [
        mix
        for mix in shop.mixes
        if set(mix.inks) <= known and name in (None, mix.name) and mix.name not in without
    ]


def _uses(
    args: argparse.Namespace,
    shop: Shop,
    fit: Fit,
    mixes: list[Mix],
    target: Target,
    plain: Match,
    batch_g: float,
    max_inks: int,
    top: int,
) -> tuple[Use, ...]:
    spread = spread_of(fit.palette, fit.error_Lab, shop.resolution_g)
    shelf = shelf_of(fit.palette, mixes, spread, model_f=model_error_f(fit))
    for note in shelf.notes:
        say(note)
    cost = plain.formulas[0].cost_per_kg
    if args.use:
        return use(
            shelf, args.use, target, spread, batch_g=batch_g, resolution_g=shop.resolution_g,
            tolerance_de00=shop.tolerance_de00, max_inks=max_inks, top=top, without=args.without,
            fresh_cost_per_kg=cost,
        )  # fmt: skip
    return which_bucket(
        shelf, target, spread, batch_g=batch_g, resolution_g=shop.resolution_g,
        tolerance_de00=shop.tolerance_de00, max_inks=max_inks, without=args.without,
        fresh_cost_per_kg=cost,
    )  # fmt: skip


def _there(shop: Shop) -> str:
    return f"the mixes are {', '.join(mix.name for mix in shop.mixes) or 'none'}"


def _line(each: Use, target: Target, tolerance_de00: float) -> str:
    """How much of a leftover a formula takes; where it is not near enough, how far off."""
    saved = "" if each.saved is None else f", {each.saved:.2f} of new ink saved"
    away, light = float(each.candidate.de00[0]), target.light_names[0]
    far = f"{away:.2f} under {light} is over half the tolerance of {tolerance_de00:g}"
    near = "" if each.within else f"; not near enough: dE00 {far}"
    left = "" if each.left_g is None else f", {each.left_g:.0f} g of it left"
    return f"{each.name}: {each.used_g:.2f} g used ({100 * each.share:.0f} %){left}{saved}{near}"
