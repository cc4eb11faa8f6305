"""A job from the target to the leftover, the shelf beside it, and finding it again."""

import random
from dataclasses import replace

import numpy as np
import pytest
from book_shop import INKS, PALETTE, SHOP, Clock, aim, candidate, logged

from matchkit.book.containers import add, log_correction, measure, weigh
from matchkit.book.entries import (
    JobDetails,
    close,
    log_formula,
    log_match,
    mend,
    open_batch,
    strike,
)
from matchkit.book.find import find
from matchkit.book.jobs import job, planned_grams, todays_jobs
from matchkit.book.report import pass_shares
from matchkit.book.stock import (
    count,
    deliver,
    keep_leftover,
    leftovers,
    open_lot,
    reorder,
    stock,
    today,
)
from matchkit.book.store import open_book, reading
from matchkit.book.story import events_of
from matchkit.book.work import approved_R, verdict
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab
from matchkit.correcting.correct import Correction
from matchkit.errors import InputError
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Mix

CREAM = {"White": 475.0, "Lemon": 25.0}


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def book(tmp_path, clock):
    return open_book(tmp_path, who="Ana", clock=clock)


def read_as(*shares):
    """What a mixture of the four inks reads."""
    return reflectance(PALETTE, np.array(shares))


def advice(**grams):
    names = [ink.name for ink in INKS]
    zeros = np.zeros(2)
    return Correction(
        additions_g=np.array([grams.get(name, 0.0) for name in names]),
        total_g=510.0,
        R=read_as(1, 0, 0, 0),
        lab=np.zeros((2, 3)),
        de00_before=zeros,
        de00=zeros + 0.2,
        chance_in_tolerance=0.97,
        can_be_saved=True,
    )


# ---- one job


def test_a_job_and_its_states(book, clock):
    batch = logged(book, name="Cream", job="Harbour tees", customer="Kite Club", due="2026-03-04")
    assert job(book, batch).state == "to weigh"
    weigh(book, SHOP, batch, {"White": 475.02, "Lemon": 20.0})
    assert job(book, batch).state == "to measure"
    measure(book, SHOP, batch, read_as(0.96, 0.04, 0, 0))
    assert job(book, batch).state == "out: to correct"
    advised = log_correction(book, batch, advice(Lemon=5.0), tuple(ink.name for ink in INKS))
    add(book, SHOP, batch, {"Lemon": 5.02}, correction=advised)
    assert job(book, batch).state == "to measure"
    clock.on(hours=1)
    measure(book, SHOP, batch, [read_as(0.95, 0.05, 0, 0)] * 3)
    assert job(book, batch).state == "in: to approve"
    close(book, batch, "approved", approved_by="Mr Kite", light="D65")
    story = job(book, batch)
    assert (story.state, story.outcome, story.approved_by) == ("approved", "approved", "Mr Kite")
    assert (story.name, story.customer, story.due) == ("Cream", "Kite Club", "2026-03-04")
    first, second = story.pours
    assert first.inks == ("White", "Lemon")
    assert first.lots == ("W7", "7")
    assert first.planned_g == (475.0, 25.0)
    assert first.actual_g == (475.02, 20.0)
    assert (second.planned_g, second.actual_g) == ((5.0,), (5.02,))
    assert [r.passed for r in story.readings] == [False, True]
    np.testing.assert_allclose(story.readings[1].R, read_as(0.95, 0.05, 0, 0), atol=5e-7)
    assert story.readings[0].de00 > 1 > 0.01 > story.readings[1].de00


def test_what_makes_no_sense_is_refused(book):
    batch = logged(book)
    with pytest.raises(InputError, match="not been weighed yet"):
        measure(book, SHOP, batch, read_as(1, 0, 0, 0))
    with pytest.raises(InputError, match="not been weighed yet"):
        add(book, SHOP, batch, CREAM)
    with pytest.raises(InputError, match=r"no batch 7 in the book; the last is 1"):
        weigh(book, SHOP, 7, CREAM)
    with pytest.raises(InputError, match="was not measured"):
        close(book, batch, "approved")
    with pytest.raises(InputError, match="write approved, rejected, abandoned"):
        close(book, batch, "fine")
    weigh(book, SHOP, batch, CREAM)
    with pytest.raises(InputError, match="was weighed already"):
        weigh(book, SHOP, batch, CREAM)
    with pytest.raises(InputError, match=r"reflectance|outside|percent"):
        measure(book, SHOP, batch, 100 * read_as(1, 0, 0, 0))
    with pytest.raises(InputError, match="correction 3 is not one of batch 1"):
        add(book, SHOP, batch, CREAM, correction=3)
    with pytest.raises(InputError, match="write a day as"):
        logged(book, due="next Monday")
    with pytest.raises(InputError, match="line break"):
        logged(book, job="two\nlines")
    close(book, batch, "abandoned")
    with pytest.raises(InputError, match=r"closed \(abandoned\)"):
        add(book, SHOP, batch, CREAM)


