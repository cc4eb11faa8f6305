"""A small invented shop whose drawdowns are all films over a card, as files."""

import csv

import numpy as np

from matchkit.colorimetry.grid import GRID_NM
from matchkit.practice.rehearse import drawdowns_of
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import bare_card_R
from matchkit.simulator.troubles import only
from tests.small_shop import TOML

CARD = {"white half": "white", "black half": "black"}


def film_bench(seed=7, n_colours=2):
    """Simulated inks, drawn down 0.2 mm thick over both halves of a card."""
    return make_bench(seed, n_colours=n_colours, troubles=only("card"))


def write_film_shop(folder, bench, *, steps=3, thickness="", toml=""):
    """`films.csv`, `film_spectra.csv`, `grounds.csv`, and no file of what hides."""
    inks, drawn = drawdowns_of(
        bench, np.random.default_rng(5), steps, halves=tuple(CARD.values())
    )  # fmt: skip
    named = {half: ground for ground, half in CARD.items()}
    nm = [f"{w:.0f}" for w in GRID_NM]
    tables = {
        "inks.csv": [["ink", "role"], *([ink.name, ink.role] for ink in inks)],
        "films.csv": [
            ["drawdown", "ink", "percent", "ground", "thickness_um"],
            *(
                [d.name, ink, f"{100 * c:.6f}", named[d.ground], thickness]
                for d in drawn
                for ink, c in zip(d.inks, d.fractions, strict=True)
            ),
        ],
        "film_spectra.csv": [
            ["drawdown", *nm],
            *([d.name, *cells(R)] for d in drawn for R in d.readings),
        ],
        "grounds.csv": [
            ["ground", "surface", *nm],
            *(
                [ground, "smooth", *cells(bare_card_R(bench, half))]
                for ground, half in CARD.items()
            ),
        ],
    }
    folder.mkdir(exist_ok=True)
    (folder / "shop.toml").write_text(TOML + toml, encoding="utf-8")
    for name, rows in tables.items():
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
    return folder


def cells(R):
    """A reflectance (n_wl,) as cells of a table."""
    return [f"{value:.6f}" for value in R]
