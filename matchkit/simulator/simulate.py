"""The simulator: what mixtures of invented inks read, by radiative transfer.

A second world to try the package in.  It knows nothing of Kubelka-Munk, so whatever the
fit gets right here it did not get right by construction.  Everything is drawn from a
seed or from the numpy Generator handed in; nothing is kept between calls.

Fractions are by mass, ``(..., n_ink)``.  Spectra are on the package grid, ``(..., n_wl)``.
The inks are those of `pigments`, invented.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.colorimetry.grid import GRID_NM, N_WL
from matchkit.errors import InputError
from matchkit.simulator import radiative_transfer
from matchkit.simulator.pigments import WHITE_MU_S, Bench
from matchkit.simulator.troubles import POT_G, Traits, astray, crowded, drifted, glowing, swapped

Generator = np.random.Generator

KINDS = ("pastel", "half", "deep", "clear")
CARD_R = {"white": 0.84, "black": 0.03}  # the halves of a card, below its coating
CARD_N = 1.5  # of the coating
FEW_ANGLES = 12  # for inks with troubles: readings within 0.0003 of those by 16


@dataclass(frozen=True, kw_only=True)
class Noise:
    """How far readings and drawdowns of one mixture lie apart (standard deviations).

    `relative` and `absolute` belong to each reading, `drawdown` to each drawdown: a
    share of R that goes with 1 - R, since a white can hardly be drawn down wrong.
    """

    relative: float = 0.0007
    absolute: float = 0.00006
    drawdown: float = 0.001
    reach_nm: float = 40.0  # neighbouring wavelengths err together over this distance


NOISE = Noise()


# ---- mixing and reading


def mixture_optics(
    bench: Bench, fractions: ArrayLike, strengths: ArrayLike | None = None
) -> tuple[Array, Array]:
    """mu_a and mu_s per um of mixtures, ``(..., n_wl)`` each.

    `fractions` (..., n_ink) by mass; `strengths` (..., n_ink) multiply an ink's
    absorption and scattering together, 1 for the reference lot.
    """
    absorb, scatter = _amounts(bench, fractions, strengths)
    mu_a: Array = absorb @ np.stack([ink.mu_a for ink in bench.inks])
    mu_s: Array = scatter @ np.stack([ink.mu_s for ink in bench.inks])
    return mu_a, mu_s


def _amounts(
    bench: Bench, fractions: ArrayLike, strengths: ArrayLike | None
) -> tuple[Array, Array]:
    """What counts of each ink for absorbing and for scattering, ``(..., n_ink)`` each."""
    share = np.asarray(fractions, dtype=float)
    if share.shape[-1:] != (len(bench.inks),) or not np.all(share >= 0):
        raise InputError(
            f"mixture: shape {share.shape}; need {len(bench.inks)} fractions of 0 or more"
        )
    strong = share if strengths is None else share * np.asarray(strengths, dtype=float)
    white = np.array([ink.role == "white" for ink in bench.inks])
    left = np.where(
        white, 1 - bench.crowding_loss * np.where(white, share, 0) ** bench.crowding_power, 1
    )
    if bench.traits is not None:
        strong = strong * (1 - share @ bench.traits.flocculates.T)
        left = left * crowded(bench.traits, share)
    return strong, strong * left


def opaque_R(bench: Bench, fractions: ArrayLike, strengths: ArrayLike | None = None) -> Array:
    """What the instrument reads from opaque drawdowns, without noise: ``(..., n_wl)``.

    >>> from matchkit.simulator.pigments import make_bench
    >>> bench = make_bench(7, n_colours=2)
    >>> opaque_R(bench, [0.9, 0.0, 0.0, 0.1, 0.0]).shape
    (31,)
    """
    if bench.traits is not None:
        return _troubled_R(bench, bench.traits, fractions, strengths)
    mu_a, mu_s = mixture_optics(bench, fractions, strengths)
    R = radiative_transfer.thick_R(mu_a, mu_s, n=bench.n, g=bench.g, geometry=bench.geometry)
    return R + _surface_left(bench)


def film_R(
    bench: Bench,
    fractions: ArrayLike,
    thickness_um: ArrayLike,
    ground_R: ArrayLike,
    strengths: ArrayLike | None = None,
) -> Array:
    """The reading of films over a matt ground: ``(..., n_wl)``.

    `thickness_um` (...) without a wavelength axis; `ground_R` a number or (..., n_wl), the
    ground's reflectance as met from inside the film.
    """
    thickness = np.asarray(thickness_um, dtype=float)[..., None]
    if bench.traits is not None:
        return _troubled_R(bench, bench.traits, fractions, strengths, thickness, ground_R)
    mu_a, mu_s = mixture_optics(bench, fractions, strengths)
    n, g = bench.n, bench.g
    R = radiative_transfer.layer_R(
        mu_a, mu_s, thickness, ground_R, n=n, g=g, geometry=bench.geometry
    )
    return R + _surface_left(bench)


def drawdown_R(
    bench: Bench,
    fractions: ArrayLike,
    strengths: ArrayLike | None = None,
    *,
    half: str = "white",
    stretch: ArrayLike = 1.0,
) -> Array:
    """The reading of drawdowns as this shop makes them, ``(..., n_wl)``.

    They hide, or they are films over the white or the black `half` of a card, `stretch`
    (...) times as thick as they should be.
    """
    if not bench.troubles.card:
        return opaque_R(bench, fractions, strengths)
    thickness_um = bench.troubles.card * np.asarray(stretch, dtype=float)
    return film_R(bench, fractions, thickness_um, CARD_R[half], strengths)


def bare_card_R(bench: Bench, half: str) -> Array:
    """The reading of a bare half of the card, (n_wl,)."""
    R = radiative_transfer.layer_R(
        0.0, 0.0, 0.0, CARD_R[half], n=CARD_N, g=0.0, geometry=bench.geometry
    )
    return np.full(N_WL, float(R))


def _troubled_R(
    bench: Bench,
    traits: Traits,
    fractions: ArrayLike,
    strengths: ArrayLike | None,
    thickness_um: Array | None = None,
    ground_R: ArrayLike = 0.0,
) -> Array:
    """The reading where index and anisotropy go with the mixture; no thickness: it hides."""
    share = np.asarray(fractions, dtype=float)
    absorb, scatter = _amounts(bench, share, strengths)
    by_ink = np.stack([ink.mu_a for ink in bench.inks])
    mu_a = absorb @ by_ink
    mu_s = scatter @ np.stack([ink.mu_s for ink in bench.inks])
    mu_s_g = (scatter * traits.g) @ np.stack([ink.mu_s for ink in bench.inks])
    n = (bench.n + share @ traits.raises_n)[..., None]
    film, g = radiative_transfer.angles_of(n, FEW_ANGLES), mu_s_g / mu_s
    if thickness_um is None:
        below = radiative_transfer.thick(mu_a, mu_s, film=film, g=g)
    else:
        R, T = radiative_transfer.layer(mu_a, mu_s, thickness_um, film=film, g=g)
        below = radiative_transfer.over_ground(R, T, ground_R, film=film)
    seen = radiative_transfer.reading(below, film=film, geometry=bench.geometry)
    if not bench.geometry.endswith("included"):
        matt = bench.surface_left + share @ traits.matt
        seen = seen + matt[..., None] * radiative_transfer.fresnel_R(1.0, n)
    return seen + glowing(traits, absorb[..., None] * by_ink, mu_a, seen)


def _surface_left(bench: Bench) -> float:
    """What a semi-matt surface adds to a reading that should hold none of it."""
    if bench.geometry.endswith("included"):
        return 0.0
    return bench.surface_left * float(radiative_transfer.fresnel_R(1.0, bench.n))


def _smooth(shape: tuple[int, ...], reach_nm: float, rng: Generator) -> Array:
    """Unit noise in which neighbouring wavelengths go together."""
    apart = (GRID_NM[:, None] - GRID_NM) / reach_nm
    # The small diagonal keeps the factor real when the reach is long.
    root = np.linalg.cholesky(np.exp(-0.5 * apart**2) + 1e-9 * np.eye(N_WL))
    return rng.standard_normal(shape) @ root.T


def read(R: ArrayLike, rng: Generator, noise: Noise = NOISE, *, repeats: int = 1) -> Array:
    """Each spectrum drawn down once and measured `repeats` times: ``(..., repeats, n_wl)``.

    With the default noise two readings of a mid colour are 0.03 to 0.05 dE00 apart.

    >>> read(np.full(31, 0.4), np.random.default_rng(1), repeats=3).shape
    (3, 31)
    """
    true = np.asarray(R, dtype=float)[..., None, :]
    if noise.drawdown > 0:
        # A drawdown goes wrong as a whole: two and a half times the reach of a reading.
        wrong = _smooth(true.shape, 2.5 * noise.reach_nm, rng)
        true = true * (1 + noise.drawdown * (1 - np.clip(true, 0, 1)) * wrong)
    shape = (*true.shape[:-2], repeats, N_WL)
    seen = true * (1 + noise.relative * _smooth(shape, noise.reach_nm, rng))
    return np.maximum(seen + noise.absolute * _smooth(shape, noise.reach_nm, rng), 0)


def weigh(
    grams: ArrayLike, rng: Generator, *, resolution_g: float = 0.01, hand_g: float = 0.03
) -> tuple[Array, Array]:
    """What truly went in, and what the balance showed, when the hand aims at `grams`.

    An ink that is not asked for is not touched.  The balance shows the truth rounded to
    its resolution.

    >>> true_g, shown_g = weigh([100.0, 0.0], np.random.default_rng(0))
    >>> shown_g.round(2).tolist()
    [100.0, 0.0]
    """
    aim = np.asarray(grams, dtype=float)
    slip = hand_g * rng.standard_normal(aim.shape)
    true = np.where(aim > 0, np.maximum(aim + slip, 0), 0.0)
    shown: Array = np.round(true / resolution_g) * resolution_g
    return true, shown


def draw_lots(rng: Generator, n_ink: int, spread: float = 0.03) -> Array:
    """Strengths of today's lots against the reference, log-normal, ``(n_ink,)``."""
    return np.exp(spread * rng.standard_normal(n_ink))


