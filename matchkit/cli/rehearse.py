"""``matchkit rehearse``: blind jobs on invented inks, to see what to expect."""

import argparse
from typing import TYPE_CHECKING, Any

from matchkit.cli.pictures import keep_picture, picture_option
from matchkit.cli.terminal import json_option, number_of, print_json, progress_line, table
from matchkit.errors import InputError
from matchkit.matching.probability import chance_text
from matchkit.rehearsal.rehearse import BATCH_G, HAND, LIGHTS, rehearse
from matchkit.rehearsal.scores import deciles, scores

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_TARGETS, MOST_LOTS, MOST_EARLIER = 10_000, 30.0, 200
WHO = {
    "matchkit": "infers lots and slips, then adds the least",
    "ceiling": "the mixture the target was made from, same lots and hand: a perfect model",
    "textbook": "single-constant theory; re-matches the target shifted by the error",
}


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("--targets", default="40", metavar="N", help="how many jobs (40)")
    parser.add_argument("--seed", default="1", metavar="S", help="other inks, other targets (1)")
    parser.add_argument(
        "--lots", default="5", metavar="PERCENT", help="standard deviation of strength by lot (5)"
    )
    parser.add_argument("--tolerance", default="1.0", metavar="DE00", help="tolerance (1.0)")
    parser.add_argument(
        "--earlier", default="0", metavar="N", help="batches that already taught the lots (0)"
    )
    parser.add_argument(
        "--drawdowns", default="10", choices=("3", "10"), help="drawdowns of each ink (10)"
    )
    picture_option(parser)
    json_option(parser)


def run(args: argparse.Namespace) -> None:
    """Play the jobs and print how they came out."""
    options = _options(args)
    played = rehearse(progress=progress_line("targets matched"), **options)
    rows = scores(played)
    said = deciles(played.chance[:, 0], played.de00["matchkit"][:, 0] <= played.tolerance_de00)
    if args.picture:
        keep_picture(
            args.picture, [(2.6, lambda ax: _shares(ax, rows)), (2.8, lambda ax: _odds(ax, said))]
        )
    if args.json:
        print_json({**_settings(options), "scores": rows, "odds": said})
    else:
        print(_report(options, rows, said))


def _options(args: argparse.Namespace) -> dict[str, Any]:
    """The arguments of `rehearse`, or every fault in the options at once."""
    faults: list[str] = []
    whole = {
        "n_targets": _whole(args.targets, "--targets", 1, MOST_TARGETS, faults),
        "seed": _whole(args.seed, "--seed", 0, 10**6, faults),
        "earlier": _whole(args.earlier, "--earlier", 0, MOST_EARLIER, faults),
    }
    lots = _between(args.lots, "--lots", 0.0, MOST_LOTS, faults)
    tolerance = _between(args.tolerance, "--tolerance", 0.05, 20.0, faults)
    if not faults and whole["earlier"] and whole["n_targets"] < 2:
        faults.append(
            "--earlier: earlier batches are of other targets; --targets must be 2 or more"
        )
    if faults:
        raise InputError(faults)
    return {
        **whole,
        "lots_percent": lots,
        "tolerance_de00": tolerance,
        "drawdowns_per_ink": int(args.drawdowns),
    }


def _between(text: str, option: str, low: float, high: float, faults: list[str]) -> float:
    try:
        value = number_of(text, option)
    except InputError as error:
        faults += error.faults
        return low
    if not low <= value <= high:
        faults.append(f"{option}: found {text!r}, need {low:g} to {high:g}")
    return value


def _whole(text: str, option: str, low: int, high: int, faults: list[str]) -> int:
    value = _between(text, option, low, high, faults)
    if value != int(value):
        faults.append(f"{option}: found {text!r}, need a whole number")
    return int(value)


def _settings(options: dict[str, Any]) -> dict[str, Any]:
    return {
        "targets": options["n_targets"],
        "seed": options["seed"],
        "lots_percent": options["lots_percent"],
        "tolerance_de00": options["tolerance_de00"],
        "earlier_batches": options["earlier"],
        "drawdowns_per_ink": options["drawdowns_per_ink"],
        "batch_grams": BATCH_G,
    }


