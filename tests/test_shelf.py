"""Mixtures on the shelf: their colour, and small weights that they stand in for."""

from dataclasses import replace

import numpy as np
import pytest
from small_bench import mixture, shop

from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.correcting.mixes import bucket_from, letdowns_on_shelf, predict, shelf_of
from matchkit.errors import InputError
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Ink, Mix
from matchkit.simulator.simulate import draw_lots, opaque_R, read

TEAL = Mix(name="Old teal", inks=("White", "Sky blue", "Green"), fractions=(0.6, 0.25, 0.15))
LETDOWN = Mix(name="Green 10", inks=("Green", "White"), fractions=(0.1, 0.9), stock_g=80.0)


def shelf(*mixes, **more):
    _, _, found, spread = shop()
    return shelf_of(found.palette, mixes, spread, **more)


def test_what_was_poured_together_is_one_film():
    # By hand: 100 g of teal and 50 g of letdown hold 60 + 45 White, 25 Sky blue, 15 + 5 Green.
    bench, _, found, *_ = shop()
    whole = mixture(bench, White=105 + 30, Sky_blue=25, Green=20, Lemon=10)
    told = predict(
        shelf(TEAL, LETDOWN), {"Old teal": 100, "Green 10": 50, "White": 30, "Lemon": 10}
    )
    np.testing.assert_allclose(told, reflectance(found.palette, whole), atol=1e-12)


def test_a_plain_recipe_is_a_plain_recipe():
    bench, _, found, *_ = shop()
    c = mixture(bench, White=0.7, Lemon=0.3)
    np.testing.assert_allclose(
        predict(shelf(), {"White": 70, "Lemon": 30}), reflectance(found.palette, c), atol=1e-12
    )


def test_a_measured_leftover_is_known_better_than_its_label():
    bench = shop()[0]
    rng = np.random.default_rng(6)
    by_label, measured = [], []
    for _ in range(8):
        s = draw_lots(rng, len(bench.inks), 0.04)
        old = mixture(bench, White=0.6, Sky_blue=0.25, Green=0.15)
        R = read(opaque_R(bench, old, s), rng, repeats=3).mean(axis=0)
        held = shelf(TEAL, replace(TEAL, name="Measured", R=R))
        for share, errors in (("Old teal", by_label), ("Measured", measured)):
            fresh = mixture(bench, White=0.5, Lemon=0.5)
            joined = 0.5 * old + 0.5 * fresh
            strong = (0.5 * old * s + 0.5 * fresh) / np.where(joined > 0, joined, 1)
            truth = Lab(opaque_R(bench, joined, np.where(joined > 0, strong, 1)), "D65", 10)
            told = Lab(predict(held, {share: 100, "White": 50, "Lemon": 50}), "D65", 10)
            errors.append(float(de00(truth, told)))
    assert np.median(measured) < 0.6 * np.median(by_label)
    assert max(measured) < 0.4


def test_strengths_of_leftovers_poured_together_are_by_mass():
    bench, *_ = shop()
    held = shelf(TEAL, LETDOWN)
    held = replace(held, log_strength=np.log([[1.2] * 8, [0.9] * 8]))
    joined = bucket_from(held, {"Old teal": 100, "Green 10": 100})
    # White: 60 g of 1.2 and 90 g of 0.9; Green: 15 g of 1.2 and 10 g of 0.9, by hand.
    assert joined.strengths[bench.names.index("White")] == pytest.approx((72 + 81) / 150)
    assert joined.strengths[bench.names.index("Green")] == pytest.approx((18 + 9) / 25)


def test_what_cannot_be_used_is_left_out_and_told():
    bench, *_ = shop()
    wrong = read(opaque_R(bench, mixture(bench, White=0.5, Magenta=0.5)), np.random.default_rng(1))
    held = shelf(
        Mix(name="Stranger", inks=("White", "Umber"), fractions=(0.5, 0.5)),
        Mix(name="Water", inks=("WB White", "WB Blue"), fractions=(0.5, 0.5)),  # another series
        replace(TEAL, name="Mixed up", R=wrong[0]),
        TEAL,
    )
    assert [mix.name for mix in held.mixes] == ["Old teal"]
    assert "Umber" in held.notes[0] and "Mixed up" in held.notes[1]
    with pytest.raises(InputError, match="the mixtures are Old teal"):
        held.index("Old tael")


INKS = (
    Ink(name="White", role="white"),
    Ink(name="Clear", role="clear"),
    Ink(name="Green", role="colour"),
    Ink(name="Black", role="black"),
)


def test_a_letdown_on_the_shelf_stands_in_for_a_small_weight():
    # By hand: 0.43 g of green are 4.3 g of a 10 % letdown, of which 3.87 g are white.
    ways = letdowns_on_shelf(INKS, [495.0, 0.0, 0.43, 4.57], [LETDOWN], 0.01)
    assert [way.ink for way in ways] == ["Green"]
    assert dict(ways[0].grams) == {"White": 491.13, "Black": 4.57, "Green 10": 4.3}
    assert ways[0].base == "White" and ways[0].share == 0.1


@pytest.mark.parametrize(
    ("mix", "grams"),
    [
        (replace(LETDOWN, stock_g=4.0), [495.0, 0.0, 0.43, 4.57]),  # not enough of it
        (replace(LETDOWN, inks=("Green", "Clear")), [495.0, 0.0, 0.43, 4.57]),  # no clear in it
        (LETDOWN, [2.0, 90.0, 0.43, 0.0]),  # too little white
        (LETDOWN, [495.0, 0.0, 0.05, 0.0]),  # even the letdown is too small a weight
        (LETDOWN, [495.0, 0.0, 5.0, 0.0]),  # no small weight
        (LETDOWN, [0.5, 99.5, 0.0, 0.0]),  # a base needs none
        (replace(LETDOWN, inks=("Green",), fractions=(1.0,)), [495.0, 0.0, 0.43, 0.0]),
    ],
)
def test_where_no_letdown_stands_in(mix, grams):
    assert letdowns_on_shelf(INKS, grams, [mix], 0.01) == []


def test_the_batch_stays_what_it_was():
    grams = np.array([495.0, 0.0, 0.57, 4.43])
    (way,) = letdowns_on_shelf(INKS, grams, [replace(LETDOWN, fractions=(0.07, 0.93))], 0.01)
    again = dict(way.grams)
    letdown = again.pop(way.name)
    back = np.array([again.get(ink.name, 0.0) for ink in INKS])
    back += letdown * np.array([0.93, 0, 0.07, 0])
    np.testing.assert_allclose(back, grams, atol=0.006)
