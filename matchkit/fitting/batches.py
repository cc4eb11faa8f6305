"""The measured batches of a record book, counted into a fit as the drawdowns that they are.

A batch is a drawdown of today's lots: how strong each lot is, 1 give or take its ink's spread,
is found by turns with K, S and the shared numbers, so that a strong lot does not bend the ink.
What is left of a batch is taken for a smooth error of the theory before it is taken for lots.

The drawdowns count as much as the batches, one by one.  A batch or a drawdown that the rest
does not explain gets little weight, by `constants.trust`.  Errors are told as those of the fit
are: by predicting each batch and drawdown from constants and lots that did not see it.

Sources: turns are block coordinate descent, lots a ridge regression, generalised to errors
that go together over wavelength (Aitken 1935, from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from matchkit.arrays import Array, Index, Mask
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.fitting import constants
from matchkit.fitting.constants import Constants, Films, Structure, f_scale, look, misfit, trust
from matchkit.fitting.expected_error import expected_error
from matchkit.fitting.fit import Fit, palette_of
from matchkit.fitting.held_out import (
    FILM_STRUCTURES,
    FOLDS,
    KEPT,
    NOISES,
    OWN,
    STRUCTURES,
    cards_of,
    films_of,
    folds_of,
    solve,
)
from matchkit.fitting.outliers import NOISE_F, smooth
from matchkit.inks.opacity import drawn_as
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Drawdown

TURNS = 3
ENOUGH = 1e-4  # share of the cost below which a step of the constants is the last
# So many times the usual misfit is what a theory may err by, smoothly over wavelength.
ERRS = 2.0
HARDLY = 0.02  # weights below it: such a row is wrong, and tells nothing of the fit's error
LONGEST = 0.2  # step of log strength


@dataclass(frozen=True, kw_only=True, eq=False)
class Batches:
    """Measured batches: mass fractions (n, n_ink), readings (n, n_wl), and which lots they hold.

    `lots` (n, n_ink) numbers each ink's lots; the reference's is like any other.
    """

    names: tuple[str, ...]
    C: Array
    R: Array
    lots: Index


def count_batches(
    found: Fit,
    drawdowns: Sequence[Drawdown],
    batches: Batches,
    *,
    geometry: str,
    grounds: Mapping[str, Array] | None = None,
) -> Fit:
    """A fit that counts batches as well as the drawdowns it was made of.

    `found` predicts drawdowns as the batches were drawn down, with the lots that were fitted;
    `drawdowns` and `grounds` are those that `fit` was given.  The rows of the new fit are the
    drawdowns, then the batches by their names.

    >>> from matchkit import demo_shop, fit
    >>> found = next(iter(fit(demo_shop()).fits.values()))
    >>> none = np.zeros((0, len(found.palette.inks)))
    >>> batches = Batches(names=(), C=none, R=np.zeros((0, 31)), lots=none.astype(int))
    >>> count_batches(found, [], batches, geometry="45/0") is found
    True
    """
    if not batches.names:
        return found
    palette = found.palette
    structure = next(s for s in (*STRUCTURES, *FILM_STRUCTURES, *OWN) if s.name == palette.model)
    drawn = [next(d for d in drawdowns if d.name == name) for name in found.drawdowns]
    films = films_of(drawn, palette.inks, grounds or {})
    n, n_drawn = len(batches.names), len(drawn)
    if palette.lies_on and films.hides.all():  # taken for films over a card, by what they read
        R_g, thick = palette.lies_on
        ones = np.ones_like(films.R_m)
        films = replace(films, X=thick * ones[:, 0], R_g=R_g * ones)
    rows = _joined(films, palette, batches)
    ours = np.arange(n + n_drawn) >= n_drawn
    fold = np.concatenate([folds_of(films, cards_of(drawn)), np.arange(n) % FOLDS])
    now = _constants_of(palette)
    weight = np.concatenate([_trust(now, films), trust(now, rows.some(ours))])
    lots = _Lots.of(batches, palette)

    def fitted(at: Constants, x: Array, seen: Mask) -> tuple[Constants, Array]:
        """Lots, constants, and lots again, from the rows `seen`."""
        own = np.where(seen, weight, 0.0)[ours]
        x = lots.step(at, _with_lots(rows, batches.C, lots.strengths(x), ours).some(ours), own, x)
        strong = _with_lots(rows, batches.C, lots.strengths(x), ours)
        noise = float(np.clip(np.median(misfit(at, strong)), *NOISES))
        at = solve(
            strong.some(seen), structure, geometry, weight[seen], noise, near=at, tolerance=ENOUGH
        )
        return at, lots.step(at, strong.some(ours), own, x)

    x, every = np.zeros(len(lots.ink)), np.ones(len(ours), dtype=bool)
    for _ in range(TURNS):
        now, x = fitted(now, x, every)
        strong = _with_lots(rows, batches.C, lots.strengths(x), ours)
        weight = np.concatenate([_trust(now, films), trust(now, strong.some(ours))])
    R_fitted = look(now, strong)[0]
    R = np.full_like(R_fitted, np.nan)
    for out in range(FOLDS):
        at, others = fitted(now, x, fold != out)
        strong = _with_lots(rows, batches.C, lots.strengths(others), ours)
        R[fold == out] = look(at, strong)[0][fold == out]
    cards = cards_of(drawn)
    each = np.concatenate([cards, cards.max(initial=-1) + 1 + np.arange(n)])
    wrong = weight < HARDLY
    return _as_fit(found, now, structure, batches, rows, fold != KEPT, R, R_fitted, each, wrong)


def _as_fit(
    found: Fit,
    at: Constants,
    structure: Structure,
    batches: Batches,
    rows: Films,
    scored: Mask,
    R: Array,
    R_fitted: Array,
    cards: Index,
    wrong: Mask,
) -> Fit:
    palette, light, observer = found.palette, found.light, found.observer
    doubt = palette.doubt
    if doubt is not None and at.log_K_S_sd is not None:
        doubt = np.where(doubt != 0, at.log_K_S_sd, 0.0)
    measured = Lab(rows.R_m, light, observer)
    held_out = Lab(np.where(scored[:, None], R, R_fitted), light, observer)
    error, fitted = de00(measured, held_out), de00(measured, Lab(R_fitted, light, observer))
    made = palette_of(at, palette.inks, structure, film=palette.film is not None)
    palette = replace(drawn_as(made, palette), strengths=palette.strengths, doubt=doubt)
    C = np.concatenate([found.fractions, batches.C])
    miss = held_out - measured
    return replace(
        found,
        palette=palette,
        drawdowns=(*found.drawdowns, *batches.names),
        fractions=C,
        de00_fitted=fitted,
        de00_held_out=np.where(scored, error, np.nan),
        error=expected_error(palette, C, measured, miss, error, fitted, cards, scored, wrong),
    )


def _joined(films: Films, palette: Palette, batches: Batches) -> Films:
    """Drawdowns and batches as the films they are; a batch is drawn down as the palette has it."""
    R_g, thick = palette.lies_on or (np.zeros(1), np.array(np.inf))
    n = len(batches.C)
    guessed = films.guessed
    return replace(
        films,
        C=np.concatenate([films.C, batches.C]),
        X=np.concatenate([films.X, np.full(n, thick)]),
        R_g=np.concatenate([films.R_g, np.broadcast_to(R_g, batches.R.shape)]),
        R_m=np.concatenate([films.R_m, batches.R]),
        guessed=None if guessed is None else np.concatenate([guessed, np.zeros(n, dtype=bool)]),
    )


def _with_lots(rows: Films, C: Array, strengths: Array, ours: Mask) -> Films:
    """The rows with the batches' inks as strong as their lots."""
    strong = rows.C.copy()
    strong[ours] = C * strengths
    return replace(rows, C=strong)