# ---- drawdowns and mixtures to try


def _percents(bench: Bench, i: int) -> tuple[float, ...]:
    """Letdowns in white from light to deep: the stronger the ink, the lower."""
    strength = float(bench.inks[i].mu_a.max()) / WHITE_MU_S
    if strength > 0.8:
        return (0.4, 1.2, 4.0, 15.0, 45.0)
    return (1.0, 3.0, 10.0, 30.0, 60.0) if strength > 0.3 else (2.0, 6.0, 18.0, 40.0, 75.0)


def _levels(bench: Bench, i: int, steps: int) -> list[dict[int, float]]:
    """Drawdowns of ink i as percents by ink position; what is not given is masstone."""
    white, black, clear = (bench.where(role)[0] for role in ("white", "black", "clear"))
    role = bench.inks[i].role
    if role == "white":
        in_clear = (50.0, 20.0) if steps == 3 else (3.0, 8.0, 18.0, 32.0, 50.0, 68.0, 85.0)
        levels = [{i: p, clear: 100 - p} for p in in_clear]
        return levels if steps == 3 else [*levels, {i: 99.5, black: 0.5}, {i: 97.0, black: 3.0}]
    if role == "clear":
        levels = [{i: p, white: 100 - p} for p in (80.0, 95.0)]
        more = [{i: p, white: 100 - p} for p in (40.0, 60.0, 90.0, 98.0)]
        grey = [{i: p, black: 100 - p} for p in (99.7, 98.0, 90.0)]
        return levels if steps == 3 else [*levels, *more, *grey]
    p = _percents(bench, i)
    if steps == 3:
        return [{i: q, white: 100 - q} for q in (p[2] / 2, p[3])]
    levels = [{i: q, white: 100 - q} for q in p] + [{i: q, clear: 100 - q} for q in p[2:4]]
    mixed = {i: p[3], white: (100 - p[3]) / 2, clear: (100 - p[3]) / 2}
    if role == "black":
        return [*levels, mixed, {i: p[1] / 2, white: 100 - p[1] / 2}]
    return [*levels, mixed, {i: p[4], white: 97 - p[4], black: 3.0}]


