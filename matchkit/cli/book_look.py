"""The verbs of ``matchkit book`` that ask and never write, but for pages to print."""

import argparse
from pathlib import Path

from matchkit.book.report import GROUPS
from matchkit.cli.asked import batch_argument, batch_of, give, picture_option, reading_options
from matchkit.cli.outputs import page
from matchkit.cli.values import in_grams, lab, positive, whole
from matchkit.errors import InputError
from matchkit.files.write import write_file
from matchkit.paper.ticket_sheet import ticket_text, tickets_html
from matchkit.report import book, inks
from matchkit.workflows import looking_up, shelf, using_up
from matchkit.workflows import today as this_day
from matchkit.workflows.ink_history import ink_history, shares_in_tolerance
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import spectrum_in, wanted_lab, wanted_spectrum


def today(session: Session, args: argparse.Namespace) -> None:
    jobs = this_day.day(session)
    give(args, jobs.to_dict, lambda: book.day_parts(jobs))


def tickets_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--html", type=page, metavar="FILE", help="write all to one page to print")
    parser.add_argument("--date", default="", help="the date on the tickets (today)")


def tickets(session: Session, args: argparse.Namespace) -> None:
    made = this_day.tickets(session, args.date)
    if args.html:
        write_file(Path(args.html), tickets_html(made))
        told = [f"written: {args.html}"]
    else:
        told = [ticket_text(each).rstrip("\n") for each in made]
    give(args, lambda: {"tickets": [each.to_dict() for each in made]}, lambda: told)


def show_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)


def show(session: Session, args: argparse.Namespace) -> None:
    shown = looking_up.show(session, batch_of(session, args))
    give(args, shown.to_dict, lambda: book.batch_parts(shown))


def find_arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--like", metavar="FILE", help="near the colour of a spectrum file")
    reading_options(parser)
    add("--lab", type=lab, metavar="L,a,b", help="near this colour")
    add("--light", help="with --lab: the light it is for (the shop's first)")
    add("--observer", type=int, choices=(2, 10), help="with --lab: 2 or 10 (the shop's)")
    add("--within", type=positive, default=2.0, metavar="DE00", help="largest dE00 (2)")
    add("--ink", default="", help="with this ink")
    add("--lot", default="", help="with this lot")
    add("--customer", default="", help="for this customer (part of the name)")
    add("--text", default="", help="words of the colour, the job or a note")
    add("--since", default="", metavar="DAY", help="as 2026-11-25")
    add("--until", default="", metavar="DAY", help="that day included")
    add("--top", type=whole(), default=20, metavar="N", help="how many (20)")


def find(session: Session, args: argparse.Namespace) -> None:
    query = looking_up.Query(
        ink=args.ink, lot=args.lot, customer=args.customer, text=args.text,
        since=args.since, until=args.until, top=args.top,
    )  # fmt: skip
    if not args.lab and (args.light or args.observer):
        raise InputError("find: --light and --observer go with --lab")
    if not args.like and not args.lab:
        records = looking_up.find(session, query)
        give(args, records.to_dict, lambda: book.record_parts(records))
        return
    if query != looking_up.Query(top=query.top) or (args.like and args.lab):
        raise InputError("find: ask for a colour (--like or --lab), or for words and days")
    if args.lab:
        wanted = wanted_lab(session, args.lab, args.light, args.observer)
    else:
        spectrum = spectrum_in(session, args.like, args.name)
        wanted = wanted_spectrum(session, spectrum.name, spectrum.R)
    found = looking_up.find_colour(session, wanted, within_de00=args.within, top=query.top)
    give(args, found.to_dict, lambda: book.near_parts(found))


def stock(session: Session, args: argparse.Namespace) -> None:
    held = shelf.stock(session)
    give(args, held.to_dict, lambda: book.stock_parts(held))


def reorder_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--days", type=whole(), default=30, metavar="N", help="days ahead, and back (30)"
    )


def reorder(session: Session, args: argparse.Namespace) -> None:
    orders = shelf.reorder(session, days=args.days)
    give(args, orders.to_dict, lambda: book.order_parts(orders))


def use_up_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--grams", type=in_grams(positive), default=1000.0, metavar="G", help="batch size (1000)"
    )


def use_up(session: Session, args: argparse.Namespace) -> None:
    found = using_up.use_up(session, batch_g=args.grams)
    give(args, found.to_dict, lambda: book.use_up_parts(found))


def lots(session: Session, args: argparse.Namespace) -> None:
    known = shelf.lots(session)
    give(args, known.to_dict, lambda: book.lots_parts(known))


def drift_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ink", metavar="INK", help="the ink")
    picture_option(parser)


def drift(session: Session, args: argparse.Namespace) -> None:
    found = ink_history(session, args.ink)
    give(args, found.to_dict, lambda: inks.history_parts(found))


def pass_shares_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--of", choices=GROUPS, default="month", help="grouped by what (month)")


def pass_shares(session: Session, args: argparse.Namespace) -> None:
    found = shares_in_tolerance(session, args.of)
    give(args, found.to_dict, lambda: inks.share_parts(found))


def label_arguments(parser: argparse.ArgumentParser) -> None:
    batch_argument(parser)
    parser.add_argument(
        "--html", type=page, metavar="FILE", required=True, help="the page to write"
    )


def label(session: Session, args: argparse.Namespace) -> None:
    write_file(Path(args.html), looking_up.label(session, batch_of(session, args)).html)
    give(args, lambda: {"written": args.html}, lambda: [f"written: {args.html}"])
