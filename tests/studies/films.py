"""How well films are predicted, on inks, grounds and thicknesses nobody tuned anything on.

    python -m tests.studies.films          prints the tables and stores them

The virtual bench obeys radiative transfer; its inks are of another make than those that the
film theory was chosen on, and of seeds used for nothing else.  Drawdowns carry the bench's
reading and drawdown noise, the truth they are scored against none.

A shop's way to know its films, three times:

    one card each   every ink alone, 60 um, over a black and white card, beside the ten
                    drawdowns of each ink that hide
    white only      the same with the white's card alone
    four cards      each ink alone at two thicknesses, let down in clear, let down in white;
                    no drawdown that hides

The card is coated: it is measured bare, through its own surface, and that surface is taken
off with the textbook's index 1.5.  Cloth is matt, of random colours that no fit saw, and
films are 20 to 150 um of mixtures that no fit saw.  A film is half hiding where its true
contrast ratio, of luminance as measured over black and over a 0.80 white, is 0.25 to 0.90.

The second table is not of inks but of slabs computed by another program (see
authorities/SOURCE_transfer.md): K = 2 mu_a and S = 3/4 mu_s (1 - g) put into the film
formulas, so that the error is that of the theory alone.
"""

import json
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
from joblib import Parallel, delayed
from scipy.optimize import least_squares

from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import XYZ, Lab, de00
from matchkit.fitting.fit import fit
from matchkit.fitting.held_out import FILM_STRUCTURES
from matchkit.inks.opacity import hiding_um
from matchkit.inks.palette import film_look, reflectance
from matchkit.inks.shop import Drawdown, Ink
from matchkit.optics.film import Film, ground_inside
from matchkit.optics.kubelka_munk import surface_constants
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import KINDS, film_R, ladder, random_mixtures, read

PLAIN = FILM_STRUCTURES[1:2]
STORED = Path(__file__).with_suffix(".json")
SLABS = Path(__file__).parents[1] / "authorities" / "adding_doubling.csv"
SEEDS = tuple(range(801, 811))
MIXTURES = 60  # of each kind, on each bench
HIDING = 8  # mixtures of each kind whose hiding thickness is looked for
SCHEMES = ("one card each", "white only", "four cards")
CARD = {"black": np.full(31, 0.03), "white": np.full(31, 0.84)}  # below its coating
HALF = (0.25, 0.90)


def inks_of(bench):
    return [Ink(name=ink.name, role=ink.role) for ink in bench.inks]


def card_films(bench, scheme):
    """Fractions and thickness of each card."""
    white, clear = bench.where("white")[0], bench.where("clear")[0]
    one = np.eye(len(bench.inks))
    cards = []
    for i in range(len(one)) if scheme != "white only" else [white]:
        cards.append((one[i], 60.0))
        if scheme != "four cards":
            continue
        cards.append((one[i], 120.0 if i == clear else 25.0))
        if i == clear:
            cards.append((0.8 * one[i] + 0.2 * one[white], 60.0))
        elif i == white:
            cards += [(share * one[i] + (1 - share) * one[clear], um)
                      for share, um in ((0.3, 60.0), (0.1, 100.0))]  # fmt: skip
        else:
            cards.append((0.25 * one[i] + 0.75 * one[clear], 60.0))
            cards.append((0.1 * one[i] + 0.9 * one[white], 40.0))
    return cards


def drawdowns(bench, scheme, rng, *, thickness_error=0.0):
    """What the shop draws, with the grounds as it sees them from inside a film."""
    drawn = []
    if scheme != "four cards":
        names, C, readings = ladder(bench, rng)
        drawn += [_drawdown(bench, n, c, R) for n, c, R in zip(names, C, readings, strict=True)]
    for k, (c, um) in enumerate(card_films(bench, scheme)):
        true_um = um * np.exp(thickness_error * rng.standard_normal())
        for ground, R_g in CARD.items():
            R = read(film_R(bench, c, true_um, R_g), rng)
            drawn.append(_drawdown(bench, f"card {k} {ground}", c, R, ground, um))
    bare = {name: film_R(bench, np.eye(len(bench.inks))[0], 1e-9, R) for name, R in CARD.items()}
    return drawn, {n: ground_inside(R, "smooth", bench.geometry) for n, R in bare.items()}


