"""The practise forms without a browser, each left unanswered and answered."""

import re

import pytest

from matchkit.files.progress import progress_path, read_progress
from matchkit.practice.kinds import KINDS
from matchkit.practice.safety import SAFETY

w = pytest.importorskip("ipywidgets", reason="ipywidgets is not installed")

from matchkit.forms import practise  # noqa: E402
from matchkit.forms.practise import ExerciseForm, PracticeJobForm  # noqa: E402


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """What forms keep goes nowhere else; their faults are raised as well as shown."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MATCHKIT_FORMS_RAISE", "1")
    return tmp_path


@pytest.mark.parametrize("kind", KINDS)
def test_each_form_stands_unanswered(kind):
    """Question, numbers, choices, and what screens can't say; nothing is chosen yet."""
    given = ExerciseForm(kind)
    assert getattr(practise, kind)() is not None
    assert given.pick.value is None
    assert given.given.question in given.question.value
    for each in given.given.swatches:
        assert re.sub(" +", " ", each.numbers) in re.sub(" +", " ", given.question.value)
    given.look.click()
    assert "nothing is chosen yet" in given.problems.value
    assert not given.verdict.value


@pytest.mark.parametrize("kind", KINDS)
def test_a_right_answer_is_marked_explained_and_kept(kind, own_folder):
    given = ExerciseForm(kind)
    given.learner.text.value = "Ana"
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
    assert given.verdict.value == ""
    assert not given.look.disabled


def test_a_learner_goes_on_where_they_stopped(own_folder):
    first = ExerciseForm("sums")
    first.learner.text.value = "Bo"
    for _ in range(2):
        first.pick.value = first.given.answer
        first.look.click()
        first.go_on.click()
    again = ExerciseForm("sums")
    assert again.given.code == "sums-1-0"
    again.learner.text.value = "Bo"
    assert again.given.code == "sums-3-1"


def test_a_name_that_is_no_file_name_is_told(own_folder):
    given = ExerciseForm("sums")
    given.learner.text.value = "../Bo"
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
    assert "Round 1" in given.state.value
    press(given, "Finish")
    assert "OUT OF TOLERANCE" in given.end.value
    assert "With the hints" in given.end.value
    assert "1. weigh: White" in given.end.value


def test_the_hints_alone_bring_a_job_in():
    given = PracticeJobForm(5)
    for _ in range(20):
        press(given, "What would you do?")
        assert 'role="status"' in given.note.value
        press(given, "Do that for me")
        if given.asking.layout.display is None:
            answered(given)
        if given.end.value:
            break
    assert "<p>IN TOLERANCE: " in given.end.value
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
