"""The forms of the record book without a browser, on the invented book of the demo shop."""

import re
import runpy
import shutil
from math import ceil
from pathlib import Path

import numpy as np
import pytest
from book_shop import by_hand, child, ended, forks

from matchkit.book.containers import add, weigh
from matchkit.book.copies import check
from matchkit.book.entries import strike
from matchkit.book.jobs import job, planned_grams, todays_jobs
from matchkit.book.stock import leftovers, stock
from matchkit.book.store import FILE, open_book
from matchkit.cli import main
from matchkit.colorimetry.grid import GRID_NM
from matchkit.files.fitted import digest
from matchkit.files.shop import read_shop
from matchkit.files.write import data_folder
from matchkit.inks.palette import reflectance

w = pytest.importorskip("ipywidgets", reason="ipywidgets is not installed")


from matchkit.forms import stills  # noqa: E402
from matchkit.forms.book import ADDED, CLOSED, LEFT, MEASURED, WEIGHED, BookForm  # noqa: E402
from matchkit.forms.book_demo import (  # noqa: E402
    COPY,
    demo_book,
    demo_day,
    with_book,
)
from matchkit.forms.book_look import (  # noqa: E402
    CHECKED,
    COLOUR,
    COUNTED,
    OPENED,
)
from matchkit.forms.book_rows import (  # noqa: E402
    BATCH,
    FOLDER,
    KEPT,
    MIX,
    BeginPart,
)
from matchkit.forms.compare import CompareForm  # noqa: E402
from matchkit.forms.correct import CorrectForm  # noqa: E402
from matchkit.forms.cover import CoverForm  # noqa: E402
from matchkit.forms.ink_history import HistoryForm  # noqa: E402
from matchkit.forms.jobsize import JobForm, WeighForm  # noqa: E402
from matchkit.forms.match import MatchForm  # noqa: E402
from matchkit.forms.rows import BOOK as FROM_BOOK  # noqa: E402
from matchkit.forms.rows import TargetPicker  # noqa: E402
from matchkit.forms.shops import EXAMPLE_BATCH, open_shop  # noqa: E402
from matchkit.report.book import use_up_parts  # noqa: E402
from matchkit.report.html import to_text  # noqa: E402
from matchkit.report.inks import history_parts, lot_words  # noqa: E402
from matchkit.workflows import using_up  # noqa: E402
from matchkit.workflows.ink_history import ink_history  # noqa: E402
from matchkit.workflows.weighing_out import TicketChoices  # noqa: E402

OUT, UNMEASURED, UNWEIGHED, IN = 13, 14, 15, 12  # batches of the invented book
WAITING = "batch 14 Walnut brown (2026-03-27.csv)"  # the drawdown that nobody wrote down yet
TIMES = 8


@pytest.fixture(scope="module")
def opened():
    """The demo shop, fitted once."""
    return open_shop()


@pytest.fixture(scope="module")
def made(opened, tmp_path_factory):
    """The invented book, made once."""
    folder = tmp_path_factory.mktemp("made")
    with pytest.MonkeyPatch.context() as here:
        here.chdir(folder)
        demo_book(opened)
    return folder / COPY


@pytest.fixture(autouse=True)
def own_folder(made, tmp_path, monkeypatch):
    """A copy of it beside the notebook; faults of the forms are raised as well as shown."""
    shutil.copytree(made, tmp_path / COPY)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MATCHKIT_FORMS_RAISE", "1")
    return tmp_path


@pytest.fixture
def form(opened):
    return BookForm(opened, "Ana")


def held(who="Bo"):
    """The book as a command or another notebook opens it."""
    return open_book(COPY, who=who, clock=demo_day)


def buttons(widget):
    if isinstance(widget, w.Button):
        return [widget]
    return [found for child in getattr(widget, "children", ()) for found in buttons(child)]


def press(form, words):
    (found,) = [each for each in buttons(form.box) if each.description == words]
    found.click()


def file_of(name, R):
    """What the browser hands over for a chosen spectrum file."""
    rows = [f"{nm},{value:.5f}" for nm, value in zip(GRID_NM, R, strict=True)]
    text = "\n".join(["wavelength_nm,reflectance", *rows]).encode()
    return ({"name": name, "type": "text/csv", "size": len(text), "content": memoryview(text),
             "last_modified": demo_day()},)  # fmt: skip


