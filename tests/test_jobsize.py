"""Job size: three examples worked by hand, units, and what is refused."""

import json

import pytest

from matchkit.cli import main
from matchkit.errors import InputError
from matchkit.files.write import data_folder
from matchkit.paper.jobsize import (
    CM2_PER_IN2,
    G_PER_OZ,
    ML_PER_US_FL_OZ,
    UM_PER_MIL,
    PrintJob,
    job_size,
    laid_um,
)
from matchkit.paper.weighing import CONTAINERS_ML, Container

DEMO = data_folder() / "demo-shop"


def test_five_hundred_chest_prints() -> None:
    # By hand: 30 x 40 cm, a quarter of it, is 300 cm2 = 0.03 m2.  The mesh holds 60 cm3/m2 and
    # 60 % of it stays: 36 cm3/m2, 1.08 cm3 a print, 540 ml for 500.  At 1.25 g/ml 675 g; 10 %
    # loss and 50 g in the screen make 675 + 67.5 + 50 = 792.5 g, 634 ml.  A litre tub filled to
    # 90 % holds it; at 12 a kilogram it costs 9.51.
    job = PrintJob(
        prints=500, area_cm2=30 * 40, coverage=0.25, mesh_cm3_per_m2=60, transfer=0.6,
        loss=0.1, screen_g=50,
    )  # fmt: skip
    litre = Container(name="1 litre", volume_ml=1000)
    found = job_size(job, density_g_per_ml=1.25, container=litre, cost_per_kg=12)
    assert laid_um(job) == pytest.approx(36)
    assert found.per_print_g == pytest.approx(1.35)
    assert found.printed_g == pytest.approx(675)
    assert found.loss_g == pytest.approx(117.5)
    assert found.total_g == pytest.approx(792.5)
    assert found.total_ml == pytest.approx(634)
    assert found.containers == 1
    assert found.cost == pytest.approx(9.51)


def test_a_measured_film_in_two_strokes_in_inches() -> None:
    # By hand: 10 x 4 in = 40 in2 = 258.064 cm2 (1 in = 2.54 cm exactly).  25 um wet, and a second
    # stroke of 80 %: 45 cm3/m2, so 0.0258064 m2 x 45 = 1.161288 cm3 a print, 1161.288 ml for a
    # thousand; at 1.4 g/ml 1625.8032 g, or 57.3485 oz.  US quarts filled to 90 % (851.7176 ml)
    # take two.
    job = PrintJob(
        prints=1000, area_cm2=10 * 4 * CM2_PER_IN2, wet_um=25, strokes=2, later_stroke=0.8
    )  # fmt: skip
    quart = Container(name="US quart", volume_ml=CONTAINERS_ML["US quart"])
    found = job_size(job, density_g_per_ml=1.4, container=quart)
    assert laid_um(job) == pytest.approx(45)
    assert found.total_ml == pytest.approx(1161.288)
    assert found.total_g == pytest.approx(1625.8032)
    assert found.total_g / G_PER_OZ == pytest.approx(57.3485, abs=1e-4)
    assert found.containers == 2
    assert found.cost is None


def test_a_small_run_that_floods_the_screen() -> None:
    # By hand: 12 prints of 100 cm2 at 20 um are 12 x 0.01 x 20 = 2.4 ml, 3.6 g at 1.5 g/ml; the
    # screen takes 120 g, so that 97 % of the batch is for the screen.
    found = job_size(
        PrintJob(prints=12, area_cm2=100, wet_um=20, screen_g=120), density_g_per_ml=1.5
    )
    assert found.total_g == pytest.approx(123.6)
    assert found.loss_g / found.total_g == pytest.approx(120 / 123.6)


def test_units_are_what_they_are_by_definition() -> None:
    # 1 in = 2.54 cm; 1 avoirdupois ounce = 28.349523125 g; 1 US fl oz = 231 in3 / 128.
    assert pytest.approx(6.4516) == CM2_PER_IN2
    assert pytest.approx(453.59237 / 16) == G_PER_OZ
    assert pytest.approx(231 * 2.54**3 / 128) == ML_PER_US_FL_OZ
    # A mil is a thousandth of an inch.
    assert pytest.approx(25.4) == UM_PER_MIL


