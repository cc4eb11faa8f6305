"""``matchkit import``: check an instrument's file, and import it into the shop."""

import argparse
import sys
from contextlib import suppress

from matchkit.cli import asked, folders, outputs, values
from matchkit.errors import InputError
from matchkit.files.incoming import Bringing, Imported
from matchkit.files.preview import BARS, PLAIN_BARS
from matchkit.report import html, parts
from matchkit.report.plan import MOST, imported_parts, look_parts, odd_lines
from matchkit.workflows.fitting_inks import bring, converted, look_at, place_of
from matchkit.workflows.session import Session


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="spectra: CSV, CGATS.17 text or CxF3")
    parser.add_argument("shop", metavar="SHOP", nargs="?", help="the shop folder")
    parser.add_argument("--preview", action="store_true", help="only look; write nothing")
    parser.add_argument("--all", action="store_true", help=f"show more than {MOST} names")
    parser.add_argument("--name", help="import only the spectrum of this name")
    parser.add_argument("--drawdown", help="the drawdown it belongs to, if its name differs")
    held = parser.add_mutually_exclusive_group()
    held.add_argument(
        "--add", dest="existing", action="store_const", const="add", default="refuse",
        help="average with readings that the shop already has",
    )  # fmt: skip
    held.add_argument(
        "--replace", dest="existing", action="store_const", const="replace",
        help="replace readings that the shop already has",
    )  # fmt: skip
    parser.add_argument(
        "--skip-others",
        action="store_true",
        help="leave out spectra that are not drawdowns of the shop",
    )
    parser.add_argument(
        "--index",
        metavar="N",
        type=values.positive,
        help="refractive index of glossy films (1.5 for most resins: common practice, no"
        " source): adds or takes away the specular part if file and shop differ in it",
    )
    parser.add_argument(
        "--not-fluorescent",
        action="store_true",
        help="neither ink nor ground fluoresces: treat M0, M1 and M2 alike",
    )
    parser.add_argument(
        "--to",
        type=outputs.new_file,
        metavar="NEW",
        help="write the spectra to a new file instead: .csv, or .txt for CGATS.17",
    )
    asked.scale_options(parser)
    asked.json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Look, print, bring in."""
    if args.shop is None and not (args.preview or args.to):
        raise InputError("import: name the shop folder, or say --preview to look only")
    session = None if args.shop is None else asked.session_of(args)
    look = look_at(args.file, session, scale=args.scale or "", repeats=args.repeats)
    shown: set[str] = set()
    if not args.json:
        place = None
        with suppress(InputError):  # which bringing in tells of
            place = place_of(session) if session else None
        bars = BARS if _draws(BARS) else PLAIN_BARS
        print(html.to_text(look_parts(look, place, most=None if args.all else MOST, bars=bars)))
        sys.stdout.flush()
        shown = set(odd_lines(look)[: None if args.all else MOST])
    done, notes = _act(args, session, list(look.seen.notes))
    for note in notes:
        if note not in shown:
            folders.say(note)
    if args.json:
        imported = done.to_dict() if done else None
        print(parts.to_json({**look.to_dict(), "imported": imported, "notes": notes}))
    elif done:
        print(html.to_text(imported_parts(done)))


def _act(
    args: argparse.Namespace, session: Session | None, notes: list[str]
) -> tuple[Imported | None, list[str]]:
    """Nothing, a new file, or readings into the shop; and what there is to say."""
    how = Bringing(
        name=args.name,
        drawdown=args.drawdown,
        existing=args.existing,
        skip_others=args.skip_others,
        index=args.index,
        not_fluorescent=args.not_fluorescent,
        scale=args.scale or "",
        repeats=args.repeats,
    )
    if session and not (args.preview or args.to):
        done = bring(session, args.file, how)
        return done, list(done.notes)
    if session is None and args.preview:
        return None, notes
    return None, converted(args.file, how, session, to="" if args.preview else args.to)[1]


def _draws(text: str) -> bool:
    """Whether the terminal can show these characters."""
    try:
        text.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True
