"""The house rules that a machine can hold: reading order is import order, and the rest."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import matchkit

PACKAGE = Path(matchkit.__file__).parent
DEVELOPERS = PACKAGE.parent / "DEVELOPERS.md"

# A package imports only from those before it, and so does a module inside its package.
CORE = {
    "errors": (),
    "arrays": (),
    "colorimetry": (
        *("grid", "illuminants", "tristimulus", "difference", "words", "metamerism", "tables"),
    ),
    "optics": ("kubelka_munk", "film"),
    "simulator": ("radiative_transfer", "troubles", "pigments", "simulate", "job"),
    "inks": ("shop", "recipe", "palette", "opacity", "levels", "pots", "drawdowns", "contents"),
    "fitting": (
        "constants",
        "refine",
        "outliers",
        "held_out",
        "expected_error",
        "fit",
        "batches",
        "instrument",
    ),
    "matching": (
        *("descent", "linear", "solve", "rank", "compare", "probability", "match", "library"),
        *("prints", "garment"),
    ),
    "correcting": (
        *("estimate", "diagnose", "container", "amounts", "additions", "correct"),
        *("advice", "hold_back"),
        *("overpour", "lots", "lot_check", "mixes", "shares", "leftovers", "visual"),
    ),
    "paper": ("weighing", "jobsize", "sheet", "compare_sheet", "ticket", "ticket_sheet"),
    "practice": (
        "scores",
        "rehearse",
        *("staircase", "safety", "simulated_shop", "incidents", "job", "looks", "hints"),
        *("exercise", "colour", "metamers", "sums", "kinds", "ladder", "sheet"),
    ),
}
# These touch disk, screen or terminal.
EDGES = {
    "files": (
        *("text", "grid", "readings", "scale", "settings", "tables", "lock", "write", "cgats"),
        *("csv_spectra", "cxf", "progress", "recipe", "shop_tables", "health", "grounds"),
        *("stream", "planned", "spectrum", "preview", "shop", "fitted", "incoming", "weighed"),
    ),
    "book": (
        *("schema", "disk", "store", "drafts", "copies", "rows", "stock", "checks", "containers"),
        *("entries", "jobs", "shared", "story", "find", "batches", "lessons", "report"),
        *("label", "work"),
    ),
    "workflows": (
        *("session", "wanted", "printed", "checking", "fitting_inks", "ink_history"),
        *("rehearsing", "practising", "planning", "predicting", "comparing", "formulas"),
        *("finding", "sizing", "weighing_out", "library", "measuring_batch", "finishing_batch"),
        *("correcting_batch", "booking", "looking_up", "misses", "today", "shelf", "using_up"),
        *("booked", "beginning", "watching", "shipped", "serving"),
    ),
    "report": (
        "marks",
        "ink_plots",
        "charts",
        "learning_plots",
        *("parts", "html", "check", "rehearsal", "practice", "plan", "formulas", "comparison"),
        *("book", "corrections", "inks", "printed"),
    ),
    "api": (),
    "forms": (
        *("shops", "book_demo", "parts", "drafts", "begin", "choose", "new_shop", "inks", "plan"),
        *("play", "learner"),
        *("practise_job", "practise"),
        *("rows", "readings", "check", "ink_history", "compare", "cover", "correct", "jobsize"),
        *("match", "pouring", "book_rows", "book_look", "book_mend", "book", "stills", "page"),
        "curves",
    ),
    "cli": (
        *(
            "folders",
            "values",
            "outputs",
            "lab",
            "serve",
            "asking",
            "asked",
            "demo",
            "book",
        ),
        *("formulas", "printed", "import_", "watch", "plan", "practice"),
        *("book_keep", "book_look", "check", "correct", "fit", "cover", "instrument"),
        *(
            "library",
            "new",
            "rehearse",
            "ticket",
            "predict",
            "book_colour",
            "book_work",
            "jobsize",
            "match",
        ),
        *("compare",),
    ),
    "__main__": (),
}
PACKAGES = CORE | EDGES
ORDER = list(PACKAGES)
LONGEST = 400  # lines
HEAVY = ("colour", "scipy", "matplotlib", "jinja2")


def sources(*packages: str) -> Iterator[tuple[Path, tuple[str, ...], ast.Module]]:
    """Every module: its file, its place such as ("files", "shop"), and what it says."""
    yield from (each for each in parsed() if not packages or each[1][0] in packages)


@cache
def parsed() -> list[tuple[Path, tuple[str, ...], ast.Module]]:
    places = {
        path: path.relative_to(PACKAGE).with_suffix("").parts
        for path in sorted(PACKAGE.rglob("*.py"))
    }
    return [
        (path, place, ast.parse(path.read_text(encoding="utf-8")))
        for path, place in places.items()
        if "_data" not in place
    ]


@cache
def nodes(tree: ast.Module) -> list[ast.AST]:
    return list(ast.walk(tree))


def imports(tree: ast.Module) -> Iterator[tuple[str, ...]]:
    """The places that a module imports from, wherever in the file it does."""
    for node in nodes(tree):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"write `from matchkit.{node.module} import ...`"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        else:
            continue
        yield from (tuple(name.split(".")[1:]) for name in names if name.startswith("matchkit."))


def test_every_module_has_its_place() -> None:
    there = {place[:2] for _, place, _ in sources() if place[-1] != "__init__"}
    listed = {(name, module) for name, modules in PACKAGES.items() for module in modules}
    listed |= {(name,) for name, modules in PACKAGES.items() if not modules}
    listed |= {("colorimetry", "tables")}
    assert there == listed, f"put these into, or take them out of, the list: {there ^ listed}"


def test_packages_and_modules_import_only_what_stands_above_them() -> None:
    upward = []
    for _, place, tree in sources():
        package, module = place[0], place[1] if len(place) > 1 else ""
        for other in imports(tree):
            if package not in ORDER or other[0] not in ORDER:
                continue
            if other[0] != package:
                below = ORDER.index(other[0]) > ORDER.index(package)
            else:
                inside = PACKAGES[package]
                known = len(other) > 1 and other[1] in inside and module in inside
                below = known and inside.index(other[1]) > inside.index(module)
            if below:
                upward.append(f"{'.'.join(place)} imports {'.'.join(other)}")
    assert not upward, "\n".join(upward)


def test_there_are_few_arrows_between_packages() -> None:
    arrows = {
        (place[0], other[0])
        for _, place, tree in sources()
        for other in imports(tree)
        if other[0] != place[0] and other[0] in ORDER and place[0] in ORDER
    }
    assert len(arrows) < 130


def test_the_simulator_stays_apart_from_the_theory() -> None:
    # Demo data and rehearsals must not be marked by their own equations.
    for _, _, tree in sources("simulator"):
        assert {other[0] for other in imports(tree)} <= {
            *("arrays", "errors", "colorimetry", "simulator")
        }


def test_no_file_is_longer_than_a_sitting() -> None:
    long = [
        f"{path.name}: {lines} lines"
        for path, _, _ in sources()
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > LONGEST
    ]
    assert not long, f"split by what they are about: {long}"


def test_the_core_neither_prints_nor_plots_nor_opens_files() -> None:
    found = []
    for path, place, tree in sources(*CORE):
        if "tables" in place:
            continue  # the script that remakes the tables
        for node in nodes(tree):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                if node.func.id in ("print", "open", "input"):
                    found.append(f"{path.name} line {node.lineno}")
            elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                if node.func.attr in ("write_text", "write_bytes", "mkdir", "unlink"):
                    found.append(f"{path.name} line {node.lineno}")
            elif isinstance(node, ast.Import | ast.ImportFrom):
                named = isinstance(node, ast.Import)
                names = [a.name for a in node.names] if named else [str(node.module)]
                outside = {name.split(".")[0] for name in names}
                if outside & {"matplotlib", "sqlite3", "pathlib", "logging", "IPython"}:
                    found.append(f"{path.name} line {node.lineno}")
    assert not found


def test_no_wildcard_or_catch_all() -> None:
    for path, _, tree in sources():
        for node in nodes(tree):
            if isinstance(node, ast.ImportFrom):
                assert all(alias.name != "*" for alias in node.names), path.name
            if isinstance(node, ast.FunctionDef):
                # **kwargs hide what a function takes.
                assert node.args.kwarg is None, f"{path.name}: {node.name}"


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
    places = [place for _, place, _ in sources(*CORE) if place[-1] != "__init__"]
    assert not in_a_fresh_interpreter("\n".join(f"import matchkit.{'.'.join(p)}" for p in places))


def test_the_list_in_the_developers_page_is_this_order() -> None:
    text = DEVELOPERS.read_text(encoding="utf-8")
    table = text.split("## One list")[1].split("\n## ")[0]
    rows = [line.split("|") for line in table.splitlines() if line.startswith("| `")]
    named = {row[1].strip(" `/"): tuple(re.findall(r"`(\w+)`", row[2])) for row in rows}
    assert named == {name: modules for name, modules in PACKAGES.items() if name != "__main__"}
