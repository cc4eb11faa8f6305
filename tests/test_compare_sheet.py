"""The comparison sheet: what a customer holds in hand says what the numbers say."""

import re

import colour
import numpy as np
import pytest
from pages import CHROMIUM, n_printed, read_page

from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.illuminants import STORED, lamp, white
from matchkit.errors import InputError
from matchkit.matching.compare import Comparison, compare
from matchkit.matching.rank import Candidate
from matchkit.paper.compare_sheet import MOST_CANDIDATES, comparison_html, light_in_words
from matchkit.paper.sheet import CAUTIONS, DEFER, OFF_SCREEN

STEP_NM = np.arange(380.0, 781.0, 5.0)
FLOOR = lamp("the customer's shop floor", STEP_NM, 1 + np.exp(-(((STEP_NM - 450) / 12) ** 2)))
SIX = ("D65", "A", "FL11", "LED-B3", "FL2", FLOOR)
NAMES = ("formula 1", "formula 2", "by hand", "cheap <b>&")
LONG = (
    "Donaudampfschifffahrtsgesellschaftskapitänsmützenblau extra stark, nachgefüllt",
    "濃い瑠璃色プラスチゾルインキ（夏用・低温硬化・濃縮タイプ第二号）",
    "أحمر قرمزي داكن للطباعة بالشاشة الحريرية 12 مركز",
    "<script>alert('x')</script> & \"quotes\"",
)


def bump(centre_nm: float, width_nm: float) -> np.ndarray:
    return np.exp(-(((GRID_NM - centre_nm) / width_nm) ** 2))


TARGET_R = 0.2 + 0.3 * bump(640, 60)
CHANGES = (0.004 * bump(450, 30), -0.02 * bump(600, 30), 0.03 * bump(660, 40), 0.05 * bump(480, 20))


def seen(names=NAMES, lights=("D65", "A", "FL11"), target=TARGET_R) -> Comparison:
    recipes = [(n, target + change) for n, change in zip(names, CHANGES, strict=False)]
    return compare(target, recipes, lights=lights, observer=10)


def candidates(comparison: Comparison, cost=14.349, odds=0.87) -> list[Candidate]:
    return [
        Candidate(
            inks=("Quay White", "Kelp Green", "Rust Earth"),
            grams=(900.0, 60.0, 40.0),
            R=sample.R,
            lab=sample.lab,
            de00=sample.de00,
            F=0.0,
            cost_per_kg=cost,
            chance_in_tolerance=odds,
        )
        for sample in comparison.samples
    ]


def sheet(comparison: Comparison, **more) -> str:
    made = candidates(comparison, **{k: more.pop(k) for k in ("cost", "odds") if k in more})
    facts = {"target_name": "Rose", "tolerance_de00": 1.0, "shop": "Quay Street", **more}
    return comparison_html(comparison, made, **facts)


@pytest.mark.parametrize("n", range(1, MOST_CANDIDATES + 1))
def test_page_is_whole_and_asks_for_nothing(n):
    words = read_page(sheet(seen(NAMES[:n]), job="Regatta <club>", date="2031-05-02"))
    assert words.count("Print candidate") == n
    for said in (
        "Rose",
        "Quay Street",
        "Regatta <club>",
        "2031-05-02",
        "Tolerance: dE00 1 under D65",
    ):
        assert said in words


def test_every_number_is_that_of_the_comparison():
    comparison = seen(lights=SIX)
    page = sheet(comparison)
    sections = re.findall(r"<section>.*?</section>", page, re.DOTALL)
    assert len(sections) == 4
    for section, sample in zip(sections, comparison.samples, strict=True):
        printed = [float(v) for v in re.findall(r"<b>dE00 ([\d.]+)</b>", section)]
        np.testing.assert_allclose(printed, sample.de00, atol=0.00501)
        assert section.count("over 1</b>") == int((sample.de00 > 1).sum())
        assert all(f"· {word}<" in section for word in sample.words)
        worst = comparison.light_names[sample.worst].replace("'", "&#39;")
        assert f"Worst light: {worst}, dE00 {sample.de00.max():.2f}" in section
        assert f"Metamerism index: {sample.metamerism.max():.2f}" in section
        assert f"Colour inconstancy from D65: {sample.inconstancy.max():.1f}" in section
        assert "<p>3 inks</p>" in section
        assert "first drawdown: 87 %" in section


