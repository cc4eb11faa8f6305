"""The book's file: begun, only added to, of a known version, quick to open and to search."""

import json
import os
import sqlite3
import time

import numpy as np
import pytest
from book_shop import SHOP, Clock, by_hand, child, ended, forks, logged, one_batch

from matchkit.book import store as book_module
from matchkit.book.containers import add
from matchkit.book.copies import check
from matchkit.book.find import near
from matchkit.book.schema import STEPS, TABLES
from matchkit.book.stock import stock
from matchkit.book.store import FILE, open_book, reading, writing
from matchkit.colorimetry.tristimulus import Lab
from matchkit.errors import InputError

pytestmark = pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")


@pytest.fixture
def book(tmp_path):
    return open_book(tmp_path, who="Ana", clock=Clock())


# ---- the file


def test_a_new_book_is_sound_and_signed(book):
    assert check(book) == []
    batch = logged(book)
    with reading(book) as db:
        assert db.execute("SELECT at, who FROM batch WHERE id = ?", [batch]).fetchone() == (
            "2026-03-02T08:00:00Z",
            "Ana",
        )


def test_no_book_yet(tmp_path):
    with pytest.raises(InputError, match="no record book yet"):
        open_book(tmp_path, create=False)
    assert not list(tmp_path.iterdir())
    with pytest.raises(InputError, match="not found"):
        open_book(tmp_path / "nowhere")


def test_opening_is_quick(book):
    logged(book)
    best = min(_seconds(lambda: open_book(book.path.parent)) for _ in range(5))
    assert best < 0.1


def _seconds(work):
    begun = time.process_time()
    work()
    return time.process_time() - begun


@pytest.mark.parametrize("table", TABLES)
def test_nothing_can_be_changed_or_deleted(book, table):
    """By this program or any other that opens the file."""
    one_batch(book)
    with by_hand(book.path) as db:
        columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
        if not db.execute(f"SELECT 1 FROM {table}").fetchone():
            return
        before = db.execute(f"SELECT * FROM {table}").fetchall()
        again = ", ".join(f"'{value}'" if value is not None else "NULL" for value in before[0])
        for statement in (
            f"UPDATE {table} SET {columns[-1]} = {columns[-1]}",
            f"DELETE FROM {table}",
            f"INSERT OR REPLACE INTO {table} VALUES ({again})",
        ):
            with pytest.raises(sqlite3.IntegrityError, match="only added to"):
                db.execute(statement)
        assert db.execute(f"SELECT * FROM {table}").fetchall() == before


def test_a_newer_book_is_left_alone(book):
    with by_hand(book.path) as db:
        db.execute("PRAGMA user_version = 99")
    before = book.path.read_bytes()
    with pytest.raises(InputError, match=r'version 99, .* newer matchkit; .* "Update"$'):
        open_book(book.path.parent)
    with pytest.raises(InputError, match="newer"):  # also where it was open already
        logged(book)
    with pytest.raises(InputError, match="newer"):
        stock(book, SHOP)
    assert book.path.read_bytes() == before


def test_files_that_are_no_book(tmp_path):
    (tmp_path / FILE).write_text("not a database, but long enough to look at" * 50)
    with pytest.raises(InputError, match="not a record book"):
        open_book(tmp_path)
    (tmp_path / FILE).unlink()
    with by_hand(tmp_path / FILE) as db:
        db.execute("CREATE TABLE mine (x)")
    with pytest.raises(InputError, match="of another program"):
        open_book(tmp_path)
    with by_hand(tmp_path / FILE) as db:
        assert db.execute("SELECT name FROM sqlite_schema").fetchall() == [("mine",)]


def test_a_damaged_book_is_told(book):
    for _ in range(30):
        logged(book)
    with by_hand(book.path) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    size = book.path.stat().st_size
    with book.path.open("r+b") as file:
        for at in range(4096 * 2, size, 4096):
            file.seek(at)
            file.write(b"\xff" * 64)
    try:
        told = check(book)
    except InputError as error:
        told = list(error.faults)
    assert any("damaged" in line for line in told)


def test_a_fault_leaves_nothing_behind(book):
    batch = one_batch(book)
    before = _count(book)
    with pytest.raises(InputError, match="Lemmon"):
        add(book, SHOP, batch, {"White": 1.0, "Lemmon": 1.0})
    with pytest.raises(InputError, match="nan"):
        add(book, SHOP, batch, {"White": 1.0, "Lemon": float("nan")})
    with pytest.raises(ZeroDivisionError), writing(book) as db:
        db.execute("INSERT INTO lot VALUES (NULL, '', '', 'x', 'y', '', '')")
        _ = 1 / 0
    assert _count(book) == before


