"""The command line as outside users rely on it: keys, exit status, nothing half-done."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from matchkit.cli import COMMANDS, main
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.files.spectrum import read_spectra
from matchkit.files.write import data_folder
from matchkit.paper.sheet import SHORT_CAUTIONS

DEMO = data_folder() / "demo-shop"


@pytest.fixture(scope="module")
def shop(fitted_demo, tmp_path_factory):
    """The demo shop with its fit."""
    folder = tmp_path_factory.mktemp("cli") / "shop"
    shutil.copytree(fitted_demo, folder)
    return str(folder)


@pytest.fixture
def ask(capsys):
    """Run a command with --json; the answer."""

    def run(*words):
        capsys.readouterr()
        assert main([*map(str, words), "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    return run


@pytest.fixture
def refuse(capsys):
    """Run a command that must end with 2; what it says, line by line."""

    def run(*words):
        capsys.readouterr()
        try:
            status = main([*map(str, words)])
        except SystemExit as stop:  # argparse
            status = stop.code
        said = capsys.readouterr()
        assert status == 2
        assert said.out == ""
        assert "Traceback" not in said.err
        return said.err.splitlines()

    return run


def recipe(path, text):
    """A recipe file."""
    path.write_text(text, encoding="utf-8")
    return path


def test_fit_tells_inks_held_out_error_and_model(shop, ask):
    answer = ask("fit", shop)
    assert {each["ink"] for each in answer["inks"]} >= {"Quay White", "Sharp Lemon"}
    assert all(0 <= each["de00_mean"] <= each["de00_max"] for each in answer["inks"])
    assert 0 < answer["held_out"]["de00_median"] <= answer["held_out"]["de00_p95"] < 1
    assert answer["model"]


def test_predict_gives_the_spectrum_and_its_lab(shop, ask, tmp_path):
    path = recipe(tmp_path / "r.csv", "ink,percent\nQuay White,95\nKelp Green,5\n")
    answer = ask("predict", shop, path)
    assert answer["reflectance"]["wavelength_nm"] == list(range(400, 701, 10))
    R = np.array(answer["reflectance"]["values"])
    for light, lab in answer["lab"].items():
        np.testing.assert_allclose(Lab(R, light, 10), lab, atol=0.01)
    assert list(answer["lab"]) == ["D65", "A", "FL11"]


def test_match_keeps_file_order_and_balance_weights(shop, ask, tmp_path):
    lines = (DEMO / "targets.csv").read_text(encoding="utf-8").splitlines()
    some = tmp_path / "some.csv"
    some.write_text("\n".join([lines[0], *lines[:0:-11]]) + "\n", encoding="utf-8")
    answer = ask("match", shop, some, "--grams", "250", "--max-inks", "3")
    spectra, _ = read_spectra(some)
    assert len(spectra) > 2
    assert [m["target"] for m in answer["matches"]] == [s.name for s in spectra]
    for found, spectrum in zip(answer["matches"], spectra, strict=True):
        for formula in found["formulas"]:
            grams = [each["grams"] for each in formula["inks"]]
            assert len(grams) <= 3
            assert sum(grams) == pytest.approx(250, abs=1e-6)
            assert np.allclose(np.array(grams) * 100, np.round(np.array(grams) * 100), atol=1e-6)
            percents = [each["percent"] for each in formula["inks"]]
            np.testing.assert_allclose(percents, np.array(grams) / 2.5, atol=1e-5)
            R = np.array(formula["reflectance"]["values"])
            away = de00(Lab(spectrum.R, "D65", 10), Lab(R, "D65", 10))
            assert away == pytest.approx(formula["de00"]["D65"], abs=2e-3)
            assert 0 <= formula["chance_in_tolerance"] <= 1


def test_match_prefers_fewer_inks_then_cheaper_among_equals(shop, ask):
    answer = ask("match", shop, DEMO / "targets.csv", "--other-lights", "0", "--name", "Sea teal")
    formulas = answer["matches"][0]["formulas"]
    keys = [(len(f["inks"]), f["cost_per_kg"]) for f in formulas if f["de00"]["D65"] < 0.08]
    assert keys == sorted(keys)


def test_match_without_an_ink_and_out_of_stock(shop, ask, tmp_path):
    answer = ask("match", shop, DEMO / "targets.csv", "--name", "Sea teal",
                 "--without", "Ebb Clear", "--without", "Kelp Green")  # fmt: skip
    used = {i["ink"] for f in answer["matches"][0]["formulas"] for i in f["inks"]}
    assert used and not used & {"Ebb Clear", "Kelp Green"}


def test_lab_target_carries_its_light_and_observer_only(shop, ask):
    answer = ask("match", shop, "--lab", "52.5,20,-10", "--light", "D50", "--observer", "2")
    found = answer["matches"][0]
    assert found["target"] == "Lab 52.5,20,-10"
    assert found["observer"] == 2
    assert list(found["formulas"][0]["lab"]) == ["D50"]
    assert found["formulas"][0]["de00"]["D50"] < 0.1


def test_saturated_targets_are_out_of_gamut_and_still_answered(shop, ask):
    answer = ask("match", shop, DEMO / "targets.csv", "--name", "Squall blue")
    found = answer["matches"][0]
    assert not found["in_gamut"]
    assert found["formulas"][0]["de00"]["D65"] > 0.5


def test_check_says_pass_or_fail_and_the_direction(shop, ask):
    answer = ask("check", shop, DEMO / "example/target.csv", DEMO / "example/measured.csv")
    assert answer["passed"] == (answer["de00"]["D65"] <= 1.0)
    assert set(answer["delta"]["D65"]) == {"L", "C", "H", "words"}
    same = ask("check", shop, DEMO / "example/target.csv", DEMO / "example/target.csv")
    assert same["passed"]
    assert same["delta"]["A"]["words"] == "no visible difference"


def test_compare_names_recipes_by_file(shop, ask, refuse, tmp_path):
    one = recipe(tmp_path / "one.csv", "ink,percent\nQuay White,90\nKelp Green,10\n")
    two = recipe(tmp_path / "two.csv", "ink,grams\nQuay White,90\nSlipway Blue,10\n")
    answer = ask("compare", shop, DEMO / "example/target.csv", one, two)
    assert [each["name"] for each in answer["recipes"]] == ["one", "two"]
    assert list(answer["recipes"][0]["metamerism"]) == ["A", "FL11"]
    assert list(answer["recipes"][0]["inconstancy"]) == ["A", "FL11"]
    refuse("compare", shop, DEMO / "example/target.csv", one, one)


def test_correct_adds_least_and_brings_it_in(shop, ask):
    words = ["correct", shop, DEMO / "example/target.csv", "--weighed",
             DEMO / "example/weighed.csv", "--measured", DEMO / "example/measured.csv"]  # fmt: skip
    answer = ask(*words)
    assert answer["de00_before"]["D65"] > 1
    assert answer["chance_in_tolerance"] >= 0.95
    names = [each["name"] for each in answer["choices"]]
    assert names[0] == "least" and len({str(e["additions"]) for e in answer["choices"]}) == len(
        names
    )
    assert answer["can_be_saved"]
    added = sum(each["grams"] for each in answer["additions"])
    assert answer["added_grams"] == pytest.approx(added)
    assert answer["total_grams"] == pytest.approx(503 + added, abs=0.5)
    tight = ask(*words, "--room", "10")
    assert tight["added_grams"] <= 10
    assert tight["de00"]["D65"] < answer["de00_before"]["D65"]


def test_correct_without_a_reading_is_an_over_pour(shop, ask, tmp_path):
    over = recipe(
        tmp_path / "over.csv",
        "ink,grams\nQuay White,315.72\nKelp Green,104.49\nSlipway Blue,90\nBollard Black,9.61\n",
    )
    answer = ask("correct", shop, DEMO / "example/target.csv", "--weighed", over)
    assert answer["additions"] and answer["de00"]["D65"] <= 0.62


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["match", "SHOP", "nowhere.csv"], "nowhere.csv"),
        (["match", "SHOP"], "--lab"),
        (["match", "SHOP", "TARGETS", "--grams", "-5"], "--grams"),
        (["match", "SHOP", "TARGETS", "--max-inks", "2.5"], "--max-inks"),
        (["match", "SHOP", "TARGETS", "--without", "No Such"], "No Such"),
        (["match", "SHOP", "--lab", "1,2"], "--lab"),
        (["match", "SHOP", "--lab", "nan,2,3"], "--lab"),
        (["match", "SHOP", "--lab", "50,2,3", "--light", "moonlight"], "moonlight"),
        (["match", "SHOP", "--lab", "50,2,3", "--observer", "5"], "--observer"),
        (["check", "SHOP", "TARGETS", "TARGETS"], "Sea teal"),
        (["check", "nowhere", "TARGETS", "TARGETS"], "name the shop folder"),
        (["fit", "nowhere"], "nowhere"),
        (["correct", "SHOP", "TARGETS"], "--weighed"),
        (["nonsense"], "nonsense"),
    ],
)
def test_bad_words_are_refused_in_one_line_each(shop, refuse, words, said):
    paths = {"SHOP": shop, "TARGETS": str(DEMO / "targets.csv")}
    assert any(said in line for line in refuse(*[paths.get(word, word) for word in words]))


def test_every_fault_of_a_recipe_at_once(shop, refuse, tmp_path):
    bad = recipe(tmp_path / "bad.csv", "ink,percent\nQuay Wite,50\nKelp Green,-3\nKelp Green,20\n")
    lines = refuse("predict", shop, bad)
    assert len(lines) >= 3
    assert any("Quay Wite" in line and "Quay White" in line for line in lines)


def test_demo_refuses_a_folder_it_did_not_make(refuse, tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear", encoding="utf-8")
    refuse("demo", tmp_path / "mine")
    assert [p.name for p in (tmp_path / "mine").iterdir()] == ["letter.txt"]


def test_demo_runs_the_main_job_twice(ask, capsys, tmp_path):
    answer = ask("demo", tmp_path / "demo")
    assert main(["demo", str(tmp_path / "demo")]) == 0
    assert " ".join(capsys.readouterr().out.split()).count(SHORT_CAUTIONS) == 1
    assert answer["match"]["matches"][0]["formulas"]
    assert "<html" in (tmp_path / "demo" / "ticket.html").read_text(encoding="utf-8")


def test_demo_keeps_what_a_person_changed(ask, capsys, tmp_path, monkeypatch):
    monkeypatch.setattr("matchkit.cli.demo._answer", lambda name, words: {})  # files alone count
    ask("demo", tmp_path / "demo")
    inks, measured = (tmp_path / "demo" / n for n in ("inks.csv", "example/measured.csv"))
    shipped = inks.read_bytes()
    for edit in (b"mine", b"mine again"):
        inks.write_bytes(edit)
        assert main(["demo", str(tmp_path / "demo"), "--json"]) == 0
        said = capsys.readouterr().err
        assert "inks.csv: you changed it; yours is now" in said and "measured" not in said
        assert inks.read_bytes() == shipped
    assert (inks.parent / "inks.yours.csv").read_bytes() == b"mine"
    assert (inks.parent / "inks.yours-2.csv").read_bytes() == b"mine again"
    measured.write_bytes(b"other")
    assert main(["demo", str(tmp_path / "demo"), "--json"]) == 0
    assert "measured.yours.csv" in capsys.readouterr().err
    assert measured.with_name("measured.yours.csv").read_bytes() == b"other"
    assert main(["demo", str(tmp_path / "demo"), "--json"]) == 0
    assert "yours" not in capsys.readouterr().err


def test_a_changed_drawdown_is_noticed(shop, ask, capsys, tmp_path):
    folder = tmp_path / "shop"
    shutil.copytree(shop, folder)
    before = (folder / "fit.json").read_bytes()
    r = recipe(tmp_path / "r.csv", "ink,percent\nQuay White,95\nKelp Green,5\n")
    path = folder / "spectra.csv"
    text = path.read_text(encoding="utf-8")
    for changed, noticed in ((text + "\n", False), (text.replace("0.42419", "0.42420", 1), True)):
        path.write_text(changed, encoding="utf-8")
        assert main(["predict", str(folder), str(r), "--json"]) == 0
        assert ("fitted anew" in capsys.readouterr().err) == noticed
    assert (folder / "fit.json").read_bytes() == before


def test_new_and_plan_make_a_folder_to_fill_in(ask, refuse, capsys, tmp_path):
    answer = ask("new", tmp_path / "ours", "--geometry", "45/0", "--condition", "M1")
    assert answer["drawdowns"] > 8
    assert ask("plan", tmp_path / "ours")["drawdowns"]
    capsys.readouterr()
    assert main(["plan", str(tmp_path / "ours")]) == 0
    assert SHORT_CAUTIONS in " ".join(capsys.readouterr().out.split())
    refuse("new", tmp_path / "ours")
    assert refuse("fit", tmp_path / "ours")


def test_ticket_as_text_and_page(shop, ask, capsys, tmp_path):
    page = tmp_path / "ticket.html"
    assert main(["ticket", shop, str(DEMO / "example/weighed.csv"), "--html", str(page),
                 "--job", "Spring <tees>", "--additive", "Puff=4"]) == 0  # fmt: skip
    out = capsys.readouterr().out
    assert "Quay White" in out and "315.72" in out
    text = page.read_text(encoding="utf-8")
    assert "Spring &lt;tees&gt;" in text
    assert "http://" not in text and "https://" not in text


def test_help_names_every_command_and_loads_little():
    code = (
        "import sys; from matchkit.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "print([m for m in ('numpy', 'scipy', 'colour', 'matplotlib') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip().endswith("[]")
    assert all(name in out.stdout for name in COMMANDS)


def test_match_needs_neither_scipy_nor_colour(shop):
    code = (
        "import sys; from matchkit.cli import main\n"
        f"words = ['match', {shop!r}, {str(DEMO / 'targets.csv')!r}, '--name', 'Sea teal']\n"
        "assert main(words) == 0\n"
        "print([m for m in ('scipy', 'colour', 'matplotlib') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip().endswith("[]")


def test_match_makes_the_most_of_a_leftover(shop, ask, refuse):
    words = ["match", shop, DEMO / "targets.csv", "--name", "Sea teal", "--max-inks", "3"]
    formulas = ask(*words, "--use", "Leftover regatta teal")["matches"][0]["formulas"]
    assert all(f["inks"][0]["ink"] == "Leftover regatta teal" for f in formulas)
    assert formulas[0]["de00"]["D65"] <= 0.52
    assert formulas[0]["inks"][0]["grams"] <= 735  # what stands on the shelf
    started = ask(*words, "--leftovers")["matches"][0]["formulas"]
    assert started
    assert any("nope" in line for line in refuse(*words, "--use", "nope"))


def test_over_pour_with_its_plan_has_three_ways_on(shop, ask, refuse, tmp_path):
    gone_in = recipe(
        tmp_path / "in.csv", "ink,grams\nQuay White,315.72\nKelp Green,104.49\nSlipway Blue,90\n"
    )
    words = ["correct", shop, DEMO / "example/target.csv", "--weighed", gone_in,
             "--plan", DEMO / "example/weighed.csv"]  # fmt: skip
    answer = ask(*words)
    assert answer["over"] == ["Slipway Blue"]
    scaled = answer["ways"]["scaled"]
    assert scaled["total_grams"] == pytest.approx(503 * 90 / 73.18, abs=0.05)
    assert answer["ways"]["least_growth"]["total_grams"] < scaled["total_grams"]
    for name, way in answer["ways"].items():  # keeping the size is no way on where it is off
        assert name != "same_size" or way["de00"]["D65"] <= 1
    refuse(*words, "--measured", DEMO / "example/measured.csv")


def test_correct_from_lab_and_from_an_eyes_word(shop, ask, refuse):
    words = [
        "correct",
        shop,
        DEMO / "example/target.csv",
        "--weighed",
        DEMO / "example/weighed.csv",
    ]
    told = ask(*words, "--measured-lab", "54,-43,3")
    assert told["additions"] and told["de00"]["D65"] < told["de00_before"]["D65"]
    said = ask(*words, "--looks", "too dark")
    assert said["additions"]
    refuse(*words, "--looks", "flibbertigibbet")
    refuse(*words, "--looks", "too dark", "--measured-lab", "54,-43,3")


def test_the_second_round_may_be_told_as_additions_or_as_contents(shop, ask, tmp_path):
    first = (DEMO / "example/weighed.csv").read_text(encoding="utf-8")
    added = recipe(tmp_path / "added.csv", "ink,grams\nQuay White,30\nKelp Green,10\n")
    whole = recipe(
        tmp_path / "whole.csv",
        first.replace("315.72", "345.72").replace("104.49", "114.49"),
    )
    answers = [
        ask("correct", shop, DEMO / "example/target.csv",
            "--weighed", DEMO / "example/weighed.csv", "--measured", DEMO / "example/measured.csv",
            "--weighed", second, "--measured", DEMO / "example/target.csv")
        for second in (added, whole)
    ]  # fmt: skip
    assert answers[0] == answers[1]
    assert answers[0]["de00_before"]["D65"] == 0
    assert not answers[0]["additions"]
    assert [each["name"] for each in answers[0]["choices"]] == ["leave it"]


def test_a_wrong_sample_is_refused(shop, refuse):
    lines = refuse(
        "correct", shop, DEMO / "example/target.csv", "--weighed", DEMO / "example/weighed.csv",
        "--measured", DEMO / "targets.csv", "--measured-name", "Walnut brown",
    )  # fmt: skip
    (line,) = lines
    assert line.startswith(f"{DEMO / 'targets.csv'}: ")
    for word in ("can't come from", "wrong sample", "a pour or a lot", "--anyway"):
        assert word in line


def test_a_batch_that_would_be_buried_is_better_mixed_anew(shop, ask, capsys, tmp_path):
    """An addition larger than the batch takes more ink than a new one."""
    weighed = recipe(tmp_path / "w.csv", "ink,grams\nBollard Black,60\nSlipway Blue,40\n")
    words = ["correct", shop, DEMO / "targets.csv", "--name", "Sea teal", "--weighed", weighed]
    answer = ask(*words)
    assert answer["added_grams"] <= 100 and not answer["can_be_saved"]
    assert main([*map(str, words)]) == 0
    said = capsys.readouterr().out
    assert "can't be brought within" in said
    assert "keep this one as a leftover" in said
    assert "Least" not in said and "brings it nearer" not in said
    assert main([*map(str, words), "--room", "50"]) == 0
    said = capsys.readouterr().out
    assert said.count("add ") == 1 and "Nearest: add" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["match", "SHOP", "--lab", "-5,0,0"], "Lab -5, 0, 0: L* is 0 to 100"),
        (["match", "SHOP", "--lab"], "matchkit match: --lab: what it is to be is missing"),
        (["match"], "matchkit match: missing: SHOP; `matchkit match --help` lists the options"),
        (["match", "SHOP", "--bogus"], "matchkit match: not known here: --bogus; `matchkit match"),
        (["correct", "SHOP", "TARGETS", "--name", "Sea teal", "--weighed", "WEIGHED",
          "--measured-lab", "-1,0,0"], "measured Lab -1, 0, 0: L* is 0 to 100"),
        (["book", "SHOP"], "matchkit book: missing: VERB; `matchkit book --help`"),
        (["book", "SHOP", "find", "--since"], "--since: what it is to be is missing"),
        (["check", "SHOP", "WANTED", "SHOP"], "is a folder; a file is expected"),
        (["nonsense"], "there is no 'nonsense'"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_the_words_is_one_line(shop, refuse, words, said):
    paths = {
        "SHOP": shop,
        "TARGETS": str(DEMO / "targets.csv"),
        "WEIGHED": str(DEMO / "example/weighed.csv"),
        "WANTED": str(DEMO / "example/target.csv"),
    }
    (line,) = refuse(*[paths.get(word, word) for word in words])
    assert said in line


def test_a_and_b_may_begin_with_a_minus_sign(shop, ask):
    (found,) = ask("match", shop, "--lab", "50,-3,-2", "--top", "1")["matches"]
    assert found["target"] == "Lab 50,-3,-2"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a disk that is always full")
@pytest.mark.parametrize("words", [["predict", "SHOP", "RECIPE", "--json"], ["--help"]])
@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_an_answer_that_cannot_be_written_is_told(shop, words, unbuffered):
    paths = {"SHOP": shop, "RECIPE": str(DEMO / "example/weighed.csv")}
    command = [sys.executable, "-m", "matchkit", *(paths.get(word, word) for word in words)]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            command, stdout=full, stderr=subprocess.PIPE, text=True,
            env={**os.environ, "PYTHONUNBUFFERED": unbuffered},
        )  # fmt: skip
    assert done.returncode == 1
    (line,) = done.stderr.splitlines()
    assert line.startswith("standard output can't be written: ") and "make room" in line


def test_a_pipe_whose_reader_has_gone_is_no_fault(shop):
    recipe = str(DEMO / "example/weighed.csv")
    command = [sys.executable, "-m", "matchkit", "predict", shop, recipe, "--json"]
    read, written = os.pipe()
    os.close(read)
    done = subprocess.run(command, stdout=written, stderr=subprocess.PIPE, text=True)
    os.close(written)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_fit_that_cannot_be_kept_is_told_all_the_same(shop, capsys, tmp_path):
    folder = tmp_path / "shop"
    shutil.copytree(shop, folder, ignore=shutil.ignore_patterns("fit.json"))
    (folder / "fit.json").mkdir()  # nothing can be put in its place
    assert main(["fit", str(folder)]) == 2
    said = capsys.readouterr()
    assert "every command repeats it until the folder can be written" in said.err
    assert "dE00" in said.out and "Written" not in said.out
    assert main(["fit", str(folder), "--json"]) == 2
    assert capsys.readouterr().out == ""


def test_each_of_two_spectrum_files_is_chosen_from_by_its_own_option(
    shop, ask, refuse, capsys, tmp_path
):
    targets, drawn = DEMO / "targets.csv", DEMO / "example/measured.csv"
    head = targets.read_text(encoding="utf-8").splitlines()[0]
    (one,) = read_spectra(drawn)[0]
    several = tmp_path / "several.csv"
    reading = ",".join(["first pull", *(f"{v:.5f}" for v in one.R)])
    other = ",".join(["other", *(f"{v:.4f}" for v in one.R[::-1])])
    several.write_text("\n".join([head, reading, other, ""]), encoding="utf-8")
    asked = ("--name", "Sea teal")
    named = ask("check", shop, targets, several, *asked, "--measured-name", "first pull")
    alone = ask("check", shop, targets, drawn, *asked)
    assert alone["de00"]["D65"] == pytest.approx(named["de00"]["D65"], abs=0.01)
    (said,) = refuse("check", shop, targets, several, *asked)
    assert said.startswith("several.csv: holds several spectra; name with --measured-name, one of")
    (said,) = refuse("check", shop, targets, drawn)
    assert said.startswith("targets.csv: holds several spectra; name with --name, one of")
    (said,) = refuse("correct", shop, targets, *asked, "--measured", several,
                     "--weighed", DEMO / "example/weighed.csv")  # fmt: skip
    assert said.startswith("several.csv: holds several spectra; name with --measured-name, one of")
    capsys.readouterr()
    assert main(["check", shop, str(targets), str(targets), *asked]) == 0  # both hold the name
    assert capsys.readouterr().err.startswith("target and measured are one and the same, 'Sea")


def test_inks_of_two_series_are_refused_by_the_name_of_the_file(refuse, shop, tmp_path):
    folder = tmp_path / "shop"
    shutil.copytree(shop, folder)
    for name in ("fit.json", "films.csv", "film_spectra.csv"):
        (folder / name).unlink()
    for name in ("inks.csv", "drawdowns.csv", "spectra.csv"):  # the same inks again, water-based
        head, *rows = (folder / name).read_text(encoding="utf-8").splitlines()
        rows = [row for row in rows if not row.startswith(("Violet l", "Black l", "Leftover"))]
        again = ["w " + row.replace("plastisol", "water-based") for row in rows]
        if name == "drawdowns.csv":
            at = head.split(",").index("ink")
            cells = [row.split(",") for row in again]
            again = [",".join([*c[:at], "w " + c[at], *c[at + 1 :]]) for c in cells]
        text = "\n".join([head, *rows, *again, ""])
        (folder / name).write_text(text, encoding="utf-8")
    mixed = recipe(tmp_path / "mixed.csv", "ink,grams\nQuay White,90\nw Kelp Green,10\n")
    *_, said = refuse("predict", folder, mixed)
    assert said == (
        "mixed.csv row 2: inks of different series in one mixture: 'Quay White' (plastisol),"
        " 'w Kelp Green' (water-based); series are never mixed"
    )
    one = recipe(tmp_path / "one.csv", "ink,grams\nQuay White,90\nKelp Green,10\n")
    two = recipe(tmp_path / "two.csv", "ink,grams\nw Kelp Green,10\n")
    drawn = DEMO / "example/measured.csv"
    lines = refuse("correct", folder, DEMO / "example/target.csv", "--weighed", one, "--measured",
                   drawn, "--weighed", two, "--measured", drawn)  # fmt: skip
    assert lines[-1].startswith("Quay White, Kelp Green, w Kelp Green: inks of different")


def test_a_copy_of_the_target_is_no_drawdown(shop, tmp_path, capsys):
    copy = tmp_path / "measured.csv"
    shutil.copy(DEMO / "example" / "target.csv", copy)
    assert main(["check", shop, str(DEMO / "example" / "target.csv"), str(copy)]) == 0
    assert "one and the same spectrum" in capsys.readouterr().err
