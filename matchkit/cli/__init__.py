"""The command line: each command is one module, a few lines over the library.

Exit status: 0 an answer, 2 bad input, 1 a fault of the program.
"""

import argparse
import sys
from collections.abc import Sequence
from importlib import import_module
from keyword import iskeyword
from types import ModuleType

from matchkit.faults import BadInput

__all__ = ["COMMANDS", "main", "parser"]

# Command and the line that --help shows; the module `matchkit.cli.<command>`, or
# `<command>_` where Python keeps the word for itself, has `arguments(parser)` and
# `run(args)`, and is imported only when it is used.
COMMANDS = {
    "demo": "write the demo shop and run the main job on it",
    "new": "an empty shop folder to fill in",
    "import": "look at an instrument's file, and bring it into the shop",
    "instrument": "is the instrument well; does a film hide its ground",
    "plan": "which drawdowns to weigh for a new series or a new ink",
    "fit": "inks from drawdowns, and how good the fit is",
    "predict": "the colour a recipe will have",
    "match": "starting formulas for a target",
    "library": "formulas for thousands of targets, into a file that can be gone on with",
    "check": "pass or fail, by how much, in which direction",
    "compare": "recipes side by side under the lights",
    "correct": "what to add to a batch so that it comes in",
    "ticket": "a weigh-out ticket for a recipe",
    "hold": "will it hold: a recipe printed over garments, with and without an underbase",
    "jobsize": "how much ink a job needs: grams, containers, cost",
    "book": "the record book: what was asked, weighed, measured, added",
    "rehearse": "blind jobs on invented inks: how often a batch comes in, how honest the odds are",
    "practice": "exercises for eye and balance: a sheet to print, answers marked, progress",
    "lab": "the notebooks, in a folder of your own, in JupyterLab",
}


class _Anywhere(argparse.ArgumentParser):
    """Options may stand before, between and after the files.

    Left alone, argparse takes files that may be missing for missing as soon as an option
    stands before them.
    """

    sorting = False

    def parse_known_args(self, args=None, namespace=None):  # type: ignore[no-untyped-def]
        """The two rounds of `parse_known_intermixed_args`, where there are no verbs."""
        if self.sorting or self._subparsers is not None:
            return super().parse_known_args(args, namespace)
        self.sorting = True
        try:
            return self.parse_known_intermixed_args(args, namespace)
        finally:
            self.sorting = False


def parser(only: str = "") -> argparse.ArgumentParser:
    """The parser, with the arguments of the command `only` (all others stay unloaded)."""
    whole = argparse.ArgumentParser(
        prog="matchkit",
        description="Ink formulas for a screen-printing shop: from measured drawdowns to a "
        "weigh-out ticket.",
        epilog="A predicted colour is not an approved colour: approve on the cured print, "
        "under the agreed light.",
    )
    subs = whole.add_subparsers(
        dest="command", metavar="COMMAND", required=True, parser_class=_Anywhere
    )
    for name, line in COMMANDS.items():
        sub = subs.add_parser(name, help=line, description=line[0].upper() + line[1:] + ".")
        if name == only:
            _module(name).arguments(sub)
    return whole


def _module(command: str) -> ModuleType:
    return import_module(f"matchkit.cli.{command}{'_' if iskeyword(command) else ''}")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the exit status."""
    argv = list(sys.argv[1:] if argv is None else argv)
    command = next((word for word in argv if word in COMMANDS), "")
    args = parser(command).parse_args(argv)
    try:
        _module(args.command).run(args)
        sys.stdout.flush()
    except BadInput as error:
        for fault in error.faults:
            print(fault, file=sys.stderr)
        return 2
    except BrokenPipeError:  # the reader of a pipe has seen enough
        sys.stderr.close()
        return 0
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return 1
    return 0
