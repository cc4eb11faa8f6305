"""``matchkit new``: an empty shop folder to fill in."""

import argparse

from matchkit.cli.plan import plan_options, planned
from matchkit.cli.terminal import json_option, print_json
from matchkit.errors import InputError
from matchkit.files.planned import EXAMPLES, write_new_shop
from matchkit.inks.shop import GEOMETRIES, Ink


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("folder", metavar="DIR", help="a folder that does not exist yet")
    parser.add_argument("--shop-name", default="Our shop", help="how the shop is called")
    parser.add_argument("--geometry", default="", choices=("", *GEOMETRIES), help="how you measure")
    parser.add_argument("--condition", default="", help='such as "UV included" or "M1"')
    parser.add_argument(
        "--inks", default="", metavar="NAME:ROLE,...",
        help="your inks, as White:white,Black:black,Clear:clear,Lemon:colour",
    )  # fmt: skip
    plan_options(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Write the folder, whole or not at all."""
    plan = planned(_inks(args.inks) or EXAMPLES, args)
    files = write_new_shop(
        args.folder,
        plan,
        name=args.shop_name,
        geometry=args.geometry,
        condition=args.condition,
    )
    if args.json:
        print_json({"folder": args.folder, "files": sorted(files), "drawdowns": len(plan.steps)})
        return
    print(f"Written: {args.folder} ({', '.join(files)})")
    print("\n".join(_next(args)))


def _next(args: argparse.Namespace) -> list[str]:
    """What to do with the folder, step by step."""
    shop = args.folder
    steps = [
        f"Look into {shop}/inks.csv: density, cost and stock are yours to fill in."
        if args.inks
        else f"Put your inks into {shop}/inks.csv, in place of the examples there.",
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
    inks = []
    for word in filter(None, (part.strip() for part in text.split(","))):
        name, colon, role = word.rpartition(":")
        if not colon or not name:
            raise InputError(f"--inks: found {word!r}, need NAME:ROLE")
        inks.append(Ink(name=name, role=role))
    return tuple(inks)
