"""Measured oil paint over cards (tests/authorities/oil_films/SOURCE.md), held out by mixture.

The study holds all theories; here one of each way, and the stored table.
"""

import json

import pytest
from studies import oil_films

from matchkit.fitting.held_out import STRUCTURES


@pytest.fixture(scope="module")
def stored():
    return json.loads(oil_films.STORED.read_text(encoding="utf-8"))


def row(stored, way, theory):
    return next(r for r in stored["rows"] if r["way"] == way and r["theory"] == theory)


def test_the_data_are_whole():
    mixtures, spectra = oil_films.read()
    assert len(spectra) == 336 and len(mixtures) == 64
    assert all(0.99 < sum(mixture.values()) < 1.01 for mixture in mixtures.values())
    # Bare black reads 5 %, as the source says.
    black = oil_films.cards(spectra)[0]["black"]
    assert black.mean() == pytest.approx(0.05, abs=0.002)


def test_what_cards_and_instrument_repeat_to():
    # Medians and 95th percentiles of the bare cards, found elsewhere from the same data.
    found = oil_films.repeatability()
    assert found["white"] == pytest.approx([0.24, 0.51], abs=0.02)
    assert found["black"] == pytest.approx([0.06, 0.16], abs=0.02)


def test_opaque_equivalents_of_mixtures_not_seen(stored):
    found = oil_films.opaque(STRUCTURES[:2])
    single, two = found.scores
    assert two.de00_median < 2.0 < single.de00_median
    assert two.de00_p95 < 0.5 * single.de00_p95
    for score in found.scores:
        kept = row(stored, "opaque", score.model)["held_out"]
        assert kept == pytest.approx([score.de00_median, score.de00_p95], abs=0.05)


def test_films_of_mixtures_not_seen(stored):
    chosen = [r for r in stored["rows"] if r["chosen"]]
    assert {r["way"] for r in chosen} == {"opaque", "films"}
    assert row(stored, "films", "film, two streams")["held_out"][0] <= 2.3
    assert all(r["scored"] >= 64 for r in stored["rows"])


@pytest.mark.slow
def test_the_stored_table_is_remade(stored):
    again = oil_films.table()
    for old, new in zip(stored["rows"], again["rows"], strict=True):
        assert new["held_out"] == pytest.approx(old["held_out"], abs=0.03)
