"""``matchkit check``: is it near enough?"""

import argparse
from pathlib import Path

from matchkit.cli import asked
from matchkit.errors import InputError
from matchkit.files.spectrum import read_readings
from matchkit.report.check import COMPARED, check_parts
from matchkit.workflows.checking import check
from matchkit.workflows.wanted import spectrum_in


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shop", metavar="SHOP", help="the shop folder")
    asked.target_options(parser)
    parser.add_argument(
        "measured",
        metavar="MEASURED",
        help="spectrum file of the drawdown, cured and cool; repeat readings are averaged",
    )
    parser.add_argument(
        "--measured-name", metavar="NAME",
        help="which spectrum of MEASURED (its only one, else the one named by --name)",
    )  # fmt: skip
    asked.picture_option(parser, COMPARED)
    asked.json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Compare and print."""
    if args.show and not args.picture:
        raise InputError("--show goes with --picture FILE")
    session = asked.session_of(args)
    wanted = asked.wanted_of(args, session)
    # The drawdown: as ``--measured-name`` has it, else the file's only one, else as ``--name``.
    name = args.measured_name
    if name is None and args.name is not None:
        blocks, _, _ = read_readings(args.measured)
        held = {each for block in blocks for each in block.names}
        name = args.name if len(held) > 1 and args.name in held else None
    measured = spectrum_in(session, args.measured, name, option="--measured-name")
    twice = args.target and measured.name == wanted.name
    twice = twice and Path(args.measured).samefile(args.target)
    found = check(session, wanted, measured.readings, same_file=args.target if twice else "")
    # Named, since the two files are easily swapped, and then every direction is the wrong one.
    head = f"Target: {wanted.name}. Drawdown: {measured.name}."
    asked.give(args, found.to_dict, lambda: [head, *check_parts(found)])