# ---- the invented book


def test_the_invented_book_is_what_its_script_makes_and_the_demo_shop_stays(made, tmp_path):
    before = digest(read_shop(data_folder() / "demo-shop"))
    script = runpy.run_path(str(data_folder() / "make_demo_book.py"))
    (tmp_path / "again").mkdir()
    script["make"](tmp_path / "again")
    tables = "batch", "weighing", "movement", "closing"
    with by_hand(made / FILE) as one, by_hand(tmp_path / "again" / FILE) as other:
        for table in tables:
            rows = [db.execute(f"SELECT * FROM {table}").fetchall() for db in (one, other)]
            assert rows[0] == rows[1]
            assert rows[0]
        away = [db.execute("SELECT de00 FROM measurement").fetchall() for db in (one, other)]
        np.testing.assert_allclose(*away, atol=0.002)
    shutil.rmtree(tmp_path / "again")
    assert check(held()) == []
    assert digest(read_shop(data_folder() / "demo-shop")) == before
    assert not (data_folder() / "demo-shop" / FILE).exists()
    assert [path.name for path in tmp_path.iterdir()] == [COPY]


def test_the_invented_lots_are_found_again(opened):
    """What the drift form says of the lots is what was put into them: 9 % strong, 5 % weak."""
    told = [
        part
        for part in history_parts(ink_history(with_book(opened).session(), "Sharp Lemon"))
        if isinstance(part, str)
    ]
    said = r"lot (\S+) has run ([0-9]+) % (\w+) over ([0-9]+) batches, give or take ([0-9]+)"
    strong, weak = (re.search(said, t) for t in told[:2])
    assert (strong[1], strong[3], strong[4]) == ("L-031", "strong", "6")
    assert (weak[1], weak[3], weak[4]) == ("L-044", "weak", "4")
    for found, true in ((strong, 9), (weak, 5)):
        assert abs(int(found[2]) - true) <= int(found[5]) <= 2


# ---- keeping the book


def test_what_is_due_first_stands_first_with_what_it_needs(form):
    assert form.pick.value == OUT
    assert form.what.value == ADDED
    assert "out of tolerance: correct" in form.tale.value
    assert "of batches 15 and 16 is one base colour" in form.jobs.value
    for batch, what in ((UNMEASURED, MEASURED), (UNWEIGHED, WEIGHED), (IN, CLOSED)):
        form.pick.value = batch
        assert form.what.value == what


def test_a_job_from_the_balance_to_the_shelf(form, opened, own_folder):
    form.pick.value = UNWEIGHED
    form.rows.fields["Quay White"].text.value = "594,02"
    press(form, "Write it down")
    assert "Sharp Lemon, 78.12 g planned: write what the balance showed" in form.wrong.value
    assert job(held(), UNWEIGHED).pours == ()
    press(form, "All as planned")
    form.rows.fields["Quay White"].text.value = "594,02"
    form.rows.inks[0].value, form.rows.grams[0].text.value = "Dusk Violet", "0.3"
    press(form, "Write it down")
    assert "900.32 g weighed, furthest off the plan: Dusk Violet +0.30 g." in form.done.value
    (pour,) = job(held(), UNWEIGHED).pours
    assert pour.who == "Ana"
    weighed = dict(zip(pour.inks, pour.actual_g, strict=True))
    assert (weighed["Quay White"], weighed["Dusk Violet"]) == (594.02, 0.3)
    assert "Dusk Violet" in form.tale.value

    assert form.what.value == MEASURED
    form.reading.way.value = "from a file of mine"
    target = opened.session().targets["Sea teal"]
    form.reading.file.upload.value = file_of("first proof.csv", target)
    press(form, "Write it down")
    assert "IN TOLERANCE: dE00 0.00" in form.done.value

    assert form.what.value == CLOSED
    press(form, "Write it down")  # a second click in a hurry approves nothing
    assert "write who approved it" in form.wrong.value
    form.by.text.value = "Ms Reed"
    form.left.text.value, form.left_name.text.value = "60", "Quay White"
    press(form, "Write it down")
    assert "on the shelf already" in form.wrong.value
    assert job(held(), UNWEIGHED).outcome == ""
    form.left_name.text.value = "Choir teal"
    press(form, "Write it down")
    story = job(held(), UNWEIGHED)
    assert (story.outcome, story.approved_by) == ("approved", "Ms Reed")
    assert [(mix.name, mix.stock_g) for mix in leftovers(held())] == [("Choir teal", 60)]
    assert (form.what.value, form.what.options) == (LEFT, (LEFT,))
    press(form, "Write it down")  # a click in a hurry writes nothing
    assert "write what is left" in form.wrong.value
    form.left.text.value = "0"
    press(form, "Write it down")
    assert "Nothing is left of it" in form.done.value
    form.pick.value = IN
    assert (form.what.value, form.by.text.value) == (CLOSED, "")  # who approves is asked anew
    form.pick.value = UNWEIGHED

    press(form, "Save the container's label")
    (label,) = (own_folder / "tickets").iterdir()
    for words in ("APPROVED by", "Ms Reed", "Tern Street Choir", "Dusk Violet", "data sheets"):
        assert words in label.read_text(encoding="utf-8")


