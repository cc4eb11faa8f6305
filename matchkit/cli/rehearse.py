"""``matchkit rehearse``: blind jobs on invented inks, to see what to expect."""

import argparse

from matchkit.cli import asked, folders, values
from matchkit.report.rehearsal import PICTURES, rehearsal_parts
from matchkit.workflows.rehearsing import DRAWDOWNS, LIMITS, TROUBLES, RehearsalOptions, rehearse


def arguments(parser: argparse.ArgumentParser) -> None:
    usual = RehearsalOptions()
    parser.add_argument(
        "--targets", metavar="N", type=values.whole(*LIMITS["targets"]), default=usual.targets,
        help=f"how many jobs ({usual.targets})",
    )  # fmt: skip
    parser.add_argument(
        "--seed", metavar="S", type=values.whole(*LIMITS["seed"]), default=usual.seed,
        help=f"other inks, other targets ({usual.seed})",
    )  # fmt: skip
    parser.add_argument(
        "--lots", metavar="PERCENT", type=values.between(*LIMITS["lots_percent"]),
        default=usual.lots_percent,
        help=f"standard deviation of strength by lot ({usual.lots_percent:g})",
    )  # fmt: skip
    parser.add_argument(
        "--tolerance", metavar="DE00", type=values.between(*LIMITS["tolerance_de00"]),
        default=usual.tolerance_de00, help=f"tolerance ({usual.tolerance_de00:g})",
    )  # fmt: skip
    parser.add_argument(
        "--earlier", metavar="N", type=values.whole(*LIMITS["earlier_batches"]),
        default=usual.earlier_batches,
        help=f"earlier batches that the lots were learned from ({usual.earlier_batches})",
    )  # fmt: skip
    parser.add_argument(
        "--drawdowns", type=int, choices=DRAWDOWNS, default=usual.drawdowns_per_ink,
        help=f"drawdowns of each ink ({usual.drawdowns_per_ink})",
    )  # fmt: skip
    parser.add_argument(
        "--troubles", metavar="NAME", nargs="+", choices=TROUBLES, default=(),
        help=f"troubles to add: {', '.join(TROUBLES)}",
    )  # fmt: skip
    asked.picture_option(parser, PICTURES)
    asked.json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Play the jobs and print how they came out."""
    options = RehearsalOptions(
        targets=args.targets,
        seed=args.seed,
        lots_percent=args.lots,
        tolerance_de00=args.tolerance,
        earlier_batches=args.earlier,
        drawdowns_per_ink=args.drawdowns,
        troubles=tuple(args.troubles),
    )
    found = rehearse(options, folders.progress_line("targets matched"))
    asked.give(args, found.to_dict, lambda: rehearsal_parts(found))
