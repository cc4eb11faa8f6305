"""Too much, or a wrong ink, while a batch is being weighed: how it can still be finished."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from math import floor
from typing import Any

import numpy as np

from matchkit.arrays import Array
from matchkit.book.jobs import BatchRecord, job, planned_grams
from matchkit.correcting.correct import limits_of
from matchkit.correcting.overpour import Rescue, over_pour
from matchkit.errors import InputError, did_you_mean, raise_any
from matchkit.files.recipe import mix_note
from matchkit.inks.palette import Palette
from matchkit.inks.recipe import taken_apart
from matchkit.paper.jobsize import how_many
from matchkit.paper.weighing import Container
from matchkit.workflows.measuring_batch import wanted_of_batch
from matchkit.workflows.printed import PrintedOver, printed_fit
from matchkit.workflows.session import Session, by_light, spectrum
from matchkit.workflows.sizing import density_of
from matchkit.workflows.wanted import Wanted

ROOM_AT_MOST = 100.0  # times the batch: more is a slip of the keyboard


@dataclass(frozen=True, kw_only=True)
class CorrectOptions:
    """How a batch may be corrected.

    `room_g` is how many grams the container still takes, `without` names inks that are not
    to be added; with `anyway` a reading that these inks can't have is used all the same.
    """

    room_g: float = np.inf
    without: tuple[str, ...] = ()
    anyway: bool = False


USUAL = CorrectOptions()


@dataclass(frozen=True, kw_only=True, eq=False)
class Finish:
    """How a batch in which too much, or a wrong ink, went in can still be finished."""

    wanted: Wanted
    palette: Palette
    rescue: Rescue
    resolution_g: float

    def rest(self, rest_g: Array) -> dict[str, float]:
        """Grams still to weigh by ink, the most first."""
        order = np.argsort(-rest_g, kind="stable")
        return {self.palette.names[i]: round(float(rest_g[i]), 6) for i in order if rest_g[i] > 0}

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain data, as ``matchkit correct --plan --json`` prints it."""
        lights = self.wanted.target.light_names
        return {
            "over": list(self.rescue.over),
            "wrong": list(self.rescue.wrong),
            "ways": {
                name: {
                    "rest": [{"ink": n, "grams": g} for n, g in self.rest(way.rest_g).items()],
                    "total_grams": round(way.total_g, 6),
                    "growth_grams": round(way.growth_g, 6),
                    "reflectance": spectrum(way.R),
                    "de00": by_light(lights, way.de00),
                    "fits": way.fits,
                    "words": way.words,
                }
                for name, way in self.rescue.ways.items()
            },
        }


def finish_batch(
    session: Session,
    wanted: Wanted,
    planned: Mapping[str, float],
    weighed: Mapping[str, float],
    options: CorrectOptions = USUAL,
    *,
    printed: PrintedOver | None = None,
) -> Finish:
    """How to go on where too much, or a wrong ink, went in while a batch is being weighed.

    `planned` and `weighed` are grams by ink or mix: of the whole plan, and of what is in the
    container; `printed` is what the colour is printed on.  Today's lots and stock are counted on.
    """
    note_mixes(session, [*planned, *weighed])
    plan, held = (taken_apart(each, session.shop.mixes) for each in (planned, weighed))
    names = list(dict.fromkeys([*plan, *held]))
    if printed is None:
        session.learned(inks=names)  # says what is counted on of the lots of these inks
    palette = printed_fit(session, printed, names).palette
    plan_g, held_g = (np.array([g.get(n, 0.0) for n in palette.names]) for g in (plan, held))
    check_options(session, palette, float(plan_g.sum()), options)
    limits = limits_of(session.shop, palette, room_g=options.room_g, without=options.without)
    rescue = over_pour(palette, plan_g, held_g, wanted.target, limits)
    return Finish(wanted=wanted, palette=palette, rescue=rescue, resolution_g=limits.resolution_g)


def finish_in_book(
    session: Session, batch: int, weighed: Mapping[str, float], options: CorrectOptions = USUAL
) -> Finish:
    """How to finish a batch of the record book that is being weighed as `weighed`, in grams."""
    record = job(session.open_book(), batch)
    wanted = wanted_of_batch(session, record)
    if wanted is None:
        raise InputError(f"batch {batch} has no target; there is no colour to come near to")
    planned = planned_grams(record, session.shop.resolution_g)
    printed = PrintedOver.from_book(record.printed)
    options = as_begun(session, record, options, taken_apart(weighed, session.shop.mixes))
    return finish_batch(session, wanted, planned, weighed, options, printed=printed)