def test_a_drawdown_from_the_shops_folder(form):
    form.pick.value = UNMEASURED
    assert form.reading.way.value == FOLDER
    press(form, "Write it down")
    assert "choose the one that was measured" in form.wrong.value
    form.reading.names.value = WAITING
    press(form, "Look again")
    press(form, "Write it down")
    assert re.search(r"(IN|OUT OF) TOLERANCE: dE00 [0-9.]+ under D65", form.done.value)
    form.what.value = MEASURED
    assert form.reading.names.value is None  # the next drawdown is another one
    (reading,) = job(held(), UNMEASURED).readings
    assert reading.who == "Ana"


def test_a_file_that_was_measured_otherwise_is_refused(form):
    """The demo shop measures without the specular part; a file that states it has it is told."""
    form.pick.value = UNMEASURED
    rows = [f"{nm},0.3" for nm in GRID_NM]
    text = "\n".join(["# geometry: d/8 specular included", "wavelength_nm,reflectance", *rows])
    Path(COPY, "measured", "other.csv").write_text(text, encoding="utf-8")
    press(form, "Look again")
    assert "this shop measures d/8 specular excluded" in form.reading.problem.value
    assert form.reading.names.options[1:] == ((WAITING, WAITING),)


def test_advice_is_followed_and_brings_it_in(form):
    form.advice.ask.click()
    assert "Sharp Lemon lot L-044 has run 4 % weak" in form.advice.told.value
    assert form.rows.fields
    press(form, "All as planned")
    press(form, "Write it down")
    story = job(held(), OUT)
    assert len(story.pours) == 2
    assert story.pours[1].planned_g == story.pours[1].actual_g
    assert story.state == "to measure"


def test_without_a_name_nothing_is_written(opened):
    form = BookForm(opened)
    form.advice.ask.click()
    assert "every record is signed" in form.wrong.value
    form.who.text.value = "Ana"
    form.advice.ask.click()
    assert form.wrong.value == ""


# ---- two at once


def test_what_another_wrote_is_seen_and_nothing_is_written_over_it(form):
    """A command weighs the batch while its fields are being filled here."""
    form.pick.value = UNWEIGHED
    press(form, "All as planned")
    shop = read_shop(COPY)
    weigh(held(), shop, UNWEIGHED, planned_grams(job(held(), UNWEIGHED), 0.01))
    press(form, "Write it down")
    assert "somebody else wrote about batch 15" in form.wrong.value
    assert len(job(held(), UNWEIGHED).pours) == 1
    assert form.what.value == MEASURED
    assert "to measure" in form.jobs.value


def test_nothing_is_written_over_what_came_between_the_look_and_the_writing(form, monkeypatch):
    """Looked at again in the transaction that writes: no moment is left in between."""
    form.pick.value = UNWEIGHED
    press(form, "All as planned")
    typed = form.rows.read

    def slow():
        weigh(held(), read_shop(COPY), UNWEIGHED, planned_grams(job(held(), UNWEIGHED), 0.01))
        return typed()

    monkeypatch.setattr(form.rows, "read", slow)
    press(form, "Write it down")
    assert "somebody else wrote about batch 15" in form.wrong.value
    assert [pour.who for pour in job(held(), UNWEIGHED).pours] == ["Bo"]


