"""Write the demo shop again, byte for byte:  python data/make_demo_shop.py

Everything here is invented except the reflectances named "CIE 13.3 TCS..." in
targets.csv.  The spectra come from the virtual bench (matchkit.simulator.simulate): radiative
transfer with drawn pigments, not the theory the package fits.  The targets stand on
another bench with other pigments, so a match under one light need not hold under the next.
"""

import csv
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
from colour.quality.datasets.tcs import SDS_TCS_CIE1995

from matchkit.colorimetry.grid import GRID_NM
from matchkit.matching.garment import stand_in_grounds
from matchkit.optics.film import ground_inside
from matchkit.simulator.pigments import Bench, make_bench
from matchkit.simulator.simulate import film_R, ladder, opaque_R, read

FOLDER = Path(__file__).parent / "demo-shop"

SHOP_SEED, TARGET_SEED = 33, 20
READING_SEED, MIX_SEED, PROOF_SEED = 2024, 2025, 2026
GROUND_SEED, FILM_SEED = 2027, 2028

SHOP_TOML = """\
# An invented shop.  See ../README.md for what is invented and what is published.
name = "Quay Street Print Room"

[measurement]
geometry = "d/8 specular excluded"
condition = "UV included"

[viewing]
observer = 10
lights = ["D65", "A", "FL11"]

[tolerance]
de00 = 1.0  # 1 tight, 2 commercial: common practice, no source

[balance]
resolution_g = 0.01
"""

SERIES = "plastisol"
INK_COLUMNS = (
    "ink",
    "role",
    "series",
    "density_g_per_ml",
    "cost_per_kg",
    "stock_g",
    "max_percent",
    "lot",
    "note",
)
# In the order of the bench; the columns above without the series.
INKS = (
    ("Quay White", "white", 1.48, 9.8, 18500, None, "W-118", "invented"),
    ("Bollard Black", "black", 1.16, 12.5, 4200, None, "K-042", "invented"),
    ("Ebb Clear", "clear", 1.12, 8.4, 9600, None, "B-207", "invented; carries no pigment"),
    ("Sharp Lemon", "colour", 1.24, 17.9, 3100, None, "L-031", "invented"),
    ("Buoy Scarlet", "colour", 1.21, 21.5, 2800, None, "S-077", "invented"),
    ("Slipway Blue", "colour", 1.18, 23.0, 2650, 40, "T-015", "strong; ink and limit invented"),
    ("Foxglove Magenta", "colour", 1.17, 27.5, 1900, None, "F-009", "invented"),
    ("Kelp Green", "colour", 1.19, 22.4, 2400, 50, "G-064", "strong; ink and limit invented"),
    ("Dusk Violet", "colour", 1.17, 34.0, 850, 30, "V-023", "strong; ink and limit invented"),
    ("Lamp Orange", "colour", 1.22, 19.6, 2200, None, "O-051", "invented"),
    ("Deckhand Blue", "colour", 1.20, 24.8, 2950, None, "D-088", "invented"),
    ("Straw Gold", "colour", 1.25, 18.2, 2050, None, "Y-036", "invented"),
    ("Rust Earth", "colour", 1.42, 11.3, 3600, None, "R-012", "invented; an oxide"),
    ("Dock Crimson", "colour", 1.20, 29.9, 140, None, "C-040", "invented; nearly used up"),
    ("Sand Ochre", "colour", 1.40, 10.9, 3300, None, "A-019", "invented; an oxide"),
    ("Tar Brown", "colour", 1.36, None, 1500, None, "N-005", "invented; cost not known"),
)
NAMES = tuple(row[0] for row in INKS)
MAX_PERCENT = {row[0]: row[5] or 100 for row in INKS}
CLEAR = "Ebb Clear"

# name, percents, stock g, date, number of readings (0: on the shelf, never measured)
MIXES = (
    (
        "Violet letdown 10",
        {"Dusk Violet": 10.0, "Ebb Clear": 90.0},
        420,
        "2026-03-02",
        3,
    ),
    (
        "Black letdown 5",
        {"Bollard Black": 5.0, "Quay White": 95.0},
        610,
        "2026-03-02",
        0,
    ),
    (
        "Leftover regatta teal",
        {"Quay White": 58.0, "Slipway Blue": 24.5, "Kelp Green": 14.0, "Sharp Lemon": 3.5},
        735,
        "2026-02-17",
        1,
    ),
)

