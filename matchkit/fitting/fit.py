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

import numpy as np

from matchkit.arrays import Array, Index, Mask
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.fitting import held_out
from matchkit.fitting.constants import BOUNDS, LOG_S, Constants, Films, Structure, predict
from matchkit.fitting.expected_error import ExpectedError, expected_error
from matchkit.fitting.outliers import AT_LEAST, explain, main_ink, outlier_words, usual_error
from matchkit.inks.opacity import over
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.recipe import BASES
from matchkit.inks.shop import Drawdown, Ink
from matchkit.optics.film import Film

# Theory, weights, noise, what is predicted of unseen drawdowns, a start, held-out dE00.
Tried = tuple[Structure, Array, float, Array, Constants | None, Array]

VERSION = 5  # raise it whenever the same drawdowns give other constants than before
NEAR = 1e-3  # of the whole range: a number so close to its bound sits on it
# How far a fit that no drawdown was held out of may miss: about 5 in L*, a* and b* each, standard
# deviation.  Film constants from one film of each ink on a simulated card missed by as much.
UNTRIED_LAB = 8.0
UNTRIED = "how far predictions miss is not known, so no chance is high: "
TOO_FEW = "too few drawdowns to leave any out; draw down letdowns, three cards of each ink or more"
ONE_GROUND = "few films over one ground; read them over black and white, or draw six of each ink"
ENOUGH_CARDS = 3  # of an ink: from a masstone and one tint, nine in ten formulas missed dE00 1
SAME_GROUND = 0.3  # of reflectance: grounds no farther apart tell little of how films cover
ENOUGH_OVER_ONE = 6  # films over one ground: of three, stated 0.9, half of all formulas missed
GUESS = 0.5  # of the expected spread of log S: what leaves more open tells nothing


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
    `error` says how far a colour is expected to be missed.
    """

    palette: Palette
    drawdowns: tuple[str, ...]
    fractions: Array
    de00_fitted: Array
    de00_held_out: Array
    error: ExpectedError
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
    theory: str = "best",
) -> Fit:
    """Fit the inks of one series to its drawdowns.

    Inks that no drawdown holds are left out.  `light` and `observer` are those in which
    errors are told.  `grounds` gives each ground of a film, (n_wl,), as met from inside the
    film, see `film.ground_inside`; the palette of films has an infinitely thick one until
    `opacity.over` gives it a ground and a thickness.  `theory` is one of THEORIES: what is
    kept, whichever predicts best; all are tried, so `scores` say what it costs.  TooFew if
    there is no white among drawdowns that hide, or nothing to try a fit on; InputError for a
    ground or a theory that is not there.
    """
    if theory not in held_out.THEORIES:
        raise InputError(f"theory: found {theory!r}; write {', '.join(held_out.THEORIES)}")
    drawn = {name for d in drawdowns for name in d.inks}
    inks = tuple(ink for ink in inks if ink.name in drawn)
    films = held_out.films_of(drawdowns, inks, grounds or {})
    cards = held_out.cards_of(drawdowns)
    fold = held_out.folds_of(films, cards)
    if films.hides.all():
        _check_enough(films, fold)
    measured = Lab(films.R_m, light, observer)
    tried = []

    def best_theory(films: Films, structures: Sequence[Structure]) -> Tried:
        """The theory that predicts best of those that are wanted."""
        wanted = []
        for structure in structures:
            weight, noise, R, near = held_out.without_wrong(films, cards, structure, geometry, fold)
            told = np.where(np.isnan(R), films.R_m, R)
            error = np.where(np.isnan(R[:, 0]), np.nan, de00(measured, Lab(told, light, observer)))
            tried.append((structure.name, error))
            if theory == "best" or structure.scattering == (theory == held_out.THEORIES[1]):
                wanted.append((structure, weight, noise, R, near, error))
        errors, last = [each[-1] for each in wanted], wanted[-1][0]
        return wanted[held_out.best_of(errors, plain=not films.hides.all(), own=last.own)]

    usual = held_out.structures_of(films, cards)
    usual = usual if films.hides.all() else usual[theory == "best" :]
    structure, weight, noise, R, near, error = best_theory(films, structures or usual)
    handed_in, hiding_error, shows = films, error, False
    in_clear = _in_clear(films) & ~np.isnan(error)
    may = structures is None and structure.scattering and films.hides.all() and in_clear.any()
    if may and np.percentile(error[in_clear], 90) > AT_LEAST:
        shown = held_out.over_card(films, geometry)
        as_films = best_theory(shown, held_out.structures_of(shown, cards)[1:])
        if shows := bool(held_out.best_of([error, as_films[-1]], plain=True)):
            films, (structure, weight, noise, R, near, error) = shown, as_films
    scored = ~np.isnan(error)
    found = held_out.solve(films, structure, geometry, weight, noise, near)
    guessed = _guessed(films, found, structure)
    palette = palette_of(found, inks, structure, film=not films.hides.all())
    if shows:
        palette = over(palette, films.R_g[0], held_out.NOMINAL_UM)
    if guessed.any() and found.log_K_S_sd is not None:
        palette = replace(palette, doubt=found.log_K_S_sd * guessed[:, None])

    def without(rows: Mask) -> Palette:
        """The inks of films as the other drawdowns know them, where they do."""
        if not scored[rows].all():
            return palette
        other = held_out.solve(films.some(~rows), structure, geometry, weight[~rows], noise, near)
        return palette_of(other, inks, structure, film=True)

    R_fitted = predict(found, films)
    fitted = de00(measured, Lab(R_fitted, light, observer))
    known, miss = np.where(scored[:, None], R, R_fitted), np.where(scored, error, fitted)
    miss_Lab = Lab(known, light, observer) - measured
    if untried := _untried(films, cards, inks, scored):
        miss_Lab = UNTRIED_LAB * np.eye(3)[np.arange(len(measured)) % 3]
    # What another theory predicts was made as it was written down: this one is at fault.
    predicted = [e < AT_LEAST for _, e in tried] if theory != "best" else []
    return Fit(
        palette=palette,
        drawdowns=tuple(d.name for d in drawdowns),
        fractions=films.C,
        de00_fitted=fitted,
        de00_held_out=error,
        error=expected_error(
            palette,
            films.C,
            measured,
            miss_Lab,
            miss,
            fitted,
            cards,
            scored if scored.any() else ~films.hides,
            weight <= held_out.LEFT_OUT,
        ),
        scores=tuple(_score(name, e) for name, e in tried) if scored.any() else (),
        outliers=explain(
            drawdowns,
            films,
            cards,
            palette,
            known,
            light,
            observer,
            without=without,
            wrong=weight <= held_out.LEFT_OUT,
            explained=np.any([*predicted, in_clear & shows], axis=0),
        ),
        warnings=(
            *([_card_words(hiding_error[in_clear], error[in_clear])] if shows else []),
            *on_bounds(found, structure),
            *((UNTRIED + untried,) if untried else ()),
            *_warnings(handed_in, inks, guessed, miss, scored),
        ),
        light=light,
        observer=observer,
    )


def _check_enough(films: Films, fold: Index) -> None:
    if not films.whites:
        raise TooFew(
            "no drawdown holds a white: every ink is measured against the white's scattering; "
            "draw down the white alone and each ink let down in it"
        )
    if (fold == held_out.KEPT).all():
        n, n_ink = films.C.shape
        raise TooFew(
            f"too few drawdowns to try a fit on (drawdowns: {n}, inks: {n_ink}); "
            "draw down each ink alone and at two letdowns, and the white with a little black"
        )


def _untried(films: Films, cards: Index, inks: Sequence[Ink], scored: Mask) -> str:
    """Why so few cards are met by any constants; "" where there are enough."""
    own = [i for i, ink in enumerate(inks) if ink.role not in BASES]
    each = [len(np.unique(cards[films.C[:, i] > 0])) for i in own]
    drawn = float(np.median(each)) if each else np.inf
    if not scored.any() or drawn < ENOUGH_CARDS:
        return TOO_FEW
    over_one = not films.hides.any() and np.ptp(films.R_g.mean(axis=1)) < SAME_GROUND
    return ONE_GROUND if over_one and drawn < ENOUGH_OVER_ONE else ""


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
    c = held_out.fractions_of([drawdown], palette.inks)[0]
    if (c > 2 * found.fractions.max(axis=0)).any():
        return ""
    error = np.where(np.isnan(found.de00_held_out), found.de00_fitted, found.de00_held_out)
    main = np.array([main_ink(each, palette) for each in found.fractions])
    usual = usual_error(error, main == main_ink(c, palette))
    predicted = reflectance(palette, c)
    return outlier_words(
        [drawdown], c, [palette], predicted[None], usual, found.light, found.observer
    )


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
        own=constants.own,
        model=structure.name,
        film=streams if film else None,
    )


def _score(name: str, error: Array) -> Score:
    median, p95 = np.nanpercentile(error, [50, 95]).tolist()
    return Score(model=name, de00_median=median, de00_p95=p95)


def _warnings(
    films: Films, inks: Sequence[Ink], guessed: Mask, error: Array, scored: Mask
) -> tuple[str, ...]:
    """What the fit can't be trusted for, in the order of how often it bites."""
    if not films.hides.all():
        return _film_warnings(films, inks, scored)
    lines = []
    C = films.C
    clears = [i for i, ink in enumerate(inks) if ink.role == "clear"]
    let_down = _in_clear(films)
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


