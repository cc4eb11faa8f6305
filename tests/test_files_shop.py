"""A shop folder is read whole, or everything that is wrong with it is said at once."""

import subprocess
import sys
import tracemalloc

import numpy as np
import pytest
from small_shop import DRAWDOWNS, INKS, MIXES, NM, SPECTRA, TOML, edge, put, wide

from matchkit.errors import InputError
from matchkit.files.fitted import digest
from matchkit.files.settings import geometry_doubts, geometry_faults
from matchkit.files.shop import read_shop
from matchkit.files.write import BESIDE, NOTE
from matchkit.inks.palette import Palette
from matchkit.inks.shop import GEOMETRIES, Drawdown, Ink, Shop
from matchkit.matching.rank import limits
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import ladder


def faults_of(folder, **changed):
    with pytest.raises(InputError) as refusal:
        read_shop(put(folder / "shop", **changed))
    for fault in refusal.value.faults:
        assert fault.isprintable(), fault
    return refusal.value.faults


def spectra(**changed):
    """`spectra.csv` with some spectra replaced or added; None takes one out."""
    named = SPECTRA | {name.replace("_", " "): R for name, R in changed.items()}
    return wide({name: R for name, R in named.items() if R is not None})


def test_a_valid_shop_is_read_as_written(tmp_path):
    shop = read_shop(put(tmp_path / "shop"))

    assert (shop.name, shop.observer, shop.lights) == ("Two Bridges Print Room", 10, ("D65", "A"))
    assert (shop.geometry, shop.condition) == ("d/8 specular excluded", "UV included")
    assert (shop.tolerance_de00, shop.resolution_g) == (1.0, 0.01)
    white, black, clear, lemon = shop.inks
    assert (white.role, white.density_g_per_ml, white.max_percent) == ("white", 1.3, 100)
    assert (black.max_percent, clear.stock_g, clear.cost_per_kg) == (40, None, 8)
    assert (lemon.stock_g, lemon.lot, lemon.note) == (350.5, "L4", "bright")
    grey = shop.drawdowns[-1]
    assert (grey.inks, grey.fractions, grey.lots) == (
        ("White", "Black"),
        (0.975, 0.025),
        ("W7", "K2"),
    )
    assert shop.drawdowns[0].readings.shape == (2, 31)
    np.testing.assert_allclose(shop.drawdowns[3].R, SPECTRA["Lemon 10"][0], atol=5e-5)
    (cream,) = shop.mixes
    assert (cream.name, cream.stock_g, cream.date) == ("Old cream", 640.5, "2024-05-02")
    np.testing.assert_allclose(cream.R, SPECTRA["Old cream"][0], atol=5e-5)
    assert shop.notes == ("inks.csv: no drawdown holds 'Clear'; no formula can until one does",)


def test_grams_semicolons_decimal_commas_and_no_mixes_are_the_same_shop(tmp_path):
    expected = read_shop(
        put(tmp_path / "shop", mixes_csv=None, spectra_csv=spectra(Old_cream=None))
    )
    grams = DRAWDOWNS.replace("percent", "grams").replace("97.5", "39").replace("2.5", "1")
    swapped = str.maketrans(",.", ";,")
    got = read_shop(
        put(
            tmp_path / "other",
            drawdowns_csv=grams,
            inks_csv="\ufeff" + INKS.translate(swapped),
            spectra_csv=spectra(Old_cream=None).translate(swapped),
            mixes_csv=None,
        )
    )
    assert got.inks == expected.inks
    assert [d.fractions for d in got.drawdowns] == [d.fractions for d in expected.drawdowns]
    for one, other in zip(got.drawdowns, expected.drawdowns, strict=True):
        np.testing.assert_array_equal(one.readings, other.readings)


def two_columns(text, in_grams):
    """`drawdowns.csv` with a column of grams as well, in which some drawdowns stand."""
    head, *lines = text.splitlines()
    rows = [line.split(",") for line in lines]
    parts = [
        [name, ink, "", f"{float(x) * 0.4:g}", *lot]
        if name in in_grams
        else [name, ink, x, "", *lot]
        for name, ink, x, *lot in rows
    ]
    return "\n".join([head.replace("percent", "percent,grams"), *map(",".join, parts)]) + "\n"


