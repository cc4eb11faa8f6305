"""How often a batch comes in: by month, by ink, by who mixed it."""

from dataclasses import dataclass
from datetime import tzinfo

from matchkit.book.jobs import local_day
from matchkit.book.store import Book, reading
from matchkit.errors import InputError

GROUPS = ("month", "ink", "mixer")

# Of each measured batch the first and the last verdict, and when and by whom it was weighed.
_VERDICTS = """
WITH ends AS (
    SELECT batch, min(id) AS first, max(id) AS last FROM measurement_now
    WHERE passed IS NOT NULL GROUP BY batch),
weighed AS (SELECT batch, min(id) AS id FROM weighing_now GROUP BY batch)
SELECT ends.batch, one.passed, final.passed, w.at, w.who FROM ends
JOIN measurement one ON one.id = ends.first JOIN measurement final ON final.id = ends.last
JOIN weighed ON weighed.batch = ends.batch JOIN weighing w ON w.id = weighed.id
ORDER BY ends.batch
"""
_INKS = """
SELECT DISTINCT w.batch, m.ink FROM weighing_now w
JOIN movement_now m ON m.weighing = w.id WHERE m.mg < 0
"""


@dataclass(frozen=True, kw_only=True)
class PassShare:
    """Of `jobs` batches the share within tolerance, 0-1, at the first drawdown and the last."""

    group: str
    jobs: int
    first: float
    final: float


def pass_shares(book: Book, by: str = "month", *, zone: tzinfo | None = None) -> list[PassShare]:
    """Shares of batches within tolerance by "month", "ink" or "mixer", in order of the name.

    A batch counts in the month in which it was weighed, and under every ink that it holds.
    """
    if by not in GROUPS:
        raise InputError(f"pass shares: found {by!r}; write {', '.join(GROUPS)}")
    with reading(book) as db:
        verdicts = db.execute(_VERDICTS).fetchall()
        inks = db.execute(_INKS).fetchall() if by == "ink" else []
    held: dict[int, list[str]] = {}
    for batch, ink in inks:
        held.setdefault(batch, []).append(ink)
    groups: dict[str, list[tuple[int, int]]] = {}
    for batch, first, final, at, who in verdicts:
        names = {"month": [local_day(at, zone)[:7]], "ink": held.get(batch, []), "mixer": [who]}
        for name in names[by]:
            groups.setdefault(name, []).append((first, final))
    return [
        PassShare(
            group=name,
            jobs=len(rows),
            first=sum(row[0] for row in rows) / len(rows),
            final=sum(row[1] for row in rows) / len(rows),
        )
        for name, rows in sorted(groups.items())
    ]
