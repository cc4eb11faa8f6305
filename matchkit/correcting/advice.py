"""What went wrong with a batch, which ways to correct it are worth doing, and when none is.

Additions can bring a batch to nearly any colour if they are large enough.  Beyond three times
the batch a new batch is cheaper, and this one is a leftover that another colour can start
from.  The three times are our own, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchkit.correcting.correct import Correction
from matchkit.correcting.diagnose import Belief, beside_the_batch
from matchkit.inks.palette import Palette

Array = NDArray[np.float64]

MOST_TIMES = 3.0  # of the batch that an addition may be
ERROR_G, ERROR_SHARE = 0.2, 0.03  # a weight farther off than both is an error worth telling
LEAST_DE00 = 0.1  # an addition that gains less is not worth a weighing
KEEP = (
    "mix a new batch, and keep this one as a leftover: a row of mixes.csv, which "
    "`matchkit match --leftovers` makes the most of"
)


@dataclass(frozen=True, kw_only=True)
class WeighingError:
    """An ink of which another amount than was noted went in, most likely; in grams."""

    ink: str
    noted_g: float
    probably_g: float


@dataclass(frozen=True, kw_only=True)
class LotStrength:
    """An ink that looks stronger (above 0) or weaker than the fitted lot, in percent.

    It is beside the mean of the batch: no colour tells a factor common to all its inks.
    """

    ink: str
    percent: float
    error_percent: float  # standard error


def weighing_errors(
    palette: Palette, belief: Belief, weighed_g: Array
) -> tuple[WeighingError, ...]:
    """The weights `weighed_g` (n_ink,) that most likely were others."""
    off = np.abs(belief.grams - weighed_g)
    return tuple(
        WeighingError(
            ink=palette.names[i],
            noted_g=round(float(weighed_g[i]), 6),
            probably_g=round(float(belief.grams[i]), 2),
        )
        for i in np.flatnonzero(off > np.maximum(ERROR_G, ERROR_SHARE * weighed_g))
    )


def strengths_beside_the_batch(palette: Palette, belief: Belief) -> tuple[Array, Array]:
    """Strengths of the lots in a batch and the errors of their logarithms, (n_ink,) each.

    They are beside the mean of the batch, see `diagnose.beside_the_batch`.
    """
    prior_sd = np.array([ink.lot_spread_percent / 100 for ink in palette.inks])
    told, error = beside_the_batch(belief.log_strength, belief.covariance, prior_sd, belief.grams)
    return np.exp(told), error


def lot_strengths(palette: Palette, belief: Belief) -> tuple[LotStrength, ...]:
    """The inks of a batch that are off by more than 1 % and than their standard error."""
    strengths, error = strengths_beside_the_batch(palette, belief)
    by, error = 100 * (strengths - 1), 100 * error
    off = (belief.grams > 0) & (np.abs(by) > np.maximum(1, error))
    return tuple(
        LotStrength(ink=palette.names[i], percent=float(by[i]), error_percent=float(error[i]))
        for i in np.flatnonzero(off)
    )


def worth_doing(ways: Mapping[str, Correction], batch_g: float) -> dict[str, Correction]:
    """The ways by name that bring a batch of `batch_g` within tolerance, else the nearest.

    Each addition once, none of more than `MOST_TIMES` the batch, and none that gains nothing.
    """
    sound: dict[str, Correction] = {}
    poured: set[bytes] = set()
    for name, way in ways.items():
        addition = way.additions_g.tobytes()
        if 0 < way.added_g <= MOST_TIMES * batch_g and addition not in poured:
            poured.add(addition)
            sound[name] = way
    saving = {name: way for name, way in sound.items() if way.can_be_saved}
    if saving or not sound:
        return saving
    way = min(sound.values(), key=lambda each: float(each.de00[0]))
    return {"nearest": way} if way.de00_before[0] - way.de00[0] > LEAST_DE00 else {}


def verdict(
    ways: Mapping[str, Correction],
    batch_g: float,
    room_g: float = float("inf"),
    free: Correction | None = None,
) -> str:
    """Why a batch had better be left, and what to do instead; "" where it can be corrected.

    `ways` are within `room_g`; `free` is the smallest addition without that limit.
    """
    if any(way.can_be_saved for way in worth_doing(ways, batch_g).values()):
        return ""
    limited = room_g < float("inf")
    out = "this batch can't be brought within tolerance"
    room = f"room for {room_g:g} g" if room_g > 0 else "no room left in the container"
    out = f"With {room} {out}" if limited else out.capitalize()
    saving = [way for way in ways.values() if way.can_be_saved]
    if limited and free is not None and free.can_be_saved:
        saving.append(free)
    least_g = min((way.added_g for way in saving), default=float("inf"))
    if least_g == float("inf"):
        return f"{out}{', nor with any room' if limited else ''}: {KEEP}."
    total = f"({batch_g + least_g:.0f} g in all)"
    if least_g <= MOST_TIMES * batch_g:
        return f"{out}; {least_g:.0f} g would do it {total}."
    return (
        f"It takes {least_g:.0f} g more {total} to bring this batch within tolerance, "
        f"{least_g / batch_g:.0f} times what there is: {KEEP}."
    )
