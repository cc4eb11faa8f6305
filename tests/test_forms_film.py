"""The forms about prints, without a browser: does it cover, and how much ink."""

from dataclasses import replace

import numpy as np
import pytest

from matchkit.errors import InputError

w = pytest.importorskip("ipywidgets", reason="ipywidgets is not installed")

from matchkit.forms import shops  # noqa: E402
from matchkit.forms.cover import CoverForm, _no_films  # noqa: E402
from matchkit.forms.jobsize import METRIC, US, WET, JobForm  # noqa: E402
from matchkit.forms.shops import open_shop  # noqa: E402
from matchkit.matching.garment import Strokes  # noqa: E402
from matchkit.matching.prints import film_fits  # noqa: E402
from matchkit.paper.jobsize import PrintJob  # noqa: E402
from matchkit.report.parts import Picture, Table  # noqa: E402
from matchkit.report.printed import cover_parts  # noqa: E402
from matchkit.workflows.predicting import Formula, cover  # noqa: E402
from matchkit.workflows.sizing import ink_for_job  # noqa: E402
from matchkit.workflows.weighing_out import TicketChoices  # noqa: E402


@pytest.fixture(scope="module")
def opened():
    """The demo shop, fitted once."""
    return open_shop()


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """What forms save goes nowhere else; their faults are raised as well as shown."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MATCHKIT_FORMS_RAISE", "1")
    return tmp_path


# ---- does it cover


def printed(opened, ink, stroke_um, underbase_um=None):
    """One ink over the shop's garments."""
    strokes = Strokes(stroke_um=stroke_um, underbase_um=underbase_um)
    return cover_parts(cover(opened.session(), Formula(amounts={ink: 1.0}), strokes))


def needs(parts) -> dict[str, str]:
    (table,) = (part for part in parts if isinstance(part, Table))
    return {row[0]: row[1] for row in table.rows}


def test_a_thick_white_covers_everything_and_a_thin_one_not_black(opened):
    thick = needs(printed(opened, "Quay White", 500.0))
    assert thick.keys() == {"white tee", "grey tee", "navy tee", "black tee", "red tee"}
    assert set(thick.values()) == {"covers in one stroke"}
    thin = needs(printed(opened, "Quay White", 5.0))
    assert thin["black tee"].startswith("does not cover")
    parts = printed(opened, "Quay White", 5.0, 5.0)
    (picture,) = (part for part in parts if isinstance(part, Picture))
    assert "black tee: does not cover" in picture.alt


def test_every_way_to_print_is_in_the_table(opened):
    parts = printed(opened, "Sharp Lemon", 50.0, 80.0)
    assert parts[0].startswith("One stroke lays down 50 um, the underbase 80 um of white;")
    (table,) = (part for part in parts if isinstance(part, Table))
    assert len(table.head) == len(table.rows[0]) == 6
    black = dict(zip(table.head, table.rows[3], strict=True))
    # A yellow on black: the white below it is what makes it yellow (common practice, no source).
    bare, based = (float(black[f"dE00, {way}"]) for way in ("1 stroke", "1 stroke on underbase"))
    assert based < bare / 4


def test_cover_form(opened):
    form = CoverForm(opened, "example batch")
    form.stroke.text.value = "1,000"
    form.run.start.click()
    assert "One stroke, um: &#x27;1,000&#x27; can be read as" in form.problems.value
    form.stroke.text.value = "100"
    form.underbase.text.value = ""
    form.run.start.click()
    form.run.wait()
    assert "covers in one stroke" in form.results.value
    assert "underbase" not in form.results.value
    form.target.value = "Ripe amber"
    assert form.results.value == ""
    form.run.start.click()
    form.run.wait()
    assert "does not cover" in form.results.value


def test_a_shop_without_cards_is_told_what_to_draw(opened):
    bare = shops.OpenShop(
        folder=opened.folder,
        shop=replace(opened.shop, drawdowns=opened.shop.hiding),
        fits=opened.fits,
        notes=(),
    )
    assert "films" not in repr(bare)
    assert "and 32 films over a card" in repr(opened)
    with pytest.raises(InputError, match="draw the inks over a black and white card"):
        film_fits(bare.shop)
    assert "draw the inks over a black and white card" in _no_films(bare)


