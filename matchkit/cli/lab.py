"""``matchkit lab``: the notebooks, in a folder of one's own, in JupyterLab."""

import argparse
import os
import subprocess
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path

from matchkit.cli.folders import say
from matchkit.cli.values import whole
from matchkit.errors import InputError
from matchkit.workflows.shipped import copy_notebooks, jupyter


def arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add(
        "folder", metavar="DIR", nargs="?", default="matchkit-notebooks",
        help="where the notebooks go (./matchkit-notebooks)",
    )  # fmt: skip
    add("--port", type=whole(1, 65535), default=8888, metavar="N", help="first port to try (8888)")
    add("--no-browser", action="store_true", help="start without opening a browser window")
    add("--copy-only", action="store_true", help="copy, and do not start")


def run(args: argparse.Namespace) -> None:
    """Copy what is not there yet, then start JupyterLab on the first notebook."""
    if not args.copy_only and not (find_spec("jupyterlab") and find_spec("ipywidgets")):
        raise InputError(
            "JupyterLab is not installed here; in the folder of matchkit run: "
            f'"{sys.executable}" -m pip install -e ".[lab]"'
        )
    folder = Path(args.folder)
    new, kept = copy_notebooks(folder)
    say(f"{folder.resolve()}: {new} files copied, {kept} that were there left as they are")
    if args.copy_only:
        return
    say("JupyterLab opens in the browser. To end it: close the tab, then press Ctrl+C here twice.")
    with tempfile.TemporaryDirectory(prefix="matchkit-lab-", ignore_cleanup_errors=True) as work:
        words, more = jupyter(folder, Path(work), args.port, browser=not args.no_browser)
        if _serve(words, more, work):
            raise SystemExit(1)  # JupyterLab has said why


def _serve(words: list[str], more: dict[str, str], work: str) -> int:
    """Until JupyterLab ends; its exit status.  Ctrl+C is for JupyterLab, which asks back."""
    with subprocess.Popen(words, env={**os.environ, **more}, cwd=work) as server:
        while True:
            try:
                return server.wait()
            except KeyboardInterrupt:
                continue
