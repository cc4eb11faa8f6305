"""Copies of the record book: a backup, a check, everything as CSV and JSON, and back.

A book that is in use can't be copied by copying its file, since the newest records may lie
beside it; `backup` takes them along.  An export is one CSV for each table and one JSON
document with all of them; either makes the same book again.
"""

import csv
import io
import json
import os
import secrets
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from matchkit.book.disk import snapshot
from matchkit.book.schema import APPLICATION_ID, CHILDREN, STEPS, TABLES
from matchkit.book.store import FILE, Book, connect, migrate, now, open_book, plain_errors, reading
from matchkit.errors import InputError, raise_any
from matchkit.files.text import label, unshielded
from matchkit.files.write import csv_text, write_files

JSON_FILE = "book.json"
LOGS = ("-wal", "-shm", "-journal")  # what SQLite keeps beside a book
SUM_TOLERANCE = 1e-6

Rows = dict[str, tuple[list[str], list[tuple[Any, ...]]]]  # table: columns, rows
Cells = dict[str, Any]  # a row by column
Columns = dict[str, tuple[str, bool, Any]]  # by name: type, whether it must be filled, default


def backup(book: Book, to: str | Path) -> Path:
    """A whole copy of a book that may be in use; the path of the copy.

    `to` is a file that is not there yet, or a folder, in which the copy is called by the
    day and the time.  The copy is checked before it gets its name.
    """
    path = Path(to)
    if path.is_dir():
        path = path / f"book-{book.clock().astimezone():%Y-%m-%d-%H%M%S}.db"
    _must_be_new(path)
    beside = path.with_name(f".matchkit-new-{secrets.token_hex(8)}")
    try:
        with plain_errors(path), reading(book) as db, closing(sqlite3.connect(beside)) as copy:
            db.execute("COMMIT")  # a backup takes its own look at the book
            db.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
            faults = _faults(copy)
        raise_any([f"{label(path)}: the copy is not sound: {line}" for line in faults])
        _flush(beside)
        beside.rename(path)
    except OSError as error:
        raise InputError(f"{label(path)}: cannot be written: {error.strerror or error}") from None
    finally:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
    return path


def check(book: Book) -> list[str]:
    """What is wrong with a book, a line each; nothing if it is sound.

    The file itself, that records refer to what is there, that nothing could be changed,
    and that shares and spectra make sense.
    """
    with reading(book) as db:
        return _faults(db)


def export(book: Book, folder: str | Path) -> list[str]:
    """Everything in the book as CSV, a file for each table, and as JSON; the file names.

    The folder must not be there yet.
    """
    folder = Path(folder)
    _must_be_new(folder)
    with reading(book) as db:
        tables = _all_rows(db)
    files: dict[str, str | bytes] = {
        f"{table}.csv": csv_text(columns, rows) for table, (columns, rows) in tables.items()
    }
    whole = {
        "program": "matchkit record book",
        "version": len(STEPS),
        "tables": {
            t: [dict(zip(c, row, strict=True)) for row in r] for t, (c, r) in tables.items()
        },
    }
    files[JSON_FILE] = json.dumps(whole, ensure_ascii=False) + "\n"
    write_files(folder, files)
    return list(files)


def restore(source: str | Path, shop_folder: str | Path) -> Book:
    """A book made from a backup, an export's folder or its JSON, in a shop without a book.

    All of it is checked before it takes its place.
    """
    source, folder = Path(source), Path(shop_folder)
    if not folder.is_dir():
        raise InputError(f"{label(folder)}: not found; a shop folder is expected")
    if not source.exists():
        raise InputError(f"{label(source)}: not found; name a backup, an export or its {JSON_FILE}")
    _nothing_left_of_another(folder)
    beside = folder / f".matchkit-new-{secrets.token_hex(8)}"
    try:
        with plain_errors(source):
            _fill(source, beside)
        _nothing_left_of_another(folder)
        beside.rename(folder / FILE)
        return open_book(folder)
    except OSError as error:
        raise InputError(f"{FILE}: cannot be written: {error.strerror or error}") from None
    finally:
        with suppress(OSError):
            beside.unlink(missing_ok=True)


