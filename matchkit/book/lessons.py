"""What the record book has learned about today's lots, and how it came to that.

Every measured batch is one lesson for `lots.learn`, in the order in which the batches were
last measured; an ink whose lot changes between two of them starts again from nothing
known.  So what is known is a fold over the book, and can always be made anew.  To be quick,
`save_lessons` keeps the state it came to as a record; it counts as long as the book still
says what it said then, by a digest of all that went in, and the inks were not fitted anew.

What a check drawdown told of a lot (`book.checks`) is added after all batches, so that it
is judged with what they told of the other ink in it, and no kept state depends on it.

A batch that holds a leftover or a letdown teaches through the inks in that, by their lots; what
is of another lot than the one in use is of unknown strength.  A print teaches nothing, since the
fit is of films that hide.  A reading that is logged twice counts once.
"""

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from matchkit.arrays import Array
from matchkit.book.batches import (
    Item,
    chain_of,
    count_anew,
    fit_key,
    items_of,
    read_once,
    repeats,
    rounds_of,
    with_batches,
)
from matchkit.book.checks import Checks, apply_lot_checks, checks_of
from matchkit.book.jobs import BatchRecord, job_of
from matchkit.book.stock import lots_of
from matchkit.book.store import Book, reading, record, writing
from matchkit.correcting.diagnose import beside_the_batch, infer
from matchkit.correcting.lots import (
    Lots,
    as_json,
    for_palette,
    from_json,
    index_of,
    learn,
    new_lot,
    on_shelf,
    start,
    told_strengths,
)
from matchkit.correcting.lots import apply as with_strengths
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Shop
from matchkit.matching.probability import spread_of

MOST = 200  # batches that are gone through when nothing that was kept counts any more
RECENT = 20  # batches, of which most that are corrected are
KEPT = 20  # lessons that are looked at for one that still counts
WORTH_SAYING = 0.01  # of log strength


@dataclass(frozen=True, kw_only=True)
class Learned:
    """The fits with today's lots, and what is known of those, by series.

    `fits` are for matching and for odds: their palettes have today's strengths, and their
    inks the spread that is still left in each.  `lots` are for `diagnose.infer` on the fits
    with the batches counted and the lots that were drawn down, which are `counted`
    (`known=lots.for_palette(...)`).  `words` say what was learned in plain words, `odd` which
    batches taught nothing and why, `batches` how many count in the fits.
    """

    fits: dict[str, Fit]
    counted: dict[str, Fit]
    lots: dict[str, Lots]
    words: tuple[str, ...]
    odd: tuple[str, ...]
    batches: int = 0

    def words_about(self, inks: Iterable[str]) -> tuple[str, ...]:
        """Those of `words` that are about `inks`."""
        heads = tuple(f"{ink} {then} " for ink in inks for then in ("lot", "has"))
        return tuple(line for line in self.words if line.startswith(heads))


@dataclass(frozen=True, kw_only=True)
class LotDrift:
    """An ink's strength after one more batch, with its standard error.

    It is beside the mean of all that was mixed, since no colour tells a factor common to all
    inks.  `alone` is what that batch says by itself, with nothing known from the others.
    """

    batch: int
    at: str
    lot: str
    strength: float
    error: float
    alone: float
    alone_error: float


def learned(
    book: Book,
    shop: Shop,
    fits: Mapping[str, Fit],
    *,
    learning: bool = True,
    without: int | None = None,
) -> Learned:
    """The fits of a shop with the lots of today, as far as the book's batches tell.

    `fits` are those of the files' shop, with the lots that were drawn down.
    With `learning` off every lot is the reference again, give or take its usual spread.
    `without` is a batch that is left out: one that is about to be corrected must not be
    heard twice.  The lots are then those that it holds the most of, whatever is open now.
    The inks of the palettes become the shop's, so that stock and limits are today's.
    """
    out, known, counted = {}, {}, {}
    batches: set[int] = set()
    words: list[str] = []
    odd: list[str] = []
    with reading(book) as db:
        lots_open = lots_of(db, shop)
        inks = {ink.name: replace(ink, lot=lots_open[ink.name]) for ink in shop.inks}
        for ink, lot in _most_held(job_of(db, without)).items() if without is not None else ():
            if ink in inks:
                inks[ink] = replace(inks[ink], lot=lot)
        for series, found in fits.items():
            items = items_of(db, shop, found.palette)
            found, numbers = with_batches(db, shop, found, items, without)
            counted[series] = found
            batches |= {*numbers}
            palette = replace(found.palette, inks=tuple(inks[n] for n in found.palette.names))
            if not learning:
                known[series] = start(palette.inks)
                out[series] = replace(found, palette=replace(palette, strengths=None))
                continue
            lots, told, _ = _fold(db, shop, found, items, without)
            checks = checks_of(db, shop)
            lots = on_shelf(lots, palette.inks)
            known[series] = lots = apply_lot_checks(lots, checks, found, shop)
            out[series] = replace(found, palette=_with_what_is_left(palette, lots))
            words += _words(db, palette, lots, checks)
            odd += (*told, *_logged_again(db, shop, found))
    return Learned(
        fits=out,
        counted=counted,
        lots=known,
        words=tuple(words),
        odd=tuple(odd),
        batches=len(batches),
    )


