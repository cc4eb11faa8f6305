"""Remake weights.csv, the tristimulus weights that every installation carries.

    python -m matchkit.colorimetry.tables.make_weights

The recipe and its sources are in `matchkit.colorimetry.illuminants`.  Ten decimals are kept: far
below any colour difference, and few enough that the bytes are the same each time.
"""

from itertools import product
from pathlib import Path

from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.illuminants import OBSERVERS, STORED, weights_of

HEADER = "light,observer_deg,wavelength_nm,Wx,Wy,Wz"


def table() -> str:
    """The whole file as text: one row per light, observer and wavelength."""
    rows = [HEADER]
    for light, observer in product(STORED, OBSERVERS):
        for nm, row in zip(GRID_NM, weights_of(light, observer), strict=True):
            numbers = ",".join(f"{value:.10f}" for value in row)
            rows.append(f"{light},{observer},{nm:.0f},{numbers}")
    return "\n".join(rows).replace("-0.0000000000", "0.0000000000") + "\n"


def write() -> None:
    """Replace weights.csv beside this script."""
    path = Path(__file__).with_name("weights.csv")
    path.write_text(table(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write()
