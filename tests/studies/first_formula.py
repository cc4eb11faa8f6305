"""Which formula stands first, and how often its first drawdown comes in.

    python -m tests.studies.first_formula          prints the table and stores it (3 min)

Clear is cheap, and to a theory of hiding inks as good as white: the nearest and cheapest
formula is often a little strong ink in much clear, which a hand can hardly weigh.  Targets
are mixtures of other inks than the shop's, so that none of its formulas is the true one;
those that its inks can reach count.  Each is weighed and read on the bench in two ways:

    by nearness alone   within 0.1 fewer inks, then the cheaper (``matchkit match --all``)
    as listed           the same without what is not `judge.worth_weighing`

500 g, lots 3 % apart, the same lots, slips and noise for both.  Seeds used for nothing else.
"""

import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import XYZ_to_Lab, de00
from matchkit.fitting.fit import fit
from matchkit.inks.shop import Shop
from matchkit.matching.match import fractions_for, match
from matchkit.matching.rank import Choices, in_order
from matchkit.practice.rehearse import BATCH_G, HAND, LIGHTS, OBSERVER, drawdowns_of
from matchkit.simulator.job import job
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import KINDS, draw_lots, opaque_R, random_mixtures

STORED = Path(__file__).with_suffix(".json")
SEEDS = tuple(range(8601, 8626))
TARGETS = 12  # on each bench
WAYS = {"by nearness alone": True, "as listed": False}
PRICES = {"clear": 6.0, "white": 8.0, "black": 9.0}  # invented, per kg; colours 9 to 20


def played(seed, targets=TARGETS):
    """For each way, rows of dE00 read first, chance that was said, and whether it is sheer."""
    rng = np.random.default_rng(seed)
    bench, others = make_bench(seed), make_bench(seed + 500)
    inks, drawn = drawdowns_of(bench, rng, 10)
    found = fit(drawn, inks, geometry=bench.geometry, observer=OBSERVER)
    priced = tuple(
        replace(ink, cost_per_kg=PRICES.get(ink.role, float(rng.uniform(9, 20))))
        for ink in found.palette.inks
    )
    found = replace(found, palette=replace(found.palette, inks=priced))
    shop = Shop(
        name="a shop that never was", geometry=bench.geometry, condition="UV included",
        observer=OBSERVER, lights=LIGHTS, inks=priced,
    )  # fmt: skip
    wanted = [random_mixtures(others, rng, KINDS[k % len(KINDS)], 1) for k in range(targets)]
    rows = {way: [] for way in WAYS}
    for k, R in enumerate(opaque_R(others, np.concatenate(wanted))):
        target = Target.from_spectrum(R, LIGHTS, OBSERVER)
        lots = draw_lots(np.random.default_rng([seed, k]), len(inks), 0.03)
        for way, every in WAYS.items():
            asked = Choices(batch_g=BATCH_G, every=every, top=60 if every else 5)
            answer = match(shop, {"": found}, target, asked)
            if not answer.in_gamut:
                continue
            ranked = in_order(answer.formulas, every=True) if every else answer.formulas
            first = ranked[0]
            grams = BATCH_G * fractions_for(found.palette, first.inks, first.grams)
            hand = np.random.default_rng([seed, k, 1])
            done = job(bench, grams, lots, hand, correct=leave, rounds=0, hand=HAND)
            lab = XYZ_to_Lab(done.readings[0] @ target.W[:, :3], target.whites[0])
            away = float(de00(target.lab[0], lab))
            rows[way].append(
                (away, first.chance_in_tolerance, first.mostly_clear, first.cost_per_kg)
            )
    return rows


def leave(shown_g, readings):
    return np.zeros_like(shown_g[0])


def summary(rows):
    """Shares of each way over all its rows."""
    out = {}
    for way, each in rows.items():
        away, said, sheer, cost = np.array(each, dtype=float).T
        out[way] = {
            "jobs": len(away),
            "first": round(float((away <= 1.0).mean()), 4),
            "said": round(float(said.mean()), 4),
            "sheer": round(float(sheer.mean()), 4),
            "cost_per_kg": round(float(np.median(cost)), 2),
        }
    return out


def run(seeds=SEEDS, targets=TARGETS):
    """Every bench, put together."""
    rows = {way: [] for way in WAYS}
    for done, seed in enumerate(seeds, start=1):
        for way, more in played(seed, targets).items():
            rows[way] += more
        print(f"{done} of {len(seeds)} benches", file=sys.stderr)
    return summary(rows)


def markdown(found):
    """The table of README."""
    lines = [
        "| the first formula of the list | in tolerance at the first drawdown | chance stated |"
        " mostly clear | cost per kg, median |",
        "|---|---|---|---|---|",
    ]
    for way, each in found.items():
        lines.append(
            f"| {way} | {100 * each['first']:.1f} % | {100 * each['said']:.1f} % |"
            f" {100 * each['sheer']:.0f} % | {each['cost_per_kg']:.2f} |"
        )
    return "\n".join(lines) + f"\n\n{found['as listed']['jobs']} jobs that the inks can reach."


if __name__ == "__main__":
    result = run()
    STORED.write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    print(markdown(result))
