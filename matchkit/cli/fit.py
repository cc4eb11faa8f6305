"""``matchkit fit``: fit the inks to their drawdowns, and say how good the fit is."""

import argparse
from collections.abc import Callable

from matchkit.cli.asked import draw, json_option, picture_option, session_of
from matchkit.errors import InputError, did_you_mean, raise_any
from matchkit.report import html, inks
from matchkit.report.parts import Part, to_json
from matchkit.workflows.fitting_inks import THEORIES, InksFitted, fit_inks, keep_fits
from matchkit.workflows.session import Session


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shop", metavar="SHOP", help="the shop folder; fit.json is written there")
    picture_option(parser)
    parser.add_argument(
        "--ink", action="append", default=[], metavar="INK",
        help="with --picture: K/S and S of that ink instead of how far each drawdown is off",
    )  # fmt: skip
    parser.add_argument(
        "--theory", choices=THEORIES, default="best",
        help="how inks mix: best (the one that predicts best here), two-constant, or"
        " single-constant, which holds for tints in much white; kept in fit.json, so every"
        " command uses it",
    )  # fmt: skip
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Fit every series of the shop and keep the result."""
    session = session_of(args)
    _check_inks(args, [ink.name for ink in session.files.inks])
    found = fit_inks(session, args.theory)
    parts = inks.fit_parts(found)
    # Written before anything is printed, since who reads that may go away.
    faults = _faults_of(lambda: keep_fits(session, found))
    faults += _faults_of(lambda: draw(args, _pictures(args, session, found, parts)))
    if not args.json:  # for people, the answer comes even where it can't be kept
        print(html.to_text(parts))
    raise_any(faults)
    print(to_json(found.to_dict()) if args.json else f"\nWritten: {args.shop}/fit.json")


def _faults_of(work: Callable[[], None]) -> list[str]:
    try:
        work()
    except InputError as error:
        return list(error.faults)
    return []


def _check_inks(args: argparse.Namespace, known: list[str]) -> None:
    faults = [
        f"--ink: no ink is called {name!r}; the inks are {', '.join(known)}"
        f"{did_you_mean(name, known)}"
        for name in args.ink
        if name not in known
    ]
    if args.ink and not args.picture:
        faults.append("--ink goes with --picture FILE")
    raise_any(faults)


def _pictures(
    args: argparse.Namespace, session: Session, found: InksFitted, parts: list[Part]
) -> list[Part]:
    """Of the inks that are named; else those of the answer."""
    pictures: list[Part] = []
    for name in args.ink:
        for fit in (found.fits or found.films).values():
            if name in fit.palette.names:
                pictures.append(inks.optics_picture(fit, session.files.like_samples, name))
    if args.ink and not pictures:
        raise InputError(f"--ink: no drawdown of {', '.join(args.ink)} was fitted")
    return pictures or parts
