"""``matchkit book`` from the target to the label, on a copy of the demo shop."""

import csv
import io
import json
import re
import shutil
import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from book_desk import Desk

from matchkit import cli
from matchkit.book.jobs import job
from matchkit.book.label import qr_svg
from matchkit.cli.book import VERBS
from matchkit.files.spectrum import read_spectrum
from matchkit.files.write import data_folder
from matchkit.workflows.finishing_batch import USUAL, as_begun
from matchkit.workflows.session import Session

NAME = "CIE 13.3 TCS03"


@pytest.fixture(scope="module")
def demo(demo_of_few):
    """The demo shop, fitted once."""
    return demo_of_few


@pytest.fixture
def desk(demo, tmp_path, monkeypatch, capsys):
    """The demo shop without a book, and someone who types commands there."""
    monkeypatch.setitem(cli.COMMANDS, "book", "the record book")
    folder = tmp_path / "shop"
    shutil.copytree(demo, folder)
    return Desk(folder, capsys)


def test_what_was_to_be_left_out_is_not_added_later(desk):
    """Nor by a correction, while it is weighed, nor where the colour is made again."""
    target = desk.reading(
        "t", [{"ink": "Quay White", "grams": 90}, {"ink": "Kelp Green", "grams": 10}]
    )
    free = desk.json("begin", target, "--grams", "100")
    batch = desk.json("begin", target, "--grams", "100", "--without", "Kelp Green")["batch"]
    assert "Kelp Green" in {each["ink"] for each in free["inks"]}
    desk.text("weigh", batch, "--as-planned")
    pale = desk.reading(
        "m", [{"ink": "Quay White", "grams": 97}, {"ink": "Kelp Green", "grams": 3}]
    )
    desk.text("measure", batch, pale)
    told = desk.text("correct", batch, "--anyway")
    assert "Kelp Green: to be left out when this batch was begun" in told.err
    assert "Kelp Green" not in told.out
    again = desk.json("begin", "--again", batch, "--rematch")
    assert "Kelp Green" not in {each["ink"] for each in again["inks"]}
    assert "Kelp Green" not in desk.text("reprint", batch).out


def test_additions_are_kept_to_what_the_container_still_takes(desk):
    """By hand: 540 g at 1.48 g/ml and 60 g at 1.19 g/ml are 415.3 ml; the lightest ink has 1.12."""
    planned = [{"ink": "Quay White", "grams": 540}, {"ink": "Kelp Green", "grams": 60}]
    made = [{"ink": "Quay White", "grams": 510}, {"ink": "Kelp Green", "grams": 90}]
    target, mixed = desk.reading("t", planned), desk.reading("m", made)
    recipe = desk.recipe("r", Quay_White=540, Kelp_Green=60)
    batch = desk.json("begin", target, "--recipe", recipe, "--container", "430")["batch"]
    over = desk.recipe("over", Quay_White=500, Kelp_Green=90)  # 413.5 ml
    told = desk.text("correct", batch, "--weighed", over)
    assert "what the 430 ml container" in told.err and "to the brim: 18 g" in told.err
    assert "more than the container takes" in told.out
    desk.text("weigh", batch, "--as-planned")
    desk.text("measure", batch, mixed)
    free = desk.json("correct", batch, "--anyway", "--room", "500")
    assert min(way["added_grams"] for way in free["choices"]) > 50
    kept = desk.text("correct", batch, "--anyway", "--json")
    assert kept.err.count("to the brim: 16 g") == 1
    assert 0 < max(way["added_grams"] for way in json.loads(kept.out)["choices"]) <= 16
    session = Session(desk.folder)
    record = job(session.open_book(), batch)
    for container_ml, room_g in ((250, 94), (400, 430), (100, 94), (0, np.inf), (90000, np.inf)):
        named = replace(record, container_ml=container_ml)  # 2, 2 and 5 of them, filled to 90 %
        assert as_begun(session, named, USUAL, record.container).room_g == room_g
    assert next(each.text for each in session.notices).startswith(
        "additions are kept to what the 2 containers of 250 ml named when this batch was begun"
    )


def test_more_than_the_shelf_had_is_told(desk):
    batch = begun(desk, "scarce", Quay_White=380, Kelp_Green=20)
    desk.text("count", "Kelp Green", 15)
    told = desk.text("weigh", batch, "--as-planned").err
    assert "Kelp Green: -5 g on the shelf by the book, so there was more than it knew" in told


def begun(desk, name, *more, **grams):
    """The batch of a recipe in grams."""
    return desk.json("begin", "--recipe", desk.recipe(name, **grams), *more)["batch"]


