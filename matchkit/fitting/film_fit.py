"""K and S per um of every ink, from films of known thickness over known grounds.

Films that hide say how K and S of the inks stand to each other; films that let a known
ground show say what they are per um.  Both kinds are fitted at once: where there are
drawdowns that hide, one film of each ink over a black and white card is enough.

Three theories are fitted: Kubelka and Munk's two streams; the same with the beam kept
apart (see `film`); and with the beam absorbed too and deep colours let be less deep than
their tints predict (see `palette`).  The one that best predicts cards it has not seen is
kept, the plainer where they are as good, and the richest where no card can be held out.
A card is both of its readings, over black and over white: they are held out together.

The numbers come from `film_constants`.  An ink drawn alone over two grounds starts from
its exact solution.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.fitting.constants import f_scale
from matchkit.fitting.film_constants import (
    PRIOR,
    FilmConstants,
    Films,
    predict,
    solve_films,
    trust,
)
from matchkit.fitting.fit import Fit, Score, fractions_of
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Drawdown, Ink
from matchkit.optics.film import Film, film_K_S
from matchkit.optics.kubelka_munk import surface_constants, without_surface

Array = NDArray[np.float64]
Index = NDArray[np.int64]

N_ASSUMED = 1.5
FOLDS = 5
KEPT = -1  # the fold of what is never held out
WORTH = 0.97  # a richer theory must bring the held-out error below this share
MOST_OUTLIERS = 6
DOUBTFUL, ALARM = 3.0, 2.0  # times the usual misfit of a card, and dE00 at least
PLAIN_K2 = (0.65, 0.1)  # k2 also stands in for what the two streams can't say


@dataclass(frozen=True, kw_only=True)
class Theory:
    """What is fitted: `shared` out of `PRIOR`; the others keep what the start gives."""

    name: str
    shared: tuple[str, ...]


THEORIES = (
    Theory(name="film, two streams", shared=("k2", "crowding")),
    Theory(name="film, two streams and a beam", shared=("k2", "crowding", "spread", "back")),
    Theory(
        name="film, two streams, a beam and depth",
        shared=("k2", "crowding", "spread", "back", "dim", "log_deep"),
    ),
)


def fit_films(
    drawdowns: Sequence[Drawdown],
    inks: Sequence[Ink],
    *,
    grounds: Mapping[str, Array],
    geometry: str,
    light: str = "D65",
    observer: int = 10,
    theories: Sequence[Theory] = THEORIES,
) -> Fit:
    """Fit the inks of one series to films over grounds, and to drawdowns that hide.

    `grounds` gives each ground's reflectance (n_wl,) as met from inside the film, see
    `film.ground_inside`.  The palette's film is infinitely thick until `opacity.over`
    gives it a ground and a thickness.  InputError if no drawdown has a thickness.
    """
    drawn = {name for d in drawdowns for name in d.inks}
    inks = tuple(ink for ink in inks if ink.name in drawn)
    films = _films(drawdowns, inks, grounds)
    cards = _cards(drawdowns)
    fold = _folds(films, cards)
    measured = Lab(films.R_m, light, observer)
    scored = fold != KEPT
    tried = []
    for theory in theories:
        weight = _robust_weight(films, theory, geometry)
        R = _held_out(films, theory, geometry, weight, fold)
        error = np.full(len(fold), np.nan)
        error[scored] = de00(measured[scored], Lab(R[scored], light, observer))
        tried.append((theory, weight, R, error))
    theory, weight, R, error = tried[_best([each[3][scored] for each in tried])]
    found = _solve(films, theory, geometry, weight)
    palette = _palette(found, inks, theory.name)

    def without(own: NDArray[np.bool_]) -> FilmConstants:
        """The inks as other drawdowns know them, where they do."""
        if not scored[own].all():
            return found
        return _solve(_some(films, ~own), theory, geometry, weight[~own])

    fitted = predict(found, films)
    de00_fitted = de00(measured, Lab(fitted, light, observer))
    known = np.where(scored[:, None], R, fitted)
    miss = np.where(scored, error, de00_fitted)
    shows = np.isfinite(films.X)
    judged = scored if scored.any() else shows
    return Fit(
        palette=palette,
        drawdowns=tuple(d.name for d in drawdowns),
        fractions=films.C,
        de00_fitted=de00_fitted,
        de00_held_out=error,
        error_Lab=_covariance(Lab(known[judged], light, observer) - measured[judged], miss[judged]),
        scores=tuple(_score(t.name, e[scored]) for t, _, _, e in tried) if scored.any() else (),
        outliers=_outliers(drawdowns, films, cards, without, miss),
        warnings=_warnings(films, inks, scored),
        light=light,
        observer=observer,
    )


def _films(
    drawdowns: Sequence[Drawdown], inks: Sequence[Ink], grounds: Mapping[str, Array]
) -> Films:
    """The drawdowns as arrays; those that hide lie on anything."""
    if all(d.thickness_um is None for d in drawdowns):
        raise InputError(
            "no drawdown has a thickness: how much of a ground shows through can't be known; "
            "draw the inks over a black and white card with a bar of known thickness, and "
            "write them with `ground` and `thickness_um` into films.csv"
        )
    unknown = {d.ground for d in drawdowns if d.thickness_um is not None} - set(grounds)
    if unknown:
        raise InputError(f"no ground is called {', '.join(sorted(unknown))}; add it to grounds.csv")
    R_m = np.array([d.R for d in drawdowns])
    return Films(
        C=fractions_of(drawdowns, inks),
        X=np.array([np.inf if d.thickness_um is None else d.thickness_um for d in drawdowns]),
        R_g=np.array(
            [np.zeros(R_m.shape[1]) if d.thickness_um is None else grounds[d.ground]
             for d in drawdowns]
        ),
        R_m=R_m,
        whites=tuple(i for i, ink in enumerate(inks) if ink.role == "white"),
    )  # fmt: skip


def _cards(drawdowns: Sequence[Drawdown]) -> Index:
    """The card each film is on: one mixture at one thickness; KEPT for films that hide."""
    keys: dict[tuple[object, ...], int] = {}
    cards = np.full(len(drawdowns), KEPT, dtype=np.int64)
    for row, d in enumerate(drawdowns):
        if d.thickness_um is not None:
            key = (d.inks, np.round(d.fractions, 6).tobytes(), d.thickness_um)
            cards[row] = keys.setdefault(key, len(keys))
    return cards


def _folds(films: Films, cards: Index) -> Index:
    """A fold for each card that no ink needs, KEPT for the others and for films that hide."""
    fold = np.full(len(cards), KEPT, dtype=np.int64)
    turn = 0
    for card in range(cards.max() + 1):
        own = cards == card
        if _spared(films, own):
            fold[own] = turn % FOLDS
            turn += 1
    return fold


def _spared(films: Films, own: NDArray[np.bool_]) -> bool:
    """Whether the inks of a card are known without it, per um too.

    Other drawdowns must hold half as much of each, and another film must hold it, or hold
    an ink that it was mixed with in a drawdown that hides.
    """
    held = films.C[own][0]
    others, shows = films.C[~own], np.isfinite(films.X[~own])
    if not shows.any() or (others.max(axis=0) < 0.5 * held).any():
        return False
    there = others > 0
    in_films = np.any(there[shows], axis=0)
    with_them = ~shows & np.any(there & in_films, axis=1)
    known = np.any(there[shows | with_them], axis=0)
    return bool(np.all(known[held > 0]))


def _solve(
    films: Films, theory: Theory, geometry: str, weight: Array | None = None
) -> FilmConstants:
    base, gain, _ = surface_constants(N_ASSUMED, geometry)
    shared = (*theory.shared, "base") if geometry.endswith("included") else theory.shared
    beam = "spread" in shared
    expect = PRIOR if beam else {**PRIOR, "k2": PLAIN_K2}
    K, S = _start(films, base, gain)
    start = FilmConstants(
        K=K,
        S=S,
        k2=expect["k2"][0],
        crowding=PRIOR["crowding"][0],
        spread=PRIOR["spread"][0] if beam else np.inf,
        back=PRIOR["back"][0] if beam else 0.0,
        dim=PRIOR["dim"][0] if "dim" in shared else 0.0,
        log_deep=PRIOR["log_deep"][0] if "log_deep" in shared else 0.0,
        base=base,
        gain=gain,
    )
    return solve_films(films, shared=shared, start=start, weight=weight, expect=expect)


def _start(films: Films, base: float, gain: float) -> tuple[Array, Array]:
    """K and S per um: exact for inks drawn alone over two grounds, else a usual share."""
    n, thin = films.C.shape[1], np.isfinite(films.X)
    R = np.clip(without_surface(films.R_m, base=base, gain=gain, k2=PLAIN_K2[0]), 1e-4, 0.99)
    K, S = np.full((n, R.shape[1]), np.nan), np.full((n, R.shape[1]), np.nan)
    for ink in range(n):
        alone = np.flatnonzero(thin & (films.C[:, ink] > 0.999))
        dark, light = _pair(films, alone)
        if dark >= 0:
            K[ink], S[ink] = film_K_S(
                R[dark], R[light], films.R_g[dark], films.R_g[light], films.X[dark]
            )
    whites = S[list(films.whites)]
    whites = whites[np.isfinite(whites)]
    scatter = float(np.median(whites)) if whites.size else 3 / float(np.median(films.X[thin]))
    K, S = np.where(np.isnan(K), 0.15 * scatter, K), np.where(np.isnan(S), 0.3 * scatter, S)
    return np.clip(K, 1e-4 * scatter, 10 * scatter), np.clip(S, 3e-3 * scatter, 3 * scatter)


def _pair(films: Films, rows: Index) -> tuple[int, int]:
    """Two films of one thickness, over the darkest and the lightest ground, or (-1, -1)."""
    for row in rows.tolist():
        same = rows[films.X[rows] == films.X[row]]
        level = films.R_g[same].mean(axis=1)
        if level.max() - level.min() > 0.3:
            return int(same[level.argmin()]), int(same[level.argmax()])
    return -1, -1


def _robust_weight(films: Films, theory: Theory, geometry: str) -> Array:
    """Little weight for films that no constants explain, as in `fit`.

    Films over a ground and films that hide are each held to what is usual for them.
    """
    weight, thin = np.ones(len(films.X)), np.isfinite(films.X)
    for _ in range(2):
        found = _solve(films, theory, geometry, weight)
        for kind in (thin, ~thin):
            if kind.any():
                weight[kind] = trust(found, _some(films, kind))
    return weight


def _held_out(films: Films, theory: Theory, geometry: str, weight: Array, fold: Index) -> Array:
    """Each card as predicted by a fit that did not see it, (n_film, n_wl); else NaN."""
    R = np.full_like(films.R_m, np.nan)
    for out in np.unique(fold[fold != KEPT]):
        seen = fold != out
        found = _solve(_some(films, seen), theory, geometry, weight[seen])
        R[~seen] = predict(found, _some(films, ~seen))
    return R


def _some(films: Films, rows: NDArray[np.bool_]) -> Films:
    return replace(
        films, C=films.C[rows], X=films.X[rows], R_g=films.R_g[rows], R_m=films.R_m[rows]
    )  # fmt: skip


def _best(errors: list[Array]) -> int:
    """The plainest theory that no richer one beats by a margin; the richest if untested."""
    if not len(errors[0]):
        return len(errors) - 1
    scores = [float(np.sort(e)[: max(1, int(0.95 * len(e)))].mean()) for e in errors]
    best = 0
    for i, score in enumerate(scores):
        if score < WORTH * scores[best]:
            best = i
    return best


def _palette(found: FilmConstants, inks: Sequence[Ink], model: str) -> Palette:
    crowds = np.array([ink.role == "white" for ink in inks])
    film = Film(R_g=np.zeros(found.K.shape[1]), spread=found.spread, back=found.back, dim=found.dim)
    return Palette(
        inks=tuple(inks),
        K=found.K,
        S=found.S,
        crowding=np.where(crowds, found.crowding, 0.0),
        base=found.base,
        gain=found.gain,
        k2=found.k2,
        deep=float(np.exp(found.log_deep)),
        model=model,
        film=film,
    )


def _score(name: str, error: Array) -> Score:
    return Score(
        model=name,
        de00_median=float(np.median(error)),
        de00_p95=float(np.percentile(error, 95)),
    )


def _covariance(difference: Array, error: Array) -> Array:
    usual = difference[error <= np.percentile(error, 90)]
    covariance: Array = usual.T @ usual / len(usual)
    return covariance


def _outliers(
    drawdowns: Sequence[Drawdown],
    films: Films,
    cards: Index,
    without: Callable[[NDArray[np.bool_]], FilmConstants],
    miss: Array,
) -> tuple[str, ...]:
    """Cards that miss by far more than the others, worst first, and what they read like."""
    limit = max(DOUBTFUL * float(np.median(miss[cards != KEPT])), ALARM)
    of = [cards == card for card in range(cards.max() + 1)]
    odd = sorted((own for own in of if miss[own].max() > limit), key=lambda own: -miss[own].max())
    lines = []
    for own in odd[:MOST_OUTLIERS]:
        names = " and ".join(repr(drawdowns[i].name) for i in np.flatnonzero(own).tolist())
        like = _reads_like(films, own, without(own))
        lines.append(f"{names}: {miss[own].max():.1f} dE00 off; {like}")
    return tuple(lines)


def _reads_like(films: Films, own: NDArray[np.bool_], found: FilmConstants) -> str:
    """What a card could be instead: another thickness, or something else."""
    card = _some(films, own)
    factors = np.geomspace(0.4, 2.5, 56)
    target = f_scale(card.R_m)[0]
    left = [
        float(((f_scale(predict(found, replace(card, X=card.X * k)))[0] - target) ** 2).mean())
        for k in factors
    ]
    as_is = float(((f_scale(predict(found, card))[0] - target) ** 2).mean())
    if min(left) < 0.15 * as_is:
        like = card.X[0] * factors[int(np.argmin(left))]
        return f"it reads like a film of {like:.0f} um, not {card.X[0]:g}: check bar and pressure"
    return "no thickness explains it: check the weights, the ground and the readings"


def _warnings(films: Films, inks: Sequence[Ink], scored: NDArray[np.bool_]) -> tuple[str, ...]:
    shows = np.isfinite(films.X)
    lines = []
    without = [ink.name for i, ink in enumerate(inks) if not (films.C[shows, i] > 0).any()]
    if without:
        lines.append(
            f"no film of {', '.join(without)} over a ground: how they cover is worked out from "
            "their drawdowns that hide"
        )
    levels = films.R_g[shows].mean(axis=1)
    if levels.max() - levels.min() < 0.3:
        lines.append("all films are over much the same ground: draw them over black and white")
    if not scored.any():
        lines.append("no card could be held out: how well films are predicted is not known")
    return tuple(lines)
