"""What went wrong with a batch, which ways to correct it are worth doing, and when none is.

Additions can bring a batch to nearly any colour if they are large enough.  Beyond the batch
itself a new batch takes less ink, and this one is a leftover that another colour can start
from.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from matchkit.arrays import Array
from matchkit.correcting.correct import CHANCES, Correction
from matchkit.correcting.diagnose import Belief, beside_the_batch
from matchkit.inks.palette import Palette
from matchkit.inks.recipe import STEPS_TO_TRUST

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


def remarks(palette: Palette, way: Correction, resolution_g: float) -> list[str]:
    """What to know of an addition: inks that are new to the batch, weights that are small."""
    said = []
    if way.foreign:
        saved = "its own inks do not come so near"
        if np.isfinite(way.own_g):
            saved = f"its own inks alone would take {way.own_g:.0f} g"
        said.append(f"New to this batch: {', '.join(way.foreign)}; {saved}")
    small = (way.additions_g > 0) & (way.additions_g < STEPS_TO_TRUST * resolution_g)
    if small.any():
        inks = ", ".join(palette.names[i] for i in np.flatnonzero(small))
        said.append(f"Under {STEPS_TO_TRUST} steps of the balance: {inks}; use a letdown")
    return said


def worth_doing(ways: Mapping[str, Correction]) -> dict[str, Correction]:
    """The additions by name that bring a batch within tolerance, else the nearest; each once."""
    added: dict[bytes, str] = {}
    for name, way in ways.items():
        if way.added_g > 0:
            added.setdefault(way.additions_g.tobytes(), name)
    sound = {name: ways[name] for name in added.values()}
    saving = {name: way for name, way in sound.items() if way.can_be_saved}
    if saving or not sound:
        return saving
    way = min(sound.values(), key=lambda each: float(each.de00[0]))
    return {"nearest": way} if way.de00_before[0] - way.de00[0] > LEAST_DE00 else {}


def verdict(
    ways: Mapping[str, Correction],
    room_g: float = np.inf,
    free: Correction | None = None,
    short: Mapping[str, float] | None = None,
) -> str:
    """Why a batch out of tolerance had better be left, and what to do; "" where it can be saved.

    `ways` are within `room_g` and the stock; `free` is the least addition without these limits,
    None where none does it; `short` are the inks of which it takes more than these grams in stock.
    """
    if any(way.can_be_saved for way in worth_doing(ways).values()):
        return ""
    if room_g > 0 and any(way.chance_in_tolerance >= CHANCES["least"] for way in ways.values()):
        return "By what was weighed and read it should be in tolerance: measure again first."
    limited = room_g < np.inf
    out = "this batch can't be brought within tolerance"
    room = f"room for {room_g:g} g" if room_g > 0 else "no room left in the container"
    out = f"With {room} {out}" if limited else out.capitalize()
    if free is not None:
        told = ", ".join(f"{ink} (in stock: {grams:g} g)" for ink, grams in (short or {}).items())
        more = f", with more {told} than there is" if told else ""
        return f"{out}; {free.added_g:.2f} g would do it ({free.total_g:.0f} g in all){more}."
    times = ", nor with any addition up to the batch's own size"
    return f"{out}{times if limited or not ways else ''}: {KEEP}."
