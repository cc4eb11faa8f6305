"""``matchkit library``: formulas for thousands of targets, into a file that can be gone on with."""

import argparse
import csv
import json
import sys
import time
from collections.abc import Iterator, Mapping
from dataclasses import astuple
from hashlib import sha256
from itertools import islice
from pathlib import Path

import numpy as np

from matchkit import __version__
from matchkit.cli.formulas import match_json
from matchkit.cli.outputs import new_file
from matchkit.cli.shops import open_shop_of_today, reference_lots_option
from matchkit.cli.terminal import json_option, number_of, positive, print_json, say
from matchkit.errors import InputError
from matchkit.files.spectrum import read_spectra
from matchkit.files.stream import growing
from matchkit.files.write import csv_text
from matchkit.fitting.fit import Fit
from matchkit.inks.shop import Shop
from matchkit.matching.library import check_workers, matches
from matchkit.matching.match import Match, check_options
from matchkit.matching.solve import Target, spectral_target

EVERY_S = 10.0  # between lines of progress where nobody watches


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument("targets", metavar="TARGETS", help="a spectrum file with many targets")
    parser.add_argument(
        "--into", type=new_file, metavar="FILE", required=True,
        help="FILE.csv or FILE.jsonl; gone on with",
    )  # fmt: skip
    parser.add_argument("--anew", action="store_true", help="begin FILE again")
    parser.add_argument("--workers", default="1", metavar="N", help="processes; all: every core")
    parser.add_argument("--grams", default="1000", metavar="G", help="batch size (1000)")
    parser.add_argument(
        "--max-inks", default="4", metavar="N", help="white and clear count too (4)"
    )
    parser.add_argument("--top", default="1", metavar="N", help="formulas for each target (1)")
    parser.add_argument(
        "--without", action="append", default=[], metavar="INK", help="leave an ink out"
    )
    parser.add_argument(
        "--other-lights", default="0.2", metavar="W", help="what the other lights count (0.2)"
    )
    reference_lots_option(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Match what is not matched yet, and sum up."""
    workers, max_inks, top = _whole_numbers(args)
    batch_g = positive(args.grams, "--grams")
    weight = number_of(args.other_lights, "--other-lights")
    if weight < 0:
        raise InputError(f"--other-lights: found {args.other_lights!r}, need 0 or more")
    shop, fits = open_shop_of_today(args)
    check_options(shop, batch_g, max_inks, args.without)
    check_workers(workers)
    spectra, notes = read_spectra(args.targets, shop=shop)
    for note in notes:
        say(note)
    names = [spectrum.name for spectrum in spectra]
    options = [batch_g, max_inks, top, args.without, weight]
    digest = _digest(shop, fits, [(s.name, s.R) for s in spectra], options)
    as_csv = args.into.casefold().endswith(".csv")
    with growing(
        args.into, digest=digest, names=names, columns=_columns(shop, max_inks), anew=args.anew
    ) as file:
        begun = file.done
        if begun:
            there = f"{args.into}: {begun} of {len(names)} targets are there"
            say(f"{there}; nothing is left to do" if begun == len(names) else f"{there}; going on")
        left = (
            (s.name, spectral_target(s.R, shop.lights, shop.observer, other_weight=weight))
            for s in islice(spectra, begun, None)
        )
        kept: dict[str, Target] = {}
        found = matches(
            shop, fits, _noted(left, kept), batch_g=batch_g, max_inks=max_inks, top=top,
            without=args.without, workers=workers,
        )  # fmt: skip
        tell = Progress(len(names), begun)
        try:
            for answer in found:
                target = kept.pop(answer.target)
                file.add(_rows(answer, shop, max_inks) if as_csv else _line(answer, target))
                tell(file.done)
        except (KeyboardInterrupt, InputError) as stop:
            how = "the same command, without --anew," if args.anew else "the same command"
            if file.done or isinstance(stop, KeyboardInterrupt):
                say(f"\nstopped: {file.done} of {len(names)} targets; {how} goes on")
            raise
    _sum_up(args, shop)


def _whole_numbers(args: argparse.Namespace) -> tuple[int, int, int]:
    if args.workers == "all":
        args.workers = "-1"
    faults, values = [], []
    for text, option, least in (
        (args.workers, "--workers", -1),
        (args.max_inks, "--max-inks", 1),
        (args.top, "--top", 1),
    ):
        if text.lstrip("-").isdigit() and int(text) >= least and int(text):
            values.append(int(text))
        else:
            faults.append(f"{option}: found {text!r}, need a whole number of 1 or more")
    if faults:
        raise InputError(faults)
    return values[0], values[1], values[2]


def _noted(
    targets: Iterator[tuple[str, Target]], kept: dict[str, Target]
) -> Iterator[tuple[str, Target]]:
    """The same targets, each kept until its answer is there."""
    for name, target in targets:
        kept[name] = target
        yield name, target


def _digest(
    shop: Shop,
    fits: Mapping[str, Fit],
    targets: list[tuple[str, "np.ndarray[tuple[int], np.dtype[np.float64]]"]],
    options: list[object],
) -> str:
    """Of all that the answers depend on."""
    stated = [
        __version__,
        [list(astuple(ink)) for ink in shop.inks],
        [str(light) for light in shop.lights],
        [shop.observer, shop.tolerance_de00, shop.resolution_g],
        options,
    ]
    total = sha256(json.dumps(stated, default=str).encode())
    for series, found in fits.items():
        palette = found.palette
        total.update(f"{series} {palette.names} {palette.model}".encode())
        shared = np.array([palette.base, palette.gain, palette.k2, palette.deep])
        strengths = np.ones(len(palette.inks)) if palette.strengths is None else palette.strengths
        for part in (palette.K, palette.S, palette.crowding, shared, strengths, found.error_Lab):
            total.update(np.ascontiguousarray(part).round(12).tobytes())
    for name, R in targets:
        total.update(name.encode() + b"\0" + np.ascontiguousarray(R).tobytes())
    return total.hexdigest()


def _columns(shop: Shop, max_inks: int) -> list[str]:
    numbered = [f"{what} {k}" for k in range(1, max_inks + 1) for what in ("ink", "grams")]
    return [
        *("target", "rank", "in_gamut"),
        *(f"de00 {light}" for light in shop.lights),
        *("sheer", "chance_in_tolerance", "cost_per_kg"),
        *numbered,
    ]


def _rows(answer: Match, shop: Shop, max_inks: int) -> str:
    """A row for each formula."""
    rows = []
    for rank, formula in enumerate(answer.formulas, start=1):
        pairs = [x for pair in zip(formula.inks, formula.grams, strict=True) for x in pair]
        empty = [""] * (2 * max_inks - len(pairs))
        chance = f"{formula.chance_in_tolerance or 0.0:.4f}"
        cost = "" if formula.cost_per_kg is None else f"{formula.cost_per_kg:.4f}"
        seen = [f"{value:.4f}" for value in formula.de00]
        inside = "yes" if answer.in_gamut else "no"
        sheer = "yes" if formula.mostly_clear else "no"
        rows.append([answer.target, rank, inside, *seen, sheer, chance, cost, *pairs, *empty])
    return csv_text([], rows).split("\n", 1)[1]


def _line(answer: Match, target: Target) -> str:
    return json.dumps(match_json(answer, target), ensure_ascii=False, allow_nan=False) + "\n"


class Progress:
    """One line, with how fast it goes and how long it will take."""

    def __init__(self, total: int, begun: int) -> None:
        self.total, self.begun = total, begun
        self.started = self.last = time.monotonic()

    def __call__(self, done: int) -> None:
        now, watched = time.monotonic(), sys.stderr.isatty()
        if now - self.last < (0.2 if watched else EVERY_S) and done < self.total:
            return
        self.last = now
        pace = (done - self.begun) / max(now - self.started, 1e-9)
        left = (self.total - done) / pace if pace else 0.0
        wait = f"{left:.0f} s" if left < 90 else f"{left / 60:.0f} min"
        line = f"targets matched: {done} of {self.total}, {pace:.1f} a second, {wait} left"
        end = "" if watched and done < self.total else "\n"
        print(("\r" if watched else "") + line, end=end, file=sys.stderr, flush=True)


def _sum_up(args: argparse.Namespace, shop: Shop) -> None:
    """What the whole file says, read back."""
    names, inside, away = _told(Path(args.into), shop)
    order = np.argsort(away)[::-1][:5]
    within = sum(x <= shop.tolerance_de00 for x in away)
    summary = {
        "targets": len(names),
        "in_gamut": inside,
        "within_tolerance": within,
        "median_de00": round(float(np.median(away)), 4) if away else None,
        "furthest": [{"target": names[i], "de00": round(away[i], 4)} for i in order],
        "file": args.into,
    }
    if args.json:
        print_json(summary)
        return
    print(f"{args.into}: {len(names)} targets, {inside} in gamut, {within} within tolerance")
    if away:
        far = ", ".join(f"{names[i]} {away[i]:.2f}" for i in order)
        print(f"dE00 {shop.lights[0]}: median {np.median(away):.2f}; furthest: {far}")


def _told(path: Path, shop: Shop) -> tuple[list[str], int, list[float]]:
    """Names, how many are in gamut, and the best formula's dE00 under the first light."""
    names: list[str] = []
    inside, away, light = 0, [], str(shop.lights[0])
    with path.open(encoding="utf-8", newline="") as file:
        if path.suffix.casefold() == ".csv":
            for row in csv.DictReader(file):
                if row["rank"] == "1":
                    names.append(row["target"])
                    inside += row["in_gamut"] == "yes"
                    away.append(float(row[f"de00 {light}"]))
        else:
            for line in file:
                told = json.loads(line)
                names.append(told["target"])
                inside += told["in_gamut"]
                away.append(float(told["formulas"][0]["de00"][light]))
    return names, inside, away
