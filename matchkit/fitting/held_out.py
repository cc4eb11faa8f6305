"""Drawdowns predicted by a fit that did not see them: what is held out, and what is wrong.

A card is all that was read of one mixture at one thickness; whole cards are held out, never
single wavelengths.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from matchkit.arrays import Array, Index, Mask
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
    trust,
)
from matchkit.fitting.refine import solve_constants
from matchkit.inks.shop import Drawdown, Ink
from matchkit.optics.kubelka_munk import surface_constants, without_surface

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
OWN = tuple(
    replace(
        richest,
        name=richest.name.replace(" and depth", ", depth and each ink's own terms"),
        own=True,
    )
    for richest in (STRUCTURES[-1], FILM_STRUCTURES[-1])
)
LONG = 5  # cards an ink, from which what is each ink's own can be told
THEORIES = ("best", "two-constant", "single-constant")
FOLDS = 5
KEPT = -1  # the fold of drawdowns that are never held out
N_ASSUMED = 1.5  # refractive index of the textbook surface; the fitted k2 replaces it
CLEARLY = 0.97  # a plainer theory must bring the held-out error below this share
NOISES = (2e-4, 4e-3)  # least and largest usual misfit that expectations are weighed against
# A card is wrong where the others miss it by so many times the usual, and by so much on the f
# scale (6 L*); so many are left out at most, with next to no weight.
WRONG, WRONG_F, MOST_WRONG, LEFT_OUT = 15.0, 0.05, 4, 1e-9
# So many standard deviations above what published pigments scatter none is; so few are a short
# ladder.
NO_PIGMENT, FEW = 3.5, 4
CARD_R, CARD_BOUNDS, ALONE = 0.8, (0.3, 0.97), 0.999  # of a white card below its surface
NOMINAL_UM = 100.0  # of films whose thickness nobody stated


def structures_of(films: Films, cards: Index) -> tuple[Structure, ...]:
    """The theories to try.

    What is each ink's own only long ladders tell: in short ones it makes room for a wrong card.
    """
    long = len(np.unique(cards)) >= LONG * films.C.shape[1]
    if films.hides.all():
        return (*STRUCTURES, OWN[0]) if long else STRUCTURES
    return (*FILM_STRUCTURES[:-1], OWN[1]) if long else FILM_STRUCTURES


def films_of(
    drawdowns: Sequence[Drawdown], inks: Sequence[Ink], grounds: Mapping[str, Array]
) -> Films:
    """The drawdowns as arrays; those that hide lie on anything."""
    unknown = {d.ground for d in drawdowns if d.ground} - set(grounds)
    if unknown:
        raise InputError(f"no ground is called {', '.join(sorted(unknown))}; add it to grounds.csv")
    R_m = np.array([d.R for d in drawdowns])
    stated, usual = any(d.thickness_um for d in drawdowns), usual_um(drawdowns)
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


def usual_um(drawdowns: Sequence[Drawdown]) -> float:
    """The usual thickness of films as stated, in um; NOMINAL_UM where nobody stated any."""
    stated = [d.thickness_um for d in drawdowns if d.thickness_um is not None]
    return float(np.median(stated)) if stated else NOMINAL_UM


def fractions_of(drawdowns: Sequence[Drawdown], inks: Sequence[Ink]) -> Array:
    """Mass fractions (n_drawdown, n_ink) in the order of `inks`."""
    at = {ink.name: i for i, ink in enumerate(inks)}
    C = np.zeros((len(drawdowns), len(inks)))
    for row, drawdown in enumerate(drawdowns):
        for name, fraction in zip(drawdown.inks, drawdown.fractions, strict=True):
            C[row, at[name]] += fraction
    return C


def cards_of(drawdowns: Sequence[Drawdown]) -> Index:
    """The card each drawdown is on: films of one mixture at one thickness share one."""
    keys: dict[tuple[object, ...], int] = {}
    cards = []
    for d in drawdowns:
        mixture = (d.inks, np.round(d.fractions, 6).tobytes(), d.thickness_um)
        cards.append(keys.setdefault(mixture if d.ground else (d.name,), len(keys)))
    return np.array(cards, dtype=np.int64)


def folds_of(films: Films, cards: Index) -> Index:
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


def _is_spared(films: Films, own: Mask) -> bool:
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


def solve(
    films: Films,
    structure: Structure,
    geometry: str,
    weight: Array,
    noise_f: float,
    near: Constants | None = None,
    tolerance: float = 1e-5,
) -> Constants:
    """The best of a few starts: crowding has more than one valley when levels are few.

    `near` is a fit of nearly the same films to start from instead, in a third of the time.
    `tolerance` ends it, see `solve_constants`.
    """
    base, gain, k2 = surface_constants(N_ASSUMED, geometry)
    shared = structure.shared
    if shared and geometry.endswith("included"):
        shared = (*shared, "base")
    if films.guessed is not None:
        shared = (*shared, "log_thickness")
    hides = films.hides.all()
    if near is None:
        expect = {**EXPECT, **structure.expect}
        empty = np.empty((0, 0))
        start = Constants(K=empty, S=empty, k2=k2, base=base, gain=gain)
        usual: dict[str, Any] = {name: expect[name][0] for name in structure.shared}
        start = linear_start(films, structure, replace(start, **usual))
    else:
        start = near
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
            tolerance=tolerance,
        )
        for crowding in (
            (0.1, 0.8) if near is None and "crowding" in shared and hides else (start.crowding,)
        )
    ]
    return min(fits, key=lambda found: found.cost)


def without_wrong(
    films: Films, cards: Index, structure: Structure, geometry: str, fold: Index
) -> tuple[Array, float, Array, Constants | None]:
    """Weights, usual misfit, each drawdown as predicted without it (see `_held_out`), a start.

    The start is a fit of nearly these weights, None for single-constant theory.

    In a short ladder one wrong reading poisons the others, and what fits them all alike hides
    which it is.  The card that the others miss by far more than usual is left out, the worst
    first, and the rest is looked at anew.  An ink that is left with one other card can't
    judge either of the two.  A masstone that stands for its ink is never held out: it is
    wrong if it makes of the ink what no pigment is.
    """
    right, held = np.ones(len(cards)), films.C > 0
    held[:, films.whites] = False
    for left in reversed(range(MOST_WRONG + 1)):
        weight, noise, found = _robust_weight(films, structure, geometry, right)
        card = -1
        if left and found is not None and (ink := _odd_ink(found, films, right)) >= 0:
            card = _odd_card(ink, films, cards, structure, geometry, right, weight, noise)
        else:
            R = _held_out(films, structure, geometry, weight, noise, fold, found)
            off = np.sqrt(((f_scale(R)[0] - f_scale(films.R_m)[0]) ** 2).mean(axis=1))
            scored = np.isfinite(off)
            if not (left and structure.scattering and scored.any()):
                break
            spoilt = held[right < 1].any(axis=0)  # of an ink one card is wrong, or the ink is two
            judged = np.where(scored & ~(held & spoilt).any(axis=1), off, 0)
            worst = int(np.argmax(judged))
            if judged[worst] <= max(WRONG * float(np.median(off[scored])), WRONG_F):
                break
            card = int(cards[worst])
        right[cards == card] = LEFT_OUT
        few = (held & (right == 1)[:, None]).sum(axis=0) < 3
        fold = np.where((held & few).any(axis=1) & (right == 1), KEPT, fold)
    return weight, noise, R, found


def _odd_card(
    ink: int,
    films: Films,
    cards: Index,
    structure: Structure,
    geometry: str,
    right: Array,
    weight: Array,
    noise: float,
) -> int:
    """The card of an odd ink without which the rest is likeliest, its S as expected.

    Another ink's reading as a masstone is met by scattering far above any white's, and the
    letdowns fit all the same; so all cards of the ink are tried.
    """
    own = (films.C[:, ink] > 0) & (right == 1)
    equal = np.where(own, 1.0, weight)
    tried = {
        int(card): solve(
            films, structure, geometry, np.where(cards == card, LEFT_OUT, equal), noise
        ).cost
        for card in np.unique(cards[own])
    }
    return min(tried, key=lambda card: tried[card])


def _odd_ink(found: Constants, films: Films, right: Array) -> int:
    """The first ink that scatters as no pigment does, or whose few cards disagree; or -1."""
    level = np.log(found.S[films.whites]).mean(axis=0)
    off = misfit(found, films)
    wrong_f = max(WRONG * float(np.median(off)), WRONG_F)
    off = np.where(right == 1, off, 0)
    for ink, role in enumerate(films.roles):
        own = films.C[:, ink] > 0
        drawn = len({row.tobytes() for row in films.C[own & (right == 1)]})
        if role not in ("colour", "black") or drawn < 3:
            continue
        mean, sd = LOG_S[role]
        beyond = np.maximum((np.log(found.S[ink]) - level - mean) / sd, 0)
        if np.sqrt((beyond**2).mean()) > NO_PIGMENT or (drawn <= FEW and off[own].max() > wrong_f):
            return ink
    return -1


def over_card(films: Films, geometry: str) -> Films:
    """Drawdowns handed in as hiding, as films of one thickness over a card's white half.

    What the card reflects the clear alone tells, which hides least; the thickness is a unit.
    """
    base, gain, k2 = surface_constants(N_ASSUMED, geometry)
    alone = films.C[:, [role == "clear" for role in films.roles]].sum(axis=1) > ALONE
    card = np.full(films.R_m.shape[1], CARD_R)
    if alone.any():
        R = np.median(films.R_m[alone], axis=0)
        card = np.clip(without_surface(R, base=base, gain=gain, k2=k2), *CARD_BOUNDS)
    return replace(films, X=np.full(len(films.X), NOMINAL_UM), R_g=np.tile(card, (len(films.X), 1)))


def _robust_weight(
    films: Films, structure: Structure, geometry: str, right: Array
) -> tuple[Array, float, Constants | None]:
    """Little weight for drawdowns that no choice of constants explains, and the usual misfit.

    A mis-weighed one would bend the inks around it.  Films over a ground and films that hide
    are each held to what is usual for them.  `right` (n_drawdown,) multiplies the weights.
    Last comes the fit that this was seen on; none of single-constant theory, which explains
    too little.
    """
    if not structure.scattering:
        return right, NOISE_F, None
    weight, noise, found = right.copy(), NOISE_F, None
    for _ in range(2):
        found = solve(films, structure, geometry, weight, noise, found)
        for kind in (films.hides, ~films.hides):
            if kind.any():
                weight[kind] = right[kind] * trust(found, films.some(kind))
        noise = _noise(found, films)
    return weight, noise, found


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
    near: Constants | None,
) -> Array:
    """Each drawdown as predicted by a fit that did not see it, (n_drawdown, n_wl).

    NaN for those that are never held out.  `near` is the fit of all, to start from.
    """
    R = np.full_like(films.R_m, np.nan)
    for out in np.unique(fold[fold != KEPT]):
        seen = fold != out
        found = solve(films.some(seen), structure, geometry, weight[seen], noise, near)
        R[~seen] = predict(found, films.some(~seen))
    return R


def best_of(errors: list[Array], *, plain: bool = False, own: bool = False) -> int:
    """The richest theory, unless a plainer one predicts better by a clear margin.

    A tie goes to the richer: what few drawdowns leave open, its weak expectations hold
    near the usual, and the plainer theory is the one that is surely wrong.  With `plain` it
    goes to the plainer: on real films the beam stands in for what it is not.  With `own`
    the last, which has what is each ink's own, wins no tie.
    """
    order = list(range(len(errors) - own))[:: 1 if plain else -1] + own * [len(errors) - 1]
    scored = ~np.isnan(errors).any(axis=0)
    if not scored.any():
        return len(errors) - 1 - own
    most = max(1, int(0.95 * scored.sum()))
    scores = [float(np.sort(e[scored])[:most].mean()) for e in errors]
    best = order[0]
    for i in order:
        if scores[i] < CLEARLY * scores[best]:
            best = i
    return best
