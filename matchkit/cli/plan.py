"""``matchkit plan``: plan the drawdowns of a new series or a new ink."""

import argparse
from dataclasses import replace

from matchkit.cli.asked import give, json_option, session_of
from matchkit.cli.folders import say
from matchkit.cli.outputs import new_file, page
from matchkit.cli.values import in_grams, positive, whole
from matchkit.errors import InputError
from matchkit.files.weighed import check_new, put_weighed, weighed, write_weigh_sheet
from matchkit.files.write import write_file
from matchkit.inks.levels import FEWEST, MOST
from matchkit.report import plan
from matchkit.workflows.planning import PlanChoices, plan_drawdowns, put_plan


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shop", metavar="SHOP", help="the shop folder; its inks.csv is read")
    parser.add_argument("--ink", help="plan for this new ink only")
    parser.add_argument("--series", help="plan for this series, where the shop has several")
    parser.add_argument("--html", type=page, metavar="FILE", help="write the printable plan there")
    parser.add_argument(
        "--write", action="store_true",
        help="put the plan into drawdowns.csv and spectra.csv; what is measured stays",
    )  # fmt: skip
    parser.add_argument(
        "--weigh-sheet", type=new_file, metavar="FILE",
        help="write a CSV with a row for every weight of the plan, to fill in what the balance"
        " showed",
    )  # fmt: skip
    parser.add_argument(
        "--weighed", metavar="FILE",
        help="such a sheet, filled in (empty: as planned): the percents that it makes; with"
        " --write into drawdowns.csv",
    )  # fmt: skip
    plan_options(parser)
    json_option(parser)


def plan_options(parser: argparse.ArgumentParser) -> None:
    """How many drawdowns, and how big."""
    usual = PlanChoices()
    parser.add_argument(
        "--levels", type=whole(FEWEST, MOST), default=usual.levels, metavar="N",
        help=f"drawdowns per ink, {FEWEST}-{MOST} ({usual.levels})",
    )  # fmt: skip
    parser.add_argument(  # as it was called before
        "--rungs", type=whole(FEWEST, MOST), dest="levels", default=argparse.SUPPRESS,
        help=argparse.SUPPRESS,
    )  # fmt: skip
    parser.add_argument(
        "--grams", type=in_grams(positive), default=usual.batch_g, metavar="G",
        help=f"of one drawdown batch ({usual.batch_g:g})",
    )  # fmt: skip
    parser.add_argument(
        "--on-dark", action="store_true", help="it is printed on dark garments too, so has to hide"
    )


def choices_of(args: argparse.Namespace) -> PlanChoices:
    """What `plan_options` were given."""
    return PlanChoices(levels=args.levels, batch_g=args.grams, on_dark=args.on_dark)


def run(args: argparse.Namespace) -> None:
    """Plan and print.  Only inks.csv is needed, and the balance of shop.toml."""
    session = session_of(args)
    if args.weighed:
        _weighed(args)
        return
    if args.weigh_sheet:
        check_new(args.weigh_sheet)
    made = plan_drawdowns(session, replace(choices_of(args), new_ink=args.ink, series=args.series))
    if args.html:
        write_file(args.html, plan.plan_page(made).html)
        say(f"written: {args.html}")
    give(args, made.to_dict, lambda: plan.plan_parts(made))
    for line in plan.put_lines(put_plan(session, made)) if args.write else plan.to_come_lines(made):
        say(line)
    if args.weigh_sheet:
        write_weigh_sheet(args.weigh_sheet, made.plan, args.shop)
        say(
            f"written: {args.weigh_sheet}; fill in showed_g where a weight differs from the plan,"
            f" then `matchkit plan {args.shop} --weighed {args.weigh_sheet} --write`"
        )


def _weighed(args: argparse.Namespace) -> None:
    """Instead of a plan: what its pots truly held."""
    if args.html or args.weigh_sheet or args.ink or args.series:
        raise InputError("--weighed: the sheet has the plan in it; of the others only --write goes")
    found = weighed(args.shop, args.weighed)
    for note in found.contents.notes:
        say(f"note: {note}")
    give(args, found.to_dict, lambda: plan.weighed_parts(found))
    if args.write:
        for line in plan.weighed_lines(found, put_weighed(args.shop, found)):
            say(line)
    elif found.changes:
        say("nothing is written yet; --write puts these percents into drawdowns.csv")
