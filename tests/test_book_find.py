"""Finding things in the book again, a day's jobs, and how often batches come in."""

from dataclasses import replace
from datetime import UTC, timedelta, timezone

import colour
import numpy as np
import pytest
from book_shop import INKS, PALETTE, SHOP, Clock, aim, candidate, logged

from matchkit.book.containers import add, measure, weigh
from matchkit.book.entries import close, log_match
from matchkit.book.find import find, near, reference, scanned
from matchkit.book.jobs import todays_jobs
from matchkit.book.report import pass_shares
from matchkit.book.shared import shared_bases
from matchkit.book.stock import open_lot
from matchkit.book.store import open_book
from matchkit.colorimetry.tristimulus import Lab
from matchkit.errors import InputError
from matchkit.inks.palette import reflectance

CREAM = {"White": 475.0, "Lemon": 25.0}
NAMES = [ink.name for ink in INKS]


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def book(tmp_path, clock):
    return open_book(tmp_path, who="Ana", clock=clock)


def read_as(*shares):
    """What a mixture of the four inks reads."""
    return reflectance(PALETTE, np.array(shares))


def test_near_against_every_difference_told_by_colour_science(book):
    """Batches and formulas within dE00 2, against colour-science on all pairs."""
    rng = np.random.default_rng(5)
    shares = rng.dirichlet([2, 0.4, 0.4, 0.2], size=70)
    seen = {}
    for k, c in enumerate(shares):
        target = aim(*c)
        batch = log_match(book, SHOP, target, candidate(500 * c, target), name=f"c{k}").batch
        seen[batch] = target.lab[0]
        if k % 2:
            R = np.clip(read_as(*c) * rng.normal(1, 0.02), 0, 1)
            weigh(book, SHOP, batch, dict(zip(NAMES, (500 * c).tolist(), strict=True)))
            measure(book, SHOP, batch, R)
            seen[batch] = Lab(np.round(R, 6), "D65", 10)
    found_any = 0
    for wanted in list(seen.values())[::4]:
        wanted = wanted + rng.normal(0, 1, 3)
        away = colour.delta_E(wanted, np.array(list(seen.values())), method="CIE 2000")
        expected = {b for b, e in zip(seen, away, strict=True) if e <= 2}
        got = near(book, SHOP, wanted)
        assert {row.batch or row.formula for row in got} == expected
        assert [row.de00 for row in got] == sorted(row.de00 for row in got)
        found_any += len(got)
    assert found_any > 10


def test_near_sees_as_the_shop_sees_now(book):
    """A shop that changes light or observer finds its old records by their spectra."""
    logged(book)
    R = read_as(0.95, 0.05, 0, 0)
    other = replace(SHOP, lights=("A", "D65"), observer=2)
    assert near(book, other, Lab(R, "A", 2))[0].de00 < 0.01
    assert near(book, other, Lab(R, "D65", 10), within=0.5) == []
    assert near(book, replace(SHOP, geometry="45/0"), Lab(R, "D65", 10)) == []


def test_near_under_the_light_that_is_asked_about(book):
    batch = logged(book)
    weigh(book, SHOP, batch, {"White": 475.0, "Lemon": 25.0})
    measure(book, SHOP, batch, read_as(0.95, 0.05, 0, 0))
    under = Lab(read_as(0.95, 0.05, 0, 0), "FL11", 2)
    (found,) = near(book, SHOP, under, light="FL11", observer=2, within=0.1)
    assert (found.batch, found.de00) == (batch, pytest.approx(0, abs=1e-3))
    assert near(book, SHOP, under, within=0.1) == []


def test_the_nearest_however_far(book):
    logged(book)
    logged(book, grams=(400.0, 0, 100.0, 0))
    rows = near(book, SHOP, [20.0, 0.0, 0.0], within=None, top=1)
    assert len(rows) == 1
    assert rows[0].de00 > 20
    assert rows[0].what == "predicted"
    assert near(book, SHOP, [20.0, 0.0, 0.0]) == []


def test_find_by_everything(book, clock):
    one = logged(book, name="Cream", customer="Kite Club", job="Tees")
    weigh(book, SHOP, one, CREAM)
    clock.on(days=3)
    open_lot(book, SHOP, "Lemon", "8")
    two = logged(book, grams=(400.0, 0, 100.0, 0), name="Coral 50%", customer="Récif & Co")
    weigh(book, SHOP, two, {"White": 400.0, "Scarlet": 100.0, "Lemon": 1.0})

    def batches(**asked):
        return [row.batch for row in find(book, **asked)]

    assert batches() == [two, one]
    assert batches(ink="Scarlet") == [two]
    assert batches(ink="Lemon") == [two, one]  # the second was never meant to hold it
    assert batches(ink="Lemon", lot="8") == [two]
    assert batches(lot="7") == [one]
    assert batches(customer="kite") == [one]
    assert batches(customer="RÉCIF") == [two]
    assert batches(text="coral") == [two]
    assert batches(text="50%") == [two]
    assert batches(text="5%%") == []
    assert batches(text="tees") == [one]
    assert batches(since="2026-03-03") == [two]
    assert batches(until="2026-03-02") == [one]
    assert batches(ink="Lem") == []
    assert batches(top=1) == [two]
    with pytest.raises(InputError, match="write a day"):
        find(book, since="March")


