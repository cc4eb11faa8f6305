"""The drawdown plan, replayed at the balance; the empty shop, filled in and fitted."""

import csv
import re
import tomllib
from collections import defaultdict
from dataclasses import replace
from html import escape

import numpy as np
import pytest
from pages import columns, read_page

from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.files.planned import NEW_SHOP, shop_files
from matchkit.files.shop import read_shop
from matchkit.files.write import data_folder
from matchkit.fitting.fit import fit
from matchkit.inks.drawdowns import Plan, drawdown_plan, rows
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Ink, Shop
from matchkit.paper.sheet import plan_html
from matchkit.report.html import to_text
from matchkit.report.plan import plan_page, plan_parts
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import KINDS, opaque_R, random_mixtures, read
from matchkit.workflows.planning import PlanChoices, new_shop, plan_drawdowns
from matchkit.workflows.session import Session

WHITE, CLEAR = Ink(name="Quay White", role="white"), Ink(name="Ebb Clear", role="clear")
BLACK, RED = Ink(name="Bollard Black", role="black"), Ink(name="Buoy Scarlet", role="colour")
STRONG = Ink(name="Dusk Violet", role="colour", max_percent=30.0, lot="V-023")
INKS = (WHITE, BLACK, CLEAR, RED, STRONG)


def names(plan: Plan) -> list[str]:
    return [step.drawdown for step in plan.steps]


def replayed(plan: Plan) -> tuple[list[dict[str, float]], dict[str, float]]:
    """What is in the pot at every step, and what was taken off the shelf, by plain arithmetic."""
    taken: dict[str, float] = defaultdict(float)
    letdowns: dict[str, dict[str, float]] = {}

    def fetch(what: str, g: float) -> dict[str, float]:
        if what not in letdowns:
            taken[what] += g
            return {what: g}
        total = sum(letdowns[what].values())
        return {ink: g * part / total for ink, part in letdowns[what].items()}

    def stir(pot: dict[str, float], grams) -> dict[str, float]:
        mixed = defaultdict(float, pot)
        for what, g in grams:
            for ink, part in fetch(what, g).items():
                mixed[ink] += part
        return dict(mixed)

    for name, parts in plan.letdowns:
        letdowns[name] = stir({}, parts)
    pots, held = [], {}
    for step in plan.steps:
        pot: dict[str, float] = {}
        if step.leave_g is not None:
            before = held[step.pot]
            total = sum(before.values())
            pot = {ink: g * step.leave_g / total for ink, g in before.items()}
        held[step.pot] = stir(pot, step.adds)
        pots.append(held[step.pot])
    return pots, taken


# ---- which drawdowns


def test_the_first_three_of_a_colour_are_one_in_white_one_in_clear_and_itself():
    plan = drawdown_plan(INKS, levels=3, new_ink="Buoy Scarlet")
    assert names(plan) == [
        "Buoy Scarlet 5.5 in white",
        "Buoy Scarlet 20 in clear",
        "Buoy Scarlet masstone",
    ]


@pytest.mark.parametrize("levels", range(5, 14))
def test_from_five_on_a_colour_has_two_letdowns_in_white_and_two_in_clear(levels):
    plan = drawdown_plan(INKS, levels=levels, new_ink="Buoy Scarlet")
    assert len(plan.steps) == levels
    assert sum(name.endswith(" in white") for name in names(plan)) >= 2
    assert sum(name.endswith(" in clear") for name in names(plan)) >= 2


def test_ten_of_a_colour_hold_a_little_black_and_run_from_light_to_deep():
    plan = drawdown_plan(INKS, new_ink="Buoy Scarlet")
    in_white = [float(name.split()[2]) for name in names(plan) if name.endswith(" in white")]
    assert in_white == [0.5, 1.7, 5.5, 18.0, 60.0]
    assert np.ptp(np.diff(np.log(in_white))) < 0.1  # geometric, but for two digits
    assert [step.percents[-1] for step in plan.steps if "Bollard Black" in step.inks] == [4.0]


