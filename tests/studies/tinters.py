"""Weak letdowns in white alone: what is then not known of an ink, and whether it is told.

    python -m tests.studies.tinters          prints the table and stores it (a minute)

A set of real tinters, let down in white at three weak levels each and never drawn alone,
once looked superb: letdowns held out were 0.12 off, real mixtures of three tinters 4.5
(median), where single-constant theory had 2.2.  Weak letdowns do not say how much an ink
scatters, and other weak letdowns can't show it.  Those measurements can't be shipped; here
the simulator does the same with pigments of another make (`make_bench(unlike=True)`), on
seeds used for nothing else (how weak the letdowns are was chosen on 64,001 and 64,002,
so that what was seen on the real ones is seen here):

    20 tinters, a black and a white; the white alone, and 0.1, 0.4 and 1.5 % of each in it
    24 mixtures of three tinters, 3 to 60 % of them in white, in each of four shops

`told` is the held-out median of the fit, which is what its report says.
"""

import json
import sys
from pathlib import Path

import numpy as np

from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.fitting.fit import fit
from matchkit.fitting.held_out import STRUCTURES
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Drawdown, Ink
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import opaque_R, read

STORED = Path(__file__).with_suffix(".json")
SEEDS = (63_001, 63_002, 63_003, 63_004)
PERCENTS, N_COLOURS, MIXTURES = (0.1, 0.4, 1.5), 20, 24
SHARES = (0.03, 0.60)  # of all tinters in an unseen mixture
THEORIES = {"chosen": None, "single-constant": STRUCTURES[:1]}


def letdowns(bench, rng):
    """Inks without the clear, and their weak letdowns."""
    white = bench.where("white")[0]
    one = np.eye(len(bench.inks))
    tinters = bench.where("colour") + bench.where("black")
    C = np.array(
        [one[white]]
        + [(1 - p / 100) * one[white] + p / 100 * one[i] for i in tinters for p in PERCENTS]
    )
    readings = read(opaque_R(bench, C), rng)
    inks = [Ink(name=ink.name, role=ink.role) for ink in bench.inks if ink.role != "clear"]
    drawn = [
        Drawdown(
            name=f"letdown {k}",
            inks=tuple(bench.names[i] for i in np.flatnonzero(c)),
            fractions=tuple(c[c > 0].tolist()),
            readings=R,
        )
        for k, (c, R) in enumerate(zip(C, readings, strict=True))
    ]
    return inks, drawn


def mixtures(bench, rng, n=MIXTURES):
    """Three tinters in white, (n, n_ink)."""
    C = np.zeros((n, len(bench.inks)))
    for c in C:
        picked = rng.choice(bench.where("colour"), size=3, replace=False)
        share = np.exp(rng.uniform(*np.log(SHARES)))
        c[picked] = share * rng.dirichlet(np.full(3, 1.5))
        c[bench.where("white")[0]] = 1 - share
    return C


def one_shop(seed, n_colours=N_COLOURS, theories=tuple(THEORIES)):
    """Errors of unseen mixtures and what the fit told, by theory."""
    bench = make_bench(seed, n_colours=n_colours, unlike=True)
    rng = np.random.default_rng([seed, 1])
    inks, drawn = letdowns(bench, rng)
    C = mixtures(bench, rng)
    true, out = Lab(opaque_R(bench, C), "D65", 10), {}
    for theory in theories:
        found = fit(drawn, inks, geometry=bench.geometry, structures=THEORIES[theory])
        own = [bench.names.index(ink.name) for ink in found.palette.inks]
        error = de00(true, Lab(reflectance(found.palette, C[:, own]), "D65", 10))
        out[theory] = error, float(np.nanmedian(found.de00_held_out))
    return out


def table(seeds=SEEDS):
    shops = [one_shop(seed) for seed in seeds]
    return [
        {
            "theory": theory,
            "unseen": [
                round(float(v), 3)
                for v in np.percentile(np.concatenate([s[theory][0] for s in shops]), (50, 95))
            ],
            "told": round(float(np.median([s[theory][1] for s in shops])), 3),
            "mixtures": MIXTURES * len(seeds),
        }
        for theory in THEORIES
    ]


def markdown(rows):
    """The table as README shows it."""
    lines = [
        "| theory | held-out letdowns, median | unseen mixtures, median / 95 % |",
        "|---|---|---|",
    ]
    lines += [
        f"| {r['theory']} | {r['told']:.2f} | {r['unseen'][0]:.2f} / {r['unseen'][1]:.2f} |"
        for r in rows
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    found = table()
    STORED.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(markdown(found) + "\n")
