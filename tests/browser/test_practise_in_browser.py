"""Practising as a learner does: in JupyterLab, with the mouse."""

import pytest

from matchkit.practice.kinds import KINDS, exercise
from matchkit.practice.safety import SAFETY
from matchkit.practice.simulated_shop import practice_shop

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
expect = sync_api.expect

BOOK = "10_practise.ipynb"


@pytest.mark.parametrize("kind", KINDS)
def test_an_exercise_is_answered(notebook, kind):
    page, first = notebook(BOOK), exercise(practice_shop(), kind, seed=1, level=0)
    form = page.locator(f".mk-practise-{kind}")
    expect(form.get_by_text(first.question)).to_be_visible()
    if kind == "see":
        expect(form.get_by_text(first.swatches[0].numbers)).to_have_count(0)
        show = form.get_by_role("button", name="Show the numbers")
        show.click()
        try:
            expect(form.get_by_text(first.swatches[0].numbers).first).to_be_visible(timeout=9000)
        except AssertionError:  # pressed while the form was drawn anew
            show.click()
    for each in first.swatches if kind != "light" else ():
        expect(form.get_by_text(each.numbers).first).to_be_visible()
    form.get_by_role("button", name="Give me a hint").click()
    expect(form.get_by_text(first.hint).first).to_be_visible()
    form.get_by_label(first.choices[first.answer].text, exact=True).check()
    form.get_by_role("button", name="Mark my answer").click()
    expect(form.get_by_text("Right: ")).to_be_visible()
    expect(form.get_by_text("1 of 1 right").first).to_be_visible()
    form.get_by_role("button", name="Next one").click()
    expect(form.get_by_text("Right: ")).to_have_count(0)


def test_a_job_is_played_with_the_hints(notebook):
    page = notebook(BOOK)
    form = page.locator(".mk-practise-job")
    go = form.get_by_role("button", name="Do that for me")
    go.click()
    expect(form.get_by_text("look: The batch is judged under").first).to_be_visible()
    go.click()
    first = SAFETY[0]
    expect(form.get_by_text(first.question)).to_be_visible()
    form.get_by_label(first.choices[first.answer]).check()
    form.get_by_role("button", name="Answer", exact=True).click()
    expect(form.get_by_text("Now make your move.")).to_be_visible()
    go.click()
    expect(form.get_by_text("weigh: White").first).to_be_visible()
    form.get_by_label("Seconds").fill("0")
    form.get_by_role("button", name="Stir").click()
    expect(form.get_by_text(SAFETY[1].question)).to_be_visible()


def test_every_form_is_named_and_readable_at_twice_the_size(notebook):
    page = notebook(BOOK)
    for kind in (*KINDS, "job"):
        form = page.locator(f".mk-practise-{kind}")
        for field in form.locator("input:visible, select:visible").all():
            label = field.evaluate("e => e.labels && e.labels.length || e.ariaLabel")
            assert label
        for image in form.locator("img").all():
            assert image.get_attribute("alt")
        wide = form.evaluate("e => e.scrollWidth - e.clientWidth")
        assert wide <= 2
