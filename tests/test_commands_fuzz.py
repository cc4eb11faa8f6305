"""Commands with whatever a person might type: an answer, or lines that say what is wrong.

What is typed is drawn from each command's own arguments, so that a new command or option is
tried as soon as it is there.
"""

import argparse
import contextlib
import io
import json
import os
import random
import sqlite3
from contextlib import closing
from functools import cache, partial

import pytest
from book_shop import one_batch
from broken_files import cgats, cxf
from small_shop import SPECTRA, put, wide

from matchkit.book.store import open_book
from matchkit.cli import COMMANDS, main, parser
from matchkit.errors import InputError
from matchkit.files.shop import read_shop
from matchkit.workflows.fitting_inks import fit_inks, keep_fits
from matchkit.workflows.session import Session

# Servers that wait, and what takes minutes by design.
LEFT_OUT = {"lab", "serve", "watch", "demo", "rehearse", "library"}
NUMBERS = ["0", "-1", "1", "2", "30", "1e308", "1e400", "nan", "inf", "9" * 400, "1,5", "1e-7"]
DATES = ["2026-03-02", "0001-01-01", "9999-12-31", "10000-01-01", "2026-02-30", "31.2.2026", "0"]
TEXTS = ["", "Grey", "White", "Lemon", "x" * 300, "../..", "-", "=1+1", "ä\u202eb", "a\nb"]
TEXTS += ["White=3", "50,1,2", "1.2.3"]
FEW, MANY = 100, 2000


def files(folder):
    """Files and folders of every kind, by where they stand."""
    folder.mkdir()
    good = put(folder / "shop")
    session = Session(good)
    keep_fits(session, fit_inks(session))
    one_batch(open_book(good))
    (folder / "target.csv").write_text(wide({"Grey": SPECTRA["Grey"]}))
    (folder / "several.txt").write_text(cgats({n: SPECTRA[n] for n in ("Grey", "Lemon", "White")}))
    (folder / "one.cxf").write_text(cxf({"Lemon": SPECTRA["Lemon"]}))
    (folder / "recipe.csv").write_text("ink,grams\nWhite,90\nLemon,10\n")
    (folder / "percents.csv").write_text("ink,percent\nWhite,90\nBlack,10\n")
    (folder / "huge.csv").write_text(f"ink,grams\nWhite,1e308\nLemon,{'9' * 300}\n")
    (folder / "deep.json").write_text("[" * 100_000)
    (folder / "empty.csv").write_text("")
    (folder / "binary.csv").write_bytes(bytes(range(256)))
    (folder / "loop").symlink_to(folder / "loop")
    shops = [good, put(folder / "broken", inks_csv="ink\n"), folder / "loop", folder / "nowhere"]
    shops += [folder / "target.csv", folder / ("n" * 300), folder / "shop" / "inks.csv" / "x"]
    dated = put(
        folder / "dated",
        mixes_csv="name,ink,percent,stock_g,date\nOld,White,100,1e300,9999-12-31\n",
    )
    (dated / "fit.json").write_text("[" * 100_000)
    shops.append(dated)
    for name, statements in {
        "other": ["CREATE TABLE t (x)"],
        "empty": [],
        "halfway": ["CREATE TABLE book (id, at, uid)", "PRAGMA application_id = 0x4D4B626B",
                    "PRAGMA user_version = 1"],
        "future": ["CREATE TABLE book (id, at, uid)", "PRAGMA application_id = 0x4D4B626B",
                   "PRAGMA user_version = 99"],
    }.items():  # fmt: skip
        shop = put(folder / f"book {name}")
        with closing(sqlite3.connect(shop / "book.db")) as db:
            for line in statements:
                db.execute(line)
        shops.append(shop)
    torn = put(folder / "book torn")
    (torn / "book.db").write_bytes(b"SQLite format 3\0" + bytes(5000))
    paths = [path for path in folder.iterdir() if path.is_file() or path.is_symlink()]
    paths += [folder / "nowhere.csv", folder / f"{'n' * 300}.csv", good, folder]
    return [*shops, torn], paths


