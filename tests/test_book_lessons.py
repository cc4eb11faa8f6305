"""What the book learns about lots, on the virtual bench, which knows the true strengths."""

import itertools
import json
from dataclasses import replace

import numpy as np
import pytest
from book_shop import Clock

from matchkit.book.batches import fit_key
from matchkit.book.containers import UNFIT, add, measure, weigh
from matchkit.book.entries import close, log_match, strike
from matchkit.book.jobs import job
from matchkit.book.lessons import drift, learned, save_lessons
from matchkit.book.stock import keep_leftover, open_lot, today
from matchkit.book.store import open_book, reading
from matchkit.book.work import approved_R, prediction
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Mix, Shop
from matchkit.matching.match import match
from matchkit.matching.rank import Choices, weighed
from matchkit.report.charts import new_axes
from matchkit.report.ink_plots import drift_chart
from matchkit.simulator.simulate import opaque_R, read
from matchkit.workflows.correcting_batch import correct_batch
from matchkit.workflows.measuring_batch import measure_batch
from matchkit.workflows.session import Session
from tests.studies import book_learning

STRONG = 1.06  # of the first colour's lot


@pytest.fixture
def shop(fitted, bench):
    inks = tuple(replace(ink, lot=f"{ink.name[:1]}1") for ink in fitted.palette.inks)
    return Shop(
        name="bench",
        geometry=bench.geometry,
        condition="UV included",
        observer=10,
        lights=("D65", "A"),
        inks=inks,
    )


@pytest.fixture
def fits(fitted, shop):
    return {"": replace(fitted, palette=replace(fitted.palette, inks=shop.inks))}


@pytest.fixture
def book(tmp_path):
    return open_book(tmp_path, who="Ana", clock=Clock())


class Hands:
    """Someone who makes batches of white, Scarlet and one more colour, on the bench.

    One pair of inks can't tell which of the two is strong; with other colours it shows.
    """

    def __init__(self, book, shop, fits, bench, strength=STRONG):
        self.book, self.shop, self.fits, self.bench = book, shop, fits, bench
        self.palette = fits[""].palette
        self.strengths = np.ones(len(shop.inks))
        self.ink = self.palette.index("Scarlet")
        self.strengths[self.ink] = strength
        self.others = itertools.cycle([3, 5, 6, 7, 8])
        self.rng = np.random.default_rng(11)

    def grams(self, percent, other=None):
        """500 g with so much Scarlet and half as much of another colour."""
        c = np.zeros(len(self.shop.inks))
        c[self.ink] = percent / 100
        if other is not None:
            c[other] = percent / 200
        c[0] = 1 - c.sum()
        return np.round(500 * c, 2)

    def make(self, percent, other="next"):
        """One batch, weighed and measured; its number."""
        grams = self.grams(percent, next(self.others) if other == "next" else other)
        wanted = reflectance(self.palette, grams / 500)
        target = Target.from_spectrum(wanted, self.shop.lights, 10)
        formula = weighed(self.palette, grams, target)
        batch = log_match(self.book, self.shop, target, formula, name=f"{percent} %").batch
        weigh(self.book, self.shop, batch, dict(zip(formula.inks, formula.grams, strict=True)))
        measure(self.book, self.shop, batch, self.read(grams))
        return batch

    def read(self, grams):
        """Three readings, as the bench gives them."""
        R = opaque_R(self.bench, grams / grams.sum(), self.strengths)
        return read(R, self.rng, repeats=3)

    def lots(self, **how):
        return learned(self.book, self.shop, self.fits, **how).lots[""]


def session_of(hands):
    """A session on the hands' shop, which has no files."""
    session = Session(hands.book.path.parent)
    own = {"files": hands.shop, "fits": hands.fits, "book": hands.book, "targets": {}}
    session.__dict__.update(own)
    return session


@pytest.fixture
def hands(book, shop, fits, bench):
    return Hands(book, shop, fits, bench)


def test_a_strong_lot_is_learned_and_said(hands):
    for percent in (4.0, 8.0, 15.0, 6.0, 10.0, 20.0):
        hands.make(percent)
    found = learned(hands.book, hands.shop, hands.fits)
    name = "Scarlet"
    strength = found.fits[""].palette.strengths[hands.ink]
    assert strength == pytest.approx(STRONG, abs=0.02)
    (words,) = [line for line in found.words if line.startswith(name)]
    by = round(100 * (strength - 1))
    assert words == f"{name} lot S1 has run {by} % strong over 6 batches"
    spreads = [ink.lot_spread_percent for ink in found.fits[""].palette.inks]
    assert spreads[hands.ink] < 1.5
    assert spreads[hands.palette.index("Brown")] == pytest.approx(3.0)


