"""Recipes, found formulas, and the colour of one."""

from collections.abc import Sequence
from dataclasses import replace
from statistics import median

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.illuminants import Light
from matchkit.colorimetry.tristimulus import hex_colour, hex_colours, hex_of_Lab
from matchkit.inks.palette import Palette, reflectance
from matchkit.matching.probability import Sensitive, chance_text
from matchkit.matching.rank import Candidate
from matchkit.paper.jobsize import money_text
from matchkit.paper.sheet import grams_text
from matchkit.report import ink_plots
from matchkit.report.check import beside_target
from matchkit.report.marks import USUAL, Axes
from matchkit.report.parts import Heading, Part, Picture, Swatches, Table, by_light
from matchkit.workflows.booked import BookedFormula, Reprint
from matchkit.workflows.formulas import FoundFormula, FoundFormulas
from matchkit.workflows.library import Library
from matchkit.workflows.predicting import Prediction
from matchkit.workflows.session import Notice

ORDER = "Nearest first; where as near: those that hide, then fewer inks, then lower cost"
RECIPES, MOVES = "recipes", "moves"  # by which a person asks for them
CLOSELY = ("swatches", "spectra")  # what is shown of one formula at once


def recipe_picture(
    title: str,
    inks: Sequence[str],
    percents: Sequence[float],
    *,
    palette: Palette,
    target: Target,
) -> Picture:
    """A recipe as a bar in its inks' own colours; drawn only where it is asked for.

    `inks` are in the order of the bar, with their `percents`; one that the `palette` does not
    hold, such as a leftover, stays white.  Colours are those under the first light of `target`.
    """

    def draw(ax: Axes) -> Axes:
        colours = _own_colours(palette, inks, target)
        ax.set_title(title, loc="left", fontsize=USUAL)
        return ink_plots.composition(ax, inks, percents, colours=colours)

    told = ", ".join(f"{ink} {share:.2f} %" for ink, share in zip(inks, percents, strict=True))
    narrow = sum(percent < 22 for percent in percents)
    height_in = 1.0 + 0.2 * narrow
    return Picture(name=RECIPES, draw=draw, alt=f"{title}: {told}", height_in=height_in, aside=True)


def moves_picture(palette: Palette, fractions: Array, *, light: Light, observer: int) -> Picture:
    """What 1 % more of each ink does to the recipe `fractions` (n_ink,)."""
    names = ", ".join(palette.names[k] for k in np.flatnonzero(fractions > 0))
    return Picture(
        name=MOVES,
        draw=lambda ax: ink_plots.ink_moves(ax, palette, fractions, light=light, observer=observer),
        alt=f"What 1 % more of {names} does to the colour",
        height_in=3.6,
        aside=True,
    )


def formulas_parts(found: FoundFormulas, *, trade_offs: bool = False) -> list[Part]:
    """All there is to read about the formulas, one below the other.

    With `trade_offs` a table says what each formula gives up under its worst light.
    """
    target = found.wanted.target
    if not found.formulas:
        return reach_parts(found)
    light, observer = target.lights[0], target.observer
    candidates = {f"formula {k}": each.formula for k, each in _numbered(found)}
    colours = [hex_colour(each.R, light, observer) for each in candidates.values()]
    swatches = Swatches(colours=(target_hex(target), *colours), names=("target", *candidates))
    parts: list[Part] = [swatches, *reach_parts(found)]
    for k, _ in _numbered(found):
        parts += formula_parts(found, k - 1)
    if trade_offs:
        parts += _trade_offs(found)
    named = [(name, each.R) for name, each in candidates.items()]
    parts += beside_target(target, named, found.shop.tolerance_de00)
    return [*parts, *(_bar(found, k - 1) for k, _ in _numbered(found))]


def reach_parts(found: FoundFormulas) -> list[Part]:
    """Whether the inks can reach the colour, and what holds for all of the formulas."""
    printed = found.search.printed
    name = f"{found.wanted.name}, printed {printed.words}" if printed else found.wanted.name
    return [f"{name}: {found.reach.text}", *found.notices]


