"""Recipes compared with a target under each light: as parts, and as the customer's sheet."""

from datetime import date

from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.paper.compare_sheet import comparison_html
from matchkit.paper.jobsize import money_text
from matchkit.report import check, formulas
from matchkit.report.parts import Heading, Page, Part, Swatches, Table
from matchkit.workflows.comparing import ComparedRecipe, RecipesCompared
from matchkit.workflows.session import Notice

HEAD = ("Light", "dE00", "dL*", "dC*", "dH*", "Metamerism", "Inconstancy", "In words")


def comparison_parts(found: RecipesCompared) -> list[Part]:
    """How each recipe looks beside the target under each light, and which ink limits it."""
    seen = found.seen
    light, observer = seen.lights[0], seen.observer
    colours = [
        hex_colour(R, light, observer) for R in (seen.target_R, *(s.R for s in seen.samples))
    ]
    parts: list[Part] = [
        f"{found.wanted.name}, {observer} degree observer",
        Swatches(colours=tuple(colours), names=("target", *(s.name for s in seen.samples))),
        *check.compared_pictures(seen, found.tolerance_de00, ("swatches", "spectra", "lights")),
        *(
            formulas.recipe_picture(
                each.sample.name,
                each.formula.inks,
                each.formula.percents,
                palette=each.palette,
                target=found.wanted.target,
            )
            for each in found.recipes
        ),
    ]
    for each in found.recipes:
        parts += _recipe(found, each)
    return [
        *parts,
        f"Metamerism: special index, {seen.correction} correction; inconstancy: colour"
        f" inconstancy against D65, {seen.transform}, D = 1; both in dE00.",
    ]


def comparison_page(
    found: RecipesCompared, *, job: str = "", day: str = "", shop_copy: bool = False
) -> Page:
    """The sheet that helps a customer to choose; only the shop's copy has the formulas.

    `day` is today's unless given.
    """
    html = comparison_html(
        found.seen,
        [each.formula for each in found.recipes],
        target_name=found.wanted.name,
        tolerance_de00=found.tolerance_de00,
        shop=found.shop,
        job=job,
        date=day or date.today().isoformat(),
        shop_copy=shop_copy,
    )
    title = f"Comparison {found.wanted.name}{' shop copy' if shop_copy else ''}"
    return Page(title=title, html=html)


def _recipe(found: RecipesCompared, each: ComparedRecipe) -> list[Part]:
    seen, sample, formula = found.seen, each.sample, each.formula
    worst = seen.light_names[sample.worst]
    cost = "" if formula.cost_per_kg is None else money_text(formula.cost_per_kg, found.currency)
    cost = cost and f", cost {cost}/kg"
    shares = zip(formula.inks, formula.percents, strict=True)
    other = 2 if seen.observer == 10 else 10
    parts: list[Part] = [
        Heading(
            text=f"{sample.name}: worst under {worst}, dE00 {sample.de00[sample.worst]:.2f}{cost}"
        ),
        ", ".join(f"{ink} {percent:.2f} %" for ink, percent in shares),
        _numbers(found, each),
        f"Seen by the {other} degree observer under {seen.light_names[0]}: index"
        f" {sample.observer_change:.2f} (change of observer; not the deviate observer of CIE 080).",
    ]
    if formula.mostly_clear:
        parts.append(
            Notice(
                code="mostly_clear",
                text=f"{sample.name} is mostly clear: it lets the ground show; prove it on the"
                " garment.",
            )
        )
    if swap := each.swap:
        parts.append(
            f"{swap.ink} causes most of the metamerism under {worst}. With {swap.instead} instead,"
            f" matched anew, the index falls from {swap.index + swap.gain:.2f} to {swap.index:.2f}."
        )
    return parts


def _numbers(found: RecipesCompared, each: ComparedRecipe) -> Table:
    sample = each.sample
    rows = tuple(
        (
            name,
            f"{sample.de00[k]:.2f}",
            *(f"{value:+z.2f}" for value in sample.delta[k]),
            f"{sample.metamerism[k]:.2f}" if k else "",
            f"{sample.inconstancy[k]:.2f}" if name != "D65" else "",
            sample.words[k],
        )
        for k, name in enumerate(found.seen.light_names)
    )
    return Table(head=HEAD, rows=rows, words=(len(HEAD) - 1,))