def test_some_drawdowns_in_grams_and_others_in_percent_are_the_same_shop(tmp_path):
    expected = read_shop(put(tmp_path / "shop"))
    both = two_columns(DRAWDOWNS, {"Grey", "White"})
    got = read_shop(put(tmp_path / "other", drawdowns_csv=both))
    assert [d.inks for d in got.drawdowns] == [d.inks for d in expected.drawdowns]
    for one, other in zip(got.drawdowns, expected.drawdowns, strict=True):
        assert one.fractions == pytest.approx(other.fractions)


def test_percent_and_grams_in_one_drawdown_are_a_fault_and_said_once(tmp_path):
    both = two_columns(DRAWDOWNS, set())
    (fault,) = faults_of(tmp_path, drawdowns_csv=both.replace("Grey,White,97.5,", "Grey,White,,39"))
    assert "'Grey': percent in row 8 and grams in row 7; write all its amounts in one" in fault
    (fault,) = faults_of(tmp_path, drawdowns_csv=both.replace("Lemon,100,", "Lemon,100,30"))
    assert "'Lemon': percent in row 4 and grams in row 4" in fault
    (fault,) = faults_of(tmp_path, drawdowns_csv=both.replace("Lemon,100,", "Lemon,,"))
    assert "row 4: percent: nothing is there" in fault


def test_grams_under_percent_are_told_where_they_belong(tmp_path):
    grams = DRAWDOWNS.replace("97.5", "29.2").replace("2.5", "1.5")
    (fault,) = faults_of(tmp_path, drawdowns_csv=grams)
    assert fault.endswith(
        "sum to 30.7; expected 100 +- 0.1; if these are grams, put them in a column 'grams'"
    )
    (fault,) = faults_of(tmp_path, drawdowns_csv=DRAWDOWNS.replace("97.5", "96.5"))
    assert fault.endswith("expected 100 +- 0.1")


@pytest.mark.parametrize("step_nm", [5, 20])
def test_spectra_at_5_and_20_nm_come_to_the_grid(tmp_path, step_nm):
    nm = np.arange(380, 741, step_nm)
    fine = {name: [np.interp(nm, NM, R[0])] for name, R in SPECTRA.items()}
    shop = read_shop(put(tmp_path / "shop", spectra_csv=wide(fine, nm)))
    assert shop.drawdowns[0].readings.shape == (1, 31)


def test_what_is_not_stated_is_said(tmp_path):
    toml = TOML.partition("[tolerance]")[0].replace('name = "Two Bridges Print Room"', "")
    shop = read_shop(put(tmp_path / "shop", shop_toml=toml))
    assert (shop.name, shop.tolerance_de00, shop.resolution_g) == ("shop", 1.0, 0.01)
    assert [note.partition(";")[0] for note in shop.notes][:3] == [
        "shop.toml name: not stated",
        "shop.toml tolerance.de00: not stated",
        "shop.toml balance.resolution_g: not stated",
    ]


def test_an_ink_that_has_left_the_shop_is_in_no_new_formula(tmp_path):
    inks = INKS.replace("note\n", "note,active\n").replace("bright\n", "bright,no\n")
    toml = 'currency = "EUR"\n' + TOML
    shop = read_shop(put(tmp_path / "s", inks_csv=inks, shop_toml=toml))
    assert [ink.name for ink in shop.inks if not ink.active] == ["Lemon"]
    assert shop.currency == "EUR"
    K = np.ones((4, 31))
    palette = Palette(inks=shop.inks, K=K, S=K, crowding=np.zeros(4), base=0, gain=1, k2=0)
    assert limits(palette, 100.0).tolist() == [1.0, 0.4, 1.0, 0.0]
    faults = faults_of(tmp_path, inks_csv=inks.replace("bright,no", "bright,gone"))
    assert faults == ("inks.csv row 5: active is 'gone'; write yes or no",)


