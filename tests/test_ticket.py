"""The weigh-out ticket: its sums, its ways out, and its paper."""

import re
from dataclasses import replace

import numpy as np
import pytest
from pages import CHROMIUM, columns, n_printed, read_page

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import Lab, de00, hex_colour
from matchkit.errors import InputError
from matchkit.inks.shop import Ink, Shop
from matchkit.matching.rank import MOSTLY_CLEAR, Candidate
from matchkit.paper.jobsize import PrintJob, job_size, summary
from matchkit.paper.sheet import CAUTIONS, DEFER
from matchkit.paper.ticket import Ticket, ticket
from matchkit.paper.ticket_sheet import ticket_html, ticket_text
from matchkit.paper.weighing import CONTAINERS_ML, Additive, Container

INKS = (
    Ink(name="Quay White", role="white", density_g_per_ml=1.48, lot="W-118"),
    Ink(name="Slipway Blue", role="colour", density_g_per_ml=1.18, lot="T-015"),
    Ink(name="Kelp Green", role="colour", density_g_per_ml=1.19, lot="G-064"),
    Ink(name="Bollard Black", role="black", density_g_per_ml=1.16, lot="K-042"),
)
SHOP = Shop(
    name="Quay Street Print Room",
    geometry="d/8 specular excluded",
    condition="unknown",
    observer=10,
    lights=("D65", "A", "FL11"),
    inks=INKS,
)
GRAMS = (774.35, 150.20, 75.00, 0.45)
R_TARGET = np.linspace(0.35, 0.12, 31)
TARGET = Target.from_spectrum(R_TARGET, SHOP.lights, SHOP.observer)
QUART = Container(name="US quart", volume_ml=CONTAINERS_ML["US quart"])

LONG = (
    "Quay White",
    "Donaudampfschifffahrtsgesellschaftskapitänsmützenblau extra stark, nachgefüllt",
    "濃い瑠璃色プラスチゾルインキ（夏用・低温硬化・濃縮タイプ第二号）",
    "أحمر قرمزي داكن للطباعة بالشاشة الحريرية 12 مركز",
    "Очень-очень длинное название тёмно-вишнёвой краски для трафаретной печати",
    "<script>alert('x')</script> & \"quotes\"",
)


def candidate(inks=tuple(ink.name for ink in INKS), grams=GRAMS, R=R_TARGET * 1.01) -> Candidate:
    lab = np.array([Lab(R, light, SHOP.observer) for light in SHOP.lights])
    return Candidate(
        inks=inks, grams=grams, R=R, lab=lab, de00=de00(TARGET.lab, lab), F=0.0, cost_per_kg=None
    )


def made(found: Candidate | None = None, shop: Shop = SHOP, **more) -> Ticket:
    found = found or candidate()
    return ticket(found, TARGET, shop, target_name="Sea teal", job="Regatta club", **more)


def long_names() -> Ticket:
    inks = tuple(
        Ink(name=name, role="white" if i == 0 else "colour", lot=f"LOT <{i}>")
        for i, name in enumerate(LONG)
    )
    found = candidate(inks=LONG, grams=(12345.67, 880.12, 400.5, 300.25, 62.0, 0.61))
    return made(
        found,
        replace(SHOP, inks=inks, name="印刷室 <b>Überlingen</b>"),
        hold_back={LONG[1]: 0.9, LONG[3]: 0.7},
        additives=[Additive(name="パフ <i>添加剤</i>", percent=12.5)],
        container=Container(name="<u>5 gallons</u>", volume_ml=CONTAINERS_ML["5 US gallons"]),
        warnings=["<img src=x onerror=alert(1)>"],
    )


# ---- sums


def test_the_balance_ends_at_the_batch_and_every_step_adds_up():
    found = made()
    total = 0.0
    for row, grams in zip(found.rows, GRAMS, strict=True):
        total += grams
        assert row.total_g == pytest.approx(total, abs=1e-9)
    assert found.rows[-1].total_g == found.batch_g == 1000.0
    assert sum(row.percent for row in found.rows) == pytest.approx(100)


def test_held_back_parts_come_last_and_the_balance_still_ends_at_the_batch():
    found = made(hold_back={"Slipway Blue": 0.8, "Kelp Green": 0.5})
    blue, green = found.rows[1:3]
    assert (blue.first_g, blue.then_g) == (120.16, 30.04)
    assert (green.first_g, green.then_g) == (37.5, 37.5)
    assert found.rows[-1].total_g == pytest.approx(1000 - 30.04 - 37.5)
    assert (blue.final_g, green.final_g) == (962.5, 1000.0)
    assert found.rows[0].final_g is None
    assert any("held-back" in step for step in found.steps)


