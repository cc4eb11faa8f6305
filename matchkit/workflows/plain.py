"""Arrays as plain data, which is what the ``to_dict`` of an answer is made of."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.illuminants import Light, light_name

DIGITS = 4  # decimals of Lab values, differences and chances


def spectrum(R: NDArray[np.float64]) -> dict[str, list[float]]:
    """A reflectance (n_wl,) with its wavelengths in nm."""
    return {
        "wavelength_nm": [int(nm) for nm in GRID_NM],
        "values": [round(float(value), 6) for value in R],
    }


def by_light(lights: Sequence[Light], values: ArrayLike) -> dict[str, Any]:
    """Values (n_light, ...) by the name of the light, rounded for reading.

    >>> by_light(["D65", "A"], [0.123456, 1])
    {'D65': 0.1235, 'A': 1.0}
    """
    rounded = np.round(np.asarray(values, dtype=float), DIGITS).tolist()
    return {light_name(light): value for light, value in zip(lights, rounded, strict=True)}
