"""Bring readings in, and fit the inks."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from matchkit.errors import InputError
from matchkit.files.fitted import write_fits
from matchkit.files.incoming import Bringing, Imported, bring_in, called_in_shop
from matchkit.files.preview import Preview, preview
from matchkit.files.readings import NamedSpectrum, condition_fault, specular_differs
from matchkit.files.shop import read_measuring
from matchkit.files.shop_tables import FILM_SPECTRA, SPECTRA, drawn_in, spectra_in
from matchkit.files.spectrum import read_readings, read_spectra
from matchkit.files.stream import write_spectra
from matchkit.fitting.fit import Fit, TooFew, ink_errors, new_outlier
from matchkit.fitting.held_out import THEORIES as THEORIES
from matchkit.inks.shop import Drawdown, Shop
from matchkit.matching.match import fit_shop
from matchkit.matching.prints import film_fits, has_films
from matchkit.workflows.printed import films_alone
from matchkit.workflows.session import Session, single_constant_words


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where readings go: how the shop measures, and the names of its drawdowns and mixes.

    Of the drawdowns some are `waiting` for a reading, and some names are `measured`; `numbers`
    are the short ones of the drawdown plan.
    """

    shop: Shop
    names: tuple[str, ...]
    numbers: Mapping[str, str]
    waiting: tuple[str, ...]
    measured: tuple[str, ...]

    def called(self, name: str) -> str:
        """What a name or a number in a file means here; empty: nothing."""
        return called_in_shop(name, self.names, self.numbers)


@dataclass(frozen=True, kw_only=True)
class Look:
    """What a spectrum file holds.

    `index_helps` and `dull_helps`: it was measured otherwise than the shop measures, and the
    refractive index of glossy films, or that nothing fluoresces, would let it in.
    """

    seen: Preview
    shop: Shop | None
    index_helps: bool
    dull_helps: bool

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit import --json`` prints it."""
        seen = self.seen
        spectra = [
            {"name": each.name, "readings": len(each.readings), "measured": each.stated,
             "spread_de00": None if each.spread_de00 is None else round(each.spread_de00, 4),
             "oddities": list(each.oddities)}
            for each in seen.spectra
        ]  # fmt: skip
        return {
            "file": seen.file,
            "format": seen.format,
            "scale": seen.scale,
            "ranges": list(seen.ranges),
            "lab_apart": None if seen.lab_apart is None else round(seen.lab_apart, 4),
            "refusals": list(seen.refusals),
            "spectra": spectra,
        }


def look_at(
    path: str | Path, session: Session | None = None, *, scale: str = "", repeats: bool = False
) -> Look:
    """Look at a file, as the shop of the session sees it.  InputError if it is unreadable.

    `scale` and `repeats` are those of the session, where there is one.
    """
    if session is None:
        seen = preview(path, scale=scale, repeats=repeats)
        return Look(seen=seen, shop=None, index_helps=False, dull_helps=False)
    shop = session.settings
    seen = preview(
        path,
        shop.lights[0],
        shop.observer,
        scale=session.scale,
        repeats=session.repeats,
        darkest=session.darkest,
    )
    stated = {each for block in read_readings(path)[0] for each in block.stated}
    return Look(
        seen=seen,
        shop=shop,
        index_helps=any(specular_differs(each, shop) for each in stated),
        dull_helps=any(
            condition_fault(each, shop) and not condition_fault(each, shop, not_fluorescent=True)
            for each in stated
        ),
    )


def place_of(session: Session) -> Place:
    """Where readings go in the shop.  InputError where its files can't be read."""
    shop, drawdowns, mixes, _ = read_measuring(session.folder)
    tables = [spectra_in(session.folder, name) for name in (SPECTRA, FILM_SPECTRA)]
    read = dict.fromkeys(li.drawdown for each in tables for li in each.lines if not li.waiting)
    return Place(
        shop=shop,
        names=(*drawdowns, *mixes),
        numbers=drawn_in(session.folder).numbers,
        waiting=tuple(name for name in drawdowns if name not in read),
        measured=tuple(read),
    )


def bring(session: Session, path: str | Path, how: Bringing) -> Imported:
    """Write the readings of a file into the shop's spectra, of which a copy is kept.

    InputError with every fault of the file and the folder; then nothing was written.
    """
    how = replace(how, scale=session.scale, repeats=session.repeats)
    try:
        before = Session(session.folder).fits
    except InputError:  # too little was measured yet
        before = {}
    done = bring_in(path, session.folder, how)
    return replace(done, outliers=_outliers(session.folder, before, done.names))


