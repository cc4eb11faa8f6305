"""``matchkit demo``: the demo shop, and the main job on it from drawdowns to ticket."""

import argparse
import contextlib
import io
import json
from importlib import import_module
from pathlib import Path
from typing import Any

from matchkit.cli import asked, folders
from matchkit.report.parts import to_json
from matchkit.workflows.shipped import write_demo


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="DIR", nargs="?", default="demo", help="default ./demo")
    asked.json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Write the folder, then fit, match, check, correct and make a ticket."""
    for line in write_demo(Path(args.folder)):
        folders.say(line)
    shop = str(Path(args.folder))
    example = f"{shop}/example"
    steps = {
        "fit": [shop],
        "match": [shop, f"{shop}/targets.csv", "--name", "Sea teal", "--top", "3",
                  "--ticket", f"{shop}/ticket.html", "--job", "Demo", "--container", "US quart"],
        "check": [shop, f"{example}/target.csv", f"{example}/measured.csv"],
        "correct": [shop, f"{example}/target.csv", "--weighed", f"{example}/weighed.csv",
                    "--measured", f"{example}/measured.csv"],
    }  # fmt: skip
    if args.json:
        print(
            to_json(
                {"folder": shop, **{name: _answer(name, words) for name, words in steps.items()}}
            )
        )
        return
    print(f"An invented shop, its inks and drawdowns, in {shop}.\n")
    for name, words in steps.items():
        print(f"$ matchkit {name} " + " ".join(f'"{w}"' if " " in w else w for w in words))
        _command(name, words)
        print()
    print(f"Next: print {shop}/ticket.html, or match a target of your own.")


def _command(name: str, words: list[str]) -> None:
    """Run another command."""
    from matchkit.cli import parser

    import_module(f"matchkit.cli.{name}").run(parser(name).parse_args([name, *words]))


def _answer(name: str, words: list[str]) -> Any:
    """What the command prints with --json."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        _command(name, [*words, "--json"])
    return json.loads(printed.getvalue())
