"""Which drawdowns to make, and the plan into the shop's files."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from matchkit.errors import InputError, did_you_mean
from matchkit.files.planned import Planned, waiting_in, write_plan
from matchkit.files.shop_tables import drawn_in
from matchkit.inks.shop import Ink
from matchkit.plan.drawdowns import Plan, drawdown_plan, numbered, rows
from matchkit.plan.pots import Grams
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

    >>> from matchkit.files.places import data_folder
    >>> made = plan_drawdowns(Session(data_folder() / "demo-shop"), PlanChoices(levels=3))
    >>> len(made.plan.steps) > 40
    True
    """
    choices = choices or PlanChoices()
    inks = session.inks
    series = _series(inks, choices)
    plan = drawdown_plan(
        [ink for ink in inks if ink.series == series],
        batch_g=choices.batch_g,
        resolution_g=_resolution_g(session),
        levels=choices.levels,
        new_ink=choices.new_ink,
    )
    plan = with_dark(plan, choices)
    to_come: tuple[str, ...] | None = None
    in_the_way: tuple[str, ...] = ()
    try:
        plan = numbered(plan, drawn_in(session.folder).by_number)
        there = {name for names in waiting_in(session.folder) for name in names}
        to_come = tuple(step.drawdown for step in plan.steps if step.drawdown not in there)
    except InputError as error:  # the plan itself needs none of these files
        in_the_way = error.faults
    return DrawdownPlan(
        plan=plan,
        choices=choices,
        title=f"Drawdown plan {choices.new_ink or series}".strip(),
        shop_inks=inks,
        to_come=to_come,
        in_the_way=in_the_way,
    )


def with_dark(plan: Plan, choices: PlanChoices) -> Plan:
    """The plan with a note of what dark garments need, or with the question."""
    return replace(plan, notes=(*plan.notes, ON_DARK if choices.on_dark else ASK_DARK))


def put_plan(session: Session, made: DrawdownPlan) -> Planned:
    """Write the plan into ``drawdowns.csv`` and ``spectra.csv``; what is measured stays."""
    return write_plan(session.folder, made.plan, made.shop_inks, new_ink=made.choices.new_ink)


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


def _resolution_g(session: Session) -> float:
    """The balance's resolution; a new shop may not have said yet how it measures."""
    try:
        return session.settings.resolution_g
    except InputError as error:
        session.note(
            "settings",
            f"shop.toml is not complete yet, so a balance of {BALANCE_G:g} g is assumed:",
            *(f"  {fault}" for fault in error.faults),
        )
        return BALANCE_G


def _letdowns(letdowns: Sequence[tuple[str, Grams]]) -> list[dict[str, Any]]:
    return [
        {"letdown": name, "parts": [{"ink": ink, "grams": g} for ink, g in parts]}
        for name, parts in letdowns
    ]
