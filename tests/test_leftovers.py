"""The most of a leftover that a colour can take, against a general solver."""

import time
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from made_once import remembered
from scipy.optimize import minimize
from small_bench import LIGHTS, mixture, shop, target_of

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.correcting.leftovers import use, which_bucket
from matchkit.correcting.mixes import predict, shelf_of
from matchkit.errors import InputError
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Mix
from matchkit.matching.rank import Choices, candidates
from matchkit.matching.solve import solve

TEAL = Mix(name="Old teal", inks=("White", "Sky blue", "Green"), fractions=(0.6, 0.25, 0.15))
PINK = Mix(name="Old pink", inks=("White", "Scarlet"), fractions=(0.9, 0.1), stock_g=300.0)
asked = remembered(use)
BATCH = dict(batch_g=500.0, resolution_g=0.01, tolerance_de00=1.0)


def the_shelf(*mixes, inks=None):
    _, _, found, spread = shop()
    palette = found.palette if inks is None else replace(found.palette, inks=inks)
    return shelf_of(palette, mixes, spread)


def most(mixes, name, target, inks=None, **more):
    return asked(the_shelf(*mixes, inks=inks), name, target, shop()[3], **{**BATCH, **more})


def lighter_teal():
    return target_of(shop()[0], mixture(shop()[0], White=0.8, Sky_blue=0.1, Green=0.09, Lemon=0.01))


def test_no_general_solver_finds_a_larger_share():
    target, held = lighter_teal(), the_shelf(TEAL)
    found = most([TEAL], "Old teal", target)
    best = found[0]
    assert best.within and best.candidate.de00[0] <= 0.51
    assert best.candidate.inks[0] == "Old teal"
    assert sum(best.candidate.grams) == pytest.approx(500.0)
    grams = dict(zip(best.candidate.inks, best.candidate.grams, strict=True))
    np.testing.assert_allclose(best.candidate.R, predict(held, grams), atol=1e-9)

    def lab_of(x, names):
        return predict(held, {"Old teal": 1.0, **dict(zip(names, np.abs(x), strict=True))})

    def far(x, names):
        return float(de00(target.lab[0], Lab(lab_of(x, names), "D65", 10)))

    shares = []
    names = [n for n in shop()[0].names if n not in ("Black", "Clear")]
    for trio in combinations(names, 3):
        answer = minimize(
            lambda x: x.sum(), [0.8, 0.02, 0.02], method="SLSQP", bounds=[(1e-6, 5)] * 3,
            constraints={"type": "ineq", "fun": lambda x, trio=trio: 0.5 - far(x, trio)},
            options={"maxiter": 30},
        )  # fmt: skip
        if far(answer.x, trio) <= 0.501:
            shares.append(1 / (1 + answer.x.sum()))
    assert best.share >= max(shares) - 0.012  # shares within 0.01 count as the same


def test_a_leftover_that_is_the_colour_is_the_batch():
    c = mixture(shop()[0], White=0.6, Sky_blue=0.25, Green=0.15)
    target = target_of(shop()[0], c)
    (best, *_) = most([TEAL], "Old teal", target)
    assert best.share == 1 and best.fresh_g == 0 and best.candidate.inks == ("Old teal",)
    short = replace(TEAL, stock_g=200.0)
    (best, *_) = most([short], "Old teal", target)
    assert best.used_g == 200.0 and best.left_g == 0.0 and best.within


def sand(**more):
    """A batch of four inks, what it is made of, and its colour as the model has it."""
    c = mixture(shop()[0], White=0.62, Lemon=0.25, Scarlet=0.1, Black=0.03)
    palette = shop()[2].palette
    held = np.flatnonzero(c)
    mix = Mix(
        name="Sand rest", inks=tuple(palette.names[i] for i in held),
        fractions=tuple(c[held].tolist()), **more,
    )  # fmt: skip
    return mix, c, Target.from_spectrum(reflectance(palette, c), LIGHTS, 10)


