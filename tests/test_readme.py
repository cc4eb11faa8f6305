"""README is a claim: its commands run, its results are those of the code."""

import re
from pathlib import Path

import pytest

from matchkit.cli import COMMANDS
from matchkit.cli.book import VERBS
from tests.studies.readme import PARTS, README, STUDIES, filled

ROOT = README.parent
TEXT = README.read_text(encoding="utf-8")


def test_results_in_readme_are_what_the_code_gives():
    said, missing = "run python -m tests.studies.readme", set(PARTS)
    for text in (TEXT, STUDIES.read_text(encoding="utf-8")):
        again = filled(text)
        for name in PARTS:
            part = re.compile(f"<!-- {name} -->.*?<!-- /{name} -->", re.DOTALL)
            if found := part.search(text):
                missing.discard(name)
                assert found[0] == part.search(again)[0], f"{name}: {said}"
    assert not missing


def test_the_test_command_of_readme_is_what_ci_runs():
    command = next(
        line for line in TEXT.splitlines() if line.endswith(".venv/bin/python -m pytest")
    )
    run = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    steps, tests = command.rsplit(" && ", 1)
    assert run.index(steps) < run.index("wait") < run.index(tests)


def test_every_command_of_readme_is_one():
    named = set(re.findall(r"matchkit ([a-z]+)(?: OURS ([a-z]+))?", TEXT))
    assert {command for command, _ in named} <= {*COMMANDS}
    assert {verb for command, verb in named if command == "book"} <= {*VERBS}


def test_the_python_of_readme_runs(capsys):
    blocks = re.findall(r"```python\n(.*?)```", TEXT, re.DOTALL)
    (code,) = (block for block in blocks if 'read_shop("demo")' in block)
    demo = Path(__file__).parents[1] / "data" / "demo-shop"
    code = code.replace('"demo"', repr(str(demo)))
    exec(code, {})
    assert capsys.readouterr().out.startswith("(")


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", "data/README.md"])
def test_every_file_that_a_text_names_is_there(name):
    text = (ROOT / name).read_text(encoding="utf-8")
    named = re.findall(r"`((?:matchkit|tests|data|notebooks|\.ci)/[\w./-]+)`", text)
    missing = [path for path in named if not (ROOT / path).exists()]
    assert not missing
