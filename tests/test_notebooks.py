"""The notebooks: they run from top to bottom on the demo shop and show what is stored.

Text is compared, figures within a hundredth or so; pictures only have to be there, since
their bytes differ between versions of matplotlib.
"""

import json
import re
import runpy
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest

# What they bring in takes seconds to load, and is asked for where it is needed.
if not all(map(find_spec, ("nbformat", "nbclient", "ipywidgets"))):
    pytest.skip("JupyterLab or ipywidgets is not installed", allow_module_level=True)

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"
BOOKS = sorted(NOTEBOOKS.glob("[0-9]*.ipynb"))
LONGEST_CELL = 6  # lines
SLOWEST_S = 1200  # of all of them; a twentieth of it on a quiet machine


def ids(path):
    return path.stem


@pytest.fixture(scope="module")
def told(request, fitted_demo):
    """What each of the notebooks that are asked for shows, run once, one after another."""
    asked = [each.callspec.params["path"].name for each in request.session.items if runs_in(each)]
    words = [
        sys.executable,
        str(NOTEBOOKS / "remake.py"),
        "--check",
        f"--shop={fitted_demo}",
        *asked,
    ]
    done = subprocess.run(words, capture_output=True, text=True, timeout=SLOWEST_S)
    parts = re.split(r"^(\d\d_\w+\.ipynb) ", done.stdout, flags=re.MULTILINE)[1:]
    assert parts[::2] == asked, done.stdout + done.stderr
    return dict(zip(parts[::2], parts[1::2], strict=True))


def runs_in(item):
    return item.path == Path(__file__) and "told" in getattr(item, "fixturenames", ())


@pytest.mark.parametrize("path", BOOKS, ids=ids)
def test_runs_and_shows_what_is_stored(path, told):
    assert re.fullmatch(r"\d+ kB\n", told[path.name]), told[path.name]


@pytest.mark.parametrize("path", BOOKS, ids=ids)
def test_is_stored_as_read(path):
    """Static outputs only, nothing of the machine, no error, short cells."""
    text = path.read_text(encoding="utf-8")
    cells = json.loads(text)["cells"]
    assert "widget-view" not in text
    assert "widget-state" not in text
    assert not re.search(r"/(home|tmp|root|Users)/", text)
    for cell in cells:
        if cell["cell_type"] != "code":
            continue
        lines = "".join(cell["source"]).splitlines()
        assert len([line for line in lines if line]) <= LONGEST_CELL
        assert "error" not in [output["output_type"] for output in cell["outputs"]]
        assert all(o.get("name") != "stderr" for o in cell["outputs"])


@pytest.mark.parametrize("path", BOOKS, ids=ids)
def test_says_how_long_what_for_and_how_to_use_ones_own_shop(path):
    cells = ["".join(c["source"]) for c in json.loads(path.read_text(encoding="utf-8"))["cells"]]
    words = "\n".join(cells)
    assert re.search(r"About 1[0-5] minutes", words)
    assert "you have" in words
    assert "**You now have**" in cells[-1]
    stays = path.stem.startswith(("08", "13"))  # their sums name the demo's inks
    assert ('open_shop("demo-shop")  # stays: the sums below name its inks' in words) == stays
    assert stays or "shop = forms.open_shop()\n" in words
    for link in re.findall(r"\]\((\w+\.ipynb)\)", words):
        assert (NOTEBOOKS / link).is_file(), link


def test_figures_may_differ_a_little_and_words_may_not():
    differences = runpy.run_path(str(NOTEBOOKS / "remake.py"))["differences"]
    assert differences(["dE00 0.31 in 12 g"], ["dE00 0.32 in 12 g"]) == []
    assert differences(["dE00 0.31"], ["dE00 0.41"])
    assert differences(["Kelp Green"], ["Kelp Blue"])
    assert differences(["a"], [])
