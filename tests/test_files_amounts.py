"""Numbers as people type them: read one way or refused."""

import time
from argparse import ArgumentTypeError

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from matchkit.cli.values import in_grams, positive
from matchkit.errors import InputError
from matchkit.files.text import decimal_mark, number, parse_amount, plain_numbers, quoted, typed


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12.5", 12.5),
        ("12,5", 12.5),
        (" 12,50 ", 12.5),
        ("\u00a012,5", 12.5),
        ("0,125", 0.125),
        (",5", 0.5),
        (".5", 0.5),
        ("7.", 7.0),
        ("1234", 1234.0),
        ("1234,567", 1234.567),
        ("1,2345", 1.2345),
        ("1 000", 1000.0),
        ("12\u00a0345,5", 12345.5),
        ("0", 0.0),
        ("+3", 3.0),
    ],
)
def test_form_amounts_take_point_and_comma(text, value):
    assert parse_amount(text) == value


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("1.000", "can be read as 1000 or as 1; write 1000 or 1"),
        ("2.500", "can be read as 2500 or as 2.5;"),
        ("1,234", "can be read as 1234 or as 1,2340;"),
        ("12,500", "can be read as 12500 or as 12,5;"),
        ("1.234,5", "marks between thousands"),
        ("1,234.5", "marks between thousands"),
        ("1,234,567", "marks between thousands"),
        ("1.234.567", "marks between thousands"),
        ("1 23", "is not a number"),
        ("1 0000", "is not a number"),
        ("1'234", "is not a number"),
        ("12.5 g", "leave out the unit"),
        ("12,5g", "leave out the unit"),
        ("12 %", "leave out the %"),
        ("-3", "is negative"),
        ("\u22123", "is negative"),
        ("1e3", "not a plain number"),
        ("nan", "is not a number"),
        ("inf", "is not a number"),
        ("1_000", "is not a number"),
        ("\u0661\u0662", "is not a number"),  # Arabic-Indic digits, which float() takes
        ("=1+1", "is not a number"),
        ("abc", "is not a number"),
        (",", "is not a number"),
        ("", "nothing is there"),
        ("  ", "nothing is there"),
        ("9" * 400, "is not a number"),
    ],
)
def test_form_amounts_that_can_be_read_two_ways_or_none_are_refused(text, reason):
    with pytest.raises(InputError) as refusal:
        parse_amount(text)
    (line,) = refusal.value.faults
    assert reason in line
    assert line.isprintable()


def test_cells_take_exponents_and_one_mark_only():
    assert number("1.25E-02") == 0.0125
    assert number("1,25e-2", ",") == 0.0125
    assert number("-0.004") == -0.004
    for text, mark in [("12,5", "."), ("12.5", ","), ("1e999", "."), ("--1", "."), ("#REF!", ".")]:
        with pytest.raises(InputError):
            number(text, mark)


@pytest.mark.parametrize(
    ("cells", "separator", "mark"),
    [
        ([], ",", "."),
        (["1", "2", ""], ";", "."),
        (["12.5", "1.234"], ",", "."),
        (["1.234"], ",", "."),  # between commas a point can only be the decimal mark
        (["1.234", "0.5"], ";", "."),
        (["1.234", "1.2345"], ";", "."),
        (["12,5"], ";", ","),
        (["1,234", "0,5"], ";", ","),
        (["0,123", "0,456"], "\t", ","),
        (["2,5", "n,a", "see note 1.2.3"], ";", ","),
    ],
)
def test_a_file_tells_its_decimal_mark(cells, separator, mark):
    assert decimal_mark(cells, separator) == mark


def test_what_is_known_beside_an_amount_decides_how_it_is_read():
    """Some 100 percent; a number with the same mark; the planned weight."""
    assert parse_amount("12.345", most=100) == 12.345
    assert parse_amount("2.500", beside=["", "12.5", "2.500"]) == 2.5
    assert parse_amount("1.000", planned=1.02) == 1.0
    assert parse_amount("1.000", planned=998.0) == 1000.0
    for known in ({"most": 1e6}, {"beside": ["2.500", "12,5"]}, {"planned": 40.0}):
        with pytest.raises(InputError, match=r"can be read as 2500 or as 2\.5"):
            parse_amount("2.500", **known)


@pytest.mark.parametrize("amount", [0.125, 1.5, 12.345, 123.456, 1234.567, 1000.0, 999.999])
def test_what_a_form_fills_in_is_read_as_it_was_meant(amount):
    assert parse_amount(typed(amount)) == amount


def test_a_reflectance_is_never_in_the_thousands():
    assert decimal_mark(["50,641", "61,200"], ";", reflectance=True) == ","
    assert decimal_mark(["1.234"], ";", reflectance=True) == "."
    with pytest.raises(InputError, match="two decimal marks"):
        decimal_mark(["50,641", "0.5"], ";", reflectance=True)


@pytest.mark.parametrize(
    ("cells", "separator"),
    [
        (["12,5", "12.5"], ";"),
        (["1,234"], ";"),
        (["1,234", "12,500", "7"], "\t"),
        (["1.234"], ";"),
        (["1.234"], "\t"),
        (["1.234", "12.500"], ";"),
    ],
)
def test_a_file_that_can_be_read_two_ways_is_refused(cells, separator):
    with pytest.raises(InputError):
        decimal_mark(cells, separator)


@pytest.mark.parametrize("text", ["1" * 100_000 + "x", "1" + " " * 100_000 + "!", "." * 100_000])
def test_long_nonsense_is_refused_at_once(text):
    """Backtracking in a pattern would take minutes."""
    start = time.process_time()
    with pytest.raises(InputError):
        number(text)
    decimal_mark([text])
    assert time.process_time() - start < 0.5


def test_quoted_is_short_and_on_one_line():
    assert quoted("a\nb\u2028c\u202e") == r"'a\nb\u2028c\u202e'"
    assert len(quoted("x" * 1000)) == 42


def test_grams_of_a_command_are_read_alike():
    grams = in_grams(positive)
    assert (grams("1 000"), grams("2,5"), grams("2.5")) == (1000.0, 2.5, 2.5)
    for text in ("1.000", "2,500"):
        with pytest.raises(ArgumentTypeError, match="can be read as"):
            grams(text)


@given(
    st.lists(st.text("0123456789.,eE+- \n;_n", max_size=6), min_size=1, max_size=3),
    st.sampled_from(".,"),
)
@example(["1.5", "2e-3", "+.5"], ".")
@example(["1,5", "2"], ",")
@example(["1\n2", "3"], ".")
def test_many_numbers_at_once_are_those_of_each(cells, decimal):
    at_once = plain_numbers(cells, decimal)
    assert not at_once or at_once == [number(cell, decimal) for cell in cells]


def test_what_is_no_plain_number_is_left_to_be_looked_at_alone():
    assert plain_numbers(["1.5", "2"], ".") == [1.5, 2.0]
    for cells in (["1 000"], ["1", ""], ["9" * 65], ["1e400"], ["nan"], ["1,5"]):
        assert plain_numbers(cells, ".") == []