def test_how_far_lots_lie_apart_is_a_column_that_may_be_there(tmp_path):
    inks = INKS.replace("note\n", "note,lot_spread_percent\n").replace("bright\n", "bright,5.5\n")
    spread = {
        ink.name: ink.lot_spread_percent
        for ink in read_shop(put(tmp_path / "s", inks_csv=inks)).inks
    }
    assert spread == {"White": 3.0, "Black": 3.0, "Clear": 3.0, "Lemon": 5.5}
    faults = faults_of(tmp_path, inks_csv=inks.replace("5.5", "-1"))
    assert faults == ("inks.csv row 5: lot_spread_percent is -1; write 0 to 100",)


def test_extra_keys_columns_and_files_are_welcome(tmp_path):
    shop = put(
        tmp_path / "shop",
        shop_toml=TOML + "[scanner]\nport = 3\n",
        inks_csv=INKS.replace("note\n", "note,supplier\n").replace("bright\n", "bright,us\n"),
        readme_txt="anything",
    )
    assert "scanner: not a known key; it is not read" in read_shop(shop).notes[0]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('"UV included"', '"M1"', "measurement.condition: is 'M1'; write \"UV included\" or"),
        ('"d/8 specular excluded"', '"45/0"', 'write "M0" or "M1" or "M2" or "M3"'),
        ("excluded", "excludet", "did you mean 'd/8 specular excluded'?"),
        ('condition = "UV included"', "", "measurement.condition: is missing"),
        ("[measurement]", "[mesurement]", "did you mean 'measurement'?"),
        ("observer = 10", "observer = true", "viewing.observer: is true; write 2 or 10"),
        ("observer = 10", "observer = 5", "viewing.observer: is 5"),
        ("observer = 10", 'observer = "10"', "viewing.observer: is '10'"),
        ("observer = 10", "observer = 0x" + "F" * 5000, "viewing.observer: is a huge number"),
        ('["D65", "A"]', "[]", "viewing.lights: is a list that does not fit"),
        ('["D65", "A"]', '"D65"', "viewing.lights: is 'D65'; write a list"),
        ('["D65", "A"]', '["D65", "D65"]', "'D65' is there 2 times"),
        ('["D65", "A"]', '["D65", "D66"]', "viewing.lights: light is 'D66'"),
        ('["D65", "A"]', '["D65", 7]', "viewing.lights: is a list that does not fit"),
        ("lights", "light", "did you mean 'viewing.lights'?"),
        ("de00 = 1.0", "de00 = -1", "tolerance.de00: is -1; write a number such as 1"),
        ("de00 = 1.0", "de00 = nan", "tolerance.de00: is nan"),
        ("de00 = 1.0", "de00 = true", "tolerance.de00: is true"),
        ("de00 = 1.0", 'de00 = "1,0"', "tolerance.de00: is '1,0'"),
        ("de00 = 1.0", "de00 = 1,0", "not valid TOML"),
        ("de00 = 1.0", "de00 = 1.0\nde00 = 2.0", "not valid TOML"),
        ("de00 = 1.0", "de00 = " + "9" * 5000, "not valid TOML"),
        ("de00 = 1.0", "x = " + "[" * 5000, "nested too deeply"),
        ("[tolerance]", "[tolerances]", "did you mean 'tolerance'?"),
        ("[measurement]", "balance = 0.01\n[measurement]", "not valid TOML"),
        ("resolution_g = 0.01", "resolution_g = 0", "balance.resolution_g: is 0"),
        (
            "resolution_g = 0.01",
            "resolution_g = 0.0005",
            "is 0.0005; write a number from 0.001 to 1",
        ),
        ("resolution_g = 0.01", "resolution_g = 5", "is 5; write a number from 0.001 to 1"),
        ('"Two Bridges Print Room"', '"a\\nb"', "name: is 'a\\nb'"),
        ('"Two Bridges Print Room"', "7", "name: is 7; write a name in quotes"),
    ],
)
def test_faults_of_shop_toml(tmp_path, old, new, expected):
    faults = faults_of(tmp_path, shop_toml=TOML.replace(old, new, 1))
    assert any(expected in fault for fault in faults), faults
    assert all(fault.startswith("shop.toml") for fault in faults)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("Black,black", "Black,blak", "row 3: role is 'blak'; write one of white, black"),
        ("Black,black", "Black,", "row 3: role is ''"),
        ("Black,black", "White,black", "row 3: ink 'White' is already in row 2"),
        ("Black,black", "white,black", "row 3: ink 'white' is already in row 2"),
        ("Black,black", ",black", "row 3: ink is empty"),
        ("White,white", "White,clear", "no ink has the role white; the white is the gauge"),
        ("1.12", "-1.12", "row 3: density_g_per_ml is -1.12; write 0.3 to 10"),
        ("1.12", "1120", "row 3: density_g_per_ml is 1120; write 0.3 to 10"),
        (",40,", ",140,", "row 3: max_percent is 140; write 0 to 100"),
        (",800,", ",-1,", "row 3: stock_g is -1; write 0 or more"),
        (",800,", ",true,", "row 3: stock_g: 'true' is not a number"),
        (",800,", ",0.8 kg,", "row 3: stock_g: '0.8 kg': leave out the unit"),
        (",11,", ",free,", "row 3: cost_per_kg: 'free' is not a number"),
        ("max_percent", "max_percnt", "did you mean 'max_percent'?"),
        ("ink,role", "role,ink", None),
    ],
)
def test_faults_of_inks_csv(tmp_path, old, new, expected):
    faults = faults_of(tmp_path, inks_csv=INKS.replace(old, new, 1))
    if expected:
        own = [fault for fault in faults if fault.startswith("inks.csv")]
        assert len(own) == 1
        assert expected in own[0]
    else:
        assert len(faults) > 4


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("Lemon,100", "Lemmon,100", "row 4: ink 'Lemmon' is not in the shop's inks; did you mean"),
        ("Lemon 10,Lemon,10", "Lemon 10,Lemon,11", "row 5: 'Lemon 10': percents sum to 101"),
        ("Lemon 10,Lemon,10", "Lemon 10,White,10", "row 6: ink 'White' is already in row 5"),
        ("Lemon 10,Lemon,10", "Lemon 10,Lemon,-10", "row 5: percent is -10; write 0 or more"),
        ("Lemon 10,Lemon,10", "Lemon 10,Lemon,", "row 5: percent: nothing is there"),
        ("Lemon 10,Lemon,10", "Lemon 10,Lemon,ten", "row 5: percent: 'ten' is not a number"),
        ("percent", "share", "no column 'percent' or 'grams'; name the amounts"),
        ("percent", "gram", "no column 'percent' or 'grams'; is 'gram' meant?"),
        ("drawdown,", "drawdwn,", "column 'drawdown' is missing; is 'drawdwn' meant?"),
    ],
)
def test_faults_of_drawdowns_csv(tmp_path, old, new, expected):
    (fault,) = faults_of(tmp_path, drawdowns_csv=DRAWDOWNS.replace(old, new, 1))
    assert fault.startswith("drawdowns.csv")
    assert expected in fault


