"""What goes wrong in a practice job, one thing in each, drawn by the seed.

What happens, and how often, is our own choice (common practice, no source); finding it out
before any ink is added is the exercise.
"""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Incident:
    """Something that goes wrong: its `name` to choose from, and what is `told` at the end.

    `look` is what finds it, "" where it is seen without looking.
    """

    key: str
    name: str
    told: str
    look: str = ""


INCIDENTS = tuple(
    Incident(key=key, name=name, told=told, look=look)
    for key, look, name, told in (
        ("", "", "nothing in particular", "Nothing in particular went wrong."),
        ("settled", "cans", "an ink was poured from a can that was not stirred",
         "{ink} had settled in its can: what was poured was almost half clear."),
        ("wrong can", "cans", "an ink was poured from the wrong can",
         "The can of {ink} ran out, and the rest of it was poured from a can of {other}."),
        ("lot", "cans", "a lot is much weaker than the lot that was fitted",
         "The lot of {ink} is {percent:.0f} % as strong as the one that was fitted."),
        ("over-pour", "", "too much of an ink was poured",
         "Too much {ink} was poured; the balance showed it."),
        ("aperture", "tile", "the aperture of the instrument is dirty",
         "The aperture was dirty: everything read too dark."),
        ("film", "card", "the film of the drawdown does not hide its card",
         "The film was too thin: the black of the card showed."),
        ("lamp", "customer", "the customer judges under another lamp too",
         "The customer judges under {lamp} too, and the ticket was made for {first} alone."),
        ("full", "", "the container is nearly full",
         "The container takes {capacity:.0f} g: there was little room for additions."),
    )
)  # fmt: skip
BY_KEY = {each.key: each for each in INCIDENTS}
# What a look is called, and the minutes that it takes.
LOOKS = {
    "customer": ("Ask the customer about the lights", 5.0),
    "card": ("Look at the film over the black of the card", 1.0),
    "tile": ("Measure the white tile", 2.0),
    "cans": ("Look at the cans, and stir them", 5.0),
}
SETTLED, WEAK = 0.55, 0.7  # what is left of an ink's pigment at the top of its can; a weak lot
WRONG = 0.35  # of a pour that came from the wrong can
OVER, DIRTY = 1.5, 0.85  # times as much as wanted; what is left of a reading
THIN_UM = 45.0
SMALL_G = 560.0  # what the small container takes
