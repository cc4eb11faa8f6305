"""Which drawdowns to weigh for a new series or one new ink.

`levels` says which mixtures, `pots` how to weigh them with little waste; here they become
a plan with names, totals and remarks.  Percents are by mass, weights end in ``_g``.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import count
from math import ceil

from matchkit.errors import did_you_mean, raise_any
from matchkit.inks.levels import FEWEST, MOST, Ladder, Level, ladders
from matchkit.inks.pots import Balance, Grams, Pot, Weak, fill_pots, fresh_pot, make_letdowns
from matchkit.inks.shop import Ink

LONGEST_NAME = 60  # characters of an ink's name in a drawdown's
FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f]')  # in file names, on some system


@dataclass(frozen=True, kw_only=True)
class Step:
    """One drawdown, in the order of the work.

    Bring pot number `pot` down to `leave_g` (None: take a clean pot), stir in `adds`, and
    `pot_g` are in it; pot 0 is straight from the can.  `fresh` makes the same mixture in
    a pot of its own.  `percents` are those in the common pot, by its rounded weights;
    `number` is short, to be keyed into an instrument in place of the name.
    """

    drawdown: str
    ink: str  # whose ladder it belongs to
    pot: int
    inks: tuple[str, ...]
    percents: tuple[float, ...]
    fresh: Grams
    leave_g: float | None
    adds: Grams
    pot_g: float
    number: int


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What to weigh and draw down, in the order that wastes least.

    `letdowns` are made first: name and parts; `fresh_letdowns` are those that only pots
    of their own need.  `used_g` and `fresh_g` say by ink what the plan takes, and what it
    would take with a pot for every drawdown.
    """

    inks: tuple[Ink, ...]
    steps: tuple[Step, ...]
    letdowns: tuple[tuple[str, Grams], ...]
    fresh_letdowns: tuple[tuple[str, Grams], ...]
    used_g: Grams
    fresh_g: Grams
    batch_g: float
    pull_g: float
    resolution_g: float
    notes: tuple[str, ...]

    @property
    def saved(self) -> float:
        """Share of all ink that the common pots save, 0-1."""
        fresh_g = sum(g for _, g in self.fresh_g)
        return 1 - sum(g for _, g in self.used_g) / fresh_g if fresh_g else 0.0


@dataclass(frozen=True, kw_only=True)
class PlanRow:
    """One thing to weigh for one drawdown; `percent` is None for a letdown.

    `add_g` holds only for a pot brought down to `leave_g` (None: a clean pot, or the can).
    """

    drawdown: str
    ink: str
    percent: float | None
    grams: float  # in a pot of its own
    add_g: float  # into the common pot
    pot: int
    leave_g: float | None
    number: int  # of the drawdown


def drawdown_plan(
    inks: Sequence[Ink],
    *,
    batch_g: float = 30.0,
    resolution_g: float = 0.01,
    levels: int = 10,
    new_ink: str | None = None,
    pull_g: float = 4.0,
) -> Plan:
    """The drawdowns for all inks, or for `new_ink` among them.

    `batch_g` is the least that can be stirred and drawn down well, `levels` the drawdowns of
    each ink (3 to 13), `pull_g` what one takes out of the pot (common practice, no source).
    InputError for no inks, an unknown `new_ink`, or numbers that make no sense.

    >>> inks = [Ink(name="White", role="white"), Ink(name="Red", role="colour")]
    >>> [step.drawdown for step in drawdown_plan(inks, levels=3, new_ink="Red").steps]
    ['Red 5.5 in white', 'Red 18 in white', 'Red masstone']
    """
    inks = tuple(inks)
    _check(inks, new_ink, levels, {"batch": batch_g, "resolution": resolution_g, "pull": pull_g})
    bases = {ink.name for ink in inks if ink.role in ("white", "clear")}
    balance = Balance(resolution_g=resolution_g, bases=bases)
    found = ladders(inks, levels, new_ink)
    work = _weighed(found, batch_g, pull_g, balance)
    letdowns, used = _taken([each.common for each in work], balance)
    apart, alone = _taken([each.fresh for each in work], balance)
    common = {weak.name for weak, _ in letdowns}
    return Plan(
        inks=inks,
        steps=_steps(work),
        letdowns=tuple((weak.name, parts) for weak, parts in letdowns),
        fresh_letdowns=tuple((w.name, parts) for w, parts in apart if w.name not in common),
        used_g=tuple((ink.name, round(used[ink.name], 6)) for ink in inks if used[ink.name]),
        fresh_g=tuple((ink.name, round(alone[ink.name], 6)) for ink in inks if alone[ink.name]),
        batch_g=batch_g,
        pull_g=pull_g,
        resolution_g=resolution_g,
        notes=(*_gaps(inks, work, new_ink), *_small_weights(found, batch_g, pull_g, balance)),
    )


