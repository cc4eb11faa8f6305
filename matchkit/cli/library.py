"""``matchkit library``: formulas for thousands of targets, into a file that can be gone on with."""

import argparse
import sys
import time

from matchkit.cli.asked import give, json_option, reference_lots_option, session_of
from matchkit.cli.outputs import new_file
from matchkit.cli.terminal import number_of, positive
from matchkit.errors import InputError
from matchkit.report.formulas import library_parts
from matchkit.workflows.formulas import Search
from matchkit.workflows.library import match_library
from matchkit.workflows.wanted import spectra_in

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
    search = Search(batch_g=batch_g, max_inks=max_inks, top=top, without=tuple(args.without))
    session = session_of(args)
    found = match_library(
        session, spectra_in(session, args.targets), search, args.into, workers=workers,
        other_weight=weight, anew=args.anew, progress=Progress(),
    )  # fmt: skip
    give(args, found.to_dict, lambda: library_parts(found))


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


class Progress:
    """One line, with how fast it goes and how long it will take."""

    def __init__(self) -> None:
        self.started = self.last = time.monotonic()

    def __call__(self, done: int, total: int, begun: int) -> None:
        now, watched = time.monotonic(), sys.stderr.isatty()
        if now - self.last < (0.2 if watched else EVERY_S) and done < total:
            return
        self.last = now
        pace = (done - begun) / max(now - self.started, 1e-9)
        left = (total - done) / pace if pace else 0.0
        wait = f"{left:.0f} s" if left < 90 else f"{left / 60:.0f} min"
        line = f"targets matched: {done} of {total}, {pace:.1f} a second, {wait} left"
        end = "" if watched and done < total else "\n"
        print(("\r" if watched else "") + line, end=end, file=sys.stderr, flush=True)
