"""Radiative transfer against iadpython's numbers, closed forms and conservation."""

import csv
from pathlib import Path

import iadpython
import numpy as np
import pytest

from matchkit.errors import InputError
from matchkit.optics.film import film_K_S
from matchkit.simulator.radiative_transfer import (
    angles,
    diffuse_R,
    fresnel_R,
    layer,
    layer_R,
    normal_R,
    over_ground,
    over_matrix,
    radiance_factor_45,
    reading,
    thick,
    thick_R,
)

AUTHORITIES = Path(__file__).parent / "authorities"
GEOMETRIES = ("d/8 specular excluded", "d/8 specular included", "45/0")


def columns(file: str) -> dict[str, np.ndarray]:
    with (AUTHORITIES / file).open(newline="") as lines:
        rows = list(csv.DictReader(lines))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


def inside_diffuse(R: np.ndarray, film) -> np.ndarray:
    return (R @ film.root_F) @ film.root_F


def slab_over(a, b, ground_R, *, film, g) -> np.ndarray:
    """R matrices for rows of which some are infinitely thick."""
    deep = np.isinf(b)
    R = over_ground(*layer(1 - a, a, np.where(deep, 0, b), film=film, g=g), ground_R, film=film)
    R[deep] = thick(1 - a[deep], a[deep], film=film, g=g)
    return R


@pytest.mark.parametrize("n", [1.0, 1.5])
@pytest.mark.parametrize("g", [0.0, 0.5, 0.8])
def test_slabs_of_iadpython(n: float, g: float) -> None:
    # iadpython 0.5.3, quad_pts=16, ground composed by hand; five decimals are stored.
    # Its own error against finer quadrature is 1e-4 to 2e-4; with the same sixteen
    # directions the stored digits come back.
    table = columns("adding_doubling.csv")
    rows = (table["n"] == n) & (table["g"] == g)
    a, b, ground_R = (
        table[name][rows] for name in ("albedo", "b_optical_thickness", "Rg_lambertian_matched")
    )
    film = angles(n)
    R = slab_over(a, b, ground_R, film=film, g=g)
    assert rows.sum() == 49
    for found, name in (
        (normal_R(R, film=film), "UR1_collimated_incl_specular"),
        (diffuse_R(R, film=film), "URU_diffuse_incl_surface"),
        (inside_diffuse(R, film), "R_internal_diffuse_no_surface"),
    ):
        np.testing.assert_allclose(found, table[name][rows], atol=1e-5, err_msg=name)


@pytest.mark.parametrize("g", [0.0, 0.6])
def test_tint_ladder_of_iadpython(g: float) -> None:
    # iadpython 0.5.3, quad_pts=24, n = 1.5, opaque; six decimals are stored.
    table = columns("tint_ladder_rte.csv")
    rows = table["g"] == g
    film = angles(1.5, 24)
    R = thick(table["mua"][rows], table["mus_reduced"][rows] / (1 - g), film=film, g=g)
    for found, name in (
        (normal_R(R, film=film), "R_0deg_collimated_incl_specular_n1.5"),
        (diffuse_R(R, film=film), "R_diffuse_n1.5"),
        (inside_diffuse(R, film), "R_internal"),
    ):
        np.testing.assert_allclose(found, table[name][rows], atol=2e-6, err_msg=name)


@pytest.mark.parametrize(
    ("n", "g", "a", "b"),
    [(1.0, 0.75, 0.9, 2.0), (1.5, 0.0, 0.99, 5.0), (1.33, 0.6, 0.8, 0.7), (1.6, 0.3, 0.2, 0.1)],
)
def test_films_hanging_in_air(n: float, g: float, a: float, b: float) -> None:
    # iadpython 0.5.3, run here: air above and below.
    UR1, _, URU, _ = iadpython.Sample(a=a, b=b, g=g, n=n, quad_pts=16).rt()
    film = angles(n)
    R, T = layer(1 - a, a, b, film=film, g=g)
    R = over_matrix(R, T, np.diag(film.inside_R))
    assert float(normal_R(R, film=film)) == pytest.approx(float(UR1), abs=2e-5)
    assert float(diffuse_R(R, film=film)) == pytest.approx(float(URU), abs=2e-5)