def _drawdown(bench, name, c, R, ground="", thickness_um=None):
    held = np.flatnonzero(c)
    return Drawdown(
        name=name,
        inks=tuple(bench.names[i] for i in held),
        fractions=tuple(c[held].tolist()),
        readings=np.atleast_2d(R),
        ground=ground,
        thickness_um=thickness_um,
    )


def cloth(rng, n):
    """Matt cloth of random colours, (n, n_wl): a level, an edge and a band in logit R."""
    level = rng.normal(-0.3, 1.3, (n, 1))
    edge = rng.normal(0, 0.9, (n, 1)) * np.tanh((GRID_NM - rng.uniform(430, 650, (n, 1))) / 30)
    band = rng.normal(0, 0.7, (n, 1))
    band = band * np.exp(-0.5 * ((GRID_NM - rng.uniform(420, 680, (n, 1))) / 40) ** 2)
    return 0.02 + 0.9 / (1 + np.exp(-(level + edge + band)))


def unseen(bench, rng, n=MIXTURES):
    """Mixtures, thicknesses and grounds nobody fitted, what they read and how they hide."""
    C = np.concatenate([random_mixtures(bench, rng, kind, n) for kind in KINDS])
    um = np.exp(rng.uniform(np.log(20), np.log(150), len(C)))
    grounds = cloth(rng, len(C))
    black, white = (_Y(film_R(bench, C, um, R_g)) for R_g in (0.0, 0.80))
    return C, um, grounds, film_R(bench, C, um, grounds), black / white


def _Y(R):
    return XYZ(R, "D65", 10)[..., 1]


def predicted(palette, C, um, grounds):
    """What the palette says of them, (n, n_wl)."""
    film = replace(palette.film, R_g=grounds, thickness_um=um[:, None])
    return reflectance(replace(palette, film=film), C)


def true_hiding_um(bench, c):
    """Where the bench's own contrast ratio reaches 0.98, or None where Y is under 15."""

    def ratio(um):
        C = np.broadcast_to(c, (len(um), len(c)))
        white = _Y(film_R(bench, C, um, 0.80))
        return _Y(film_R(bench, C, um, 0.0)) / white, white

    um = np.geomspace(3, 3000, 13)
    short = np.flatnonzero(ratio(um)[0] < 0.98)
    if not short.size or short[-1] == len(um) - 1:
        return None
    low, high = um[short[-1]], um[short[-1] + 1]
    for _ in range(5):
        steps = np.geomspace(low, high, 5)
        at = int(np.argmax(ratio(steps)[0] >= 0.98))
        low, high = steps[at - 1], steps[at]
    found = np.sqrt(low * high)
    return float(found) if ratio(np.array([found]))[1][0] >= 15 else None


def one_bench(seed, scheme, *, mixtures=MIXTURES, hiding=HIDING, structures=None, error=0.0):
    """dE00 of films, which of them half hide, relative errors of hiding thickness."""
    bench = make_bench(seed, unlike=True)
    drawn, grounds = drawdowns(
        bench, scheme, np.random.default_rng(seed + 10_000), thickness_error=error
    )
    found = fit(
        drawn, inks_of(bench), grounds=grounds, geometry=bench.geometry, structures=structures
    )
    rng = np.random.default_rng(seed + 20_000)
    C, um, R_g, R, ratio = unseen(bench, rng, mixtures)
    away = de00(Lab(R, "D65", 10), Lab(predicted(found.palette, C, um, R_g), "D65", 10))
    off = []
    for c in (c for kind in KINDS if hiding for c in random_mixtures(bench, rng, kind, hiding)):
        true = true_hiding_um(bench, c)
        told = hiding_um(found.palette, c, "D65", 10)
        if true is not None and told is not None:
            off.append(told / true - 1)
    return away, (ratio >= HALF[0]) & (ratio <= HALF[1]), np.array(off)


CASES = (
    ("one card each", "chosen", 0.0),
    ("one card each", "chosen", 0.03),
    ("white only", "chosen", 0.0),
    ("four cards", "chosen", 0.0),
    ("one card each", "two streams", 0.0),
    ("four cards", "two streams", 0.0),
)


