"""Films over grounds: against tables, differential equations, closed forms and limits."""

from dataclasses import replace

import numpy as np
import pytest
from bench_inks import columns, textbook
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import XYZ, Lab, de00
from matchkit.errors import InputError
from matchkit.inks.opacity import covering_um, hiding_um, layer_ground, opacity, over, stacked_R
from matchkit.inks.palette import Palette, reflectance, reflectance_jacobian, strength_jacobian
from matchkit.inks.shop import Ink
from matchkit.matching.garment import Strokes, Viewing, cover, stand_in_grounds
from matchkit.matching.probability import Spread, lab_covariance
from matchkit.matching.solve import minimise, solve
from matchkit.optics.film import (
    Film,
    film_inside,
    film_K_S,
    film_reading,
    film_slopes,
    ground_inside,
)
from matchkit.optics.kubelka_munk import surface_constants, with_surface
from tests.studies import films as study

EXCLUDED = "d/8 specular excluded"
BARE = {"base": 0.0, "gain": 1.0, "k2": 0.0}
BASE, GAIN, K2 = surface_constants(1.5, EXCLUDED)


def film(R_g, um, *, spread=np.inf, back=0.0, dim=0.0, R_g_beam=None) -> Film:
    return Film(
        R_g=np.asarray(R_g, dtype=float),
        thickness_um=um,
        spread=spread,
        back=back,
        dim=dim,
        R_g_beam=R_g_beam,
    )


def series(K, S, roles, *, surface=True, **beam) -> Palette:
    """Invented inks of film theory, K and S per um."""
    n_wl = np.shape(K)[1]
    palette = replace(textbook(np.array(K), np.array(S), roles), film=film(np.zeros(n_wl), np.inf))
    if surface:
        palette = replace(palette, base=BASE, gain=GAIN, k2=K2)
    return replace(palette, film=replace(palette.film, **beam))


@pytest.fixture(scope="module")
def inks() -> Palette:
    """White, black, clear, a yellow, a red, a blue, with a beam and depth."""
    x = (GRID_NM - 550) / 150
    edge = 1 / (1 + np.exp((GRID_NM - 500) / 12)), 1 / (1 + np.exp((GRID_NM - 590) / 12))
    band = np.exp(-0.5 * ((GRID_NM - 620) / 50) ** 2)
    K = np.array([0.0004 + 0 * x, 0.12 + 0 * x, 0.0002 + 0 * x,
                  0.002 + 0.08 * edge[0], 0.002 + 0.1 * edge[1], 0.003 + 0.11 * band])  # fmt: skip
    S = np.array([0.09 - 0.02 * x, 0.01 + 0 * x, 0.002 + 0 * x,
                  0.02 - 0.004 * x, 0.02 - 0.004 * x, 0.01 - 0.002 * x])  # fmt: skip
    roles = ["white", "black", "clear", "colour", "colour", "colour"]
    palette = series(K, S, roles, spread=2.3, back=0.11, dim=0.3)
    return replace(palette, crowding=np.array([0.4, 0, 0, 0, 0, 0]), deep=0.7)


def test_two_streams_are_the_table_of_sixty_layers() -> None:
    # km_layer.csv: hyperbolic form and Runge-Kutta integration of Kubelka & Munk (1931).
    t = columns("km_layer.csv")
    keep = t["S"] > 0
    t = {name: values[keep] for name, values in t.items()}
    R = film_reading(t["K"], t["S"], film=film(t["Rg"], t["X"]), **BARE)
    np.testing.assert_allclose(R, t["R_riccati_rk4"], atol=1e-6)
    over_80 = film_reading(t["K"], t["S"], film=film(0.8, t["X"]), **BARE)
    np.testing.assert_allclose(over_80, t["R_over_0.80"], atol=1e-6)


