"""Kubelka-Munk and the surface, against tables, differential equations and limits."""

from fractions import Fraction

import numpy as np
import pytest
from bench_inks import columns
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from matchkit.errors import InputError
from matchkit.optics.film import Film, film_reading
from matchkit.optics.kubelka_munk import (
    R_inf,
    contrast_ratio,
    film_R,
    film_R0_T,
    fresnel,
    k_over_s,
    layers_from_two_grounds,
    surface_constants,
    with_surface,
    without_surface,
)

INCLUDED, EXCLUDED = "d/8 specular included", "d/8 specular excluded"
REFLECTANCES = ["0.01", "0.02", "0.05", "0.1", "0.2", "0.25", "0.4", "0.5", "0.6", "0.8", "0.99"]


def surface(n: float, geometry: str) -> dict[str, float]:
    base, gain, k2 = surface_constants(n, geometry)
    return {"base": base, "gain": gain, "k2": k2}


def test_a_layer_that_does_not_scatter_over_a_ground() -> None:
    # R_g exp(-2 K X), Bouguer-Beer down and up: K .2, X .5, R_g .65.
    assert float(film_R(0.2, 0.0, 0.5, 0.65)) == pytest.approx(0.532175, abs=5e-7)
    film = Film(R_g=np.array([0.65]), thickness_um=0.5)
    seen = film_reading(0.2, 0.0, film=film, base=0.0, gain=1.0, k2=0.0)
    assert float(seen[0]) == pytest.approx(0.532175, abs=5e-7)


@pytest.mark.parametrize("text", REFLECTANCES)
def test_k_over_s_is_the_exact_rational(text: str) -> None:
    # (1 - R)^2 / 2R in rational arithmetic: 0.01 gives 49.005, 0.4 gives 0.45.
    R = Fraction(text)
    exact = (1 - R) ** 2 / (2 * R)
    assert float(k_over_s(float(R))) == pytest.approx(float(exact), rel=1e-12)
    assert float(R_inf(float(exact))) == pytest.approx(float(R), rel=1e-12)


def test_k_over_s_of_the_printed_values() -> None:
    # Worked by hand as exact rationals.
    R = [0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.4, 0.5, 0.6, 0.8, 0.9, 0.99]
    q = [49.005, 24.01, 9.025, 4.05, 1.6, 1.125, 0.45, 0.25, 2 / 15, 0.025, 1 / 180, 1 / 19800]
    np.testing.assert_allclose(k_over_s(R), q, rtol=1e-12)


def test_the_darkest_ink_keeps_its_digits() -> None:
    # For q >> 1, R = 1/(2q) (1 - 1/q + ...); 1 + q - sqrt(q^2 + 2q) gives 0 at 1e8.
    for q in (1e6, 1e8, 1e12):
        assert float(R_inf(q)) == pytest.approx(1 / (2 * q) * (1 - 1 / q), rel=1e-11)


@pytest.mark.parametrize("R", [0.0, -0.01, 1.001])
def test_what_no_ink_can_read_is_refused(R: float) -> None:
    with pytest.raises(InputError, match="R_inf must be above 0 and at most 1"):
        k_over_s([0.5, R])


def test_sixty_layers() -> None:
    table = columns("km_layer.csv")
    K, S, X, R_g = (table[name] for name in ("K", "S", "X", "Rg"))
    R0, T = film_R0_T(K, S, X)
    R = film_R(K, S, X, R_g)
    np.testing.assert_allclose(R, table["R_hyperbolic"], atol=1e-6)
    np.testing.assert_allclose(R, table["R_riccati_rk4"], atol=1e-6)
    np.testing.assert_allclose(T, table["T_layer"], atol=1e-6)
    np.testing.assert_allclose(R0, table["R0_black"], atol=1e-6)
    over_white = film_R(K, S, X, 0.8)
    np.testing.assert_allclose(over_white, table["R_over_0.80"], atol=1e-6)
    np.testing.assert_allclose(
        contrast_ratio(R0, over_white), table["contrast_ratio_C0.80"], atol=1e-6
    )
    scatters = S > 0
    q = K[scatters] / S[scatters]
    np.testing.assert_allclose(R_inf(q), table["R_infinity"][scatters], atol=1e-6)
    assert len(K) == 60


@pytest.mark.parametrize(("K", "S", "R_g"), [(0.3, 0.7, 0.6), (0.02, 3.0, 0.05), (2.0, 0.1, 0.9)])
def test_a_layer_obeys_the_differential_equation(K: float, S: float, R_g: float) -> None:
    # Kubelka & Munk (1931): dR/dX = S - 2(K + S)R + S R^2, R(0) = R_g; integrated by scipy.
    end = solve_ivp(
        lambda X, R: S - 2 * (K + S) * R + S * R**2, (0, 1.7), [R_g], rtol=1e-10, atol=1e-12
    )
    assert float(film_R(K, S, 1.7, R_g)) == pytest.approx(end.y[0, -1], abs=1e-9)


