"""Which drawdowns look wrong, and what may have happened to them."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.fitting.constants import f_scale
from matchkit.inks.palette import Palette, reflectance, reflectance_jacobian
from matchkit.inks.shop import Drawdown

Array = NDArray[np.float64]

AT_LEAST = 1.0  # dE00: less is named only where it looks like a weighing error
TIMES = 6.0  # of the usual error
SPECULAR = 0.04  # share of light off a smooth surface of index 1.5 [Fresnel]
# A weighing error moves a whole spectrum along one known line.  It is named where the error is
# so many times the usual one, and the slip at least this large, this many of its standard
# deviations from 0, and leaves at most this share of the misfit.  Chosen on simulated shops
# that tests/studies/outliers.py does not use.
STANDS_OUT, LEAST_LOG, LEAST_Z, MOST_LEFT = 1.5, 0.06, 5.0, 0.3
REACH_NM = 40.0  # over which errors of the model and of a drawdown go together
NOISE_F = 4e-4  # of a reading on the f scale
LEAST_USUAL = 0.05  # dE00: no shop repeats its drawdowns better


def explain(
    drawdowns: Sequence[Drawdown],
    C: Array,
    palette: Palette,
    predicted: Array,
    light: str,
    observer: int,
) -> tuple[str, ...]:
    """One line for each drawdown that the others contradict, the worst first.

    `C` (n_drawdown, n_ink) holds mass fractions; `predicted` (n_drawdown, n_wl) is each
    drawdown as predicted by a fit without it.
    """
    measured = np.array([d.R for d in drawdowns])
    error = de00(Lab(measured, light, observer), Lab(predicted, light, observer))
    main = np.array([main_ink(c, palette) for c in C])
    lines = []
    for row in np.argsort(-error):
        usual = usual_error(error, main == main[row], row)
        line = outlier_words(
            drawdowns[row], C[row], palette, predicted[row], usual, light, observer
        )
        lines += [line] if line else []
    return tuple(lines)


def usual_error(error: Array, of_ink: NDArray[np.bool_], without: int | None = None) -> float:
    """The usual dE00 of a shop's drawdowns, or of one ink's where that is larger.

    `error` (n_drawdown,); `of_ink` marks the drawdowns of that ink, `without` one to leave out.

    >>> usual_error(np.array([0.1, 0.1, 0.1, 0.3, 2.0]), np.array([0, 0, 0, 1, 1]) > 0, 4)
    0.3
    """
    own = of_ink.copy()
    if without is not None:
        own[without] = False
    return float(max(np.median(error), np.median(error[own]) if own.any() else 0.0))


def outlier_words(
    drawdown: Drawdown,
    c: Array,
    palette: Palette,
    predicted: Array,
    usual: float,
    light: str,
    observer: int,
) -> str:
    """What looks wrong with one drawdown, in words; "" if nothing does.

    `c` (n_ink,) holds its mass fractions, `predicted` (n_wl,) its reflectance by a fit
    without it, `usual` the dE00 by which drawdowns of its ink are usually missed.
    """
    error = float(de00(Lab(drawdown.R, light, observer), Lab(predicted, light, observer)))
    if error <= STANDS_OUT * usual:
        return ""
    far_out = error > max(AT_LEAST, TIMES * usual)
    if not far_out and not _looks_mis_weighed(drawdown.R, c, palette, predicted, usual):
        return ""
    return f"{drawdown.name}: off by {error:.1f} dE00 from what the others say; " + _story(
        drawdown.R, c, palette, light, observer
    )


def _looks_mis_weighed(
    R: Array, c: Array, palette: Palette, predicted: Array, usual: float
) -> bool:
    """Whether more or less of the main ink explains nearly all of a misfit beyond noise.

    Generalised least squares of the misfit on its slope with the log of the ink's grams.
    """
    i = main_ink(c, palette)
    told, by_amount = reflectance_jacobian(palette, c)
    by_log = c[i] * (by_amount[i] - c @ by_amount) * f_scale(told)[1]
    miss = f_scale(R)[0] - f_scale(predicted)[0]
    apart = (GRID_NM[:, None] - GRID_NM) / REACH_NM
    model_f = max(usual, LEAST_USUAL) / 116
    covariance = model_f**2 * np.exp(-(apart**2) / 2) + NOISE_F**2 * np.eye(len(GRID_NM))
    scaled = np.linalg.solve(covariance, by_log)
    information = float(by_log @ scaled)
    if information <= 0:
        return False
    log = float(miss @ scaled) / information
    left = miss - log * by_log
    return (
        abs(log) > LEAST_LOG
        and abs(log) * np.sqrt(information) > LEAST_Z
        and left @ np.linalg.solve(covariance, left)
        < MOST_LEFT * (miss @ np.linalg.solve(covariance, miss))
    )


def shift_words(palette: Palette, by: float) -> str:
    """What a reading that is `by` too high everywhere, below 0 too low, is like.

    A surface adds its own reflection only to readings that include the specular part: where
    the drawdowns have it, one can only be missing it, and where not, only have it.
    """
    included = palette.base > 0
    if included == (by < 0):
        part = "excluded" if included else "included"
        return f"it reads as if measured with the specular part {part}, unlike the other drawdowns"
    word = "light" if by > 0 else "dark"
    return (
        f"it reads too {word} by about {100 * abs(by):.0f} % reflectance everywhere, as from a "
        "lost calibration or a wet, dirty or wrong sample"
    )


def _story(R: Array, c: Array, palette: Palette, light: str, observer: int) -> str:
    """The simplest change that makes the drawdown fit."""
    measured = Lab(R, light, observer)

    def far(c: Array, by: float = 0.0) -> Array:
        return de00(measured, Lab(np.maximum(reflectance(palette, c) + by, 1e-4), light, observer))

    as_told = float(far(c))
    main = main_ink(c, palette)
    name = palette.inks[main].name
    stories: list[tuple[float, str]] = []
    shares = np.clip(c[main] * np.geomspace(0.25, 4, 161), 0, 1)
    weighed = _with_share(c, main, shares)
    if c[main] < 0.999:
        at = int(np.argmin(far(weighed)))
        stories.append(
            (
                float(far(weighed)[at]),
                f"it reads like {100 * shares[at]:.3g} % {name}, not {100 * c[main]:.3g} % "
                "(mis-weighed?)",
            )
        )
    for other in range(len(c)):
        if c[other] == 0:
            swapped = c.copy()
            swapped[[main, other]] = swapped[[other, main]]
            stories.append(
                (
                    float(far(swapped)) * 1.5,
                    f"it reads like {palette.inks[other].name}, not {name} (mislabelled?)",
                )
            )
    for by in (SPECULAR, -SPECULAR):
        stories.append((float(far(c, by)) * 1.5, shift_words(palette, by)))
    best, text = min(stories)
    if best < 0.4 * as_told:
        return text
    return "was it opaque, well stirred, fully cured, the right card? make it again"


def main_ink(c: Array, palette: Palette) -> int:
    """The position of the ink a drawdown is about: its colour, else black, clear, white."""
    for role in ("colour", "black", "clear", "white"):
        held = [i for i, ink in enumerate(palette.inks) if ink.role == role and c[i] > 0]
        if held:
            return min(held, key=lambda i: -c[i])
    return int(np.argmax(c))


def _with_share(c: Array, main: int, shares: Array) -> Array:
    """`c` with ink `main` at each share, the others keeping their proportions."""
    rest = np.where(np.arange(len(c)) == main, 0, c)
    out: Array = rest / max(rest.sum(), 1e-12) * (1 - shares[:, None])
    out[:, main] = shares
    return out
