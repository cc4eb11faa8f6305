"""Start a shop, and plan its drawdowns."""

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from matchkit.errors import InputError, did_you_mean
from matchkit.files import planned, settings, shop_tables
from matchkit.files.shop import read_inks, read_measuring
from matchkit.fitting.fit import Fit, telling
from matchkit.inks.drawdowns import Plan, drawdown_plan, numbered, rows
from matchkit.inks.pots import Grams
from matchkit.inks.shop import Ink, Shop
from matchkit.workflows.session import Session

BALANCE_G = 0.01
ASK_DARK = "On dark garments too? Say so, and the plan tells how to find out whether an ink hides"
ON_DARK = (
    "for dark garments: draw each mixture over a card that is half black, with one bar of known"
    " thickness, and read both halves and the bare card (films.csv, film_spectra.csv, grounds.csv):"
    " only that tells what hides"
)


@dataclass(frozen=True, kw_only=True)
class PlanChoices:
    """How many drawdowns of each ink (`levels`, 3 to 13), and how big.

    A pot holds `batch_g` at least.  The plan is for all inks of one `series`, or for the
    `new_ink` of it; the series may stay open where the shop has one, or the ink tells it.
    `on_dark`: it will be printed on dark garments too, where an ink has to hide.
    """

    levels: int = 10
    batch_g: float = 30.0
    new_ink: str | None = None
    series: str | None = None
    on_dark: bool = False


