"""The record book: one SQLite file in the shop folder, only ever added to.

A `Book` is the book as one person holds it.  It keeps no connection open: every function
opens the file, does its work in one short transaction and closes it, so that two notebooks
and a command write side by side, and a program that is killed leaves a whole book.

    write-ahead log, flushed at every commit     what was acknowledged stays
    BEGIN IMMEDIATE for every write              two writers queue, neither fails
    the version is asked at every opening        an older program leaves a newer book alone

The book lives on a local disk.  On any other the write-ahead log is not safe (see `disk`):
there the programs take turns, by an owner lock in the folder, with the rollback journal; and
a book that its own machine keeps with the log can be read from elsewhere, but not written.
Where nothing can be written, reading goes on from a copy in memory, and says so.
"""

import secrets
import sqlite3
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

from matchkit.book.disk import address, is_local, snapshot, written_ahead
from matchkit.book.schema import APPLICATION_ID, STEPS
from matchkit.errors import InputError, plainly
from matchkit.files.lock import Refused, locked
from matchkit.files.text import label, text_fault

FILE = "book.db"
PATIENCE_S = 30.0  # how long a writer waits for the others
PRAGMAS = ("foreign_keys = ON", "synchronous = FULL")
LONGEST = 500  # characters of a name or a remark

# What SQLite says, in the words of who reads it.  The rest are faults of the program.
_WHY = {
    "SQLITE_FULL": "the disk is full; nothing of this record was written. Make room, then"
    " write it again",
    "SQLITE_BUSY": f"another program has kept it to itself for {PATIENCE_S:g} s; close that one",
    "SQLITE_READONLY": "may be read only; ask for the right to write in the shop folder",
    "SQLITE_CANTOPEN": "can't be opened; may the shop folder be read and written?",
    "SQLITE_PERM": "may not be opened; ask for the right to the shop folder",
    "SQLITE_NOTADB": "not a record book; move it away (a backup comes back by"
    " `matchkit book SHOP restore`)",
    "SQLITE_CORRUPT": "damaged; move it away with all that begins with its name, and bring the"
    " last backup back by `matchkit book SHOP restore`",
    "SQLITE_IOERR_SHM": "the disk is full, or failed; make room, then write it again",
    "SQLITE_IOERR": "the disk failed; check it, then check the book (`matchkit book SHOP check`)",
}

# Of these, what stops a book from being written, which does not stop it from being read.
_UNWRITABLE = ("SQLITE_FULL", "SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM", "SQLITE_IOERR")
_ELSEWHERE = (
    "the machine on whose disk it lies keeps it in a way that only that machine can go on with:"
    " work there. Where no program works on that machine, restore a backup"
    " (`matchkit book SHOP backup`, of a copy on a local disk) in its place"
)


