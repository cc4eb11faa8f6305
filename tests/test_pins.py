"""Nothing that the commands answer changes unnoticed, and nothing the first release kept is lost.

After a change on purpose: `python tests/pins.py --write`, and look at what git shows.
"""

import json
import sqlite3
from contextlib import closing

import numpy as np
import pins
import pytest

from matchkit.cli import COMMANDS
from matchkit.cli.book import VERBS

pytestmark = pytest.mark.xdist_group("pins")  # one process answers for all of them

NO_SHOP = {"demo", "lab", "serve", "watch"}  # they answer with no text of a kept shop
FITTED = ("drawdowns.csv", "spectra.csv", "films.csv", "film_spectra.csv", "grounds.csv")


@pytest.fixture(scope="module")
def answered(tmp_path_factory):
    """Every answer, and the folder in which all commands ran."""
    folder = tmp_path_factory.mktemp("first release")
    pins.copied(folder)
    with pins.at_home(folder):
        return pins.answers(), folder


def rows(book):
    """Table -> its rows, as any SQLite program sees them."""
    with closing(sqlite3.connect(f"{book.as_uri()}?mode=ro&immutable=1", uri=True)) as db:
        names = db.execute("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")
        return {
            name: db.execute(f"SELECT * FROM {name} ORDER BY 1").fetchall()
            for (name,) in names.fetchall()
        }


def test_every_command_and_every_verb_of_the_book_is_pinned():
    words = [each.split() for each in pins.RUNS.values()]
    assert {each[0] for each in words} == COMMANDS.keys() - NO_SHOP - {"fit"}
    assert {each[2] for each in words if each[0] == "book"} == VERBS.keys()


@pytest.mark.parametrize("name", [*pins.RUNS, *pins.PAGES, "blind-accuracy"])
def test_answers_are_as_pinned(name, answered):
    kept = pins.PINS / f"{name}.json"
    assert kept.is_file(), "new here: python tests/pins.py --write"
    lines = pins.differences(json.loads(kept.read_text(encoding="utf-8")), answered[0][name])
    told = "\n".join([f"{name}:", *lines[:40], "On purpose? python tests/pins.py --write"])
    assert not lines, told


def test_nothing_is_pinned_that_nothing_answers(answered):
    assert pins.stored().keys() == answered[0].keys()


def test_every_command_opens_what_the_first_release_kept(answered):
    ended = {name: answered[0][name]["status"] for name in pins.RUNS}
    assert ended == dict.fromkeys(pins.RUNS, 0)


def test_no_record_of_the_first_release_is_lost_or_changed(answered):
    before = rows(pins.RELEASE / "shop" / "book.db")
    for book in ("shop/book.db", "copy.db", "ours/book.db"):
        with closing(sqlite3.connect(answered[1] / book)) as db:
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        after = rows(answered[1] / book)
        for table, kept in before.items():
            now = [row[: len(was)] for row, was in zip(after[table], kept, strict=False)]
            assert now == kept, f"{book}: {table}"  # later columns stand behind them


def test_no_file_of_the_first_release_is_lost_or_changed(answered):
    grown = ("book.db", "learner.jsonl")
    for path in sorted(pins.RELEASE.rglob("*/*")):
        if path.is_file() and path.name != "book.db":
            now = (answered[1] / path.relative_to(pins.RELEASE)).read_bytes()
            was = path.read_bytes()
            if path.name.startswith(
                "library.csv"
            ):  # `--anew` is among the words: its figures are pinned
                continue
            assert (now[: len(was)] if path.name in grown else now) == was, path.name


def test_the_book_tells_what_the_first_release_told(tmp_path):
    pins.copied(tmp_path)
    with pins.at_home(tmp_path):
        found = pins.figures()
    kept = json.loads((pins.RELEASE / "figures.json").read_text(encoding="utf-8"))
    lots = [
        np.array([(e["strength"], e["error"]) for e in each.pop("lots")]) for each in (kept, found)
    ]
    np.testing.assert_allclose(*lots, atol=0.003)  # the fit is not quite the same
    told = [line for line in pins.differences(kept, found) if not line.endswith(": is new")]
    assert not told


def test_a_plan_and_a_sheet_of_the_first_release_go_on(tmp_path):
    pins.copied(tmp_path)
    with pins.at_home(tmp_path):
        for words in (
            "plan shop --rungs 3 --write",
            "plan shop --weighed beside/weigh_sheet.csv --write",
            "import beside/targets.txt --to again.csv",
            "predict shop beside/coral.csv",
        ):
            status, _, said = pins.run(words)
            assert status == 0, said


def test_the_demo_shop_fits_as_well_as_at_the_first_release(fitted_demo):
    pairs = [(folder / each for folder in (fitted_demo, pins.RELEASE / "shop")) for each in FITTED]
    if any(ours.read_bytes() != old.read_bytes() for ours, old in pairs):
        pytest.skip("the drawdowns of the demo shop are others by now")
    kept, now = (
        json.loads((folder / "fit.json").read_text(encoding="utf-8"))
        for folder in (pins.RELEASE / "shop", fitted_demo)
    )
    for kind in ("series", "films"):
        for old, new in zip(kept[kind], now[kind], strict=True):
            was, now_is = (min(score[1:] for score in each["scores"]) for each in (old, new))
            assert now_is[0] < 1.02 * was[0]


def test_differences_are_told_in_words():
    old = {"a": [1.0, {"b": 2}], "said": ["dE00 1.49 under D65", "the end"], "n": 3}
    assert pins.differences(old, old) == []
    assert pins.differences({"x": 0.123457}, {"x": 0.123458}) == []  # the last digit
    assert pins.differences({"x": ["dE00 1.49"]}, {"x": ["dE00 1.50"]}) == []
    new = {"a": [1.5, {"b": 2}], "said": ["dE00 1.51 under D65", "the end"], "m": 3}
    assert pins.differences(old, new) == [
        "/a[0]: was 1.0, is 1.5",
        "/m: is new",
        "/n: is gone",
        "/said: +dE00 1.51 under D65",
        "/said: -dE00 1.49 under D65",
    ]