def save_lessons(book: Book, shop: Shop, fits: Mapping[str, Fit]) -> tuple[str, ...]:
    """Keep what the book's batches teach, so that the next start is quick; what was odd.

    `fits` are those of the drawdowns in `shop`, which are fitted with the batches as well, a
    second or two, where there are enough new ones; without drawdowns only lots are learned.
    """
    odd: list[str] = []
    for found in fits.values():
        count_anew(book, shop, found)
        with reading(book) as db:
            every = items_of(db, shop, found.palette)
            found, _ = with_batches(db, shop, found, every)
            begun = _kept(db, every, fit_key(found.palette)) is not None
        # Where all is gone through anew, the state before the last few is kept as well: a batch
        # that is corrected is left out, and it is one of those.
        for some in (every,) if begun else (every[:-RECENT], every):
            with reading(book) as db:
                lots, told, items = _fold(db, shop, found, some)
            if items:
                _keep(book, found, lots, told, items)
        with reading(book) as db:
            odd += [*told, *_logged_again(db, shop, found)]
    return tuple(odd)


def _keep(book: Book, found: Fit, lots: Lots, odd: Sequence[str], items: Sequence[Item]) -> None:
    kept = {"first": items[0].key, "length": len(items), "chain": chain_of(items)}
    kept |= {"lots": as_json(_rounded(lots)), "odd": odd}
    values = {"measurement": items[-1].measurements[-1], "fit": fit_key(found.palette)}
    with writing(book) as db:
        record(db, book, "lesson", {**values, "told": json.dumps(kept)})


def drift(book: Book, shop: Shop, found: Fit, ink: str) -> list[LotDrift]:
    """The strength of an ink as it was known after each batch that holds it."""
    palette = found.palette
    i = palette.index(ink)
    spread = spread_of(palette, found.error, shop.resolution_g)
    out = []
    with reading(book) as db:
        checks = checks_of(db, shop)
        state = start(palette.inks)
        for item in items_of(db, shop, palette)[-MOST:]:
            batch = read_once(job_of(db, item.batch), item)
            state, _ = _after(state, batch, found, shop)
            rounds = rounds_of(batch, palette, shop)
            if not rounds[-1].grams[i] > 0:
                continue
            alone = infer(palette, rounds, spread, refuse=False)
            checked = apply_lot_checks(state, checks, found, shop)
            mean, error = told_strengths(checked)
            one, one_error = beside_the_batch(
                alone.log_strength, alone.covariance, spread.log_strength, rounds[-1].grams
            )
            out.append(
                LotDrift(
                    batch=item.batch,
                    at=batch.readings[-1].at,
                    lot=_lots_in(batch).get(ink, ""),
                    strength=float(np.exp(mean[i])),
                    error=float(error[i]),
                    alone=float(np.exp(one[i])),
                    alone_error=float(one_error[i]),
                )
            )
    return out


def _logged_again(db: sqlite3.Connection, shop: Shop, found: Fit) -> list[str]:
    """A line for each reading of these inks that another batch had before."""
    return [
        f"batch {batch}: its reading is that of batch {other}, logged again; it is left out"
        for batch, other in repeats(db, shop).values()
        if {*job_of(db, batch).container} <= {*found.palette.names}
    ]


def _fold(
    db: sqlite3.Connection,
    shop: Shop,
    found: Fit,
    items: Sequence[Item],
    without: int | None = None,
) -> tuple[Lots, tuple[str, ...], Sequence[Item]]:
    """What all batches taught, what was odd about them, and which were gone through."""
    palette = found.palette
    items = [item for item in items if item.batch != without]
    kept = _kept(db, items, fit_key(palette))
    if kept is None:
        items = items[-MOST:]
        kept = start(palette.inks), [], 0, 0
    lots, odd, first, done = kept
    items = items[first:]
    for item in items[done:]:
        lots, told = _after(lots, read_once(job_of(db, item.batch), item), found, shop)
        odd += [f"batch {item.batch}: {line}" for line in told]
    return lots, tuple(odd), items


