"""``matchkit new``: make an empty shop folder to fill in."""

import argparse
from dataclasses import replace

from matchkit.cli import asked, plan
from matchkit.errors import did_you_mean
from matchkit.files.planned import EXAMPLES, NEW_SHOP
from matchkit.inks.shop import GEOMETRIES, ROLES, Ink
from matchkit.report.parts import Part
from matchkit.report.plan import new_shop_parts
from matchkit.workflows.planning import new_shop


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="DIR", help="a folder that does not exist yet")
    parser.add_argument("--shop-name", default=NEW_SHOP.name, help="the name of the shop")
    parser.add_argument("--geometry", default="", choices=("", *GEOMETRIES), help="how you measure")
    parser.add_argument("--condition", default="", help='such as "UV included" or "M1"')
    parser.add_argument(
        "--inks", default=EXAMPLES, metavar="NAME:ROLE,...", type=_inks,
        help="your inks, as White:white,Black:black,Clear:clear,Lemon:colour",
    )  # fmt: skip
    plan.plan_options(parser)
    asked.json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Write the folder, whole or not at all."""
    shop = replace(NEW_SHOP, name=args.shop_name, geometry=args.geometry, condition=args.condition)
    made = new_shop(args.folder, args.inks, shop, plan.choices_of(args))
    asked.give(args, made.to_dict, lambda: [*new_shop_parts(made), *_next(args)])


def _next(args: argparse.Namespace) -> list[Part]:
    """What to do with the folder, step by step."""
    shop = args.folder
    steps = [
        f"Put your inks into {shop}/inks.csv, in place of the examples there."
        if args.inks is EXAMPLES
        else f"Look into {shop}/inks.csv: density, cost and stock are yours to fill in.",
        f"`matchkit plan {shop} --write --html plan.html` puts the drawdowns of these inks into"
        " the shop, and onto a sheet to print.",
        "Weigh, draw down, cure and measure them, each under its name on the sheet.",
        f"`matchkit import FILE {shop}` brings your instrument's file in; several, as you measure.",
        f"`matchkit fit {shop}`, and then `matchkit match {shop} TARGET`.",
    ]
    if not (args.geometry and args.condition):
        steps.insert(0, f"Say in {shop}/shop.toml how you measure.")
    return [f"{number}. {step}" for number, step in enumerate(steps, start=1)]


def _inks(text: str) -> tuple[Ink, ...]:
    """The type of ``--inks``."""
    inks = []
    for word in filter(None, (part.strip() for part in text.split(","))):
        name, colon, role = word.rpartition(":")
        if not colon or not name or role not in ROLES:
            raise argparse.ArgumentTypeError(
                f"found {word!r}, need NAME:ROLE with one of {', '.join(ROLES)}"
                f"{did_you_mean(role, ROLES)}"
            )
        inks.append(Ink(name=name, role=role))
    return tuple(inks) or EXAMPLES
