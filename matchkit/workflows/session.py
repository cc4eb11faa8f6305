"""The session of a job: its shop, fits, lots and book, each read once."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.illuminants import Light, light_name
from matchkit.errors import InputError
from matchkit.files import fitted, write
from matchkit.files.settings import read_settings
from matchkit.files.shop import read_inks, read_shelf, read_shop
from matchkit.files.shop_tables import spectra_in as spectra_rows
from matchkit.files.spectrum import read_spectra
from matchkit.fitting.fit import UNTRIED, Fit, TooFew
from matchkit.fitting.held_out import THEORIES
from matchkit.inks.palette import role_words
from matchkit.inks.shop import Ink, Shop
from matchkit.matching.match import fit_for, fit_shop, series_of
from matchkit.matching.prints import drawdown_fits, film_fits, has_films

if TYPE_CHECKING:
    from sqlite3 import Connection

    from matchkit.book.lessons import Learned
    from matchkit.book.store import Book


DIGITS = 4  # decimals of Lab values, differences and chances


def spectrum(R: Array) -> dict[str, list[float]]:
    """A reflectance (n_wl,) with its wavelengths in nm."""
    return {
        "wavelength_nm": [int(nm) for nm in GRID_NM],
        "values": [round(float(value), 6) for value in R],
    }


def by_light(lights: Sequence[Light], values: ArrayLike) -> dict[str, Any]:
    """Values (n_light, ...) by the name of the light, rounded for reading.

    >>> by_light(["D65", "A"], [0.123456, 1])
    {'D65': 0.1235, 'A': 1.0}
    """
    rounded = np.round(np.asarray(values, dtype=float), DIGITS).tolist()
    return {light_name(light): value for light, value in zip(lights, rounded, strict=True)}


BOOK = "book.db"


@dataclass(frozen=True, kw_only=True)
class Notice:
    """One sentence that a person must read besides the answer; `code` names its kind.

    `code` stays the same when the wording changes: "fit_anew", "lots_learned", "lab_only"...

    >>> Notice(code="lab_only", text="Only Lab values: other lights can't be judged.").code
    'lab_only'
    """

    code: str
    text: str


class Session:
    """A shop folder during one job.

    `who` signs what is written into the book, `clock` dates it, `use_lots` is told above.
    `scale` is "percent" or "fraction", for spectrum files that leave it open; `scales` then
    tells by file which it was.  With `repeats`, "red a" and "red b" are readings of "red".
    `tell` is called with each notice as it comes up.  `earlier` is a session on the same
    folder whose fits are used again as long as the folder's measurements have not changed.
    """

    def __init__(
        self,
        folder: str | Path,
        *,
        who: str = "",
        clock: Callable[[], datetime] | None = None,
        use_lots: bool = True,
        scale: str = "",
        repeats: bool = False,
        tell: Callable[[Notice], None] | None = None,
        earlier: "Session | None" = None,
    ) -> None:
        self.folder = Path(folder)
        self.who, self.clock, self.use_lots = who, clock, use_lots
        self.scale, self.repeats = scale, repeats
        self.scales: dict[str, str] = {}
        self.notices: list[Notice] = []
        self._tell = tell
        self._earlier = earlier
        self._learned: dict[int | None, Learned] = {}

    def note(self, code: str, *texts: str) -> None:
        """Keep a notice for each text that is not there yet, and tell the door."""
        for text in texts:
            notice = Notice(code=code, text=text)
            if notice not in self.notices:
                self.notices.append(notice)
                if self._tell:
                    self._tell(notice)

    # ---- files ----------------------------------------------------------------------------

    @cached_property
    def settings(self) -> Shop:
        """The shop as ``shop.toml`` alone describes it: no ink, no drawdown."""
        if "files" in self.__dict__:
            return self.files
        path = write.settled(self.folder, "shop.toml")
        if not path.is_file() and not (self.folder / "inks.csv").is_file():
            raise InputError("shop.toml: not found; name the shop folder: it has a shop.toml in it")
        shop = read_settings(path, "shop.toml")
        self.note("settings", *shop.notes)
        return shop

    @cached_property
    def files(self) -> Shop:
        """The shop as its files have it."""
        shop = read_shop(self.folder, self.__dict__.get("settings"))
        self.note("settings", *shop.notes)
        return shop

    @cached_property
    def inks(self) -> tuple[Ink, ...]:
        """The inks of ``inks.csv``, which is all that a shop has before its drawdowns."""
        return self.files.inks if "files" in self.__dict__ else read_inks(self.folder)

    @cached_property
    def digest(self) -> str:
        """A short text that changes with the measurements that were read."""
        return fitted.digest(self.files)

    @cached_property
    def targets(self) -> dict[str, Array]:
        """The colours of ``targets.csv`` by name, (n_wl,) each; none without that file."""
        path = self.folder / "targets.csv"
        spectra = read_spectra(path, scale="fraction")[0] if path.is_file() else []
        return {each.name: each.R for each in spectra}

    def darkest(self) -> float | None:
        """The darkest reflectance that the shop has measured; None where none can be read."""
        try:
            R = [each.R for each in self.files.drawdowns]
        except InputError:  # a new shop, of which not all is measured
            R = []
            with suppress(InputError):
                lines = spectra_rows(self.folder, values=True).lines
                R = [line.R for line in lines if line.R is not None]
        return min((float(each.min()) for each in R), default=None)

    # ---- fits -----------------------------------------------------------------------------

    @cached_property
    def fits(self) -> Mapping[str, Fit]:
        """The fitted inks by series, with the lots that were drawn down.

        They predict what targets are compared with: drawdowns that hide, or over the ground
        that `shop.toml` names.  Where too few were drawn to hide, films say what would.
        """
        before, shop, theory = self._as_before, self.files, self.theory
        if before is not None and "fits" in before.__dict__:
            for each in before.notices:
                if each.code in ("compared_over", "theory"):
                    self.note(each.code, each.text)
            return before.fits
        fits: Mapping[str, Fit] = {} if shop.over else self._kept[0].get("series", {})
        few: TooFew | None = None
        if not (fits or shop.over) and (shop.hiding or not has_films(shop)):
            try:
                fits = fit_shop(shop, theory)
                self._fitted_anew("the inks")
            except TooFew as error:
                if not has_films(shop):
                    raise
                few = error
        if shop.over or (has_films(shop) and not {*series_of(shop)} <= {*fits}):
            fits = {**drawdown_fits(shop, self.films), **fits}
            self.note("compared_over", compared_over(shop))
            if few is not None and not {*series_of(shop)} <= {*fits}:
                raise few
        self.note("theory", *single_constant_words(fits))
        self.note("role", *(line for f in fits.values() for line in role_words(f.palette)))
        self._note_untried(fits)
        return fits

    @cached_property
    def films(self) -> Mapping[str, Fit]:
        """The inks as films over a ground, by series; InputError where no film was measured."""
        if not has_films(self.files):
            return film_fits(self.files)  # raises, and says what to draw
        before, theory = self._as_before, self.theory
        films = self._kept[0].get("films", {}) if before is None else before.films
        if not films:
            films = film_fits(self.files, theory)
            self._fitted_anew("films")
        self._note_untried(films)
        return films

    def _note_untried(self, fits: Mapping[str, Fit]) -> None:
        warnings = {line: None for fit in fits.values() for line in fit.warnings}
        self.note("untried", *(line for line in warnings if line.startswith(UNTRIED)))

    @cached_property
    def theory(self) -> str:
        """The theory that ``fit.json`` was asked for, which a changed folder is fitted by too."""
        return fitted.kept_theory(self._fit_content)

    @cached_property
    def _fit_content(self) -> Any:
        return fitted.fit_content(self.folder)

    @cached_property
    def _as_before(self) -> "Session | None":
        """The earlier session, if its fits are of the same measurements by the same theory."""
        before = self._earlier
        if before is None or (before.digest, before.theory) != (self.digest, self.theory):
            return None
        return before

    @cached_property
    def _kept(self) -> tuple[dict[str, dict[str, Fit]], str]:
        """What ``fit.json`` holds for these files, or why it can't be used."""
        return fitted.read_fits(self.folder, self.files, self._fit_content)

    @property
    def fits_kept(self) -> Mapping[str, Fit]:
        """The fits in ``fit.json`` by series, if it is of these files; nothing is fitted."""
        kept = self._kept[0]
        return {**kept.get("films", {}), **kept.get("series", {})}

    def _fitted_anew(self, what: str) -> None:
        why = self._kept[1] or "fit.json holds none of them"
        option = "" if self.theory == THEORIES[0] else f" --theory {self.theory}"
        keeps = f"(`matchkit fit{option}` keeps the result)"
        self.note("fit_anew", f"{why}; {what} are fitted anew {keeps}")

    def fit_of(self, names: "tuple[str, ...] | list[str]") -> tuple[str, Fit]:
        """Series and fit that hold all the named inks; InputError where none does."""
        found = fit_for(self.fits, names)
        return next((series, fit) for series, fit in self.fits.items() if fit is found)

    # ---- the record book ------------------------------------------------------------------

    @cached_property
    def book(self) -> "Book | None":
        """The shop's record book; None where it keeps none."""
        return self.open_book() if (self.folder / BOOK).is_file() else None

    def open_book(
        self, *, create: bool = False, unless: "Callable[[Connection], None] | None" = None
    ) -> "Book":
        """The record book, begun with `create` where there is none; else InputError.

        `unless` looks at the book before every writing and raises to prevent it.
        """
        from matchkit.book.store import now, open_book

        if (self.__dict__.get("book")) is None:
            held = open_book(self.folder, who=self.who, create=create, clock=self.clock or now)
            self.note("book", *held.notes)
            self.__dict__["book"] = replace(held, unless=unless)
        return self.__dict__["book"]  # type: ignore[no-any-return]

    @cached_property
    def shop(self) -> Shop:
        """The shop today: stock, lots and leftovers as the book has them, else the files."""
        if self.book is None:
            return self.files
        from matchkit.book.stock import today

        return today(self.book, self.files)

    @cached_property
    def shelf(self) -> Shop:
        """The inks and mixes there are today; where no reading was needed yet, without any."""
        if "files" in self.__dict__:
            return self.shop
        inks, mixes = read_shelf(self.folder)
        shop = replace(self.settings, inks=inks, mixes=mixes)
        if self.book is None:
            return shop
        from matchkit.book.stock import today

        return today(self.book, shop)

    def learned(
        self,
        measured: Array | None = None,
        *,
        without: int | None = None,
        inks: Iterable[str] | None = None,
    ) -> "Learned":
        """The fits with the book's batches counted and today's lots, by series, and what is known.

        `measured` (n_wl,) is of a batch that is to be corrected: if the book has this
        reading, that batch is left out, so that it is not counted twice; `without` names the
        batch itself.  Only what was learned of `inks` is noted, where they are given.
        """
        from matchkit.book.find import batch_read
        from matchkit.book.lessons import Learned, learned

        if self.book is not None and measured is not None:
            without = batch_read(self.book, measured)
        if without not in self._learned:
            if self.book is None:
                fits = dict(self.fits)
                known = Learned(fits=fits, counted=fits, lots={}, words=(), odd=())
            else:
                known = learned(
                    self.book, self.shop, self.fits, learning=self.use_lots, without=without
                )
            self._learned[without] = known
        known = self._learned[without]
        if known.batches:
            self.note("batches_counted", batches_words(known.batches))
        self.note("lots_learned", *(known.words if inks is None else known.words_about(inks)))
        return known

    def learn(self) -> tuple[str, ...]:
        """Learn from the book's batches and keep it there; a line for each that fits no lots.

        A second or two where the fit is to count more batches than before.
        """
        from matchkit.book.lessons import save_lessons

        self._learned.clear()
        return save_lessons(replace(self.open_book(), unless=None), self.files, self.fits)

    @property
    def fits_today(self) -> Mapping[str, Fit]:
        """The fits with today's lots: what every prediction is made with."""
        return self.learned().fits


