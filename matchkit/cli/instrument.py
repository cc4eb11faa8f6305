"""``matchkit instrument``: check the spectrophotometer for drift, and a film for hiding."""

import argparse

from matchkit.cli.asked import give, json_option, reading_options, session_of
from matchkit.errors import InputError
from matchkit.report.inks import hiding_parts, instrument_parts
from matchkit.workflows.ink_history import check_hiding, check_instrument
from matchkit.workflows.wanted import spectrum_in


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shop", metavar="SHOP", help="the shop folder; readings are kept in it")
    parser.add_argument("--tile", metavar="FILE", help="keep this reading of the white tile")
    parser.add_argument(
        "--drawdown", metavar="FILE", help="keep this reading of the reference drawdown"
    )
    parser.add_argument("--date", help="the day of the reading, as 2026-03-02 (today)")
    parser.add_argument("--over-black", metavar="FILE", help="a film read over black, and")
    parser.add_argument("--over-white", metavar="FILE", help="over white: is it opaque?")
    reading_options(parser, "the files")
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Keep what was read, then say how the instrument is; or how opaque a film is."""
    if bool(args.over_black) != bool(args.over_white):
        raise InputError("instrument: --over-black and --over-white go together; give both")
    session = session_of(args)
    if args.over_black:
        black, white = (
            spectrum_in(session, path, args.name) for path in (args.over_black, args.over_white)
        )
        film = check_hiding(session, black, white)
        give(args, film.to_dict, lambda: hiding_parts(film))
        return
    read = {
        kind: spectrum_in(session, path, args.name, scale="fraction" if kind == "tile" else "")
        for kind, path in (("tile", args.tile), ("drawdown", args.drawdown))
        if path
    }
    found = check_instrument(session, read, day=args.date or "")
    give(args, found.to_dict, lambda: instrument_parts(found))