def test_a_part_held_back_is_a_weight_that_the_balance_shows():
    row = made(hold_back={"Slipway Blue": 1 / 3}).rows[1]
    assert row.first_g == 50.07
    assert row.first_g + row.then_g == pytest.approx(150.20)


def test_additives_go_on_top_and_change_no_weight_of_the_colour():
    plain, dosed = made(), made(additives=[Additive(name="Puff", percent=12.5)])
    assert dosed.rows == plain.rows
    assert dosed.batch_g == plain.batch_g
    assert dosed.additives[0].grams == 125.0


# ---- small weights


def composition(rows, letdowns) -> dict[str, float]:
    """Grams of every ink, letdowns taken apart again."""
    parts = {each.name: dict(each.parts) for each in letdowns}
    held: dict[str, float] = {}
    for what, g in rows:
        of = parts.get(what, {what: 1.0})
        for ink, part in of.items():
            held[ink] = held.get(ink, 0.0) + g * part / sum(of.values())
    return held


@pytest.mark.parametrize("grams", [GRAMS, (999.22, 0.31, 0.95, 0.02), (60.0, 39.0, 0.9, 0.1)])
def test_a_batch_from_letdowns_is_the_same_batch(grams):
    found = made(candidate(grams=grams), use_letdowns=True)
    held = composition([(row.ink, row.grams) for row in found.rows], found.letdowns)
    assert held == pytest.approx(dict(zip(candidate().inks, grams, strict=True)), abs=1e-9)
    assert found.rows[-1].total_g == pytest.approx(sum(grams))
    assert all(row.grams >= 1.0 for row in found.rows)  # 100 steps of 0.01 g
    assert all(g >= 1.0 for each in found.letdowns for _, g in each.parts)
    for each in found.letdowns:
        assert sum(g for _, g in each.parts) >= 1.1 * each.letdown_g  # some clings to the pot
    assert not any("100 steps" in warning for warning in found.warnings)


def test_a_small_weight_is_told_with_the_way_out():
    found = made()
    assert found.rows[-1].grams == 0.45
    assert any("Bollard Black: 0.45 g is under 1 g" in warning for warning in found.warnings)
    held = composition(found.letdown_grams, found.letdowns)
    assert held == pytest.approx(dict(zip(candidate().inks, GRAMS, strict=True)), abs=1e-9)
    for text in (ticket_text(found), read_page(ticket_html(found))):
        words = " ".join(text.split())
        assert "9.00 g Quay White and 1.00 g Bollard Black" in words
        assert "770.30 g Quay White and 4.50 g Bollard Black 10 % in Quay White" in words


def test_a_part_held_back_of_a_letdown_is_a_part_of_the_letdown():
    row = made(use_letdowns=True, hold_back={"Bollard Black": 0.5}).rows[-1]
    assert (row.first_g, row.then_g) == (2.25, 2.25)


def test_without_a_base_the_way_out_is_a_bigger_batch():
    found = made(candidate(inks=("Kelp Green", "Bollard Black"), grams=(99.6, 0.4)))
    assert not found.letdowns
    told = next(warning for warning in found.warnings if "100 steps" in warning)
    enough_g = float(re.search(r"a batch of ([0-9]+) g", told)[1])
    assert 0.004 * enough_g >= 1.0


# ---- volume


def test_a_gallon_and_a_quart_are_what_the_inch_makes_them():
    """231 cubic inches, the inch 25.4 mm: definitions."""
    assert CONTAINERS_ML["US gallon"] == pytest.approx(231 * 2.54**3)
    assert CONTAINERS_ML["US quart"] == pytest.approx(231 * 2.54**3 / 4)


@pytest.mark.parametrize(
    ("density", "kg"), [(1.1, 4.1640), (1.2, 4.5425), (1.3, 4.9210), (1.4, 5.2996), (1.5, 5.6781)]
)
def test_a_gallon_holds_its_kilograms(density, kg):
    """Density times 3785.411784 ml, four decimals printed; by definition."""
    inks = (Ink(name="White", role="white", density_g_per_ml=density),)
    gallon = Container(name="US gallon", volume_ml=CONTAINERS_ML["US gallon"], headroom=0.0)
    found = made(
        candidate(inks=("White",), grams=(1000.0,)), replace(SHOP, inks=inks), container=gallon
    )
    assert found.fill.most_g / 1000 == pytest.approx(kg, abs=5e-5)
    assert found.fill.share == pytest.approx(1 / kg, rel=2e-5)


def test_volumes_add_up_and_additives_count():
    volume = sum(g / ink.density_g_per_ml for g, ink in zip(GRAMS, INKS, strict=True))
    assert made().fill.volume_ml == pytest.approx(volume)
    dosed = made(additives=[Additive(name="Soft", percent=10)], container=QUART)
    assert dosed.fill.volume_ml == pytest.approx(1.1 * volume)
    assert dosed.fill.share == pytest.approx(1.1 * volume / 946.352946)


