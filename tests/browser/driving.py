"""JupyterLab as `matchkit lab` starts it, and a headless Chromium that works in it."""

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import time
import urllib.request
from importlib.util import find_spec

from matchkit.workflows.serving import page_server
from matchkit.workflows.shipped import copy_notebooks, jupyter

CHROMIUM = os.environ.get("MATCHKIT_CHROMIUM") or next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None
)
ARGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
]
EXPOSED = "--LabApp.expose_app_in_browser=True"  # the page's own commands open its notebooks
WAIT_MS = 120_000
LOOK_MS = 200  # how often a page is looked at; left alone, playwright asks at every frame
ALL_RUN = """() => {
  const prompts = [...document.querySelectorAll('.jp-CodeCell .jp-InputPrompt')]
    .filter(e => e.textContent.trim());
  return prompts.length && prompts.every(e => /\\[\\d+\\]/.test(e.textContent));
}"""
# The next notebook runs in the kernel of the last one, which is emptied: it has all that forms
# bring in.  A notebook in a new kernel is what "Restart and run all" gives.
OPEN = """async name => {
  await jupyterapp.restored;
  let id;
  for (const each of [...jupyterapp.shell.widgets('main')]) {
    const kernel = each.sessionContext?.session?.kernel;
    if (kernel) {
      const code = 'import ipywidgets\\nipywidgets.Widget.close_all()\\n%reset -f';
      await kernel.requestExecute({code, store_history: false}).done;
      id = kernel.id;
    }
    each.dispose();
  }
  const args = id ? {path: name, kernel: {id}} : {path: name};
  const opened = await jupyterapp.commands.execute('docmanager:open', args);
  await opened.context.ready;
  await opened.sessionContext.ready;
}"""
# A page that moves is painted anew all the time, by a machine without a graphics card.
STILL = """addEventListener('DOMContentLoaded', () => {
  const style = document.createElement('style');
  style.textContent = '* { animation: none !important; transition: none !important; }';
  document.head.append(style);
});"""
# The page counts real clicks itself; `clicks_of` reads the number.
COUNT = """() => {
  const count = e => { if (e.isTrusted) window.clicks += 1; };
  if (window.clicks === undefined) addEventListener('click', count, true);
  window.clicks = 0;
}"""


def lacking():
    """What is not installed of a browser and what drives it; empty where both are there."""
    if not CHROMIUM:
        return "no Chromium is installed"
    return "" if find_spec("playwright") else "playwright is not installed"


@contextlib.contextmanager
def running_lab(folder, home):
    """Fill `folder` with the notebooks and serve it; the address.  Settings stay in `home`."""
    copy_notebooks(folder)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words, more = jupyter(folder, home / "lab", port, browser=False)
    own = {
        f"JUPYTER_{name}_DIR": str(home / name.lower()) for name in ("CONFIG", "DATA", "RUNTIME")
    }
    own |= {f"JUPYTERLAB_{name}_DIR": str(home / name) for name in ("SETTINGS", "WORKSPACES")}
    # A program presses faster than a person: no press of it is the second of a double one.
    own |= {"IPYTHONDIR": str(home / "ipython"), "MATCHKIT_FORMS_RAISE": "1"}
    with (home / "lab.log").open("w") as log:
        server = subprocess.Popen(
            [*words, "--IdentityProvider.token=", "--ServerApp.port_retries=0", EXPOSED],
            env={**os.environ, **more, **own},
            cwd=home / "lab",
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        try:
            base = f"http://127.0.0.1:{port}"
            until(lambda: server.poll() is not None or asked(base + "/api/status") is not None)
            assert server.poll() is None, (home / "lab.log").read_text()[-2000:]
            yield base
        finally:
            if server.poll() is None:
                killed(server)


def killed(server):
    """End a server as when the power goes; its kernels end when they see that it is gone."""
    os.killpg(server.pid, signal.SIGKILL)
    server.wait()


class Page:
    """The job page of a shop as `matchkit serve` starts it; it can be killed and started again."""

    def __init__(self, shop, home, secret="quay street press"):
        self.shop, self.home, self.secret, self.server, self.turn = shop, home, secret, None, 0
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.base = f"http://127.0.0.1:{self.port}"
        self.link = f"{self.base}/?token={secret.replace(' ', '%20')}"

    def start(self):
        self.turn += 1
        work = self.home / f"work-{self.turn}"
        served = page_server(
            self.shop, work, port=self.port, password=self.secret, browser=False
        )  # fmt: skip
        own = {"MATCHKIT_FORMS_RAISE": "1", "MATCHKIT_SETTINGS": str(self.home / "settings")}
        with (self.home / "page.log").open("a") as log:
            self.server = subprocess.Popen(
                served.words, env={**os.environ, **served.environment, **own}, cwd=work,
                stdout=log, stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip
        until(lambda: self.server.poll() is not None or asked(self.base + "/login", False))

    def kill(self):
        killed(self.server)


@contextlib.contextmanager
def open_browser(profile, height=1000):
    """A browser whose settings stay in the folder `profile`."""
    from playwright.sync_api import expect, sync_playwright

    with sync_playwright() as play:
        context = play.chromium.launch_persistent_context(
            str(profile),
            executable_path=CHROMIUM,
            headless=True,
            args=ARGS,
            viewport={"width": 1280, "height": height},
        )
        context.set_default_timeout(WAIT_MS)
        context.add_init_script(STILL)
        expect.set_options(timeout=WAIT_MS / 2)  # films are fitted at the first press
        yield context
        context.close()


def run_notebook(page, base, name):
    """Open a notebook and run it, in the one JupyterLab of this page; others are closed."""
    if not page.url.startswith(f"{base}/lab"):
        page.goto(f"{base}/lab?reset")
    page.wait_for_function("() => window.jupyterapp", polling=LOOK_MS)
    page.evaluate(OPEN, name)
    page.evaluate(COUNT)
    page.evaluate("() => jupyterapp.commands.execute('notebook:run-all-cells')")
    page.wait_for_function(ALL_RUN, timeout=WAIT_MS, polling=LOOK_MS)
    assert page.locator("[data-mime-type='application/vnd.jupyter.error']").count() == 0


def clicks_of(page):
    return page.evaluate("() => window.clicks")


def asked(url, read=True):
    """The server's answer, or None; without `read` only whether there is one."""
    with contextlib.suppress(OSError), urllib.request.urlopen(url, timeout=2) as answer:
        return json.load(answer) if read else True
    return None


def until(met, seconds=120):
    end = time.monotonic() + seconds
    while not met():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.1)
