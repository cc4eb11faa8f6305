"""Exercises for the eye: see the difference, find the ink.

Every colour is a mixture of simulated inks; words come from `rank.direction`, differences from
CIEDE2000.  An exercise is drawn again until a screen can show all of it and until its
answer stands clear of the others.
"""

from collections.abc import Sequence
from zlib import crc32

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.tristimulus import Lab, de00, delta_LCH
from matchkit.colorimetry.words import direction
from matchkit.inks.recipe import weighing_order
from matchkit.practice.exercise import Choice, Exercise
from matchkit.practice.simulated_shop import (
    LIGHTS,
    OBSERVER,
    OPPOSITE,
    PracticeShop,
    Swatch,
    hex_Lab,
    main_word,
    mixture,
    on_screen,
    swatch,
)
from matchkit.simulator.simulate import drawdown_R

Generator = np.random.Generator
Option = tuple[int, float]  # an ink by position, and grams

N_LEVELS = 9
AXES = {
    "light": ("lighter", "darker"),
    "clean": ("cleaner", "duller"),
    "red-green": ("redder", "greener"),
    "yellow-blue": ("yellower", "bluer"),
}
# By level, easiest first: see and fix, dE00 of the difference; light, how many times the
# limit (or what part of it) the pair is apart.
SIZES = {
    "see": np.geomspace(4.0, 0.5, N_LEVELS),
    "fix": np.geomspace(5.0, 1.0, N_LEVELS),
    "light": np.geomspace(4.0, 1.3, N_LEVELS),
}
BATCH_G = (300, 900)  # and in between
TRIALS, STEPS = 40, 10
TRIES = 6  # colours to try for one word
CLEAR_OF = 0.35  # of the size: what every wrong addition leaves at least
LEAST_G = 0.1  # an addition smaller than this is no exercise
LIGHTNESS = ("lighter", "darker")
UP = {"lighter", "cleaner", "redder", "yellower"}
WHAT = {
    "lighter": "lightness", "cleaner": "how clean or dull they are", "redder": "the hue",
    "yellower": "the hue",
}  # fmt: skip
WHAT |= {OPPOSITE[word]: what for word, what in WHAT.items()}
MEANING = (
    "L*: 0 black, 100 white. C*: 0 grey, the larger, the cleaner. h: 0 red, 90 yellow, 180 green,"
    " 270 blue (degrees)."
)
NUMBER = {
    "lighter": "L*: the higher is lighter",
    "cleaner": "C*, the distance of a*, b* from grey: the larger is cleaner",
    "redder": "a*: the higher is redder",
    "yellower": "b*: the higher is yellower",
}
NUMBER |= {OPPOSITE[word]: number for word, number in NUMBER.items()}


# ---- see the difference


def axis_of(seed: int) -> str:
    """The direction that a seed asks for, so that it is known before the exercise is made."""
    return list(AXES)[crc32(str(seed).encode()) % len(AXES)]


def see(shop: PracticeShop, rng: Generator, *, seed: int, level: int) -> Exercise:
    """Two swatches: which way is the second off?  By level down to 0.5 dE00."""
    size = float(SIZES["see"][level])
    wanted, found = "", None
    while found is None:  # not every colour can go every way
        wanted = str(rng.choice(np.array(AXES[axis_of(seed)])))
        tries = (_pair(shop, rng, size, wanted) for _ in range(TRIES))
        found = next((pair for pair in tries if pair is not None), None)
    target, sample = swatch("target", found[0]), swatch("sample", found[1])
    pairs = [ordered(wanted), ("cleaner", "duller") if wanted in LIGHTNESS else LIGHTNESS]
    words = [word for i in rng.permutation(len(pairs)) for word in pairs[i]]
    return Exercise(
        kind="see",
        seed=seed,
        level=level,
        question="Compare the sample with the target. The sample is above all ...",
        facts=(
            ("Target", target.numbers),
            ("Sample", sample.numbers),
            ("C* and h", " to ".join(map(_C_h, (target, sample)))),
            ("They mean", MEANING),
        ),
        swatches=(target, sample),
        choices=tuple(_seen_choice(word, wanted, target, sample) for word in words),
        answer=words.index(wanted),
        hint=f"The largest part of the difference is in {WHAT[wanted]}. In the numbers that is"
        f" {NUMBER[wanted]}.",
        explanation=_seen(target, sample, wanted),
    )


def _C_h(swatch: Swatch) -> str:
    a, b = swatch.lab[1:]
    return f"C* {np.hypot(a, b):.1f}  h {np.degrees(np.arctan2(b, a)) % 360:.0f}"


