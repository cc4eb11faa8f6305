"""Inks over time: history, a new lot, the state of the instrument."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from matchkit.book import checks, stock
from matchkit.book.lessons import LotDrift, drift
from matchkit.book.report import PassShare, pass_shares
from matchkit.correcting.lot_check import ANOTHER_DE00, LotVerdict, judge_lot, judge_shade, letdown
from matchkit.errors import InputError, did_you_mean
from matchkit.files.health import Health, date_fault, health, keep_reading, read_kept
from matchkit.files.readings import NamedSpectrum
from matchkit.fitting.instrument import Opacity, disagreement, opacity, repeats
from matchkit.inks.shop import Drawdown
from matchkit.matching.probability import spread_of
from matchkit.workflows.session import Session


@dataclass(frozen=True, kw_only=True)
class InkHistory:
    """The strength of an ink as it was known after each measured batch that holds it."""

    ink: str
    rows: tuple[LotDrift, ...]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit book SHOP drift INK --json`` prints it."""
        return {"ink": self.ink, "drift": [asdict(row) for row in self.rows]}


@dataclass(frozen=True, kw_only=True)
class PassShares:
    """How many batches were in tolerance, by "month", "ink" or "mixer"."""

    by: str
    rows: tuple[PassShare, ...]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit book SHOP pass-shares --json`` prints it."""
        return {"by": self.by, "shares": [asdict(row) for row in self.rows]}


def ink_history(session: Session, ink: str) -> InkHistory:
    """How strong the lots of an ink have been, batch by batch.

    Raises InputError for an ink that was not fitted, and where the shop keeps no book.
    """
    book, names = session.open_book(), [n for f in session.fits.values() for n in f.palette.names]
    if ink not in names:
        raise InputError(
            f"drift: no fitted ink is called {ink!r}; they are {', '.join(names)}"
            f"{did_you_mean(ink, names)}"
        )
    series, _ = session.fit_of([ink])
    rows = drift(book, session.files, session.learned(inks=[ink]).counted[series], ink)
    return InkHistory(ink=ink, rows=tuple(rows))


def shares_in_tolerance(session: Session, by: str = "month") -> PassShares:
    """The share of batches in tolerance at the first drawdown and at the last.

    Raises InputError where the shop keeps no book.
    """
    return PassShares(by=by, rows=tuple(pass_shares(session.open_book(), by)))


@dataclass(frozen=True, kw_only=True)
class InstrumentCheck:
    """How far each standard has drifted since its first day, and one line of advice."""

    health: Health

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit instrument --json`` prints it."""
        return {
            "advice": self.health.advice,
            "standards": [
                {
                    "kind": each.kind,
                    "name": each.name,
                    "days": [
                        {"date": day, "de00": round(moved.de00, 4), "state": moved.state}
                        for day, moved in zip(each.dates, each.drifts, strict=True)
                    ],
                }
                for each in self.health.histories
            ],
        }


@dataclass(frozen=True, kw_only=True)
class FilmHiding:
    """A film read over black and over white: does it hide its ground?"""

    name: str
    opacity: Opacity

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit instrument --over-black ... --json``."""
        return {
            "contrast_ratio": round(self.opacity.contrast_ratio, 4),
            "de00": round(self.opacity.de00, 4),
            "opaque": self.opacity.opaque,
        }


def check_instrument(
    session: Session, read: Mapping[str, NamedSpectrum], *, day: str = ""
) -> InstrumentCheck:
    """Keep what was read of the "tile" or the "drawdown" on a day (ISO, today), and judge.

    Raises InputError for readings that can't be kept; then nothing is written.
    """
    if day and (fault := date_fault(day)):
        raise InputError(f"date {fault}")
    today = date.today().isoformat()
    for kind, spectrum in read.items():
        _repeats(session, spectrum)
        keep_reading(
            session.folder,
            kind=kind,
            name=spectrum.name,
            readings=spectrum.readings,
            date=day or today,
        )
    found = health(read_kept(session.folder), session.settings, max(day or today, today))
    return InstrumentCheck(health=found)


def check_hiding(session: Session, black: NamedSpectrum, white: NamedSpectrum) -> FilmHiding:
    """Whether a film, read over a black and over a white ground, hides it."""
    shop = session.settings
    for spectrum in (black, white):
        _repeats(session, spectrum)
    found = opacity(black.R, white.R, shop.lights[0], shop.observer)
    return FilmHiding(name=white.name, opacity=found)


def _repeats(session: Session, read: NamedSpectrum) -> None:
    """Say where repeat readings do not agree."""
    shop = session.settings
    line = disagreement(repeats(read.readings, shop.lights[0], shop.observer))
    session.note("repeats_disagree", *([f"{read.name}: {line}"] if line else []))


ALONE = (
    "alone, an ink has one colour however strong it is; for its strength let 10 % of it down in"
    " white"
)
NOT_WRITTEN = "nothing is written down"


@dataclass(frozen=True, kw_only=True)
class LotDrawdown:
    """What was drawn down: so many percent of a lot in `base` (empty: its white), or it alone.

    `mixed_g` is how much was mixed for it, which decides what a weighing error does.
    """

    ink: str
    lot: str
    percent: float | None = None
    base: str = ""
    mixed_g: float = 50.0


@dataclass(frozen=True, kw_only=True)
class LotCheck:
    """What a drawdown tells of a lot: `kind` is "same", "strong", "weak" or "another".

    `verdict` is None of an ink drawn down alone, which tells its shade only; `kind` is then
    "same shade", "other shade" or "another".  `record` is the number in the book, if any.
    """

    drawn: LotDrawdown
    kind: str
    verdict: LotVerdict | None
    shade_de00: float
    shade: str
    words: tuple[str, ...]
    record: int | None = None
    then: str = ""  # what becomes of the verdict

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data."""
        found = self.verdict
        return {
            "ink": self.drawn.ink,
            "lot": self.drawn.lot,
            "verdict": self.kind,
            "strength": None if found is None else round(found.strength, 4),
            "error": None if found is None else round(found.standard_error, 4),
            "de00_at_use": None if found is None else round(found.de00_at_use, 4),
            "shade_de00": round(self.shade_de00, 4),
            "shade": self.shade,
            "words": list(self.words),
            "lot_check": self.record,
        }