@given(
    K=st.floats(1e-4, 2), S=st.floats(1e-3, 2), X=st.floats(0.1, 6), R_g=st.floats(0, 1),
    beam_g=st.floats(0, 1), spread=st.floats(0.5, 5), back=st.floats(0, 0.6), dim=st.floats(0, 1),
)  # fmt: skip
def test_the_three_streams_obey_their_equations(
    K: float, S: float, X: float, R_g: float, beam_g: float, spread: float, back: float, dim: float
) -> None:
    # The equations of the module, integrated by scipy.
    def slope(_, y):
        R, R_b = y
        fed = spread * S
        return [
            S - 2 * (K + S) * R + S * R**2,
            fed * (back + (1 - back) * R - R_b) - dim * K * R_b - (K + S - S * R) * R_b,
        ]

    end = solve_ivp(slope, (0, X), [R_g, beam_g], rtol=1e-9, atol=1e-11).y[:, -1]
    layer = film(R_g, X, spread=spread, back=back, dim=dim, R_g_beam=np.array(beam_g))
    R, R_b = film_inside(K, S, film=layer)
    assert float(R) == pytest.approx(end[0], abs=1e-7)
    assert float(R_b) == pytest.approx(end[1], abs=1e-6)


@pytest.mark.parametrize("spread", [np.inf, 2.6, 0.7])
@pytest.mark.parametrize("um", [0.5, 40.0, np.inf])
def test_slopes_are_those_of_finite_differences(um: float, spread: float) -> None:
    rng = np.random.default_rng(4)
    K, S = 10 ** rng.uniform(-5, 0, (2, 40, 31))
    layer = film(rng.uniform(0, 0.95, 31), um, spread=spread, back=0.12, dim=0.3)
    surface = {"base": BASE, "gain": GAIN, "k2": K2}
    _, by_K, by_S = film_slopes(K, S, film=layer, **surface)
    h = 1e-5
    for slope, value, moved in ((by_K, K, (1, 0)), (by_S, S, (0, 1))):
        up = film_reading(K * (1 + h * moved[0]), S * (1 + h * moved[1]), film=layer, **surface)
        down = film_reading(K * (1 - h * moved[0]), S * (1 - h * moved[1]), film=layer, **surface)
        np.testing.assert_allclose(slope * value, (up - down) / (2 * h), atol=5e-8)


def test_nothing_jumps_where_the_closed_form_is_singular() -> None:
    # The particular solution has a pole where spread S = b S: K = sqrt(1 + spread^2) - 1, S = 1.
    spread, K0 = 2.6, np.sqrt(1 + 2.6**2) - 1
    K = K0 * (1 + np.array([-1e-3, -1e-5, -1e-6, 0, 1e-7, 1e-5, 1e-3]))
    R = film_reading(K, 1.0, film=film(0.5, 0.7, spread=spread, back=0.1), **BARE)
    line = np.interp(K, K[[0, -1]], R[[0, -1]])
    np.testing.assert_allclose(R, line, atol=2e-6)


def test_limits() -> None:
    surface = {"base": 0.0, "gain": 1.0, "k2": 0.0}
    for spread in (np.inf, 2.0):
        bare = film_reading(0.3, 0.2, film=film([0.1, 0.6], 1e-9, spread=spread), **surface)
        np.testing.assert_allclose(bare, [0.1, 0.6], atol=1e-8)  # no film: the ground
        thick = film_reading(0.3, 0.2, film=film([0.0, 0.9], np.inf, spread=spread), **surface)
        assert thick[0] == pytest.approx(thick[1], abs=1e-12)  # so thick that it hides
        clear = film_reading(0.0, 0.0, film=film([0.2, 0.7], 50.0, spread=spread), **surface)
        np.testing.assert_allclose(clear, [0.2, 0.7], atol=1e-6)
    # A beam that is diffuse at once is plain theory.
    soon = film_reading(0.3, 0.2, film=film(0.6, 4.0, spread=1e5, back=0.0), **surface)
    plain = film_reading(0.3, 0.2, film=film(0.6, 4.0), **surface)
    assert float(soon) == pytest.approx(float(plain), abs=1e-4)


