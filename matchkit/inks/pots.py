"""One pot for a whole ladder: what to leave in it and what to add for the next drawdown.

Additions only, so a ladder runs from weak to strong.  A drawdown takes its share out of
the pot; then the pot is brought down to a stated weight, and what is added to that gives
the next mixture.  Pots are sized backwards, so that the last is just big enough to stir.

Shares are by mass, 0-1, by ink name.  Weights end in ``_g``; a balance shows whole
multiples of `resolution_g`.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from math import ceil

from matchkit.inks.recipe import LETDOWN_SHARES, STEPS_TO_TRUST

Grams = tuple[tuple[str, float], ...]  # what to weigh, how much
Shares = Mapping[str, float]
DUST = 1e-9


@dataclass(frozen=True, kw_only=True)
class Balance:
    """How finely the shop weighs, and which inks may carry a letdown."""

    resolution_g: float
    bases: Collection[str]  # whites and clears

    @property
    def least_g(self) -> float:
        """The smallest weight to trust."""
        return STEPS_TO_TRUST * self.resolution_g

    def shown(self, grams: float) -> float:
        """The nearest weight that the balance shows."""
        return round(round(grams / self.resolution_g) * self.resolution_g, 6)


@dataclass(frozen=True, kw_only=True)
class Weak:
    """An ink let down to be weighed: `share` of `ink`, the rest `base`."""

    ink: str
    base: str
    share: float

    @property
    def name(self) -> str:
        """As it stands on the letdown's own pot."""
        return f"{self.ink} {100 * self.share:g} % in {self.base}"


@dataclass(frozen=True, kw_only=True)
class Pot:
    """One mixture in a pot.

    `leave_g` stays from the one before (None: a clean pot), `adds` go in, of which `weak`
    are letdowns; then the pot `holds` the grams of every ink.
    """

    leave_g: float | None
    adds: Grams
    weak: tuple[Weak, ...]
    holds: Grams

    @property
    def pot_g(self) -> float:
        """The weight in the pot, without the pot."""
        return round(sum(g for _, g in self.holds), 6)


def fresh_pot(shares: Shares, batch_g: float, balance: Balance) -> Pot:
    """A clean pot of `batch_g`; an ink too little to weigh comes from a letdown.

    >>> balance = Balance(resolution_g=0.01, bases=("White",))
    >>> fresh_pot({"White": 0.995, "Red": 0.005}, 30.0, balance).adds
    (('White', 28.5), ('Red 10 % in White', 1.5))
    """
    exact = {ink: share * batch_g for ink, share in shares.items()}
    adds, weak = {}, {}
    for ink, ink_g in exact.items():
        letdown = _letdown_for(ink, ink_g, exact, balance)
        if letdown:
            weak[ink] = letdown
            adds[letdown.name] = balance.shown(ink_g / letdown.share)
        else:
            adds[ink] = balance.shown(ink_g)
    most = max((what for what in adds if what in exact), key=lambda what: adds[what])
    adds[most] = round(adds[most] + balance.shown(batch_g) - sum(adds.values()), 6)
    holds = {ink: adds.get(ink, 0.0) for ink in exact}
    for ink, letdown in weak.items():
        holds[ink] += letdown.share * adds[letdown.name]
        holds[letdown.base] += (1 - letdown.share) * adds[letdown.name]
    return Pot(
        leave_g=None,
        adds=tuple((what, g) for what, g in adds.items() if g > DUST),
        weak=tuple(weak.values()),
        holds=tuple(holds.items()),
    )


def _letdown_for(ink: str, ink_g: float, pot: Shares, balance: Balance) -> Weak | None:
    """The strongest letdown that makes a small weight safe, in the pot's own base."""
    bases = [name for name in pot if name in balance.bases and name != ink]
    if not bases or not 0 < ink_g < balance.least_g - DUST:
        return None
    base = max(bases, key=lambda name: pot[name])
    for share in LETDOWN_SHARES:
        letdown_g = ink_g / share
        if letdown_g >= balance.least_g - DUST and letdown_g - ink_g <= pot[base]:
            return Weak(ink=ink, base=base, share=share)
    return None


