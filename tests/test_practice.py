"""The staircase against its published rule, and jobs on the practice bench."""

from dataclasses import replace

import numpy as np
import pytest

from matchkit.errors import InputError
from matchkit.practice.hints import BATCH_G, finish, follow, hint, take
from matchkit.practice.job import (
    LONG_ENOUGH_S,
    MOST_G,
    add,
    answer_safety,
    asked_before,
    done,
    drawdown,
    measure,
    start,
    stir,
)
from matchkit.practice.safety import SAFETY
from matchkit.practice.simulated_shop import practice_shop
from matchkit.practice.staircase import Staircase, answered, climbed, threshold

# Levitt (1971), J. Acoust. Soc. Am. 49, 467-477, Table I: two down, one up; from memory.
LEVITT_SETTLES_AT = 0.707


# ---- the staircase


def run_of(rng, p_of_level, n_levels, n_answers):
    staircase = Staircase(n_levels=n_levels)
    for _ in range(n_answers):
        staircase = answered(staircase, rng.random() < p_of_level[staircase.level])
    return staircase


@pytest.mark.parametrize("chance", [0.0, 1 / 6, 0.25])
def test_settles_where_levitt_says(chance, rng):
    """A learner whose share of right answers falls with the level along a logistic curve."""
    levels = np.arange(61)
    p = chance + (1 - chance) / (1 + np.exp((levels - 30) / 6))
    settled = threshold(run_of(rng, p, len(levels), 8000))
    assert np.interp(settled, levels, p) == pytest.approx(LEVITT_SETTLES_AT, abs=0.02)


def test_a_learner_on_nine_levels_has_7_in_10_right(rng):
    """On the coarse levels of the exercises: of all answers, not of a curve read off."""
    p = 0.25 + 0.75 / (1 + np.exp((np.arange(9) - 5.0) / 0.9))
    staircase, right = Staircase(n_levels=9), []
    for _ in range(4000):
        right.append(rng.random() < p[staircase.level])
        staircase = answered(staircase, right[-1])
    # A staircase that steps to and fro about its threshold is right a little more often.
    assert np.mean(right) == pytest.approx(LEVITT_SETTLES_AT, abs=0.05)


def test_steps_by_hand():
    """Two right: harder.  One wrong: easier.  The ends hold."""
    levels = [climbed(3, [True] * n).level for n in range(9)]
    assert levels == [0, 0, 1, 1, 2, 2, 2, 2, 2]
    assert climbed(3, [False, False]).level == 0
    assert climbed(9, [True, True, True, False]).level == 0
    assert climbed(9, [True, True, True, False]).turns == (1,)
    assert threshold(climbed(9, [True] * 40)) is None


# ---- the job


def to_first_reading(seed=3, seconds=LONG_ENOUGH_S):
    batch = start(practice_shop(), seed=seed)
    return measure(drawdown(stir(add(batch, dict(hint(batch).grams)), seconds)))


@pytest.mark.parametrize("seeds", [60, pytest.param(200, marks=pytest.mark.slow)])
def test_who_follows_the_hints_comes_in(seeds):
    """Within 1.0 in at most 4 rounds in 90 % of them; nearly all within 3 rounds."""
    ended = [follow(start(practice_shop(), seed=seed)) for seed in range(1, seeds + 1)]
    within = [done(batch) and len(batch.readings) <= 4 for batch in ended]
    assert np.mean(within) >= 0.9
    rounds = np.array([len(batch.readings) for batch in ended])
    assert rounds.mean() < 2
    assert (rounds > 1).mean() > 0.2  # the lots are off enough to need the hand
    assert all(batch.readings[-1].de00 <= 1.0 for batch in ended if done(batch))


def test_played_twice_the_same_way_it_comes_out_the_same():
    once, twice = to_first_reading(), to_first_reading()
    assert once.readings[0].de00 == twice.readings[0].de00
    np.testing.assert_array_equal(once.path, twice.path)
    assert to_first_reading(seed=4).readings[0].de00 != once.readings[0].de00


def test_a_move_leaves_the_old_state_as_it_was():
    batch = to_first_reading()
    before = (batch.shown_g.copy(), len(batch.moves), batch.hidden.grams.copy())
    measure(drawdown(stir(add(batch, {"White": 10.0}), 60)))
    np.testing.assert_array_equal(batch.shown_g, before[0])
    np.testing.assert_array_equal(batch.hidden.grams, before[2])
    assert len(batch.moves) == before[1]


def test_what_is_not_stirred_in_shows_in_the_drawdown():
    """The same batches, stirred for a moment and for long: against what is truly in there."""
    away = {}
    for seconds in (10, LONG_ENOUGH_S):
        batches = [to_first_reading(seed, seconds) for seed in range(20)]
        away[seconds] = np.mean(
            [abs(batch.readings[0].de00 - batch.moves[-1].de00) for batch in batches]
        )
    assert away[10] > 1.0
    assert away[LONG_ENOUGH_S] < 0.1


def test_stirring_later_mends_it():
    batch = start(practice_shop(), seed=8)
    batch = add(batch, dict(hint(batch).grams))
    assert np.all(stir(batch, 30).hidden.unmixed_g <= batch.hidden.unmixed_g)
    two, one = stir(stir(batch, 60), 60), stir(batch, 120)
    np.testing.assert_allclose(two.hidden.unmixed_g, one.hidden.unmixed_g)


