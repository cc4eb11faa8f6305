"""A whole job on the job page, as a mixer does it, through reloads and a power cut."""

import re
import shutil
from dataclasses import replace

import numpy as np
import pytest

from matchkit.book.drafts import draft
from matchkit.book.jobs import job
from matchkit.book.store import open_book
from matchkit.colorimetry.grid import GRID_NM
from matchkit.forms.shops import open_shop
from matchkit.inks.palette import reflectance

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
expect = sync_api.expect
pytest.importorskip("voila", reason="voila is not installed")

from browser.conftest import watch  # noqa: E402
from browser.driving import COUNT, Page, clicks_of, until  # noqa: E402

PRESSES = 6  # from the customer's file to the printed ticket
ASKED = {"Quay White": 0.90, "Sharp Lemon": 0.07, "Deckhand Blue": 0.03}
PLANNED = re.compile(r" g planned$")  # the field of an ink
STRONG = {"Sharp Lemon": 1.25}  # today's lot, which nobody knows of yet


@pytest.fixture(scope="module")
def served(tmp_path_factory, fitted_demo):
    """The page of a shop of its own, and the fit of its inks."""
    home = tmp_path_factory.mktemp("page")
    shutil.copytree(fitted_demo, home / "shop")
    page = Page(home / "shop", home)
    page.start()
    yield page
    page.kill()


@pytest.fixture(scope="module")
def palette(fitted_demo):
    return next(iter(open_shop(fitted_demo).fits.values())).palette


def spectrum(palette, amounts, strengths=()):
    """What a spectrophotometer writes of a mixture of the shop's inks, as an upload."""
    c = np.array([amounts.get(name, 0.0) for name in palette.names])
    lots = np.array([dict(strengths).get(name, 1.0) for name in palette.names])
    R = reflectance(replace(palette, strengths=lots), c / c.sum())
    rows = [f"{nm},{value:.5f}" for nm, value in zip(GRID_NM, R, strict=True)]
    text = "\n".join(["wavelength_nm,reflectance", *rows])
    return {"name": "customer.csv", "mimeType": "text/csv", "buffer": text.encode()}


def opened(browser, served, name=""):
    """A tablet that opens the page."""
    page = browser.new_page()
    watch(page, served.base)
    page.goto(served.link)
    if name:
        page.get_by_label("Your name").fill(name)
        page.get_by_label("Your name").press("Tab")
    return page


def press(page, words):
    page.get_by_role("button", name=words, exact=True).locator("visible=true").click()


def kept(served, batch=1):
    return job(open_book(served.shop, create=False), batch)


def hand_in(page, words, file):
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name=words).locator("visible=true").click()
    chooser.value.set_files(file)
    expect(page.get_by_text("customer.csv was read.").locator("visible=true")).to_be_visible()


def measured(page, served, palette):
    """A drawdown of what is in the container, with today's lots, is handed in."""
    file = spectrum(palette, kept(served).container, STRONG)
    hand_in(page, "Choose the measured file", file)
    press(page, "Write it down")


def test_a_job_from_the_customers_colour_to_its_label(browser, served, palette):
    page = opened(browser, served, "Ada")
    page.evaluate(COUNT)
    press(page, "New colour")
    hand_in(page, "Choose a spectrum file", spectrum(palette, ASKED))
    press(page, "Find formulas")
    expect(page.get_by_label("Formula 1")).to_be_checked()
    press(page, "Begin this job")
    expect(page.get_by_text("Next: weigh it.")).to_be_visible()
    press(page, "Save the ticket")
    expect(page.get_by_text("Saved: ").locator("visible=true")).to_be_visible()
    press(page, "Print this page")
    assert clicks_of(page) <= PRESSES

    press(page, "All as planned")
    press(page, "Write it down")
    expect(page.get_by_text("Next: stir, draw down, cure, let cool, measure.")).to_be_visible()

    other = opened(browser, served)  # a second tablet
    expect(other.get_by_label("Your name")).to_have_value("Ada")
    page.bring_to_front()
    measured(page, served, palette)
    expect(page.locator(".mk-fail")).to_contain_text("OUT OF TOLERANCE: dE00")
    expect(page.locator(".mk-fail")).to_be_in_viewport()
    other.bring_to_front()
    press(other, "Write it down")
    expect(other.get_by_role("alert").filter(has_text="somebody else wrote")).to_be_visible()
    expect(other.get_by_text("Next: out of tolerance")).to_be_visible()
    assert other.problems == []
    other.close()

    press(page, "What should I add?")
    expect(page.get_by_text("Which addition?")).to_be_visible()
    first = page.get_by_label(PLANNED).first
    grams = re.search(r"([0-9.]+) g planned", first.locator("..").inner_text())[1]
    first.fill(grams)
    first.press("Tab")
    until(lambda: f"'{grams}'" in str(draft(open_book(served.shop), "batch 1")))

    served.kill()
    expect(page.get_by_text("This page has lost its server")).to_be_visible()
    served.start()
    page.reload()
    expect(page.locator(".mk-steps .mod-active")).to_have_text("This job")
    expect(page.get_by_text("Which addition?")).to_be_visible()
    expect(page.get_by_label(PLANNED).first).to_have_value(grams)
    page.problems.clear()  # of the time without a server
    press(page, "All as planned")
    press(page, "Write it down")
    expect(page.get_by_text("round 2")).to_be_visible()

    measured(page, served, palette)
    expect(page.locator(".mk-pass")).to_contain_text("IN TOLERANCE: dE00")

    page.get_by_label("Approved by").fill("Bea")
    press(page, "Write it down")
    expect(page.get_by_text("Batch 1: approved.")).to_be_visible()
    label = page.frame_locator("iframe[title^=Label] >> visible=true")
    expect(label.get_by_text("customer", exact=True)).to_be_visible()
    record = kept(served)
    assert (record.state, record.approved_by, len(record.pours)) == ("approved", "Bea", 2)
    assert page.problems == []
    page.close()