def test_looking_again_keeps_what_is_half_typed(form, opened):
    other = BookForm(opened, "Bo")
    form.pick.value = UNWEIGHED
    form.rows.fields["Sharp Lemon"].text.value = "78.1"
    other.pick.value, other.reading.names.value = UNMEASURED, WAITING
    press(other, "Write it down")
    assert "14</th>" in form.jobs.value
    press(form, "Look again")
    assert form.rows.fields["Sharp Lemon"].text.value == "78.1"
    assert "to measure" not in form.jobs.value


@forks
@pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")
def test_two_forms_and_a_command_at_once_lose_nothing(form, opened, own_folder):
    """Each on a batch of its own, all on one ink; the stock is exact to the milligram."""
    other, shop = BookForm(opened, "Bo"), read_shop(COPY)
    before = stock(held(), shop)["Sharp Lemon"]
    (own_folder / "added.csv").write_text("ink,grams\nSharp Lemon,0.5\n", encoding="utf-8")
    words = ["book", COPY, "add", str(UNMEASURED), "added.csv", "--by", "command"]
    pid = child(lambda: [main(words) for _ in range(TIMES)])
    form.pick.value, other.pick.value = OUT, IN
    for _ in range(TIMES):
        for each, grams in ((form, "1.1"), (other, "0,3")):
            each.what.value = ADDED
            each.rows.inks[0].value, each.rows.grams[0].text.value = "Sharp Lemon", grams
            press(each, "Write it down")
            assert each.wrong.value == ""
    assert ended(pid) == 0
    assert [len(job(held(), batch).pours) for batch in (OUT, UNMEASURED)] == [1 + TIMES] * 2
    left = stock(held(), shop)["Sharp Lemon"]
    assert round(1000 * (before - left)) == TIMES * (1100 + 300 + 500)
    assert check(held()) == []
    form.pick.value = UNMEASURED
    assert form.tale.value.count("0.5 g added") == TIMES


def test_a_stock_take_in_the_files_is_heeded_once(form):
    """The shop's files are read for each record: an old number is no new stock-take."""
    path = Path(COPY, "inks.csv")
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(",18500,", ",15000,"), encoding="utf-8")
    shop = read_shop(COPY)
    add(held(), shop, OUT, {"Quay White": 10.0})
    press(form, "Look again")
    form.what.value = ADDED
    form.rows.inks[0].value, form.rows.grams[0].text.value = "Quay White", "5"
    press(form, "Write it down")
    assert stock(held(), shop)["Quay White"] == 14985


def test_a_batch_that_was_struck_meanwhile_is_gone(form):
    form.pick.value = UNMEASURED
    strike(held(), "batch", UNMEASURED, "asked for twice")
    press(form, "Write it down")
    assert "batch 14 was struck" in form.wrong.value
    press(form, "Look again")
    assert "batch 14 was struck" in form.problems.value
    assert UNMEASURED not in [batch for _, batch in form.pick.options]
    press(form, "Look again")
    assert form.problems.value == ""
    assert form.pick.value is not None


# ---- looking, beginning


def test_a_label_is_scanned_and_a_number_typed(form):
    form.scan.text.value = f"matchkit/{held().uid}/batch/5".lower()
    assert (form.pick.value, form.scan.text.value) == (5, "")
    assert f"dE00 {job(held(), 5).readings[0].de00:.2f}" in form.tale.value
    assert "approved" in form.tale.value
    form.scan.text.value = "99"
    assert "no batch 99" in form.problems.value
    form.scan.text.value = "MATCHKIT/00000000/BATCH/1"
    assert "another shop" in form.problems.value


def test_finding_by_words_ink_day_and_colour(form):
    find = form.find
    find.customer.text.value, find.ink.value = "kite", "Sharp Lemon"
    find.look.click()
    assert find.results.value.count("<tr>") == 1 + 3
    find.since.text.value = "2026-03-10"
    find.look.click()
    assert [value for _, value in find.which.options] == [None, 11, 7]
    find.which.value = 7
    assert "7 Sea teal" in form.tale.value
    find.since.text.value = "March"
    find.look.click()
    assert "write a day as 2026-11-25" in find.problems.value
    find.way.value, find.target.names.value = COLOUR, "Dusty rose"
    find.look.click()
    assert "measured" in find.results.value
    assert find.which.options[1][1] == IN
    find.target.way.value, find.target.light.value = "from Lab numbers", "A"
    find.look.click()
    assert find.problems.value == ""  # under the light that is asked about


