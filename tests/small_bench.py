"""A small invented shop on the virtual bench, fitted, for tests of what comes after a fit."""

from functools import cache

import numpy as np

from matchkit.colorimetry.difference import Target
from matchkit.correcting.diagnose import f_inverse, stays
from matchkit.fitting.constants import f_scale
from matchkit.fitting.fit import fit
from matchkit.fitting.held_out import STRUCTURES
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Drawdown, Ink
from matchkit.matching.probability import spread_of
from matchkit.simulator.pigments import make_bench
from matchkit.simulator.simulate import ladder, opaque_R

LIGHTS = ("D65", "A", "FL11")


@cache
def shop(seed=31, n_colours=5, lot_spread_percent=3.0):
    """Bench, drawdowns, fit, usual spread and the fit's error on the f scale."""
    bench = make_bench(seed, n_colours=n_colours)
    names, fractions, readings = ladder(bench, np.random.default_rng(seed))
    drawdowns = [
        Drawdown(
            name=name,
            inks=tuple(bench.names[i] for i in np.flatnonzero(c)),
            fractions=tuple(c[c > 0].tolist()),
            readings=R,
        )
        for name, c, R in zip(names, fractions, readings, strict=True)
    ]
    inks = [
        Ink(name=ink.name, role=ink.role, lot="1", lot_spread_percent=lot_spread_percent)
        for ink in bench.inks
    ]
    found = fit(drawdowns, inks, geometry=bench.geometry, structures=STRUCTURES[-1:])
    spread = spread_of(found.palette, found.error, 0.01)
    return bench, drawdowns, found, spread


def mixture(bench, **shares):
    """Fractions (n_ink,) by ink name, underscores for blanks."""
    c = np.zeros(len(bench.inks))
    for name, share in shares.items():
        c[bench.names.index(name.replace("_", " "))] = share
    return c / c.sum()


def target_of(bench, c):
    """The colour that a mixture truly has."""
    return Target.from_spectrum(opaque_R(bench, c), LIGHTS, 10)


def predicted(palette, belief, grams):
    """Reflectance of a batch brought to `grams`, with what was learned of it."""
    R = reflectance(palette, grams / grams.sum(), belief.strengths)
    return f_inverse(f_scale(R)[0] + belief.residual_f * stays(belief.grams, grams))
