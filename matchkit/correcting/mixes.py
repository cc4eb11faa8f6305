"""What stands on the shelf beside the stock inks: leftovers and letdowns, and what is in them.

A mixture on the shelf is known by what went into it.  If it was measured as well, the
spectrum says how strong its inks were and what the model can't say about it; both go
along with it into the next batch.  Mixtures poured together with fresh inks are one film
in which every white crowds every other: `bucket` holds the sums, nothing is approximated.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.correcting import container
from matchkit.correcting.diagnose import Round, infer
from matchkit.errors import InputError
from matchkit.inks.palette import Palette
from matchkit.inks.recipe import BASES, STEPS_TO_TRUST, Letdown, cost_per_kg, weighing_order
from matchkit.inks.shop import Ink, Mix
from matchkit.matching.probability import Spread, chance_within
from matchkit.matching.rank import MOSTLY, Candidate


@dataclass(frozen=True, kw_only=True, eq=False)
class Shelf:
    """The mixtures that stand beside the inks of one series.

    By mixture: `contents` (n_mix, n_ink) mass fractions, `log_strength` (n_mix, n_ink) of
    the lots in it with its `covariance` (n_mix, n_ink, n_ink), and `residual_f`
    (n_mix, n_wl), what the model can't say about it.  `notes` tell what was left out.
    """

    palette: Palette
    mixes: tuple[Mix, ...]
    contents: Array
    log_strength: Array
    covariance: Array
    residual_f: Array
    notes: tuple[str, ...] = ()

    def index(self, name: str) -> int:
        """Where `name` stands in the arrays; InputError lists the mixtures there are."""
        names = [mix.name for mix in self.mixes]
        if name not in names:
            there = f"the mixtures are {', '.join(names)}" if names else "there are none"
            raise InputError(f"no mixture on the shelf is called {name!r}; {there}")
        return names.index(name)


def shelf_of(palette: Palette, mixes: Sequence[Mix], spread: Spread) -> Shelf:
    """The mixtures that are made of a palette's inks, known as well as they can be."""
    reference = replace(palette, strengths=None)
    rows, notes = [], []
    for mix in mixes:
        if not set(mix.inks) & set(palette.names):
            continue  # another series
        strangers = [name for name in mix.inks if name not in palette.names]
        if strangers:
            notes.append(
                f"{mix.name}: holds {', '.join(strangers)}, of which no drawdown was fitted; "
                "it can't be used"
            )
            continue
        try:
            rows.append((mix, *_known(reference, mix, spread)))
        except InputError as error:
            notes.append(f"{mix.name}: left out: {error}; correct mixes.csv or measure it again")
    n, n_wl = palette.K.shape
    return Shelf(
        palette=palette,
        mixes=tuple(row[0] for row in rows),
        contents=np.array([row[1] for row in rows]).reshape(-1, n),
        log_strength=np.array([row[2] for row in rows]).reshape(-1, n),
        covariance=np.array([row[3] for row in rows]).reshape(-1, n, n),
        residual_f=np.array([row[4] for row in rows]).reshape(-1, n_wl),
        notes=tuple(notes),
    )


def bucket_from(shelf: Shelf, grams: Mapping[str, float]) -> container.Bucket:
    """Mixtures poured together, by name and grams, as one bucket."""
    poured = np.zeros(len(shelf.mixes))
    for name, g in grams.items():
        poured[shelf.index(name)] += g
    held = poured @ shelf.contents
    strong = poured @ (shelf.contents * np.exp(shelf.log_strength))
    return container.Bucket(
        palette=shelf.palette,
        grams=held,
        strengths=np.where(held > 0, strong / np.where(held > 0, held, 1), 1.0),
        residual_f=poured @ shelf.residual_f / max(poured.sum(), 1e-9),
    )


def poured_together(
    shelf: Shelf,
    added_g: Array,
    held_g: Mapping[str, float],
    target: Target,
    spread: Spread,
    *,
    tolerance_de00: float,
) -> Candidate:
    """A formula with mixtures of the shelf in it, as it is weighed: the mixtures first.

    `added_g` (n_ink,) are grams of fresh ink, `held_g` those of mixtures by name.  The cost is
    that of the fresh ink.
    """
    palette, total = shelf.palette, float(added_g.sum()) + sum(held_g.values())
    bucket = bucket_from(shelf, held_g)
    R, lab, d = container.seen_after(bucket, target, added_g)
    covariance = container.lab_covariance_after(
        bucket, target, added_g, spread, held=_held(shelf, held_g)
    )
    order = weighing_order(palette.inks, added_g.tolist())
    clear = np.array([ink.role == "clear" for ink in palette.inks])
    return Candidate(
        inks=(*held_g, *(palette.inks[i].name for i in order)),
        grams=(*held_g.values(), *(float(added_g[i]) for i in order)),
        R=R,
        lab=lab,
        de00=d,
        F=float(target.share @ d),
        cost_per_kg=cost_per_kg(palette.inks, (added_g / total).tolist()),
        chance_in_tolerance=chance_within(lab[0], covariance, target.lab[0], tolerance_de00),
        mostly_clear=float((added_g + bucket.grams)[clear].sum()) > MOSTLY * total,
    )