def _report(options: dict[str, Any], rows: list[dict[str, Any]], said: list[dict[str, Any]]) -> str:
    learned = f", lots known from {options['earlier']} batches" if options["earlier"] else ""
    lines = [
        f"{options['n_targets']} blind jobs on invented inks: lots {options['lots_percent']:g} % "
        f"apart{learned}, {BATCH_G:g} g batches, balance {HAND.resolution_g:g} g,",
        f"tolerance dE00 {options['tolerance_de00']:g} under {LIGHTS[0]}. "
        "Percent of jobs within it:",
        "",
        table(
            ["Mixer", "Targets", "jobs", "first", "after 1", "after 2", "added %"],
            [_row(row) for row in rows],
            indent=2,
        ),
        "",
        *(f"  {mixer}: {what}" for mixer, what in WHO.items()),
        "  added %: median first addition, in percent of the batch, of jobs that got one",
        "",
        "Odds of the first drawdown:",
        table(["said", "jobs", "came true %"], [_odds_row(tenth) for tenth in said], indent=2),
        "",
        "The bench follows the physics of light in ink, but it is no shop: real inks, hands and",
        "films do worse.",
    ]
    return "\n".join(lines)


def _row(row: dict[str, Any]) -> list[str]:
    shares = ["" if row.get(k) is None else f"{100 * row[k]:.1f}" for k in ("first", "one", "two")]
    added = row.get("added_percent")
    return [
        row["mixer"],
        row["kind"],
        str(row["jobs"]),
        *shares,
        "" if added is None else f"{added:.2f}",
    ]


def _odds_row(tenth: dict[str, Any]) -> list[str]:
    return [chance_text(tenth["said"]), str(tenth["jobs"]), f"{100 * tenth['came_true']:.0f}"]


def _shares(ax: "Axes", rows: list[dict[str, Any]]) -> "Axes":
    """Bars of jobs within tolerance, by mixer: first drawdown, after one, after two."""
    from matchkit.plots.marks import COLOURS, HATCHES, SMALL, axis_names

    told = {"first": "first drawdown", "one": "after one correction", "two": "after two"}
    whole = [row for row in rows if row["kind"] == "all"]
    for y, row in enumerate(whole):
        for k, (key, words) in enumerate(told.items()):
            if key not in row:
                continue
            share, at = 100 * row[key], y + 0.27 * (k - 1)
            ax.barh(at, share, 0.24, facecolor="white", edgecolor=COLOURS[k], hatch=HATCHES[k])
            ax.text(share + 1, at, f"{share:.0f} {words}", va="center", fontsize=SMALL)
    ax.set(xlim=(0, 170), xticks=[0, 25, 50, 75, 100], ylim=(len(whole) - 0.5, -0.5))
    ax.set_yticks(range(len(whole)), [row["mixer"] for row in whole])
    return axis_names(ax, "jobs within tolerance, %", "")


def _odds(ax: "Axes", said: list[dict[str, Any]]) -> "Axes":
    """Stated chance against the share that came true; each point tells its jobs."""
    from matchkit.plots.marks import COLOURS, FAINT, SMALL, axis_names

    ax.plot([0, 100], [0, 100], color=FAINT, lw=1)
    for tenth in said:
        x, y = 100 * tenth["said"], 100 * tenth["came_true"]
        ax.plot(x, y, "o", color=COLOURS[0], markerfacecolor="white")
        ax.annotate(
            f"{tenth['jobs']} jobs", (x, y), (-6, 0), textcoords="offset points", fontsize=SMALL,
            ha="right", va="center",
        )  # fmt: skip
    ax.set(xlim=(-5, 105), ylim=(-5, 105), xticks=range(0, 101, 25), yticks=range(0, 101, 25))
    return axis_names(ax, "chance that was said, %", "came true, %")
