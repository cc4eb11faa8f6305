"""The house rules that a machine can hold: reading order is import order, and the rest."""

import ast
import json
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

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
OUTSIDE = ("matplotlib", "sqlite3", "pathlib", "logging", "IPython")  # of the core
WRITES = ("write_text", "write_bytes", "mkdir", "unlink")
HEAVY = ("colour", "scipy", "matplotlib")


def sources() -> list[Path]:
    return sorted(path for path in PACKAGE.rglob("*.py") if "_data" not in path.parts)


def layer(path: Path) -> str:
    """`files` for files/shop.py, `solve` for solve.py."""
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


@cache
def parts(path: Path) -> list[ast.AST]:
    """Every node of a module, in the order of its lines or nearly so."""
    return list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


def names_of(node: ast.AST) -> list[str]:
    """`matchkit.files.shop` and the like, as an import statement brings them in."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        inside = node.module == "matchkit"
        return [f"matchkit.{a.name}" for a in node.names] if inside else [str(node.module)]
    return []


def imported(path: Path) -> set[str]:
    """The layers that a module imports from, wherever in the file it does."""
    names = [name for node in parts(path) for name in names_of(node)]
    return {name.split(".")[1] for name in names if name.startswith("matchkit.")}


def modules(names: tuple[str, ...]) -> list[Path]:
    return [path for path in sources() if layer(path) in names]


def test_every_module_has_its_place() -> None:
    assert len(set(ORDER)) == len(ORDER)
    strangers = {layer(path) for path in sources()} - set(ORDER) - {"__init__"}
    assert not strangers, f"put {', '.join(sorted(strangers))} into CORE or EDGES"


def test_a_module_imports_only_what_stands_above_it() -> None:
    below = [
        f"{path} imports {name}, which stands below it"
        for path in modules(ORDER)
        for name in imported(path)
        if name in ORDER and ORDER.index(name) > ORDER.index(layer(path))
    ]
    assert not below, "\n".join(below)


def test_the_bench_stays_apart_from_the_theory() -> None:
    # Demo data and rehearsals must not be marked by their own equations.
    for path in modules(("transfer", "pigments", "simulate")):
        assert imported(path) <= {"faults", "spectra", "transfer", "pigments"}, path


def test_no_file_is_longer_than_a_sitting() -> None:
    lines = {path: path.read_text(encoding="utf-8").count("\n") for path in sources()}
    long = [
        f"{path} has {n} lines: split it by what it is about"
        for path, n in lines.items()
        if n > LONGEST
    ]
    assert not long, "\n".join(long)


def test_the_core_neither_prints_nor_plots_nor_opens_files() -> None:
    found = []
    for path in modules(CORE):
        for node in parts(path):
            outside = {name.split(".")[0] for name in names_of(node)} & set(OUTSIDE)
            called = node.func if isinstance(node, ast.Call) else None
            if (
                outside
                or (isinstance(called, ast.Name) and called.id in ("print", "open", "input"))
                or (isinstance(called, ast.Attribute) and called.attr in WRITES)
            ):
                found.append(f"{path} line {node.lineno}")
    assert not found, "\n".join(found)


def test_no_relative_wildcard_or_catch_all() -> None:
    found = []
    for path in sources():
        for node in parts(path):
            if isinstance(node, ast.ImportFrom) and node.level:
                found.append(f"{path} line {node.lineno}: write `from matchkit...`")
            if isinstance(node, ast.ImportFrom) and any(a.name == "*" for a in node.names):
                found.append(f"{path} line {node.lineno}: name what is imported")
            if isinstance(node, ast.FunctionDef) and node.args.kwarg:
                found.append(f"{path}: {node.name} hides what it takes")
    assert not found, "\n".join(found)


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


def test_starting_is_quick() -> None:
    assert not in_a_fresh_interpreter("import matchkit")
    assert not in_a_fresh_interpreter("import matchkit.cli")


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
