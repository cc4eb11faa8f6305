"""Inks from drawdowns: which theory holds here, how well, and what not to trust.

A drawdown is a film over a card, or it hides, and is then a film of infinite thickness: one
fit takes both.  Drawdowns that hide say how K and S of the inks stand to each other, those
that let a known ground show what they are per um.

Several theories are fitted, from plain single-constant to two-constant with everything, and
the one that best predicts drawdowns it has not seen is kept.  Whole cards are held out, a
card being all that was read of one mixture at one thickness, never single wavelengths.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.fitting.constants import (
    EXPECT,
    LOG_S,
    NOISE_F,
    Constants,
    Films,
    Structure,
    f_scale,
    linear_start,
    misfit,
    predict,
    solve_constants,
    trust,
)
from matchkit.fitting.outliers import explain, main_ink, outlier_words, usual_error
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.shop import Drawdown, Ink
from matchkit.optics.film import Film
from matchkit.optics.kubelka_munk import surface_constants

Array = NDArray[np.float64]
Index = NDArray[np.int64]

BEAM = {"k2": (0.6, 0.1), "log_deep": (-0.5, 0.7)}
STRUCTURES = (
    Structure(name="single-constant", scattering=False),
    Structure(name="two-constant, textbook surface"),
    Structure(name="two-constant, fitted surface", shared=("k2",)),
    Structure(name="two-constant, fitted surface and crowding", shared=("k2", "crowding")),
    Structure(
        name="two-constant, fitted surface, crowding and depth",
        shared=("k2", "crowding", "log_deep"),
    ),
)
FILM_STRUCTURES = (
    Structure(name="film, single-constant", scattering=False),
    Structure(name="film, two streams", shared=("k2", "crowding"), expect={"k2": (0.65, 0.1)}),
    Structure(
        name="film, two streams and a beam",
        shared=("k2", "crowding", "spread", "back"),
        expect=BEAM,
    ),
    Structure(
        name="film, two streams, a beam and depth",
        shared=("k2", "crowding", "spread", "back", "dim", "log_deep"),
        expect=BEAM,
    ),
)
VERSION = 2  # raise it whenever the same drawdowns give other constants than before
FOLDS = 5
KEPT = -1  # the fold of drawdowns that are never held out
N_ASSUMED = 1.5  # refractive index of the textbook surface; the fitted k2 replaces it
CLEARLY = 0.97  # a plainer theory must bring the held-out error below this share
NOISES = (2e-4, 4e-3)  # least and largest usual misfit that expectations are weighed against
GUESS = 0.5  # of the expected spread of log S: what leaves more open tells nothing
# A card is wrong where the others miss it by so many times the usual, and by so much on the f
# scale (2 L*); so many are left out at most, with next to no weight.
WRONG, WRONG_F, MOST_WRONG, LEFT_OUT = 15.0, 0.02, 4, 1e-9
NOMINAL_UM = 100.0  # of films whose thickness nobody stated


class TooFew(InputError):
    """What was drawn down is not enough to fit a series; films of it may be."""


@dataclass(frozen=True, kw_only=True)
class Score:
    """How one theory predicted held-out drawdowns, dE00 under the first light."""

    model: str
    de00_median: float
    de00_p95: float


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A fitted series and what is known about how good it is.

    `fractions` (n_drawdown, n_ink) is what each drawdown holds.  `de00_fitted` and
    `de00_held_out` hold one number per drawdown, first light, the latter NaN for those
    that are never held out (an ink's only masstone);
    `error_Lab` (3, 3) is the covariance of the held-out error in L*, a*, b*.
    """

    palette: Palette
    drawdowns: tuple[str, ...]
    fractions: Array
    de00_fitted: Array
    de00_held_out: Array
    error_Lab: Array
    scores: tuple[Score, ...]
    outliers: tuple[str, ...]
    warnings: tuple[str, ...]
    light: str
    observer: int


