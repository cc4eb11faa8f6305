"""The job page without a browser: a job goes from its colour to its approval on one page."""

import shutil
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from matchkit.book.jobs import job
from matchkit.book.store import open_book
from matchkit.cli import main
from matchkit.colorimetry.grid import GRID_NM
from matchkit.inks.palette import reflectance

w = pytest.importorskip("ipywidgets", reason="ipywidgets is not installed")

from matchkit.forms import parts as ui  # noqa: E402
from matchkit.forms.book import ADDED, CLOSED, MEASURED, WEIGHED  # noqa: E402
from matchkit.forms.page import JOB, STEPS, TODAY, JobPage  # noqa: E402
from matchkit.forms.shops import keep, kept_in, open_shop  # noqa: E402
from matchkit.report.parts import Picture  # noqa: E402

WHO = "Ada"


@pytest.fixture
def shop(fitted_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    folder = tmp_path / "shop"
    shutil.copytree(fitted_demo, folder)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MATCHKIT_FORMS_RAISE", "1")
    monkeypatch.setenv("MATCHKIT_SETTINGS", str(tmp_path / "settings"))
    yield folder
    kept_in(Path())


def widgets(box):
    """Every widget below `box`."""
    yield box
    for child in getattr(box, "children", ()):
        yield from widgets(child)


def press(box, words):
    (found,) = [e for e in widgets(box) if isinstance(e, w.Button) and e.description == words]
    found.click()
    return found


def labels(page):
    return [getattr(each, "description", "") for each in widgets(page.place)]


def loaded(shop, step=JOB):
    """The page as a browser that was just opened shows it."""
    page = JobPage(shop)
    page.who.text.value = WHO
    page.step.value = step
    return page


def test_a_job_goes_over_one_page_and_a_reload_finds_it_where_it_stands(shop):
    page = loaded(shop, "New colour")
    press(page.place, "Find formulas")
    chosen = next(
        e for e in widgets(page.place) if "Which formula" in getattr(e, "description", "")
    )
    until = time.monotonic() + 120
    while not chosen.options and time.monotonic() < until:
        time.sleep(0.02)
    sized = "The batch is what the print job needs"
    next(e for e in widgets(page.place) if getattr(e, "description", "") == sized).value = True
    while press(page.place, "Begin this job") and page.step.value != JOB:
        assert time.monotonic() < until
        time.sleep(0.02)
    assert page.book.what.value == WEIGHED

    page = loaded(shop)
    assert (page.book.record.batch, page.book.what.value) == (1, WEIGHED)
    assert page.book.record.print_job
    total = page.book.record.planned_g
    assert total != 1000.0
    rows = page.book.rows
    assert f"1 of {len(rows.fields)}: " in rows.now.value
    rows.shows.text.value = f"{next(iter(rows.planned.values())) + 0.5:.2f}"
    for _ in rows.fields:
        press(page.place, "Next ink")
    assert f"All in: {total + 0.5:.2f} g. Write it down." in rows.now.value
    press(page.place, "Write it down")
    assert page.book.what.value == MEASURED

    page = loaded(shop)
    assert page.book.what.value == MEASURED
    record = page.book.record
    fit = next(iter(open_shop(shop).fits.values()))
    c = [record.holds.get(name, 0.0) for name in fit.palette.names]
    R = reflectance(fit.palette, [each / sum(c) for each in c])
    rows = [f"{nm},{value:.5f}" for nm, value in zip(GRID_NM, R, strict=True)]
    content = "\n".join(["wavelength_nm,reflectance", *rows]).encode()
    file = {"name": "proof.csv", "type": "text/csv", "size": len(content)}
    file |= {"content": memoryview(content), "last_modified": datetime.now(UTC)}
    page.book.reading.file.upload.value = (file,)
    press(page.place, "Write it down")
    assert page.book.wrong.value == ""
    assert page.book.what.value in (CLOSED, ADDED)

    page = loaded(shop)
    assert page.book.what.value == CLOSED
    page.book.by.text.value = "Bea"
    press(page.place, "Write it down")
    record = job(open_book(shop), 1)
    assert (record.outcome, record.state) == ("approved", "approved")


def test_every_step_opens_and_stays_as_it_was_left(shop):
    page = loaded(shop)
    for name in STEPS:
        page.step.value = name
        assert page.problems.value == ""
        assert (page.place.children[0] is page.made[name]) == (name != JOB)  # there is no job
    page.step.value = "Check"
    fold = next(e for e in widgets(page.place) if isinstance(e, w.ToggleButton))
    assert "Compare under the lights" not in labels(page)
    page.who.text.value, fold.value = WHO, True
    fold.value = False
    assert "Compare under the lights" in labels(page)
    kept = page.made["Check"]
    page.step.value = "Check"
    assert page.place.children[0] is kept


def test_held_back_ink_and_an_over_pour_change_what_comes_next(shop):
    page = loaded(shop, TODAY)
    assert main(["book", str(shop), "log-match", "--lab", "70,-20,20", "--by", "Bo"]) == 0
    page.book.refresh()
    page.step.value = JOB
    rows = page.book.rows
    (white, white_g), (second, second_g) = [*rows.planned.items()][:2]
    page.book.ticket.hold.value = 0.1
    rows.shows.text.value = f"{white_g + 10:.2f}"
    press(page.place, "Next ink")
    assert f"10.00 g too much {white}" in rows.wrong.value
    assert f"2 of {len(rows.planned)}: {second} {0.9 * second_g:.2f} g" in rows.now.value
    assert f"{0.1 * second_g:.2f} g more of it is held back" in rows.now.value
    page.book.ticket.hold.value = 0.0
    assert rows.fields[white].text.value == f"{white_g + 10:.2f}"
    press(page.place, "Too much went in: how to go on")
    assert rows.planned[second] == pytest.approx(second_g * (1 + 10 / white_g), abs=0.02)
    assert f"{second} {rows.planned[second]:.2f} g" in rows.now.value


def test_a_form_that_was_opened_once_is_there_again_with_what_was_typed(shop):
    assert main(["book", str(shop), "log-match", "--lab", "70,-20,20", "--by", "Bo"]) == 0
    page = loaded(shop, "Own formula")
    folds = [e for e in widgets(page.place) if isinstance(e, w.ToggleButton)]
    looks = next(e for e in folds if e.description == "Show what a formula looks like")
    looks.value = True
    field = next(e for e in widgets(page.place) if getattr(e, "description", "") == "Batch, grams")
    field.value = "123"
    looks.value = False
    again = loaded(shop, "Own formula")
    assert "123" in [getattr(e, "value", "") for e in widgets(again.place)]


def test_the_address_for_other_tablets_is_on_the_page(shop, monkeypatch):
    pytest.importorskip("segno", reason="segno is not installed")
    link = "http://192.0.2.7:8866/?token=abc"
    monkeypatch.setenv("MATCHKIT_PAGE_ADDRESS", link)
    page = loaded(shop, TODAY)
    told = [e.value for e in widgets(page.place) if isinstance(e, w.HTML) and link in e.value]
    assert len(told) == 1
    assert "<svg" in told[0]


def test_words_wait_for_no_picture():
    seen, place = [], ui.area()
    place.observe(lambda change: seen.append(change["new"]), names="value")
    ui.put(place, ["It came out.", Picture(alt="a line", draw=lambda ax: ax.plot([0, 1]))])
    assert ["<img" in each for each in seen] == [False, True]
    assert all("It came out." in each for each in seen)


def test_a_picture_that_comes_late_brings_no_old_answer_back(monkeypatch):
    place = ui.area()

    def emptied(picture, most_in):
        place.value = ""  # an entry was changed meanwhile
        return b""

    monkeypatch.setattr("matchkit.report.html.png_of", emptied)
    ui.put(place, ["It came out.", Picture(alt="a line", draw=lambda ax: ax.plot([0, 1]))])
    assert place.value == ""


def test_what_is_saved_lies_in_the_shop_and_the_shop_is_remembered(shop, tmp_path):
    page = loaded(shop)
    assert keep("a ticket", ".html", "<p>").parent == (shop / "tickets")
    other = tmp_path / "other"
    shutil.copytree(shop, other, ignore=shutil.ignore_patterns("tickets"))
    again = JobPage(other)
    assert [folder for _, folder in again.shop.options] == [other.resolve(), shop.resolve()]
    again.shop.value = shop.resolve()
    assert again.opened.folder == shop.resolve()
    assert page.opened.folder == shop.resolve()


def test_a_folder_that_is_no_shop_is_told_on_the_page(tmp_path, monkeypatch):
    monkeypatch.setenv("MATCHKIT_SETTINGS", str(tmp_path / "settings"))
    empty = tmp_path / "empty"
    empty.mkdir()
    page = JobPage(empty)
    page.step.value = "New colour"
    assert "No shop is open" in page.place.children[0].children[1].value
    kept_in(Path())


def test_what_is_typed_for_a_job_is_there_when_the_page_is_loaded_again(shop):
    page = loaded(shop, TODAY)
    assert main(["book", str(shop), "log-match", "--lab", "70,-20,20", "--by", "Bo"]) == 0
    page.book.refresh()
    page.step.value = JOB
    (ink, field), *_ = page.book.rows.fields.items()
    field.text.value = "612.4"
    again = JobPage(shop)
    assert (again.who.text.value, again.step.value) == (WHO, JOB)
    assert again.book.rows.fields[ink].text.value == "612.4"
    press(again.place, "All as planned")
    press(again.place, "Write it down")
    assert JobPage(shop).book.what.value == MEASURED
    assert page.book.rows.fields[ink].text.value == "612.4"  # it is told when this page writes
    press(page.place, "Write it down")
    assert "somebody else wrote" in page.book.wrong.value
