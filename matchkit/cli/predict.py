"""``matchkit predict``: predict the colour of a recipe."""

import argparse

from matchkit.cli.asked import give, json_option, picture_option, reference_lots_option, session_of
from matchkit.cli.ticket import recipe_options, recipe_wanted
from matchkit.report.formulas import prediction_parts
from matchkit.workflows.predicting import predict, recipe_in


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    recipe_options(parser, "weigh out so much (predicted unrounded)")
    reference_lots_option(parser)
    picture_option(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Predict and print."""
    session = session_of(args)
    formula = recipe_in(session, args.recipe)
    wanted = recipe_wanted(args, session)
    found = predict(session, formula, wanted=wanted, batch_g=args.grams)
    give(args, found.to_dict, lambda: prediction_parts(found))
