"""The notebooks with another shop's name in the first cell: every cell shows something, none fails.

Cells run in this process, without a kernel; `test_notebooks` runs them on the demo shop.
"""

import ast
import json
import re
import shutil
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from small_shop import put, wide

from matchkit.cli import main
from matchkit.errors import InputError
from matchkit.files.fitted import write_fits
from matchkit.files.shop import read_shop
from matchkit.files.write import data_folder
from matchkit.matching.match import fit_shop
from matchkit.simulator.pigments import Bench, make_bench
from matchkit.simulator.simulate import ladder, opaque_R

w = pytest.importorskip("ipywidgets", reason="ipywidgets is not installed")
pytest.importorskip("IPython", reason="JupyterLab is not installed")

from matchkit import forms  # noqa: E402
from matchkit.forms import stills  # noqa: E402
from matchkit.forms.choose import shop_list  # noqa: E402
from matchkit.forms.jobsize import JobForm, WeighForm  # noqa: E402
from matchkit.forms.match import MatchForm  # noqa: E402
from matchkit.forms.rows import LAB, LIST  # noqa: E402
from matchkit.forms.shops import AGAIN, CHOSEN, choose_shop, open_shop, saved_recipes  # noqa: E402
from matchkit.forms.stills import OF_THE_DEMO  # noqa: E402

BOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("[0-9]*.ipynb"))
OPENED = "forms.open_shop()"  # the shop that was chosen
SHOPS = ("few", "ours", "new-shop", "no-such-shop")
FEW = """\
ink,role
White,white
Black,black
Lemon,colour
"""


def bench_shop(folder: Path, bench: Bench, series: str, **more: str | None) -> Path:
    """The ladders of a bench as a shop folder of invented inks, with its fit."""
    names, fractions, readings = ladder(bench, np.random.default_rng(5), steps=3)
    inks = [f"{ink.name},{ink.role},{series}" for ink in bench.inks]
    drawn = [
        f"{name},{bench.names[i]},{100 * c[i]:.6f}"
        for name, c in zip(names, fractions, strict=True)
        for i in np.flatnonzero(c)
    ]
    put(
        folder,
        inks_csv="\n".join(["ink,role,series", *inks]),
        drawdowns_csv="\n".join(["drawdown,ink,percent", *drawn]),
        spectra_csv=wide(dict(zip(names, readings, strict=True))),
        **more,
    )
    write_fits(folder, (shop := read_shop(folder)), fit_shop(shop))
    return folder


def target_csv(bench: Bench, colours: dict[str, list[float]]) -> str:
    """Colours that mixtures of the bench truly have, as `targets.csv`."""
    rows = {name: [opaque_R(bench, np.array(c) / sum(c))] for name, c in colours.items()}
    return wide(rows, first="name")


@pytest.fixture(scope="module")
def shops(tmp_path_factory):
    """Own shops in one folder: few inks and nothing else; other names; nothing measured."""
    folder = tmp_path_factory.mktemp("shops")
    bench_shop(folder / "few", make_bench(3, n_colours=1), "", mixes_csv=None)
    bench = make_bench(4, n_colours=3)
    white, *_, last = bench.names
    ours = bench_shop(
        folder / "ours",
        bench,
        "water-based",
        mixes_csv=f"name,ink,percent,stock_g\nOld pot,{white},90,500\nOld pot,{last},10,\n",
    )
    colours = {"Brick": [60, 1, 0, 20, 19, 0], "Reed": [80, 1, 0, 0, 9, 10]}
    (ours / "targets.csv").write_text(target_csv(bench, colours), encoding="utf-8")
    assert (
        main(["new", str(folder / "new-shop"), "--inks", "Snow:white,Soot:black,Lime:colour"]) == 0
    )
    return folder


