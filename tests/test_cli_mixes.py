"""A mix of the shelf in a recipe: every command that reads one counts the inks in it."""

import json
import re
import shutil

import numpy as np
import pytest

from matchkit.cli import main
from matchkit.colorimetry.grid import GRID_NM
from matchkit.files.fitted import fit_content, read_fits
from matchkit.files.shop import read_shop
from matchkit.files.write import csv_text, data_folder
from matchkit.inks.palette import reflectance
from matchkit.matching.match import fractions_for

PASTEL = (
    "Kelp pastel,Quay White,90,500,2026-03-02\n"
    "Kelp pastel,Kelp Green,10,500,2026-03-02\n"
)  # fmt: skip
SAID = "Kelp pastel is a mix: taken as 90 % Quay White, 10 % Kelp Green"
POURED = "ink,grams\nKelp pastel,300\nQuay White,150\nSlipway Blue,50\n"
NO_LETDOWNS = ("--without", "Black letdown 5", "--without", "Violet letdown 10")  # they take time
INKS = "ink,grams\nQuay White,420\nKelp Green,30\nSlipway Blue,50\n"


@pytest.fixture(scope="module")
def shop(fitted_demo, tmp_path_factory):
    """The demo shop with one mix more."""
    folder = tmp_path_factory.mktemp("mixes") / "shop"
    shutil.copytree(fitted_demo, folder)
    with (folder / "mixes.csv").open("a", encoding="utf-8") as file:
        file.write(PASTEL)
    return folder


@pytest.fixture
def recipe(tmp_path):
    def write(name, text):
        path = tmp_path / f"{name}.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return write


@pytest.fixture
def run(shop, capsys):
    """Run a command on the shop: what it answers, and what it says beside."""

    def _run(command, *words, status=0):
        capsys.readouterr()
        assert main([command, str(shop), *map(str, words)]) == status
        said = capsys.readouterr()
        return said.out, said.err

    return _run


@pytest.fixture
def both(run, recipe):
    """A command's JSON for the recipe that names the mix, and for the same in inks."""

    def ask(command, *words, target=(), option=()):
        out, err = run(command, *target, *option, recipe("r", POURED), *words, "--json")
        assert SAID in err.splitlines()
        plain, err = run(command, *target, *option, recipe("r", INKS), *words, "--json")
        assert "is a mix" not in err
        return json.loads(out), json.loads(plain)

    return ask


def test_predict_cover_and_jobsize_see_the_inks(both):
    mixed, plain = both("predict")
    assert mixed["lab"]["D65"] == pytest.approx(plain["lab"]["D65"], abs=1e-3)
    assert set(mixed) == {"reflectance", "lab"}
    mixed, plain = both("cover")
    assert [each["holds"] for each in mixed["grounds"]] == [
        each["holds"] for each in plain["grounds"]
    ]
    mixed, plain = both("jobsize", "--prints", "50", "--size", "30x40cm", "--wet", "60")
    assert mixed["total_g"] == pytest.approx(plain["total_g"], abs=1e-3)
    assert mixed["cost"] == pytest.approx(plain["cost"], abs=1e-3)


def test_compare_and_correct_see_the_inks(both, shop):
    target = (shop / "targets.csv", "--name", "Sea teal")
    mixed, plain = both("compare", target=target)
    assert [each["ink"] for each in mixed["recipes"][0]["inks"]] == [
        each["ink"] for each in plain["recipes"][0]["inks"]
    ]
    assert mixed["recipes"][0]["de00"] == pytest.approx(plain["recipes"][0]["de00"], abs=1e-3)
    mixed, plain = both("correct", target=target, option=["--weighed"])
    assert mixed["additions"] == plain["additions"]
    assert mixed["total_grams"] == pytest.approx(plain["total_grams"])


def test_a_ticket_has_the_mix_weighed_itself(both, run, recipe):
    mixed, plain = both("ticket", "--container", "US quart")
    assert [(row["ink"], row["grams"]) for row in mixed["rows"]] == [
        ("Kelp pastel", 300), ("Quay White", 150), ("Slipway Blue", 50)
    ]  # fmt: skip
    assert mixed["predicted_lab"][0] == pytest.approx(plain["predicted_lab"][0], abs=1e-3)
    assert mixed["fill"]["volume_ml"] == pytest.approx(plain["fill"]["volume_ml"])
    held, _ = run("ticket", recipe("r", POURED), "--hold-back", "Slipway Blue=80", "--json")
    assert [row["then_g"] for row in json.loads(held)["rows"]] == [0, 0, 10]