def overview_parts(found: FoundFormulas) -> list[Part]:
    """The formulas side by side, and the warnings of each."""
    if not found.formulas:
        return []
    target, step = found.wanted.target, found.shop.resolution_g
    rows = []
    for k, each in _numbered(found):
        formula, cost, used = each.formula, each.formula.cost_per_kg, []
        if each.used:
            left = each.used.left_g
            used = [grams_text(each.used.used_g, step)]
            used.append("not known" if left is None else grams_text(left, step))
        rows.append(
            (
                str(k),
                shares(formula),
                *(f"{value:.2f}" for value in formula.de00),
                chance_text(formula.chance_in_tolerance or 0.0),
                "not known" if cost is None else money_text(cost, found.shop.currency),
                each.sensitive.ink if each.sensitive else "not known",
                *used,
            )
        )
    head = (
        "Formula",
        "Inks, percent by mass",
        *(f"dE00 {name}" for name in target.light_names),
        f"Chance within {found.shop.tolerance_de00:g}",
        "Cost per kg",
        "Most sensitive ink",
        *(("Leftover used, g", "Left, g") if found.formulas[0].used else ()),
    )
    order = ORDER if found.search.prefer == "nearest" else ""
    return [
        _side_by_side(found),
        Table(
            head=head, rows=tuple(rows), words=(1, head.index("Most sensitive ink")), caption=order
        ),
        *(
            Notice(code=notice.code, text=f"Formula {k}: {notice.text}")
            for k, each in _numbered(found)
            for notice in each.notices
        ),
    ]


def _side_by_side(found: FoundFormulas) -> Picture:
    """What the formulas differ by: their inks, their cost, and the light that shows most."""
    target, names = found.wanted.target, found.wanted.target.light_names

    def draw(ax: Axes) -> Axes:
        rows = []
        for each in found.formulas:
            formula, light = each.formula, int(np.argmax(each.formula.de00))
            own = _own_colours(each.palette, formula.inks, target)
            seen = target.lights[light], target.observer
            pair = hex_of_Lab(target.lab[light], *seen), hex_colour(formula.R, *seen)
            cost = formula.cost_per_kg
            beside = [f"{names[light]} {formula.de00[light]:.2f}"]
            beside += [] if cost is None else [f"{cost:.2f}/kg"]
            parts = list(zip(formula.percents, own, strict=True))
            rows.append((shares(formula), parts, pair, "\n".join(beside)))
        title = f"{found.wanted.name}: inks; target and formula under its worst light, dE00"
        return ink_plots.formulas(ax, rows, title)

    told = "; ".join(f"{k}: {shares(each.formula)}" for k, each in _numbered(found))
    height_in = 0.4 + 0.52 * len(found.formulas)
    alt = f"The formulas as bars of their inks. {told}. Never approve a colour by a screen."
    return Picture(draw=draw, alt=alt, width_in=6.4, height_in=height_in, wide=True)


def formula_parts(found: FoundFormulas, k: int, *, closely: bool = False) -> list[Part]:
    """Formula `k`, from 0: what is weighed, and its warnings.

    `closely` shows how it looks beside the target in place of the warnings, which an
    overview has told.
    """
    each, target = found.formulas[k], found.wanted.target
    formula, step = each.formula, found.shop.resolution_g
    head = f"Formula {k + 1}: {formula_head(formula, target, found.shop.currency)}"
    shown = replace(each, notices=()) if closely else each
    parts: list[Part] = [Heading(text=head), *_one(shown, step)]
    if closely:
        bar = replace(_bar(found, k), aside=False, wide=True, width_in=6.4, height_in=1.7)
        named = [(f"formula {k + 1}", formula.R)]
        parts += [bar, *beside_target(target, named, found.shop.tolerance_de00, CLOSELY)]
    return parts