def test_a_film_of_no_thickness_is_refused() -> None:
    with pytest.raises(InputError, match="thickness is 0 um"):
        film(0.5, 0.0)


def test_exact_solution_gives_the_published_paints_back() -> None:
    # Curtis et al. (1997), Figure 5: all 36 K and S from layers of thickness 1 over 0 and 1.
    t = columns("curtis1997.csv")
    K, S = film_K_S(
        t["Rb_x1_over_black"], t["Rw_x1_over_white_Rg1"], np.zeros(36), np.ones(36), 1.0
    )  # fmt: skip
    # The table has six decimals, which leaves a nearly black layer few digits of S.
    seen = t["S"] > 0.02
    np.testing.assert_allclose(S[seen], t["S"][seen], rtol=2e-3)
    np.testing.assert_allclose(K[seen], t["K"][seen], rtol=2e-3, atol=2e-4)
    R = film_reading(t["K"], t["S"], film=film(np.array([[0.0], [1.0]]), 1.0), **BARE)
    K, S = film_K_S(R[0], R[1], 0.0, 1.0, 1.0)
    np.testing.assert_allclose(S, t["S"], rtol=1e-4)
    np.testing.assert_allclose(K, t["K"], rtol=1e-4, atol=1e-6)


def test_exact_solution_of_a_white_that_absorbs_nothing() -> None:
    # K = 0, S = 1, X = 1: R0 = T = 1/2 (km_layer.csv).
    K, S = film_K_S(0.5, 5 / 6, 0.0, 0.8, 1.0)
    assert float(S) == pytest.approx(1.0, abs=1e-4)
    assert float(K) == pytest.approx(0.0, abs=1e-6)


def test_published_paints_over_each_other() -> None:
    # Curtis et al. (1997): Hansa x 0.5 over Rose x 1 over white, both ways of composing.
    K = np.array([[0.22, 1.47, 0.57], [0.06, 0.21, 1.78]])
    S = np.array([[0.05, 0.003, 0.03], [0.50, 0.88, 0.009]])
    paints = series(K, S, ["colour", "colour"], surface=False)
    rose, hansa = np.eye(2)
    layers = [(paints, rose, 1.0), (paints, hansa, 0.5)]
    expected = [0.639482, 0.299682, 0.056318]
    np.testing.assert_allclose(stacked_R(layers, np.ones(3)), expected, atol=1e-6)


def test_two_strokes_are_one_film_of_both(inks: Palette) -> None:
    R_g = np.linspace(0.05, 0.7, 31)
    c = np.array([0.3, 0.0, 0.3, 0.0, 0.0, 0.4])
    twice = stacked_R([(inks, c, 25.0), (inks, c, 40.0)], R_g)
    np.testing.assert_allclose(twice, reflectance(over(inks, R_g, 65.0), c), atol=1e-9)


def test_grounds_are_met_from_inside() -> None:
    # saunderson_examples.csv, n = 1.5: internal 0.8 reads .592833, specular excluded.
    smooth = ground_inside([0.592833], "smooth", EXCLUDED)
    assert float(smooth[0]) == pytest.approx(0.8, abs=1e-4)
    assert ground_inside([0.592833], "rough", EXCLUDED).tolist() == [0.592833]
    with pytest.raises(InputError, match="write rough or smooth"):
        ground_inside([0.5], "shiny", EXCLUDED)