def test_a_name_does_not_change_with_the_number_of_drawdowns():
    few = {step.drawdown: step.percents for step in drawdown_plan(INKS, levels=3).steps}
    many = {step.drawdown: step.percents for step in drawdown_plan(INKS, levels=13).steps}
    assert few.keys() < many.keys()
    for name, percents in few.items():
        assert percents == pytest.approx(many[name], abs=0.05)


@pytest.mark.parametrize("levels", [3, 10, 13])
def test_no_mixture_holds_more_of_an_ink_than_its_maker_allows(levels):
    plan = drawdown_plan(INKS, levels=levels)
    shares = [
        p for s in plan.steps for n, p in zip(s.inks, s.percents, strict=True) if n == STRONG.name
    ]
    assert max(shares) == pytest.approx(30.0, abs=0.1)
    assert any("Dusk Violet" in note and "30 %" in note for note in plan.notes)


def test_the_limit_of_a_clear_counts_too():
    plan = drawdown_plan((WHITE, BLACK, replace(CLEAR, max_percent=60.0), RED), levels=13)
    of = [dict(zip(step.inks, step.percents, strict=True)) for step in plan.steps]
    assert 0 < max(each.get(CLEAR.name, 0.0) for each in of) <= 60.1


def test_series_are_never_mixed():
    series = [replace(ink, series=s, name=f"{ink.name} {s}") for s in "AB" for ink in INKS]
    of = {ink.name: ink.series for ink in series}
    plan = drawdown_plan(series, levels=10)
    assert {of[name] for step in plan.steps for name in step.inks} == {"A", "B"}
    assert all(len({of[name] for name in step.inks}) == 1 for step in plan.steps)


def test_without_a_clear_other_levels_take_the_place_and_it_is_said():
    plan = drawdown_plan((WHITE, BLACK, RED), new_ink="Buoy Scarlet")
    assert len(plan.steps) == 10
    assert plan.notes == ("no clear, so no letdowns in clear",)


def test_without_a_white_it_is_said():
    plan = drawdown_plan((CLEAR, RED))
    assert names(plan) == [
        "Buoy Scarlet 20 in clear",
        "Buoy Scarlet 50 in clear",
        "Buoy Scarlet masstone",
    ]
    assert any("no white" in note for note in plan.notes)


@pytest.mark.parametrize("ink", [WHITE, CLEAR, BLACK])
def test_a_new_base_is_planned_too(ink):
    plan = drawdown_plan(INKS, new_ink=ink.name)
    assert 8 <= len(plan.steps) <= 10
    assert all(step.ink == ink.name and ink.name in step.inks for step in plan.steps)


def test_a_clear_alone_is_never_drawn_down():
    assert not any(step.inks == (CLEAR.name,) for step in drawdown_plan(INKS).steps)


def test_names_go_into_any_file_system_and_differ():
    odd = ['Red/Blue: "A"', "Red-Blue- -A-", "red/blue: 'a'", "..", "Fluo <1>|*?", "N" * 300]
    inks = [WHITE, *(Ink(name=name, role="colour") for name in odd)]
    found = names(drawdown_plan(inks, levels=13))
    assert len({name.casefold() for name in found}) == len(found)
    for name in found:
        assert not re.search(r'[<>:"/\\|?*\x00-\x1f]', name)
        assert name == name.strip(" .") and len(name) < 100


# ---- how they are weighed


@pytest.mark.parametrize("levels", [3, 7, 13])
@pytest.mark.parametrize("batch_g", [30.0, 47.3])
def test_whoever_follows_the_plan_has_the_stated_mixtures_in_the_pot(levels, batch_g):
    plan = drawdown_plan(INKS, levels=levels, batch_g=batch_g)
    pots, taken = replayed(plan)
    for step, pot in zip(plan.steps, pots, strict=True):
        total = sum(pot.values())
        assert total == pytest.approx(step.pot_g, abs=1e-6)
        stated = dict(zip(step.inks, step.percents, strict=True))
        assert {ink: 100 * g / total for ink, g in pot.items()} == pytest.approx(stated, abs=1e-6)
        percent = re.search(r" ([0-9.]+) (?:in|with|greyed)", step.drawdown)
        if percent:  # the name says the percent of its ink, and the balance rounds
            assert stated[step.ink] == pytest.approx(float(percent[1]), rel=0.006)
    assert dict(taken) == pytest.approx(dict(plan.used_g))


