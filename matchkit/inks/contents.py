"""What was truly in every pot of a drawdown plan, from what the balance showed.

A plan says what to leave in a pot and what to add.  Whoever weighs comes out a little
otherwise, and since one pot serves a whole ladder, each slip goes on into the drawdowns after
it: so every pot, and every letdown, is followed step by step.  Weights end in ``_g``.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from matchkit.errors import raise_any
from matchkit.inks.drawdowns import Plan

LETDOWN = "letdown"  # in place of a pot's number
FAR = 3.0  # times what was planned: more likely a slip of the pen than of the hand
DUST_G = 1e-6

Grams = dict[str, float]


@dataclass(frozen=True, kw_only=True)
class Weighing:
    """One reading of the balance: of an ink or a letdown that was added, or of what was left.

    `made` is the drawdown or the letdown it went into; a `planned_g` or a `showed_g` of
    None is not known, and `where` begins a message.
    """

    made: str
    pot: str  # its number, or LETDOWN
    what: str  # of no account where `left`
    planned_g: float | None
    showed_g: float | None = None
    left: bool = False  # what stays of the mixture before, not what goes in
    where: str = ""

    @property
    def g(self) -> float | None:
        """What the balance showed, else as planned."""
        return self.planned_g if self.showed_g is None else self.showed_g


@dataclass(frozen=True, kw_only=True)
class Contents:
    """Grams of every ink in the pot of each drawdown before it was drawn down; remarks."""

    held: dict[str, Grams]
    notes: tuple[str, ...]

    def percents(self, drawdown: str) -> dict[str, float]:
        """By mass, of every ink in it."""
        total = sum(self.held[drawdown].values())
        return {ink: 100 * g / total for ink, g in self.held[drawdown].items()}


def weighings(plan: Plan) -> tuple[Weighing, ...]:
    """Everything that a plan has weighed, in its order; what comes from the can is not."""
    parts = [
        Weighing(made=name, pot=LETDOWN, what=what, planned_g=g)
        for name, grams in plan.letdowns
        for what, g in grams
    ]
    for step in (step for step in plan.steps if step.pot):
        made, pot = step.drawdown, str(step.pot)
        if step.leave_g is not None:
            parts.append(Weighing(made=made, pot=pot, what="", planned_g=step.leave_g, left=True))
        parts += [Weighing(made=made, pot=pot, what=what, planned_g=g) for what, g in step.adds]
    return tuple(parts)


def contents(readings: Sequence[Weighing], inks: Collection[str]) -> Contents:
    """Follow the pots: what is left keeps its percents, what is added goes on top.

    `readings` are in the order of the work, and those of one drawdown are taken together;
    `inks` are the names of the inks, the letdowns being those among the readings.  InputError
    for what can't have been: a negative weight, more left than there was, a name that is no
    ink and no letdown made before.

    >>> made = {"made": "Red 5 in white", "pot": "1"}
    >>> white = Weighing(what="White", planned_g=28.5, **made)
    >>> red = Weighing(what="Red", planned_g=1.5, showed_g=3.0, **made)
    >>> contents([white, red], ["White", "Red"]).percents("Red 5 in white")["White"]
    90.47619047619048
    """
    groups: dict[str, list[Weighing]] = defaultdict(list)
    for each in readings:
        groups[each.made].append(each)
    pots: dict[str, Grams] = {}
    letdowns: dict[str, Grams] = {}
    held: dict[str, Grams] = {}
    taken: Grams = defaultdict(float)
    faults: list[str] = []
    for made, group in groups.items():
        pot = group[0].pot
        faults += [fault for each in group if (fault := _impossible(each))]
        grams = _left(group, pots.get(pot, {}), faults)
        _add(grams, group, inks, letdowns, taken, faults)
        if sum(grams.values()) <= DUST_G:
            faults.append(f"{group[0].where}{made!r}: nothing was weighed into it")
        elif pot == LETDOWN:
            letdowns[made] = grams
        else:
            pots[pot] = held[made] = grams
    raise_any(list(dict.fromkeys(faults)))
    return Contents(held=held, notes=(*_slips(readings), *_overdrawn(letdowns, taken)))


def _impossible(each: Weighing) -> str:
    if each.g is None:
        return f"{each.where}no weight of {each.what!r}; write what the balance showed"
    if not 0 <= each.g < float("inf"):
        return f"{each.where}{each.g:g} g; write 0 or more"
    return ""


def _left(group: Sequence[Weighing], before: Grams, faults: list[str]) -> Grams:
    """What stays in the pot of the mixture before: nothing in a clean one."""
    left = [each for each in group if each.left]
    if not left:
        return {}
    total, leave_g = sum(before.values()), left[-1].g or 0.0
    if len(left) > 1:
        faults.append(f"{left[-1].where}{left[-1].made!r}: what was left is told twice; keep one")
    elif leave_g > total + DUST_G:
        do = "write what the balance showed" if left[-1].showed_g is None else "mend one of the two"
        faults.append(
            f"{left[-1].where}{left[-1].made!r}: {leave_g:g} g left in pot {left[-1].pot}, but it"
            f" held {total:.6g} g; {do}"
        )
    return {ink: g * leave_g / total for ink, g in before.items()} if total else {}


def _add(
    grams: Grams,
    group: Iterable[Weighing],
    inks: Collection[str],
    letdowns: dict[str, Grams],
    taken: Grams,
    faults: list[str],
) -> None:
    """Put what was weighed into `grams`; a letdown brings its own inks."""
    for each in (each for each in group if not each.left):
        g = each.g or 0.0
        if each.what in letdowns:
            parts = letdowns[each.what]
            total = sum(parts.values())
            taken[each.what] += g
            for ink, part in parts.items():
                grams[ink] = grams.get(ink, 0.0) + g * part / total
        elif each.what in inks:
            grams[each.what] = grams.get(each.what, 0.0) + g
        else:
            faults.append(
                f"{each.where}{each.what!r} is no ink of inks.csv and no letdown made before it;"
                " write its name as it stands there"
            )


def _slips(readings: Iterable[Weighing]) -> list[str]:
    """Weights that are likelier mistyped than weighed."""
    return [
        f"{each.where}{each.showed_g:g} g of {each.what or 'what was left'} where"
        f" {each.planned_g:g} g was planned: is that so?"
        for each in readings
        if each.showed_g is not None
        and each.planned_g
        and not each.planned_g / FAR <= each.showed_g <= FAR * each.planned_g
    ]


def _overdrawn(letdowns: dict[str, Grams], taken: Grams) -> list[str]:
    return [
        f"{name}: {taken[name]:.6g} g were weighed from it, and {sum(parts.values()):.6g} g were"
        " made; made again, it is taken to have come out the same"
        for name, parts in letdowns.items()
        if taken[name] > sum(parts.values()) + DUST_G
    ]
