"""Prints and job size as a mixer asks for them: in JupyterLab, with the mouse."""

import re

import pytest

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
expect = sync_api.expect

BOOK = "11_print_and_job_size.ipynb"
TEES = ("white tee", "grey tee", "navy tee", "black tee", "red tee")
WAYS = ("1 stroke", "2 strokes", "1 stroke on underbase", "2 strokes on underbase")


def test_does_it_cover(notebook):
    form = notebook(BOOK).locator(".mk-cover")
    form.get_by_role("button", name="Does it cover?").click()
    expect(form.get_by_role("columnheader", name="What it needs")).to_be_visible()
    for tee in TEES:
        expect(form.get_by_role("rowheader", name=tee)).to_be_visible()
    for way in WAYS:
        expect(form.get_by_role("columnheader", name=f"dE00, {way}", exact=True)).to_be_visible()
    told = form.get_by_role("img", name="Each garment bare and printed").get_attribute("alt")
    assert "black tee: needs two strokes" in told
    # Another thickness: what was told is no longer true and goes; thick enough, one stroke does.
    form.get_by_label("One stroke, um").fill("100")
    form.get_by_label("One stroke, um").press("Enter")
    expect(form.get_by_role("columnheader", name="What it needs")).to_have_count(0)
    form.get_by_role("button", name="Does it cover?").click()
    expect(form.get_by_role("cell", name="covers in one stroke")).to_have_count(len(TEES))
    # Without an underbase none is considered.
    form.get_by_label("Underbase, um").fill("")
    form.get_by_label("Underbase, um").press("Enter")
    form.get_by_role("button", name="Does it cover?").click()
    expect(form.get_by_role("columnheader", name=re.compile("underbase"))).to_have_count(0)
    expect(form.get_by_role("columnheader", name="dE00, 2 strokes")).to_be_visible()


def test_a_thickness_that_is_none_is_told_at_the_field(notebook):
    form = notebook(BOOK).locator(".mk-cover")
    for wrong in ("0", "-5", "thin"):
        form.get_by_label("One stroke, um").fill(wrong)
        form.get_by_label("One stroke, um").press("Tab")
        expect(form.locator(".mk-alert")).to_have_count(0)  # that of the entry before
        form.get_by_role("button", name="Does it cover?").click()
        expect(form.locator(".mk-alert")).to_contain_text("One stroke, um: ")
        expect(form.get_by_role("columnheader", name="What it needs")).to_have_count(0)
    form.get_by_label("One stroke, um").fill("50")
    form.get_by_label("One stroke, um").press("Enter")
    expect(form.locator(".mk-alert")).to_have_count(0)


def test_how_much_ink_and_its_ticket(notebook, lab):
    form = notebook(BOOK).locator(".mk-jobsize")
    form.get_by_label("Prints").fill("1,5")
    form.get_by_label("Prints").press("Enter")
    expect(form.get_by_role("alert")).to_contain_text("write a whole number")
    form.get_by_label("Prints").fill("150")
    form.get_by_label("Prints").press("Enter")
    form.get_by_role("button", name="How much ink?").click()
    # By hand: 1200 cm2 x 40 % x 60 cm3/m2 x 60 % = 1.728 ml a print; 150 of them and a tenth on
    # top are 285.12 ml, at 1.354 g/ml 386.05 g: to the whole gram, rather more, 387.
    expect(form.get_by_text("Mix 387 g (13.6 oz), 285 ml (9.6 US fl oz)")).to_be_visible()
    expect(form.get_by_text("10 % of the printed ink on top for loss")).to_be_visible()
    form.get_by_label("Job or customer").fill("Harbour race")
    form.get_by_role("button", name="Save the ticket").click()
    expect(form.get_by_text("Harbour-race.html")).to_be_visible()
    ticket = (lab[1] / "tickets" / "Harbour-race.html").read_text(encoding="utf-8")
    assert "Mix 387 g (13.6 oz)" in ticket and "150 prints, artwork 1200 cm2" in ticket


def test_inches_and_a_measured_thickness(notebook):
    form = notebook(BOOK).locator(".mk-jobsize")
    form.get_by_label("Lengths in").select_option(label="inches and mil (1/1000 inch)")
    form.get_by_label("a wet thickness that was measured").check()
    expect(form.get_by_label("Mesh, cm3 per m2")).to_be_hidden()
    for label, text in (
        ("Prints", "1000"),
        ("Artwork, width, inches", "10"),
        ("Artwork, height, inches", "4"),
        ("In this colour, %", "100"),
        ("Wet thickness, mil", "1"),
        ("Loss, % on top", "0"),
    ):
        form.get_by_label(label, exact=True).fill(text)
    form.get_by_role("button", name="How much ink?").click()
    # By hand: 40 in2 x 1 mil = 0.04 in3 a print, 40 in3 for a thousand, 655 ml or 22.2 US fl oz.
    expect(form.get_by_text("655 ml (22.2 US fl oz)")).to_be_visible()
    expect(form.get_by_text("25.4 um (1 mil) of wet ink")).to_be_visible()


def test_both_forms_are_named_and_fit_a_narrow_page(notebook):
    page = notebook(BOOK)
    page.set_viewport_size({"width": 760, "height": 1000})
    try:
        for name in ("cover", "jobsize"):
            form = page.locator(f".mk-{name}")
            form.scroll_into_view_if_needed()
            for field in form.locator("input:visible, select:visible").all():
                assert field.evaluate("e => e.labels && e.labels.length || e.ariaLabel")
            for image in form.locator("img").all():
                assert image.get_attribute("alt")
            assert form.evaluate("e => e.scrollWidth - e.clientWidth") <= 2
    finally:
        page.set_viewport_size({"width": 1280, "height": 1000})