def booked_parts(made: BookedFormula) -> list[Part]:
    """A formula that was written into the book, and what must be known before weighing it."""
    each, name, wanted = made.written, made.name, made.wanted
    head = f"Batch {made.records.batch}: {name}, {sum(each.formula.grams):g} g"
    if wanted is not None:
        head += f", predicted {formula_head(each.formula, wanted.target, made.shop.currency)}"
    reach = [f"{name}: {made.reach.text}"] if made.reach else []
    return [*reach, *made.notices, Heading(text=head), *_one(each, made.shop.resolution_g)]


def reprint_parts(made: Reprint) -> list[Part]:
    """An old formula as it would come out today, and formulas that are matched anew."""
    found, target = made.found, made.found.wanted.target
    old, shop = made.again, made.found.shop
    when = "when it was approved" if made.approved else "last"
    parts: list[Part] = [
        f"{found.wanted.name}: matched under {target.light_names[0]} to what batch {made.batch}"
        f" measured {when}, with the lots of today.",
        *reach_parts(found),
        Heading(text=f"The old formula today: {formula_head(old.formula, target, shop.currency)}"),
        *_one(old, shop.resolution_g),
    ]
    for k, _ in _numbered(found):
        parts += formula_parts(found, k - 1)
    return parts


def _one(each: FoundFormula, resolution_g: float) -> list[Part]:
    """What is weighed for a formula, and its warnings."""
    careful = [sensitive_text(each.sensitive)] if each.sensitive else []
    return [weights_table(each.formula, resolution_g), *each.notices, *careful]


def library_parts(found: Library) -> list[Part]:
    """How many colours of a library are within tolerance, and which are missed most."""
    n, within = len(found.names), found.within_tolerance
    head = f"{found.file}: {n} targets, {found.in_gamut} in gamut, {within} within tolerance"
    if not found.de00:
        return [head]
    far = ", ".join(f"{name} {away:.2f}" for name, away in found.furthest)
    return [head, f"dE00 {found.light}: median {median(found.de00):.2f}; furthest: {far}"]


def formula_head(formula: Candidate, target: Target, currency: str) -> str:
    """How near a formula comes under each light, its chance and its cost, in one line."""
    chance, cost = formula.chance_in_tolerance, formula.cost_per_kg
    line = by_light("dE00", target.light_names, formula.de00.tolist())
    line += "" if chance is None else f"  chance {chance_text(chance)}"
    return line + ("" if cost is None else f"  cost {money_text(cost, currency)}/kg")


def weights_table(formula: Candidate, resolution_g: float) -> Table:
    """What is weighed, in its order, and what the balance shows on the way."""
    total, rows = 0.0, []
    for ink, grams, percent in zip(formula.inks, formula.grams, formula.percents, strict=True):
        total += grams
        shown = (grams_text(grams, resolution_g), f"{percent:.3f}", grams_text(total, resolution_g))
        rows.append((ink, *shown))
    return Table(head=("Ink", "Grams", "Percent", "Balance shows"), rows=tuple(rows))


def sensitive_text(found: Sensitive, batch_g: float | None = None) -> str:
    """Which ink to weigh with most care; `batch_g` where the batch is not told beside it."""
    batch = "" if batch_g is None else f" in {batch_g:g} g"
    return (
        f"Most sensitive: {found.step_g:.2g} g too much {found.ink}{batch} shifts the colour by"
        f" dE00 {found.de00:.2f}."
    )


def shares(formula: Candidate) -> str:
    """A formula on one line: inks and percents."""
    return ", ".join(
        f"{ink} {percent:.2f}" for ink, percent in zip(formula.inks, formula.percents, strict=True)
    )


def _own_colours(palette: Palette, inks: Sequence[str], target: Target) -> list[str]:
    """The inks alone as web colours; what the palette does not hold, a leftover, is white."""
    alone = reflectance(palette, np.eye(len(palette.inks)))
    seen = hex_colours(alone, target.lights[0], target.observer)
    known = dict(zip(palette.names, seen, strict=True))
    return [known.get(name, "#ffffff") for name in inks]


