"""Which formula is better, and what a difference looks like in words.

Candidates are ranked as a shop would: the nearest first, but of formulas that the eye
can hardly tell apart the one with fewer inks, then the cheaper.  Near-copies are left out,
and so is what a shop would not weigh where another formula is as near: see `worth_weighing`.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.illuminants import Light, light_name
from matchkit.colorimetry.tristimulus import Lab, de00, delta_LCH
from matchkit.colorimetry.words import direction
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.recipe import cost_per_kg, weigh_out, weighing_order
from matchkit.inks.shop import Ink
from matchkit.matching.solve import SAME, Solved, minimise

PREFERENCES = ("nearest", "chance", "steady")
MOSTLY = 0.5  # share of clear above which a formula is called mostly clear
MOSTLY_CLEAR = "Mostly clear: the ground shows through. Prove it on the garment."
CLEARLY = 0.05  # a difference in chance that is one
FAIR = 0.5  # chance from which what hides stands before what is mostly clear, however sure


@dataclass(frozen=True, kw_only=True)
class Choices:
    """What a person asks of formulas.

    `max_inks` counts every ink, white and clear too; `top` is how many formulas are listed;
    `without` names inks to leave out; `prefer` is one of PREFERENCES; with `every` formulas
    that are not `worth_weighing` are listed too.
    """

    batch_g: float = 1000.0
    max_inks: int = 4
    top: int = 5
    without: tuple[str, ...] = ()
    prefer: str = "nearest"
    every: bool = False


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A formula as it would be weighed: `inks` in weighing order, grams on the balance.

    `R`, `lab` (n_light, 3) and `de00` (n_light,) are those of the rounded weights; `F` is
    what was minimised, before rounding.  `mostly_clear` is what no theory of hiding
    inks can judge (in prints the ground is in the sum, and clear is no fault).
    """

    inks: tuple[str, ...]
    grams: tuple[float, ...]
    R: Array
    lab: Array
    de00: Array
    F: float
    cost_per_kg: float | None
    chance_in_tolerance: float | None = None
    mostly_clear: bool = False

    @property
    def percents(self) -> tuple[float, ...]:
        """Percent by mass of the rounded weights."""
        total = sum(self.grams)
        return tuple(100 * g / total for g in self.grams)


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """A measured sample against its target, per light: dE00, dL*, dC*, dH*, words."""

    lights: tuple[str, ...]
    passed: bool
    de00: Array
    delta: Array  # (n_light, 3)
    words: tuple[str, ...]
    spread_de00: float | None  # mean difference of repeat readings from their mean


def limits(palette: Palette, batch_g: float, without: Sequence[str] = ()) -> Array:
    """Largest fraction of each ink, (n_ink,): its own limit, its stock; 0: not to be used."""
    upper = np.array([ink.max_percent / 100 for ink in palette.inks])
    for i, ink in enumerate(palette.inks):
        if ink.stock_g is not None:
            upper[i] = min(upper[i], ink.stock_g / batch_g)
        if ink.name in without or not ink.active:
            upper[i] = 0
    return upper


def candidates(
    solved: Solved,
    palette: Palette,
    target: Target,
    choices: Choices,
    *,
    resolution_g: float,
    tolerance_de00: float,
    chances_of: Callable[[Array], Array] | None = None,
) -> list[Candidate]:
    """The formulas that differ in kind, best first, rounded to the balance.

    `chances_of` gives the chances of grams (n, n_ink) to come out within tolerance.
    """
    batch_g, most = choices.batch_g, limits(palette, choices.batch_g)
    grams = [
        weigh_out(c, batch_g, resolution_g, upper=np.maximum(most, c)) for c in solved.fractions
    ]
    pool = _weighed(palette, np.array(grams), target, solved.F, chances_of)
    chosen: list[Candidate] = []
    kinds: list[frozenset[str]] = []
    for candidate in preferred(pool, choices.prefer, tolerance_de00, every=choices.every):
        kind = _kind(candidate, palette)
        if not any(kind >= seen for seen in kinds):
            chosen.append(candidate)
            kinds.append(kind)
    return chosen


def _kind(candidate: Candidate, palette: Palette) -> frozenset[str]:
    """What makes a formula different: its colours, and whether it is mostly clear.

    With the same colours a little more white or clear is a near-copy; a formula that is
    mostly clear is another kind of ink, since it lets the ground show.
    """
    roles = {ink.name: ink.role for ink in palette.inks}
    colours = {name for name in candidate.inks if roles[name] not in ("white", "clear")}
    kind = frozenset(colours or candidate.inks)
    held = dict(zip(candidate.inks, candidate.grams, strict=True))
    return kind | {"mostly clear" if clear_share(held, palette.inks) > MOSTLY else "bodied"}