def test_series_are_never_mixed(book):
    shop = replace(SHOP, inks=(*INKS, replace(INKS[0], name="Water White", series="water")))
    batch = logged(book)
    with pytest.raises(InputError, match="different series"):
        weigh(book, shop, batch, {"White": 10.0, "Water White": 5.0})
    with pytest.raises(InputError, match="different series"):
        weigh(book, shop, batch, {"Water White": 5.0})


def test_a_target_known_only_as_Lab_is_judged_under_its_own_light(book):
    R = read_as(0.9, 0.1, 0, 0)
    target = Target.from_lab(Lab(R, "A", 2), "A", 2)
    batch = log_match(book, SHOP, target, candidate([450, 50, 0, 0], target), name="by Lab").batch
    weigh(book, SHOP, batch, {"White": 450.0, "Lemon": 50.0})
    measure(book, SHOP, batch, R)
    assert job(book, batch).readings[0].de00 < 1e-3


def test_a_formula_without_a_target_has_no_verdict(book):
    target = aim(0.9, 0.1, 0, 0)
    formula = log_formula(book, SHOP, candidate([90, 10, 0, 0], target), name="Card 12")
    batch = open_batch(book, formula, 250.0)
    weigh(book, SHOP, batch, {"White": 225.0, "Lemon": 25.0})
    measure(book, SHOP, batch, read_as(0.9, 0.1, 0, 0))
    assert job(book, batch).state == "measured; no target to judge by"
    assert job(book, batch).pours[0].planned_g == (225.0, 25.0)


# ---- striking


def test_a_struck_record_counts_no_more_and_is_still_there(book):
    batch = logged(book)
    wrong = weigh(book, SHOP, batch, {"White": 4750.0, "Lemon": 25.0})
    measure(book, SHOP, batch, read_as(0.99, 0.01, 0, 0))
    strike(book, "weighing", wrong, "a digit too many")
    assert job(book, batch).state == "to weigh"
    assert stock(book, SHOP)["White"] == 20000
    weigh(book, SHOP, batch, CREAM)
    assert stock(book, SHOP)["White"] == 19525
    with reading(book) as db:
        assert db.execute("SELECT count(*) FROM weighing").fetchone() == (2,)
        why = db.execute("SELECT why, who FROM strike WHERE what = 'weighing'").fetchone()
    assert why == ("a digit too many", "Ana")
    with pytest.raises(InputError, match="was struck"):
        strike(book, "weighing", wrong, "again")
    with pytest.raises(InputError, match="say why"):
        strike(book, "batch", batch, " ")
    with pytest.raises(InputError, match="write one of"):
        strike(book, "strike", 1, "no")


def test_an_addition_never_stands_without_the_first_weigh_out(book):
    """It would pass for all that is in the container."""
    batch = logged(book)
    first = weigh(book, SHOP, batch, CREAM)
    added = add(book, SHOP, batch, {"Lemon": 2.0})
    with pytest.raises(InputError, match=f"weighing {added} was added to it: strike that first"):
        strike(book, "weighing", first, "a digit too many")
    strike(book, "weighing", added, "written anew")
    strike(book, "weighing", first, "a digit too many")
    assert job(book, batch).state == "to weigh"


def test_a_struck_batch_takes_its_records_along(book):
    batch = logged(book)
    weigh(book, SHOP, batch, CREAM)
    measure(book, SHOP, batch, read_as(0.95, 0.05, 0, 0))
    close(book, batch, "approved")
    strike(book, "batch", batch, "written twice")
    assert todays_jobs(book) == []
    assert stock(book, SHOP)["White"] == 20000
    assert pass_shares(book) == []
    with pytest.raises(InputError, match="struck"):
        job(book, batch)


# ---- the shelf


