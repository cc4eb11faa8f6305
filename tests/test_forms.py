"""Forms without a browser: what they do with entries, errors and long work.

What a browser makes of them is asked in `tests/browser`.
"""

import base64
import json
import os
import re
import shutil
import subprocess
import threading
import time
from datetime import UTC, datetime
from html.parser import HTMLParser

import numpy as np
import pytest

from matchkit.cli import main
from matchkit.colorimetry.grid import GRID_NM
from matchkit.errors import InputError
from matchkit.files.write import data_folder
from matchkit.inks.palette import reflectance
from matchkit.paper.sheet import CAUTIONS, SHORT_CAUTIONS

w = pytest.importorskip("ipywidgets", reason="ipywidgets is not installed")

from matchkit.forms.check import CheckForm  # noqa: E402
from matchkit.forms.compare import CompareForm  # noqa: E402
from matchkit.forms.correct import CorrectForm  # noqa: E402
from matchkit.forms.inks import InksForm  # noqa: E402
from matchkit.forms.jobsize import WeighForm  # noqa: E402
from matchkit.forms.match import ANY, MatchForm  # noqa: E402
from matchkit.forms.parts import Runner, amount_field, area, button, number_field, safe  # noqa: E402
from matchkit.forms.plan import PlanForm  # noqa: E402
from matchkit.forms.rows import PARTS, PERCENT  # noqa: E402
from matchkit.forms.shops import keep, open_shop  # noqa: E402
from matchkit.report.html import flat, text_of, to_html  # noqa: E402
from matchkit.report.parts import Page, Picture, Table  # noqa: E402
from matchkit.report.plan import plan_parts  # noqa: E402
from matchkit.workflows.planning import PlanChoices, plan_drawdowns  # noqa: E402
from matchkit.workflows.shipped import (  # noqa: E402
    KERNEL,
    MACOS,
    PRESS,
    WIDGET,
    WINDOWS,
    copy_notebooks,
    jupyter,
)
from matchkit.workflows.weighing_out import TicketChoices  # noqa: E402


