"""Formulas and weights: what a balance shows is what was meant."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchkit.errors import InputError
from matchkit.inks.recipe import (
    STEPS_TO_TRUST,
    cost_per_kg,
    density_g_per_ml,
    fill_ml,
    letdowns_for,
    weigh_out,
    weighing_order,
)
from matchkit.inks.shop import Ink

WHITE = Ink(name="White", role="white", density_g_per_ml=1.30, cost_per_kg=9.5)
CLEAR = Ink(name="Clear", role="clear", density_g_per_ml=1.05, cost_per_kg=8.0)
BLACK = Ink(name="Black", role="black", density_g_per_ml=1.12, cost_per_kg=11.0)
RED = Ink(name="Red", role="colour", density_g_per_ml=1.15, cost_per_kg=30.0)
BLUE = Ink(name="Blue", role="colour")
INKS = [WHITE, CLEAR, BLACK, RED, BLUE]

resolutions = st.sampled_from([0.001, 0.01, 0.02, 0.05, 0.1, 0.5, 1.0, 5.0])
shares = st.lists(st.floats(1e-6, 1), min_size=1, max_size=8).map(
    lambda parts: np.array(parts) / sum(parts)
)


def is_whole(steps: np.ndarray) -> bool:
    return bool((np.abs(steps - np.rint(steps)) < 1e-6).all())


# ---- weights


@given(c=shares, batch_g=st.floats(1, 25_000), resolution_g=resolutions)
def test_weights_are_whole_steps_that_sum_to_the_batch(
    c: np.ndarray, batch_g: float, resolution_g: float
) -> None:
    if batch_g < resolution_g:
        return
    grams = weigh_out(c, batch_g, resolution_g)
    assert (grams >= 0).all()
    assert is_whole(grams / resolution_g)
    assert grams.sum() == pytest.approx(round(batch_g / resolution_g) * resolution_g, abs=1e-6)


@given(c=shares, batch_g=st.floats(10, 25_000))
def test_no_weight_but_the_largest_is_off_by_more_than_half_a_step(
    c: np.ndarray, batch_g: float
) -> None:
    off = np.abs(weigh_out(c, batch_g, 0.01) - c * batch_g)
    largest = np.argmax(c)
    assert (np.delete(off, largest) <= 0.005 + 1e-9).all()
    assert off[largest] <= 0.005 * (len(c) + 1)


@given(c=shares, batch_g=st.floats(20, 25_000), resolution_g=resolutions, data=st.data())
def test_rounding_passes_no_limit(
    c: np.ndarray, batch_g: float, resolution_g: float, data: st.DataObject
) -> None:
    upper = np.array([data.draw(st.sampled_from([share, 1.0])) for share in c])
    if upper.max() < 1:
        return
    grams = weigh_out(c, batch_g, resolution_g, upper=upper)
    limited = upper < 1
    assert (grams[limited] <= upper[limited] * batch_g + 1e-6 * resolution_g).all()
    assert is_whole(grams / resolution_g) and (grams >= 0).all()
    assert grams.sum() == pytest.approx(round(batch_g / resolution_g) * resolution_g, abs=1e-6)


def test_the_largest_ink_at_its_limit_leaves_the_rest_to_another() -> None:
    # Worked by hand: three thirds of 100 g are 33.33 g and a step over, which goes to the first
    # unless that stands at its limit.
    third = np.full(3, 1 / 3)
    assert weigh_out(third, 100.0, 0.01).tolist() == [33.34, 33.33, 33.33]
    capped = weigh_out(third, 100.0, 0.01, upper=np.array([1 / 3, 1.0, 1.0]))
    assert capped.tolist() == [33.33, 33.34, 33.33]


def test_a_batch_the_balance_cannot_show_is_refused() -> None:
    with pytest.raises(InputError, match=r"batch is 0\.005 g; the balance shows steps of 0\.01 g"):
        weigh_out([0.5, 0.5], 0.005, 0.01)


# ---- order


def test_bases_first_then_from_much_to_little() -> None:
    # Common practice, no source: strong colours last.
    order = weighing_order(INKS, [20.0, 30.0, 1.0, 60.0, 0.0])
    assert [INKS[i].name for i in order] == ["Clear", "White", "Red", "Black"]


# ---- letdowns


def recomposed(inks: list[Ink], grams: tuple[tuple[str, float], ...], way: object) -> np.ndarray:
    """Grams of each ink in a batch whose letdown is taken apart again."""
    total = dict.fromkeys((ink.name for ink in inks), 0.0)
    for name, g in grams:
        if name == way.name:
            total[way.ink] += way.share * g
            total[way.base] += (1 - way.share) * g
        else:
            total[name] += g
    return np.array([total[ink.name] for ink in inks])


@given(
    parts=st.lists(st.integers(0, 200_000), min_size=5, max_size=5).filter(lambda p: sum(p) > 0),
    tiny=st.integers(1, 300),
    resolution_g=st.sampled_from([0.001, 0.01, 0.1, 0.5, 1.0]),
)
def test_a_letdown_changes_nothing_in_the_bucket(
    parts: list[int], tiny: int, resolution_g: float
) -> None:
    steps = np.array(parts)
    steps[3] = tiny
    grams = steps * resolution_g
    for way in letdowns_for(INKS, grams, resolution_g):
        back = recomposed(INKS, way.grams, way)
        np.testing.assert_allclose(back, grams, atol=resolution_g * 1e-3)
        weights_g = dict(way.grams)
        assert way.base in ("White", "Clear")
        assert weights_g[way.name] >= STEPS_TO_TRUST * resolution_g * (1 - 1e-9)
        assert way.ink_g < STEPS_TO_TRUST * resolution_g
        assert min(weights_g.values()) > 0
        assert sum(weights_g.values()) == pytest.approx(grams.sum(), rel=1e-9)


def test_ten_percent_where_it_is_enough_and_one_percent_where_not() -> None:
    # 100 steps of 0.01 g are 1 g, common practice, no source.
    (way,) = letdowns_for(INKS, [99.5, 0, 0, 0.5, 0], 0.01)
    assert (way.share, way.base) == (0.1, "White")
    assert way.grams == (("White", 95.0), ("Red 10 % in White", 5.0))
    (way,) = letdowns_for(INKS, [99.97, 0, 0, 0.03, 0], 0.01)
    assert (way.share, way.grams) == (0.01, (("White", 97.0), ("Red 1 % in White", 3.0)))


def test_a_weight_the_balance_shows_well_needs_no_letdown() -> None:
    assert letdowns_for(INKS, [99.0, 0, 0, 1.0, 0], 0.01) == []
    assert len(letdowns_for(INKS, [99.01, 0, 0, 0.99, 0], 0.01)) == 1


def test_the_larger_base_gives_way_and_a_batch_without_base_has_no_way_out() -> None:
    (way,) = letdowns_for(INKS, [10, 80, 0, 0.5, 0], 0.01)
    assert way.base == "Clear"
    assert letdowns_for(INKS, [3.0, 0, 0, 0.5, 90.0], 0.01) == []
    assert letdowns_for(INKS, [0, 0, 0.5, 90, 9.5], 0.01) == []


def test_each_tiny_ink_gets_its_own_way_out() -> None:
    ways = letdowns_for(INKS, [90, 0, 0.4, 0.3, 9.3], 0.01)
    assert [way.ink for way in ways] == ["Black", "Red"]


# ---- money and volume


def test_cost_is_the_weighted_mean_or_unknown() -> None:
    assert cost_per_kg(INKS, [0.5, 0.0, 0.0, 0.5, 0.0]) == pytest.approx((9.5 + 30) / 2)
    assert cost_per_kg(INKS, [0.5, 0.0, 0.0, 0.4, 0.1]) is None
    assert cost_per_kg(INKS, [1.0, 0.0, 0.0, 0.0, 0.0]) == 9.5


def test_volumes_add_up() -> None:
    # 130 g of 1.30 g/ml are 100 ml, 105 g of 1.05 another 100.
    assert fill_ml(INKS, {"White": 130.0, "Clear": 105.0}) == pytest.approx(200)
    assert density_g_per_ml(INKS, [130 / 235, 105 / 235, 0, 0, 0]) == pytest.approx(235 / 200)
    assert fill_ml(INKS, {"White": 130.0, "Blue": 1.0}) is None


def test_a_gallon_of_known_density() -> None:
    # 231 cubic inches are 3785.411784 ml by definition; at 1.3 g/ml that is 4.9210 kg.
    gallon_g = 3785.411784 * 1.30
    assert gallon_g == pytest.approx(4921.0, abs=0.1)
    assert fill_ml([WHITE], {"White": gallon_g}) == pytest.approx(3785.411784)


def test_half_a_kilogram_by_percent() -> None:
    # An ink maker's public tutorial: 500 g at 20, 30 and 50 % are 100, 150 and 250 g.
    assert weigh_out([0.2, 0.3, 0.5], 500.0, 0.01).tolist() == [100.0, 150.0, 250.0]