def test_a_colour_made_again_is_its_leftover_and_the_same_formula():
    mix, c, target = sand(stock_g=180.0)
    (best, *others) = most([mix], "Sand rest", target, batch_g=400.0)
    assert best.within and best.used_g == 180.0 and best.left_g == 0.0
    assert float(best.candidate.F) < 0.01 and not best.candidate.mostly_clear
    by_hand = {name: 220 * share for name, share in zip(mix.inks, c[c > 0], strict=True)}
    added = dict(zip(best.candidate.inks[1:], best.candidate.grams[1:], strict=True))
    assert added == pytest.approx(by_hand, abs=0.02)
    assert best.candidate.grams[0] == 180.0 and sum(best.candidate.grams) == pytest.approx(400)
    # The others are worth a look, none nearer: all of the leftover goes in anyhow.
    assert all(each.candidate.F >= best.candidate.F for each in others)
    # Four inks and a bucket of the same four: the batch holds four.  With fewer inks at
    # most, or without one of them, another way is found.
    few = most([mix], "Sand rest", target, batch_g=400.0, max_inks=3)
    assert all(len(each.candidate.inks) <= 3 for each in few)
    without = most([mix], "Sand rest", target, batch_g=400.0, without=["Lemon"])
    assert all("Lemon" not in each.candidate.inks for each in without)


@pytest.mark.parametrize(("stock", "off"), [(30.0, 0.05), (180.0, 0.0), (360.0, 0.05)])
def test_no_worse_than_the_leftover_topped_up_by_a_general_solver(stock, off):
    # scipy's SLSQP on plain amounts, from the formula that the target has by itself: the
    # leftover is a little off the target where `off` is not 0.
    mix, c, _ = sand(stock_g=stock)
    palette = shop()[2].palette
    wanted = c + off * mixture(shop()[0], White=0.5, Scarlet=0.5) - off * c
    target = Target.from_spectrum(reflectance(palette, wanted), LIGHTS, 10)
    (best, *_) = most([mix], "Sand rest", target, batch_g=400.0)
    held, names = the_shelf(mix), mix.inks

    def far(x):
        fresh = (400 - stock) * np.abs(x) / np.abs(x).sum()
        R = predict(held, {"Sand rest": stock, **dict(zip(names, fresh, strict=True))})
        away = [
            float(de00(target.lab[k], Lab(R, light, 10))) for k, light in enumerate(target.lights)
        ]
        return float(np.array(away) @ target.share)

    start = wanted[c > 0]
    answer = minimize(far, start, method="SLSQP", bounds=[(1e-6, 1)] * len(start))
    assert best.used_g == stock and best.share == pytest.approx(stock / 400)
    assert min(answer.fun, far(start)) + 0.01 >= best.candidate.F
    grams = dict(zip(best.candidate.inks, best.candidate.grams, strict=True))
    np.testing.assert_allclose(best.candidate.R, predict(held, grams), atol=1e-9)


def test_a_letdown_in_clear_that_is_the_colour_is_said_to_be_sheer():
    mix = Mix(name="Wash", inks=("Clear", "Magenta"), fractions=(0.95, 0.05), stock_g=100.0)
    R = reflectance(shop()[2].palette, the_shelf(mix).contents[0])
    best = most([mix], "Wash", Target.from_spectrum(R, LIGHTS, 10), batch_g=100.0)[0]
    assert best.share == 1 and best.candidate.mostly_clear
    # Made again it is the same formula once more, though white would be as near.
    more = most([mix], "Wash", Target.from_spectrum(R, LIGHTS, 10), batch_g=250.0)
    assert set(more[0].candidate.inks) == {"Wash", "Clear", "Magenta"}
    assert more[0].candidate.F < 0.01 and more[0].candidate.mostly_clear


def test_the_limits_of_the_inks_hold_when_a_colour_is_made_again():
    mix, c, target = sand(stock_g=180.0)
    inks = shop()[2].palette.inks
    lemon = next(k for k, ink in enumerate(inks) if ink.name == "Lemon")
    at_limit = tuple(
        replace(ink, max_percent=100 * c[lemon]) if k == lemon else ink
        for k, ink in enumerate(inks)
    )
    best = most([mix], "Sand rest", target, inks=at_limit, batch_g=400.0)[0]
    assert best.candidate.F < 0.05
    grams = dict(zip(best.candidate.inks, best.candidate.grams, strict=True))
    assert grams["Lemon"] + 180 * c[lemon] <= 400 * c[lemon] + 1e-9
    short = tuple(replace(ink, stock_g=20.0) if k == lemon else ink for k, ink in enumerate(inks))
    for each in most([mix], "Sand rest", target, inks=short, batch_g=400.0):
        grams = dict(zip(each.candidate.inks, each.candidate.grams, strict=True))
        assert grams.get("Lemon", 0) <= 20


def test_stock_is_kept_and_all_of_it_is_used_where_it_can_be():
    found = most([replace(TEAL, stock_g=30.005)], "Old teal", lighter_teal())
    assert found[0].used_g == pytest.approx(30.0, abs=0.011) and found[0].left_g < 0.02
    assert all(each.used_g <= 30.005 for each in found)
    with pytest.raises(InputError, match="nothing is left"):
        most([replace(TEAL, stock_g=0.0)], "Old teal", lighter_teal())