def now() -> datetime:
    """The present time, UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True, kw_only=True)
class Book:
    """The record book as one person holds it: where it is, who writes, by which clock.

    `uid` tells this book from those of other shops; it stands on labels.  `notes` are
    things to say aloud, such as a network folder.  `unless`, if there is one, looks at the
    book in the same transaction as every writing, before it, and raises to prevent it.
    """

    path: Path
    uid: str
    who: str = ""
    clock: Callable[[], datetime] = now
    notes: tuple[str, ...] = ()
    unless: Callable[[sqlite3.Connection], None] | None = None


def open_book(
    folder: str | Path, *, who: str = "", create: bool = True, clock: Callable[[], datetime] = now
) -> Book:
    """The record book of a shop folder; it is begun if there is none and `create` is set.

    `who` and `clock` sign every record that is written through it.  Raises `InputError` for
    a file that is not a book, that is damaged, or that a newer program wrote.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     open_book(folder, who="Ann").path.name
    'book.db'
    """
    folder = Path(folder)
    path, signed = folder / FILE, wording(who, "who writes")
    with plain_errors(path), ExitStack() as stack:
        if not folder.is_dir():
            raise InputError(f"{label(folder)}: not found; a shop folder is expected")
        if not create and not path.exists():
            raise InputError(
                f"{label(folder)}: no record book yet; it begins with the first record,"
                " such as `matchkit book SHOP begin`"
            )
        try:
            db = _opened(path, stack, create=create)
            version = _known_version(db, path)
            notes = _journal(db, path)
            if 0 < version < len(STEPS):
                notes += (_copied_first(db, path, version),)
            if version < len(STEPS):
                migrate(db, path, clock)
        except (InputError, OSError, sqlite3.Error) as error:
            db, notes = _unwritable(path, stack, error)
        found = db.execute("SELECT uid FROM book").fetchone()
        if found is None:
            raise InputError(f"{label(path)}: {_WHY['SQLITE_CORRUPT']}")
    return Book(path=path, uid=found[0], who=signed, clock=clock, notes=notes)


@contextmanager
def reading(book: Book) -> Iterator[sqlite3.Connection]:
    """A connection that sees the book as it is at one moment and can't write.

    Where nothing can be written, it is a copy in memory.
    """
    with plain_errors(book.path), ExitStack() as stack:
        try:
            db = _opened(book.path, stack)
            _known_version(db, book.path)
        except (InputError, OSError, sqlite3.Error) as error:
            db, _ = _unwritable(book.path, stack, error)
        db.execute("PRAGMA query_only = ON")
        db.execute("BEGIN")
        yield db


@contextmanager
def writing(book: Book) -> Iterator[sqlite3.Connection]:
    """A connection whose work is kept whole at the end, or, after any fault, not at all."""
    with plain_errors(book.path), ExitStack() as stack:
        db = _opened(book.path, stack)
        db.execute("BEGIN IMMEDIATE")
        try:
            _known_version(db, book.path)
            if book.unless:
                book.unless(db)
            yield db
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise


def utc(moment: datetime) -> str:
    """A moment as the book writes it."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def record(db: sqlite3.Connection, book: Book, table: str, values: Mapping[str, object]) -> int:
    """Write one record, signed and dated; its number."""
    at = utc(book.clock())
    return insert(db, table, {"at": at, "who": book.who, **values})


def insert(db: sqlite3.Connection, table: str, values: Mapping[str, object]) -> int:
    """Write one row as it is; its number.  Texts are checked, names are the program's own."""
    cells = [wording(v, k) if isinstance(v, str) and k != "told" else v for k, v in values.items()]
    marks = ", ".join("?" * len(cells))
    row = db.execute(f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})", cells)
    assert row.lastrowid is not None
    return row.lastrowid


def wording(text: str, what: str) -> str:
    """A name or a remark as it may stand in the book, or InputError."""
    fault = text_fault(text)
    if fault or (len(text) > LONGEST and what != "R"):
        raise InputError(f"{what}: {fault or f'{len(text)} characters; at most {LONGEST}'}")
    return text.strip()


def connect(path: Path, *, create: bool = False) -> sqlite3.Connection:
    """A connection to the file with the settings that every one of them needs."""
    uri = address(path.resolve(), "rwc" if create else "rw")
    db = sqlite3.connect(uri, uri=True, timeout=PATIENCE_S, isolation_level=None)
    for pragma in PRAGMAS:
        db.execute(f"PRAGMA {pragma}")
    return db


@contextmanager
def plain_errors(path: Path) -> Iterator[None]:
    """Turn what SQLite says about the file into a line that a person can act on."""
    try:
        yield
    except sqlite3.Error as error:
        name = getattr(error, "sqlite_errorname", "")
        why = next((line for key, line in _WHY.items() if name.startswith(key)), "")
        if not why and not isinstance(error, sqlite3.OperationalError):
            raise
        why = why or f"not as this program wrote it ({error}); {_WHY['SQLITE_CORRUPT']}"
        raise InputError(f"{label(path)}: {why}") from None
    except OSError as error:
        raise plainly(error) or error from None
    except OverflowError:
        raise InputError(f"{label(path)}: a number is too large for the record book") from None


def _known_version(db: sqlite3.Connection, path: Path) -> int:
    """The version of the book; InputError if it is no book, or a newer one."""
    (version,) = db.execute("PRAGMA user_version").fetchone()
    (application,) = db.execute("PRAGMA application_id").fetchone()
    (tables,) = db.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    if tables and application != APPLICATION_ID:
        raise InputError(f"{label(path)}: a database of another program; move it away")
    if version > len(STEPS):
        raise InputError(
            f"{label(path)}: version {version}, written by a newer matchkit; this one reads"
            f' versions up to {len(STEPS)}: update matchkit here as README says under "Update"'
        )
    return int(version)


