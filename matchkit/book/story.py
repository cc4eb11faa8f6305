"""What else the book has about a batch: advice, leftovers, mended details, what was struck."""

from dataclasses import dataclass

from matchkit.book.schema import MG
from matchkit.book.store import Book, reading
from matchkit.matching.probability import chance_text

# Records that refer to a batch, and can be struck alone.
_OF_BATCH = ("weighing", "measurement", "correction", "closing", "mix", "details")


@dataclass(frozen=True, kw_only=True)
class Event:
    """A record beside weigh-outs, measurements and the end of a batch.

    `kind` is correction, mix, details or strike; `what` and `how` tell it in words.
    """

    kind: str
    number: int
    at: str
    who: str
    what: str
    how: str


def events_of(book: Book, batch: int) -> tuple[Event, ...]:
    """What was advised for a batch, kept of it, mended and struck, in the order of writing."""
    events = []
    with reading(book) as db:
        for number, at, who, de00, chance in db.execute(
            "SELECT id, at, who, de00, chance FROM correction_now WHERE batch = ?", [batch]
        ).fetchall():
            rows = db.execute("SELECT ink, mg FROM addition WHERE correction = ?", [number])
            added = ", ".join(f"{ink} {mg / MG:g} g" for ink, mg in rows) or "nothing to add"
            how = f"predicted dE00 {de00:.2f}, chance {chance_text(chance)}"
            events.append(("correction", number, at, who, f"advised: {added}", how))
        events += [
            ("mix", number, at, who, f"{mg / MG:g} g kept", f"on the shelf as {name}")
            for number, at, who, name, mg in db.execute(
                "SELECT x.id, x.at, x.who, x.name, m.mg FROM mix_now x JOIN movement_now m"
                " ON m.mix = x.id AND m.kind = 'leftover' WHERE x.batch = ?",
                [batch],
            )
        ]
        events += [
            ("details", number, at, who, "mended", _details(*said))
            for number, at, who, *said in db.execute(
                "SELECT id, at, who, job, customer, due, note FROM details WHERE batch = ?", [batch]
            )
        ]
        for kind in _OF_BATCH:
            events += [
                ("strike", number, at, who, f"struck: {kind} {record}", why)
                for number, at, who, record, why in db.execute(
                    "SELECT id, at, who, record, why FROM strike WHERE what = ? AND record IN"
                    f" (SELECT id FROM {kind} WHERE batch = ?)",
                    [kind, batch],
                )
            ]
    keys = ("kind", "number", "at", "who", "what", "how")
    told = [Event(**dict(zip(keys, event, strict=True))) for event in events]
    return tuple(sorted(told, key=lambda event: event.at))


def _details(job: str, customer: str, due: str, note: str) -> str:
    said = {"job": job, "customer": customer, "due": due, "note": note}
    return ", ".join(f"{key} {words}" for key, words in said.items() if words)
