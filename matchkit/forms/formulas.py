"""Formulas as a person reads them: side by side, and one of them closely."""

from collections.abc import Sequence

from matchkit.colorimetry.tristimulus import Lab_to_XYZ, hex_colour, srgb, white
from matchkit.forms.pictures import drawn
from matchkit.forms.shops import OpenShop
from matchkit.inks.shop import Shop
from matchkit.matching.compare import compare
from matchkit.matching.match import Match, MoreStock, stock_words
from matchkit.matching.probability import chance_text
from matchkit.matching.rank import MOSTLY, Candidate, clear_share
from matchkit.matching.solve import Target
from matchkit.paper.sheet import grams_text
from matchkit.plots.charts import composition, spectra, swatches
from matchkit.report.compared import edge_to_edge
from matchkit.report.parts import Part, Picture, Table

__all__ = [
    "best_bodied",
    "formula_parts",
    "is_mostly_clear",
    "match_parts",
    "shares",
    "target_hex",
]


def match_parts(
    opened: OpenShop, target: Target, found: Match, more: MoreStock | None = None
) -> list[Part]:
    """The formulas for one target side by side, and what `more` stock would bring."""
    shop = opened.shop
    head = _reach(found, shop, more)
    sheer = [k for k, f in enumerate(found.formulas, start=1) if is_mostly_clear(opened, f)]
    lines: list[Part] = [f"{found.target}: {head[0].lower()}{head[1:]}"]
    lines += [_strip(target, found), _table(target, found, shop.tolerance_de00)]
    if more:
        words = stock_words(more, found, target)
        lines.append(f"{words[0].upper()}{words[1:]}.")
    if not found.exhaustive:
        lines.append(
            "So many inks have more combinations than can be looked at one by one: larger formulas "
            "were grown from the best smaller ones. Fewer inks at most has all of them looked at."
        )
    if sheer:
        names = ", ".join(str(k) for k in sheer)
        lines.append(
            f"Mostly clear: formula {names}. Such a film lets the ground show: right in a thick "
            "drawdown, not on a dark garment."
        )
    return lines


def _reach(found: Match, shop: Shop, more: MoreStock | None) -> str:
    """Whether the inks can reach the target, and what keeps a formula from it."""
    nearest = "The nearest formulas are shown; agree on the colour before anything is mixed."
    if not found.in_gamut:
        if more and more.in_gamut:
            return f"Out of reach with the stock there is. {nearest}"
        return f"Outside what these inks can reach. {nearest}"
    if found.formulas[0].de00[0] > shop.tolerance_de00:
        return f"These inks can reach it, but not with so few of them. {nearest}"
    return "These inks can reach it."


def formula_parts(
    opened: OpenShop, target: Target, formula: Candidate, name: str, *, pictures: bool = True
) -> list[Part]:
    """One formula: what goes in; with `pictures`, how it looks beside the target."""
    colours = _ink_colours(opened, formula.inks, target)
    parts: list[Part] = [
        _weights(formula, opened.shop.resolution_g),
        drawn(
            lambda ax: composition(ax, formula.inks, formula.percents, colours=colours),
            f"{name}: " + shares(formula),
            6.4,
            1.7,
            wide=True,
        ),
    ]
    if target.R is None or not pictures:
        return parts
    seen = compare(target.R, [(name, formula.R)], lights=target.lights, observer=target.observer)
    words = "; ".join(
        f"{light} dE00 {value:.2f}"
        for light, value in zip(target.light_names, formula.de00, strict=True)
    )
    parts.append(drawn(lambda ax: swatches(ax, seen), f"Target beside {name}: {words}", 4.6, 3.5))
    parts.append(
        drawn(lambda ax: spectra(ax, seen), f"Reflectance of the target and of {name}", 4.6, 3.5)
    )
    return parts


def is_mostly_clear(opened: OpenShop, formula: Candidate) -> bool:
    """Whether a formula is mostly clear."""
    return clear_share(formula, opened.shop.inks) > MOSTLY


def best_bodied(opened: OpenShop, formulas: Sequence[Candidate]) -> int:
    """Where the best formula that hides stands; the first if all are sheer."""
    bodied = [k for k, formula in enumerate(formulas) if not is_mostly_clear(opened, formula)]
    return bodied[0] if bodied else 0


def target_hex(target: Target) -> str:
    """The target as a web colour."""
    reference = white(target.lights[0], target.observer)
    levels = (255 * srgb(Lab_to_XYZ(target.lab[0], reference), reference)).round().astype(int)
    return "#{:02x}{:02x}{:02x}".format(*levels.tolist())


def _strip(target: Target, found: Match) -> Picture:
    light, observer = target.lights[0], target.observer
    below = [hex_colour(formula.R, light, observer) for formula in found.formulas]
    names = [
        f"{k}: dE00 {formula.de00[0]:.2f}" for k, formula in enumerate(found.formulas, start=1)
    ]
    title = f"Above: {found.target} under {target.light_names[0]}. Below: the formulas"
    return edge_to_edge(target_hex(target), below, names, title)


def _table(target: Target, found: Match, tolerance: float) -> Table:
    rows = []
    for k, formula in enumerate(found.formulas, start=1):
        cost = "not known" if formula.cost_per_kg is None else f"{formula.cost_per_kg:.2f}"
        rows.append(
            (
                str(k),
                shares(formula),
                *(f"{value:.2f}" for value in formula.de00),
                chance_text(formula.chance_in_tolerance or 0.0),
                cost,
            )
        )
    head = (
        "Formula",
        "Inks, percent by mass",
        *(f"dE00 {light}" for light in target.light_names),
        f"Chance within {tolerance:g}",
        "Cost per kg",
    )
    return Table(head=head, rows=tuple(rows), words=(1,))


def shares(formula: Candidate) -> str:
    """A formula on one line: inks and percents."""
    return ", ".join(
        f"{ink} {percent:.2f}" for ink, percent in zip(formula.inks, formula.percents, strict=True)
    )


def _weights(formula: Candidate, resolution_g: float) -> Table:
    total, rows = 0.0, []
    for ink, grams, percent in zip(formula.inks, formula.grams, formula.percents, strict=True):
        total += grams
        shown = (f"{percent:.2f}", grams_text(grams, resolution_g), grams_text(total, resolution_g))
        rows.append((ink, *shown))
    return Table(head=("Ink", "Percent", "Grams", "Balance shows"), rows=tuple(rows))


def _ink_colours(opened: OpenShop, inks: Sequence[str], target: Target) -> list[str]:
    """Each ink's own colour, alone, as it was drawn down; white where that is not known."""
    alone = {d.inks[0]: d.R for d in opened.shop.hiding if len(d.inks) == 1}
    light, observer = target.lights[0], target.observer
    return [
        hex_colour(alone[name], light, observer) if name in alone else "#ffffff" for name in inks
    ]
