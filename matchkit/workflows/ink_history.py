"""What the record book tells of an ink's lots, and of how many batches were in tolerance."""

from dataclasses import asdict, dataclass
from typing import Any

from matchkit.book.lessons import LotDrift, drift
from matchkit.book.report import PassShare, pass_shares
from matchkit.errors import InputError, did_you_mean
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
    rows = drift(book, session.files, session.fit_of([ink])[1], ink)
    return InkHistory(ink=ink, rows=tuple(rows))


def shares_in_tolerance(session: Session, by: str = "month") -> PassShares:
    """The share of batches in tolerance at the first drawdown and at the last.

    Raises InputError where the shop keeps no book.
    """
    return PassShares(by=by, rows=tuple(pass_shares(session.open_book(), by)))