def fit(
    drawdowns: Sequence[Drawdown],
    inks: Sequence[Ink],
    *,
    geometry: str,
    light: str = "D65",
    observer: int = 10,
    structures: Sequence[Structure] | None = None,
    grounds: Mapping[str, Array] | None = None,
) -> Fit:
    """Fit the inks of one series to its drawdowns.

    Inks that no drawdown holds are left out.  `light` and `observer` are those in which
    errors are told.  `grounds` gives each ground of a film, (n_wl,), as met from inside the
    film, see `film.ground_inside`; the palette of films has an infinitely thick one until
    `opacity.over` gives it a ground and a thickness.  TooFew if there is no white among
    drawdowns that hide, or nothing to try a fit on; InputError for a ground that is not there.
    """
    drawn = {name for d in drawdowns for name in d.inks}
    inks = tuple(ink for ink in inks if ink.name in drawn)
    films = _films(drawdowns, inks, grounds or {})
    cards = _cards(drawdowns)
    fold = _folds(films, cards)
    if films.hides.all():
        _check_enough(films, fold)
    if structures is None:
        structures = STRUCTURES if films.hides.all() else FILM_STRUCTURES[1:]
    measured = Lab(films.R_m, light, observer)
    tried = []
    for structure in structures:
        weight, noise, R = _without_wrong(films, cards, structure, geometry, fold)
        told = np.where(np.isnan(R), films.R_m, R)
        error = np.where(np.isnan(R[:, 0]), np.nan, de00(measured, Lab(told, light, observer)))
        tried.append((structure, weight, noise, R, error))
    best = _best([error for *_, error in tried], plain=not films.hides.all())
    structure, weight, noise, R, error = tried[best]
    scored = ~np.isnan(error)
    found = _solve(films, structure, geometry, weight, noise)
    guessed = _guessed(films, found, structure)
    palette = palette_of(found, inks, structure, film=not films.hides.all())
    if guessed.any() and found.log_K_S_sd is not None:
        palette = replace(palette, doubt=found.log_K_S_sd * guessed[:, None])

    def without(rows: NDArray[np.bool_]) -> Palette:
        """The inks of films as the other drawdowns know them, where they do."""
        if not scored[rows].all():
            return palette
        other = _solve(films.some(~rows), structure, geometry, weight[~rows], noise)
        return palette_of(other, inks, structure, film=True)

    R_fitted = predict(found, films)
    fitted = de00(measured, Lab(R_fitted, light, observer))
    known, miss = np.where(scored[:, None], R, R_fitted), np.where(scored, error, fitted)
    judged = scored if scored.any() else ~films.hides
    return Fit(
        palette=palette,
        drawdowns=tuple(d.name for d in drawdowns),
        fractions=films.C,
        de00_fitted=fitted,
        de00_held_out=error,
        error_Lab=_error_covariance(
            Lab(known[judged], light, observer) - measured[judged], miss[judged]
        ),
        scores=tuple(_score(s.name, e) for s, *_, e in tried) if scored.any() else (),
        outliers=explain(drawdowns, films, cards, palette, known, light, observer, without=without),
        warnings=_warnings(films, inks, guessed, miss, scored),
        light=light,
        observer=observer,
    )


def ink_errors(found: Fit) -> dict[str, tuple[float, float]]:
    """Mean and largest dE00 of the drawdowns that hold each ink, as fitted, by name."""
    errors = {}
    for i, ink in enumerate(found.palette.inks):
        own = found.de00_fitted[found.fractions[:, i] > 0]
        errors[ink.name] = (float(own.mean()), float(own.max()))
    return errors


def new_outlier(found: Fit, drawdown: Drawdown) -> str:
    """What looks wrong with one new drawdown beside an earlier fit, in words; "" if nothing does.

    The drawdown is not in the fit.  One that holds an ink the fit doesn't know, or an ink
    at more than twice the share of any drawdown of the fit, can't be judged: "" too.
    It takes milliseconds, so a drawdown can be judged as soon as it is read: a letdown with
    11 % of an ink that was written down as 10 % is told as "mis-weighed?".
    """
    palette = found.palette
    if not set(drawdown.inks) <= set(palette.names):
        return ""
    c = fractions_of([drawdown], palette.inks)[0]
    if (c > 2 * found.fractions.max(axis=0)).any():
        return ""
    error = np.where(np.isnan(found.de00_held_out), found.de00_fitted, found.de00_held_out)
    main = np.array([main_ink(each, palette) for each in found.fractions])
    usual = usual_error(error, main == main_ink(c, palette))
    predicted = reflectance(palette, c)
    return outlier_words(
        [drawdown], c, [palette], predicted[None], usual, found.light, found.observer
    )


def fractions_of(drawdowns: Sequence[Drawdown], inks: Sequence[Ink]) -> Array:
    """Mass fractions (n_drawdown, n_ink) in the order of `inks`."""
    at = {ink.name: i for i, ink in enumerate(inks)}
    C = np.zeros((len(drawdowns), len(inks)))
    for row, drawdown in enumerate(drawdowns):
        for name, fraction in zip(drawdown.inks, drawdown.fractions, strict=True):
            C[row, at[name]] += fraction
    return C