def test_slab_of_van_de_hulst() -> None:
    # van de Hulst: a .9, b 2, g .75, n 1: R .09739, T .66096 (from memory, by way of
    # Wang, Jacques & Zheng 1995).
    film = angles(1.0)
    R, T = layer(0.1, 0.9, 2.0, film=film, g=0.75)
    assert float(normal_R(R, film=film)) == pytest.approx(0.09739, abs=1e-4)
    through = film.root_F @ T[:, -1] / film.root_F[-1]
    assert float(through) == pytest.approx(0.66096, abs=1e-3)


def test_opaque_film_of_giovanelli() -> None:
    # Giovanelli 1955: a .9, isotropic, n 1.5, opaque: .2600 (from memory).
    found = thick_R(0.1, 0.9, n=1.5, g=0.0, geometry="d/8 specular included")
    assert float(found) == pytest.approx(0.2600, abs=2e-4)


def test_opaque_isotropic_film_by_the_H_function() -> None:
    # Chandrasekhar's H-function solved apart from any adding-doubling; five decimals.
    a = np.array([0.3, 0.5, 0.8, 0.9, 0.95, 0.99, 0.999])
    UR1 = [0.05721, 0.11523, 0.28525, 0.41495, 0.53554, 0.75272, 0.91285]
    URU = [0.07445, 0.14654, 0.34187, 0.47802, 0.59667, 0.79456, 0.92971]
    film = angles(1.0)
    R = thick(1 - a, a, film=film, g=0.0)
    np.testing.assert_allclose(normal_R(R, film=film), UR1, atol=1e-5)
    np.testing.assert_allclose(diffuse_R(R, film=film), URU, atol=1e-5)


def test_fresnel_and_the_flux_caught_inside() -> None:
    # Fresnel integrals in closed form, agreeing with iadpython's diffuse_glass_R to 1e-6:
    # n, normal, 45 degrees, internal diffuse.
    for n, normal, at_45, inside in (
        (1.45, 0.03374, 0.04332, 0.56450),
        (1.50, 0.04000, 0.05024, 0.59635),
        (1.60, 0.05325, 0.06443, 0.65088),
    ):
        found = fresnel_R([1.0, np.sqrt(0.5)], n)
        np.testing.assert_allclose(found, [normal, at_45], atol=1e-5)
        film = angles(n, 48)
        assert np.sum(film.root_F**2 * film.inside_R) == pytest.approx(inside, abs=1e-4)


def test_surface_over_a_matt_ground() -> None:
    # Closed forms for n = 1.5 and isotropic flux inside: R inside -> specular included,
    # excluded, 45/0.  A film of no thickness on a matt ground is that case.
    film = angles(1.5, 48)
    table = [
        (0.1, 0.081208, 0.041208, 0.043093),
        (0.4, 0.243560, 0.203560, 0.212870),
        (0.8, 0.632833, 0.592833, 0.619947),
    ]
    for ground_R, included, excluded, at_45 in table:
        R = over_ground(*layer(0.0, 0.0, 0.0, film=film, g=0.0), ground_R, film=film)
        found = [float(reading(R, film=film, geometry=name)) for name in GEOMETRIES]
        np.testing.assert_allclose(found, [excluded, included, at_45], atol=2e-4)


@pytest.mark.parametrize("g", [0.0, 0.5, 0.8])
@pytest.mark.parametrize("n", [1.0, 1.5])
def test_nothing_is_lost_without_absorption(n: float, g: float) -> None:
    # Conservation of energy.
    film = angles(n)
    R, T = layer(0.0, 1.0, [0.01, 1.0, 50.0, 5000.0], film=film, g=g)
    np.testing.assert_allclose((R + T) @ film.root_F, np.tile(film.root_F, (4, 1)), atol=1e-8)
    mirror = over_ground(R, T, 1.0, film=film)
    np.testing.assert_allclose(normal_R(mirror, film=film), 1.0, atol=1e-8)
    np.testing.assert_allclose(diffuse_R(mirror, film=film), 1.0, atol=1e-8)
    assert float(normal_R(thick(0.0, 1.0, film=film, g=g), film=film)) == pytest.approx(1, abs=5e-5)


def test_reciprocity() -> None:
    # Helmholtz: light may run backwards, so every matrix is symmetric.
    film = angles(1.5)
    R, T = layer(0.05, 1.0, 3.0, film=film, g=0.4)
    for matrix in (R, T, over_ground(R, T, 0.3, film=film), thick(0.1, 1.0, film=film, g=0.4)):
        np.testing.assert_allclose(matrix, matrix.T, atol=1e-12)


