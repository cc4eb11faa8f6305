"""Questions for where hands would be in danger.

The answers are common practice, no source, and come after the makers' technical and safety
data sheets and local rules, which every one of them says.
"""

from dataclasses import dataclass

from matchkit.paper.sheet import CAUTIONS


@dataclass(frozen=True, kw_only=True)
class Safety:
    """A question that comes before an action: `answer` is a position in `choices`."""

    key: str
    before: str  # weigh, stir or drawdown
    question: str
    choices: tuple[str, ...]
    answer: int
    why: str


DEFER = (
    "Common practice, no source: the makers' technical and safety data sheets and local rules"
    " come first."
)

# Common practice, no source.
SAFETY = (
    Safety(
        key="skin",
        before="weigh",
        question="You open the cans. What first?",
        choices=(
            "Nothing: ink is washed off with solvent afterwards",
            "Gloves and eye protection, and a look at the safety data sheet",
            "Gloves only for black, which stains",
        ),
        answer=1,
        why=f"{CAUTIONS['skin']} {DEFER}",
    ),
    Safety(
        key="machine",
        before="stir",
        question="Ink sticks to the tool of the running machine. What do you do?",
        choices=(
            "Wipe it off with a spatula while it turns slowly",
            "Hold the container with one hand and scrape with the other",
            "Stop the machine, wait until it stands still, then scrape",
        ),
        answer=2,
        why=f"{CAUTIONS['machine']} {DEFER}",
    ),
    Safety(
        key="cure",
        before="drawdown",
        question="How hot, and how long, is the drawdown cured?",
        choices=(
            "As the ink's data sheet says, measured on the film, with hands off what is hot",
            "As hot as the dryer goes: the hotter, the surer",
            "Until the surface feels dry to a finger",
        ),
        answer=0,
        why=f"{CAUTIONS['cure']} What comes out of a dryer or from under a flash burns: let it"
        f" cool. {DEFER}",
    ),
)
