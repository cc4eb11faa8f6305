"""Draw README's pictures again from the demo shop:  python data/make_pictures.py

Everything in them is invented: inks, targets and shop (see README.md beside this file).
The same numbers give the same pictures; another version of the drawing library may not
give the same bytes.
"""

import io
from collections.abc import Sequence
from pathlib import Path

from PIL import Image

from matchkit import plots
from matchkit.compare import Comparison, compare
from matchkit.files.shop import read_shop
from matchkit.files.spectrum import read_spectrum
from matchkit.files.write import write_file
from matchkit.fit import Fit
from matchkit.inks import Shop
from matchkit.judge import Candidate
from matchkit.match import fit_shop, fractions_for, match
from matchkit.solve import Target, spectral_target

HERE = Path(__file__).parent
SHOP, PICTURES = HERE / "demo-shop", HERE / "pictures"
SERIES = "plastisol"

# Two formulas for one target that match under the first light; under another only one does.
CREAM = "Clotted cream"
WITH_BLUE = ("Quay White", "Lamp Orange", "Straw Gold", "Deckhand Blue")
WITH_GREEN = ("Quay White", "Straw Gold", "Foxglove Magenta", "Kelp Green")
ROSE = "Dusty rose"
ROSE_INKS = ("Quay White", "Sand Ochre", "Foxglove Magenta", "Dusk Violet")
LADDER = "Kelp Green"


def make_pictures(folder: Path = PICTURES) -> None:
    """Write three small PNG files into a folder that exists."""
    shop = read_shop(SHOP)
    found = fit_shop(shop)[SERIES]
    for name, png in (
        ("compare", plots.picture(_compare(shop, found))),
        ("moves", _greys(plots.picture(_moves(shop, found)))),
        ("ladder", _greys(plots.picture(_ladder(shop, found)))),
    ):
        write_file(folder / f"{name}.png", png)


def _greys(png: bytes) -> bytes:
    """The same in sixteen greys: pictures that hold no colour need no more, and stay small."""
    out = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("L").quantize(16).save(out, "png", optimize=True)
    return out.getvalue()


def _compare(shop: Shop, found: Fit) -> plots.Figure:
    figure, ax = plots.new_axes(4.6, 3.1)
    plots.swatches(ax, _cream(shop, found))
    return figure


def _cream(shop: Shop, found: Fit) -> Comparison:
    target = _target(shop, CREAM)
    recipes = (("with blue", WITH_BLUE), ("with green", WITH_GREEN))
    return compare(
        target.R,
        [(name, _formula(shop, found, target, inks).R) for name, inks in recipes],
        lights=shop.lights,
        observer=shop.observer,
    )


def _moves(shop: Shop, found: Fit) -> plots.Figure:
    target = _target(shop, ROSE)
    formula = _formula(shop, found, target, ROSE_INKS)
    figure, ax = plots.new_axes(4.6, 3.4)
    plots.ink_moves(
        ax,
        found.palette,
        fractions_for(found.palette, formula.inks, formula.grams),
        light=shop.lights[0],
        observer=shop.observer,
        tolerance_de00=shop.tolerance_de00,
    )
    return figure


def _ladder(shop: Shop, found: Fit) -> plots.Figure:
    figure, ax = plots.new_axes(4.6, 3.4)
    plots.K_over_S(ax, found.palette, LADDER, shop.drawdowns)
    return figure


def _target(shop: Shop, name: str) -> Target:
    spectrum, _ = read_spectrum(SHOP / "targets.csv", name)
    return spectral_target(spectrum.R, shop.lights, shop.observer)


def _formula(shop: Shop, found: Fit, target: Target, inks: Sequence[str]) -> Candidate:
    """The best formula of these inks and no other."""
    others = [ink.name for ink in shop.inks if ink.name not in inks]
    return match(shop, {SERIES: found}, target, without=others, top=1).formulas[0]


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    make_pictures()
