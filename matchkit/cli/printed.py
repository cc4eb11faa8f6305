"""What the commands about a print job share: how many, how big, how much ink a print takes."""

import argparse

from matchkit.cli import values
from matchkit.errors import InputError
from matchkit.paper.jobsize import PrintJob
from matchkit.paper.weighing import CONTAINERS_ML

USUAL = {
    "size": None, "area": None, "coverage": 1.0, "mesh": None, "transfer": None, "wet": None,
    "strokes": 1, "later_stroke": 1.0, "loss": 0.1, "screen_grams": 0.0, "density": None,
    "fabric": "", "as_before": False,
}  # fmt: skip


def job_options(parser: argparse._ActionsContainer, *, required: bool) -> None:
    """How the job is printed; without `required` a command may be told nothing of it."""
    parser.add_argument(
        "--prints", type=values.whole(), required=required, metavar="N", help="how many garments"
    )
    for name, kind, metavar, words in (
        ("size", values.size_cm2, "WxH", "size of the artwork: 30x40cm or 12x16in"),
        ("area", values.area_cm2, "A", "its area, instead of --size: 1200cm2 or 186in2"),
        ("coverage", values.share(100), "PERCENT", "share of the artwork in this colour (100)"),
        (
            "mesh",
            values.positive,
            "CM3",
            "its ink volume, cm3 per m2, from its data sheet; no thread count",
        ),
        ("transfer", values.share(100), "PERCENT", "with --mesh: share of it that a stroke prints"),
        ("wet", values.microns, "UM", "instead of --mesh: measured wet film, um (or 2.4mil)"),
        ("strokes", values.whole(), "N", "strokes of one print; 2: print, flash, print (1)"),
        (
            "later-stroke",
            values.share(200),
            "PERCENT",
            "film of a further stroke, of the first (100)",
        ),
        ("loss", values.share(500, none=True), "PERCENT", "loss on top of what is printed (10)"),
        ("screen-grams", values.in_grams(values.number), "G", "ink to flood the screen (0)"),
        (
            "density",
            values.positive,
            "G_PER_ML",
            "density of the ink, if inks.csv does not state it",
        ),
        ("fabric", str, "NAME", "what is printed on: what jobs used is learned by mesh and fabric"),
    ):
        usual = USUAL[name.replace("-", "_")]
        parser.add_argument(f"--{name}", type=kind, default=usual, metavar=metavar, help=words)
    parser.add_argument(
        "--as-before", action="store_true",
        help="ink laid down and loss as closed jobs of this mesh and fabric took, by what was left",
    )  # fmt: skip


def job_of(args: argparse.Namespace) -> PrintJob | None:
    """The job that the options tell of, or None without ``--prints``."""
    if args.prints is None:
        stray = [name for name, usual in USUAL.items() if getattr(args, name) != usual]
        if stray:
            named = ", ".join(f"--{name.replace('_', '-')}" for name in stray)
            raise InputError(f"{named}: these describe a print job; give --prints N too")
        return None
    mesh = args.mesh is not None
    if mesh != (args.transfer is not None) or mesh == (args.wet is not None):
        raise InputError(
            "job size: give --mesh CM3 with --transfer PERCENT, or --wet UM, one of two"
        )
    if (args.size is None) == (args.area is None):
        raise InputError("job size: give --size WxH or --area A, one of the two")
    return PrintJob(
        prints=args.prints,
        area_cm2=args.size or args.area,
        coverage=args.coverage,
        mesh_cm3_per_m2=args.mesh,
        transfer=args.transfer,
        wet_um=args.wet,
        strokes=args.strokes,
        later_stroke=args.later_stroke,
        loss=args.loss,
        screen_g=args.screen_grams,
        fabric=args.fabric,
        as_before=args.as_before,
    )


def container_option(parser: argparse._ActionsContainer) -> None:
    """What the batch is mixed in."""
    parser.add_argument(
        "--container", type=values.container, metavar="NAME",
        help=f"what it is mixed in: {', '.join(CONTAINERS_ML)}, or millilitres",
    )  # fmt: skip
