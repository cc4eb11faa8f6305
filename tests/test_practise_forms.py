"""The practise forms without a browser, each left unanswered and answered."""

import re

import pytest

from matchkit.files.progress import progress_path, read_progress
from matchkit.practice.kinds import KINDS
from matchkit.practice.safety import SAFETY

w = pytest.importorskip("ipywidgets", reason="ipywidgets is not installed")

from matchkit.forms import practise  # noqa: E402
from matchkit.forms.book_demo import with_book  # noqa: E402
from matchkit.forms.learner import LearnerField  # noqa: E402
from matchkit.forms.parts import Field  # noqa: E402
from matchkit.forms.practise import ExerciseForm  # noqa: E402
from matchkit.forms.practise_job import PracticeJobForm  # noqa: E402
from matchkit.forms.shops import open_shop  # noqa: E402
from matchkit.workflows.misses import misses  # noqa: E402


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """What forms keep goes nowhere else; their faults are raised as well as shown."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MATCHKIT_FORMS_RAISE", "1")
    LearnerField.shared.clear()
    return tmp_path


@pytest.mark.parametrize("kind", KINDS)
def test_each_form_stands_unanswered(kind):
    """Question, numbers, choices, and what screens can't say; nothing is chosen yet."""
    given = ExerciseForm(kind)
    assert getattr(practise, kind)() is not None
    assert given.pick.value is None
    assert given.given.question in given.question.value
    if kind == "see":  # by eye first; the numbers after a press
        assert given.given.swatches[0].numbers not in given.question.value
        press(given, "Show the numbers")
    for each in given.given.swatches if kind != "light" else ():
        assert re.sub(" +", " ", each.numbers) in re.sub(" +", " ", given.question.value)
    given.look.click()
    assert "nothing is chosen yet" in given.problems.value
    assert not given.verdict.value


@pytest.mark.parametrize("kind", KINDS)
def test_a_right_answer_is_marked_explained_and_kept(kind, own_folder):
    given = ExerciseForm(kind)
    given.who.text.value = "Ana"
    given.ask.click()
    assert 'role="status"' in given.tip.value
    given.pick.value = given.given.answer
    given.look.click()
    assert "Right: " in given.verdict.value
    assert given.look.disabled  # an answer counts once
    assert "1 of 1 right" in given.stands.value
    kept = read_progress(progress_path("practice", "Ana"))
    assert [each.right for each in kept] == [True]
    pictures = re.findall(r'<img [^>]*alt="([^"]+)"', given.verdict.value)
    assert len(pictures) == {"see": 2, "fix": 2, "light": 1, "sums": 0}[kind]


def test_a_wrong_answer_is_corrected_and_the_next_one_is_new():
    given = ExerciseForm("see")
    first = given.given
    given.pick.value = (first.answer + 1) % 4
    given.look.click()
    assert "No: " in given.verdict.value
    assert first.choices[first.answer].text in given.verdict.value
    given.go_on.click()
    assert given.given.seed == first.seed + 1
    given.go_on.click()
    assert "not answered" in given.tip.value and given.given.seed == first.seed + 1
    given.go_on.click()
    assert given.given.seed == first.seed + 2
    assert given.verdict.value == ""
    assert not given.look.disabled


def test_a_press_on_show_the_numbers_moves_the_answer_to_the_other_gauge(own_folder):
    given = ExerciseForm("see")
    given.who.text.value = "Ana"
    for _ in range(2):
        given.pick.value = given.given.answer
        given.look.click()
        given.go_on.click()
        press(given, "Show the numbers")
        assert given.given.swatches[0].numbers.split()[1] in given.question.value
    kept = read_progress(progress_path("practice", "Ana"))
    assert [each.gauge for each in kept] == ["eye", "numbers"]
    assert "By eye, direction by direction" in given.stands.value


def test_a_learner_goes_on_where_they_stopped_whatever_the_capitals(own_folder):
    first = ExerciseForm("sums")
    first.who.text.value = "Bo"
    begun = first.given.seed
    assert begun != 1  # others than those of who sits beside
    for _ in range(2):
        first.pick.value = first.given.answer
        first.look.click()
        first.go_on.click()
    LearnerField.shared.clear()
    again = ExerciseForm("sums")
    assert again.given.code == "sums-1-0"
    again.who.text.value = "bO"
    assert again.given.code == f"sums-{begun + 2}-1"
    other = ExerciseForm("fix")  # the name was typed once for the whole page
    assert other.who.learner.path == again.who.learner.path
    assert len(list(own_folder.glob("practice/*"))) == 1


def test_the_trainer_sees_everybody_and_a_sheet_is_printed(own_folder):
    given = ExerciseForm("sums")
    given.who.text.value = "Cy"
    given.pick.value = given.given.answer
    given.look.click()
    assert "Cy" in all_html(practise.trainer())
    press(given, "A sheet to print")
    names = sorted(path.name for path in own_folder.glob("tickets/*.html"))
    assert len(names) == 2 and all("Cy" in name for name in names)
    assert "Answers" not in (own_folder / "tickets" / names[0]).read_text(encoding="utf-8")


def all_html(widget):
    inner = [all_html(child) for child in getattr(widget, "children", ())]
    return "".join([getattr(widget, "value", "") if isinstance(widget, w.HTML) else "", *inner])