def test_what_a_day_says_of_its_jobs_and_all_tickets_in_one_print(desk):
    tomorrow = (date.today() + timedelta(days=1)).isoformat()
    desk.text("count", "Quay White", "700")
    rush = begun(desk, "rush", "--due", tomorrow, Quay_White=380, Kelp_Green=20)
    late = begun(desk, "late", "--due", "2026-01-05", Quay_White=285, Kelp_Green=15)
    last = begun(desk, "last", Quay_White=180, Kelp_Green=20)
    told = desk.json("today")
    signs = {each["batch"]: (each["signs"], each["short_grams"]) for each in told["jobs"]}
    assert signs[late] == (["late"], {})
    assert signs[rush] == (["rush"], {})
    assert signs[last] == (["waiting for ink"], {"Quay White": 145.0})  # of 700 - 285 - 380
    (base,) = told["sharing"]
    assert sorted(base["batches"]) == sorted([rush, late, last])
    page = desk.folder.parent / "tickets.html"
    desk.text("tickets", "--html", page)
    titles = re.findall(r"batch (\d+)", page.read_text(encoding="utf-8"))
    assert list(dict.fromkeys(map(int, titles))) == [late, rush, last]
    desk.text("weigh", late, "--as-planned")
    words = desk.text("today").out
    assert "ready to measure" in words and "Mix the common part once" in words
    assert desk.json("stock")["stock"]["Quay White"] == pytest.approx(415)  # down with weighing


def test_an_ink_leaves_the_shop_and_old_batches_still_tell_of_it(desk):
    shutil.copy(data_folder() / "demo-shop" / "inks.csv", desk.folder)  # where none left yet
    recipe = desk.recipe("r", Quay_White=95, Sharp_Lemon=5)
    old = desk.json("begin", "--recipe", recipe)["batch"]
    before = (desk.folder / "inks.csv").read_text(encoding="utf-8").splitlines()
    desk.text("retire", "Sharp Lemon")
    rows = (desk.folder / "inks.csv").read_text(encoding="utf-8").splitlines()
    assert rows[0] == before[0] + ",active"
    for row, was in zip(rows[1:], before[1:], strict=True):
        assert row == was + (",no" if row.startswith("Sharp Lemon") else ",")
    assert "Sharp Lemon" in desk.text("show", old).out
    assert "Sharp Lemon has left the shop" in desk.text("ticket", old).out
    assert "is not in inks.csv" in desk.text("retire", "Sharp Lemo", status=2).err


def test_job_size_first(desk):
    """Prints, area and film to the batch and its ticket: 50 x 1200 cm2 x 40 um, by hand."""
    job = ("--prints", 50, "--area", "1200cm2", "--wet", 40, "--loss", 10, "--density", 1.25)
    recipe = desk.recipe("r", Quay_White=95, Sharp_Lemon=5)
    page = desk.folder.parent / "ticket.html"
    in_one_go = ("--container", "US quart", "--html", page)
    batch = desk.json("begin", "--recipe", recipe, *job, *in_one_go)["batch"]
    grams = 50 * 1200 * 40e-4 * 1.25 * 1.1
    assert desk.json("show", batch)["grams"] == pytest.approx(grams)  # 330
    written = page.read_text(encoding="utf-8")
    assert "330.00" in written and "1 x US quart" in written
    ticket = desk.json("ticket", batch)
    assert ticket["job_size"]["total_g"] == pytest.approx(grams)
    assert "50 prints, artwork 1200 cm2" in desk.text("ticket", batch).out


def log(desk, *more):
    return desk.json(
        "log-match", desk.folder / "targets.csv", "--name", NAME, "--grams", "500", *more
    )


