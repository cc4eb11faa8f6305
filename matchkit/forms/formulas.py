"""Formulas as a person reads them: side by side, and one of them closely."""

from collections.abc import Sequence

from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.forms.pictures import drawn
from matchkit.forms.shops import OpenShop
from matchkit.matching.compare import compare
from matchkit.matching.rank import MOSTLY, Candidate, clear_share
from matchkit.matching.solve import Target
from matchkit.plots.charts import composition, spectra, swatches
from matchkit.report.formulas import shares, weights_table
from matchkit.report.parts import Part

__all__ = ["formula_parts", "is_mostly_clear", "shares"]


def formula_parts(
    opened: OpenShop, target: Target, formula: Candidate, name: str, *, pictures: bool = True
) -> list[Part]:
    """One formula: what goes in; with `pictures`, how it looks beside the target."""
    colours = _ink_colours(opened, formula.inks, target)
    parts: list[Part] = [
        weights_table(formula, opened.shop.resolution_g),
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


def _ink_colours(opened: OpenShop, inks: Sequence[str], target: Target) -> list[str]:
    """Each ink's own colour, alone, as it was drawn down; white where that is not known."""
    alone = {d.inks[0]: d.R for d in opened.shop.hiding if len(d.inks) == 1}
    light, observer = target.lights[0], target.observer
    return [
        hex_colour(alone[name], light, observer) if name in alone else "#ffffff" for name in inks
    ]