def test_it_can_be_switched_off(hands):
    hands.make(10.0)
    off = learned(hands.book, hands.shop, hands.fits, learning=False)
    assert off.fits[""].palette.strengths is None
    assert off.words == ()
    assert not off.lots[""].mean.any()


@pytest.mark.parametrize("way", ["record", "file"])
def test_a_new_lot_is_forgotten_the_others_are_not(hands, way):
    for percent in (8.0, 15.0):
        hands.make(percent)
    before = hands.lots()
    if way == "record":
        open_lot(hands.book, hands.shop, "Scarlet", "next")
        shop = hands.shop
    else:
        inks = list(hands.shop.inks)
        inks[hands.ink] = replace(inks[hands.ink], lot="next")
        shop = replace(hands.shop, inks=tuple(inks))
    after = learned(hands.book, shop, hands.fits).lots[""]
    k = hands.ink
    assert before.mean[k] > 0.02
    assert after.mean[k] == 0
    assert after.covariance[k, k] == pytest.approx(0.03**2)
    assert after.lots[k] == "next"
    assert after.mean[0] == before.mean[0] != 0


def test_what_was_kept_is_what_would_be_found_anew(hands, tmp_path, bench):
    """Two books with the same records; one keeps its lessons as it goes, one never does."""
    (tmp_path / "plain").mkdir()
    plain = Hands(open_book(tmp_path / "plain", clock=Clock()), hands.shop, hands.fits, bench)
    for percent in (4.0, 8.0, 15.0):
        hands.make(percent)
        plain.make(percent)
        save_lessons(hands.book, hands.shop, hands.fits)
    a, b = hands.lots(), plain.lots()
    np.testing.assert_allclose(a.mean, b.mean, atol=1e-7)
    np.testing.assert_allclose(a.covariance, b.covariance, atol=1e-10)
    with reading(hands.book) as db:
        assert db.execute("SELECT count(*) FROM lesson").fetchone() == (3,)


def test_a_struck_reading_is_unlearned(hands):
    hands.make(8.0)
    save_lessons(hands.book, hands.shop, hands.fits)
    before = hands.lots()
    wrong = hands.make(15.0)
    save_lessons(hands.book, hands.shop, hands.fits)
    assert hands.lots().n_batches == 2
    strike(hands.book, "measurement", job(hands.book, wrong).readings[0].measurement, "wrong card")
    after = hands.lots()
    assert after.n_batches == 1
    np.testing.assert_allclose(after.mean, before.mean, atol=1e-7)


def test_other_inks_make_old_lessons_void(hands):
    hands.make(8.0)
    save_lessons(hands.book, hands.shop, hands.fits)
    palette = hands.palette
    other = replace(palette, K=palette.K * 1.02)
    assert fit_key(other) != fit_key(palette)
    fits = {"": replace(hands.fits[""], palette=other)}
    again = learned(hands.book, hands.shop, fits).lots[""]
    assert again.n_batches == 1
    assert again.mean[hands.ink] < hands.lots().mean[hands.ink]


def test_a_batch_is_not_heard_twice(hands):
    hands.make(8.0)
    save_lessons(hands.book, hands.shop, hands.fits)
    before = hands.lots()
    now = hands.make(15.0)
    save_lessons(hands.book, hands.shop, hands.fits)
    without = hands.lots(without=now)
    np.testing.assert_allclose(without.mean, before.mean, atol=1e-7)
    assert hands.lots().n_batches == 2


def test_readings_of_another_geometry_teach_nothing(hands):
    hands.make(8.0)
    elsewhere = replace(hands.shop, geometry="d/8 specular included")
    assert learned(hands.book, elsewhere, hands.fits).lots[""].n_batches == 0