def test_a_whole_job(desk, tmp_path):
    formula = {"Quay White": 420.0, "Buoy Scarlet": 65.0, "Rust Earth": 15.0}
    inks = [{"ink": ink, "grams": g} for ink, g in formula.items()]
    target = desk.reading("Coral", inks)
    said = ["--job", "Harbour tees", "--customer", "Kite Club", "--by", "Ana"]
    logged = desk.json("log-match", target, "--recipe", desk.recipe("r", **formula), *said)
    batch = str(logged["batch"])
    assert logged["de00"]["D65"] < 0.01
    assert sum(each["grams"] for each in logged["inks"]) == pytest.approx(500)
    (job,) = desk.json("today")["jobs"]
    assert (job["state"], job["customer"]) == ("to weigh", "Kite Club")

    desk.text("weigh", batch, "--as-planned", "--by", "Ana")
    strong = logged["inks"][1]["ink"]
    lots = dict.fromkeys([each["ink"] for each in logged["inks"][1:]], 1.12)
    first = desk.reading("first", logged["inks"], lots)
    measured = desk.text("measure", batch, first)
    assert "OUT OF TOLERANCE: dE00" in measured.out
    advice = desk.json("correct", batch)
    assert advice["chance_in_tolerance"] >= 0.95 and advice["de00_before"]["D65"] > 1
    assert advice["can_be_saved"]
    added = desk.recipe("added", **{e["ink"]: e["grams"] for e in advice["additions"]})
    desk.text("add", batch, added, "--correction", advice["correction"])
    now = {each["ink"]: each["grams"] for each in logged["inks"]}
    for each in advice["additions"]:
        now[each["ink"]] = now.get(each["ink"], 0) + each["grams"]
    inks = [{"ink": ink, "grams": g} for ink, g in now.items()]
    second = desk.json("measure", batch, desk.reading("second", inks, lots))
    assert second["passed"]
    assert second["de00"] < 1
    desk.text("close", batch, "approved", "--approved-by", "Ms Kite", "--light", "D65")
    desk.text("leftover", batch, "60", "Harbour coral")

    story = desk.json("show", batch)
    assert story["state"] == "approved"
    assert [len(story[key]) for key in ("weighings", "measurements")] == [2, 2]
    planned = {each["ink"]: each["planned_grams"] for each in story["weighings"][1]["inks"]}
    assert planned == {each["ink"]: each["grams"] for each in advice["additions"]}
    assert "Ms Kite" in desk.text("show", batch).out
    held = desk.json("stock")["stock"]
    with (desk.folder / "inks.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            left = float(row["stock_g"]) - now.get(row["ink"], 0.0)
            assert held[row["ink"]] == pytest.approx(left, abs=1e-9)
    assert held["Harbour coral"] == 60
    assert "leftover" in desk.text("stock").out

    (near,) = desk.json("find", "--like", first, "--within", "3")["near"]
    assert (near["batch"], near["what"]) == (logged["batch"], "measured")
    for asked in (["--ink", strong], ["--customer", "kite"], ["--text", "harbour"]):
        assert desk.json("find", *asked)["found"][0]["batch"] == logged["batch"]
    assert desk.json("find", "--ink", "Dusk Violet")["found"] == []
    (share,) = desk.json("pass-shares", "--of", "mixer")["shares"]
    assert (share["group"], share["first"], share["final"]) == ("Ana", 0.0, 1.0)
    told = {each["ink"]: each for each in desk.json("lots")["lots"]}
    assert told[strong]["strength"] > 1.02
    chart = tmp_path / "drift.png"
    rows = desk.json("drift", strong, "--picture", chart)["drift"]
    assert chart.read_bytes().startswith(b"\x89PNG")
    assert rows[0]["strength"] == pytest.approx(told[strong]["strength"], abs=1e-3)
    again = desk.json("reprint", batch, "--grams", "300", "--log", "0")
    assert again["formulas"][0]["de00"]["D65"] < 3
    ended = {each["ink"]: each["grams"] for each in again["formulas"][0]["inks"]}
    total = sum(now.values())  # what went in, additions counted
    assert ended == pytest.approx({ink: 300 * g / total for ink, g in now.items()}, abs=0.011)
    kinds = [(event["kind"], event["who"]) for event in desk.json("show", batch)["events"]]
    assert [kind for kind, _ in kinds] == ["correction", "mix"]
    assert desk.json("show", again["batch"])["name"] == "Coral"

    page = tmp_path / "label.html"
    desk.text("label", batch, "--html", page)
    written = page.read_text(encoding="utf-8")
    for words in ("Kite Club", "Harbour tees", "APPROVED by", "Ms Kite", strong, "data sheets"):
        assert words in written


def test_a_recipe_with_a_leftover_is_planned_and_weighed_by_its_name(desk, tmp_path):
    """The mix goes off its own stock; colour, correction and reprint see the inks in it."""
    made = {"Quay White": 130.0, "Sand Ochre": 60.0, "Rust Earth": 10.0}
    inks = [{"ink": ink, "grams": g} for ink, g in made.items()]
    target = desk.reading("Sand", inks)
    desk.text("log-match", target, "--recipe", desk.recipe("r1", **made))
    desk.text("weigh", "1", "--as-planned")
    desk.text("measure", "1", desk.reading("Sand made", inks, {"Rust Earth": 1.003}))
    desk.text("leftover", "1", "80", "Sand rest")
    before = desk.json("stock")["stock"]

    recipe = desk.recipe("r2", Sand_rest=20.0, Quay_White=10.0)
    logged = desk.json("log-match", target, "--recipe", recipe, "--grams", "30")
    assert [(e["ink"], e["grams"]) for e in logged["inks"]] == [
        ("Sand rest", 20.0), ("Quay White", 10.0)
    ]  # fmt: skip
    poured = {ink: 0.1 * g for ink, g in made.items()}
    poured["Quay White"] += 10
    truth = [{"ink": ink, "grams": g} for ink, g in poured.items()]
    plain = desk.json("log-match", target, "--recipe", desk.recipe("r3", **poured))
    assert logged["de00"] == pytest.approx(plain["de00"], abs=1e-3)
    batch = str(logged["batch"])
    desk.text("weigh", batch, "--as-planned")
    held = desk.json("stock")["stock"]
    left = {name: g - held[name] for name, g in before.items() if g and g != held[name]}
    assert left == pytest.approx({"Sand rest": 20.0, "Quay White": 10.0})
    (pour,) = desk.json("show", batch)["weighings"]
    told = [(e["ink"], e["planned_grams"], e["grams"]) for e in pour["inks"]]
    assert told == [("Sand rest", 20.0, 20.0), ("Quay White", 10.0, 10.0)]

    desk.text("measure", batch, desk.reading("weak", truth, {"Sand Ochre": 0.8}))
    advice = desk.json("correct", batch)
    assert advice["can_be_saved"]
    assert advice["de00"]["D65"] < advice["de00_before"]["D65"]
    again = desk.json("reprint", batch, "--grams", "300", "--log", "0")
    old = {e["ink"]: e["grams"] for e in again["formulas"][0]["inks"]}
    assert old == pytest.approx({ink: 10 * g for ink, g in poured.items()})
    lots = {e["ink"]: e["strength"] for e in desk.json("lots")["lots"]}
    assert abs(lots["Sand Ochre"] - 1) < 0.03
    page = tmp_path / "label.html"
    desk.text("label", batch, "--html", page)
    assert "Sand rest" in page.read_text(encoding="utf-8")

    other = desk.json("log-match", target, "--recipe", recipe)
    desk.text("weigh", other["batch"], desk.recipe("as weighed", Sand_rest=19.0, Quay_White=10.2))
    shown = desk.text("show", other["batch"]).out
    assert re.search(r"Sand rest +20\.00 +19\.00\n", shown)
    assert re.search(r"Quay White +W-118 +10\.00 +10\.20\n", shown)
    assert "Sand Ochre" not in shown
    assert desk.json("check")["sound"]


def test_a_batch_is_weighed_and_measured_without_a_spreadsheet(desk, tmp_path, monkeypatch):
    """Asked ink by ink, with a slip put right and an over-pour helped; the reading is pasted."""
    made = {"Quay White": 130.0, "Sand Ochre": 60.0, "Rust Earth": 10.0}
    read = desk.reading("Sand", [{"ink": ink, "grams": g} for ink, g in made.items()])
    sheet = tmp_path / "sheet.csv"
    desk.text("begin", read, "--recipe", desk.recipe("r", **made))
    desk.text("ticket", "1", "--weigh-sheet", sheet)
    assert sheet.read_text(encoding="utf-8").splitlines()[1] == "Quay White,130.0"
    typed = ["=", "60,5", "back", "66", "4", "", "many", "10"]
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(typed) + "\n"))
    said = desk.text("weigh", "1", "--json")
    assert json.loads(said.out)["weighing"] == 1
    assert "In the container: 196.00 g." in said.err
    assert "'many' is not a number" in said.err
    assert "'4' is none of these" in said.err
    assert "Over-poured: Sand Ochre" in said.err and "Still to weigh" in said.err
    (pour,) = desk.json("show", "1")["weighings"]
    assert [e["grams"] for e in pour["inks"]] == [130.0, 66.0, 10.0]
    assert "weighed already" in desk.text("weigh", "1", status=2).err  # before anything is asked
    desk.text("add", "1", "Quay White=13,00", "Rust Earth=1")
    values = read.read_text(encoding="utf-8").splitlines()[1].split(",")[1:]
    said = desk.text("measure", "1", "\t".join(values), "--json")
    assert "31 values: taken as 400 to 700 nm by 10 nm" in said.err
    assert json.loads(said.out)["de00"] == 0
    monkeypatch.setattr("sys.stdin", io.StringIO(read.read_text(encoding="utf-8")))
    assert desk.json("measure", "1", "-")["passed"]
    assert "found 12 values" in desk.text("measure", "1", " ".join("1" * 12), status=2).err
    desk.text("begin", "--again", "1", "--grams", "50")
    words = ["Quay White==", "Sand Ochre=15", "Rust Earth=2,5"]
    assert desk.json("weigh", "2", *words)["weighing"] == 3
    desk.text("begin", "--again", "1")
    monkeypatch.setattr("sys.stdin", io.StringIO("=\n190\nback\n6\nstop\n"))
    said = desk.text("weigh", "3", status=2).err
    assert "nothing was written down" in said
    assert "if that is what the balance shows in all, type 'back'" in said
    assert "Far from the plan: Sand Ochre: 6 g where" in said
    assert "write each ink once" in desk.text("weigh", "3", "Chalk", "Lime=3", status=2).err