def test_stock_against_sums_by_hand(book):
    """A hundred random movements; whole milligrams, added up in Python."""
    rng = random.Random(3)
    batch = logged(book)
    weigh(book, SHOP, batch, CREAM)
    held = {"White": 20_000_000 - 475_000, "Lemon": 3_000_000 - 25_000, "Scarlet": 2_500_000}
    for _ in range(100):
        ink, mg = rng.choice(list(held)), rng.randrange(1, 90_000)
        what = rng.choice(["add", "add", "add", "deliver", "count"])
        if what == "add":
            add(book, SHOP, batch, {ink: mg / 1000})
            held[ink] -= mg
        elif what == "deliver":
            deliver(book, SHOP, ink, mg / 1000)
            held[ink] += mg
        else:
            count(book, SHOP, ink, mg / 1000)
            held[ink] = mg
    told = stock(book, SHOP)
    assert {ink: round(told[ink] * 1000) for ink in held} == held
    assert told["Blue"] is None  # nobody ever counted it


def test_an_edited_inks_file_is_a_stock_take(book):
    batch = logged(book)
    weigh(book, SHOP, batch, CREAM)
    edited = replace(SHOP, inks=(INKS[0], replace(INKS[1], stock_g=9000.0), *INKS[2:]))
    assert stock(book, edited)["Lemon"] == 9000
    add(book, edited, batch, {"Lemon": 10.0})
    assert stock(book, edited)["Lemon"] == 8990
    assert stock(book, edited)["White"] == 19525


def test_today_has_the_books_stock_lots_and_leftovers(book):
    batch = logged(book)
    weigh(book, SHOP, batch, CREAM)
    measure(book, SHOP, batch, read_as(0.95, 0.05, 0, 0))
    keep_leftover(book, SHOP, batch, 120.0, "Old cream")
    open_lot(book, SHOP, "Lemon", "8")
    count(book, SHOP, "Scarlet", 0.0)
    shop = today(book, SHOP)
    assert [ink.stock_g for ink in shop.inks] == [19525.0, 2975.0, 0.0, None]
    assert [ink.lot for ink in shop.inks] == ["W7", "8", "S2", "B1"]
    (mix,) = shop.mixes
    assert (mix.name, mix.stock_g, mix.inks) == ("Old cream", 120.0, ("White", "Lemon"))
    assert mix.fractions == pytest.approx((0.95, 0.05))
    np.testing.assert_allclose(mix.R, read_as(0.95, 0.05, 0, 0), atol=5e-7)


def test_an_edited_lot_overrules_an_older_record(book):
    open_lot(book, SHOP, "Lemon", "8")
    assert today(book, SHOP).inks[1].lot == "8"
    edited = replace(SHOP, inks=(INKS[0], replace(INKS[1], lot="9"), *INKS[2:]))
    assert today(book, edited).inks[1].lot == "9"
    with pytest.raises(InputError, match="did you mean 'Lemon'"):
        open_lot(book, SHOP, "Lemmon", "8")


def test_a_shop_of_today_may_be_handed_back(book):
    """Its stock and lots come from the book and are no news to it, however old they are."""
    batch = logged(book)
    shop = today(book, SHOP)
    weigh(book, shop, batch, CREAM)
    open_lot(book, shop, "Lemon", "8")
    add(book, shop, batch, {"Lemon": 5.0})
    then = today(book, shop)
    open_lot(book, then, "Lemon", "9")
    add(book, shop, batch, {"Lemon": 5.0})
    assert [pour.lots[-1] for pour in job(book, batch).pours] == ["7", "8", "9"]
    for each in (SHOP, shop, then, today(book, then)):
        assert stock(book, each)["Lemon"] == 2965
        assert stock(book, each)["White"] == 19525
        assert today(book, each).inks[1].lot == "9"


def test_leftovers_of_a_batch_are_never_more_than_it(book):
    first = logged(book)
    weigh(book, SHOP, first, CREAM)
    keep_leftover(book, SHOP, first, 300.0, "Old cream")
    with pytest.raises(InputError, match="300 g of it are on the shelf already; 201 g can't"):
        keep_leftover(book, SHOP, first, 201.0, "More cream")
    keep_leftover(book, SHOP, first, 200.0, "More cream")