@pytest.mark.parametrize(
    ("grams", "words"),
    [
        ({"Mauve": 1.0}, "no ink is called 'Mauve'"),
        ({"White": -1.0}, "only adding"),
        ({"White": float("nan")}, "only adding"),
        ({"White": 0.0}, "every amount is 0 g"),
        ({"White": MOST_G + 1}, "the container takes"),
        ({}, "every amount is 0 g"),
    ],
)
def test_a_weight_that_can_not_be_is_refused(grams, words):
    with pytest.raises(InputError, match=words):
        add(start(practice_shop(), seed=1), grams)


def test_moves_in_the_wrong_order_are_refused():
    batch = start(practice_shop(), seed=1)
    for move in (drawdown, measure, lambda b: stir(b, 60)):
        with pytest.raises(InputError):
            move(batch)
    with pytest.raises(InputError, match="too little to draw down"):
        drawdown(add(batch, {"White": 5.0}))
    with pytest.raises(InputError, match="seconds"):
        stir(add(batch, {"White": 500.0}), 0)
    measured = to_first_reading()
    with pytest.raises(InputError, match="no drawdown"):
        measure(measured)
    with pytest.raises(InputError, match="no drawdown"):
        measure(add(drawdown(measured), {"White": 5.0}))  # it is of the batch before


def test_hints_come_in_the_order_of_the_work():
    batch, actions = start(practice_shop(), seed=2, tolerance_de00=0.3), []
    for _ in range(12):
        actions.append(hint(batch).action)
        if actions[-1] == "finish":
            break
        batch = take(batch, hint(batch))
    assert actions[:5] == ["weigh", "stir", "drawdown", "measure", "add"]
    assert actions[5:8] == ["stir", "drawdown", "measure"]
    assert actions[-1] == "finish"


def test_a_hint_asks_for_the_rest_of_the_stirring():
    batch = start(practice_shop(), seed=2)
    batch = stir(add(batch, dict(hint(batch).grams)), 50)
    assert hint(batch).action == "stir"
    assert hint(batch).seconds == pytest.approx(LONG_ENOUGH_S - 50)


def test_nothing_is_added_by_a_drawdown_that_was_not_stirred():
    """It wants stirring, not ink; and what it read counts for nothing later."""
    for seed in (2, 5, 8):
        batch = start(practice_shop(), seed=seed, tolerance_de00=0.2)
        batch = add(batch, dict(hint(batch).grams))
        batch = measure(drawdown(stir(batch, 20)))
        assert not done(batch)
        assert hint(batch).action == "stir" and "not stirred long enough" in hint(batch).why
        batch = drawdown(take(batch, hint(batch)))
        assert hint(batch).action == "measure"
        assert hint(measure(batch)).action in ("add", "finish")


def test_the_end_tells_what_each_move_did_and_what_the_hints_had_done():
    batch = to_first_reading(seed=5)
    worse = measure(drawdown(stir(add(batch, {"Black": 60.0}), 120)))
    outcome = finish(worse)
    assert not outcome.came_in
    assert outcome.points == 0
    assert len(outcome.told) == len(worse.moves)
    assert "darker" in outcome.told[4]
    assert outcome.waste_g == pytest.approx(worse.shown_g.sum())
    assert done(outcome.solver)
    np.testing.assert_array_equal(outcome.solver.hidden.strengths, worse.hidden.strengths)
    names = [name for name, _ in outcome.lots]
    assert "Black" in names


def test_fewer_rounds_and_less_waste_are_more_points():
    ended = [finish(follow(start(practice_shop(), seed=seed))) for seed in range(1, 30)]
    one = [o.points for o in ended if o.rounds == 1]
    more = [o.points for o in ended if o.rounds > 1]
    assert min(one) > max(more)
    # By hand: one round, 5 g of drawdown and no overshoot lose nothing.
    first = next(o for o in ended if o.rounds == 1)
    assert first.points == pytest.approx(10 - (first.waste_g - 5) / BATCH_G * 10, abs=0.06)


def test_a_batch_that_grew_since_it_was_measured_is_not_done():
    batch = follow(start(practice_shop(), seed=7))
    assert done(batch)
    assert not done(add(batch, {"White": 1.0}))
    assert not finish(start(practice_shop(), seed=7)).came_in


# ---- safety


def test_safety_is_asked_before_hands_are_in_danger():
    batch = start(practice_shop(), seed=1)
    for action in ("weigh", "stir", "drawdown"):
        asked = asked_before(batch, action)
        assert asked is not None
        wrong, told = answer_safety(batch, asked.key, (asked.answer + 1) % len(asked.choices))
        assert asked.choices[asked.answer] in told
        assert asked_before(wrong, action) == asked  # until it is right
        batch, told = answer_safety(batch, asked.key, asked.answer)
        assert told.startswith("Right")
        assert asked_before(batch, action) is None
    assert asked_before(batch, "measure") is None
    assert asked_before(start(practice_shop(), seed=1), "add") == SAFETY[0]


def test_every_safety_answer_defers_to_data_sheets_and_local_rules():
    for each in SAFETY:
        assert "data sheets and local rules" in each.why
        assert 0 <= each.answer < len(each.choices)
    with pytest.raises(InputError):
        answer_safety(start(practice_shop(), seed=1), "skin", 9)


def test_what_was_not_answered_is_told_at_the_end():
    batch = to_first_reading()
    assert {each.key for each in finish(batch).unanswered} == {"skin", "machine", "cure"}
    assert finish(replace(batch, safety=(("skin", True),))).unanswered[0].key == "machine"
