"""What is looked at, and what is asked, in a practice job before hands and ink go in."""

from dataclasses import replace

from matchkit.arrays import Array
from matchkit.errors import InputError
from matchkit.practice.incidents import LOOKS, SETTLED, WRONG
from matchkit.practice.job import PracticeBatch, counting, judged, moved
from matchkit.practice.safety import SAFETY, Safety
from matchkit.practice.simulated_shop import LIGHTS, formula_for


def look(batch: PracticeBatch, at: str) -> PracticeBatch:
    """Look for what may be wrong, before any ink is added: `at` is one of `LOOKS`.

    What is found is put right at once: the aperture cleaned, the can stirred or changed, the
    next film drawn thicker, a ticket for all the lights that count.
    """
    if at not in LOOKS:
        raise InputError(f"look: {at!r} is nothing to look at; write {', '.join(LOOKS)}")
    hidden, names = batch.hidden, batch.shop.bench.names
    new = replace(batch, looks=(*batch.looks, at))
    thin = at == "card" and hidden.drawn_thin
    if at == "card" and hidden.drawn_R is None:
        raise InputError("look: there is no drawdown to look at; make one first")
    if hidden.incident.look != at or (at == "card" and not thin):
        fine = {
            "customer": f"The batch is judged under {' and '.join(counting(batch))}.",
            "card": "The film hides the black of the card.",
            "tile": "The white tile reads as it should.",
            "cans": "Every can holds what it says, and all are stirred now. No new lot.",
        }
        return moved(new, batch, "look", fine[at])
    told = {
        "lamp": f"The customer judges under {LIGHTS[0]} and {LIGHTS[1]}. The ticket was made for"
        f" {LIGHTS[0]} alone; a new one serves both.",
        "film": "The black of the card shows through: this drawdown tells nothing. The next one"
        " is drawn thicker.",
        "aperture": "The white tile reads too dark: there is ink in the aperture. It is clean now;"
        " measure again.",
        "settled": f"{names[hidden.ink]} had settled: what was poured from the top of the can is"
        f" {100 * SETTLED:.0f} % of it, the rest clear. It is stirred now.",
        "wrong can": f"Beside the empty can of {names[hidden.ink]} stands an open one of"
        f" {names[hidden.other]}: {100 * WRONG:.0f} % of what was poured came from that.",
        "lot": f"{names[hidden.ink]} is of a new lot that nobody has drawn down yet: it may be"
        " much stronger or weaker.",
    }[hidden.incident.key]
    new = replace(new, found=hidden.incident.key)
    if at == "customer":
        ticket = formula_for(batch.shop, tuple(batch.wanted.tolist()))
        new = replace(new, ticket=ticket, lights=counting(batch))
        again = tuple(replace(each, **judged(new, each.R)) for each in batch.readings)
        new = replace(new, readings=again)
    elif at in ("card", "tile"):
        new = replace(new, readings=tuple(replace(r, believed=False) for r in batch.readings))
        if at == "card":
            new = replace(new, hidden=replace(hidden, drawn_R=None))
        else:
            new = replace(new, hidden=replace(hidden, drawn_read=False))
    return moved(new, batch, "look", told)


def known_g(batch: PracticeBatch, shown_g: Array) -> Array:
    """What was in (n_ink,) when the balance showed `shown_g`, as far as one knows."""
    hidden, grams = batch.hidden, shown_g.copy()
    if batch.found == hidden.incident.key and hidden.share:
        away_g = hidden.share * min(float(grams[hidden.ink]), hidden.misnamed_g)
        grams[hidden.ink] -= away_g
        grams[hidden.other] += away_g
    return grams


# ---- safety


def asked_before(batch: PracticeBatch, action: str) -> Safety | None:
    """The safety question to ask before an action, until it was answered rightly."""
    right = {key for key, was_right in batch.safety if was_right}
    asked = "weigh" if action == "add" else action
    return next((each for each in SAFETY if each.before == asked and each.key not in right), None)


def answer_safety(batch: PracticeBatch, key: str, choice: int) -> tuple[PracticeBatch, str]:
    """The batch with the answer noted, and what to say to it."""
    question = next((each for each in SAFETY if each.key == key), None)
    if question is None or not 0 <= choice < len(question.choices):
        raise InputError(f"safety: no question {key!r} with choice {choice}")
    right = choice == question.answer
    lead = "Right." if right else f"No: {question.choices[question.answer]}."
    return replace(batch, safety=(*batch.safety, (key, right))), f"{lead} {question.why}"
