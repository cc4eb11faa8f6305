"""What the package is worth where the simulator is hard: trouble by trouble, and all at once.

    python -m tests.studies.hard_accuracy                  prints the tables and stores them
    python -m tests.studies.hard_accuracy --choose         the same on the shops to choose on;
                                                           stores nothing
    python -m tests.studies.hard_accuracy --quick          a first look at one small shop to
                                                           choose on (75 s of one core)
    python -m tests.studies.hard_accuracy --only card all  some troubles, into the stored table

The plain simulator is easy: its drawdowns hide, its inks share one anisotropy, and it obeys
nearly the function that is fitted.  `matchkit.simulator.troubles` makes it harder, each
trouble by an amount stated there.  Two sets of shops:

    choose   the usual pigments.  Whatever is chosen by looking (priors, bounds, which
             theory) may be chosen on these.
    score    pigments of another make (`make_bench(unlike=True)`): other shapes of band,
             scattering, index, anisotropy and crowding.  For reporting, for nothing else.

Chosen on the plain simulator, all on the usual pigments: NOISES, WRONG, CLEARLY and GUESS
(`fit`).  EXPECT, LOG_S and NO_PIGMENT come from published ladders, slabs and pigments.  None
of them has seen the pigments of `score`.

Three ways to read a drawdown, told as `road`:

    hides    an opaque drawdown
    white    0.2 mm over the white half of a card, handed in as a drawdown that hides; the fit
             takes it for a film where letdowns of colours in clear tell that it is one
    both     both halves, handed in as films of the bar's nominal thickness

`unseen` is dE00 (D65, 10 degrees) of random mixtures as this shop would draw them down,
without noise, over the white half where there is a card.  The jobs are those of
`matchkit.practice.rehearse`, lots 5 % apart, tolerance 1.  The ceiling is the mixture that the
target was made from, weighed once: what true physics would reach, that knows no lot, no
thickness and no weighing error.  `brier` is the mean square of chance less outcome.
"""

import argparse
import json
import sys
import time
from pathlib import Path

import numpy as np

from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.inks.palette import reflectance
from matchkit.practice.rehearse import OBSERVER, play, simulated_shop
from matchkit.practice.scores import deciles, joined
from matchkit.simulator.simulate import KINDS, drawdown_R, random_mixtures
from matchkit.simulator.troubles import USUAL, only

STORED = Path(__file__).with_suffix(".json")
SEEDS = {"choose": (61_001, 61_002), "score": (62_001, 62_002)}
HARDEST = ("card", "all")  # these are scored on twice as many shops
MORE = {"choose": (61_003, 61_004), "score": (62_003, 62_004)}
TARGETS, MIXTURES, LOTS = 20, 40, 5.0
N_COLOURS = 9
OVER_CARD = ("card", "thickness", "all")
ROADS = {"hides": ("white",), "white": ("white",), "both": ("white", "black")}
NAMES = {
    "none": "none: the plain simulator, easy",
    "anisotropy": "each ink scatters its own way",
    "index": "refractive index goes with the load",
    "semi_matt": "semi-matt films",
    "crowding": "every ink crowds",
    "flocculation": "inks flocculate in each other",
    "fluorescence": "weak fluorescence",
    "drift": "the instrument drifts",
    "weighing": "weighing errors",
    "mislabelled": "one mislabelled drawdown",
    "card": "0.2 mm over a card",
    "thickness": "0.2 mm +- 6 % over a card",
    "all_hiding": "all, but every drawdown hides",
    "all": "all at once",
}


def troubles_of(trouble):
    """The troubles that a row of the table stands for."""
    if trouble == "none":
        return None
    if trouble == "all_hiding":
        return only(*(name for name in USUAL.named if name not in OVER_CARD))
    return USUAL if trouble == "all" else only(trouble)


def roads_of(trouble):
    return ("white", "both") if trouble in OVER_CARD else ("hides",)


def one_shop(
    seed, trouble, drawdowns, road, *, unlike,
    targets=TARGETS, mixtures=MIXTURES, n_colours=N_COLOURS,
):  # fmt: skip
    """dE00 of unseen mixtures (kind, n), what came of the jobs, and the held-out median."""
    shop = simulated_shop(
        seed,
        targets,
        drawdowns_per_ink=drawdowns,
        troubles=troubles_of(trouble),
        halves=ROADS[road],
        unlike=unlike,
        textbook=False,
        n_colours=n_colours,
    )
    rng = np.random.default_rng([seed, 2])
    C = np.concatenate([random_mixtures(shop.bench, rng, kind, mixtures) for kind in KINDS])
    true = Lab(drawdown_R(shop.bench, C), "D65", OBSERVER)
    told = Lab(reflectance(shop.found.palette, C), "D65", OBSERVER)
    jobs = play(shop, lots_percent=LOTS, mixers=("matchkit", "ceiling"))
    held_out = float(np.nanmedian(shop.found.de00_held_out))
    return de00(true, told).reshape(len(KINDS), -1), jobs, held_out