def target_hex(target: Target) -> str:
    """The target as a web colour."""
    return hex_of_Lab(target.lab[0], target.lights[0], target.observer)


def _numbered(found: FoundFormulas) -> list[tuple[int, FoundFormula]]:
    return list(enumerate(found.formulas, start=1))


def _bar(found: FoundFormulas, k: int) -> Picture:
    each, name, target = found.formulas[k], f"formula {k + 1}", found.wanted.target
    inks, percents = each.formula.inks, each.formula.percents
    return recipe_picture(name, inks, percents, palette=each.palette, target=target)


def _trade_offs(found: FoundFormulas) -> list[Part]:
    """What a formula that is better here gives up there."""
    target = found.wanted.target
    first, rows = target.light_names[0], []
    for k, each in _numbered(found):
        formula = each.formula
        worst, cost = int(formula.de00.argmax()), formula.cost_per_kg
        rows.append(
            (
                str(k),
                f"{formula.de00[0]:.2f}",
                f"{formula.de00[worst]:.2f}",
                target.light_names[worst],
                str(len(formula.inks)),
                "" if cost is None else money_text(cost, found.shop.currency),
                chance_text(formula.chance_in_tolerance or 0.0),
            )
        )
    head = ("Formula", first, "worst", "under", "inks", "cost/kg", "chance")
    table = Table(head=head, rows=tuple(rows), caption="Trade-offs (dE00):", words=(3,))
    if len(target.lights) == 1:
        return [table]
    return [table, f"To trade accuracy under {first} for the other lights: --other-lights 3"]


def prediction_parts(found: Prediction) -> list[Part]:
    """Its colour under each light, how near that is, its weights, and the ink to pour with care."""
    made, target, wanted = found.candidate, found.target, found.wanted
    light, observer = target.lights[0], target.observer
    parts: list[Part] = [
        Swatches(colours=(hex_colour(made.R, light, observer),), names=("",)),
        f"Predicted for the {observer} degree observer."
        + (" No target was named, so nothing is said about how near it is." if not wanted else ""),
        _colours(found),
    ]
    if wanted is not None:
        parts.append(
            f"That is dE00 {made.de00[0]:.2f} from {wanted.name} under {target.light_names[0]};"
            f" chance within {found.shop.tolerance_de00:g} at the first drawdown:"
            f" {chance_text(made.chance_in_tolerance or 0.0)}."
        )
    if found.batch_g is not None:
        parts.append(weights_table(made, found.shop.resolution_g))
    held = [i for i in np.argsort(-found.c, kind="stable").tolist() if found.c[i] > 0]
    palette = found.fit.palette
    inks, percents = zip(*((palette.names[i], 100 * float(found.c[i])) for i in held), strict=True)
    bar = recipe_picture("recipe", inks, percents, palette=palette, target=target)
    parts.append(replace(bar, aside=False, wide=True, width_in=6.4, height_in=1.7))
    if wanted is not None:
        named = [("this formula", made.R)]
        parts += beside_target(target, named, found.shop.tolerance_de00, CLOSELY)
    of_g = None if found.batch_g else round(1e4 * found.sensitive.step_g, 6)
    return [
        *parts,
        moves_picture(palette, found.c, light=light, observer=observer),
        sensitive_text(found.sensitive, of_g),
    ]


def _colours(found: Prediction) -> Table:
    made, names = found.candidate, found.target.light_names
    away = [()] * len(names) if found.wanted is None else [(f"{e:.2f}",) for e in made.de00]
    rows = tuple(
        (light, *(f"{value:.2f}" for value in lab), *off)
        for light, lab, off in zip(names, made.lab, away, strict=True)
    )
    return Table(head=("Light", "L*", "a*", "b*", *(("dE00",) if found.wanted else ())), rows=rows)
