"""Weak letdowns in white alone: the study in small, and what is stored."""

import json

import numpy as np
from studies import tinters

from matchkit.simulator.pigments import make_bench


def test_letdowns_are_weak_and_mixtures_are_of_three():
    bench = make_bench(63_101, n_colours=3, unlike=True)
    inks, drawn = tinters.letdowns(bench, np.random.default_rng(1))
    assert len(drawn) == 1 + 3 * 4 and all(ink.role != "clear" for ink in inks)
    assert {d.fractions[-1] for d in drawn} <= {1.0, 0.001, 0.004, 0.015}
    C = tinters.mixtures(bench, np.random.default_rng(2))
    assert np.allclose(C.sum(axis=1), 1) and ((C > 0).sum(axis=1) == 4).all()


def test_the_study_in_small():
    error, told = tinters.one_shop(63_101, 3, ("single-constant",))["single-constant"]
    assert told < np.median(error)
    rows = json.loads(tinters.STORED.read_text(encoding="utf-8"))
    # Held-out letdowns look superb whatever the theory; mixtures say what it is worth.
    assert all(row["told"] < 0.3 < row["unseen"][0] for row in rows)