def with_mix(hands, name, mix_g, c, other=5):
    """A batch of a mixture that holds the shares `c` (n_ink,), a colour and white; its record."""
    held = mix_g * c
    held[[0, other]] += 500 - 1.2 * mix_g, 0.2 * mix_g
    target = Target.from_spectrum(
        reflectance(hands.palette, held / held.sum()), hands.shop.lights, 10
    )
    formula = weighed(hands.palette, held, target)
    batch = log_match(hands.book, hands.shop, target, formula, name=name).batch
    names, fresh = hands.palette.names, {0: 500 - 1.2 * mix_g, other: 0.2 * mix_g}
    poured = {name: mix_g} | {names[i]: g for i, g in fresh.items()}
    weigh(hands.book, hands.shop, batch, poured)
    measure(hands.book, hands.shop, batch, hands.read(held))
    return job(hands.book, batch)


def test_a_batch_of_a_leftover_teaches_by_the_lots_that_went_into_it(hands):
    first = hands.make(20.0)
    keep_leftover(hands.book, hands.shop, first, 400.0, "Old tint")
    before = hands.lots()
    held = np.array([job(hands.book, first).pours[0].holds.get(n, 0) for n in hands.palette.names])
    with_mix(hands, "Old tint", 200.0, held / held.sum())
    after = hands.lots()
    assert after.n_batches == 2
    k = hands.ink
    assert after.covariance[k, k] < before.covariance[k, k]
    assert after.mean[k] == pytest.approx(np.log(STRONG), abs=0.02)
    open_lot(hands.book, hands.shop, "Scarlet", "S2")  # the leftover stays one of the old lot
    with_mix(hands, "Old tint", 100.0, held / held.sum())
    hands.make(10.0, other=None)
    hands.shop = today(hands.book, hands.shop)
    newer = hands.lots()
    assert newer.n_batches == 4
    assert newer.lots[k] == "S2"


def test_a_letdown_of_mixes_csv_teaches_by_its_recipe(hands):
    """All of the strong ink comes through it; the lots in use when it was first weighed count."""
    letdown = Mix(name="Scarlet 10", inks=("White", "Scarlet"), fractions=(0.9, 0.1))
    hands.shop = replace(hands.shop, mixes=(letdown,))
    held = np.zeros(len(hands.shop.inks))
    held[[0, hands.ink]] = 0.9, 0.1
    for other in (3, 5, 6, 7):
        record = with_mix(hands, "Scarlet 10", 300.0, held, other)
    assert record.pours[0].held["Scarlet", "S1"] == pytest.approx(30.0)
    found = hands.lots()
    assert found.n_batches == 4
    assert found.mean[hands.ink] == pytest.approx(np.log(STRONG), abs=0.02)
    # Of a lot that was opened later nothing is known, whatever the old letdown shows.
    open_lot(hands.book, hands.shop, "Scarlet", "S2")
    hands.shop = today(hands.book, hands.shop)
    with_mix(hands, "Scarlet 10", 300.0, held)
    found = hands.lots()
    assert found.mean[hands.ink] == pytest.approx(0.0, abs=1e-6)
    assert found.covariance[hands.ink, hands.ink] == pytest.approx(0.03**2, rel=0.02)


def test_an_odd_batch_teaches_nothing_and_is_spoken_of(hands):
    """A slip of a third more colour is no lot."""
    hands.make(8.0)
    before = hands.lots()
    hands.strengths[hands.ink] = 1.4
    hands.make(10.0)
    found = learned(hands.book, hands.shop, hands.fits)
    np.testing.assert_allclose(found.lots[""].mean, before.mean, atol=1e-12)
    assert any(line.startswith("batch 2:") for line in found.odd)


def test_a_reading_logged_again_counts_once(hands):
    """In the same batch, after an addition that it can't have seen."""
    batch = hands.make(8.0)
    add(hands.book, hands.shop, batch, {"White": 1.0})
    before = hands.lots()
    measure(hands.book, hands.shop, batch, job(hands.book, batch).readings[0].R)
    after = hands.lots()
    np.testing.assert_allclose(after.mean, before.mean, atol=1e-12)
    np.testing.assert_allclose(after.covariance, before.covariance, atol=1e-12)