def test_any_source_of_a_formula_makes_a_batch(desk, tmp_path):
    """A past batch as it ended, a paper formula, a mix, a recipe, a colour: one verb."""
    made = {"Quay White": 130.0, "Sand Ochre": 60.0, "Rust Earth": 10.0}
    ended = {**made, "Sand Ochre": 70.0}
    read = desk.reading("Sand", [{"ink": ink, "grams": g} for ink, g in ended.items()])
    desk.text("begin", read, "--recipe", desk.recipe("r", **made), "--customer", "Kite")
    desk.text("weigh", "1", "--as-planned")
    desk.text("add", "1", desk.recipe("more", Sand_Ochre=10.0))
    desk.text("measure", "1", read)
    desk.text("close", "1", "approved")
    again = desk.json("begin", "--again", "1", "--grams", "420")
    assert {e["ink"]: e["grams"] for e in again["inks"]} == pytest.approx(
        {ink: 2 * g for ink, g in ended.items()}
    )
    assert again["de00"]["D65"] < 0.05  # of what was approved
    assert desk.json("show", again["batch"])["customer"] == "Kite"
    anew = desk.json("begin", "--again", "1", "--rematch", "--max-inks", "3")
    assert sum(e["grams"] for e in anew["inks"]) == pytest.approx(200)  # as large as it was planned
    assert anew["de00"]["D65"] < 0.05
    assert desk.json("show", anew["batch"])["source"] == "reprint"

    cards = tmp_path / "cards.csv"
    cards.write_text("formula,ink,percent\nCard,Quay White,80\nCard,Rust Earth,20\n")
    (card,) = desk.json("import-paper", cards)["formulas"]
    old = desk.json("begin", "--formula", card["formula"], "--grams", "50")
    assert (old["formula"], old["de00"]) == (card["formula"], None)
    assert [e["grams"] for e in old["inks"]] == [40.0, 10.0]
    desk.text("leftover", "1", "80", "Sand rest")
    mixed = desk.json("begin", "--mix", "Sand rest", "--grams", "21")
    assert {e["ink"]: e["grams"] for e in mixed["inks"]} == pytest.approx(
        {ink: g / 10 for ink, g in ended.items()}
    )
    said = desk.text("begin", "--recipe", desk.recipe("r2", Quay_White=10.0), "--json")
    assert json.loads(said.out)["target"] is None
    for words, told in (
        ([], "begun from one thing"),
        (["--mix", "Sand rest", "--formula", "1"], "begun from one thing"),
        (["--mix", "Sand test"], "did you mean 'Sand rest'"),
        (["--formula", card["formula"], "--rematch"], "no colour to match"),
        (["--recipe", tmp_path / "r2.csv", "--grams", "30"], "holds 10 g, but 30 g"),
    ):
        assert told in desk.text("begin", *words, status=2).err