def test_limits_of_a_layer() -> None:
    # Closed forms of each limit, worked by hand.
    R_g, K, S, X = np.array([0.0, 0.3, 0.8]), 0.4, 0.9, 1.3
    np.testing.assert_allclose(film_R(K, S, 0.0, R_g), R_g, atol=1e-12)
    np.testing.assert_allclose(film_R0_T(K, S, 0.0)[1], 1)
    np.testing.assert_allclose(film_R(K, S, 1e9, R_g), R_inf(K / S), atol=1e-12)
    np.testing.assert_allclose(film_R(K, 0.0, X, R_g), R_g * np.exp(-2 * K * X), atol=1e-12)
    hidden = (R_g + (1 - R_g) * S * X) / (1 + (1 - R_g) * S * X)
    np.testing.assert_allclose(film_R(0.0, S, X, R_g), hidden, atol=1e-9)
    np.testing.assert_allclose(film_R(1e-11, S, X, R_g), hidden, atol=1e-8)
    np.testing.assert_allclose(film_R(0.0, 0.0, X, R_g), R_g, atol=1e-12)
    own = float(R_inf(K / S))
    np.testing.assert_allclose(film_R(K, S, [0.01, 1, 50], own), own, atol=1e-12)


@given(
    K=st.floats(0, 1e6), S=st.floats(0, 1e6), X=st.floats(0, 1e6), R_g=st.floats(0, 0.999)
)  # fmt: skip
def test_no_layer_overflows_or_shines(K: float, S: float, X: float, R_g: float) -> None:
    R0, T = film_R0_T(K, S, X)
    R = film_R(K, S, X, R_g)
    assert 0 <= R0 <= 1 and 0 <= T <= 1 and R0 + T <= 1 + 1e-9
    assert 0 <= R <= 1 + 1e-9


def test_curtis_layers_over_white_and_black() -> None:
    # Curtis et al. (1997), Figure 5: layers of thickness 1.
    table = columns("curtis1997.csv")
    K, S = table["K"], table["S"]
    R0, T = film_R0_T(K, S, 1.0)
    np.testing.assert_allclose(film_R(K, S, 1.0, 1.0), table["Rw_x1_over_white_Rg1"], atol=1e-6)
    np.testing.assert_allclose(R0, table["Rb_x1_over_black"], atol=1e-6)
    np.testing.assert_allclose(T, table["T_x1"], atol=1e-6)


def test_curtis_recovery_of_K_and_S() -> None:
    # Their formulas (a, b, arcoth) on what the layer reads over white and over black.
    table = columns("curtis1997.csv")
    R_b, R_w = film_R(table["K"], table["S"], 1.0, [[0.0], [1.0]])
    a = (R_w + (R_b - R_w + 1) / R_b) / 2
    b = np.sqrt(a**2 - 1)
    S = np.arctanh(b * (1 - R_w) / (b**2 - (a - R_w) * (a - 1))) / b
    np.testing.assert_allclose(S, table["S"], rtol=1e-5)
    np.testing.assert_allclose(S * (a - 1), table["K"], rtol=1e-5)


def test_a_layer_on_a_layer_is_a_layer_on_that_ground() -> None:
    # Curtis et al. (1997): R1 + T1^2 R2 / (1 - R1 R2); Hansa x 0.5 over Rose x 1 over white.
    K_rose, S_rose = np.array([0.22, 1.47, 0.57]), np.array([0.05, 0.003, 0.03])
    K_hansa, S_hansa = np.array([0.06, 0.21, 1.78]), np.array([0.50, 0.88, 0.009])
    table = columns("curtis1997.csv")
    hansa = table["pigment"] == "Hansa Yellow"
    np.testing.assert_array_equal(table["K"][hansa], K_hansa)
    np.testing.assert_array_equal(table["S"][hansa], S_hansa)
    rose = film_R(K_rose, S_rose, 1.0, 1.0)
    R0, T = film_R0_T(K_hansa, S_hansa, 0.5)
    expected = [0.639482, 0.299682, 0.056318]
    np.testing.assert_allclose(R0 + T**2 * rose / (1 - R0 * rose), expected, atol=1e-6)
    np.testing.assert_allclose(film_R(K_hansa, S_hansa, 0.5, rose), expected, atol=1e-6)


