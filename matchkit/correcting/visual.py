"""What an eye says of a batch, as a weak measurement: "a touch red, too dark".

Nobody has to own an instrument to say which way a batch is off.  Each word is a direction
beside the target, in the vocabulary of `rank.direction`, with a size that is known only
roughly; what is not mentioned is probably small.  Together they make a colour and a wide
covariance, which `diagnose.infer` takes like a reading.

A sentence describes the batch ("too red", "redder") or asks for a change ("needs more red",
"should be redder", "not red enough"), which is the opposite.

What it can't tell: how strong an ink is, since many inks move a colour the same way, and
anything under another light.  How large "a touch" is, is our own choice, no source.
"""

import re
from dataclasses import dataclass

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target, difference_slope
from matchkit.colorimetry.tristimulus import Lab_jacobian, XYZ_to_Lab
from matchkit.colorimetry.words import NEUTRAL
from matchkit.correcting.diagnose import Round
from matchkit.errors import InputError
from matchkit.inks.palette import Palette, reflectance_jacobian, strength_jacobian

# Direction beside the target: the batch is ...
WAYS = {
    "lighter": ("lighter", "light", "pale", "paler"),
    "darker": ("darker", "dark", "deep", "deeper"),
    "cleaner": ("cleaner", "clean", "bright", "brighter", "vivid", "saturated"),
    "duller": ("duller", "dull", "dirty", "dirtier", "muddy", "muddier", "grey", "greyer"),
    "redder": ("redder", "red", "reddish"),
    "greener": ("greener", "green", "greenish"),
    "yellower": ("yellower", "yellow", "yellowish"),
    "bluer": ("bluer", "blue", "bluish"),
}  # fmt: skip
OPPOSITE = {
    "lighter": "darker", "cleaner": "duller", "redder": "greener", "yellower": "bluer",
}  # fmt: skip
OPPOSITE |= {b: a for a, b in OPPOSITE.items()}
COMPARATIVE = {w for words in WAYS.values() for w in words if w.endswith("er")}

# dE00 that a word stands for, and how sure of it one can be.  The bounds between a touch,
# a plain word and "much" are those of judge.direction: 0.5 and 3.
SIZES = {"a touch": (0.35, 0.25), "": (1.3, 0.7), "much": (4.0, 2.0)}
AMOUNTS = {
    "a touch": ("touch", "hair", "slightly", "little", "bit", "tad", "slight", "barely", "faintly"),
    "much": ("much", "very", "far", "way", "lot", "really", "strongly"),
    "": ("somewhat", "rather", "quite", "clearly"),
}
BELIEVED = 0.9  # of what an eye says: the rest is left to how lots usually are
WIDEST = 20.0  # times the usual spread of lots
UNSAID = 0.6  # dE00 that a difference nobody mentions may well have
ALL_WELL = 0.4  # the same, when the eye finds no difference
ASKS = ("needs", "need", "wants", "want", "should", "must", "make", "lacks", "lack", "wanted")
DESCRIBES = ("too", "is", "looks", "reads", "seems", "comes", "came", "turned")
FILLERS = ("a", "an", "the", "it", "to", "be", "on", "side", "of", "out", "in", "still", "colour",
           "batch", "just", "this", "get", "go", "all")  # fmt: skip
SAME = ("no visible difference", "no difference", "looks right", "spot on", "good match")

WAY_OF = {word: way for way, words in WAYS.items() for word in words}
AMOUNT_OF = {word: amount for amount, words in AMOUNTS.items() for word in words}
WORDS = (
    "light, dark, clean, dull, red, green, yellow, blue; before them a touch, slightly, too, "
    "much, needs more, needs less, not ... enough"
)

GREY = 1.0  # C* of a target below which clean and dull have no direction
HUES = {
    "redder": np.array([0.0, 1.0, 0.0]),
    "greener": np.array([0.0, -1.0, 0.0]),
    "yellower": np.array([0.0, 0.0, 1.0]),
    "bluer": np.array([0.0, 0.0, -1.0]),
}
ALONG = 0.4  # cosine above which a hue word can be a turn of hue; else it is chroma


@dataclass(frozen=True, kw_only=True)
class Said:
    """One thing said of a batch: `way` in the words of `rank.direction`, and its amount."""

    way: str
    amount: str  # "a touch", "" or "much"


