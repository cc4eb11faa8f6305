"""How one colour looks beside another, in the words of the trade."""

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.tristimulus import de00, delta_LCH

__all__ = ["direction"]

Array = NDArray[np.float64]

NEUTRAL = 6.0  # C* below which hue has no direction of its own
NOTICEABLE = 0.15  # part of a difference, in dE00, that is worth a word
SHARE_OF_WHOLE = 0.35  # a smaller part of the largest one goes without a word


def direction(target: Array, sample: Array) -> str:
    """How the sample looks beside the target, the largest part first.

    Words of the trade: lighter or darker, cleaner or duller, redder or greener,
    yellower or bluer.  A part weighs what it would be alone in CIEDE2000, whose own parts
    mix hue into the chroma of blues.

    >>> direction(np.array([50.0, 30.0, 20.0]), np.array([52.0, 30.0, 20.0]))
    'lighter'
    >>> direction(np.array([50.0, 30.0, 20.0]), np.array([50.0, 30.0, 20.1]))
    'no visible difference'
    """
    (L_1, a_1, b_1), (L_2, a_2, b_2) = target, sample
    C_1, C_2 = np.hypot(a_1, b_1), np.hypot(a_2, b_2)
    parts = [(float(de00(target, [L_2, a_1, b_1])), "lighter" if L_2 > L_1 else "darker")]
    if C_1 < NEUTRAL:
        da, db = a_2 - a_1, b_2 - b_1
        scale = float(de00(target, [L_1, a_2, b_2])) / max(np.hypot(da, db), 1e-12)
        parts += [(abs(da) * scale, _red(da)), (abs(db) * scale, _yellow(db))]
    else:
        turned = sample[1:] * C_1 / C_2 if C_2 > 0 else target[1:]
        chroma = float(de00(target, [L_1, *(target[1:] * C_2 / C_1)]))
        parts.append((chroma, "cleaner" if C_2 > C_1 else "duller"))
        parts.append((float(de00(target, [L_1, *turned])), _hue_word(target, sample)))
    largest = max(size for size, _ in parts)
    told = [
        (size, word) for size, word in parts if size >= max(NOTICEABLE, SHARE_OF_WHOLE * largest)
    ]
    said = [_how_much(size) + word for size, word in sorted(told, reverse=True)]
    return ", ".join(said) or "no visible difference"


def _how_much(size: float) -> str:
    if size < 0.5:
        return "a touch "
    return "much " if size >= 3 else ""


def _red(da: float) -> str:
    return "redder" if da > 0 else "greener"


def _yellow(db: float) -> str:
    return "yellower" if db > 0 else "bluer"


def _hue_word(target: Array, sample: Array) -> str:
    """The hue step named by the axis along which it moves most."""
    turn = np.array([-target[2], target[1]])  # counter-clockwise
    step = turn * np.sign(delta_LCH(target, sample)[2])
    return _red(step[0]) if abs(step[0]) > abs(step[1]) else _yellow(step[1])
