"""Blind jobs on simulated inks: how often a batch is in tolerance, how true the chances are."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from matchkit.errors import raise_any
from matchkit.practice.rehearse import BATCH_G, play, simulated_shop
from matchkit.practice.scores import deciles, joined, scores
from matchkit.simulator.troubles import USUAL, only

PER_SHOP = 20  # targets of one simulated shop before new inks are drawn
DRAWDOWNS = (3, 10)  # of each ink
TROUBLES = ("all", *USUAL.named)
LIMITS = {
    "targets": (1, 10_000),
    "seed": (0, 10**6),
    "earlier_batches": (0, 200),
    "lots_percent": (0.0, 30.0),
    "tolerance_de00": (0.05, 20.0),
}


@dataclass(frozen=True, kw_only=True)
class RehearsalOptions:
    """How many jobs, and what makes them hard.

    `lots_percent` is the standard deviation of strength between lots, `earlier_batches` how
    many batches have already told about the lots, `drawdowns_per_ink` 3 or 10; `troubles`
    out of `TROUBLES` are what makes a real shop harder, see `simulator.troubles`; another
    `seed` is other inks and other targets.  InputError tells everything that can't be.
    """

    targets: int = 40
    seed: int = 1
    lots_percent: float = 5.0
    tolerance_de00: float = 1.0
    earlier_batches: int = 0
    drawdowns_per_ink: int = 10
    troubles: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        faults = [
            f"{name}: found {value:g}, need {low:g} to {high:g}"
            for name, (low, high) in LIMITS.items()
            if not low <= (value := getattr(self, name)) <= high
        ]
        if self.drawdowns_per_ink not in DRAWDOWNS:
            faults.append(f"drawdowns_per_ink: found {self.drawdowns_per_ink}, need 3 or 10")
        unknown = [name for name in self.troubles if name not in TROUBLES]
        if unknown:
            faults.append(f"troubles: found {', '.join(unknown)}, need {', '.join(TROUBLES)}")
        if not faults and self.earlier_batches and self.targets < 2:
            faults.append(
                "earlier_batches: earlier batches are of other targets; targets must be 2 or more"
            )
        raise_any(faults)


@dataclass(frozen=True, kw_only=True)
class Rehearsal:
    """What came of the jobs: rows of `rehearsal.scores.scores` and of `deciles`."""

    options: RehearsalOptions
    scores: list[dict[str, Any]]
    chances: list[dict[str, Any]]

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit rehearse --json`` prints it."""
        return {
            **asdict(self.options),
            "batch_grams": BATCH_G,
            "scores": self.scores,
            "odds": self.chances,
        }


def rehearse(
    options: RehearsalOptions, progress: Callable[[int, int], None] | None = None
) -> Rehearsal:
    """Blind jobs in as many simulated shops as they take.

    `progress` is called with the number of targets matched, and of all.
    """
    parts, total = [], options.targets
    troubles = only(*(USUAL.named if "all" in options.troubles else options.troubles))
    for k, first in enumerate(range(0, total, PER_SHOP)):
        shop = simulated_shop(
            1000 * options.seed + k,
            min(PER_SHOP, total - first),
            drawdowns_per_ink=options.drawdowns_per_ink,
            troubles=troubles,
            halves=("white", "black") if troubles.card else ("white",),
            progress=progress and _further(progress, first, total),
        )
        parts.append(
            play(
                shop,
                lots_percent=options.lots_percent,
                tolerance_de00=options.tolerance_de00,
                earlier=options.earlier_batches,
            )
        )
    played = joined(parts)
    within = played.de00["matchkit"][:, 0] <= played.tolerance_de00
    return Rehearsal(
        options=options, scores=scores(played), chances=deciles(played.chance[:, 0], within)
    )


def _further(
    progress: Callable[[int, int], None], first: int, total: int
) -> Callable[[int, int], None]:
    return lambda done, _: progress(first + done, total)
