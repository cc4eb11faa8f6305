"""Lots learned batch by batch, against the textbook Kalman filter and the virtual bench."""

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import approx_fprime
from small_bench import mixture, shop

from matchkit.colorimetry.grid import GRID_NM
from matchkit.correcting import lots
from matchkit.correcting.diagnose import LEAST_MODEL_F, NOISE_F, REACH_NM, Round
from matchkit.errors import InputError
from matchkit.fitting.constants import f_scale
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Ink
from matchkit.simulator.simulate import draw_lots, opaque_R, random_mixtures, read, weigh


@pytest.fixture(scope="module")
def palette():
    return shop()[2].palette


def batch(palette, c, log_strength):
    """A batch of 500 g that obeys the palette, measured without error."""
    return Round(grams=500 * c, R=reflectance(palette, c, np.exp(log_strength)))


def kalman(palette, spread, grams, y, mean, P):
    """The filter: x+ = x + K (y - h(x)), P+ = (1 - K H) P with K = P H' (H P H' + R)^-1.

    Kalman (1960), from memory.  Slopes are scipy's finite differences; R holds the model's
    smooth error, the reading's own, and pours.
    """
    c = grams / grams.sum()

    def h(x):
        return f_scale(reflectance(palette, c, np.exp(x)))[0]

    def poured(g):
        return f_scale(reflectance(palette, g / g.sum(), np.exp(mean)))[0]

    H = np.array([approx_fprime(mean, lambda x, k=k: h(x)[k], 1e-6) for k in range(len(y))])
    G = np.array([approx_fprime(grams, lambda g, k=k: poured(g)[k], 1e-3) for k in range(len(y))])
    G = G[:, grams > 0]
    smooth = np.exp(-(((GRID_NM[:, None] - GRID_NM) / REACH_NM) ** 2) / 2)
    R = LEAST_MODEL_F**2 * smooth + NOISE_F**2 * np.eye(len(y)) + spread.pour_g**2 * G @ G.T
    P = P + np.diag(np.where(grams > 0, lots.FORGOTTEN**2, 0))
    K = P @ H.T @ np.linalg.inv(H @ P @ H.T + R)
    return mean + K @ (y - h(mean)), (np.eye(len(mean)) - K @ H) @ P


def test_learning_is_the_kalman_filter_where_all_is_linear(palette):
    bench, _, _, spread, _ = shop()
    known = lots.start(palette.inks)
    mean, P = lots.for_palette(known, palette)
    true = 0.002 * np.random.default_rng(1).standard_normal(len(mean))  # small: linear
    for c in (
        mixture(bench, White=0.8, Lemon=0.15, Green=0.05),
        mixture(bench, White=0.5, Scarlet=0.3, Lemon=0.2),
        mixture(bench, Clear=0.7, Sky_blue=0.2, White=0.1),
    ):
        measured = batch(palette, c, true)
        mean, P = kalman(palette, spread, measured.grams, f_scale(measured.R)[0], mean, P)
        known, odd = lots.learn(known, palette, [measured], spread)
        assert odd == ()
    np.testing.assert_allclose(known.mean, mean, atol=3e-5)
    np.testing.assert_allclose(known.covariance, P, atol=3e-6)
    assert known.n_batches == 3


def test_twenty_batches_on_the_bench_teach_the_lots():
    bench, _, found, spread, model_f = shop(lot_spread_percent=5.0)
    palette, rng = found.palette, np.random.default_rng(8)
    true = draw_lots(rng, len(palette.inks), 0.05)
    known = lots.start(palette.inks)
    for k in range(20):
        c = random_mixtures(bench, rng, ("pastel", "half", "deep", "clear")[k % 4], 1)[0]
        grams, shown = weigh(500 * c, rng)
        R = read(opaque_R(bench, grams / grams.sum(), true), rng, repeats=3).mean(axis=-2)
        known, _ = lots.learn(known, palette, [Round(grams=shown, R=R)], spread, model_f=model_f)
    mean, covariance = lots.for_palette(known, palette)
    # Strength can only be told beside the white's.
    beside = np.eye(len(mean))[1:] - np.eye(len(mean))[0]
    error = beside @ (mean - np.log(true))
    used = np.array([ink.role == "colour" for ink in palette.inks])[1:]
    assert np.sqrt((error[used] ** 2).mean()) < 0.012  # of 0.07 at the start
    sure = np.sqrt(np.diag(beside @ covariance @ beside.T))
    assert 0.4 < np.sqrt(((error / sure)[used] ** 2).mean()) < 1.8
    np.testing.assert_allclose(lots.apply(palette, known).strengths, np.exp(mean))