def test_what_is_approved_out_of_tolerance_needs_a_reason_and_a_name(book, tmp_path):
    batch = logged(book)
    weigh(book, SHOP, batch, {"White": 475.0, "Lemon": 20.0})
    measure(book, SHOP, batch, read_as(0.96, 0.04, 0, 0))
    with pytest.raises(InputError, match=r"out of tolerance \(dE00 .*write in the note why"):
        close(book, batch, "approved")
    add(book, SHOP, batch, {"Lemon": 5.0})
    with pytest.raises(InputError, match="not measured after the last addition"):
        close(book, batch, "approved")
    with pytest.raises(InputError, match="an approval is signed"):
        close(replace(book, who=""), batch, "approved", note="the customer waits")
    left = (501.0, "Old cream")
    with pytest.raises(InputError, match="can't be left"):
        close(book, batch, "approved", note="the customer waits", left=left, shop=SHOP)
    assert job(book, batch).outcome == ""  # all of it or nothing
    left = (40.0, "Old cream")
    close(book, batch, "approved", note="the customer waits", left=left, shop=SHOP)
    told = job(book, batch)
    assert (told.outcome, told.approved_by) == ("approved", "Ana")
    assert told.closing_note == "the customer waits"
    assert stock(book, SHOP)["Old cream"] == 40.0


def test_an_unfit_or_outdated_reading_is_nobody_s_colour(book):
    """Not that of an approval, a label, a leftover or a reprint."""
    batch = logged(book)
    weigh(book, SHOP, batch, CREAM)
    measure(book, SHOP, batch, read_as(0.9, 0.1, 0, 0), state=("uncured",))
    with pytest.raises(InputError, match="read last was uncured; write in the note why"):
        close(book, batch, "approved")
    assert verdict(book, SHOP, job(book, batch)).startswith("NOT JUDGED (uncured): dE00")
    with pytest.raises(InputError, match="of a drawdown that was cured"):
        approved_R(job(book, batch), SHOP)
    good = read_as(0.95, 0.05, 0, 0)
    measure(book, SHOP, batch, good)
    keep_leftover(book, SHOP, batch, 10.0, "Read")
    add(book, SHOP, batch, {"Lemon": 5.0})
    keep_leftover(book, SHOP, batch, 10.0, "Added to")
    read, added_to = leftovers(book)
    np.testing.assert_allclose(read.R, good, atol=1e-6)
    assert added_to.R is None
    assert job(book, batch).read_now is None
    assert verdict(book, SHOP, job(book, batch)).startswith("BEFORE THE LAST ADDITION IN")
    of_print = open_batch_as_print(book)
    keep_leftover(book, SHOP, of_print, 10.0, "Print")
    assert leftovers(book)[-1].R is None


def open_batch_as_print(book):
    """A batch that was matched as a print, and measured."""
    target = aim(0.95, 0.05, 0, 0)
    printed = candidate([475.0, 25.0, 0.0, 0.0], target)
    batch = log_match(book, SHOP, target, printed, name="Print", printed='{"over": "tee"}').batch
    weigh(book, SHOP, batch, CREAM)
    measure(book, SHOP, batch, read_as(0.9, 0.1, 0, 0))
    return batch


def test_details_are_mended_and_the_older_ones_struck(book, clock):
    batch = logged(book, customer="Kite Club", due="2026-03-04", job="Tees")
    mend(book, batch, JobDetails(job="Tees", customer="Kite & Co", due="2026-03-05"))
    clock.on(hours=1)
    mend(book, batch, JobDetails(job="Tees", customer="Kite & Co", due="2026-03-09", note="rush"))
    told = job(book, batch)
    assert (told.job, told.customer, told.due, told.note) == (
        "Tees", "Kite & Co", "2026-03-09", "rush"
    )  # fmt: skip
    assert [each.batch for each in find(book, customer="kite &")] == [batch]
    assert todays_jobs(book)[0].due == "2026-03-09"
    events = [(e.kind, e.number, e.who) for e in events_of(book, batch)]
    assert events == [("details", 1, "Ana"), ("details", 2, "Ana"), ("strike", 1, "Ana")]


def test_leftovers_go_into_other_batches_and_are_used_up(book):
    first = logged(book)
    weigh(book, SHOP, first, CREAM)
    with pytest.raises(InputError, match="can't be left"):
        keep_leftover(book, SHOP, first, 501.0, "Old cream")
    keep_leftover(book, SHOP, first, 100.0, "Old cream")
    with pytest.raises(InputError, match=r"on the shelf already.*SHOP count"):
        keep_leftover(book, SHOP, first, 10.0, "Old cream")
    second = logged(book, name="Butter")
    weigh(book, SHOP, second, {"Old cream": 60.0, "Lemon": 6.0})
    assert leftovers(book)[0].stock_g == 40.0
    assert job(book, second).pours[0].holds == pytest.approx({"White": 57.0, "Lemon": 9.0})
    add(book, SHOP, second, {"Old cream": 40.0})
    assert leftovers(book) == ()