def _in_clear(films: Films) -> Mask:
    """Which drawdowns are letdowns in clear, (n_drawdown,)."""
    share = films.C[:, [role == "clear" for role in films.roles]].sum(axis=1)
    let_down: Mask = (share > 0.05) & (share < 0.999)
    return let_down


def _card_words(hiding: Array, shown: Array) -> str:
    return (
        "your clear letdowns show the card: taken as hiding, they are missed by dE00"
        f" {hiding.mean():.1f} on average, as films of one thickness over a white card, as they"
        f" are taken now, by {shown.mean():.1f}. Read both halves of the card and the bare card,"
        " and hand all drawdowns in as films (films.csv; thickness_um may be empty)"
    )


def on_bounds(found: Constants, structure: Structure) -> list[str]:
    """Which fitted number sits on its bound, in words: a line each."""
    lines = []
    for name, words, of in (("k2", "k2", float), ("log_deep", "depth", np.exp)):
        value, (low, high) = getattr(found, name), BOUNDS[name]
        if name in structure.shared and min(value - low, high - value) < NEAR * (high - low):
            lines.append(
                f"the fitted {words}, {of(value):.2f}, sits on its bound ({of(low):.2f} to"
                f" {of(high):.2f}): it makes up for something that the theory doesn't know, such"
                " as a card that shows or a wrong reading"
            )
    return lines


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


def _guessed(films: Films, found: Constants, structure: Structure) -> Mask:
    """Inks whose scattering rests on what is expected of any, (n_ink,); never a white's."""
    if not structure.scattering or found.log_K_S_sd is None:
        return np.zeros(len(films.roles), dtype=bool)
    usual = np.array([LOG_S[role][1] for role in films.roles])
    rests: Mask = np.median(found.log_K_S_sd[1], axis=1) > GUESS * usual
    rests[films.whites] = False
    return rests


def _film_warnings(films: Films, inks: Sequence[Ink], scored: Mask) -> tuple[str, ...]:
    shows = ~films.hides
    lines = []
    without = [ink.name for i, ink in enumerate(inks) if not (films.C[shows, i] > 0).any()]
    if without:
        lines.append(
            f"no film of {', '.join(without)} over a ground: how they cover is worked out from "
            "their drawdowns that hide"
        )
    if np.ptp(films.R_g[shows].mean(axis=1)) < SAME_GROUND:
        lines.append("all films are over much the same ground: draw them over black and white")
    if not scored.any():
        lines.append("no card could be held out: how well films are predicted is not known")
    return tuple(lines)