def ladder_of(bench: Bench, steps: int = 10) -> tuple[tuple[str, ...], Array]:
    """Names and fractions (n, n_ink) of the drawdowns a shop makes to know its inks.

    `steps` 3 (masstone, two letdowns) or 10 per ink (masstone, five in white, two in
    clear, one in both, one greyed).

    >>> from matchkit.simulator.pigments import make_bench
    >>> names, fractions = ladder_of(make_bench(7, n_colours=2))
    >>> names[:2], fractions.shape
    (('White 1', 'White 2'), (50, 5))
    """
    if steps not in (3, 10):
        raise InputError(f"ladder: steps is {steps}; write 3 or 10")
    names, rows = [], []
    for i, ink in enumerate(bench.inks):
        for level, percents in enumerate([{i: 100.0}, *_levels(bench, i, steps)], start=1):
            names.append(f"{ink.name} {level}")
            rows.append([percents.get(j, 0.0) / 100 for j in range(len(bench.inks))])
    return tuple(names), np.array(rows)


def draw(
    bench: Bench,
    fractions: Array,
    rng: Generator,
    *,
    repeats: int = 1,
    noise: Noise = NOISE,
    strengths: ArrayLike | None = None,
    halves: Sequence[str] = ("white",),
) -> tuple[Array, Array]:
    """Weigh, draw down and measure mixtures (n, n_ink), with the troubles of the shop.

    The fractions as the shop notes them, (n, n_ink), and the readings of the named halves of
    the card, (n_half, n, repeats, n_wl); one half is enough where drawdowns hide.
    """
    troubles, n = bench.troubles, len(fractions)
    true, noted, stretch = fractions, fractions, np.ones(n)
    if troubles.weighing:
        true, noted = weigh(POT_G * fractions, rng)
        true = astray(true, troubles, rng)
        true, noted = (grams / grams.sum(axis=1, keepdims=True) for grams in (true, noted))
    if troubles.thickness:
        stretch = np.exp(troubles.thickness * rng.standard_normal(n))
    R = np.stack(
        [drawdown_R(bench, true, strengths, half=half, stretch=stretch) for half in halves]
    )
    seen = read(R, rng, noise, repeats=repeats)
    if troubles.drift:  # through the day, in the order of the drawdowns
        seen = drifted(seen, np.linspace(-1, 1, n)[:, None], troubles)
    return noted, swapped(seen, troubles, rng)


