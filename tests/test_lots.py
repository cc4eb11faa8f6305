"""Lots learned batch by batch, against the textbook Kalman filter and the virtual bench."""

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import approx_fprime
from small_bench import mixture, shop

from matchkit.colorimetry.grid import GRID_NM
from matchkit.correcting import lots
from matchkit.correcting.advice import lot_strengths
from matchkit.correcting.diagnose import (
    Round,
    beside_the_batch,
    infer,
)
from matchkit.errors import InputError
from matchkit.fitting.constants import f_scale
from matchkit.fitting.outliers import NOISE_F, REACH_NM
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Ink
from matchkit.matching.probability import LEAST_MODEL_F
from matchkit.simulator.simulate import draw_lots, opaque_R, random_mixtures, read, weigh
from tests.studies import lots_honest as study


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
    bench, _, _, spread = shop()
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
    bench, _, found, spread = shop(lot_spread_percent=5.0)
    palette, rng = found.palette, np.random.default_rng(8)
    true = draw_lots(rng, len(palette.inks), 0.05)
    known = lots.start(palette.inks)
    for k in range(20):
        c = random_mixtures(bench, rng, ("pastel", "half", "deep", "clear")[k % 4], 1)[0]
        grams, shown = weigh(500 * c, rng)
        R = read(opaque_R(bench, grams / grams.sum(), true), rng, repeats=3).mean(axis=-2)
        known, _ = lots.learn(known, palette, [Round(grams=shown, R=R)], spread)
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
    bench, _, _, spread = shop()
    known = lots.start(palette.inks)
    c = mixture(bench, White=0.8, Lemon=0.15, Green=0.05)
    twice = mixture(bench, White=0.8, Lemon=0.15, Green=0.10)
    slipped = Round(grams=500 * c, R=reflectance(palette, twice))
    after, odd = lots.learn(known, palette, [slipped], spread)
    assert after is known
    assert any("Green" in line and "weighing error" in line for line in odd)


def test_a_reading_of_something_else_teaches_nothing(palette):
    bench, _, _, spread = shop()
    known = lots.start(palette.inks)
    c = mixture(bench, White=0.8, Lemon=0.2)
    other = reflectance(palette, mixture(bench, White=0.6, Magenta=0.4))
    after, odd = lots.learn(known, palette, [Round(grams=500 * c, R=other)], spread)
    assert after is known and odd


def test_a_new_lot_is_forgotten_and_the_others_are_not(palette):
    bench, _, _, spread = shop()
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
    bench, _, _, spread = shop()
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


def test_a_factor_common_to_all_inks_changes_nothing_that_is_told():
    x, P = np.array([0.01, -0.02, 0.03]), np.diag([1e-4, 2e-4, 3e-4])
    grams, prior = np.array([400.0, 50.0, 0.0]), np.full(3, 0.03)
    told, _ = beside_the_batch(x, P, prior, grams)
    shifted, _ = beside_the_batch(x + np.array([0.05, 0.05, 0.0]), P, prior, grams)
    np.testing.assert_allclose(told, shifted)
    assert grams @ told == pytest.approx(0)
    assert told[2] == x[2]  # not in the batch


def test_the_told_error_is_one_standard_deviation_where_all_is_gaussian():
    """Against 20,000 draws: lots, one reading of their differences, its Gaussian posterior."""
    rng = np.random.default_rng(5)
    prior, grams = np.array([0.03, 0.03, 0.05]), np.array([300.0, 60.0, 40.0])
    H = np.array([[-1.0, 1.0, 0.0], [-1.0, 0.0, 1.0]])
    x = prior * rng.standard_normal((20_000, 3))
    y = x @ H.T + 0.005 * rng.standard_normal((20_000, 2))
    gain = (
        np.diag(prior**2) @ H.T @ np.linalg.inv(H @ np.diag(prior**2) @ H.T + 0.005**2 * np.eye(2))
    )
    P = (np.eye(3) - gain @ H) @ np.diag(prior**2)
    told = [beside_the_batch(mean, P, prior, grams) for mean in y @ gain.T]
    z = (np.array([t for t, _ in told]) - x) / told[0][1]
    np.testing.assert_allclose(z.std(axis=0), 1, atol=0.02)
    np.testing.assert_allclose((np.abs(z) < 1).mean(axis=0), 0.683, atol=0.01)


def test_strengths_are_told_beside_the_mean_of_the_batches():
    """Short form of `tests.studies.lots_honest`, on a seed that it doesn't use."""
    rows = study.play(53001, batches=2)
    assert {row["after"] for row in rows} == {"one", "all"}
    assert all(abs(row["told"] - row["true"]) < 4 * row["error"] for row in rows)


def test_the_stored_study_has_two_thirds_of_the_truth_within_one_error():
    stored = json.loads(study.STORED.read_text(encoding="utf-8"))
    assert stored["shops"] == 200
    for after in ("one", "all"):
        assert stored[after]["within"] == pytest.approx(0.68, abs=0.05)
        assert stored[after]["white_wronged"] <= stored[after]["white_wronged_before"]


def test_a_sound_white_is_not_called_weak_beside_a_strong_colour(palette):
    bench, _, _, spread = shop()
    c = mixture(bench, White=0.85, Scarlet=0.15)
    strong = np.where(np.arange(len(c)) == palette.index("Scarlet"), np.log(1.06), 0.0)
    belief = infer(palette, [batch(palette, c, strong)], spread)
    assert belief.log_strength[0] < -np.sqrt(belief.covariance[0, 0])  # by the prior alone
    (told,) = lot_strengths(palette, belief)
    assert told.ink == "Scarlet"
    assert abs(told.percent - 6) < told.error_percent
