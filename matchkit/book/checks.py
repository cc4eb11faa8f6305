"""Check drawdowns of new lots in the record book, and what they tell.

The reading is kept, not only the strength: when the inks are fitted anew, it is judged anew.
What a check tells of a lot counts as long as that lot is the one in use.
"""

import json
import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np

from matchkit.book import rows, schema
from matchkit.book.store import Book, reading, record, writing
from matchkit.correcting.lot_check import LotVerdict, accept, judge_lot
from matchkit.correcting.lots import Lots, apply, index_of
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.inks.shop import Drawdown, Shop
from matchkit.matching.probability import spread_of


@dataclass(frozen=True, kw_only=True)
class Checked:
    """One check drawdown: its record, and how much was mixed for it."""

    number: int
    drawdown: Drawdown
    weighed_g: float


Checks = Mapping[tuple[str, str], Sequence[Checked]]  # by ink and lot


def log_check(
    book: Book, shop: Shop, drawdown: Drawdown, verdict: LotVerdict, *, weighed_g: float = 50.0
) -> int:
    """Write down a letdown of a new lot, its first ink, in another, and what that showed."""
    if len(drawdown.inks) != 2:
        raise InputError(
            f"{verdict.ink}: a check measures strength only if the ink is let down in one other ink"
        )
    if not verdict.lot.strip():
        raise InputError("a lot needs its name; copy it from the container")
    values = {
        "ink": verdict.ink,
        "lot": verdict.lot,
        "base": drawdown.inks[1],
        "fraction": drawdown.fractions[0],
        "weighed_mg": rows.milligrams(weighed_g, "what was mixed for the check"),
        **rows.colour(shop, drawdown.R),
        "readings": len(drawdown.readings),
        "strength": round(verdict.strength, 6),
        "error": round(verdict.standard_error, 6),
        "note": "",
    }
    with writing(book) as db:
        return record(db, book, "lot_check", values)


def checks_of(db: sqlite3.Connection, shop: Shop) -> Checks:
    """Every check drawdown that was read in the shop's geometry."""
    found: dict[tuple[str, str], list[Checked]] = {}
    for number, ink, lot, base, fraction, mg, R in db.execute(
        "SELECT id, ink, lot, base, fraction, weighed_mg, R FROM lot_check_now"
        " WHERE geometry = ? ORDER BY id",
        [shop.geometry],
    ):
        drawdown = Drawdown(
            name=f"check {number}",
            inks=(ink, base),
            fractions=(fraction, 1 - fraction),
            readings=np.array([json.loads(R)]),
        )
        checked = Checked(number=number, drawdown=drawdown, weighed_g=mg / schema.MG)
        found.setdefault((ink, lot), []).append(checked)
    return found


def is_checked(book: Book, shop: Shop, ink: str, lot: str) -> bool:
    """Whether a check drawdown tells how strong a lot is."""
    with reading(book) as db:
        return (ink, lot) in checks_of(db, shop)


def apply_lot_checks(lots: Lots, checks: Checks, found: Fit, shop: Shop) -> Lots:
    """What is known of the lots in use once their check drawdowns are counted on.

    `lots` are as the batches told them.  The other ink of a check is taken as strong as
    `lots` has it, so a check is counted on after all batches.
    """
    palette = found.palette
    spread = spread_of(palette, found.error, shop.resolution_g)
    for ink in palette.names:
        lot = lots.lots[index_of(lots, ink)]
        of_lot = checks.get((ink, lot), ())
        if not of_lot:
            continue
        with suppress(InputError):  # of inks that left the shop, or that tells nothing any more
            verdict = judge_lot(
                apply(palette, lots), ink, [each.drawdown for each in of_lot], spread,
                light=shop.lights[0], observer=shop.observer, lot=lot, reference=shop.like_samples,
                weighed_g=min(each.weighed_g for each in of_lot),
            )  # fmt: skip
            lots = accept(lots, verdict)
    return lots
