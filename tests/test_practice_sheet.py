"""The trainer's sheet, the command, and the file of a learner's answers."""

import json

import pytest
from pages import read_page

from matchkit.cli import main
from matchkit.errors import InputError
from matchkit.files.progress import add_progress, progress_path, read_progress
from matchkit.paper.sheet import minus
from matchkit.practice.exercise import LETTERS
from matchkit.practice.kinds import KINDS, Answered, exercise
from matchkit.practice.safety import SAFETY
from matchkit.practice.sheet import sheet_html
from matchkit.practice.simulated_shop import practice_shop
from matchkit.report.html import to_text
from matchkit.report.practice import exercises_parts
from matchkit.workflows.practising import Exercises


@pytest.fixture(scope="module")
def made():
    return [
        exercise(practice_shop(), kind, seed=seed, level=3) for kind in KINDS for seed in (1, 2)
    ]


def test_the_sheet_prints_questions_first_and_answers_on_their_own_page(made):
    page = sheet_html(made, title="Monday <1>")
    words = read_page(page)
    questions, answers = words.split("Answers")
    assert "@page { size: A4;" in page
    assert "break-before: page" in page
    assert "Monday <1>" in words
    assert "Screens, printers and eyes differ" in questions
    for each in made:
        assert each.code in questions and each.code in answers
        assert each.question in questions
        explained = minus(each.explanation)
        assert explained in answers and explained not in questions
        for s in each.swatches:
            assert f"{s.name}: {minus(s.numbers)}" in questions
            assert s.hex in page
    for each in SAFETY:
        assert each.question in questions
        assert each.why in answers
    assert page.count("<svg") == 2 * 3  # see and fix with the answers, the light with its question


def test_plain_text_holds_the_same_questions(made):
    found = Exercises(exercises=tuple(made))
    text, told = (to_text(exercises_parts(found, answers=each)) for each in (False, True))
    assert "Answer" not in text
    for each in made:
        assert each.code in text and each.question in text
        assert f"Answer: {LETTERS[each.answer]})" in told and each.explanation in told
        for k, choice in enumerate(each.choices):
            assert f"{LETTERS[k]}) {choice.text}" in text


# ---- the command


def test_exercises_by_the_command(capsys, tmp_path):
    sheet = tmp_path / "sheet.html"
    assert main(["practice", "--sheet", str(sheet), "--count", "1", "--level", "2"]) == 0
    assert "written" in capsys.readouterr().err
    page = sheet.read_text(encoding="utf-8")
    read_page(page)
    assert "Answers" not in page and "Hint:" not in page
    assert main(["practice", "--sheet", str(sheet), "--count", "1", "--answers"]) == 0
    assert "Answers" not in capsys.readouterr().out
    assert '<h1 class="answers">Answers</h1>' in sheet.read_text(encoding="utf-8")
    assert main(["practice", "--count", "1", "--seed", "9", "--kind", "sums", "--answers"]) == 0
    out = capsys.readouterr().out
    assert "sums-9-0" in out and "Answers" in out


