"""``fit.json``: what a fit found, kept beside the drawdowns it came from."""

import json
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry.grid import N_WL
from matchkit.errors import InputError
from matchkit.files.shop import digest
from matchkit.files.text import label
from matchkit.files.write import write_file
from matchkit.fitting.fit import Fit, Score
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Shop
from matchkit.matching.match import fit_shop
from matchkit.matching.prints import film_fits
from matchkit.optics.film import Film

FILE = "fit.json"
FORMAT = 1


def fitted(folder: str | Path, shop: Shop) -> tuple[dict[str, Fit], str]:
    """The fits of a shop, and a line to say if they were made anew.

    ``fit.json`` is used if its digest agrees with the folder; otherwise the inks are
    fitted now, in memory.
    """
    fits, why = read_fits(folder, shop)
    if fits:
        return fits, ""
    return fit_shop(shop), f"{why}; the inks are fitted anew (`matchkit fit` keeps the result)"


def films_fitted(folder: str | Path, shop: Shop) -> tuple[dict[str, Fit], str]:
    """The fits of films over a ground (`prints.film_fits`), and a line if they are new."""
    films, why = read_fits(folder, shop, kind="films")
    if films:
        return films, ""
    why = f"{why}; films are fitted anew (`matchkit fit` keeps the result)"
    return film_fits(shop), why


def write_fits(
    folder: str | Path, fits: Mapping[str, Fit], films: Mapping[str, Fit] | None = None
) -> None:
    """Write ``fit.json`` whole or not at all, with the film fits if there are any."""
    content = {
        "format": FORMAT,
        "digest": digest(folder),
        "series": [{"series": series, **_plain(found)} for series, found in fits.items()],
    }
    if films:
        content["films"] = [{"series": s, **_plain(found)} for s, found in films.items()]
    try:
        write_file(Path(folder) / FILE, json.dumps(content, ensure_ascii=False) + "\n")
    except InputError as error:
        stands = "the fit stands, but every command fits anew until the folder can be written"
        raise InputError([f"{fault}; {stands}" for fault in error.faults]) from None


def read_fits(
    folder: str | Path, shop: Shop, *, kind: str = "series"
) -> tuple[dict[str, Fit], str]:
    """The fits in ``fit.json``, or none and the reason why it can't be used.

    `kind` is "series" for drawdowns that hide, "films" for films over a ground.
    """
    path = Path(folder) / FILE
    if not path.is_file():
        return {}, f"{label(Path(folder))} has no {FILE}"
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        if content["format"] != FORMAT:
            return {}, f"{FILE} is of another version"
        if content["digest"] != digest(folder):
            return {}, f"{FILE} is of other drawdowns"
        return {entry["series"]: _fit(entry, shop) for entry in content[kind]}, ""
    except (OSError, ValueError, KeyError, TypeError, IndexError):
        return {}, f"{FILE} can't be read"


def _plain(found: Fit) -> dict[str, Any]:
    palette = found.palette
    return {
        "model": palette.model,
        "base": palette.base,
        "gain": palette.gain,
        "k2": palette.k2,
        "deep": palette.deep,
        "film": None if palette.film is None else _plain_film(palette.film),
        "inks": [
            {"ink": ink.name, "crowding": crowding, "K": K.tolist(), "S": S.tolist()}
            for ink, crowding, K, S in zip(
                palette.inks, palette.crowding.tolist(), palette.K, palette.S, strict=True
            )
        ],
        "drawdowns": list(found.drawdowns),
        "fractions": found.fractions.tolist(),
        "de00_fitted": found.de00_fitted.tolist(),
        "de00_held_out": [None if math.isnan(e) else e for e in found.de00_held_out.tolist()],
        "error_Lab": found.error_Lab.tolist(),
        "scores": [[s.model, s.de00_median, s.de00_p95] for s in found.scores],
        "suspects": list(found.outliers),
        "cautions": list(found.warnings),
        "light": found.light,
        "observer": found.observer,
    }


def _plain_film(film: Film) -> dict[str, float | None]:
    """How its light becomes diffuse; an infinite spread is null."""
    spread = film.spread if math.isfinite(film.spread) else None
    return {"spread": spread, "back": film.back, "dim": film.dim}


def _film(entry: Mapping[str, Any] | None) -> Film | None:
    if entry is None:
        return None
    spread = math.inf if entry["spread"] is None else float(entry["spread"])
    return Film(
        R_g=np.zeros(N_WL), spread=spread, back=float(entry["back"]), dim=float(entry["dim"])
    )


def _fit(entry: Mapping[str, Any], shop: Shop) -> Fit:
    known = {ink.name: ink for ink in shop.inks}
    palette = Palette(
        inks=tuple(known[each["ink"]] for each in entry["inks"]),
        K=_array([each["K"] for each in entry["inks"]]),
        S=_array([each["S"] for each in entry["inks"]]),
        crowding=_array([each["crowding"] for each in entry["inks"]]),
        base=float(entry["base"]),
        gain=float(entry["gain"]),
        k2=float(entry["k2"]),
        deep=float(entry["deep"]),
        model=entry["model"],
        film=_film(entry.get("film")),
    )
    return Fit(
        palette=palette,
        drawdowns=tuple(entry["drawdowns"]),
        fractions=_array(entry["fractions"]),
        de00_fitted=_array(entry["de00_fitted"]),
        de00_held_out=_array([math.nan if e is None else e for e in entry["de00_held_out"]]),
        error_Lab=_array(entry["error_Lab"]),
        scores=tuple(Score(model=m, de00_median=a, de00_p95=b) for m, a, b in entry["scores"]),
        outliers=tuple(entry["suspects"]),
        warnings=tuple(entry["cautions"]),
        light=entry["light"],
        observer=int(entry["observer"]),
    )


def _array(values: Sequence[Any]) -> NDArray[np.float64]:
    return np.array(values, dtype=float)
