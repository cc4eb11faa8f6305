"""``matchkit book``: what an ink's lots have done, and how many batches were in tolerance."""

import argparse

from matchkit.book.report import GROUPS
from matchkit.cli.asked import Answer, draw, picture_option
from matchkit.report.ink_history import history_parts, share_parts
from matchkit.report.terminal import to_text
from matchkit.workflows.ink_history import ink_history, shares_in_tolerance
from matchkit.workflows.session import Session


def drift_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ink", metavar="INK", help="the ink")
    picture_option(parser)


def drift(session: Session, args: argparse.Namespace) -> Answer:
    found = ink_history(session, args.ink)
    parts = history_parts(found)
    draw(args, parts)
    return found.to_dict(), to_text(parts)


def pass_shares_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--of", choices=GROUPS, default="month", help="by what (month)")


def pass_shares(session: Session, args: argparse.Namespace) -> Answer:
    found = shares_in_tolerance(session, args.of)
    return found.to_dict(), to_text(share_parts(found))
