"""JupyterLab as `matchkit lab` starts it, driven with headless Chromium.

Skipped where no Chromium or no playwright is installed.
"""

import pytest

from browser.driving import lacking, open_browser, run_notebook, running_lab


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    """The address of a running JupyterLab, and the folder it shows."""
    if lacking():
        pytest.skip(f"{lacking()}: forms are not tried in a browser")
    folder, home = tmp_path_factory.mktemp("work") / "notebooks", tmp_path_factory.mktemp("home")
    with running_lab(folder, home) as base:
        yield base, folder


@pytest.fixture(scope="session")
def browser(lab, tmp_path_factory):
    """One browser for all tests."""
    with open_browser(tmp_path_factory.mktemp("browser")) as context:
        yield context


@pytest.fixture(scope="session")
def opener(lab, browser):
    """Opens a notebook and runs it, or comes back to it."""
    base, _ = lab
    pages = {}

    def opened(name):
        if name in pages:
            pages[name].bring_to_front()
            return pages[name]
        page = pages[name] = browser.new_page()
        watch(page, base)
        run_notebook(page, base, name)
        return page

    return opened


@pytest.fixture
def notebook(opener):
    """The same for one test, which fails if the page found fault with anything."""
    used = []

    def opened(name):
        used.append(opener(name))
        return used[-1]

    yield opened
    for page in used:
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
