"""Formulas for thousands of colours, into a file that can be gone on with."""

import csv
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass
from hashlib import sha256
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from matchkit import __version__
from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.errors import InputError
from matchkit.files import stream, text, write
from matchkit.files.readings import NamedSpectrum
from matchkit.fitting.fit import Fit
from matchkit.inks.shop import Shop
from matchkit.matching.library import check_workers, matches
from matchkit.matching.match import Match, check_choices
from matchkit.workflows.formulas import Search, match_dict
from matchkit.workflows.session import Session
from matchkit.workflows.wanted import OTHER_WEIGHT, wanted_spectrum


@dataclass(frozen=True, kw_only=True)
class Library:
    """What a whole file of formulas says: how near the best formula of each colour comes."""

    file: str
    names: tuple[str, ...]
    in_gamut: int
    de00: tuple[float, ...]  # of the best formula of each, first light
    light: str
    tolerance_de00: float

    @property
    def within_tolerance(self) -> int:
        """How many colours have a formula within tolerance."""
        return sum(away <= self.tolerance_de00 for away in self.de00)

    @property
    def furthest(self) -> list[tuple[str, float]]:
        """The five colours that are missed most, by name and dE00."""
        order = np.argsort(self.de00)[::-1][:5]
        return [(self.names[i], self.de00[i]) for i in order]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit library --json`` prints it."""
        return {
            "targets": len(self.names),
            "in_gamut": self.in_gamut,
            "within_tolerance": self.within_tolerance,
            "median_de00": round(float(np.median(self.de00)), 4) if self.de00 else None,
            "furthest": [{"target": n, "de00": round(away, 4)} for n, away in self.furthest],
            "file": self.file,
        }


def match_library(
    session: Session,
    spectra: Sequence[NamedSpectrum],
    search: Search,
    into: str,
    *,
    workers: int = 1,
    other_weight: float = OTHER_WEIGHT,
    anew: bool = False,
    progress: Callable[[int, int, int], None] = lambda done, total, begun: None,
) -> Library:
    """Match what is not matched yet, and sum up the file `into` (.csv or .jsonl).

    Of `search` the batch, the number of inks and of formulas, and what is left out count.
    `workers` is how many processes work, -1 for every core.  `progress` is called with how
    many are done, of how many, and how many the file began with.
    """
    shop, fits = session.shop, session.fits_today
    check_choices(shop, search.choices)
    check_workers(workers)
    names = [spectrum.name for spectrum in spectra]
    options = [
        search.batch_g, search.max_inks, search.top, list(search.without), other_weight,
    ]  # fmt: skip
    digest = _digest(shop, fits, [(s.name, s.R) for s in spectra], options)
    as_csv = into.casefold().endswith(".csv")
    columns = _columns(shop, search.max_inks)
    with stream.growing(into, digest=digest, names=names, columns=columns, anew=anew) as file:
        begun = file.done
        if begun:
            there = f"{into}: {begun} of {len(names)} targets are there"
            left = "nothing is left to do" if begun == len(names) else "going on"
            session.note("library_begun", f"{there}; {left}")
        kept: dict[str, Target] = {}

        def targets() -> Iterator[tuple[str, Target]]:
            """What is left, each kept until its answer is there."""
            for s in islice(spectra, begun, None):
                wanted = wanted_spectrum(session, s.name, s.R, other_weight=other_weight)
                kept[s.name] = wanted.target
                yield s.name, wanted.target

        try:
            for answer in matches(shop, fits, targets(), search.choices, workers=workers):
                line = match_dict(answer, kept.pop(answer.target))
                file.add(
                    _rows(answer, shop, search.max_inks)
                    if as_csv
                    else json.dumps(line, ensure_ascii=False, allow_nan=False) + "\n"
                )
                progress(file.done, len(names), begun)
        except (KeyboardInterrupt, InputError) as stop:
            how = "the same command, without --anew," if anew else "the same command"
            if file.done or isinstance(stop, KeyboardInterrupt):
                done = f"{file.done} of {len(names)} targets"
                session.note("library_stopped", f"\nstopped: {done}; {how} goes on")
            raise
    inside, away = _read_back(Path(into), shop)
    return Library(
        file=into,
        names=tuple(away),
        in_gamut=inside,
        de00=tuple(away.values()),
        light=str(shop.lights[0]),
        tolerance_de00=shop.tolerance_de00,
    )


def _digest(
    shop: Shop, fits: Mapping[str, Fit], targets: Sequence[tuple[str, Array]], options: list[object]
) -> str:
    """Of all that the answers depend on."""
    stated = [
        __version__,
        [list(astuple(ink)) for ink in shop.inks],
        [str(light) for light in shop.lights],
        [shop.observer, shop.tolerance_de00, shop.resolution_g],
        options,
    ]
    total = sha256(json.dumps(stated, default=str).encode())
    for series, found in fits.items():
        palette = found.palette
        total.update(f"{series} {palette.names} {palette.model}".encode())
        shared = np.array([palette.base, palette.gain, palette.k2, palette.deep])
        strengths = np.ones(len(palette.inks)) if palette.strengths is None else palette.strengths
        parts = [palette.K, palette.S, palette.crowding, palette.own, shared, strengths]
        for part in (*parts, *vars(found.error).values()):
            total.update(np.ascontiguousarray(part).round(12).tobytes())
    for name, R in targets:
        total.update(name.encode() + b"\0" + np.ascontiguousarray(R).tobytes())
    return total.hexdigest()


def _columns(shop: Shop, max_inks: int) -> list[str]:
    numbered = [f"{what} {k}" for k in range(1, max_inks + 1) for what in ("ink", "grams")]
    return [
        *("target", "rank", "in_gamut"),
        *(f"de00 {light}" for light in shop.lights),
        *("sheer", "chance_in_tolerance", "cost_per_kg"),
        *numbered,
    ]


def _rows(answer: Match, shop: Shop, max_inks: int) -> str:
    """A row for each formula."""
    rows = []
    for rank, formula in enumerate(answer.formulas, start=1):
        pairs = [x for pair in zip(formula.inks, formula.grams, strict=True) for x in pair]
        empty = [""] * (2 * max_inks - len(pairs))
        chance = f"{formula.chance_in_tolerance or 0.0:.4f}"
        cost = "" if formula.cost_per_kg is None else f"{formula.cost_per_kg:.4f}"
        seen = [f"{value:.4f}" for value in formula.de00]
        inside = "yes" if answer.in_gamut else "no"
        sheer = "yes" if formula.mostly_clear else "no"
        rows.append([answer.target, rank, inside, *seen, sheer, chance, cost, *pairs, *empty])
    return write.csv_text([], rows).split("\n", 1)[1]


def _read_back(path: Path, shop: Shop) -> tuple[int, dict[str, float]]:
    """How many are in gamut, and by name the best formula's dE00 under the first light."""
    inside, away, light = 0, {}, str(shop.lights[0])
    with path.open(encoding="utf-8", newline="") as file:
        if path.suffix.casefold() == ".csv":
            for row in csv.DictReader(file):
                if row["rank"] == "1":
                    inside += row["in_gamut"] == "yes"
                    away[text.unshielded(row["target"])] = float(row[f"de00 {light}"])
        else:
            for line in file:
                told = json.loads(line)
                inside += told["in_gamut"]
                away[told["target"]] = float(told["formulas"][0]["de00"][light])
    return inside, away
