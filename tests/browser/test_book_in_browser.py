"""The record book as a mixer keeps it: in JupyterLab, with the mouse."""

import re

import pytest

from matchkit.book.jobs import job, todays_jobs
from matchkit.book.store import open_book
from matchkit.cli import main
from matchkit.forms.book_demo import COPY, demo_day

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
expect = sync_api.expect

from browser.driving import clicks_of  # noqa: E402

NOTEBOOK = "09_keep_the_book.ipynb"
CLICKS = 3  # to write down a drawdown, the name typed once
WAITING = "batch 14 Walnut brown (2026-03-27.csv)"
FORMS = (".mk-book", ".mk-ink-history")
AGAIN = pytest.mark.slow  # `test_forms_book` presses the same buttons without a browser


def kept(lab, batch):
    """All that there is about a batch in the book's file, as any program reads it."""
    return job(open_book(lab[1] / COPY, create=False), batch)


def choose(form, words):
    """A job by the words of its line."""
    jobs = form.get_by_label("Job", exact=True).first
    line = jobs.locator("option", has_text=words).first.inner_text()
    jobs.select_option(label=line)
    return jobs


def test_a_drawdown_is_written_down(notebook, lab):
    page = notebook(NOTEBOOK)
    form = page.locator(".mk-book")
    form.get_by_label("Your name").fill("Ana")
    before = clicks_of(page)
    choose(form, "14 Walnut brown")
    form.get_by_label("Spectrum", exact=True).select_option(WAITING)
    form.get_by_role("button", name="Write it down").click()
    told = re.compile(r"Written down\. (IN|OUT OF) TOLERANCE: dE00")
    expect(form.get_by_text(told)).to_be_visible()
    assert clicks_of(page) - before <= CLICKS
    (reading,) = kept(lab, 14).readings
    assert (reading.who, kept(lab, 14).state[:3]) == ("Ana", "in:" if reading.passed else "out")


def test_a_batch_is_weighed_with_the_keyboard(notebook, lab):
    page = notebook(NOTEBOOK)
    form = page.locator(".mk-book")
    form.get_by_label("Your name").fill("Ana")
    choose(form, "16 Pale mint")
    first = form.get_by_label("Quay White, 675.43 g planned")
    first.focus()
    page.keyboard.type("675,5")
    page.keyboard.press("Tab")
    page.keyboard.type("17.85")
    page.keyboard.press("Tab")
    page.keyboard.type("6.7o")
    page.keyboard.press("Enter")
    expect(form.get_by_role("alert")).to_contain_text("6.7o")
    form.get_by_label("Sharp Lemon, 6.72 g planned").fill("6.70")
    page.keyboard.press("Tab")
    form.get_by_role("button", name="Write it down").click()
    expect(
        form.get_by_text("700.05 g weighed, furthest off the plan: Quay White +0.07")
    ).to_be_visible()
    (pour,) = kept(lab, 16).pours
    assert sorted(pour.actual_g) == [6.7, 17.85, 675.5]
    expect(form.get_by_label("a drawdown was measured")).to_be_checked()


def test_what_a_command_wrote_is_seen(notebook, lab, tmp_path, capsys):
    page = notebook(NOTEBOOK)
    form = page.locator(".mk-book")
    form.get_by_label("Your name").fill("Ana")
    choose(form, "15 Sea teal")
    form.get_by_role("button", name="All as planned").click()
    expect(form.get_by_label("Lamp Orange, 15.66 g planned")).to_have_value("15.66")
    assert main(["book", str(lab[1] / COPY), "weigh", "15", "--as-planned", "--by", "Bo"]) == 0
    form.get_by_role("button", name="Write it down").click()
    expect(form.get_by_role("alert")).to_contain_text("somebody else wrote about batch 15")
    (pour,) = kept(lab, 15).pours
    assert pour.who == "Bo"
    expect(form.get_by_role("row", name="15 Sea teal to measure")).to_be_visible()


@AGAIN
def test_an_addition_a_label_and_a_search(notebook, lab):
    page = notebook(NOTEBOOK)
    form = page.locator(".mk-book")
    form.get_by_label("Your name").fill("Ana")
    choose(form, "13 Bottle green")
    form.get_by_role("button", name="What should I add?").click()
    expect(form.get_by_text("Allowed for: Sharp Lemon lot L-044")).to_be_visible()
    form.get_by_role("button", name="All as planned").click()
    form.get_by_role("button", name="Write it down").click()
    expect(form.get_by_text(re.compile("g added.*Draw down, cure"))).to_be_visible()
    assert len(kept(lab, 13).pours) == 2
    form.get_by_role("button", name="Save the container's label").click()
    expect(form.get_by_text("Label-13-Bottle-green.html")).to_be_visible()
    frame = form.frame_locator("iframe")
    expect(frame.get_by_role("heading", name="Bottle green")).to_be_visible()
    expect(frame.get_by_text("NOT APPROVED YET")).to_be_visible()
    form.get_by_role("button", name="Show the search in the book").click()
    form.get_by_label("Customer, or part of it").fill("kite")
    form.get_by_role("button", name="Find it").click()
    form.get_by_label("Look at").select_option(label="7 Sea teal, Regatta tees, again")
    found = form.get_by_role("paragraph").filter(has_text="7 Sea teal, Regatta tees, again, Kite")
    expect(found).to_be_visible()
    form.get_by_role("button", name="Show what to order").click()
    form.get_by_role("button", name="Which inks run low?").click()
    expect(form.get_by_role("columnheader", name="Lasts, days")).to_be_visible()