def test_a_batch_too_big_for_its_container_is_told_what_fits():
    with pytest.raises(InputError, match=r"at most [0-9]+ g fit and leave 10 % to stir"):
        made(candidate(grams=tuple(1.5 * g for g in GRAMS)), container=QUART)
    found = made(candidate(grams=tuple(1.2 * g for g in GRAMS)), container=QUART)
    told = next(warning for warning in found.warnings if warning.startswith("US quart"))
    most_g = float(re.search(r"at most ([0-9]+) g", told)[1])
    assert most_g * found.fill.volume_ml / 1200 <= 0.9 * QUART.volume_ml
    assert (most_g + 1) * found.fill.volume_ml / 1200 > 0.9 * QUART.volume_ml


def test_without_a_density_the_volume_is_not_known_and_whose_is_missing_is_said():
    shop = replace(SHOP, inks=(*INKS[:2], replace(INKS[2], density_g_per_ml=None), INKS[3]))
    found = made(shop=shop, container=QUART)
    assert found.fill is None
    assert any("no density of Kelp Green" in warning for warning in found.warnings)
    assert "Volume not known" in ticket_text(found)


# ---- what is said


def test_a_poor_match_is_told():
    warnings = made(candidate(R=R_TARGET * 1.2)).warnings
    assert any("outside the tolerance 1" in warning for warning in warnings)


def test_another_light_is_told():
    found = candidate()
    found = replace(found, de00=np.array([0.3, 2.4, 0.5]))
    assert any("not under A: predicted dE00 2.40" in line for line in made(found).warnings)


def test_stock_and_limit_are_told():
    inks = (INKS[0], replace(INKS[1], max_percent=10.0, stock_g=100.0), *INKS[2:])
    told = "\n".join(made(shop=replace(SHOP, inks=inks)).warnings)
    assert "Slipway Blue: 15.0 %, over its limit of 10 %" in told
    assert "Slipway Blue: 100 g in stock" in told


def test_the_caller_is_heard_first():
    assert made(warnings=["Rush job."]).warnings[0] == "Rush job."


def test_swatches_from_lab_are_those_of_the_spectra():
    found = made()
    assert found.target_hex == hex_colour(R_TARGET, "D65", 10)
    assert found.predicted_hex == hex_colour(R_TARGET * 1.01, "D65", 10)


def test_a_chance_is_told_only_when_it_is_known():
    assert "Chance" not in ticket_text(made())
    found = replace(candidate(), chance_in_tolerance=0.82)
    assert "Chance to be within it: 82 %" in ticket_text(made(found))


def test_a_ticket_without_a_target_leaves_it_out():
    found = ticket(candidate(), None, SHOP)
    assert found.de00 == () and found.target_hex == ""
    assert "dE00 1 under D65" in ticket_text(found)
    assert "Target" not in read_page(ticket_html(found))


def test_all_faults_are_told_at_once():
    with pytest.raises(InputError) as error:
        made(
            candidate(inks=("Quay White", "Mist"), grams=(90.0, 10.0)),
            hold_back={"Kelp Green": 1.5},
            additives=[Additive(name="Puff", percent=0)],
            container=Container(name="Cup", volume_ml=0),
        )
    assert len(error.value.faults) == 5


# ---- cautions


def test_every_caution_is_on_the_page_and_in_the_text():
    found = made()
    text = " ".join(ticket_text(found).split())
    words = read_page(ticket_html(found))
    for caution in (*CAUTIONS.values(), DEFER):
        assert caution in words
        assert caution in text


# ---- paper


@pytest.mark.parametrize("found", [made(), made(use_letdowns=True), long_names()])
def test_the_page_prints_on_a5_and_asks_for_nothing_outside(found):
    page = ticket_html(found, lang="de")
    words = read_page(page)
    assert "@page { size: A5;" in page
    assert '<html lang="de">' in page
    for row in found.rows:
        assert row.ink in words
        assert f"{row.first_g:.2f}" in words and f"{row.total_g:.2f}" in words
    held = sum(row.final_g is not None for row in found.rows)
    ticks = len(found.rows) + held + len(found.additives) + len(found.steps)
    assert page.count('type="checkbox"') == ticks


@CHROMIUM
def test_six_inks_with_parts_held_back_are_one_sheet(tmp_path):
    colours = [Ink(name=f"Ink number {k}", role="colour", lot=f"T-{k}") for k in (4, 5)]
    inks = (*INKS, *colours)
    grams = (574.35, 150.20, 75.00, 20.45, 150.0, 30.0)
    found = made(
        candidate(tuple(ink.name for ink in inks), grams),
        replace(SHOP, inks=inks),
        hold_back={ink.name: 0.9 for ink in (INKS[1], *colours)},
        container=QUART,
    )
    page = ticket_html(found)
    assert n_printed(tmp_path, page) == 1
    weights, boxes = page.index("1000.00"), page.index("Mixed by")
    assert weights < boxes < page.index("Mixing")
    assert found.target_hex not in read_page(page)