def fill_pots(
    ladder: Sequence[Shares], batch_g: float, pull_g: float, balance: Balance
) -> list[Pot]:
    """A pot of one size for every mixture of a ladder, each at least `batch_g`.

    From each mixture to the next one ink grows, and that alone is added.

    `pull_g` is what a drawdown takes.  Weights are rounded one after the other, each
    from what is truly in the pot, so that errors do not add up.

    >>> balance = Balance(resolution_g=0.01, bases=("White",))
    >>> ladder = [{"White": 0.9, "Red": 0.1}, {"White": 0.6, "Red": 0.4}]
    >>> [(pot.leave_g, pot.adds) for pot in fill_pots(ladder, 30.0, 4.0, balance)]
    [(None, (('White', 27.0), ('Red', 3.0))), (20.0, (('Red', 10.0),))]
    """
    sizes_g = _sizes(ladder, batch_g, pull_g)
    pots = [fresh_pot(ladder[0], ceil(sizes_g[0] - DUST), balance)]
    for i in range(1, len(ladder)):
        pots.append(_next_pot(pots[-1], ladder[i - 1], ladder[i], sizes_g[i], balance))
    return pots


def _sizes(ladder: Sequence[Shares], batch_g: float, pull_g: float) -> list[float]:
    """How big each pot must be so that enough is left for the ones after it."""
    sizes = [batch_g]
    for before, after in zip(ladder[-2::-1], ladder[:0:-1], strict=True):
        added = _added(before, after)
        carried = (1 - after[added]) / (1 - before.get(added, 0.0))
        sizes.append(max(batch_g, sizes[-1] * carried + pull_g))
    return sizes[::-1]


def _added(before: Shares, after: Shares) -> str:
    """The one ink that grows from one mixture to the next."""
    return max(after, key=lambda ink: after[ink] / max(before.get(ink, 0.0), DUST))


def _next_pot(before: Pot, was: Shares, shares: Shares, size_g: float, balance: Balance) -> Pot:
    """Leave some, add one ink: first choose how much to leave, then add to what that is."""
    ink = _added(was, shares)
    now = {name: g / before.pot_g for name, g in before.holds}
    share, target = now.get(ink, 0.0), shares[ink]
    step_g = 10 * balance.resolution_g  # a weight that a knife can reach
    leave_g = round(ceil(size_g * (1 - target) / (1 - share) / step_g - DUST) * step_g, 6)
    holds = {name: leave_g * part for name, part in now.items()}
    missing_g = leave_g * (target - share) / (1 - target)
    letdown = _letdown_for(ink, missing_g, holds, balance) if len(shares) == 2 else None
    weak: tuple[Weak, ...] = ()
    if letdown and letdown.share > 1.5 * target:
        what, weak = letdown.name, (letdown,)
        add_g = balance.shown(leave_g * (target - share) / (letdown.share - target))
        parts = {ink: letdown.share, letdown.base: 1 - letdown.share}
    else:
        what, add_g, parts = ink, balance.shown(missing_g), {ink: 1.0}
    for name, part in parts.items():
        holds[name] = holds.get(name, 0.0) + part * add_g
    return Pot(leave_g=leave_g, adds=((what, add_g),), weak=weak, holds=tuple(holds.items()))


def make_letdowns(needed_g: Mapping[Weak, float], balance: Balance) -> list[tuple[Weak, Grams]]:
    """How to make each letdown, a little more than is needed; a weak one from a stronger.

    >>> balance = Balance(resolution_g=0.01, bases=("White",))
    >>> make_letdowns({Weak(ink="Red", base="White", share=0.1): 6.7}, balance)[0][1]
    (('White', 9.0), ('Red', 1.0))
    """
    strong = LETDOWN_SHARES[0]
    needed, second = dict(needed_g), []
    for weak in [weak for weak in needed if weak.share < strong]:
        source = Weak(ink=weak.ink, base=weak.base, share=strong)
        parts = _parts(source.name, weak, weak.share / strong, needed[weak], balance)
        needed[source] = needed.get(source, 0.0) + parts[1][1]
        second.append((weak, parts))
    first = [
        (weak, _parts(weak.ink, weak, strong, needed[weak], balance))
        for weak in needed
        if weak.share == strong
    ]
    return first + second


def _parts(source: str, weak: Weak, share: float, needed_g: float, balance: Balance) -> Grams:
    # One in ten more, for what clings to knife and pot; whole tens, so that parts come out even.
    make_g = 10.0 * ceil(max(1.1 * needed_g, balance.least_g / share) / 10 - DUST)
    source_g = balance.shown(make_g * share)
    return ((weak.base, balance.shown(make_g - source_g)), (source, source_g))