def test_swatches_are_the_colours_of_colour_science():
    """sRGB of colour-science with the Bradford transform, within one level of 255."""
    comparison = seen(NAMES[:1], lights=["D65", "A", "FL11"])
    found = re.findall(r"background-color:#(\w{6})", sheet(comparison))
    assert len(found) == 6
    rows = [(light, R) for light in comparison.lights for R in (TARGET_R, comparison.samples[0].R)]
    cmfs = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
    for printed, (light, R) in zip(found, rows, strict=True):
        XYZ = colour.sd_to_XYZ(
            colour.SpectralDistribution(R, GRID_NM), cmfs, colour.SDS_ILLUMINANTS[light]
        )
        xy = colour.XYZ_to_xy(white(light, 10))
        level = 255 * colour.XYZ_to_sRGB(XYZ / 100, xy, chromatic_adaptation_transform="Bradford")
        ours = [int(printed[i : i + 2], 16) for i in (0, 2, 4)]
        np.testing.assert_allclose(ours, level, atol=1.0)


def test_says_what_it_is_not():
    words = read_page(sheet(seen()))
    assert "Never approve a colour by a screen" in words
    assert CAUTIONS["approval"] in words
    assert CAUTIONS["use"] in words
    assert DEFER in words
    assert "target left, candidate right" in words
    for method in ("CIEDE2000", "10° observer"):
        assert method in words
    assert not re.search("CMCCAT|Bradford|multiplicative|transform", words)


def test_keeps_the_formula_to_the_shop():
    words, inks = read_page(sheet(seen())), ("Quay White", "Kelp Green", "Rust Earth")
    assert not any(ink in words for ink in inks)
    assert "90.00" not in words
    own = read_page(sheet(seen(), shop_copy=True))
    assert all(said in own for said in (*inks, "90.00 %", "by hand", "14.35/kg", "shop copy"))


def test_what_no_screen_shows_is_marked_and_told():
    """A pure narrow green, far outside sRGB; a grey, inside."""
    green = sheet(seen(NAMES[:1], target=0.01 + 0.6 * bump(510, 18)))
    assert green.count('class="off"') >= 2
    assert OFF_SCREEN in green
    grey = sheet(seen(NAMES[:1], target=np.full(31, 0.3)))
    assert 'class="off"' not in grey
    assert OFF_SCREEN not in grey


def test_a_customer_does_not_see_what_inks_cost_the_shop():
    page = sheet(seen(), cost=14.349)
    assert "14.3" not in page and "cost" not in page.casefold()


def test_odds_near_the_ends():
    comparison = seen(NAMES[:1])
    assert "over 99 %" in sheet(comparison, odds=0.999)
    assert "under 1 %" in sheet(comparison, odds=0.001)
    assert "Chance" not in sheet(comparison, odds=None)


def test_one_light_has_no_metamerism():
    words = read_page(sheet(seen(lights=["D50"])))
    assert "Worst light: D50" in words
    assert "Metamerism index: 0" not in words


def test_none_or_five_candidates_are_refused():
    comparison = seen(NAMES[:1])
    for n in (0, 5):
        with pytest.raises(InputError, match="1 to 4"):
            comparison_html(
                comparison, candidates(comparison) * n, target_name="Rose", tolerance_de00=1.0
            )


def test_names_of_any_length_and_script_are_text():
    page = sheet(seen(LONG), target_name=LONG[1], job=LONG[3], shop_copy=True)
    words = read_page(page)
    assert all(name in words for name in LONG)


@pytest.mark.parametrize("light", [*STORED, "LED-RGB1", "FL3.5", "HP1", "D60", "ID65", FLOOR])
def test_every_light_has_plain_words(light):
    assert light_in_words(light)


@CHROMIUM
@pytest.mark.parametrize(("names", "own"), [(LONG, False), (NAMES, True)])
def test_prints_on_one_page(tmp_path, names, own):
    page = sheet(seen(names, lights=SIX[: 3 if own else 6]), job="Regatta club", shop_copy=own)
    assert n_printed(tmp_path, page) == 1
