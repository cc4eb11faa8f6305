"""How well a fit foretells mixtures it never saw, on inks nobody tuned anything on.

    python -m tests.studies.blind_accuracy          prints the table and stores it

The virtual bench obeys radiative transfer, not Kubelka-Munk; its seeds here were used for
nothing else.  Drawdowns carry the bench's usual reading and drawdown noise; the truth they
are scored against carries none.
"""

import json
import sys
from pathlib import Path

import numpy as np

from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.fitting.fit import fit
from matchkit.fitting.held_out import STRUCTURES
from matchkit.inks.palette import reflectance
from matchkit.practice.rehearse import drawdowns_of
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import KINDS, opaque_R, random_mixtures

STORED = Path(__file__).with_suffix(".json")
SEEDS = tuple(range(901, 911))
MIXTURES = 250  # of each kind, on each bench
THEORIES = {"chosen": None, "single-constant": STRUCTURES[:1]}


def errors(seeds=SEEDS, mixtures=MIXTURES, steps=10, theories=tuple(THEORIES)):
    """dE00 (D65, 10 degrees) of unseen mixtures: theory -> kind -> array."""
    out = {theory: {kind: [] for kind in KINDS} for theory in theories}
    for seed in seeds:
        bench = make_bench(seed)
        inks, drawn = drawdowns_of(bench, np.random.default_rng(seed + 10_000), steps)
        rng = np.random.default_rng(seed + 20_000)
        tests = {kind: random_mixtures(bench, rng, kind, mixtures) for kind in KINDS}
        for theory in theories:
            found = fit(drawn, inks, geometry=bench.geometry, structures=THEORIES[theory])
            for kind, c in tests.items():
                truth = Lab(opaque_R(bench, c), "D65", 10)
                told = Lab(reflectance(found.palette, c), "D65", 10)
                out[theory][kind].append(de00(truth, told))
    return {t: {k: np.concatenate(e) for k, e in kinds.items()} for t, kinds in out.items()}


def table(seeds=SEEDS, mixtures=MIXTURES):
    """Rows: drawdowns per ink, theory, kind, median, 95th percentile."""
    rows = []
    for steps in (10, 3):
        for theory, kinds in errors(seeds, mixtures, steps).items():
            for kind, e in kinds.items():
                rows.append(
                    {
                        "drawdowns_per_ink": steps,
                        "theory": theory,
                        "kind": kind,
                        "de00_median": round(float(np.median(e)), 3),
                        "de00_p95": round(float(np.percentile(e, 95)), 3),
                        "mixtures": len(e),
                    }
                )
    return rows


def markdown(rows):
    """The table as README shows it."""
    kinds = {"pastel": "pastel", "half": "half-strength", "deep": "deep", "clear": "clear-based"}
    lines = [
        "| drawdowns per ink | theory | " + " | ".join(kinds.values()) + " |",
        "|---|---|" + "---|" * len(kinds),
    ]
    for steps in (10, 3):
        for theory in THEORIES:
            cells = [
                f"{r['de00_median']:.2f} / {r['de00_p95']:.2f}"
                for kind in kinds
                for r in rows
                if (r["drawdowns_per_ink"], r["theory"], r["kind"]) == (steps, theory, kind)
            ]
            name = "two-constant (chosen)" if theory == "chosen" else theory
            lines.append(f"| {steps} | {name} | " + " | ".join(cells) + " |")
    return "\n".join(lines)


if __name__ == "__main__":
    found = table()
    STORED.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(markdown(found) + "\n")