def test_a_colour_out_of_reach_is_booked_with_the_warning(desk):
    desk.text("log-match", "--lab=50,100,80", "--max-inks", "2")
    (note,) = desk.json("show", "1")["notes"]
    assert note.startswith("Outside what these inks can reach")
    assert note in desk.text("show", "1").out.replace("\n", " ")
    assert any(note in line for line in desk.json("ticket", "1")["warnings"])


def test_a_job_is_mended_and_the_book_found_under_another_light(desk):
    log(desk, "--customer", "Kite")
    assert "due 2026-12-01" in desk.text("mend", "1", "--due", "2026-12-01").out
    (job,) = desk.json("today")["jobs"]
    assert (job["customer"], job["due"]) == ("Kite", "2026-12-01")
    assert "2026-11-25" in desk.text("mend", "1", "--due", "soon", status=2).err
    assert "say what" in desk.text("mend", "1", status=2).err
    lab = desk.json("show", "1")  # a formula that was never made, as it is predicted under A
    told = desk.json("find", "--lab=60,0,30", "--light", "A", "--observer", "2", "--within", "40")
    assert told["near"][0]["formula"] == lab["formula"]
    assert "go with --lab" in desk.text("find", "--text", "x", "--light", "A", status=2).err


def test_what_was_learned_is_said_and_can_be_left_out(desk):
    """The next match hears of a lot that ran strong."""
    logged = log(desk)
    batch, strong = str(logged["batch"]), logged["inks"][1]["ink"]
    desk.text("weigh", batch, "--as-planned")
    desk.text("measure", batch, desk.reading("first", logged["inks"], {strong: 1.1}))
    told = desk.text("log-match", desk.folder / "targets.csv", "--name", NAME)
    assert re.search(f"{strong} lot .* has run [0-9]+ % strong over 1 batch", told.err)
    quiet = desk.text("log-match", desk.folder / "targets.csv", "--name", NAME, "--reference-lots")
    assert "has run" not in quiet.err


def test_an_ink_that_was_not_told_is_asked_for_and_not_taken_as_none(desk):
    first, *others = [each["ink"] for each in log(desk)["inks"]]
    said = desk.text("weigh", "1", f"{first}=20", status=2).err
    assert all(ink in said for ink in others) and first not in said
    assert not desk.json("show", "1")["weighings"]
    desk.text("weigh", "1", f"{first}=20", *(f"{ink}=0" for ink in others))


def test_match_counts_on_the_book_until_a_new_lot_is_opened(desk):
    """`matchkit match` says which lots it counts on, can do without, and forgets a lot."""
    logged = log(desk)
    strong = logged["inks"][1]["ink"]
    desk.text("weigh", "1", "--as-planned")
    desk.text("measure", "1", desk.reading("first", logged["inks"], {strong: 1.1}))

    def matched(*more):
        words = ["match", str(desk.folder), str(desk.folder / "targets.csv"), "--name", NAME]
        desk.capsys.readouterr()
        assert cli.main([*words, "--top", "1", "--json", *more]) == 0
        said = desk.capsys.readouterr()
        told = json.loads(said.out)
        (found,) = told["matches"]
        assert ("strengths" in told) == ("--reference-lots" not in more)
        inks = {each["ink"]: each["percent"] for each in found["formulas"][0]["inks"]}
        return inks[strong], said.err

    known, said = matched()
    assert re.search(f"{strong} lot .* has run [0-9]+ % strong over 1 batch\n", said)
    assert "--reference-lots ignores it" in said
    plain, quiet = matched("--reference-lots")
    assert "has run" not in quiet
    assert "counted on" not in quiet
    assert known < 0.97 * plain  # less of an ink that runs strong
    desk.text("lot", strong, "NEW-1")
    new, said = matched()
    assert f"{strong} lot" not in said
    assert abs(new - plain) < abs(known - plain) / 2  # other inks keep what was learned
    lots = {each["ink"]: each["strength"] for each in desk.json("lots")["lots"]}
    assert lots[strong] == 1.0


