"""The tables of the record book, and how an older book becomes one of today.

Nothing in a book is ever changed or deleted; triggers see to it.  A record that was wrong
is struck, which is a record as well, and the right one is written anew.  The views that
end in ``_now`` leave out what was struck.  Only ``draft``, what is typed and not done yet,
is overwritten; it is no record, and stays behind when the book is exported.

Weights are whole milligrams, so that sums are exact.  Spectra are JSON lists on the
package grid.  Times are UTC, as text that sorts.  Plain SQL: any SQLite program reads it.
"""

APPLICATION_ID = 0x4D4B626B
MG = 1000  # in a gram

# Table: its columns.  Every table also has `id`, and all but the rows of others `at`, `who`.
_SEEN = (  # a colour, and how it was looked at
    "R TEXT, L REAL NOT NULL, a REAL NOT NULL, b REAL NOT NULL, light TEXT NOT NULL,"
    " observer INTEGER NOT NULL CHECK (observer IN (2, 10)),"
    " geometry TEXT NOT NULL, condition TEXT NOT NULL"
)
_RECORDS = {
    "target": f"name TEXT NOT NULL, customer TEXT NOT NULL, {_SEEN}, note TEXT NOT NULL",
    "formula": f"name TEXT NOT NULL, customer TEXT NOT NULL, target INTEGER REFERENCES target,"
    " source TEXT NOT NULL CHECK (source IN ('match', 'recipe', 'paper', 'reprint')),"
    f" {_SEEN}, de00 REAL, chance REAL, fit TEXT NOT NULL, note TEXT NOT NULL",
    "batch": "formula INTEGER NOT NULL REFERENCES formula, job TEXT NOT NULL,"
    " customer TEXT NOT NULL, due TEXT NOT NULL,"
    " planned_mg INTEGER NOT NULL CHECK (planned_mg > 0), note TEXT NOT NULL",
    "weighing": "batch INTEGER NOT NULL REFERENCES batch,"
    " correction INTEGER REFERENCES correction, note TEXT NOT NULL",
    "movement": "kind TEXT NOT NULL"
    " CHECK (kind IN ('weighed', 'count', 'delivery', 'leftover')),"
    " ink TEXT NOT NULL CHECK (ink <> ''), lot TEXT NOT NULL, mg INTEGER NOT NULL,"
    " planned_mg INTEGER, stated_mg INTEGER, weighing INTEGER REFERENCES weighing,"
    " mix INTEGER REFERENCES mix, note TEXT NOT NULL,"
    " CHECK ((kind = 'weighed') = (weighing IS NOT NULL)),"
    " CHECK (CASE kind WHEN 'weighed' THEN mg <= 0 ELSE mg >= 0 END)",
    "measurement": "batch INTEGER NOT NULL REFERENCES batch,"
    " weighing INTEGER NOT NULL REFERENCES weighing, name TEXT NOT NULL,"
    f" {_SEEN}, readings INTEGER NOT NULL, de00 REAL,"
    " passed INTEGER CHECK (passed IN (0, 1)), note TEXT NOT NULL",
    "correction": "batch INTEGER NOT NULL REFERENCES batch,"
    " measurement INTEGER REFERENCES measurement, choice TEXT NOT NULL, de00 REAL NOT NULL,"
    " chance REAL NOT NULL, can_be_saved INTEGER NOT NULL CHECK (can_be_saved IN (0, 1)),"
    " note TEXT NOT NULL",
    "closing": "batch INTEGER NOT NULL REFERENCES batch,"
    " outcome TEXT NOT NULL CHECK (outcome IN ('approved', 'rejected', 'abandoned')),"
    " measurement INTEGER REFERENCES measurement, approved_by TEXT NOT NULL,"
    " light TEXT NOT NULL, note TEXT NOT NULL",
    "mix": "name TEXT NOT NULL CHECK (name <> ''), batch INTEGER REFERENCES batch, R TEXT,"
    " note TEXT NOT NULL",
    "lot": "ink TEXT NOT NULL CHECK (ink <> ''), lot TEXT NOT NULL, stated TEXT NOT NULL,"
    " note TEXT NOT NULL",
    "lesson": "measurement INTEGER NOT NULL REFERENCES measurement, fit TEXT NOT NULL,"
    " told TEXT NOT NULL",
    "strike": "what TEXT NOT NULL, record INTEGER NOT NULL, why TEXT NOT NULL,"
    " UNIQUE (what, record)",
}
# The rows that belong to a record.
CHILDREN = {
    "formula_ink": "formula INTEGER NOT NULL REFERENCES formula, ink TEXT NOT NULL,"
    " fraction REAL NOT NULL CHECK (fraction > 0 AND fraction <= 1), UNIQUE (formula, ink)",
    "addition": "correction INTEGER NOT NULL REFERENCES correction, ink TEXT NOT NULL,"
    " mg INTEGER NOT NULL CHECK (mg > 0), UNIQUE (correction, ink)",
    "mix_ink": "mix INTEGER NOT NULL REFERENCES mix, ink TEXT NOT NULL,"
    " fraction REAL NOT NULL CHECK (fraction > 0 AND fraction <= 1), UNIQUE (mix, ink)",
}
# Records that came with later versions.
_LATER = {
    "lot_check": "ink TEXT NOT NULL CHECK (ink <> ''), lot TEXT NOT NULL CHECK (lot <> ''),"
    " base TEXT NOT NULL, fraction REAL NOT NULL CHECK (fraction > 0 AND fraction < 1),"
    f" weighed_mg INTEGER NOT NULL CHECK (weighed_mg > 0), {_SEEN}, readings INTEGER NOT NULL,"
    " strength REAL NOT NULL, error REAL NOT NULL, note TEXT NOT NULL",
    # What a batch is for, mended; the last one counts, those before it are struck.
    "details": "batch INTEGER NOT NULL REFERENCES batch, job TEXT NOT NULL,"
    " customer TEXT NOT NULL, due TEXT NOT NULL, note TEXT NOT NULL",
}
_BOOK = "id INTEGER PRIMARY KEY CHECK (id = 1), at TEXT NOT NULL, uid TEXT NOT NULL"