def palette_of(
    constants: Constants, inks: Sequence[Ink], structure: Structure, *, film: bool = False
) -> Palette:
    """The palette that a fit's numbers make; with `film` one of films, infinitely thick."""
    crowds = np.array([ink.role == "white" for ink in inks])
    streams = Film(
        R_g=np.zeros(constants.K.shape[1]),
        spread=constants.spread,
        back=constants.back,
        dim=constants.dim,
    )
    return Palette(
        inks=tuple(inks),
        K=constants.K,
        S=constants.S,
        crowding=np.where(crowds, constants.crowding, 0.0),
        base=constants.base,
        gain=constants.gain,
        k2=constants.k2,
        deep=float(np.exp(constants.log_deep)),
        model=structure.name,
        film=streams if film else None,
    )


# ---- what was drawn, and what is held out


def _films(
    drawdowns: Sequence[Drawdown], inks: Sequence[Ink], grounds: Mapping[str, Array]
) -> Films:
    """The drawdowns as arrays; those that hide lie on anything."""
    unknown = {d.ground for d in drawdowns if d.ground} - set(grounds)
    if unknown:
        raise InputError(f"no ground is called {', '.join(sorted(unknown))}; add it to grounds.csv")
    R_m = np.array([d.R for d in drawdowns])
    stated = [d.thickness_um for d in drawdowns if d.thickness_um is not None]
    usual = float(np.median(stated)) if stated else NOMINAL_UM
    black = np.zeros(R_m.shape[1])
    guessed = np.array([bool(d.ground) and d.thickness_um is None for d in drawdowns])
    X = [(d.thickness_um or usual) if d.ground else np.inf for d in drawdowns]
    return Films(
        C=fractions_of(drawdowns, inks),
        X=np.array(X),
        R_g=np.array([grounds[d.ground] if d.ground else black for d in drawdowns]),
        R_m=R_m,
        roles=tuple(ink.role for ink in inks),
        guessed=guessed if stated and guessed.any() else None,
    )


def _check_enough(films: Films, fold: Index) -> None:
    if not films.whites:
        raise TooFew(
            "no drawdown holds a white: every ink is measured against the white's scattering; "
            "draw down the white alone and each ink let down in it"
        )
    if (fold == KEPT).all():
        n, n_ink = films.C.shape
        raise TooFew(
            f"too few drawdowns to try a fit on (drawdowns: {n}, inks: {n_ink}); "
            "draw down each ink alone and at two letdowns, and the white with a little black"
        )


def _cards(drawdowns: Sequence[Drawdown]) -> Index:
    """The card each drawdown is on: films of one mixture at one thickness share one."""
    keys: dict[tuple[object, ...], int] = {}
    cards = []
    for d in drawdowns:
        mixture = (d.inks, np.round(d.fractions, 6).tobytes(), d.thickness_um)
        cards.append(keys.setdefault(mixture if d.ground else (d.name,), len(keys)))
    return np.array(cards, dtype=np.int64)


def _folds(films: Films, cards: Index) -> Index:
    """A fold for each drawdown, so that no fold takes much of any one ink.

    Each card belongs to its strongest statement: the colour it holds, else the black or
    clear, else the white.  Cards of one ink go round the folds, from a different first fold
    for each ink.  A card that an ink can't do without is KEPT, and where there are films so
    is every drawdown that hides: how well films are predicted is what is asked.
    """
    rarity = 1 / np.maximum((films.C > 0).sum(axis=0), 1)
    rarity[films.whites] = 0
    owner = np.argmax((films.C > 0) * (rarity + 1e-6 * films.C), axis=1)
    fold = np.full(len(cards), KEPT, dtype=np.int64)
    turns = np.arange(films.C.shape[1])
    for card in np.unique(cards):
        own = cards == card
        row = int(np.argmax(own))
        if (films.hides[row] and not films.hides.all()) or not _is_spared(films, own):
            continue
        fold[own] = turns[owner[row]] % FOLDS
        turns[owner[row]] += 1
    return fold


def _is_spared(films: Films, own: NDArray[np.bool_]) -> bool:
    """Whether every ink of a card is known without it.

    Without its one masstone an ink's scattering is not known at all: predicting that
    masstone tests the reader's luck and not the theory.  A clear is so weak that a letdown
    in it says as little: 5 % of white in it are all that is seen.  What an ink is per um,
    another film must say, of the ink or of one that it was mixed with in a drawdown that hides.
    """
    held = films.C[own][0]
    needed = np.array([0.99 if role == "clear" else 0.5 for role in films.roles])
    others, shows = films.C[~own], ~films.hides[~own]
    if (others.max(axis=0, initial=0.0) < needed * held).any():
        return False
    if films.hides.all():
        return True
    there = others > 0
    with_them = ~shows & np.any(there & np.any(there[shows], axis=0), axis=1)
    known = np.any(there[shows | with_them], axis=0)
    return bool(np.all(known[held > 0]))