@pytest.fixture(scope="module")
def opened():
    """The demo shop, fitted once."""
    return open_shop()


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """What forms save goes nowhere else; their faults are raised as well as shown."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MATCHKIT_FORMS_RAISE", "1")
    return tmp_path


def file_of(name, text):
    """What the browser hands over for a chosen file."""
    content = memoryview(text.encode("utf-8"))
    given = {"name": name, "type": "text/csv", "size": len(content), "content": content}
    return ({**given, "last_modified": datetime(2026, 1, 2, tzinfo=UTC)},)


def spectrum_csv(R):
    rows = [f"{nm},{value:.5f}" for nm, value in zip(GRID_NM, R, strict=True)]
    return "\n".join(["wavelength_nm,reflectance", *rows])


# ---- fields and callbacks -------------------------------------------------------------------


@pytest.mark.parametrize(("text", "value"), [("12.5", 12.5), ("12,5", 12.5), (" 7 ", 7.0)])
def test_amounts_are_read_with_point_and_comma(text, value):
    field = amount_field("Grams", text)
    assert field.look() == []
    assert field.value == value


@pytest.mark.parametrize(
    "text", ["1,234", "1.000", "2.500", "1.234,5", "", "abc", "0", "-3", "5 g", "1e3"]
)
def test_what_is_no_amount_is_told_below_the_field(text):
    field = amount_field("Grams", "1")
    field.text.value = text
    assert 'role="alert"' in field.problem.value
    field.text.value = "2"
    assert field.problem.value == ""


def test_a_and_b_may_be_negative():
    assert number_field("a*", "\N{MINUS SIGN}12,5", -150, 150).value == -12.5
    with pytest.raises(InputError, match="not from -150 to 150"):
        _ = number_field("a*", "-151", -150, 150).value


def test_a_fault_of_ours_is_seen_and_raised():
    place = area()

    def broken():
        raise ZeroDivisionError("by <nothing>")

    with pytest.raises(ZeroDivisionError):
        safe(broken, place)()
    assert 'role="alert"' in place.value
    assert "ZeroDivisionError: by &lt;nothing&gt;" in place.value


def test_callbacks_wait_for_each_other():
    """As when a kernel gets a press in one thread while a choice is at work in another."""
    done, at_work, go_on = [], threading.Event(), threading.Event()

    def choice_made():
        at_work.set()
        go_on.wait(10)
        done.append("choice")

    first = threading.Thread(target=safe(choice_made, area()))
    second = threading.Thread(target=safe(lambda: done.append("press"), area()))
    first.start()
    assert at_work.wait(10)
    second.start()
    second.join(0.05)
    assert done == []
    go_on.set()
    first.join(10)
    second.join(10)
    assert done == ["choice", "press"]


@pytest.mark.parametrize("why", ["Stopped", "an entry has changed"])
def test_work_is_stopped_and_its_answer_thrown_away(why):
    going, place, answers = threading.Event(), area(), []

    def work(progress):
        progress(1, 2)
        going.wait(10)
        progress(2, 2)
        return "late"

    runner = Runner("Go", lambda: work, answers.append, place, "steps")
    runner.start.click()
    assert runner.start.disabled
    assert not runner.stop.disabled
    runner.stop.click() if why == "Stopped" else runner.aged()
    assert why in runner.note.value
    going.set()
    runner.wait()
    assert answers == []
    assert not runner.start.disabled


def test_work_that_fails_is_told():
    place = area()

    def work(progress):
        raise InputError("no ink left")

    runner = Runner("Go", lambda: work, print, place, "steps")
    runner.start.click()
    runner.wait()
    assert "no ink left" in place.value
    assert not runner.start.disabled


# ---- what is shown --------------------------------------------------------------------------


def test_names_are_escaped_everywhere():
    nasty = '"><script>x</script>'
    table = Table(head=(nasty,), rows=((nasty,),), caption=nasty)
    parts = [nasty, table, Picture(png=b"", alt=nasty), Page(title=nasty, html=nasty)]
    tags = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag, attrs):
            tags.append(tag)

    Reader().feed(to_html(parts))
    assert "script" not in tags
    assert nasty in text_of(table)


def test_a_flat_picture_is_a_png_of_that_colour():
    """Chunks and filter bytes as the PNG specification, ISO/IEC 15948, has them."""
    image = pytest.importorskip("PIL.Image")
    import io

    with image.open(io.BytesIO(flat("#0a64c8", "blue", 6, 4).png)) as picture:
        assert picture.size == (6, 4)
        assert picture.getpixel((5, 3)) == (10, 100, 200)


def test_files_are_never_overwritten(own_folder):
    names = [keep("Job: 1/2 ä", ".html", text).name for text in ("one", "two")]
    assert names == ["Job-1-2-ä.html", "Job-1-2-ä-2.html"]
    assert (own_folder / "tickets" / names[0]).read_text() == "one"


# ---- the forms ------------------------------------------------------------------------------


def test_match_to_ticket(opened, own_folder):
    form = MatchForm(opened, "Dusty rose")
    form.grams.text.value = "750,5"
    form.without["Ebb Clear"].value = True
    form.run.start.click()
    form.run.wait()
    assert "Dusty rose: these inks can reach it." in form.results.value
    assert "Ebb Clear" not in form.results.value
    form.ticket.job.text.value = "Window 3"
    form.ticket.save.click()
    page = (own_folder / "tickets" / "Window-3.html").read_text(encoding="utf-8")
    assert "750.50" in page
    weights = (own_folder / "tickets" / "Window-3.csv").read_text(encoding="utf-8")
    grams = [float(line.split(",")[1]) for line in weights.splitlines()[1:]]
    assert sum(grams) == pytest.approx(750.5, abs=1e-6)
    form.most.value = 3
    assert "have changed since" in form.stale.value


def test_match_tells_every_fault_before_it_works(opened):
    form = MatchForm(opened)
    form.grams.text.value = "1,234"
    form.run.start.click()
    assert (
        "Batch, grams: &#x27;1,234&#x27; can be read as 1234 or as 1,2340;" in form.problems.value
    )
    assert not form.run.start.disabled
    form.ticket.save.click()
    assert "there is no formula yet" in form.ticket.problems.value


def test_match_a_file_and_lab_numbers(opened):
    form = MatchForm(opened)
    form.picker.way.value = "from a file of mine"
    form.run.start.click()
    assert "no file was read yet" in form.problems.value
    form.picker.file.upload.value = file_of("half.csv", "name,400\nx,two\n")
    assert 'role="alert"' in form.picker.file.problem.value
    form.picker.file.upload.value = file_of("brick.csv", spectrum_csv(np.linspace(0.1, 0.4, 31)))
    assert form.picker.file.problem.value == ""
    wanted = form.picker.wanted(opened.session())
    assert wanted.name == "brick"
    assert wanted.target.R[-1] == pytest.approx(0.4)
    form.picker.way.value = "from Lab numbers"
    form.picker.a.text.value = "-12,5"
    wanted = form.picker.wanted(opened.session())
    assert wanted.name == "Lab 55,-12.5,-10"
    assert wanted.target.lab.tolist() == [[55.0, -12.5, -10.0]]


def test_weigh_a_formula_of_ones_own(opened, own_folder):
    form = WeighForm(opened)
    form.rows.fill({"Quay White": 90.0, "Kelp Green": 9.5})
    form.look.click()
    assert "the percents sum to 99.5; they must sum to 100" in form.problems.value
    form.rows.fill({"Quay White": 90.0, "Kelp Green": 10.0})
    assert form.problems.value == ""
    form.look.click()
    assert "g too much Kelp Green shifts the colour by" in form.results.value
    form.ticket.hold.value = 0.1
    form.ticket.job.text.value = "Old card"
    form.ticket.save.click()
    page = (own_folder / "tickets" / "Old-card.html").read_text(encoding="utf-8")
    assert "part held back" in page and "5.00" in page and "45.00" in page
    whole = (own_folder / "tickets" / "Old-card.csv").read_text(encoding="utf-8")
    assert "Kelp Green,50.0" in whole and "Quay White,450.0" in whole
    first = (own_folder / "tickets" / "Old-card-first-pour.csv").read_text(encoding="utf-8")
    assert "Kelp Green,45.0" in first and "Quay White,450.0" in first  # none of the 5 g
    assert "without what is held back, is in Old-card-first-pour.csv" in form.ticket.saved.value
    # As a formula only the whole is offered; a correction starts from what is in the bucket.
    assert "Old-card-first-pour" not in WeighForm(opened).rows.source.options
    assert "Old-card" in WeighForm(opened).rows.source.options
    assert "Old-card-first-pour" in CorrectForm(opened).rows.source.options


def test_weigh_takes_a_mix_apart(opened, own_folder):
    keep("With a letdown", ".csv", "ink,grams\nBlack letdown 5,100\nQuay White,400\n")
    form = WeighForm(opened)
    form.rows.source.value = "With-a-letdown"
    assert "Black letdown 5 is a mix: taken as" in form.rows.told.value
    form.predict()
    assert sorted(form.rows.formula().amounts.values()) == pytest.approx([1, 99])
    form.rows.source.value = form.rows.source.options[0]
    assert form.rows.told.value == ""


def test_weigh_refuses_what_can_not_be_a_formula(opened):
    form = WeighForm(opened, "")
    form.look.click()
    assert "the formula is empty" in form.problems.value
    form.rows.inks[0].value = "Quay White"
    form.rows.amounts[1].text.value = "5"
    form.grams.text.value = "x"
    form.look.click()
    for told in ("Quay White without an amount", "an amount without an ink", "is not a number"):
        assert told in form.problems.value


def test_inks_slider_and_plan(opened, own_folder):
    form = InksForm(opened, "Kelp Green")
    form.percent.value = 100.0
    assert "100 % Kelp Green in the white" in form.tint.value
    form.residuals.click()
    assert "single-constant" in form.whole.value
    form.keep.click()
    assert "for your own shop" in form.kept.value
    plan = PlanForm(opened, "Kelp Green")
    plan.save.click()
    page = (own_folder / "tickets" / "Drawdown-plan-Kelp-Green.html").read_text(encoding="utf-8")
    assert "Kelp Green" in page and CAUTIONS["machine"] in page
    made = plan_drawdowns(opened.session(), PlanChoices(new_ink="Kelp Green"))
    assert SHORT_CAUTIONS in plan_parts(made)


def test_own_shop_keeps_its_fit(own_folder):
    shutil.copytree(data_folder() / "demo-shop", own_folder / "ours")
    form = InksForm(open_shop("ours"), "Kelp Green")
    form.keep.click()
    assert (own_folder / "ours" / "fit.json").is_file()


def test_compare_formulas_and_ones_own(opened, own_folder):
    form = CompareForm(opened, "Dusty rose")
    form.look.click()
    assert "nothing to compare" in form.problems.value
    form.rows.fill({"Quay White": 80.0, "Rust Earth": 20.0})
    form.look.click()
    assert "my formula" in form.results.value
    form.save.click()
    tickets = own_folder / "tickets"
    page = (tickets / "Comparison-Dusty-rose.html").read_text(encoding="utf-8")
    assert "Candidate 1" in page and "Rust Earth" not in page
    page = (tickets / "Comparison-Dusty-rose-shop-copy.html").read_text(encoding="utf-8")
    assert "my formula" in page and "Rust Earth" in page
    for box in form.lights.values():
        box.value = False
    assert form.results.value == ""
    form.look.click()
    assert "one light tells nothing" in form.problems.value


def test_leftovers_go_into_a_new_batch(opened, own_folder):
    form = MatchForm(opened, "Sea teal", ANY)
    form.most.value = 3
    form.ticket.save.click()
    assert "there is no formula yet" in form.ticket.problems.value
    form.run.start.click()
    form.run.wait()
    assert "Leftover regatta teal" in form.results.value
    form.ticket.job.text.value = "Again"
    form.ticket.save.click()
    page = (own_folder / "tickets" / "Again.html").read_text(encoding="utf-8")
    assert "Leftover regatta teal" in page
    form.grams.text.value = "200"
    assert "have changed since" in form.stale.value


def test_a_leftover_that_is_the_colour_already_is_offered_first(opened):
    form, name = MatchForm(opened), "Leftover regatta teal"
    mix = next(each for each in opened.session().shop.mixes if each.name == name)
    palette = next(iter(opened.fits.values())).palette
    shares = dict(zip(mix.inks, mix.fractions, strict=True))
    R = reflectance(palette, np.array([shares.get(each, 0.0) for each in palette.names]))
    form.picker.listed[form.picker.names.value] = R
    form.run.start.click()
    form.run.wait()
    assert f"{name} on the shelf is this colour already: 735 g of it" in form.results.value
    form.first.click()
    form.run.wait()
    assert (form.mix.value, form.found.formulas[0].used.name) == (name, name)
    assert form.first.layout.display == "none"


def test_check_says_which_way(opened):
    form = CheckForm(opened, "Sea teal")
    form.look.click()
    assert "OUT OF TOLERANCE: dE00" in form.results.value
    form.measured.way.value = "from a file of mine"
    assert form.results.value == ""
    target = form.picker.listed["Sea teal"]
    form.measured.file.upload.value = file_of("again.csv", spectrum_csv(target))
    form.look.click()
    assert "IN TOLERANCE: dE00 0.00" in form.results.value


def test_correct_round_by_round(opened, own_folder):
    form = CorrectForm(opened, "Sea teal", "example batch")
    form.room.text.value = "nothing"
    form.look.click()
    assert "is not a number" in form.problems.value
    form.room.text.value = ""
    form.look.click()
    assert (
        "chance in tolerance as it is" in form.results.value
        and CAUTIONS["machine"] in form.results.value
    )
    added = form.ways["least"].additions_g
    form.save.click()
    assert (own_folder / "tickets" / "Addition-Sea-teal.html").is_file()
    before, names = form.rows.formula().amounts, form.found.palette.names
    expected = {n: before.get(n, 0) + g for n, g in zip(names, added, strict=True)}
    form.next.click()
    assert form.rows.formula().amounts == pytest.approx({n: g for n, g in expected.items() if g})
    assert "Round 2." in form.round.value
    form.measured.file.upload.value = file_of(
        "stale.csv", spectrum_csv(form.picker.listed["Dusty rose"])
    )
    form.measured.empty()  # as a press on the button does: no round is judged by an old reading
    form.look.click()
    assert "no file was read yet" in form.problems.value
    form.measured.file.upload.value = file_of(
        "second.csv", spectrum_csv(form.picker.listed["Sea teal"])
    )
    form.look.click()
    assert len(form.rounds) == 1 and len(form.now) == 2
    assert "In tolerance: leave it." in form.results.value


def test_correct_within_a_small_room(opened):
    form = CorrectForm(opened, "Sea teal", "example batch")
    for room, head in (("5", "With room for 5 g"), ("0", "With no room left in the container")):
        form.room.text.value = room
        form.look.click()
        assert head in form.results.value
        assert all(each.added_g <= float(room) + 1e-9 for each in form.ways.values())


def test_correct_says_when_a_new_batch_is_better(opened):
    form = CorrectForm(opened, "Sea teal", "example batch")
    form.rows.fill({"Bollard Black": 60.0, "Slipway Blue": 40.0})
    palette = next(iter(opened.fits.values())).palette
    held = form.rows.formula().amounts
    R = reflectance(palette, np.array([held.get(name, 0.0) for name in palette.names]) / 100)
    form.measured.way.value = "from a file of mine"
    form.measured.file.upload.value = file_of("black.csv", spectrum_csv(R))
    form.look.click()
    assert "mix a new batch, and keep this one as a leftover" in form.results.value
    assert all(each.added_g <= 100 for each in form.ways.values())
    assert list(form.way.options) == list(form.ways)


# ---- matchkit lab ---------------------------------------------------------------------------


def test_lab_fills_a_folder_and_never_overwrites(own_folder):
    folder = own_folder / "ours"
    new, kept = copy_notebooks(folder)
    assert kept == 0
    assert (folder / "demo-shop" / "shop.toml").is_file()
    (folder / "demo-shop" / "shop.toml").write_text("mine")
    assert copy_notebooks(folder) == (0, new)
    assert (folder / "demo-shop" / "shop.toml").read_text() == "mine"
    path = folder / "01_start_here.ipynb"
    book = json.loads(path.read_text(encoding="utf-8"))
    view = {
        "output_type": "display_data",
        "metadata": {},
        "data": {WIDGET: {}, "text/plain": "VBox"},
    }
    book["cells"][2]["outputs"] = [view]  # as a person saved it, whose kernel has ended since
    path.write_text(json.dumps(book), encoding="utf-8")
    assert copy_notebooks(folder) == (0, new)
    book["cells"][2]["outputs"][0]["data"] = {"text/plain": PRESS}
    assert json.loads(path.read_text(encoding="utf-8")) == book


def test_lab_uses_this_interpreter_and_its_kernel(own_folder):
    words, more = jupyter(own_folder, own_folder / "work", 8888, browser=False)
    assert "--no-browser" in words
    assert any(word.endswith("01_start_here.ipynb") for word in words)
    assert more["JUPYTER_PREFER_ENV_PATH"] == "1"
    copy_notebooks(own_folder / "n")
    for name in (WINDOWS, MACOS):
        assert words[0] in (own_folder / "n" / name).read_text(encoding="utf-8")
    assert (own_folder / "n" / WINDOWS).read_bytes().count(b"\r\n") == 5
    assert (own_folder / "n" / MACOS).stat().st_mode & 0o100


def test_lab_keeps_its_settings_out_of_the_folder(own_folder):
    folder, work = own_folder / "ours", own_folder / "work"
    copy_notebooks(folder)
    _, more = jupyter(folder, work, 8888)
    page = json.loads((work / "labconfig" / "page_config.json").read_text())
    assert page["disabledExtensions"]["@jupyterlab/apputils-extension:announcements"]
    told = (work / "labconfig" / "default_setting_overrides.json").read_text()
    assert '"commsOverSubshells": "disabled"' in told
    assert not [path for path in folder.rglob(".*") if path.name != ".matchkit-demo"]
    for name in ("JUPYTER_CONFIG_PATH", "JUPYTER_PATH"):
        assert more[name].split(os.pathsep)[0] == str(work)


PLANTED = """\
import pathlib
pathlib.Path(r"{seen}").touch()
c = get_config()
c.IdentityProvider.token = ""
c.ServerApp.ip = "0.0.0.0"
"""


def test_nothing_that_lies_in_the_folder_is_run_or_read_as_a_setting(own_folder):
    """Neither by JupyterLab, nor by the program that starts it, nor by a kernel."""
    folder, work, seen = own_folder / "ours", own_folder / "work", own_folder / "seen"
    folder.mkdir()
    planted = PLANTED.format(seen=seen)
    places = (".", ".matchkit-lab", ".jupyter", "etc/jupyter")
    for place in places:
        (folder / place).mkdir(parents=True, exist_ok=True)
        for name in ("jupyter_config.py", "jupyter_server_config.py", "jupyter_lab_config.py"):
            (folder / place / name).write_text(planted)
    for name in ("matchkit", "jupyterlab", "ipykernel_launcher", "numpy", "jupyter_server"):
        (folder / f"{name}.py").write_text(planted)
    words, more = jupyter(folder, work, 8888, browser=False)
    shown = subprocess.run(
        [*words, "--show-config-json"], env={**os.environ, **more}, cwd=work,
        capture_output=True, text=True, timeout=100, check=True,
    ).stdout  # fmt: skip
    assert not seen.exists() and "0.0.0.0" not in shown and str(folder) in shown
    kernel = [word for word in KERNEL["argv"] if not word.startswith("{")][:3]
    for code in (["-m", "matchkit", "--version"], ["-c", "import numpy"]):
        subprocess.run([*kernel[:2], *code], cwd=folder, check=True, capture_output=True)
    assert not seen.exists()
    for name in (WINDOWS, MACOS):
        copy_notebooks(own_folder / "n")
        assert " -P -m matchkit lab ." in (own_folder / "n" / name).read_text(encoding="utf-8")


def test_lab_refuses_a_file_and_a_silly_port(own_folder, capsys):
    (own_folder / "file").write_text("")
    assert main(["lab", "file", "--copy-only"]) == 2
    assert "is a file; name a folder" in capsys.readouterr().err
    assert main(["lab", "--port", "70000", "--copy-only"]) == 2
    assert "--port" in capsys.readouterr().err


def test_pictures_in_a_form_say_what_they_show(opened):
    form = CheckForm(opened, "Sea teal")
    form.look.click()
    pictures = re.findall(r'<img class="[^"]*" alt="([^"]+)" src="data:image/png;base64,([^"]+)"',
                          form.results.value)  # fmt: skip
    assert len(pictures) == 4
    assert all(base64.b64decode(data).startswith(b"\x89PNG") for _, data in pictures)


def test_a_formula_from_paper_may_be_in_grams_or_parts(opened):
    form = WeighForm(opened, "")
    form.rows.fill({"Quay White": 37.5, "Kelp Green": 12.5})
    with pytest.raises(InputError, match="sum to 50; they must sum to 100, or say that"):
        form.rows.formula()
    form.rows.written.value = PARTS
    assert form.rows.amounts[0].text.description == "Parts of ink 1"
    assert form.rows.formula().amounts["Kelp Green"] == 12.5
    grams = dict(form.make(TicketChoices()).formula)
    assert grams == {"Quay White": 375.0, "Kelp Green": 125.0}
    form.rows.written.value = PERCENT
    assert form.rows.amounts[1].text.value == "25"
    assert form.rows.amounts[1].text.description == "Percent of ink 2"


def test_stock_and_too_few_inks_are_told_where_they_keep_a_formula_away(opened):
    form = MatchForm(opened, "Sea teal")
    for grams, inks, told in (
        ("19000", 4, "Stock holds this back: with enough Slipway Blue (2650 g there"),
        ("1000", 2, "but not with 2 inks at most"),
    ):
        form.grams.text.value, form.most.value = grams, inks
        form.run.start.click()
        form.run.wait()
        assert told in form.results.value


def test_the_second_press_of_a_double_one_is_none(monkeypatch):
    monkeypatch.delenv("MATCHKIT_FORMS_RAISE")
    place, done = area(), []

    def work():
        done.append(1)
        if len(done) > 1:
            raise InputError("it is there already")
        place.value = "made"

    each = button("Make it", work, place)
    each.click()
    each.click()
    assert (len(done), place.value) == (1, "made")
    monkeypatch.setattr("matchkit.forms.parts.time.monotonic", lambda: time.time() + 1e6)
    each.click()
    assert "it is there already" in place.value


def test_no_ticket_is_made_of_formulas_that_are_not_those_of_the_entries(opened):
    form = MatchForm(opened, "Sea teal")
    form.run.start.click()
    form.run.wait()
    assert form.make(TicketChoices()).batch_g == pytest.approx(1000)
    form.grams.text.value = "150"
    with pytest.raises(InputError, match="entries have changed"):
        form.make(TicketChoices())
    form.run.start.click()
    form.run.wait()
    assert form.make(TicketChoices()).batch_g == pytest.approx(150)


def test_a_file_that_may_be_percent_or_not_is_asked_about_by_two_buttons(opened):
    """Their colours are those of the file in either scale."""
    form = CheckForm(opened, "Club navy")
    taken = form.measured.file
    taken.upload.value = file_of("dark.csv", spectrum_csv(np.linspace(0.6, 0.9, 31)))
    assert taken.found == {}
    dark, light = taken.how.buttons.children[0].children[1].children
    assert (dark.description[:11], light.description[:6]) == ("percent: L*", "0-1: L")
    assert dark.style.button_color < "#30" and light.style.button_color > "#a0"
    dark.click()
    assert taken.how.buttons.children == ()
    assert taken.found["dark"].max() == pytest.approx(0.009)
    assert "read as percent: as was said" in taken.notes.value
    taken.upload.value = file_of("light.csv", spectrum_csv(np.linspace(0.2, 0.9, 31)))
    assert taken.found["light"].max() == pytest.approx(0.9)