def test_percents_may_miss_100_by_a_tenth_and_are_made_to_sum_to_it(tmp_path):
    shop = read_shop(put(tmp_path / "shop", drawdowns_csv=DRAWDOWNS.replace("97.5", "97.4")))
    assert sum(shop.drawdowns[-1].fractions) == pytest.approx(1, abs=1e-15)
    (fault,) = faults_of(tmp_path, drawdowns_csv=DRAWDOWNS.replace("97.5", "97.39"))
    assert "percents sum to 99.89; expected 100 +- 0.1" in fault


def test_inks_of_amount_zero_are_left_out_and_all_zero_is_refused(tmp_path):
    rows = DRAWDOWNS + "Grey,Lemon,0,\n"
    assert read_shop(put(tmp_path / "shop", drawdowns_csv=rows)).drawdowns[-1].inks == (
        "White",
        "Black",
    )
    zero = DRAWDOWNS.replace("percent", "grams").replace("Black,Black,100", "Black,Black,0")
    assert "grams sum to 0" in faults_of(tmp_path, drawdowns_csv=zero)[0]


def test_series_are_never_mixed(tmp_path):
    other = INKS.replace("Lemon,colour,plastisol", "Lemon,colour,water-based")
    faults = faults_of(tmp_path, inks_csv=other)
    assert any(
        fault.startswith(
            "drawdowns.csv row 5: inks of different series in one mixture:"
            " 'Lemon' (water-based), 'White' (plastisol)"
        )
        for fault in faults
    )
    capital = INKS.replace("Lemon,colour,plastisol", "Lemon,colour,Plastisol")
    assert {ink.series for ink in read_shop(put(tmp_path / "shop", inks_csv=capital)).inks} == {
        "plastisol"
    }


