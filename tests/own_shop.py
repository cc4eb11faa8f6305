"""A shop of one's own as the road to it is tried: inks of the virtual bench, and its readings.

The bench knows nothing of Kubelka-Munk theory.
"""

import csv

import numpy as np

from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import opaque_R

BENCH = make_bench(77, n_colours=2)
NM = [f"{nm}" for nm in range(400, 701, 10)]


def read_rows(path):
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def drawn(folder):
    """Names and fractions over the bench's inks, as drawdowns.csv has them."""
    found = {}
    for row in read_rows(folder / "drawdowns.csv"):
        c = found.setdefault(row["drawdown"], np.zeros(len(BENCH.inks)))
        c[BENCH.names.index(row["ink"])] = float(row["percent"]) / 100
    return found


def instrument_csv(mixtures, decimals=5):
    """What an instrument exports of these mixtures."""
    lines = [",".join(["name", *NM])]
    for name, c in mixtures.items():
        R = opaque_R(BENCH, c / c.sum())
        lines.append(",".join([name, *(f"{value:.{decimals}f}" for value in R)]))
    return "\n".join(lines) + "\n"
