"""``matchkit serve``: the job page, in the browsers of this machine or of the shop's tablets."""

import argparse
import os
import subprocess
import tempfile
from importlib.util import find_spec
from pathlib import Path

from matchkit.cli.folders import say
from matchkit.cli.values import whole
from matchkit.errors import InputError
from matchkit.files.write import opened_shops
from matchkit.workflows.serving import launcher, page_server


def arguments(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("shop", metavar="SHOP", nargs="?", help="the shop folder (default: the one opened last)")
    add("--port", type=whole(1, 65535), default=8866, metavar="N", help="first port to try (8866)")
    add("--no-browser", action="store_true", help="start without opening a browser window")
    add("--lan", action="store_true", help="let the shop's tablets in, by a link or a password")
    add(
        "--password", default="", metavar="TEXT",
        help="the password that tablets must give; without it the link holds a secret",
    )  # fmt: skip

    add(
        "--launcher", action="store_true",
        help="write a file into this folder that opens the page by a double click",
    )  # fmt: skip


def run(args: argparse.Namespace) -> None:
    """Serve the page until Ctrl+C."""
    if not (find_spec("voila") and find_spec("ipywidgets")):
        raise InputError(
            "the job page's parts are not installed here; in the folder of matchkit run: "
            'python -m pip install -e ".[page]"'
        )
    shop = Path(args.shop) if args.shop else next(iter(opened_shops()), None)
    if shop is None:
        raise InputError("no shop was opened here yet; name its folder: matchkit serve SHOP")
    if not shop.is_dir():
        raise InputError(f"{shop}: no such folder")
    if args.launcher:
        say(f"written: {launcher(shop, Path())}")
        return
    with tempfile.TemporaryDirectory(prefix="matchkit-page-") as folder:
        served = page_server(
            shop, Path(folder), port=args.port, lan=args.lan,
            password=args.password, browser=not args.no_browser,
        )  # fmt: skip
        for note in served.notes:
            say(note)
        say(f"The job page: {served.address}")
        if args.lan and find_spec("segno"):
            import segno

            segno.make(served.address).terminal(compact=True)
        say("To end it press Ctrl+C here.")
        own = {**os.environ, **served.environment}
        with subprocess.Popen(served.words, env=own, cwd=folder) as server:
            try:
                code = server.wait()
            except KeyboardInterrupt:
                server.wait()
                return
    if code:
        raise SystemExit(1)  # the server has said why
