"""What went wrong with a batch, and what to add to it.

A batch is known by what was weighed and, round by round, by how it measured; or by Lab, by
what the eye says, or not measured at all.  `correct` takes it as a person hands it in,
`correct_batch` as the record book has it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.book.batches import refuse_stale, rounds_of
from matchkit.book.containers import UNFIT, log_correction
from matchkit.book.jobs import BatchRecord, job
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.correcting.advice import (
    LotStrength,
    WeighingError,
    lot_strengths,
    remarks,
    strengths_beside_the_batch,
    verdict,
    weighing_errors,
    worth_doing,
)
from matchkit.correcting.correct import (
    Correction,
    beyond_limits,
    corrections,
    limits_of,
    nothing_learned,
)
from matchkit.correcting.correct import correct as solve
from matchkit.correcting.diagnose import Belief, Round, infer
from matchkit.correcting.lots import for_palette, start
from matchkit.correcting.visual import WORDS as WORDS
from matchkit.correcting.visual import look_round, lots_that_explain
from matchkit.errors import InputError
from matchkit.fitting.fit import Fit
from matchkit.inks.palette import Palette
from matchkit.inks.recipe import taken_apart
from matchkit.matching.match import chances_of
from matchkit.matching.probability import spread_of
from matchkit.workflows.finishing_batch import (
    USUAL,
    CorrectOptions,
    as_begun,
    check_options,
    note_mixes,
    note_other_lots,
)
from matchkit.workflows.measuring_batch import wanted_of_batch
from matchkit.workflows.printed import PrintedOver, printed_fit
from matchkit.workflows.session import Session, by_light, spectrum
from matchkit.workflows.wanted import Wanted

LAB_NOISE = 0.15  # of L*, a*, b* that are only told: a reading and its rounding
LEAVE = "leave it"
HELD_BACK = 0.01  # of a planned weight that is not poured yet, from which on it is held back
ANYWAY = "if the reading is right all the same, --anyway (in a form the tick 'Anyway') uses it"


@dataclass(frozen=True, kw_only=True, eq=False)
class Mixed:
    """All that is in the container, in grams by ink or mix, and how it looked then.

    At most one of `R` (n_wl,), its reflectance; `lab`, its L*, a*, b* under the target's first
    light; `looks`, what the eye says, such as "a touch red, too dark".  None of them: it was
    not measured yet.  `source` names the reading in messages, as its file.
    """

    grams: Mapping[str, float]
    R: Array | None = None
    lab: Sequence[float] | None = None
    looks: str = ""
    source: str = ""

    def __post_init__(self) -> None:
        """Refuse a Lab that can't be meant."""
        if self.lab is not None:
            L, a, b = self.lab
            if not (0 <= L <= 100 and abs(a) <= 200 and abs(b) <= 200):
                raise InputError(
                    f"measured Lab {L:g}, {a:g}, {b:g}: L* is 0 to 100, a* and b* about -130 to 130"
                )


