"""``matchkit library``: find formulas for thousands of targets; a later run continues the file."""

import argparse
import sys
import time

from matchkit.cli import asked, formulas, outputs, values
from matchkit.report.formulas import library_parts
from matchkit.workflows import library, wanted
from matchkit.workflows.formulas import Search

EVERY_S = 10.0  # between lines of progress where nobody watches


def arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("shop", metavar="SHOP", help="the shop folder")
    add("targets", metavar="TARGETS", help="a spectrum file with many targets")
    add(
        "--into", type=outputs.new_file, metavar="FILE", required=True,
        help="FILE.csv or FILE.jsonl; a begun file is continued",
    )  # fmt: skip
    add("--anew", action="store_true", help="begin FILE again")
    add("--workers", type=_workers, default=1, metavar="N", help="processes; all: every core")
    formulas.number_options(parser, top=1)
    add("--without", action="append", default=[], metavar="INK", help="leave an ink out")
    asked.reference_lots_option(parser)
    asked.scale_options(parser)
    asked.json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Match what is not matched yet, and sum up."""
    search = Search(
        batch_g=args.grams, max_inks=args.max_inks, top=args.top, without=tuple(args.without)
    )
    session = asked.session_of(args)
    found = library.match_library(
        session, wanted.spectra_in(session, args.targets), search, args.into, workers=args.workers,
        other_weight=args.other_lights, anew=args.anew, progress=Progress(),
    )  # fmt: skip
    asked.give(args, found.to_dict, lambda: library_parts(found))


def _workers(text: str) -> int:
    """The type of ``--workers``."""
    return -1 if text == "all" else values.whole()(text)


class Progress:
    """One line, with how fast it goes and how long it will take."""

    def __init__(self) -> None:
        self.started = self.last = time.monotonic()

    def __call__(self, done: int, total: int, begun: int) -> None:
        """Say how many targets are done, not too often."""
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
