"""The command line: each command is one module, a few lines over the library.

Exit status: 0 an answer, 2 bad input, 1 a fault of the program or an answer that got lost,
130 stopped by Ctrl-C.
"""

import argparse
import errno
import os
import re
import sys
from collections.abc import Sequence
from contextlib import suppress
from functools import cache
from importlib import import_module
from io import TextIOWrapper
from keyword import iskeyword
from types import ModuleType
from typing import NoReturn

from matchkit import __version__
from matchkit.cli.folders import check_folder
from matchkit.cli.outputs import check_outputs
from matchkit.errors import InputError, briefly, plainly

# Command and the line that --help shows; the module `matchkit.cli.<command>`, or
# `<command>_` where Python keeps the word for itself, has `arguments(parser)` and
# `run(args)`, and is imported only when it is used.
COMMANDS = {
    "demo": "write the demo shop and run the main job on it",
    "new": "make an empty shop folder to fill in",
    "import": "check an instrument's file, and import it into the shop",
    "watch": "import each new file of the instrument's software as it arrives",
    "instrument": "check the spectrophotometer for drift, or a film for opacity",
    "plan": "plan the drawdowns of a new series or a new ink",
    "fit": "fit the inks to their drawdowns, and say how good the fit is",
    "predict": "predict the colour of a formula",
    "match": "find formulas for a target",
    "library": "find formulas for thousands of targets; a later run continues the file",
    "check": "say whether a drawdown is in tolerance, and in which direction it is off",
    "compare": "compare formulas under several lights",
    "correct": "say what to add to a batch to bring it into tolerance",
    "ticket": "make the weigh-out ticket of a formula",
    "cover": "say whether a print covers the garment, with and without an underbase",
    "jobsize": "say how much ink a job needs: grams, containers, cost",
    "book": "keep the record book: what was asked, weighed, measured, added",
    "rehearse": "run simulated jobs: how many are in tolerance, how reliable the chances are",
    "practice": "exercises for eye and balance: print a sheet, mark answers, show progress",
    "serve": "open the job page: every form on one page, here or on the shop's tablets",
    "lab": "open the notebooks in JupyterLab, in a folder of your own",
}

OLD = {"hold": "cover"}  # spellings that go on working

STOPPED = 130  # what shells say of a program that Ctrl-C ended

# What writing to standard output ends with; every other file says its name.
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EFBIG, errno.EBADF, errno.EINVAL)
LOST = "standard output {}; the answer is lost: make room, or send it elsewhere, and ask again"

PLAIN = {
    "expected one argument": "what it is to be is missing after it",
    "the following arguments are required": "missing",
    "invalid choice: ": "there is no ",
}


class _Brief(argparse.ArgumentParser):
    """Says what is wrong in one line, and takes "-5,0,0" for a value as it does -5."""

    def parse_known_args(self, args=None, namespace=None):  # type: ignore[no-untyped-def]
        """As argparse does, but for what it takes for a negative number."""
        self._negative_number_matcher = re.compile(r"-\.?\d")
        return super().parse_known_args(args, namespace)

    def print_help(self, file=None) -> None:  # type: ignore[no-untyped-def]
        """As argparse does, which keeps to itself that it could not."""
        print(self.format_help(), end="", file=file)

    def error(self, message: str) -> NoReturn:
        """What is wrong, as any other input that is."""
        what = message.removeprefix("argument ")
        for theirs, ours in PLAIN.items():
            what = what.replace(theirs, ours)
        raise InputError(f"{self.prog}: {what}; `{self.prog} --help` lists the options")


class _Anywhere(_Brief):
    """Options may stand before, between and after the files.

    Left alone, argparse takes files that may be missing for missing as soon as an option
    stands before them.
    """

    sorting = False

    def parse_known_args(self, args=None, namespace=None):  # type: ignore[no-untyped-def]
        """The two rounds of `parse_known_intermixed_args`, where there are no verbs."""
        if self.sorting or self._subparsers is not None:
            return super().parse_known_args(args, namespace)  # type: ignore[no-untyped-call]
        self.sorting = True
        try:
            return self.parse_known_intermixed_args(args, namespace)
        finally:
            self.sorting = False


@cache
def parser(only: str = "") -> argparse.ArgumentParser:
    """The parser, with the arguments of the command `only` (all others stay unloaded)."""
    whole = _Brief(
        prog="matchkit",
        description="Ink formulas for a screen-printing shop: from measured drawdowns to a "
        "weigh-out ticket.",
        epilog="A predicted colour is not an approved colour: approve on the cured print, "
        "under the agreed light.",
    )
    whole.add_argument(
        "--version", action="version", version=f"matchkit {__version__}", help="print the version"
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
    if sys.stdout is None:  # closed before we began
        print(LOST.format("is closed"), file=sys.stderr)
        return 1
    for stream in (sys.stdout, sys.stderr):  # a code page may lack a letter of a name
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        try:
            return _run(list(sys.argv[1:] if argv is None else argv))
        finally:
            sys.stdout.flush()  # what help says has to get out too
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return STOPPED
    except ImportError as error:
        if not _stopped(error):
            raise
        return STOPPED
    except BrokenPipeError:  # the reader of a pipe has seen enough
        _let_go()
        return 0
    except OSError as error:
        if error.errno not in FULL:
            raise
        _let_go()
        print(LOST.format(f"can't be written: {error.strerror or error}"), file=sys.stderr)
        return 1


def _run(argv: list[str]) -> int:
    argv = [OLD.get(word, word) for word in argv[:1]] + argv[1:]
    command = next((word for word in argv if word in COMMANDS), "")
    try:
        if argv[:1] == ["book"]:
            argv = ["book", *_module("book").with_shop(argv[1:])]
        return _done(command, argv)
    except Exception as error:
        told = plainly(error)
        if told is None:
            raise
        for fault in briefly(told.faults):
            print(fault, file=sys.stderr)
        return 2


def _done(command: str, argv: list[str]) -> int:
    args, strange = parser(command).parse_known_args(argv)
    if strange:
        print(
            f"matchkit {command}: not known here: {' '.join(strange)}; "
            f"`matchkit {command} --help` lists the options",
            file=sys.stderr,
        )
        return 2
    check_folder(args)
    check_outputs(args)
    _module(args.command).run(args)
    return 0


def _stopped(error: BaseException | None) -> bool:
    """Whether Ctrl-C is at the bottom of it: libraries that load make an ImportError of that."""
    while error is not None and not isinstance(error, KeyboardInterrupt):
        error = error.__cause__ or error.__context__
    return error is not None


def _let_go() -> None:
    """Drop what can't be written, so that it isn't tried again on leaving."""
    with suppress(OSError, ValueError):  # not a real file: nothing is tried
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
        sys.stdout.flush()
