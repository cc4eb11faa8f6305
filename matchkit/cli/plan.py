"""``matchkit plan``: which drawdowns to weigh for a new series or a new ink."""

import argparse
from collections.abc import Sequence
from pathlib import Path

from matchkit.cli.terminal import json_option, positive, print_json, say, table
from matchkit.faults import BadInput
from matchkit.files.settings import read_settings
from matchkit.files.shop import read_inks
from matchkit.files.write import write_file
from matchkit.inks import Ink
from matchkit.plan import Plan, drawdown_plan, rows
from matchkit.plan_sheet import plan_html


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("shop", metavar="SHOP", help="the shop folder; its inks.csv is read")
    parser.add_argument("--ink", help="plan for this new ink only")
    parser.add_argument("--series", help="plan for this series, where the shop has several")
    parser.add_argument("--html", metavar="FILE", help="write the printable plan there")
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
        raise BadInput(f"--rungs: found {args.rungs!r}, need a whole number")
    return drawdown_plan(
        inks,
        batch_g=positive(args.grams, "--grams"),
        resolution_g=resolution_g,
        rungs=int(rungs),
        new_ink=new_ink,
    )


def run(args: argparse.Namespace) -> None:
    """Plan and print.  Only shop.toml and inks.csv are needed."""
    settings = read_settings(Path(args.shop) / "shop.toml", "shop.toml")
    inks = _series(read_inks(args.shop), args)
    plan = planned(inks, args, settings.resolution_g, args.ink)
    if args.html:
        write_file(args.html, plan_html(plan))
        say(f"written: {args.html}")
    if args.json:
        print_json({"drawdowns": _rows_json(plan), "letdowns": _letdowns_json(plan),
                    "saved_share": round(plan.saved, 4), "notes": list(plan.notes)})  # fmt: skip
    else:
        print(_report(plan))


def _series(inks: Sequence[Ink], args: argparse.Namespace) -> list[Ink]:
    """The inks of one series: inks of two are never mixed, so are planned apart."""
    names = list(dict.fromkeys(ink.series for ink in inks))
    wanted = args.series
    if wanted is None and args.ink is not None:
        wanted = next((ink.series for ink in inks if ink.name == args.ink), None)
    if wanted is None and len(names) == 1:
        wanted = names[0]
    if wanted not in names:
        raise BadInput(f"plan: name one series with --series: {', '.join(names)}")
    return [ink for ink in inks if ink.series == wanted]


def _rows_json(plan: Plan) -> list[dict[str, object]]:
    return [
        {"drawdown": r.drawdown, "ink": r.ink, "percent": r.percent, "grams": r.grams,
         "add_grams": r.add_g, "pot": r.pot}
        for r in rows(plan)
    ]  # fmt: skip


def _letdowns_json(plan: Plan) -> list[dict[str, object]]:
    return [
        {"letdown": name, "parts": [{"ink": ink, "grams": g} for ink, g in parts]}
        for name, parts in plan.letdowns
    ]


def _report(plan: Plan) -> str:
    lines = [
        f"{len(plan.steps)} drawdowns of {plan.batch_g:g} g or more; pots in common save "
        f"{100 * plan.saved:.0f} % of the ink",
    ]
    if plan.letdowns:
        lines += ["", "Make these letdowns first:"]
        lines += [
            f"  {name}: " + ", ".join(f"{ink} {g:.2f} g" for ink, g in parts)
            for name, parts in plan.letdowns
        ]
    body = [
        [r.drawdown, str(r.pot) if r.pot else "can", r.ink, f"{r.add_g:.2f}", f"{r.grams:.2f}"]
        for r in rows(plan)
    ]
    lines += ["", table(["Drawdown", "pot", "ink", "add g", "fresh g"], body)]
    lines += ["", *(f"- {note}" for note in plan.notes)] if plan.notes else []
    return "\n".join(lines)
