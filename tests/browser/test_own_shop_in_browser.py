"""The road to a shop of one's own with mouse and keyboard: no terminal is opened."""

import pytest
from own_shop import BENCH, drawn, instrument_csv

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
expect = sync_api.expect

from browser.driving import ALL_RUN, LOOK_MS, WAIT_MS  # noqa: E402
from matchkit.forms.shops import CHOSEN  # noqa: E402

BOOK = "12_a_shop_of_your_own.ipynb"
AT_WORK = """() => [...document.querySelectorAll('.jp-InputPrompt')]
  .some(e => e.textContent.includes('*'))"""


@pytest.fixture
def folder(lab):
    """The folder to be made; the demo shop is chosen again after the test."""
    yield lab[1] / "bay street"
    (lab[1] / CHOSEN).unlink(missing_ok=True)


def run_all(page):
    """As a person does after choosing a shop."""
    page.locator("[data-jp-item-name='restart-and-run']").get_by_role("button").click()
    page.locator(".jp-Dialog .jp-mod-accept").click()
    page.wait_for_function(AT_WORK, timeout=WAIT_MS, polling=LOOK_MS / 4)
    page.wait_for_function(ALL_RUN, timeout=WAIT_MS, polling=LOOK_MS)


def test_from_an_empty_form_to_a_fit(notebook, lab, folder, tmp_path):
    page = notebook(BOOK)
    demo = {path: path.read_bytes() for path in (lab[1] / "demo-shop").rglob("*.csv")}
    form = page.locator(".mk-new-shop")
    form.get_by_role("button", name="Make the shop").click()
    expect(form.get_by_role("alert").first).to_contain_text("How your instrument measures")
    assert not folder.exists()
    form.get_by_label("Name of its folder").fill("bay street")
    form.get_by_label("Name of the shop").fill("Bay Street")
    form.get_by_label("How your instrument measures").select_option(BENCH.geometry)
    form.get_by_label("With which light").select_option("unknown")
    for k, ink in enumerate(BENCH.inks, start=1):
        name = form.get_by_label(f"Ink {k}", exact=True)
        name.fill(ink.name)
        name.press("Tab")  # the next row comes
        form.get_by_label(f"Role of ink {k}", exact=True).select_option(ink.role)
    form.get_by_label("Drawdowns of each ink").select_option("4")
    form.get_by_role("button", name="Make the shop").click()
    expect(form.get_by_text("From now on the notebooks work with bay street")).to_be_visible()
    run_all(page)
    expect(page.locator(".mk-shop").get_by_label("Shop")).to_have_value("bay street")
    expect(page.get_by_text("None of these inks has been measured yet.").first).to_be_visible()

    plan = page.locator(".mk-plan")
    expect(plan.get_by_label("Drawdowns of each ink")).to_have_value("4")
    plan.get_by_label("Drawdowns of each ink").select_option("5")
    plan.get_by_role("button", name="Put the drawdowns into the shop").click()
    expect(plan.get_by_text("planned drawdowns wait for their readings")).to_be_visible()

    mixtures = drawn(folder)
    single = next(name for name in mixtures if "masstone" in name)
    rest = {name: c for name, c in mixtures.items() if name != single}
    into = page.locator(".mk-readings")
    for name, text in (
        ("all but one.csv", instrument_csv(rest)),
        ("Sample 7.csv", instrument_csv({"Sample 7": mixtures[single]})),
    ):
        (tmp_path / name).write_text(text)
        with page.expect_file_chooser() as chooser:
            into.get_by_role("button", name="Choose the instrument's file").click()
        chooser.value.set_files(tmp_path / name)
        expect(into.get_by_text(f"{name}: CSV")).to_be_visible()
        if name == "Sample 7.csv":
            into.get_by_label("It is the drawdown").select_option(single)
        into.get_by_role("button", name="Bring them in").click()
        expect(into.get_by_text("Brought in: ")).to_be_visible()
    expect(into.get_by_text("Every drawdown of this shop has a reading.").first).to_be_visible()

    run_all(page)
    expect(page.get_by_text("predicts unseen drawdowns").first).to_be_visible()
    fit = page.locator(".mk-inks")
    fit.get_by_role("button", name="How good is the whole fit?").click()
    expect(fit.get_by_role("columnheader", name="Theory")).to_be_visible()
    assert demo == {path: path.read_bytes() for path in demo}