@dataclass(frozen=True, kw_only=True)
class DrawdownPlan:
    """A plan, and how it stands to the shop's files.

    `to_come` are the drawdowns that the files do not have yet; None where these can't be
    read, which `in_the_way` tells of.
    """

    plan: Plan
    choices: PlanChoices
    title: str
    shop: str
    shop_inks: tuple[Ink, ...]  # of all series
    to_come: tuple[str, ...] | None
    in_the_way: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit plan --json`` prints it."""
        plan = self.plan
        told = {"leave_g": "leave_grams", "add_g": "add_grams"}
        return {
            "drawdowns": [
                {told.get(k, k): v for k, v in asdict(row).items()} for row in rows(plan)
            ],
            "letdowns": _letdowns(plan.letdowns),
            "fresh_letdowns": _letdowns(plan.fresh_letdowns),
            "saved_share": round(plan.saved, 4),
            "notes": list(plan.notes),
        }


def plan_drawdowns(session: Session, choices: PlanChoices | None = None) -> DrawdownPlan:
    """Plan the drawdowns of a series or of a new ink, in the order that wastes least.

    Only ``inks.csv`` is needed, and the balance of ``shop.toml``.  Raises InputError for an
    unknown ink or series, or for numbers that make no sense.

    >>> from matchkit.files.write import data_folder
    >>> made = plan_drawdowns(Session(data_folder() / "demo-shop"), PlanChoices(levels=3))
    >>> len(made.plan.steps) > 40
    True
    """
    choices = choices or PlanChoices()
    inks = session.inks
    series = _series(inks, choices)
    resolution_g, shop = _balance_and_shop(session)
    plan = drawdown_plan(
        [ink for ink in inks if ink.series == series and ink.active],
        batch_g=choices.batch_g,
        resolution_g=resolution_g,
        levels=choices.levels,
        new_ink=choices.new_ink,
    )
    plan = with_dark(replace(plan, notes=(*plan.notes, *_telling(session, plan))), choices)
    to_come: tuple[str, ...] | None = None
    in_the_way: tuple[str, ...] = ()
    try:
        plan = numbered(plan, shop_tables.drawn_in(session.folder).by_number)
        there = {name for names in planned.waiting_in(session.folder) for name in names}
        to_come = tuple(step.drawdown for step in plan.steps if step.drawdown not in there)
    except InputError as error:  # the plan itself needs none of these files
        in_the_way = error.faults
    return DrawdownPlan(
        plan=plan,
        choices=choices,
        title=f"Drawdown plan {choices.new_ink or series}".strip(),
        shop=shop,
        shop_inks=inks,
        to_come=to_come,
        in_the_way=in_the_way,
    )


def _telling(session: Session, plan: Plan) -> list[str]:
    """The one drawdown that would tell most beside those that were fitted; none without a fit."""
    try:
        fits = Session(session.folder).fits_kept
    except InputError:  # too little was measured yet
        return []
    guessed = [
        (float(np.median(doubt)), ink, fit.palette.inks)
        for fit in fits.values()
        if fit.palette.doubt is not None
        for doubt, ink in zip(fit.palette.doubt[1], fit.palette.inks, strict=True)
        if doubt.any() and ink.name in {each.name for each in plan.inks}
    ]
    if not guessed:
        return []
    _, ink, inks = max(guessed, key=lambda each: each[0])
    return [
        f"the most useful further drawdown: {telling(ink, inks)}; how much {ink.name} scatters"
        " is a guess so far"
    ]


def with_dark(plan: Plan, choices: PlanChoices) -> Plan:
    """The plan with a note of what dark garments need, or with the question."""
    return replace(plan, notes=(*plan.notes, ON_DARK if choices.on_dark else ASK_DARK))


def put_plan(session: Session, made: DrawdownPlan) -> planned.Planned:
    """Write the plan into ``drawdowns.csv`` and ``spectra.csv``; what is measured stays."""
    return planned.write_plan(
        session.folder, made.plan, made.shop_inks, new_ink=made.choices.new_ink
    )


def _series(inks: Sequence[Ink], choices: PlanChoices) -> str:
    """The one series to plan for: inks of two are never mixed, so are planned apart."""
    names = list(dict.fromkeys(ink.series for ink in inks))
    series, new_ink = choices.series, choices.new_ink
    if series is None and new_ink is not None:
        series = next((ink.series for ink in inks if ink.name == new_ink), None)
        if series is None:
            known = [ink.name for ink in inks]
            raise InputError(
                f"no ink of inks.csv is called {new_ink!r}; add it there, or name one of"
                f" {', '.join(known)}{did_you_mean(new_ink, known)}"
            )
    if series is None and len(names) == 1:
        return names[0]
    if series not in names:
        raise InputError(f"name one series, of which the inks are planned: {', '.join(names)}")
    return series


def _balance_and_shop(session: Session) -> tuple[float, str]:
    """The balance's resolution and the shop's name; a new shop may not have said either yet."""
    try:
        return session.settings.resolution_g, session.settings.name
    except InputError as error:
        session.note(
            "settings",
            f"shop.toml is not complete yet, so a balance of {BALANCE_G:g} g is assumed:",
            *(f"  {fault}" for fault in error.faults),
        )
        return BALANCE_G, ""


def _letdowns(letdowns: Sequence[tuple[str, Grams]]) -> list[dict[str, Any]]:
    return [
        {"letdown": name, "parts": [{"ink": ink, "grams": g} for ink, g in parts]}
        for name, parts in letdowns
    ]


UNMEASURED = (
    "None of these inks has been measured yet.",
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
    inks: Sequence[Ink] = planned.EXAMPLES,
    shop: Shop = planned.NEW_SHOP,
    choices: PlanChoices | None = None,
) -> NewShop:
    """Make a shop folder to fill in, whole or not at all.

    `shop` says how it measures, looks and weighs; an empty geometry or condition is left for
    a person to state.  Raises InputError where something of that name is there, or with what
    a reader of the files would refuse.
    """
    choices = choices or PlanChoices()
    plan = drawdown_plan(
        inks, batch_g=choices.batch_g, resolution_g=shop.resolution_g, levels=choices.levels
    )
    plan = with_dark(plan, choices)
    with tempfile.TemporaryDirectory(prefix="matchkit-") as elsewhere:
        tried = Path(elsewhere) / "shop"
        planned.write_new_shop(tried, plan, shop)
        (read_measuring if shop.geometry and shop.condition else read_inks)(tried)
    files = planned.write_new_shop(folder, plan, shop)
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
        return Opening(
            shop=replace(planned.NEW_SHOP, name=""), fits={}, lacks=(*faults, *_beside(path))
        )
    try:
        shop = replace(settings.read_settings(path / "shop.toml", "shop.toml"), inks=inks)
    except InputError:
        shop = replace(planned.NEW_SHOP, name=path.name, inks=inks)
    if shop_tables.measured_in(path):
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