def test_a_slip_teaches_nothing_and_is_named(palette):
    bench, _, _, spread, _ = shop()
    known = lots.start(palette.inks)
    c = mixture(bench, White=0.8, Lemon=0.15, Green=0.05)
    twice = mixture(bench, White=0.8, Lemon=0.15, Green=0.10)
    slipped = Round(grams=500 * c, R=reflectance(palette, twice))
    after, odd = lots.learn(known, palette, [slipped], spread)
    assert after is known
    assert any("Green" in line and "slip" in line for line in odd)


def test_a_reading_of_something_else_teaches_nothing(palette):
    bench, _, _, spread, _ = shop()
    known = lots.start(palette.inks)
    c = mixture(bench, White=0.8, Lemon=0.2)
    other = reflectance(palette, mixture(bench, White=0.6, Magenta=0.4))
    after, odd = lots.learn(known, palette, [Round(grams=500 * c, R=other)], spread)
    assert after is known and odd


def test_a_new_lot_is_forgotten_and_the_others_are_not(palette):
    bench, _, _, spread, _ = shop()
    c = mixture(bench, White=0.8, Lemon=0.15, Green=0.05)
    off = np.where(c > 0, 0.03, 0.0)
    off[0] = -0.02
    known, _ = lots.learn(lots.start(palette.inks), palette, [batch(palette, c, off)], spread)
    i, j = palette.index("Lemon"), palette.index("Green")
    assert known.mean[i] > 0.005 and known.covariance[i, j] != 0
    new = lots.new_lot(known, "Lemon", "2")
    assert new.lots[i] == "2" and new.mean[i] == 0
    assert new.covariance[i, i] == pytest.approx(0.03**2) and not new.covariance[i, j]
    assert new.mean[j] == known.mean[j] and new.covariance[j, j] == known.covariance[j, j]
    with pytest.raises(InputError, match="no lot is known of an ink 'Lime'"):
        lots.new_lot(known, "Lime", "2")


def test_the_shelf_as_it_stands(palette):
    known = replace(lots.start(palette.inks), mean=np.full(len(palette.inks), 0.02))
    inks = [
        Ink(name="Brown", role="colour", lot="9"),
        replace(palette.inks[3], lot="2"),
        palette.inks[0],
    ]
    now = lots.on_shelf(known, inks)
    assert now.mean.tolist() == [0.0, 0.0, 0.02]
    assert now.inks == ("Brown", "Lemon", "White")
    assert lots.on_shelf(lots.start([]), inks).mean.tolist() == [0.0, 0.0, 0.0]


def test_lots_survive_json(palette):
    bench, _, _, spread, _ = shop()
    c = mixture(bench, White=0.8, Lemon=0.2)
    known, _ = lots.learn(
        lots.start(palette.inks), palette, [batch(palette, c, 0.01 * np.ones(len(c)))], spread
    )
    again = lots.from_json(json.loads(json.dumps(lots.as_json(known))))
    assert again.inks == known.inks and again.lots == known.lots and again.n_batches == 1
    np.testing.assert_array_equal(again.covariance, known.covariance)
    np.testing.assert_array_equal(again.mean, known.mean)


@pytest.mark.parametrize(
    "spoiled", [{"mean": [0.0]}, {"mean": "x"}, {"inks": 3}, {"covariance": [[float("nan")]]}]
)
def test_a_spoiled_record_is_refused(palette, spoiled):
    kept = lots.as_json(lots.start(palette.inks))
    with pytest.raises(InputError, match="lots"):
        lots.from_json({**kept, **spoiled})
    with pytest.raises(InputError, match="mean missing"):
        lots.from_json({key: value for key, value in kept.items() if key != "mean"})