def _held(shelf: Shelf, held_g: Mapping[str, float]) -> Array:
    """Covariance (n_ink, n_ink) of the log strength of mixtures that were poured together."""
    at = [shelf.index(name) for name in held_g]
    strong = np.array([*held_g.values()])[:, None] * (
        shelf.contents[at] * np.exp(shelf.log_strength[at])
    )
    part = strong / np.maximum(strong.sum(axis=0), 1e-12)
    covariance: Array = np.einsum("ki,kij,kj->ij", part, shelf.covariance[at], part)
    return covariance


def predict(shelf: Shelf, grams: Mapping[str, float]) -> Array:
    """Reflectance (n_wl,) of a recipe that names inks and mixtures, in grams or percent."""
    fresh = np.zeros(len(shelf.palette.inks))
    held = {}
    for name, g in grams.items():
        if name in shelf.palette.names:
            fresh[shelf.palette.index(name)] += g
        else:
            held[name] = g
    return container.reflectance_after(bucket_from(shelf, held), fresh)


def letdowns_on_shelf(
    inks: Sequence[Ink], grams: Sequence[float] | Array, mixes: Sequence[Mix], resolution_g: float
) -> list[Letdown]:
    """Small weights that a mixture on the shelf can stand in for, the batch unchanged.

    As `recipe.letdowns_for`, with mixtures that are there: one that holds the ink, and
    beside it only inks of which the batch takes enough.
    """
    weights_g = np.asarray(grams, dtype=float)
    small = (weights_g > 0) & (weights_g < STEPS_TO_TRUST * resolution_g * (1 - 1e-9))
    out = []
    for i in np.flatnonzero(small).tolist():
        if inks[i].role in BASES:
            continue
        ways = [_stand_in(inks, weights_g, i, mix, resolution_g) for mix in mixes]
        found = [way for way in ways if way is not None]
        if found:
            out.append(min(found, key=lambda way: (len(way.grams), dict(way.grams)[way.name])))
    return out


def _known(palette: Palette, mix: Mix, spread: Spread) -> tuple[Array, Array, Array, Array]:
    """Contents, log strengths, their covariance, and the residual of one mixture."""
    contents = np.zeros(len(palette.inks))
    for ink, fraction in zip(mix.inks, mix.fractions, strict=True):
        contents[palette.index(ink)] += fraction
    if mix.R is None:
        nothing = np.zeros(palette.K.shape[1])
        return contents, np.zeros(len(contents)), np.diag(spread.log_strength**2), nothing
    # As if 100 g had been weighed: percents on a label are rounded about as a pour is.
    belief = infer(palette, [Round(grams=100 * contents, R=mix.R)], spread)
    return (
        belief.grams / belief.grams.sum(), belief.log_strength, belief.covariance, belief.residual_f
    )  # fmt: skip


def _stand_in(
    inks: Sequence[Ink], weights_g: Array, i: int, mix: Mix, resolution_g: float
) -> Letdown | None:
    """`mix` for ink i, if the batch holds the rest of it and the shelf holds enough."""
    share = dict(zip(mix.inks, mix.fractions, strict=True))
    names = [ink.name for ink in inks]
    if inks[i].name not in share or len(share) < 2 or not set(share) <= set(names):
        return None
    trusted = STEPS_TO_TRUST * resolution_g * (1 - 1e-9)
    mix_g = float(np.rint(weights_g[i] / share[inks[i].name] / resolution_g) * resolution_g)
    part = mix_g * np.array([share.get(name, 0.0) for name in names])
    part[i] = weights_g[i]
    rest = np.round((weights_g - part) / resolution_g) * resolution_g
    spoiled = (part > 0) & (rest < trusted) & (np.abs(rest) > resolution_g / 2)
    if mix_g < trusted or (mix.stock_g is not None and mix_g > mix.stock_g) or spoiled.any():
        return None
    base = max((name for name in share if name != inks[i].name), key=lambda name: share[name])
    new = {name: round(float(g), 6) for name, g in zip(names, rest, strict=True) if g > 0}
    return Letdown(
        ink=inks[i].name,
        ink_g=float(weights_g[i]),
        base=base,
        share=share[inks[i].name],
        name=mix.name,
        grams=(*new.items(), (mix.name, round(mix_g, 6))),
    )
