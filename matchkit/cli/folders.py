"""Folders, and progress in the terminal."""

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path

from matchkit.errors import InputError


def is_shop(folder: Path) -> bool:
    """Whether a folder holds a shop, or the beginnings of one."""
    return any((folder / name).is_file() for name in ("shop.toml", "inks.csv"))


def check_folder(args: argparse.Namespace) -> None:
    """InputError where a file is named in the place of the shop folder."""
    named = getattr(args, "shop", None)
    if named is None or not Path(named).is_file():
        return
    others = [value for key, value in vars(args).items() if key != "shop"]
    folder = next((text for text in others if isinstance(text, str) and _is_folder(text)), "")
    fault = f"{named}: is a file; a shop folder is expected"
    if folder:
        order = {
            "import": f"{named} {folder}",
            "book": f"{folder} {getattr(args, 'verb', '')} ...",
        }.get(args.command, f"{folder} {named} ...")
        fault = (
            f"{named} is a file and {folder} a shop folder, the wrong way round; write"
            f" `matchkit {args.command} {order}`"
        )
    elif is_shop(Path(named).parent):
        fault += f", such as {Path(named).parent}"
    raise InputError(fault)


def _is_folder(text: str) -> bool:
    try:
        return is_shop(Path(text))
    except (OSError, ValueError):
        return False


WAIT_S = 1.0  # progress shows after this long


def say(line: str) -> None:
    """A line for the person, never part of the answer: standard error."""
    print(line, file=sys.stderr)


def progress_line(what: str) -> Callable[[int, int], None]:
    """A callback that keeps one line of progress once a second has passed."""
    started = time.monotonic()
    last = [started]

    def tell(done: int, total: int) -> None:
        now = time.monotonic()
        if now - started < WAIT_S or (now - last[0] < 0.2 and done < total):
            return
        last[0] = now
        end = "\n" if done >= total or not sys.stderr.isatty() else ""
        start = "\r" if sys.stderr.isatty() else ""
        print(f"{start}{what}: {done} of {total}", end=end, file=sys.stderr, flush=True)

    return tell
