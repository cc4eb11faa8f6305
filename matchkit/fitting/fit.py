"""Inks from drawdowns: which theory holds here, how well, and what not to trust.

Several theories are fitted, from plain single-constant to two-constant with everything,
and the one that best predicts drawdowns it has not seen is kept.  Whole drawdowns are
held out, never single wavelengths.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.fitting.constants import Constants, Structure, f_scale, solve_constants
from matchkit.fitting.outliers import explain, main_ink, outlier_words, usual_error
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.shop import Drawdown, Ink
from matchkit.optics.kubelka_munk import surface_constants

Array = NDArray[np.float64]

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
VERSION = 1  # raise it whenever the same drawdowns give other constants than before
FOLDS = 5
KEPT = -1  # the fold of drawdowns that are never held out
N_ASSUMED = 1.5  # refractive index of the textbook surface; the fitted k2 replaces it
CLEARLY = 0.97  # a plainer theory must bring the held-out error below this share
GUESS = 10.0  # information below which log S is known worse than about +-30 %


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
    structures: Sequence[Structure] = STRUCTURES,
) -> Fit:
    """Fit the inks of one series to its drawdowns.

    Inks that no drawdown holds are left out.  `light` and `observer` are those in which
    errors are told.  TooFew if there is no white, or nothing to try a fit on.
    """
    drawn = {name for d in drawdowns for name in d.inks}
    inks = tuple(ink for ink in inks if ink.name in drawn)
    whites = [i for i, ink in enumerate(inks) if ink.role == "white"]
    if not whites:
        raise TooFew(
            "no drawdown holds a white: every ink is measured against the white's scattering; "
            "draw down the white alone and each ink let down in it"
        )
    C = fractions_of(drawdowns, inks)
    R_m = np.array([d.R for d in drawdowns])
    group = _folds(C, whites, [i for i, ink in enumerate(inks) if ink.role == "clear"])
    if (group == KEPT).all():
        raise TooFew(
            f"too few drawdowns to try a fit on (drawdowns: {len(drawdowns)}, inks: {len(inks)}); "
            "draw down each ink alone and at two letdowns, and the white with a little black"
        )
    tried = []
    for structure in structures:
        weight = _robust_weight(C, R_m, whites, structure, geometry)
        predicted = _held_out(C, R_m, whites, structure, geometry, weight, group)
        tried.append((structure, weight, predicted))
    measured = Lab(R_m, light, observer)
    scored = group != KEPT
    errors = [np.full(len(C), np.nan) for _ in tried]
    for error, (_, _, predicted) in zip(errors, tried, strict=True):
        error[scored] = de00(measured[scored], Lab(predicted[scored], light, observer))
    best = _best([error[scored] for error in errors])
    structure, weight, predicted = tried[best]
    constants = _solve(C, R_m, whites, structure, geometry, weight)
    palette = palette_of(constants, inks, structure)
    R_fitted = reflectance(palette, C)
    fitted = de00(measured, Lab(R_fitted, light, observer))
    told = np.where(scored, errors[best], fitted)
    return Fit(
        palette=palette,
        drawdowns=tuple(d.name for d in drawdowns),
        fractions=C,
        de00_fitted=fitted,
        de00_held_out=errors[best],
        error_Lab=_error_covariance(
            Lab(predicted[scored], light, observer) - measured[scored], errors[best][scored]
        ),
        scores=tuple(
            Score(
                model=s.name,
                de00_median=float(np.nanmedian(e)),
                de00_p95=float(np.nanpercentile(e, 95)),
            )
            for (s, _, _), e in zip(tried, errors, strict=True)
        ),
        outliers=explain(
            drawdowns, C, palette, np.where(scored[:, None], predicted, R_fitted), light, observer
        ),
        warnings=_warnings(C, inks, constants, told),
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
    return outlier_words(drawdown, c, palette, predicted, usual, found.light, found.observer)


def fractions_of(drawdowns: Sequence[Drawdown], inks: Sequence[Ink]) -> Array:
    """Mass fractions (n_drawdown, n_ink) in the order of `inks`."""
    at = {ink.name: i for i, ink in enumerate(inks)}
    C = np.zeros((len(drawdowns), len(inks)))
    for row, drawdown in enumerate(drawdowns):
        for name, fraction in zip(drawdown.inks, drawdown.fractions, strict=True):
            C[row, at[name]] += fraction
    return C


def palette_of(constants: Constants, inks: Sequence[Ink], structure: Structure) -> Palette:
    """The palette that a fit's numbers make."""
    crowds = np.array([ink.role == "white" for ink in inks])
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
    )


def _solve(
    C: Array,
    R_m: Array,
    whites: list[int],
    structure: Structure,
    geometry: str,
    weight: Array | None,
) -> Constants:
    """The best of a few starts: crowding has more than one valley when levels are few."""
    base, gain, k2 = surface_constants(N_ASSUMED, geometry)
    shared = structure.shared
    if shared and geometry.endswith("included"):
        shared = (*shared, "base")
    whole = Structure(name=structure.name, scattering=structure.scattering, shared=shared)
    if not structure.scattering:
        # One constant holds where the white does the scattering: let the tints decide.
        tints = np.maximum(C[:, whites].sum(axis=1), 0.01) ** 4
        weight = tints if weight is None else tints * weight
    empty = np.empty((0, 0))
    starts = [
        Constants(
            K=empty,
            S=empty,
            k2=0.45 if "k2" in shared else k2,
            crowding=crowding,
            log_deep=0.3 if "log_deep" in shared else 0.0,
            base=base,
            gain=gain,
        )
        for crowding in ((0.1, 0.8) if "crowding" in shared else (0.0,))
    ]
    fits = [
        solve_constants(C, R_m, whites=whites, structure=whole, start=start, weight=weight)
        for start in starts
    ]
    return min(fits, key=lambda found: found.cost)