def test_a_new_colour_is_taken_from_a_past_batch(form):
    picker = TargetPicker(form.opened, new=True)
    picker.way.value = FROM_BOOK
    picker.batch.value = 5
    wanted = picker.wanted(form.opened.session(), lights=("A",))
    np.testing.assert_allclose(wanted.target.R, job(held(), 5).readings[-1].R)
    assert wanted.target.light_names == ("A",)


def test_what_runs_low_is_made_when_it_is_first_looked_at(form):
    folds = [each for each in form.box.children if len(getattr(each, "children", ())) == 2]
    (fold,) = [each for each in folds if each.children[0].description == "Show what to order"]
    assert "order" not in vars(form)
    fold.children[0].value = True
    press(form, "Which inks run low?")
    assert "Sharp Lemon" in form.order.results.value


def test_a_new_job_counts_on_what_was_learned(form):
    new = form.new
    new.target.names.value = "Pale mint"
    new.details.customer.text.value, new.details.due.text.value = "Ferry Cafe", "2026-04-02"
    new.details.note.text.value = "two coats"
    new.write.click()
    assert "Begun: batch 17." in new.notes.value
    assert "Sharp Lemon lot L-044 has run 4 % weak" in new.notes.value
    assert form.pick.value == 17
    assert job(held(), 17).note == "two coats"
    new.lots.value = False
    new.write.click()
    assert "has run" not in new.notes.value
    known, reference = (job(held(), n).shares["Sharp Lemon"] for n in (17, 18))
    assert known > 1.02 * reference  # a weak lot needs more
    new.details.due.text.value = "soon"
    new.write.click()
    assert "write a day as" in new.problems.value
    assert len(todays_jobs(held())) == 7


def test_a_job_is_mended_and_what_was_there_stays_as_struck(form):
    batch = form.record.batch
    form.mend.write.click()
    assert "nothing was changed" in form.mend.problems.value
    form.mend.fields["due"].text.value = "2026-04-09"
    form.mend.write.click()
    assert job(held(), batch).due == "2026-04-09"
    assert "stays in the book as struck" in form.done.value
    assert "mended" in form.tale.value


def test_a_job_begins_with_what_it_needs_and_its_ticket_says_the_same(form):
    size = JobForm(form.opened, EXAMPLE_BATCH)
    part = BeginPart(size, lambda: "Ana", form.open)
    part.details.job.text.value, size.container.value = "Festival tees", "1 litre"
    part.write.click()
    assert form.record.container_ml == 1000
    needed = ceil(size.size().total_g)
    assert form.record.planned_g == pytest.approx(needed)
    made = form._ticket(TicketChoices())
    assert made.job_size.total_g == pytest.approx(size.size().total_g)
    assert (made.batch_g, form.record.job) == (pytest.approx(needed), "Festival tees")


def test_what_a_leftover_could_become(form, monkeypatch):
    """Sea teal has three batches in the book, and the oldest leftover is a teal."""
    monkeypatch.setattr(using_up, "NEAREST", 1)
    found = using_up.use_up(form.opened.session(), batch_g=500.0)
    (teal,) = found.leftovers  # the letdowns are none
    (becomes,) = teal.becomes
    assert (teal.name, becomes.target, becomes.batches) == ("Leftover regatta teal", "Sea teal", 3)
    assert 0 < becomes.used_g <= 500 and becomes.de00 <= 1
    assert becomes.left_g == pytest.approx(teal.stock_g - becomes.used_g)
    assert "Sea teal" in to_text(use_up_parts(found))


def test_the_book_is_copied_and_comes_back(form):
    copies, book = form.copies, form.opened.folder / FILE
    copies.save.click()
    copies.export.click()
    backup, export = copies.which.options[2], copies.which.options[1]
    assert backup.endswith(".db") and export.startswith("export-")
    copies.which.value = backup
    copies.restore.click()
    assert copies.problems.value  # there is a book, and it stays
    for each in form.opened.folder.glob(f"{FILE}*"):
        each.unlink()
    copies.restore.click()
    assert "restored" in copies.done.value and book.is_file()
    assert len(todays_jobs(held())) == 5