def test_every_command_that_foretells_counts_on_the_book(desk):
    """`predict`, `compare` and `correct` too; a batch of the book is not heard twice."""
    logged = log(desk)
    strong = logged["inks"][1]["ink"]
    desk.text("weigh", "1", "--as-planned")
    measured = desk.reading("first", logged["inks"], {strong: 1.1})
    desk.text("measure", "1", measured)
    weighed = desk.folder / "weighed.csv"
    weighed.write_text(
        "ink,grams\n" + "".join(f"{each['ink']},{each['grams']}\n" for each in logged["inks"])
    )
    targets = desk.folder / "targets.csv"

    def asked(command, *words):
        desk.capsys.readouterr()
        assert cli.main([command, str(desk.folder), *map(str, words), "--json"]) == 0
        said = desk.capsys.readouterr()
        return json.loads(said.out), said.err

    known, said = asked("predict", weighed)
    assert f"{strong} lot" in said and known["strengths"][strong] > 1.02
    plain, quiet = asked("predict", weighed, "--reference-lots")
    assert f"{strong} lot" not in quiet
    aim, seen = known["reflectance"]["values"], read_spectrum(measured)[0].R
    assert rms(aim, seen) < 0.6 * rms(plain["reflectance"]["values"], seen)
    told, _ = asked("compare", targets, weighed, "--name", NAME)
    assert told["recipes"][0]["lab"] == known["lab"]

    job = [targets, "--name", NAME, "--weighed", weighed]
    again, said = asked("correct", *job, "--measured", measured)
    alone, _ = asked("correct", *job, "--measured", measured, "--reference-lots")
    assert f"{strong} lot" not in said  # this very batch told of it
    assert again["strengths"] == pytest.approx(alone["strengths"], abs=1e-3)
    other = desk.reading("second", logged["inks"], {strong: 1.102})
    twice, said = asked("correct", *job, "--measured", other)
    assert f"{strong} lot" in said
    assert twice["strength_errors"][strong] < alone["strength_errors"][strong]


def rms(a, b):
    return float(np.sqrt(np.mean((np.array(a) - np.array(b)) ** 2)))


def test_a_reading_of_another_geometry_is_told_of(desk):
    """As `matchkit correct` does: the demo shop measures without the specular part."""
    logged = log(desk)
    desk.text("weigh", "1", "--as-planned")
    good = desk.reading("first", logged["inks"])
    other = good.with_name("included.csv")
    head = "# geometry: d/8 specular included\n"
    other.write_text(head + good.read_text(encoding="utf-8"), encoding="utf-8")
    said = desk.text("measure", "1", other, status=2).err
    assert "measured d/8 specular included, but this shop measures d/8 specular excluded" in said
    assert desk.json("show", "1")["measurements"] == []
    words = [str(desk.folder), str(desk.folder / "targets.csv"), "--name", NAME]
    weighed = str(desk.folder / "example" / "weighed.csv")
    desk.capsys.readouterr()
    assert cli.main(["correct", *words, "--weighed", weighed, "--measured", str(other)]) == 2
    assert desk.capsys.readouterr().err == said
    assert desk.json("measure", "1", good)["passed"]


def test_paper_cards(desk, tmp_path):
    cards = tmp_path / "cards.csv"
    cards.write_text(
        "formula;ink;percent;customer;note\n"
        "Harbour blue;Quay White;70,5;Kite Club;from the tin box\n"
        "Harbour blue;Deckhand Blue;29,5;;\n"
        "Old rose;Quay White;95;;\n"
        "Old rose;Dock Crimson;5;;\n",
        encoding="utf-8",
    )
    assert len(desk.json("import-paper", cards)["formulas"]) == 2
    rows = desk.json("find", "--text", "tin box")["found"]
    assert [(row["name"], row["customer"], row["batch"]) for row in rows] == [
        ("Harbour blue", "Kite Club", None)
    ]
    cards.write_text("formula,ink,percent\nA,Quay White,60\nB,Quay Whyte,100\n", encoding="utf-8")
    said = desk.text("import-paper", cards, status=2).err
    assert "percents sum to 60" in said
    assert "did you mean 'Quay White'" in said
    assert len(desk.json("find")["found"]) == 2  # all or nothing


def test_mixes_are_kept_in_recipes_and_taken_apart_on_cards(desk, tmp_path):
    said = "Black letdown 5 is a mix: taken as 5 % Bollard Black, 95 % Quay White"
    path = desk.recipe("r", Black_letdown_5=100, Quay_White=400)
    written = desk.text(
        "log-match", desk.folder / "targets.csv", "--name", NAME, "--recipe", path, "--json"
    )
    assert said in written.err
    inks = {each["ink"]: each["grams"] for each in json.loads(written.out)["inks"]}
    assert inks == {"Black letdown 5": 100, "Quay White": 400}  # what will be weighed
    cards = tmp_path / "cards.csv"
    cards.write_text("formula,ink,percent\nFog,Black letdown 5,40\nFog,Quay White,60\n", "utf-8")
    assert said in desk.text("import-paper", cards).err


def test_the_shelf(desk):
    desk.text("count", "Sharp Lemon", "50")
    desk.text("deliver", "Sharp Lemon", "25.5", "--lot", "L-040")
    assert desk.json("stock")["stock"]["Sharp Lemon"] == 75.5
    desk.text("lot", "Sharp Lemon", "L-040")
    lots = {each["ink"]: each["lot"] for each in desk.json("lots")["lots"]}
    assert lots["Sharp Lemon"] == "L-040"
    log(desk, "--recipe", desk.recipe("r", Quay_White=400, Sharp_Lemon=100))
    (order,) = desk.json("reorder")["orders"]
    assert (order["ink"], order["order_g"]) == ("Sharp Lemon", 24.5)
    assert "Sharp Lemon" in desk.text("reorder").out


