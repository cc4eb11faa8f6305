"""The house rules that a machine can hold: reading order is import order, and the rest."""

import ast
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

import matchkit

PACKAGE = Path(matchkit.__file__).parent
ROOT = PACKAGE.parent
DEVELOPERS = ROOT / "DEVELOPERS.md"

# A module imports only from those before it.  A new one goes where it can be read.
CORE = (
    *("faults", "spectra", "optics", "lights", "colorimetry"),
    *("transfer", "pigments", "simulate"),
    *("inks", "film", "palette", "constants", "suspects", "fit", "film_constants", "film_fit"),
    *("rungs", "recipe", "pots", "plan", "contents"),
    *("eye", "descent", "solve", "metamerism", "judge", "compare"),
    *("odds", "estimate", "diagnose", "additions", "correct", "advice", "bucket", "hold", "pour"),
    *("lots", "lot_check", "shelf", "leftovers", "match", "library", "instrument", "words"),
    *("opacity", "prints", "garment"),
    *("weighing", "jobsize", "sheet", "plan_sheet", "compare_sheet", "ticket", "ticket_sheet"),
    *("scores", "rehearse", "staircase", "practice_safety", "practice_bench", "practice_job"),
    *("practice", "practice_exercise", "practice_colour", "practice_sums", "practice_kinds"),
    "practice_sheet",
)
# These touch disk, screen or terminal.
EDGES = (
    "files",
    *("book_schema", "book", "book_shelf", "book_rows", "book_jobs", "book_copies", "book_bucket"),
    *("book_entries", "book_stock", "book_find", "book_checks", "book_lessons"),
    *("book_report", "book_plots"),
    *("book_work", "label", "marks", "ink_plots", "plots", "forms", "tables", "cli", "__main__"),
)
ORDER = CORE + EDGES
LONGEST = 400  # lines
HEAVY = ("colour", "scipy", "matplotlib")


def sources() -> list[Path]:
    return sorted(path for path in PACKAGE.rglob("*.py") if "_data" not in path.parts)


def layer(path: Path) -> str:
    """`files` for files/shop.py, `solve` for solve.py."""
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imported(path: Path) -> set[str]:
    """The layers that a module imports from, wherever in the file it does."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.level:
            pytest.fail(f"{path.name}: write `from matchkit.{node.module} import ...`")
        elif isinstance(node, ast.ImportFrom):
            inside = node.module == "matchkit"
            names = [f"matchkit.{a.name}" if inside else str(node.module) for a in node.names]
        else:
            continue
        found |= {name.split(".")[1] for name in names if name.startswith("matchkit.")}
    return found


def modules(names: tuple[str, ...]) -> list[Path]:
    return [path for path in sources() if layer(path) in names]


def test_every_module_has_its_place() -> None:
    assert len(set(ORDER)) == len(ORDER)
    strangers = {layer(path) for path in sources()} - set(ORDER) - {"__init__"}
    assert not strangers, f"put {', '.join(sorted(strangers))} into CORE or EDGES"


@pytest.mark.parametrize("path", sources(), ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_a_module_imports_only_what_stands_above_it(path: Path) -> None:
    if layer(path) not in ORDER:
        return
    at = ORDER.index(layer(path))
    below = {name for name in imported(path) if name in ORDER and ORDER.index(name) > at}
    assert not below, f"{path.name} imports {', '.join(sorted(below))}, which stand below it"


def test_the_bench_stays_apart_from_the_theory() -> None:
    # Demo data and rehearsals must not be marked by their own equations.
    for name in ("transfer", "pigments", "simulate"):
        assert imported(PACKAGE / f"{name}.py") <= {"faults", "spectra", "transfer", "pigments"}


@pytest.mark.parametrize("path", sources(), ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_no_file_is_longer_than_a_sitting(path: Path) -> None:
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= LONGEST, f"{path.name} has {lines} lines; split it by what it is about"


@pytest.mark.parametrize("path", modules(CORE), ids=layer)
def test_the_core_neither_prints_nor_plots_nor_opens_files(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in ("print", "open", "input"), f"{path.name} line {node.lineno}"
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            writes = node.func.attr in ("write_text", "write_bytes", "mkdir", "unlink")
            assert not writes, f"{path.name} line {node.lineno}"
        if isinstance(node, ast.Import | ast.ImportFrom):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else [node.module]
            for name in names:
                outside = str(name).split(".")[0]
                assert outside not in ("matplotlib", "sqlite3", "pathlib", "logging", "IPython")


@pytest.mark.parametrize("path", sources(), ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_no_relative_wildcard_or_catch_all(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert all(alias.name != "*" for alias in node.names), path.name
        if isinstance(node, ast.FunctionDef):
            # **kwargs hide what a function takes.
            assert node.args.kwarg is None, f"{path.name}: {node.name}"


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
    """Nor put into percent anywhere but in `odds.chance_text`."""
    wrong = re.compile(r"chance.{0,20}100 %|chance[^\n]*:\.\df\} ?%")
    named = [name for name, text in texts("matchkit", "data") if wrong.search(text)]
    assert named == ["odds.py"]


def in_a_fresh_interpreter(statement: str) -> set[str]:
    """Which of the heavy libraries a statement brings in."""
    code = f"import sys\n{statement}\nprint(*(name for name in {HEAVY} if name in sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=PACKAGE.parent
    )
    return set(done.stdout.split())


@pytest.mark.parametrize("statement", ["import matchkit", "import matchkit.cli"])
def test_starting_is_quick(statement: str) -> None:
    assert not in_a_fresh_interpreter(statement)


def test_no_core_module_brings_in_a_heavy_library() -> None:
    lines = [f"import matchkit.{layer(path)}" for path in modules(CORE)]
    assert not in_a_fresh_interpreter("\n".join(lines))


def test_the_list_in_the_developers_page_is_this_order() -> None:
    text = DEVELOPERS.read_text(encoding="utf-8")
    table = text.split("## One list")[1].split("\n## ")[0]
    rows = [line.split("|")[2] for line in table.splitlines() if line.startswith("|")]
    named = [name.rstrip("/") for row in rows for name in re.findall(r"`([\w/]+)`", row)]
    assert len(named) > 20
    assert set(CORE) <= set(named) <= set(ORDER)
    assert named == sorted(named, key=ORDER.index)
