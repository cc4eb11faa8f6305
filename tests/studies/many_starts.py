"""Are the ten best formulas the ten best there are?  Against descents from many random starts.

    python -m tests.studies.many_starts          prints what was lost and stores it

Each subset of up to 4 of 16 inks is solved from 14 random starts, at all wavelengths, in
double precision, with nothing given up early; what comes within 2 of the best is polished.
A formula that does as well without one of its inks is the smaller formula, and is left out.
Targets: of the palette's own bench and of another with other inks; half of them with random
limits on half the inks.  Seeds are used for nothing else.
"""

import json
from itertools import combinations
from pathlib import Path

import numpy as np

from matchkit.colorimetry.difference import Target
from matchkit.matching.descent import Steps, descend, equal_say, spread
from matchkit.matching.solve import DROPPED, SECOND, minimise, solve
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import KINDS, opaque_R, random_mixtures
from tests.benchmarks import rivals

STORED = Path(__file__).with_suffix(".json")
SEEDS = (8401, 8402, 8403, 8404)
STARTS, LARGEST = 14, 4
LOOK = Steps((1.0, 0.5, 0.3, 0.2, 0.1, 0.05, 0.03, 0.03, 0.03, 0.03), curved=True, exact=False)
SAME = 0.003  # dE00; who does as well without an ink does without it


def literal(palette, target, upper, rng, starts=STARTS, largest=LARGEST):
    """F and fractions of all subsets that come near the best, best first."""
    n, say = len(palette.inks), equal_say(palette)
    kept = []
    for m in range(1, largest + 1):
        subsets = np.array(list(combinations(range(n), m)))
        subsets = subsets[upper[subsets].sum(axis=1) >= 1]
        for _ in range(starts if m > 1 else 1):
            start = say[subsets] * rng.lognormal(0, 2.5, subsets.shape)
            start /= start.sum(axis=1, keepdims=True)
            F, c = descend(palette, target, subsets, start, upper, LOOK)
            kept.append((F, spread(np.where(c > DROPPED, c, 0), subsets, n)))
    F, c = np.concatenate([f for f, _ in kept]), np.concatenate([c for _, c in kept])
    order = best_of_each(F, c)
    order = order[F[order] < F[order[0]] + 2]
    _, near = minimise(palette, target, c[order], upper, steps=SECOND)
    F, near = minimise(palette, target, near, upper)
    order = best_of_each(F, near)
    return F[order], near[order]


def best_of_each(F, c):
    """Where the best formula of every set of inks stands, best first."""
    order = np.argsort(F)
    _, first = np.unique(c[order] > DROPPED, axis=0, return_index=True)
    return order[np.sort(first)]


def needed(palette, target, F, c, upper):
    """Which formulas lose something without any one of their inks."""
    aim = rivals.aim_of(palette, target)
    out = np.ones(len(F), dtype=bool)
    for k in range(len(F)):
        inks = np.flatnonzero(c[k] > DROPPED)
        for ink in inks if len(inks) > 1 else ():
            less = np.where(np.arange(len(upper)) == ink, 0, c[k])
            less = less / less.sum()
            out[k] &= bool(aim(less) > F[k] + SAME or (less > upper).any())
        inside = [set(np.flatnonzero(c[j] > DROPPED)) < set(inks) for j in range(k)]
        out[k] &= not any(inside)
    return out


def lost(seed, each=1, starts=STARTS, n_ink=16):
    """How much worse the ten best are, for every target of one seed."""
    palette, rng = rivals.palette_of(n_ink, seed), np.random.default_rng([seed, 3])
    out = []
    for bench in (make_bench(seed), make_bench(seed + 50)):
        for kind in KINDS:
            for R in opaque_R(bench, random_mixtures(bench, rng, kind, each)):
                target = Target.from_spectrum(R, rivals.LIGHTS, rivals.OBSERVER)
                upper = np.ones(n_ink)
                if len(out) % 2:
                    some = rng.random(n_ink) < 0.5
                    upper = np.where(some, rng.uniform(0.02, 0.6, n_ink), 1.0)
                F, c = literal(palette, target, upper, rng, starts)
                near = F[0] + 0.9 > F
                F, c = F[near][:40], c[near][:40]
                theirs = F[needed(palette, target, F, c, upper)][:10]
                ours = solve(palette, target, upper=upper).F
                n = min(len(ours), len(theirs))
                short = 9.0 * (len(ours) < len(theirs))  # fewer formulas than there are
                out.append(max(short, float((ours[:n] - theirs[:n]).max(initial=0.0))))
    return out


def measure(seeds=SEEDS):
    found = [each for seed in seeds for each in lost(seed)]
    return {"targets": len(found), "worst": max(found), "over_0.005": sum(x > 0.005 for x in found)}


if __name__ == "__main__":
    told = measure()
    STORED.write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
    print(told)