def test_a_reading_logged_to_another_batch_too_teaches_nothing_there_and_is_told(hands):
    first = hands.make(8.0)
    save_lessons(hands.book, hands.shop, hands.fits)
    before = hands.lots()
    second = hands.make(8.0)
    right = job(hands.book, second).readings[0].measurement
    strike(hands.book, "measurement", right, "wrong file")
    measure(hands.book, hands.shop, second, job(hands.book, first).readings[0].R)
    found = learned(hands.book, hands.shop, hands.fits)
    np.testing.assert_allclose(found.lots[""].mean, before.mean, atol=1e-7)
    (line,) = found.odd
    assert line == (
        f"batch {second}: its reading is that of batch {first}, logged again; it is left out"
    )


def test_drift_tells_each_batch_and_all_so_far(hands):
    batches = [hands.make(percent) for percent in (5.0, 10.0, 20.0, 8.0, 12.0)]
    rows = drift(hands.book, hands.shop, hands.fits[""], "Scarlet")
    assert [row.batch for row in rows] == batches
    assert rows[-1].error < rows[0].error
    assert rows[-1].strength == pytest.approx(STRONG, abs=0.02)
    assert {row.lot for row in rows} == {"S1"}
    assert rows[0].alone == pytest.approx(rows[0].strength, abs=0.01)
    assert drift(hands.book, hands.shop, hands.fits[""], "Brown") == []


def test_the_drift_chart_shows_lots_apart(hands):
    """Two lots: two lines, a dashed one between them, every batch named below."""
    batches = [hands.make(percent) for percent in (5.0, 10.0)]
    open_lot(hands.book, hands.shop, "Scarlet", "S2")
    batches.append(hands.make(8.0))
    rows = drift(hands.book, hands.shop, hands.fits[""], "Scarlet")
    _, ax = new_axes()
    assert drift_chart(ax, "Scarlet", rows) is ax
    assert [text.get_text() for text in ax.get_xticklabels()] == [str(b) for b in batches]
    assert [text.get_text() for text in ax.texts] == ["lot S1", "lot S2"]
    solid = [line.get_ydata() for line in ax.lines if line.get_linewidth() == 1.6]
    np.testing.assert_allclose(
        np.concatenate(solid), [100 * row.strength for row in rows], rtol=1e-12
    )
    assert [line.get_xdata()[0] for line in ax.lines if line.get_linestyle() == "--"] == [2.5]
    assert drift_chart(new_axes()[1], "Brown", []).get_title() == "Brown"


def weak_ink(hands):
    """A batch of much weak ink, after two that tell how weak it is."""
    hands.strengths[hands.ink] = 0.85
    for percent in (8.0, 15.0):
        hands.make(percent)
    return hands.make(12.0, other=None)


def test_advice_brings_a_batch_in_on_the_bench(hands):
    """Weak ink, much of it: what the book advises is added and measured on the bench."""
    batch = weak_ink(hands)
    found = correct_batch(session_of(hands), batch)
    assert found.least.added_g > 0
    with reading(hands.book) as db:
        (kept,) = db.execute("SELECT measurement FROM correction").fetchall()
    assert kept == (job(hands.book, batch).readings[0].measurement,)
    grams = hands.grams(12.0)
    wanted = found.wanted.target.lab[0]
    before, after = (
        float(de00(wanted, Lab(opaque_R(hands.bench, g / g.sum(), hands.strengths),
                                            "D65", 10)))
        for g in (grams, grams + found.least.additions_g)
    )  # fmt: skip
    assert before > 1
    assert after < 1


def test_nothing_is_added_or_judged_by_a_target_that_was_struck(hands):
    batch = hands.make(12.0, other=None)
    strike(hands.book, "target", job(hands.book, batch).target, "another sample")
    with pytest.raises(InputError, match=r"struck \(another sample\): begin a batch"):
        correct_batch(session_of(hands), batch)
    with pytest.raises(InputError, match="was struck"):
        measure_batch(session_of(hands), batch, hands.read(hands.grams(12.0)))
    assert len(job(hands.book, batch).readings) == 1


def test_a_lot_that_was_opened_since_is_not_the_batch_s(hands):
    """What is known of the batch's own lot counts, and what is added of another is told."""
    batch = weak_ink(hands)
    before = correct_batch(session_of(hands), batch)
    open_lot(hands.book, hands.shop, "Scarlet", "S9")
    session = session_of(hands)
    after = correct_batch(session, batch)
    np.testing.assert_allclose(after.belief.log_strength, before.belief.log_strength)
    np.testing.assert_allclose(after.least.additions_g, before.least.additions_g)
    assert "Scarlet: the grams to add count on lot S1" in " ".join(
        each.text for each in session.notices
    )


