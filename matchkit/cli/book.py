"""``matchkit book``: the shop's record book, one verb for each thing that happens.

The verbs are functions of `book_colour` (matches, reprints, old cards), `book_work` (a
batch's), `book_look` (questions) and `book_keep` (shelf and safety).  Each takes the
session and prints its answer by `asked.give`.
"""

import argparse
import getpass
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path

from matchkit.cli import asked, folders
from matchkit.errors import InputError

# Verb: its module and the line that --help shows.
VERBS = {
    "begin": ("colour", "begin a batch of a colour, a formula, a past batch or a mix"),
    "log-match": ("colour", "write down a target, its formula and a batch to make of it"),
    "ticket": ("work", "the weigh-out ticket of a batch, to print"),
    "weigh": ("work", "write down what was weighed for a batch"),
    "measure": ("work", "write down a measurement of a batch, and check it"),
    "correct": ("work", "say what to add to a batch, by all that the book knows"),
    "add": ("work", "write down what was added to a batch"),
    "close": ("work", "close a batch: approved, rejected or abandoned"),
    "leftover": ("work", "put what is left of a batch on the shelf"),
    "reprint": ("colour", "match an old batch again as it measured, with today's lots"),
    "import-paper": ("colour", "old formulas from a CSV file, predicted with today's inks"),
    "open-batch": ("colour", "begin a batch of a formula in the book, such as an old card"),
    "today": ("look", "today's jobs, what each needs next, which share a base colour"),
    "tickets": ("look", "the tickets of all jobs that wait to be weighed, in one print"),
    "show": ("look", "all that the book has about a batch"),
    "find": ("look", "batches and formulas by colour, ink, lot, date, customer, words"),
    "stock": ("look", "what is on the shelf"),
    "reorder": ("look", "what to buy: grams, containers, cost, for which jobs, by when"),
    "use-up": ("look", "which repeated colours each leftover could become"),
    "lots": ("look", "what the batches showed about today's lots"),
    "drift": ("look", "the strength of an ink from batch to batch"),
    "pass-shares": ("look", "how many batches are in tolerance, by month, ink or mixer"),
    "label": ("look", "a label for the container, to print"),
    "count": ("keep", "a stock-take of an ink or a leftover"),
    "deliver": ("keep", "write down ink that came in"),
    "lot": ("keep", "open a new lot of an ink"),
    "retire": ("keep", "take an ink out of the shop; old batches keep it"),
    "check-lot": ("keep", "measure the strength of a new lot by one drawdown of it"),
    "mend": ("keep", "change job, customer, due day or note of a batch"),
    "strike": ("keep", "strike a record that was wrong"),
    "backup": ("keep", "copy the whole book, also while it is in use"),
    "check": ("keep", "check the book for damage"),
    "export": ("keep", "everything as CSV and JSON"),
    "restore": ("keep", "restore the book from a backup or an export"),
}


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments: the shop, a verb, and the verb's own."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    verbs = parser.add_subparsers(dest="verb", metavar="VERB", required=True)
    for verb, (module, line) in VERBS.items():
        sub = verbs.add_parser(verb, help=line, description=line[0].upper() + line[1:] + ".")
        own = import_module(f"matchkit.cli.book_{module}")
        add_own = getattr(own, _function(verb) + "_arguments", None)
        if add_own:
            add_own(sub)
        sub.add_argument(
            "--by", metavar="NAME", default=None, help="who writes this (the name logged in)"
        )
        asked.json_option(sub)


def with_shop(words: Sequence[str]) -> list[str]:
    """The words after ``book``; where the shop is left out, SHOP in its place asks for help.

    InputError, with the right order, where no help was asked for.
    """
    words = list(words)
    if not words or words[0] not in VERBS or (words[1:2] and words[1] in VERBS):
        return words
    if Path(words[0]).is_dir():  # a shop that is called like a verb
        return words
    if {"-h", "--help"} & set(words):
        return ["SHOP", *words]
    here = words[1] if words[1:] and folders.is_shop(Path(words[1])) else "SHOP"
    raise InputError(
        f"book: the shop folder comes first, then what to do: `matchkit book {here} {words[0]} ...`"
    )


def run(args: argparse.Namespace) -> None:
    """Do what the verb says and print its answer."""
    args.by = who() if args.by is None else args.by
    module, _ = VERBS[args.verb]
    verb = getattr(import_module(f"matchkit.cli.book_{module}"), _function(args.verb))
    verb(asked.session_of(args), args)


def _function(verb: str) -> str:
    return verb.replace("-", "_")


def who() -> str:
    """The name logged in, which signs what is written; empty where there is none."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # nobody is logged in by name
        return ""
