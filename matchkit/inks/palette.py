"""The fitted inks, and the colour of a mixture of them.

A `Palette` is the result of a fit: K and S of every ink, the crowding of the white,
and the surface constants.  Amounts are mass fractions `c`,
(..., n_ink); a lot's strength multiplies its ink's K and S together.

    q   = sum(s_i c_i K_i) / sum(s_i c_i f_i(c_i) S_i)       K/S of the mixture
    f_i = 1 / (1 + crowding_i c_i)                           scattering lost to crowding
    q'  = q (1 + deep h q) / (1 + h q),  h = 0.08            deep colours deepen
    R_m = surface(R_inf(q'))                                 what the instrument reads

The white's S is set to 1: hiding films give only ratios of K and S.
Single-constant theory is the same formula with every S equal to 1.

`deep` is 1 in plain Kubelka-Munk theory.  That theory takes the light inside a film as
diffuse; what comes back from a deep colour has met one or two particles only, and
particles scatter forward, so a deep colour is deeper than its tints predict.  `deep` is
the ratio of the K/S of the deepest colours to that of the tints; h, where the change
happens, was read off slabs of radiative-transfer theory with refractive index 1.45-1.56
and anisotropy 0-0.8, all of which this form follows to about 0.05 L*.

Inks may have an `own` behaviour, three numbers each: s_i grows with the share of white, f_i
with that of clear (particles far from each other scatter better), and the film's surface adds
sum(c_i surface_i) to R_m.

With a `film` the palette speaks of a film of stated thickness over a stated ground: K and
S are per um, K is q' S, and `film.film_reading` takes the place of the last line.

Sources: Duncan (1940) for adding K and S by amount, from memory; [KM31] and [S42] as in
`kubelka_munk`; the crowding of white is common practice, its one-number form and `deep` our own.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from matchkit.arrays import Array
from matchkit.errors import InputError
from matchkit.inks.shop import Ink
from matchkit.optics.film import Film, film_slopes
from matchkit.optics.kubelka_munk import R_inf, with_surface

HIDING = Film(R_g=np.zeros(1))  # so thick that no ground shows
Q_FLOOR = 1e-9  # keeps dR/dq finite for a film that absorbs nothing
# Largest K or S beside a white's: a clear's is below the second, any other ink's above the first
# (simulated: at most 0.09, at least 1).
CLEAR_TO_WHITE = (0.15, 0.5)
BESIDE = ("white", "clear")  # the inks beside which others change
DEEP_AT = 0.08  # the h above: K/S of about 12 is halfway between tints and deep colours


@dataclass(frozen=True, kw_only=True)
class Palette:
    """K and S of every ink of one series, each (n_ink, n_wl), with what they share.

    `crowding` is (n_ink,), zero for all but whites.  `own` (3, n_ink) is what each ink's films
    leave of the surface's reflection, and the shares by which the ink's strength grows in pure
    white and its scattering in pure clear.  `base`, `gain`, `k2` are the
    surface (see `kubelka_munk.surface_constants`).  `model` says which theory was fitted.
    """

    inks: tuple[Ink, ...]
    K: Array
    S: Array
    crowding: Array
    base: float
    gain: float
    k2: float
    deep: float = 1.0
    own: Array = field(default_factory=lambda: np.zeros((3, 1)))
    model: str = "two-constant"
    strengths: Array | None = None  # (n_ink,), None: every lot is the reference
    film: Film | None = None  # None: so thick that it hides
    doubt: Array | None = None  # (2, n_ink, n_wl), see `doubt_jacobian`; None: no doubt

    @cached_property  # asked for thousands of times by a fold over the record book
    def names(self) -> tuple[str, ...]:
        """Ink names in the order of the arrays."""
        return tuple(ink.name for ink in self.inks)

    @cached_property
    def beside(self) -> Array:
        """Which inks are white, and which clear, (2, n_ink)."""
        return np.array([[float(ink.role == role) for ink in self.inks] for role in BESIDE])

    @property
    def printed(self) -> bool:
        """Whether it speaks of prints on a garment, which may show, and not of drawdowns."""
        return self.film is not None and self.film.printed

    @property
    def lies_on(self) -> tuple[Array, ...]:
        """The ground (..., n_wl) and the thickness of films that let it show; else nothing."""
        film = self.film
        if film is None or np.isinf(film.thickness_um).all():
            return ()
        return film.R_g, np.asarray(film.thickness_um, dtype=float)

    def index(self, name: str) -> int:
        """Where `name` stands in the arrays; InputError lists the inks there are."""
        if name not in self.names:
            raise InputError(
                f"no fitted ink is called {name!r}; the inks are {', '.join(self.names)}"
            )
        return self.names.index(name)


def mixture_K_S(
    palette: Palette, c: ArrayLike, strengths: ArrayLike | None = None
) -> tuple[Array, Array]:
    """K and S of mixtures `c` (..., n_ink), each (..., n_wl)."""
    strong, scatter = counts(palette, *_amounts(palette, c, strengths))
    K: Array = strong @ palette.K
    S: Array = scatter @ palette.S
    return K, S


def counts(palette: Palette, c: Array, s: Array) -> tuple[Array, Array]:
    """What counts of amounts `c` with strengths `s` for K and for S, (..., n_ink) each."""
    white, clear = grown(palette, c)
    strong = c * s * white
    return strong, strong * clear / (1 + palette.crowding * c)


def grown(palette: Palette, c: Array) -> Array:
    """Growth of strength beside white and of scattering beside clear, (2, ..., n_ink)."""
    share = np.moveaxis(c @ palette.beside.T, -1, 0)[..., None]
    growth: Array = 1 + share * palette.own[1:].reshape(2, *(1,) * (c.ndim - 1), -1)
    return growth


def reflectance(palette: Palette, c: ArrayLike, strengths: ArrayLike | None = None) -> Array:
    """Reflectance factor, (..., n_wl), of mixtures with mass fractions `c`.

    `c` is (..., n_ink) and sums to 1; `strengths` (..., n_ink) multiplies each ink's
    K and S, 1 being the lots that were fitted.
    """
    K, S = mixture_K_S(palette, c, strengths)
    surface = {"base": palette.base, "gain": palette.gain, "k2": palette.k2}
    if palette.film is not None:
        R = film_look(K, S, film=palette.film, deep=palette.deep, **surface)[0]
    else:
        R = with_surface(R_inf(deepen(K / np.maximum(S, 1e-12), palette.deep)[0]), **surface)
    R_m: Array = R + (np.asarray(c) * palette.own[0]).sum(axis=-1)[..., None]
    return R_m


def reflectance_jacobian(
    palette: Palette, c: ArrayLike, strengths: ArrayLike | None = None
) -> tuple[Array, Array]:
    """Reflectance and its derivative with respect to each amount.

    Returns R (..., n_wl) and dR/dc (..., n_ink, n_wl), amounts taken as independent
    (the sum is not held at 1).
    """
    c, s = _amounts(palette, c, strengths)
    surface, by_white, by_clear = palette.own
    (strong, scatter), (white, clear) = counts(palette, c, s), grown(palette, c)
    R_m, by_K, by_S = look(palette, strong @ palette.K, scatter @ palette.S)
    room = 1 + palette.crowding * c
    own_K = (s * white)[..., None] * palette.K
    own_S = (s * white * clear / room**2)[..., None] * palette.S
    # More white or clear changes what counts of every other ink.
    is_white, is_clear = palette.beside[..., None]
    own_K = own_K + is_white * ((strong * by_white / white) @ palette.K)[..., None, :]
    own_S = own_S + is_white * ((scatter * by_white / white) @ palette.S)[..., None, :]
    own_S = own_S + is_clear * ((scatter * by_clear / clear) @ palette.S)[..., None, :]
    slope = by_K[..., None, :] * own_K + by_S[..., None, :] * own_S
    return R_m + (c * surface).sum(axis=-1)[..., None], slope + surface[:, None]


def strength_jacobian(palette: Palette, c: Array, strengths: ArrayLike | None = None) -> Array:
    """dR/d log(strength) of each ink, (..., n_ink, n_wl), for mixtures `c`."""
    c, s = _amounts(palette, c, strengths)
    strong, scatter = counts(palette, c, s)
    own_K, own_S = strong[..., None] * palette.K, scatter[..., None] * palette.S
    _, by_K, by_S = look(palette, own_K.sum(axis=-2), own_S.sum(axis=-2))
    return by_K[..., None, :] * own_K + by_S[..., None, :] * own_S


def doubt_jacobian(palette: Palette, c: Array) -> Array:
    """How far R may move with each ink's scattering, (..., n_ink, n_wl), for mixtures `c`.

    `palette.doubt` holds, for inks whose scattering no drawdown tells, one standard deviation
    of log S, and of log K which goes with it; it is taken as one for all wavelengths.
    """
    c, s = _amounts(palette, c, None)
    if palette.doubt is None:
        return np.zeros((*c.shape, palette.K.shape[1]))
    strong, scatter = counts(palette, c, s)
    own_K, own_S = strong[..., None] * palette.K, scatter[..., None] * palette.S
    _, by_K, by_S = look(palette, own_K.sum(axis=-2), own_S.sum(axis=-2))
    K, S = palette.doubt
    moved: Array = by_K[..., None, :] * own_K * K + by_S[..., None, :] * own_S * S
    return moved


def look(palette: Palette, K: Array, S: Array) -> tuple[Array, Array, Array]:
    """R_m of mixtures with `K` and `S` (..., n_wl), and its slopes by K and by S.

    Without what the inks' own surfaces add.
    """
    surface = {"base": palette.base, "gain": palette.gain, "k2": palette.k2}
    return film_look(K, S, film=palette.film or HIDING, deep=palette.deep, **surface)


def film_look(
    K: Array, S: Array, *, film: Film, deep: float, base: float, gain: float, k2: float
) -> tuple[Array, Array, Array]:
    """R_m of films with `K` and `S` per um (..., n_wl), and its slopes by K and by S."""
    hides = np.isinf(film.spread) and np.isinf(film.thickness_um).all()
    if deep == 1 and not hides:
        return film_slopes(K, S, film=film, base=base, gain=gain, k2=k2)
    S = np.maximum(S, 1e-12)
    q = np.maximum(K / S, Q_FLOOR if hides else 0)
    q_deep, by_q = deepen(q, deep)
    if hides:
        R_m, by_q_deep = surface_slope(q_deep, base=base, gain=gain, k2=k2)
        by_K = by_q_deep * by_q / S
        return R_m, by_K, -q * by_K
    R_m, by_K, by_S = film_slopes(q_deep * S, S, film=film, base=base, gain=gain, k2=k2)
    return R_m, by_K * by_q, by_S + by_K * (q_deep - q * by_q)


def deepen(q: Array, deep: float) -> tuple[Array, Array]:
    """q' = q (1 + deep h q) / (1 + h q), and dq'/dq.

    >>> [round(float(v), 3) for v in deepen(np.array(12.5), 1.5)]
    [15.625, 1.375]
    """
    below = 1 + DEEP_AT * q
    return q * (1 + deep * DEEP_AT * q) / below, deep + (1 - deep) / below**2


def surface_slope(q: Array, *, base: float, gain: float, k2: float) -> tuple[Array, Array]:
    """R_m of a hiding film with q = K/S > 0, and dR_m/dq."""
    root = np.sqrt(q * (q + 2))
    R = 1 / (1 + q + root)
    below = 1 - k2 * R
    return base + gain * (1 - k2) * R / below, -gain * (1 - k2) / below**2 * R / root


def subset(palette: Palette, keep: tuple[int, ...] | list[int]) -> Palette:
    """The palette with only the inks at the positions `keep`, in that order."""
    at = list(keep)
    return replace(
        palette,
        inks=tuple(palette.inks[i] for i in at),
        K=palette.K[at],
        S=palette.S[at],
        crowding=palette.crowding[at],
        own=np.broadcast_to(palette.own, (3, len(palette.inks)))[:, at],
        strengths=None if palette.strengths is None else palette.strengths[at],
        doubt=None if palette.doubt is None else palette.doubt[:, at],
    )


def _amounts(palette: Palette, c: ArrayLike, strengths: ArrayLike | None) -> tuple[Array, Array]:
    c = np.asarray(c, dtype=float)
    if c.shape[-1] != len(palette.inks):
        raise InputError(f"{c.shape[-1]} amounts for {len(palette.inks)} inks; give one for each")
    if strengths is None:
        strengths = np.ones(len(palette.inks)) if palette.strengths is None else palette.strengths
    return c, np.asarray(strengths, dtype=float)


def role_words(palette: Palette) -> list[str]:
    """Inks that are a clear by their K and S and not by their role, or the other way about.

    A clear under another role would fill containers with what does not hide, unsaid.  A line
    each; none by single-constant theory, which knows no S.
    """
    lines: list[str] = []
    if "single-constant" in palette.model:
        return lines
    most = np.maximum(palette.K, palette.S).max(axis=1)
    white = max(m for m, ink in zip(most, palette.inks, strict=True) if ink.role == "white")
    for ink, times in zip(palette.inks, (most / white).tolist(), strict=True):
        if ink.role != "clear" and times < CLEAR_TO_WHITE[0]:
            what = "neither colours nor hides: as a clear, it lets the ground show"
        elif ink.role == "clear" and times > CLEAR_TO_WHITE[1]:
            what = "colours or hides too much for a clear"
        else:
            continue
        lines.append(f"{ink.name} {what}; is its role in inks.csv right ({ink.role})?")
    return lines