def test_opacity_is_of_readings_and_not_of_internal_reflectance() -> None:
    # km_layer.csv: K = .25, S = 1, X = 1 is 0.411383 over black and 0.579253 over 0.80, a ratio
    # of 0.710196 inside.  ISO 6504 and ASTM D2805 speak of readings, over a white of 0.80 (both
    # from memory): the same two through the surface of n = 1.5, worked by hand, are
    # 0.54512 / 0.88495 = 0.6160.
    grey = series(np.full((1, 31), 0.25), np.ones((1, 31)), ["colour"])
    black, white = 0.411383, 0.579253
    read = [GAIN * (1 - K2) * R / (1 - K2 * R) for R in (black, white)]
    ratio, Y = opacity(grey, [1.0], 1.0, "D65", 10)
    assert float(ratio) == pytest.approx(read[0] / read[1], abs=1e-5)
    assert float(ratio) == pytest.approx(0.54512 / 0.88495, abs=1e-4)
    assert abs(float(ratio) - 0.710196) > 0.09
    assert float(Y) == pytest.approx(100 * read[1], abs=0.01)


def test_hiding_thickness_of_a_perfect_white_is_a_quadratic() -> None:
    # K = 0 and no surface: R = (R_g + (1 - R_g) SX) / (1 + (1 - R_g) SX), so a ratio of 0.98
    # (ISO 6504-1, abstract) over 0.80 (ASTM D2805, from memory) means
    # 0.004 t^2 + 0.02 t - 0.784 = 0 with t = SX: 11.7215.
    t = (-0.02 + np.sqrt(0.02**2 + 4 * 0.004 * 0.784)) / 0.008
    white = series(np.full((1, 31), 1e-9), np.full((1, 31), 0.1), ["white"], surface=False)
    assert hiding_um(white, [1.0], "D65", 10) == pytest.approx(t / 0.1, rel=1e-3)


def test_hiding_is_not_defined_for_black_nor_for_clear(inks: Palette) -> None:
    # Below Y = 15 over white it is not defined (ASTM D2805, abstract); a clear never hides.
    assert hiding_um(inks, np.eye(6)[1], "D65", 10) is None
    assert hiding_um(inks, np.eye(6)[2], "D65", 10) is None
    white = hiding_um(inks, np.eye(6)[0], "D65", 10)
    assert white is not None
    half = hiding_um(inks, np.array([0.5, 0, 0.5, 0, 0, 0]), "D65", 10)
    assert half is not None and half > 1.4 * white


def test_hiding_and_covering_are_where_they_say(inks: Palette) -> None:
    c = np.array([0.4, 0, 0, 0, 0, 0.6])
    um = hiding_um(inks, c, "D65", 10)
    assert um is not None
    assert float(opacity(inks, c, um, "D65", 10)[0]) == pytest.approx(0.98, abs=1e-4)
    grounds = np.array(list(stand_in_grounds(GRID_NM).values()))
    covers = covering_um(inks, c, grounds, "D65", 10)
    assert covers is not None
    opaque = Lab(reflectance(over(inks, grounds[0], np.inf), c), "D65", 10)
    away = [
        float(de00(opaque, Lab(reflectance(over(inks, R_g, covers), c), "D65", 10)))
        for R_g in grounds
    ]
    assert max(away) == pytest.approx(1.0, abs=1e-3)
    assert covering_um(inks, np.eye(6)[2], grounds, "D65", 10) is None


def test_inks_of_drawdowns_that_hide_have_no_thickness(palette: Palette) -> None:
    with pytest.raises(InputError, match="say nothing about thickness"):
        over(palette, np.zeros(31), 50.0)


def test_slopes_of_a_print_by_amount_and_strength(inks: Palette) -> None:
    printed = over(inks, np.linspace(0.1, 0.5, 31), 45.0)
    c, h = np.random.default_rng(3).dirichlet(np.ones(6), 4), 1e-6
    R, J = reflectance_jacobian(printed, c)
    np.testing.assert_allclose(R, reflectance(printed, c))
    by_strength = strength_jacobian(printed, c)
    for i in range(6):
        step = h * np.eye(6)[i]
        slope = (reflectance(printed, c + step) - reflectance(printed, c - step)) / (2 * h)
        np.testing.assert_allclose(J[:, i], slope, atol=1e-7)
        up, down = (reflectance(printed, c, np.ones(6) + s) for s in (step, -step))
        np.testing.assert_allclose(by_strength[:, i], (up - down) / (2 * h), atol=1e-7)