def parse(text: str) -> tuple[Said, ...]:
    """What a sentence says of the batch; InputError lists the known words.

    >>> parse("a touch red, too dark")
    (Said(way='redder', amount='a touch'), Said(way='darker', amount=''))
    >>> parse("needs to be much cleaner")
    (Said(way='duller', amount='much'),)
    """
    plain = text.strip().lower().rstrip(".!")
    if plain in SAME:
        return ()
    _check_known(plain)
    said: list[Said] = []
    asks = False
    for joint, part in _parts(plain):
        found, asks = _part(part, joint, asks, text)
        said.append(found)
    _check_sense(said, text)
    return tuple(said)


def offset(text: str, standard: Array) -> tuple[Array, Array]:
    """Lab (3,) of the batch less that of the target, and its covariance (3, 3).

    `standard` is the target's Lab (3,).

    >>> mean, covariance = offset("darker", np.array([50.0, 0.0, 0.0]))
    >>> bool(mean[0] < 0), bool(covariance[0, 0] > 0.2)
    (True, True)
    """
    said = parse(text)
    slope = _slope(standard)
    information, pull = np.zeros((3, 3)), np.zeros(3)
    largest = max((SIZES[each.amount][0] for each in said), default=0.0)
    unsaid = max(UNSAID, 0.35 * largest) if said else ALL_WELL
    axes = [slope @ _direction(each.way, standard) for each in said]
    for each, axis in zip(said, axes, strict=True):
        size, spread = SIZES[each.amount]
        unit = axis / np.linalg.norm(axis)
        information += np.outer(unit, unit) / spread**2
        pull += size * unit / spread**2
    for unit in _across(axes):
        information += np.outer(unit, unit) / unsaid**2
    to_Lab = np.linalg.inv(slope)
    covariance = to_Lab @ np.linalg.inv(information) @ to_Lab.T
    return to_Lab @ np.linalg.solve(information, pull), covariance


def look_round(text: str, grams: Array, target: Target) -> Round:
    """A round for `diagnose.infer`: `grams` (n_ink,) in the bucket look like `text` says.

    Beside the target, under its first light.
    """
    mean, covariance = offset(text, target.lab[0])
    return Round(grams=grams, lab=target.lab[0] + mean, lab_covariance=covariance)


def lots_that_explain(
    palette: Palette, told: Round, target: Target, lots: tuple[Array, Array]
) -> tuple[Array, Array]:
    """`lots`, mean and covariance of log strength (n_ink,), as wide as the eye's word asks.

    Whoever says that a batch is off has seen it.  The usual spread of lots would say that
    the batch is most likely well, and the stronger the word the less it would be believed;
    so the spread is raised until the batch as it was seen is as good as certain, and the
    usual sizes only say which inks it most likely was.
    """
    assert told.lab is not None and told.lab_covariance is not None
    mean, covariance = lots
    c = told.grams / told.grams.sum()
    R, _ = reflectance_jacobian(palette, c, np.exp(mean))
    W, white = target.W[:, :3], target.whites[0]
    seen = told.lab - XYZ_to_Lab(R @ W, white)
    off = float(np.linalg.norm(seen))
    if off < 1e-9:
        return lots
    slope = Lab_jacobian(R @ W, white) @ W.T @ strength_jacobian(palette, c, np.exp(mean)).T
    way = seen / off
    usual = float(way @ slope @ covariance @ slope.T @ way)
    unsure = float(way @ told.lab_covariance @ way)
    wider = BELIEVED / (1 - BELIEVED) * unsure / max(usual, 1e-9)
    return mean, covariance * float(np.clip(wider, 1.0, WIDEST**2))


def _check_known(plain: str) -> None:
    known = {*WAY_OF, *AMOUNT_OF, *ASKS, *DESCRIBES, *FILLERS, "more", "less", "not", "enough",
             "and", "but"}  # fmt: skip
    strange = [word for word in re.findall(r"[^\s,;.&+]+", plain) if word not in known]
    if strange or not plain:
        what = ", ".join(repr(word) for word in dict.fromkeys(strange)) or "nothing"
        raise InputError(
            f"what the eye says: {what} is not understood; directions are "
            f"{', '.join(WAY_OF)}; amounts are {', '.join(AMOUNT_OF)}; write it as "
            "'a touch red, too dark' or 'needs to be cleaner'"
        )


