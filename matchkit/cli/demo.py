"""``matchkit demo``: the demo shop, and the main job on it from drawdowns to ticket."""

import argparse
import contextlib
import io
import json
from pathlib import Path
from types import ModuleType
from typing import Any

from matchkit.cli import check as check_command
from matchkit.cli import fit as fit_command
from matchkit.cli import match as match_command
from matchkit.cli import ticket as ticket_command
from matchkit.cli.terminal import json_option, print_json
from matchkit.faults import BadInput
from matchkit.files.places import data_folder
from matchkit.files.write import write_files

MARK = ".matchkit-demo"  # says that a folder was made by this command
TARGET = "CIE 13.3 TCS02"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("folder", metavar="DIR", nargs="?", default="demo", help="default ./demo")
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Write the folder, then fit, match, check and make a ticket."""
    folder = Path(args.folder)
    if folder.exists() and not (folder / MARK).is_file():
        raise BadInput(f"{args.folder}: exists and is not a demo folder; name another one")
    _write(folder)
    shop = str(folder)
    steps = {
        "fit": (fit_command, [shop]),
        "match": (match_command, [shop, f"{shop}/targets.csv", "--name", TARGET, "--top", "3"]),
        "ticket": (
            ticket_command,
            [shop, f"{shop}/example/weighed.csv", "--target", f"{shop}/example/target.csv",
             "--job", "Demo", "--html", f"{shop}/ticket.html"],
        ),
        "check": (
            check_command,
            [shop, f"{shop}/example/target.csv", f"{shop}/example/measured.csv"],
        ),
    }  # fmt: skip
    if args.json:
        answers = {name: _answer(*step) for name, step in steps.items()}
        print_json({"folder": shop, **answers})
        return
    print(f"An invented shop, its inks and drawdowns, in {shop}.\n")
    for name, (command, words) in steps.items():
        print(f"$ matchkit {name} " + " ".join(f'"{w}"' if " " in w else w for w in words))
        command.run(_parsed(command, words))
        print()
    print(f"Next: print {shop}/ticket.html, or match a target of your own.")


def _parsed(command: ModuleType, words: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    command.arguments(parser)
    return parser.parse_args(words)


def _answer(command: ModuleType, words: list[str]) -> Any:
    """What the command prints with --json."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        command.run(_parsed(command, [*words, "--json"]))
    return json.loads(printed.getvalue())


def _write(folder: Path) -> None:
    source = data_folder() / "demo-shop"
    files = {
        path.relative_to(source).as_posix(): path.read_bytes()
        for path in sorted(source.rglob("*"))
        if path.is_file() and path.name != "fit.json"
    }
    if folder.exists():
        _overwrite(folder, files)
    else:
        write_files(folder, {MARK: "made by matchkit demo; it may be overwritten\n", **files})


def _overwrite(folder: Path, files: dict[str, bytes]) -> None:
    """Put a demo folder back as it was, subfolder by subfolder."""
    parents = {Path(name).parent.as_posix() for name in files}
    for parent in sorted(parents):
        inside = {
            Path(name).name: content
            for name, content in files.items()
            if Path(name).parent.as_posix() == parent
        }
        write_files(folder / parent, inside)