def ladder(
    bench: Bench,
    rng: Generator,
    *,
    steps: int = 10,
    repeats: int = 1,
    noise: Noise = NOISE,
    strengths: ArrayLike | None = None,
) -> tuple[tuple[str, ...], Array, Array]:
    """The drawdowns of `ladder_of`: names, noted fractions, readings (n, repeats, n_wl)."""
    names, fractions = ladder_of(bench, steps)
    noted, seen = draw(bench, fractions, rng, repeats=repeats, noise=noise, strengths=strengths)
    return names, noted, seen[0]


def _base_share(kind: str, rng: Generator) -> tuple[str, float]:
    """Which base the mixture stands on and how much of it."""
    if kind == "pastel":
        return "white", rng.uniform(0.80, 0.98)
    if kind == "half":
        return "white", rng.uniform(0.40, 0.60)
    if kind == "clear":
        return "clear", rng.uniform(0.60, 0.95)
    return "white", rng.uniform(0.0, 0.10) * rng.integers(0, 2)


def _mixture(bench: Bench, rng: Generator, kind: str) -> Array:
    """One random mixture of 2 to 4 inks."""
    role, share = _base_share(kind, rng)
    n_inks = int(rng.integers(2, 5)) - int(share > 0)
    others = bench.where("colour") + bench.where("black")
    if kind == "clear":
        others = others + bench.where("white")
    picked = rng.choice(np.array(others), size=min(n_inks, len(others)), replace=False)
    # Black is held back, or every other mixture would be one.
    hold = [0.15 if bench.inks[i].role == "black" else 1.0 for i in picked]
    parts = rng.dirichlet(np.full(picked.size, 1.5)) * hold
    fractions = np.zeros(len(bench.inks))
    fractions[picked] = (1 - share) * parts / parts.sum()
    fractions[bench.where(role)[0]] += share
    return fractions


def random_mixtures(bench: Bench, rng: Generator, kind: str, n: int) -> Array:
    """Mixtures nobody planned, 2 to 4 inks each: fractions (n, n_ink).

    `kind`: "pastel" 80-98 % white, "half" about half white, "deep" little white or none,
    "clear" 60-95 % clear.

    >>> from matchkit.simulator.pigments import make_bench
    >>> bench = make_bench(7)
    >>> white = random_mixtures(bench, np.random.default_rng(1), "pastel", 100)[:, 0]
    >>> bool(white.min() > 0.8)
    True
    """
    if kind not in KINDS:
        raise InputError(f"mixtures: kind is {kind!r}; write {', '.join(KINDS)}")
    return np.stack([_mixture(bench, rng, kind) for _ in range(n)])