def _parts(plain: str) -> list[tuple[str, list[str]]]:
    """Words of each part, and what joins it to the part before."""
    pieces = re.split(r"([,;.&+]|\band\b|\bbut\b)", plain)
    parts, joint = [], ""
    for piece in pieces:
        words = piece.split()
        if piece in (",", ";", ".", "&", "+", "and", "but"):
            joint = "and" if piece in ("and", "&", "+") else (joint if joint == "and" else piece)
        elif words:
            parts.append((joint, words))
            joint = ""
    return parts


def _part(words: list[str], joint: str, asks: bool, text: str) -> tuple[Said, bool]:
    """What one part says, and whether it asks for a change."""
    ways = [word for word in words if word in WAY_OF]
    if len(ways) != 1:
        raise InputError(
            f"what the eye says: {' '.join(words)!r} in {text!r} holds {len(ways)} directions; "
            "say one at a time, with commas between"
        )
    own = any(word in ASKS for word in words)
    describes = any(word in DESCRIBES for word in words) and not own
    short = "not" in words and "enough" in words
    if "not" in words and not short:
        raise InputError(
            f"what the eye says: {text!r}: write 'not ... enough', or the opposite word"
        )
    goes_on = asks and not own and not describes and not short
    if (
        goes_on
        and joint != "and"
        and ways[0] not in COMPARATIVE
        and not {"more", "less"} & {*words}
    ):
        raise InputError(
            f"what the eye says: {text!r}: does the batch look {ways[0]}, or should it be? "
            f"write 'too {ways[0]}' or 'needs more {ways[0]}'"
        )
    asks = own or goes_on
    wrong_way = asks ^ short ^ ("less" in words)
    way = WAY_OF[ways[0]]
    amounts = [AMOUNT_OF[word] for word in words if word in AMOUNT_OF]
    amount = "a touch" if "a touch" in amounts else (amounts[0] if amounts else "")
    return Said(way=OPPOSITE[way] if wrong_way else way, amount=amount), asks


def _check_sense(said: list[Said], text: str) -> None:
    ways = [each.way for each in said]
    for way in ways:
        if OPPOSITE[way] in ways:
            raise InputError(
                f"what the eye says: {text!r}: {way} and {OPPOSITE[way]} at once; look again"
            )
        if ways.count(way) > 1:
            raise InputError(f"what the eye says: {text!r}: {way} is said twice; say it once")


def _slope(standard: Array) -> Array:
    """Slope (3, 3) with Lab of the parts that words weigh, see `rank.direction`.

    Beside a colour these are lightness, chroma and turn of hue, each alone: the rotation
    term of CIEDE2000 would make a turned blue a duller one.  A grey is taken as a hair off.
    """
    a_little = np.where(np.hypot(*standard[1:]) < 1e-3, np.array([0.0, 1e-3, 1e-3]), 0.0)
    near = standard + a_little
    slope: Array = difference_slope(near, near)[1]
    C = float(np.hypot(*standard[1:]))
    if C < NEUTRAL:
        return slope
    _, x, y = standard / C
    frame = np.array([[1.0, 0.0, 0.0], [0.0, x, y], [0.0, -y, x]])
    alone: Array = np.linalg.norm(slope @ frame.T, axis=0)[:, None] * frame
    return alone


def _direction(way: str, standard: Array) -> Array:
    """Lab direction (3,) of a way to be off, from a target."""
    if way in ("lighter", "darker"):
        return np.array([1.0 if way == "lighter" else -1.0, 0.0, 0.0])
    C = float(np.hypot(*standard[1:]))
    outward = np.array([0.0, *standard[1:]]) / max(C, 1e-12)
    if way in ("cleaner", "duller"):
        if C < GREY:
            raise InputError(
                f"what the eye says: {way!r} has no direction beside a grey; "
                "say red, green, yellow or blue"
            )
        return outward if way == "cleaner" else -outward
    axis = HUES[way]
    if C < NEUTRAL:
        return axis
    # Beside an orange "redder" is a turn of hue; beside a red it can only mean more of it.
    turn = np.array([0.0, -outward[2], outward[1]])
    along = float(axis @ turn)
    return turn * np.sign(along) if abs(along) >= ALONG else outward * np.sign(axis @ outward)


def _across(axes: list[Array]) -> list[Array]:
    """Unit vectors across all of `axes` (3,): what was not spoken of."""
    if not axes:
        return list(np.eye(3))
    _, size, rows = np.linalg.svd(np.array(axes))
    told = int((size > 1e-6 * size[0]).sum())
    return list(rows[told:])
