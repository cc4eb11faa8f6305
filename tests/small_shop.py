"""A small valid shop folder as texts, for tests that break it.  All of it is invented."""

import numpy as np

NM = np.arange(400, 701, 10)

TOML = """\
name = "Two Bridges Print Room"

[measurement]
geometry = "d/8 specular excluded"
condition = "UV included"

[viewing]
observer = 10
lights = ["D65", "A"]

[tolerance]
de00 = 1.0

[balance]
resolution_g = 0.01
"""

INKS = """\
ink,role,series,density_g_per_ml,cost_per_kg,stock_g,max_percent,lot,note
White,white,plastisol,1.30,9.5,12000,,W7,
Black,black,plastisol,1.12,11,800,40,K2,
Clear,clear,plastisol,1.05,8,,,C1,
Lemon,colour,plastisol,1.10,24.5,350.5,30,L4,bright
"""

DRAWDOWNS = """\
drawdown,ink,percent,lot
White,White,100,W7
Black,Black,100,K2
Lemon,Lemon,100,L4
Lemon 10,Lemon,10,L4
Lemon 10,White,90,W7
Grey,White,97.5,W7
Grey,Black,2.5,K2
"""

MIXES = """\
name,ink,percent,stock_g,date
Old cream,White,95,640.5,2024-05-02
Old cream,Lemon,5,,
"""


def edge(low, high, at_nm, width_nm=15.0):
    """A reflectance (31,) that climbs from `low` to `high` around `at_nm`."""
    return low + (high - low) / (1 + np.exp((at_nm - NM) / width_nm))


SPECTRA = {
    "White": [edge(0.55, 0.90, 410), edge(0.552, 0.901, 410)],
    "Black": [edge(0.012, 0.016, 600)],
    "Lemon": [edge(0.04, 0.82, 500)],
    "Lemon 10": [edge(0.25, 0.87, 490)],
    "Grey": [edge(0.30, 0.31, 500)],
    "Old cream": [edge(0.40, 0.88, 480)],
}


def wide(spectra=SPECTRA, nm=NM, separator=",", first="drawdown", form="{:.4f}"):
    """Readings as CSV, a row each; `spectra` are by name, on `nm`."""
    rows = [[first, *(f"{w:g}" for w in nm)]]
    rows += [[name, *(form.format(v) for v in R)] for name, reads in spectra.items() for R in reads]
    return "".join(separator.join(row) + "\n" for row in rows)


FILES = {
    "shop.toml": TOML,
    "inks.csv": INKS,
    "drawdowns.csv": DRAWDOWNS,
    "spectra.csv": wide(),
    "mixes.csv": MIXES,
}


def put(folder, **changed):
    """Write the shop into `folder`; `inks_csv="..."` replaces a file, None leaves it out."""
    texts = FILES | {name.replace("_", "."): text for name, text in changed.items()}
    folder.mkdir(exist_ok=True)
    for name, text in texts.items():
        if text is not None:
            data = text if isinstance(text, bytes) else text.encode("utf-8")
            (folder / name).write_bytes(data)
    return folder
