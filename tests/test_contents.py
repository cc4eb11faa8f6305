"""Pots followed from what the balance showed, beside a literal simulation of the bench."""

from dataclasses import replace

import numpy as np
import pytest

from matchkit.errors import InputError
from matchkit.inks.contents import LETDOWN, Weighing, contents, weighings
from matchkit.inks.drawdowns import drawdown_plan
from matchkit.inks.shop import Ink

INKS = (
    Ink(name="Quay White", role="white"),
    Ink(name="Bollard Black", role="black"),
    Ink(name="Ebb Clear", role="clear"),
    Ink(name="Buoy Scarlet", role="colour"),
    Ink(name="Dusk Violet", role="colour", max_percent=30.0),
)
NAMES = [ink.name for ink in INKS]


def simulated(plan, hand):
    """The work itself: grams (n_ink,) of real ink in real pots; `hand` turns planned into real.

    Independent of `contents`: a letdown is a pot that ink is spooned from, a drawdown takes
    its pull, and what is too much is thrown away, so that mass can be counted at the end.
    """
    off_shelf, thrown = np.zeros(len(NAMES)), np.zeros(len(NAMES))
    pots, readings, drawn = {}, [], {}

    def spoon(what, g):
        if what in pots:
            share = pots[what] / pots[what].sum()
            pots[what] = pots[what] - g * share
            return g * share
        taken = g * (np.array(NAMES) == what)
        off_shelf[:] += taken
        return taken

    for name, parts in plan.letdowns:
        made = np.zeros(len(NAMES))
        for what, g in parts:
            readings.append(hand(g))
            made += spoon(what, readings[-1])
        pots[name] = made
    for step in plan.steps:
        if not step.pot:
            continue
        pot = pots.get(step.pot, np.zeros(len(NAMES)))
        if step.leave_g is None:
            thrown += pot
            pot = np.zeros(len(NAMES))
        else:
            readings.append(min(hand(step.leave_g), pot.sum()))
            thrown += pot * (1 - readings[-1] / pot.sum())
            pot = pot * readings[-1] / pot.sum()
        for what, g in step.adds:
            readings.append(hand(g))
            pot = pot + spoon(what, readings[-1])
        drawn[step.drawdown] = 100 * pot / pot.sum()
        pull = pot * min(1.0, plan.pull_g / pot.sum())
        thrown += pull
        pots[step.pot] = pot - pull
    held = sum(pots.values()) + thrown
    assert held == pytest.approx(off_shelf)  # nothing was made or lost on the bench
    return readings, drawn


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("levels", [3, 10, 13])
def test_an_unsteady_hand_is_followed_through_every_pot_and_letdown(levels, seed):
    rng = np.random.default_rng(seed)
    plan = drawdown_plan(INKS, levels=levels)
    shown, drawn = simulated(plan, lambda g: round(g * rng.uniform(0.8, 1.15), 2))
    told = [replace(each, showed_g=g) for each, g in zip(weighings(plan), shown, strict=True)]
    found = contents(told, NAMES)
    assert found.held.keys() == drawn.keys()
    for name, percents in drawn.items():
        now = found.percents(name)
        assert [now.get(ink, 0.0) for ink in NAMES] == pytest.approx(percents, abs=1e-9)


@pytest.mark.parametrize("resolution_g", [0.01, 0.1])
@pytest.mark.parametrize("levels", [3, 10, 13])
def test_weights_as_planned_give_the_percents_of_the_plan(levels, resolution_g):
    plan = drawdown_plan(INKS, levels=levels, resolution_g=resolution_g)
    found = contents(weighings(plan), NAMES)
    assert not found.notes
    for step in (step for step in plan.steps if step.pot):
        stated = dict(zip(step.inks, step.percents, strict=True))
        assert found.percents(step.drawdown) == pytest.approx(stated, abs=1e-9)


def test_one_slip_goes_on_into_the_drawdowns_after_it_and_no_further():
    plan = drawdown_plan(INKS, levels=10)
    readings = list(weighings(plan))
    first = next(i for i, each in enumerate(readings) if each.pot != LETDOWN and not each.left)
    readings[first] = replace(readings[first], showed_g=readings[first].planned_g + 3)
    found = contents(readings, NAMES)
    moved = [
        step.pot
        for step in plan.steps
        if step.pot
        and max(
            abs(found.percents(step.drawdown)[ink] - percent)
            for ink, percent in zip(step.inks, step.percents, strict=True)
        )
        > 1e-6
    ]
    assert moved and set(moved) == {int(readings[first].pot)}


def weighing(made, what, planned_g, showed_g=None, pot="1", left=False):
    return Weighing(
        made=made, what=what, planned_g=planned_g, showed_g=showed_g, pot=pot, left=left
    )


def test_ink_poured_in_beyond_the_plan_and_a_clean_pot_count():
    found = contents(
        [
            weighing("A", "Quay White", 9.0),
            weighing("A", "Dusk Violet", 1.0),
            weighing("A", "Quay White", None, 10.0),  # a row of one's own
            weighing("B", "", 5.0, 0.0, left=True),  # thrown away, begun anew
            weighing("B", "Dusk Violet", 2.0),
        ],
        NAMES,
    )
    assert found.percents("A") == pytest.approx({"Quay White": 95.0, "Dusk Violet": 5.0})
    assert found.percents("B")["Dusk Violet"] == 100.0


def test_what_cannot_have_been_is_refused_all_at_once():
    with pytest.raises(InputError) as error:
        contents(
            [
                weighing("A", "Quay White", 9.0, -1.0),
                weighing("A", "Dusk Violet", 4.0),
                weighing("B", "", 3.0, 8.0, left=True),
                weighing("B", "Dusk Vilet", 1.0),
                weighing("C", "Ebb Clear", None, pot="2"),
            ],
            NAMES,
        )
    told = "\n".join(error.value.faults)
    assert "-1 g; write 0 or more" in told
    assert "'B': 8 g left in pot 1, but it held 3 g; mend one of the two" in told
    assert "'Dusk Vilet' is no ink of inks.csv" in told
    assert "no weight of 'Ebb Clear'; write what the balance showed" in told
    assert "'C': nothing was weighed into it" in told


def test_a_pot_that_came_out_smaller_than_what_the_plan_leaves_asks_for_the_reading():
    rows = [weighing("A", "Quay White", 30.0, 20.0), weighing("B", "", 26.0, left=True)]
    with pytest.raises(InputError, match="held 20 g; write what the balance showed"):
        contents(rows, NAMES)


def test_likely_slips_and_letdowns_that_were_too_small_are_remarked():
    found = contents(
        [
            weighing("V 10", "Quay White", 9.0, pot=LETDOWN),
            weighing("V 10", "Dusk Violet", 1.0, pot=LETDOWN),
            weighing("A", "Quay White", 3.0, 30.0),
            weighing("A", "V 10", 8.0, 12.0),
        ],
        NAMES,
    )
    assert found.notes == (
        "30 g of Quay White where 3 g was planned: is that so?",
        "V 10: 12 g were weighed from it, and 10 g were made; made again, it is taken to have"
        " come out the same",
    )
