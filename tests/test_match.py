"""What a search for formulas says where there are none, or fewer than were asked for."""

import csv
import json
import re
import shutil

import pytest

from matchkit.cli import main

ALL_OUT = (
    "no ink that may be used has any stock: stock_g in inks.csv is 0 for each; write what is on the"
    " shelf there, or leave the cell empty where you don't count"
)
TOO_LITTLE = (
    "a batch of {} g can't be filled with at most {} of the inks that may be used: stock_g and"
    " max_percent in inks.csv, and what was left out, leave too little; make a smaller batch, allow"
    " more inks (max inks), or correct the stock"
)


@pytest.fixture
def shop(fitted_demo, tmp_path):
    folder = tmp_path / "shop"
    shutil.copytree(fitted_demo, folder)
    return folder


@pytest.fixture
def run(shop, capsys):
    """Match one of the demo's targets: what is answered, and what is said."""

    def _run(name, *words, status=0):
        capsys.readouterr()
        asked = ["match", shop, shop / "targets.csv", "--name", name, *words]
        assert main([*map(str, asked)]) == status
        said = capsys.readouterr()
        return said.out.splitlines(), said.err.splitlines()

    return _run


def set_stock(shop, grams):
    """Write one stock for every ink."""
    path = shop / "inks.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows({**row, "stock_g": grams} for row in rows)


def test_a_shelf_without_stock_is_told_from_a_batch_that_is_too_big(shop, run):
    set_stock(shop, 0)
    assert run("Sea teal", status=2)[1] == [ALL_OUT]
    set_stock(shop, 100)
    assert run("Sea teal", status=2)[1] == [TOO_LITTLE.format(1000, 4)]
    assert run("Sea teal", "--grams", "300", "--max-inks", "2", status=2)[1] == [
        TOO_LITTLE.format(300, 2)
    ]
    assert run("Sea teal", "--grams", "300", "--top", "1")[1] == []


@pytest.mark.parametrize(
    ("name", "words", "last"),
    [
        (
            "Shell pink", (),
            "Only 2 formulas (5 asked for): others add inks without coming closer, or are as near"
            " but less sure or mostly clear (list all to see those).",
        ),
        ("Pale mint", ("--all",), "(5 asked for): others add inks without coming closer."),
        (
            "Sea teal", ("--leftovers",),
            "(5 asked for): one for each mix on the shelf that can be brought near enough.",
        ),
        (
            "Sea teal", ("--use", "Leftover regatta teal", "--top", "30"),
            "others add inks or are farther off.",
        ),
    ],
)  # fmt: skip
def test_a_list_that_is_shorter_than_asked_says_why(run, name, words, last):
    out, _ = run(name, *words)
    assert any(line.endswith(last) for line in out)


@pytest.mark.parametrize("words", [(), ("--all",)])
def test_asking_for_many_more_lists_nothing_else(run, words):
    few, _ = run("Shell pink", *words)
    many, _ = run("Shell pink", *words, "--top", "500")
    assert [line for line in few if line.startswith("Formula")] == [
        line for line in many if line.startswith("Formula")
    ]


def test_a_full_list_has_no_such_line(run):
    out, _ = run("Sea teal", "--top", "2")
    assert not any("asked for" in line for line in out)


def one_stock(shop, ink, grams):
    """Write the stock of one ink."""
    path = shop / "inks.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(
            {**row, "stock_g": grams if row["ink"] == ink else row["stock_g"]} for row in rows
        )


def test_stock_that_keeps_a_better_formula_away_is_named(shop, run):
    before, _ = run("Club navy", "--json")
    best = json.loads("\n".join(before))["matches"][0]
    assert "short_of" not in best
    used = {part["ink"]: part["grams"] for part in best["formulas"][0]["inks"]}
    one_stock(shop, "Dusk Violet", 20)
    answer, _ = run("Club navy", "--json")
    (held,) = json.loads("\n".join(answer))["matches"][0]["short_of"]
    assert held == {"ink": "Dusk Violet", "stock_g": 20, "needed_g": used["Dusk Violet"]}


def test_a_batch_that_takes_more_than_the_shelf_holds_says_so(run, shop, tmp_path):
    out, _ = run("Sea teal", "--grams", "19000", "--ticket", tmp_path / "ticket.html")
    said = next(line for line in out if line.startswith("Stock holds this back"))
    assert "Slipway Blue (2650 g there, " in said
    assert "FL11" in said
    assert "stock holds this back" in (tmp_path / "ticket.html").read_text().casefold()
    assert not any("tock holds" in line for line in run("Sea teal", "--grams", "9000")[0])


def test_out_of_reach_for_want_of_stock_is_not_blamed_on_the_inks(shop, run):
    set_stock(shop, "")
    one_stock(shop, "Quay White", 100)
    for ink in ("Ebb Clear", "Sand Ochre"):
        one_stock(shop, ink, 0)
    assert run("Pale mint")[0][0].startswith("Pale mint: out of reach with the stock there is.")


@pytest.mark.parametrize(
    ("tolerance", "told"),
    [
        ("1.0", "outside what these inks can reach. The first formula is dE00 4.19 under D65."),
        ("6.0", "at the edge of what these inks can reach, but within tolerance: dE00 4.19 under"),
        ("9.0", "these inks can reach it."),
    ],
)
def test_what_is_out_of_reach_is_told_with_how_far_and_which_way(shop, capsys, tolerance, told):
    path = shop / "shop.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub("de00 = .*", f"de00 = {tolerance}", text), encoding="utf-8")
    assert main(["match", str(shop), "--lab", "55,60,58", "--top", "1"]) == 0
    said = capsys.readouterr().out
    assert f"Lab 55,60,58: {told}" in said
    assert ("Still needed: much more chroma, redder." in said) is (tolerance != "9.0")


def test_too_few_inks_are_not_blamed_on_the_target(run):
    assert run("Club navy", "--max-inks", "2")[0][0].startswith(
        "Club navy: these inks can reach it, but not with 2 inks at most."
    )


def test_a_batch_too_small_for_the_balance_is_not_blamed_on_the_number_of_inks(run):
    assert run("Shell pink", "--grams", "1")[0][0].startswith(
        "Shell pink: these inks can reach it, but not by weights that a balance of 0.01 g shows"
    )


def test_what_the_chances_count_on_is_told(run):
    out, _ = run("Sea teal")
    assert "Chances allow for lots differing in strength by 3 % (lot_spread_percent)." in out


def test_a_formula_that_is_far_off_under_another_light_has_a_word_for_it(run):
    told, _ = run("Sea teal", "--grams", "19000")  # FL11 3.6, see the stock above
    assert any("Under FL11 it is off by dE00 3.6: agree which" in line for line in told)
    assert not any("agree which light" in line for line in run("Sea teal")[0])
