"""The verbs of ``matchkit book`` that keep the shelf and the book itself in order."""

import argparse

from matchkit.book.copies import check as check_book
from matchkit.book.schema import STRIKABLE
from matchkit.cli.asked import batch_argument, batch_of, give, reading_options
from matchkit.cli.values import in_grams, number, positive, whole
from matchkit.errors import InputError
from matchkit.report.book import lot_check_parts
from matchkit.workflows import booking, shelf, wanted
from matchkit.workflows.booking import Written
from matchkit.workflows.ink_history import LotDrawdown
from matchkit.workflows.ink_history import check_lot as judge_lot
from matchkit.workflows.session import Session


def give_written(args: argparse.Namespace, written: Written) -> None:
    """Print what was written down."""
    give(args, written.to_dict, lambda: [written.text])


def count_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ink", metavar="NAME", help="the ink or the leftover")
    parser.add_argument("grams", type=in_grams(number), metavar="G", help="how much there is now")


def count(session: Session, args: argparse.Namespace) -> None:
    give_written(args, shelf.count(session, args.ink, args.grams))


def deliver_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ink", metavar="INK", help="the ink")
    parser.add_argument("grams", type=in_grams(number), metavar="G", help="how much came in")
    parser.add_argument("--lot", default="", help="the delivery's lot")


def deliver(session: Session, args: argparse.Namespace) -> None:
    give_written(args, shelf.deliver(session, args.ink, args.grams, lot=args.lot))


def lot_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ink", metavar="INK", help="the ink")
    parser.add_argument("lot", metavar="LOT", help="the lot that is opened now")


def lot(session: Session, args: argparse.Namespace) -> None:
    give_written(args, shelf.open_lot(session, args.ink, args.lot))


def retire_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ink", metavar="INK", help="the ink")


def retire(session: Session, args: argparse.Namespace) -> None:
    give_written(args, shelf.retire(session, args.ink))


def check_lot_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ink", metavar="INK", help="the ink")
    parser.add_argument("lot", metavar="LOT", help="the new lot, as on the container")
    parser.add_argument("spectrum", metavar="FILE", help="of its drawdown, cured and cool")
    reading_options(parser)
    parser.add_argument(
        "--percent",
        type=number,
        metavar="P",
        help="how much of it was let down: 10 is best (else: alone)",
    )
    parser.add_argument(
        "--in", dest="base", metavar="INK2", default="",
        help="let down in this (the white of its series)",
    )  # fmt: skip
    parser.add_argument(
        "--mixed",
        type=in_grams(positive),
        default=50.0,
        metavar="G",
        help="grams that were mixed for the drawdown (50)",
    )
    parser.add_argument("--open", action="store_true", help="the lot is in use from now on")
    parser.add_argument("--only-say", action="store_true", help="write nothing down")


def check_lot(session: Session, args: argparse.Namespace) -> None:
    if args.open and args.only_say:
        raise InputError("--open writes the lot down and --only-say nothing; leave out one of them")
    drawn = LotDrawdown(
        ink=args.ink, lot=args.lot, percent=args.percent, base=args.base, mixed_g=args.mixed
    )
    measured = wanted.spectrum_in(session, args.spectrum, args.name)
    found = judge_lot(session, drawn, measured, write=not args.only_say, open_now=args.open)
    give(args, found.to_dict, lambda: lot_check_parts(found))


DETAILS = {
    "job": "the job's name",
    "customer": "for whom",
    "due": "as 2026-11-25",
    "note": "anything worth keeping",
}


def mend_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    for name, words in DETAILS.items():
        parser.add_argument(f"--{name}", help=words)


def mend(session: Session, args: argparse.Namespace) -> None:
    said = {name: getattr(args, name) for name in DETAILS}
    changes = {name: words for name, words in said.items() if words is not None}
    if not changes:
        raise InputError("mend: say what to change, such as --due 2026-11-25")
    give_written(args, booking.mend(session, batch_of(session, args), changes))


def strike_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("what", metavar="WHAT", help=", ".join(STRIKABLE))
    parser.add_argument("number", type=whole(), metavar="N", help="the record's number")
    parser.add_argument("--why", required=True, help="what was wrong with it")


def strike(session: Session, args: argparse.Namespace) -> None:
    give_written(args, booking.strike(session, args.what, args.number, args.why))


def backup_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("to", metavar="TO", help="a new file, or a folder to put it in")


def backup(session: Session, args: argparse.Namespace) -> None:
    give_written(args, booking.backup(session, args.to))


def check(session: Session, args: argparse.Namespace) -> None:
    faults = check_book(session.open_book())
    then = "Move the book away and `restore` the last sound backup."
    text = [*faults, then] if faults else ["sound"]
    give(args, lambda: {"sound": not faults, "faults": faults}, lambda: text)


def export_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="FOLDER", help="a folder that is not there yet")


def export(session: Session, args: argparse.Namespace) -> None:
    give_written(args, booking.export(session, args.folder))


def restore_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", metavar="FROM", help="a backup, an export's folder, or its JSON")


def restore(session: Session, args: argparse.Namespace) -> None:
    give_written(args, booking.restore(session, args.source))
