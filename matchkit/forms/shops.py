"""The shop that a notebook works on, and what lies beside the notebook."""

import re
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchkit.faults import BadInput
from matchkit.files.fitted import films_fitted, fitted
from matchkit.files.places import data_folder
from matchkit.files.shop import read_shop
from matchkit.files.spectrum import NamedSpectrum, read_spectra
from matchkit.files.write import write_file
from matchkit.fit import Fit
from matchkit.inks import Shop
from matchkit.prints import film_fits, has_films

__all__ = [
    "DEMO",
    "OpenShop",
    "films_of",
    "fit_of",
    "keep",
    "listed_targets",
    "open_shop",
    "saved_recipes",
    "target_of",
    "uploaded",
]

Array = NDArray[np.float64]

DEMO = "demo-shop"
TICKETS = "tickets"  # the folder, beside the notebook, where forms keep what they save


@dataclass(frozen=True, kw_only=True)
class OpenShop:
    """A shop folder that was read, and its fitted inks by series."""

    folder: Path
    shop: Shop
    fits: Mapping[str, Fit]
    notes: tuple[str, ...]

    def __repr__(self) -> str:
        """What a person wants to know at once."""
        unseen = np.concatenate([found.de00_held_out for found in self.fits.values()])
        hiding = len(self.shop.hiding)
        films = len(self.shop.drawdowns) - hiding
        over = f" and {films} films over a card" if films else ""
        lines = [
            f"{self.shop.name}: {len(self.shop.inks)} inks, {hiding} drawdowns{over}",
            f"foretells drawdowns it has not seen to dE00 {np.nanmedian(unseen):.2f} "
            f"(19 in 20 to {np.nanpercentile(unseen, 95):.2f})",
            *self.notes,
        ]
        return "\n".join(lines)


def open_shop(folder: str | Path = DEMO) -> OpenShop:
    """Read a shop folder and fit its inks, or use the fit that is kept there.

    "demo-shop" is the invented shop that comes with matchkit, unless a folder of that
    name lies beside the notebook.
    """
    path = Path(folder)
    if str(folder) == DEMO and not path.exists():
        path = data_folder() / DEMO
    shop = read_shop(path)
    fits, why = fitted(path, shop)
    stale = [why] if why and (path / "fit.json").is_file() else []
    return OpenShop(folder=path, shop=shop, fits=fits, notes=(*shop.notes, *stale))


def listed_targets(opened: OpenShop) -> dict[str, Array]:
    """The colours in the shop's `targets.csv` by name; none if there is no such file."""
    path = opened.folder / "targets.csv"
    if not path.is_file():
        return {}
    return {each.name: each.R for each in read_spectra(path)[0]}


def target_of(opened: OpenShop, name: str) -> Array:
    """One of them; BadInput with the names there are."""
    listed = listed_targets(opened)
    if name not in listed:
        raise BadInput(f"targets.csv holds no {name!r}; it holds {', '.join(listed) or 'nothing'}")
    return listed[name]


def films_of(opened: OpenShop) -> dict[str, Fit]:
    """The shop's inks as films; BadInput, which says what to draw, where there are none."""
    if not has_films(opened.shop):
        return film_fits(opened.shop)
    return films_fitted(opened.folder, opened.shop)[0]


def fit_of(opened: OpenShop, ink: str) -> Fit:
    """The fit of the series that an ink belongs to."""
    for found in opened.fits.values():
        if ink in found.palette.names:
            return found
    raise BadInput(f"{ink!r}: no drawdown of this ink was fitted")


def uploaded(value: Any) -> Path:
    """A file that was handed to the browser, as a file of its own name."""
    name = Path(str(value["name"])).name or "file"
    path = Path(tempfile.mkdtemp(prefix="matchkit-")) / name
    path.write_bytes(bytes(value["content"]))
    return path


def uploaded_spectra(value: Any, shop: Shop) -> tuple[list[NamedSpectrum], list[str]]:
    """The spectra in a file that was handed to the browser, and what was assumed."""
    path = uploaded(value)
    try:
        return read_spectra(path, shop=shop)
    finally:
        path.unlink()
        path.parent.rmdir()


def keep(name: str, suffix: str, content: str) -> Path:
    """Save under a name that is free, in the folder `tickets` beside the notebook."""
    folder = Path(TICKETS)
    folder.mkdir(exist_ok=True)
    stem = re.sub(r"[^\w-]+", "-", name).strip("-")[:60] or "ticket"
    path = folder / f"{stem}{suffix}"
    k = 2
    while path.exists():
        path, k = folder / f"{stem}-{k}{suffix}", k + 1
    write_file(path, content)
    return path


def saved_recipes(opened: OpenShop) -> dict[str, Path]:
    """Batches that were weighed: the shop's example, and what forms saved, newest first."""
    own = sorted(Path(TICKETS).glob("*.csv"), key=lambda path: -path.stat().st_mtime)
    found = {path.stem: path for path in own}
    example = opened.folder / "example" / "weighed.csv"
    return {**found, **({"example batch": example} if example.is_file() else {})}
