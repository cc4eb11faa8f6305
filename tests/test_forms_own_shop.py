"""The road to a shop of one's own in a notebook: its folder, its plan, its readings, its fit.

Driven without a browser; `test_own_shop_road` goes the same road with commands, and
`tests/browser` with a mouse.
"""

import re
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from own_shop import BENCH, NM, drawn, instrument_csv, read_rows

from matchkit.files.settings import read_settings
from matchkit.files.shop import read_inks
from matchkit.files.write import data_folder
from matchkit.inks.shop import GEOMETRIES

w = pytest.importorskip("ipywidgets", reason="ipywidgets is not installed")

from matchkit import forms  # noqa: E402
from matchkit.forms.inks import InksForm  # noqa: E402
from matchkit.forms.match import MatchForm  # noqa: E402
from matchkit.forms.new_shop import NewShopForm  # noqa: E402
from matchkit.forms.plan import PlanForm  # noqa: E402
from matchkit.forms.readings import ALL, ReadingsForm  # noqa: E402
from matchkit.forms.rows import FILE  # noqa: E402
from matchkit.forms.shops import AGAIN, STAYS, chosen_shop, open_shop  # noqa: E402

OURS = "bay street"


@pytest.fixture(autouse=True)
def beside(tmp_path, monkeypatch):
    """A notebook's folder with nothing in it; faults of ours are raised as well as shown."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MATCHKIT_FORMS_RAISE", "1")
    return tmp_path


def filled(levels=3, geometry=BENCH.geometry, condition="unknown", inks=BENCH.inks):
    """The form, filled in for the bench's inks."""
    form = NewShopForm()
    form.folder.text.value, form.title.text.value = OURS, "Bay Street"
    form.geometry.value, form.condition.value = geometry, condition
    form.levels.value = levels
    form.inks.fill(inks)
    return form


@pytest.fixture
def ours():
    """A folder that the form made, with nothing measured."""
    form = filled()
    form.make.click()
    assert form.problems.value == ""
    return Path(OURS)


def hand_in(form, name, text):
    content = memoryview(text.encode("utf-8"))
    given = {"name": name, "type": "text/csv", "size": len(content), "content": content}
    form.upload.value = ({**given, "last_modified": datetime(2026, 1, 2, tzinfo=UTC)},)
    for asked in form.how.buttons.children:  # percent or 0-1, in a shop that measured nothing yet
        asked.children[1].children[1].click()


def seen(part):
    """What is to be read there."""
    return re.sub(r"<[^>]+>", " ", part.value).replace("&#x27;", "'").replace("&amp;", "&")


def shown(form):
    """The choices of the readings form that are there to be made."""
    return {name for name, part in form.choices.items() if part.layout.display != "none"}