# ---- fitting


def _solve(
    films: Films,
    structure: Structure,
    geometry: str,
    weight: Array,
    noise_f: float,
) -> Constants:
    """The best of a few starts: crowding has more than one valley when levels are few."""
    base, gain, k2 = surface_constants(N_ASSUMED, geometry)
    shared = structure.shared
    if shared and geometry.endswith("included"):
        shared = (*shared, "base")
    if films.guessed is not None:
        shared = (*shared, "log_thickness")
    expect = {**EXPECT, **structure.expect}
    empty = np.empty((0, 0))
    start = Constants(K=empty, S=empty, k2=k2, base=base, gain=gain)
    usual: dict[str, Any] = {name: expect[name][0] for name in structure.shared}
    start = replace(start, **usual)
    start = linear_start(films, structure, start)
    hides = films.hides.all()
    if not structure.scattering and hides:
        # One constant holds where the white does the scattering: let the tints decide.
        tints = np.maximum(films.C[:, films.whites].sum(axis=1), 0.01) ** 4
        weight = tints * weight
    fits = [
        solve_constants(
            films,
            structure=replace(structure, shared=shared),
            start=replace(start, crowding=crowding),
            weight=weight,
            noise_f=noise_f,
        )
        for crowding in ((0.1, 0.8) if "crowding" in shared and hides else (start.crowding,))
    ]
    return min(fits, key=lambda found: found.cost)


def _without_wrong(
    films: Films, cards: Index, structure: Structure, geometry: str, fold: Index
) -> tuple[Array, float, Array]:
    """Weights, usual misfit, and each drawdown as predicted without it (see `_held_out`).

    In a short ladder one wrong reading poisons the others, and what fits them all alike hides
    which it is.  The card that the others miss by far more than usual is left out, the worst
    first, and the rest is looked at anew.  An ink that is left with one other card can't
    judge either of the two.
    """
    right, held = np.ones(len(cards)), films.C > 0
    held[:, films.whites] = False
    for _ in range(MOST_WRONG + 1):
        weight, noise = _robust_weight(films, structure, geometry, right)
        R = _held_out(films, structure, geometry, weight, noise, fold)
        off = np.sqrt(((f_scale(R)[0] - f_scale(films.R_m)[0]) ** 2).mean(axis=1))
        scored = np.isfinite(off)
        if not (structure.scattering and scored.any()):
            break
        spoilt = held[right < 1].any(axis=0)  # of an ink one card is wrong, or the ink is two
        judged = np.where(scored & ~(held & spoilt).any(axis=1), off, 0)
        worst = int(np.argmax(judged))
        if judged[worst] <= max(WRONG * float(np.median(off[scored])), WRONG_F):
            break
        right[cards == cards[worst]] = LEFT_OUT
        few = (held & (right == 1)[:, None]).sum(axis=0) < 3
        fold = np.where((held & few).any(axis=1) & (right == 1), KEPT, fold)
    return weight, noise, R


def _robust_weight(
    films: Films, structure: Structure, geometry: str, right: Array
) -> tuple[Array, float]:
    """Little weight for drawdowns that no choice of constants explains, and the usual misfit.

    A mis-weighed one would bend the inks around it.  Films over a ground and films that hide
    are each held to what is usual for them.  `right` (n_drawdown,) multiplies the weights.
    """
    if not structure.scattering:
        return right, NOISE_F
    weight, noise = right.copy(), NOISE_F
    for _ in range(2):
        found = _solve(films, structure, geometry, weight, noise)
        for kind in (films.hides, ~films.hides):
            if kind.any():
                weight[kind] = right[kind] * trust(found, films.some(kind))
        noise = _noise(found, films)
    return weight, noise


def _noise(found: Constants, films: Films) -> float:
    """Usual misfit on the f scale, allowing for the numbers that were fitted."""
    n, n_ink = films.C.shape
    left = max(n - 2 * n_ink, 1)
    usual = float(np.median(misfit(found, films))) * np.sqrt(n / left)
    return float(np.clip(usual, *NOISES))


def _held_out(
    films: Films,
    structure: Structure,
    geometry: str,
    weight: Array,
    noise: float,
    fold: Index,
) -> Array:
    """Each drawdown as predicted by a fit that did not see it, (n_drawdown, n_wl).

    NaN for those that are never held out.
    """
    R = np.full_like(films.R_m, np.nan)
    for out in np.unique(fold[fold != KEPT]):
        seen = fold != out
        found = _solve(films.some(seen), structure, geometry, weight[seen], noise)
        R[~seen] = predict(found, films.some(~seen))
    return R