# Percents by the hue names of the other bench.
TARGETS = {
    "Pale mint": {"White": 95.0, "Green": 4.0, "Lemon": 1.0},
    "Shell pink": {"White": 95.5, "Scarlet": 2.5, "Magenta": 1.0, "Gold": 1.0},
    "Powder blue": {"White": 93.0, "Deep blue": 5.0, "Sky blue": 2.0},
    "Clotted cream": {"White": 96.5, "Gold": 2.5, "Brown": 1.0},
    "Dusty rose": {"White": 72.0, "Crimson": 16.0, "Red earth": 9.0, "Black": 3.0},
    "Sea teal": {"White": 50.0, "Sky blue": 30.0, "Green": 18.0, "Black": 2.0},
    "Wet moss": {"White": 22.0, "Green": 28.0, "Ochre": 42.0, "Black": 8.0},
    "Club navy": {"Deep blue": 62.0, "Violet": 12.0, "Black": 26.0},
    "Walnut brown": {"Brown": 68.0, "Scarlet": 14.0, "Gold": 8.0, "Black": 10.0},
    "Bottle green": {"Green": 66.0, "Deep blue": 12.0, "Black": 22.0},
    "Bright turquoise": {"Sky blue": 100.0},
    "Ripe amber": {"Gold": 100.0},
    "Squall blue": {"Deep blue": 100.0},
}

# A batch for "Sea teal".  The formula matches on the bench; the hand was heavy with blue and
# black, and today's lots are a few percent off the ones that were drawn down.
EXAMPLE_TARGET = "Sea teal"
WEIGHED_G = {
    "Quay White": 315.72,
    "Kelp Green": 104.49,
    "Slipway Blue": 73.18,
    "Bollard Black": 9.61,
}
TODAY = {"Quay White": 0.97, "Kelp Green": 0.94, "Slipway Blue": 1.06, "Bollard Black": 1.07}


# A card for films, coated and so smooth: its halves as they read bare.  And how thick a
# film is drawn on it.
CARDS = {"black card": 0.03, "white card": 0.84}
FILM_UM = 60


def row_of(names: Sequence[str], amounts: dict[str, float]) -> np.ndarray:
    """Amounts by name as fractions in the order of `names`."""
    row = np.array([amounts.get(name, 0.0) for name in names])
    return row / row.sum()


def write(file: str, header: Sequence[object], rows: Iterable[Sequence[object]]) -> None:
    path = FOLDER / file
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as lines:
        out = csv.writer(lines, lineterminator="\n")
        out.writerow(header)
        out.writerows(rows)


def write_spectra(file: str, first: str, spectra: Iterable[tuple[str, np.ndarray]]) -> None:
    """Reflectance factors, five decimals."""
    header = [first, *(f"{nm:.0f}" for nm in GRID_NM)]
    write(file, header, ([name, *(f"{v:.5f}" for v in R)] for name, R in spectra))


def write_inks() -> None:
    write("inks.csv", INK_COLUMNS, ((name, role, SERIES, *rest) for name, role, *rest in INKS))


def write_drawdowns(bench: Bench) -> None:
    """Ten drawdowns an ink, less those over its limit; masstones are read three times."""
    rng = np.random.default_rng(READING_SEED)
    bench_names, fractions, readings = ladder(bench, rng, steps=10, repeats=3)
    limits = np.array([MAX_PERCENT[name] for name in NAMES])
    named = [f"{NAMES[i // 10]} {name.rsplit(' ', 1)[1]}" for i, name in enumerate(bench_names)]
    made = [
        each
        for each in zip(named, fractions, readings, strict=True)
        if (100 * each[1] <= limits + 1e-9).all()
    ]
    lots = {row[0]: row[6] for row in INKS}
    rows = [
        (name, ink, f"{100 * c:.6g}", lots[ink])
        for name, row, _ in made
        for ink, c in zip(NAMES, row, strict=True)
        if c > 0
    ]
    write("drawdowns.csv", ("drawdown", "ink", "percent", "lot"), rows)
    kept = [
        (name, R)
        for name, row, repeats in made
        for R in (repeats if row.max() == 1 else repeats[:1])
    ]
    write_spectra("spectra.csv", "drawdown", [*kept, *mix_readings(bench)])