def test_limits_and_wishes_are_kept():
    inks = shop()[2].palette.inks
    free = most([TEAL], "Old teal", lighter_teal())[0]
    added = next(n for n in free.candidate.inks[1:] if n != "White")
    none = most([TEAL], "Old teal", lighter_teal(), without=[added])
    assert all(added not in each.candidate.inks for each in none)
    tight = tuple(replace(ink, max_percent=0.1) if ink.name == added else ink for ink in inks)
    kept = most([TEAL], "Old teal", lighter_teal(), inks=tight)
    assert all(added not in each.candidate.inks for each in kept)
    few = most([TEAL], "Old teal", lighter_teal(), max_inks=2)
    assert all(len(each.candidate.inks) <= 2 for each in few)


def test_where_nothing_is_near_enough_the_nearest_are_told():
    # A teal can't be made orange by adding one ink, whichever it is.
    orange = target_of(shop()[0], mixture(shop()[0], Lemon=0.5, Scarlet=0.5))
    found = most([replace(TEAL, stock_g=300.0)], "Old teal", orange, max_inks=2)
    assert found and not any(each.within for each in found)
    away = [float(each.candidate.de00[0]) for each in found]
    assert min(away) > 1


def test_its_chance_counts_the_leftover_s_own_lots():
    sure = replace(TEAL, R=reflectance(shop()[2].palette, the_shelf(TEAL).contents[0]))
    by_label = most([TEAL], "Old teal", lighter_teal(), tolerance_de00=0.8)[0].candidate
    measured = most([sure], "Old teal", lighter_teal(), tolerance_de00=0.8)[0].candidate
    assert by_label.chance_in_tolerance is not None
    assert measured.chance_in_tolerance > by_label.chance_in_tolerance


@pytest.mark.parametrize("mix", [TEAL, PINK, replace(TEAL, stock_g=120.0)])
def test_a_quick_look_takes_nearly_as_much(mix):
    target, held = lighter_teal(), the_shelf(mix)
    known = mixture(shop()[0], White=0.8, Sky_blue=0.1, Green=0.09, Lemon=0.01)
    began = time.process_time()
    (whole, *_) = use(held, mix.name, target, shop()[3], **BATCH, top=1)
    between = time.process_time()
    (quick, *_) = use(held, mix.name, target, shop()[3], **BATCH, top=1, quick=known)
    ended = time.process_time()
    assert quick.within and quick.share >= 0.95 * whole.share
    assert ended - between < between - began


def test_which_bucket_to_start_from_and_what_it_saves(monkeypatch):
    monkeypatch.setattr("matchkit.correcting.leftovers.use", asked)  # each once
    priced = tuple(replace(ink, cost_per_kg=10.0) for ink in shop()[2].palette.inks)
    held = the_shelf(PINK, TEAL, inks=priced)
    target = lighter_teal()
    found = which_bucket(held, target, shop()[3], fresh_cost_per_kg=10.0, **BATCH)
    assert found[0].name == "Old teal"
    # Every ink costs 10 a kilogram, so a gram of leftover saves 0.01, by hand.
    for each in found:
        assert each.saved == pytest.approx(0.01 * each.used_g)
        assert each.fresh_g == pytest.approx(500 - each.used_g)
    # Where fresh ink costs less than what the leftover still needs, nothing is saved.
    assert which_bucket(held, target, shop()[3], fresh_cost_per_kg=0.1, **BATCH) == ()
    # Nobody starts from what is left at the bottom of a container.
    scraped = the_shelf(replace(TEAL, stock_g=0.01), replace(PINK, stock_g=2.0), inks=priced)
    assert which_bucket(scraped, target, shop()[3], fresh_cost_per_kg=10.0, **BATCH) == ()
    unpriced = which_bucket(the_shelf(PINK, TEAL), target, shop()[3], **BATCH)
    assert [each.name for each in unpriced] == [each.name for each in found]
    assert unpriced[0].saved is None


def test_it_takes_less_fresh_ink_than_a_fresh_formula():
    target = lighter_teal()
    palette = shop()[2].palette
    (fresh, *_) = candidates(
        solve(palette, target), palette, target, Choices(batch_g=500),
        resolution_g=0.01, tolerance_de00=1.0,
    )  # fmt: skip
    best = most([TEAL], "Old teal", target)[0]
    assert best.fresh_g < sum(fresh.grams) - 100