def _rounded(lots: Lots) -> Lots:
    """Without the digits that mean nothing and would fill the book."""
    covariance = np.round(lots.covariance, 12)
    return replace(lots, mean=np.round(lots.mean, 9), covariance=covariance)


def _kept(
    db: sqlite3.Connection, items: Sequence[Item], fit: str
) -> tuple[Lots, list[str], int, int] | None:
    """The newest kept state that the book still agrees with, where it began, how far it went."""
    at = {item.key: k for k, item in enumerate(items)}
    rows = db.execute("SELECT told FROM lesson WHERE fit = ? ORDER BY id DESC LIMIT ?", [fit, KEPT])
    for (text,) in rows.fetchall():
        told = json.loads(text)
        if "grams" not in told["lots"]:  # kept before strengths were told beside a mean
            continue
        first, length = at.get(told["first"]), int(told["length"])
        if first is not None and chain_of(items[first : first + length]) == told["chain"]:
            return from_json(told["lots"]), list(told["odd"]), first, length
    return None


def _after(lots: Lots, batch: BatchRecord, found: Fit, shop: Shop) -> tuple[Lots, tuple[str, ...]]:
    """What is known after one more batch, and what was odd about it."""
    palette = found.palette
    for ink, lot in _lots_in(batch).items():
        if ink in lots.inks and lots.lots[lots.inks.index(ink)] != lot:  # else it is a mixture
            lots = new_lot(lots, ink, lot)
    spread = spread_of(palette, found.error, shop.resolution_g)
    rounds = rounds_of(batch, palette, shop)
    try:
        return learn(
            lots, palette, rounds, spread, in_use=_share_in_use(lots, batch, palette),
        )  # fmt: skip
    except InputError as error:
        return lots, error.faults


def _share_in_use(lots: Lots, batch: BatchRecord, palette: Palette) -> Array:
    """The share (n_ink,) of each ink in a container that is of the lot in use."""
    whole, of_lot = np.full((2, len(palette.inks)), 1e-12)
    for pour in batch.pours:
        for (ink, lot), grams in pour.held.items():
            whole[palette.index(ink)] += grams
            if lot == lots.lots[index_of(lots, ink)]:
                of_lot[palette.index(ink)] += grams
    share: Array = of_lot / whole
    return share


def _lots_in(batch: BatchRecord) -> dict[str, str]:
    """The lot of each ink in a container; where an addition was of another lot, that one."""
    return {
        ink: lot
        for pour in batch.pours
        for ink, lot, grams in zip(pour.inks, pour.lots, pour.actual_g, strict=True)
        if grams > 0
    }


def _most_held(batch: BatchRecord) -> dict[str, str]:
    """Of each ink in a container the lot that there is most of."""
    held: dict[tuple[str, str], float] = {}
    for pour in batch.pours:
        for of_lot, grams in pour.held.items():
            held[of_lot] = held.get(of_lot, 0.0) + grams
    return dict(sorted(held, key=lambda of_lot: held[of_lot]))


def _with_what_is_left(palette: Palette, lots: Lots) -> Palette:
    """The palette with its strengths; what is not known of them yet is its inks' spread."""
    left = np.sqrt(np.diag(for_palette(lots, palette)[1]))
    inks = [
        replace(ink, lot_spread_percent=100 * float(sd))
        for ink, sd in zip(palette.inks, left, strict=True)
    ]
    return with_strengths(replace(palette, inks=tuple(inks)), lots)


def _words(db: sqlite3.Connection, palette: Palette, lots: Lots, checks: Checks) -> Iterator[str]:
    """A line for each ink whose lot is worth a word."""
    mean, errors = told_strengths(lots)
    for ink, x, error in zip(palette.inks, mean, errors, strict=True):
        if abs(x) < max(WORTH_SAYING, error):
            continue
        (n,) = db.execute(
            "SELECT count(DISTINCT w.batch) FROM movement_now m"
            " JOIN weighing_now w ON w.id = m.weighing"
            " WHERE m.ink = ? AND m.lot = ? AND m.mg < 0"
            " AND w.batch IN (SELECT batch FROM measurement_now)",
            [ink.name, ink.lot],
        ).fetchone()
        how = "strong" if x > 0 else "weak"
        named = f"{ink.name} lot {ink.lot}" if ink.lot else ink.name
        by = 100 * abs(float(np.expm1(x)))
        over = [f"over {n} batch{'es' if n != 1 else ''}"] if n else []
        over += ["by its check drawdown"] if (ink.name, ink.lot) in checks else []
        yield f"{named} has run {by:.0f} % {how} {' and '.join(over)}".strip()
