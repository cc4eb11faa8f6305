"""What is typed and not done yet, so that a page that is loaded again goes on where it stood.

A draft is no record: it is overwritten, and nothing of the book depends on it.
"""

import json
from collections.abc import Mapping
from typing import Any

from matchkit.book.store import Book, reading, utc, wording, writing

LARGEST = 400_000  # characters; a file that is handed in may be among what is kept


def keep_draft(book: Book, place: str, content: Mapping[str, Any]) -> None:
    """Keep what stands in a form; `place` names the form, its last content is overwritten.

    >>> import tempfile
    >>> from matchkit.book.store import open_book
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     book = open_book(folder, who="Ann")
    ...     keep_draft(book, "batch 3", {"White": "612.4"})
    ...     draft(book, "batch 3"), last_writer(book)
    ({'White': '612.4'}, 'Ann')
    """
    text = json.dumps(content)
    at = utc(book.clock())
    if len(text) <= LARGEST:
        with writing(book) as db:
            row = [wording(place, "place"), at, book.who, text]
            db.execute("INSERT OR REPLACE INTO draft VALUES (?, ?, ?, ?)", row)


def draft(book: Book, place: str) -> dict[str, Any]:
    """What was kept last of a form; empty where nothing was."""
    with reading(book) as db:
        row = db.execute("SELECT content FROM draft WHERE place = ?", [place]).fetchone()
    return dict(json.loads(row[0])) if row else {}


def last_writer(book: Book) -> str:
    """Who typed last; empty where nobody did."""
    with reading(book) as db:
        row = db.execute("SELECT who FROM draft WHERE who <> '' ORDER BY at DESC").fetchone()
    return str(row[0]) if row else ""
