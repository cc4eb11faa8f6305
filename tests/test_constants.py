"""The numerical heart of a fit: slopes by finite differences, known inks given back."""

from dataclasses import replace

import colour
import numpy as np
import pytest
from bench_inks import columns, textbook
from scipy.optimize import lsq_linear

from matchkit.fitting.constants import (
    BOUNDS,
    EXPECT,
    OWN_BOUNDS,
    Constants,
    Films,
    Structure,
    f_scale,
    linear_start,
    predict,
)
from matchkit.fitting.refine import _blocks, _by_own, _step, _ties, solve_constants
from matchkit.inks.palette import Palette, reflectance

SHARED = ("k2", "crowding", "log_deep")
EMPTY = np.empty((0, 0))
X = np.linspace(0, 1, 31)

# Invented: white, black, clear, a colour with a band in the blue, one with a band in the red.
KNOWN = Constants(
    K=np.array(
        [
            0.01 + 0 * X,
            3 - X,
            0.005 + 0.01 * X,
            0.01 + 2 * np.exp(-(((X - 0.3) / 0.15) ** 2)),
            0.02 + 1.5 * np.exp(-(((X - 0.8) / 0.2) ** 2)),
        ]
    ),
    S=np.array([1 + 0 * X, 0.1 + 0 * X, 0.02 + 0 * X, 0.3 + 0.2 * X, 0.2 - 0.1 * X]),
    k2=0.40,
    crowding=0.35,
    log_deep=0.25,
    base=0.0,
    gain=0.96,
)
START = Constants(K=EMPTY, S=EMPTY, k2=0.45, crowding=0.1, log_deep=0.3, base=0.0, gain=0.96)
EVERYTHING = Structure(name="everything", shared=SHARED)


def read(C: np.ndarray, known: Constants = KNOWN) -> np.ndarray:
    """What the drawdowns read if `known` is the truth; the first ink is the white."""
    palette = Palette(
        inks=textbook(known.K, known.S).inks,
        K=known.K,
        S=known.S,
        crowding=np.eye(len(known.K))[0] * known.crowding,
        base=known.base,
        gain=known.gain,
        k2=known.k2,
        deep=float(np.exp(known.log_deep)),
    )
    return reflectance(palette, C)


def ladders(n: int = 5) -> np.ndarray:
    """Each ink alone and let down in white, some in clear too."""
    rows = [np.eye(n)[0], np.eye(n)[0] / 2 + np.eye(n)[2] / 2]
    for i in range(1, n):
        rows += [w * np.eye(n)[0] + (1 - w) * np.eye(n)[i] for w in (0, 0.3, 0.6, 0.9, 0.97)]
    for i in (1, 3, 4):
        rows += [w * np.eye(n)[2] + (1 - w) * np.eye(n)[i] for w in (0.5, 0.9)]
    return np.array(rows)


def hiding(C: np.ndarray, R: np.ndarray) -> Films:
    """Drawdowns of the invented inks that hide."""
    return Films(
        C=C,
        X=np.full(len(C), np.inf),
        R_g=np.zeros_like(R),
        R_m=R,
        roles=("white", "black", "clear", *(C.shape[1] - 3) * ["colour"]),
    )


def solved(
    C: np.ndarray, R: np.ndarray, structure: Structure = EVERYTHING, **more: object
) -> Constants:
    films, start = hiding(C, R), more.pop("start", START)
    more.setdefault("noise_f", 1e-4)  # readings without noise
    start = linear_start(films, structure, start)
    return solve_constants(films, structure=structure, start=start, **more)


def test_f_is_that_of_cielab() -> None:
    # CIE 15, as colour-science has it: colour.models.intermediate_lightness_function_CIE1976.
    R = np.concatenate([np.linspace(1e-4, 0.02, 40), np.linspace(0.02, 1, 40)])
    theirs = colour.colorimetry.intermediate_lightness_function_CIE1976(R, 1.0)
    f, slope = f_scale(R)
    np.testing.assert_allclose(f, theirs, atol=1e-9)
    np.testing.assert_allclose(
        slope, (f_scale(R + 1e-7)[0] - f_scale(R - 1e-7)[0]) / 2e-7, rtol=1e-4
    )


@pytest.mark.parametrize("thick", [np.inf, 2.0])
@pytest.mark.parametrize("scattering", [True, False])
def test_slopes_with_log_K_and_log_S(thick: float, scattering: bool) -> None:
    C = ladders()
    films = replace(hiding(C, read(C)), X=np.full(len(C), thick))
    films = replace(films, R_g=np.full_like(films.R_m, 0.6))
    sqrt_w = np.linspace(0.5, 1.5, len(C))[:, None]
    ties = _ties(films, Structure(name="", scattering=scattering))
    J = _blocks(KNOWN, films, sqrt_w, ties)
    for at in range(5 + ties.shape[1]):
        sides = []
        for h in (1e-5, -1e-5):
            step = h * (np.eye(5)[at] if at < 5 else ties[:, at - 5])[:, None]
            name = "K" if at < 5 else "S"
            moved = replace(KNOWN, **{name: getattr(KNOWN, name) * np.exp(step)})
            sides.append(sqrt_w * f_scale(predict(moved, films))[0])
        by_hand = (sides[0] - sides[1]) / 2e-5
        np.testing.assert_allclose(J[:, :, at].T, by_hand, atol=5e-9)


