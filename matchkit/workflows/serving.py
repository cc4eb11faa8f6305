"""The job page: one web page with every form, for browsers on this machine or in the shop.

The page runs in a folder of its own, which is thrown away when it ends: nothing that lies in a
shop folder is read as a setting or served as a file.
"""

import json
import os
import shlex
import socket
import sys
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from matchkit.errors import InputError
from matchkit.files.write import kept_secret, write_file

HERE, EVERYWHERE = "127.0.0.1", "0.0.0.0"
SHOP = "MATCHKIT_PAGE_SHOP"  # in the environment of the page: the folder of the shop
ADDRESS = "MATCHKIT_PAGE_ADDRESS"  # there too: where other tablets find it
PAGE = "page.ipynb"
TEMPLATE = "matchkit"
SHORTEST = 8  # letters of a password that others could try from the shop's network
IDLE_S = 12 * 3600  # a page that nobody has looked at since is ended, and its memory freed
FINISHED = '<script type="text/javascript">\n  window.voila_finish();'  # in the template
OUTSIDE = "//cdn."  # marks what a page would fetch from outside
# What the page itself does: it goes to a verdict, keeps the name of who works at it in its
# address, tells how wide it is, stacks tables that are wider, and says so when the server or its
# kernel is gone, since presses are lost then.
SCRIPT = (Path(__file__).parent / "page.html").read_text(encoding="utf-8").rstrip()
UNENCRYPTED = (
    "What goes over the network is not encrypted: whoever listens in on it can read it, password"
    " included. Use it only in a network of the shop's own, never in an open one."
)


@dataclass(frozen=True, kw_only=True)
class Served:
    """A page that is ready to be started: its words, its environment, where to find it."""

    words: tuple[str, ...]
    environment: dict[str, str]
    address: str
    notes: tuple[str, ...] = ()


def page_server(
    shop: Path,
    work: Path,
    *,
    port: int = 8866,
    lan: bool = False,
    password: str = "",
    browser: bool = True,
) -> Served:
    """What starts the job page of a shop, with its settings in the folder `work`.

    The page listens on this machine alone; with `lan` other machines of the network reach it
    with the password, or with the link, which holds a secret of this person's where there is
    none: the same at every start, so that a page can be loaded again.  Raises InputError where
    the password is short, or no port is free.
    """
    if password and len(password) < SHORTEST:
        raise InputError(f"the password has {len(password)} letters; take {SHORTEST} or more")
    own = kept_secret()
    token = password or own
    # Else a page that is loaded again after the server was, is taken for a stranger's.
    signing = sha256(f"{own} {password}".encode()).digest()
    port = _free(port, EVERYWHERE if lan else HERE)
    host = _own_address() if lan else HERE
    settings = {
        "Voila": {
            "ip": EVERYWHERE if lan else HERE,
            "port": port,
            "port_retries": 0,
            "token": token,
            "open_browser": browser,
            "custom_display_url": f"http://{HERE}:{port}/",
            "log_level": "ERROR",
        },
        "VoilaConfiguration": {
            "template": TEMPLATE,
            "allow_template_override": "NO",
            "allow_theme_override": "NO",
            "file_allowlist": [],
            "preheat_kernel": True,
            "default_pool_size": 1,
        },
        # Named pipes of this user alone, in place of ports that others on this machine can reach.
        **({} if os.name == "nt" else {"KernelManager": {"transport": "ipc"}}),
        "MappingKernelManager": {"cull_idle_timeout": IDLE_S, "cull_interval": 600},
    }
    _write(work / "config" / "voila.json", json.dumps(settings))
    _write(work / "config" / "voila.py", f"c.Voila.cookie_secret = {signing!r}\n")
    _write(work / "page" / PAGE, json.dumps(_notebook()))
    template = work / "data" / "voila" / "templates" / TEMPLATE
    _write(template / "conf.json", json.dumps({"base_template": "lab"}))
    whole = _without_outside(_shipped_template()).replace(FINISHED, SCRIPT + FINISHED)
    _write(template / "index.html.j2", whole)
    link = f"http://{host}:{port}/" + ("" if password else f"?token={token}")
    return Served(
        words=(sys.executable, "-m", "voila", str(work / "page" / PAGE)),
        environment={
            "JUPYTER_CONFIG_DIR": str(work / "config"),
            "JUPYTER_CONFIG_PATH": "",
            "JUPYTER_PATH": str(work / "data"),
            "JUPYTER_PREFER_ENV_PATH": "1",
            SHOP: str(shop.resolve()),
            ADDRESS: link if lan else "",
        },
        address=link,
        notes=(UNENCRYPTED,) if lan else (),
    )


def launcher(shop: Path, folder: Path, system: str = sys.platform) -> Path:
    """A file in `folder` that opens the job page of a shop by a double click, on this machine.

    It names this interpreter and the shop by their places, so it is of no use elsewhere.
    Raises InputError where a file of that name is there already.
    """
    words = [sys.executable, "-m", "matchkit", "serve", str(shop.resolve())]
    if system == "win32":
        name, line = "job-page.bat", " ".join(f'"{w}"'.replace("%", "%%") for w in words)
        text = f"@echo off\r\n{line}\r\npause\r\n"
    else:
        name = "job-page.command" if system == "darwin" else "job-page.sh"
        text = f"#!/bin/sh\nexec {shlex.join(words)}\n"
    path = folder / name
    if path.exists():
        raise InputError(f"{path}: is there already; move it away")
    write_file(path, text.encode())
    path.chmod(0o755)
    return path


def _notebook() -> dict[str, object]:
    """The page as a notebook: one cell that shows it."""
    cell: dict[str, object] = {
        "cell_type": "code", "id": "page", "execution_count": None, "metadata": {}, "outputs": [],
        "source": "from matchkit.forms.page import served\nserved()",
    }  # fmt: skip
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    return {"cells": [cell], "metadata": {"kernelspec": kernel}, "nbformat": 4, "nbformat_minor": 5}


def _shipped_template() -> str:
    from jupyter_core.paths import jupyter_path

    for folder in jupyter_path("voila", "templates", "lab"):
        path = Path(folder) / "index.html.j2"
        if path.is_file():
            return path.read_text(encoding="utf-8")
    raise InputError("the page's template is missing; install matchkit's extra `page` again")


def _without_outside(template: str) -> str:
    """The template without the lines that would fetch something from outside.

    >>> _without_outside('<p>\\n<link href="https://cdn.example.org/all.css" />\\n</p>')
    '<p>\\n</p>'
    """
    return "\n".join(line for line in template.split("\n") if OUTSIDE not in line)


def _write(path: Path, text: str) -> None:
    """A file that only this person may read: it may hold the secret."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
        file.write(text)


def _free(first: int, address: str) -> int:
    """The first free port from `first` on."""
    for port in range(first, min(first + 50, 65536)):
        with socket.socket() as trial:
            if (
                os.name == "posix"
            ):  # else what a server left behind when it was killed is in the way
                trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                trial.bind((address, port))
            except OSError:
                continue
            return port
    raise InputError(f"no port from {first} on is free; name another one with --port")


def _own_address() -> str:
    """The address of this machine in the shop's network, as far as it can be told."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as trial:
        try:
            trial.connect(("192.0.2.1", 9))  # sends nothing; a documentation address, RFC 5737
        except OSError:
            return socket.gethostname()
        return str(trial.getsockname()[0])
