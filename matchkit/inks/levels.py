"""Which mixtures tell most about an ink: the levels of its ladders.

Every ink is let down in white, in clear, with a little black, and stands alone.  Levels
are taken in the order in which they help; the first three are one in white, one in
clear and the ink alone.  Tried on the simulator with shares that err by 1 %: against
two in white and none in clear that halves the error of half-strength mixtures and takes
that of clear-based ones from 2.5 to 0.1 dE00, median; pastels lose 0.04.

Percents are by mass.  A ladder runs from weak to strong, for one pot.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from matchkit.inks.shop import Ink

FEWEST, MOST = 3, 13  # drawdowns of one ink

WORK_ORDER = ("white", "clear", "colour", "black")
ALONE = 1
# Letdowns of a colour in white: from light to deep, each 3.3 times the one before, low
# enough for the strongest inks.
LIGHTEST, DEEPEST, STEPS = 0.5, 60.0, 5
WHITE_ORDER = (9, 6, 2, 4, 7)
BETWEEN_ORDER = (13, 11, 12)  # between the first four, where more are asked for
IN_CLEAR = ((20.0, 3), (50.0, 5))  # below 20 % many colours do not hide the card
GREYED, GREYED_ORDER = 4.0, 8  # percent of black stirred into the deepest letdown
BOTH_ORDER = 10  # the deepest letdown in clear and as much white as it holds clear
BLACK_IS = 0.6  # a black takes this part of a colour's percents
# A white in clear, or a clear in white: percents of the white.
WHITE_IN_CLEAR = ((10.0, 5), (20.0, 2), (33.0, 6), (50.0, 3), (70.0, 7), (86.0, 4))
BLACK_IN_WHITE = ((1.0, 8), (4.0, 9))
BLACK_IN_CLEAR = ((12.0, 9), (30.0, 8))


@dataclass(frozen=True, kw_only=True)
class Level:
    """A mixture to draw down: shares of inks, 0-1; `order` says how early it is wanted."""

    ink: str  # whose ladder this is
    label: str
    order: int
    shares: tuple[tuple[str, float], ...]


Ladder = list[Level]


@dataclass(frozen=True, kw_only=True)
class _Bases:
    """What letdowns of a series are made with; None: the series has none."""

    white: Ink | None
    clear: Ink | None
    black: Ink | None


def ladders(inks: Sequence[Ink], levels: int, new_ink: str | None) -> list[Ladder]:
    """Ladders in the order of the work, `levels` drawdowns for each ink or for `new_ink`.

    Whites first, blacks last, so that knives meet ever stronger inks.  A clear that the
    white's ladder is let down in gets none of its own.

    >>> inks = [Ink(name="White", role="white"), Ink(name="Red", role="colour")]
    >>> [[level.label for level in ladder] for ladder in ladders(inks, 4, "Red")]
    [['1.7 in white', '5.5 in white', '18 in white'], ['masstone']]
    """
    found: list[Ladder] = []
    for series in dict.fromkeys(ink.series for ink in inks):
        members = [ink for ink in inks if ink.series == series]
        white, clear, black = (
            next((ink for ink in members if ink.role == role), None)
            for role in ("white", "clear", "black")
        )
        bases = _Bases(white=white, clear=clear, black=black)
        for ink in sorted(members, key=lambda ink: WORK_ORDER.index(ink.role)):
            if new_ink in (None, ink.name):
                own = _of_ink(ink, bases, planned_alone=new_ink is not None)
                found += _chosen([_allowed(ladder, members) for ladder in own], levels)
    return found


def _allowed(ladder: Ladder, inks: Sequence[Ink]) -> Ladder:
    """Without the mixtures that hold more of an ink than its maker allows."""
    limit = {ink.name: ink.max_percent / 100 for ink in inks}
    return [level for level in ladder if all(c <= limit[name] + 1e-9 for name, c in level.shares)]


def _chosen(found: Sequence[Ladder], levels: int) -> list[Ladder]:
    """The `levels` that are wanted first; what is left keeps its pots."""
    wanted = sorted(level.order for ladder in found for level in ladder)[:levels]
    kept = [[level for level in ladder if level.order in wanted] for ladder in found]
    return [ladder for ladder in kept if ladder]


def _of_ink(ink: Ink, bases: _Bases, *, planned_alone: bool) -> list[Ladder]:
    if ink.role == "white":
        # A black let down in this white says the same, if it is planned too.
        black = bases.black if planned_alone or ink != bases.white else None
        found = [_pairs(ink, bases.clear, WHITE_IN_CLEAR), _pairs_of(black, ink, BLACK_IN_WHITE)]
        return [*found, _masstone(ink)]
    if ink.role == "clear":
        if bases.white and ink == bases.clear and not planned_alone:
            return []
        found = [_pairs_of(bases.white, ink, WHITE_IN_CLEAR)]
        return [*found, _pairs_of(bases.black, ink, BLACK_IN_CLEAR)]
    return [_in_white(ink, bases), _in_clear(ink, bases), _masstone(ink)]


def _in_white(ink: Ink, bases: _Bases) -> Ladder:
    """Light to deep, and at the end a little black."""
    if bases.white is None:
        return []
    percents = in_white_percents(ink)
    between = [_two_digits((a * b) ** 0.5) for a, b in pairwise(percents[:-1])]
    steps = [*zip(percents, WHITE_ORDER, strict=True), *zip(between, BETWEEN_ORDER, strict=True)]
    ladder = _pairs(ink, bases.white, sorted(steps))
    if bases.black and ink.role != "black":
        ladder.append(_stirred_in(ladder[-1], bases.black, GREYED / 100, GREYED_ORDER, "greyed"))
    return ladder


def _in_clear(ink: Ink, bases: _Bases) -> Ladder:
    """Two depths, and at the end as much white as there is clear.

    An ink with a limit is not drawn down alone: its deepest letdown stands for that.
    """
    if bases.clear is None:
        return []
    light, deep = (percent * _scale(ink) for percent, _ in IN_CLEAR)
    (_, light_order), (_, deep_order) = IN_CLEAR
    if ink.max_percent < 100:
        light, deep, deep_order = min(light, 0.4 * ink.max_percent), ink.max_percent, ALONE
    steps = ((_two_digits(light), light_order), (deep, deep_order))
    ladder = _pairs(ink, bases.clear, steps)
    if bases.white:
        share = (1 - deep / 100) / (2 - deep / 100)
        both = _stirred_in(ladder[-1], bases.white, share, BOTH_ORDER, "in white and clear")
        ladder.append(both)
    return ladder


def in_white_percents(ink: Ink) -> list[float]:
    """Letdowns of a colour or black in white, within its limit, light to deep.

    >>> in_white_percents(Ink(name="Red", role="colour"))
    [0.5, 1.7, 5.5, 18.0, 60.0]
    """
    deepest = min(DEEPEST * _scale(ink), ink.max_percent)
    lightest = min(LIGHTEST * _scale(ink), deepest / 40)
    *lighter, _ = np.geomspace(lightest, deepest, STEPS).tolist()
    return [*(_two_digits(percent) for percent in lighter), deepest]


def _scale(ink: Ink) -> float:
    return BLACK_IS if ink.role == "black" else 1.0


def _two_digits(percent: float) -> float:
    return float(f"{percent:.2g}")


def _masstone(ink: Ink) -> Ladder:
    if ink.max_percent < 100:
        return []
    return [Level(ink=ink.name, label="masstone", order=ALONE, shares=((ink.name, 1.0),))]


def _pairs(ink: Ink, base: Ink | None, steps: Sequence[tuple[float, int]]) -> Ladder:
    """`ink` let down in `base`, for each percent with its order."""
    if base is None:
        return []
    return [
        Level(
            ink=ink.name,
            label=f"{percent:g} in {base.role}",
            order=order,
            shares=((base.name, 1 - percent / 100), (ink.name, percent / 100)),
        )
        for percent, order in steps
    ]


def _pairs_of(strong: Ink | None, ink: Ink, steps: Sequence[tuple[float, int]]) -> Ladder:
    """The ladder of `ink` in which `strong` is let down: percents are those of `strong`."""
    if strong is None:
        return []
    word = "with" if strong.role == "black" else "in"
    shares = [(level, 100 * dict(level.shares)[ink.name]) for level in _pairs(strong, ink, steps)]
    return [
        replace(level, ink=ink.name, label=f"{percent:.3g} {word} {strong.role}")
        for level, percent in shares
    ]


def _stirred_in(before: Level, other: Ink, share: float, order: int, label: str) -> Level:
    """The mixture `before` with `other` stirred in, up to a share of the whole."""
    shares = tuple((name, part * (1 - share)) for name, part in before.shares)
    percent = 100 * dict(shares)[before.ink]
    return Level(
        ink=before.ink,
        label=f"{percent:.3g} {label}",
        order=order,
        shares=(*shares, (other.name, share)),
    )