def numbered(plan: Plan, numbers: Mapping[str, int]) -> Plan:
    """The plan with the short `numbers` that drawdowns have already; others follow the highest."""
    following = count(max(numbers.values(), default=0) + 1)
    steps = (replace(s, number=numbers.get(s.drawdown) or next(following)) for s in plan.steps)
    return replace(plan, steps=tuple(steps))


def rows(plan: Plan) -> list[PlanRow]:
    """The plan as a flat table, one row for each thing to weigh."""
    return [row for step in plan.steps for row in _rows_of(step)]


def _rows_of(step: Step) -> list[PlanRow]:
    percents = dict(zip(step.inks, step.percents, strict=True))
    fresh, adds = dict(step.fresh), dict(step.adds)
    return [
        PlanRow(
            drawdown=step.drawdown,
            ink=what,
            percent=percents.get(what),
            grams=fresh.get(what, 0.0),
            add_g=adds.get(what, 0.0),
            pot=step.pot,
            leave_g=step.leave_g,
            number=step.number,
        )
        for what in dict.fromkeys([*percents, *fresh, *adds])
    ]


@dataclass(frozen=True, kw_only=True)
class _Weighed:
    level: Level
    pot: int
    common: Pot
    fresh: Pot


def _weighed(
    found: Sequence[Ladder], batch_g: float, pull_g: float, balance: Balance
) -> list[_Weighed]:
    work: list[_Weighed] = []
    for ladder in found:
        shares = [dict(level.shares) for level in ladder]
        alone = len(shares[0]) == 1  # a masstone is taken from the can with a clean knife
        size_g = pull_g if alone else batch_g
        own = [fresh_pot(each, size_g, balance) for each in shares]
        common = own if alone else fill_pots(shares, size_g, pull_g, balance)
        number = 0 if alone else 1 + max((each.pot for each in work), default=0)
        work += [
            _Weighed(level=level, pot=number, common=pot, fresh=fresh)
            for level, pot, fresh in zip(ladder, common, own, strict=True)
        ]
    return work


def _taken(
    pots: Iterable[Pot], balance: Balance
) -> tuple[list[tuple[Weak, Grams]], dict[str, float]]:
    """The letdowns that pots need, and the grams of every ink, letdowns included."""
    needed: dict[Weak, float] = defaultdict(float)
    grams: dict[str, float] = defaultdict(float)
    for pot in pots:
        weak = {each.name: each for each in pot.weak}
        for what, add_g in pot.adds:
            if what in weak:
                needed[weak[what]] += add_g
            else:
                grams[what] += add_g
    made = make_letdowns(needed, balance)
    names = {weak.name for weak, _ in made}
    for what, part_g in (part for _, parts in made for part in parts):
        grams[what] += 0.0 if what in names else part_g
    return made, grams


