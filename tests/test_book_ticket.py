"""The weigh ticket of a batch of the book, and every way to correct one."""

import json
import shutil

import pytest
from pages import read_page
from test_book_cli import NAME, Desk, log

from matchkit import cli
from matchkit.files.shop import read_shop


@pytest.fixture
def desk(demo_of_few, tmp_path, monkeypatch, capsys):
    monkeypatch.setitem(cli.COMMANDS, "book", "the record book")
    folder = tmp_path / "shop"
    shutil.copytree(demo_of_few, folder)
    return Desk(folder, capsys)


def test_a_ticket_has_the_logged_weights_and_says_batch_job_and_customer(desk, tmp_path):
    logged = log(desk, "--job", "Harbour tees", "--customer", "Kite Club")
    page = tmp_path / "ticket.html"
    ticket = desk.json("ticket", logged["batch"], "--html", page)
    assert ticket["batch"] == logged["batch"]
    assert ticket["job"] == f"Harbour tees, Kite Club, batch {logged['batch']}"
    assert ticket["target"] == NAME
    rows = {row["ink"]: row["grams"] for row in ticket["rows"]}
    assert rows == {each["ink"]: each["grams"] for each in logged["inks"]}
    assert sum(rows.values()) == pytest.approx(500)
    assert ticket["de00"][0] == pytest.approx(logged["de00"]["D65"], abs=1e-3)
    assert not any("Weighed already" in line for line in ticket["warnings"])
    text = read_page(page.read_text(encoding="utf-8"))
    assert f"Harbour tees, Kite Club, batch {logged['batch']}" in text
    said = desk.text("ticket", logged["batch"])
    assert f"batch {logged['batch']}" in said.out and NAME in said.out
    assert not desk.json("show", logged["batch"])["weighings"]  # a ticket weighs nothing


def test_the_same_weights_as_those_that_as_planned_writes_down(desk):
    log(desk)
    rows = {row["ink"]: row["grams"] for row in desk.json("ticket", "1")["rows"]}
    desk.text("weigh", "1", "--as-planned")
    (weighing,) = desk.json("show", "1")["weighings"]
    assert {each["ink"]: each["grams"] for each in weighing["inks"]} == rows
    assert any("Weighed already" in line for line in desk.json("ticket", "1")["warnings"])


def test_lots_of_today_count_and_the_details_of_a_ticket_are_there(desk):
    logged = log(desk)
    strong = logged["inks"][1]["ink"]
    desk.text("weigh", "1", "--as-planned")
    desk.text("measure", "1", desk.reading("first", logged["inks"], {strong: 1.1}))
    log(desk)
    said = desk.text("ticket", "2", "--json")
    assert f"{strong} lot" in said.err
    today = desk.json("ticket", "2", "--container", "1 litre", "--hold-back", f"{strong}=80")
    plain = desk.json("ticket", "2", "--reference-lots")
    assert today["predicted_lab"] != plain["predicted_lab"]
    assert today["fill"] and any(row["then_g"] for row in today["rows"])


def test_a_target_of_lab_values_and_a_leftover_in_the_formula(desk):
    lab = ["--lab", "60,20,10", "--light", "D50", "--observer", "2"]
    logged = desk.json("log-match", *lab, "--grams", "200")
    ticket = desk.json("ticket", "1")
    assert (ticket["lights"], ticket["observer"]) == (["D50"], 2)
    assert ticket["target_lab"] == [[60.0, 20.0, 10.0]]
    desk.text("weigh", "1", "--as-planned")
    lots = {logged["inks"][1]["ink"]: 1.15}
    assert "under D50" in desk.text("measure", "1", desk.reading("a", logged["inks"], lots)).out
    assert list(desk.json("correct", "1")["de00"]) == ["D50"]
    mix = read_shop(desk.folder).mixes[0]
    recipe = desk.recipe("with-mix", **{mix.name.replace(" ", "_"): 30.0, "Quay_White": 70.0})
    logged = desk.json("log-match", desk.folder / "targets.csv", "--name", NAME, "--recipe", recipe)
    rows = {row["ink"] for row in desk.json("ticket", logged["batch"])["rows"]}
    assert rows == {each["ink"] for each in logged["inks"]}


def test_no_such_batch_is_said(desk):
    log(desk)
    assert "no batch 9" in desk.text("ticket", "9", status=2).err.replace("there is ", "")


def test_correct_tells_the_other_ways_too_and_logs_the_smallest(desk):
    logged = log(desk)
    strong = logged["inks"][1]["ink"]
    desk.text("weigh", "1", "--as-planned")
    desk.text("measure", "1", desk.reading("first", logged["inks"], {strong: 1.4}))
    out = desk.text("correct", "1").out
    assert out.startswith("Batch 1, correction")
    told = [line for line in out.splitlines() if ": add " in line]
    assert told[0].startswith("Least") and len(told) > 1
    assert all(line.startswith(("Safer", "Closest")) for line in told[1:])
    assert all("chance in tolerance" in line for line in told)
    assert len(set(told)) == len(told)
    advice = desk.json("correct", "1")
    assert set(advice) >= {
        *("batch", "correction", "additions", "added_grams", "total_grams", "de00_before", "de00"),
        *("chance_in_tolerance", "can_be_saved"),
    }
    for each in advice["additions"]:
        assert each["ink"] in out
    assert f"--correction {advice['correction']}`" in out
    added = [f"{each['ink']}={each['grams']:.2f}" for each in advice["additions"]]
    desk.text("add", "1", *added)
    told = desk.text("correct", "1", status=2).err  # the same addition is not advised twice
    assert "went in after the last reading that counts" in told
    pink = [desk.folder / "targets.csv", "--name", "Shell pink"]
    said = desk.text("measure", "1", *pink).err
    assert "'Shell pink' is far from the target" in said and "strike measurement 2" in said


def test_the_leftover_of_the_same_colour_stands_first_on_the_ticket(desk):
    logged = log(desk)
    desk.text("weigh", "1", "--as-planned")
    desk.text("measure", "1", desk.reading("first", logged["inks"]))
    desk.text("leftover", "1", "148", "Old coral")
    log(desk)
    first = desk.json("ticket", "2")["warnings"][0]
    assert first.startswith("148.00 g of this are on the shelf: Old coral, measured dE00 0.")
    ticket = desk.text("ticket", "2").out
    assert ticket.index("of this are on the shelf") < ticket.index("[ ]")


def test_a_batch_booked_as_a_print_is_judged_and_corrected_as_one(desk):
    logged = log(desk, "--over", "white tee", "--thickness", "60", "--max-inks", "3")
    assert desk.json("show", "1")["printed"]["over"] == "white tee"
    ticket = desk.json("ticket", "1")
    assert ticket["de00"][0] == pytest.approx(logged["de00"]["D65"], abs=1e-3)
    assert any("Matched as a print, 60 um over white tee" in line for line in ticket["warnings"])
    desk.text("weigh", "1", "--as-planned")
    said = desk.text("measure", "1", desk.folder / "targets.csv", "--name", NAME, "--json")
    assert "judged as a print, 60 um over white tee" in said.err
    assert json.loads(said.out)["odd"] == []  # a print is not held against films that hide
    assert all(each["strength"] == 1 for each in desk.json("lots")["lots"])
    advice = desk.json("correct", "1")
    assert advice["de00_before"]["D65"] == pytest.approx(0, abs=0.01)
    assert advice["additions"] == []