def test_json_holds_exercises_and_answers(capsys):
    assert main(["practice", "--count", "2", "--kind", "fix", "--kind", "see", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [each["code"] for each in told["exercises"]] == [
        "fix-1-0",
        "fix-2-0",
        "see-1-0",
        "see-2-0",
    ]
    first = told["exercises"][0]
    assert first["answer"] in first["choices"]
    assert set(first["swatches"][0]) == {"name", "light", "lab", "hex"}
    assert told["standing"] == []


def test_marking_keeps_the_answers_and_raises_the_level(capsys, tmp_path):
    learner = tmp_path / "ana.jsonl"
    for seed in (1, 2):
        each = exercise(practice_shop(), "sums", seed=seed, level=0)
        pair = f"{each.code}={LETTERS[each.answer]}"
        assert main(["practice", "--mark", pair, "--learner", str(learner)]) == 0
    assert "1 of 1 right" in capsys.readouterr().out
    assert len(read_progress(learner)) == 2
    assert main(["practice", "--kind", "sums", "--learner", str(learner), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["exercises"][0]["code"] == "sums-3-1"  # two right: one level harder, unseen
    assert next(s for s in told["standing"] if s["kind"] == "sums")["right"] == 2


def test_a_wrong_mark_keeps_nothing(capsys, tmp_path):
    learner = tmp_path / "ana.jsonl"
    words = ["practice", "--mark", "sums-1-0=a", "sums-1=b", "see-1-0=z", "--learner", str(learner)]
    assert main(words) == 2
    told = capsys.readouterr().err
    assert "sums-1=b" in told and "see-1-0=z" in told
    assert not learner.exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--count", "0"], "--count"),
        (["--count", "2.5"], "--count"),
        (["--level", "9"], "--level"),
        (["--seed", "-1"], "--seed"),
        (["--seed", "x"], "--seed"),
    ],
)
def test_bad_options_are_told(words, told, capsys):
    assert main(["practice", *words]) == 2
    assert told in capsys.readouterr().err


def test_the_trainer_sees_every_learner(capsys, tmp_path):
    for name in ("Bo", "ana"):
        add_progress(progress_path(tmp_path, name), [ONE])
    assert main(["practice", "--trainer", str(tmp_path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["learners"]
    assert [each["name"] for each in told] == ["ana", "Bo"]
    assert [each["passed"] for each in told[0]["sessions"]] == [False] * 6
    assert main(["practice", "--trainer", str(tmp_path)]) == 0
    assert "ana" in capsys.readouterr().out
    assert main(["practice", "--trainer", str(tmp_path / "none")]) == 2
    assert "no learner has answers there" in capsys.readouterr().err


# ---- the file


def line_with(pair):
    """A line of which one pair is other than it should be; of two the later counts."""
    good = '"kind": "see", "seed": 1, "rung": 1, "choice": 0, "right": true, "score": 1'
    return "{" + f"{good}, {pair}" + "}"


ONE = Answered(kind="see", seed=1, level=0, choice=2, right=True, score=1.0, date="2030-01-02")


def test_answers_come_back_as_they_were_kept(tmp_path):
    path = progress_path(tmp_path, "Ana  Ruiz")
    assert path.name == "Ana Ruiz-practice.jsonl"
    path.touch()
    assert progress_path(tmp_path, "ana RUIZ") == path  # one learner, capitals or not
    assert read_progress(path) == []
    add_progress(path, [ONE])
    add_progress(path, [ONE, ONE])
    assert read_progress(path) == [ONE, ONE, ONE]
    assert len(path.read_text(encoding="utf-8").splitlines()) == 3


@pytest.mark.parametrize("name", ["", "  ", "../x", "a/b", ".x", "a:b", "x" * 61])
def test_a_name_that_is_no_file_name_is_refused(name, tmp_path):
    with pytest.raises(InputError, match="learner"):
        progress_path(tmp_path, name)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("{", "no JSON"),
        ("[1]", "need an object"),
        ("null", "need an object"),
        ('{"kind": "see"}', "seed is missing"),
        (line_with('"kind": "look"'), "kind"),
        (line_with('"rung": 9'), "rung"),
        (line_with('"seed": true'), "seed"),
        (line_with('"seed": 1e400'), "seed"),
        (line_with('"right": 1'), "right"),
        (line_with('"score": NaN'), "score"),
        ("[" * 100000, "JSON"),
    ],
)
def test_a_broken_line_is_told_by_its_number_and_nothing_is_written(line, words, tmp_path):
    path = tmp_path / "ana.jsonl"
    add_progress(path, [ONE])
    path.write_text(path.read_text(encoding="utf-8") + line + "\n", encoding="utf-8")
    before = path.read_bytes()
    with pytest.raises(InputError, match="line 2") as error:
        add_progress(path, [ONE])
    assert words in "\n".join(error.value.faults)
    assert path.read_bytes() == before


def test_a_file_that_is_no_text_is_told(tmp_path):
    path = tmp_path / "ana.jsonl"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="cannot be read"):
        read_progress(path)
    with pytest.raises(InputError, match="cannot be read"):
        read_progress(tmp_path)
