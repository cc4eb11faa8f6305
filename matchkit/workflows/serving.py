"""The job page: one web page with every form, for browsers on this machine or in the shop.

The page runs in a folder of its own, which is thrown away when it ends: nothing that lies in a
shop folder is read as a setting or served as a file.
"""

import json
import os
import secrets
import socket
import sys
from dataclasses import dataclass
from pathlib import Path

from matchkit.errors import InputError

HERE, EVERYWHERE = "127.0.0.1", "0.0.0.0"
SHOP = "MATCHKIT_PAGE_SHOP"  # in the environment of the page: the folder of the shop
PAGE = "page.ipynb"
TEMPLATE = "matchkit"
SHORTEST = 8  # letters of a password that others could try from the shop's network
IDLE_S = 12 * 3600  # a page that nobody has looked at since is ended, and its memory freed
OUTSIDE = "//cdn."  # marks what a page would fetch from outside
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
    with the password, or with the link, which holds a new secret where there is none.  Raises
    InputError where the password is short, or no port is free.
    """
    if password and len(password) < SHORTEST:
        raise InputError(f"the password has {len(password)} letters; take {SHORTEST} or more")
    token = password or secrets.token_urlsafe(18)
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
    _write(work / "page" / PAGE, json.dumps(_notebook()))
    template = work / "data" / "voila" / "templates" / TEMPLATE
    _write(template / "conf.json", json.dumps({"base_template": "lab"}))
    _write(template / "index.html.j2", _without_outside(_shipped_template()))
    link = f"http://{host}:{port}/" + ("" if password else f"?token={token}")
    return Served(
        words=(sys.executable, "-m", "voila", str(work / "page" / PAGE)),
        environment={
            "JUPYTER_CONFIG_DIR": str(work / "config"),
            "JUPYTER_CONFIG_PATH": "",
            "JUPYTER_PATH": str(work / "data"),
            "JUPYTER_PREFER_ENV_PATH": "1",
            SHOP: str(shop.resolve()),
        },
        address=link,
        notes=(UNENCRYPTED,) if lan else (),
    )


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
