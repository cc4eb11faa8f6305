"""Real paint: 64 measured oil films over a black and a white card, whole mixtures held out.

    python -m tests.studies.oil_films          prints the table and stores it (a minute)

The data lie in tests/authorities/oil_films with their source.  The eosins, which fluoresce
and fade, and the mixtures in extenders are left out, which leaves 64 of 84.  Film thickness
is not stated: one for all is taken, and since it is only a unit, any will do.  Specular is
included, as the bare black card and the deepest films tell.

Two ways:

    opaque   what a film of the same paint would read if it hid, worked out from the two
             readings of each card by Kubelka and Munk's two streams and the textbook's
             surface; then `fit`
    films    both readings of each card, over the cards as measured bare; then `fit`

Held out are whole mixtures, each with both its readings, in five folds, as the fits do it.
dE00 under D65, 10 degrees.  The bare cards, each against the mean of all, say what reading
and card repeat to.
"""

import csv
import json
import sys
from pathlib import Path

import numpy as np

from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.fitting.fit import fit
from matchkit.fitting.held_out import FILM_STRUCTURES, STRUCTURES
from matchkit.inks.shop import Drawdown, Ink
from matchkit.optics.film import film_K_S, ground_inside
from matchkit.optics.kubelka_munk import R_inf, surface_constants, with_surface, without_surface

STORED = Path(__file__).with_suffix(".json")
DATA = Path(__file__).parents[1] / "authorities" / "oil_films"
GEOMETRY = "d/8 specular included"
LEFT_OUT = ("01", "02", "03", "16", "17")  # eosins; extenders
ROLES = {"ZincWhite": "white", "LeadWhite": "white", "BoneBlack": "black"}
OILS = ("Linseed", "Poppyseed")  # the same pigment ground in another oil is the same paint
THICKNESS_UM = 100.0  # a unit: not stated
N_SURFACE = 1.5


def read():
    """Fractions of the components by code, of what is kept; spectra 0-1 by code and ground."""
    with (DATA / "spectra.txt").open(encoding="utf-8") as file:
        rows = list(csv.reader(file, delimiter="\t"))[1:]
    spectra = {row[0]: np.array(row[1:], dtype=float) / 100 for row in rows}
    mixtures = {}
    for line in (DATA / "mixtures.txt").read_text(encoding="utf-8").splitlines():
        code, rest = line.split("\t")
        if code[:2] in LEFT_OUT or f"{code}_ob" not in spectra:  # 12E was not measured
            continue
        names, percents = rest.split("|")
        mixtures[code] = {
            _paint(name): float(p) / 100
            for name, p in zip(names.split("-"), percents.split("-"), strict=True)
            if float(p) > 0
        }
    return mixtures, spectra


def _paint(name):
    for oil in OILS:
        name = name.removesuffix(oil)
    return name


def inks_of(mixtures):
    names = dict.fromkeys(name for mixture in mixtures.values() for name in mixture)
    return [Ink(name=name, role=ROLES.get(name, "colour")) for name in names]


def cards(spectra):
    """The bare cards, mean of all, and each as measured: (n_wl,), (n, n_wl)."""
    each = {
        ground: np.array([R for name, R in spectra.items() if name.endswith(end)])
        for ground, end in (("black", "_b"), ("white", "_w"))
    }
    return {ground: R.mean(axis=0) for ground, R in each.items()}, each


def grounds_inside(spectra):
    return {g: ground_inside(R, "smooth", GEOMETRY) for g, R in cards(spectra)[0].items()}


def film_drawdowns(mixtures, spectra):
    """Each card as two films."""
    return [
        _drawdown(f"{code} {ground}", mixture, spectra[f"{code}_{end}"], ground, THICKNESS_UM)
        for code, mixture in mixtures.items()
        for ground, end in (("black", "ob"), ("white", "ow"))
    ]


def opaque_drawdowns(mixtures, spectra):
    """What each paint would read if it hid."""
    base, gain, k2 = surface_constants(N_SURFACE, GEOMETRY)
    under, drawn = grounds_inside(spectra), []
    for code, mixture in mixtures.items():
        dark, light = (
            np.clip(without_surface(spectra[f"{code}_{end}"], base=base, gain=gain, k2=k2), 1e-4, 1)
            for end in ("ob", "ow")
        )
        K, S = film_K_S(dark, light, under["black"], under["white"], 1.0)
        R = with_surface(R_inf(K / np.maximum(S, 1e-9)), base=base, gain=gain, k2=k2)
        drawn.append(_drawdown(code, mixture, R))
    return drawn


def _drawdown(name, mixture, R, ground="", thickness_um=None):
    total = sum(mixture.values())
    return Drawdown(
        name=name,
        inks=tuple(mixture),
        fractions=tuple(share / total for share in mixture.values()),
        readings=np.atleast_2d(R),
        ground=ground,
        thickness_um=thickness_um,
    )


def opaque(structures=STRUCTURES):
    mixtures, spectra = read()
    return fit(
        opaque_drawdowns(mixtures, spectra), inks_of(mixtures), geometry=GEOMETRY,
        structures=structures,
    )  # fmt: skip


def films(structures=FILM_STRUCTURES[1:]):
    mixtures, spectra = read()
    return fit(
        film_drawdowns(mixtures, spectra), inks_of(mixtures), grounds=grounds_inside(spectra),
        geometry=GEOMETRY, structures=structures,
    )  # fmt: skip


def repeatability():
    """dE00 of each bare card against the mean of all: median and 95th percentile."""
    mean, each = cards(read()[1])
    return {
        ground: _two(de00(Lab(each[ground], "D65", 10), Lab(mean[ground], "D65", 10)))
        for ground in mean
    }


def _two(error):
    return [round(float(v), 3) for v in np.percentile(error, (50, 95))]


def table():
    """Rows by way and theory, the package's own choice marked."""
    rows = []
    for way, found in (("opaque", opaque()), ("films", films())):
        error = found.de00_held_out
        rows += [
            {
                "way": way,
                "theory": score.model,
                "held_out": [round(score.de00_median, 3), round(score.de00_p95, 3)],
                "chosen": score.model == found.palette.model,
                "scored": int(np.isfinite(error).sum()),
            }
            for score in found.scores
        ]
    return {"rows": rows, "bare_cards": repeatability()}


def markdown(stored):
    """The table as README shows it."""
    lines = ["| | theory | held-out dE00, median / 95 % |", "|---|---|---|"]
    names = {"opaque": "opaque equivalents", "films": "films over a card"}
    for row in stored["rows"]:
        mark = " (chosen)" if row["chosen"] else ""
        median, p95 = row["held_out"]
        lines.append(f"| {names[row['way']]} | {row['theory']}{mark} | {median:.2f} / {p95:.2f} |")
    return "\n".join(lines)


if __name__ == "__main__":
    found = table()
    STORED.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(markdown(found) + "\n")
