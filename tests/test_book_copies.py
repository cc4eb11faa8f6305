"""Copies of the book: a backup, everything as CSV and JSON, and the book again from each."""

import csv
import json

import numpy as np
import pytest
from book_shop import PALETTE, SHOP, Clock, by_hand, logged

from matchkit.book.containers import add, measure, weigh
from matchkit.book.copies import backup, check, export, restore
from matchkit.book.entries import close, strike
from matchkit.book.jobs import job
from matchkit.book.schema import STEPS, TABLES
from matchkit.book.stock import keep_leftover, open_lot, stock
from matchkit.book.store import FILE, open_book, reading
from matchkit.errors import InputError
from matchkit.inks.palette import reflectance


@pytest.fixture
def book(tmp_path):
    """A book with something in nearly every table, and with names that are hard to carry."""
    (tmp_path / "shop").mkdir()
    book = open_book(tmp_path / "shop", who='Ána "the hand", Ł', clock=Clock())
    batch = logged(book, name="=Cream; 1,5", customer="O'Neil, \N{GREEK SMALL LETTER ALPHA}")
    weigh(book, SHOP, batch, {"White": 475.0, "Lemon": 25.001})
    measure(book, SHOP, batch, reflectance(PALETTE, np.array([0.951, 0.049, 0, 0])))
    add(book, SHOP, batch, {"Lemon": 1.0})
    keep_leftover(book, SHOP, batch, 50.0, "Old cream")
    close(book, batch, "rejected")
    wrong = logged(book)
    strike(book, "batch", wrong, "twice")
    open_lot(book, SHOP, "Lemon", "8")
    return book


def everything(book):
    with reading(book) as db:
        return {t: db.execute(f"SELECT * FROM {t} ORDER BY id").fetchall() for t in TABLES}


@pytest.mark.parametrize("way", ["backup", "csv", "json"])
def test_there_and_back(book, tmp_path, way):
    folder = tmp_path / "again"
    folder.mkdir()
    source = tmp_path / "copy.db"
    if way == "backup":
        assert backup(book, source) == source
    else:
        source = tmp_path / "export"
        export(book, source)
        if way == "json":
            source = source / "book.json"
    again = restore(source, folder)
    assert everything(again) == everything(book)
    assert again.uid == book.uid
    assert check(again) == []
    assert stock(again, SHOP) == stock(book, SHOP)
    logged(again)  # and it goes on
    assert sorted(path.name for path in folder.iterdir()) == [FILE]


def test_an_export_is_plain(book, tmp_path):
    """As any spreadsheet or program reads it."""
    names = export(book, tmp_path / "export")
    assert set(names) == {*(f"{table}.csv" for table in TABLES), "book.json"}
    with (tmp_path / "export" / "formula.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows[0]["name"] == "'=Cream; 1,5"  # no spreadsheet runs it
    assert len(json.loads(rows[0]["R"])) == 31
    whole = json.loads((tmp_path / "export" / "book.json").read_text(encoding="utf-8"))
    assert whole["tables"]["strike"][-1]["why"] == "twice"


def test_nothing_is_overwritten(book, tmp_path):
    backup(book, tmp_path / "copy.db")
    with pytest.raises(InputError, match="is there already"):
        backup(book, tmp_path / "copy.db")
    (tmp_path / "full").mkdir()
    with pytest.raises(InputError, match="is there already"):
        export(book, tmp_path / "full")
    with pytest.raises(InputError, match=r"book\.db: is there already"):
        restore(tmp_path / "copy.db", book.path.parent)
    assert backup(book, tmp_path / "full").name.startswith("book-2026-03-0")
    with pytest.raises(InputError, match=r"cannot be written|can't be opened"):
        backup(book, tmp_path / "nowhere" / "copy.db")


def test_what_is_no_copy_is_refused_and_leaves_nothing(book, tmp_path):
    empty = tmp_path / "empty"
    empty.mkdir()
    (tmp_path / "a.json").write_text("{}")
    (tmp_path / "text.db").write_text("hello" * 1000)
    with by_hand(tmp_path / "other.db") as db:
        db.execute("CREATE TABLE mine (x)")
    (tmp_path / "bare").mkdir()
    for source, why in (
        ("a.json", "not an export"),
        ("text.db", "not a record book"),
        ("other.db", "not a record book"),
        ("bare", "no export of a record book: no book.csv"),
        ("missing", "not found"),
    ):
        with pytest.raises(InputError, match=why):
            restore(tmp_path / source, empty)
    assert list(empty.iterdir()) == []


def test_the_log_of_another_book_is_not_taken_for_its_own(book, tmp_path):
    """Left behind by a book that was moved away, it would be played into the restored one."""
    copy = backup(book, tmp_path / "copy.db")
    (tmp_path / "again").mkdir()
    (tmp_path / "again" / "book.db-wal").write_bytes(b"x")
    with pytest.raises(InputError, match=r"book\.db-wal: is there already; move it away"):
        restore(copy, tmp_path / "again")


@pytest.mark.parametrize(
    ("table", "old", "new", "why"),
    [
        ("batch", "500000", "many", "is not a number"),
        ("formula_ink", "0.05", "0.06", "its shares sum to 1.01, not 1"),
        ("movement", "weighed", "lent", "CHECK constraint"),
        ("measurement", "[0.", "[x0.", "its spectrum can't be read"),
        ("batch", "formula", "recipe", "missing or unknown: formula, recipe"),
    ],
)
def test_an_export_that_was_meddled_with(book, tmp_path, table, old, new, why):
    export(book, tmp_path / "export")
    path = tmp_path / "export" / f"{table}.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    (tmp_path / "again").mkdir()
    with pytest.raises(InputError, match=why):
        restore(tmp_path / "export", tmp_path / "again")
    assert list((tmp_path / "again").iterdir()) == []


def test_a_newer_export_is_refused(book, tmp_path):
    export(book, tmp_path / "export")
    path = tmp_path / "export" / "book.json"
    now = f'"version": {len(STEPS)}'
    path.write_text(path.read_text(encoding="utf-8").replace(now, '"version": 99'))
    (tmp_path / "again").mkdir()
    with pytest.raises(InputError, match="newer matchkit"):
        restore(path, tmp_path / "again")


def test_check_finds_what_another_program_did(book):
    with by_hand(book.path) as db:
        db.execute("DROP TRIGGER batch_no_update")
        db.execute("PRAGMA foreign_keys = OFF")
        db.execute("INSERT INTO formula_ink VALUES (NULL, 1, 'Lost', 0.5)")
        db.execute("INSERT INTO weighing VALUES (NULL, '2026-03-02T08:00:00Z', '', 77, NULL, '')")
    told = check(book)
    assert any(line.startswith("weighing") and "batch" in line for line in told)
    assert "batch: no longer guarded against changes" in told
    assert "formula 1: its shares sum to 1.5, not 1" in told
    assert job(book, 1).name  # and what is sound can still be read