@pytest.mark.parametrize("state", [*UNFIT])
def test_nothing_is_added_by_a_drawdown_that_is_not_fit_for_it(hands, state):
    """Nor learned from it; a good one of the same batch counts again."""
    batch = hands.make(12.0, other=None)
    before = hands.lots()
    measure(hands.book, hands.shop, batch, hands.read(hands.grams(20.0)), state=[state])
    record = job(hands.book, batch)
    assert record.readings[-1].state == (state,) and record.readings[-1].passed is None
    np.testing.assert_allclose(hands.lots().mean, before.mean)
    with pytest.raises(InputError, match=f"was {state}; add nothing because of it"):
        correct_batch(session_of(hands), batch)
    measure(hands.book, hands.shop, batch, hands.read(hands.grams(12.0)))
    assert correct_batch(session_of(hands), batch).batch == batch


def test_advice_needs_a_target_and_a_bucket(hands, tmp_path):
    (tmp_path / "new").mkdir()
    fresh = Hands(open_book(tmp_path / "new"), hands.shop, hands.fits, hands.bench)
    batch = hands.make(8.0)
    strike(hands.book, "weighing", job(hands.book, batch).pours[0].weighing, "spilt")
    with pytest.raises(InputError, match="not been weighed"):
        correct_batch(session_of(hands), batch)
    with pytest.raises(InputError, match="no batch 1"):
        correct_batch(session_of(fresh), 1)


def test_a_reprint_with_todays_lots_is_nearer_than_the_old_formula(hands):
    """Last month's colour, approved with a strong lot, made again after a weak one came in."""
    old = hands.make(12.0, other=None)
    close(hands.book, old, "approved")
    measure(hands.book, hands.shop, old, hands.read(hands.grams(14.0)))  # aged; not the standard
    hands.strengths[hands.ink] = 0.93
    open_lot(hands.book, hands.shop, "Scarlet", "weak")
    hands.shop = today(hands.book, hands.shop)
    for percent in (5.0, 10.0, 20.0):
        hands.make(percent)
    known = learned(hands.book, hands.shop, hands.fits)
    record = job(hands.book, old)
    R, approved = approved_R(record, hands.shop)
    assert approved and np.array_equal(R, record.readings[0].R)
    target = Target.from_spectrum(R, hands.shop.lights, hands.shop.observer)
    again, _ = prediction(
        hands.shop, known.fits, [*record.holds], [*record.holds.values()], target=target
    )
    best = match(hands.shop, known.fits, target, Choices(batch_g=500.0, max_inks=2)).formulas[0]
    wanted = Lab(R, "D65", 10)

    def made(formula):
        grams = np.zeros(len(hands.shop.inks))
        for ink, g in zip(formula.inks, formula.grams, strict=True):
            grams[hands.palette.index(ink)] = g
        R = opaque_R(hands.bench, grams / grams.sum(), hands.strengths)
        return float(de00(wanted, Lab(R, "D65", 10)))

    assert made(again) > 1
    assert again.de00[0] == pytest.approx(made(again), abs=0.3)
    assert made(best) < 0.35


# ---- the study


def test_learning_closes_most_of_the_gap_in_the_stored_study():
    """Of what known strengths are worth where inks are easy; batches counted do no worse."""
    whole, *_ = json.loads(book_learning.STORED.read_text(encoding="utf-8"))["easy-10"]
    gap = whole["known"] - whole["unknown"]
    assert whole["jobs"] == book_learning.JOBS * len(book_learning.SEEDS) and gap > 0
    assert whole["lots"] - whole["unknown"] >= 0.5 * gap
    assert whole["learned"] >= whole["lots"] - 0.01


def test_the_study_in_small():
    """One shop with few inks and jobs, to see that it runs; the whole study is what judges."""
    away = book_learning.play(1, n_jobs=9, n_colours=2)[3:]
    unknown, lots, learned_, known = np.median(away, axis=0)
    assert unknown - max(lots, learned_) > 0.5 * (unknown - known)


@pytest.mark.slow
def test_the_study_is_as_stored():
    away = np.array([book_learning.play(seed, "easy-3") for seed in book_learning.SEEDS])
    stored = json.loads(book_learning.STORED.read_text(encoding="utf-8"))
    assert book_learning.study(away) == stored["easy-3"]
