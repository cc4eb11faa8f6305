"""``matchkit predict``: predict the colour of a formula."""

import argparse

from matchkit.cli import asked, ticket
from matchkit.report.formulas import prediction_parts
from matchkit.workflows.predicting import predict, recipe_in


def arguments(parser: argparse.ArgumentParser) -> None:
    ticket.recipe_options(parser, "weigh out so much (predicted unrounded)")
    asked.reference_lots_option(parser)
    asked.picture_option(parser)
    asked.json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Predict and print."""
    session = asked.session_of(args)
    formula = recipe_in(session, args.recipe)
    wanted = ticket.recipe_wanted(args, session)
    found = predict(session, formula, wanted=wanted, batch_g=args.grams)
    asked.give(args, found.to_dict, lambda: prediction_parts(found))
