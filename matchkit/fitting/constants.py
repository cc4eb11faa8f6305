"""What a fit finds, K and S of every ink, and what that says of the drawdowns.

A drawdown is a film over a ground; one that hides is a film of infinite thickness.  The
unknowns are log K and log S of every ink at every wavelength (so both stay above zero), and
a few numbers that all wavelengths share: the surface constant k2, how the white crowds, how
deep colours deepen, how the beam becomes diffuse, and for readings with the specular part
included the surface's own reflectance.  Films say what K and S are per thickness; where
every drawdown hides only ratios can be known, and the white's S is the gauge.

What few drawdowns leave open, expectations decide.  Those of S are what published pigments
scatter beside a white: 26 acrylic colorants, after Okumura (2005), attribution from memory.

Sources: the linear start is that of Walowit et al. (1987) and Allen (1974), both from memory;
f(R) is CIE 15's.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from matchkit.arrays import Array, Index, Mask
from matchkit.inks.palette import BESIDE, film_look
from matchkit.optics.film import Film, film_K_S
from matchkit.optics.kubelka_munk import k_over_s, without_surface

NOISE_F = 1e-3  # what a drawdown repeats to on the f scale, about 0.1 L*
LEAST_MISFIT_F = 3e-4  # smaller misfits are all the same
EPS, KAPPA = 216 / 24389, 24389 / 27  # CIE 15

# Expectations, (mean, spread).  Of k2 they are what fits published tint ladders; the beam's
# are what fits slabs that another program computed (tests/authorities), loosened.
EXPECT = {
    "k2": (0.45, 0.15),
    "crowding": (0.3, 0.5),
    "log_deep": (0.3, 0.4),
    "base": (0.04, 0.004),
    "spread": (3.0, 1.0),
    "back": (0.06, 0.1),
    "dim": (0.4, 0.3),
    "log_thickness": (0.0, 0.7),
}
BOUNDS = {
    "k2": (0.0, 0.9),
    "crowding": (0.0, 5.0),
    "log_deep": (-3.0, 2.0),
    "base": (0.0, 0.08),
    "spread": (0.3, 20.0),
    "back": (0.0, 0.9),
    "dim": (0.0, 1.0),
    "log_thickness": (-2.5, 2.5),
}
# Of an ink's own surface, strength in white and scattering in clear: spread (about 0) and bounds.
OWN_SD = np.array([0.005, 0.1, 0.2])
OWN_BOUNDS = np.array([(-0.002, 0.03), (-0.5, 0.5), (-0.6, 1.5)])
# Log S beside the white's, (mean, spread).  A clear's is no pigment's: it scatters little.
LOG_S = {"colour": (-2.5, 1.25), "black": (-2.5, 1.25), "clear": (-5.0, 2.0), "white": (0.0, 1.0)}


@dataclass(frozen=True, kw_only=True)
class Structure:
    """What is fitted.  `scattering` False is single-constant theory: all inks scatter alike.

    `shared` names the numbers that are fitted for the whole series, out of EXPECT; the
    others keep what the start gives.  `expect` replaces some of the expectations.  `own`: each
    ink has a surface of its own, and its strength and scattering grow beside white and clear.
    """

    name: str
    scattering: bool = True
    shared: tuple[str, ...] = ()
    expect: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    own: bool = False


@dataclass(frozen=True, kw_only=True)
class Films:
    """Measured films: amounts (n, n_ink), thickness (n,), grounds and readings (n, n_wl).

    An infinite thickness hides; `guessed` (n,) marks those that nobody stated.  `roles`
    (n_ink,) say which inks are whites, which crowd, and what S is to be expected.
    """

    C: Array
    X: Array
    R_g: Array
    R_m: Array
    roles: tuple[str, ...] = ()
    guessed: Mask | None = None

    @property
    def whites(self) -> list[int]:
        """Where the whites stand; the first is the gauge of S."""
        return [i for i, role in enumerate(self.roles) if role == "white"]

    def share(self, role: str) -> Array:
        """The share of the inks of a role, (n, 1)."""
        own = [each == role for each in self.roles]
        total: Array = self.C[:, own].sum(axis=1, keepdims=True)
        return total

    @property
    def hides(self) -> Mask:
        """Which films let no ground show, (n,)."""
        return np.isinf(self.X)

    def some(self, rows: Mask) -> "Films":
        """Only the films at `rows` (n,)."""
        guessed = None if self.guessed is None else self.guessed[rows]
        arrays = {name: getattr(self, name)[rows] for name in ("C", "X", "R_g", "R_m")}
        return Films(**arrays, roles=self.roles, guessed=guessed)


@dataclass(frozen=True, kw_only=True)
class Constants:
    """A fit's numbers: K and S are (n_ink, n_wl), `own` as in `Palette`, the rest is shared.

    `log_K_S_sd` (2, n_ink, n_wl) is how far log K and log S of an ink go together while the
    drawdowns and the expectations allow it: a standard deviation of its log S, and what that
    does to its log K.
    """

    K: Array
    S: Array
    k2: float
    crowding: float = 0.0
    log_deep: float = 0.0
    base: float = 0.0
    gain: float = 1.0
    spread: float = np.inf
    back: float = 0.0
    dim: float = 0.0
    log_thickness: float = 0.0
    own: Array = field(default_factory=lambda: np.zeros((3, 1)))
    cost: float = np.inf
    log_K_S_sd: Array | None = None


def f_scale(R: Array) -> tuple[Array, Array]:
    """CIELAB's f of a reflectance and its slope, element by element.

    >>> [round(float(v), 4) for v in f_scale(np.array(0.2))]
    [0.5848, 0.9747]
    """
    dark = R <= EPS
    root = np.cbrt(np.where(dark, EPS, R))
    return (
        np.where(dark, (KAPPA * R + 16) / 116, root),
        np.where(dark, KAPPA / 116, 1 / (3 * root**2)),
    )


def linear_start(films: Films, structure: Structure, start: Constants) -> Constants:
    """`start` with non-negative K and S from linear equations, one wavelength after the other.

    A film that hides says sum c (K - q S) = 0; one read over two grounds says K and S of its
    mixture.  Inks that only one kind of film holds begin at a usual share of the white.
    """
    hides = films.hides
    n, n_wl = films.C.shape[1], films.R_m.shape[1]
    R = without_surface(films.R_m, base=start.base, gain=start.gain, k2=start.k2)
    R = np.clip(R, 1e-4, 0.9999)
    K, S = np.full((n, n_wl), np.nan), np.full((n, n_wl), np.nan)
    scatter = 1.0
    if hides.all():
        K, S = _from_hiding(films.C, k_over_s(R), films.whites[0], structure.scattering)
    else:
        K, S = _from_cards(films, R)
        whites = S[films.whites]
        whites = whites[np.isfinite(whites)]
        thick = float(np.median(films.X[~hides]))
        scatter = float(np.median(whites)) if whites.size else 3 / thick
    K, S = np.where(np.isnan(K), 0.15 * scatter, K), np.where(np.isnan(S), 0.3 * scatter, S)
    if not structure.scattering:
        S = np.full_like(S, scatter)
    return replace(
        start, K=np.clip(K, 1e-5 * scatter, np.inf), S=np.clip(S, 3e-3 * scatter, 3 * scatter)
    )


def predict(at: Constants, films: Films) -> Array:
    """What the instrument would read of the films, (n_film, n_wl)."""
    return look(at, films)[0]


def misfit(at: Constants, films: Films) -> Array:
    """Root mean square of what is left of each film on the f scale, (n_film,)."""
    off = f_scale(predict(at, films))[0] - f_scale(films.R_m)[0]
    rms: Array = np.sqrt((off**2).mean(axis=1))
    return rms


def trust(at: Constants, films: Films, *, reach: float = 3.0) -> Array:
    """Weights (n_film,) that give little to films which these constants do not explain.

    That of a Cauchy error whose scale is `reach` times the usual misfit: a film of a wrong
    thickness or mixture would bend the inks around it.
    """
    off = misfit(at, films)
    return 1 / (1 + (off / (reach * max(float(np.median(off)), LEAST_MISFIT_F))) ** 2)


def _from_hiding(C: Array, q: Array, white: int, scattering: bool) -> tuple[Array, Array]:
    """K and S from films that hide, the white's S being 1."""
    from scipy.optimize import nnls

    n = C.shape[1]
    others = [i for i in range(n) if i != white] if scattering else []
    given = C[:, [white]] if scattering else C.sum(axis=1, keepdims=True)
    K, S = np.empty((n, q.shape[1])), np.ones((n, q.shape[1]))
    for at in range(q.shape[1]):
        weight = 1 / (q[:, [at]] + 0.02)
        A = np.hstack([C, -q[:, [at]] * C[:, others]]) * weight
        x, _ = nnls(A, (q[:, [at]] * given * weight)[:, 0])
        K[:, at], S[others, at] = x[:n], x[n:]
    return K, S


