"""Two thousand targets on one process and on two.

    python -m tests.studies.library_scale          takes some ten minutes, prints and stores

Sixteen inks of a virtual bench, formulas of up to four; targets of benches with other inks.
"""

import json
import resource
import time
from pathlib import Path

import numpy as np

from matchkit.colorimetry.difference import Target
from matchkit.fitting.fit import fit
from matchkit.inks.shop import Shop
from matchkit.matching.library import matches
from matchkit.matching.rank import Choices
from matchkit.practice.rehearse import drawdowns_of
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import KINDS, opaque_R, random_mixtures
from tests.benchmarks.rivals import LIGHTS, OBSERVER

STORED = Path(__file__).with_suffix(".json")
SEED, TARGETS = 8501, 2000


def shop_and_fit(seed=SEED):
    bench = make_bench(seed)
    inks, drawn = drawdowns_of(bench, np.random.default_rng([seed, 1]), 10)
    found = fit(drawn, inks, geometry=bench.geometry, observer=OBSERVER)
    shop = Shop(
        name="Library", geometry=bench.geometry, condition="UV excluded", observer=OBSERVER,
        lights=LIGHTS, tolerance_de00=1.0, resolution_g=0.01, inks=tuple(inks),
        drawdowns=tuple(drawn),
    )  # fmt: skip
    return shop, {"": found}


def targets(n=TARGETS):
    """One after the other; none is kept."""
    for k in range(n):
        bench = make_bench(SEED + 1 + k // 100)
        rng = np.random.default_rng([SEED, k])
        (R,) = opaque_R(bench, random_mixtures(bench, rng, KINDS[k % len(KINDS)], 1))
        yield f"target {k + 1}", Target.from_spectrum(R, LIGHTS, OBSERVER)


def seconds(workers, n=TARGETS):
    shop, fits = shop_and_fit()
    made = list(targets(n))
    started = time.perf_counter()
    found = sum(1 for _ in matches(shop, fits, iter(made), Choices(top=1), workers=workers))
    assert found == n
    return time.perf_counter() - started


def measure(n=TARGETS):
    two = seconds(2, n)
    one = seconds(1, n)
    peak = max(
        resource.getrusage(who).ru_maxrss
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    return {"targets": n, "one_s": one, "two_s": two, "ratio": one / two, "peak_mb": peak / 1024}


def markdown(found):
    return (
        f"{found['targets']:,} targets of 16 inks, up to 4 at a time: {found['one_s'] / 60:.1f}"
        f" minutes on one process; two processes were {found['ratio']:.2f} times as fast. Peak"
        f" memory of one process {found['peak_mb']:.0f} MB."
    )


if __name__ == "__main__":
    told = measure()
    STORED.write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
    print(markdown(told))
