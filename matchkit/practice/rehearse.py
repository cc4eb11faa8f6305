"""Rehearsal: blind jobs on simulated inks, to see how often a batch is in tolerance.

A `SimulatedShop` has inks drawn from a seed, drawn down and fitted as any shop's, targets
that are random mixtures of those inks at their reference lots, and a formula for each.
`play` makes every formula with lots that differ from the reference, with weighing errors
and readings that scatter, and corrects it twice.

Three mixers make each job with the same lots, the same weighing errors and the same noise:

    matchkit   fit, match, infer what went wrong, correct
    ceiling    the mixture the target was made from, weighed once: what a perfect model
               reaches that doesn't know today's lots
    textbook   single-constant theory; a miss is put right by matching the target shifted
               by the error, with the inks in the bucket

Targets are measured without noise, and every drawdown hides its ground unless the shop has
the trouble `card`.  The simulator uses another theory than the fit, but without troubles it
is no shop: real inks, hands and films do worse.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import XYZ_to_Lab, de00
from matchkit.correcting.correct import Limits, correct
from matchkit.correcting.diagnose import Round, infer
from matchkit.correcting.lots import for_palette, learn, start
from matchkit.fitting.expected_error import ExpectedError
from matchkit.fitting.fit import Fit, fit
from matchkit.fitting.held_out import STRUCTURES
from matchkit.inks.opacity import over
from matchkit.inks.palette import Palette, reflectance
from matchkit.inks.shop import Drawdown, Ink
from matchkit.matching.match import fractions_for, series_formulas
from matchkit.matching.probability import Spread, chance, chances, spread_of
from matchkit.matching.rank import Candidate, Choices, candidates
from matchkit.matching.solve import Solved, minimise
from matchkit.optics.film import ground_inside
from matchkit.practice.scores import Played
from matchkit.simulator import simulate
from matchkit.simulator.job import Hand, job
from matchkit.simulator.pigments import Bench, make_bench
from matchkit.simulator.troubles import Troubles

Progress = Callable[[int, int], None]
Fix = Callable[[Sequence[Array], Sequence[Array]], Array]
Known = tuple[Array, Array]  # mean and covariance of log strength

TOLERANCE_DE00 = 1.0
MIXERS = ("matchkit", "ceiling", "textbook")
HAND = Hand()
BATCH_G = 500.0
WANTED = Choices(batch_g=BATCH_G)
LIGHTS, OBSERVER = ("D65", "A", "FL11"), 10
ROUNDS = 2
ROOM = 1.0  # the textbook adds at most so many batches to a batch
LEAST_SHARE = 1e-4  # an ink of the textbook's that is less than this is left out


@dataclass(frozen=True, kw_only=True, eq=False)
class SimulatedShop:
    """Simulated inks as their shop knows them, and its targets, a row for each.

    `truth` (n, n_ink) is what a target was made from; `formula_g` and `textbook_g`
    (n, n_ink) are what the two matches weigh for it.
    """

    seed: int
    bench: Bench
    found: Fit
    textbook: Palette | None  # None: it takes no part
    kinds: tuple[str, ...]
    truth: Array
    targets: tuple[Target, ...]
    solved: tuple[Solved, ...]
    formula_g: Array
    textbook_g: Array


# ---- the simulated shop


def simulated_shop(
    seed: int,
    n_targets: int,
    *,
    n_colours: int = 13,
    drawdowns_per_ink: int = 10,
    troubles: Troubles | None = None,
    halves: Sequence[str] = ("white",),
    unlike: bool = False,
    textbook: bool = True,
    progress: Progress | None = None,
) -> SimulatedShop:
    """Inks, their fit, and formulas for targets that go round the four kinds.

    `troubles` make the shop harder; where drawdowns are films over a card, `halves` says
    which halves of the card are read for the fit.  Targets are read over the white half.
    `unlike`: pigments of another make, see `make_bench`.
    """
    bench = make_bench(seed, n_colours=n_colours, troubles=troubles, unlike=unlike)
    rng = np.random.default_rng([seed, 1])
    inks, drawn = drawdowns_of(bench, rng, drawdowns_per_ink, halves)
    found = known_inks(bench, inks, drawn)
    plain = _textbook(bench, inks, drawn) if textbook else None
    kinds = tuple(simulate.KINDS[k % len(simulate.KINDS)] for k in range(n_targets))
    truth = np.concatenate([simulate.random_mixtures(bench, rng, kind, 1) for kind in kinds])
    targets = tuple(
        Target.from_spectrum(R, LIGHTS, OBSERVER) for R in simulate.drawdown_R(bench, truth)
    )
    solved, formulas, by_textbook = [], [], []
    for k, target in enumerate(targets, start=1):
        every, first = _formulas(found.palette, target, found.error)
        solved.append(every)
        formulas.append(_grams(found.palette, first))
        if plain:
            by_textbook.append(_grams(plain, _formulas(plain, target)[1]))
        if progress:
            progress(k, n_targets)
    return SimulatedShop(
        seed=seed,
        bench=bench,
        found=found,
        textbook=plain,
        kinds=kinds,
        truth=truth,
        targets=targets,
        solved=tuple(solved),
        formula_g=np.array(formulas),
        textbook_g=np.array(by_textbook),
    )


def drawdowns_of(
    bench: Bench, rng: np.random.Generator, steps: int, halves: Sequence[str] = ("white",)
) -> tuple[list[Ink], list[Drawdown]]:
    """Simulated inks and their drawdowns, `steps` of each ink, as a shop would have them.

    One half of the card is handed in as drawdowns that hide, both as films of the nominal
    thickness over the grounds `black` and `white`.
    """
    names, true = simulate.ladder_of(bench, steps)
    noted, readings = simulate.draw(bench, true, rng, halves=halves)
    inks = [Ink(name=ink.name, role=ink.role) for ink in bench.inks]
    films = len(halves) > 1
    drawn = [
        Drawdown(
            name=f"{name} {half}" if films else name,
            inks=tuple(bench.names[i] for i in np.flatnonzero(c)),
            fractions=tuple(c[c > 0].tolist()),
            readings=R,
            ground=half if films else "",
            thickness_um=bench.troubles.card if films else None,
        )
        for half, of_half in zip(halves, readings, strict=True)
        for name, c, R in zip(names, noted, of_half, strict=True)
    ]
    return inks, drawn


def known_inks(bench: Bench, inks: Sequence[Ink], drawn: Sequence[Drawdown]) -> Fit:
    """The fit of a shop's drawdowns; its palette predicts drawdowns as this shop reads them."""
    if drawn[0].thickness_um is None:
        return fit(drawn, inks, geometry=bench.geometry, observer=OBSERVER)
    grounds = {
        half: ground_inside(simulate.bare_card_R(bench, half), "smooth", bench.geometry)
        for half in ("white", "black")
    }
    found = fit(drawn, inks, grounds=grounds, geometry=bench.geometry, observer=OBSERVER)
    return replace(found, palette=over(found.palette, grounds["white"], bench.troubles.card))


