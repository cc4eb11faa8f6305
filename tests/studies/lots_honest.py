"""Is the stated error of a lot's strength one standard deviation?

    python -m tests.studies.lots_honest          prints the counts and stores them

Small shops on the simulator, of five to eight inks whose lots differ by 3 % (one standard
deviation of log strength).  Each mixes twelve batches, pastel, half-strength, deep and
clear-based in turn, and measures each once.  Told is the strength of every ink that was
poured: from the first batch alone, and from all twelve.  The truth is the strength that the
lot was drawn with, in the absolute.  Compared with what was said before, when strengths were
not told beside the mean of the batch: there a single strong ink made the others look weak.

`one_strong` are shops in which one colour is 6 % strong and every other ink is exactly as
fitted: how often is the white then called off by more than 1 % and its error?
"""

import json
import sys
from pathlib import Path

import numpy as np

from matchkit.correcting.diagnose import Round, beside_the_batch, infer
from matchkit.correcting.lots import for_palette, learn, start
from matchkit.fitting.fit import fit
from matchkit.fitting.held_out import STRUCTURES
from matchkit.matching.probability import spread_of
from matchkit.practice.rehearse import drawdowns_of
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import KINDS, draw_lots, opaque_R, random_mixtures, read, weigh

STORED = Path(__file__).with_suffix(".json")
SEEDS = tuple(range(52001, 52201))
BATCHES = 12


def play(seed, one_strong=False, batches=BATCHES):
    """Rows of true and told log strength and error, before and now, after one batch and all."""
    bench = make_bench(seed, n_colours=2 + seed % 4)
    rng = np.random.default_rng([seed, 1])
    inks, drawn = drawdowns_of(bench, rng, 10)
    found = fit(drawn, inks, geometry=bench.geometry, structures=STRUCTURES[-1:])
    palette = found.palette
    spread = spread_of(palette, found.error, 0.01)
    true = draw_lots(rng, len(inks), 0.03)
    if one_strong:
        true = np.where(np.arange(len(inks)) == rng.choice(bench.where("colour")), 1.06, 1.0)
    known, first = start(palette.inks), None
    for k in range(batches):
        c = random_mixtures(bench, rng, KINDS[k % len(KINDS)], 1)[0]
        grams, shown = weigh(500 * c, rng)
        R = read(opaque_R(bench, grams / grams.sum(), true), rng, repeats=3).mean(axis=-2)
        round_ = [Round(grams=shown, R=R)]
        if first is None:
            belief = infer(palette, round_, spread, refuse=False)
            first = belief.log_strength, belief.covariance, spread.log_strength, shown
        known, _ = learn(known, palette, round_, spread)
    every = (*for_palette(known, palette), known.prior, known.grams)
    rows = []
    for after, (x, covariance, prior, grams) in (("one", first), ("all", every)):
        now = beside_the_batch(x, covariance, prior, grams)
        before = x, np.sqrt(np.diag(covariance))
        rows += [
            {
                "after": after,
                "ink": palette.inks[i].role,
                "true": float(np.log(true[i])),
                "told": float(now[0][i]),
                "error": float(now[1][i]),
                "told_before": float(before[0][i]),
                "error_before": float(before[1][i]),
            }
            for i in np.flatnonzero(grams > 0)
        ]
    return rows


def share(rows, suffix=""):
    """How many of the rows have the truth within the stated error."""
    off = np.array([row["told" + suffix] - row["true"] for row in rows])
    return round(float(np.mean(np.abs(off) < [row["error" + suffix] for row in rows])), 3)


def wronged(rows, suffix=""):
    """How many of the rows of a sound white call it off by more than 1 % and than its error."""
    return round(
        float(
            np.mean(
                [
                    abs(row["told" + suffix]) > max(0.01, row["error" + suffix])
                    for row in rows
                    if row["ink"] == "white"
                ]
            )
        ),
        3,
    )


def table(played, strong):
    """What is stored, from the rows of all shops, and of those with one strong ink."""
    out = {"shops": len(played), "shops_one_strong": len(strong)}
    for after in ("one", "all"):
        rows = [row for shop in played for row in shop if row["after"] == after]
        sound = [row for shop in strong for row in shop if row["after"] == after]
        out[after] = {
            "within": share(rows),
            "within_before": share(rows, "_before"),
            "error_median": round(float(np.median([row["error"] for row in rows])), 4),
            "white_wronged": wronged(sound),
            "white_wronged_before": wronged(sound, "_before"),
            "within_one_strong": share(sound),
            "within_one_strong_before": share(sound, "_before"),
        }
    return out


if __name__ == "__main__":
    played = [play(seed) for seed in SEEDS]
    strong = [play(seed, one_strong=True) for seed in SEEDS[:60]]
    STORED.write_text(json.dumps(table(played, strong), indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(STORED.read_text(encoding="utf-8"))
