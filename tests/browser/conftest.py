"""JupyterLab as `matchkit lab` starts it, driven with headless Chromium.

Skipped where no Chromium or no playwright is installed.
"""

import json
import shutil

import pytest

from browser.driving import lacking, open_browser, run_notebook, running_lab

WHOLE = "01_start_here.ipynb"


@pytest.fixture(scope="package")
def lab(tmp_path_factory, fitted_demo):
    """The address of a running JupyterLab, and the folder it shows, the demo shop fitted."""
    if lacking():
        pytest.skip(f"{lacking()}: forms are not tried in a browser")
    folder, home = tmp_path_factory.mktemp("work") / "notebooks", tmp_path_factory.mktemp("home")
    with running_lab(folder, home) as base:
        shutil.copy(fitted_demo / "fit.json", folder / "demo-shop")
        for path in folder.glob("*.ipynb"):
            if path.name != WHOLE:
                only_forms(path)
        yield base, folder


def only_forms(path):
    """Leave a notebook its forms: the rest costs twice as much, and runs in `test_notebooks`."""
    book = json.loads(path.read_text(encoding="utf-8"))
    code = [each for each in book["cells"] if each["cell_type"] == "code"]
    book["cells"] = [each for each in code if "forms.stills" not in "".join(each["source"])]
    for each in book["cells"]:
        each["outputs"] = []
    path.write_text(json.dumps(book), encoding="utf-8")


@pytest.fixture(scope="package")
def browser(tmp_path_factory):
    """One browser for all tests."""
    if lacking():
        pytest.skip(f"{lacking()}: forms are not tried in a browser")
    with open_browser(tmp_path_factory.mktemp("browser")) as context:
        yield context


@pytest.fixture(scope="package")
def page(lab, browser):
    """One page of it for all notebooks: JupyterLab is loaded once."""
    page = browser.new_page()
    watch(page, lab[0])
    return page


@pytest.fixture(scope="package")
def opener(lab, page):
    """Opens a notebook and runs it, unless it is the one that is open."""
    opened = ""

    def open_it(name):
        nonlocal opened
        if name != opened:
            run_notebook(page, lab[0], name)
            opened = name
        return page

    return open_it


@pytest.fixture
def notebook(opener, page):
    """The same for one test, which fails if the page found fault with anything."""
    yield opener
    problems, page.problems = page.problems, []
    assert problems == []


def watch(page, base):
    """Note every error and every request that leaves the machine."""
    page.problems = []
    inside = (base, base.replace("http", "ws"), "data:", "blob:")
    page.on("pageerror", lambda error: page.problems.append(str(error)))
    page.on("console", lambda m: page.problems.append(m.text) if m.type == "error" else None)
    page.on(
        "request",
        lambda r: None if r.url.startswith(inside) else page.problems.append(f"outside: {r.url}"),
    )
