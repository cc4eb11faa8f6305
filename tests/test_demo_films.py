"""The demo shop's films through the commands: what a mixer asks of a print, and is told."""

import csv
import json
import shutil

import numpy as np
import pytest

from matchkit.cli import main
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.files.shop import read_inks
from matchkit.files.spectrum import read_spectrum
from matchkit.files.write import data_folder
from matchkit.matching.garment import stand_in_grounds
from matchkit.optics.film import ground_inside
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import film_R

DEMO = data_folder() / "demo-shop"
SHOP_SEED = 33  # of data/make_demo_shop.py


@pytest.fixture(scope="module")
def shop(fitted_demo):
    return fitted_demo


@pytest.fixture
def ask(shop, capsys):
    """Match a colour of the demo shop as a print, and what is said."""

    def asked(target, *words):
        capsys.readouterr()
        assert main(["match", str(shop), str(shop / "targets.csv"), "--name", target, *words]) == 0
        return capsys.readouterr().out

    return asked


def test_what_is_found_for_a_print_prints_so_on_the_bench(ask):
    # The bench that the shop's inks come from follows the light through the film; the fit never
    # saw cloth, nor any mixture in a thin film.
    for target, ground in (("Bottle green", "navy tee"), ("Club navy", "white tee")):
        told = json.loads(ask(target, "--over", ground, "--thickness", "60", "--json"))
        assert told["printed"] == {
            "over": ground, "thickness_um": 60.0, "underbase_um": None, "thickness_spread": 0.1,
        }  # fmt: skip
        (found,) = told["matches"]
        assert found["in_gamut"]
        best = found["formulas"][0]
        grams = {each["ink"]: each["grams"] for each in best["inks"]}
        assert sum(grams.values()) == pytest.approx(1000)
        bench = make_bench(SHOP_SEED)
        c = np.array([grams.get(ink.name, 0.0) / 1000 for ink in read_inks(DEMO)])
        cloth = ground_inside(stand_in_grounds(GRID_NM)[ground], "rough", bench.geometry)
        wanted = read_spectrum(DEMO / "targets.csv", target)[0].R
        away = de00(Lab(wanted, "D65", 10), Lab(film_R(bench, c, 60.0, cloth), "D65", 10))
        assert best["de00"]["D65"] < 0.1 and float(away) < 1
        # Printed as they are told, and not as they look where they hide.
        np.testing.assert_allclose(
            best["reflectance"]["values"], film_R(bench, c, 60.0, cloth), atol=0.02
        )


def test_a_light_colour_on_black_is_told_not_to_hold(ask):
    bare = ask("Pale mint", "--over", "black tee", "--thickness", "60", "--top", "1")
    assert "Pale mint, printed 60 um over black tee: outside what these inks can reach" in bare
    assert "It will not cover: what is below shows through." in bare
    assert "put white below it" in bare
    more = ("--underbase", "120", "--top", "1", "--json")
    words = ("--over", "black tee", "--thickness", "60", *more)
    based = json.loads(ask("Pale mint", *words))["matches"][0]["formulas"][0]
    words = ("--over", "black tee", "--thickness", "60", "--top", "1", "--json")
    alone = json.loads(ask("Pale mint", *words))["matches"][0]["formulas"][0]
    assert based["de00"]["D65"] < alone["de00"]["D65"] / 2
    # Thick enough it hides, whatever is below.
    thick = ask("Pale mint", "--over", "black tee", "--thickness", "600", "--top", "1")
    assert "Pale mint, printed 600 um over black tee: these inks can reach it." in thick
    assert "will not cover" not in thick


def test_a_thickness_that_strays_lowers_the_chance_and_is_told(ask):
    chance = {}
    for spread in ("0", "10", "30"):
        words = ("--over", "white tee", "--thickness", "40", "--thickness-spread", spread)
        found = json.loads(ask("Sea teal", *words, "--top", "1", "--json"))["matches"][0]
        chance[spread] = found["formulas"][0]["chance_in_tolerance"]
    assert chance["0"] > chance["10"] > chance["30"]
    assert "a thickness that varies by 30 %" in ask("Sea teal", *words, "--top", "1")