def test_what_a_mixer_must_not_miss_stands_out():
    found = made(replace(candidate(), mostly_clear=True), hold_back={"Kelp Green": 0.5})
    page = ticket_html(found)
    assert f'<p class="mark">{MOSTLY_CLEAR}</p>' in page
    assert "part held back" in page and "Held back: add" in page
    assert "\N{MINUS SIGN}" in page and not re.search(r">-\d", page)


def test_names_are_text_wherever_they_stand():
    found = long_names()
    page = ticket_html(replace(found, job="</style><b>", target="<b>'", date="<b>", shop="<b>"))
    read_page(page)
    assert "<b>'" not in page
    assert page.count("</style>") == 1
    for harm in ("<script", "<img", "<i>", "<u>", "LOT <"):
        assert harm not in page


def test_the_language_cannot_break_out():
    read_page(ticket_html(made(), lang='"><script>'))


def test_right_to_left_names_are_set_apart():
    found = long_names()
    assert f"<bdi>{LONG[3]}</bdi>" in ticket_html(found)
    line = next(line for line in ticket_text(found).splitlines() if "210.17" in line)
    assert line.index("\N{FIRST STRONG ISOLATE}") < line.index("\N{POP DIRECTIONAL ISOLATE}")
    assert line.index("\N{POP DIRECTIONAL ISOLATE}") < line.index("210.17")


@pytest.mark.parametrize("found", [made(hold_back={"Kelp Green": 0.5}), long_names()])
def test_text_columns_are_aligned_and_narrow(found):
    text = ticket_text(found)
    assert max(columns(line) for line in text.splitlines()) <= 76
    block = next(part for part in text.split("\n\n") if "shows, g" in part).splitlines()
    header, lines = block[0], [line for line in block[1:] if line.startswith("[ ]")]
    assert len(lines) == len(found.rows) + sum(row.final_g is not None for row in found.rows)
    ends = [columns(header[: header.index(word) + len(word)]) for word in ("add, g", "shows, g")]
    for line in lines:
        weights = list(re.finditer(r"[0-9]+\.[0-9]{2}(?= |$)", line))[:2]
        assert [columns(line[: each.end()]) for each in weights] == ends


def test_weights_show_the_decimals_of_the_balance():
    coarse = replace(SHOP, resolution_g=0.5)
    text = ticket_text(made(candidate(grams=(700.0, 150.5, 100.0, 49.5)), coarse))
    assert "150.5  " in text and "150.50" not in text


# ---- how much ink the job needs


def test_the_job_size_stands_on_the_ticket_with_all_it_assumes():
    job = PrintJob(
        prints=660, area_cm2=1200, coverage=0.25, mesh_cm3_per_m2=60, transfer=0.6, loss=0.1
    )
    size = job_size(job, density_g_per_ml=1.25, container=QUART, cost_per_kg=10)
    found = made(job_size=size, container=QUART)
    # 300 cm2 x 36 um = 1.08 ml a print, 712.8 ml in all, 891 g, and a tenth on top: 980.1 g.
    assert size.total_g == pytest.approx(980.1)
    for text in (ticket_text(found), read_page(ticket_html(found))):
        words = " ".join(text.split())
        assert "Ink for the whole job" in words
        for line in (*summary(size, found.batch_g), *size.assumptions):
            assert line in words
    assert "Ink for the whole job" not in ticket_text(made()) + ticket_html(made())


@pytest.mark.parametrize(("prints", "needed"), [(1000, 5400), (100, 540)])
def test_a_batch_that_is_not_what_the_job_needs_is_refused(prints, needed):
    job = PrintJob(prints=prints, area_cm2=1200, wet_um=36)
    with pytest.raises(InputError, match=rf"is 1000 g, but what is to be printed needs {needed} g"):
        made(job_size=job_size(job, density_g_per_ml=1.25))


def test_a_ticket_says_mix_only_of_what_is_mixed():
    job = PrintJob(prints=180, area_cm2=1200, wet_um=36)  # 972 g
    assert "The job needs 972 g" in ticket_text(made(job_size=job_size(job, density_g_per_ml=1.25)))


def test_a_formula_that_is_mostly_clear_is_marked():
    clear = replace(candidate(), mostly_clear=True)
    assert "Mostly clear" not in ticket_text(made())
    for page in (ticket_text(made(clear)), ticket_html(made(clear))):
        assert "Mostly clear: the ground shows through" in " ".join(page.split())