@pytest.mark.parametrize("levels", [5, 10, 13])
def test_pots_suffice_and_grow_only_by_what_the_balance_shows(levels):
    plan = drawdown_plan(INKS, levels=levels)
    before = {}
    for step in plan.steps:
        if step.leave_g is not None:
            assert step.leave_g + plan.pull_g <= before[step.pot] + 0.15
        if step.pot:
            assert step.pot_g >= plan.batch_g - 0.02
        for _, g in (*step.adds, *step.fresh):
            assert g == pytest.approx(round(g, 2), abs=1e-9)
            assert g >= 1.0 - 1e-9  # 100 steps of 0.01 g
        before[step.pot] = step.pot_g


def test_the_letdowns_made_are_enough():
    plan = drawdown_plan(INKS, levels=13)
    weighed: dict[str, float] = defaultdict(float)
    for step in plan.steps:
        for what, g in step.adds:
            weighed[what] += g
    for name, parts in plan.letdowns:
        assert sum(g for _, g in parts) >= weighed[name] > 0
        assert all(g >= 1.0 for _, g in parts)


def test_a_pot_of_its_own_holds_the_batch_and_the_same_mixture():
    plan = drawdown_plan(INKS, levels=13)
    made = {name: dict(parts) for name, parts in plan.letdowns}
    for step in plan.steps:
        total = sum(g for _, g in step.fresh)
        assert total == pytest.approx(plan.batch_g if step.pot else plan.pull_g)
        held: dict[str, float] = defaultdict(float)
        for what, g in step.fresh:
            if "%" in what and what not in made:  # 1 % letdowns are for clean pots only
                break
            parts = made.get(what, {what: 1.0})
            for ink, part in parts.items():
                held[ink] += g * part / sum(parts.values())
        else:
            stated = dict(zip(step.inks, step.percents, strict=True))
            assert {k: 100 * g / total for k, g in held.items()} == pytest.approx(
                stated, abs=0.1, rel=0.01
            )


@pytest.mark.parametrize("levels", [5, 10, 13])
def test_common_pots_take_less_of_every_ink(levels):
    plan = drawdown_plan(INKS, levels=levels)
    fresh = dict(plan.fresh_g)
    assert all(g <= fresh[name] for name, g in plan.used_g)
    assert plan.saved > 0.3
    assert plan.saved == pytest.approx(1 - sum(dict(plan.used_g).values()) / sum(fresh.values()))


def test_inks_go_from_weak_to_strong():
    plan = drawdown_plan(INKS, levels=13)
    assert list(dict.fromkeys(step.ink for step in plan.steps)) == [
        "Quay White",
        "Buoy Scarlet",
        "Dusk Violet",
        "Bollard Black",
    ]
    ladder = [step for step in plan.steps if step.drawdown.startswith("Buoy Scarlet")]
    shares = [dict(zip(s.inks, s.percents, strict=True))["Buoy Scarlet"] for s in ladder]
    whites = [
        p for p, step in zip(shares, ladder, strict=True) if step.drawdown.endswith("in white")
    ]
    assert whites == sorted(whites)


def test_a_coarse_balance_is_told_which_batch_it_needs():
    plan = drawdown_plan(INKS, resolution_g=0.1, levels=5)
    note = next(note for note in plan.notes if "100 steps" in note)
    enough_g = float(re.search(r"a batch of ([0-9]+) g", note)[1])
    better = drawdown_plan(INKS, resolution_g=0.1, levels=5, batch_g=enough_g)
    assert not any("100 steps" in note for note in better.notes)