def _robust_weight(
    C: Array, R_m: Array, whites: list[int], structure: Structure, geometry: str
) -> Array | None:
    """Little weight for drawdowns that no choice of constants explains.

    A mis-weighed or mislabelled drawdown would bend the inks around it.  The weight is
    that of a Cauchy error whose scale is three times the usual misfit.
    """
    if not structure.scattering:
        return None
    weight = np.ones(len(C))
    for _ in range(2):
        constants = _solve(C, R_m, whites, structure, geometry, weight)
        inks = [
            Ink(name=str(i), role="white" if i in whites else "colour") for i in range(C.shape[1])
        ]
        R = reflectance(palette_of(constants, inks, structure), C)
        misfit = np.sqrt(((f_scale(R)[0] - f_scale(R_m)[0]) ** 2).mean(axis=1))
        weight = 1 / (1 + (misfit / (3 * max(float(np.median(misfit)), 3e-4))) ** 2)
    return weight


def _folds(C: Array, whites: list[int], clears: list[int]) -> NDArray[np.int64]:
    """A fold for each drawdown, so that no fold takes much of any one ink.

    Each drawdown belongs to its strongest statement: the colour it holds, else the black
    or clear, else the white.  Drawdowns of one ink go round the folds, from a different
    first fold for each ink.  A drawdown that an ink can't do without is KEPT.
    """
    rarity = 1 / np.maximum((C > 0).sum(axis=0), 1)
    rarity[whites] = 0
    owner = np.argmax((C > 0) * (rarity + 1e-6 * C), axis=1)
    fold = np.full(len(C), KEPT, dtype=np.int64)
    for ink in range(C.shape[1]):
        rows = [r for r in np.flatnonzero(owner == ink).tolist() if not _is_lone_end(C, r, clears)]
        fold[rows] = (np.arange(len(rows)) + ink) % FOLDS
    return fold


def _is_lone_end(C: Array, row: int, clears: list[int]) -> bool:
    """Whether an ink would lose the strong end of its ladder with this drawdown.

    Without its one masstone an ink's scattering is not known at all: predicting that
    masstone tests the reader's luck and not the theory.  A clear is so weak that a letdown
    in it says as little: 5 % of white in it are all that is seen.
    """
    needed = np.full(C.shape[1], 0.5)
    needed[clears] = 0.99
    others = np.delete(C, row, axis=0).max(axis=0, initial=0.0)
    return bool((others < needed * C[row]).any())


def _held_out(
    C: Array,
    R_m: Array,
    whites: list[int],
    structure: Structure,
    geometry: str,
    weight: Array | None,
    fold: NDArray[np.int64],
) -> Array:
    """Each drawdown as predicted by a fit that did not see it, (n_drawdown, n_wl).

    NaN for those that are never held out.
    """
    predicted = np.full_like(R_m, np.nan)
    stand_in = [
        Ink(name=str(i), role="white" if i in whites else "colour") for i in range(C.shape[1])
    ]
    for out in np.unique(fold[fold != KEPT]):
        seen = fold != out
        kept = None if weight is None else weight[seen]
        constants = _solve(C[seen], R_m[seen], whites, structure, geometry, kept)
        predicted[~seen] = reflectance(palette_of(constants, stand_in, structure), C[~seen])
    return predicted


def _best(errors: list[Array]) -> int:
    """The richest theory, unless a plainer one predicts better by a clear margin.

    A tie goes to the richer: what few drawdowns leave open, its weak expectations hold
    near the usual, and the plainer theory is the one that is surely wrong.
    """
    scores = [float(np.sort(e)[: max(1, int(0.95 * len(e)))].mean()) for e in errors]
    best = len(scores) - 1
    for i in reversed(range(len(scores))):
        if scores[i] < CLEARLY * scores[best]:
            best = i
    return best


def _error_covariance(difference: Array, error: Array) -> Array:
    """Covariance of the held-out Lab error, without the worst tenth, which may be outliers."""
    usual = difference[error <= np.percentile(error, 90)]
    covariance: Array = usual.T @ usual / len(usual)
    return covariance


def _warnings(C: Array, inks: Sequence[Ink], constants: Constants, error: Array) -> tuple[str, ...]:
    """What the fit can't be trusted for, in the order of how often it bites."""
    lines = []
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
        information = constants.log_S_information
        assert information is not None
        if ink.role != "white" and drawn < 3:
            lines.append(f"{ink.name}: only {drawn} drawdown(s); three or more are needed")
        elif (information[i] < GUESS).mean() > 0.5:
            lines.append(
                f"{ink.name}: how much it scatters is a guess; "
                "add a masstone and a letdown in white"
            )
        own = error[C[:, i] > 0]
        if ink.role == "colour" and len(own) >= 3 and np.median(own) > 1:
            lines.append(
                f"{ink.name}: held-out drawdowns miss by {np.median(own):.1f} dE00 (median); "
                "expect corrections"
            )
    return tuple(lines)
