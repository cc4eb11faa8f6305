"""JupyterLab as `matchkit lab` starts it, driven with headless Chromium.

Skipped where no Chromium or no playwright is installed.
"""

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import time
import urllib.request

import pytest

from matchkit.cli.lab import copy_to, start

CHROMIUM = os.environ.get("MATCHKIT_CHROMIUM") or next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None
)
ARGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
]
WAIT_MS = 60_000
ALL_RUN = """() => {
  const prompts = [...document.querySelectorAll('.jp-CodeCell .jp-InputPrompt')]
    .filter(e => e.innerText.trim());
  return prompts.length && prompts.every(e => /\\[\\d+\\]/.test(e.innerText));
}"""


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    """The address of a running JupyterLab, and the folder it shows."""
    if not CHROMIUM:
        pytest.skip("no Chromium is installed: forms are not tried in a browser")
    pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    folder, home = tmp_path_factory.mktemp("work") / "notebooks", tmp_path_factory.mktemp("home")
    copy_to(folder)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words, more = start(folder, port, browser=False)
    own = {
        f"JUPYTER_{name}_DIR": str(home / name.lower()) for name in ("CONFIG", "DATA", "RUNTIME")
    }
    own |= {f"JUPYTERLAB_{name}_DIR": str(home / name) for name in ("SETTINGS", "WORKSPACES")}
    log = (home / "lab.log").open("w")
    server = subprocess.Popen(
        [*words, "--IdentityProvider.token=", "--ServerApp.port_retries=0"],
        # A program presses faster than a person: no press of it is the second of a double one.
        env={
            **os.environ,
            **more,
            **own,
            "IPYTHONDIR": str(home / "ipython"),
            "MATCHKIT_FORMS_RAISE": "1",
        },
        stdout=log,
        stderr=subprocess.STDOUT,
        start_new_session=True,
    )
    base = f"http://127.0.0.1:{port}"
    until(lambda: server.poll() is not None or asked(base + "/api/status") is not None)
    if server.poll() is not None:
        pytest.fail((home / "lab.log").read_text()[-2000:])
    yield base, folder
    os.killpg(server.pid, signal.SIGTERM)  # the server and its kernels, nothing else
    server.wait(20)
    log.close()


@pytest.fixture(scope="session")
def browser(lab, tmp_path_factory):
    """One browser for all tests."""
    from playwright.sync_api import expect, sync_playwright

    with sync_playwright() as play:
        context = play.chromium.launch_persistent_context(
            str(tmp_path_factory.mktemp("browser")),
            executable_path=CHROMIUM,
            headless=True,
            args=ARGS,
            viewport={"width": 1280, "height": 1000},
        )
        context.set_default_timeout(WAIT_MS)
        expect.set_options(timeout=WAIT_MS / 2)  # films are fitted at the first press
        yield context
        context.close()


@pytest.fixture(scope="session")
def opener(lab, browser):
    """Opens a notebook, or comes back to it, and runs it as a person does: two clicks."""
    base, _ = lab
    pages = {}

    def opened(name):
        if name in pages:
            pages[name].bring_to_front()
            return pages[name]
        page = pages[name] = browser.new_page()
        watch(page, base)
        page.goto(f"{base}/lab/tree/{name}?reset")
        until(lambda: ready(base, name))
        page.wait_for_timeout(300)
        count_clicks(page)
        page.locator("[data-jp-item-name='restart-and-run']").get_by_role("button").click()
        page.locator(".jp-Dialog .jp-mod-accept").click()
        page.wait_for_function(ALL_RUN, timeout=WAIT_MS)
        assert page.locator("[data-mime-type='application/vnd.jupyter.error']").count() == 0
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


def count_clicks(page):
    """The page counts real clicks itself; `clicks_of` reads the number."""
    page.evaluate(
        "() => { window.clicks = 0; addEventListener('click', e => {"
        " if (e.isTrusted) window.clicks += 1; }, true); }"
    )


def clicks_of(page):
    return page.evaluate("() => window.clicks")


def ready(base, name):
    """Whether the notebook's kernel is up and listened to."""
    for session in asked(base + "/api/sessions") or []:
        kernel = session["kernel"] or {}
        if session["path"] == name and kernel.get("connections"):
            return kernel["execution_state"] == "idle"
    return False


def asked(url):
    """The server's answer, or None."""
    with contextlib.suppress(OSError), urllib.request.urlopen(url, timeout=2) as answer:
        return json.load(answer)
    return None


def until(met, seconds=60):
    end = time.monotonic() + seconds
    while not met():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.1)
