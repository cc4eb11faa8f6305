"""The notebooks: they run from top to bottom on the demo shop and show what is stored.

Text is compared, figures within a hundredth or so; pictures only have to be there, since
their bytes differ between versions of matplotlib.
"""

import importlib.util
import re
import subprocess
import sys
from pathlib import Path

import pytest

nbformat = pytest.importorskip("nbformat", reason="JupyterLab is not installed")
pytest.importorskip("nbclient", reason="JupyterLab is not installed")
pytest.importorskip("ipywidgets", reason="ipywidgets is not installed")

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"
BOOKS = sorted(NOTEBOOKS.glob("[0-9]*.ipynb"))
LONGEST_CELL = 6  # lines
SLOWEST_S = 1200  # of all of them; a twentieth of it on a quiet machine
OWN = "your own shop: write the name of its folder here"

spec = importlib.util.spec_from_file_location("remake", NOTEBOOKS / "remake.py")
assert spec and spec.loader
remake = importlib.util.module_from_spec(spec)
spec.loader.exec_module(remake)


def ids(path):
    return path.stem


@pytest.fixture(scope="module")
def told(request):
    """What each of the notebooks that are asked for shows, run once, one after another."""
    asked = [each.callspec.params["path"].name for each in request.session.items if runs_in(each)]
    words = [sys.executable, remake.__file__, "--check", *asked]
    done = subprocess.run(words, capture_output=True, text=True, timeout=SLOWEST_S)
    parts = re.split(r"^(\d\d_\w+\.ipynb) ", done.stdout, flags=re.MULTILINE)[1:]
    assert parts[::2] == asked, done.stdout + done.stderr
    return dict(zip(parts[::2], parts[1::2], strict=True))


def runs_in(item):
    return "told" in getattr(item, "fixturenames", ())


@pytest.mark.parametrize("path", BOOKS, ids=ids)
def test_runs_and_shows_what_is_stored(path, told):
    assert re.fullmatch(r"\d+ kB\n", told[path.name]), told[path.name]


@pytest.mark.parametrize("path", BOOKS, ids=ids)
def test_is_stored_as_read(path):
    """Static outputs only, nothing of the machine, no error, short cells."""
    text = path.read_text(encoding="utf-8")
    book = nbformat.reads(text, as_version=4)
    assert "widget-view" not in text
    assert "widget-state" not in text
    assert not re.search(r"/(home|tmp|root|Users)/", text)
    for cell in book.cells:
        if cell.cell_type != "code":
            continue
        assert len([line for line in cell.source.splitlines() if line]) <= LONGEST_CELL
        kinds = [output.output_type for output in cell.outputs]
        assert "error" not in kinds
        assert all(o.get("name") != "stderr" for o in cell.outputs)


@pytest.mark.parametrize("path", BOOKS, ids=ids)
def test_says_how_long_what_for_and_how_to_use_ones_own_shop(path):
    book = nbformat.read(path, as_version=4)
    words = "\n".join(cell.source for cell in book.cells)
    assert re.search(r"About 1[0-5] minutes", words)
    assert "you have" in words
    assert "**You now have**" in book.cells[-1].source
    stays = path.stem.startswith("08")  # its sums name the demo's inks
    how = "stays: the sums below name its inks" if stays else OWN
    assert f'open_shop("demo-shop")  # {how}' in words
    for link in re.findall(r"\]\((\w+\.ipynb)\)", words):
        assert (NOTEBOOKS / link).is_file(), link


def test_figures_may_differ_a_little_and_words_may_not():
    assert remake.differences(["dE00 0.31 in 12 g"], ["dE00 0.32 in 12 g"]) == []
    assert remake.differences(["dE00 0.31"], ["dE00 0.41"])
    assert remake.differences(["Kelp Green"], ["Kelp Blue"])
    assert remake.differences(["a"], [])