def test_today_and_the_days_before(book, clock):
    old = logged(book, name="old and open")
    done = logged(book, name="old and done")
    close(book, done, "abandoned")
    clock.on(days=1)
    rush = logged(book, name="rush", due="2026-03-03")
    new = logged(book, name="new, done today")
    close(book, new, "abandoned")
    assert [each.batch for each in todays_jobs(book, zone=UTC)] == [rush, old, new]
    west = timezone(timedelta(hours=-12))  # where it is 8 in the evening of the day before
    assert [each.batch for each in todays_jobs(book, zone=west)] == [rush, old, new]
    clock.on(hours=10)  # a new day in the west, still the same one in London
    assert [each.batch for each in todays_jobs(book, zone=west)] == [rush, old]
    assert [each.batch for each in todays_jobs(book, zone=UTC)] == [rush, old, new]


def test_jobs_that_share_a_base_colour(book):
    """White with 5, 10 and 20 % of Lemon: 80 % of each is the same; worked out by hand."""
    one = logged(book, grams=(475.0, 25.0, 0, 0))
    other = logged(book, grams=(270.0, 30.0, 0, 0))
    logged(book, grams=(100.0, 0, 0, 100.0))
    third = logged(book, grams=(80.0, 20.0, 0, 0))
    (base,) = shared_bases(todays_jobs(book), 0.01)
    assert [each.batch for each in base.jobs] == [one, other, third]
    assert base.share == pytest.approx(0.85)
    assert base.grams == pytest.approx({"White": 720.0, "Lemon": 45.0})
    assert [grams for grams, _ in base.parts] == pytest.approx([425.0, 255.0, 85.0])
    assert base.saved_g == pytest.approx(340.0)
    wanted = ((475.0, 25.0), (270.0, 30.0), (80.0, 20.0))
    for (grams, then), whole in zip(base.parts, wanted, strict=True):
        for ink, planned in zip(("White", "Lemon"), whole, strict=True):
            poured = grams * base.grams[ink] / 765 + then.get(ink, 0.0)
            assert poured == pytest.approx(planned, abs=0.011)
    weigh(book, SHOP, one, CREAM)
    assert [len(each.jobs) for each in shared_bases(todays_jobs(book), 0.01)] == [2]


def test_labels_are_found_again(book, tmp_path):
    batch = logged(book)
    assert scanned(book, reference(book, batch)) == batch
    assert scanned(book, f" {batch} ") == batch
    (tmp_path / "other").mkdir()
    other = open_book(tmp_path / "other")
    with pytest.raises(InputError, match="another shop"):
        scanned(other, reference(book, batch))
    with pytest.raises(InputError, match="its number"):
        scanned(book, "the red one")


def test_pass_shares_by_hand(tmp_path, clock):
    """Three batches: in at once, in after an addition, never in."""
    ana, ben = (open_book(tmp_path, who=who, clock=clock) for who in ("Ana", "Ben"))
    good, bad = read_as(0.95, 0.05, 0, 0), read_as(0.97, 0.03, 0, 0)
    for who, readings, grams in (
        (ana, [good], CREAM),
        (ana, [bad, good], CREAM),
        (ben, [bad, bad], {**CREAM, "Blue": 0.01}),
    ):
        batch = logged(who)
        weigh(who, SHOP, batch, grams)
        for k, R in enumerate(readings):
            if k:
                add(who, SHOP, batch, {"Lemon": 1.0})
            measure(who, SHOP, batch, R)
        clock.on(days=20)

    def told(by):
        rows = pass_shares(ana, by, zone=UTC)
        return {row.group: (row.jobs, round(row.first, 3), round(row.final, 3)) for row in rows}

    assert told("mixer") == {"Ana": (2, 0.5, 1.0), "Ben": (1, 0.0, 0.0)}
    assert told("month") == {"2026-03": (2, 0.5, 1.0), "2026-04": (1, 0.0, 0.0)}
    whole = (3, 0.333, 0.667)
    assert told("ink") == {"White": whole, "Lemon": whole, "Blue": (1, 0.0, 0.0)}
    with pytest.raises(InputError, match="month, ink, mixer"):
        pass_shares(ana, "year")
