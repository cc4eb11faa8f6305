"""What the commands about a print job share: how many, how big, how much ink a print takes."""

import argparse
import re

from matchkit.cli.films import microns
from matchkit.cli.terminal import number_of, positive
from matchkit.errors import InputError
from matchkit.paper.jobsize import CM2_PER_IN2, PrintJob
from matchkit.paper.weighing import CONTAINERS_ML, Container

__all__ = ["container_of", "container_option", "density_of", "job_of", "job_options"]

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


def job_of(args: argparse.Namespace) -> PrintJob | None:
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
    return PrintJob(
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


def density_of(args: argparse.Namespace) -> float | None:
    """``--density``, in g/ml."""
    return None if args.density is None else positive(args.density, "--density")


def container_option(parser: argparse._ActionsContainer) -> None:
    """What the batch is mixed in."""
    parser.add_argument(
        "--container", metavar="NAME",
        help=f"what it is mixed in: {', '.join(CONTAINERS_ML)}, or millilitres",
    )  # fmt: skip


def container_of(text: str | None) -> Container | None:
    """The container of that name, or of so many millilitres."""
    if text is None:
        return None
    if text in CONTAINERS_ML:
        return Container(name=text, volume_ml=CONTAINERS_ML[text])
    try:
        return Container(name=f"{text} ml", volume_ml=positive(text, "--container"))
    except InputError:
        raise InputError(
            f"--container: found {text!r}; write {', '.join(CONTAINERS_ML)}, or millilitres"
        ) from None


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
