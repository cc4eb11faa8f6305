"""K and S per um from films over grounds: the numerical heart of `film_fit`.

As in `constants`: the unknowns are log K and log S of every ink at every wavelength and a
few numbers that all wavelengths share, fitted by Levenberg-Marquardt on the f scale.  At
fixed shared numbers the wavelengths know nothing of each other, so the normal equations
are small blocks with a thin border, and a Schur complement solves them.  Here S is
measured, not a gauge: a film over a known ground has a thickness.

Sources: Levenberg (1944), Marquardt (1963) for the damping; f(R) is CIE 15's.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchkit.fitting.constants import NOISE_F, f_scale
from matchkit.inks.palette import film_look
from matchkit.optics.film import Film

Array = NDArray[np.float64]

# Expectations, (mean, spread): what the simulator, seeds 1 to 6, settled at, loosened.
PRIOR = {
    "k2": (0.58, 0.06),
    "crowding": (0.4, 0.4),
    "spread": (2.3, 0.6),
    "back": (0.11, 0.05),
    "dim": (0.3, 0.2),
    "log_deep": (-0.5, 0.5),
    "base": (0.04, 0.004),
}
BOUNDS = {
    "k2": (0.0, 0.9),
    "crowding": (0.0, 5.0),
    "spread": (0.3, 20.0),
    "back": (0.0, 0.9),
    "dim": (0.0, 1.0),
    "log_deep": (-3.0, 2.0),
    "base": (0.0, 0.08),
}
PRIOR_LOG_S = 3.0  # spread of log S about its start
K_FLOOR, S_FLOOR = 1e-8, 1e-7  # per um: less cannot be seen
LEAST_MISFIT_F = 3e-4  # smaller misfits on the f scale are all the same
STEP = 1e-4  # for the slopes by shared numbers


@dataclass(frozen=True, kw_only=True)
class Films:
    """Measured films: amounts (n, n_ink), thickness (n,), grounds and readings (n, n_wl).

    An infinite thickness hides.  `whites` are the inks that crowd.
    """

    C: Array
    X: Array
    R_g: Array
    R_m: Array
    whites: tuple[int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class FilmConstants:
    """A fit's numbers: K and S (n_ink, n_wl) per um, the rest is shared.

    `log_S_information` (n_ink, n_wl) is what the films say about log S, in squared f
    units over the noise: near zero means that S is a guess.
    """

    K: Array
    S: Array
    k2: float
    crowding: float = 0.0
    spread: float = np.inf
    back: float = 0.0
    dim: float = 0.0
    log_deep: float = 0.0
    base: float = 0.0
    gain: float = 1.0
    cost: float = np.inf
    log_S_information: Array | None = None


def solve_films(
    films: Films,
    *,
    shared: Sequence[str],
    start: FilmConstants,
    weight: Array | None = None,
    expect: Mapping[str, tuple[float, float]] = PRIOR,
    log_S_sd: float = PRIOR_LOG_S,
    tolerance: float = 1e-5,
    max_steps: int = 60,
) -> FilmConstants:
    """Fit K, S and the `shared` numbers from `start`; `weight` is (n_film,).

    `expect` gives mean and spread of what is expected of each shared number, `log_S_sd`
    how far log S may lie from its start, `tolerance` the share of the cost below which a
    step is the last.  A fitted base takes its share from the gain, as a surface does.
    """
    sqrt_w = np.ones((len(films.X), 1)) if weight is None else np.sqrt(weight)[:, None]
    target, names = f_scale(films.R_m)[0], tuple(shared)
    prior = np.array([expect[name] for name in names]).reshape(-1, 2).T
    log_S0, now, damping = np.log(start.S), start, 1e-3

    def residual(at: FilmConstants) -> Array:
        miss: Array = sqrt_w * (f_scale(predict(at, films))[0] - target)
        return miss

    def cost_of(miss: Array, at: FilmConstants) -> float:
        off = (_values(at, names) - prior[0]) / prior[1]
        far = (np.log(at.S) - log_S0) / log_S_sd
        return float((miss**2).sum() + NOISE_F**2 * ((off**2).sum() + (far**2).sum()))

    miss = residual(now)
    cost = cost_of(miss, now)
    for _ in range(max_steps):
        J = _blocks(now, films, sqrt_w)
        G = np.array([_by_shared(residual, now, name) for name in names])
        G = G.reshape(len(names), *miss.shape)
        far = NOISE_F / log_S_sd * (np.log(now.S) - log_S0).T
        blocks = _normal(miss, J, G, (far, NOISE_F / log_S_sd), _values(now, names), prior)
        for _ in range(10):
            trial = _moved(now, _step(blocks, damping), names)
            miss = residual(trial)
            trial_cost = cost_of(miss, trial)
            if trial_cost < cost:
                break
            damping *= 4
        else:
            break
        converged = cost - trial_cost < tolerance * cost
        now, cost, damping = trial, trial_cost, max(damping / 5, 1e-9)
        if converged:
            break
    information = (_blocks(now, films, sqrt_w)[:, :, len(now.K) :] ** 2).sum(axis=1).T / NOISE_F**2
    return replace(now, cost=cost, log_S_information=information)


def predict(at: FilmConstants, films: Films) -> Array:
    """What the instrument would read of the films, (n_film, n_wl)."""
    return _look(at, films)[0]


def trust(at: FilmConstants, films: Films, *, reach: float = 3.0) -> Array:
    """Weights (n_film,) that give little to films which these constants do not explain.

    That of a Cauchy error whose scale is `reach` times the usual misfit: a film of a wrong
    thickness or mixture would bend the inks around it.
    """
    off = f_scale(predict(at, films))[0] - f_scale(films.R_m)[0]
    misfit = np.sqrt((off**2).mean(axis=1))
    usual = max(float(np.median(misfit)), LEAST_MISFIT_F)
    weight: Array = 1 / (1 + (misfit / (reach * usual)) ** 2)
    return weight


def _mixtures(at: FilmConstants, films: Films) -> tuple[Array, Array, Array]:
    """K and S of the films, and the amounts that scatter."""
    E, whites = films.C.copy(), list(films.whites)
    E[:, whites] /= 1 + at.crowding * films.C[:, whites]
    return films.C @ at.K, E @ at.S, E


def _look(at: FilmConstants, films: Films) -> tuple[Array, Array, Array]:
    K, S, _ = _mixtures(at, films)
    film = Film(
        R_g=films.R_g,
        thickness_um=films.X[:, None],
        spread=at.spread,
        back=at.back,
        dim=at.dim,
    )
    deep = float(np.exp(at.log_deep))
    return film_look(K, S, film=film, deep=deep, base=at.base, gain=at.gain, k2=at.k2)


# ---- Levenberg-Marquardt: wavelengths apart, bordered by what they share


def _values(at: FilmConstants, names: Sequence[str]) -> Array:
    return np.array([getattr(at, name) for name in names])


def _with(at: FilmConstants, values: Mapping[str, float]) -> FilmConstants:
    """`at` with other shared numbers, inside their bounds."""
    kept = {name: float(np.clip(value, *BOUNDS[name])) for name, value in values.items()}
    gain = at.gain + at.base - kept["base"] if "base" in kept else at.gain
    return FilmConstants(**{**vars(at), **kept, "gain": gain})


def _by_shared(residual: Callable[[FilmConstants], Array], at: FilmConstants, name: str) -> Array:
    """Slope of the residual by one shared number, by differences."""
    value = getattr(at, name)
    up, down = (_with(at, {name: value + h}) for h in (STEP, -STEP))
    slope: Array = (residual(up) - residual(down)) / (getattr(up, name) - getattr(down, name))
    return slope


def _blocks(at: FilmConstants, films: Films, sqrt_w: Array) -> Array:
    """Slopes by log K and log S of every ink, (n_wl, n_film, 2 n_ink)."""
    _, _, E = _mixtures(at, films)
    R, by_K, by_S = _look(at, films)
    by_R = sqrt_w * f_scale(R)[1]
    J_K = (by_R * by_K).T[:, :, None] * films.C * at.K.T[:, None, :]
    J_S = (by_R * by_S).T[:, :, None] * E * at.S.T[:, None, :]
    return np.concatenate([J_K, J_S], axis=2)


Normal = tuple[Array, Array, Array, Array, Array]


def _normal(
    miss: Array, J: Array, G: Array, far: tuple[Array, float], values: Array, prior: Array
) -> Normal:  # fmt: skip
    """H, g of each wavelength; the border B; Q, h of the shared numbers."""
    Jt, n = J.transpose(0, 2, 1), J.shape[2] // 2
    H, g = Jt @ J, (Jt @ miss.T[:, :, None])[:, :, 0]
    scatter = np.arange(n, 2 * n)
    H[:, scatter, scatter] += far[1] ** 2
    g[:, scatter] += far[1] * far[0]
    weight = (NOISE_F / prior[1]) ** 2
    Q = np.einsum("mdl,kdl->mk", G, G) + np.diag(weight)
    h = np.einsum("mdl,dl->m", G, miss) + weight * (values - prior[0])
    return H, g, Jt @ G.transpose(2, 1, 0), Q, h


def _step(blocks: Normal, damping: float) -> tuple[Array, Array]:
    """The damped step: (n_wl, 2 n_ink) in the logs, (n_shared,) in the shared numbers."""
    H, g, B, Q, h = blocks
    on = np.arange(H.shape[1])
    H = H.copy()
    H[:, on, on] += damping * H[:, on, on] + 1e-12
    solved = np.linalg.solve(H, np.concatenate([g[:, :, None], B], axis=2))
    H_g, H_B = solved[:, :, 0], solved[:, :, 1:]
    schur = Q + damping * np.diag(np.diag(Q)) - np.einsum("lpm,lpk->mk", B, H_B)
    shared = -np.linalg.solve(schur, h - np.einsum("lpm,lp->m", B, H_g)) if len(h) else h
    shared = np.clip(shared, -0.15, 0.15)
    return np.clip(-H_g - H_B @ shared, -1.5, 1.5), shared


def _moved(at: FilmConstants, step: tuple[Array, Array], names: Sequence[str]) -> FilmConstants:
    logs, shared = step
    n = len(at.K)
    new = _with(at, dict(zip(names, _values(at, names) + shared, strict=True)))
    K = np.maximum(at.K * np.exp(logs[:, :n].T), K_FLOOR)
    S = np.maximum(at.S * np.exp(logs[:, n:].T), S_FLOOR)
    return replace(new, K=K, S=S)
