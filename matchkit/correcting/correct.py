"""What to add to a batch to bring it within tolerance: the least, the fewest inks, or the nearest.

Only additions are possible.  With what `diagnose` learned about a batch, its colour after
any additions a >= 0 (grams) is known; wanted is

    the smallest sum(a) with dE00 <= aim, and sum(a) within the room of the container.

To first order the difference is v + J a, and the smallest sum over a ball has at most
three inks.  So every set of up to three inks is solved in closed form, all at once, the
best is taken, the slope is taken anew there, and so on until nothing moves.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.difference import Target, difference, difference_slope
from matchkit.colorimetry.tristimulus import Lab_jacobian, XYZ_to_Lab
from matchkit.correcting.additions import MOST_INKS, sets_of, smallest_linear
from matchkit.correcting.diagnose import SHARED, Belief, predicted
from matchkit.fitting.constants import f_scale
from matchkit.inks.palette import Palette, reflectance_jacobian
from matchkit.inks.shop import Shop
from matchkit.matching.probability import Spread, chance, chance_within, covariance_after
from matchkit.matching.solve import solve

Array = NDArray[np.float64]

AIM = 0.3  # of the tolerance: where a correction aims
NEAREST = 0.02  # dE00 that is as near as one can wish
HAIR = 0.02  # of the aim, by which a search may end beyond it
STEPS = (-1, 0, 1, 2)  # of the balance around an addition, among which the best is taken
ROUNDS = 25
WAYS = ("smallest", "fewest inks", "closest")  # what an addition may be asked to be
FAR = 4.0  # dE00 beyond which a batch is looked at as an ink of a new formula too


@dataclass(frozen=True, kw_only=True)
class Correction:
    """Additions (n_ink,) in grams that the balance can show, and what they will bring.

    `de00_before` and `de00` (n_light,); `R` (n_wl,) and `lab` (n_light, 3) after.
    """

    additions_g: Array
    total_g: float
    R: Array
    lab: Array
    de00_before: Array
    de00: Array
    chance_in_tolerance: float
    can_be_saved: bool

    @property
    def added_g(self) -> float:
        """Sum of the additions."""
        return float(self.additions_g.sum())


@dataclass(frozen=True, kw_only=True, eq=False)
class Limits:
    """What an addition must keep to.

    `room_g` is what the container still takes, `upper_g` (n_ink,) how much of each ink there
    is or is wanted; None is no limit.
    """

    tolerance_de00: float
    resolution_g: float
    room_g: float = np.inf
    upper_g: Array | None = None


def limits_of(
    shop: Shop, palette: Palette, *, room_g: float = np.inf, without: Sequence[str] = ()
) -> Limits:
    """The tolerance, the balance and the stock of a shop; of inks in `without` there is none."""
    stock = {ink.name: ink.stock_g for ink in shop.inks}
    there = [0.0 if name in without else stock.get(name) for name in palette.names]
    return Limits(
        tolerance_de00=shop.tolerance_de00,
        resolution_g=shop.resolution_g,
        room_g=room_g,
        upper_g=np.array([np.inf if grams is None else grams for grams in there]),
    )


def correct(
    palette: Palette,
    belief: Belief,
    target: Target,
    spread: Spread,
    limits: Limits,
    way: str = "smallest",
) -> Correction:
    """What to add to a batch: `way` is one of `WAYS`.

    "smallest" is the smallest addition that brings the batch to 0.3 of the tolerance under
    the first light, "fewest inks" the smallest of as few inks as can do that, "closest" the
    nearest colour.  Where the room is too small for it, the nearest colour within the room.
    """
    n = len(palette.inks)
    upper = np.full(n, np.inf) if limits.upper_g is None else limits.upper_g
    problem = _Problem(palette, belief, target, upper)
    aim, room_g = AIM * limits.tolerance_de00, limits.room_g
    if way == "closest":
        aim = NEAREST
        a = _least(problem, aim, room_g)
    elif way == "fewest inks":
        a = np.zeros(n)
        for n_inks in range(MOST_INKS + 1):
            a = _within(problem, aim, room_g, most_inks=n_inks)
            if _far(problem, a) <= aim * (1 + HAIR):
                break
    else:
        a = _within(problem, aim, room_g)
    return _result(problem, a, aim, spread, limits)


def corrections(
    palette: Palette, belief: Belief, target: Target, spread: Spread, limits: Limits
) -> dict[str, Correction]:
    """The additions of every way of `WAYS`."""
    return {way: correct(palette, belief, target, spread, limits, way) for way in WAYS}


def nothing_learned(
    palette: Palette, grams: Array, spread: Spread, known: tuple[Array, Array] | None = None
) -> Belief:
    """The belief of a batch that was weighed and not measured yet.

    `known` is what earlier batches told of the lots, as `diagnose.infer` takes it.
    """
    mean, covariance = known or (np.zeros(len(palette.inks)), np.diag(spread.log_strength**2))
    return Belief(
        log_strength=mean,
        covariance=covariance,
        grams=np.asarray(grams, dtype=float),
        residual_f=np.zeros(palette.K.shape[1]),
        unexplained_f=0.0,
    )


@dataclass(frozen=True)
class _Problem:
    palette: Palette
    belief: Belief
    target: Target
    upper_g: Array


def _v(problem: _Problem, a: Array) -> Array:
    """The difference (3,) from the target, first light, after additions `a`."""
    R = predicted(problem.palette, problem.belief, problem.belief.grams + a)
    lab = XYZ_to_Lab(R @ problem.target.W[:, :3], problem.target.whites[0])
    return difference(problem.target.lab[0], lab)


def _far(problem: _Problem, a: Array) -> float:
    return float(np.sqrt((_v(problem, a) ** 2).sum()))


def _v_slope(problem: _Problem, a: Array) -> tuple[Array, Array]:
    """The difference (3,) and its slope (3, n_ink) by gram added."""
    belief, target = problem.belief, problem.target
    grams = belief.grams + a
    total = grams.sum()
    R, by_amount = reflectance_jacobian(problem.palette, grams / total, belief.strengths)
    by_gram = (by_amount - (grams / total) @ by_amount) / total
    shown = predicted(problem.palette, belief, grams)
    # The residual is constant on the f scale, so dR_shown = f'(R) / f'(R_shown) dR.
    by_gram = by_gram * f_scale(R)[1] / f_scale(shown)[1]
    W, white = target.W[:, :3], target.whites[0]
    XYZ = shown @ W
    lab = XYZ_to_Lab(XYZ, white)
    v, by_Lab = difference_slope(target.lab[0], lab)
    return v, by_Lab @ Lab_jacobian(XYZ, white) @ W.T @ by_gram.T


def _least(problem: _Problem, aim: float, room_g: float, most_inks: int = MOST_INKS) -> Array:
    """The smallest additions to come within `aim`, or the nearest within the room."""
    nothing = np.zeros(len(problem.upper_g))
    before = _far(problem, nothing)
    if before <= aim or most_inks == 0 or room_g <= 0:
        return nothing
    sets = sets_of(problem.upper_g > 0, most_inks)
    starts = [nothing]
    if before > FAR:
        starts += _formula_starts(problem, room_g, most_inks)
    answers = [_refine(problem, start, aim, room_g, sets) for start in starts]
    return min(answers, key=lambda a: _merit(problem, a, aim))


def _within(problem: _Problem, aim: float, room_g: float, most_inks: int = MOST_INKS) -> Array:
    """The smallest additions, adjusted until the predicted difference is just within the aim."""
    a = _least(problem, aim, room_g, most_inks)
    over = _far(problem, a) - aim
    if 0 < over < HAIR * aim:
        nearer = _least(problem, aim - 2 * over, room_g, most_inks)
        if _far(problem, nearer) <= aim:
            return nearer
    return a


def _merit(problem: _Problem, a: Array, aim: float) -> float:
    """Additions as a share of the batch, and dearly what is missing to the aim."""
    missing = max(_far(problem, a) - aim * (1 + HAIR / 2), 0)
    return float(a.sum() / problem.belief.grams.sum() + 1e3 * missing)


def _refine(
    problem: _Problem, a: Array, aim: float, room_g: float, sets: list[NDArray[np.int64]]
) -> Array:
    """Step from one linear answer to the next while that helps."""
    best, merit = a, _merit(problem, a, aim)
    reach = 1.0
    for _ in range(ROUNDS):
        v, J = _v_slope(problem, a)
        wanted = smallest_linear(v - J @ a, J, aim, room_g, problem.upper_g, sets)
        # An addition may at most double the batch in one step: beyond, the slope is stale.
        step = wanted - a
        size = np.abs(step).sum() / (problem.belief.grams.sum() + a.sum())
        a_new = a + step * min(1.0, reach / max(size, 1e-12))
        new = _merit(problem, a_new, aim)
        if new < merit - 1e-9:
            best, merit = a_new, new
        else:
            reach = min(reach, size) / 2
        moved = np.abs(a_new - a).sum()
        a = a_new if new <= merit + 1e-9 or reach == 1.0 else best
        if moved < 1e-5 * problem.belief.grams.sum() or reach < 1e-4:
            break
    return best


def _formula_starts(problem: _Problem, room_g: float, most_inks: int) -> list[Array]:
    """Additions that make the batch one ink of a formula for the target.

    A batch that is far off can't be reached by small steps; as an ink of its own, whose
    K and S are those of its contents, it takes part in an ordinary search.
    """
    palette, belief = problem.palette, problem.belief
    held = belief.grams / belief.grams.sum()
    s = belief.strengths
    room = 1 + palette.crowding * held
    bucket = replace(palette.inks[0], name="the bucket", role="colour", series="")
    joined = replace(
        palette,
        inks=(*palette.inks, bucket),
        K=np.vstack([palette.K * s[:, None], (held * s) @ palette.K]),
        S=np.vstack([palette.S * s[:, None], (held * s / room) @ palette.S]),
        crowding=np.append(palette.crowding, 0.0),
        strengths=None,
    )
    first = replace(problem.target, share=np.eye(len(problem.target.lights))[0])
    upper = np.append(np.where(problem.upper_g > 0, 1.0, 0.0), 1.0)
    solved = solve(joined, first, max_inks=most_inks + 1, upper=upper, keep=200)
    total = belief.grams.sum()
    starts = []
    for c in solved.fractions:
        if c[-1] > 1e-3:
            a = np.minimum(c[:-1] / c[-1] * total, problem.upper_g)
            starts.append(a * min(1.0, room_g / max(a.sum(), 1e-12)))
    starts.sort(key=lambda a: float(a.sum()))
    return starts[:8]


def _on_the_balance(
    problem: _Problem, a: Array, aim: float, resolution_g: float, room_g: float
) -> Array:
    """Additions that the balance can show: the least within the aim, else the nearest."""
    held = np.flatnonzero(a > 0)
    decimals = max(0, -int(np.floor(np.log10(resolution_g)))) + 2
    below = np.floor(a[held] / resolution_g + 1e-9)
    near = STEPS if len(held) <= MOST_INKS else (0, 1)
    best, merit = np.zeros_like(a), (True, np.inf, np.inf)
    for more in product(near, repeat=len(held)):
        rounded = np.zeros_like(a)
        rounded[held] = np.round((below + more) * resolution_g, decimals)
        total = rounded.sum()
        if (rounded < 0).any() or (rounded > problem.upper_g + 1e-9).any() or total > room_g + 1e-9:
            continue
        far = _far(problem, rounded)
        reached = far <= aim
        now = (not reached, total if reached else far, far)
        if now < merit:
            best, merit = rounded, now
    return best


def _result(problem: _Problem, a: Array, aim: float, spread: Spread, limits: Limits) -> Correction:
    """Rounded to the balance, and what comes of it."""
    a = _on_the_balance(problem, a, aim, limits.resolution_g, limits.room_g)
    tolerance_de00 = limits.tolerance_de00
    palette, belief, target = problem.palette, problem.belief, problem.target
    nothing = np.zeros_like(a)
    R = predicted(palette, belief, belief.grams + a)
    after, lab = _seen(problem, a)
    before, _ = _seen(problem, nothing)
    learned = replace(palette, strengths=belief.strengths)
    # Centre the odds on the colour that is expected, the residual included.
    shifted = replace(target, lab=target.lab + _model_shift(learned, belief, target, a, lab))
    if belief.seen_Lab is None:
        odds = chance(learned, belief.grams + a, shifted, spread, tolerance_de00, belief.covariance)
    else:
        known = covariance_after(
            learned, belief.grams, a, target, spread, belief.covariance, belief.seen_Lab,
            SHARED if a.any() else 1.0,
        )  # fmt: skip
        odds = chance_within(lab[0], known, target.lab[0], tolerance_de00)
    return Correction(
        additions_g=a,
        total_g=float(problem.belief.grams.sum() + a.sum()),
        R=R,
        lab=lab,
        de00_before=before,
        de00=after,
        chance_in_tolerance=odds,
        can_be_saved=bool(after[0] <= tolerance_de00),
    )


def _seen(problem: _Problem, a: Array) -> tuple[Array, Array]:
    """dE00 (n_light,) and Lab (n_light, 3) after additions `a`."""
    target = problem.target
    R = predicted(problem.palette, problem.belief, problem.belief.grams + a)
    lab = XYZ_to_Lab((R @ target.W).reshape(-1, 3), target.whites)
    v = difference(target.lab.T, lab.T)
    return np.sqrt((v**2).sum(axis=0)), lab


def _model_shift(learned: Palette, belief: Belief, target: Target, a: Array, lab: Array) -> Array:
    grams = belief.grams + a
    R, _ = reflectance_jacobian(learned, grams / grams.sum())
    plain: Array = XYZ_to_Lab((R @ target.W).reshape(-1, 3), target.whites)
    return plain - lab