def test_a_series_without_its_white_is_noted(tmp_path):
    other = INKS.replace("Lemon,colour,plastisol", "Lemon,colour,water-based")
    alone = "".join(r for r in DRAWDOWNS.splitlines(True) if not r.startswith("Lemon 10"))
    folder = put(
        tmp_path / "shop",
        inks_csv=other,
        drawdowns_csv=alone,
        spectra_csv=spectra(Lemon_10=None, Old_cream=None),
        mixes_csv=None,
    )
    assert any("series 'water-based' holds a white" in note for note in read_shop(folder).notes)


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({"Grey": None}, "drawdowns.csv row 7: drawdown 'Grey' has no reading in spectra.csv"),
        ({"Gray": [edge(0.3, 0.4, 500)]}, "spectra.csv row 9: 'Gray' is neither in drawdowns.csv"),
        ({"Grey": [edge(-0.02, 0.4, 500)]}, "row 7 'Grey': -0.0195 at 400 nm is negative"),
        ({"Grey": [edge(0.3, 1.3, 500)]}, "row 7 'Grey': 1.3 at 650 nm is over 1.05: a fluoresc"),
        ({"Grey": [np.zeros(31)]}, "row 7 'Grey': no value is above 0"),
        ({"Grey": [np.full(31, np.nan)]}, "row 7: 400 nm: 'nan' is not a number"),
        ({"Grey": [100 * edge(0.3, 0.4, 500)]}, "row 7: 40 at 690 nm looks like percent"),
    ],
)
def test_faults_of_spectra_csv(tmp_path, changed, expected):
    (fault,) = faults_of(tmp_path, spectra_csv=spectra(**changed))
    assert expected in fault


def test_a_misspelt_name_is_asked_about_on_both_sides(tmp_path):
    faults = faults_of(tmp_path, spectra_csv=spectra(Grey=None, Gray=SPECTRA["Grey"]))
    assert [fault.rpartition("; ")[2] for fault in faults] == [
        "did you mean 'Gray'?",
        "did you mean 'Grey'?",
    ]


def test_a_file_in_percent_is_one_line(tmp_path):
    percent = {name: [100 * R for R in reads] for name, reads in SPECTRA.items()}
    (fault,) = faults_of(tmp_path, spectra_csv=wide(percent))
    assert fault.startswith("spectra.csv row 2: 90 at 620 nm (and 5 more rows) looks like percent")
    headed = wide().replace("400,", "400 %,", 1)
    assert "some wavelengths are headed %" in faults_of(tmp_path, spectra_csv=headed)[0]


@pytest.mark.parametrize(
    ("nm", "expected"),
    [
        (np.arange(380, 681, 10), "spectra.csv: wavelengths end at 680 nm"),
        (np.arange(405, 706, 10), "spectra.csv: wavelengths begin at 405 nm"),
        (np.arange(700, 399, -10), "spectra.csv: wavelengths must rise"),
        (np.r_[400:550:10, 560:701:10], "spectra.csv: wavelengths are not evenly spaced: 540"),
    ],
)
def test_wavelengths_that_are_missing(tmp_path, nm, expected):
    cut = {name: [np.resize(R[0], nm.size)] for name, R in SPECTRA.items()}
    (fault,) = faults_of(tmp_path, spectra_csv=wide(cut, nm))
    assert fault.startswith(expected)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("Old cream,White", "Lemon,White", "row 2: 'Lemon' is an ink's name; rename the mix"),
        ("Old cream,Lemon,5,,", "Old cream,Lemon,5,600,", "row 2: stock_g of 'Old cream' is 640.5"),
        ("White,95", "White,90", "row 2: 'Old cream': percents sum to 95"),
        ("White,95", "Whit,95", "row 2: ink 'Whit' is not in the shop's inks"),
    ],
)
def test_faults_of_mixes_csv(tmp_path, old, new, expected):
    faults = faults_of(tmp_path, mixes_csv=MIXES.replace(old, new, 1))
    assert any(fault.startswith("mixes.csv " + expected) for fault in faults), faults


