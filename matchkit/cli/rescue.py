"""``matchkit correct --plan``: an over-pour or a wrong ink while still weighing."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.shops import by_light, decimals
from matchkit.cli.terminal import spectrum_json, table
from matchkit.correcting.overpour import Rescue, Way, over_pour
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Shop
from matchkit.matching.solve import Target
from matchkit.paper.sheet import SHORT_CAUTIONS, wrapped

Array = NDArray[np.float64]

TITLES = {
    "scaled": "The same colour, a bigger batch",
    "least_growth": "Near enough with the least growth",
    "same_size": "No growth, the best that is left",
}


def rescue(
    shop: Shop, palette: Palette, plan_g: Array, in_g: Array, target: Target, room_g: float
) -> Rescue:
    """The ways on for a batch planned as `plan_g` with `in_g` in the bucket."""
    return over_pour(
        palette,
        plan_g,
        in_g,
        target,
        tolerance_de00=shop.tolerance_de00,
        resolution_g=shop.resolution_g,
        room_g=room_g,
    )


def ways(found: Rescue) -> dict[str, Way]:
    """The ways there are, by name."""
    each = {name: getattr(found, name) for name in TITLES}
    return {name: way for name, way in each.items() if way is not None}


def rescue_json(found: Rescue, palette: Palette, target: Target) -> dict[str, Any]:
    """The ways on, as JSON."""
    return {
        "over": list(found.over),
        "wrong": list(found.wrong),
        "ways": {
            name: {
                "rest": _rest(way, palette),
                "total_grams": round(way.total_g, 6),
                "growth_grams": round(way.growth_g, 6),
                "reflectance": spectrum_json(way.R),
                "de00": by_light(target.light_names, way.de00),
                "fits": way.fits,
                "words": way.words,
            }
            for name, way in ways(found).items()
        },
    }


def rescue_report(found: Rescue, palette: Palette, target: Target, shop: Shop) -> str:
    """The ways on, for people."""
    digits = decimals(shop.resolution_g)
    lines = [f"Over-poured: {', '.join(found.over)}"] if found.over else []
    lines += [f"Not in the plan: {', '.join(found.wrong)}"] if found.wrong else []
    lines = lines or ["Nothing is over the plan."]
    for name, way in ways(found).items():
        told = "  ".join(f"{n} {e:.2f}" for n, e in zip(target.light_names, way.de00, strict=True))
        room = "" if way.fits else "; more than the container takes"
        rows = [[each["ink"], f"{each['grams']:.{digits}f}"] for each in _rest(way, palette)]
        lines += ["", f"{TITLES[name]}: {way.total_g:.{digits}f} g, dE00 {told}{room}"]
        lines.append(
            table(["Still to weigh", "grams"], rows, indent=2) if rows else "  nothing more"
        )
    return "\n".join([*lines, "", *wrapped(SHORT_CAUTIONS, 100)])


def _rest(way: Way, palette: Palette) -> list[dict[str, Any]]:
    order = np.argsort(-way.rest_g, kind="stable")
    return [
        {"ink": palette.names[i], "grams": round(float(way.rest_g[i]), 6)}
        for i in order
        if way.rest_g[i] > 0
    ]
