"""A series of invented inks drawn down on the virtual bench, as a shop would hand it in."""

import csv
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from matchkit.inks.palette import Palette
from matchkit.inks.shop import Drawdown, Ink
from matchkit.simulator.pigments import Bench
from matchkit.simulator.simulate import NOISE, Noise, ladder

AUTHORITIES = Path(__file__).parent / "authorities"


def columns(name: str) -> dict[str, np.ndarray]:
    """A table of `authorities` by column, numbers where all of a column are numbers."""
    with (AUTHORITIES / name).open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    out = {}
    for key in rows[0]:
        text = [row[key] for row in rows]
        try:
            out[key] = np.array(text, dtype=float)
        except ValueError:
            out[key] = np.array(text)
    return out


def inks_of(bench: Bench) -> tuple[Ink, ...]:
    return tuple(Ink(name=ink.name, role=ink.role) for ink in bench.inks)


def drawdown(name: str, inks: Sequence[Ink], c: np.ndarray, R: np.ndarray) -> Drawdown:
    """One drawdown of the mixture `c` (n_ink,), read once."""
    held = np.flatnonzero(c)
    return Drawdown(
        name=name,
        inks=tuple(inks[i].name for i in held),
        fractions=tuple(float(c[i]) for i in held),
        readings=np.atleast_2d(R),
    )


def drawn(
    bench: Bench, seed: int, *, steps: int = 10, noise: Noise = NOISE
) -> tuple[tuple[Ink, ...], list[Drawdown]]:
    """The inks of a bench and the drawdowns a shop makes to know them."""
    inks = inks_of(bench)
    names, C, readings = ladder(bench, np.random.default_rng(seed), steps=steps, noise=noise)
    return inks, [drawdown(n, inks, c, R) for n, c, R in zip(names, C, readings, strict=True)]


def textbook(K: np.ndarray, S: np.ndarray, roles: Sequence[str] = ()) -> Palette:
    """Inks of plain Kubelka-Munk theory without a surface."""
    roles = roles or ["colour"] * len(K)
    inks = tuple(Ink(name=f"ink {i}", role=role) for i, role in enumerate(roles))
    return Palette(inks=inks, K=K, S=S, crowding=np.zeros(len(K)), base=0.0, gain=1.0, k2=0.0)
