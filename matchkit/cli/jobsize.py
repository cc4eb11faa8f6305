"""``matchkit jobsize``: how much ink a job needs, with every assumption said."""

import argparse

from matchkit.cli import asked, printed
from matchkit.report.printed import size_parts
from matchkit.workflows.predicting import recipe_in
from matchkit.workflows.sizing import ink_for_job


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shop", metavar="SHOP", help="the shop folder, for density and cost")
    parser.add_argument("recipe", metavar="RECIPE", help="CSV ink,grams or ink,percent; mixes too")
    printed.job_options(parser, required=True)
    printed.container_option(parser)
    asked.json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Work out and print."""
    job = printed.job_of(args)
    assert job is not None  # --prints is required here
    session = asked.session_of(args)
    formula = recipe_in(session, args.recipe, {ink.name: ink.series for ink in session.shelf.inks})
    found = ink_for_job(session, formula, job, container=args.container, density=args.density)
    asked.give(args, found.to_dict, lambda: size_parts(found))