def _textbook(bench: Bench, inks: Sequence[Ink], drawn: Sequence[Drawdown]) -> Palette:
    """Single-constant theory, which takes every drawdown for one that hides."""
    hide = [replace(d, ground="", thickness_um=None) for d in drawn if d.ground in ("", "white")]
    return fit(hide, inks, geometry=bench.geometry, structures=STRUCTURES[:1]).palette


def _formulas(
    palette: Palette, target: Target, error: ExpectedError | None = None
) -> tuple[Solved, Candidate]:
    """What was solved, and the formula that `match` puts first; no chances without the error."""
    solved, found = series_formulas(
        palette, target, WANTED, resolution_g=HAND.resolution_g, tolerance_de00=TOLERANCE_DE00,
        chances_of=None if error is None else _chances_of(palette, target, error),
    )  # fmt: skip
    return solved, found[0]


def _grams(palette: Palette, formula: Candidate) -> Array:
    return fractions_for(palette, formula.inks, formula.grams) * BATCH_G


def _chances_of(palette: Palette, target: Target, error: ExpectedError) -> Callable[[Array], Array]:
    spread = spread_of(palette, error, HAND.resolution_g)
    return lambda grams: chances(palette, grams, target, spread, TOLERANCE_DE00)


# ---- the jobs


