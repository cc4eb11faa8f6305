"""A shop that has drawn its inks down over a card only: every job works there."""

import json
import shutil
from dataclasses import replace

import numpy as np
import pytest

from matchkit.cli import main
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.files.fitted import write_fits
from matchkit.files.shop import read_shop
from matchkit.files.write import csv_text
from matchkit.fitting.constants import Constants
from matchkit.fitting.fit import fit, on_bounds
from matchkit.fitting.held_out import FILM_STRUCTURES, NOMINAL_UM, STRUCTURES
from matchkit.forms.match import MatchForm
from matchkit.forms.shops import open_shop
from matchkit.matching.prints import bare_ground, fits_over, has_films
from matchkit.matching.rank import is_mostly_clear
from matchkit.practice.rehearse import drawdowns_of
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import drawdown_R
from matchkit.simulator.troubles import only
from matchkit.workflows.planning import plan_drawdowns
from matchkit.workflows.printed import films_today
from matchkit.workflows.session import Session
from tests.film_shop import CARD, cells, film_bench, write_film_shop

OVER = '\n[drawdown]\nover = "white half"\n'
WANTED = np.array([0.40, 0.0, 0.40, 0.15, 0.05])  # White, Black, Clear, Lemon, Scarlet
POURED = np.array([0.44, 0.0, 0.38, 0.14, 0.04])


@pytest.fixture(scope="module")
def bench():
    return film_bench()


@pytest.fixture(scope="module")
def shop(bench, tmp_path_factory):
    """Three drawdowns of each ink over both halves, of a thickness that nobody stated; fitted."""
    folder = write_film_shop(tmp_path_factory.mktemp("films") / "shop", bench, toml=OVER)
    with pytest.MonkeyPatch.context() as patch:  # the other theories take seconds
        patch.setattr("matchkit.fitting.held_out.FILM_STRUCTURES", FILM_STRUCTURES[:2])
        assert main(["fit", str(folder)]) == 0
    return folder


