"""The table of bad input in DEVELOPERS.md is what a person reads today."""

from pathlib import Path

import pytest
from bad_inputs import CASES, message, row

DEVELOPERS = Path(__file__).parents[1] / "DEVELOPERS.md"
BEGIN, END = "<!-- bad input -->", "<!-- /bad input -->"


def rows():
    """The rows of the table between its marks."""
    text = DEVELOPERS.read_text(encoding="utf-8")
    assert text.count(BEGIN) == text.count(END) == 1
    inside = text.partition(BEGIN)[2].partition(END)[0]
    return [line for line in inside.strip().splitlines() if line.startswith("| ")][1:]


def test_every_bad_thing_has_its_row():
    assert [line.split(" | ")[0].removeprefix("| ") for line in rows()] == list(CASES)


@pytest.mark.parametrize("name", CASES)
def test_the_row_says_what_a_person_reads(name):
    line = message(CASES[name])
    assert line.isprintable()
    assert row(name, line) in rows()
