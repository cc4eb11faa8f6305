"""``matchkit jobsize``: how much ink a job needs, with every assumption said."""

import argparse

from matchkit.cli.printed import job_of, job_options, size_of
from matchkit.cli.terminal import json_option, print_json, say
from matchkit.cli.ticket import container_of
from matchkit.files.recipe import read_recipe
from matchkit.files.shop import read_shelf
from matchkit.paper.jobsize import JobSize, summary
from matchkit.paper.weighing import CONTAINERS_ML


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder, for density and cost")
    parser.add_argument("recipe", metavar="RECIPE", help="CSV ink,grams or ink,percent; mixes too")
    job_options(parser, required=True)
    parser.add_argument(
        "--container", metavar="NAME",
        help=f"what it is mixed in: {', '.join(CONTAINERS_ML)}, or millilitres",
    )  # fmt: skip
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Work out and print."""
    job = job_of(args)
    assert job is not None  # --prints is required here
    shelf, mixes = read_shelf(args.shop)
    recipe = read_recipe(args.recipe, {ink.name: ink.series for ink in shelf}, mixes=mixes)
    for note in recipe.notes:
        say(note)
    known = {ink.name: ink for ink in shelf}
    inks = [known[name] for name in recipe.inks]
    found = size_of(args, job, inks, recipe.fractions, container_of(args.container))
    if args.json:
        print_json(_json(found))
    else:
        print(_report(found))


def _json(found: JobSize) -> dict[str, object]:
    return {
        "total_g": round(found.total_g, 4),
        "total_ml": round(found.total_ml, 4),
        "per_print_g": round(found.per_print_g, 6),
        "printed_g": round(found.printed_g, 4),
        "loss_g": round(found.loss_g, 4),
        "containers": found.containers,
        "cost": None if found.cost is None else round(found.cost, 4),
        "assumptions": list(found.assumptions),
    }


def _report(found: JobSize) -> str:
    head, *more = summary(found)
    lines = [head, *(f"  {line}" for line in more)]
    lines += ["", "With:", *(f"  - {line}" for line in found.assumptions)]
    return "\n".join(lines)