def test_touchy_inks_are_held_back_beside_a_mix_and_on_the_ticket_of_a_match(
    run, recipe, shop, tmp_path
):
    out, _ = run("ticket", recipe("r", POURED), "--hold-back", "auto", "--json")
    made = json.loads(out)
    assert [row["ink"] for row in made["rows"] if row["then_g"]] == ["Slipway Blue"]
    assert any("in one stage" in line for line in made["warnings"])
    page, target = tmp_path / "t.html", (shop / "targets.csv", "--name", "Sea teal")
    for more in ([], ["--use", "Leftover regatta teal"]):
        run("match", *target, *more, "--ticket", page, "--hold-back", "auto")
        assert "in one stage" in page.read_text(encoding="utf-8")
    _, err = run("match", *target, "--hold-back", "auto", status=2)
    assert err == "--hold-back: it is printed on the ticket; give --ticket FILE too\n"


def test_what_to_hold_back_is_told_in_percent_and_by_the_formula_s_own_names(run, recipe):
    _, err = run("ticket", recipe("r", INKS), "--hold-back", "Slipway Blue=150", status=2)
    assert err.endswith("weigh first 150 %; more than 0 and at most 100 % is meant\n")
    _, err = run("ticket", recipe("r", INKS), "--hold-back", "Slipway Bleu=90", status=2)
    assert err.endswith("is not in this formula; did you mean 'Slipway Blue'?\n")


def test_a_ticket_counts_what_a_mix_brings_towards_an_ink_s_limit(fitted_demo, tmp_path, capsys):
    folder = tmp_path / "shop"
    shutil.copytree(fitted_demo, folder)
    head, *rows = (folder / "inks.csv").read_text(encoding="utf-8").splitlines()
    at = head.split(",").index("max_percent")
    cells = [row.split(",") for row in rows]
    limited = [[*c[:at], "12", *c[at + 1 :]] if c[0] == "Kelp Green" else c for c in cells]
    lines = [head, *(",".join(c) for c in limited)]
    (folder / "inks.csv").write_text("\n".join(lines), encoding="utf-8")
    with (folder / "mixes.csv").open("a", encoding="utf-8") as file:
        file.write(PASTEL)
    path = tmp_path / "r.csv"
    path.write_text("ink,grams\nKelp pastel,300\nKelp Green,50\nQuay White,150\n", encoding="utf-8")
    assert main(["ticket", str(folder), str(path), "--json"]) == 0
    warnings = json.loads(capsys.readouterr().out)["warnings"]
    assert "Kelp Green: 16.0 % with what the mixes hold of it, over its limit of 12 %." in warnings


def test_the_ticket_of_a_match_that_uses_a_leftover(run, shop, tmp_path):
    mix, page, csv = "Leftover regatta teal", tmp_path / "t.html", tmp_path / "r.csv"
    target = (shop / "targets.csv", "--name", "Sea teal")
    run("match", *target, "--use", mix, "--ticket", page, "--recipe", csv)
    assert mix in page.read_text(encoding="utf-8")
    out, err = run("ticket", csv, "--target", *target, "--json")
    assert json.loads(out)["rows"][0]["ink"] == mix
    assert f"{mix} is a mix: predicted by its own reading" in err


def test_a_mix_can_be_left_out_of_a_match(run, shop):
    target = (shop / "targets.csv", "--name", "Sea teal", "--max-inks", "3")
    plain, _ = run("match", *target, "--json")
    without, _ = run("match", *target, "--without", "Kelp pastel", "--json")
    assert json.loads(plain) == json.loads(without)  # a plain match takes no mix anyway
    some = (*target, "--leftovers", *NO_LETDOWNS)
    assert "Leftover regatta teal:" in run("match", *some)[0]
    out, _ = run("match", *some, "--without", "Leftover regatta teal")
    assert "Leftover regatta teal" not in out
    _, said = run("match", *target, "--use", "Kelp pastel", "--without", "Kelp pastel", status=2)
    assert said.startswith("'Kelp pastel' is to be used and to be left out")
    _, said = run("match", *target, "--without", "Kelp pastl", status=2)
    assert "the inks are Bollard Black" in said and "the mixes are Black letdown 5, Kelp" in said


