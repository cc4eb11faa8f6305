"""Batches of the record book that count in the fit, on the virtual bench, which knows the truth."""

from dataclasses import replace

import numpy as np
import pytest
from book_shop import Clock
from small_bench import shop as small_shop

from matchkit.book.containers import measure, weigh
from matchkit.book.entries import log_match, strike
from matchkit.book.lessons import learned, save_lessons
from matchkit.book.store import open_book, reading
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.files.settings import read_settings
from matchkit.fitting.batches import Batches, count_batches
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Shop
from matchkit.matching.rank import weighed
from matchkit.simulator.simulate import draw_lots, opaque_R, random_mixtures, read

N_BATCHES = 12


@pytest.fixture(scope="module")
def bad():
    """Bench, drawdowns and a fit that is a third off in what one ink absorbs."""
    bench, drawn, found, *_ = small_shop()
    K = found.palette.K.copy()
    K[4] *= 1.35
    few = [d for d in drawn if bench.names[4] not in d.inks]
    names = tuple(d.name for d in few)
    at = [found.drawdowns.index(name) for name in names]
    rows = {n: getattr(found, n)[at] for n in ("fractions", "de00_fitted", "de00_held_out")}
    return bench, few, replace(found, palette=replace(found.palette, K=K), drawdowns=names, **rows)


def batches_of(bench, seed=5, n=N_BATCHES):
    """Random mixtures of lots 3 % apart, as they read."""
    rng = np.random.default_rng(seed)
    C = np.concatenate([random_mixtures(bench, rng, "half", 1) for _ in range(n)])
    C[:, 4] += 0.05
    C /= C.sum(axis=1, keepdims=True)
    strengths = draw_lots(rng, C.shape[1], 0.03)
    R = read(opaque_R(bench, C, strengths), rng)[:, 0]
    lots = np.zeros(C.shape, dtype=int)
    return Batches(names=tuple(f"batch {k}" for k in range(n)), C=C, R=R, lots=lots)


def missed(bench, found):
    """Median dE00 of mixtures that no fit has seen, with the lots that were fitted."""
    rng = np.random.default_rng(6)
    C = np.concatenate([random_mixtures(bench, rng, "half", 1) for _ in range(20)])
    C[:, 4] += 0.05
    C /= C.sum(axis=1, keepdims=True)
    true = Lab(opaque_R(bench, C), "D65", 10)
    return float(np.median(de00(Lab(reflectance(found.palette, C), "D65", 10), true)))


def test_batches_put_an_ink_right_that_drawdowns_got_wrong(bad):
    bench, drawn, found = bad
    counted = count_batches(found, drawn, batches_of(bench), geometry=bench.geometry)
    assert missed(bench, counted) < 0.25 * missed(bench, found)
    assert counted.drawdowns[len(drawn) :] == tuple(f"batch {k}" for k in range(N_BATCHES))
    own = counted.de00_held_out[len(drawn) :]
    assert np.isfinite(own).all() and np.median(own) < 1


def test_one_wrong_batch_bends_nothing(bad):
    """A batch that carries the reading of another."""
    bench = bad[0]
    _, every, found, *_ = small_shop()
    batches = batches_of(bench)
    right = count_batches(found, every, batches, geometry=bench.geometry)
    R = batches.R.copy()
    R[3] = read(opaque_R(bench, batches.C[3][::-1]), np.random.default_rng(1))[0]
    wrong = count_batches(found, every, replace(batches, R=R), geometry=bench.geometry)
    assert missed(bench, wrong) < missed(bench, right) + 0.05


@pytest.fixture
def kept(bad, tmp_path):
    """A book, its shop, the bad fit, and how a batch is written down."""
    bench, drawn, found = bad
    shop = Shop(
        name="bench", geometry=bench.geometry, condition="UV included", observer=10,
        lights=("D65",), inks=found.palette.inks, drawdowns=tuple(drawn),
    )  # fmt: skip
    book = open_book(tmp_path, who="Ana", clock=Clock())
    batches = batches_of(bench)

    def make(k, state=(), R=None):
        grams = np.round(500 * batches.C[k], 2)
        target = Target.from_spectrum(reflectance(found.palette, batches.C[k]), ("D65",), 10)
        formula = weighed(found.palette, grams, target)
        batch = log_match(book, shop, target, formula, name=f"colour {k}").batch
        weigh(book, shop, batch, dict(zip(formula.inks, formula.grams, strict=True)))
        return batch, measure(
            book, shop, batch, batches.R[k] if R is None else R(target), state=state
        )

    return book, shop, {"": found}, make


def kept_fits(book):
    with reading(book) as db:
        count = "SELECT count(*) FROM lesson WHERE fit LIKE 'batches%'"
        return db.execute(count).fetchone()[0]


def test_the_book_keeps_one_fit_that_is_undone_with_a_struck_reading(kept):
    book, shop, fits, make = kept
    for k in range(3):
        make(k)
    save_lessons(book, shop, fits)
    three = learned(book, shop, fits)
    assert three.batches == 3
    assert learned(book, replace(shop, count_batches=False), fits).batches == 0
    number, reading_ = make(3)
    save_lessons(book, shop, fits)
    assert learned(book, shop, fits).batches == 4
    assert learned(book, shop, fits, without=number).batches == 3  # it is about to be corrected
    strike(book, "measurement", reading_, "wrong card")
    again = learned(book, shop, fits)
    assert again.batches == 3
    np.testing.assert_allclose(again.counted[""].palette.K, three.counted[""].palette.K)
    save_lessons(book, shop, fits)
    assert kept_fits(book) == 2  # nothing new to count


@pytest.mark.parametrize(
    "wrong",
    [
        {"state": ("uncured",)},
        {"state": ("not hiding",)},
        {"state": ("unstirred",)},
        {"R": lambda target: target.R},  # the target's file in place of the drawdown's
    ],
)
def test_a_drawdown_that_tells_nothing_of_its_batch_never_counts(kept, wrong):
    book, shop, fits, make = kept
    make(0, **wrong)
    save_lessons(book, shop, fits)
    assert learned(book, shop, fits).batches == 0 and kept_fits(book) == 0


def test_the_switch_in_shop_toml(tmp_path):
    text = """name = "x"
[measurement]
geometry = "45/0"
condition = "M1"
[viewing]
observer = 10
lights = ["D65"]
[book]
count_batches = {}
"""
    path = tmp_path / "shop.toml"
    path.write_text(text.format("false"), encoding="utf-8")
    assert read_settings(path).count_batches is False
    path.write_text(text.format('"no"'), encoding="utf-8")
    with pytest.raises(Exception, match="write true or false"):
        read_settings(path)