def test_the_ticket_of_a_print_says_what_it_is_printed_on(ask, tmp_path):
    page = tmp_path / "t.html"
    ask("Bottle green", "--over", "black tee", "--thickness", "2mil", "--underbase", "60",
        "--ticket", str(page))  # fmt: skip
    told = page.read_text(encoding="utf-8")
    assert "Matched as a print, 50.8 um over black tee with 60 um of white below." in told
    assert "A drawdown of it on a card has another colour" in told


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (
            ["--over", "pink tee", "--thickness", "60"],
            "no ground is called 'pink tee'; grounds.csv",
        ),
        (["--over", "navy tee", "--thickness", "0"], "--thickness: found '0', need a number above"),
        (["--over", "navy tee", "--thickness", "-5"], "--thickness: found '-5'"),
        (["--over", "navy tee", "--thickness", "thin"], "--thickness: found 'thin'"),
        (["--over", "navy tee", "--thickness", "60", "--underbase", "0"], "--underbase: found '0'"),
    ],
)
def test_what_no_print_is_ends_with_two(shop, tmp_path, capsys, words, says):
    target = [str(shop / "targets.csv"), "--name", "Pale mint"]
    capsys.readouterr()
    assert main(["match", str(shop), *target, *words]) == 2
    said = capsys.readouterr()
    assert says in said.err and not said.out and "Traceback" not in said.err
    recipe = tmp_path / "r.csv"
    recipe.write_text("ink,percent\nQuay White,100\n", encoding="utf-8")
    assert main(["cover", str(shop), str(recipe), *words]) == 2
    said = capsys.readouterr()
    assert says in said.err and not said.out


# ---- shops that have only just begun


def begun(folder, keep):
    """The demo shop with the drawdowns whose row is kept, and their inks."""
    folder.mkdir()
    for name in ("shop.toml", "grounds.csv"):
        shutil.copy(DEMO / name, folder)
    rows = []
    for name in ("films.csv", "drawdowns.csv"):
        with (DEMO / name).open(encoding="utf-8", newline="") as file:
            rows += [{"ground": "", **row} for row in csv.DictReader(file)]
    rows = [row for row in rows if keep(row)]
    with (folder / "drawdowns.csv").open("w", encoding="utf-8", newline="") as file:
        sheet = csv.DictWriter(file, max(rows, key=len))
        sheet.writeheader()
        sheet.writerows(rows)
    read = (DEMO / "film_spectra.csv").read_text(encoding="utf-8").splitlines()[1:]
    for name, kept, more in (
        ("inks.csv", {row["ink"] for row in rows}, []),
        ("spectra.csv", {row["drawdown"] for row in rows}, read),
    ):
        head, *lines = (DEMO / name).read_text(encoding="utf-8").splitlines()
        lines += more
        lines = [line for line in lines if line.split(",")[0] in kept]
        (folder / name).write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    return str(folder)


SOME = ("Quay White", "Kelp Green")


@pytest.mark.parametrize(
    ("cards", "hiding"),
    [(("black card", "white card"), ""), (("black card",), ""),
     (("black card", "white card"), "Quay White 1")],
    ids=["cards alone", "black halves alone", "cards and one drawdown that hides"],
)  # fmt: skip
def test_cards_are_enough_for_prints(tmp_path, capsys, cards, hiding):
    def keep(row):
        return (row["drawdown"].startswith(SOME) and row["ground"] in cards) or row[
            "drawdown"
        ] == hiding
        name = row["drawdown"]
        return (name.startswith(SOME) and row["ground"] in cards) or name == hiding

    folder = begun(tmp_path / "shop", keep)
    assert main(["fit", folder, "--json"]) == 0
    said = capsys.readouterr()
    assert len(json.loads(said.out)["films"]["inks"]) == 3
    assert ("the films alone say what the inks are" in said.err) == bool(hiding)
    recipe = tmp_path / "r.csv"
    recipe.write_text("ink,percent\nQuay White,90\nKelp Green,10\n", encoding="utf-8")
    assert main(["cover", folder, str(recipe)]) == 0
    assert "black tee" in capsys.readouterr().out


@pytest.mark.parametrize("names", [["Quay White 1"], ["Quay White 1", "Bollard Black 1"]])
def test_a_drawdown_or_two_are_told_to_be_too_few(tmp_path, capsys, names):
    folder = begun(tmp_path / "shop", lambda row: row["drawdown"] in names)
    assert main(["fit", folder]) == 2
    said = capsys.readouterr()
    assert f"too few drawdowns to try a fit on (drawdowns: {len(names)}" in said.err
    assert not (tmp_path / "shop" / "fit.json").exists()
