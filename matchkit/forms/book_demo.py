"""A book to try things in: a copy of the demo shop with four invented weeks.

The weeks are data, see ``data/make_demo_book.py``: customers, jobs and lots are invented.
"""

import json
import secrets
import shutil
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from matchkit.book.copies import restore
from matchkit.errors import InputError
from matchkit.files import fitted, write
from matchkit.forms.shops import OpenShop, is_demo
from matchkit.workflows.session import BOOK

COPY = "demo-shop-book"  # beside the notebook
MEASURED = "measured"  # the folder of a shop where its instrument's files come in
DAY = datetime(2026, 3, 27, 10, tzinfo=UTC)  # ten o'clock is that day nearly everywhere


def with_book(opened: OpenShop) -> OpenShop:
    """The shop; the demo shop without a book is its copy with an invented one and its clock."""
    if opened.has_book or not _is_of_the_weeks(opened):
        return opened
    return replace(opened, folder=demo_book(opened), clock=demo_day)


def played(opened: OpenShop) -> str:
    """What to know of a book whose weeks are invented; nothing of any other."""
    if opened.clock is None:
        return ""
    day = opened.clock()
    return (
        f"Customers and jobs are invented; it is {day:%A}, {day.day} {day:%B %Y} here. What you"
        f" write goes into the folder {COPY} beside this notebook: delete it to start again."
    )


def demo_book(opened: OpenShop) -> Path:
    """The folder of the copy beside the notebook; it is made if it is not there."""
    folder = Path(COPY)
    if not (folder / BOOK).is_file():
        beside = Path(f".{COPY}-{secrets.token_hex(4)}")
        try:
            shutil.copytree(opened.folder, beside)
            shutil.copytree(_weeks() / MEASURED, beside / MEASURED)
            fitted.write_fits(beside, opened.shop, opened.fits)
            restore(_weeks() / "book.json", beside)
            beside.rename(folder)
        except OSError:
            if not (folder / BOOK).is_file():  # else another notebook made it in the meantime
                raise InputError(
                    f"{COPY}: can't be made here; move the file or folder of that name away"
                ) from None
        finally:
            shutil.rmtree(beside, ignore_errors=True)
    return folder


def demo_day() -> datetime:
    """The day on which the invented book is opened."""
    return DAY


def _weeks() -> Path:
    return write.data_folder() / "demo-book"


def _is_of_the_weeks(opened: OpenShop) -> bool:
    """Whether it is the demo shop, with the inks that the weeks are about."""
    if not is_demo(opened):
        return False
    tables = json.loads((_weeks() / "book.json").read_text(encoding="utf-8"))["tables"]
    return {row["ink"] for row in tables["formula_ink"]} <= {ink.name for ink in opened.shop.inks}