def ordered(word: str) -> tuple[str, str]:
    """A word and its opposite, the one that goes with the higher number first."""
    return (word, OPPOSITE[word]) if word in UP else (OPPOSITE[word], word)


def _pair(shop: PracticeShop, rng: Generator, size: float, word: str) -> tuple[Array, Array] | None:
    """A target and a sample (n_wl,) that is `size` dE00 off and above all `word`."""
    c = mixture(shop, rng)
    R = drawdown_R(shop.bench, c)
    lab = Lab(R, LIGHTS[0], OBSERVER)
    for sample in _samples(shop, rng, c, R, size):
        said = direction(lab, Lab(sample, LIGHTS[0], OBSERVER)).split()
        # One word only: every other part is small beside it.
        if said[-1] == word and "," not in " ".join(said) and _shows(R, sample, word):
            return R, sample
    return None


def _samples(shop: PracticeShop, rng: Generator, c: Array, R: Array, size: float) -> Array:
    """Mixtures (n, n_wl) that are `size` dE00 from `c`, each another way."""
    n = len(c)
    more = rng.exponential(1.0, (TRIALS, n)) * (rng.random((TRIALS, n)) < 0.3) * 0.2
    other = c * np.exp(rng.normal(0, 0.8, (TRIALS, n))) + more * rng.random((TRIALS, 1)) ** 2
    other /= other.sum(axis=1, keepdims=True)
    t = np.linspace(0, 1, STEPS)[:, None, None] ** 2
    away = _away(R, drawdown_R(shop.bench, c + t * (other - c)))  # (STEPS, TRIALS)
    far = np.flatnonzero(away[-1] >= size)
    at = np.array([_crossing(away[:, j], t[:, 0, 0], size) for j in far])
    mixed: Array = drawdown_R(shop.bench, c + at.reshape(-1, 1) * (other[far] - c))
    return mixed[np.abs(_away(R, mixed) / size - 1) < 0.1]


def _away(R: Array, others: Array) -> Array:
    return de00(Lab(R, LIGHTS[0], OBSERVER), Lab(others, LIGHTS[0], OBSERVER))


def _crossing(away: Array, t: Array, size: float) -> float:
    """Where a curve first comes to `size`."""
    k = int(np.argmax(away >= size))
    low, high = away[k - 1], away[k]
    return float(t[k - 1] + (t[k] - t[k - 1]) * (size - low) / (high - low))


def _shows(R: Array, sample: Array, word: str) -> bool:
    """Whether a screen of 8 bits a colour can show the two, and shows the difference too."""
    if not np.all(on_screen(np.stack([R, sample]))):
        return False
    shown = [hex_Lab(swatch("", each).hex) for each in (R, sample)]
    return main_word(*shown) == word


def _seen_choice(word: str, right: str, target: Swatch, sample: Swatch) -> Choice:
    told = f"the sample is {direction(target.lab, sample.lab)}."
    if word == OPPOSITE[right]:
        told = f"it is the other way round, not {word} but {right}: {_step(target, sample, right)}"
    elif word != right:
        told = f"not {word}: above all the sample is {right}: {_step(target, sample, right)}"
    return Choice(text=word, worth=float(word == right), told=told)


def _step(target: Swatch, sample: Swatch, word: str) -> str:
    """The number that says so."""
    if word in ("cleaner", "duller"):
        C = [float(np.hypot(*each.lab[1:])) for each in (target, sample)]
        return f"C* goes from {C[0]:.1f} to {C[1]:.1f}."
    row = {"lighter": 0, "darker": 0, "redder": 1, "greener": 1}.get(word, 2)
    name = ("L*", "a*", "b*")[row]
    return f"{name} goes from {target.lab[row]:.1f} to {sample.lab[row]:.1f}."


def _seen(target: Swatch, sample: Swatch, word: str) -> str:
    dL, dC, dH = delta_LCH(target.lab, sample.lab)
    away = float(de00(target.lab, sample.lab))
    return (
        f"The sample is {away:.2f} dE00 from the target (D65, 10 degrees): dL* {dL:+.2f},"
        f" dC* {dC:+.2f}, dH* {dH:+.2f}. In the picture the arrow from the target to the sample"
        f" is above all {word}. {_step(target, sample, word)}"
    )


# ---- which ink fixes this


