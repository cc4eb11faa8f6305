"""What ``matchkit correct`` answers: a batch on the bench, its corrections, their report."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.findings import slips, what_happened
from matchkit.cli.shops import by_light, decimals
from matchkit.cli.terminal import spectrum_json, table
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.correcting.advice import verdict, worth_doing
from matchkit.correcting.correct import WAYS, Correction, correct
from matchkit.correcting.diagnose import Belief
from matchkit.files.spectrum import read_spectra
from matchkit.fitting.fit import Fit
from matchkit.inks.shop import Shop
from matchkit.matching.compare import Comparison, compare
from matchkit.matching.probability import Spread, chance_text
from matchkit.matching.solve import Target
from matchkit.paper.sheet import SHORT_CAUTIONS, wrapped

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Job:
    """A batch on the bench: what is thought of it, and within what limits it is corrected."""

    shop: Shop
    found: Fit
    target: Target
    belief: Belief
    spread: Spread
    room_g: float
    upper_g: Array
    de00_measured: Array | None
    weighed_g: Array  # (n_ink,)

    def total_g(self, choice: Correction) -> float:
        """The batch after: what the balance showed and what is added."""
        return float(self.weighed_g.sum()) + choice.added_g

    def choose(self, how: Any, room_g: float | None = None) -> Correction:
        """One of the three ways to correct."""
        chosen: Correction = how(
            self.found.palette,
            self.belief,
            self.target,
            self.spread,
            tolerance_de00=self.shop.tolerance_de00,
            resolution_g=self.shop.resolution_g,
            room_g=self.room_g if room_g is None else room_g,
            upper_g=self.upper_g,
        )
        return chosen


def as_json(job: Job, answer: Correction) -> dict[str, Any]:
    names, lights = job.found.palette.names, job.target.lights
    spread = np.sqrt(np.diag(job.belief.covariance))
    return {
        "additions": _additions(names, answer),
        "added_grams": round(answer.added_g, 6),
        "total_grams": round(job.total_g(answer), 6),
        "de00_before": by_light(lights, _before(job, answer)),
        "reflectance": spectrum_json(answer.R),
        "lab": by_light(lights, answer.lab),
        "de00": by_light(lights, answer.de00),
        "chance_in_tolerance": round(answer.chance_in_tolerance, 4),
        "can_be_saved": answer.can_be_saved,
        "strengths": {
            n: round(float(s), 4)
            for n, s, g in zip(names, job.belief.strengths, job.belief.grams, strict=True)
            if g > 0
        },
        "strength_errors": {
            n: round(float(e), 4)
            for n, e, g in zip(names, spread, job.belief.grams, strict=True)
            if g > 0
        },
        "slips": [
            {"ink": ink, "grams": weighed, "probably": probably}
            for ink, weighed, probably in slips(job.found.palette, job.belief, job.weighed_g)
        ],
        "choices": {
            name: {"additions": _additions(names, choice), "de00": by_light(lights, choice.de00)}
            for name, choice in ((name, job.choose(how)) for name, how in WAYS.items())
        },
        **({"observer": job.target.observer} if job.target.R is None else {}),
    }


def report(job: Job, answer: Correction, folder: str) -> str:
    """The answer, for people; `folder` is the shop's."""
    light, batch_g = job.target.lights[0], float(job.weighed_g.sum())
    before, tolerance = _before(job, answer)[0], job.shop.tolerance_de00
    by_eye = job.de00_measured is None and job.belief.seen_Lab is not None
    now = (
        f"Now, as the eye has it: about dE00 {before:.1f}" if by_eye else f"Now: dE00 {before:.2f}"
    )
    lines = [f"{now} under {light}, tolerance {tolerance:g}"]
    lines += what_happened(job.found.palette, job.belief, job.weighed_g)
    if not answer.added_g:
        done = before <= tolerance
        return "\n".join(
            [*lines, "", "Nothing to add." if done else "No addition brings it nearer."]
        )
    every = {name: answer if how is correct else job.choose(how) for name, how in WAYS.items()}
    free = None if job.room_g == np.inf else job.choose(correct, room_g=np.inf)
    leave = verdict(every, batch_g, job.room_g, free)
    if leave:
        lines += ["", leave + _neighbour(folder, job)]
    for name, choice in worth_doing(every, batch_g).items():
        lines += ["", *_choice(job, "The nearest it comes" if leave else name, choice)]
    return "\n".join([*lines, "", *wrapped(SHORT_CAUTIONS, 100)])


def before_and_after(job: Job, answer: Correction) -> Comparison:
    """The batch as it is, and as each way to correct it would make it."""
    assert job.target.R is not None  # a Lab and a picture were refused
    states = {(): ("as it is", job.choose(correct, room_g=0.0).R)}
    for name, how in WAYS.items():
        choice = answer if how is correct else job.choose(how)
        if choice.added_g:
            states.setdefault(tuple(choice.additions_g.tolist()), (name, choice.R))
    return compare(
        job.target.R,
        list(states.values()),
        lights=job.target.lights,
        observer=job.target.observer,
    )


def _before(job: Job, answer: Correction) -> Array:
    if job.de00_measured is None:
        return answer.de00_before
    # Under lights in which nothing was measured, what the inks that were weighed would show.
    return np.where(np.isnan(job.de00_measured), answer.de00_before, job.de00_measured)


def _additions(names: tuple[str, ...], answer: Correction) -> list[dict[str, Any]]:
    order = np.argsort(-answer.additions_g, kind="stable")
    return [
        {"ink": names[i], "grams": float(answer.additions_g[i])}
        for i in order
        if answer.additions_g[i] > 0
    ]


def _choice(job: Job, name: str, choice: Correction) -> list[str]:
    digits = decimals(job.shop.resolution_g)
    told = "  ".join(f"{n} {e:.2f}" for n, e in zip(job.target.lights, choice.de00, strict=True))
    rows = [
        [each["ink"], f"{each['grams']:.{digits}f}"]
        for each in _additions(job.found.palette.names, choice)
    ]
    return [
        f"{name[0].upper()}{name[1:]}: add {choice.added_g:.{digits}f} g, "
        f"{job.total_g(choice):.{digits}f} g in all; then dE00 {told}; "
        f"chance in tolerance {chance_text(choice.chance_in_tolerance)}",
        table(["Add", "grams"], rows, indent=2),
    ]


def _neighbour(folder: str, job: Job) -> str:
    """Which other target of the shop the batch is nearest to."""
    path = Path(folder) / "targets.csv"
    if not path.is_file():
        return ""
    spectra, _ = read_spectra(path)
    observer, light = job.target.observer, job.target.lights[0]
    nothing = job.choose(correct, room_g=0.0)
    away = [float(de00(Lab(s.R, light, observer), nothing.lab[0])) for s in spectra]
    at = int(np.argmin(away))
    return f" As it is, it is nearest to {spectra[at].name} (dE00 {away[at]:.1f})."
