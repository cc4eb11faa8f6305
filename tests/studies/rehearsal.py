"""A thousand blind jobs: how many come in, how soon, and how honest the odds are.

    python -m tests.studies.rehearsal          prints the tables and stores them (about 20 min)

The seeds of these benches were used for nothing else; what had to be chosen on the way was
chosen on other seeds.  Each of fifty benches has inks of its own and twenty targets, each
job lots of its own.
"""

import json
import sys
from pathlib import Path

import numpy as np

from matchkit.practice.rehearse import MIXERS, play, simulated_shop
from matchkit.practice.scores import deciles, joined, scores

STORED = Path(__file__).with_suffix(".json")
SEEDS = tuple(range(41_001, 41_051))
TARGETS = 20  # on each bench
FEW_SEEDS = tuple(range(42_001, 42_011))  # shops with three drawdowns of each ink
# Lots in percent, earlier batches, mixers
PLAYS = (
    (3.0, 0, MIXERS),
    (5.0, 0, MIXERS),
    (5.0, 20, ("matchkit",)),
    (10.0, 0, ("matchkit",)),
)
ODDS_OF = ((3.0, 0), (5.0, 0), (10.0, 0))  # three jobs for each target


def played(seeds=SEEDS, targets=TARGETS, plays=PLAYS, tell=None, **stand):
    """(lots, earlier) -> what came of the jobs on all benches."""
    parts = {play_[:2]: [] for play_ in plays}
    for done, seed in enumerate(seeds, start=1):
        made = simulated_shop(seed, targets, **stand)
        for lots, earlier, mixers in plays:
            one = play(made, lots_percent=lots, earlier=earlier, mixers=mixers, seed=int(lots))
            parts[lots, earlier].append(one)
        if tell:
            tell(f"bench {done} of {len(seeds)}\n")
    return {key: joined(each) for key, each in parts.items()}


def rows_of(found, drawdowns=10):
    """The scores of all plays as one list."""
    return [
        {"drawdowns_per_ink": drawdowns, "lots_percent": lots, "earlier": earlier, **row}
        for (lots, earlier), each in found.items()
        for row in scores(each)
    ]


def chances_of(found, keys=ODDS_OF, drawdown=0):
    """Stated against observed over several plays: of the first drawdown, or after one."""
    one = [found[key] for key in keys if key in found]
    said = np.concatenate([p.chance[:, drawdown] for p in one])
    true = np.concatenate([p.de00["matchkit"][:, drawdown] <= p.tolerance_de00 for p in one])
    return {
        "jobs": len(said),
        "said": round(float(said.mean()), 4),
        "came_true": round(float(true.mean()), 4),
        "tenths": deciles(said, true),
    }


def study(tell=None):
    """What is stored."""
    found = played(tell=tell)
    few = played(FEW_SEEDS, plays=PLAYS[1:2], tell=tell, drawdowns_per_ink=3)
    return {
        "scores": rows_of(found) + rows_of(few, drawdowns=3),
        "odds_first": chances_of(found),
        "odds_after_one": chances_of(found, drawdown=1),
        "odds_learned": chances_of(found, ((5.0, 20),)),
        "odds_few_drawdowns": chances_of(few, ((5.0, 0),)),
    }


def markdown(stored):
    """The table as README shows it."""
    lines = [
        "| lots | who | jobs | first | of those out of tolerance, in after one | added to them,"
        " median | all after one | after two | within 0.5 after one | added, all corrected |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for row in stored["scores"]:
        if row["kind"] != "all":
            continue
        lots = f"{row['lots_percent']:g} %" + (", learned" if row["earlier"] else "")
        lots += ", 3 drawdowns per ink" if row["drawdowns_per_ink"] == 3 else ""
        shown = (
            ("first", 100, 1), ("one_of_out", 100, 1), ("added_percent_out", 1, 2),
            ("one", 100, 1), ("two", 100, 1), ("one_half", 100, 1), ("added_percent", 1, 2),
        )  # fmt: skip
        cells = [lots, row["mixer"], f"{row['jobs']:,}"] + [
            "" if row.get(key) is None else f"{times * row[key]:.{digits}f} %"
            for key, times, digits in shown
        ]
        lines.append("| " + " | ".join(cells) + " |")
    words = (
        "Ten drawdowns per ink, lots 3, 5 and 10 % apart: over"
        f" {_calibration(stored['odds_first'])} Three drawdowns per ink, lots 5 % apart: over"
        f" {_calibration(stored['odds_few_drawdowns'])} The chances stated from so few drawdowns"
        " are less well calibrated."
    )
    return "\n".join([*lines, "", words])


def _calibration(odds):
    """Stated chance against what was in tolerance, in words."""
    return (
        f"{odds['jobs']:,} jobs the stated chance averaged {100 * odds['said']:.1f} %;"
        f" {100 * odds['came_true']:.1f} % were in tolerance."
    )


def odds_markdown(odds):
    """Stated chance by tenths against what came true."""
    lines = ["| said | jobs | came true |", "|---|---|---|"]
    lines += [f"| {t['said']:.2f} | {t['jobs']} | {t['came_true']:.2f} |" for t in odds["tenths"]]
    return "\n".join([*lines, f"| {odds['said']:.3f} | {odds['jobs']} | {odds['came_true']:.3f} |"])


if __name__ == "__main__":
    stored = study(sys.stderr.write)
    STORED.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(markdown(stored) + "\n\n" + odds_markdown(stored["odds_first"]) + "\n")