def is_mostly_clear(palette: Palette, fractions: Array) -> bool:
    """Whether a mixture (n_ink,) for drawdowns is mostly clear; a print is as it is."""
    clear = np.array([ink.role == "clear" for ink in palette.inks])
    return not palette.printed and float(fractions[clear].sum()) > MOSTLY


def clear_share(amounts: Mapping[str, float], inks: Sequence[Ink]) -> float:
    """Mass fraction of clear in amounts by ink.

    >>> inks = [Ink(name="White", role="white"), Ink(name="Clear", role="clear")]
    >>> clear_share({"White": 25.0, "Clear": 75.0}, inks)
    0.75
    """
    held = sum(amounts.get(ink.name, 0.0) for ink in inks if ink.role == "clear")
    return held / sum(amounts.values())


def preferred(
    pool: Sequence[Candidate], prefer: str, tolerance_de00: float, *, every: bool = False
) -> list[Candidate]:
    """Best first, by one of PREFERENCES; what hides and is fair before what is mostly clear.

    nearest: the rule of `in_order`.  chance: the best chance to come out within tolerance.
    steady: the smallest difference under the worst light.
    """
    if prefer == "steady":
        ranked = least_metameric(pool, every=every)
    else:
        ranked = in_order(pool, every=every)
    if prefer == "chance":
        ranked.sort(key=lambda f: -round(f.chance_in_tolerance or 0.0, 2))
    fair = [f for f in hiding_and_fair(ranked) if tolerance_de00 >= f.de00[0]]
    if not fair:
        return ranked
    last = max(k for k, each in enumerate(ranked) if any(each is f for f in fair))
    return sorted(ranked[: last + 1], key=lambda f: f.mostly_clear) + ranked[last + 1 :]


def listed(ranked: Sequence[Candidate], top: int) -> list[Candidate]:
    """The first `top`, of which the last is mostly clear where only that is so near."""
    shown = list(ranked[:top])
    if top > 1 and not any(each.mostly_clear for each in shown):
        clear = [each for each in ranked if each.mostly_clear and each.F < shown[0].F - SAME]
        shown[-1:] = clear[:1] or shown[-1:]
    return shown


def in_order(pool: Sequence[Candidate], *, every: bool = False) -> list[Candidate]:
    """Best first; within 0.1 of the best that is left, fewer inks, then cheaper.

    Unless `every`, what is not `worth_weighing` beside the others within 0.1 is left out.
    """
    left, out = sorted(pool, key=lambda found: found.F), []
    while left:
        near = [found for found in left if found.F <= left[0].F + SAME]
        good = near if every else worth_weighing(near)
        best = min(good, key=lambda f: (len(f.inks), _cost(f), round(f.F, 3), f.inks))
        out.append(best)
        left = [found for found in left if found is not best]
        if not every:
            poor = {id(found) for found in near} - {id(found) for found in good}
            poor |= {
                id(found)
                for found in left
                if found.F <= best.F + SAME and found not in worth_weighing([found, best])
            }
            left = [found for found in left if id(found) not in poor]
    return out


def worth_weighing(near: Sequence[Candidate]) -> list[Candidate]:
    """Of formulas that the eye can hardly tell apart those that a shop would weigh.

    First those go that are mostly clear, if one is left that is not and has a fair chance:
    opaque theory takes clear for as good as white, and on a garment it is another thing.
    Then those go whose chance to come out is clearly smaller: a few hundredths of a gram of a
    strong ink in much clear look best on paper, and are hardly to be weighed.
    """
    near = hiding_and_fair(near) or near
    best = max(_sure(each) for each in near)
    return [each for each in near if _sure(each) >= best - CLEARLY]


def hiding_and_fair(pool: Sequence[Candidate]) -> list[Candidate]:
    """Those that hide with a chance of FAIR, or with hardly less than the best chance."""
    least = min(FAIR, max((_sure(each) for each in pool), default=0.0) - CLEARLY)
    return [each for each in pool if not each.mostly_clear and _sure(each) >= least]


def _sure(candidate: Candidate) -> float:
    return candidate.chance_in_tolerance or 0.0