def test_any_source_of_a_formula_begins_a_job_by_the_same_button(form):
    new = form.new
    new.way.value, new.grams.text.value = KEPT, "200"
    assert new.colour.layout.display == "none"
    new.kept.value = 2  # a formula by its number
    new.write.click()
    assert "Begun: batch 17." in new.notes.value
    assert form.record.formula == 2
    new.way.value, new.batch.text.value = BATCH, "7"
    assert (new.batch.box.layout.display, new.kept_box.layout.display) == (None, "none")
    new.write.click()
    assert "Begun: batch 18." in new.notes.value
    assert (form.record.source, form.record.planned_g) == ("reprint", 200)
    new.way.value = MIX
    new.write.click()
    assert form.record.name == new.kept.value


def test_a_job_that_starts_from_a_mix_is_planned_and_weighed_by_its_name(opened, own_folder):
    (own_folder / "tickets").mkdir(exist_ok=True)
    text = "ink,grams\nLeftover regatta teal,300\nQuay White,200\n"
    (own_folder / "tickets" / "Teal again.csv").write_text(text, encoding="utf-8")
    form = BookForm(opened, "Ana")
    before = stock(held(), read_shop(COPY))
    form.new.target.names.value = "Sea teal"
    form.new.formula.value, form.new.grams.text.value = "Teal again", "500"
    form.new.write.click()
    assert "Begun: batch 17." in form.new.notes.value
    story = job(held(), 17)
    assert story.shares == pytest.approx({"Leftover regatta teal": 0.6, "Quay White": 0.4})
    assert story.holds["Quay White"] == pytest.approx(0.4 + 0.6 * 0.58)
    assert form.pick.value == 17 and form.what.value == WEIGHED
    press(form, "All as planned")
    press(form, "Write it down")
    assert "500 g weighed, as planned" in form.done.value
    now = stock(held(), read_shop(COPY))
    gone = {name: round(g - now[name], 3) for name, g in before.items() if g and g != now[name]}
    assert gone == {"Leftover regatta teal": 300, "Quay White": 200}


def test_a_shop_of_ones_own_begins_its_book_with_the_first_job(opened, own_folder):
    shutil.copytree(data_folder() / "demo-shop", own_folder / "mine")
    own = open_shop("mine")
    form = BookForm(own, "Ana")
    assert "no record book yet" in form.jobs.value
    assert form.entry.layout.display == "none"
    assert not (own_folder / "mine" / FILE).exists()
    history = HistoryForm(own)
    assert "no record book yet" in history.history.value
    form.find.look.click()
    assert "no record book yet" in form.find.problems.value
    form.new.target.names.value = "Dusty rose"
    form.new.write.click()
    assert form.pick.value == 1
    assert job(open_book("mine"), 1).who == "Ana"
    history.refresh()
    assert "No measured batch of the book holds" in history.history.value


def test_the_match_form_counts_on_the_book(opened):
    """Said plainly, and left out where its tick is taken away; without a book it has none."""
    assert MatchForm(opened, "Pale mint").lots.layout.display == "none"
    match = MatchForm(open_shop(COPY), "Pale mint")
    assert match.lots.layout.display is None

    def lemon():
        match.run.start.click()
        match.run.wait()
        first = match.found.formulas[0].formula
        return dict(zip(first.inks, first.percents, strict=True))["Sharp Lemon"]

    known = lemon()
    assert "Allowed for: Sharp Lemon lot L-044 has run 4 % weak over 4 batches." in (
        match.results.value
    )
    match.lots.value = False
    plain = lemon()
    assert "Allowed for" not in match.results.value
    assert known > 1.02 * plain  # a weak lot needs more


# ---- the shelf, a job again, a record struck


