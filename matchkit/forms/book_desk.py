"""The record book as the forms hold it: opened anew for every look and every record.

Nothing of the book is kept between two presses of a button, and the shop's files are read
again each time, so that what another notebook or a command wrote is always seen.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime

from matchkit.book.jobs import Job
from matchkit.book.shelf import today
from matchkit.book.store import FILE, Book, now, open_book
from matchkit.errors import InputError
from matchkit.files.shop import read_shop
from matchkit.forms.book_demo import COPY, can_be_played, demo_book, demo_day
from matchkit.forms.shops import OpenShop
from matchkit.inks.shop import Shop

__all__ = [
    "Desk",
    "begun",
    "book_of",
    "desk_of",
    "files_now",
    "marks_of",
    "shop_now",
]


@dataclass(frozen=True, kw_only=True)
class Desk:
    """A shop whose book is kept, the clock by which it is, and what to say about it."""

    opened: OpenShop
    clock: Callable[[], datetime] = now
    notes: tuple[str, ...] = ()


def desk_of(opened: OpenShop) -> Desk:
    """The desk of a shop; the demo shop without a book gets a copy with an invented one."""
    if (opened.folder / FILE).exists() or not can_be_played(opened):
        return Desk(opened=opened)
    copy = replace(opened, folder=demo_book(opened))
    day = demo_day()
    note = (
        f"Customers and jobs are invented; it is {day:%A}, {day.day} {day:%B %Y} here. What you"
        f" write goes into the folder {COPY} beside this notebook: delete it to begin anew."
    )
    return Desk(opened=copy, clock=demo_day, notes=(note,))


def begun(desk: Desk) -> bool:
    """Whether the shop has a book; it begins with the first record."""
    return (desk.opened.folder / FILE).exists()


def book_of(desk: Desk, who: str = "", *, create: bool = False) -> Book:
    """The book as `who` holds it."""
    return open_book(desk.opened.folder, who=who, clock=desk.clock, create=create)


def files_now(desk: Desk) -> Shop:
    """The shop as its files have it now: what the functions that write need."""
    shop = read_shop(desk.opened.folder)
    fitted = {name for found in desk.opened.fits.values() for name in found.palette.names}
    if gone := fitted - {ink.name for ink in shop.inks}:
        raise InputError(
            f"inks.csv no longer has {', '.join(sorted(gone))}; run the notebook anew to fit what"
            " is there now"
        )
    return shop


def shop_now(desk: Desk, book: Book) -> Shop:
    """The shop with today's lots, stock and leftovers."""
    return today(book, files_now(desk))


def marks_of(story: Job) -> tuple[object, ...]:
    """What changes when somebody writes about a batch."""
    pours = tuple(pour.weighing for pour in story.pours)
    return pours, tuple(each.measurement for each in story.readings), story.outcome
