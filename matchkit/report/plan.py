"""A new shop, its plan of drawdowns, and what became of the shop's files, as parts."""

from itertools import groupby

from matchkit.files.conditions import listed
from matchkit.files.planned import Planned
from matchkit.files.weighed import Reweighed
from matchkit.paper.plan_sheet import plan_html, plan_summary
from matchkit.paper.sheet import SHORT_CAUTIONS, grams_text
from matchkit.plan.drawdowns import Plan, Step
from matchkit.plan.pots import Grams
from matchkit.report.parts import Page, Part, Table
from matchkit.workflows.planning import DrawdownPlan
from matchkit.workflows.starting import NewShop


def new_shop_parts(made: NewShop) -> list[Part]:
    """What was made."""
    plan, shop = made.plan, made.shop
    lights = " and ".join([", ".join(shop.lights[:-1]), shop.lights[-1]])
    return [
        f"Made: the folder {made.folder}, with {', '.join(made.files)}.",
        f"It has {len(plan.inks)} inks, and {len(plan.steps)} drawdowns of them that wait for"
        " their readings.",
        f"Its lights are {lights} with the {shop.observer} degree observer, its tolerance is dE00"
        f" {shop.tolerance_de00:g}; shop.toml says so, and can say otherwise.",
        *(f"{note}." for note in plan.notes),
    ]


def plan_page(made: DrawdownPlan) -> Page:
    """The plan to print and to work through."""
    return Page(title=made.title, html=plan_html(made.plan, title=made.title))


def plan_parts(made: DrawdownPlan) -> list[Part]:
    """The plan as tables: what to make first, then drawdown by drawdown."""
    plan = made.plan
    letdowns = Table(
        head=("Letdown", "Weigh"),
        rows=tuple((name, _weights(parts, plan)) for name, parts in plan.letdowns),
        caption="Letdowns, to make first and to weigh small amounts from",
        words=(1,),
    )
    series = [
        Table(
            head=("Drawdown", "No.", "Take", "Add"),
            rows=tuple(
                (s.drawdown, str(s.number), _pot(s, plan), _weights(s.adds, plan)) for s in steps
            ),
            caption=f"{ink}, from top to bottom",
            words=(2, 3),
        )
        for ink, steps in groupby(plan.steps, key=lambda step: step.ink)
    ]
    first = [letdowns] if plan.letdowns else []
    notes = [f"{note}." for note in plan.notes]
    return [plan_summary(plan), *notes, *first, *series, SHORT_CAUTIONS]


def to_come_lines(made: DrawdownPlan) -> list[str]:
    """Whether the shop's files have these drawdowns: readings of others can't be brought in."""
    if made.to_come is None:
        return ["It can't be put into the shop yet:", *made.in_the_way]
    if not made.to_come:
        return ["All of these drawdowns are in the shop's files."]
    return [
        f"{len(made.to_come)} of these {len(made.plan.steps)} drawdowns are not in the shop's files"
        " yet: put the plan into the shop, so that their readings can come in."
    ]


def put_lines(done: Planned) -> list[str]:
    """What became of the shop's files."""
    lines = [f"drawdowns.csv: {len(done.added)} planned drawdowns wait for their readings"]
    if done.measured:
        lines.append(f"measured already, and left as they are: {listed(done.measured)}")
    if done.taken_out:
        lines.append(f"never measured, and taken out: {listed(done.taken_out)}")
    if done.kept:
        lines.append(f"the old drawdowns.csv is kept as {done.kept}")
    return lines


def weighed_parts(found: Reweighed) -> list[Part]:
    """Which percents the weights change."""
    if not found.changes:
        return ["Every weight came out as drawdowns.csv says."]
    rows = tuple(
        (each.drawdown, each.ink, each.before, f"{each.percent:.4f}") for each in found.changes
    )
    head = ("Drawdown", "Ink", "in drawdowns.csv", "as weighed, %")
    return [Table(head=head, rows=rows, words=(1,))]


def weighed_lines(found: Reweighed, kept: str) -> list[str]:
    """What became of ``drawdowns.csv``, whose old content is `kept` as a copy."""
    if not found.changes:
        return ["drawdowns.csv says already what was weighed"]
    names = found.changed
    lines = [f"drawdowns.csv: percents of {len(names)} drawdowns as weighed: {listed(names)}"]
    return [*lines, f"the old drawdowns.csv is kept as {kept}; now fit anew"]


def _weights(parts: Grams, plan: Plan) -> str:
    return ", ".join(f"{grams_text(g, plan.resolution_g)} g {what}" for what, g in parts)


def _pot(step: Step, plan: Plan) -> str:
    if step.pot == 0:
        return "straight from the can"
    if step.leave_g is None:
        return f"pot {step.pot}, clean"
    return f"pot {step.pot}, down to {grams_text(step.leave_g, plan.resolution_g)} g"