def _steps(work: Sequence[_Weighed]) -> tuple[Step, ...]:
    names = _names([each.level for each in work])
    return tuple(
        Step(
            drawdown=name,
            ink=each.level.ink,
            pot=each.pot,
            inks=tuple(ink for ink, _ in each.common.holds),
            percents=tuple(100 * g / each.common.pot_g for _, g in each.common.holds),
            fresh=each.fresh.adds,
            leave_g=each.common.leave_g,
            adds=each.common.adds,
            pot_g=each.common.pot_g,
            number=number,
        )
        for number, (name, each) in enumerate(zip(names, work, strict=True), start=1)
    )


def _names(levels: Sequence[Level]) -> list[str]:
    """Names that a spreadsheet, an instrument and a file system take; no two alike."""
    names: list[str] = []
    for level in levels:
        ink = FORBIDDEN.sub("-", level.ink).strip(" .")[:LONGEST_NAME].strip(" .") or "Ink"
        name, again = f"{ink} {level.label}", 1
        while name.casefold() in (other.casefold() for other in names):
            again += 1
            name = f"{ink} {level.label} ({again})"
        names.append(name)
    return names


def _check(
    inks: Sequence[Ink], new_ink: str | None, levels: int, sizes: Mapping[str, float]
) -> None:
    names = [ink.name for ink in inks]
    faults = [f"ink {name!r}: named twice; keep one" for name in names if names.count(name) > 1]
    if not names:
        faults.append("no inks to plan drawdowns for; list them first")
    if new_ink is not None and new_ink not in names:
        faults.append(f"new ink {new_ink!r}: not among {', '.join(names)}; add it to the inks"
                      f"{did_you_mean(new_ink, names)}")  # fmt: skip
    if not FEWEST <= levels <= MOST:
        faults.append(f"drawdowns of each ink: {levels}; choose {FEWEST} to {MOST}")
    for what, size_g in sizes.items():
        if not 0 < size_g < 10_000:
            faults.append(f"{what}: {size_g:g} g; a number of grams above 0 is expected")
    raise_any(list(dict.fromkeys(faults)))


def _gaps(inks: Sequence[Ink], work: Sequence[_Weighed], new_ink: str | None) -> list[str]:
    """What the plan cannot tell, a line each."""
    planned = {each.level.ink for each in work}
    alone = {each.level.ink for each in work if len(each.level.shares) == 1}
    notes = []
    for series in dict.fromkeys(ink.series for ink in inks):
        roles = {ink.role for ink in inks if ink.series == series}
        where = f"series {series}: " if series else ""
        if "white" not in roles:
            notes.append(f"{where}no white; the white is the gauge for how much the others scatter")
        if "clear" not in roles:
            notes.append(f"{where}no clear, so no letdowns in clear")
    for ink in inks:
        if ink.role == "clear" and new_ink in (None, ink.name):
            notes.append(f"{ink.name}: not drawn down alone, it would not hide the card")
        elif ink.name in planned - alone:
            limit = f"{ink.max_percent:g} %"
            notes.append(f"{ink.name}: not drawn down alone, its maker's limit is {limit}")
        elif new_ink in (None, ink.name) and ink.name not in planned:
            notes.append(f"{ink.name}: nothing to let it down in within its limit")
    return notes


def _small_weights(
    found: Sequence[Ladder], batch_g: float, pull_g: float, balance: Balance
) -> list[str]:
    """Weights that are too small even with letdowns, and the batch that has none."""

    def small(size_g: float) -> list[float]:
        work = _weighed(found, size_g, pull_g, balance)
        adds = [g for each in work for _, g in each.common.adds if each.pot]
        return [g for g in adds if g < balance.least_g * (1 - 1e-6)]

    weights = small(batch_g)
    if not weights:
        return []
    larger = (10 * ceil(batch_g * 1.2**n / 10) for n in range(1, 40))
    enough_g = next((size_g for size_g in larger if not small(size_g)), None)
    way_out = f"a batch of {enough_g:g} g or a finer balance" if enough_g else "a finer balance"
    return [
        f"weights under {balance.least_g:g} g, 100 steps of the balance: {len(weights)}, the"
        f" smallest {min(weights):g} g; {way_out} would have none"
    ]