def _fill(source: Path, beside: Path) -> None:
    """A checked book in the file `beside`."""
    with closing(sqlite3.connect(beside, isolation_level=None)) as db:
        if source.is_dir():
            _write_all(db, _from_csv(source), len(STEPS), label(source))
        elif source.suffix.lower() == ".json":
            _write_all(db, *_from_json(source), label(source))
        else:
            _copy(source, db)
        migrate(db, source, now)
        db.execute("PRAGMA journal_mode = DELETE")
        faults = _faults(db)
    raise_any([f"{label(source)}: {line}" for line in faults])
    _flush(beside)


def _copy(source: Path, db: sqlite3.Connection) -> None:
    with closing(snapshot(source) or connect(source)) as old:
        (application,) = old.execute("PRAGMA application_id").fetchone()
        if application != APPLICATION_ID:
            raise InputError(f"{label(source)}: not a record book")
        old.backup(db)


def _all_rows(db: sqlite3.Connection) -> Rows:
    tables: Rows = {}
    for table in TABLES:
        cursor = db.execute(f"SELECT * FROM {table} ORDER BY id")
        tables[table] = ([column[0] for column in cursor.description], cursor.fetchall())
    return tables


def _write_all(
    db: sqlite3.Connection, tables: Mapping[str, Sequence[Cells]], version: int, file: str
) -> None:
    """A book of some version with rows as they were, in one transaction."""
    db.execute("BEGIN IMMEDIATE")
    for statement in (line for step in STEPS[:version] for line in step):
        db.execute(statement)
    for table, columns in _columns(db).items():
        if table not in tables:
            raise InputError(f"{file}: no table {table}; not a whole export of a record book")
        for row in tables[table]:
            _write_row(db, table, row, columns, file)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {version}")
    db.execute("COMMIT")


def _write_row(db: sqlite3.Connection, table: str, row: Cells, columns: Columns, file: str) -> None:
    """Write a row; columns that came with a later version have a default."""
    needed = {name for name, (_, _, default) in columns.items() if default is None}
    if odd := ", ".join(sorted(map(str, (needed - set(row)) | (set(row) - set(columns))))):
        raise InputError(f"{file}: {table}: columns that are missing or unknown: {odd}")
    marks = ", ".join("?" * len(row))
    try:
        db.execute(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks})", [*row.values()])
    except (sqlite3.Error, OverflowError) as error:
        raise InputError(f"{file}: {table} {str(row['id'])[:40]}: {error}") from None


def _columns(db: sqlite3.Connection) -> dict[str, Columns]:
    """By table and column of a book: its type, whether it must be filled, its default if any."""
    names = db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall()
    return {
        table: {
            row[1]: (row[2], bool(row[3]), row[4])
            for row in db.execute(f"PRAGMA table_info({table})")
        }
        for (table,) in names
        if table in TABLES
    }


def _from_json(path: Path) -> tuple[dict[str, list[Cells]], int]:
    try:
        whole = json.loads(path.read_text(encoding="utf-8-sig"))
        version = int(whole["version"])
        tables = {name: [dict(row) for row in rows] for name, rows in whole["tables"].items()}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise InputError(f"{label(path)}: not an export of a record book") from None
    if not 1 <= version <= len(STEPS):
        raise InputError(
            f"{label(path)}: version {version}, written by a newer matchkit; this one reads"
            f' versions up to {len(STEPS)}: update matchkit here as README says under "Update"'
        )
    return tables, version


def _from_csv(folder: Path) -> dict[str, list[Cells]]:
    """Rows with the types that their columns have."""
    with closing(sqlite3.connect(":memory:")) as db:
        for statement in STEPS[0]:
            db.execute(statement)
        first = _columns(db)
        for statement in (line for step in STEPS[1:] for line in step):
            db.execute(statement)
        kinds = _columns(db)
    there = [table for table in kinds if (folder / f"{table}.csv").is_file()]
    missing = [f"{table}.csv" for table in first if table not in there]
    if missing:
        raise InputError(f"{label(folder)}: no export of a record book: no {', '.join(missing)}")
    return {  # an export of an older book has not all tables
        table: list(_csv_rows(folder / f"{table}.csv", columns)) if table in there else []
        for table, columns in kinds.items()
    }


