"""``matchkit plan``: which drawdowns to weigh for a new series or a new ink."""

import argparse
from collections.abc import Sequence
from pathlib import Path

from matchkit.cli.outputs import new_file, page
from matchkit.cli.terminal import json_option, positive, print_json, say, table
from matchkit.errors import InputError, did_you_mean
from matchkit.files.planned import told, write_plan
from matchkit.files.settings import read_settings
from matchkit.files.shop import read_inks
from matchkit.files.weighed import (
    check_new,
    put_weighed,
    reweighed,
    told_weighed,
    write_weigh_sheet,
)
from matchkit.files.write import write_file
from matchkit.inks.shop import Ink
from matchkit.paper.plan_sheet import plan_html, plan_text
from matchkit.plan.drawdowns import Plan, drawdown_plan, rows
from matchkit.plan.pots import Grams


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
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
    parser.add_argument("--rungs", default="10", metavar="N", help="drawdowns per ink, 3-13 (10)")
    parser.add_argument("--grams", default="30", metavar="G", help="of one drawdown batch (30)")


def planned(
    inks: Sequence[Ink],
    args: argparse.Namespace,
    resolution_g: float = 0.01,
    new_ink: str | None = None,
) -> Plan:
    """The plan with the options of the command line."""
    rungs = positive(args.rungs, "--rungs")
    if rungs != int(rungs):
        raise InputError(f"--rungs: found {args.rungs!r}, need a whole number")
    return drawdown_plan(
        inks,
        batch_g=positive(args.grams, "--grams"),
        resolution_g=resolution_g,
        rungs=int(rungs),
        new_ink=new_ink,
    )


def run(args: argparse.Namespace) -> None:
    """Plan and print.  Only inks.csv is needed, and the balance of shop.toml."""
    if args.weighed:
        _weighed(args)
        return
    if args.weigh_sheet:
        check_new(args.weigh_sheet)
    everything = read_inks(args.shop)
    inks = _series(everything, args)
    plan = planned(inks, args, _resolution_g(args.shop), args.ink)
    if args.html:
        write_file(args.html, plan_html(plan))
        say(f"written: {args.html}")
    if args.json:
        print_json({"drawdowns": _rows_json(plan), "letdowns": _letdowns_json(plan.letdowns),
                    "fresh_letdowns": _letdowns_json(plan.fresh_letdowns),
                    "saved_share": round(plan.saved, 4), "notes": list(plan.notes)})  # fmt: skip
    else:
        print(plan_text(plan))
    if args.write:
        for line in told(write_plan(args.shop, plan, everything, new_ink=args.ink)):
            say(line)
    if args.weigh_sheet:
        write_weigh_sheet(args.weigh_sheet, plan, args.shop)
        say(
            f"written: {args.weigh_sheet}; fill in showed_g where a weight came out otherwise, then"
            f" `matchkit plan {args.shop} --weighed {args.weigh_sheet} --write`"
        )


def _weighed(args: argparse.Namespace) -> None:
    """Instead of a plan: what its pots truly held."""
    if args.html or args.weigh_sheet or args.ink or args.series:
        raise InputError("--weighed: the sheet has the plan in it; of the others only --write goes")
    found = reweighed(args.shop, args.weighed)
    for note in found.contents.notes:
        say(f"note: {note}")
    if args.json:
        print_json({"drawdowns": [
            {"drawdown": name, "inks": [
                {"ink": ink, "percent": round(percent, 6)}
                for ink, percent in found.contents.percents(name).items()
            ]}
            for name in found.contents.held
        ], "changed": list(dict.fromkeys(each.drawdown for each in found.changes)),
            "notes": list(found.contents.notes)})  # fmt: skip
    elif found.changes:
        rows = [
            [each.drawdown, each.ink, each.before, f"{each.percent:.4f}"] for each in found.changes
        ]
        print(table(["Drawdown", "Ink", "in drawdowns.csv", "as weighed, %"], rows))
    else:
        print("Every weight came out as drawdowns.csv says.")
    if args.write:
        for line in told_weighed(found, put_weighed(args.shop, found)):
            say(line)
    elif found.changes:
        say("nothing is written yet; --write puts these percents into drawdowns.csv")


def _resolution_g(folder: str) -> float:
    """The balance's resolution; a new shop may not have said yet how it measures."""
    try:
        return read_settings(Path(folder) / "shop.toml", "shop.toml").resolution_g
    except InputError as error:
        say("shop.toml is not complete yet, so a balance of 0.01 g is assumed:")
        for fault in error.faults:
            say(f"  {fault}")
        return 0.01


def _series(inks: Sequence[Ink], args: argparse.Namespace) -> list[Ink]:
    """The inks of one series: inks of two are never mixed, so are planned apart."""
    names = list(dict.fromkeys(ink.series for ink in inks))
    wanted = args.series
    if wanted is None and args.ink is not None:
        wanted = next((ink.series for ink in inks if ink.name == args.ink), None)
        if wanted is None:
            known = [ink.name for ink in inks]
            raise InputError(
                f"--ink: no ink of inks.csv is called {args.ink!r}; add it there, or name one of"
                f" {', '.join(known)}{did_you_mean(args.ink, known)}"
            )
    if wanted is None and len(names) == 1:
        wanted = names[0]
    if wanted not in names:
        raise InputError(f"plan: name one series with --series: {', '.join(names)}")
    return [ink for ink in inks if ink.series == wanted]


def _rows_json(plan: Plan) -> list[dict[str, object]]:
    return [
        {"drawdown": r.drawdown, "ink": r.ink, "percent": r.percent, "grams": r.grams,
         "leave_grams": r.leave_g, "add_grams": r.add_g, "pot": r.pot}
        for r in rows(plan)
    ]  # fmt: skip


def _letdowns_json(letdowns: Sequence[tuple[str, Grams]]) -> list[dict[str, object]]:
    return [
        {"letdown": name, "parts": [{"ink": ink, "grams": g} for ink, g in parts]}
        for name, parts in letdowns
    ]