def contents(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


# ---- the whole road


def test_from_nothing_to_a_formula(beside):
    form = filled(levels=5)
    form.make.click()
    assert form.problems.value == ""
    assert f"From now on the notebooks work with {OURS}:" in seen(form.next)
    assert chosen_shop() == OURS
    assert "drawdowns.csv" in seen(form.done)
    folder = beside / OURS
    assert [ink.role for ink in read_inks(folder)] == [ink.role for ink in BENCH.inks]
    assert read_settings(folder / "shop.toml").geometry == BENCH.geometry
    opened = open_shop(OURS)
    assert opened.lacks[0] == "None of these inks has been measured yet."

    plan = PlanForm(opened)
    assert plan.levels.value == 5  # what the folder was made with
    plan.save.click()
    assert "All of these drawdowns are in the shop's files." in seen(plan.saved)
    plan.levels.value = 6
    plan.look.click()
    assert "drawdowns are not in the shop's files yet" in seen(plan.saved)
    plan.levels.value = 4
    plan.into.click()
    assert plan.problems.value == ""
    assert "planned drawdowns wait for their readings" in seen(plan.saved)
    assert "never measured, and taken out" in seen(plan.saved)
    assert "is kept as drawdowns.csv.1.bak" in seen(plan.saved)
    plan.look.click()
    assert "All of these drawdowns are in the shop's files." in seen(plan.saved)

    mixtures = drawn(folder)
    names = list(mixtures)
    first = [name for name in names if name.startswith(("White", BENCH.inks[-1].name))]
    into = ReadingsForm(opened)
    assert f"wait for a reading: {len(names)}" in seen(into.state)
    hand_in(into, "monday.csv", instrument_csv({name: mixtures[name] for name in first}))
    assert into.which.value == ALL
    assert shown(into) == {"which"}
    assert "waits for its reading" in seen(into.about)
    into.bring.click()
    assert into.problems.value == ""
    assert f"Brought in: {len(first)} readings" in seen(into.done)
    assert f"wait for a reading: {len(names) - len(first)}" in seen(into.done)
    assert AGAIN in seen(into.done)
    assert "has readings already" in seen(into.about)
    assert "no reading yet of" in repr(open_shop(OURS))

    rest = {name: c for name, c in mixtures.items() if name not in first}
    hand_in(into, "tuesday.csv", instrument_csv(rest))
    into.bring.click()
    assert "Every drawdown of this shop has a reading." in seen(into.done)
    opened = open_shop(OURS)
    assert "predicts unseen drawdowns" in repr(opened)
    fit = InksForm(opened, BENCH.inks[-1].name)
    fit.residuals.click()
    assert "Theory" in fit.whole.value
    fit.keep.click()
    assert (folder / "fit.json").is_file()

    want = np.zeros(len(BENCH.inks))
    want[[0, -1, -2]] = 0.9, 0.06, 0.04
    match = MatchForm(opened)
    match.picker.way.value = FILE
    hand_in(match.picker.file, "wanted.csv", instrument_csv({"wanted": want}))
    match.run.start.click()
    match.run.wait()
    best = match.found.formulas[0].formula
    made = np.zeros(len(BENCH.inks))
    made[[BENCH.names.index(ink) for ink in best.inks]] = np.array(best.grams) / sum(best.grams)
    assert np.abs(made - want).max() < 0.03


# ---- the folder


def test_a_new_row_comes_when_the_last_is_written_in():
    form = NewShopForm()
    rows = form.inks.rows
    assert [row.name.text.value for row in rows] == ["White", "Black", "Clear", "Red", ""]
    rows[-1].name.text.value = "Lemon"
    assert len(rows) == 6
    assert {part.layout.display for part in rows[-1].rest} == {"none"}
    form.inks.more.value = True
    assert {part.layout.display for row in rows for part in row.rest} == {None}
    form.inks.fill(())
    assert form.inks.filled() == []
    assert form.inks.place.children == tuple(row.box for row in rows)


def test_what_is_known_of_an_ink_is_written_down():
    form = filled()
    row = form.inks.rows[0]
    row.density.text.value, row.cost.text.value = "1,4", "8.5"
    row.stock.text.value, row.limit.text.value = "0", "60"
    form.make.click()
    first, *others = read_inks(OURS)
    assert (first.density_g_per_ml, first.cost_per_kg, first.stock_g) == (1.4, 8.5, 0)
    assert first.max_percent == 60
    assert all(ink.density_g_per_ml is None and ink.stock_g is None for ink in others)


def test_two_series_are_planned_apart():
    form = filled()
    for row, (name, role) in zip(
        form.inks.rows[4:],
        [("Sea White", "white"), ("Sea Red", "colour")],
        strict=False,
    ):
        row.name.text.value, row.role.value = name, role
    for row in form.inks.filled()[4:]:
        row.series.text.value = "water"
    form.make.click()
    assert form.problems.value == ""
    opened = open_shop(OURS)
    plan = PlanForm(opened, "Sea Red")
    assert plan.levels.value == 3
    plan.look.click()
    assert "All of these" in seen(plan.saved)


@pytest.mark.parametrize(
    "name",
    [
        "",
        "a/b",
        "..",
        ".hidden",
        'a"b',
        "a\\b",
        "demo-shop",
        "Tickets",
        "there",
        "x" * 61,
        "a\u202eb",
    ],
)
def test_a_folder_that_can_not_be_is_refused_beside_its_field(beside, name):
    (beside / "there").mkdir()
    form = filled()
    form.folder.text.value = name
    assert 'role="alert"' in form.folder.problem.value
    form.make.click()
    assert "Name of its folder: " in seen(form.problems)
    assert [path.name for path in beside.iterdir()] == ["there"]


def test_every_fault_is_told_at_once_and_nothing_is_written(beside):
    form = filled()
    form.title.text.value = ""
    form.geometry.value = ""
    form.resolution.text.value = "1.234,5"
    rows = form.inks.rows
    rows[1].name.text.value = ""
    rows[1].cost.text.value = "5"
    rows[3].density.text.value = "1200"
    form.make.click()
    told = seen(form.problems)
    for line in (
        "Name of the shop: nothing is there",
        "How your instrument measures: choose one",
        "With which light: choose one",
        "marks between thousands",
        "Ink 2: nothing is there",
        "Ink 4: density, g/ml: 1200 is not from 0.3 to 10",
    ):
        assert line in told
    assert 'role="alert"' in rows[3].density.problem.value
    assert list(beside.iterdir()) == []


def test_what_the_reader_refuses_is_told_of_the_form(beside):
    form = filled()
    rows = form.inks.rows
    rows[0].role.value, rows[1].name.text.value = "colour", ""
    rows[2].name.text.value = rows[3].name.text.value.upper()
    form.make.click()
    told = seen(form.problems)
    assert f"ink 4: ink '{rows[3].name.value}' is already in ink 3" in told
    assert "no ink has the role white; the white is the gauge" in told
    assert "scatters; add it" in told
    assert ".csv row" not in told
    form.inks.fill(())
    form.make.click()
    assert "no inks yet" in seen(form.problems)
    assert list(beside.iterdir()) == []


def test_the_light_goes_with_the_geometry():
    form = filled()
    form.geometry.value = GEOMETRIES[2]
    assert form.condition.value == ""
    assert [value for _, value in form.condition.options[1:]] == ["M0", "M1", "M2", "M3"]
    form.condition.value = "M1"
    form.make.click()
    assert read_settings(Path(OURS) / "shop.toml").condition == "M1"


def test_made_once_and_never_written_over(ours):
    before = contents(ours)
    form = filled()
    form.make.click()
    assert "is there already" in seen(form.problems)
    assert contents(ours) == before


# ---- the plan


def test_a_new_ink_is_planned_into_the_shop(ours):
    text = instrument_csv(drawn(ours))
    into = ReadingsForm(open_shop(OURS))
    hand_in(into, "all.csv", text)
    into.bring.click()
    before = (ours / "drawdowns.csv").read_text()
    with (ours / "inks.csv").open("a") as file:
        file.write("Late Plum,colour,,,,,,1,\n")
    plan = PlanForm(open_shop(OURS), "Late Plum")
    plan.into.click()
    assert "taken out" not in seen(plan.saved)
    after = (ours / "drawdowns.csv").read_text()
    assert after.startswith(before)
    assert "Late Plum masstone" in after[len(before) :]
    assert "wait for a reading: 10 (" in seen(ReadingsForm(open_shop(OURS)).state)


def test_a_plan_is_saved_though_a_file_of_the_shop_is_broken(ours):
    (ours / "drawdowns.csv").write_text("drawdown,ink\nA,White\n")
    before = contents(ours)
    plan = PlanForm(open_shop(OURS))
    plan.save.click()
    assert "Saved: " in seen(plan.saved)
    assert "no column 'percent' or 'grams'" in seen(plan.saved)
    plan.into.click()
    assert "no column 'percent' or 'grams'" in seen(plan.problems)
    assert contents(ours) == before


# ---- the readings


def test_a_single_spectrum_is_given_its_drawdown(ours):
    mixtures = drawn(ours)
    name = next(name for name in mixtures if "masstone" in name)
    form = ReadingsForm(open_shop(OURS))
    hand_in(form, "Sample 7.csv", instrument_csv({"Sample 7": mixtures[name]}))
    assert shown(form) == {"of"}
    assert "no drawdown of this shop" in seen(form.about)
    form.bring.click()
    assert "choose which drawdown 'Sample 7' is of" in seen(form.problems)
    form.of.value = name
    form.bring.click()
    assert f"Brought in: 1 reading of '{name}'" in seen(form.done)


def test_names_that_are_none_of_the_shop_are_left_out_or_named(ours):
    mixtures = drawn(ours)
    names = list(mixtures)
    strange = {names[0]: mixtures[names[0]], "Blank tile": mixtures[names[1]]}
    form = ReadingsForm(open_shop(OURS))
    hand_in(form, "mixed.csv", instrument_csv(strange))
    assert shown(form) == {"which"}
    form.bring.click()
    assert "left out: 'Blank tile'" in seen(form.done)
    form.which.value = "Blank tile"
    assert shown(form) == {"which", "of"}
    assert form.of.value == ""
    assert form.of.options[1][0] == names[1]  # the first that waits
    form.of.value = names[1]
    form.bring.click()
    assert "Brought in: 1 reading" in seen(form.done)
    assert [row["drawdown"] for row in read_rows(ours / "spectra.csv") if row["400"]] == names[:2]


def test_readings_that_are_there_are_kept_averaged_or_replaced(ours):
    mixtures = drawn(ours)
    name = next(iter(mixtures))
    form = ReadingsForm(open_shop(OURS))

    def brought(decimals, existing=None):
        hand_in(form, f"{decimals}.csv", instrument_csv({name: mixtures[name]}, decimals))
        if existing:
            assert "existing" in shown(form)
            form.existing.value = existing
        form.bring.click()
        return sum(bool(row["400"]) for row in read_rows(ours / "spectra.csv"))

    assert brought(4) == 1
    assert brought(3, "refuse") == 1
    assert "has readings in spectra.csv already: 1; say above what becomes of them" in seen(
        form.problems
    )
    assert brought(3, "add") == 2
    assert form.existing.value == "refuse"
    assert brought(2, "replace") == 1
    assert "kept as spectra.csv.3.bak" in seen(form.done)
    assert brought(2, "refuse") == 1
    assert "Nothing new" in seen(form.done)


def cgats(name, condition, c):
    row = instrument_csv({name: c}).splitlines()[1].split(",")[1:]
    fields = " ".join(f"SPECTRAL_NM_{nm}" for nm in NM)
    return (
        f'CGATS.17\nMEASUREMENT_GEOMETRY "{condition[0]}"\nFILTER "{condition[1]}"\n'
        f"NUMBER_OF_FIELDS {len(NM) + 1}\nBEGIN_DATA_FORMAT\nSAMPLE_NAME {fields}\n"
        f'END_DATA_FORMAT\nNUMBER_OF_SETS 1\nBEGIN_DATA\n"{name}" {" ".join(row)}\nEND_DATA\n'
    )


def test_another_way_of_measuring_is_asked_about_or_refused():
    form = filled(geometry=GEOMETRIES[0], condition="UV included")
    form.make.click()
    mixtures = drawn(Path(OURS))
    name = next(iter(mixtures))
    form = ReadingsForm(open_shop(OURS))
    way = "d/8 specular included", "UV excluded"
    hand_in(form, "a.txt", cgats(name, way, mixtures[name]))
    assert shown(form) == {"of", "otherwise", "index", "dull"}
    assert "Measured otherwise than this shop, which measures d/8 specular excluded" in seen(
        form.choices["otherwise"]
    )
    form.bring.click()
    told = seen(form.problems)
    assert "if neither ink nor ground fluoresces, for then they read alike, say so above" in told
    form.dull.value = True
    form.bring.click()
    assert (
        "its refractive index, 1.5 for most resins (common practice, no source), written above"
        in seen(form.problems)
    )
    form.index.text.value = "1,5"
    form.bring.click()
    assert form.problems.value == ""
    assert "for a glossy film of index 1.5" in seen(form.done)


def test_a_file_that_can_not_be_read_is_told_and_leaves_nothing(ours):
    form = ReadingsForm(open_shop(OURS))
    before = contents(ours)
    form.bring.click()
    assert "no file was read yet" in seen(form.problems)
    for text in ("", "name,l,a,b\nx,1,2,3\n", "%PDF-1.7"):
        hand_in(form, "wrong.csv", text)
        assert 'role="alert"' in form.problems.value
        assert shown(form) == set()
        form.bring.click()
        assert "no file was read yet" in seen(form.problems)
    assert contents(ours) == before


def test_a_shop_that_says_not_how_it_measures_can_not_have_readings(ours):
    toml = ours / "shop.toml"
    toml.write_text(toml.read_text().replace(BENCH.geometry, ""))
    told = seen(forms.readings(open_shop(OURS)).children[1])
    assert "shop.toml measurement.geometry" in told
    assert AGAIN in told


# ---- the demo shop


def test_the_demo_shop_is_never_written_to():
    demo = data_folder() / "demo-shop"
    before = contents(demo)
    for opened in (open_shop(), open_shop(demo / "example" / "..")):
        plan = PlanForm(opened, "Kelp Green")
        plan.into.click()
        assert STAYS in seen(plan.saved)
        form = ReadingsForm(opened)
        name = opened.shop.drawdowns[0].name
        hand_in(form, "a.csv", instrument_csv({name: np.ones(len(BENCH.inks))}))
        form.existing.value = "replace"
        form.bring.click()
        assert STAYS in seen(form.done)
        fit = InksForm(opened)
        fit.keep.click()
        assert "kept already" in seen(fit.kept)
    assert contents(demo) == before


def test_weights_that_came_out_otherwise_go_into_the_file_from_the_plans_fields():
    filled(levels=5).make.click()
    plan = PlanForm(open_shop(OURS))
    weights = plan.weights
    assert weights.box.layout.display == "none"
    plan.look.click()
    assert weights.box.layout.display is None
    weights.ladder.value = BENCH.inks[-1].name
    before = drawn(Path(OURS))
    weights.save.click()
    assert "already has these weights" in seen(weights.told)

    at = next(i for i, each in enumerate(weights.asked) if each.pot != "letdown")
    first, pot = weights.asked[at], weights.asked[at].pot
    assert "g planned" in weights.fields[at].text.description
    weights.fields[at].text.value = f"{first.planned_g + 4:g}"
    weights.save.click()
    assert "as weighed" in seen(weights.told) and "is kept as" in seen(weights.told)
    now = drawn(Path(OURS))
    moved = {name for name in now if abs(now[name] - before[name]).max() > 1e-6}
    assert first.made in moved
    assert moved <= {each.made for each in weights.asked if each.pot == pot}

    weights.fields[at].text.value = f"{10 * first.planned_g:g}"
    weights.save.click()
    assert "is that so?" in seen(weights.problems)
    weights.fields[at].text.value = "-3"
    weights.save.click()
    assert weights.problems.value and drawn(Path(OURS)).keys() == now.keys()
    assert all((drawn(Path(OURS))[name] == now[name]).all() for name in now)
    weights.fields[at].text.value = ""
    weights.save.click()
    assert all((drawn(Path(OURS))[name] == before[name]).all() for name in now)


def test_the_demo_shop_takes_no_weights():
    plan = PlanForm(open_shop())
    plan.look.click()
    plan.weights.save.click()
    assert STAYS in seen(plan.weights.told)
