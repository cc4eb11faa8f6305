"""``fit.json``: what a fit found, kept beside the drawdowns it came from."""

import json
import math
from collections.abc import Mapping, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.grid import N_WL
from matchkit.errors import InputError
from matchkit.files.lock import locked
from matchkit.files.text import label
from matchkit.files.write import write_file
from matchkit.fitting.expected_error import ExpectedError
from matchkit.fitting.fit import VERSION, Fit, Score
from matchkit.fitting.held_out import THEORIES
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Ink, Shop
from matchkit.optics.film import Film

FILE = "fit.json"
FORMAT = 3


def digest(shop: Shop) -> str:
    """SHA-256, in hex, of all that a fit depends on, as it was read: same digest, same fit.

    Values count, however their file writes them.  Stock, cost and names of lots change
    daily and change no fit; mixes are not fitted.
    """
    facts = [
        [shop.geometry, shop.observer, shop.lights[0]],
        [[ink.name, ink.role, ink.series] for ink in shop.inks],
        [[d.name, d.inks, d.fractions, d.ground, d.thickness_um] for d in shop.drawdowns],
        [[ground.name, ground.surface] for ground in shop.grounds],
        *([[shop.over, shop.over_um]] if shop.over else []),
    ]
    total = sha256(json.dumps(facts).encode())
    for R in (*(d.readings for d in shop.drawdowns), *(ground.R for ground in shop.grounds)):
        rounded = np.round(R, 9).astype("<f8") + 0.0  # what another machine reads too
        total.update(str(rounded.shape).encode() + rounded.tobytes())
    return total.hexdigest()


def write_fits(
    folder: str | Path,
    shop: Shop,
    fits: Mapping[str, Fit],
    films: Mapping[str, Fit] | None = None,
    *,
    theory: str = THEORIES[0],
) -> None:
    """Write ``fit.json`` whole or not at all, with the film fits if there are any.

    `shop` is what the fits were made of, so that a file which was changed meanwhile is seen.
    `theory` is the one that was asked for.
    """
    content = {
        "format": FORMAT,
        "fitting": VERSION,
        "digest": digest(shop),
        "theory": theory,
        "series": [{"series": series, **fit_plain(found)} for series, found in fits.items()],
    }
    if films:
        content["films"] = [{"series": s, **fit_plain(found)} for s, found in films.items()]
    try:
        with locked(folder):
            write_file(Path(folder) / FILE, json.dumps(content, ensure_ascii=False) + "\n")
    except InputError as error:
        stands = "the fit is good, but every command repeats it until the folder can be written"
        raise InputError([f"{fault}; {stands}" for fault in error.faults]) from None


def fit_content(folder: str | Path) -> Any:
    """What ``fit.json`` holds, {} where that can't be read, None where there is no such file."""
    path = Path(folder) / FILE
    try:
        return json.loads(path.read_text(encoding="utf-8")) if path.is_file() else None
    except (OSError, ValueError, RecursionError):
        return {}


def kept_theory(content: Any) -> str:
    """The theory that was asked for when a ``fit.json`` was written, whatever was drawn since.

    The usual one, of `held_out.THEORIES`, where the file is missing or doesn't say.
    """
    try:
        theory = content["theory"]
    except (LookupError, TypeError):
        return THEORIES[0]
    return theory if theory in THEORIES else THEORIES[0]


def read_fits(
    folder: str | Path, shop: Shop, content: Any
) -> tuple[dict[str, dict[str, Fit]], str]:
    """The fits in the `content` of a folder's ``fit.json``, or none and why it can't be used.

    Fits by series, under "series" for drawdowns that hide, "films" for films over a ground.
    """
    if content is None:
        return {}, f"{label(Path(folder))} has no {FILE}"
    try:
        if (content["format"], content.get("fitting")) != (FORMAT, VERSION):
            return {}, f"{FILE} is of another version"
        if content["digest"] != digest(shop):
            return {}, f"{FILE} is of other drawdowns"
        fits = {
            kind: {entry["series"]: fit_from(entry, shop) for entry in content.get(kind, ())}
            for kind in ("series", "films")
        }
        drawn = {each.name for each in shop.drawdowns}
        if any(not {*fit.drawdowns} <= drawn for kind in fits.values() for fit in kind.values()):
            raise ValueError
        return fits, ""
    except (ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RecursionError):
        return {}, f"{FILE} can't be read"


def fit_plain(found: Fit) -> dict[str, Any]:
    """A fit as plain lists and numbers; `fit_from` reads it."""
    palette = found.palette
    return {
        "model": palette.model,
        "base": palette.base,
        "gain": palette.gain,
        "k2": palette.k2,
        "deep": palette.deep,
        "own": palette.own.tolist(),
        "film": None if palette.film is None else _plain_film(palette, palette.film),
        "inks": [
            {"ink": ink.name, "crowding": crowding, "K": K.tolist(), "S": S.tolist()}
            for ink, crowding, K, S in zip(
                palette.inks, palette.crowding.tolist(), palette.K, palette.S, strict=True
            )
        ],
        "doubt": None if palette.doubt is None else palette.doubt.tolist(),
        "drawdowns": list(found.drawdowns),
        "fractions": found.fractions.tolist(),
        "de00_fitted": found.de00_fitted.tolist(),
        "de00_held_out": [None if math.isnan(e) else e for e in found.de00_held_out.tolist()],
        "error": {
            "like": found.error.like.tolist(),
            "miss_Lab": found.error.miss_Lab.tolist(),
            "width": found.error.width,
            "times": found.error.times.tolist(),
        },
        "scores": [[s.model, s.de00_median, s.de00_p95] for s in found.scores],
        "suspects": list(found.outliers),
        "cautions": list(found.warnings),
        "light": found.light,
        "observer": found.observer,
    }