def test_the_shelf_is_kept_without_a_command(form):
    shelf = form.shelf
    assert shelf.lot.box.layout.display is None and shelf.grams.box.layout.display is None
    shelf.name.value, shelf.grams.text.value, shelf.lot.text.value = "Sharp Lemon", "2500", "L-050"
    before = stock(held(), read_shop(COPY))["Sharp Lemon"]
    shelf.write.click()
    assert "Sharp Lemon 2500 g. When lot L-050 is opened" in shelf.done.value
    assert stock(held(), read_shop(COPY))["Sharp Lemon"] == pytest.approx(before + 2500)
    shelf.what.value = OPENED
    assert shelf.grams.box.layout.display == "none"
    shelf.write.click()
    assert "a lot needs its name" in shelf.problems.value
    shelf.lot.text.value = "L-050"
    shelf.write.click()
    assert "lot L-050 from now on. Its strength is not known yet;" in shelf.done.value
    assert "L-050" in shelf.shelf.value
    assert "Sharp Lemon" not in " ".join(open_shop(COPY).session().learned().words)  # forgotten
    shelf.what.value = COUNTED
    shelf.grams.text.value = "many"
    shelf.write.click()
    assert "is not a number" in shelf.problems.value
    shelf.grams.text.value = "0"
    shelf.write.click()
    assert stock(held(), read_shop(COPY))["Sharp Lemon"] == 0
    form.who.text.value = ""
    shelf.grams.text.value = "5"
    shelf.write.click()
    assert "write your name" in shelf.problems.value
    assert stock(held(), read_shop(COPY))["Sharp Lemon"] == 0


def test_a_new_lot_is_checked_by_its_drawdown(form, opened):
    shelf = form.shelf
    assert shelf.check.layout.display == "none"
    shelf.what.value = CHECKED
    assert shelf.check.layout.display is None and shelf.grams.box.layout.display == "none"
    palette = opened.fits["plastisol"].palette
    shelf.name.value = "Kelp Green"

    def hand_in(ink, strength):
        c, s = np.zeros(len(palette.inks)), np.ones(len(palette.inks))
        c[[palette.index(ink), palette.index("Quay White")]] = 0.1, 0.9
        s[palette.index(ink)] = strength
        shelf.reading.way.value = "from a file of mine"
        shelf.reading.file.upload.value = file_of("check.csv", reflectance(palette, c, s))

    hand_in("Kelp Green", 1.06)
    shelf.write.click()
    assert "a lot needs its name" in shelf.problems.value
    shelf.lot.text.value = "G-070"
    shelf.write.click()
    assert re.search("Kelp Green: runs [4-8] % strong", shelf.done.value)
    assert "it counts once lot G-070 is opened" in shelf.done.value
    hand_in("Slipway Blue", 1.0)
    shelf.write.click()
    assert "measure it anew" in shelf.done.value and "Nothing is written" in shelf.done.value
    shelf.what.value = OPENED
    shelf.lot.text.value = "G-070"
    shelf.write.click()
    assert "lot G-070 from now on; its check drawdown tells its strength." in shelf.done.value
    told = open_shop(COPY).session().learned().words
    assert any(line.startswith("Kelp Green lot G-070 has run") for line in told)


def test_a_colour_is_mixed_again(form):
    form.open(IN)
    again = form.again
    assert again.chosen.layout.display == "none"
    again.write.click()
    assert "nothing was matched yet" in again.problems.value
    again.grams.text.value = "400"
    again.look.click()
    assert f"matched under D65 to what batch {IN} measured" in again.results.value
    labels = [label for label, _ in again.which.options]
    assert labels[0].startswith("The old formula: dE00") and labels[1].startswith("Formula 1")
    again.which.value, again.job.text.value = 1, "Second run"
    again.write.click()
    new = job(held(), form.pick.value)
    assert (new.name, new.job, new.planned_g) == (job(held(), IN).name, "Second run", 400)
    assert form.again.found is None  # another job is in sight


def test_a_wrong_record_is_struck_and_stays_in_the_book(form):
    form.open(OUT)
    strike = form.strike
    readings = len(job(held(), OUT).readings)
    kinds = [what for what, _ in (value for _, value in strike.which.options)]
    assert kinds[0] == "measurement" and kinds[-1] == "batch"
    strike.write.click()
    assert "What was wrong with it?" in strike.problems.value
    assert len(job(held(), OUT).readings) == readings
    strike.why.text.value = "it was the drawdown of another job"
    strike.write.click()
    assert "struck: the drawdown of" in form.done.value
    assert len(job(held(), OUT).readings) == readings - 1
    with by_hand(Path(COPY) / FILE) as db:
        (why,) = db.execute("SELECT why FROM strike ORDER BY id DESC LIMIT 1").fetchone()
        kept = db.execute("SELECT count(*) FROM measurement WHERE batch = ?", [OUT]).fetchone()
    assert why == "it was the drawdown of another job" and kept[0] == readings
    form.open(IN)
    press(form, "Write it down")  # it ended: approved, as the form proposes
    strike.which.value = ("batch", IN)
    strike.why.text.value = "asked for twice"
    strike.write.click()
    assert f"batch {IN}" in form.problems.value and "struck" in form.problems.value