def check_options(
    session: Session, palette: Palette, batch_g: float, options: CorrectOptions
) -> None:
    """InputError for room that can't be meant and for inks that there are not."""
    faults = []
    if not options.room_g >= 0:
        faults.append(f"room: found {options.room_g:g} g, need 0 or more")
    if np.inf > options.room_g > ROOM_AT_MOST * batch_g:
        faults.append(
            f"room: found {options.room_g:g} g, more than {ROOM_AT_MOST:g} times the batch"
        )
    names = [*palette.names, *(mix.name for mix in session.shop.mixes)]  # no addition takes mixes
    faults += [
        f"without: no ink is called {name!r}; the inks are {', '.join(sorted(palette.names))}"
        f"{did_you_mean(name, names)}"
        for name in options.without
        if name not in names
    ]
    raise_any(faults)


def as_begun(
    session: Session, record: BatchRecord, options: CorrectOptions, held: Mapping[str, float]
) -> CorrectOptions:
    """The options with what was said of a batch when it was begun: no ink that was left out.

    Where no room is said, what its container takes beside what is `held`, in grams by ink.
    """
    if left_out := left_out_of(session, record):
        names = ", ".join(left_out)
        session.note("left_out", f"{names}: to be left out when this batch was begun, so not added")
    options = replace(options, without=(*options.without, *left_out))
    if options.room_g < np.inf:
        return options
    room_g, container = _room_left(session, record, held)
    if room_g == np.inf:
        return options
    session.note(
        "container_room",
        f"additions are kept to what the {container} named when this batch was begun still takes"
        f" to the brim: {room_g:,.0f} g; say the room if it is another",
    )
    return replace(options, room_g=room_g)


def _room_left(
    session: Session, record: BatchRecord, held: Mapping[str, float]
) -> tuple[float, str]:
    """Whole grams that a batch's container takes beside what is `held`, and which that is.

    Infinite where none was named, a density is not known, or it is so big that it is no limit.
    """
    held_g, one = sum(held.values()), Container(name="", volume_ml=record.container_ml)
    density = density_of(session, held) if one.volume_ml and held_g else None
    if density is None:
        return np.inf, ""
    count, planned_ml = 1, record.planned_g / density
    if planned_ml > one.volume_ml:  # so it was made in several
        count = how_many(planned_ml, one)
    # What is added may be lighter than what is in it: the lightest ink there is fits for sure.
    lightest = min(ink.density_g_per_ml or density for ink in session.shelf.inks)
    free_ml = count * one.volume_ml - held_g / density
    room_g = max(0.0, floor(free_ml * min(lightest, density) + 1e-6))
    batch_g = min(held_g, record.planned_g) if record.pours else record.planned_g
    words = f"{one.volume_ml:,.0f} ml container"
    words = words if count == 1 else f"{count} containers of {one.volume_ml:,.0f} ml"
    return room_g if room_g <= ROOM_AT_MOST * batch_g else np.inf, words


def left_out_of(session: Session, record: BatchRecord) -> tuple[str, ...]:
    """Inks and mixes that were to be left out of a batch, those that the shop still has."""
    there = {ink.name for ink in session.shop.inks} | {mix.name for mix in session.shop.mixes}
    return tuple(name for name in record.left_out if name in there)


def note_other_lots(session: Session, record: BatchRecord, added: Collection[str]) -> None:
    """Tell which of the inks that may be added are of another lot now than the batch is."""
    held = {of_lot for pour in record.pours for of_lot in pour.held}
    for ink in session.shop.inks:
        lots = sorted(lot for name, lot in held if name == ink.name and lot)
        if ink.name in added and lots and ink.lot not in lots:
            session.note(
                "other_lot",
                f"{ink.name}: the grams to add count on lot {', '.join(lots)}, as the batch has it;"
                f" lot {ink.lot or '(no name)'} is open now: add of the old lot if there is any",
            )


def note_mixes(session: Session, names: Sequence[str]) -> None:
    """Tell which mixes among `names` are taken as the inks that are in them."""
    for mix in session.shop.mixes:
        if mix.name in names:
            session.note("taken_apart", mix_note(mix))