def test_what_is_each_ink_s_own_comes_back_and_its_slopes_are_right() -> None:
    # Invented numbers; neither the white beside white nor the clear beside clear has any.
    own = np.array([[4, 8, 2, 6, 10], [0, 100, 0, -80, 50], [200, 50, 0, 150, -100]]) / 1000
    known, C = replace(KNOWN, own=own), ladders()
    films = hiding(C, np.ones((len(C), len(X))))
    films = replace(films, X=np.full(len(C), 2.0), R_g=np.full_like(films.R_m, 0.6))
    films = replace(films, R_m=predict(known, films))
    dark = replace(films, R_g=np.full_like(films.R_m, 0.03))
    dark = replace(dark, R_m=predict(known, dark))
    names = ("C", "X", "R_g", "R_m")
    halves = {n: np.concatenate([getattr(films, n), getattr(dark, n)]) for n in names}
    cards = Films(**halves, roles=films.roles)
    slopes = _by_own(known, films, np.ones((len(C), 1)))
    for at in np.flatnonzero(own):
        step = 1e-6 * np.eye(own.size)[at].reshape(own.shape)
        f = [f_scale(predict(replace(known, own=own + s * step), films))[0] for s in (1, -1)]
        np.testing.assert_allclose(slopes[at], (f[0] - f[1]) / 2e-6, atol=1e-6)
    start = replace(KNOWN, K=KNOWN.K * 1.1, S=KNOWN.S * 0.9)
    for has_own, off in ((True, 2e-4), (False, 0.02)):
        structure = Structure(name="own", own=has_own)
        found = solve_constants(cards, structure=structure, start=start, noise_f=1e-5)
        assert np.abs(predict(found, cards) - cards.R_m).max() < off
        assert (np.abs(found.own - own).max() < 0.01) == has_own


def test_what_stands_at_its_bound_lets_the_others_move_as_is_best() -> None:
    # scipy's bounded least squares is the reference: numbers of one ink, the first at its least.
    rng = np.random.default_rng(3)
    A, b = rng.normal(size=(8, 3)), 0.02 * rng.normal(size=8)
    A[:, 0] = b + 0.5 * A[:, 1]  # alone it would go down
    own = np.array([OWN_BOUNDS[0, 0], 0.0, 0.0])
    blocks = np.eye(2)[None], np.zeros((1, 2)), np.zeros((1, 2, 3)), A.T @ A, A.T @ b
    bounds = [0, -np.inf, -np.inf], np.inf
    assert np.linalg.lstsq(A, -b, rcond=None)[0][0] < 0
    best = lsq_linear(A, -b, bounds).x
    assert 0 < np.abs(best).max() < 0.1
    np.testing.assert_allclose(_step(blocks, 0.0, own)[1], best, atol=1e-9)


def test_known_inks_come_back() -> None:
    # Noise-free readings of invented inks; the weak priors are all that is left of an error.
    C = ladders()
    found = solved(C, read(C))
    np.testing.assert_allclose(found.K, KNOWN.K, rtol=1e-3)
    np.testing.assert_allclose(found.S, KNOWN.S, rtol=1e-3)
    assert found.k2 == pytest.approx(KNOWN.k2, abs=5e-4)
    assert found.crowding == pytest.approx(KNOWN.crowding, abs=5e-4)
    assert found.log_deep == pytest.approx(KNOWN.log_deep, abs=2e-3)
    np.testing.assert_allclose(read(C, found), read(C), atol=1e-5)


def test_the_white_is_the_gauge() -> None:
    # Hiding films tell ratios only: the same readings from inks 2.7 times as strong throughout.
    C = ladders()
    stronger = replace(KNOWN, K=2.7 * KNOWN.K, S=2.7 * KNOWN.S)
    found = solved(C, read(C, stronger))
    assert (found.S[0] == 1).all()
    np.testing.assert_allclose(found.K, KNOWN.K, rtol=1e-3)
    np.testing.assert_allclose(found.S, KNOWN.S, rtol=1e-3)