@pytest.fixture(autouse=True)
def beside(shops, tmp_path, monkeypatch):
    """The shops beside the notebook, in a folder of its own; faults of ours are raised."""
    for name in SHOPS[:3]:
        shutil.copytree(shops / name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MATCHKIT_FORMS_RAISE", "1")
    mpl.use("agg")
    return tmp_path


def cells(path: Path) -> list[str]:
    book = json.loads(path.read_text(encoding="utf-8"))
    return ["".join(c["source"]) for c in book["cells"] if c["cell_type"] == "code"]


def values(codes: list[str]) -> list[object]:
    """What each cell gives as its last line, as a notebook shows it."""
    names: dict[str, object] = {}
    given = []
    for code in codes:
        tree = ast.parse(code)
        last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
        exec(compile(tree, "cell", "exec"), names)
        given.append(
            None
            if last is None
            else eval(compile(ast.Expression(last.value), "cell", "eval"), names)
        )
    return given


def texts(widget: object) -> list[str]:
    """All that stands in a form, folded parts too, as HTML."""
    own = [widget.value] if isinstance(widget, w.HTML) and "<style>" not in widget.value else []
    return own + [line for child in getattr(widget, "children", ()) for line in texts(child)]


def said(widget: object) -> str:
    return re.sub("<[^>]+>", " ", " ".join(texts(widget))).replace("&#x27;", "'")


# ---- every notebook


@pytest.mark.parametrize("name", SHOPS)
@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_every_cell_runs(path, name, monkeypatch):
    shown: list[object] = []
    monkeypatch.setattr(stills, "show", lambda parts, **_: shown.extend(parts))
    codes = cells(path)
    if path.stem.startswith("10"):  # what comes before is no shop's, and has tests of its own
        at = next(k for k, code in enumerate(codes) if OPENED in code)
        codes = [codes[0].splitlines()[0], *(c for c in codes[at:] if "trainer" not in c)]
    if not any(OPENED in code for code in codes):
        assert path.stem.startswith(("08", "13"))
        return
    choose_shop(name)
    given = values(codes)
    for value in given:
        if isinstance(value, w.Widget):
            assert 'role="alert"' not in " ".join(texts(value))
        elif value is not None:
            assert repr(value)
    assert shown == [OF_THE_DEMO] * sum(code.startswith("forms.stills.") for code in codes)


# ---- what is said in them


def test_a_name_of_the_demo_gives_way_to_one_of_the_shop():
    opened = open_shop("ours")
    first = opened.shop.inks[1].name
    line = f"This shop has no 'Kelp Green'; the form starts with '{first}'."
    assert line in said(forms.inks(opened, "Kelp Green"))
    form = MatchForm(opened, "Walnut brown")
    assert (form.picker.way.value, form.picker.names.value) == (LIST, "Brick")
    assert "no 'Walnut brown'; the form starts with 'Brick'." in said(form.box)
    assert "This shop has no" not in said(forms.match(opened, "Reed"))
    assert "This shop has no 'Old tin'" in said(forms.leftovers(opened, "Reed", "Old tin"))
    assert "No saved batch of this shop is called 'Window 3'" in said(
        forms.weigh(opened, "Window 3")
    )
    assert "No saved batch" not in said(forms.weigh(opened))


def test_few_inks_and_no_list_still_give_formulas():
    form = MatchForm(open_shop("few"), "Walnut brown")
    told = "This shop has no 'Walnut brown'; hand in a file of the colour, or type its Lab numbers."
    assert told in said(form.box)
    form.picker.way.value = LAB
    form.run.start.click()
    form.run.wait()
    assert form.problems.value == ""
    assert form.found.formulas


def test_what_a_shop_lacks_is_said_before_a_button_is_pressed():
    opened = open_shop("few")
    assert "draw the inks over a black and white card" in said(forms.hold(opened))
    assert "no leftover is on the shelf yet" in said(forms.leftovers(opened))


def test_inks_without_readings_can_be_planned_for():
    opened = open_shop("new-shop")
    assert [ink.name for ink in opened.shop.inks] == ["Snow", "Soot", "Lime"]
    assert "None of these inks has been measured yet." in repr(opened)
    assert "shop.toml measurement.geometry" in repr(opened)  # not filled in yet
    plan = forms.plan(opened, "Lime")
    plan.children[1].children[3].children[0].click()
    assert "Lime masstone" in " ".join(texts(plan))
    assert "notebook 12, A shop of your own, plans the drawdowns" in said(forms.match(opened))


def test_a_broken_file_is_told_where_the_form_would_be(beside):
    (beside / "ours" / "mixes.csv").write_text("name,ink,percent\nPot,Nothing,100\n")
    opened = open_shop("ours")
    assert "mixes.csv row 2: ink 'Nothing' is not in the shop's inks" in repr(opened)
    assert "mixes.csv row 2" in said(forms.weigh(opened))
    (beside / "few" / "targets.csv").write_text("name,400\nBrick,two\n")
    assert "targets.csv" in said(forms.match(open_shop("few")))


def test_no_form_works_on_an_older_shop_after_a_slip():
    opened = open_shop("uors")
    assert repr(opened).startswith("No shop is open.\nuors: not found")
    assert "did you mean 'ours'?" in repr(opened)
    for form in (forms.match(opened), forms.plan(opened), forms.book(opened)):
        assert "No shop is open." in said(form)
        assert AGAIN in said(form)


def test_a_notebook_prints_a_fault_without_a_traceback():
    interactive = pytest.importorskip("IPython.core.interactiveshell")
    shell = interactive.InteractiveShell.instance()
    try:
        with pytest.MonkeyPatch.context() as patch:
            shown: list[str] = []
            patch.setattr(shell, "_showtraceback", lambda kind, value, lines: shown.extend(lines))
            shell.run_cell("from matchkit.errors import InputError\nraise InputError(['a', 'b'])")
    finally:
        interactive.InteractiveShell.clear_instance()
    assert shown == ["a", "b"]
    assert InputError("a")._render_traceback_() == ["a"]


# ---- what was saved beside them


def test_batches_of_another_shop_are_not_offered(beside):
    opened = open_shop("ours")
    white, *_, last = opened.shop.inks
    tickets = beside / "tickets"
    tickets.mkdir()
    (tickets / "mine.csv").write_text(f"ink,grams\n{white.name},90\n{last.name},10\n")
    (tickets / "pot.csv").write_text(f"ink,grams\nOld pot,500\n{last.name},50\n")
    (tickets / "theirs.csv").write_text("ink,grams\nQuay White,90\nKelp Green,10\n")
    (tickets / "broken.csv").write_text("ink,grams\n")
    assert saved_recipes(opened).keys() == {"mine", "pot"}
    form = JobForm(opened, "pot")  # a leftover counts as what went into it
    held = form.rows.formula().amounts
    assert held[white.name] == pytest.approx(100 * 450 / 550, abs=1e-3)
    assert held[last.name] == pytest.approx(100 * 100 / 550, abs=1e-3)
    shutil.copytree(data_folder() / "demo-shop" / "example", beside / "ours" / "example")
    assert "example batch" not in WeighForm(opened).rows.saved


def test_a_demo_shop_that_was_written_over_is_no_fault(beside, monkeypatch):
    shown: list[object] = []
    monkeypatch.setattr(stills, "show", lambda parts, **_: shown.extend(parts))
    (beside / "few").rename("demo-shop")
    opened = open_shop("demo-shop")
    stills.inks(opened, "Kelp Green")
    stills.match(opened, "Dusty rose")
    stills.correct(opened)
    stills.book(opened, 5)
    assert shown == [OF_THE_DEMO] * 4
    assert "This shop has no record book yet" in said(forms.book(opened))


def test_the_shop_is_chosen_once_and_stays_chosen(beside, monkeypatch):
    monkeypatch.setenv("MATCHKIT_SETTINGS", str(beside / "settings"))
    form = shop_list()
    (pick,) = form.children[1].children
    assert [folder for _, folder in pick.options] == ["demo-shop", "few", "new-shop", "ours"]
    assert pick.value == "demo-shop"
    pick.value = "ours"
    assert "From now on the notebooks work with ours" in said(form)
    assert forms.open_shop().folder.name == "ours"
    shutil.rmtree(beside / "ours")  # gone, and still told of
    assert "ours: not found" in repr(forms.open_shop())
    (beside / CHOSEN).unlink()
    assert forms.open_shop().folder.name == "demo-shop"
