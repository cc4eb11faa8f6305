"""New lots checked by one drawdown, in the book and by the command, on the virtual bench.

The bench knows the true strengths; it obeys radiative transfer, not what is fitted.
"""

import json
import shutil
from dataclasses import replace

import numpy as np
import pytest
from book_shop import Clock, by_hand
from small_bench import shop as bench_shop
from test_lot_check import check_of

from matchkit import cli
from matchkit.book.checks import checks_of, log_check
from matchkit.book.copies import check, export, restore
from matchkit.book.entries import strike
from matchkit.book.lessons import learned, save_lessons
from matchkit.book.schema import STEPS
from matchkit.book.stock import open_lot, today
from matchkit.book.store import open_book, reading
from matchkit.colorimetry.grid import GRID_NM
from matchkit.correcting.lot_check import judge_lot, judge_shade
from matchkit.errors import InputError
from matchkit.files.fitted import fit_content, read_fits
from matchkit.files.shop import read_shop
from matchkit.files.write import csv_text
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Drawdown, Shop
from matchkit.matching.match import fractions_for
from matchkit.simulator.simulate import opaque_R

TRUE = {"Lemon": 1.05, "Scarlet": 0.93, "Green": 1.0}  # strengths of the new lots


@pytest.fixture
def bench():
    return bench_shop()[0]


@pytest.fixture
def shop(bench):
    _, drawdowns, found, *_ = bench_shop()
    return Shop(
        name="bench", geometry=bench.geometry, condition="UV included", observer=10,
        lights=("D65", "A"), inks=found.palette.inks, drawdowns=tuple(drawdowns),
    )  # fmt: skip


@pytest.fixture
def fits():
    return {"": bench_shop()[2]}


@pytest.fixture
def book(tmp_path):
    return open_book(tmp_path, who="Ana", clock=Clock())


def judged(shop, drawdown, ink, lot):
    _, _, found, spread = bench_shop()
    return judge_lot(
        found.palette, ink, [drawdown], spread, light="D65", observer=10, lot=lot,
        reference=shop.drawdowns,
    )  # fmt: skip


def checked(book, shop, bench, ink, lot="2", strength=None, rng=None):
    """A check drawdown of a new lot is made, judged and written down."""
    drawdown = check_of(bench, ink, strength=strength or TRUE[ink], rng=rng)
    return log_check(book, shop, drawdown, judged(shop, drawdown, ink, lot))


def test_a_checked_lot_counts_once_it_is_opened_and_is_forgotten_with_it(book, shop, bench, fits):
    rng = np.random.default_rng(4)
    for ink in TRUE:
        checked(book, shop, bench, ink, rng=rng)

    def strengths():
        told = learned(book, today(book, shop), fits)
        lots = told.lots[""]
        named = dict(zip(lots.inks, zip(np.exp(lots.mean), np.sqrt(np.diag(lots.covariance)),
                                        strict=True), strict=True))  # fmt: skip
        return named, told

    before, _ = strengths()
    assert all(before[ink] == (1.0, 0.03) for ink in TRUE)  # nothing known, spread of lots
    for ink in TRUE:
        open_lot(book, shop, ink, "2")
    known, told = strengths()
    for ink, true in TRUE.items():
        s, error = known[ink]
        assert abs(s / true - 1) < 0.02 and error < 0.012
    assert known["White"] == (1.0, pytest.approx(0.03))
    at = told.fits[""].palette.names.index("Scarlet")
    assert told.fits[""].palette.strengths[at] == known["Scarlet"][0]
    assert "Scarlet lot 2 has run 6 % weak by its check drawdown" in told.words or (
        "Scarlet lot 2 has run 7 % weak by its check drawdown" in told.words
    )
    assert not any("batch" in line for line in told.words)
    open_lot(book, shop, "Scarlet", "3")
    assert strengths()[0]["Scarlet"] == (1.0, 0.03)
    assert strengths()[0]["Lemon"] == known["Lemon"]


