"""Which batches of the record book count as drawdowns, and the fit that counts them.

A batch counts where it was measured in the shop's geometry, cured, hiding and stirred, as a
drawdown and not as a print, and where its reading is neither that of another batch once more nor
its target's own, as where the wrong file was given.

`count_anew` makes one fit of a shop's drawdowns and its newest batches and keeps it as a
record; it takes a second or two, so it is made when a batch is measured, and only where there
are a tenth more batches than the last one counts.  `with_batches` reads it back.  It stands as
long as the book says of its batches what it said then and the drawdowns are fitted alike; what
is struck takes every fit that counts it out, and the one before stands again.
"""

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.book.jobs import BatchRecord, job_of
from matchkit.book.store import Book, reading, record, writing
from matchkit.correcting.diagnose import Round
from matchkit.errors import InputError
from matchkit.files.fitted import fit_from, fit_plain
from matchkit.fitting.batches import Batches, count_batches
from matchkit.fitting.fit import Fit
from matchkit.inks.opacity import drawn_as
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Shop
from matchkit.matching.prints import grounds_inside

NEWEST = 500  # batches that are counted
LOOKED_AT = 700  # the newest measured batches, of which those are taken
GROWN = 10  # a fit is made anew for one batch in so many
FEW = 10
KEPT = 20  # records that are looked at for one that still stands
# Measurements that tell something: of the shop's geometry, and not the target's own spectrum.
FIT = (
    "geometry = ? AND state = '' AND R IS NOT (SELECT asked.R FROM batch b JOIN formula f ON"
    " f.id = b.formula JOIN target asked ON asked.id = f.target WHERE b.id = batch)"
)
VERSION = "batches 2: "  # before the key of a fit, where a record holds one that counts batches


@dataclass(frozen=True)
class Item:
    """One batch that counts, and the records that it is made of."""

    batch: int
    measurements: tuple[int, ...]
    weighings: tuple[int, ...]

    @property
    def key(self) -> str:
        """A text that changes with what the book says of it."""
        return f"{self.batch}:{self.measurements}:{self.weighings}"

    def still(self, measurements: Sequence[int], weighings: Sequence[int]) -> bool:
        """Whether none of these records was struck; others may have come since."""
        return {*measurements} <= {*self.measurements} and {*weighings} <= {*self.weighings}


def items_of(db: sqlite3.Connection, shop: Shop, palette: Palette) -> list[Item]:
    """The newest batches that count for a palette, in the order of their last measurement."""
    batches = _newest(db, shop)
    some = f"({', '.join(map(str, batches))})"
    known, strange = {*palette.names}, set()
    weighings: dict[int, list[int]] = {}
    for batch, weighing, ink in db.execute(
        "SELECT DISTINCT w.batch, w.id, coalesce(part.ink, m.ink) FROM weighing_now w"
        " JOIN movement_now m ON m.weighing = w.id LEFT JOIN mix_ink part ON part.mix = m.mix"
        f" WHERE m.mg < 0 AND w.batch IN {some} ORDER BY w.id"
    ):
        if weighing not in weighings.setdefault(batch, []):
            weighings[batch].append(weighing)
        if ink not in known:
            strange.add(batch)
    printed = "SELECT b.id FROM batch b JOIN formula f ON f.id = b.formula WHERE f.printed <> ''"
    strange |= {batch for (batch,) in db.execute(f"{printed} AND b.id IN {some}")}
    again = repeats(db, shop)
    read: dict[int, list[int]] = {}
    for batch, measurement in db.execute(
        f"SELECT batch, id FROM measurement_now WHERE {FIT} AND batch IN {some} ORDER BY id",
        [shop.geometry],
    ):
        if batch in weighings and batch not in strange and measurement not in again:
            read.setdefault(batch, []).append(measurement)
    items = [Item(b, tuple(ids), tuple(weighings[b])) for b, ids in read.items()]
    return sorted(items, key=lambda item: item.measurements[-1])


def _newest(db: sqlite3.Connection, shop: Shop) -> list[int]:
    """The batches that were measured last, as they should be."""
    rows = db.execute(
        f"SELECT batch FROM measurement_now WHERE {FIT} ORDER BY id DESC LIMIT ?",
        [shop.geometry, 3 * LOOKED_AT],
    )
    return [*dict.fromkeys(batch for (batch,) in rows)][:LOOKED_AT]


def repeats(db: sqlite3.Connection, shop: Shop) -> dict[int, tuple[int, int]]:
    """Readings that another batch had before: measurement -> their batch, and that other."""
    again: dict[int, tuple[int, int]] = {}
    for measurement, batch, other in db.execute(
        "SELECT m.id, m.batch, first.batch FROM measurement_now m JOIN measurement first ON"
        " first.light = m.light AND first.observer = m.observer AND first.geometry = m.geometry"
        " AND first.L = m.L AND first.a = m.a AND first.b = m.b AND first.R = m.R"
        " AND first.id < m.id AND first.batch <> m.batch"
        " WHERE first.id NOT IN (SELECT record FROM strike WHERE what = 'measurement')"
        f" AND m.batch IN ({', '.join(map(str, _newest(db, shop)))}) ORDER BY m.id, first.id"
    ):
        again.setdefault(measurement, (batch, other))
    return again


def read_once(batch: BatchRecord, item: Item) -> BatchRecord:
    """The batch without the readings that another batch had before."""
    kept = tuple(r for r in batch.readings if r.measurement in item.measurements)
    return replace(batch, readings=kept)


