"""Weights asked one by one in the terminal, or given as words: no spreadsheet is needed."""

import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from matchkit.book.jobs import far_from_plan
from matchkit.cli.folders import say
from matchkit.errors import InputError, raise_any
from matchkit.files import recipe, text
from matchkit.paper.sheet import grams_text

HOW = (
    "Grams of each ink alone, not the running total, such as 289.7 or 289,7. '=': as planned."
    " 'back': the ink before. 'stop': write nothing down."
)


AGAIN = 1.05  # times what a chosen way takes: less than that too much is not asked about again


def poured(words: Sequence[str], planned: Mapping[str, float]) -> dict[str, float]:
    """Grams by name, of one recipe file or of words such as ``Chalk=289.7``.

    InputError for both at once, for a name that comes twice, and for what is no weight.

    >>> poured(["Kelp=Green=12", "Chalk=="], {"Chalk": 289.7})
    {'Kelp=Green': 12.0, 'Chalk': 289.7}
    """
    # An ink's name may hold an equals sign; "==" at the end is: as planned.
    pairs = [(w[:-2], "=", "=") if w.endswith("==") else w.rpartition("=") for w in words]
    if len(words) == 1 and (not pairs[0][1] or Path(words[0]).is_file()):
        written = recipe.read_recipe(words[0], None, grams_only=True)
        return dict(zip(written.inks, written.grams or (), strict=True))
    grams: dict[str, float] = {}
    faults = []
    for word, (name, mark, amount) in zip(words, pairs, strict=True):
        name = name.strip()
        if not mark or not name or name in grams:
            faults.append(f"{word!r}: write each ink once, as INK=GRAMS, or name one file")
            continue
        try:
            plan = planned.get(name)
            grams[name] = plan or 0.0 if amount == "=" else text.parse_amount(amount, planned=plan)
        except InputError as error:
            faults += [f"{name}: {fault}" for fault in error.faults]
    raise_any(faults)
    return grams


def ask_weights(
    planned: Mapping[str, float],
    resolution_g: float,
    over: Callable[[Mapping[str, float]], tuple[str, Sequence[Mapping[str, float]]]],
) -> dict[str, float]:
    """Grams by ink as a person types them, ink by ink, with the running total.

    `over` tells, as soon as too much went in, how to go on: words, empty where that is slight,
    and what each way still takes; it is handed what is in the container so far.  The person
    chooses a way, and is then asked for what that takes.  InputError where the person stops.
    """
    say(HOW)
    steps, grams, followed = [*planned.items()], list[float](), False
    while len(grams) < len(steps):
        name, plan_g = steps[len(grams)]
        plan = grams_text(plan_g, resolution_g)
        more = " more" if name in _so_far(steps, grams) else ""
        shown_g = sum(grams) + plan_g
        shows = grams_text(shown_g, resolution_g)
        typed = _answer(f"{name}, {plan} g{more} (then the balance shows {shows}): ")
        if typed == "back":
            grams.pop() if grams else say("This is the first ink.")
            continue
        try:
            g = plan_g if typed == "=" else text.parse_amount(typed, planned=plan_g)
        except InputError as error:
            say("; ".join(error.faults))
            continue
        if grams and g > plan_g and abs(g - shown_g) < plan_g / 10:
            own = grams_text(g - sum(grams), resolution_g)
            say(f"{g:g} g: if that is what the balance shows in all, type 'back', then {own}.")
        grams.append(g)
        if g < plan_g and (far := far_from_plan({name: g}, {name: plan_g}, resolution_g)):
            say(f"Far from the plan: {far[0]}; 'back' if it was typed wrong.")
        say(f"In the container: {grams_text(sum(grams), resolution_g)} g.")
        if g > plan_g + resolution_g and (not followed or g > AGAIN * plan_g):
            words, ways = over(_so_far(steps, grams))
            if words:
                say(words)
                rest = _chosen(ways, steps[len(grams) :])
                if rest is None:
                    grams.pop()
                    continue
                followed = True
                steps = [*steps[: len(grams)], *rest]
    return _so_far(steps, grams)


def _so_far(steps: Sequence[tuple[str, float]], grams: Sequence[float]) -> dict[str, float]:
    """What is in the container, by ink."""
    held: dict[str, float] = {}
    for (name, _), g in zip(steps, grams, strict=False):
        held[name] = held.get(name, 0.0) + g
    return held


def _chosen(
    ways: Sequence[Mapping[str, float]],
    plan: Sequence[tuple[str, float]],
) -> Sequence[tuple[str, float]] | None:
    """What is still weighed, by the way that a person chooses; None: it was typed wrong."""
    if not ways:
        return plan
    known = {"": plan, "back": None}
    known |= {f"{k}": [*way.items()] for k, way in enumerate(ways, start=1)}
    words = f"Which? 1 to {len(ways)}; only Enter: as planned; 'back': it was typed wrong: "
    while (typed := _answer(words)) not in known:
        say(f"{typed!r} is none of these")
    return known[typed]


def _answer(question: str) -> str:
    """What a person answers; InputError where that is to stop, or nothing more comes."""
    try:
        # The question is no part of the answer on standard output.
        print(question, end="", file=sys.stderr, flush=True)
        typed = input().strip()
    except (EOFError, KeyboardInterrupt):
        typed = "stop"
    if typed.casefold() == "stop":
        raise InputError("stopped: nothing was written down")
    return "back" if typed.casefold() == "back" else typed