def test_a_struck_check_says_nothing_and_two_know_better(book, shop, bench, fits):
    rng = np.random.default_rng(5)
    open_lot(book, shop, "Lemon", "2")

    def known():
        lots = learned(book, today(book, shop), fits).lots[""]
        i = lots.inks.index("Lemon")
        return np.exp(lots.mean[i]), np.sqrt(lots.covariance[i, i])

    checked(book, shop, bench, "Lemon", rng=rng)
    one = known()
    wrong = checked(book, shop, bench, "Lemon", rng=rng, strength=1.02)
    assert known()[1] < one[1]
    strike(book, "lot_check", wrong, "another bucket")
    assert known() == one


def test_a_kept_lesson_is_made_anew_when_a_check_comes_later(book, shop, bench, fits):
    from matchkit.book.containers import measure, weigh
    from matchkit.book.entries import log_match
    from matchkit.colorimetry.difference import Target
    from matchkit.matching.rank import weighed

    palette = fits[""].palette
    grams = np.zeros(len(palette.inks))
    grams[[palette.index("White"), palette.index("Lemon")]] = 450.0, 50.0
    R = opaque_R(bench, grams / 500)
    formula = weighed(palette, grams, Target.from_spectrum(R, shop.lights, 10))
    batch = log_match(book, shop, Target.from_spectrum(R, shop.lights, 10), formula, name="a").batch
    weigh(book, shop, batch, dict(zip(formula.inks, formula.grams, strict=True)))
    measure(book, shop, batch, 0.999 * R)
    save_lessons(book, shop, fits)
    before = learned(book, shop, fits).lots[""]
    checked(book, shop, bench, "Lemon", lot="1", strength=1.04)  # of the lot in use
    after = learned(book, shop, fits).lots[""]
    i = after.inks.index("Lemon")
    assert after.mean[i] > before.mean[i] + 0.005 and after.n_batches == 1
    assert after.covariance[i, i] < before.covariance[i, i]
    save_lessons(book, shop, fits)
    np.testing.assert_allclose(learned(book, shop, fits).lots[""].mean, after.mean, atol=1e-8)


def test_a_check_is_judged_with_what_the_batches_told_kept_or_not(
    book, shop, bench, fits, monkeypatch
):
    """A weak white makes every check in it look strong, until batches tell that it is weak."""
    from matchkit.book.containers import measure, weigh
    from matchkit.book.entries import log_match
    from matchkit.colorimetry.difference import Target
    from matchkit.matching.rank import weighed

    palette = fits[""].palette
    true = np.ones(len(palette.inks))
    white, lemon = palette.index("White"), palette.index("Lemon")
    true[white] = 0.94
    others = [k for k in range(len(true)) if k not in (white, lemon)][:5]
    for k in others:
        grams = np.zeros(len(true))
        grams[[white, k]] = 460.0, 40.0
        R = opaque_R(bench, grams / 500, true)
        target = Target.from_spectrum(R, shop.lights, 10)
        formula = weighed(palette, grams, target)
        batch = log_match(book, shop, target, formula, name="a").batch
        weigh(book, shop, batch, dict(zip(formula.inks, formula.grams, strict=True)))
        measure(book, shop, batch, 0.999 * R)
        if k == others[-2]:
            save_lessons(book, shop, fits)
    c = np.zeros(len(true))
    c[[lemon, white]] = 0.1, 0.9
    true[lemon] = 1.05
    R = opaque_R(bench, c, true)
    drawdown = Drawdown(
        name="check", inks=("Lemon", "White"), fractions=(0.1, 0.9), readings=R[None]
    )
    log_check(book, shop, drawdown, judged(shop, drawdown, "Lemon", "2"))
    open_lot(book, shop, "Lemon", "2")
    now = today(book, shop)
    kept = learned(book, now, fits).lots[""]
    todays = {"": replace(fits[""], palette=replace(palette, inks=now.inks))}
    with reading(book) as db:
        assert db.execute("SELECT count(*) FROM lesson").fetchone() == (2,)  # lots, and the fit
    monkeypatch.setattr("matchkit.book.lessons.KEPT", 0)  # as if none had been kept
    for each in (fits, todays):
        np.testing.assert_allclose(learned(book, now, each).lots[""].mean, kept.mean, atol=1e-7)
    apart = np.exp(kept.mean[lemon] - kept.mean[white])
    assert apart == pytest.approx(1.05 / 0.94, rel=0.02)