def test_rows_hold_every_weight_of_the_plan():
    plan = drawdown_plan(INKS)
    found = rows(plan)
    assert sum(row.add_g for row in found) == pytest.approx(
        sum(g for step in plan.steps for _, g in step.adds)
    )
    assert sum(row.grams for row in found) == pytest.approx(
        sum(g for step in plan.steps for _, g in step.fresh)
    )
    for step in plan.steps:
        assert {r.leave_g for r in found if r.drawdown == step.drawdown} == {step.leave_g}
        percents = [r.percent for r in found if r.drawdown == step.drawdown and r.percent]
        assert sum(percents) == pytest.approx(100)


def test_all_faults_are_told_at_once():
    with pytest.raises(InputError) as error:
        drawdown_plan((WHITE, WHITE), levels=2, batch_g=0, new_ink="Rde")
    assert len(error.value.faults) == 4
    with pytest.raises(InputError, match="no inks"):
        drawdown_plan(())


# ---- the empty shop

# Median dE00 that ten drawdowns of an ink are to reach: the project's own aim.
AIM = {"pastel": 0.25, "half": 0.25, "deep": 0.35, "clear": 0.3}


def filled_in(texts: dict[str, str], plan: Plan, R: np.ndarray, folder) -> None:
    """The files of a plan with readings R (n_drawdown, n_wl), written to a folder."""
    head = texts["spectra.csv"].splitlines()[0]
    lines = [
        ",".join([step.drawdown, *(f"{v:.5f}" for v in row)])
        for step, row in zip(plan.steps, R, strict=True)
    ]
    for name, text in {**texts, "spectra.csv": "\n".join([head, *lines])}.items():
        (folder / name).write_text(text, encoding="utf-8")


@pytest.mark.parametrize(("levels", "limit"), [(3, 100.0), (10, 40.0)])
def test_an_empty_shop_filled_in_on_the_bench_loads_and_fits(tmp_path, levels, limit):
    """Radiative transfer instead of a real bench; mixtures that nobody planned."""
    bench = make_bench(401, n_colours=3)
    rng = np.random.default_rng(1)
    inks = [
        Ink(name=ink.name, role=ink.role, max_percent=limit if ink.role == "colour" else 100.0)
        for ink in bench.inks
    ]
    plan = drawdown_plan(inks, levels=levels)
    of = [dict(zip(step.inks, step.percents, strict=True)) for step in plan.steps]
    fractions = np.array([[each.get(name, 0.0) / 100 for name in bench.names] for each in of])
    texts = shop_files(plan, replace(NEW_SHOP, geometry=bench.geometry, condition="unknown"))
    filled_in(texts, plan, read(opaque_R(bench, fractions), rng)[:, 0], tmp_path)
    shop = read_shop(tmp_path)
    assert tuple(drawdown.name for drawdown in shop.drawdowns) == tuple(names(plan))
    assert not shop.notes
    palette = fit(shop.drawdowns, shop.inks, geometry=shop.geometry).palette
    at = [bench.names.index(name) for name in palette.names]
    for kind in KINDS:
        mixed = random_mixtures(bench, np.random.default_rng(2), kind, 60)
        mixed = mixed[mixed[:, 3:].max(axis=1) <= limit / 100]
        true, told = opaque_R(bench, mixed), reflectance(palette, mixed[:, at])
        assert np.median(de00(Lab(true, "D65", 10), Lab(told, "D65", 10))) < AIM[kind]


def test_an_empty_shop_says_what_is_missing(tmp_path):
    plan = drawdown_plan(INKS, levels=3)
    for name, text in shop_files(plan).items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as error:
        read_shop(tmp_path)
    told = "\n".join(error.value.faults)
    assert "measurement.geometry" in told
    assert len(error.value.faults) == 2  # the condition is the other; readings may wait
    settings = shop_files(plan, replace(NEW_SHOP, geometry="45/0", condition="M1"))["shop.toml"]
    (tmp_path / "shop.toml").write_text(settings, encoding="utf-8")
    assert read_shop(tmp_path).notes[-1].startswith("nothing is measured yet")