def film_name(ink: str, card: str) -> str:
    return f"{ink} {FILM_UM} um on {card}"


def film_percents(ink: str) -> dict[str, float]:
    """What a film of an ink is drawn from: the ink alone, or let down in clear to its limit."""
    most = MAX_PERCENT[ink]
    return {ink: most} if most == 100 else {ink: most, CLEAR: 100 - most}


def write_films(bench: Bench) -> None:
    """A film of each ink over both halves of a card."""
    lots = {row[0]: row[6] for row in INKS}
    rows = [
        (film_name(ink, card), part, f"{percent:g}", lots[part], card, FILM_UM)
        for ink in NAMES
        for card in CARDS
        for part, percent in film_percents(ink).items()
    ]
    header = ("drawdown", "ink", "percent", "lot", "ground", "thickness_um")
    write("films.csv", header, rows)
    write_spectra("film_spectra.csv", "drawdown", film_readings(bench))


def film_readings(bench: Bench) -> list[tuple[str, np.ndarray]]:
    """Each ink on both halves of the card, which it meets without the card's surface."""
    rng = np.random.default_rng(FILM_SEED)
    made = []
    for ink in NAMES:
        for card, bare in CARDS.items():
            inside = ground_inside(bare, "smooth", bench.geometry)
            R = film_R(bench, row_of(NAMES, film_percents(ink)), FILM_UM, float(inside))
            made.append((film_name(ink, card), read(R, rng)[0]))
    return made


def write_grounds() -> None:
    """The card and five tees, bare."""
    rng = np.random.default_rng(GROUND_SEED)
    bare = {name: ("smooth", np.full(len(GRID_NM), R)) for name, R in CARDS.items()}
    bare |= {name: ("rough", R) for name, R in stand_in_grounds(GRID_NM).items()}
    rows = [
        (name, surface, *(f"{v:.5f}" for v in read(R, rng)[0]))
        for name, (surface, R) in bare.items()
    ]
    write("grounds.csv", ("ground", "surface", *(f"{nm:.0f}" for nm in GRID_NM)), rows)


def mix_readings(bench: Bench) -> list[tuple[str, np.ndarray]]:
    rng = np.random.default_rng(MIX_SEED)
    return [
        (name, R)
        for name, percents, _, _, n_readings in MIXES
        if n_readings
        for R in read(opaque_R(bench, row_of(NAMES, percents)), rng, repeats=n_readings)
    ]


def write_mixes() -> None:
    rows = [
        (name, ink, percent, stock_g, date)
        for name, percents, stock_g, date, _ in MIXES
        for ink, percent in percents.items()
    ]
    write("mixes.csv", ("name", "ink", "percent", "stock_g", "date"), rows)


def invented_targets() -> dict[str, np.ndarray]:
    other = make_bench(TARGET_SEED)
    rng = np.random.default_rng(TARGET_SEED)
    return {
        name: read(opaque_R(other, row_of(other.names, percents)), rng)[0]
        for name, percents in TARGETS.items()
    }


def write_targets(invented: dict[str, np.ndarray]) -> None:
    published = {f"CIE 13.3 {name}": sd[GRID_NM] for name, sd in SDS_TCS_CIE1995.items()}
    write_spectra("targets.csv", "target", [*published.items(), *invented.items()])


def write_example(bench: Bench, invented: dict[str, np.ndarray]) -> None:
    write_spectra("example/target.csv", "target", [(EXAMPLE_TARGET, invented[EXAMPLE_TARGET])])
    grams = [(name, f"{g:.2f}") for name, g in WEIGHED_G.items()]
    write("example/weighed.csv", ("ink", "grams"), grams)
    strengths = [TODAY.get(name, 1.0) for name in NAMES]
    R = opaque_R(bench, row_of(NAMES, WEIGHED_G), strengths)
    rng = np.random.default_rng(PROOF_SEED)
    write_spectra("example/measured.csv", "name", [("Sea teal, first proof", read(R, rng)[0])])


def main() -> None:
    bench = make_bench(SHOP_SEED)
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / "shop.toml").write_text(SHOP_TOML, encoding="utf-8", newline="\n")
    write_inks()
    write_drawdowns(bench)
    write_films(bench)
    write_grounds()
    write_mixes()
    invented = invented_targets()
    write_targets(invented)
    write_example(bench, invented)


if __name__ == "__main__":
    main()