def _outliers(folder: Path, before: Mapping[str, Fit], names: Sequence[str]) -> tuple[str, ...]:
    """What looks wrong with drawdowns just read, beside the fits before or else those with them."""
    now = Session(folder)
    try:
        if before:
            new = [each for each in now.files.like_samples if each.name in names]
            return tuple(filter(None, (new_outlier(f, d) for d in new for f in before.values())))
        lines = [line for fit in now.fits.values() for line in fit.outliers]
        return tuple(line for line in lines if line.startswith(tuple(f"{n}: " for n in names)))
    except InputError:
        return ()


def converted(
    path: str | Path, how: Bringing, session: Session | None = None, *, to: str | Path = ""
) -> tuple[list[NamedSpectrum], list[str]]:
    """The spectra of a file as the shop would take them, and what was assumed.

    With `to` they are written to that new file.  InputError for what the shop refuses.
    """
    spectra, notes = read_spectra(
        path,
        name=how.name,
        shop=None if session is None else session.settings,
        index=how.index,
        not_fluorescent=how.not_fluorescent,
        scale=how.scale,
        repeats=how.repeats,
        darkest=None if session is None else session.darkest,
    )
    if to:
        write_spectra(to, spectra)
        notes.append(f"written: {to}")
    return spectra, notes


@dataclass(frozen=True, kw_only=True, eq=False)
class InksFitted:
    """Fits by series: of drawdowns that hide, and of `films` over a ground.

    One of the two is empty where the shop has too few such drawdowns.
    """

    fits: Mapping[str, Fit]
    films: Mapping[str, Fit]
    theory: str = THEORIES[0]  # as it was asked for

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit fit --json`` prints it."""
        films = {"films": _plain(self.films)} if self.films else {}
        return _plain(self.fits or self.films) | films


def fit_inks(session: Session, theory: str = "best") -> InksFitted:
    """Fit every series of the shop anew by one of `held_out.THEORIES`; nothing is written.

    Where drawdowns that hide are too few but films were measured, a notice says so.  Raises
    InputError where neither is enough.
    """
    shop = session.files
    films = film_fits(shop, theory) if has_films(shop) else {}
    fits: Mapping[str, Fit] = {}
    if shop.hiding or not films:
        try:
            fits = fit_shop(shop, theory)
        except TooFew as error:
            if not films:
                raise
            session.note("films_alone", films_alone(error))
    session.note("theory", *single_constant_words(fits or films))
    return InksFitted(fits=fits, films=films, theory=theory)


def keep_fits(session: Session, found: InksFitted) -> None:
    """Write ``fit.json``, which every command then uses; InputError if it can't be written.

    Where the shop keeps a record book, its batches are counted and its lots learned anew.
    """
    write_fits(session.folder, session.files, found.fits, found.films, theory=found.theory)
    if session.book is not None:
        Session(session.folder, who=session.who, clock=session.clock).learn()


def letdown_series(
    fit: Fit, drawdowns: Sequence[Drawdown], ink: str
) -> list[tuple[float, Drawdown]]:
    """The drawdowns of an ink alone or in white alone: percent and drawdown, weak to strong.

    Raises InputError for a fit without a white.
    """
    white = next((each.name for each in fit.palette.inks if each.role == "white"), None)
    if white is None:
        raise InputError("no white of this series was fitted")
    levels = []
    for drawdown in drawdowns:
        shares = dict(zip(drawdown.inks, drawdown.fractions, strict=True))
        if ink in shares and set(shares) <= {ink, white}:
            levels.append((100 * shares[ink], drawdown))
    return sorted(levels, key=lambda level: level[0])


def _plain(fits: Mapping[str, Fit]) -> dict[str, Any]:
    held = np.concatenate([found.de00_held_out for found in fits.values()])
    held = held[~np.isnan(held)]
    errors = {name: e for found in fits.values() for name, e in ink_errors(found).items()}
    return {
        "inks": [
            {"ink": name, "de00_mean": round(mean, 4), "de00_max": round(most, 4)}
            for name, (mean, most) in errors.items()
        ],
        "held_out": {
            "de00_median": round(float(np.median(held)), 4) if held.size else None,
            "de00_p95": round(float(np.percentile(held, 95)), 4) if held.size else None,
            "drawdowns": int(held.size),
        },
        "model": "; ".join(dict.fromkeys(found.palette.model for found in fits.values())),
        "series": [
            {
                "series": series,
                "model": found.palette.model,
                "k2": round(found.palette.k2, 4),
                "crowding": round(float(found.palette.crowding.max()), 4),
                "deep": round(found.palette.deep, 4),
                "theories": [
                    {"model": s.model, "de00_median": round(s.de00_median, 4),
                     "de00_p95": round(s.de00_p95, 4)}
                    for s in found.scores
                ],
                "suspects": list(found.outliers),
                "cautions": list(found.warnings),
            }
            for series, found in fits.items()
        ],
    }  # fmt: skip