def test_all_files_are_judged_in_one_go(tmp_path):
    faults = faults_of(
        tmp_path,
        shop_toml=TOML.replace("observer = 10", "observer = 3"),
        inks_csv=INKS.replace("40,K2", "140,K2").replace("30,L4", "130,L4"),
        drawdowns_csv=DRAWDOWNS.replace("97.5", "90"),
        spectra_csv=spectra(Lemon=[np.full(31, 1.5)]),
        mixes_csv=b"\x00\x01",
    )
    assert [fault.partition(":")[0].partition(" '")[0] for fault in faults] == [
        "shop.toml viewing.observer",
        "inks.csv row 3",
        "inks.csv row 5",
        "drawdowns.csv row 7",
        "mixes.csv",
        "spectra.csv row 5",
    ]


def test_a_row_that_cannot_be_read_brings_no_second_fault(tmp_path):
    (fault,) = faults_of(tmp_path, drawdowns_csv=DRAWDOWNS.replace("97.5", "97,5"))
    assert fault.startswith("drawdowns.csv row 7: 5 cells under 4 columns; decimal commas")


@pytest.mark.parametrize("name", ["shop.toml", "inks.csv", "drawdowns.csv", "spectra.csv"])
@pytest.mark.parametrize(
    ("content", "expected"),
    [(None, "not found"), ("", "the file is empty"), (b"\x89PNG\r\n\x1a\n\x00", "a binary file")],
)
def test_missing_empty_and_binary_files(tmp_path, name, content, expected):
    faults = faults_of(tmp_path, **{name.replace(".", "_"): content})
    assert any(fault.startswith(name) and expected in fault for fault in faults)


def test_specular_included_cannot_read_less_than_a_surface_sends_back(tmp_path):
    """Fresnel: ((n - 1) / (n + 1))^2 is 0.028 for n = 1.40, and no cured resin has less."""
    (fault,) = faults_of(tmp_path, shop_toml=TOML.replace("excluded", "included"))
    assert "'Black' in spectra.csv reads 0.012" in fault
    lifted = {name: [R + 0.04 * (1 - R) for R in reads] for name, reads in SPECTRA.items()}
    folder = put(
        tmp_path / "shop",
        shop_toml=TOML.replace("excluded", "included"),
        spectra_csv=wide(lifted),
    )
    assert len(read_shop(folder).notes) == 1


@pytest.mark.parametrize("made", GEOMETRIES)
def test_geometries_of_the_virtual_bench(made):
    """Radiative transfer with a Fresnel surface, glossy or half matte, no number of ours."""
    for surface_left in (0.0, 0.5):
        bench = make_bench(2, n_colours=1, geometry=made, surface_left=surface_left)
        names, fractions, readings = ladder(bench, np.random.default_rng(1), steps=3, repeats=3)
        inks = tuple(Ink(name=ink.name, role=ink.role) for ink in bench.inks)
        drawdowns = tuple(
            Drawdown(
                name=name,
                inks=tuple(ink.name for ink, f in zip(inks, row, strict=True) if f),
                fractions=tuple(f for f in row if f),
                readings=R,
            )
            for name, row, R in zip(names, fractions, readings, strict=True)
        )
        for stated in GEOMETRIES:
            shop = Shop(
                name="",
                geometry=stated,
                condition="unknown",
                observer=10,
                lights=("D65",),
                inks=inks,
                drawdowns=drawdowns,
            )
            too_dark = "included" in stated and "included" not in made and surface_left == 0
            too_light = "included" not in stated and "included" in made
            assert bool(geometry_faults(shop)) == too_dark
            assert bool(geometry_doubts(shop)) == too_light