def _best(errors: list[Array], *, plain: bool = False) -> int:
    """The richest theory, unless a plainer one predicts better by a clear margin.

    A tie goes to the richer: what few drawdowns leave open, its weak expectations hold
    near the usual, and the plainer theory is the one that is surely wrong.  With `plain` it
    goes to the plainer: on real films the beam stands in for what it is not.
    """
    order = list(range(len(errors)))[:: 1 if plain else -1]
    scored = ~np.isnan(errors).any(axis=0)
    if not scored.any():
        return len(errors) - 1
    most = max(1, int(0.95 * scored.sum()))
    scores = [float(np.sort(e[scored])[:most].mean()) for e in errors]
    best = order[0]
    for i in order:
        if scores[i] < CLEARLY * scores[best]:
            best = i
    return best


def _score(name: str, error: Array) -> Score:
    median, p95 = np.nanpercentile(error, [50, 95]).tolist()
    return Score(model=name, de00_median=median, de00_p95=p95)


def _error_covariance(difference: Array, error: Array) -> Array:
    """Covariance of the held-out Lab error, without the worst tenth, which may be outliers."""
    usual = difference[error <= np.percentile(error, 90)]
    covariance: Array = usual.T @ usual / len(usual)
    return covariance


def _warnings(
    films: Films,
    inks: Sequence[Ink],
    guessed: NDArray[np.bool_],
    error: Array,
    scored: NDArray[np.bool_],
) -> tuple[str, ...]:
    """What the fit can't be trusted for, in the order of how often it bites."""
    if not films.hides.all():
        return _film_warnings(films, inks, scored)
    lines = []
    C = films.C
    clears = [i for i, ink in enumerate(inks) if ink.role == "clear"]
    let_down = (C[:, clears].sum(axis=1) > 0.05) & (C[:, clears].sum(axis=1) < 0.999)
    without = [
        ink.name
        for i, ink in enumerate(inks)
        if ink.role in ("colour", "black") and not (let_down & (C[:, i] > 0)).any()
    ]
    if not clears or len(without) == sum(ink.role in ("colour", "black") for ink in inks):
        lines.append("no letdown in clear was measured: clear-based mixes are a guess")
    elif without:
        lines.append(f"no letdown in clear of {', '.join(without)}: in clear they are a guess")
    for i, ink in enumerate(inks):
        drawn = int((C[:, i] > 0).sum())
        if ink.role != "white" and drawn < 3:
            lines.append(f"{ink.name}: only {drawn} drawdown(s); three or more are needed")
        elif guessed[i]:
            lines.append(
                f"{ink.name}: how much it scatters is a guess; {telling(ink, inks)} would tell most"
            )
        own = error[C[:, i] > 0]
        if ink.role == "colour" and len(own) >= 3 and np.median(own) > 1:
            lines.append(
                f"{ink.name}: held-out drawdowns miss by {np.median(own):.1f} dE00 (median); "
                "expect corrections"
            )
    if guessed.sum() > len(inks) / 2:
        lines.append(
            "most inks were drawn down weak and in white alone: how far other mixtures miss, "
            "held-out drawdowns can't tell; the chances allow for it"
        )
    return tuple(lines)


def telling(ink: Ink, inks: Sequence[Ink]) -> str:
    """The one drawdown that says most about how an ink scatters, in words.

    Its masstone, where the maker's limit allows one; else as much as it allows in black or
    clear, which scatter little themselves.
    """
    if ink.max_percent >= 100:
        return f"{ink.name} alone"
    other = [each.name for role in ("black", "clear") for each in inks if each.role == role]
    base = next((name for name in other if name != ink.name), "clear")
    return f"{ink.max_percent:g} % of it in {base}"


def _guessed(films: Films, found: Constants, structure: Structure) -> NDArray[np.bool_]:
    """Inks whose scattering rests on what is expected of any, (n_ink,); never a white's."""
    if not structure.scattering or found.log_K_S_sd is None:
        return np.zeros(len(films.roles), dtype=bool)
    usual = np.array([LOG_S[role][1] for role in films.roles])
    rests: NDArray[np.bool_] = np.median(found.log_K_S_sd[1], axis=1) > GUESS * usual
    rests[films.whites] = False
    return rests


def _film_warnings(films: Films, inks: Sequence[Ink], scored: NDArray[np.bool_]) -> tuple[str, ...]:
    shows = ~films.hides
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