def test_an_ink_alone_tells_shade_and_no_strength(shop, bench):
    _, drawdowns, found, spread = bench_shop()

    def alone(ink, strength=1.0):
        c, s = np.zeros(len(bench.names)), np.ones(len(bench.names))
        c[bench.names.index(ink)], s[bench.names.index(ink)] = 1, strength
        return Drawdown(
            name="alone", inks=("Lemon",), fractions=(1.0,), readings=opaque_R(bench, c, s)[None]
        )

    told = dict(light="D65", observer=10, reference=drawdowns)
    away, shade = judge_shade(found.palette, "Lemon", alone("Lemon", 1.1), spread, **told)
    assert away < 0.3 and shade == ""
    away, shade = judge_shade(found.palette, "Lemon", alone("Scarlet"), spread, **told)
    assert away > 10 and "redder" in shade
    with pytest.raises(InputError, match="let down in one other ink"):
        log_check(None, shop, alone("Lemon"), judged(shop, check_of(bench, "Lemon"), "Lemon", "2"))


def test_another_ink_is_no_strong_or_weak_lot(shop, bench):
    other = replace(check_of(bench, "Scarlet"), inks=("Lemon", "White"))
    verdict = judged(shop, other, "Lemon", "2")
    assert verdict.kind == "another" and "measure it anew" in verdict.words[1]
    assert not any("weigh" in line and " g where" in line for line in verdict.words)
    twice = judged(shop, check_of(bench, "Lemon", strength=2.0), "Lemon", "2")
    assert twice.kind == "another" and "more than lots differ" in twice.words[0]
    kinds = {ink: judged(shop, check_of(bench, ink, strength=s), ink, "2").kind
             for ink, s in TRUE.items()}  # fmt: skip
    assert kinds == {"Lemon": "strong", "Scarlet": "weak", "Green": "same"}


def test_a_book_of_the_first_version_gets_the_table_and_an_old_export_comes_back(
    tmp_path, shop, bench
):
    old = tmp_path / "old"
    old.mkdir()
    with by_hand(old / "book.db") as db:
        for statement in STEPS[0]:
            db.execute(statement)
        db.execute("INSERT INTO book VALUES (1, '2026-03-02T08:00:00Z', 'abcdefgh')")
        db.execute("PRAGMA application_id = 1296786027")
        db.execute("PRAGMA user_version = 1")
    book = open_book(old, who="Ana", clock=Clock())
    number = checked(book, shop, bench, "Lemon")
    with reading(book) as db:
        assert [key for key in checks_of(db, shop)] == [("Lemon", "2")]
    assert check(book) == []
    export(book, tmp_path / "export")
    for folder, there in (("new", 1), ("before", 0)):
        if not there:  # as an older program exported it
            (tmp_path / "export" / "lot_check.csv").unlink()
        (tmp_path / folder).mkdir()
        restored = restore(tmp_path / "export", tmp_path / folder)
        with reading(restored) as db:
            assert db.execute("SELECT count(*) FROM lot_check").fetchone() == (there,)
    assert number == 1


# ---- the command


@pytest.fixture
def run(fitted_demo, tmp_path, capsys):
    """A copy of the demo shop, letdowns of new lots of it, and someone who types."""
    folder = tmp_path / "shop"
    shutil.copytree(fitted_demo, folder)
    opened = read_shop(folder)
    palette = read_fits(folder, opened, fit_content(folder))[0]["series"]["plastisol"].palette

    def drawdown(name, amounts, **strong):
        c = fractions_for(palette, [*amounts], [*amounts.values()])
        s = np.array([strong.get(n.replace(" ", "_"), 1.0) for n in palette.names])
        path = tmp_path / f"{name}.csv"
        rows = [[name, *np.round(reflectance(palette, c, s), 6).tolist()]]
        path.write_text(csv_text(["name", *(f"{nm:g}" for nm in GRID_NM)], rows), encoding="utf-8")
        return path

    def type_(*words, status=0):
        capsys.readouterr()
        assert cli.main([str(word) for word in words]) == status
        return capsys.readouterr()

    def book_(*words, **how):
        return type_("book", folder, *words, **how)

    book_.drawdown, book_.type, book_.folder = drawdown, type_, folder
    return book_


