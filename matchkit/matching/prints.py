"""A shop's printed films: its inks per um, what it prints on, a match over a ground.

`match` works with these fits as with those of drawdowns that hide: a palette with a film
predicts what the print will look like, and so do the solver, the chances and the ranking.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from matchkit.arrays import Array
from matchkit.errors import InputError, did_you_mean
from matchkit.fitting.fit import Fit, fit
from matchkit.fitting.held_out import usual_um
from matchkit.inks.opacity import drawn_as, layer_ground, over
from matchkit.inks.palette import Palette
from matchkit.inks.shop import Ground, Shop
from matchkit.matching.match import series_of
from matchkit.optics.film import ground_inside


def has_films(shop: Shop) -> bool:
    """Whether any drawdown was made over a known ground."""
    return any(d.ground for d in shop.drawdowns)


def film_fits(shop: Shop, theory: str = "best") -> dict[str, Fit]:
    """One film fit for each series that has films, by its name, by one of `held_out.THEORIES`.

    InputError if no series has any.
    """
    inside = grounds_inside(shop)
    fits = {}
    for series in series_of(shop):
        inks = [ink for ink in shop.inks if ink.series == series]
        names = {ink.name for ink in inks}
        drawn = [d for d in shop.drawdowns if d.inks[0] in names]
        if any(d.ground for d in drawn):
            fits[series] = fit(
                drawn,
                inks,
                grounds=inside,
                geometry=shop.geometry,
                light=shop.lights[0],
                observer=shop.observer,
                theory=theory,
            )
    if not fits:
        raise InputError(
            "no drawdown of this shop is a film over a known ground, so how much of a ground shows "
            "through can't be known: draw the inks over a black and white card with one bar, "
            "measure both halves and the bare card, and write films.csv (with `ground`, and "
            "`thickness_um` if it is known), film_spectra.csv and grounds.csv"
        )
    return fits


def grounds_inside(shop: Shop) -> dict[str, Array]:
    """The shop's grounds by name, each (n_wl,) as a film on it meets it."""
    return {each.name: bare_ground(shop, each.name) for each in shop.grounds}


def bare_ground(shop: Shop, name: str) -> Array:
    """A ground of the shop as a film on it meets it, (n_wl,); InputError lists what there is."""
    known = {each.name: each for each in shop.grounds}
    if name not in known:
        there = ", ".join(known) or "none yet"
        raise InputError(
            f"no ground is called {name!r}; grounds.csv has {there}{did_you_mean(name, known)}"
        )
    return ground_inside(known[name].R, known[name].surface, shop.geometry)


def garments(shop: Shop) -> tuple[Ground, ...]:
    """What the shop prints on: its grounds without the cards it draws films on."""
    cards = {d.ground for d in shop.drawdowns}
    return tuple(each for each in shop.grounds if each.name not in cards)


def under_white(palette: Palette, R_g: Array, thickness_um: float) -> tuple[Array, Array]:
    """A ground with an underbase of the series' white: `R_g` and `R_g_beam` for the print."""
    white = np.array([ink.role == "white" for ink in palette.inks], dtype=float)
    if not white.any():
        raise InputError("no white of this series was fitted; an underbase needs one")
    c = np.zeros_like(white)
    c[int(white.argmax())] = 1.0
    return layer_ground(over(palette, R_g, thickness_um), c)


def fits_over(
    fits: Mapping[str, Fit],
    R_g: Array,
    thickness_um: float,
    *,
    underbase_um: float | None = None,
    thickness_sd: float = 0.0,
    printed: bool = True,
) -> dict[str, Fit]:
    """Film fits as prints of a thickness over one ground, with an underbase if wanted.

    Not `printed`, as drawdowns.
    """
    each_over = {}
    for series, found in fits.items():
        ground, beam = R_g, None
        if underbase_um is not None:
            ground, beam = under_white(found.palette, R_g, underbase_um)
        palette = over(
            found.palette,
            ground,
            thickness_um,
            R_g_beam=beam,
            thickness_sd=thickness_sd,
            printed=printed,
        )
        each_over[series] = replace(found, palette=palette)
    return each_over


def drawdown_fits(shop: Shop, films: Mapping[str, Fit]) -> dict[str, Fit]:
    """Film fits as the drawdowns that a shop compares its targets with."""
    if not shop.over:
        return dict(films)  # so thick that they hide
    thickness_um = shop.over_um or usual_um([d for d in shop.drawdowns if d.ground == shop.over])
    return fits_over(films, bare_ground(shop, shop.over), thickness_um, printed=False)


def with_lots(films: Mapping[str, Fit], fits: Mapping[str, Fit]) -> dict[str, Fit]:
    """Film fits with the strengths of the lots that `fits` know of, ink by ink.

    Where `fits` are of films too, with all that those know, such as batches that they count.
    """
    known = {
        name: strength
        for found in fits.values()
        if found.palette.strengths is not None
        for name, strength in zip(
            found.palette.names, found.palette.strengths.tolist(), strict=True
        )
    }
    today = {}
    for series, found in films.items():
        palette = found.palette
        if (same := fits.get(series)) and palette.film and same.palette.film:
            palette = drawn_as(same.palette, palette)
        elif known:
            strengths = np.array([known.get(name, 1.0) for name in palette.names])
            palette = replace(palette, strengths=strengths)
        today[series] = replace(found, palette=palette)
    return today
