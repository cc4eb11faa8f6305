"""What matchkit brings along, in a folder of one's own: the demo shop, the notebooks."""

import json
import os
import sys
from itertools import count
from pathlib import Path

from matchkit.errors import InputError
from matchkit.files.write import data_folder, notebooks_folder, write_file, write_files

MARK = ".matchkit-demo"  # says that a folder was made by `write_demo`
MADE = "made by matchkit demo; it is put back as it was when that runs again\n"
START = "01_start_here.ipynb"
# JupyterLab asks at its first start whether to fetch news from outside, and offers to fetch
# extensions; its debugger complains when a kernel is restarted.  None is of use to a mixer.
LEFT_OUT = ("apputils-extension:announcements", "extensionmanager-extension", "debugger-extension")
QUIET = {"disabledExtensions": {f"@jupyterlab/{name}": True for name in LEFT_OUT}}
# JupyterLab hands what is pressed and typed to several threads of the kernel, which may then
# come to a press before the entry that was made before it.  One thread keeps the order.
IN_ORDER = {"@jupyterlab/apputils-extension:kernels-settings": {"commsOverSubshells": "disabled"}}
# The kernel takes no module from the folder of its notebook: what lies there is data.
KERNEL = {
    "argv": [sys.executable, "-P", "-m", "ipykernel_launcher",
             "--InteractiveShellApp.ignore_cwd=True", "-f", "{connection_file}"],
    "display_name": "Python 3", "language": "python", "metadata": {"debugger": False},
}  # fmt: skip
WIDGET = "application/vnd.jupyter.widget-view+json"
PRESS = "This form is from an earlier session: press ▶▶ in the bar above, then Restart."
WINDOWS, MACOS = "Start matchkit.bat", "Start matchkit.command"


def write_demo(folder: Path) -> list[str]:
    """The demo shop in a folder, put back as it was where it is there already.

    A file that the person changed is kept beside it; each line of the answer names one.
    Raises InputError for a folder that this function did not make.
    """
    if folder.exists() and not (folder / MARK).is_file():
        raise InputError(f"{folder}: exists and is not a demo folder; name another one")
    files = {name: content for name, content in _demo().items() if name != "fit.json"}
    if not folder.exists():
        write_files(folder, {MARK: MADE, **files})
        return []
    notices = []
    for parent in sorted({Path(name).parent for name in files}):
        place = folder / parent
        inside = {Path(n).name: content for n, content in files.items() if Path(n).parent == parent}
        there = {name: (place / name).read_bytes() for name in inside if (place / name).is_file()}
        changed = {_free_name(place / n): n for n, old in there.items() if old != inside[n]}
        write_files(place, {**{free: there[n] for free, n in changed.items()}, **inside})
        notices += [
            f"{(place / name).as_posix()}: you changed it; yours is now {(place / free).as_posix()}"
            for free, name in changed.items()
        ]
    return notices


def _demo() -> dict[str, bytes]:
    """Every file of the demo shop by its place in it."""
    source = data_folder() / "demo-shop"
    paths = sorted(path for path in source.rglob("*") if path.is_file())
    return {path.relative_to(source).as_posix(): path.read_bytes() for path in paths}


def _free_name(path: Path) -> str:
    """`path` with "yours" before its ending, and a number where that exists."""
    marks = (".yours" if number == 1 else f".yours-{number}" for number in count(1))
    names = (path.with_name(path.stem + mark + path.suffix) for mark in marks)
    return next(beside.name for beside in names if not beside.exists())


def copy_notebooks(folder: Path) -> tuple[int, int]:
    """Fill a folder with the notebooks and the demo shop; how many files were copied and kept.

    What is there already is left as it is, but for forms that an earlier session showed:
    without it they are dead, and a line in their place says what to press.
    """
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder.name}: is a file; name a folder")
    new = kept = 0
    for name, content in _shipped().items():
        path = folder / name
        if path.exists():
            kept += 1
            if path.suffix == ".ipynb":
                _put_away(path)
            continue
        path.parent.mkdir(parents=True, exist_ok=True)
        write_file(path, content)
        new += 1
    (folder / MACOS).chmod(0o755)
    return new, kept


def _put_away(path: Path) -> None:
    """Put a line in place of each form that a notebook was saved with."""
    try:
        book = json.loads(path.read_bytes())
        outputs = [each for cell in book["cells"] for each in cell.get("outputs", [])]
    except (ValueError, KeyError, TypeError, AttributeError):
        return  # not ours any more
    dead = [each for each in outputs if WIDGET in each.get("data", {})]
    for each in dead:
        each["data"] = {"text/plain": PRESS}
    if dead:
        write_file(path, json.dumps(book, indent=1, ensure_ascii=False) + "\n")


def jupyter(
    folder: Path, work: Path, port: int, *, browser: bool = True
) -> tuple[list[str], dict[str, str]]:
    """The words that start JupyterLab on a folder, and what they need in the environment.

    This interpreter's own JupyterLab and kernel are used, wherever else others are.  The
    settings are written into `work`, where the words are to be started too: JupyterLab reads
    settings in the folder that it is started in, and nothing in `folder` is to be one.
    """
    for name, told in (
        ("labconfig/page_config.json", QUIET),
        ("labconfig/default_setting_overrides.json", IN_ORDER),
        ("kernels/python3/kernel.json", KERNEL),
    ):
        (work / name).parent.mkdir(parents=True, exist_ok=True)
        (work / name).write_text(json.dumps(told), encoding="utf-8")
    words = [
        *(sys.executable, "-m", "jupyterlab"),
        f"--ServerApp.root_dir={folder.resolve()}",
        f"--LabApp.default_url=/lab/tree/{START}",
        f"--port={port}",
        "--LabApp.extension_manager=readonly",
        "--ServerApp.log_level=WARN",
        *([] if browser else ["--no-browser"]),
        *(["--allow-root"] if (hasattr(os, "geteuid") and os.geteuid() == 0) else []),
    ]
    paths = {
        name: os.pathsep.join(filter(None, [str(work.resolve()), os.environ.get(name)]))
        for name in ("JUPYTER_CONFIG_PATH", "JUPYTER_PATH")
    }
    return words, {**paths, "JUPYTER_PREFER_ENV_PATH": "1"}


def _shipped() -> dict[str, bytes]:
    """Every file that the folder gets, by its place in it."""
    files = {path.name: path.read_bytes() for path in sorted(notebooks_folder().glob("*.ipynb"))}
    files |= {f"demo-shop/{name}": content for name, content in _demo().items()}
    files[WINDOWS] = _windows().encode()
    files[MACOS] = _macos().encode()
    return files


def _windows() -> str:
    """A file to double-click; the code page is for folders with letters beyond English."""
    lines = [
        "@echo off",
        "chcp 65001 >nul",
        'cd /d "%~dp0"',
        f'"{sys.executable}" -P -m matchkit lab .',
        "pause",
    ]
    return "\r\n".join(lines) + "\r\n"


def _macos() -> str:
    quoted = sys.executable.replace("'", "'\\''")
    return f'#!/bin/sh\ncd "$(dirname "$0")" || exit 1\nexec \'{quoted}\' -P -m matchkit lab .\n'
