"""Answers as JSON: one encoder for all of them."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.illuminants import Light, light_name

__all__ = ["by_light", "spectrum", "to_json"]

Array = NDArray[np.float64]
DIGITS = 4  # decimals of Lab values, differences and chances


def to_json(answer: Mapping[str, Any]) -> str:
    """The one JSON document of an answer.  NaN has no place in it."""
    return json.dumps(answer, ensure_ascii=False, allow_nan=False, indent=1)


def spectrum(R: Array) -> dict[str, list[float]]:
    """A reflectance (n_wl,) with its wavelengths."""
    return {
        "wavelength_nm": [int(nm) for nm in GRID_NM],
        "values": [round(float(value), 6) for value in R],
    }


def by_light(lights: Sequence[Light], values: Sequence[Any] | Array) -> dict[str, Any]:
    """Values (n_light, ...) by the name of the light, rounded for reading."""
    rounded = np.round(np.asarray(values, dtype=float), DIGITS).tolist()
    return {light_name(light): value for light, value in zip(lights, rounded, strict=True)}