def _csv_rows(path: Path, kinds: Columns) -> Iterator[Cells]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            f"{label(path)}: not UTF-8 text; use the file as it was exported"
        ) from None
    for n, row in enumerate(csv.DictReader(io.StringIO(text, newline="")), start=2):
        if None in row or None in row.values():
            raise InputError(f"{label(path)} row {n}: too many or too few cells")
        yield {name: _typed(cell, kinds.get(name), path, n) for name, cell in row.items()}


def _typed(cell: str, kind: tuple[str, bool, Any] | None, path: Path, n: int) -> Any:
    """A cell as its column wants it: an empty one is NULL unless the column forbids that."""
    name, required, _ = kind or ("TEXT", True, None)
    if cell == "" and not required:
        return None
    try:
        return {"INTEGER": int, "REAL": float}.get(name, unshielded)(cell)
    except ValueError:
        raise InputError(f"{label(path)} row {n}: {cell!r} is not a number") from None


def _faults(db: sqlite3.Connection) -> list[str]:
    faults = [row[0] for row in db.execute("PRAGMA integrity_check(20)") if row[0] != "ok"]
    if faults:
        return [f"damaged: {line}" for line in faults]
    for table, number, parent, _ in db.execute("PRAGMA foreign_key_check").fetchall():
        faults.append(f"{table} {number}: refers to a {parent} that is not there")
    have = {row[0] for row in db.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'")}
    lost = [
        t
        for t in TABLES
        for what in ("update", "delete", "replace")
        if f"{t}_no_{what}" not in have
    ]
    faults += [f"{table}: no longer guarded against changes" for table in dict.fromkeys(lost)]
    faults += _cells(db)
    for table in CHILDREN:
        if table != "addition":
            faults += _sums(db, table)
    for table in ("target", "formula", "measurement", "mix", "lot_check"):
        faults += _spectra(db, table)
    return faults


def _cells(db: sqlite3.Connection) -> list[str]:
    """Cells of another kind than their column: SQLite takes a text where a weight belongs."""
    faults = []
    for table, columns in _columns(db).items():
        for column, (kind, *_) in columns.items():
            wrong = f"typeof({column}) NOT IN ('null', '{kind.lower()}')"
            if kind == "REAL":
                wrong += f" OR abs({column}) > 1e300"
            for number, value in db.execute(f"SELECT id, {column} FROM {table} WHERE {wrong}"):
                faults.append(f"{table} {number}: {column} is {str(value)[:40]!r}, no {kind}")
    return faults


def _sums(db: sqlite3.Connection, table: str) -> list[str]:
    parent = table.removesuffix("_ink")
    rows = db.execute(
        f"SELECT {parent}.id, coalesce(total(fraction), 0) AS whole FROM {parent}"
        f" LEFT JOIN {table} ON {table}.{parent} = {parent}.id GROUP BY {parent}.id"
        " HAVING abs(whole - 1) > ?",
        [SUM_TOLERANCE],
    )
    return [f"{parent} {number}: its shares sum to {whole:g}, not 1" for number, whole in rows]


def _spectra(db: sqlite3.Connection, table: str) -> list[str]:
    faults = []
    for number, text in db.execute(f"SELECT id, R FROM {table} WHERE R IS NOT NULL"):
        try:
            values = [float(v) for v in json.loads(text)]
            sound = len(values) == 31 and all(-0.1 <= v <= 2 for v in values)
        except (ValueError, TypeError):
            sound = False
        if not sound:
            faults.append(f"{table} {number}: its spectrum can't be read")
    return faults


def _nothing_left_of_another(folder: Path) -> None:
    """InputError if there is a book, or a log beside its place that would be taken for its own."""
    for name in (FILE, *(FILE + end for end in LOGS)):
        _must_be_new(folder / name, "move it away, and all that begins with its name")


def _must_be_new(path: Path, do: str = "nothing is overwritten; name another") -> None:
    if path.exists():
        raise InputError(f"{label(path)}: is there already; {do}")


def _flush(path: Path) -> None:
    with path.open("rb+") as stream:
        os.fsync(stream.fileno())