def test_safety(desk, tmp_path):
    log(desk)
    assert desk.json("check") == {"sound": True, "faults": []}
    copy = desk.json("backup", tmp_path / "copy.db")["written"]
    desk.json("export", tmp_path / "export")
    desk.text("strike", "batch", "1", "--why", "a try")
    assert desk.json("today")["jobs"] == []
    (desk.folder / "book.db").unlink()
    desk.text("restore", copy)
    assert len(desk.json("today")["jobs"]) == 1
    (desk.folder / "book.db").unlink()
    desk.text("restore", tmp_path / "export")
    assert len(desk.json("today")["jobs"]) == 1


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["today"], "no record book yet"),
        (["weigh", "1"], "no record book yet"),
        (["log-match"], "one of the two"),
        (["log-match", "--lab", "62,5;1;2"], "need L,a,b with decimal points"),
        (["log-match", "--lab", "60,0,0", "--grams", "a lot"], "--grams: found 'a lot'"),
        (["find", "--lab", "60,0,0", "--ink", "Sharp Lemon"], "ask for a colour"),
        (["count", "Sharp Lemmon", "5"], "did you mean 'Sharp Lemon'"),
        (["count", "Sharp Lemon", "-5"], "0 g or more"),
        (["reorder", "--days", "1.5"], "need a whole number"),
        (["restore", "nothing.db"], "nothing.db: not found"),
    ],
)
def test_bad_input(desk, words, why):
    said = desk.text(*words, status=2)
    assert why in said.err
    assert said.out == ""


def test_every_verb_explains_itself(desk, capsys):
    for verb in VERBS:
        with pytest.raises(SystemExit) as stop:
            cli.main(["book", "SHOP", verb, "--help"])
        assert stop.value.code == 0
        assert "--json" in capsys.readouterr().out


# ---- the label


def test_the_code_on_a_label_reads_as_its_record(desk, tmp_path):
    """Drawn from the page and read by zxing-cpp, a reader of its own."""
    zxingcpp = pytest.importorskip("zxingcpp")
    log(desk)
    desk.text("label", "1", "--html", tmp_path / "label.html")
    page = (tmp_path / "label.html").read_text(encoding="utf-8").replace("<wbr>", "")
    (found,) = zxingcpp.read_barcodes(_drawn(page))
    assert found.text == re.search(r"MATCHKIT/[0-9A-F]{8}/BATCH/1", page)[0]


def _drawn(page, scale=6):
    """The one SVG of a page as grey levels: rows of strokes one unit high."""
    svg = re.search(r"<svg.*?</svg>", page, re.S)[0]
    width, height = map(int, re.search(r'viewBox="0 0 (\d+) (\d+)"', svg).groups())
    image = np.full((height, width), 255, dtype=np.uint8)
    x = y = 0.0
    for step, numbers in re.findall(r"([Mmh])([^Mmh]*)", re.search(r' d="([^"]+)"', svg)[1]):
        values = [float(v) for v in re.findall(r"-?[0-9.]+", numbers)]
        if step == "M":
            x, y = values
        elif step == "m":
            x, y = x + values[0], y + values[1]
        else:
            image[int(y), int(x) : int(x + values[0])] = 0
            x += values[0]
    return np.kron(image, np.ones((scale, scale), dtype=np.uint8))


def test_a_label_without_the_code_package(desk, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "segno", None)
    assert qr_svg("x") == ""
    log(desk)
    said = desk.text("label", "1", "--html", tmp_path / "label.html")
    assert 'pip install -e ".[label]"' in said.err
    page = (tmp_path / "label.html").read_text(encoding="utf-8").replace("<wbr>", "")
    assert "<svg" not in page
    assert re.search("MATCHKIT/[0-9A-F]{8}/BATCH/1", page)


def test_names_on_a_label_are_not_taken_for_html(desk, tmp_path):
    log(desk, "--customer", "<script>x</script>", "--job", "A & B")
    desk.text("label", "1", "--html", tmp_path / "label.html")
    page = Path(tmp_path / "label.html").read_text(encoding="utf-8")
    assert "<script>" not in page
    assert "&lt;script&gt;" in page
    assert "A &amp; B" in page


def test_a_formula_that_is_mostly_clear_is_called_that_when_it_is_logged(desk):
    words = ["log-match", desk.folder / "targets.csv", "--name", "Sea teal", "--grams", "500"]
    recipe = desk.recipe("sheer", Ebb_Clear=470, Quay_White=30)
    label = desk.folder / "label.html"
    for batch, more, marked in ((1, ("--recipe", recipe), True), (2, (), False)):
        told = [desk.text(*words, *more).out, desk.text("ticket", batch).out]
        desk.text("label", batch, "--html", label)
        told += [desk.text("show", batch).out, label.read_text(encoding="utf-8")]
        assert [("Mostly clear: the ground" in " ".join(text.split())) for text in told] == (
            [marked] * 4
        )
        assert desk.json("show", batch)["mostly_clear"] is marked


def test_grams_of_a_batch_come_from_one_place(desk):
    words = ["log-match", desk.folder / "targets.csv", "--name", "Sea teal"]
    recipe = desk.recipe("own", Quay_White=970, Kelp_Green=30)
    said = desk.text(*words, "--recipe", recipe, "--grams", "300", status=2).err
    assert "own holds 1000 g, but 300 g are asked for" in said
    assert not (desk.folder / "book.db").exists()
    desk.text(*words, "--recipe", recipe)
    shares = desk.folder / "shares.csv"
    shares.write_text("ink,percent\nQuay White,97\nKelp Green,3\n", encoding="utf-8")
    desk.text(*words, "--recipe", shares, "--grams", "300")
    assert [each["grams"] for each in desk.json("today")["jobs"]] == [1000, 300]
    job = ("--prints", "250", "--area", "1200cm2", "--wet", "30")
    said = desk.text("ticket", 2, *job, status=2).err
    assert "this batch is 300 g, but what is to be printed needs" in said