def test_the_command_finds_the_strength_and_match_counts_on_it(run):
    green = {"Kelp Green": 10, "Quay White": 90}
    strong = run.drawdown("strong", green, Kelp_Green=1.08)
    said = run("check-lot", "Kelp Green", "G-070", strong, "--percent", "10").out
    assert "Kelp Green: runs 8 % strong" in said and "weigh 92.6 g where" in said  # 100 / 1.08
    assert "keeps no record book; weigh by it yourself" in said
    assert not (run.folder / "book.db").exists()

    run("count", "Kelp Green", "2000")  # a book begins
    words = ("check-lot", "Kelp Green", "G-070", strong, "--percent", "10")
    quiet = json.loads(run(*words, "--only-say", "--json").out)
    assert quiet["lot_check"] is None and quiet["verdict"] == "strong"
    assert quiet["strength"] == pytest.approx(1.08, abs=0.005) and quiet["error"] < 0.01
    said = run(*words).out
    assert "it counts once lot G-070 is opened" in said

    def green_of_match():
        target = run.drawdown("target", {"Kelp Green": 20, "Quay White": 80})
        said = run.type("match", run.folder, target, "--top", "1", "--json", "--max-inks", "2")
        (found,) = json.loads(said.out)["matches"]
        shares = {each["ink"]: each["percent"] for each in found["formulas"][0]["inks"]}
        return shares["Kelp Green"], said.err

    plain, quiet = green_of_match()
    assert "Kelp Green" not in quiet
    assert "its check drawdown tells its strength" in run("lot", "Kelp Green", "G-070").out
    less, heard = green_of_match()
    assert "Kelp Green lot G-070 has run 8 % strong by its check drawdown" in heard
    assert 0.91 < less / plain < 0.95  # a prior of 3 % pulls the 8 % in a little
    same = run.drawdown("same", green)
    said = run("check-lot", "Kelp Green", "G-071", same, "--percent", "10", "--open").out
    assert "as strong as the fitted lot" in said
    assert "Written down; the next match uses it" in said
    lots = {each["ink"]: each for each in json.loads(run("lots", "--json").out)["lots"]}
    assert lots["Kelp Green"]["lot"] == "G-071" and lots["Kelp Green"]["error"] < 0.01
    assert abs(lots["Kelp Green"]["strength"] - 1) < 0.005


def test_the_command_on_another_ink_an_ink_alone_and_what_is_wrong(run):
    run("count", "Kelp Green", "2000")
    blue = run.drawdown("blue", {"Slipway Blue": 10, "Quay White": 90})
    told = json.loads(
        run("check-lot", "Kelp Green", "G-070", blue, "--percent", "10", "--json").out
    )
    assert told["verdict"] == "another" and told["lot_check"] is None
    alone = run.drawdown("alone", {"Kelp Green": 100}, Kelp_Green=1.1)
    told = json.loads(run("check-lot", "Kelp Green", "G-070", alone, "--json").out)
    assert (told["verdict"], told["strength"]) == ("same shade", None)
    assert "let 10 % of it down in white" in told["words"][1]
    white = run.drawdown("white", {"Quay White": 96, "Bollard Black": 4}, Quay_White=0.95)
    told = json.loads(
        run("check-lot", "Quay White", "W-2", white, "--percent", "96", "--in", "Bollard Black",
            "--json").out
    )  # fmt: skip
    assert told["verdict"] == "weak" and told["strength"] == pytest.approx(0.95, abs=0.015)
    full = run.drawdown("full", {"Kelp Green": 99, "Quay White": 1})
    for words, why in (
        (("Kelp Grn", "1", blue, "--percent", "10"), "Kelp Grn"),
        (("Kelp Green", "1", blue, "--percent", "0"), "need more than 0 and less than 100"),
        (
            ("Kelp Green", "1", blue, "--in", "Quay White"),
            "how many percent of the lot went into it",
        ),
        (("Quay White", "1", white, "--percent", "96"), "can't be let down in itself"),
        (("Kelp Green", " ", blue, "--percent", "10"), "a lot needs its name"),
        (("Kelp Green", "1", alone, "--open"), "alone, an ink has one colour"),
        (("Kelp Green", "1", blue, "--percent", "10", "--open", "--only-say"), "leave out one"),
        (("Kelp Green", "1", full, "--percent", "99"), "hardly change with strength"),
    ):
        assert why in run("check-lot", *words, status=2).err
    assert json.loads(run("check", "--json").out)["sound"]