SAND = {"Quay White": 62.0, "Straw Gold": 28.0, "Rust Earth": 8.0, "Tar Brown": 2.0}


@pytest.fixture
def sand(shop, tmp_path):
    """The shop with a leftover, 120 g, and the same colour wanted again."""
    folder, target = tmp_path / "sand", tmp_path / "sand.csv"
    shutil.copytree(shop, folder)
    with (folder / "mixes.csv").open("a", encoding="utf-8") as file:
        file.writelines(f"Sand rest,{ink},{share},120,2026-03-02\n" for ink, share in SAND.items())
    opened = read_shop(folder)
    palette = read_fits(folder, opened, fit_content(folder))[0]["series"]["plastisol"].palette
    R = reflectance(palette, fractions_for(palette, [*SAND], [*SAND.values()]))
    rows = [["Mix Sand", *np.round(R, 6).tolist()]]
    target.write_text(csv_text(["name", *(f"{nm:g}" for nm in GRID_NM)], rows), encoding="utf-8")
    return folder, target


@pytest.mark.parametrize("option", [["--leftovers", *NO_LETDOWNS], ["--use", "Sand rest"]])
def test_a_colour_made_again_starts_from_its_leftover(sand, capsys, option):
    folder, target = sand
    words = ["match", str(folder), str(target), "--grams", "400", *option]
    assert main([*words, "--json"]) == 0
    first, *others = json.loads(capsys.readouterr().out)["matches"][0]["formulas"]
    grams = {each["ink"]: each["grams"] for each in first["inks"]}
    assert grams.pop("Sand rest") == 120
    assert grams == pytest.approx({ink: 2.8 * share for ink, share in SAND.items()}, abs=0.05)
    assert first["de00"]["D65"] < 0.02 and not first["sheer"]
    if option[0] == "--leftovers":
        return
    # Clear in place of much of the white is as near in a thick film: never first, and said.
    sheer = [each for each in others if each["sheer"]]
    shares = [
        sum(i["percent"] for i in e["inks"] if i["ink"] == "Ebb Clear") for e in [first, *others]
    ]
    assert [e["sheer"] for e in [first, *others]] == [share > 50 for share in shares]
    assert sheer
    assert main(words) == 0
    said = capsys.readouterr()
    assert said.out.count("Mostly clear: the ground shows") == len(sheer)
    assert "ot near enough" not in said.out


def test_what_is_said_where_no_leftover_comes_near_enough(sand, capsys):
    folder, _ = sand
    far = ["match", str(folder), "--lab", "40,60,-40", "--grams", "400", "--max-inks", "2"]
    assert main([*far, "--leftovers"]) == 0  # the formulas without a leftover are the answer
    said = capsys.readouterr()
    assert "No leftover can be brought near enough to Lab 40,60,-40" in said.out
    assert "one for each mix" not in said.out
    assert "Formula 1" in said.out
    assert main([*far, "--use", "Sand rest"]) == 0
    said = capsys.readouterr().out
    assert re.search(r"Sand rest can't be brought near enough to .*: the nearest, with", said)
    assert "Formula 1" not in said
    assert main([*far, "--use", "Sand rest", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["matches"][0]["formulas"] == []
    assert main([*far, "--use", "Sand rest", "--recipe", str(folder / "none.csv")]) == 2
    assert "there is no formula. Sand rest can't be brought" in capsys.readouterr().err
    shutil.rmtree(folder)
    shutil.copytree(data_folder() / "demo-shop", folder)
    mixed = ("Violet letdown", "Black letdown", "Leftover")
    rows = (folder / "spectra.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (folder / "spectra.csv").write_text(
        "".join(row for row in rows if not row.startswith(mixed)), encoding="utf-8"
    )
    (folder / "mixes.csv").unlink()
    assert main([*far, "--leftovers"]) == 2
    assert "no mix is on the shelf" in capsys.readouterr().err
    assert main([*far, "--use", "Sand rest"]) == 2
    assert (
        "no formula takes the leftover 'Sand rest'; the mixes are none" in capsys.readouterr().err
    )


def test_a_name_that_is_neither_ink_nor_mix_is_refused(run, recipe):
    _, said = run("predict", recipe("r", "ink,grams\nKelp pastl,1\n"), status=2)
    assert said.strip().endswith("did you mean 'Kelp pastel'?")
