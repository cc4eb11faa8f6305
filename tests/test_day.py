"""A day of ten colours at the terminal: every figure ties with what was typed.

The sums are made here, in exact decimals, of the amounts that were typed; the program's own
sums are never used to check the program.
"""

import csv
import io
import re
import shutil
from collections import defaultdict
from datetime import date, timedelta
from decimal import Decimal

import pytest
from book_desk import Desk

TODAY = date.today().isoformat()
TOMORROW = (date.today() + timedelta(days=1)).isoformat()
LATER = (date.today() + timedelta(days=9)).isoformat()
QUICK = ("--max-inks", "3", "--top", "1")  # it is the book that is tried here, not the search
MESH = ("--size", "30x30cm", "--coverage", "40", "--mesh", "60", "--transfer", "60")
CONTAINER_G = 5000


class Day:
    """A mixer's day: what was typed is added up here, beside what the book says."""

    def __init__(self, desk, say):
        self.desk, self.say = desk, say
        self.priced = 0  # batches whose cost was told
        self.stock, self.cost, self.left = {}, {}, {}  # `left`: leftovers, of which batch
        self.poured = defaultdict(lambda: defaultdict(Decimal))  # by batch, by ink
        with (desk.folder / "inks.csv").open(encoding="utf-8") as file:
            for row in csv.DictReader(file):
                self.cost[row["ink"]] = Decimal(row["cost_per_kg"] or "NaN")
                if row["stock_g"]:
                    self.stock[row["ink"]] = Decimal(row["stock_g"])

    def begin(self, *words):
        """A batch; its number and the plan, grams by ink as they stand on the screen."""
        said = self.desk.text("begin", *words, *QUICK)
        self.said = said.err
        assert "fitted anew" not in said.err
        batch = int(re.search(r"Batch (\d+):", said.out)[1])
        plan = dict(re.findall(r"^(\S.*?)  +(\d+\.\d\d)  +\d+\.\d{3} ", said.out, re.M))
        grams = {ink: Decimal(g) for ink, g in plan.items()}
        if told := re.search(r"cost (\d+\.\d\d) (\w+)/kg", said.out):
            per_kg = sum(g * self.price(ink) for ink, g in grams.items()) / sum(grams.values())
            assert abs(Decimal(told[1]) - per_kg) <= Decimal("0.0051") and told[2] == "EUR"
            self.priced += 1
        return batch, grams

    def price(self, name):
        """A kilogram of an ink; what stands on the shelf already costs nothing."""
        return Decimal(0) if name not in self.cost else self.cost[name]

    def pour(self, batch, verb, grams):
        """Type weights with a decimal comma; they go off the shelf."""
        typed = [f"{ink}={g:f}".replace(".", ",") for ink, g in grams.items()]
        self.desk.text(verb, batch, *typed)
        self.went(batch, grams)

    def went(self, batch, grams):
        for ink, g in grams.items():
            self.poured[batch][ink] += g
            if ink in self.stock:
                self.stock[ink] -= g

    def holds(self, batch):
        """What is in a container, a leftover in it taken apart by what was typed of its own."""
        held = defaultdict(Decimal)
        for name, g in self.poured[batch].items():
            parts = self.shares(self.left[name]) if name in self.left else {name: Decimal(1)}
            for ink, share in parts.items():
                held[ink] += g * share
        return held

    def shares(self, batch):
        total = sum(self.poured[batch].values())
        return {ink: g / total for ink, g in self.poured[batch].items()}

    def measure(self, batch, **strong):
        """The drawdown of a batch as the fit has it, some inks of it stronger."""
        inks = [{"ink": ink, "grams": float(g)} for ink, g in self.holds(batch).items()]
        scale = {ink.replace("_", " "): s for ink, s in strong.items()}
        path = self.desk.reading(f"drawdown {batch}", inks, scale)
        return self.desk.json("measure", batch, path)

    def shelf(self):
        """The book's stock beside the sums of what was typed."""
        told = self.desk.json("stock")["stock"]
        for name, grams in self.stock.items():
            assert told[name] == pytest.approx(float(grams), abs=1e-6), name


@pytest.fixture
def day(fitted_demo, tmp_path, capsys, monkeypatch):
    folder = tmp_path / "shop"
    shutil.copytree(fitted_demo, folder)
    (folder / "book.db").unlink(missing_ok=True)
    toml = folder / "shop.toml"
    toml.write_text('currency = "EUR"\n' + toml.read_text(encoding="utf-8"), encoding="utf-8")
    inks = folder / "inks.csv"
    head, *rows = inks.read_text(encoding="utf-8").splitlines()
    rows = [f"{head},container_g", *(f"{row},{CONTAINER_G}" for row in rows)]
    inks.write_text("\n".join(rows) + "\n", encoding="utf-8")

    def say(*lines):
        monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(lines) + "\n"))

    return Day(Desk(folder, capsys), say)


