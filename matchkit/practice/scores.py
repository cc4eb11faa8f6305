"""How many of a row of jobs were in tolerance, how soon, and how true the chances were.

Shares are 0-1; a colour difference is CIEDE2000 under the first light.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from matchkit.arrays import Array, Mask
from matchkit.simulator.simulate import KINDS


@dataclass(frozen=True, kw_only=True, eq=False)
class Played:
    """What came of n jobs.

    `de00` holds for each mixer (n, 3): the first drawdown, after one and after two
    corrections.  `added_percent` (n, 2) of the batch is what the first and the second
    correction added, `chance` (n, 2) what was said of the first drawdown and of the first
    correction.
    """

    kinds: tuple[str, ...]
    tolerance_de00: float
    de00: dict[str, Array]
    added_percent: Array
    chance: Array


def joined(parts: Sequence[Played]) -> Played:
    """Several plays as one."""
    return Played(
        kinds=tuple(kind for part in parts for kind in part.kinds),
        tolerance_de00=parts[0].tolerance_de00,
        de00={m: np.concatenate([part.de00[m] for part in parts]) for m in parts[0].de00},
        added_percent=np.concatenate([part.added_percent for part in parts]),
        chance=np.concatenate([part.chance for part in parts]),
    )


def scores(played: Played) -> list[dict[str, object]]:
    """Rows by mixer and kind: the share of jobs within tolerance, and what was added.

    `first`, `one`, `two` are shares 0-1 on the first drawdown, after one and after two
    corrections, `one_half` the share within half the tolerance after one.
    `added_percent` is the median first addition in percent of the batch over the jobs
    that got one, `added_percent_out` over those whose first drawdown was out, of which
    `one_of_out` were in tolerance after it.
    """
    of = np.array(played.kinds)
    whole = np.full(len(of), True)
    groups = {kind: of == kind for kind in KINDS if kind in played.kinds} | {"all": whole}
    return [
        {"mixer": mixer, "kind": kind, "jobs": int(own.sum()), **_score(played, mixer, own)}
        for mixer in played.de00
        for kind, own in groups.items()
    ]


def _score(played: Played, mixer: str, own: Mask) -> dict[str, float | None]:
    away, tolerance = played.de00[mixer][own], played.tolerance_de00
    if mixer == "ceiling":
        return {"first": _share(away[:, 0] <= tolerance)}
    shares: dict[str, float | None] = {
        "first": _share(away[:, 0] <= tolerance),
        "one": _share(away[:, 1] <= tolerance),
        "two": _share(away[:, 2] <= tolerance),
        "one_half": _share(away[:, 1] <= tolerance / 2),
    }
    if mixer != "matchkit":
        return shares
    added, out = played.added_percent[own, 0], away[:, 0] > tolerance
    return shares | {
        "one_of_out": _share(away[out, 1] <= tolerance) if out.any() else None,
        "added_percent": _median(added[added > 0]),
        "added_percent_out": _median(added[out]),
    }


def deciles(chance: Array, inside: Mask) -> list[dict[str, float | None]]:
    """Tenths of stated chance against the share that came true; empty tenths are left out.

    `chance` (n,) is 0-1, `inside` (n,) is true where the job was within tolerance.

    >>> deciles(np.array([0.82, 0.88, 0.97]), np.array([True, False, True]))[0]
    {'from': 0.8, 'to': 0.9, 'jobs': 2, 'said': 0.85, 'came_true': 0.5}
    """
    tenth = np.minimum((np.asarray(chance) * 10).astype(int), 9)
    return [
        {
            "from": k / 10,
            "to": (k + 1) / 10,
            "jobs": int((tenth == k).sum()),
            "said": _share(chance[tenth == k]),
            "came_true": _share(inside[tenth == k]),
        }
        for k in np.unique(tenth).tolist()
    ]


def _share(values: Array | Mask) -> float:
    return round(float(np.mean(values)), 4)


def _median(values: Array) -> float | None:
    return round(float(np.median(values)), 3) if len(values) else None