def test_a_thick_film_is_an_opaque_one() -> None:
    film = angles(1.5)
    mu_a = np.array([0.002, 0.1, 3.0])
    deep = over_ground(*layer(mu_a, 1.0, 1000.0, film=film, g=0.3), [0.0, 0.9, 0.5], film=film)
    np.testing.assert_allclose(deep, thick(mu_a, 1.0, film=film, g=0.3), atol=1e-9)


def test_clear_film_over_a_ground_follows_beer() -> None:
    # Bouguer-Beer: without scattering a normal beam keeps exp(-mu_a d).
    film = angles(1.5)
    R, T = layer(0.3, 0.0, 2.0, film=film, g=0.0)
    assert np.abs(R).max() < 1e-15
    assert T[-1, -1] == pytest.approx(np.exp(-0.6), abs=1e-4)


@pytest.mark.parametrize("geometry", GEOMETRIES)
@pytest.mark.parametrize(("n", "g"), [(1.0, 0.0), (1.45, 0.6), (1.5, 0.0), (1.6, 0.8)])
def test_table_of_opaque_films(n: float, g: float, geometry: str) -> None:
    film = angles(n)
    ratio = np.concatenate([np.logspace(-6, 4, 60), np.linspace(0.001, 3, 60)])
    direct = reading(thick(ratio, 1.0, film=film, g=g), film=film, geometry=geometry)
    np.testing.assert_allclose(
        thick_R(ratio, 1.0, n=n, g=g, geometry=geometry), direct, atol=1e-6, rtol=0
    )


def test_edges_of_the_table() -> None:
    # No absorption: all light returns.  No scattering: the surface alone.
    found = thick_R([0.0, 1.0], [1.0, 0.0], n=1.5, g=0.0, geometry="d/8 specular included")
    np.testing.assert_allclose(found, [1.0, 0.04], atol=1e-6)


def test_45_0_converges_with_the_number_of_directions() -> None:
    values = []
    for n_angles in (16, 32):
        film = angles(1.5, n_angles)
        values.append(float(radiance_factor_45(thick(0.1, 0.9, film=film, g=0.0), film=film)))
    assert values[0] == pytest.approx(values[1], abs=1e-4)


def test_stacks_broadcast() -> None:
    mu_a = np.linspace(0.01, 1, 6).reshape(2, 3)
    found = layer_R(mu_a, 0.5, 4.0, [0.1, 0.5, 0.9], n=1.5, g=0.2, geometry="45/0")
    one = layer_R(mu_a[1, 2], 0.5, 4.0, 0.9, n=1.5, g=0.2, geometry="45/0")
    assert found.shape == (2, 3)
    assert found[1, 2] == pytest.approx(float(one), abs=1e-12)


def test_bad_numbers_are_named() -> None:
    film = angles(1.5)
    with pytest.raises(InputError, match="0 or more"):
        layer(-0.1, 1.0, 1.0, film=film, g=0.0)
    with pytest.raises(InputError, match="thickness"):
        layer(0.1, 1.0, np.inf, film=film, g=0.0)
    with pytest.raises(InputError, match="not both 0"):
        thick_R(0.0, 0.0, n=1.5, g=0.0, geometry="45/0")
    with pytest.raises(InputError, match="geometry"):
        thick_R(0.1, 1.0, n=1.5, g=0.0, geometry="45:0")
    with pytest.raises(InputError, match="n is"):
        angles(0.9)


@pytest.mark.parametrize("g", [0.0, 0.5, 0.8])
def test_absorption_and_scattering_of_two_streams(g: float) -> None:
    # Mudgett & Richards (1971), Appl. Opt. 10, 1485, from memory: K = 2 mu_a and
    # S = 3/4 mu_s (1 - g) - 1/4 mu_a, for a thick film of little absorption.  K and S are
    # what a film over two grounds tells, lit diffusely, without a surface.
    film, mu_s = angles(1.0), 1 / (1 - g)
    mu_a = np.array([0.001, 0.01, 0.05])
    R, T = layer(mu_a, mu_s, 5.0, film=film, g=g)
    black, white = (diffuse_R(over_ground(R, T, R_g, film=film), film=film) for R_g in (0.0, 0.8))
    K, S = film_K_S(black, white, 0.0, 0.8, 5.0)
    np.testing.assert_allclose(K, 2 * mu_a, rtol=0.035)
    np.testing.assert_allclose(S, 0.75 - mu_a / 4, rtol=0.025)