@given(
    K=st.floats(1e-3, 3),
    S=st.floats(1e-3, 3),
    black=st.floats(0, 0.1),
    white=st.floats(0.6, 0.95),
)
def test_two_grounds_give_the_layer_back(K: float, S: float, black: float, white: float) -> None:
    R0, T = film_R0_T(K, S, 1.0)
    over = film_R(K, S, 1.0, [black, white])
    R0_found, T_found = layers_from_two_grounds(over[0], over[1], black, white)
    assert float(R0_found) == pytest.approx(float(R0), abs=1e-9)
    assert float(T_found) == pytest.approx(float(T), abs=1e-6)


def test_a_film_that_hides_lets_nothing_through() -> None:
    R0, T = layers_from_two_grounds(0.42, 0.42, 0.05, 0.8)
    assert float(R0) == pytest.approx(0.42, abs=1e-12)
    assert float(T) == 0


def test_surface_reflectances_for_twenty_indices() -> None:
    table = columns("saunderson_k.csv")
    for i, n in enumerate(table["n"]):
        k1, gain, k2 = surface_constants(n, INCLUDED)
        assert k1 == pytest.approx(table["k1_8deg"][i], abs=1e-6)
        assert gain == 1 - k1
        assert k2 == pytest.approx(table["k2_int_diffuse_numeric"][i], abs=2e-6)
        assert fresnel(n, 0) == pytest.approx(table["k1_normal_incidence"][i], abs=1e-6)
        assert fresnel(n, 45) == pytest.approx(table["k1_45deg_unpolarised"][i], abs=1e-6)
    assert len(table["n"]) == 20


@pytest.mark.parametrize("n", [1.0, 1.001, 1.33, 1.5, 1.7])
def test_diffuse_surface_reflectance_is_the_integral(n: float) -> None:
    # Lambertian light from outside: 2 * integral of R(angle) sin cos.
    r_e, _ = quad(lambda t: fresnel(n, np.degrees(t)) * np.sin(2 * t), 0, np.pi / 2, epsabs=1e-11)
    _, _, k2 = surface_constants(n, EXCLUDED)
    assert k2 == pytest.approx(1 - (1 - r_e) / n**2, abs=1e-7)


def test_readings_of_three_geometries() -> None:
    # 1e-5: the table takes the sphere's surface term at normal incidence, the package at 8 degrees.
    table = columns("saunderson_examples.csv")
    names = {
        INCLUDED: "Rm_specular_included",
        EXCLUDED: "Rm_specular_excluded_k1_dropped",
        "45/0": "radiance_factor_45_0",
    }
    for geometry, name in names.items():
        for n, R, R_m in zip(table["n"], table["R_internal"], table[name], strict=True):
            read = with_surface(R, **surface(n, geometry))
            assert float(read) == pytest.approx(R_m, abs=1e-5)
            assert float(without_surface(R_m, **surface(n, geometry))) == pytest.approx(R, abs=3e-5)


def test_each_geometry_is_its_own_form() -> None:
    # A perfect diffuser below n = 1.5, worked by hand: 1, 0.96, and 0.94976 * 0.96 / 0.90822.
    read = {g: float(with_surface(1.0, **surface(1.5, g))) for g in (INCLUDED, EXCLUDED, "45/0")}
    assert read[INCLUDED] == 1
    assert read[EXCLUDED] == pytest.approx(0.96, abs=1e-5)
    assert read["45/0"] == pytest.approx(1.003906, abs=1e-5)


def test_a_reading_below_the_surface_reflection_comes_out_negative() -> None:
    # What the caller looks for: such a reading was not taken specular included.
    assert without_surface(0.02, **surface(1.5, INCLUDED)) < 0


@given(
    R=st.floats(0, 1), n=st.floats(1, 1.8), geometry=st.sampled_from([INCLUDED, EXCLUDED, "45/0"])
)
def test_the_surface_comes_off_again(R: float, n: float, geometry: str) -> None:
    there = surface(n, geometry)
    assert float(without_surface(with_surface(R, **there), **there)) == pytest.approx(R, abs=1e-9)


def test_contrast_ratio_is_of_readings_not_of_internal_reflectance() -> None:
    # ISO 6504 and ASTM D2805 speak of measured luminance (from memory).  Internal 0.4 over black
    # and 0.8 over white at n = 1.5 read .203560 and .592833 (saunderson_examples.csv): 0.3434,
    # and not 0.5.
    black, white = with_surface([0.4, 0.8], **surface(1.5, EXCLUDED))
    assert float(contrast_ratio(black, white)) == pytest.approx(0.203560 / 0.592833, abs=2e-5)
    assert float(contrast_ratio(0.4, 0.8)) == 0.5
    black, white = with_surface([0.4, 0.8], **surface(1.5, INCLUDED))
    assert float(contrast_ratio(black, white)) == pytest.approx(0.243560 / 0.632833, abs=2e-5)
