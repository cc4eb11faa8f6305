"""``matchkit watch``: each file that the instrument's software exports is asked about once."""

import argparse
import time
from collections.abc import Callable
from pathlib import Path

from matchkit.book import find, jobs
from matchkit.book.containers import UNFIT
from matchkit.cli import book, folders, values
from matchkit.cli.asked import json_option, scale_options, session_of
from matchkit.errors import InputError
from matchkit.files.incoming import Bringing
from matchkit.files.scale import SCALES
from matchkit.report import check, html, plan
from matchkit.report.parts import Part, to_json
from matchkit.workflows import watching
from matchkit.workflows.fitting_inks import look_at, place_of
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import scale_asked

EVERY_S = 1.0
ASK = (
    "Where does it belong?  d = drawdowns of the inks, d NAME = the one of that name or number;"
    " a = the same, as another reading of what has some; t NAME = a target of that name;"
    " b NUMBER = the drawdown of a batch; n = leave it: "
)
STATE = f"Stirred, cured and hiding?  Enter = yes; else what it was, {', '.join(UNFIT)}: "


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    parser.add_argument("folder", metavar="FOLDER", help="where the instrument's software exports")
    parser.add_argument(
        "--every",
        type=values.positive,
        default=EVERY_S,
        metavar="SECONDS",
        help="how often to look, seconds (1)",
    )
    parser.add_argument(
        "--once", action="store_true", help="end when no new file is left, instead of waiting"
    )
    parser.add_argument("--by", metavar="NAME", help="who signs (the name logged in)")
    scale_options(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Look, ask, put where it belongs, until Ctrl+C."""
    args.by = book.who() if args.by is None else args.by
    folder, seen, waited = Path(args.folder), dict[Path, tuple[int, int, str]](), False
    while True:
        new, growing = watching.arrivals(folder, Path(args.shop), seen)
        for arrival in new:
            _take(args, arrival)
        if args.once and not growing:
            return
        if not (new or growing or waited or args.once):
            folders.say(f"Waiting for files in {folder}; press Ctrl+C to end.")
            waited = True
        time.sleep(args.every)


def _take(args: argparse.Namespace, arrival: watching.Arrival) -> None:
    """Show a file and ask until it has gone somewhere; one that can't be read is left alone."""
    session = session_of(args)
    try:
        while asked := scale_asked(session, arrival.path):
            words = f"Percent (L* {asked.L[0]:.0f}) or 0-1 (L* {asked.L[1]:.0f})?  p or f: "
            answer = input("" if args.json else words).strip().casefold()
            session.scale = next((s for s in SCALES if answer and s.startswith(answer)), "")
        look = look_at(arrival.path, session)
    except EOFError:
        folders.say(f"{arrival.path.name}: its scale is not known; you are asked again next time")
        return
    except InputError as error:
        for fault in error.faults:
            folders.say(fault)
        watching.leave(session, arrival)
        return
    if not args.json:
        print(html.to_text(plan.look_parts(look, place_of(session), bars="")), flush=True)
    for each in watching.to_measure(session):
        folders.say(f"To measure: batch {each.batch} {each.name}{each.job and f', {each.job}'}")
    while True:
        try:
            placed = _put(session, arrival, lambda words: input("" if args.json else words).strip())
        except EOFError:
            folders.say(f"{arrival.path.name}: not placed; you are asked again next time")
            return
        except InputError as error:
            for fault in error.faults:
                folders.say(fault)
            continue
        print(to_json(placed.to_dict()) if args.json else html.to_text(_parts(placed)), flush=True)
        return


def _put(session: Session, arrival: watching.Arrival, ask: Callable[[str], str]) -> watching.Placed:
    answer = ask(ASK)
    what, _, rest = answer.partition(" ")
    what, rest = what.casefold(), rest.strip()
    if what in ("d", "a"):
        existing = "add" if what == "a" else "refuse"
        how = Bringing(existing=existing, drawdown=rest or None, skip_others=not rest)
        return watching.as_drawdowns(session, arrival, how)
    if what == "t":
        return watching.as_target(session, arrival, rest)
    if what == "b" and rest:
        batch = find.scanned(session.open_book(), rest)
        jobs.job(session.open_book(), batch)
        return watching.as_batch(session, arrival, batch, _state(ask))
    if what == "n" and not rest:
        return watching.leave(session, arrival)
    raise InputError(f"{answer!r} is none of these; such as: d, or t Sea teal, or b 12, or n")


def _state(ask: Callable[[str], str]) -> list[str]:
    """What is wrong with a drawdown, as `measure` asks; nothing for an empty answer."""
    while True:
        words = [word.strip().casefold() for word in ask(STATE).split(",") if word.strip()]
        if {*words} <= {*UNFIT} or words in (["yes"], ["y"]):
            return [word for word in words if word in UNFIT]
        folders.say(f"write {', '.join(UNFIT)}, or only press Enter")


def _parts(placed: watching.Placed) -> list[Part]:
    name = placed.arrival.path.name
    if placed.imported:
        return [f"{name}:", *plan.imported_parts(placed.imported)]
    if placed.measured:
        return [f"{name}, {placed.went}:", *check.measured_parts(placed.measured)]
    return [f"{name}: {placed.went}."]
