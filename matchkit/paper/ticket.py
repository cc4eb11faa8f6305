"""The weigh-out ticket: what to weigh, in which order, and what to look out for.

The facts of one batch, gathered once; `ticket_sheet` lays them out on paper.
Lab and dE00 are per light, the first light is the one that is matched.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from math import ceil, floor
from typing import Any

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.tristimulus import hex_of_Lab
from matchkit.errors import InputError, raise_any
from matchkit.inks.recipe import STEPS_TO_TRUST
from matchkit.inks.shop import Ink, Shop
from matchkit.matching.rank import MOSTLY_CLEAR, Candidate
from matchkit.paper.jobsize import JobSize, whole_g
from matchkit.paper.sheet import MIX, STIR_FIRST, caution_list, grams_text, isolated
from matchkit.paper.weighing import (
    Additive,
    Container,
    Fill,
    Grams,
    MadeLetdown,
    TicketRow,
    doses,
    fill,
    ticket_rows,
    to_balance,
    with_letdowns,
)

# Common practice, no source.
MIXING_STEPS = (
    STIR_FIRST,
    "Tare the container; weigh in the order above, on the running total.",
    *MIX,
    "Draw down, cure, let cool, take three readings, look under the lights that matter.",
    "Label the container: formula, job, date, lots, by whom.",
)
SPARE = 1.1  # a batch may be so many times what the job needs
HELD_BACK_STEP = "Draw down before the held-back part goes in; add it in steps, mixing each time."
SHEET_CAUTIONS = ("skin", "machine", "cure", "load", "use", "approval")


@dataclass(frozen=True, kw_only=True)
class Ticket:
    """A batch to weigh and mix.

    `rows` are weighed with the letdowns if `letdowns_used`; else `letdown_grams` is the
    whole batch weighed with them, the way out.  Without a target its fields are empty.
    `formula` is the batch as it was found, `first_pour` what of it is in the container at
    the first drawdown; empty where nothing is held back.
    """

    job: str
    date: str
    shop: str
    target: str
    lights: tuple[str, ...]
    observer: int
    target_lab: tuple[tuple[float, ...], ...]
    predicted_lab: tuple[tuple[float, ...], ...]
    de00: tuple[float, ...]
    target_hex: str
    predicted_hex: str
    tolerance_de00: float
    chance_in_tolerance: float | None
    formula: Grams
    first_pour: Grams
    rows: tuple[TicketRow, ...]
    batch_g: float
    resolution_g: float
    letdowns: tuple[MadeLetdown, ...]
    letdown_grams: Grams
    letdowns_used: bool
    additives: tuple[Additive, ...]
    fill: Fill | None
    job_size: JobSize | None
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """The ticket as plain data, as ``matchkit ticket --json`` prints it."""
        return asdict(self)


def ticket(
    candidate: Candidate,
    target: Target | None,
    shop: Shop,
    *,
    target_name: str = "",
    inks: Sequence[Ink] = (),
    job: str = "",
    date: str = "",
    hold_back: Mapping[str, float] | None = None,
    use_letdowns: bool = False,
    additives: Sequence[Additive] = (),
    container: Container | None = None,
    job_size: JobSize | None = None,
    warnings: Sequence[str] = (),
) -> Ticket:
    """The ticket of one candidate.

    `target` is what `candidate.de00` was measured against; without one its Lab are under the
    shop's lights.  Names are looked up in `inks`, or in the shop's.  `hold_back` gives by ink
    the share that is weighed first, 0-1; the rest goes in last.  With `use_letdowns` too small
    weights are weighed from letdowns; otherwise the ticket only says how.  The grams of
    `additives` are worked out here.  `job_size` is how much ink the job needs (None: nobody
    said how it is printed); `warnings` are what the caller has to say, and the ticket's own
    follow.  InputError for names that are not there, numbers that make no sense, a batch that
    does not fit the container, and one that is not what the job needs.
    """
    shelf = {ink.name: ink for ink in inks or shop.inks}
    held = dict(hold_back or {})
    _check(candidate, shelf, held, additives, container)
    used = [shelf[name] for name in candidate.inks]
    direct_g = dict(zip(candidate.inks, candidate.grams, strict=True))
    first_pour = tuple(
        (name, to_balance(held.get(name, 1.0) * g, shop.resolution_g))
        for name, g in direct_g.items()
    )
    batch_g = round(sum(candidate.grams), 6)
    _check_size(batch_g, job_size)
    letdowns, letdown_grams = with_letdowns(used, candidate.grams, shop.resolution_g)
    held |= {each.name: held[each.ink] for each in letdowns if each.ink in held}
    weighed_g = dict(letdown_grams) if use_letdowns else direct_g
    rows = ticket_rows(weighed_g, shelf, held, shop.resolution_g)
    dosed = doses(additives, batch_g, shop.resolution_g)
    filled = fill(used, direct_g, dosed, container)
    light = (target or shop).lights[0]
    observer = target.observer if target else shop.observer
    told = [
        *([MOSTLY_CLEAR] if candidate.mostly_clear else []),
        *_colour_warnings(candidate, target, shop),
        *_shelf_warnings(used, direct_g),
        *_small_weights(weighed_g, letdowns, shop.resolution_g),
        *_fill_warnings(filled, used, container),
    ]
    return Ticket(
        job=job,
        date=date,
        shop=shop.name,
        target=target_name,
        lights=target.light_names if target else shop.lights,
        observer=observer,
        target_lab=_rows_of(target.lab) if target else (),
        predicted_lab=_rows_of(candidate.lab),
        de00=tuple(candidate.de00.tolist()) if target else (),
        target_hex=hex_of_Lab(target.lab[0], light, observer) if target else "",
        predicted_hex=hex_of_Lab(candidate.lab[0], light, observer),
        tolerance_de00=shop.tolerance_de00,
        chance_in_tolerance=candidate.chance_in_tolerance if target else None,
        formula=tuple(direct_g.items()),
        first_pour=first_pour if any(name in held for name in direct_g) else (),
        rows=rows,
        batch_g=batch_g,
        resolution_g=shop.resolution_g,
        letdowns=letdowns,
        letdown_grams=letdown_grams if letdowns else (),
        letdowns_used=use_letdowns and bool(letdowns),
        additives=dosed,
        fill=filled,
        job_size=job_size,
        steps=(*MIXING_STEPS[:-1], *([HELD_BACK_STEP] if held else []), MIXING_STEPS[-1]),
        cautions=caution_list(SHEET_CAUTIONS),
        warnings=(*warnings, *told),
    )


def _check(
    candidate: Candidate,
    shelf: Mapping[str, Ink],
    held: Mapping[str, float],
    additives: Sequence[Additive],
    container: Container | None,
) -> None:
    faults = [
        f"ink {name!r}: not among {', '.join(shelf)}"
        for name in candidate.inks
        if name not in shelf
    ]
    for name, share in held.items():
        if name not in candidate.inks:
            faults.append(f"hold back {name!r}: not in this formula")
        if not 0 < share <= 1:
            faults.append(
                f"hold back {name!r}: weigh first {100 * share:g} %; more than 0 and at most 100 %"
                " is meant"
            )
    for each in additives:
        if not 0 < each.percent <= 100:
            faults.append(f"additive {each.name!r}: {each.percent:g} %; more than 0, at most 100")
    if container and not (container.volume_ml > 0 and 0 <= container.headroom < 1):
        faults.append(
            f"container {container.name!r}: {container.volume_ml:g} ml, headroom"
            f" {container.headroom:g}; a volume above 0 and a share from 0 to below 1 are meant"
        )
    raise_any(faults)


def _check_size(batch_g: float, job_size: JobSize | None) -> None:
    """Raise InputError where the batch is not what the job needs."""
    if job_size is None:
        return
    needed_g = whole_g(job_size)
    if not needed_g - 1 <= batch_g <= SPARE * needed_g:
        raise InputError(
            f"this batch is {batch_g:g} g, but what is to be printed needs {needed_g:.0f} g;"
            f" make the batch of {needed_g:.0f} g, in one, since two are never quite alike, or"
            " leave out what is printed"
        )


def _rows_of(lab: Array) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(row) for row in lab.tolist())


def _colour_warnings(candidate: Candidate, target: Target | None, shop: Shop) -> list[str]:
    if target is None:
        return []
    first, *others = zip(target.light_names, candidate.de00.tolist(), strict=True)
    limit = shop.tolerance_de00
    if first[1] > limit:
        return [
            f"Predicted dE00 {first[1]:.2f} under {first[0]} is outside the tolerance {limit:g}:"
            " agree on the colour before mixing."
        ]
    return [
        f"Matches under {first[0]}, not under {light}: predicted dE00 {far:.2f} there."
        for light, far in others
        if far > limit
    ]


def _shelf_warnings(inks: Sequence[Ink], grams: Mapping[str, float]) -> list[str]:
    batch_g, told = sum(grams.values()), []
    for ink in inks:
        percent = 100 * grams[ink.name] / batch_g
        if percent > ink.max_percent + 0.05:
            told.append(
                f"{isolated(ink.name)}: {percent:.1f} %, over its limit of {ink.max_percent:g} %."
            )
        if not ink.active:
            told.append(f"{isolated(ink.name)} has left the shop (active is no in inks.csv).")
        elif ink.stock_g is not None and grams[ink.name] > ink.stock_g:
            told.append(f"{isolated(ink.name)}: {ink.stock_g:g} g in stock, less than is needed.")
    return told


def _small_weights(
    grams: Mapping[str, float], letdowns: Sequence[MadeLetdown], resolution_g: float
) -> list[str]:
    least_g, batch_g = STEPS_TO_TRUST * resolution_g, sum(grams.values())
    helped = {each.ink for each in letdowns}
    told = []
    for name, g in grams.items():
        if g >= least_g * (1 - 1e-9):
            continue
        enough_g = 10 * ceil(batch_g * least_g / g / 10)
        way_out = "weigh it from a letdown, see below."
        if name not in helped:
            way_out = f"a batch of {enough_g} g would not need it."
        weight = f"{isolated(name)}: {grams_text(g, resolution_g)} g"
        told.append(f"{weight} is under {least_g:g} g, 100 steps of the balance: {way_out}")
    return told


def _fill_warnings(
    filled: Fill | None, inks: Sequence[Ink], container: Container | None
) -> list[str]:
    if container is None:
        return []
    if filled is None:
        unknown = ", ".join(isolated(ink.name) for ink in inks if ink.density_g_per_ml is None)
        return [f"Whether it fits the {container.name} is not known: no density of {unknown}."]
    if filled.share is None or filled.most_g is None or filled.share <= 1 - container.headroom:
        return []
    fits = f"at most {floor(filled.most_g)} g fit and leave {100 * container.headroom:g} % to stir"
    if filled.share > 1:
        raise InputError(
            f"this batch is {filled.volume_ml:.0f} ml, and the {container.name} holds"
            f" {container.volume_ml:.0f} ml: {fits}; choose a bigger container, or make the batch"
            " in parts"
        )
    return [f"{container.name}: {100 * filled.share:.0f} % full; {fits}."]
