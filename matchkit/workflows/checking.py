"""Is it near enough?  A drawdown against its target."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.errors import InputError
from matchkit.matching.compare import Comparison, compare
from matchkit.matching.rank import Verdict, check_lab
from matchkit.matching.rank import check as judge
from matchkit.workflows.session import Session, by_light
from matchkit.workflows.wanted import Wanted


@dataclass(frozen=True, kw_only=True, eq=False)
class Check:
    """How a drawdown compares with its target.

    `compared` shows it under every light; None for a target known only as Lab.
    """

    wanted: Wanted
    R: Array  # (n_wl,), the mean of the readings
    n_readings: int
    verdict: Verdict
    tolerance_de00: float
    compared: Comparison | None

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit check --json`` prints it."""
        verdict = self.verdict
        delta = {
            light: {**dict(zip("LCH", np.round(d, 4).tolist(), strict=True)), "words": words}
            for light, d, words in zip(verdict.lights, verdict.delta, verdict.words, strict=True)
        }
        answer: dict[str, Any] = {
            "passed": verdict.passed,
            "de00": by_light(verdict.lights, verdict.de00),
            "delta": delta,
            "spread_de00": verdict.spread_de00,
        }
        if self.compared is None:
            answer["observer"] = self.wanted.target.observer
        return answer


def check(session: Session, wanted: Wanted, readings: Array, *, same_file: str = "") -> Check:
    """A drawdown's readings (n_readings, n_wl), 0-1, against the colour that is wanted.

    The inks are not needed, so only ``shop.toml`` is read.  `same_file` names the file that
    holds both spectra, where one and the same was handed in twice.
    """
    if readings.ndim != 2 or not len(readings):
        raise InputError("a drawdown is one reading or more, each a spectrum")
    target, tolerance = wanted.target, session.settings.tolerance_de00
    R = readings.mean(axis=0)
    if same_file:
        session.note(
            "target_is_measured",
            f"target and measured are one and the same, {wanted.name!r} of {same_file}; say which"
            " spectrum is the drawdown",
        )
    elif target.R is not None and np.array_equal(R, target.R):
        session.note(
            "target_is_measured",
            "target and measured hold one and the same spectrum; hand in that of the drawdown",
        )
    if target.R is None:
        light = target.lights[0]
        own = Lab(R, light, target.observer)
        spread = float(de00(Lab(readings, light, target.observer), own).mean())
        verdict = check_lab(
            target.lab[0].tolist(),
            own.tolist(),
            target.light_names[0],
            tolerance,
            spread_de00=spread if len(readings) > 1 else None,
        )
        compared = None
    else:
        lights, observer = target.lights, target.observer
        verdict = judge(
            target.R, readings, lights=lights, observer=observer, tolerance_de00=tolerance
        )
        compared = compare(target.R, [("drawdown", R)], lights=lights, observer=observer)
    return Check(
        wanted=wanted,
        R=R,
        n_readings=len(readings),
        verdict=verdict,
        tolerance_de00=tolerance,
        compared=compared,
    )
