"""The verbs of ``matchkit book`` that keep the shelf and the book itself in order."""

import argparse

from matchkit.book.checks import is_checked
from matchkit.book.copies import backup as back_up
from matchkit.book.copies import check as check_book
from matchkit.book.copies import export as export_book
from matchkit.book.copies import restore as restore_book
from matchkit.book.entries import strike as strike_record
from matchkit.book.schema import STRIKABLE
from matchkit.book.stock import count as count_stock
from matchkit.book.stock import deliver as take_in
from matchkit.book.stock import open_lot
from matchkit.cli.asked import Answer
from matchkit.cli.terminal import number_of
from matchkit.errors import InputError
from matchkit.workflows.session import Session


def count_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ink", metavar="NAME", help="the ink or the leftover")
    parser.add_argument("grams", metavar="G", help="how much of it there is now")


def count(session: Session, args: argparse.Namespace) -> Answer:
    grams = number_of(args.grams, "grams")
    number = count_stock(session.open_book(create=True), session.files, args.ink, grams)
    return {"movement": number}, f"counted: {args.ink} {grams:g} g"


def deliver_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ink", metavar="INK", help="the ink")
    parser.add_argument("grams", metavar="G", help="how much came in")
    parser.add_argument("--lot", default="", help="the delivery's lot")


def deliver(session: Session, args: argparse.Namespace) -> Answer:
    grams = number_of(args.grams, "grams")
    book = session.open_book(create=True)
    number = take_in(book, session.files, args.ink, grams, lot=args.lot)
    hint = " (say `lot` when it is opened)" if args.lot else ""
    return {"movement": number}, f"delivered: {args.ink} {grams:g} g{hint}"


def lot_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ink", metavar="INK", help="the ink")
    parser.add_argument("lot", metavar="LOT", help="the lot that is opened now")


def lot(session: Session, args: argparse.Namespace) -> Answer:
    number = open_lot(session.open_book(create=True), session.files, args.ink, args.lot)
    if number is None:
        return {"lot": None}, f"{args.ink}: lot {args.lot} is open already; nothing is changed"
    words = f"{args.ink}: lot {args.lot} from now on; {_strength_of(session, args)}"
    return {"lot": number}, words


def _strength_of(session: Session, args: argparse.Namespace) -> str:
    """Whether anything is known of a lot that is opened."""
    if is_checked(session.open_book(), session.files, args.ink, args.lot):
        return "its check drawdown tells its strength"
    return "its strength is not known yet (`check-lot` tells it from one drawdown)"


def strike_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("what", metavar="WHAT", help=", ".join(STRIKABLE))
    parser.add_argument("number", metavar="N", help="the record's number")
    parser.add_argument("--why", required=True, help="what was wrong")


def strike(session: Session, args: argparse.Namespace) -> Answer:
    if not args.number.isdecimal():
        raise InputError(f"strike: found {args.number!r}, need the number of the record")
    number = strike_record(session.open_book(), args.what, int(args.number), args.why)
    return {"strike": number}, f"struck: {args.what} {args.number}; write the right one anew"


def backup_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("to", metavar="TO", help="a new file, or a folder to put it in")


def backup(session: Session, args: argparse.Namespace) -> Answer:
    path = back_up(session.open_book(), args.to)
    return {"written": str(path)}, f"written: {path}"


def check(session: Session, args: argparse.Namespace) -> Answer:
    faults = check_book(session.open_book())
    answer = {"sound": not faults, "faults": faults}
    if not faults:
        return answer, "sound"
    return answer, "\n".join([*faults, "Move the book away and `restore` the last sound backup."])


def export_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="FOLDER", help="a folder that is not there yet")


def export(session: Session, args: argparse.Namespace) -> Answer:
    names = export_book(session.open_book(), args.folder)
    return {"folder": args.folder, "files": names}, f"written: {len(names)} files in {args.folder}"


def restore_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", metavar="FROM", help="a backup, an export's folder, or its JSON")


def restore(session: Session, args: argparse.Namespace) -> Answer:
    book = restore_book(args.source, args.shop)
    return {"restored": str(book.path)}, f"restored: {book.path}"