def test_the_solver_finds_formulas_whose_print_matches(inks: Palette) -> None:
    # Targets are prints of formulas; the solver is not told the formula.
    rng = np.random.default_rng(6)
    ground = 0.1 + 0.3 / (1 + np.exp((GRID_NM - 600) / 20))
    printed = over(inks, ground, 50.0)
    for c in rng.dirichlet(np.full(6, 0.4), 6):
        held = np.where(c >= np.sort(c)[-3], c, 0)
        R = reflectance(printed, held / held.sum())
        found = solve(printed, Target.from_spectrum(R, ["D65", "A", "FL11"], 10), max_inks=3)
        assert found.F[0] < 0.01
        print_R = reflectance(printed, found.fractions[0])
        assert float(de00(Lab(R, "D65", 10), Lab(print_R, "D65", 10))) < 0.01


def test_a_masstone_that_matches_is_another_formula_than_a_print(inks: Palette) -> None:
    hides = over(inks, np.zeros(31), np.inf)
    thin = over(inks, np.full(31, 0.3), 40.0)
    c = np.array([0.35, 0, 0.45, 0, 0.12, 0.08])
    lab = Lab(reflectance(hides, c), "D65", 10)
    away = float(de00(lab, Lab(reflectance(thin, c), "D65", 10)))
    assert away > 1
    found = solve(thin, Target.from_lab(lab.tolist(), "D65", 10), max_inks=4)
    assert found.F[0] < away / 5


def test_no_descent_from_anywhere_finds_a_better_print(inks: Palette) -> None:
    # Brute force: descents from 300 random formulas of up to four inks, targets off the gamut too.
    rng = np.random.default_rng(0)
    for _ in range(5):
        printed = over(inks, np.full(31, rng.uniform(0.03, 0.8)), rng.uniform(20, 100))
        lab = Lab(reflectance(printed, rng.dirichlet(np.full(6, 0.5))), "D65", 10)
        target = Target.from_lab((lab + rng.normal(0, 3, 3)).tolist(), "D65", 10)
        c = rng.dirichlet(np.full(6, 0.4), 300)
        four = np.where(c >= np.sort(c, axis=1)[:, [2]], c, 0)
        best, _ = minimise(printed, target, four / four.sum(axis=1, keepdims=True))
        assert solve(printed, target, max_inks=4).F[0] < best.min() + 1e-3


def test_thickness_that_strays_widens_the_cloud(inks: Palette) -> None:
    c, R_g = np.array([30.0, 0, 30.0, 0, 40.0, 0]), np.full(31, 0.05)
    covariance = []
    for sd in (0.0, 0.1):
        printed = over(inks, R_g, 40.0, thickness_sd=sd)
        target = Target.from_lab([50, 0, 0], "D65", 10)
        spread = Spread(
            log_strength=np.full(6, 0.03), pour_g=0.02, fit_Lab=lambda *_: np.zeros((3, 3)),
            log_thickness=printed.film.thickness_sd,
        )  # fmt: skip
        covariance.append(lab_covariance(printed, c, target, spread)[1])
    # The difference is the slope by log thickness, by finite differences, times 0.1.
    up, down = (
        Lab(reflectance(over(inks, R_g, 40.0 * k), c / 100), "D65", 10) for k in (1.001, 1 / 1.001)
    )
    slope = (up - down) / (2 * np.log(1.001))
    np.testing.assert_allclose(
        covariance[1] - covariance[0], 0.01 * np.outer(slope, slope), rtol=2e-3, atol=1e-5
    )


