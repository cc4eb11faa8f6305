"""What people read, on paper and on the screen, holds no setting of a machine or of an ink.

Machines and inks differ: speeds, times and temperatures stand in the machine's manual and on
the ink's data sheet.
"""

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from matchkit.paper.sheet import CAUTIONS, MIX, STIR_FIRST

ROOT = Path(__file__).parents[1]
# A lamp's colour temperature is told in kelvin, which none of these is.
SETTINGS = re.compile(
    r"\d+ ?rpm|\d+ ?°[CF]\b|\d+ ?degrees (?:Celsius|Fahrenheit)|edge,\s+cent(?:re|er)"
    r"|changing\s+direction",
    re.IGNORECASE,
)


def program_texts(path: Path) -> Iterator[str]:
    """Every literal of a module; docstrings are literals too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def notebook_texts(path: Path) -> Iterator[str]:
    """Sources and stored outputs; pictures are left out, whose letters say nothing."""
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
        yield "".join(cell["source"])
        for output in cell.get("outputs", ()):
            yield "".join(output.get("text", ""))
            for kind, data in output.get("data", {}).items():
                if not kind.startswith("image/"):
                    text = "".join(data) if isinstance(data, list) else json.dumps(data)
                    yield re.sub(r"data:image/[^\"')]*", "", text)


def shown(path: Path) -> Iterator[str]:
    if path.suffix == ".py":
        return program_texts(path)
    if path.suffix == ".ipynb":
        return notebook_texts(path)
    return iter([path.read_text(encoding="utf-8")])


def read_by_people() -> list[Path]:
    documents = [ROOT / "README.md", ROOT / "data" / "README.md"]
    return [*documents, *ROOT.glob("notebooks/*.ipynb"), *ROOT.rglob("matchkit/**/*.py")]


def test_no_setting_of_a_machine_or_an_ink_is_shown() -> None:
    paths = read_by_people()
    assert len(paths) > 100
    found = [
        f"{path.relative_to(ROOT)}: {match.group()}"
        for path in paths
        for text in shown(path)
        for match in SETTINGS.finditer(text)
    ]
    assert found == []


@pytest.mark.parametrize(
    "text",
    ["Start at 12 rpm", "160 °C / 320 °F", "cure at 160°C", "edge, centre, edge", "edge,\n centre"],
)
def test_such_a_setting_would_be_found(text: str) -> None:
    assert SETTINGS.search(text)


def test_the_mixing_steps_and_the_machine_s_caution_are_in_their_notebook() -> None:
    words = " ".join(" ".join(notebook_texts(ROOT / "notebooks" / "04_weigh_it.ipynb")).split())
    for sentence in (STIR_FIRST, *MIX, CAUTIONS["machine"]):
        assert sentence in words


@pytest.mark.parametrize("name", ["02_know_your_inks", "04_weigh_it", "06_check_and_correct"])
def test_the_notebooks_of_the_bench_carry_the_cautions(name: str) -> None:
    words = " ".join(notebook_texts(ROOT / "notebooks" / f"{name}.ipynb"))
    assert CAUTIONS["machine"] in words
    assert "the temperature on the ink's data sheet" in words.replace("\n  ", " ")


def texts(*folders: str) -> list[tuple[str, str]]:
    """What is written in these folders and on the pages beside them; no stored outputs."""
    kinds = ("*.py", "*.md", "*.toml", "*.html")
    paths = [path for name in folders for kind in kinds for path in (ROOT / name).rglob(kind)]
    paths += [*ROOT.glob("*.md"), ROOT / "pyproject.toml"]
    found = [(path.name, path.read_text(encoding="utf-8")) for path in sorted(paths)]
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        found.append((path.name, "\n".join("".join(cell["source"]) for cell in cells)))
    return found


def test_nobody_is_sent_to_an_index_for_a_package_of_this_name() -> None:
    wrong = re.compile(r"pip install ['\"]?matchkit")
    assert not [name for name, text in texts("matchkit", "tests", "data") if wrong.search(text)]


def test_no_chance_is_told_as_certain() -> None:
    """Nor put into percent anywhere but in `probability.chance_text`."""
    wrong = re.compile(r"chance.{0,20}100 %|chance[^\n]*:\.\df\} ?%")
    named = [name for name, text in texts("matchkit", "data") if wrong.search(text)]
    assert named == ["probability.py"]