def test_plain_theory_gives_watercolours_back() -> None:
    # Curtis et al. (1997), Figure 5: six pigments, Interference Lilac taken as the white.
    # No surface, no crowding, no depth; readings made by K/S alone.
    table = columns("curtis1997.csv")
    K, S = (table[name].reshape(12, 3)[[11, 0, 1, 2, 6, 8]] for name in ("K", "S"))
    K, S = K / S[0], S / S[0]
    C = np.vstack([np.eye(6), *(0.7 * np.eye(6)[0] + 0.3 * np.eye(6)[[i]] for i in range(1, 6))])
    C = np.vstack([C, 0.4 * np.eye(6)[0] + 0.6 * np.eye(6)[1:]])
    R = reflectance(textbook(K, S), C)
    start = Constants(K=EMPTY, S=EMPTY, k2=0.0, crowding=0.0, log_deep=0.0, base=0.0, gain=1.0)
    found = solved(C, R, Structure(name="plain"), start=start, max_steps=200, noise_f=1e-5)
    np.testing.assert_allclose(found.K / found.S, K / S, rtol=5e-3)
    np.testing.assert_allclose(found.K[1:], K[1:], rtol=2e-2)
    np.testing.assert_allclose(reflectance(textbook(found.K, found.S), C), R, atol=2e-5)


def test_single_constant_theory_has_no_scattering_to_fit() -> None:
    C = ladders()
    found = solved(C, read(C), Structure(name="single", scattering=False))
    assert (found.S == 1).all()
    assert found.k2 == START.k2


def test_what_is_not_shared_stays_as_given() -> None:
    C = ladders()
    found = solved(C, read(C), Structure(name="some", shared=("crowding",)))
    assert (found.k2, found.log_deep, found.base) == (START.k2, START.log_deep, START.base)
    assert found.crowding != START.crowding


def test_with_nothing_to_go_by_the_expectation_stands() -> None:
    # One masstone fits whatever k2 is, so k2 stays where experience puts it.
    C = np.eye(5)[[0]]
    found = solved(C, read(C))
    for name in SHARED:
        assert getattr(found, name) == pytest.approx(EXPECT[name][0], abs=0.05)


def test_expectations_do_not_bend_what_is_measured() -> None:
    # The shared numbers two spreads from their expectation come back all the same.
    C = ladders()
    far = replace(KNOWN, k2=0.15, crowding=1.2, log_deep=0.9)
    found = solved(C, read(C, far))
    assert found.k2 == pytest.approx(0.15, abs=3e-3)
    assert found.crowding == pytest.approx(1.2, abs=1e-2)
    assert found.log_deep == pytest.approx(0.9, abs=1e-2)


def test_the_surface_reflection_is_found_in_readings_that_include_it() -> None:
    C = ladders()
    known = replace(KNOWN, base=0.037, gain=0.963)
    structure = Structure(name="with surface", shared=(*SHARED, "base"))
    found = solved(C, read(C, known), structure, start=replace(START, base=0.04))
    # Base, k2 and depth can stand in for each other; what they read together is firm.
    assert found.base == pytest.approx(0.037, abs=2.5e-3)
    np.testing.assert_allclose(read(C, found), read(C, known), atol=5e-5)
    assert found.gain == 1 - found.base


def test_numbers_stay_inside_their_bounds(rng: np.random.Generator) -> None:
    # Readings that no theory explains: nothing negative, nothing beyond reason.
    C = ladders()
    R = rng.uniform(0.01, 0.95, (len(C), 31))
    found = solved(C, R)
    assert (found.K > 0).all() and (found.S > 0).all()
    assert np.isfinite(found.cost)
    for name in SHARED:
        low, high = BOUNDS[name]
        assert low <= getattr(found, name) <= high


def test_readings_of_0_and_1_do_no_harm() -> None:
    C = ladders()
    R = read(C)
    R[0], R[6] = 1.0, 0.0
    found = solved(C, R)
    assert np.isfinite(found.K).all() and np.isfinite(found.S).all()


def test_weight_zero_is_as_if_never_measured() -> None:
    C = ladders()
    R = read(C)
    wrong = R.copy()
    wrong[7] = 0.5
    weight = np.ones(len(C))
    weight[7] = 0
    found = solved(C, wrong, weight=weight)
    without = np.delete(np.arange(len(C)), 7)
    alone = solved(C[without], R[without])
    np.testing.assert_allclose(found.K, alone.K, rtol=2e-3)


def test_how_far_S_can_move_tells_a_guess_from_a_measurement() -> None:
    # Ink 4 was only ever seen in weak tints, where its scattering does nothing.
    C = ladders()
    tints = (C[:, 4] == 0) | ((C[:, 4] < 0.15) & (C[:, 0] > 0.5))
    known = solved(C, read(C)).log_K_S_sd
    guessed = solved(C[tints], read(C)[tints]).log_K_S_sd
    assert known is not None and guessed is not None
    assert (known[1, 0] == 0).all()  # the gauge
    assert np.median(guessed[1, 4]) > 10 * np.median(known[1, 4])