def test_specular_excluded_with_a_light_black_is_noted_not_refused(tmp_path):
    folder = put(tmp_path / "shop", spectra_csv=spectra(Black=[edge(0.045, 0.05, 600)]))
    assert "the black alone reads 0.045" in read_shop(folder).notes[-1]


def test_a_flat_reading_is_noted(tmp_path):
    folder = put(tmp_path / "shop", spectra_csv=spectra(Grey=[np.full(31, 0.3)]))
    assert "spectra.csv row 7 'Grey': every value is 0.3" in read_shop(folder).notes[0]


def test_a_shop_without_drawdowns_yet_can_be_read(tmp_path):
    folder = put(
        tmp_path / "shop",
        drawdowns_csv="drawdown,ink,percent\n",
        spectra_csv=wide({}),
        mixes_csv=None,
    )
    assert read_shop(folder).notes[-1].startswith("nothing is measured yet")


def test_the_folder_itself(tmp_path):
    with pytest.raises(InputError, match="nowhere: not found; a shop folder is expected"):
        read_shop(tmp_path / "nowhere")
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="file: is a file; a shop folder is expected"):
        read_shop(tmp_path / "file")


def test_the_digest_follows_what_a_fit_depends_on(tmp_path):
    plain = digest(read_shop(put(tmp_path / "shop")))
    assert len(plain) == 64
    for same in (
        {"inks_csv": INKS.replace(",800,", ",795.5,").replace("24.5", "26")},
        {"mixes_csv": None},
    ):
        assert digest(read_shop(put(tmp_path / "shop", **same))) == plain
    for other in (
        {"shop_toml": TOML.replace("observer = 10", "observer = 2")},
        {"inks_csv": INKS.replace("Black,black", "Black,colour")},
        {"drawdowns_csv": DRAWDOWNS.replace("97.5", "97.4")},
        {"spectra_csv": wide().replace("0.30", "0.31", 1)},
    ):
        assert digest(read_shop(put(tmp_path / "shop", **other))) != plain


def test_an_interrupted_write_is_read_as_the_new_shop(tmp_path):
    """The note of `write_files` is in place, the renames are not."""
    folder = put(tmp_path / "shop")
    (folder / f"{BESIDE}1").write_text(INKS.replace("Lemon", "Citron"))
    (folder / f"{BESIDE}2").write_text(DRAWDOWNS.replace(",Lemon,", ",Citron,"))
    (folder / f"{BESIDE}3").write_text(MIXES.replace("Lemon", "Citron"))
    before = digest(read_shop(folder))
    (folder / NOTE).write_text(
        f'{{"inks.csv": "{BESIDE}1", "drawdowns.csv": "{BESIDE}2", "mixes.csv": "{BESIDE}3"}}'
    )
    assert read_shop(folder).inks[-1].name == "Citron"
    assert digest(read_shop(folder)) != before
    (folder / f"{BESIDE}1").write_text("ink\n")
    with pytest.raises(InputError, match=r"^inks\.csv row 1: one column only"):
        read_shop(folder)


def test_reading_a_shop_needs_no_slow_library():
    """colour-science, scipy and matplotlib take a second to import."""
    code = (
        "import sys, matchkit.files.shop, matchkit.files.spectrum, matchkit.files.recipe;"
        "print({'colour', 'scipy', 'matplotlib'} & set(sys.modules))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout == "set()\n"


def test_many_faults_take_little_time_and_memory(tmp_path):
    """2,000 names that nobody knows: comparing each with all others would take minutes."""
    stray = {f"sample {i}": [edge(0.1, 0.5, 500)] for i in range(2000)}
    folder = put(tmp_path / "shop", spectra_csv=wide(SPECTRA | stray))
    tracemalloc.start()
    with pytest.raises(InputError) as refusal:
        read_shop(folder)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(refusal.value.faults) == 2000
    assert peak < 50e6


def test_a_section_must_be_one(tmp_path):
    toml = "balance = 0.01\n" + TOML.partition("[balance]")[0]
    (fault,) = faults_of(tmp_path, shop_toml=toml)
    assert fault == "shop.toml balance: is 0.01; write it as [balance]"