def test_assumptions_are_told_in_both_units() -> None:
    # By hand: 38.1 um = 1.5 mil; 100 in2 = 645.16 cm2; a US gallon of 3785.411784 ml at 1.2 g/ml
    # weighs 4542.494 g, and a pound 453.59237 g: 10.0145 lb.
    job = PrintJob(prints=1, area_cm2=645.16, wet_um=38.1)
    told = " ".join(job_size(job, density_g_per_ml=1.2).assumptions)
    for words in ("645.2 cm2 (100 in2)", "38.1 um (1.5 mil)", "1.2 g/ml (10.01 lb per US gallon)"):
        assert words in told


def test_a_big_print_is_told_without_powers_of_ten() -> None:
    pail = Container(name="5 US gallons", volume_ml=CONTAINERS_ML["5 US gallons"])
    job = PrintJob(prints=2000, area_cm2=120 * 100, wet_um=40)
    told = " ".join(job_size(job, density_g_per_ml=1.2, container=pail).assumptions)
    assert "12000 cm2 (1860 in2)" in told and "18927 ml (640 US fl oz)" in told


def test_one_cubic_centimetre_per_square_metre_is_one_micrometre() -> None:
    # 1e-6 m3 over 1 m2 is 1e-6 m.
    mesh = PrintJob(prints=3, area_cm2=500, mesh_cm3_per_m2=80, transfer=0.5)
    wet = PrintJob(prints=3, area_cm2=500, wet_um=40)
    one, other = (job_size(job, density_g_per_ml=1.2).total_g for job in (mesh, wet))
    assert one == pytest.approx(other)


def test_every_number_is_said() -> None:
    job = PrintJob(
        prints=77, area_cm2=613, coverage=0.37, mesh_cm3_per_m2=58, transfer=0.63, strokes=2,
        later_stroke=0.71, loss=0.13, screen_g=41,
    )  # fmt: skip
    tub = Container(name="tub", volume_ml=870, headroom=0.15)
    told = " ".join(job_size(job, density_g_per_ml=1.27, container=tub).assumptions)
    for number in ("77", "613", "37 %", "58", "63 %", "2 strokes", "71 %", "13 %", "41", "1.27",
                   "870", "85 %"):  # fmt: skip
        assert number in told


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"prints": 0}, "whole number"),
        ({"prints": 2.5}, "whole number"),
        ({"area_cm2": 0}, "area_cm2: found 0"),
        ({"coverage": 1.2}, "coverage: found 1.2"),
        ({"wet_um": None}, "give the mesh's volume and a transfer, or a wet thickness"),
        ({"mesh_cm3_per_m2": 60}, "give the mesh's volume and a transfer, or a wet thickness"),
        ({"transfer": 0.5}, "goes with a mesh"),
        ({"wet_um": None, "mesh_cm3_per_m2": 60, "transfer": 0.006}, "six tenths are 60 %"),
        ({"wet_um": -3}, "wet_um: found -3"),
        ({"wet_um": float("nan")}, "wet_um: found nan"),
        ({"loss": -0.1}, "loss: found -0.1"),
    ],
)
def test_what_no_job_is_is_refused(wrong: dict, says: str) -> None:
    with pytest.raises(InputError, match=says):
        PrintJob(**{"prints": 10, "area_cm2": 100, "wet_um": 30, **wrong})


def test_a_density_in_other_units_is_refused() -> None:
    with pytest.raises(InputError, match="pounds per gallon"):
        job_size(PrintJob(prints=1, area_cm2=100, wet_um=30), density_g_per_ml=12.5)


