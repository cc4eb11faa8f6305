"""Broken shop folders: every outcome is a good load or lines that say what is wrong."""

import random

import numpy as np
import pytest
from broken_files import cut, flip_bytes, repeat
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_shop import FILES, NM, SPECTRA, put, wide

from matchkit.errors import InputError
from matchkit.files.fitted import digest
from matchkit.files.recipe import read_recipe
from matchkit.files.shop import read_shop
from matchkit.files.spectrum import read_spectra
from matchkit.inks.shop import ROLES, Shop

CHECKED = settings(
    max_examples=250,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
CELLS = [
    *("", "0", "-1", "1e9", "nan", "inf", "true", "12,5", "1,234", "1.234,5", "50 %", "#REF!"),
    *(
        "White",
        "Lemon",
        "nobody",
        "percent",
        "grams",
        "ink",
        "400",
        "410",
        "=1+1",
        '"',
        "'",
        "\x00",
    ),
    *("\ufeff", "\u202e", "\u2028", "x" * 300, "9" * 400, "0x10", "1_0", "\u0661", "é", "[", "{"),
]
TABLES = [name for name in FILES if name.endswith(".csv")]


def edit_cell(data, rng):
    rows = [row.split(b",") for row in data.split(b"\n")]
    row = rng.choice(rows)
    row[rng.randrange(len(row))] = rng.choice(CELLS).encode()
    return b"\n".join(b",".join(row) for row in rows)


def edit_value(data, rng):
    """Something else after an equals sign, as in shop.toml."""
    rows = data.split(b"\n")
    index = rng.randrange(len(rows))
    key = rows[index].partition(b"=")[0]
    rows[index] = key + b"= " + rng.choice([*CELLS, "[]", "[1]", "{}", '""', "1979-05-27"]).encode()
    return b"\n".join(rows)


def drop_row(data, rng):
    rows = data.split(b"\n")
    del rows[rng.randrange(len(rows))]
    return b"\n".join(rows)


def double_row(data, rng):
    rows = data.split(b"\n")
    rows.insert(rng.randrange(len(rows)), rng.choice(rows))
    return b"\n".join(rows)


def shuffle_rows(data, rng):
    rows = data.split(b"\n")
    rng.shuffle(rows)
    return b"\n".join(rows)


def drop_column(data, rng):
    rows = [row.split(b",") for row in data.split(b"\n")]
    place = rng.randrange(len(rows[0]))
    return b"\n".join(b",".join(row[:place] + row[place + 1 :]) for row in rows)


def swap_separator(data, rng):
    old, new = rng.sample([b",", b";", b"\t", b".", b" ", b"\n", b"\r\n"], 2)
    return data.replace(old, new, rng.choice([1, 5, -1]))


def encode_anew(data, rng):
    text = data.decode("utf-8", "replace")
    return text.encode(rng.choice(["utf-16", "utf-16-le", "utf-8-sig", "utf-32", "utf-7"]))


def empty(data, rng):
    return rng.choice([b"", b"\n", b"\xef\xbb\xbf", b"ink\n", b"PK\x03\x04", b"\x00" * 50])


def other_file(data, rng):
    return rng.choice(list(FILES.values())).encode()


CHANGES = [
    flip_bytes,
    cut,
    repeat,
    edit_cell,
    edit_cell,
    edit_value,
    drop_row,
    double_row,
    shuffle_rows,
    drop_column,
    swap_separator,
    encode_anew,
    empty,
    other_file,
]


def mutated(data, rng):
    for _ in range(rng.choice([1, 1, 2])):
        data = rng.choice(CHANGES)(data, rng) or b"\n"
    return data


def assert_clear(error):
    """Lines for a person: at least one, each on one line, none endless."""
    assert error.faults
    for fault in error.faults:
        assert fault.strip()
        assert len(fault.splitlines()) == 1
        assert len(fault) < 1000


def assert_sound(shop):
    assert isinstance(shop, Shop)
    known = {ink.name for ink in shop.inks}
    assert any(ink.role == "white" for ink in shop.inks)
    assert all(ink.role in ROLES and ink.name for ink in shop.inks)
    assert len(known) == len(shop.inks)
    for mixture in (*shop.drawdowns, *shop.mixes):
        assert set(mixture.inks) <= known
        assert min(mixture.fractions) > 0
        assert sum(mixture.fractions) == pytest.approx(1)
    for drawdown in shop.drawdowns:
        assert drawdown.readings.shape[1:] == (31,)
        assert np.isfinite(drawdown.readings).all()
        assert drawdown.readings.min() > -0.006
        assert drawdown.readings.max() < 1.06
    assert all(len(note.splitlines()) == 1 for note in shop.notes)


@CHECKED
@given(seed=st.integers(0, 2**32))
def test_a_mutated_shop_is_loaded_or_refused_clearly(tmp_path, seed):
    rng = random.Random(seed)
    folder = put(tmp_path / "shop")
    for name in rng.sample(list(FILES), rng.choice([1, 1, 2, 5])):
        (folder / name).write_bytes(mutated(FILES[name].encode(), rng))
    try:
        shop = read_shop(folder)
    except InputError as error:
        assert_clear(error)
    else:
        assert_sound(shop)
        assert len(digest(shop)) == 64


@CHECKED
@given(seed=st.integers(0, 2**32))
def test_a_mutated_spectrum_file_is_read_or_refused_clearly(tmp_path, seed):
    rng = random.Random(seed)
    path = tmp_path / "target.csv"
    tall = "wavelength_nm,reflectance\n" + "".join(f"{w},0.{w}\n" for w in NM)
    path.write_bytes(mutated(rng.choice([wide(SPECTRA), tall]).encode(), rng))
    try:
        spectra, notes = read_spectra(path)
    except InputError as error:
        assert_clear(error)
    else:
        assert all(s.readings.shape[1:] == (31,) and np.isfinite(s.R).all() for s in spectra)
        assert all(len(note.splitlines()) == 1 for note in notes)


@CHECKED
@given(seed=st.integers(0, 2**32))
def test_a_mutated_recipe_is_read_or_refused_clearly(tmp_path, seed):
    rng = random.Random(seed)
    path = tmp_path / "recipe.csv"
    text = rng.choice(
        ["ink,grams\nWhite,300.5\nLemon,99.5\n", "ink;percent\nWhite;75,5\nLemon;24,5\n"]
    )
    path.write_bytes(mutated(text.encode(), rng))
    try:
        recipe = read_recipe(path, rng.choice([None, ["White", "Lemon"]]))
    except InputError as error:
        assert_clear(error)
    else:
        assert sum(recipe.fractions) == pytest.approx(1)
        assert len(recipe.inks) == len(set(recipe.inks)) == len(recipe.fractions)
