"""How one colour looks beside another, in the words of the trade."""

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.tristimulus import de00

NEUTRAL = 6.0  # C* below which hue has no direction of its own
FAR_TURN = np.radians(45)  # beyond it a turn of hue is no step towards a neighbouring colour
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
    da, db = a_2 - a_1, b_2 - b_1
    parts = [(float(de00(target, [L_2, a_1, b_1])), "lighter" if L_2 > L_1 else "darker")]
    turn = np.angle((a_2 + 1j * b_2) * (a_1 - 1j * b_1))
    far = abs(turn) > FAR_TURN
    if C_1 < NEUTRAL or (far and C_2 >= NEUTRAL):
        scale = float(de00(target, [L_1, a_2, b_2])) / max(np.hypot(da, db), 1e-12)
        parts += [(abs(da) * scale, _red(da)), (abs(db) * scale, _yellow(db))]
    else:
        chroma = float(de00(target, [L_1, *(target[1:] * C_2 / C_1)]))
        parts.append((chroma, "cleaner" if C_2 > C_1 else "duller"))
        if not far and C_2 > 0:  # else the sample is a grey, which has lost its hue
            turned = float(de00(target, [L_1, *(sample[1:] * C_1 / C_2)]))
            parts.append((turned, _hue_word(a_1, b_1, turn, da, db)))
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


def _hue_word(a_1: float, b_1: float, turn: float, da: float, db: float) -> str:
    """A turn of hue, named by the axis along which it moves most.

    Where chroma changes too, that axis may show the opposite sign; then the other one is
    named, so that no word contradicts the numbers beside it.
    """
    step_a, step_b = -b_1 * np.sign(turn), a_1 * np.sign(turn)
    along_a = abs(step_a) > abs(step_b)
    if along_a and step_a * da < 0:
        along_a = False
    elif not along_a and step_b * db < 0:
        along_a = True
    return _red(da) if along_a else _yellow(db)
