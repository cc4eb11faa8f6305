"""What every verb of ``matchkit book`` does first: open the book, read the shop, parse."""

import argparse
from typing import Any

from matchkit.book.lessons import Learned, learned
from matchkit.book.shelf import today
from matchkit.book.store import Book, open_book
from matchkit.cli.shops import say_learned
from matchkit.cli.terminal import positive, say
from matchkit.errors import InputError
from matchkit.files.fitted import fitted
from matchkit.files.shop import read_shop
from matchkit.fitting.fit import Fit
from matchkit.inks.shop import Shop

Answer = tuple[dict[str, Any], str]


def desk(args: argparse.Namespace, *, create: bool = False) -> Book:
    """The book as whoever runs the command holds it; what must be said aloud is said."""
    book = open_book(args.shop, who=args.by, create=create)
    for note in book.notes:
        say(note)
    return book


def shop_of(args: argparse.Namespace) -> Shop:
    """The shop's files, read and checked; its notes are other commands' to say."""
    return read_shop(args.shop)


def known(
    args: argparse.Namespace, book: Book, *, learning: bool = True
) -> tuple[Shop, dict[str, Fit], Learned]:
    """The shop as it is today by the book, its fits, and what is known of its lots."""
    files = shop_of(args)
    shop = today(book, files)
    fits, why = fitted(args.shop, files)
    if why:
        say(why)
    told = learned(book, shop, fits, learning=learning)
    say_learned(args, told.words)
    return shop, fits, told


def batch_argument(parser: argparse.ArgumentParser) -> None:
    """Which batch is meant."""
    parser.add_argument("batch", metavar="BATCH", help="its number, or its label as scanned")


def learning_option(parser: argparse.ArgumentParser) -> None:
    """The way to do without what was learned."""
    parser.add_argument(
        "--reference-lots",
        action="store_true",
        help="take every lot as the one that was fitted, whatever the batches told",
    )


def whole(text: str, option: str) -> int:
    """A whole number above 0."""
    value = positive(text, option)
    if value != int(value):
        raise InputError(f"{option}: found {text!r}, need a whole number")
    return int(value)


def lab_of(text: str) -> list[float]:
    """L,a,b with decimal points."""
    try:
        L, a, b = (float(part) for part in text.split(","))
    except ValueError:
        L = a = b = float("nan")
    if not (0 <= L <= 100 and abs(a) <= 200 and abs(b) <= 200):
        raise InputError(f"--lab: found {text!r}, need L,a,b with decimal points, as 62.5,10,-4.2")
    return [L, a, b]