def test_a_name_that_is_no_file_name_is_told(own_folder):
    given = ExerciseForm("sums")
    given.who.text.value = "../Bo"
    assert "part of a file name" in given.problems.value
    assert list(own_folder.iterdir()) == []


# ---- the job


def answered(given):
    """Answer the safety question that is shown, and press again."""
    assert given.asking.layout.display is None
    given.safety.value = given.asked.answer
    given.reply.click()
    assert "Right." in given.note.value
    assert given.asking.layout.display == "none"


def press(given, words):
    found = [each for each in buttons(given.box) if each.description == words]
    assert len(found) == 1
    found[0].click()


def buttons(widget):
    if isinstance(widget, w.Button):
        return [widget]
    return [found for child in getattr(widget, "children", ()) for found in buttons(child)]


def test_a_job_by_hand_with_the_safety_questions():
    given = PracticeJobForm(5)
    given.ink.value, given.grams.text.value = "White", "250"
    press(given, "Pour it in")
    assert SAFETY[0].question in given.safety_words.value
    assert given.batch.shown_g.sum() == 0  # not before it is answered
    given.safety.value = (given.asked.answer + 1) % 3
    given.reply.click()
    assert 'role="alert"' in given.note.value
    assert given.asking.layout.display is None
    answered(given)
    press(given, "Pour it in")
    assert given.batch.shown_g.sum() == pytest.approx(250, abs=0.2)
    press(given, "Stir")
    answered(given)
    press(given, "Stir")
    press(given, "Draw down and cure")
    answered(given)
    press(given, "Draw down and cure")
    press(given, "Measure")
    assert "Reading 1" in given.state.value
    press(given, "Pour it in")
    assert "choose which way" in given.problems.value
    given.way.value = "lighter"
    press(given, "Pour the ticket")
    for words in ("Stir", "Draw down and cure", "Measure"):
        press(given, words)
    assert "Expected: lighter by about 1 dE00" in given.state.value
    press(given, "Finish")
    assert "choose what went wrong" in given.problems.value
    given.who.text.value = "Di"
    given.cause.value = ""
    press(given, "Finish")
    assert "What went wrong: " in given.end.value
    assert "1. weigh: White" in given.end.value
    press(given, "Finish")  # is kept once
    kept = read_progress(progress_path("practice", "Di"))
    assert [each.kind for each in kept] == ["pour", "cause", "job"]
    press(given, "Play again from here")
    assert len(given.batch.moves) < 8 and not given.end.value


def test_the_hints_alone_bring_a_job_in():
    given = PracticeJobForm(5)
    for _ in range(20):
        press(given, "What would you do? (costs a point)")
        assert 'role="status"' in given.note.value
        given.cause.value = given.batch.hidden.incident.key
        press(given, "Do that for me (costs a point)")
        if given.asking.layout.display is None:
            answered(given)
        if given.end.value:
            break
    assert "<p>IN TOLERANCE: " in given.end.value
    assert "1 of 10 points" in given.end.value  # somebody else's work is worth no more
    assert "still open" not in given.end.value


def test_moves_that_can_not_be_are_told_and_change_nothing():
    given = PracticeJobForm(2)
    press(given, "Measure")
    assert "make one first" in given.problems.value
    given.grams.text.value = "12,5 g"
    press(given, "Pour it in")
    answered(given)
    press(given, "Pour it in")
    assert 'role="alert"' in given.problems.value
    assert given.batch.moves == ()
    given.number.text.value = "2.5"
    press(given, "Start this job")
    assert "whole number" in given.problems.value
    given.number.text.value = "3"
    press(given, "Start this job")
    assert given.batch.seed == 3


def test_batches_of_the_own_book_that_came_out_wrong_are_asked(own_folder):
    """Batch 9 of the invented weeks: 12.82 g too much violet, brought nearer with yellow."""
    opened = with_book(open_shop("demo-shop"))
    found = misses(opened.session()).exercises
    assert [each.seed for each in found] == [9, 5, 2]
    nine = found[0]
    assert nine.choices[nine.answer].text.startswith("Sharp Lemon 6.")
    assert "Dusk Violet +12." in nine.explanation
    assert [choice.worth for choice in nine.choices].count(1.0) == 1
    given = ExerciseForm("book", found)
    given.who.text.value = "Eva"
    given.pick.value = given.given.answer
    given.look.click()
    assert "Right: what helped was Sharp Lemon" in given.verdict.value
    given.go_on.click()
    assert given.given.seed == 5
    assert [each.kind for each in read_progress(progress_path("practice", "Eva"))] == ["book"]
    assert practise.book(opened) is not None


def test_the_page_has_all_there_is_to_practise_under_the_name_typed_once():
    who = Field("Your name", "Fay", str)
    form = practise.everything(open_shop("demo-shop"), who)
    (chosen,) = (each for each in dropdowns(form) if each.description == "What to practise")
    for name in ("At the balance", "A whole job", "The shelf as sliders"):
        chosen.value = name
    assert len(chosen.options) == 8
    assert LearnerField.shared == [who]


def dropdowns(widget):
    inner = [found for child in getattr(widget, "children", ()) for found in dropdowns(child)]
    return [widget, *inner] if isinstance(widget, w.Dropdown) else inner
