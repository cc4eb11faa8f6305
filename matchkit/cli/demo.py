"""``matchkit demo``: the demo shop, and the main job on it from drawdowns to ticket."""

import argparse
import contextlib
import io
import json
from importlib import import_module
from itertools import count
from pathlib import Path
from types import ModuleType
from typing import Any

from matchkit.cli.terminal import json_option, print_json, say
from matchkit.errors import InputError
from matchkit.files.places import data_folder
from matchkit.files.write import write_files

MARK = ".matchkit-demo"  # says that a folder was made by this command
TARGET = "Sea teal"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("folder", metavar="DIR", nargs="?", default="demo", help="default ./demo")
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Write the folder, then fit, match, check and make a ticket."""
    folder = Path(args.folder)
    if folder.exists() and not (folder / MARK).is_file():
        raise InputError(f"{args.folder}: exists and is not a demo folder; name another one")
    _write(folder)
    shop = str(folder)
    target, example = ["--name", TARGET], f"{shop}/example"
    steps = {
        "fit": [shop],
        "match": [shop, f"{shop}/targets.csv", *target, "--top", "3",
                  "--without", "Ebb Clear",
                  "--ticket", f"{shop}/ticket.html", "--job", "Demo", "--container", "US quart"],
        "check": [shop, f"{example}/target.csv", f"{example}/measured.csv"],
        "correct": [shop, f"{example}/target.csv", "--weighed", f"{example}/weighed.csv",
                    "--measured", f"{example}/measured.csv"],
    }  # fmt: skip
    if args.json:
        answers = {name: _answer(name, words) for name, words in steps.items()}
        print_json({"folder": shop, **answers})
        return
    print(f"An invented shop, its inks and drawdowns, in {shop}.\n")
    for name, words in steps.items():
        print(f"$ matchkit {name} " + " ".join(f'"{w}"' if " " in w else w for w in words))
        command = import_module(f"matchkit.cli.{name}")
        command.run(_parsed(command, words))
        print()
    print(f"Next: print {shop}/ticket.html, or match a target of your own.")


def _parsed(command: ModuleType, words: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    command.arguments(parser)
    return parser.parse_args(words)


def _answer(name: str, words: list[str]) -> Any:
    """What the command prints with --json."""
    command = import_module(f"matchkit.cli.{name}")
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
        write_files(
            folder,
            {
                MARK: "made by matchkit demo; it is put back as it was when that runs again\n",
                **files,
            },
        )


def _overwrite(folder: Path, files: dict[str, bytes]) -> None:
    """Put a demo folder back as it was, subfolder by subfolder."""
    parents = {Path(name).parent.as_posix() for name in files}
    for parent in sorted(parents):
        inside = {
            Path(name).name: content
            for name, content in files.items()
            if Path(name).parent.as_posix() == parent
        }
        kept = _changed(folder / parent, inside)
        yours = {_free_name(folder / parent / name): content for name, content in kept.items()}
        write_files(folder / parent, {**yours, **inside})
        for name, beside in zip(kept, yours, strict=True):
            place = (folder / parent / beside).as_posix()
            say(f"{(folder / parent / name).as_posix()}: you changed it; yours is now {place}")


def _changed(folder: Path, files: dict[str, bytes]) -> dict[str, bytes]:
    """What the person made of the demo's files, where it is something else by now."""
    there = {name: (folder / name).read_bytes() for name in files if (folder / name).is_file()}
    return {name: content for name, content in there.items() if content != files[name]}


def _free_name(path: Path) -> str:
    """`path` with "yours" before its ending, and a number where that exists."""
    for number in count(1):
        mark = ".yours" if number == 1 else f".yours-{number}"
        beside = path.with_name(path.stem + mark + path.suffix)
        if not beside.exists():
            break
    return beside.name