def _trust(at: Constants, films: Films) -> Array:
    """Weights of the drawdowns; those that hide and films are each held to what is usual."""
    weight = np.ones(len(films.X))
    for kind in (films.hides, ~films.hides):
        if kind.any():
            weight[kind] = trust(at, films.some(kind))
    return weight


def _constants_of(palette: Palette) -> Constants:
    """The numbers that a palette was made of."""
    at = Constants(
        K=palette.K,
        S=palette.S,
        k2=palette.k2,
        crowding=float(palette.crowding.max()),
        log_deep=float(np.log(palette.deep)),
        base=palette.base,
        gain=palette.gain,
        own=palette.own,
    )
    film = palette.film
    return at if film is None else replace(at, spread=film.spread, back=film.back, dim=film.dim)


@dataclass(frozen=True)
class _Lots:
    """The lots that batches hold: ink (n_lot,), spread (n_lot,), number (n, n_ink), -1: none."""

    ink: Index
    spread: Array
    number: Index

    @classmethod
    def of(cls, batches: Batches, palette: Palette) -> "_Lots":
        numbers: dict[tuple[int, int], int] = {}
        number = np.full(batches.C.shape, -1, dtype=np.int64)
        for row, i in zip(*np.nonzero(batches.C > 0), strict=True):
            key = int(i), int(batches.lots[row, i])
            number[row, i] = numbers.setdefault(key, len(numbers))
        ink = np.array([i for i, _ in numbers], dtype=np.int64)
        usual = np.array([max(each.lot_spread_percent, 0.01) / 100 for each in palette.inks])
        return cls(ink, usual[ink], number)

    def strengths(self, x: Array) -> Array:
        """Strengths (n, n_ink) from log strengths of the lots (n_lot,)."""
        return np.exp(np.where(self.number >= 0, x[self.number], 0.0))

    def step(self, at: Constants, films: Films, weight: Array, x: Array) -> Array:
        """Log strengths (n_lot,) after a step from `x`, by which the films are as strong."""
        _, _, A, E = constants.mixtures(at, films)
        K, S = A[:, :, None] * at.K, E[:, :, None] * at.S
        R, by_K, by_S = look(at, films)
        f, by_R = f_scale(R)
        J = (by_R * by_K)[:, None] * K + (by_R * by_S)[:, None] * S
        miss = f_scale(films.R_m)[0] - f
        errs = ERRS * float(np.median(np.sqrt((miss**2).mean(axis=1))))
        covariance = errs**2 * smooth() + (NOISE_F + 0.1 * errs) ** 2 * np.eye(len(GRID_NM))
        whiten = np.linalg.inv(np.linalg.cholesky(covariance)).T
        J, miss = J @ whiten, miss @ whiten
        H = np.diag(1 / self.spread**2)
        g = -H @ x
        for row, each in enumerate(self.number):
            there = np.flatnonzero(each >= 0)
            lots, own = each[there], J[row, there]
            H[np.ix_(lots, lots)] += weight[row] * own @ own.T
            g[lots] += weight[row] * own @ miss[row]
        stepped: Array = x + np.clip(np.linalg.solve(H, g), -LONGEST, LONGEST)
        return stepped