def test_a_slip_far_from_the_plan_is_written_told_of_and_can_be_taken_back(desk):
    plan = {"Quay_White": 475.0, "Buoy_Scarlet": 1.16}
    log(desk, "--recipe", desk.recipe("r", **plan), "--grams", "476.16")
    slip = plan | {"Buoy_Scarlet": 4.0, "Rust_Earth": 250.0}
    said = desk.text("weigh", 1, desk.recipe("slip", **slip))
    assert "Buoy Scarlet: 4 g where 1.16 g is planned" in said.err
    assert "Rust Earth: 250 g where 0.00 g is planned" in said.err
    assert "in all: 729 g where 476.16 g is planned" in said.err
    assert "Quay White" not in said.err
    assert 'matchkit book SHOP strike weighing 1 --why "..."' in said.err
    assert "weighed" in said.out
    again = desk.text("weigh", 1, desk.recipe("right", **plan), status=2)
    assert "strike weighing 1 --why" in again.err
    desk.text("strike", "weighing", 1, "--why", "a slip of the keys")
    assert desk.text("weigh", 1, desk.recipe("right", **plan)).err == ""


def test_today_has_the_open_batches_first(desk):
    for _ in range(3):
        log(desk, "--recipe", desk.recipe("r", Quay_White=475.0, Buoy_Scarlet=25.0))
    desk.text("close", 1, "abandoned")
    assert [each["batch"] for each in desk.json("today")["jobs"]] == [2, 3, 1]


def test_the_target_handed_in_as_the_drawdown_is_told_of(desk):
    target = desk.reading(
        "Coral", [{"ink": "Quay White", "grams": 90.0}, {"ink": "Buoy Scarlet", "grams": 10.0}]
    )
    desk.text("log-match", target, "--recipe", desk.recipe("r", Quay_White=450, Buoy_Scarlet=50))
    desk.text("weigh", 1, "--as-planned")
    said = desk.text("measure", 1, target).err
    assert "this is the target's own spectrum, 'Coral'" in said
    assert 'strike measurement 1 --why "..."' in said
    assert "very reading already" not in said
    assert "very reading already" in desk.text("measure", 1, target).err


def test_cards_that_are_in_the_book_are_left_out_unless_asked(desk, tmp_path):
    cards = tmp_path / "cards.csv"
    row = "formula,ink,grams\nOld rose,Quay White,{}\nOld rose,Dock Crimson,50\n"
    cards.write_text(row.format(950) + "Fog,Quay White,1000\n", encoding="utf-8")
    assert len(desk.json("import-paper", cards)["formulas"]) == 2
    again = desk.text("import-paper", cards)
    assert "Old rose is in the book already, formula 1; left out" in again.err
    assert again.out == "Nothing new to write down.\n"
    cards.write_text(row.format(940), encoding="utf-8")  # the same name, mixed otherwise
    assert [each["formula"] for each in desk.json("import-paper", cards)["formulas"]] == [3]
    assert [each["name"] for each in desk.json("import-paper", cards, "--again")["formulas"]] == [
        "Old rose"
    ]
    desk.text("strike", "formula", 3, "--why", "misread")
    desk.text("strike", "formula", 4, "--why", "misread")
    assert len(desk.json("import-paper", cards)["formulas"]) == 1


def test_a_lot_that_is_open_is_not_opened_again(desk):
    assert "not known yet" in desk.text("lot", "Sharp Lemon", "L-040").out
    said = desk.text("lot", "Sharp Lemon", "L-040").out
    assert said == "Sharp Lemon: lot L-040 is open already; nothing is changed.\n"
    assert desk.json("lot", "Sharp Lemon", "L-040")["lot"] is None
    assert "not known yet" in desk.text("lot", "Sharp Lemon", "L-041").out


def test_an_old_card_becomes_a_batch(desk):
    """Weighed in the shares of the card; the job goes on as any other."""
    card = desk.folder.parent / "card.csv"
    card.write_text("formula,ink,grams\nCoral,Quay White,84\nCoral,Buoy Scarlet,16\n")
    (kept,) = desk.json("import-paper", card)["formulas"]
    words = ["--grams", "250", "--job", "Aprons", "--customer", "Kite Club"]
    made = desk.json("open-batch", kept["formula"], *words)
    assert made["inks"] == [
        {"ink": "Quay White", "percent": 84.0, "grams": 210.0},
        {"ink": "Buoy Scarlet", "percent": 16.0, "grams": 40.0},
    ]
    desk.text("weigh", made["batch"], "--as-planned")
    (job,) = desk.json("today")["jobs"]
    assert (job["name"], job["job"], job["grams"]) == ("Coral", "Aprons", 250.0)
    assert "no formula 9 in the book" in desk.text("open-batch", "9", status=2).err
    assert (
        "FORMULA: found 'Coral', need a whole number"
        in desk.text("open-batch", "Coral", status=2).err
    )