# In an order in which a table refers to earlier ones, but for weighing and correction.
_FIRST = (
    "book", "target", "formula", "formula_ink", "batch", "correction", "addition", "weighing",
    "measurement", "mix", "mix_ink", "movement", "closing", "lot", "lesson", "strike",
)  # fmt: skip
TABLES = (*_FIRST, *_LATER)
_FIRST_STRIKABLE = tuple(name for name in _RECORDS if name not in ("strike", "lesson"))
STRIKABLE = (*_FIRST_STRIKABLE, *_LATER)
_INDEXES = (
    "formula (light, observer, geometry, L, a, b)",
    "measurement (light, observer, geometry, L, a, b)",
    "formula (target)",
    "formula_ink (ink)",
    "batch (formula)",
    "weighing (batch)",
    "measurement (batch)",
    "correction (batch)",
    "closing (batch)",
    "movement (ink, id)",
    "movement (ink, id) WHERE stated_mg IS NOT NULL",
    "movement (weighing)",
    "lesson (measurement)",
)


def _tables(names: tuple[str, ...]) -> list[str]:
    who = "id INTEGER PRIMARY KEY, at TEXT NOT NULL, who TEXT NOT NULL"
    made = {"book": _BOOK}
    made |= {name: f"{who}, {columns}" for name, columns in {**_RECORDS, **_LATER}.items()}
    made |= {name: f"id INTEGER PRIMARY KEY, {columns}" for name, columns in CHILDREN.items()}
    return [f"CREATE TABLE {name} ({made[name]})" for name in names]


def _only_added_to(table: str) -> list[str]:
    """Triggers that keep what is written; the third stops REPLACE, which deletes unseen."""
    refuse = "BEGIN SELECT RAISE(ABORT, 'the book is only added to'); END"
    there = f"EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id)"
    return [
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} {refuse}",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} {refuse}",
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} WHEN {there} {refuse}",
    ]


def _view(table: str) -> str:
    struck = "SELECT record FROM strike WHERE what = '{}'"
    where = f"id NOT IN ({struck.format(table)})"
    if table == "movement":
        where += f" AND (weighing IS NULL OR weighing NOT IN ({struck.format('weighing')}))"
    return f"CREATE VIEW {table}_now AS SELECT * FROM {table} WHERE {where}"


def _batch_view(*later: str) -> tuple[str, str]:
    """Batches with their details as mended, and columns that came `later`."""
    more = "".join(f", b.{column}" for column in later)
    return (
        "DROP VIEW batch_now",
        "CREATE VIEW batch_now AS SELECT b.id, b.at, b.who, b.formula,"
        " coalesce(d.job, b.job) AS job, coalesce(d.customer, b.customer) AS customer,"
        " coalesce(d.due, b.due) AS due, b.planned_mg, coalesce(d.note, b.note) AS note"
        f"{more} FROM batch b LEFT JOIN details d"
        " ON d.id = (SELECT max(id) FROM details_now WHERE batch = b.id)"
        " WHERE b.id NOT IN (SELECT record FROM strike WHERE what = 'batch')",
    )


# One tuple of statements for each version of the schema; a step that is out is never edited.
STEPS: tuple[tuple[str, ...], ...] = (
    (
        *_tables(_FIRST),
        *(trigger for table in _FIRST for trigger in _only_added_to(table)),
        *(_view(table) for table in _FIRST_STRIKABLE),
        *(f"CREATE INDEX index_{n} ON {what}" for n, what in enumerate(_INDEXES, start=1)),
    ),
    (*_tables(("lot_check",)), *_only_added_to("lot_check"), _view("lot_check")),
    (
        # The lot that an ink of a mixture was of; empty: nobody knows.
        "ALTER TABLE mix_ink ADD COLUMN lot TEXT NOT NULL DEFAULT ''",
        # What a formula is printed on, as JSON; empty: a film that hides.
        "ALTER TABLE formula ADD COLUMN printed TEXT NOT NULL DEFAULT ''",
        *_tables(("details",)),
        *_only_added_to("details"),
        _view("details"),
        "CREATE INDEX index_details ON details (batch)",
        *_batch_view(),
    ),
    # What is wrong with a drawdown, by `containers.UNFIT`, with commas; empty: nothing known.
    ("ALTER TABLE measurement ADD COLUMN state TEXT NOT NULL DEFAULT ''",),
    (
        # What is to be printed with a batch that was sized by it, as JSON; empty: not said.
        "ALTER TABLE batch ADD COLUMN print_job TEXT NOT NULL DEFAULT ''",
        *_batch_view("print_job"),
    ),
    (
        # What is typed and not done yet: overwritten as it changes, and no part of the record.
        "CREATE TABLE draft (place TEXT PRIMARY KEY, at TEXT NOT NULL, who TEXT NOT NULL,"
        " content TEXT NOT NULL)",
    ),
    # Inks that were to be left out of a formula, as JSON; empty: none.
    ("ALTER TABLE formula ADD COLUMN left_out TEXT NOT NULL DEFAULT ''",),
    (
        # What one container that a batch is mixed in holds to the brim; 0: not said.
        "ALTER TABLE batch ADD COLUMN container_ml REAL NOT NULL DEFAULT 0",
        *_batch_view("print_job", "container_ml"),
    ),
)
