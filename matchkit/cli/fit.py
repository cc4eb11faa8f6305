"""``matchkit fit``: inks from drawdowns, and how good the fit is."""

import argparse

import numpy as np

from matchkit.cli.films import films_alone
from matchkit.cli.pictures import Panel, fit_panels, keep_picture, picture_option
from matchkit.cli.terminal import json_option, print_json, say, table
from matchkit.errors import InputError, did_you_mean
from matchkit.files.fitted import write_fits
from matchkit.files.shop import read_shop
from matchkit.fitting.fit import Fit, TooFew, ink_errors
from matchkit.inks.shop import Shop
from matchkit.matching.match import fit_shop
from matchkit.matching.prints import film_fits, has_films


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder; fit.json is written there")
    picture_option(parser)
    parser.add_argument(
        "--ink", action="append", default=[], metavar="INK",
        help="with --picture: K/S and S of that ink instead of how far each drawdown is off",
    )  # fmt: skip
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Fit every series of the shop and keep the result."""
    shop = read_shop(args.shop)
    _check_inks(args, [ink.name for ink in shop.inks])
    for note in shop.notes:
        say(note)
    films = film_fits(shop) if has_films(shop) else {}
    fits = _hiding(shop, bool(films))
    panels = _panels(fits, args.ink, shop) if args.picture else []
    faults = _kept(args, fits, films, panels)
    if faults and args.json:
        raise InputError(faults)
    if not args.json:  # for people, the answer comes even where it can't be kept
        reports = [_report(series, found) for series, found in fits.items()]
        reports += [
            _report(series, found, "Films over a ground, ") for series, found in films.items()
        ]
        print("\n\n".join(reports))
    if faults:
        raise InputError(faults)
    if args.json:
        print_json(_answer(fits or films) | ({"films": _answer(films)} if films else {}))
    else:
        print(f"\nWritten: {args.shop}/fit.json")


def _kept(
    args: argparse.Namespace, fits: dict[str, Fit], films: dict[str, Fit], panels: list[Panel]
) -> list[str]:
    """Write before anything is printed, since who reads that may go away; what went wrong."""
    faults: list[str] = []
    try:
        write_fits(args.shop, fits, films)
    except InputError as error:
        faults += error.faults
    if panels:
        try:
            keep_picture(args.picture, panels)
        except InputError as error:
            faults += error.faults
    return faults


def _hiding(shop: Shop, films: bool) -> dict[str, Fit]:
    """The fits of what hides; none where it is too little and there are films to go on with."""
    if films and not shop.hiding:
        return {}
    try:
        return fit_shop(shop)
    except TooFew as error:
        if not films:
            raise
        say(films_alone(error))
        return {}


def _check_inks(args: argparse.Namespace, known: list[str]) -> None:
    faults = [
        f"--ink: no ink is called {name!r}; the inks are {', '.join(known)}"
        f"{did_you_mean(name, known)}"
        for name in args.ink
        if name not in known
    ]
    if args.ink and not args.picture:
        faults.append("--ink goes with --picture FILE")
    if faults:
        raise InputError(faults)


def _panels(fits: dict[str, Fit], inks: list[str], shop: Shop) -> list[Panel]:
    panels: list[Panel] = []
    for found in fits.values():
        own = [name for name in inks if name in found.palette.names]
        if own or not inks:
            panels += fit_panels(found, own, shop.hiding)
    if not panels:
        raise InputError(f"--ink: no drawdown of {', '.join(inks)} was fitted")
    return panels


def _answer(fits: dict[str, Fit]) -> dict[str, object]:
    held = np.concatenate([found.de00_held_out for found in fits.values()])
    held = held[~np.isnan(held)]
    errors = {name: e for found in fits.values() for name, e in ink_errors(found).items()}
    return {
        "inks": [
            {"ink": name, "de00_mean": round(mean, 4), "de00_max": round(most, 4)}
            for name, (mean, most) in errors.items()
        ],
        "held_out": {
            "de00_median": round(float(np.median(held)), 4) if held.size else None,
            "de00_p95": round(float(np.percentile(held, 95)), 4) if held.size else None,
            "drawdowns": int(held.size),
        },
        "model": "; ".join(dict.fromkeys(found.palette.model for found in fits.values())),
        "series": [
            {
                "series": series,
                "model": found.palette.model,
                "k2": round(found.palette.k2, 4),
                "crowding": round(float(found.palette.crowding.max()), 4),
                "deep": round(found.palette.deep, 4),
                "theories": [
                    {"model": s.model, "de00_median": round(s.de00_median, 4),
                     "de00_p95": round(s.de00_p95, 4)}
                    for s in found.scores
                ],
                "suspects": list(found.suspects),
                "cautions": list(found.cautions),
            }
            for series, found in fits.items()
        ],
    }  # fmt: skip


def _report(series: str, found: Fit, kind: str = "") -> str:
    palette = found.palette
    title = kind + (f"series {series}: " if kind else f"Series {series}: ") if series else kind
    held = found.de00_held_out[~np.isnan(found.de00_held_out)]
    lines = [f"{title}{len(palette.inks)} inks from {len(found.drawdowns)} drawdowns", ""]
    if held.size:
        lines.append(
            f"Foretold without seeing them, {held.size} drawdowns ({found.light}): dE00 "
            f"{np.median(held):.2f} median, {np.percentile(held, 95):.2f} for 95 in 100"
        )
    lines += [
        f"Theory kept: {palette.model} (k2 {palette.k2:.2f}, white crowding "
        f"{palette.crowding.max():.2f}, depth {palette.deep:.2f})",
        "",
        table(
            ["Theory", "median dE00", "95 in 100"],
            [[s.model, f"{s.de00_median:.2f}", f"{s.de00_p95:.2f}"] for s in found.scores],
        ),
        "",
        "How well each ink's own drawdowns are met:",
        _ink_table(found),
    ]
    for title, told in (("Look at these drawdowns", found.suspects),
                        ("Not to be trusted for", found.cautions)):  # fmt: skip
        if told:
            lines += ["", f"{title}:", *(f"  - {line}" for line in told)]
    return "\n".join(lines)


def _ink_table(found: Fit) -> str:
    rows = [
        [name, f"{mean:.2f}", f"{most:.2f}"] for name, (mean, most) in ink_errors(found).items()
    ]
    return table(["Ink", "mean dE00", "worst"], rows)
