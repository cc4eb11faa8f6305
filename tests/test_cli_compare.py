"""``compare``, measured lamps, trade-offs and ``--picture`` as a person at the shop uses them."""

import json
import shutil
from itertools import pairwise

import colour
import numpy as np
import pytest
from matplotlib.figure import Figure
from pages import read_page

from matchkit.cli import main
from matchkit.files.write import csv_text, data_folder

DEMO = data_folder() / "demo-shop"
TARGETS = str(DEMO / "targets.csv")
EXAMPLE = DEMO / "example"
CREAM = ("--name", "Clotted cream")
# Matches the cream under D65 and A; under FL11 its magenta and green leave it redder.
GREENISH = (
    "ink,percent\nQuay White,97.545\nStraw Gold,1.353\nFoxglove Magenta,0.978\nKelp Green,0.124\n"
)
# Inks of the demo shop that these tests need; fewer are matched sooner.
SHELF = (
    *("Quay White", "Bollard Black", "Ebb Clear", "Straw Gold", "Lamp Orange"),
    *("Foxglove Magenta", "Kelp Green", "Deckhand Blue", "Slipway Blue"),
)


def small_shop(folder):
    """The demo shop with the inks of SHELF."""
    folder.mkdir()
    shutil.copy(DEMO / "shop.toml", folder)
    for name in ("inks.csv", "drawdowns.csv", "spectra.csv"):
        head, *rows = (DEMO / name).read_text(encoding="utf-8").splitlines()
        kept = [row for row in rows if row.startswith(SHELF)]
        (folder / name).write_text("\n".join([head, *kept]) + "\n", encoding="utf-8")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A shop with its fit, a recipe beside it, and FL11 as if it had been measured."""
    folder = tmp_path_factory.mktemp("compare")
    small_shop(folder / "shop")
    assert main(["fit", str(folder / "shop"), "--json"]) == 0
    (folder / "greenish.csv").write_text(GREENISH, encoding="utf-8")
    sd = colour.SDS_ILLUMINANTS["FL11"]
    rows = list(zip(sd.wavelengths.tolist(), sd.values.tolist(), strict=True))
    (folder / "sewing room.csv").write_text(csv_text(["wavelength_nm", "power"], rows))
    return folder


@pytest.fixture
def run(folder, capsys):
    """Run a command in words, SHOP standing for the shop; status, output, what was said."""

    def runs(*words):
        capsys.readouterr()
        given = [str(folder / "shop") if word == "SHOP" else str(word) for word in words]
        try:
            status = main(given)
        except SystemExit as stop:  # argparse
            status = stop.code
        said = capsys.readouterr()
        return status, said.out, said.err

    return runs


@pytest.fixture
def ask(run):
    def asks(*words):
        status, out, err = run(*words, "--json")
        assert status == 0, err
        return json.loads(out)

    return asks


# ---- compare --------------------------------------------------------------------------------


def test_the_best_of_a_match_are_those_of_match(ask):
    compared = ask("compare", "SHOP", TARGETS, *CREAM, "--match", 3)["recipes"]
    matched = ask("match", "SHOP", TARGETS, *CREAM, "--top", 3)["matches"][0]["formulas"]
    assert [each["name"] for each in compared] == ["formula 1", "formula 2", "formula 3"]
    for ours, theirs in zip(compared, matched, strict=True):
        assert [i["percent"] for i in ours["inks"]] == [i["percent"] for i in theirs["inks"]]
        assert ours["de00"] == theirs["de00"]
        assert ours["worst_light"] == max(ours["de00"], key=ours["de00"].get)
        assert ours["worst_light"] == theirs["worst_light"]


def test_a_measured_lamp_is_one_more_light(ask, folder):
    """FL11 from a file is FL11; D50 and an LED are there by name."""
    found = ask("compare", "SHOP", TARGETS, folder / "greenish.csv", *CREAM, "--light", "D50",
                "--light", "LED-B3", "--lamp", folder / "sewing room.csv")  # fmt: skip
    one = found["recipes"][0]
    assert list(one["lab"]) == ["D65", "A", "FL11", "D50", "LED-B3", "sewing room"]
    np.testing.assert_allclose(one["lab"]["sewing room"], one["lab"]["FL11"], atol=1e-3)
    assert one["metamerism"]["sewing room"] == pytest.approx(one["metamerism"]["FL11"], abs=1e-3)
    matched = ask("match", "SHOP", TARGETS, *CREAM, "--lamp", folder / "sewing room.csv")
    assert "sewing room" in matched["matches"][0]["formulas"][0]["de00"]


def test_files_may_stand_after_options(ask, folder):
    recipe = folder / "greenish.csv"
    before = ask("compare", "SHOP", TARGETS, recipe, *CREAM)
    assert ask("compare", "SHOP", TARGETS, *CREAM, recipe) == before
    assert ask("compare", *CREAM, "SHOP", TARGETS, recipe) == before


def test_report_names_the_light_the_ink_and_the_method(run, folder):
    _, out, _ = run("compare", "SHOP", TARGETS, folder / "greenish.csv", *CREAM, "--match", 1)
    assert "greenish: worst under FL11" in out
    assert "formula 1: worst under" in out
    assert "causes most of the metamerism under FL11. With" in out
    for said in ("multiplicative XYZ", "CMCCAT2000, D = 1", "not the deviate observer of CIE 080"):
        assert said in out


def test_a_swap_is_never_for_an_ink_that_is_used_up(run, folder, tmp_path):
    def instead(shop):
        _, out, _ = run("compare", shop, TARGETS, folder / "greenish.csv", *CREAM)
        return out.partition("the metamerism under FL11. With ")[2].partition(" instead")[0]

    named = instead("SHOP")
    shop = tmp_path / "shop"
    shutil.copytree(folder / "shop", shop)
    rows = (shop / "inks.csv").read_text(encoding="utf-8").splitlines()
    column = rows[0].split(",").index("stock_g")
    cells = [row.split(",") for row in rows]
    for row in cells:
        if row[0] == named:
            row[column] = "0"
    (shop / "inks.csv").write_text("\n".join(map(",".join, cells)) + "\n", encoding="utf-8")
    assert named
    assert instead(shop) not in ("", named)


def test_sheet_is_the_answer_on_paper(run, ask, folder, tmp_path):
    page = tmp_path / "sheet.html"
    words = ("compare", "SHOP", TARGETS, folder / "greenish.csv", *CREAM, "--match", 2,
             "--lamp", folder / "sewing room.csv")  # fmt: skip
    own = tmp_path / "own.html"
    job = ("--job", "Regatta", "--date", "2031-05-02")
    status, _, err = run(*words, "--sheet", page, "--shop-copy", own, *job)
    assert status == 0
    assert f"written: {page}" in err
    text, copy = (read_page(each.read_text(encoding="utf-8")) for each in (page, own))
    assert all(said in text for said in ("Clotted cream", "Regatta", "2031-05-02", "Quay Street"))
    for recipe in ask(*words)["recipes"]:
        assert recipe["name"] in copy and recipe["inks"][0]["ink"] in copy
        assert recipe["inks"][0]["ink"] not in text
        assert all(f"dE00 {value:.2f}" in text for value in recipe["de00"].values())
    assert text.count("sewing room measured lamp") == 3


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["SHOP", TARGETS, *CREAM], "--match N"),
        (["SHOP", TARGETS, *CREAM, "--match", "0"], "--match"),
        (["SHOP", TARGETS, *CREAM, "--match", "1.5"], "whole number"),
        (["SHOP", TARGETS, *CREAM, "--match", "1", "--light", "moon"], "--light: light is 'moon'"),
        (["SHOP", TARGETS, *CREAM, "--match", "1", "--lamp", "no.csv"], "no.csv: not found"),
        (["SHOP", TARGETS, *CREAM, "--match", "1", "--grams", "x"], "--grams"),
        (["SHOP", TARGETS, *CREAM, "--match", "1", "--show", "ab"], "--show goes with --picture"),
        (["SHOP", TARGETS, *CREAM, "--match", "1", "--picture", "OUT.gif"], ".png, .svg, .pdf"),
        (["SHOP", TARGETS, *CREAM, "--match", "5", "--sheet", "OUT.html"], "1 to 4"),
        (["SHOP", TARGETS, *CREAM, "--match", "1", "--sheet", "OUT/a.html"], "cannot be written"),
        (["SHOP", TARGETS, "--match", "1"], "holds several spectra"),
    ],
)
def test_bad_words_are_refused_and_write_nothing(run, tmp_path, words, said):
    given = [word.replace("OUT", str(tmp_path / "out")) for word in words]
    status, out, err = run("compare", *given)
    assert status == 2
    assert said in err
    assert out == ""
    assert "Traceback" not in err
    assert not list(tmp_path.iterdir())


# ---- trade-offs -----------------------------------------------------------------------------


def worsts(out):
    rows = out.partition("Trade-offs")[2].splitlines()[2:]
    return [float(row.split()[2]) for row in rows if row.strip()[:1].isdigit()]


def test_steady_ranks_by_the_worst_light_and_says_what_it_gives_up(run, ask):
    _, out, _ = run(
        "match", "SHOP", TARGETS, *CREAM, "--prefer", "steady", "--without", "Ebb Clear"
    )
    listed = worsts(out)
    assert len(listed) > 2
    # Within 0.1 fewer inks or lower cost decide.
    assert all(late > early - 0.1 - 0.011 for early, late in pairwise(listed))
    nearest = ask("match", "SHOP", TARGETS, *CREAM, "--without", "Ebb Clear")["matches"][0]
    assert listed[0] <= max(nearest["formulas"][0]["de00"].values()) + 0.1


def test_trade_offs_are_told_when_asked(run):
    words = ("match", "SHOP", TARGETS, *CREAM, "--top", 2)
    assert "Trade-offs" not in run(*words)[1]
    assert len(worsts(run(*words, "--trade-offs")[1])) == 2
    lab = run("match", "SHOP", "--lab", "60,20,10", "--trade-offs")[1]
    assert "Trade-offs" in lab
    assert "--other-lights" not in lab


# ---- pictures -------------------------------------------------------------------------------

BEGIN = {"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}
PICTURES = {
    "compare": ["compare", "SHOP", TARGETS, *CREAM, "--match", "2"],
    "compare, all": ["compare", "SHOP", TARGETS, *CREAM, "--match", "2",
                     *(w for name in ("ab", "LC", "recipes") for w in ("--show", name))],
    "match": ["match", "SHOP", TARGETS, *CREAM, "--top", "2"],
    "match, Lab": ["match", "SHOP", "--lab", "60,20,10", "--top", "2"],
    "check": ["check", "SHOP", EXAMPLE / "target.csv", EXAMPLE / "measured.csv"],
    "correct": ["correct", "SHOP", EXAMPLE / "target.csv", "--weighed", EXAMPLE / "weighed.csv",
                "--measured", EXAMPLE / "measured.csv", "--show", "lights"],
    "predict": ["predict", "SHOP", EXAMPLE / "weighed.csv"],
    "fit": ["fit", "SHOP"],
    "fit, one ink": ["fit", "SHOP", "--ink", "Kelp Green"],
}  # fmt: skip


@pytest.mark.parametrize("name", PICTURES)
def test_every_command_that_shows_a_colour_draws_it(run, tmp_path, name, monkeypatch):
    form = {"match": "svg", "check": "pdf"}.get(name, "png")
    if name not in ("match", "check", "predict"):  # `test_plots` has what is on each picture
        monkeypatch.setattr("matchkit.report.marks.settle", lambda ax: None)
        monkeypatch.setattr(Figure, "savefig", lambda figure, out, **_: out.write(BEGIN[form]))
    path = tmp_path / f"picture.{form}"
    status, out, err = run(*PICTURES[name], "--picture", path, "--json")
    assert status == 0, err
    assert path.read_bytes().startswith(BEGIN[form])
    assert json.loads(out)
    assert f"written: {path}" in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["match", "SHOP", TARGETS, "--picture", "OUT.png"], "one target; choose it with --name"),
        (["match", "SHOP", "--lab", "60,20,10", "--picture", "OUT.png", "--show", "ab"],
         "this answer has no such picture"),
        (["match", "SHOP", "--lab", "60,20,10", "--lamp", "x.csv"], "measure the sample"),
        (["fit", "SHOP", "--ink", "Kelp Green"], "--ink goes with --picture"),
        (["fit", "SHOP", "--ink", "Kelp", "--picture", "OUT.png"], "no ink is called 'Kelp'"),
        (["check", "SHOP", EXAMPLE / "target.csv", EXAMPLE / "measured.csv", "--show", "ab"],
         "--show goes with --picture"),
    ],
)  # fmt: skip
def test_pictures_that_cannot_be_drawn_are_refused(run, tmp_path, words, said):
    given = [str(word).replace("OUT", str(tmp_path / "out")) for word in words]
    status, _, err = run(*given)
    assert status == 2
    assert said in err
    assert not list(tmp_path.iterdir())


def test_a_recipe_that_is_mostly_clear_is_called_that(run, tmp_path):
    (tmp_path / "thin.csv").write_text("ink,percent\nEbb Clear,95\nStraw Gold,5\n")
    (tmp_path / "full.csv").write_text("ink,percent\nQuay White,95\nStraw Gold,5\n")
    sheet = tmp_path / "sheet.html"
    recipes = (tmp_path / "thin.csv", tmp_path / "full.csv")
    status, out, err = run("compare", "SHOP", TARGETS, *recipes, *CREAM, "--sheet", sheet)
    assert status == 0, err
    thin, full = out.split("full: worst")
    assert "thin is mostly clear" in thin
    assert "clear" not in full
    assert sheet.read_text(encoding="utf-8").count("MOSTLY CLEAR") == 1