def row(seeds, trouble, drawdowns, road, **more):
    """One row of the table, over all shops."""
    parts = [one_shop(seed, trouble, drawdowns, road, **more) for seed in seeds]
    error = np.concatenate([part[0] for part in parts], axis=1)
    jobs = joined([part[1] for part in parts])
    inside = jobs.de00["matchkit"] <= jobs.tolerance_de00
    out = ~inside[:, 0]
    said = jobs.chance[:, 0]
    return {
        "trouble": trouble,
        "drawdowns_per_ink": drawdowns,
        "road": road,
        "shops": len(seeds),
        "unseen": _two(error),
        "clear_based": _two(error[KINDS.index("clear")]),
        "held_out_median": round(float(np.median([part[2] for part in parts])), 3),
        "jobs": len(said),
        "first": _share(inside[:, 0]),
        "ceiling": _share(jobs.de00["ceiling"][:, 0] <= jobs.tolerance_de00),
        "after_one": _share(inside[:, 1]),
        "out": int(out.sum()),
        "one_of_out": _share(inside[out, 1]) if out.any() else None,
        "added_of_out": _share(jobs.added_percent[out, 0]) if out.any() else None,
        "said": _share(said),
        "brier": _share((said - inside[:, 0]) ** 2),
        "tenths": deciles(said, inside[:, 0]),
    }


def _two(error):
    return [round(float(value), 3) for value in np.percentile(error, (50, 95))]


def _share(values):
    return round(float(np.mean(values)), 4)


def study(which="score", troubles=tuple(NAMES)):
    """Rows by trouble, number of drawdowns and road, one after the other."""
    for drawdowns in (10, 3):
        for trouble in troubles:
            seeds = SEEDS[which] + (MORE[which] if trouble in HARDEST else ())
            for road in roads_of(trouble):
                yield row(seeds, trouble, drawdowns, road, unlike=which == "score")


def key_of(r):
    """The place of a row in the table."""
    return -r["drawdowns_per_ink"], list(NAMES).index(r["trouble"]), list(ROADS).index(r["road"])


def store(r):
    """Put one row into the stored table, in place of the one that stood there."""
    rows = json.loads(STORED.read_text(encoding="utf-8")) if STORED.exists() else []
    rows = [old for old in rows if key_of(old) != key_of(r)] + [r]
    STORED.write_text(json.dumps(sorted(rows, key=key_of), indent=1) + "\n", encoding="utf-8")


def quick(troubles=("none", "card", "all"), **more):
    """A first look: one small shop to choose on for each row."""
    small = {"n_colours": 7, "targets": 8, "mixtures": 20, **more}
    return [
        row(SEEDS["choose"][:1], trouble, drawdowns, road, unlike=False, **small)
        for drawdowns in (10, 3)
        for trouble in troubles
        for road in roads_of(trouble)
    ]


# ---- as README shows it


def markdown(rows):
    """Two tables, for 10 and for 3 drawdowns of each ink."""
    tables = []
    for drawdowns in (10, 3):
        tables += [
            f"{drawdowns} drawdowns of each ink:",
            "",
            "| trouble | unseen dE00, median / 95 % | first in tolerance (ceiling) | after one"
            " | of those out of tolerance, in after one: added | chance stated -> in tolerance"
            " | Brier |",
            "|---|---|---|---|---|---|---|",
            *(_line(r) for r in rows if r["drawdowns_per_ink"] == drawdowns),
            "",
        ]
    return "\n".join([*tables, bins_markdown(rows)])


def bins_markdown(rows):
    """How often what was said came true, by fifths of the stated chance: a table."""
    lines = [
        "Stated chances by fifths: share of jobs in tolerance (number of jobs).",
        "",
        "| drawdowns, trouble | 0-20 % | 20-40 % | 40-60 % | 60-80 % | 80-100 % |",
        "|---|---|---|---|---|---|",
    ]
    for r in rows:
        cells = []
        for fifth in range(5):
            own = [t for t in r["tenths"] if int(t["from"] * 10 + 0.5) // 2 == fifth]
            jobs = sum(t["jobs"] for t in own)
            true = sum(t["jobs"] * t["came_true"] for t in own)
            cells.append(f"{100 * true / jobs:.0f} % ({jobs})" if jobs else "")
        lines.append(f"| {r['drawdowns_per_ink']}, {_name(r)} | {' | '.join(cells)} |")
    return "\n".join(lines)


def _line(r):
    cells = [
        _name(r),
        f"{r['unseen'][0]:.2f} / {r['unseen'][1]:.2f}",
        f"{100 * r['first']:.0f} % ({100 * r['ceiling']:.0f} %)",
        f"{100 * r['after_one']:.0f} %",
        _of_out(r),
        f"{100 * r['said']:.0f} % -> {100 * r['first']:.0f} %",
        f"{r['brier']:.3f}",
    ]
    return "| " + " | ".join(cells) + " |"


def _name(r):
    return NAMES[r["trouble"]] + {"hides": "", "white": ", white half only",
                                  "both": ", both halves"}[r["road"]]  # fmt: skip


def _of_out(r):
    """Share in tolerance after one correction and mean addition, of jobs that were out."""
    if r.get("one_of_out") is None:  # none was out, or a table stored before this was
        return ""
    return f"{100 * r['one_of_out']:.0f} %: {r['added_of_out']:.1f} %"


def main(argv=None):
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--choose", action="store_true")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", nargs="+", choices=NAMES, default=None)
    args = parser.parse_args(argv)
    if args.quick:
        rows = quick(args.only or ("none", "card", "all"))
    else:
        rows = []
        for r in study("choose" if args.choose else "score", args.only or tuple(NAMES)):
            rows.append(r)
            sys.stderr.write(_line(r) + f" {time.process_time():.0f} s\n")
            if not args.choose:
                store(r)
    sys.stdout.write(markdown(rows) + "\n")


if __name__ == "__main__":
    main()
