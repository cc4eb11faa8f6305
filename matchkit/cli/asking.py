"""Weights asked one by one in the terminal, or given as words: no spreadsheet is needed."""

import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from matchkit.cli.folders import say
from matchkit.errors import InputError
from matchkit.files.recipe import read_recipe
from matchkit.files.text import parse_amount
from matchkit.paper.sheet import grams_text

HOW = (
    "Grams of each ink, such as 289.7 or 289,7. '=': as planned. 'back': the ink before. 'stop':"
    " write nothing down."
)


def poured(words: Sequence[str], planned: Mapping[str, float]) -> dict[str, float]:
    """Grams by name, of one recipe file or of words such as ``Chalk=289.7``.

    InputError for both at once, for a name that comes twice, and for what is no weight.
    """
    pairs = [word.partition("=") for word in words]
    if len(words) == 1 and (not pairs[0][1] or Path(words[0]).is_file()):
        written = read_recipe(words[0], None, grams_only=True)
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
            grams[name] = plan or 0.0 if amount == "=" else parse_amount(amount, planned=plan)
        except InputError as error:
            faults += [f"{name}: {fault}" for fault in error.faults]
    if faults:
        raise InputError(faults)
    return grams


def ask_weights(
    planned: Mapping[str, float],
    resolution_g: float,
    over: Callable[[Mapping[str, float]], str],
    *,
    ask: Callable[[str], str] | None = None,
) -> dict[str, float]:
    """Grams by ink as a person types them, ink by ink, with the running total.

    `over` tells, as soon as too much went in, how to go on; it is handed what is in the
    container so far.  InputError where the person stops.
    """
    ask = ask or _typed
    say(HOW)
    names, grams = [*planned], dict[str, float]()
    while len(grams) < len(names):
        name = names[len(grams)]
        plan = grams_text(planned[name], resolution_g)
        shows = grams_text(sum(grams.values()) + planned[name], resolution_g)
        try:
            typed = ask(f"{name}, {plan} g (then the balance shows {shows}): ").strip()
        except (EOFError, KeyboardInterrupt):
            typed = "stop"
        if typed.casefold() == "stop":
            raise InputError("stopped: nothing was written down")
        if typed.casefold() == "back":
            grams.popitem() if grams else say("This is the first ink.")
            continue
        try:
            grams[name] = (
                planned[name] if typed == "=" else parse_amount(typed, planned=planned[name])
            )
        except InputError as error:
            say("; ".join(error.faults))
            continue
        total = grams_text(sum(grams.values()), resolution_g)
        say(f"In the container: {total} g.")
        if grams[name] > planned[name] + resolution_g and (how := over(grams)):
            say(how)
    return grams


def _typed(question: str) -> str:
    """What a person types; the question is not part of the answer on standard output."""
    print(question, end="", file=sys.stderr, flush=True)
    return input()
