"""The verb of ``matchkit book`` that judges a new lot from one drawdown."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from matchkit.book.checks import log_check
from matchkit.book.shelf import lots_now
from matchkit.book.stock import open_lot
from matchkit.book.store import FILE
from matchkit.cli.asked import Answer
from matchkit.cli.shops import name_option, one_spectrum
from matchkit.cli.terminal import number_of, positive
from matchkit.correcting.lot_check import ANOTHER_DE00, LotVerdict, judge_lot, judge_shade, letdown
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.inks.shop import Drawdown, Shop
from matchkit.matching.match import palette_for
from matchkit.matching.probability import spread_of
from matchkit.workflows.session import Session

ALONE = (
    "alone, an ink has one colour however strong it is; for its strength let 10 % of it down in"
    " white (--percent 10)"
)


def check_lot_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ink", metavar="INK", help="the ink")
    parser.add_argument("lot", metavar="LOT", help="the new lot, as on the container")
    parser.add_argument("spectrum", metavar="FILE", help="of its drawdown, cured and cool")
    name_option(parser)
    parser.add_argument(
        "--percent", metavar="P", help="how much of it was let down: 10 is best (else: alone)"
    )
    parser.add_argument(
        "--in", dest="base", metavar="INK2", help="let down in this (the white of its series)"
    )
    parser.add_argument(
        "--mixed", default="50", metavar="G", help="grams that were mixed for the drawdown (50)"
    )
    parser.add_argument("--open", action="store_true", help="the lot is in use from now on")
    parser.add_argument("--only-say", action="store_true", help="write nothing down")


def check_lot(session: Session, args: argparse.Namespace) -> Answer:
    mixed_g = positive(args.mixed, "--mixed")
    if args.open and args.only_say:
        raise InputError("--open writes the lot down and --only-say nothing; leave out one of them")
    if not args.lot.strip():
        raise InputError("a lot needs its name; copy it from the container")
    keeps = (Path(args.shop) / FILE).is_file()
    if args.open and not keeps:
        raise InputError("--open: this shop keeps no record book; write the lot into inks.csv")
    shop, fits = session.shop, session.fits_today
    _fit_of(fits, (args.ink,))
    spectrum = one_spectrum(args.spectrum, args.name, shop)
    inks, fractions = _letdown(args, shop)
    drawdown = Drawdown(
        name=spectrum.name, inks=inks, fractions=fractions, readings=spectrum.readings
    )
    found = _fit_of(fits, inks)
    if len(inks) == 1:
        return _alone(args, shop, found, drawdown)
    spread = spread_of(found.palette, found.error_Lab, shop.resolution_g)
    verdict = judge_lot(
        found.palette, args.ink, [drawdown], spread,
        light=shop.lights[0], observer=shop.observer, lot=args.lot, reference=shop.hiding,
        weighed_g=mixed_g,
    )  # fmt: skip
    answer: dict[str, Any] = {
        "ink": args.ink,
        "lot": args.lot,
        "verdict": verdict.kind,
        "strength": round(verdict.strength, 4),
        "error": round(verdict.standard_error, 4),
        "de00_at_use": round(verdict.de00_at_use, 4),
        "shade_de00": round(verdict.shade_de00, 4),
        "shade": verdict.shade,
        "words": list(verdict.words),
    }
    written, line = _write(session, args, shop, drawdown, verdict, mixed_g, keeps)
    return answer | {"lot_check": written}, "\n".join([*verdict.words, line])


def _letdown(args: argparse.Namespace, shop: Shop) -> tuple[tuple[str, ...], tuple[float, ...]]:
    """What was drawn down, the new lot first, and mass fractions."""
    if args.percent is None:
        if args.base is not None:
            raise InputError("--in: say how much of the lot went into it too, as --percent 10")
        return (args.ink,), (1.0,)
    percent = number_of(args.percent, "--percent")
    if not 0 < percent < 100:
        raise InputError(f"--percent: found {args.percent!r}, need more than 0 and less than 100")
    return letdown(shop, args.ink, percent, args.base or "")


def _fit_of(fits: Mapping[str, Fit], inks: tuple[str, ...]) -> Fit:
    palette = palette_for({series: found.palette for series, found in fits.items()}, inks)
    return next(found for found in fits.values() if found.palette is palette)


def _alone(args: argparse.Namespace, shop: Shop, found: Fit, drawdown: Drawdown) -> Answer:
    """The verdict on an ink that was drawn down alone: its shade, and nothing of its strength."""
    if args.open:
        raise InputError(f"--open: {ALONE}")
    spread = spread_of(found.palette, found.error_Lab, shop.resolution_g)
    away, shade = judge_shade(
        found.palette, args.ink, drawdown, spread,
        light=shop.lights[0], observer=shop.observer, reference=shop.hiding,
    )  # fmt: skip
    kind = "same shade"
    line = f"of the fitted lot's shade, as far as can be told ({away:.2f} dE00)"
    if shade:
        kind = "another" if away > ANOTHER_DE00 else "other shade"
        what = "another ink, measure it" if away > ANOTHER_DE00 else "for close work fit this lot"
        line = f"its shade differs by {away:.2f} dE00 ({shade}): {what} anew"
    answer = {
        "ink": args.ink, "lot": args.lot, "verdict": kind,
        "strength": None, "error": None, "de00_at_use": None, "shade_de00": round(away, 4),
        "shade": shade, "words": [f"{args.ink}: {line}", ALONE], "lot_check": None,
    }  # fmt: skip
    return answer, f"{args.ink}: {line}\n{ALONE}"


def _write(
    session: Session,
    args: argparse.Namespace,
    shop: Shop,
    drawdown: Drawdown,
    verdict: LotVerdict,
    mixed_g: float,
    keeps: bool,
) -> tuple[int | None, str]:
    """The record's number, and what becomes of the verdict, in words."""
    if verdict.kind == "another":
        return None, "nothing is written down: no strength makes it the ink that was fitted"
    if args.only_say:
        return None, "nothing is written down, as you wished"
    if not keeps:
        return None, (
            "this shop keeps no record book, so nothing counts on it: weigh by it yourself, or"
            " begin one (`matchkit book SHOP log-match`) and check the lot again"
        )
    book = session.open_book()
    number = log_check(book, shop, drawdown, verdict, weighed_g=mixed_g)
    if args.open:
        open_lot(book, shop, args.ink, args.lot)
    if lots_now(book, shop)[args.ink] == args.lot:
        return number, "written down; the next match counts on it"
    return number, (
        "written down; it counts once the lot is opened:"
        f" `matchkit book SHOP lot {args.ink!r} {args.lot!r}`"
    )