@AGAIN
def test_a_new_job_and_the_ink_history(notebook, lab):
    page = notebook(NOTEBOOK)
    form = page.locator(".mk-book")
    form.get_by_label("Your name").fill("Ana")
    form.get_by_role("button", name="Show the fields of a new job").click()
    target = form.get_by_label("Target", exact=True).locator("visible=true")  # once it is made
    target.first.select_option("Dusty rose")
    form.get_by_label("Customer", exact=True).last.fill("Night Market")
    form.get_by_role("button", name="Begin this job").click()
    expect(form.get_by_text("Begun: batch 17.")).to_be_visible()
    assert [each.batch for each in todays_jobs(open_book(lab[1] / COPY, clock=demo_day))][-1] == 17
    history = page.locator(".mk-ink-history")
    history.get_by_role("button", name="Look again").click()
    expect(history.get_by_text("Sharp Lemon lot L-044 has run")).to_be_visible()
    history.get_by_label("Ink", exact=True).select_option("Kelp Green")
    expect(history.get_by_text("Kelp Green lot G-064 has run")).to_be_visible()
    history.get_by_label("by who mixed").check()
    expect(history.get_by_role("columnheader", name="Who mixed")).to_be_visible()


@AGAIN
def test_the_shelf_a_job_again_and_a_record_struck(notebook, lab):
    page = notebook(NOTEBOOK)
    form = page.locator(".mk-book")
    form.get_by_label("Your name").fill("Ana")
    form.get_by_role("button", name="Show the shelf: deliveries, new lots, counting").click()
    form.get_by_label("a new lot was opened").check()
    form.get_by_label("Ink or leftover").select_option("Kelp Green")
    form.get_by_label("Lot, as its label says").fill("G-070")
    form.get_by_role("button", name="Put it in the book").click()
    expect(form.get_by_text("Kelp Green: lot G-070 from now on.")).to_be_visible()
    expect(form.get_by_role("row", name="Kelp Green G-070")).to_be_visible()
    choose(form, "17 Dusty rose")
    form.get_by_role("button", name="Show how to strike a wrong record").click()
    form.get_by_label("Which record is wrong?").select_option("the whole job")
    form.get_by_label("What was wrong with it?").fill("written twice")
    form.get_by_role("button", name="Strike it").click()
    expect(form.get_by_text("struck: the whole job. Write the right one anew")).to_be_visible()
    form.get_by_label("Or its number, or its label scanned").fill("7")
    form.get_by_label("Or its number, or its label scanned").press("Enter")
    form.get_by_role("button", name="Show how to mix this colour again").click()
    form.get_by_role("button", name="Match it again").click()
    expect(form.get_by_text("Matched under D65 to what batch 7 measured")).to_be_visible()
    form.get_by_role("button", name="Begin this job again").click()
    expect(form.get_by_role("row", name="18 Sea teal to weigh")).to_be_visible()
    assert (kept(lab, 18).name, kept(lab, 18).customer) == ("Sea teal", kept(lab, 7).customer)


def test_every_field_is_named_and_nothing_is_cut_off_at_twice_the_size(notebook):
    page = notebook(NOTEBOOK)
    for name in FORMS:
        form = page.locator(name)
        for field in form.locator("input:visible, select:visible").all():
            assert field.evaluate("e => e.labels && e.labels.length || e.ariaLabel")
        for image in form.locator("img").all():
            assert image.get_attribute("alt")
    page.set_viewport_size({"width": 640, "height": 1000})
    wide = [page.locator(name).evaluate("e => e.scrollWidth - e.clientWidth") for name in FORMS]
    crowded = page.evaluate(
        "() => [...document.querySelectorAll('.mk-book .widget-label')]"
        ".filter(e => e.offsetParent && e.scrollWidth > e.closest('.mk-field').clientWidth + 1)"
        ".map(e => e.innerText)"
    )
    page.set_viewport_size({"width": 1280, "height": 1000})
    assert max(wide) <= 2
    assert crowded == []