def test_a_day_of_ten_colours(day):
    desk, targets = day.desk, day.desk.folder / "targets.csv"

    # In the morning seven jobs are begun; two are a rush, one comes from an old card.
    teal, teal_g = day.begin(
        targets, "--name", "Sea teal", "--prints", 120, *MESH, "--job", "Tees", "--due", LATER
    )
    mint, mint_g = day.begin(targets, "--name", "Pale mint", "--grams", 400, "--due", TODAY)
    sky = {"Quay White": 320.0, "Deckhand Blue": 24.5, "Dusk Violet": 5.5}
    asked = desk.reading("Sky", [{"ink": ink, "grams": g} for ink, g in sky.items()])
    recipe = desk.recipe("sky", **{ink.replace(" ", "_"): g for ink, g in sky.items()})
    blue, blue_g = day.begin(asked, "--recipe", recipe, "--due", TOMORROW)
    card = desk.folder.parent / "cards.csv"
    card.write_text(
        "formula,ink,percent,customer\nOld harbour,Quay White,80,Ferry Cafe\n"
        "Old harbour,Deckhand Blue,20,\n",
        encoding="utf-8",
    )
    (paper,) = desk.json("import-paper", card)["formulas"]
    harbour, harbour_g = day.begin("--formula", paper["formula"], "--grams", 300)
    assert harbour_g == {"Quay White": Decimal(240), "Deckhand Blue": Decimal(60)}
    wanted = {"Quay White": 180.0, "Sharp Lemon": 45.0, "Kelp Green": 25.0}
    moss = desk.reading("Moss", [{"ink": ink, "grams": g} for ink, g in wanted.items()])
    recipe = desk.recipe("moss", **{ink.replace(" ", "_"): g for ink, g in wanted.items()})
    moss_lot, moss_g = day.begin(moss, "--recipe", recipe, "--due", LATER)
    over, over_g = day.begin(moss, "--recipe", recipe, "--job", "Bags")

    # The stock-take finds less lemon than there should be: a job waits, and what to buy is said.
    desk.text("count", "Sharp Lemon", "30")
    day.stock["Sharp Lemon"] = Decimal(30)
    jobs = {each["batch"]: each for each in desk.json("today")["jobs"]}
    assert jobs[mint]["signs"] == jobs[blue]["signs"] == ["rush"]
    assert "waiting for ink" in jobs[moss_lot]["signs"]
    lacks = Decimal(0)
    for grams in (teal_g, mint_g, blue_g, moss_g, over_g):
        lacks += grams.get("Sharp Lemon", Decimal(0))
    order = next(o for o in desk.json("reorder")["orders"] if o["ink"] == "Sharp Lemon")
    assert order["promised_g"] == pytest.approx(float(lacks), abs=0.05)  # plans are rounded
    assert order["order_g"] == pytest.approx(float(lacks - 30), abs=0.05)
    assert order["containers"] == 1
    price = day.cost["Sharp Lemon"] * CONTAINER_G / 1000
    assert order["cost"] == pytest.approx(float(price))
    assert f"{price:.2f} EUR" in desk.text("reorder").out

    # The delivery comes, with a new lot of white as well.
    for ink, lot in (("Sharp Lemon", "L-050"), ("Quay White", "W-119")):
        desk.text("deliver", ink, CONTAINER_G, "--lot", lot)
        desk.text("lot", ink, lot)
        day.stock[ink] += CONTAINER_G
    day.shelf()
    assert not any("waiting for ink" in each["signs"] for each in desk.json("today")["jobs"])
    page = desk.folder.parent / "tickets.html"
    desk.text("tickets", "--html", page)
    order = [int(n) for n in re.findall(r"batch (\d+)", page.read_text(encoding="utf-8"))]
    assert [*dict.fromkeys(order)] == [mint, blue, teal, moss_lot, harbour, over]

    # What is weighed is typed with commas; a little more of one ink each time.
    for k, (batch, grams) in enumerate(
        [(mint, mint_g), (blue, blue_g), (teal, teal_g), (harbour, harbour_g), (moss_lot, moss_g)]
    ):
        first = next(iter(grams))
        day.pour(batch, "weigh", grams | {first: grams[first] + Decimal(k) / 100})
    assert desk.json("today")["jobs"][0]["signs"] == ["rush", "ready to measure"]
    for batch in (mint, blue, teal):
        assert day.measure(batch)["passed"]
        desk.text("close", batch, "approved", "--approved-by", "Ada")
    assert day.measure(harbour)["de00"] is None  # nobody asked for a colour
    desk.text("close", harbour, "approved", "--approved-by", "Ada")

    # One container of green was of another lot: the batch is off, is put right, and the lot noted.
    seen = day.measure(moss_lot, Kelp_Green=1.3)
    assert not seen["passed"] and desk.json("show", moss_lot)["state"] == "out: to correct"
    advice = desk.json("correct", moss_lot)
    added = {a["ink"]: Decimal(f"{a['grams']:.2f}") for a in advice["additions"]}
    day.pour(moss_lot, "add", added)
    assert day.measure(moss_lot, Kelp_Green=1.3)["passed"]
    desk.text("close", moss_lot, "approved", "--approved-by", "Ada")
    desk.text("lot", "Kelp Green", "G-999")

    # Too much lemon goes in: asked ink by ink, the first way to finish is followed.
    names = [*over_g]
    too_much = over_g["Sharp Lemon"] + 6
    before = {ink: over_g[ink] for ink in names[: names.index("Sharp Lemon")]}
    day.say(*("=" for _ in before), f"{too_much:f}", "1", *["="] * 4)
    said = desk.text("weigh", over)
    assert "Over-poured: Sharp Lemon" in said.err and "more (then the balance shows" in said.err
    (way, *_) = re.findall(r"Still to weigh +grams\n(.*?)\n\n", said.err, re.S)
    rest = {ink: Decimal(g) for ink, g in re.findall(r"^(\S.*?)  +([\d.]+)$", way, re.M)}
    day.went(over, before | {"Sharp Lemon": too_much})
    day.went(over, rest)
    assert day.measure(over, Kelp_Green=1.0)["passed"]
    desk.text("close", over, "approved", "--approved-by", "Ada")

    # After the printing: what is left goes on the shelf, and the next job learns what it took.
    desk.text("leftover", teal, "40")
    name = f"Sea teal left of {teal}"
    day.left[name], day.stock[name] = teal, Decimal(40)
    used = sum(day.poured[teal].values()) - 40
    more, more_g = day.begin("--again", teal, "--prints", 60, *MESH)
    um = float(re.search(r"\(batch \d+\) took ([\d.]+) um", day.said)[1])
    held = day.shares(teal)
    with (desk.folder / "inks.csv").open(encoding="utf-8") as file:
        density = {row["ink"]: Decimal(row["density_g_per_ml"]) for row in csv.DictReader(file)}
    ml = used * sum(share / density[ink] for ink, share in held.items())
    area_m2 = Decimal(120) * Decimal("0.09") * Decimal("0.4")
    assert um == pytest.approx(float(ml / area_m2), rel=0.01)

    # In the afternoon: the leftover in the same colour again, two colours made again.
    reuse, reuse_g = day.begin(targets, "--name", "Sea teal", "--grams", 200, "--use", name)
    again, again_g = day.begin("--again", mint, "--grams", 200)
    anew, anew_g = day.begin("--again", blue, "--rematch", "--grams", 150)
    assert sum(again_g.values()) == 200 and {*again_g} == {*mint_g}
    assert reuse_g[name] == 40
    for batch, grams in ((more, more_g), (reuse, reuse_g), (again, again_g), (anew, anew_g)):
        day.pour(batch, "weigh", grams)
        assert day.measure(batch)["passed"]
        desk.text("close", batch, "approved", "--approved-by", "Ada")

    # In the evening every figure ties.
    assert day.stock[name] == 0
    day.shelf()
    for batch, inks in day.poured.items():
        shown = desk.json("show", batch)
        told = defaultdict(float)
        for pour in shown["weighings"]:
            for each in pour["inks"]:
                told[each["ink"]] += each["grams"]
        assert {ink: g for ink, g in told.items() if g} == pytest.approx(
            {ink: float(g) for ink, g in inks.items() if g}
        )
        assert shown["container"] == pytest.approx(
            {ink: float(g) for ink, g in day.holds(batch).items()}, abs=1e-5
        )
        assert (shown["state"], shown["approved_by"]) == ("approved", "Ada")
    lots = {e["ink"]: e["lot"] for e in desk.json("show", anew)["weighings"][0]["inks"]}
    assert lots["Quay White"] == "W-119"
    assert desk.json("check")["sound"]
    assert (len(day.poured), day.priced) == (10, 9)  # of the card no colour was asked for


def test_from_the_target_to_the_approved_batch_in_five_commands(day):
    """No table is typed: the target's file is the instrument's, weights and reading are asked."""
    desk = day.desk
    reading = desk.reading(
        "r", [{"ink": "Quay White", "grams": 90}, {"ink": "Rust Earth", "grams": 10}]
    )
    made = desk.json("begin", reading, "--grams", 200, *QUICK)
    desk.text("ticket", made["batch"])
    day.say(*["="] * len(made["inks"]))
    desk.text("weigh", made["batch"])
    poured = [{"ink": each["ink"], "grams": each["grams"]} for each in made["inks"]]
    values = desk.reading("d", poured).read_text(encoding="utf-8").splitlines()[1].split(",")[1:]
    assert desk.json("measure", made["batch"], " ".join(values))["passed"]
    assert "approved" in desk.text("close", made["batch"], "approved").out
    assert desk.json("show", made["batch"])["approved_by"]