class Typist:
    """Types one command after the other."""

    def __init__(self, rng, shops, paths):
        self.rng, self.shops, self.paths = rng, shops, paths

    def words(self):
        known = [name for name in COMMANDS if name not in LEFT_OUT]
        quick = [name for name in known if name not in ("fit", "practice")]
        command = self.rng.choice([*known, *quick * 3, *["book"] * 20])  # which has many verbs
        typed = self.of(parsed(command))
        return [command, *map(str, typed)]

    def of(self, known):
        words = []
        for action in known._actions:
            if isinstance(action, argparse._SubParsersAction):
                verb = self.rng.choice(list(action.choices))
                words += [verb, *self.of(action.choices[verb])]
            elif not action.option_strings:
                if action.nargs not in ("?", "*") or self.rng.random() < 0.8:
                    words += [self.value(action)]
            elif action.dest != "help" and (action.required or self.rng.random() < 0.05):
                words.append(self.rng.choice(action.option_strings))
                words += [] if action.nargs == 0 else [self.value(action)]
        return words

    def value(self, action):
        rng, kind = self.rng, str(action.metavar or action.dest)
        if rng.random() < 0.1:
            return rng.choice([*NUMBERS, *DATES, *TEXTS])
        if action.choices:
            return rng.choice(list(action.choices))
        if "SHOP" in kind:
            return rng.choice([self.shops[0]] * 8 + self.shops)
        if any(word in kind for word in ("FILE", "RECIPE", "TARGET", "MEASURED", "DIR", "SPECTR")):
            return rng.choice([*self.paths, *self.fine(kind) * len(self.paths)])
        if "BATCH" in kind:
            return rng.choice(["1", "1", "2", "0", "9" * 30, "x"])
        if "DATE" in kind or "date" in action.dest:
            return rng.choice(DATES)
        if rng.random() < 0.4:
            return rng.choice(["1", "2", "30", "Lemon"])
        return rng.choice([*NUMBERS, *NUMBERS, *TEXTS, *DATES, *self.paths[:2]])

    def fine(self, kind):
        """The file that is right where one of this kind is wanted."""
        folder = self.shops[0].parent
        return [folder / ("recipe.csv" if "RECIPE" in kind else "target.csv")]


@cache
def parsed(command):
    """The command's own parser."""
    (subs,) = (a for a in parser(command)._actions if isinstance(a, argparse._SubParsersAction))
    return subs.choices[command]


def tried(words):
    """Exit status, output and messages; whatever else comes up goes through."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = main(words)
        except SystemExit as stop:
            status = stop.code
    return status, out.getvalue(), err.getvalue()


def fuzz(seed, count, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    rng = random.Random(seed)
    typist = Typist(rng, *files(tmp_path / "f"))
    answers = 0
    for _ in range(count):
        words = typist.words()
        try:
            status, out, err = tried(words)
        except BaseException as error:
            error.add_note(f"matchkit {words}")
            raise
        assert status in (0, 2), (words, err)
        if status == 2:
            assert err.strip() and all(line.isprintable() for line in err.splitlines()), words
        elif "--json" in words and "--help" not in words:
            json.loads(out or "null")
        answers += status == 0
    assert answers > count / 50  # not all of it is refused at the door


@pytest.mark.filterwarnings("ignore")
def test_a_hundred_commands_end_in_an_answer_or_in_words(tmp_path, monkeypatch):
    fuzz(2026, FEW, tmp_path, monkeypatch)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("seed", range(1, 11))
def test_two_thousand_commands(tmp_path, monkeypatch, seed):
    fuzz(seed, MANY // 10, tmp_path, monkeypatch)


@pytest.mark.parametrize(
    "command", ["predict SHOP FILE", "fit SHOP", "book SHOP today", "import FILE SHOP"]
)
def test_a_folder_that_may_not_be_entered_is_told_by_its_path(tmp_path, monkeypatch, command):
    """Whoever runs the tests may enter every folder, so the system's answer is made up."""
    shop, real = put(tmp_path / "shop"), os.stat

    def closed(path, *more, **how):
        if isinstance(path, str | os.PathLike) and str(path).startswith(f"{shop}/"):
            raise PermissionError(13, "Permission denied", str(path))
        return real(path, *more, **how)

    (tmp_path / "r.csv").write_text("ink,grams\nWhite,90\n")
    monkeypatch.setattr("os.stat", closed)
    words = {"SHOP": str(shop), "FILE": str(tmp_path / "r.csv")}
    status, _, err = tried([words.get(word, word) for word in command.split()])
    assert status == 2
    assert "may not be opened; ask for the right to read and to write it" in err
    assert "shop/" in err or ".csv" in err or "book.db" in err
    for work in (read_shop, partial(open_book, create=False)):  # Python's own door
        with pytest.raises(InputError, match="may not be opened"):
            work(shop)
