"""Exercises of the other light: two recipes that match under one, and may part under another."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry import grid, metamerism
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.colorimetry.words import direction
from matchkit.inks.recipe import weighing_order
from matchkit.practice import colour, simulated_shop
from matchkit.practice.exercise import Choice, Exercise
from matchkit.simulator.simulate import drawdown_R

Generator = np.random.Generator

PAIR = ("target", "sample")
RED_NM = 600.0
CROSSING = 0.002  # a crossing of two curves that a drawing shows
LIKE = 1.33  # a pair by more than this factor easier or harder belongs to another level
NEAR_LIMIT = 1.25  # a pair nearer to the limit than this factor is no exercise
HOLDS_DE00 = 1.0  # the limit of "it still matches"
SYMBOL = {"lighter": "L*", "cleaner": "C*", "redder": "a*", "yellower": "b*"}
VALUE: dict[str, Callable[[Array], Array]] = {
    "lighter": lambda lab: lab[..., 0],
    "cleaner": lambda lab: np.hypot(lab[..., 1], lab[..., 2]),
    "redder": lambda lab: lab[..., 1],
    "yellower": lambda lab: lab[..., 2],
}
BAND = 4  # wavelengths in a band of the table
BANDS_NM = np.array([grid.GRID_NM[k : k + BAND].mean() for k in range(0, len(grid.GRID_NM), BAND)])
WHERE = {  # CIE 015: A is a lamp of 2856 K, FL11 a narrow-band fluorescent one
    "A": "from 400 to 700 nm it has ever more power: little blue, much red",
    "FL11": "it has narrow peaks near 440, 545 and 610 nm and little between",
}


def light(shop: simulated_shop.PracticeShop, rng: Generator, *, seed: int, level: int) -> Exercise:
    """Two recipes match under the first light: do they under another, and if not, how?

    The table under it says how far one point more at each wavelength moves the colour there,
    so that the answer can be worked out.
    """
    parts = bool(rng.random() < 2 / 3)
    times = float(colour.SIZES["light"][level])
    while (made := _metamers(shop, rng, times if parts else 1 / times)) is None:
        pass
    pair, test, bands = made
    R = drawdown_R(shop.bench, pair)
    home = [simulated_shop.swatch(name, each) for name, each in zip(PAIR, R, strict=True)]
    away = [simulated_shop.swatch(name, each, test) for name, each in zip(PAIR, R, strict=True)]
    word = bands.word
    words = colour.ordered(word)
    texts = [
        f"it still matches: {HOLDS_DE00:g} dE00 or less",
        *(f"the sample turns {w}" for w in words),
    ]
    answer = 1 + words.index(word) if parts else 0
    told, name = _held(away, R, test), SYMBOL[words[0]]
    total = float(bands.moves @ bands.apart)
    return Exercise(
        kind="light",
        seed=seed,
        level=level,
        question=f"Two formulas match under {simulated_shop.LIGHTS[0]}. Does the sample still match"
        f" under {test}, or in which direction does it differ from the target?",
        facts=(
            ("Target", _percents(shop, pair[0])),
            ("Sample", _percents(shop, pair[1])),
            *(
                (
                    f"{nm:.0f} nm",
                    f"target {100 * a:.1f} %, sample {100 * b:.1f} %; one point more moves"
                    f" {name} under {test} by {by:+.3f}",
                )
                for nm, a, b, by in zip(BANDS_NM, *_banded(R), bands.moves, strict=True)
            ),
            ("It holds", f"while {name} moves by less than {bands.limit:.2f}"),
        ),
        swatches=tuple(home),
        choices=tuple(
            Choice(text=text, worth=float(j == answer), told=told if j == answer else _not(j, told))
            for j, text in enumerate(texts)
        ),
        answer=answer,
        hint=f"In each row: sample less target, times what one point moves. Their sum is how far"
        f" {name} moves under {test}; where it is small, the sample still matches."
        f" Of {test}: {WHERE[test]}.",
        explanation=f"{told[0].upper()}{told[1:]} By the rows {name} moves by {total:+.2f}."
        f" {_curves(R)} The picture has both curves: where {test} has its power, the higher one"
        " sends back more.",
        after=tuple(away),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Bands:
    """What parts a pair under a lamp, by bands of wavelengths (n_band,).

    `apart` is sample less target in points, `moves` how far a point more moves the number
    that goes with `word`, which moves by `limit` where the pair is at the limit.
    """

    word: str
    apart: Array
    moves: Array
    limit: float


def _metamers(
    shop: simulated_shop.PracticeShop, rng: Generator, times: float
) -> tuple[Array, str, _Bands] | None:
    """Two mixtures (2, n_ink) of one colour, and a light that puts them `times` the limit apart."""
    pairs, away = simulated_shop.pairs_alike(shop)
    column = int(rng.integers(1, len(simulated_shop.LIGHTS)))
    test, far = simulated_shop.LIGHTS[column], away[:, column] / HOLDS_DE00
    with np.errstate(divide="ignore"):
        good = np.abs(np.log(far / times)) <= np.log(LIKE)
        good &= np.abs(np.log(far)) >= np.log(NEAR_LIMIT)
    pair = pairs[int(rng.choice(np.flatnonzero(good)))][rng.permutation(2)]
    R = drawdown_R(shop.bench, pair)
    bands = _bands(R, test)
    if bands is None or not np.all(simulated_shop.on_screen(R, test)):
        return None
    total = float(bands.moves @ bands.apart)  # says the same as the colorimetry, and clearly
    parts = times > 1
    clear = (
        abs(total) > NEAR_LIMIT * bands.limit if parts else abs(total) * NEAR_LIMIT < bands.limit
    )
    way = (total > 0) == (bands.word in colour.UP)
    return (pair, test, bands) if clear and (way or not parts) else None


def _bands(R: Array, test: str) -> _Bands | None:
    """The bands of a pair (2, n_wl) for the direction in which it differs most under a light."""
    lab = Lab(R, test, simulated_shop.OBSERVER)
    word = simulated_shop.main_word(*lab)
    if not word:
        return None
    value = VALUE[colour.ordered(word)[0]]
    more = np.repeat(np.eye(len(BANDS_NM)), BAND, axis=1)[:, : len(grid.GRID_NM)] / 100
    moves = value(Lab(R[0] + more, test, simulated_shop.OBSERVER)) - value(lab[0])
    away = float(value(lab[1]) - value(lab[0]))
    target, sample = _banded(R)
    return _Bands(
        word=word,
        apart=np.round(100 * sample, 1) - np.round(100 * target, 1),
        moves=np.round(moves, 3),
        limit=abs(away) * HOLDS_DE00 / float(de00(*lab)),
    )


def _banded(R: Array) -> Array:
    """Means over the bands, (..., n_band)."""
    return np.stack(
        [R[..., k : k + BAND].mean(axis=-1) for k in range(0, R.shape[-1], BAND)], axis=-1
    )


def _percents(shop: simulated_shop.PracticeShop, c: Array) -> str:
    order = weighing_order(shop.palette.inks, c.tolist())
    return ", ".join(f"{shop.bench.names[i]} {100 * c[i]:.1f} %" for i in order)


def _held(away: Sequence[simulated_shop.Swatch], R: Array, test: str) -> str:
    apart = float(de00(away[0].lab, away[1].lab))
    index = float(
        metamerism.special_index(
            R[0],
            R[1],
            reference=(simulated_shop.LIGHTS[0], simulated_shop.OBSERVER),
            test=(test, simulated_shop.OBSERVER),
        )
    )
    verdict = "it still matches" if apart <= HOLDS_DE00 else "it differs"
    return (
        f"{verdict}: under {test} they are {apart:.2f} dE00 apart, and the sample is"
        f" {direction(away[0].lab, away[1].lab)} (special metamerism index {index:.2f},"
        " multiplicative XYZ)."
    )


def _not(choice: int, told: str) -> str:
    return f"it does not match there; {told}" if choice == 0 else f"not so; {told}"


def _curves(R: Array) -> str:
    """Where the two curves cross, and which is higher in the red."""
    gap = R[1] - R[0]
    gap = gap[np.abs(gap) > CROSSING]
    n = int((np.diff(np.sign(gap)) != 0).sum())
    red = float((R[1] - R[0])[grid.GRID_NM >= RED_NM].mean())
    side = "above" if red > 0 else "below"
    return (
        f"The two curves cross {n} times; from {RED_NM:g} nm on the sample lies {side} the target"
        f" by {abs(red):.3f} on the mean."
    )
