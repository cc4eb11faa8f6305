"""CIEDE2000 for solvers against the published pairs, the other implementation and its slope."""

import numpy as np
import pytest
from published import SHARMA_2005_TABLE_1

from matchkit.colorimetry.difference import Target, difference, difference_slope
from matchkit.colorimetry.tristimulus import de00, de00_vector
from matchkit.errors import InputError

# Half a turn of hue apart, to the last digit: the mean hue can lie on either side, and the
# published value takes one of them.  colorimetry follows the table; here either side will do.
HALF_TURN_PAIRS = {10, 14}


def length(v: np.ndarray) -> np.ndarray:
    return np.sqrt((v**2).sum(axis=0))


def colours(rng: np.random.Generator, n: int) -> np.ndarray:
    """Lab (3, n) all over the solid, some of them nearly neutral."""
    chroma, hue = rng.choice([0.01, 3, 30, 90], n) * rng.uniform(size=n), rng.uniform(0, 7, n)
    return np.array([rng.uniform(0, 100, n), chroma * np.cos(hue), chroma * np.sin(hue)])


@pytest.mark.parametrize("pair", range(1, 35))
def test_the_published_pairs_both_ways(pair: int) -> None:
    one, two, expected = SHARMA_2005_TABLE_1[pair - 1]
    for a, b in ((one, two), (two, one)):
        found = float(length(difference(np.array(a), np.array(b))))
        if pair in HALF_TURN_PAIRS:
            # The two values either side of half a turn: pairs 10/11 and 14/15 of the table.
            sides = [row[2] for row in SHARMA_2005_TABLE_1[pair - 1 : pair + 1]]
            assert min(abs(found - side) for side in sides) < 1e-4
        else:
            assert found == pytest.approx(expected, abs=1e-4)


def test_same_as_colorimetry_everywhere(rng: np.random.Generator) -> None:
    one, two = colours(rng, 20000), colours(rng, 20000)
    near = one + rng.normal(size=one.shape) * [[0.5], [0.5], [0.5]]
    for sample in (two, near):
        v = difference(one, sample)
        np.testing.assert_allclose(length(v), de00(one.T, sample.T), atol=1e-9)
        np.testing.assert_allclose(v, de00_vector(one.T, sample.T).T, atol=1e-7)


def test_neutrals_are_no_trouble() -> None:
    grey, coloured = np.array([50.0, 0.0, 0.0]), np.array([50.0, 12.0, -7.0])
    for a, b in ((grey, coloured), (coloured, grey), (grey, grey)):
        v, slope = difference_slope(a, b)
        assert np.isfinite(v).all() and np.isfinite(slope).all()
        assert float(length(v)) == pytest.approx(float(de00(a, b)), abs=1e-9)


def test_value_and_slope_agree(rng: np.random.Generator) -> None:
    one, two = colours(rng, 500), colours(rng, 500)
    np.testing.assert_allclose(difference_slope(one, two)[0], difference(one, two), atol=1e-12)


def test_slope_is_exact_where_colours_meet(rng: np.random.Generator) -> None:
    # The weights stand still, which costs an error in proportion to the distance.
    one = colours(rng, 300)
    one[1] += 1.0  # off the axis, where hue has a direction
    errors = []
    for far in (1.0, 0.01):
        near = one + far * rng.normal(size=one.shape)
        _, slope = difference_slope(one, near)
        for j in range(3):
            step = np.zeros((3, 1))
            step[j] = 1e-5
            by_hand = (difference(one, near + step) - difference(one, near - step)) / 2e-5
            errors.append((far, np.median(np.abs(slope[:, j] - by_hand).max(axis=0))))
    assert max(e for far, e in errors if far == 0.01) < 1.5e-3
    assert max(e for far, e in errors if far == 1.0) < 0.15


def test_a_step_along_the_slope_is_the_difference(rng: np.random.Generator) -> None:
    one = colours(rng, 300)
    one[2] -= 1.0
    step = 1e-6 * rng.normal(size=one.shape)
    _, slope = difference_slope(one, one)
    np.testing.assert_allclose(
        np.einsum("kjn,jn->kn", slope, step), difference(one, one + step), atol=1e-9
    )


def test_axes_that_lead_the_shape_broadcast() -> None:
    # Solvers hand in (3, n_light, 1) against (3, n_light, n).
    target = np.array([[[50.0], [60.0]], [[10.0], [-5.0]], [[3.0], [20.0]]])
    sample = target + np.linspace(-1, 1, 5)
    v, slope = difference_slope(target, sample)
    assert v.shape == (3, 2, 5) and slope.shape == (3, 3, 2, 5)
    assert difference(target, sample).shape == (3, 2, 5)


def test_a_target_is_the_same_however_its_spectrum_is_handed_in() -> None:
    import colour

    R = np.linspace(0.1, 0.6, 31)
    nm = np.arange(400.0, 701.0, 10)
    whole = Target.from_spectrum(R, ("D65", "A"))
    fine = np.arange(380.0, 731.0, 5)
    for handed_in in (
        R.tolist(),
        (nm, R),
        (fine, np.interp(fine, nm, R)),
        colour.SpectralDistribution(R, nm),
    ):
        seen = Target.from_spectrum(handed_in, ("D65", "A"))
        np.testing.assert_allclose(seen.lab, whole.lab, atol=0.02)
    with pytest.raises(InputError, match="31 values"):
        Target.from_spectrum(R[:30])