def least_metameric(candidates: Sequence[Candidate], *, every: bool = False) -> list[Candidate]:
    """Candidates by their worst light; within 0.1 dE00 fewer inks, then the cheaper."""
    by_worst = [replace(each, F=float(each.de00.max())) for each in candidates]
    given = {id(copy): each for copy, each in zip(by_worst, candidates, strict=True)}
    return [given[id(copy)] for copy in in_order(by_worst, every=every)]


def _cost(candidate: Candidate) -> float:
    return np.inf if candidate.cost_per_kg is None else candidate.cost_per_kg


def weighed(
    palette: Palette,
    grams: Array,
    target: Target,
    *,
    chances_of: Callable[[Array], Array] | None = None,
) -> Candidate:
    """The candidate that weights (n_ink,) make; `F` is theirs, not that of an optimum."""
    return _weighed(palette, grams[None], target, None, chances_of)[0]


def _weighed(
    palette: Palette,
    grams: Array,
    target: Target,
    F: Array | None,
    chances_of: Callable[[Array], Array] | None,
) -> list[Candidate]:
    """The candidates that weights (n, n_ink) make; `F` (n,) is theirs unless given."""
    fractions = grams / grams.sum(axis=1, keepdims=True)
    R = reflectance(palette, fractions)
    lab = np.stack([Lab(R, light, target.observer) for light in target.lights], axis=1)
    away = de00(target.lab, lab)
    F = away @ target.share if F is None else F
    chances = [None] * len(grams) if chances_of is None else chances_of(grams).tolist()
    made = []
    for k, row in enumerate(grams):
        order = weighing_order(palette.inks, row.tolist())
        made.append(
            Candidate(
                inks=tuple(palette.inks[i].name for i in order),
                grams=tuple(float(row[i]) for i in order),
                R=R[k],
                lab=lab[k],
                de00=away[k],
                F=float(F[k]),
                cost_per_kg=cost_per_kg(palette.inks, fractions[k].tolist()),
                chance_in_tolerance=chances[k],
                mostly_clear=is_mostly_clear(palette, fractions[k]),
            )
        )
    return made


def in_gamut(
    palette: Palette, target: Target, solved: Solved, upper: Array, tolerance_de00: float
) -> bool:
    """Whether some mixture of any number of inks comes within half the tolerance.

    First light only.  Descent starts from the best formulas with a little of every other
    ink stirred in.
    """
    first = replace(target, share=np.eye(len(target.lights))[0])
    limit = tolerance_de00 / 2
    if float(solved.de00[:, 0].min(initial=np.inf)) <= limit:
        return True
    everything = np.where(upper > 1e-5, 1 / (palette.K.mean(axis=1) + palette.S.mean(axis=1)), 0)
    everything /= everything.sum()
    best = solved.fractions[:8]
    starts = [0.9 * best + 0.1 * everything, 0.5 * best + 0.5 * everything, everything[None]]
    F, _ = minimise(palette, first, np.concatenate(starts), upper)
    return bool(F.min() <= limit)


def check(
    target_R: Array,
    readings: Array,
    *,
    lights: Sequence[Light],
    observer: int,
    tolerance_de00: float,
) -> Verdict:
    """A measured sample (n_readings, n_wl) against a target spectrum (n_wl,)."""
    mean = readings.mean(axis=0)
    target = np.array([Lab(target_R, light, observer) for light in lights])
    sample = np.array([Lab(mean, light, observer) for light in lights])
    spread = None
    if len(readings) > 1:
        spread = float(de00(Lab(readings, lights[0], observer), sample[0]).mean())
    names = tuple(light_name(light) for light in lights)
    return _verdict(target, sample, names, tolerance_de00, spread)


def check_lab(
    lab_target_: Sequence[float],
    lab_measured: Sequence[float],
    light: str,
    tolerance_de00: float,
    spread_de00: float | None = None,
) -> Verdict:
    """A measured sample against a target, both known as Lab under one light.

    `spread_de00` is the mean difference of repeat readings from their mean, if there are any.
    """
    target, sample = np.array([lab_target_], float), np.array([lab_measured], float)
    return _verdict(target, sample, (light,), tolerance_de00, spread_de00)


def _verdict(
    target: Array, sample: Array, lights: tuple[str, ...], tolerance: float, spread: float | None
) -> Verdict:
    difference = de00(target, sample)
    return Verdict(
        lights=lights,
        passed=bool(difference[0] <= tolerance),
        de00=difference,
        delta=delta_LCH(target, sample),
        words=tuple(map(direction, target, sample)),
        spread_de00=spread,
    )
