"""How near the package comes to numbers that other people published.

python -m tests.studies.published_numbers          prints them; nothing is stored
"""

import csv
import sys
from pathlib import Path

import numpy as np

from matchkit.colorimetry.illuminants import white
from matchkit.colorimetry.tristimulus import de00
from matchkit.optics.kubelka_munk import film_R, surface_constants, with_surface
from tests import published

HERE = Path(__file__).parents[1] / "authorities"


def columns(name):
    """A stored table as arrays by heading."""
    with (HERE / name).open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    return {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}


def rows():
    """What, how far off at most, and the bar."""
    layer = columns("km_layer.csv")
    R = film_R(layer["K"], layer["S"], layer["X"], layer["Rg"])
    yield "Kubelka-Munk layers (60)", np.abs(R - layer["R_hyperbolic"]).max(), 1e-6
    table = columns("saunderson_examples.csv")
    for column, geometry in (
        ("Rm_specular_included", "d/8 specular included"),
        ("radiance_factor_45_0", "45/0"),
    ):
        told = []
        for n, k1, inner in zip(table["n"], table["k1"], table["R_internal"], strict=True):
            base, gain, k2 = surface_constants(n, geometry)
            if geometry != "45/0":  # the table is for normal incidence, an instrument has 8 degrees
                base, gain = k1, 1 - k1
            told.append(float(with_surface(inner, base=base, gain=gain, k2=k2)))
        yield f"Saunderson, {geometry}", np.abs(np.array(told) - table[column]).max(), 1e-5
    pairs = np.array([(*a, *b, e) for a, b, e in published.SHARMA_2005_TABLE_1])
    for name, one, two in (
        ("forth", pairs[:, :3], pairs[:, 3:6]),
        ("back", pairs[:, 3:6], pairs[:, :3]),
    ):
        yield (
            f"CIEDE2000, {len(pairs)} pairs {name}",
            np.abs(de00(one, two) - pairs[:, 6]).max(),
            1e-4,
        )
    for standing, whites in (
        ("read", published.E308_WHITES),
        ("from memory", published.E308_WHITES_FROM_MEMORY),
    ):
        off = [np.abs(white(light, observer) - XYZ).max() for light, observer, *XYZ in whites]
        yield f"E308 white points, {len(off)} {standing}", max(off), 1e-3


if __name__ == "__main__":
    for what, off, bar in rows():
        sys.stdout.write(f"{what}: {off:.2g} off at most, bar {bar:g}\n")
