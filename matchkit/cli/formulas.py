"""How formulas are told: as JSON, and as text for people."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from matchkit.cli.shops import by_light, decimals
from matchkit.cli.terminal import spectrum_json, swatch, table
from matchkit.colorimetry.tristimulus import hex_colour
from matchkit.correcting.mixes import letdowns_on_shelf
from matchkit.inks.palette import Palette
from matchkit.inks.recipe import STEPS_TO_TRUST, letdowns_for
from matchkit.inks.shop import Shop
from matchkit.matching.garment import shows_through
from matchkit.matching.match import Match, MoreStock, stock_words
from matchkit.matching.probability import chance_text, most_sensitive
from matchkit.matching.rank import Candidate
from matchkit.matching.solve import MOST, PARENTS, Target

SHEER_WORDS = "sheer: mostly clear, it lets the ground show; prove it on the garment"
METAMERIC = 2.0  # times the tolerance, off under another light: worth a word
NOT_ALL = (
    f"So many inks have more than {MOST:,} subsets of one size: not all were looked at, only\n"
    f"those that add an ink to one of the {PARENTS:,} best formulas of one ink fewer.\n"
    "--without or a smaller --max-inks has all of them looked at."
)


def match_json(found: Match, target: Target, more: MoreStock | None = None) -> dict[str, object]:
    answer: dict[str, object] = {
        "target": found.target,
        "in_gamut": found.in_gamut,
        "exhaustive": found.exhaustive,
        "formulas": [_formula_json(formula, target) for formula in found.formulas],
    }
    if target.R is None:
        answer["observer"] = target.observer
    if more:
        answer["short_of"] = [
            {"ink": name, "stock_g": there, "needed_g": wanted}
            for name, there, wanted in more.lacking
        ]
    return answer


def _formula_json(formula: Candidate, target: Target) -> dict[str, object]:
    return {
        "inks": [
            {"ink": ink, "percent": round(percent, 6), "grams": grams}
            for ink, percent, grams in zip(
                formula.inks, formula.percents, formula.grams, strict=True
            )
        ],
        "reflectance": spectrum_json(formula.R),
        "lab": by_light(target.lights, formula.lab),
        "de00": by_light(target.lights, formula.de00),
        "chance_in_tolerance": round(formula.chance_in_tolerance or 0.0, 4),
        "cost_per_kg": None if formula.cost_per_kg is None else round(formula.cost_per_kg, 4),
        "sheer": formula.mostly_clear,
        "worst_light": target.light_names[int(formula.de00.argmax())],
    }


def match_report(
    found: Match,
    target: Target,
    shop: Shop,
    palettes: Mapping[str, Palette],
    trade_offs: bool,
    printed: str = "",
    last: Sequence[str] = (),
    max_inks: int = 0,
    more: MoreStock | None = None,
) -> str:
    """`printed` says how the formulas are printed, where they are judged as prints.

    `more` is what more stock would bring; the lines `last` stand last.
    """
    told = f"{found.target}, printed {printed}" if printed else found.target
    head = f"{told}: {_reach(found, shop, max_inks, more)}"
    if target.R is not None:
        head = swatch(hex_colour(target.R, target.lights[0], target.observer)) + head
    lines = [head]
    for rank, formula in enumerate(found.formulas, start=1):
        per_light = "  ".join(
            f"{light} {value:.2f}"
            for light, value in zip(target.light_names, formula.de00, strict=True)
        )
        chance = f"  chance {chance_text(formula.chance_in_tolerance or 0.0)}"
        cost = "" if formula.cost_per_kg is None else f"  cost {formula.cost_per_kg:.2f}/kg"
        block = swatch(hex_colour(formula.R, target.lights[0], target.observer))
        lines += ["", f"{block}Formula {rank}: dE00 {per_light}{chance}{cost}"]
        rows = [
            [ink, f"{grams:.{decimals(shop.resolution_g)}f}", f"{percent:.3f}"]
            for ink, grams, percent in zip(
                formula.inks, formula.grams, formula.percents, strict=True
            )
        ]
        lines.append(table(["Ink", "grams", "percent"], rows, indent=2))
        lines += [f"  ! {line}" for line in doubts(formula, shop)]
        lines += [f"  ! {line}" for line in _other_light(formula, target, shop.tolerance_de00)]
        lines += [f"  {line}" for line in _touchy(formula, target, palettes)]
    if trade_offs:
        lines += ["", _trade_offs(found, target)]
    if not found.exhaustive:
        lines += ["", NOT_ALL]
    if printed:
        lines += ["", *_print_words(found.formulas[0], target, shop, palettes)]
    ends = [_chance_words(palettes), *last]
    if more:
        ends.insert(0, "! " + stock_words(more, found, target))
    return "\n".join([*lines, "", *ends])


def _reach(found: Match, shop: Shop, max_inks: int, more: MoreStock | None) -> str:
    """Whether the inks can reach the target, and what keeps a formula from it."""
    if not found.in_gamut:
        if more and more.in_gamut:
            return "out of reach with the stock there is; the nearest are"
        return "outside what these inks can reach; the nearest are"
    if max_inks and found.formulas[0].de00[0] > shop.tolerance_de00:
        inks = "one ink" if max_inks == 1 else f"{max_inks} inks"
        return f"in gamut, but not with {inks} at most (--max-inks); the nearest are"
    return "in gamut"


def _chance_words(palettes: Mapping[str, Palette]) -> str:
    """What the chances count on, which only the shop can know, or its book has learned."""
    inks = [ink for palette in palettes.values() for ink in palette.inks]
    spreads = sorted({round(ink.lot_spread_percent, 1) for ink in inks})
    by = f"{spreads[0]:g}" if len(spreads) == 1 else f"{spreads[0]:g} to {spreads[-1]:g}"
    return f"Chances count on lots that differ by {by} % (lot_spread_percent in inks.csv)."


def _print_words(
    formula: Candidate, target: Target, shop: Shop, palettes: Mapping[str, Palette]
) -> list[str]:
    """Whether the ground shows through the best print, and what its chance counts."""
    palette = next(p for p in palettes.values() if set(formula.inks) <= set(p.names))
    c = _grams_in(palette, formula) / sum(formula.grams)
    shows = shows_through(palette, c, target.lights[0], target.observer)
    lines = []
    if formula.de00[0] > shop.tolerance_de00 and shows > shop.tolerance_de00:
        lines = [
            "It will not hold: what is below shows through. Even formula 1 is then"
            f" {shows:.1f} dE00 from",
            "its colour when it hides. Lay it thicker (a second stroke doubles --thickness) or put",
            "white below (--underbase UM); `matchkit hold` compares both.",
        ]
    strays = 0.0 if palette.film is None else 100 * palette.film.thickness_sd
    return [*lines, f"The chance counts a thickness that strays by {strays:g} %"
            " (--thickness-spread)."]  # fmt: skip


def _trade_offs(found: Match, target: Target) -> str:
    """What a formula that is better here gives up there."""
    first, rows = target.light_names[0], []
    for rank, formula in enumerate(found.formulas, start=1):
        worst, cost = int(formula.de00.argmax()), formula.cost_per_kg
        rows.append(
            [
                str(rank),
                f"{formula.de00[0]:.2f}",
                f"{formula.de00[worst]:.2f}",
                target.light_names[worst],
                str(len(formula.inks)),
                "" if cost is None else f"{cost:.2f}",
                chance_text(formula.chance_in_tolerance or 0.0),
            ]
        )
    columns = ["Formula", first, "worst", "under", "inks", "cost/kg", "chance"]
    lines = ["Trade-offs (dE00):", table(columns, rows, indent=2)]
    if len(target.lights) > 1:
        lines.append(f"  To give up some of {first} for the other lights: --other-lights 3")
    return "\n".join(lines)


def _other_light(formula: Candidate, target: Target, tolerance_de00: float) -> list[str]:
    """A word where a formula that is in under the first light is far off under another."""
    worst = int(formula.de00.argmax())
    off = float(formula.de00[worst])
    if formula.de00[0] > tolerance_de00 or off <= METAMERIC * tolerance_de00:
        return []
    light = target.light_names[worst]
    return [
        f"under {light} it is {off:.1f} off: agree which light counts, or look for a steadier"
        " formula (--prefer steady)"
    ]


def doubts(formula: Candidate, shop: Shop) -> list[str]:
    """What speaks against weighing a formula just so, a line each."""
    return [*([SHEER_WORDS] if formula.mostly_clear else []), *_small_weights(formula, shop)]


def _small_weights(formula: Candidate, shop: Shop) -> list[str]:
    """A line for each ink that the balance can't show well, with the way out."""
    known = {ink.name: ink for ink in shop.inks}
    if not set(formula.inks) <= set(known):  # a leftover in it: its inks are mixed already
        return []
    inks = [known[name] for name in formula.inks]
    ways = {way.ink: way for way in letdowns_for(inks, formula.grams, shop.resolution_g)}
    ways |= {
        way.ink: way
        for way in letdowns_on_shelf(inks, formula.grams, shop.mixes, shop.resolution_g)
    }
    lines = []
    for ink, grams in zip(formula.inks, formula.grams, strict=True):
        if grams >= STEPS_TO_TRUST * shop.resolution_g * (1 - 1e-9):
            continue
        line = f"{ink}: {grams:g} g is under {STEPS_TO_TRUST} steps of the balance"
        if ink in ways:
            weigh = ", ".join(f"{name} {g:g} g" for name, g in ways[ink].grams)
            line += f"; weigh it as a letdown instead: {weigh}"
        else:
            line += "; make a bigger batch, or weigh it on a finer balance"
        lines.append(line)
    return lines


def _grams_in(palette: Palette, formula: Candidate) -> NDArray[np.float64]:
    """The formula's grams in the palette's order, (n_ink,)."""
    grams = np.zeros(len(palette.inks))
    for name, g in zip(formula.inks, formula.grams, strict=True):
        grams[palette.index(name)] = g
    return grams


def _touchy(formula: Candidate, target: Target, palettes: Mapping[str, Palette]) -> list[str]:
    """Which ink to weigh with most care."""
    for palette in palettes.values():
        if set(formula.inks) <= set(palette.names):
            found = most_sensitive(palette, _grams_in(palette, formula), target)
            return [
                f"touchiest: {found.step_g:.2g} g more of {found.ink} moves it {found.de00:.2f}"
            ]
    return []