def _from_cards(films: Films, R: Array) -> tuple[Array, Array]:
    """K and S per thickness of inks drawn alone over two grounds, else NaN."""
    K, S = np.full((2, films.C.shape[1], R.shape[1]), np.nan)
    for ink in range(len(K)):
        alone = np.flatnonzero(~films.hides & (films.C[:, ink] > 0.999))
        dark, light = _pair(films, alone)
        if dark >= 0:
            K[ink], S[ink] = film_K_S(
                R[dark], R[light], films.R_g[dark], films.R_g[light], films.X[dark]
            )
    return K, S


def _pair(films: Films, rows: Index) -> tuple[int, int]:
    """Two films of one thickness, over the darkest and the lightest ground, or (-1, -1)."""
    for row in rows.tolist():
        same = rows[films.X[rows] == films.X[row]]
        level = films.R_g[same].mean(axis=1)
        if level.max() - level.min() > 0.3:
            return int(same[level.argmin()]), int(same[level.argmax()])
    return -1, -1


def mixtures(at: Constants, films: Films) -> tuple[Array, Array, Array, Array]:
    """K and S of the films, and the amounts that absorb and that scatter."""
    whites = films.whites
    white, clear = (
        1 + films.share(role) * own for role, own in zip(BESIDE, at.own[1:], strict=True)
    )
    A = films.C * white
    E = A * clear
    E[:, whites] /= 1 + at.crowding * films.C[:, whites]
    return A @ at.K, E @ at.S, A, E


def look(at: Constants, films: Films) -> tuple[Array, Array, Array]:
    """`predict`, and its slopes by K and by S of the films."""
    K, S, _, _ = mixtures(at, films)
    X = films.X
    if films.guessed is not None:
        X = np.where(films.guessed, X * np.exp(at.log_thickness), X)
    film = Film(R_g=films.R_g, thickness_um=X[:, None], spread=at.spread, back=at.back, dim=at.dim)
    deep = float(np.exp(at.log_deep))
    R, by_K, by_S = film_look(K, S, film=film, deep=deep, base=at.base, gain=at.gain, k2=at.k2)
    return R + (films.C * at.own[0]).sum(axis=1, keepdims=True), by_K, by_S