def test_the_least_work_that_covers_is_named(inks: Palette) -> None:
    grounds = stand_in_grounds(GRID_NM)
    c = np.array([0.5, 0, 0, 0.5, 0, 0])
    target = Lab(reflectance(over(inks, np.zeros(31), np.inf), c), "D65", 10)
    viewing = Viewing(light="D65", observer=10, tolerance_de00=2.0)
    told = cover(inks, c, target, grounds, Strokes(stroke_um=30.0, underbase_um=60.0), viewing)
    by_name = {each.ground: each for each in told}
    assert list(by_name) == list(grounds)
    black = by_name["black tee"]
    assert [p.name for p in black.prints] == [
        "one stroke", "two strokes", "one stroke on an underbase", "two strokes on an underbase",
    ]  # fmt: skip
    assert black.prints[0].de00 > 2 * black.prints[1].de00 > 2
    assert "needs an underbase" in black.words
    for each in told:
        best = [p for p in each.prints if p.de00 <= 2.0]
        assert each.covers == bool(best)
    # The print on an underbase is the stack of both films.
    white = np.eye(6)[0]
    stack = stacked_R([(inks, white, 60.0), (inks, c, 30.0)], grounds["black tee"])
    np.testing.assert_allclose(black.prints[2].R, stack, atol=1e-12)


def test_without_an_underbase_none_is_considered(inks: Palette) -> None:
    c, grounds = np.eye(6)[2], {"black": np.full(31, 0.03)}
    viewing = Viewing(light="D65", observer=10, tolerance_de00=1.0)
    lab = np.array([90.0, 0, 0])
    (told,) = cover(inks, c, lab, grounds, Strokes(stroke_um=30.0), viewing)
    assert len(told.prints) == 2
    assert not told.covers
    assert told.words.startswith("does not cover; the nearest is ")
    with pytest.raises(InputError, match="thicker than 0 um"):
        Strokes(stroke_um=0.0)


def test_an_underbase_is_the_white_of_the_series(inks: Palette) -> None:
    from matchkit.matching.prints import under_white

    R_g = np.full(31, 0.04)
    R, R_b = under_white(inks, R_g, 60.0)
    expected = layer_ground(over(inks, R_g, 60.0), np.eye(6)[0])
    np.testing.assert_allclose([R, R_b], expected)
    assert R.mean() > 0.5
    colours = replace(
        inks, inks=tuple(Ink(name=f"c{i}", role="colour") for i in range(6)), crowding=np.zeros(6)
    )
    with pytest.raises(InputError, match="no white"):
        under_white(colours, R_g, 60.0)


def test_slabs_of_another_program_by_thickness_and_ground() -> None:
    # adding_doubling.csv (iadpython 0.5.3): K = 2 mu_a, S = 3/4 mu_s (1 - g), n = 1.5.  The
    # errors are the theory's own; the study states them, and a fitted surface and beam take
    # most of them away.
    *rows, fitted = study.slabs()
    worst = {name: max(row["rms_percent"][name] for row in rows) for name in rows[0]["rms_percent"]}
    assert worst["textbook surface"] == pytest.approx(3.9, abs=0.1)
    assert worst["fitted surface and beam"] < 0.8
    assert 0.5 < fitted["beam"][0] < 0.65  # k2 comes out near the textbook's 0.596 again


def test_readings_through_the_surface_are_saunderson_s() -> None:
    # With two streams `film_reading` is `with_surface` of the layer.
    K, S = np.array([0.25]), np.array([1.0])
    R = film_reading(K, S, film=film(0.8, 1.0), base=BASE, gain=GAIN, k2=K2)
    inside = film_reading(K, S, film=film(0.8, 1.0), **BARE)
    assert float(R[0]) == pytest.approx(
        float(with_surface(inside, base=BASE, gain=GAIN, k2=K2)[0]), abs=1e-12
    )
    assert float(XYZ(np.full(31, R[0]), "D65", 10)[1]) == pytest.approx(100 * R[0], abs=0.01)