def batches_words(n: int) -> str:
    """How many batches of the record book the fit counts.

    >>> batches_words(1)
    'the fit also counts 1 measured batch of the record book'
    """
    return f"the fit also counts {n} measured batch{'es' if n > 1 else ''} of the record book"


def compared_over(shop: Shop) -> str:
    """Which drawdown a target is compared with, where films say what the inks are."""
    if not shop.over:
        return (
            "colours are those of films so thick that they hide, worked out from films that do not;"
            " to compare drawdowns on a card, name its ground in shop.toml: [drawdown] over"
        )
    thick = f"{shop.over_um:g} um thick" if shop.over_um else "as thick as its films usually are"
    return f"colours are those of drawdowns over {shop.over}, {thick}"


def single_constant_words(fits: Mapping[str, Fit]) -> tuple[str, ...]:
    """What single-constant theory costs where a fit was asked to keep to it; else nothing."""
    kept = [f for f in fits.values() if f.palette.model.endswith("single-constant")]
    if not kept:
        return ()
    own = max(s.de00_median for f in kept for s in f.scores if s.model == f.palette.model)
    best = max(min(s.de00_median for s in f.scores) for f in kept)
    return (
        "fitted by single-constant theory, which holds for tints in much white: held-out median"
        f" dE00 {own:.2f}; the best theory here {best:.2f} (`matchkit fit` uses the best)",
    )