def play(
    shop: SimulatedShop,
    *,
    lots_percent: float,
    tolerance_de00: float = TOLERANCE_DE00,
    earlier: int = 0,
    seed: int = 0,
    mixers: Sequence[str] = MIXERS,
) -> Played:
    """One job for each target of a simulated shop, each with lots of its own.

    With `earlier` above 0 matchkit has seen that many first drawdowns of other targets
    made with the same lots, and both matches and corrects with what they told.  Another
    `seed` is other lots, weighing errors and noise.
    """
    spread = _spread(shop, lots_percent)
    scored: dict[str, list[Array]] = {mixer: [] for mixer in mixers}
    added, said = [], []
    for k, target in enumerate(shop.targets):
        lots = simulate.draw_lots(_rng(shop, seed, k, 0), len(shop.bench.inks), lots_percent / 100)
        known = _learn(shop, k, lots, spread, earlier, _rng(shop, seed, k, 2))
        ways, told = _ways(shop, k, spread, tolerance_de00, known if earlier else None)
        for mixer in mixers:
            grams, fix = ways[mixer]
            rng = _rng(shop, seed, k, 1)  # one hand and one noise for every mixer
            done = job(shop.bench, grams, lots, rng, correct=fix, rounds=ROUNDS, hand=HAND)
            scored[mixer].append(_seen(target, done.readings))
            if mixer == "matchkit":
                more_g = np.diff(done.shown_g.sum(axis=1))
                added.append(_padded(100 * more_g / BATCH_G, 0.0, ROUNDS))
                said.append(told[:2])
    return Played(
        kinds=shop.kinds,
        tolerance_de00=tolerance_de00,
        de00={mixer: np.array(rows) for mixer, rows in scored.items()},
        added_percent=np.array(added),
        chance=np.array(said),
    )


def _rng(shop: SimulatedShop, seed: int, k: int, stream: int) -> np.random.Generator:
    return np.random.default_rng([shop.seed, seed, k, stream])


def _spread(shop: SimulatedShop, lots_percent: float) -> Spread:
    """What the shop takes for granted: it knows how far its lots usually lie apart."""
    palette = shop.found.palette
    usual = spread_of(palette, shop.found.error, HAND.resolution_g)
    return replace(usual, log_strength=np.full(len(palette.inks), max(lots_percent, 0.1) / 100))


def _padded(values: Array, by: float, length: int) -> Array:
    return np.concatenate([values, np.full(length - len(values), by)])


def _seen(target: Target, readings: Array) -> Array:
    """dE00 (3,) under the first light; a batch that is left alone stays as it is."""
    lab = XYZ_to_Lab(readings @ target.W[:, :3], target.whites[0])
    away = de00(target.lab[0], lab)
    return _padded(away, float(away[-1]), ROUNDS + 1)


def _learn(
    shop: SimulatedShop, k: int, lots: Array, spread: Spread, earlier: int, rng: np.random.Generator
) -> Known:
    """What `earlier` batches of other targets tell about today's lots."""
    palette = shop.found.palette
    usual = [
        replace(ink, lot_spread_percent=100 * float(sd))
        for ink, sd in zip(palette.inks, spread.log_strength, strict=True)
    ]
    learned = start(usual)
    others = np.delete(np.arange(len(shop.targets)), k)
    for other in rng.choice(others, size=earlier):
        formula_g = shop.formula_g[other]
        done = job(shop.bench, formula_g, lots, rng, correct=_leave, rounds=0, hand=HAND)
        seen = Round(grams=done.shown_g[0], R=done.readings[0])
        learned, _ = learn(learned, palette, [seen], spread)
    return for_palette(learned, palette)


# ---- the mixers