LEMON = "Sharp Lemon lot L-044 has run 4 % weak over 4 batches"


@pytest.mark.parametrize("kind", [WeighForm, CompareForm, CorrectForm, CoverForm])
def test_every_form_that_foretells_counts_on_the_book(kind, opened):
    """And does without where its tick is taken away; without a book there is no tick."""
    assert kind(opened).lots.layout.display == "none"
    form = kind(open_shop(COPY))
    if kind is CorrectForm:
        form = CorrectForm(open_shop(COPY), "Sea teal", "example batch")
        form.anyway.value = True  # the example's drawdown holds no lemon
    form.rows.fill({"Quay White": 60.0, "Sharp Lemon": 30.0, "Slipway Blue": 10.0})
    if kind is CompareForm:
        form.picker.names.value = "Sea teal"
    start = form.run.start if isinstance(form, CoverForm) else form.look

    def shown():
        start.click()
        if isinstance(form, CoverForm):
            form.run.wait()
        return form.results.value

    known = shown()
    assert LEMON in known
    form.lots.value = False
    plain = shown()
    assert plain and LEMON not in plain


# ---- what has this ink been doing


def test_the_history_follows_the_ink_and_the_book(opened, form):
    history = HistoryForm(opened, "Sharp Lemon")
    assert "over 4 batches" in history.history.value
    form.pick.value, form.reading.names.value = UNMEASURED, WAITING
    press(form, "Write it down")
    press(history, "Look again")
    assert "over 5 batches" in history.history.value
    history.ink.value = "Tar Brown"
    assert history.history.value == "<p>No measured batch of the book holds Tar Brown.</p>"
    history.by.value = "mixer"
    assert "Who mixed" in history.shares.value
    assert ">Bo<" in history.shares.value


def test_a_lot_that_runs_like_the_fitted_one_is_said_to():
    class Row:
        lot, strength, error = "7", 1.004, 0.01

    assert "as strong as the fitted lot over 1 batch," in lot_words("Lemon", [Row])


def test_stills_and_pictures_say_what_they_show(opened, capsys):
    stills.book(opened, 5)
    stills.ink_history(opened, "Sharp Lemon")
    form, history = BookForm(opened), HistoryForm(opened, "Sharp Lemon")
    for shown in (form.tale.value, history.history.value):
        (alt,) = re.findall(r'<img [^>]*alt="([^"]+)"', shown)
        assert len(alt) > 30


def test_an_ink_that_left_the_shop_does_no_harm(form):
    files = ("inks.csv", "drawdowns.csv", "spectra.csv", "films.csv", "film_spectra.csv")
    for name in files:
        path = Path(COPY, name)
        lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
        path.write_text("".join(line for line in lines if "Tar Brown" not in line), "utf-8")
    press(form, "Look again")
    assert form.problems.value == ""
    assert "Tar Brown" not in [each.name for each in form.opened.session().shop.inks]


def test_a_weight_that_looks_like_a_slip_of_the_keys_is_asked_about_once(form):
    form.pick.value = UNWEIGHED
    press(form, "All as planned")
    planned = form.rows.fields["Quay White"].text.value
    form.rows.fields["Quay White"].text.value = planned.replace(".", "") + "0"
    press(form, "Write it down")
    assert f"g where {planned} g is planned" in form.wrong.value
    assert "press the button again" in form.wrong.value
    assert job(held(), UNWEIGHED).pours == ()
    form.rows.fields["Quay White"].text.value = "1"  # another slip is asked about anew
    press(form, "Write it down")
    assert "Quay White: 1 g where" in form.wrong.value
    press(form, "Write it down")
    assert len(job(held(), UNWEIGHED).pours) == 1


def test_a_fail_is_not_told_in_the_green_of_what_went_well(form, opened):
    form.pick.value = UNWEIGHED
    press(form, "All as planned")
    press(form, "Write it down")
    assert "mk-done" in form.done.value
    form.reading.way.value = "from a file of mine"
    form.reading.file.upload.value = file_of(
        "first proof.csv", opened.session().targets["Dusty rose"]
    )
    press(form, "Write it down")
    assert "OUT OF TOLERANCE: dE00" in form.done.value
    assert "mk-fail" in form.done.value