def check_lot(
    session: Session,
    drawn: LotDrawdown,
    measured: NamedSpectrum,
    *,
    write: bool = True,
    open_now: bool = False,
) -> LotCheck:
    """Judge a new lot by one drawdown of it, and write the check down.

    Without a record book, or with `write` off, nothing is written; `open_now` says that the
    lot is the one in use from now on.  Raises InputError for a lot without a name, for an ink
    that was not fitted, and where a lot is to be opened that can't be written down.
    """
    if not drawn.lot.strip():
        raise InputError("a lot needs its name; copy it from the container")
    if open_now and session.book is None:
        raise InputError("this shop keeps no record book to open the lot in; write it in inks.csv")
    shop = session.shop
    session.fit_of([drawn.ink])  # raises for an ink that was not fitted
    inks: tuple[str, ...] = (drawn.ink,)
    fractions: tuple[float, ...] = (1.0,)
    if drawn.percent is not None:
        if not 0 < drawn.percent < 100:
            raise InputError(f"found {drawn.percent:g} %, need more than 0 and less than 100")
        inks, fractions = letdown(shop, drawn.ink, drawn.percent, drawn.base)
    elif drawn.base:
        raise InputError("say how many percent of the lot went into it too, such as 10")
    found = session.fits_today[session.fit_of(inks)[0]]
    drawdown = Drawdown(
        name=measured.name, inks=inks, fractions=fractions, readings=measured.readings
    )
    how: Any = {"light": shop.lights[0], "observer": shop.observer, "reference": shop.like_samples}
    spread = spread_of(found.palette, found.error, shop.resolution_g)
    if drawn.percent is None:
        if open_now:
            raise InputError(f"the lot can't be opened by this: {ALONE}")
        return _alone(drawn, *judge_shade(found.palette, drawn.ink, drawdown, spread, **how))
    verdict = judge_lot(
        found.palette, drawn.ink, [drawdown], spread,
        lot=drawn.lot, weighed_g=drawn.mixed_g, **how,
    )  # fmt: skip
    record, then = _written(session, drawn, drawdown, verdict, write, open_now)
    return LotCheck(
        drawn=drawn,
        kind=verdict.kind,
        verdict=verdict,
        shade_de00=verdict.shade_de00,
        shade=verdict.shade,
        words=verdict.words,
        record=record,
        then=then,
    )


def _alone(drawn: LotDrawdown, away: float, shade: str) -> LotCheck:
    """The verdict on an ink that was drawn down alone: its shade, and nothing of its strength."""
    kind = "same shade"
    line = f"of the fitted lot's shade, within this error ({away:.2f} dE00)"
    if shade:
        kind = "another" if away > ANOTHER_DE00 else "other shade"
        what = (
            "another ink, measure it"
            if away > ANOTHER_DE00
            else "for close tolerances fit this lot"
        )
        line = f"its shade differs by {away:.2f} dE00 ({shade}): {what} anew"
    words = (f"{drawn.ink}: {line}", ALONE)
    return LotCheck(drawn=drawn, kind=kind, verdict=None, shade_de00=away, shade=shade, words=words)


def _written(
    session: Session,
    drawn: LotDrawdown,
    drawdown: Drawdown,
    verdict: LotVerdict,
    write: bool,
    open_now: bool,
) -> tuple[int | None, str]:
    """The record's number, and what becomes of the verdict, in words."""
    if verdict.kind == "another":
        return None, f"{NOT_WRITTEN}: no strength makes it the ink that was fitted"
    if not write:
        return None, f"{NOT_WRITTEN}, as you wished"
    if session.book is None:
        return None, (
            f"{NOT_WRITTEN}: this shop keeps no record book; weigh by it yourself, or begin one"
            " with its first job and check the lot again"
        )
    book, shop = session.open_book(), session.files
    number = checks.log_check(book, shop, drawdown, verdict, weighed_g=drawn.mixed_g)
    if open_now:
        stock.open_lot(book, shop, drawn.ink, drawn.lot)
    if stock.lots_now(book, shop)[drawn.ink] == drawn.lot:
        return number, "written down; the next match uses it"
    return number, f"written down; it counts once lot {drawn.lot} is opened"
