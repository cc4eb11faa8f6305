"""``matchkit lab``: the notebooks, in a folder of one's own, in JupyterLab."""

import argparse
import json
import os
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

from matchkit.cli.terminal import say
from matchkit.cli.values import whole
from matchkit.errors import InputError
from matchkit.files.places import data_folder, notebooks_folder
from matchkit.files.write import write_file

START = "01_start_here.ipynb"
DEMO = "demo-shop"
SETTINGS = ".matchkit-lab"  # what JupyterLab is told, apart from the person's own settings
# JupyterLab asks at its first start whether to fetch news from outside, and offers to fetch
# extensions; its debugger complains when a kernel is restarted.  None is of use to a mixer.
LEFT_OUT = ("apputils-extension:announcements", "extensionmanager-extension", "debugger-extension")
QUIET = {"disabledExtensions": {f"@jupyterlab/{name}": True for name in LEFT_OUT}}
# JupyterLab hands what is pressed and typed to several threads of the kernel, which may then
# come to a press before the entry that was made before it.  One thread keeps the order.
IN_ORDER = {"@jupyterlab/apputils-extension:kernels-settings": {"commsOverSubshells": "disabled"}}
WINDOWS, MACOS = "Start matchkit.bat", "Start matchkit.command"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument(
        "folder", metavar="DIR", nargs="?", default="matchkit-notebooks",
        help="where the notebooks go (./matchkit-notebooks)",
    )  # fmt: skip
    parser.add_argument(
        "--port", type=whole(1, 65535), default=8888, metavar="N", help="first port to try (8888)"
    )
    parser.add_argument(
        "--no-browser", action="store_true", help="start without opening a browser window"
    )
    parser.add_argument("--copy-only", action="store_true", help="copy, and do not start")


def run(args: argparse.Namespace) -> None:
    """Copy what is not there yet, then start JupyterLab on the first notebook."""
    if not args.copy_only and not (find_spec("jupyterlab") and find_spec("ipywidgets")):
        raise InputError(
            "JupyterLab is not installed here; in the folder of matchkit run: "
            f'"{sys.executable}" -m pip install -e ".[lab]"'
        )
    folder = Path(args.folder)
    new, kept = copy_to(folder)
    say(f"{folder.resolve()}: {new} files copied, {kept} that were there left as they are")
    if args.copy_only:
        return
    say("JupyterLab opens in the browser. To end it: close the tab, then press Ctrl+C here twice.")
    words, more = start(folder, args.port, browser=not args.no_browser)
    if _serve(words, more):
        raise SystemExit(1)  # JupyterLab has said why


def _serve(words: list[str], more: dict[str, str]) -> int:
    """Until JupyterLab ends; its exit status.  Ctrl+C is for JupyterLab, which asks back."""
    with subprocess.Popen(words, env={**os.environ, **more}) as server:
        while True:
            try:
                return server.wait()
            except KeyboardInterrupt:
                continue


def copy_to(folder: Path) -> tuple[int, int]:
    """Fill the folder with what it lacks; how many files were copied, how many kept."""
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder.name}: is a file; name a folder")
    new = kept = 0
    for name, content in _shipped().items():
        path = folder / name
        if path.exists():
            kept += 1
            continue
        path.parent.mkdir(parents=True, exist_ok=True)
        write_file(path, content)
        new += 1
    (folder / MACOS).chmod(0o755)
    return new, kept


def start(folder: Path, port: int, *, browser: bool = True) -> tuple[list[str], dict[str, str]]:
    """The words that start JupyterLab there, and what they need in the environment.

    This interpreter's own JupyterLab and kernel are used, wherever else others are.
    """
    words = [
        *(sys.executable, "-m", "jupyterlab"),
        f"--ServerApp.root_dir={folder.resolve()}",
        f"--LabApp.default_url=/lab/tree/{START}",
        f"--port={port}",
        "--LabApp.extension_manager=readonly",
        "--ServerApp.log_level=WARN",
        *([] if browser else ["--no-browser"]),
        *(["--allow-root"] if _is_root() else []),
    ]
    settings = str((folder / SETTINGS).resolve())
    own = os.environ.get("JUPYTER_CONFIG_PATH", "")
    paths = os.pathsep.join([settings, *([own] if own else [])])
    return words, {"JUPYTER_CONFIG_PATH": paths, "JUPYTER_PREFER_ENV_PATH": "1"}


def _is_root() -> bool:
    """As in a container, where JupyterLab would not start without being told so."""
    return hasattr(os, "geteuid") and os.geteuid() == 0


def _shipped() -> dict[str, bytes]:
    """Every file that the folder gets, by its place in it."""
    files = {path.name: path.read_bytes() for path in sorted(notebooks_folder().glob("*.ipynb"))}
    demo = data_folder() / DEMO
    for path in sorted(demo.rglob("*")):
        if path.is_file():
            files[f"{DEMO}/{path.relative_to(demo).as_posix()}"] = path.read_bytes()
    for name, told in (("page_config", QUIET), ("default_setting_overrides", IN_ORDER)):
        files[f"{SETTINGS}/labconfig/{name}.json"] = json.dumps(told, indent=1).encode()
    files[WINDOWS] = _windows().encode()
    files[MACOS] = _macos().encode()
    return files


def _windows() -> str:
    """A file to double-click; the code page is for folders with letters beyond English."""
    lines = [
        "@echo off",
        "chcp 65001 >nul",
        'cd /d "%~dp0"',
        f'"{sys.executable}" -m matchkit lab .',
        "pause",
    ]
    return "\r\n".join(lines) + "\r\n"


def _macos() -> str:
    quoted = sys.executable.replace("'", "'\\''")
    return f'#!/bin/sh\ncd "$(dirname "$0")" || exit 1\nexec \'{quoted}\' -m matchkit lab .\n'