def test_a_mix_of_the_shop_is_kept_as_it_was_when_it_was_poured(book):
    old = Mix(name="Letdown", inks=("White", "Lemon"), fractions=(0.9, 0.1), stock_g=400.0)
    batch = logged(book)
    weigh(book, replace(SHOP, mixes=(old,)), batch, {"White": 400.0, "Letdown": 100.0})
    new = replace(old, fractions=(0.5, 0.5))
    add(book, replace(SHOP, mixes=(new,)), batch, {"Letdown": 10.0})
    first, second = job(book, batch).pours
    assert first.holds == pytest.approx({"White": 490.0, "Lemon": 10.0})
    assert second.holds == pytest.approx({"White": 5.0, "Lemon": 5.0})
    assert stock(book, replace(SHOP, mixes=(new,)))["Letdown"] == 290.0


def test_a_formula_keeps_what_its_mix_held_then(book):
    """The plan names the mix; what is in it is that of the formula's day."""
    old = Mix(name="Letdown", inks=("White", "Lemon"), fractions=(0.9, 0.1), stock_g=400.0)
    shop = replace(SHOP, mixes=(old,))
    target = aim(0.94, 0.06, 0, 0)
    plain = candidate([470.0, 30.0, 0, 0], target)
    formula = replace(plain, inks=("Letdown", "White", "Lemon"), grams=(200.0, 290.0, 10.0))
    batch = log_match(book, shop, target, formula, name="Cream").batch
    asked = job(book, batch)
    assert asked.shares == pytest.approx({"Letdown": 0.4, "White": 0.58, "Lemon": 0.02})
    assert asked.holds == pytest.approx({"White": 0.94, "Lemon": 0.06})  # 0.4 x 0.9 + 0.58
    assert planned_grams(asked, 0.01) == {"Letdown": 200.0, "White": 290.0, "Lemon": 10.0}
    book.clock.on(days=1)
    later = replace(shop, mixes=(replace(old, fractions=(0.5, 0.5)),))
    weigh(book, later, batch, planned_grams(asked, 0.01))
    told = job(book, batch)
    assert told.holds == pytest.approx({"White": 0.94, "Lemon": 0.06})
    (pour,) = told.pours
    assert (pour.inks, pour.planned_g) == (("Letdown", "White", "Lemon"), (200.0, 290.0, 10.0))
    assert pour.planned_g == pour.actual_g
    assert pour.holds == pytest.approx({"White": 390.0, "Lemon": 110.0})  # what was poured
    held = stock(book, later)
    assert (held["Letdown"], held["White"], held["Lemon"]) == (200.0, 19710.0, 2990.0)


def test_what_to_order(book, clock):
    """Lemon: 3,000 g, 2,000 g used in a month, 1,500 g promised; by hand, order 500 g."""
    used = logged(book, grams=(8000.0, 2000.0, 0, 0))
    weigh(book, SHOP, used, {"White": 8000.0, "Lemon": 2000.0})
    count(book, SHOP, "Lemon", 3000.0)
    logged(book, grams=(1500.0, 1500.0, 0, 0))
    clock.on(days=20)
    shop = replace(SHOP, inks=tuple(
        replace(ink, container_g=400.0, cost_per_kg=20.0) for ink in SHOP.inks
    ))  # fmt: skip
    (order,) = reorder(book, shop)
    assert (order.containers, order.cost) == (2, 16.0)  # 800 g at 20 a kilogram
    assert [(n.batch, n.grams) for n in order.needs] == [(used + 1, 1500.0)]
    assert order.by == "2026-04-13"  # 22.5 days from 2026-03-22
    retired = tuple(replace(ink, active=ink.name != "Lemon") for ink in SHOP.inks)
    assert reorder(book, replace(SHOP, inks=retired)) == []
    assert (order.ink, order.stock_g, order.promised_g, order.used_g) == (
        "Lemon", 3000.0, 1500.0, 2000.0,
    )  # fmt: skip
    assert order.order_g == 500.0
    assert order.lasts_days == 1500 / 2000 * 30
    clock.on(days=20)  # the use is more than a month ago
    assert reorder(book, SHOP) == []