def fix(shop: PracticeShop, rng: Generator, *, seed: int, level: int) -> Exercise:
    """A batch lacks some of one ink: which, and how much?  The right ink alone is worth 0.5."""
    size, factor = float(SIZES["fix"][level]), 3.0 if level < N_LEVELS // 2 else 2.0
    while (made := _short_batch(shop, rng, size, factor)) is None:
        pass
    grams, options = made
    lacks = options[0]
    options = [options[k] for k in rng.permutation(len(options))]
    after = _after(shop, grams, options)
    answer = options.index(lacks)
    target = swatch("target", after[answer])
    batch = swatch("batch", drawdown_R(shop.bench, grams / grams.sum()))
    names = shop.bench.names
    seen = [swatch(f"{names[j]}, {g:.2f} g", R) for (j, g), R in zip(options, after, strict=True)]
    return Exercise(
        kind="fix",
        seed=seed,
        level=level,
        question=f"A batch of {grams.sum():.2f} g is off. Which addition brings it into tolerance?",
        facts=(
            ("Target", target.numbers),
            ("Batch", batch.numbers),
            ("In the batch", _weights(shop, grams)),
        ),
        swatches=(target, batch),
        choices=tuple(
            _fix_choice(names, option, lacks, each, target)
            for option, each in zip(options, seen, strict=True)
        ),
        answer=answer,
        hint=f"The batch is {direction(target.lab, batch.lab)}. Look for the ink that pulls the"
        " other way; then ask how much of it is in there already, and how far a share of that"
        " would take it.",
        explanation=f"The batch is {direction(target.lab, batch.lab)},"
        f" {float(de00(target.lab, batch.lab)):.2f} dE00 from the target. In the picture each"
        f" addition is an arrow from the batch: that of {lacks[1]:.2f} g {names[lacks[0]]} ends"
        " on the target, more of it shoots past, and other inks point elsewhere.",
        after=tuple(seen),
    )


def _short_batch(
    shop: PracticeShop, rng: Generator, size: float, factor: float
) -> tuple[Array, list[Option]] | None:
    """A batch (n_ink,) `size` dE00 short of an ink, and additions, the right one first."""
    full = np.round(float(rng.integers(*BATCH_G)) * mixture(shop, rng, colours=3), 2)
    white = shop.bench.where("white")[0]
    fixers = np.array([k for k in np.flatnonzero(full) if k != white])  # all are in the batch
    i = int(rng.choice(fixers))
    part = np.linspace(0, 0.9, 2 * STEPS)
    short = full - part[:, None] * full[i] * np.eye(len(full))[i]
    R = drawdown_R(shop.bench, full / full.sum())
    away = _away(R, drawdown_R(shop.bench, short / short.sum(axis=1, keepdims=True)))
    if away[-1] < size:
        return None
    lacks_g = round(_crossing(away, part, size) * full[i], 2)
    wrong_g = round(lacks_g * (factor if rng.random() < 0.5 else 1 / factor), 2)
    grams = full - lacks_g * np.eye(len(full))[i]
    options = [(int(j), g) for j in (i, *fixers[fixers != i]) for g in (lacks_g, wrong_g)]
    after = _after(shop, grams, options)
    clear = _away(after[0], after[1:]).min() >= CLEAR_OF * size
    all_seen = np.vstack([after, drawdown_R(shop.bench, grams / grams.sum())])
    shown = bool(np.all(on_screen(all_seen)))
    return (grams, options) if clear and shown and min(lacks_g, wrong_g) >= LEAST_G else None


def _after(shop: PracticeShop, grams: Array, options: Sequence[Option]) -> Array:
    """The batch after each addition, (n, n_wl)."""
    mixed = np.stack([grams + g * np.eye(len(grams))[j] for j, g in options])
    return drawdown_R(shop.bench, mixed / mixed.sum(axis=1, keepdims=True))


def _weights(shop: PracticeShop, grams: Array) -> str:
    order = weighing_order(shop.palette.inks, grams.tolist())
    return ", ".join(f"{shop.bench.names[i]} {grams[i]:.2f} g" for i in order)


def _fix_choice(
    names: Sequence[str], option: Option, lacks: Option, after: Swatch, target: Swatch
) -> Choice:
    (ink, g), (right_ink, right_g) = option, lacks
    right = f"{right_g:.2f} g {names[right_ink]}"
    said = direction(target.lab, after.lab)
    left = f"the batch then {'shows' if said.startswith('no ') else 'is'} {said}"
    away = f"{float(de00(target.lab, after.lab)):.2f} dE00"
    if option == lacks:
        worth, told = 1.0, f"{right} is what it lacked: {left}."
    elif ink == right_ink:
        much = "too much" if g > right_g else "too little"
        worth, told = (
            0.5,
            f"the right ink but {much}: {left}, {away}; {right} brings it into tolerance.",
        )
    else:
        worth, told = 0.0, f"not {names[ink]}: {left}, {away}. It lacks {right}."
    return Choice(text=f"{names[ink]}, {g:.2f} g", worth=worth, told=told)