def rounds_of(batch: BatchRecord, palette: Palette, shop: Shop) -> list[Round]:
    """What was in the container at each measurement, and how it read: what `infer` takes.

    Of several readings of one weigh-out the last counts.  Left out are readings of another
    geometry, of drawdowns that are in no state to be judged by, and repeats to the last digit.
    """
    held = np.zeros(len(palette.inks))
    rounds: list[Round] = []
    seen: list[Array] = []
    for pour in batch.pours:
        for name, grams in pour.holds.items():
            held[palette.index(name)] += grams
        read = [r for r in batch.readings if r.weighing == pour.weighing]
        read = [r for r in read if r.geometry == shop.geometry and not r.state]
        read = [r for r in read if not any(np.array_equal(r.R, earlier) for earlier in seen)]
        seen += [r.R for r in read]
        if read:
            rounds.append(Round(grams=held.copy(), R=read[-1].R))
    return rounds


def refuse_stale(batch: BatchRecord, rounds: Sequence[Round]) -> None:
    """InputError where ink went in after the last of `rounds`: advice would add it once more."""
    if rounds and (since_g := sum(batch.container.values()) - rounds[-1].grams.sum()) > 1e-6:
        raise InputError(
            f"batch {batch.batch}: {since_g:g} g went in after the last reading that counts; draw"
            " down, cure, let cool and measure, then correct (a repeat of an earlier reading, to"
            " the last digit, does not count)"
        )


def fit_key(palette: Palette) -> str:
    """A short name for fitted inks: the same numbers, the same key."""
    shared = [palette.base, palette.gain, palette.k2, palette.deep]
    inks = [[ink.name, ink.lot_spread_percent] for ink in palette.inks]
    digest = sha256(json.dumps([inks, shared]).encode())
    for numbers in (palette.K, palette.S, palette.crowding, palette.own, *palette.lies_on):
        digest.update(np.round(numbers, 9).tobytes())
    return digest.hexdigest()[:16]


def chain_of(items: Sequence[Item]) -> str:
    """A digest of batches in their order."""
    return sha256("\n".join(item.key for item in items).encode()).hexdigest()


def with_batches(
    db: sqlite3.Connection,
    shop: Shop,
    found: Fit,
    items: Sequence[Item],
    without: int | None = None,
) -> tuple[Fit, tuple[int, ...]]:
    """The newest kept fit that counts batches, `without` not among them, and which; or `found`.

    Where each counts it, the newest does that counts more than `FEW`: one in many bends little.
    `items` are those of `items_of`.
    """
    at = {item.batch: item for item in items}
    rows = db.execute(
        "SELECT told FROM lesson WHERE fit = ? ORDER BY id DESC LIMIT ?",
        [VERSION + fit_key(found.palette), KEPT],
    )
    standing = []
    for (text,) in rows if shop.count_batches else ():
        told = json.loads(text)
        if all(batch in at and at[batch].still(*has) for batch, *has in told["records"]):
            told["batches"] = [batch for batch, *_ in told["records"]]
            standing.append(told)
            if without not in told["batches"]:
                break
    others = [told for told in standing if without not in told["batches"]]
    if not (best := others or [told for told in standing[:1] if len(told["batches"]) > FEW]):
        return found, ()
    kept = fit_from(best[0]["fit"], shop, inks=found.palette.inks)
    kept = replace(kept, palette=drawn_as(kept.palette, found.palette))
    return kept, tuple(best[0]["batches"])


def count_anew(book: Book, shop: Shop, found: Fit) -> None:
    """Keep a fit that counts the newest batches, where there are enough that none counts yet.

    `shop` has the drawdowns that `found` was made of.
    """
    drawn = {each.name for each in shop.drawdowns}
    if not shop.count_batches or not drawn >= {*found.drawdowns}:
        return
    palette = found.palette
    with reading(book) as db:
        every = items_of(db, shop, palette)
        items = every[-NEWEST:]
        counted = with_batches(db, shop, found, every)[1]
        new = {item.batch for item in items} - {*counted}
        if not new or len(new) < len(counted) // GROWN:
            return
        batches = _batches(db, shop, palette, items)
    made = count_batches(
        found, shop.drawdowns, batches, geometry=shop.geometry, grounds=grounds_inside(shop)
    )
    told = {"records": [[item.batch, item.measurements, item.weighings] for item in items]}
    values = {"measurement": items[-1].measurements[-1], "fit": VERSION + fit_key(palette)}
    with writing(book) as db:
        record(
            db,
            book,
            "lesson",
            {**values, "told": json.dumps({**told, "fit": _short(fit_plain(made))})},
        )


def _short(value: Any) -> Any:
    """Plain data without the digits that mean nothing and would fill the book."""
    if isinstance(value, dict):
        return {key: _short(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_short(each) for each in value]
    return float(f"{value:.7g}") if isinstance(value, float) else value


def _batches(
    db: sqlite3.Connection, shop: Shop, palette: Palette, items: Sequence[Item]
) -> Batches:
    """The batches as `count_batches` takes them; a mixture of an ink's lots is a lot of its own."""
    lots: dict[tuple[str, ...], int] = {}
    names, C, R, number = [], [], [], []
    for item in items:
        batch = read_once(job_of(db, item.batch), item)
        mixed: dict[str, set[str]] = {}
        for pour in batch.pours:
            for ink, lot in pour.held:
                mixed.setdefault(ink, set()).add(lot)
        own = [lots.setdefault((n, *sorted(mixed.get(n, ()))), len(lots)) for n in palette.names]
        for k, each in enumerate(rounds_of(batch, palette, shop)):
            names.append(f"batch {item.batch}" + (f", reading {k + 1}" if k else ""))
            C.append(each.grams / each.grams.sum())
            R.append(each.R)
            number.append(own)
    return Batches(names=tuple(names), C=np.array(C), R=np.array(R), lots=np.array(number))
