"""``matchkit jobsize``: how much ink a job needs, with every assumption said."""

import argparse
import re

from matchkit.cli.films import microns
from matchkit.cli.terminal import json_option, number_of, positive, print_json
from matchkit.cli.ticket import container_of
from matchkit.faults import BadInput
from matchkit.files.recipe import read_recipe
from matchkit.files.shop import read_inks
from matchkit.jobsize import CM2_PER_IN2, G_PER_OZ, ML_PER_US_FL_OZ, Job, JobSize, job_size
from matchkit.recipe import cost_per_kg, density_g_per_ml
from matchkit.weighing import CONTAINERS_ML, Container

CM_PER_IN = 2.54


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder, for density and cost")
    parser.add_argument("recipe", metavar="RECIPE", help="CSV ink,grams or ink,percent")
    parser.add_argument("--prints", required=True, metavar="N", help="how many garments")
    parser.add_argument("--size", metavar="WxH", help="of the artwork: 30x40cm or 12x16in")
    parser.add_argument("--area", metavar="A", help="instead of --size: 1200cm2 or 186in2")
    parser.add_argument(
        "--coverage", default="100", metavar="PERCENT", help="of the artwork in this colour (100)"
    )
    parser.add_argument(
        "--mesh", metavar="CM3", help="theoretical ink volume, cm3 per m2, from its data sheet"
    )
    parser.add_argument(
        "--transfer", metavar="PERCENT", help="with --mesh: how much of it a stroke leaves behind"
    )
    parser.add_argument("--wet", metavar="UM", help="instead of --mesh: measured, um (or 2.4mil)")
    parser.add_argument("--strokes", default="1", metavar="N", help="2: print, flash, print (1)")
    parser.add_argument(
        "--later-stroke", default="100", metavar="PERCENT",
        help="what a further stroke lays down, of the first (100)",
    )  # fmt: skip
    parser.add_argument(
        "--loss", default="10", metavar="PERCENT", help="on top of what is printed (10)"
    )
    parser.add_argument(
        "--screen-grams", default="0", metavar="G", help="to flood the screen, whatever N (0)"
    )
    parser.add_argument("--density", metavar="G_PER_ML", help="where inks.csv does not know it")
    parser.add_argument(
        "--container", metavar="NAME",
        help=f"what it is mixed in: {', '.join(CONTAINERS_ML)}, or millilitres",
    )  # fmt: skip
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Work out and print."""
    job = _job(args)
    density, cost = _of_recipe(args)
    container = container_of(args.container)
    found = job_size(job, density_g_per_ml=density, container=container, cost_per_kg=cost)
    if args.json:
        print_json(_json(found))
    else:
        print(_report(found, container))


def _job(args: argparse.Namespace) -> Job:
    share = {
        key: number_of(getattr(args, key), "--" + key.replace("_", "-")) / 100
        for key in ("coverage", "later_stroke", "loss")
    }
    transfer = None if args.transfer is None else number_of(args.transfer, "--transfer") / 100
    return Job(
        prints=_whole(args.prints, "--prints"),
        area_cm2=_area_cm2(args.size, args.area),
        coverage=share["coverage"],
        mesh_cm3_per_m2=None if args.mesh is None else positive(args.mesh, "--mesh"),
        transfer=transfer,
        wet_um=None if args.wet is None else microns(args.wet, "--wet"),
        strokes=_whole(args.strokes, "--strokes"),
        later_stroke=share["later_stroke"],
        loss=share["loss"],
        screen_g=number_of(args.screen_grams, "--screen-grams"),
    )


def _whole(text: str, option: str) -> int:
    value = positive(text, option)
    if value != int(value):
        raise BadInput(f"{option}: found {text!r}, need a whole number")
    return int(value)


def _area_cm2(size: str | None, area: str | None) -> float:
    """The artwork's area from ``30x40cm``, ``12x16in``, ``1200cm2`` or ``186in2``."""
    if (size is None) == (area is None):
        raise BadInput("jobsize: give --size WxH or --area A, one of the two")
    number = r"([0-9]+\.?[0-9]*|\.[0-9]+)"
    if size is not None:
        found = re.fullmatch(rf"{number}\s*[x×*]\s*{number}\s*(cm|in)", size.strip().casefold())
        if found is None:
            raise BadInput(f"--size: found {size!r}; write it as 30x40cm or 12x16in")
        unit = CM_PER_IN if found[3] == "in" else 1.0
        return float(found[1]) * float(found[2]) * unit**2
    assert area is not None
    found = re.fullmatch(rf"{number}\s*(cm2|cm²|in2|in²)", area.strip().casefold())
    if found is None:
        raise BadInput(f"--area: found {area!r}; write it as 1200cm2 or 186in2")
    return float(found[1]) * (CM2_PER_IN2 if found[2].startswith("in") else 1.0)


def _of_recipe(args: argparse.Namespace) -> tuple[float, float | None]:
    """Density and cost per kg of the recipe; BadInput where the density is not known."""
    known = {ink.name: ink for ink in read_inks(args.shop)}
    recipe = read_recipe(args.recipe, known)
    inks = [known[name] for name in recipe.inks]
    density = density_g_per_ml(inks, recipe.fractions)
    if args.density is not None:
        density = positive(args.density, "--density")
    if density is None:
        lacking = ", ".join(ink.name for ink in inks if ink.density_g_per_ml is None)
        raise BadInput(
            f"the density of {lacking} is not known: fill in density_g_per_ml of inks.csv, or "
            "give --density"
        )
    return density, cost_per_kg(inks, recipe.fractions)


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


def _report(found: JobSize, container: Container | None) -> str:
    lines = [
        f"Mix {found.total_g:.0f} g ({found.total_g / G_PER_OZ:.1f} oz), "
        f"{found.total_ml:.0f} ml ({found.total_ml / ML_PER_US_FL_OZ:.1f} US fl oz)",
        f"  on the garments {found.printed_g:.0f} g, {found.per_print_g:.3g} g each;"
        f" left behind {found.loss_g:.0f} g",
    ]
    if container is not None and found.containers is not None:
        lines.append(f"  {found.containers} x {container.name}")
    if found.cost is not None:
        lines.append(f"  cost {found.cost:.2f}")
    lines += ["", "With:", *(f"  - {line}" for line in found.assumptions)]
    return "\n".join(lines)
