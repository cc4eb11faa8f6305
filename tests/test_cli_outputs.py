"""What commands write never lands on what they read, nor on a shop's own files."""

import argparse
import shutil

import pytest

from matchkit.cli import COMMANDS, main, parser
from matchkit.cli.outputs import OWN, OutFile
from matchkit.files.shop import FILES, OPTIONAL_FILES
from matchkit.files.write import data_folder

TEAL = ["--name", "Sea teal"]
RECIPE = "ink,grams\nQuay White,95\nKelp Green,5\n"


@pytest.fixture
def shop(fitted_demo, tmp_path, monkeypatch):
    """The demo shop as Q, with a recipe beside it; the working folder."""
    shutil.copytree(fitted_demo, tmp_path / "Q")
    shutil.copy(data_folder() / "demo-shop" / "targets.csv", tmp_path / "wanted.csv")
    (tmp_path / "r.csv").write_text(RECIPE, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def contents(folder):
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def refused(capsys, *words):
    try:
        status = main([*words])
    except SystemExit as stop:  # argparse
        status = stop.code
    said = capsys.readouterr()
    assert status == 2
    assert said.out == ""
    return said.err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["match", "Q", "wanted.csv", *TEAL, "--recipe", "Q/inks.csv"], "the shop's own"),
        (["match", "Q", "wanted.csv", *TEAL, "--recipe", "Q/../Q/INKS.csv"], "the shop's own"),
        (["match", "Q", "wanted.csv", *TEAL, "--recipe", "Q/mixes.csv"], "the shop's own"),
        (["match", "Q", "wanted.csv", *TEAL, "--recipe", "wanted.csv"], "read by this very"),
        (["match", "Q", "wanted.csv", *TEAL, "--recipe", "./Q/../wanted.csv"], "read by this very"),
        (["match", "Q", "--lab", "50,0,0", "--recipe", "wanted.csv"], "no recipe of ink,grams"),
        (["match", "Q", "wanted.csv", *TEAL, "--ticket", "wanted.csv"], "end the name in .html"),
        (
            ["compare", "Q", "wanted.csv", "r.csv", *TEAL, "--sheet", "wanted.csv"],
            "end the name in .html",
        ),
        (["plan", "Q", "--html", "Q/inks.csv"], "end the name in .html"),
        (["ticket", "Q", "r.csv", "--html", "r.csv"], "end the name in .html"),
        (["practice", "--sheet", "Q/shop.toml"], "end the name in .html"),
        (["book", "Q", "label", "1", "--html", "Q/inks.csv"], "end the name in .html"),
        (["fit", "Q", "--picture", "Q/spectra.csv"], ".png, .svg, .pdf"),
        (["import", "wanted.csv", "Q", "--to", "Q/films.csv"], "the shop's own"),
        (["library", "Q", "wanted.csv", "--into", "Q/films.csv"], "the shop's own"),
    ],
)
def test_a_file_that_must_stay_is_refused_and_nothing_is_written(words, told, shop, capsys):
    before = contents(shop)
    assert told in refused(capsys, *words)
    assert contents(shop) == before


def test_a_link_to_a_file_of_the_shop_counts_as_that_file(shop, capsys):
    try:
        (shop / "mine.csv").symlink_to(shop / "Q" / "inks.csv")
    except OSError:
        pytest.skip("no links here")
    told = refused(capsys, "match", "Q", "wanted.csv", *TEAL, "--recipe", "mine.csv")
    assert told == ("--recipe: mine.csv is one of the shop's own files; give another name\n")


def test_ones_own_earlier_ticket_and_recipe_may_be_written_again(shop):
    words = ["match", "Q", "wanted.csv", *TEAL, "--ticket", "Q/t.html", "--recipe", "r.csv"]
    assert main(words) == 0
    first = contents(shop)
    assert main([*words, "--job", "Again"]) == 0
    changed = {path.as_posix() for path, text in contents(shop).items() if text != first[path]}
    assert changed == {"Q/t.html"}


def options_of(one):
    """Every option of a parser and of its verbs."""
    for action in one._actions:
        if isinstance(action, argparse._SubParsersAction):
            for sub in action.choices.values():
                yield from options_of(sub)
        elif action.option_strings:
            yield action


@pytest.mark.parametrize("command", COMMANDS)
def test_no_option_that_writes_a_file_is_forgotten(command):
    for action in options_of(parser(command)):
        says = (action.help or "").removeprefix("with --sheet: ")
        if action.metavar in ("FILE", "NEW") and says.startswith(("write", "the page to write")):
            kinds = [
                action.type(f"a{end}") for end in (".html", ".csv", ".png") if _takes(action, end)
            ]
            assert kinds and all(isinstance(kind, OutFile) for kind in kinds), action.option_strings


def _takes(action, end):
    try:
        action.type(f"a{end}")
    except (argparse.ArgumentTypeError, TypeError):
        return False
    return True


def test_every_file_a_shop_is_read_from_is_its_own():
    assert {*FILES, *OPTIONAL_FILES} <= set(OWN)