def migrate(db: sqlite3.Connection, path: Path, clock: Callable[[], datetime]) -> None:
    """All steps from the version of the file to today's, or none of them.

    Who comes second waits for the first, and finds nothing left to do.
    """
    db.execute("BEGIN IMMEDIATE")
    try:
        version = _known_version(db, path)
        for statement in (line for step in STEPS[version:] for line in step):
            db.execute(statement)
        if version == 0:
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            at = utc(clock())
            uid = secrets.token_hex(4).upper()
            insert(db, "book", {"id": 1, "at": at, "uid": uid})
        db.execute(f"PRAGMA user_version = {len(STEPS)}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


class _Elsewhere(InputError):
    """Another machine keeps the book with the write-ahead log."""


def _opened(path: Path, stack: ExitStack, *, create: bool = False) -> sqlite3.Connection:
    """A connection; the folder's lock is held with it wherever the log can't be relied on."""
    local = is_local(path)
    if not local:
        stack.enter_context(locked(path.parent))
        if written_ahead(path):
            raise _Elsewhere(f"{label(path)}: {_ELSEWHERE}")
    db = stack.enter_context(closing(connect(path, create=create)))
    if local and _mode(db) != "wal":
        stack.enter_context(locked(path.parent))
    return db


def _unwritable(
    path: Path, stack: ExitStack, error: Exception
) -> tuple[sqlite3.Connection, tuple[str, ...]]:
    """The book as its last write left it, and a line that says so; else `error` again."""
    name = getattr(error, "sqlite_errorname", "")
    stops = isinstance(error, _Elsewhere | Refused | OSError) or name.startswith(_UNWRITABLE)
    stack.close()
    db = snapshot(path) if stops and path.exists() else None
    if db is None:
        raise error
    stack.enter_context(closing(db))
    version = _known_version(db, path)
    if version < len(STEPS):
        migrate(db, path, now)
    full = name.startswith(("SQLITE_FULL", "SQLITE_IOERR"))
    why = "the disk is full or failing" if full else "it may only be read here"
    if isinstance(error, _Elsewhere):
        why = _ELSEWHERE
    last = datetime.fromtimestamp(path.stat().st_mtime).astimezone()
    return db, (
        f"{label(path)} can't be written now: {why}. Stock, lots and leftovers are as of its last"
        f" write, {last:%Y-%m-%d %H:%M}",
    )


def _copied_first(db: sqlite3.Connection, path: Path, version: int) -> str:
    """Keep a copy of a book that is about to be brought to today's version; says which."""
    copies = (path.with_name(f"{path.name}.version-{version}.{k}.bak") for k in count(1))
    kept = next(each for each in copies if not each.exists())
    beside = path.with_name(f".matchkit-new-{secrets.token_hex(8)}")
    try:
        with closing(sqlite3.connect(beside)) as copy:
            db.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
        beside.rename(kept)
    finally:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
    return (
        f"{label(path)} was of version {version} and is of version {len(STEPS)} now; the old one is"
        f" kept as {kept.name}"
    )


def _journal(db: sqlite3.Connection, path: Path) -> tuple[str, ...]:
    """The write-ahead log where the disk carries it; else the rollback journal, and a note."""
    if not is_local(path):
        return (
            f"{label(path)} lies on a network folder, or on a disk that may be one: programs take"
            " turns there. Keep the shop folder on a local disk, and its backups on the network",
        )
    if _mode(db) != "wal":
        with suppress(sqlite3.OperationalError):
            _set_mode(db, "wal")
    if _mode(db) != "wal":
        return (
            f"{label(path)}: this disk does not carry the write-ahead log; the book is kept with"
            " the slower journal, and who writes makes the others wait",
        )
    return ()


def _mode(db: sqlite3.Connection) -> str:
    return str(db.execute("PRAGMA journal_mode").fetchone()[0])


def _set_mode(db: sqlite3.Connection, mode: str) -> None:
    """Change the journal; SQLite does not wait for the others here, so this does."""
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            db.execute(f"PRAGMA journal_mode = {mode}")
            return
        except sqlite3.OperationalError as error:
            if not error.sqlite_errorname.startswith("SQLITE_BUSY") or time.monotonic() > until:
                raise
            time.sleep(0.01)