# ---- how much ink


def white(form: JobForm) -> JobForm:
    form.rows.fill({"Quay White": 100.0})
    return form


def test_the_form_agrees_with_a_sum_by_hand(opened):
    form = white(JobForm(opened, ""))
    form.look.click()
    # 1200 cm2 x 40 % x 60 cm3/m2 x 60 % = 1.728 ml a print; 300 of them 518.4 ml, with a
    # tenth on top 570.24 ml, at 1.48 g/ml 843.96 g; at 9.80 a kg 8.27.
    assert "Mix 844 g (29.8 oz), 570 ml (19.3 US fl oz)." in form.results.value
    assert "Cost 8.27." in form.results.value
    form.container.value = "US quart"
    assert form.results.value == ""
    form.look.click()
    # 946.35 ml filled to 90 % takes 851.7 ml: one is enough.
    assert "1 x US quart." in form.results.value


def test_us_units_and_a_wet_thickness(opened):
    form = white(JobForm(opened, ""))
    form.units.value, form.way.value = US, WET
    for field, text in (
        (form.prints, "10"),
        (form.width, "1"),
        (form.height, "1"),
        (form.coverage, "100"),
        (form.wet, "1"),
        (form.loss, "0"),
        (form.density, "1.5"),
    ):
        field.text.value = text
    assert form.of_mesh.layout.display == "none"
    # 1 in2 x 1 mil is 6.4516 cm2 x 25.4 um = 0.016387 ml; ten of them at 1.5 g/ml.
    assert form.size().total_g == pytest.approx(0.245806, abs=1e-5)


def test_every_fault_is_told_at_once(opened):
    form = JobForm(opened, "")
    form.prints.text.value = "1.5"
    form.coverage.text.value = "120"
    form.look.click()
    for words in ("the formula is empty", "write a whole number", "at most 100"):
        assert words in form.problems.value


def test_the_ticket_tells_the_job(opened, own_folder):
    form = white(JobForm(opened, ""))
    form.ticket.job.text.value = "Regatta shirts"
    form.ticket.save.click()
    assert form.ticket.problems.value == ""
    page = (own_folder / "tickets" / "Regatta-shirts.html").read_text(encoding="utf-8")
    assert "Ink for the whole job" in page
    assert "300 prints, artwork 1200 cm2 (186 in2), 40 % of it in this colour" in page
    weights = (own_folder / "tickets" / "Regatta-shirts.csv").read_text(encoding="utf-8")
    assert float(weights.split(",")[-1]) == pytest.approx(844.0)


def test_an_unknown_density_is_asked_for(opened):
    session = opened.session()
    inks = tuple(replace(ink, density_g_per_ml=None) for ink in opened.shop.inks)
    session.files = replace(opened.shop, inks=inks)
    job, white = PrintJob(prints=1, area_cm2=100, wet_um=30), Formula(amounts={"Quay White": 1.0})
    with pytest.raises(InputError, match="density of Quay White is not known"):
        ink_for_job(session, white, job)
    found = ink_for_job(session, white, job, density=1.5)
    assert np.isclose(found.total_g, 0.45)  # 100 cm2 x 30 um = 0.3 ml


def test_other_units_keep_the_lengths_and_say_so(opened):
    form = white(JobForm(opened, ""))
    form.way.value = WET
    before = form.size().total_g
    form.width.text.value = "wide"
    form.units.value = US
    assert form.width.text.value == "wide"
    assert form.height.text.description == "Artwork, height, inches"
    assert form.wet.text.description == "Wet thickness, mil"
    form.width.text.value = "11.81"  # 30 cm are 11.811 inches
    assert form.height.text.value == "15.7480"  # 40 cm
    assert form.size().total_g == pytest.approx(before, rel=5e-4)
    form.units.value = METRIC
    assert form.height.text.description == "Artwork, height, cm"
    assert form.height.text.value == "40"


def test_the_batch_is_the_grams_that_are_told(opened):
    form = white(JobForm(opened, ""))
    form.prints.text.value = "301"  # 846.77 g
    form.look.click()
    assert "Mix 847 g" in form.results.value
    assert form.make(TicketChoices()).batch_g == pytest.approx(847)
