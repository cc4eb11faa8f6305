"""A shop's beginning: an empty folder, and how far a folder is that is opened."""

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from matchkit.errors import InputError, did_you_mean
from matchkit.files.planned import EXAMPLES, NEW_SHOP, write_new_shop
from matchkit.files.settings import read_settings
from matchkit.files.shop import read_inks, read_measuring
from matchkit.files.shop_tables import measured_in
from matchkit.fitting.fit import Fit
from matchkit.inks.shop import Ink, Shop
from matchkit.plan.drawdowns import Plan, drawdown_plan
from matchkit.workflows.planning import PlanChoices, with_dark
from matchkit.workflows.session import Session

UNMEASURED = (
    "None of these inks is measured yet.",
    "Next: notebook 12, A shop of your own, plans the drawdowns. Make them and measure them; the"
    " same notebook brings the instrument's file in (so does `matchkit import`).",
)


@dataclass(frozen=True, kw_only=True)
class NewShop:
    """A shop folder that was made, with the drawdowns to begin with."""

    folder: str
    files: tuple[str, ...]
    shop: Shop  # how it measures and looks
    plan: Plan

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit new --json`` prints it."""
        return {
            "folder": self.folder,
            "files": sorted(self.files),
            "drawdowns": len(self.plan.steps),
        }


def new_shop(
    folder: str | Path,
    inks: Sequence[Ink] = EXAMPLES,
    shop: Shop = NEW_SHOP,
    choices: PlanChoices | None = None,
) -> NewShop:
    """Make a shop folder to fill in, whole or not at all.

    `shop` says how it measures, looks and weighs; an empty geometry or condition is left for
    a person to state.  Raises InputError where something of that name is there, or with what
    a reader of the files would refuse.
    """
    choices = choices or PlanChoices()
    plan = drawdown_plan(
        inks,
        batch_g=choices.batch_g,
        resolution_g=shop.resolution_g,
        levels=choices.levels,
    )
    plan = with_dark(plan, choices)
    with tempfile.TemporaryDirectory(prefix="matchkit-") as elsewhere:
        tried = Path(elsewhere) / "shop"
        write_new_shop(tried, plan, shop)
        (read_measuring if shop.geometry and shop.condition else read_inks)(tried)
    files = write_new_shop(folder, plan, shop)
    return NewShop(folder=str(folder), files=files, shop=shop, plan=plan)


@dataclass(frozen=True, kw_only=True)
class Opening:
    """How far a shop is: what could be read of its folder, and what it lacks.

    Where a folder can't be read, or nothing is measured yet, `fits` is empty and `lacks`
    says what to do; `shop` then holds what could be read, which may be no ink at all.
    """

    shop: Shop
    fits: Mapping[str, Fit]
    notes: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()


def open_folder(session: Session) -> Opening:
    """Read a shop folder and fit its inks, or use the fit that is kept there.

    What is wrong with a folder is told by the answer, so that it can be shown beside
    whatever can be done all the same, such as planning drawdowns.
    """
    try:
        shop = session.files
    except InputError as error:
        return _half_open(session.folder, error.faults)
    try:
        fits = session.fits
    except InputError as error:
        if shop.drawdowns:
            return Opening(shop=shop, fits={}, notes=shop.notes, lacks=error.faults)
        return Opening(shop=shop, fits={}, lacks=UNMEASURED)
    told = [each.text for each in session.notices if each.code == "fit_anew"]
    stale = told if (session.folder / "fit.json").is_file() else []
    return Opening(shop=shop, fits=fits, notes=(*shop.notes, *stale))


def _half_open(path: Path, faults: tuple[str, ...]) -> Opening:
    """A folder that can't be used as it is: its inks, if they can be read, may be planned for."""
    try:
        inks = read_inks(path)
    except InputError:
        return Opening(shop=replace(NEW_SHOP, name=""), fits={}, lacks=(*faults, *_beside(path)))
    try:
        shop = replace(read_settings(path / "shop.toml", "shop.toml"), inks=inks)
    except InputError:
        shop = replace(NEW_SHOP, name=path.name, inks=inks)
    if measured_in(path):
        return Opening(shop=shop, fits={}, lacks=faults)
    try:
        read_measuring(path)  # without spectra
    except InputError as error:
        return Opening(shop=shop, fits={}, notes=error.faults, lacks=UNMEASURED)
    return Opening(shop=shop, fits={}, notes=shop.notes, lacks=UNMEASURED)


def _beside(path: Path) -> list[str]:
    """Which shop folders there are beside a folder that isn't there."""
    if path.exists():
        return []
    there = sorted(each.parent.name for each in path.parent.glob("*/inks.csv"))
    if not there:
        return ["Put the shop's folder beside this notebook."]
    hint = did_you_mean(path.name, there)
    return [f"Beside this notebook lie: {', '.join(there)}{hint or '.'}"]