def recipe(tmp_path, text: str) -> str:
    path = tmp_path / "recipe.csv"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_on_the_command_line(tmp_path, capsys) -> None:
    # By hand: 12 x 16 in = 1238.7072 cm2, half of it .06193536 m2; 60 x 0.5 = 30 cm3/m2; 200
    # prints take 371.61216 ml.  White 1.48 and black 1.16 g/ml, half and half by mass: density
    # 1 / (0.5 / 1.48 + 0.5 / 1.16) = 1.300606; no loss.
    path = recipe(tmp_path, "ink,percent\nQuay White,50\nBollard Black,50\n")
    words = ["jobsize", str(DEMO), path, "--prints", "200", "--size", "12x16in", "--coverage",
             "50", "--mesh", "60", "--transfer", "50", "--loss", "0"]  # fmt: skip
    assert main([*words, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["total_ml"] == pytest.approx(371.61216, abs=1e-3)
    assert told["total_g"] == pytest.approx(371.61216 * 1.3006061, abs=1e-2)
    assert told["cost"] == pytest.approx(told["total_g"] * (9.8 + 12.5) / 2 / 1000, abs=1e-3)
    assert main([*words, "--container", "US quart"]) == 0
    assert "1 x US quart" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--size", "30x40"], "30x40cm or 12x16in"),
        (["--size", "30x40cm", "--area", "100cm2"], "one of the two"),
        (["--area", "100"], "1200cm2 or 186in2"),
        (["--area", "100cm2", "--strokes", "1.5"], "whole number"),
        (["--area", "100cm2", "--mesh", "60"], "--mesh CM3 with --transfer PERCENT, or --wet UM"),
        (["--area", "100cm2", "--coverage", "0"], "--coverage: found '0', need more than 0 to 100"),
        (["--area", "100cm2", "--coverage", "140"], "--coverage: found '140'"),
        (["--area", "100cm2", "--loss", "-1"], "--loss: found '-1', need 0 to 500 percent"),
        (["--area", "100cm2", "--wet", "0"], "--wet: found '0'"),
        (["--area", "100cm2", "--wet", "thin"], "--wet: found 'thin'"),
    ],
)
def test_wrong_words_end_with_two(tmp_path, capsys, words: list[str], says: str) -> None:
    path = recipe(tmp_path, "ink,percent\nQuay White,100\n")
    full = ["jobsize", str(DEMO), path, "--prints", "10", "--wet", "30", *words]
    assert main(full) == 2
    said = capsys.readouterr()
    assert says in said.err
    assert not said.out


def test_an_unknown_density_is_asked_for(tmp_path, capsys) -> None:
    folder = tmp_path / "shop"
    folder.mkdir()
    for name in ("shop.toml", "drawdowns.csv", "spectra.csv", "inks.csv"):
        text = (DEMO / name).read_text(encoding="utf-8")
        (folder / name).write_text(text.replace("plastisol,1.48,", "plastisol,,"), encoding="utf-8")
    path = recipe(tmp_path, "ink,percent\nQuay White,100\n")
    words = ["jobsize", str(folder), path, "--prints", "10", "--area", "1in2", "--wet", "1mil"]
    assert main(words) == 2
    assert "density of Quay White is not known" in capsys.readouterr().err
    # By hand: 6.4516 cm2 x 25.4 um is 0.016387064 ml (1 in2 x 1 mil), ten of them 1.5 g/ml: 0.2458
    # g, with the usual 10 % on top 0.2704 g.
    assert main([*words, "--density", "1.5", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["total_g"] == pytest.approx(0.2704, abs=1e-4)


def test_a_ticket_is_for_the_whole_job_and_tells_it(tmp_path, capsys) -> None:
    path = recipe(tmp_path, "ink,percent\nQuay White,100\n")
    words = ["ticket", str(DEMO), path, "--prints", "500", "--area", "300cm2", "--wet", "36"]
    assert main([*words, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    # By hand: 300 cm2 x 36 um = 1.08 ml, 500 of them 540 ml, a tenth on top 594 ml, at 1.48
    # g/ml 879.12 g; weighed out is the next whole gram.
    assert told["job_size"]["total_g"] == pytest.approx(879.12)
    assert told["batch_g"] == 880
    assert main(words) == 0
    assert "500 prints, artwork 300 cm2 (46.5 in2)" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--area", "100cm2"], "give --prints N too"),
        (["--prints", "5", "--area", "100cm2"], "--transfer PERCENT, or --wet UM, one of two"),
    ],
)
def test_half_a_job_on_a_ticket_ends_with_two(tmp_path, capsys, words, says) -> None:
    path = recipe(tmp_path, "ink,percent\nQuay White,100\n")
    assert main(["ticket", str(DEMO), path, "--grams", "100", *words]) == 2
    assert says in capsys.readouterr().err


def test_match_tells_the_job_on_its_ticket(tmp_path, capsys) -> None:
    page = tmp_path / "t.html"
    words = ["match", str(DEMO), str(DEMO / "targets.csv"), "--name", "Pale mint", "--top", "1"]
    job = ["--prints", "50", "--size", "12x16in", "--wet", "1.5mil"]
    assert main([*words, *job]) == 2
    assert "give --ticket FILE too" in capsys.readouterr().err
    words += [*job, "--max-inks", "3", "--ticket", str(page)]
    assert main([*words, "--grams", "1000"]) == 2
    assert "batch is 1000 g, but what is to be printed needs 382 g" in capsys.readouterr().err
    assert not page.exists()
    assert main(words) == 0  # in one go
    assert "Batch 382.00 g" in page.read_text(encoding="utf-8")
    assert "50 prints, artwork 1239 cm2 (192 in2)" in page.read_text(encoding="utf-8")