def _plain_film(palette: Palette, film: Film) -> dict[str, Any]:
    """How its light becomes diffuse, and what the drawdowns lie on if they show it.

    An infinite spread is null, and so is the thickness where `over` gives one later.
    """
    spread = film.spread if math.isfinite(film.spread) else None
    ground, um = palette.lies_on or (None, None)
    return {
        "spread": spread,
        "back": film.back,
        "dim": film.dim,
        "ground": None if ground is None else ground.tolist(),
        "thickness_um": None if um is None else float(um),
    }


def _film(entry: Mapping[str, Any] | None) -> Film | None:
    if entry is None:
        return None
    spread = math.inf if entry["spread"] is None else float(entry["spread"])
    hides = entry["thickness_um"] is None
    return Film(
        R_g=np.zeros(N_WL) if hides else _array(entry["ground"]),
        thickness_um=math.inf if hides else float(entry["thickness_um"]),
        spread=spread,
        back=float(entry["back"]),
        dim=float(entry["dim"]),
    )


def fit_from(entry: Mapping[str, Any], shop: Shop, *, inks: Sequence[Ink] = ()) -> Fit:
    """The fit that `fit_plain` gave; ValueError, LookupError or TypeError if it is none.

    `inks` replace the shop's.
    """
    known = {ink.name: ink for ink in inks or shop.inks}
    error = entry["error"]
    palette = Palette(
        inks=tuple(known[each["ink"]] for each in entry["inks"]),
        K=_array([each["K"] for each in entry["inks"]]),
        S=_array([each["S"] for each in entry["inks"]]),
        crowding=_array([each["crowding"] for each in entry["inks"]]),
        base=float(entry["base"]),
        gain=float(entry["gain"]),
        k2=float(entry["k2"]),
        deep=float(entry["deep"]),
        own=_array(entry["own"]),
        model=entry["model"],
        film=_film(entry.get("film")),
        doubt=None if entry["doubt"] is None else _array(entry["doubt"]),
    )
    found = Fit(
        palette=palette,
        drawdowns=tuple(entry["drawdowns"]),
        fractions=_array(entry["fractions"]),
        de00_fitted=_array(entry["de00_fitted"]),
        de00_held_out=_array([math.nan if e is None else e for e in entry["de00_held_out"]]),
        error=ExpectedError(
            like=_array(error["like"]),
            miss_Lab=_array(error["miss_Lab"]),
            width=float(error["width"]),
            times=_array(error["times"]),
        ),
        scores=tuple(Score(model=m, de00_median=a, de00_p95=b) for m, a, b in entry["scores"]),
        outliers=tuple(entry["suspects"]),
        warnings=tuple(entry["cautions"]),
        light=entry["light"],
        observer=int(entry["observer"]),
    )
    _check(found, shop)
    return found


def _check(found: Fit, shop: Shop) -> None:
    """ValueError for what no fit of this shop has, such as S of 0 or an array too short."""
    palette, film, error = found.palette, found.palette.film, found.error
    n, drawn = len(palette.inks), len(found.drawdowns)
    arrays = (
        (palette.K, (n, N_WL)),
        (palette.S, (n, N_WL)),
        (palette.crowding, (n,)),
        (error.times, (n,)),
        (found.fractions, (drawn, n)),
        (found.de00_fitted, (drawn,)),
        (np.nan_to_num(found.de00_held_out, posinf=-1), (drawn,)),
    )
    numbers = [palette.base, palette.k2, *(s.de00_p95 for s in found.scores)]
    if film is not None:
        numbers += [film.back, film.dim, 0 if film.spread > 0 else -1, *(1 - film.R_g), *film.R_g]
        numbers.append(0 if film.R_g.shape == (N_WL,) else -1)
    sound = (
        n > 0
        and all(a.shape == shape and np.all((a >= 0) & (a < np.inf)) for a, shape in arrays)
        and len(error.like) > 0
        and error.like.shape[1:] == (4,)
        and error.miss_Lab.shape == (len(error.like), 3)
        and bool(np.isfinite(error.like).all() and np.isfinite(error.miss_Lab).all())
        and all(0 <= number < math.inf for number in numbers)
        and all(0 < number < math.inf for number in (palette.gain, palette.deep, error.width))
        and bool((palette.S > 0).all())
        and palette.k2 < 1
        and palette.own.shape in ((3, 1), (3, n))
        and bool((np.abs(palette.own) < 2).all() and (palette.own[1:] > -1).all())
        and (found.light, found.observer) == (shop.lights[0], shop.observer)
    )
    if not sound:
        raise ValueError


def _array(values: Sequence[Any]) -> Array:
    return np.array(values, dtype=float)