def _ways(
    shop: SimulatedShop, k: int, spread: Spread, tolerance_de00: float, known: Known | None
) -> tuple[dict[str, tuple[Array, Fix]], list[float]]:
    """What each mixer weighs for target k and how it corrects, and the chances as stated."""
    palette, target, formula_g = shop.found.palette, shop.targets[k], shop.formula_g[k]
    covariance = None
    if known:
        palette, covariance = replace(palette, strengths=np.exp(known[0])), known[1]
        formula_g = _matched_again(shop.solved[k], palette, target, shop.found.error)
    told = [chance(palette, formula_g, target, spread, tolerance_de00, covariance)]
    ways: dict[str, tuple[Array, Fix]] = {
        "matchkit": (formula_g, _by_inference(shop, k, spread, tolerance_de00, known, told)),
        "ceiling": (shop.truth[k] * BATCH_G, _leave),
    }
    if shop.textbook:
        ways["textbook"] = shop.textbook_g[k], _by_shift(shop.textbook, target, tolerance_de00)
    return ways, told


def _matched_again(solved: Solved, palette: Palette, target: Target, error: ExpectedError) -> Array:
    """The formula for a target that was matched before, with the lots as they are known now."""
    F, fractions = minimise(palette, target, solved.fractions)
    found = candidates(
        replace(solved, fractions=fractions, F=F), palette, target, WANTED,
        resolution_g=HAND.resolution_g, tolerance_de00=TOLERANCE_DE00,
        chances_of=_chances_of(palette, target, error),
    )  # fmt: skip
    return _grams(palette, found[0])


def _leave(shown_g: Sequence[Array], readings: Sequence[Array]) -> Array:
    return np.zeros_like(shown_g[0])


def _by_inference(
    shop: SimulatedShop,
    k: int,
    spread: Spread,
    tolerance_de00: float,
    known: Known | None,
    told: list[float],
) -> Fix:
    """The least addition, by what most likely went wrong; its chance is added to `told`.

    A batch in tolerance is left alone.
    """
    palette = shop.found.palette

    def fix(shown_g: Sequence[Array], readings: Sequence[Array]) -> Array:
        rounds = [Round(grams=g, R=R) for g, R in zip(shown_g, readings, strict=True)]
        belief = infer(palette, rounds, spread, refuse=False, known=known)
        inside = _seen(shop.targets[k], readings[-1][None])[0] <= tolerance_de00
        limits = Limits(
            tolerance_de00=tolerance_de00,
            resolution_g=HAND.resolution_g,
            room_g=0.0 if inside else np.inf,
        )
        found = correct(palette, belief, shop.targets[k], spread, limits)
        told.append(found.chance_in_tolerance)
        return found.additions_g

    return fix


def _by_shift(palette: Palette, target: Target, tolerance_de00: float) -> Fix:
    """Additions that lead to the formula for the target shifted by the error.

    Only inks in the bucket are added; the error is what was read less what the theory
    predicted, which does textbook theory no injustice where it can't predict the target.
    """

    def fix(shown_g: Sequence[Array], readings: Sequence[Array]) -> Array:
        grams = shown_g[-1]
        seen = XYZ_to_Lab((readings[-1] @ target.W).reshape(-1, 3), target.whites)
        if de00(target.lab[0], seen[0]) <= 0.3 * tolerance_de00:
            return np.zeros_like(grams)
        R = reflectance(palette, grams / grams.sum())
        told = XYZ_to_Lab((R @ target.W).reshape(-1, 3), target.whites)
        shifted = replace(target, lab=target.lab - (seen - told))
        _, c = minimise(palette, shifted, grams[None] / grams.sum())
        return _diluted_to(grams, c[0])

    return fix


def _diluted_to(grams: Array, c: Array) -> Array:
    """Additions that bring what is in the bucket to the fractions `c`, or part of the way."""
    held = c > LEAST_SHARE
    a = np.where(held, c * (grams[held] / c[held]).max() - grams, 0.0)
    a = a * min(1.0, ROOM * grams.sum() / max(a.sum(), 1e-12))
    rounded: Array = np.round(np.maximum(a, 0) / HAND.resolution_g) * HAND.resolution_g
    return rounded
