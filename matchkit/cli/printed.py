"""What the commands about a print job share: how many, how big, how much ink a print takes."""

import argparse
import re
from collections.abc import Sequence

from matchkit.cli.films import microns
from matchkit.cli.terminal import number_of, positive
from matchkit.errors import InputError
from matchkit.inks.recipe import cost_per_kg, density_g_per_ml
from matchkit.inks.shop import Ink
from matchkit.paper.jobsize import CM2_PER_IN2, Job, JobSize, job_size
from matchkit.paper.weighing import Container

__all__ = ["job_of", "job_options", "size_of"]

CM_PER_IN = 2.54
USUAL = {
    "--size": None,
    "--area": None,
    "--coverage": "100",
    "--mesh": None,
    "--transfer": None,
    "--wet": None,
    "--strokes": "1",
    "--later-stroke": "100",
    "--loss": "10",
    "--screen-grams": "0",
    "--density": None,
}


def job_options(parser: argparse._ActionsContainer, *, required: bool) -> None:
    """How the job is printed; without `required` a command may be told nothing of it."""
    parser.add_argument("--prints", required=required, metavar="N", help="how many garments")
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


def job_of(args: argparse.Namespace) -> Job | None:
    """The job that the options tell of, or None without ``--prints``."""
    if args.prints is None:
        stray = [option for option, usual in USUAL.items() if _given(args, option) != usual]
        if stray:
            raise InputError(f"{', '.join(stray)}: they tell of a job; give its --prints N too")
        return None
    mesh = args.mesh is not None
    if mesh != (args.transfer is not None) or mesh == (args.wet is not None):
        raise InputError(
            "job size: give --mesh CM3 with --transfer PERCENT, or --wet UM, one of two"
        )
    return Job(
        prints=_whole(args.prints, "--prints"),
        area_cm2=_area_cm2(args.size, args.area),
        coverage=_share(args.coverage, "--coverage", most=100),
        mesh_cm3_per_m2=positive(args.mesh, "--mesh") if mesh else None,
        transfer=_share(args.transfer, "--transfer", most=100) if mesh else None,
        wet_um=None if mesh else microns(args.wet, "--wet"),
        strokes=_whole(args.strokes, "--strokes"),
        later_stroke=_share(args.later_stroke, "--later-stroke", most=200),
        loss=_share(args.loss, "--loss", most=500, none=True),
        screen_g=number_of(args.screen_grams, "--screen-grams"),
    )


def size_of(
    args: argparse.Namespace,
    job: Job,
    inks: Sequence[Ink],
    amounts: Sequence[float],
    container: Container | None,
) -> JobSize:
    """How much of a formula the job needs; `amounts` are by mass.

    InputError where its density is not known.
    """
    fractions = [amount / sum(amounts) for amount in amounts]
    density = density_g_per_ml(inks, fractions)
    if args.density is not None:
        density = positive(args.density, "--density")
    if density is None:
        lacking = ", ".join(ink.name for ink in inks if ink.density_g_per_ml is None)
        raise InputError(
            f"the density of {lacking} is not known: fill in density_g_per_ml of inks.csv, or "
            "give --density"
        )
    return job_size(
        job,
        density_g_per_ml=density,
        container=container,
        cost_per_kg=cost_per_kg(inks, fractions),
    )


def _given(args: argparse.Namespace, option: str) -> str | None:
    """What was typed for an option, or its usual value."""
    text: str | None = getattr(args, option.removeprefix("--").replace("-", "_"))
    return text


def _share(text: str, option: str, *, most: float, none: bool = False) -> float:
    """A percentage above 0 (0 too, with `none`) as a share."""
    percent = number_of(text, option)
    if not 0 <= percent <= most or (percent == 0 and not none):
        least = "0" if none else "more than 0"
        raise InputError(f"{option}: found {text!r}, need {least} to {most:g} percent")
    return percent / 100


def _whole(text: str, option: str) -> int:
    value = positive(text, option)
    if value != int(value):
        raise InputError(f"{option}: found {text!r}, need a whole number")
    return int(value)


def _area_cm2(size: str | None, area: str | None) -> float:
    """The artwork's area from ``30x40cm``, ``12x16in``, ``1200cm2`` or ``186in2``."""
    if (size is None) == (area is None):
        raise InputError("job size: give --size WxH or --area A, one of the two")
    number = r"([0-9]+\.?[0-9]*|\.[0-9]+)"
    if size is not None:
        found = re.fullmatch(rf"{number}\s*[x×*]\s*{number}\s*(cm|in)", size.strip().casefold())
        if found is None:
            raise InputError(f"--size: found {size!r}; write it as 30x40cm or 12x16in")
        unit = CM_PER_IN if found[3] == "in" else 1.0
        return float(found[1]) * float(found[2]) * unit**2
    assert area is not None
    found = re.fullmatch(rf"{number}\s*(cm2|cm²|in2|in²)", area.strip().casefold())
    if found is None:
        raise InputError(f"--area: found {area!r}; write it as 1200cm2 or 186in2")
    return float(found[1]) * (CM2_PER_IN2 if found[2].startswith("in") else 1.0)