def _count(book):
    with reading(book) as db:
        return [db.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in TABLES]


def test_five_thousand_formulas_are_searched_in_a_moment(book):
    """With spectra, half of them made and measured: nearest colours, and opening."""
    rng = np.random.default_rng(4)
    R = np.clip(np.cumsum(rng.normal(0, 0.03, (5_000, 31)), axis=1) + 0.4, 0.01, 0.99).round(4)
    labs = Lab(R, "D65", 10).round(4).tolist()
    seen = [
        (json.dumps(spectrum), *lab, "D65", 10, SHOP.geometry, SHOP.condition)
        for spectrum, lab in zip(R.tolist(), labs, strict=True)
    ]
    with writing(book) as db:
        for k, colour in enumerate(seen, start=1):
            db.execute(FORMULA, (k, f"colour {k}", *colour))
            db.execute(PARTS, (k, "White", 0.9))
            db.execute(PARTS, (k, "Lemon", 0.1))
            if k % 2:
                db.execute(BATCH, (k, k))
                db.execute(WEIGHING, (k, k))
                db.execute(MEASUREMENT, (k, k, k, *colour))
    assert check(book) == []
    quickest = min(_seconds(lambda: near(book, SHOP, labs[7])) for _ in range(3))
    assert quickest < 0.1
    assert near(book, SHOP, labs[7])[0].formula == 8
    quickest = min(_seconds(lambda: near(book, SHOP, labs[7], within=None)) for _ in range(3))
    assert quickest < 0.1
    assert min(_seconds(lambda: open_book(book.path.parent)) for _ in range(5)) < 0.1


_SIGNED = "'2026-03-02T08:00:00Z', ''"
FORMULA = f"INSERT INTO formula VALUES (?, {_SIGNED}, ?, '', NULL, 'recipe', {'?, ' * 8}"
FORMULA += "NULL, NULL, '', '', '', '')"
PARTS = "INSERT INTO formula_ink VALUES (NULL, ?, ?, ?)"
BATCH = f"INSERT INTO batch VALUES (?, {_SIGNED}, ?, '', '', '', 500000, '', '', 0)"
WEIGHING = f"INSERT INTO weighing VALUES (?, {_SIGNED}, ?, NULL, '')"
MEASUREMENT = (
    f"INSERT INTO measurement VALUES (?, {_SIGNED}, ?, ?, '', {'?, ' * 8}1, 0.5, 1, '', '')"
)


# ---- older books


def test_an_older_book_is_brought_up_to_date(book, monkeypatch):
    batch = one_batch(book)
    _add_a_step(monkeypatch)
    again = open_book(book.path.parent)
    assert again.uid == book.uid
    with reading(again) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (len(STEPS) + 1,)
        assert db.execute("SELECT shelf FROM batch WHERE id = ?", [batch]).fetchone() == ("A",)


def _add_a_step(monkeypatch, *more):
    step = ("ALTER TABLE batch ADD COLUMN shelf TEXT NOT NULL DEFAULT 'A'", *more)
    monkeypatch.setattr(book_module, "STEPS", (*STEPS, step))


def test_a_step_that_fails_changes_nothing(book, monkeypatch):
    one_batch(book)
    _add_a_step(monkeypatch, "CREATE TABLE batch (id)")
    with pytest.raises(InputError, match="table batch already exists"):
        open_book(book.path.parent)
    monkeypatch.undo()
    assert check(open_book(book.path.parent)) == []


@forks
def test_two_that_open_at_once_migrate_once(tmp_path, monkeypatch):
    """A new book and an older one, each opened by three processes at the same moment."""
    for round_ in range(3):
        folder = tmp_path / str(round_)
        folder.mkdir()
        _together(lambda folder=folder: open_book(folder))
        with by_hand(folder / FILE) as db:
            assert db.execute("SELECT count(*) FROM book").fetchone() == (1,)
        with monkeypatch.context() as patched:
            _add_a_step(patched)
            _together(lambda folder=folder: open_book(folder))
        with by_hand(folder / FILE) as db:
            columns = [row[1] for row in db.execute("PRAGMA table_info(batch)")]
            assert columns.count("shelf") == 1
            assert db.execute("PRAGMA user_version").fetchone() == (len(STEPS) + 1,)


def _together(work, n=3):
    """Run `work` in n processes that start at the same moment; all must end well."""
    gate, opened = os.pipe()

    def wait_and_work():
        os.read(gate, 1)
        work()

    children = [child(wait_and_work) for _ in range(n)]
    os.write(opened, b"x" * n)
    assert [ended(pid) for pid in children] == [0] * n
    os.close(gate)
    os.close(opened)