@dataclass(frozen=True, kw_only=True, eq=False)
class Advice:
    """What is thought of a batch, and what to add to it; arrays are in the palette's order.

    `de00_before` (n_light,) is measured where there is a reading, else predicted.  `ways`
    holds every addition that was solved, or only `LEAVE` where the reading is in tolerance;
    `offered` those worth doing, each once: where none comes within tolerance, only the
    nearest.  `verdict` tells why the batch had better be left, or is empty.  `still` is the
    batch with nothing added.  `chance_weighed` is the chance of the weights before anything
    was measured.  `neighbour` is the nearest other target and how far the batch is from it.
    `batch` and `correction` are the numbers in the record book.
    """

    wanted: Wanted
    palette: Palette
    belief: Belief
    weighed_g: Array
    R: Array | None
    by_eye: bool
    de00_before: Array
    still: Correction
    ways: Mapping[str, Correction]
    offered: Mapping[str, Correction]
    verdict: str
    chance_weighed: float | None
    neighbour: tuple[str, float] | None
    errors: tuple[WeighingError, ...]
    strengths: tuple[LotStrength, ...]
    tolerance_de00: float
    resolution_g: float
    batch: int | None = None
    correction: int | None = None

    @property
    def least(self) -> Correction:
        """The first answer: the least addition, or nothing."""
        return next(iter(self.ways.values()))

    @property
    def in_tolerance(self) -> bool:
        """Whether the batch was read, and is left alone."""
        return LEAVE in self.ways

    @property
    def _choices(self) -> Mapping[str, Correction]:
        """What there is to choose from: to leave it where nothing is needed."""
        return self.offered or ({} if self.verdict else {LEAVE: self.still})

    def additions(self, way: Correction) -> dict[str, float]:
        """Grams to add by ink, the most first."""
        order = np.argsort(-way.additions_g, kind="stable")
        added = way.additions_g
        return {self.palette.names[i]: float(added[i]) for i in order if added[i] > 0}

    def remarks(self, way: Correction) -> list[str]:
        """What to know of an addition: inks that are new to the batch, weights that are small."""
        return remarks(self.palette, way, self.resolution_g)

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit correct --json`` prints it."""
        names, lights, answer = self.palette.names, self.wanted.target.lights, self.least
        held = [(n, i) for i, n in enumerate(names) if self.belief.grams[i] > 0]
        strengths, error = strengths_beside_the_batch(self.palette, self.belief)

        def rows(way: Correction) -> list[dict[str, Any]]:
            return [{"ink": ink, "grams": g} for ink, g in self.additions(way).items()]

        numbers = {"batch": self.batch, "correction": self.correction}
        return {
            **({} if self.batch is None else numbers),
            "additions": rows(answer),
            "added_grams": round(answer.added_g, 6),
            "total_grams": round(answer.total_g, 6),
            "de00_before": by_light(lights, self.de00_before),
            "reflectance": spectrum(answer.R),
            "lab": by_light(lights, answer.lab),
            "de00": by_light(lights, answer.de00),
            "chance_in_tolerance": round(answer.chance_in_tolerance, 4),
            "can_be_saved": answer.can_be_saved,
            "strengths": {n: round(float(strengths[i]), 4) for n, i in held},
            "strength_errors": {n: round(float(error[i]), 4) for n, i in held},
            "slips": [
                {"ink": each.ink, "grams": each.noted_g, "probably": each.probably_g}
                for each in self.errors
            ],
            "choices": [
                {
                    "name": name,
                    "additions": rows(way),
                    "added_grams": round(way.added_g, 6),
                    "de00": by_light(lights, way.de00),
                    "chance_in_tolerance": round(way.chance_in_tolerance, 4),
                    "remarks": self.remarks(way),
                }
                for name, way in self._choices.items()
            ],
            **({"observer": self.wanted.target.observer} if self.wanted.target.R is None else {}),
        }


def correct(
    session: Session,
    wanted: Wanted,
    rounds: Sequence[Mixed],
    options: CorrectOptions = USUAL,
) -> Advice:
    """What to add to a batch that was mixed for `wanted`.

    `rounds` tell, for each time it was measured, all that was in the container.  Several
    rounds need a spectrum each.  Raises InputError for weights or readings that make no sense,
    and for a reading that these inks can't have, unless the options say `anyway`.
    """
    if not rounds or not all(sum(each.grams.values()) for each in rounds):
        raise InputError("a batch needs what was weighed, in grams")
    if len(rounds) > 1 and any(each.R is None for each in rounds):
        raise InputError("several rounds need a spectrum each; give one for every weighing")
    note_mixes(session, [name for each in rounds for name in each.grams])
    contents = [taken_apart(each.grams, session.shop.mixes) for each in rounds]
    series, _ = session.fit_of([name for each in contents for name in each])
    known = session.learned(rounds[-1].R, inks=[*contents[-1]])
    found = known.counted[series]
    palette = found.palette
    weighed = [np.array([each.get(n, 0.0) for n in palette.names]) for each in contents]
    lots = for_palette(known.lots[series], palette) if known.lots else None
    seen = [
        replace(each, grams=dict(zip(palette.names, grams.tolist(), strict=True)))
        for each, grams in zip(rounds, weighed, strict=True)
    ]
    return _advice(_Case(session, wanted, found, known.fits[series], lots, weighed, seen, options))


def correct_batch(session: Session, batch: int, options: CorrectOptions = USUAL) -> Advice:
    """What to add to a batch of the record book; the first answer is written down there.

    Raises InputError without a target or a weighing, and where ink went in after the last reading.
    """
    book = session.open_book()
    record = job(book, batch)
    wanted = wanted_of_batch(session, record)
    if wanted is None:
        raise InputError(f"batch {batch} has no target; a correction needs one to aim at")
    if not record.pours:
        raise InputError(f"batch {batch} has not been weighed yet; nothing to correct")
    last = record.readings[-1] if record.readings else None
    if last is not None and last.state and last.weighing == record.pours[-1].weighing:
        lead, then = f"batch {batch}: the last drawdown was", "add nothing because of it"
        raise InputError([f"{lead} {each}; {then}: {UNFIT[each]}" for each in last.state])
    note_mixes(session, [name for pour in record.pours for name in pour.inks])
    held = record.container
    options = as_begun(session, record, options, held)
    found, today, lots = _fits_of(session, record, [*held])
    palette = found.palette
    measured = rounds_of(record, palette, session.shop)
    refuse_stale(record, measured)
    rounds = measured or [Round(grams=np.array([held.get(n, 0.0) for n in palette.names]))]
    weighed = [each.grams for each in rounds]
    seen = [Mixed(grams={}, R=each.R) for each in rounds]
    plan = np.array([record.holds.get(n, 0.0) * record.planned_g for n in palette.names])
    left = plan - np.array([held.get(n, 0.0) for n in palette.names])
    still_g = np.where(left > HELD_BACK * plan, left, 0.0)
    advice = _advice(_Case(session, wanted, found, today, lots, weighed, seen, options, still_g))
    note_other_lots(session, record, {*chain(*map(advice.additions, advice.offered.values()))})
    number = log_correction(
        book, batch, advice.least, palette.names, choice=next(iter(advice.ways)),
        measurement=record.readings[-1].measurement if measured else None,
    )  # fmt: skip
    return replace(advice, batch=batch, correction=number)


def _fits_of(
    session: Session, record: BatchRecord, names: list[str]
) -> tuple[Fit, Fit, tuple[Array, Array] | None]:
    """The fit of a batch's inks, the one with today's lots, and what is known of those.

    Of a batch that was matched as a print, as a print on the same ground.
    """
    if printed := PrintedOver.from_book(record.printed):
        found = printed_fit(session, printed, names)
        spread, strengths = start(found.palette.inks).covariance, found.palette.strengths
        return found, found, None if strengths is None else (np.log(strengths), spread)
    series, _ = session.fit_of(names)
    known = session.learned(without=record.batch, inks=names)
    found = known.counted[series]
    return found, known.fits[series], for_palette(known.lots[series], found.palette)


@dataclass(frozen=True)
class _Case:
    session: Session
    wanted: Wanted
    found: Fit  # with the lots that were drawn down
    today: Fit  # with today's
    lots: tuple[Array, Array] | None
    weighed: list[Array]  # (n_ink,) at each round
    seen: list[Mixed] = field(repr=False)
    options: CorrectOptions
    held_back_g: Array | None = None  # (n_ink,) that the plan still has


def _advice(case: _Case) -> Advice:
    session, target, palette = case.session, case.wanted.target, case.found.palette
    shop, weighed_g, options = session.shop, case.weighed[-1], case.options
    check_options(session, palette, batch_g := float(weighed_g.sum()), options)
    spread = spread_of(palette, case.found.error, shop.resolution_g)
    belief, measured = _belief(case)
    limits = limits_of(
        shop, palette, room_g=options.room_g, batch_g=batch_g, without=options.without,
        held_back_g=case.held_back_g,
    )  # fmt: skip

    def in_all(way: Correction) -> Correction:
        return replace(way, total_g=batch_g + way.added_g)

    still = in_all(solve(palette, belief, target, spread, replace(limits, room_g=0.0)))
    leave, offered = "", {}
    if measured is not None and measured[0] <= shop.tolerance_de00:
        ways = {LEAVE: still}
    else:
        solved = corrections(palette, belief, target, spread, limits)
        ways = {name: in_all(way) for name, way in solved.items()}
        offered = worth_doing(ways)
        least = ways["least"]
        unsaved = measured is not None or least.added_g or not least.can_be_saved
        if unsaved and not any(way.can_be_saved for way in offered.values()):
            free, short = beyond_limits(palette, belief, target, spread, limits)
            leave = verdict(ways, options.room_g, free and in_all(free), short)
    before = still.de00_before
    if measured is not None:  # under lights in which nothing was measured, as predicted
        before = np.where(np.isnan(measured), before, measured)
    asked = chances_of(case.today, target, shop)(case.weighed[0])
    return Advice(
        wanted=case.wanted,
        palette=palette,
        belief=belief,
        weighed_g=weighed_g,
        R=case.seen[-1].R,
        by_eye=bool(case.seen[-1].looks),
        de00_before=before,
        still=still,
        ways=ways,
        offered=offered,
        verdict=leave,
        chance_weighed=None if case.seen[-1].R is None else float(asked),
        neighbour=_neighbour(case, still),
        errors=weighing_errors(palette, belief, weighed_g),
        strengths=lot_strengths(palette, belief),
        tolerance_de00=shop.tolerance_de00,
        resolution_g=shop.resolution_g,
    )


def _belief(case: _Case) -> tuple[Belief, Array | None]:
    """What is thought of the batch, and the measured dE00 (n_light,) of its last round."""
    session, target, found = case.session, case.wanted.target, case.found
    palette, grams, last = found.palette, case.weighed[-1], case.seen[-1]
    spread = spread_of(palette, found.error, session.shop.resolution_g)
    if last.lab is not None:
        session.note(
            "lab_only",
            "Lab only: which ink went wrong is less certain, and other lights can't be judged;"
            " measure the spectrum if you can",
        )
        lab = np.asarray(last.lab, dtype=float)
        told = Round(grams=grams, lab=lab, lab_covariance=LAB_NOISE**2 * np.eye(3))
        belief = infer(palette, [told], spread, target=target, refuse=False, known=case.lots)
        unknown = np.full((len(target.lab) - 1, 3), np.nan)
        return belief, de00(target.lab, np.vstack([lab, unknown]))
    if last.looks:
        session.note(
            "by_eye",
            "the eye tells the direction of a difference and little of its amount: add half, look"
            " again; other lights can't be judged",
        )
        told = look_round(last.looks, grams, target)
        usual = case.lots or (np.zeros(len(grams)), np.diag(spread.log_strength**2))
        lots = lots_that_explain(palette, told, target, usual)
        belief = infer(
            palette, [told], spread, target=target, refuse=False, known=lots, slips=False
        )
        return belief, None
    if last.R is None:
        return nothing_learned(palette, grams, spread, case.lots), None
    rounds = [Round(grams=g, R=s.R) for g, s in zip(case.weighed, case.seen, strict=True)]
    try:
        belief = infer(
            palette, rounds, spread, target=target,
            refuse=not case.options.anyway, known=case.lots,
        )  # fmt: skip
    except InputError as error:
        where = f"{last.source}: " if last.source else ""
        raise InputError([f"{where}{fault}; {ANYWAY}" for fault in error.faults]) from error
    return belief, de00(
        target.lab, np.array([Lab(last.R, light, target.observer) for light in target.lights])
    )


def _neighbour(case: _Case, still: Correction) -> tuple[str, float] | None:
    """The shop's other target that the batch is nearest to as it is."""
    target = case.wanted.target
    others = {n: R for n, R in case.session.targets.items() if n != case.wanted.name}
    how = target.lights[0], target.observer
    away = [(n, float(de00(Lab(R, *how), still.lab[0]))) for n, R in others.items()]
    return min(away, key=lambda each: each[1], default=None)