def test_shop_files_keep_every_name_and_number():
    """Python's csv and tomllib read what was written."""
    odd = Ink(
        name='Rot, "extra" 赤',
        role="colour",
        series="a;b",
        density_g_per_ml=1.2345,
        stock_g=1234567.0,
        max_percent=12.5,
        note="x, y",
    )
    plan = drawdown_plan((WHITE, odd), levels=3)
    texts = shop_files(
        plan,
        Shop(
            name='The "Quay" \\ 印刷',
            geometry="45/0",
            condition="M1",
            observer=2,
            lights=("D65",),
        ),
    )
    settings = tomllib.loads(texts["shop.toml"])
    assert settings["name"] == 'The "Quay" \\ 印刷'
    assert settings["measurement"] == {"geometry": "45/0", "condition": "M1"}
    assert settings["viewing"]["observer"] == 2
    inks = list(csv.DictReader(texts["inks.csv"].splitlines()))
    assert inks[1]["ink"] == odd.name and inks[1]["series"] == "a;b"
    assert float(inks[1]["stock_g"]) == 1234567 and float(inks[1]["max_percent"]) == 12.5
    drawn = list(csv.DictReader(texts["drawdowns.csv"].splitlines()))
    totals: dict[str, float] = defaultdict(float)
    for row in drawn:
        totals[row["drawdown"]] += float(row["percent"])
    assert all(total == pytest.approx(100, abs=0.001) for total in totals.values())
    spectra = list(csv.reader(texts["spectra.csv"].splitlines()))
    assert spectra[0] == ["drawdown", *(str(int(nm)) for nm in GRID_NM)]
    assert [row[0] for row in spectra[1:]] == list(totals)


# ---- on paper


def test_the_sheet_prints_on_a4_and_holds_every_step():
    plan = drawdown_plan((*INKS, Ink(name="<script>alert(1)</script> & Co", role="colour")))
    page = plan_html(plan, title="Series <A>")
    words = read_page(page)
    assert "@page { size: A4;" in page
    assert "<script>alert(1)" in words  # as text
    for step in plan.steps:
        assert step.drawdown.removeprefix(f"{step.ink} ") in words
        assert f'<td class="n ink">{step.number}</td>' in page
    assert page.count('<section class="sheet">') == len({step.ink for step in plan.steps})
    assert "data sheets and local rules" in words


def test_the_plan_as_text_is_aligned_whatever_the_script(tmp_path):
    inks = (Ink(name="白インキ", role="white"), RED, Ink(name="أحمر قرمزي", role="colour"), CLEAR)
    new_shop(tmp_path / "shop", inks, choices=PlanChoices(levels=5))
    text = to_text(plan_parts(plan_drawdowns(Session(tmp_path / "shop"), PlanChoices(levels=5))))
    block = text[text.index("\nBuoy Scarlet, from") :].strip().split("\n\n")[0].splitlines()[1:]
    start = columns(block[0][: block[0].index("Add")])
    assert len(block) == 1 + 5
    for line in block[1:]:
        assert re.match(r"\d", _from_column(line, start))


def _from_column(line: str, start: int) -> str:
    for i in range(len(line) + 1):
        if columns(line[:i]) == start:
            return line[i:]
    return ""


@pytest.mark.parametrize("batch_g", [10.0, 30.0])
def test_whatever_is_weighed_is_an_ink_or_a_letdown_that_is_told(batch_g):
    plan = drawdown_plan(INKS, batch_g=batch_g)
    made = {name for name, _ in plan.letdowns}
    apart = {name for name, _ in plan.fresh_letdowns}
    inks = {ink.name for ink in INKS}
    assert {what for step in plan.steps for what, _ in step.adds} <= inks | made
    assert {what for step in plan.steps for what, _ in step.fresh} <= inks | made | apart
    assert not made & apart
    page = plan_html(plan)
    assert all(escape(name) in page for name in made | apart)


def test_a_plan_asks_whether_it_is_printed_on_dark_garments():
    session = Session(data_folder() / "demo-shop")
    for on_dark, told in ((False, "On dark garments too?"), (True, "card that is half black")):
        made = plan_drawdowns(session, PlanChoices(levels=3, on_dark=on_dark))
        assert told in made.plan.notes[-1] and told in plan_page(made).html
