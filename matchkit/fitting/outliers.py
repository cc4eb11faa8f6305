"""Which drawdowns look wrong, and what may have happened to them."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.shop import Drawdown

__all__ = ["explain", "shift_words"]

Array = NDArray[np.float64]

AT_LEAST = 1.0  # dE00: less is not worth a new drawdown
TIMES = 6.0  # of the median held-out error
SPECULAR = 0.04  # share of light off a smooth surface of index 1.5 [Fresnel]


def explain(
    drawdowns: Sequence[Drawdown],
    C: Array,
    palette: Palette,
    error: Array,
    light: str,
    observer: int,
) -> tuple[str, ...]:
    """One line for each drawdown that the others do not foretell, the worst first.

    `C` (n_drawdown, n_ink) and `error` (n_drawdown,) are mass fractions and held-out dE00.
    """
    limit = max(AT_LEAST, TIMES * float(np.median(error)))
    worst = [int(row) for row in np.argsort(-error) if error[row] > limit]
    return tuple(
        f"{drawdowns[row].name}: off by {error[row]:.1f} dE00 from what the others say; "
        + _story(drawdowns[row].R, C[row], palette, light, observer)
        for row in worst
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
    main = _main_ink(c, palette)
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


def _main_ink(c: Array, palette: Palette) -> int:
    """The ink a drawdown is about: its colour, else its black, its clear, its white."""
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