def table(seeds=SEEDS):
    """A row for each way to draw, theory and error of the stated thickness."""
    rows = []
    for scheme, theory, error in CASES:
        structures = PLAIN if theory == "two streams" else None
        one = delayed(partial(one_bench, scheme=scheme, structures=structures, error=error))
        parts = Parallel(n_jobs=-1)(one(seed) for seed in seeds)
        away, half, off = (np.concatenate([part[k] for part in parts]) for k in range(3))
        rows.append(
            {
                "cards": scheme,
                "theory": theory,
                "thickness_error": error,
                "half_hiding": _summary(away[half]),
                "all_films": _summary(away),
                "films": [int(half.sum()), len(away)],
                "hiding_off_median": round(float(np.median(np.abs(off))), 4),
                "hiding_off_p95": round(float(np.percentile(np.abs(off), 95)), 4),
                "hiding_within_10_percent": round(float((np.abs(off) <= 0.1).mean()), 4),
                "hiding_mixtures": len(off),
            }
        )
    return rows


def _summary(error):
    return [round(float(v), 3) for v in (np.median(error), np.percentile(error, 95))]


# ---- slabs of another program


def slabs():
    """Rms error of the reading, in percent of R, by thickness and ground; n = 1.5."""
    t = np.loadtxt(SLABS, delimiter=",", skiprows=1)
    _, g, a, X, R_g, true = t[(t[:, 0] == 1.5) & np.isfinite(t[:, 3]), :6].T
    K, S = 2 * (1 - a), 0.75 * a * (1 - g)
    base, gain, k2 = surface_constants(1.5, "d/8 specular included")

    def off(x):
        film = Film(R_g=R_g, thickness_um=X, spread=x[1], back=x[2], dim=x[3])
        deep = float(np.exp(x[4]))
        return film_look(K, S, film=film, deep=deep, base=base, gain=gain, k2=x[0])[0] - true

    plain = [np.inf, 0.0, 0.0, 0.0]
    fitted_k2 = least_squares(lambda x: off([x[0], *plain]), [k2], bounds=(0, 0.95)).x[0]
    beam = least_squares(
        off, [k2, 2.0, 0.1, 0.2, -0.3], bounds=([0, 0.3, 0, 0, -3], [0.95, 20, 0.9, 1, 2])
    ).x
    errors = {
        "textbook surface": off([k2, *plain]),
        "fitted surface": off([fitted_k2, *plain]),
        "fitted surface and beam": off(beam),
    }
    reduced = np.round(X * (1 - g), 2)
    return [
        {
            "reduced_thickness": float(b),
            "ground": float(ground),
            "rms_percent": {
                name: round(
                    100 * float(np.sqrt((e[(reduced == b) & (R_g == ground)] ** 2).mean())), 2
                )
                for name, e in errors.items()
            },
        }
        for b in np.unique(reduced)
        for ground in np.unique(R_g)
    ] + [{"k2": round(float(fitted_k2), 3), "beam": [round(float(v), 3) for v in beam]}]


def markdown(found):
    """The tables as README shows them."""
    lines = [
        "| drawdowns | theory | half-hiding films | all films | hiding thickness |",
        "|---|---|---|---|---|",
    ]
    for row in found["films"]:
        error = f", thickness off by {100 * row['thickness_error']:.0f} %"
        lines.append(
            f"| {row['cards']}{error if row['thickness_error'] else ''} | {row['theory']} | "
            f"{row['half_hiding'][0]:.2f} / {row['half_hiding'][1]:.2f} | "
            f"{row['all_films'][0]:.2f} / {row['all_films'][1]:.2f} | "
            f"{100 * row['hiding_off_median']:.1f} % / {100 * row['hiding_off_p95']:.1f} % |"
        )
    lines += ["", "| reduced thickness | ground | textbook | fitted k2 | and beam |"]
    lines.append("|---|---|---|---|---|")
    for row in found["slabs"][:-1]:
        cells = " | ".join(f"{v:.2f}" for v in row["rms_percent"].values())
        lines.append(f"| {row['reduced_thickness']:g} | {row['ground']:g} | {cells} |")
    return "\n".join(lines)


if __name__ == "__main__":
    found = {"films": table(), "slabs": slabs()}
    STORED.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(markdown(found) + "\n")