@pytest.fixture
def ask(shop, capsys):
    def run(*words):
        assert main([words[0], str(shop), *map(str, words[1:]), "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    return run


def written(path, **columns):
    """A table of one row for each reading, or of a recipe."""
    head, rows = columns["head"], columns["rows"]
    path.write_text(csv_text(head, rows), encoding="utf-8")
    return path


def reading(path, bench, c, half="white"):
    R = drawdown_R(bench, c, half=half)
    return written(path, head=["name", *(f"{w:.0f}" for w in GRID_NM)], rows=[["x", *cells(R)]])


def grams(path, bench, c, unit="grams", of=1000):
    rows = [[n, f"{of * x:g}"] for n, x in zip(bench.names, c, strict=True) if x]
    return written(path, head=["ink", unit], rows=rows)


# ---- the folder


def test_films_need_no_thickness_and_no_file_of_what_hides(shop):
    read = read_shop(shop)
    assert not (shop / "drawdowns.csv").exists() and not (shop / "spectra.csv").exists()
    assert {d.thickness_um for d in read.drawdowns} == {None}
    assert {d.ground for d in read.drawdowns} == set(CARD)
    assert has_films(read) and not read.hiding
    assert (read.over, read.over_um) == ("white half", None)


def test_films_of_no_stated_thickness_are_as_thick_as_drawdowns(shop, tmp_path):
    thick = shutil.copytree(shop, tmp_path / "shop")
    toml = (shop / "shop.toml").read_text(encoding="utf-8")
    (thick / "shop.toml").write_text(toml + "thickness_um = 200\n", encoding="utf-8")
    assert {d.thickness_um for d in read_shop(thick).drawdowns} == {200}
    assert Session(thick).digest != Session(shop).digest


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ('over = "white hlf"', "'white hlf' is not in grounds.csv; measure it bare; did you mean"),
        ("thickness_um = 200", "drawdown.over: is missing; write the name of a ground"),
        ('over = "white half"\nthickness_um = -3', "drawdown.thickness_um: is -3"),
        ('ovr = "white half"', "did you mean 'drawdown.over'"),
    ],
)
def test_a_drawdown_that_is_not_there_is_told(shop, tmp_path, lines, says):
    wrong = shutil.copytree(shop, tmp_path / "shop")
    toml = (shop / "shop.toml").read_text(encoding="utf-8").replace(OVER, "")
    (wrong / "shop.toml").write_text(f"{toml}\n[drawdown]\n{lines}\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"shop\.toml drawdown") as error:
        read_shop(wrong)
    assert says in str(error.value)


# ---- the jobs


def test_every_command_compares_with_the_drawdown_over_the_ground(ask, bench, tmp_path, capsys):
    true = Lab(drawdown_R(bench, WANTED), "D65", 10)
    recipe = grams(tmp_path / "recipe.csv", bench, WANTED, "percent", 100)
    assert de00(true, np.array(ask("predict", recipe)["lab"]["D65"])) < 0.7
    target = reading(tmp_path / "target.csv", bench, WANTED)
    (found,) = ask("match", target)["matches"]
    best = found["formulas"][0]
    c = np.zeros(len(bench.names))
    for part in best["inks"]:
        c[bench.names.index(part["ink"])] = part["percent"] / 100
    assert de00(true, Lab(drawdown_R(bench, c), "D65", 10)) < 1
    measured = reading(tmp_path / "measured.csv", bench, POURED)
    assert not ask("check", target, measured)["passed"]
    weighed = grams(tmp_path / "weighed.csv", bench, POURED)
    told = ask("correct", target, "--weighed", weighed, "--measured", measured)
    more = 1000 * POURED
    for part in told["additions"]:
        more[bench.names.index(part["ink"])] += part["grams"]
    after = Lab(drawdown_R(bench, more / more.sum()), "D65", 10)
    assert de00(true, after) < 1 < told["de00_before"]["D65"]


def test_the_ground_is_said_and_the_lot_check_knows_its_drawdowns(shop):
    session = Session(shop)
    assert session.fits
    told = "colours are those of drawdowns over white half, as thick as its films usually are"
    assert told in [notice.text for notice in session.notices]
    later = Session(shop, earlier=session)  # as a form's next press has it
    assert later.fits and told in [notice.text for notice in later.notices]
    assert len(session.files.like_samples) == len(session.files.drawdowns) / 2


def test_without_a_ground_the_films_say_what_would_hide(shop, bench, tmp_path):
    hides = shutil.copytree(shop, tmp_path / "shop")
    toml = (shop / "shop.toml").read_text(encoding="utf-8").replace(OVER, "")
    (hides / "shop.toml").write_text(toml, encoding="utf-8")
    (hides / "fit.json").unlink()
    session = Session(hides)
    session.__dict__["films"] = Session(shop).films
    palette = session.fits[""].palette
    assert palette.film is not None and np.isinf(palette.film.thickness_um)
    assert "compared_over" in [notice.code for notice in session.notices]


def test_what_is_mostly_clear_is_marked_on_a_card_and_not_on_a_garment(shop):
    session = Session(shop)
    palette = session.fits[""].palette
    clear = np.array([ink.role == "clear" for ink in palette.inks])
    c = np.where(clear, 0.97, 0.03 / 4)
    assert is_mostly_clear(palette, c)
    ground = bare_ground(session.files, "white half")
    printed = fits_over(session.films, ground, NOMINAL_UM)[""].palette
    np.testing.assert_array_equal(printed.film.R_g, palette.film.R_g)
    assert not is_mostly_clear(printed, c)


def test_the_form_and_the_book_work_there(shop, bench, tmp_path, capsys):
    own = shutil.copytree(shop, tmp_path / "shop")
    opened = open_shop(own)
    assert "30 films over a card" in repr(opened) and not opened.lacks
    assert MatchForm(opened).box is not None
    target = reading(tmp_path / "target.csv", bench, WANTED)
    weighed = grams(tmp_path / "weighed.csv", bench, POURED)
    measured = reading(tmp_path / "measured.csv", bench, POURED)
    book = ["book", str(own)]
    for words in (
        [*book, "log-match", str(target), "--recipe", str(weighed)],
        [*book, "weigh", "1", "--as-planned"],
        [*book, "measure", "1", str(measured)],
        [*book, "correct", "1"],
    ):
        assert main(words) == 0, (words, capsys.readouterr().err)


def test_a_print_says_that_no_thickness_is_known(shop):
    session = Session(shop)
    assert films_today(session)
    assert any("each counts as 100 um" in notice.text for notice in session.notices)


# ---- films that are handed in as if they hid


@pytest.mark.parametrize("card", [True, False])
def test_letdowns_that_show_their_card_are_told_as_such(card):
    bench = film_bench() if card else make_bench(7, n_colours=2, troubles=only("semi_matt"))
    inks, drawn = drawdowns_of(bench, np.random.default_rng(5), 10)
    with pytest.MonkeyPatch.context() as patch:  # the other theories take seconds
        patch.setattr("matchkit.fitting.held_out.STRUCTURES", STRUCTURES[-1:])
        patch.setattr("matchkit.fitting.held_out.FILM_STRUCTURES", FILM_STRUCTURES[:2])
        found = fit(drawn, inks, geometry=bench.geometry)
    told = [line for line in found.warnings if "your clear letdowns show the card" in line]
    assert len(told) == card == bool(found.palette.lies_on)
    let = {d.name for d in drawn if "Clear" in d.inks}
    assert not card or not {line.split(":")[0] for line in found.outliers} & let


def test_a_number_on_its_bound_is_said():
    empty = np.ones((1, 1))
    (deep,) = on_bounds(Constants(K=empty, S=empty, k2=0.4, log_deep=2.0), STRUCTURES[4])
    assert "depth, 7.39, sits on its bound (0.05 to 7.39)" in deep
    (k2,) = on_bounds(Constants(K=empty, S=empty, k2=0.0, log_deep=2.0), STRUCTURES[2])
    assert "k2, 0.00, sits on its bound" in k2


def test_the_plan_names_the_drawdown_that_would_tell_most(shop, tmp_path):
    own = shutil.copytree(shop, tmp_path / "shop")
    session = Session(own)
    assert not any("most useful" in note for note in plan_drawdowns(session).plan.notes)
    found = session.films[""]
    doubt = np.zeros((2, *found.palette.K.shape))
    doubt[1, found.palette.index("Lemon")], doubt[1, found.palette.index("Scarlet")] = 1.0, 0.5
    guessed = replace(found, palette=replace(found.palette, doubt=doubt))
    write_fits(own, session.files, {}, {"": guessed})
    (told,) = [n for n in plan_drawdowns(Session(own)).plan.notes if "most useful" in n]
    assert told == (
        "the most useful further drawdown: Lemon alone; how much Lemon scatters is a guess so far"
    )
