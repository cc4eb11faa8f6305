"""The main job on a whole shop: fit its inks, find formulas for a target.

Inks of different series (plastisol, water-based...) are never mixed, so a shop has one
fit for each series, and a target gets formulas from each, ranked together.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.errors import InputError, did_you_mean, raise_any
from matchkit.fitting.fit import Fit, fit
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Shop
from matchkit.matching.probability import chances, spread_of
from matchkit.matching.rank import (
    MOSTLY,
    Candidate,
    Choices,
    candidates,
    in_gamut,
    is_mostly_clear,
    limits,
    listed,
    preferred,
)
from matchkit.matching.solve import ALIKE, DROPPED, Solved, is_exhaustive, solve

CLEARLY_NEARER = 0.2  # of F: the least for which it is worth ordering ink
LITTLE = MOSTLY - 1e-3  # most clear of what hides, also when it is rounded to the balance
WIDE = 4  # inks from which a descent over all of them is sure to start near enough


@dataclass(frozen=True, kw_only=True)
class MoreStock:
    """The formula for which there is too little of some inks: name, grams there, wanted."""

    lacking: tuple[tuple[str, float, float], ...]
    formula: Candidate
    in_gamut: bool


@dataclass(frozen=True, kw_only=True)
class Match:
    """The formulas for one target, best first.

    `exhaustive`: every subset of the inks was looked at (see `solve`).
    """

    target: str
    in_gamut: bool
    formulas: tuple[Candidate, ...]
    exhaustive: bool = True


def series_of(shop: Shop) -> tuple[str, ...]:
    """The series that have drawdowns, in the order of the inks."""
    drawn = {name for d in shop.drawdowns for name in d.inks}
    return tuple(dict.fromkeys(ink.series for ink in shop.inks if ink.name in drawn))


def fit_shop(shop: Shop, theory: str = "best") -> dict[str, Fit]:
    """One fit for each series of a shop, by its name ("" where no series is named).

    `theory` is one of `held_out.THEORIES`.  Films that let a ground show are left to
    `prints.film_fits`.
    """
    fits = {}
    for series in series_of(replace(shop, drawdowns=shop.hiding)):
        inks = [ink for ink in shop.inks if ink.series == series]
        names = {ink.name for ink in inks}
        fits[series] = fit(
            [d for d in shop.hiding if d.inks[0] in names],
            inks,
            geometry=shop.geometry,
            light=shop.lights[0],
            observer=shop.observer,
            theory=theory,
        )
    if not fits:
        which = "none that hides" if shop.drawdowns else "none with a reading"
        raise InputError(f"drawdowns of the shop: {which}; `matchkit plan` says which to make")
    return fits


def match(
    shop: Shop,
    fits: Mapping[str, Fit],
    target: Target,
    choices: Choices | None = None,
    *,
    name: str = "target",
    progress: Callable[[int, int], None] | None = None,
) -> Match:
    """Starting formulas for a target from every ink that may be used.

    `fits` holds one fit for each series.  A poor match is an answer, not an error.
    """
    choices = choices or Choices()
    check_choices(shop, choices)
    found: list[Candidate] = []
    inside, exhaustive, max_inks = False, True, choices.max_inks
    for series in fits.values():
        palette = series.palette
        upper = limits(palette, choices.batch_g, choices.without)
        if upper.sum() < 1:
            continue
        solved, formulas = series_formulas(
            palette, target, choices, resolution_g=shop.resolution_g,
            tolerance_de00=shop.tolerance_de00, chances_of=chances_of(series, target, shop),
            progress=progress,
        )  # fmt: skip
        if not formulas:
            continue
        found += formulas
        exhaustive = exhaustive and is_exhaustive(int((upper > DROPPED).sum()), max_inks)
        if not inside:  # of any number of inks, however few are asked for
            wide = solved if max_inks >= WIDE else solve(palette, target, upper=upper)
            inside = in_gamut(palette, target, wide, upper, shop.tolerance_de00)
    if not found:
        raise InputError(_too_little(fits, choices))
    ranked = preferred(found, choices.prefer, shop.tolerance_de00, every=choices.every)
    return Match(
        target=name,
        in_gamut=inside,
        formulas=tuple(listed(ranked, choices.top)),
        exhaustive=exhaustive,
    )


def with_more_stock(
    shop: Shop, fits: Mapping[str, Fit], target: Target, found: Match, choices: Choices
) -> MoreStock | None:
    """What `match` would have found with enough of every ink, where that is clearly better.

    None where stock does not hold the batch back, or what there is does as well.
    """
    now = found.formulas[0]
    stock = {ink.name: ink.stock_g for f in fits.values() for ink in f.palette.inks}
    held = {name: g for name, g in stock.items() if name not in choices.without}
    enough = all(g is None or g >= choices.batch_g for g in held.values())
    if enough or (now.F <= CLEARLY_NEARER and not now.mostly_clear):
        return None
    plenty = {
        series: replace(
            each,
            palette=replace(
                each.palette, inks=tuple(replace(i, stock_g=None) for i in each.palette.inks)
            ),
        )
        for series, each in fits.items()
    }
    free = match(shop, plenty, target, choices)
    best = free.formulas[0]
    lacking = tuple(
        (name, there, g)
        for name, g in zip(best.inks, best.grams, strict=True)
        if (there := stock[name]) is not None and there < g
    )
    better = best.F < now.F - CLEARLY_NEARER or (now.mostly_clear and not best.mostly_clear)
    if not (lacking and better):
        return None
    return MoreStock(lacking=lacking, formula=best, in_gamut=free.in_gamut)


def stock_words(more: MoreStock, found: Match, target: Target) -> str:
    """Which stock holds a batch back, and what more of it would bring."""
    inks = ", ".join(f"{name} ({g:g} g there, {needed:g} g wanted)"
                     for name, g, needed in more.lacking)  # fmt: skip
    now, then = found.formulas[0], more.formula
    light = int((now.de00 - then.de00).argmax())
    hides = (
        "; that formula hides, this one is mostly clear"
        if now.mostly_clear > then.mostly_clear
        else ""
    )
    return (
        f"stock holds this back: with enough {inks} the first formula is"
        f" dE00 {target.light_names[light]} {then.de00[light]:.2f} instead of"
        f" {now.de00[light]:.2f}{hides}"
    )


def _too_little(fits: Mapping[str, Fit], choices: Choices) -> str:
    """Why no batch can be filled, and the ways out; for a command and a form alike."""
    inks = [ink for found in fits.values() for ink in found.palette.inks]
    may = [ink for ink in inks if ink.name not in choices.without]
    if may and all(ink.stock_g == 0 for ink in may):
        return (
            "no ink that may be used has any stock: stock_g in inks.csv is 0 for each; write what"
            " is on the shelf there, or leave the cell empty where you don't count"
        )
    return (
        f"a batch of {choices.batch_g:g} g can't be filled with at most {choices.max_inks} of the"
        " inks that may be used: stock_g and max_percent in inks.csv, and what was left out, leave"
        " too little; make a smaller batch, allow more inks (max inks), or correct the stock"
    )


def series_formulas(
    palette: Palette,
    target: Target,
    choices: Choices,
    *,
    resolution_g: float,
    tolerance_de00: float,
    chances_of: Callable[[Array], Array] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[Solved, list[Candidate]]:
    """What was solved with the inks of one series, and the formulas to weigh, best first.

    Formulas in clear are many and near, and would crowd out what hides; so where they lead,
    those are solved that hold little of it.
    """
    upper = limits(palette, choices.batch_g, choices.without)

    def ranked(solved: Solved) -> list[Candidate]:
        return candidates(
            solved, palette, target, choices, resolution_g=resolution_g,
            tolerance_de00=tolerance_de00, chances_of=chances_of,
        )  # fmt: skip

    solved = solve(palette, target, max_inks=choices.max_inks, upper=upper, progress=progress)
    if not len(solved.F):
        return solved, []
    found = ranked(solved)
    best = solved.fractions[solved.F.min() + ALIKE >= solved.F]
    if not (found[0].mostly_clear or any(is_mostly_clear(palette, c) for c in best)):
        return solved, found
    clear = [ink.role == "clear" for ink in palette.inks]
    little = np.minimum(upper, np.where(clear, LITTLE, 1.0))
    hiding = solve(palette, target, max_inks=choices.max_inks, upper=little)
    order = np.argsort(np.concatenate([solved.F, hiding.F]), kind="stable")
    both = Solved(
        fractions=np.concatenate([solved.fractions, hiding.fractions])[order],
        F=np.concatenate([solved.F, hiding.F])[order],
        de00=np.concatenate([solved.de00, hiding.de00])[order],
    )
    return both, ranked(both)


def chances_of(found: Fit, target: Target, shop: Shop) -> Callable[[Array], Array]:
    """A function that gives the chances (...) of grams (..., n_ink) to be within tolerance."""
    spread = spread_of(found.palette, found.error, shop.resolution_g)
    return lambda grams: chances(found.palette, grams, target, spread, shop.tolerance_de00)


def check_choices(shop: Shop, choices: Choices) -> None:
    """Raise InputError for what no match can be made with, all of it at once."""
    faults, batch_g = [], choices.batch_g
    known, mixes = {ink.name for ink in shop.inks}, {mix.name for mix in shop.mixes}
    there = f"the inks are {', '.join(sorted(known))}"
    there += f"; the mixes are {', '.join(sorted(mixes))}" if mixes else ""
    faults += [
        f"--without: no ink is called {name!r}; {there}{did_you_mean(name, [*known, *mixes])}"
        for name in choices.without
        if name not in known | mixes
    ]
    if not batch_g >= 100 * shop.resolution_g:
        faults.append(
            f"batch: {batch_g:g} g is less than 100 steps of the balance "
            f"({shop.resolution_g:g} g); make a bigger batch"
        )
    counts = {"max inks": choices.max_inks, "top": choices.top}
    faults += [f"{what}: found {n}, need 1 or more" for what, n in counts.items() if n < 1]
    raise_any(faults)


def fit_for(fits: Mapping[str, Fit], inks: Sequence[str]) -> Fit:
    """The fit of the series that all of `inks` belong to."""
    for found in fits.values():
        if set(inks) <= set(found.palette.names):
            return found
    everywhere = {name for found in fits.values() for name in found.palette.names}
    unknown = [name for name in inks if name not in everywhere]
    raise_any(
        [
            f"{name!r}: no drawdown of this ink was fitted; the inks are "
            f"{', '.join(sorted(everywhere))}"
            for name in unknown
        ]
    )
    raise InputError(f"{', '.join(dict.fromkeys(inks))}: inks of different series are never mixed")


def fractions_for(palette: Palette, inks: Sequence[str], amounts: Sequence[float]) -> Array:
    """Mass fractions (n_ink,) of named amounts, percent or grams."""
    c = np.zeros(len(palette.inks))
    for name, amount in zip(inks, amounts, strict=True):
        c[palette.index(name)] += amount
    total = c.sum()
    if not total > 0:
        raise InputError("every amount is 0; weigh something")
    fractions: Array = c / total
    return fractions
