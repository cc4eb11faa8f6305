"""Which ways to correct a batch a mixer would take, and when a new batch is better.

Additions alone can bring a batch nearly anywhere, if they bury it.  Nobody pours a thousand
times the batch on top of it: beyond three times, a new batch is cheaper, and this one is a
leftover that some other colour can start from.  The three times are our own, no source.
"""

from collections.abc import Mapping

from matchkit.correcting.correct import Correction

__all__ = ["MOST_TIMES", "verdict", "worth_doing"]

MOST_TIMES = 3.0  # of the batch that an addition may be
LEAST_DE00 = 0.1  # an addition that gains less is not worth a weighing
KEEP = (
    "mix a new batch, and keep this one as a leftover: a row of mixes.csv, which "
    "`matchkit match --leftovers` makes the most of"
)


def worth_doing(ways: Mapping[str, Correction], batch_g: float) -> dict[str, Correction]:
    """Of the ways by name those that bring a batch of `batch_g` in; if none does, the nearest.

    Each addition once, none of more than `MOST_TIMES` the batch, and none that gains nothing.
    """
    sound: dict[str, Correction] = {}
    poured: set[bytes] = set()
    for name, way in ways.items():
        addition = way.additions_g.tobytes()
        if 0 < way.added_g <= MOST_TIMES * batch_g and addition not in poured:
            poured.add(addition)
            sound[name] = way
    coming_in = {name: way for name, way in sound.items() if way.can_be_saved}
    if coming_in or not sound:
        return coming_in
    name, way = min(sound.items(), key=lambda each: float(each[1].de00[0]))
    return {name: way} if way.de00_before[0] - way.de00[0] > LEAST_DE00 else {}


def verdict(
    ways: Mapping[str, Correction],
    batch_g: float,
    room_g: float = float("inf"),
    free: Correction | None = None,
) -> str:
    """Why a batch had better be left, and what to do instead; "" where it comes in.

    `ways` are within `room_g`; `free` is the smallest addition without that limit.
    """
    if any(way.can_be_saved for way in worth_doing(ways, batch_g).values()):
        return ""
    limited = room_g < float("inf")
    out = "this batch can't be brought within tolerance"
    out = f"With room for {room_g:g} g {out}" if limited else out.capitalize()
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
        f"It takes {least_g:.0f} g more {total} to bring this batch in, "
        f"{least_g / batch_g:.0f} times what there is: {KEEP}."
    )
