"""K and S of every ink from all drawdowns at once: the numerical heart of a fit.

Unknowns are log K and log S of every ink at every wavelength (so both stay above
zero), and a few numbers that all wavelengths share: the surface constant k2, how the
white crowds, how deep colours deepen, and for readings with the specular part included
the surface's own reflectance.  The white's S is the gauge.

The start is a non-negative linear solution; Levenberg-Marquardt refines it on f(R), the
scale that CIELAB lightness is made of, which is near to what the eye sees.  At fixed
shared numbers the wavelengths know nothing of each other, so the normal equations are 31
small blocks with a thin border, and a Schur complement solves them.

Sources: Levenberg (1944), Marquardt (1963) for the damping; the linear system is that of
Walowit et al. (1987) and Allen (1974), both from memory; f(R) is CIE 15's.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchkit.inks.palette import DEEP_AT, Q_FLOOR, deepen, surface_slope
from matchkit.optics.kubelka_munk import k_over_s, without_surface

Array = NDArray[np.float64]

K_FLOOR, S_FLOOR = 1e-7, 1e-5  # of the white's S: less cannot be seen
NOISE_F = 1e-3  # what a drawdown repeats to on the f scale, about 0.1 L*
EPS, KAPPA = 216 / 24389, 24389 / 27  # CIE 15

# Weak expectations, (mean, spread): they decide only what few drawdowns leave open.
PRIOR_SHARED = {
    "k2": (0.45, 0.15),
    "crowding": (0.3, 0.5),
    "log_deep": (0.3, 0.4),
    "base": (0.04, 0.004),
}
BOUNDS = {"k2": (0.0, 0.9), "crowding": (0.0, 5.0), "log_deep": (-1.0, 2.0), "base": (0.0, 0.08)}
PRIOR_LOG_S = 3.0  # spread of log S about its start


@dataclass(frozen=True, kw_only=True)
class Structure:
    """What is fitted.  `scattering` False is single-constant theory: every S is 1.

    `shared` names the numbers that are fitted for the whole series, out of k2,
    crowding, log_deep and base; the others keep what the caller gives.
    """

    name: str
    scattering: bool = True
    shared: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Constants:
    """A fit's numbers: K and S are (n_ink, n_wl), the rest is shared.

    `log_S_information` (n_ink, n_wl) is what the data say about log S, in squared f
    units over the noise: near zero means that S is a guess.
    """

    K: Array
    S: Array
    k2: float
    crowding: float
    log_deep: float
    base: float
    gain: float
    cost: float = np.inf
    log_S_information: Array | None = None


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


def solve_constants(
    C: Array,
    R_m: Array,
    *,
    whites: list[int],
    structure: Structure,
    start: Constants,
    weight: Array | None = None,
    max_steps: int = 60,
) -> Constants:
    """Fit K, S and the shared numbers to drawdowns.

    `C` (n_drawdown, n_ink) are mass fractions, `R_m` (n_drawdown, n_wl) readings,
    `weight` (n_drawdown,).  `whites` are the inks that crowd; the first is the gauge.
    `start` gives surface and shared numbers, and K and S too unless they are empty.
    """
    sqrt_w = np.ones((len(C), 1)) if weight is None else np.sqrt(weight)[:, None]
    target, _ = f_scale(R_m)
    if not start.K.size:
        start = _linear_start(C, R_m, whites[0], structure, start)
    free = [i for i in range(C.shape[1]) if i != whites[0]] if structure.scattering else []
    log_S0 = np.log(start.S)
    now, damping = start, 1e-3
    residual, J, G = _linearise(C, target, sqrt_w, now, whites, free, structure.shared)
    cost = _cost(residual, now, log_S0, structure)
    for _ in range(max_steps):
        blocks = _normal_equations(residual, J, G, now, log_S0, free, structure)
        for _ in range(10):
            step = _step(blocks, damping)
            trial = _moved(now, step, free, structure.shared, R_m)
            residual = _residual(C, target, sqrt_w, trial, whites)
            trial_cost = _cost(residual, trial, log_S0, structure)
            if trial_cost < cost:
                break
            damping *= 4
        else:
            break
        converged = cost - trial_cost < 1e-5 * cost
        now, cost, damping = trial, trial_cost, max(damping / 5, 1e-9)
        if converged:
            break
        residual, J, G = _linearise(C, target, sqrt_w, now, whites, free, structure.shared)
    information = np.full_like(now.S, np.inf)
    n = C.shape[1]
    information[free] = (J[:, :, n:] ** 2).sum(axis=1).T / NOISE_F**2
    return replace(now, cost=cost, log_S_information=information)


def _linear_start(
    C: Array, R_m: Array, white: int, structure: Structure, start: Constants
) -> Constants:
    """Non-negative K and S from sum c (K - q S) = 0, one wavelength after the other."""
    from scipy.optimize import nnls

    R = without_surface(R_m, base=start.base, gain=start.gain, k2=start.k2)
    q = k_over_s(np.clip(R, 1e-4, 0.9999))
    n = C.shape[1]
    others = [i for i in range(n) if i != white] if structure.scattering else []
    given = C[:, [white]] if structure.scattering else C.sum(axis=1, keepdims=True)
    K, S = np.empty((n, q.shape[1])), np.ones((n, q.shape[1]))
    for at in range(q.shape[1]):
        weight = 1 / (q[:, [at]] + 0.02)
        A = np.hstack([C, -q[:, [at]] * C[:, others]]) * weight
        x, _ = nnls(A, (q[:, [at]] * given * weight)[:, 0])
        K[:, at], S[others, at] = x[:n], x[n:]
    return replace(start, K=np.maximum(K, 1e-5), S=np.clip(S, 3e-3, 30.0))


def _mixture(C: Array, at: Constants, whites: list[int]) -> tuple[Array, Array, Array]:
    """K/S and S of the drawdowns, and the amounts that scatter."""
    E = C.copy()
    E[:, whites] = C[:, whites] / (1 + at.crowding * C[:, whites])
    S = np.maximum(E @ at.S, 1e-12)
    return np.maximum((C @ at.K) / S, Q_FLOOR), S, E


def _residual(C: Array, target: Array, sqrt_w: Array, at: Constants, whites: list[int]) -> Array:
    q, _, _ = _mixture(C, at, whites)
    q_deep, _ = deepen(q, np.exp(at.log_deep))
    R, _ = surface_slope(q_deep, base=at.base, gain=at.gain, k2=at.k2)
    out: Array = sqrt_w * (f_scale(R)[0] - target)
    return out


def _linearise(
    C: Array,
    target: Array,
    sqrt_w: Array,
    at: Constants,
    whites: list[int],
    free: list[int],
    shared: tuple[str, ...],
) -> tuple[Array, Array, Array]:
    """Residual (n_d, n_wl), blocks (n_wl, n_d, p), border (n_shared, n_d, n_wl)."""
    q, S, E = _mixture(C, at, whites)
    deep = np.exp(at.log_deep)
    q_deep, by_q = deepen(q, deep)
    R, by_q_deep = surface_slope(q_deep, base=at.base, gain=at.gain, k2=at.k2)
    f, by_R = f_scale(R)
    slope = sqrt_w * by_R * by_q_deep * by_q  # df/dq
    n = C.shape[1]
    J = np.empty((q.shape[1], len(C), n + len(free)))
    J[:, :, :n] = (slope / S).T[:, :, None] * C * at.K.T[:, None, :]
    J[:, :, n:] = -(slope * q / S).T[:, :, None] * E[:, free] * at.S.T[:, None, free]
    inner = (R - at.base) / at.gain
    R_under = inner / (1 - at.k2 + at.k2 * inner)
    border = {
        "k2": sqrt_w * by_R * at.gain * R_under * (R_under - 1) / (1 - at.k2 * R_under) ** 2,
        "crowding": slope * q / S * (E[:, whites] ** 2 @ at.S[whites]),
        "log_deep": sqrt_w * by_R * by_q_deep * (q_deep - q / (1 + DEEP_AT * q)),
        "base": sqrt_w * by_R * (1 - inner),
    }
    G = np.array([border[name] for name in shared]).reshape(len(shared), *q.shape)
    return sqrt_w * (f - target), J, G


def _priors(at: Constants, structure: Structure) -> tuple[Array, Array]:
    """Pull of the shared numbers on their expectations: offset and weight."""
    means, spreads = np.array([PRIOR_SHARED[name] for name in structure.shared]).reshape(-1, 2).T
    values = np.array([getattr(at, name) for name in structure.shared])
    return values - means, (NOISE_F / spreads) ** 2


def _cost(residual: Array, at: Constants, log_S0: Array, structure: Structure) -> float:
    offset, weight = _priors(at, structure)
    far = ((np.log(at.S) - log_S0) ** 2).sum() * (NOISE_F / PRIOR_LOG_S) ** 2
    return float((residual**2).sum() + (weight * offset**2).sum() + far)


Blocks = tuple[Array, Array, Array, Array, Array]


def _normal_equations(
    residual: Array,
    J: Array,
    G: Array,
    at: Constants,
    log_S0: Array,
    free: list[int],
    structure: Structure,
) -> Blocks:
    """H, g of each wavelength; the border B; Q, h of the shared numbers."""
    Jt = J.transpose(0, 2, 1)
    H = Jt @ J
    g = (Jt @ residual.T[:, :, None])[:, :, 0]
    pull = (NOISE_F / PRIOR_LOG_S) ** 2
    own = np.arange(J.shape[2] - len(free), J.shape[2])
    H[:, own, own] += pull
    g[:, own] += pull * (np.log(at.S) - log_S0)[free].T
    B = Jt @ G.transpose(2, 1, 0)
    offset, weight = _priors(at, structure)
    Q = np.einsum("mdl,kdl->mk", G, G) + np.diag(weight)
    h = np.einsum("mdl,dl->m", G, residual) + weight * offset
    return H, g, B, Q, h


def _step(blocks: Blocks, damping: float) -> tuple[Array, Array]:
    """The damped step: (n_wl, p) for the blocks, (n_shared,) for the shared numbers."""
    H, g, B, Q, h = blocks
    diagonal = np.arange(H.shape[1])
    H = H.copy()
    H[:, diagonal, diagonal] += damping * H[:, diagonal, diagonal] + 1e-12
    solved = np.linalg.solve(H, np.concatenate([g[:, :, None], B], axis=2))
    H_g, H_B = solved[:, :, 0], solved[:, :, 1:]
    schur = Q + damping * np.diag(np.diag(Q)) - np.einsum("lpm,lpk->mk", B, H_B)
    shared = -np.linalg.solve(schur, h - np.einsum("lpm,lp->m", B, H_g)) if len(h) else h
    shared = np.clip(shared, -0.1, 0.1)
    return np.clip(-H_g - H_B @ shared, -1.5, 1.5), shared


def _moved(
    at: Constants,
    step: tuple[Array, Array],
    free: list[int],
    shared: tuple[str, ...],
    R_m: Array,
) -> Constants:
    """`at` after a step, inside the bounds."""
    blocks, values = step
    n = len(at.K)
    K = np.maximum(at.K * np.exp(blocks[:, :n].T), K_FLOOR)
    S = at.S.copy()
    S[free] = np.maximum(S[free] * np.exp(blocks[:, n:].T), S_FLOOR)
    new = {
        name: float(np.clip(getattr(at, name) + by, *BOUNDS[name]))
        for name, by in zip(shared, values, strict=True)
    }
    if "base" in new:  # the surface alone cannot reflect more than the darkest reading
        new["base"] = min(new["base"], 0.99 * float(R_m.min()))
        new["gain"] = 1 - new["base"]
    return replace(
        at,
        K=K,
        S=S,
        k2=new.get("k2", at.k2),
        crowding=new.get("crowding", at.crowding),
        log_deep=new.get("log_deep", at.log_deep),
        base=new.get("base", at.base),
        gain=new.get("gain", at.gain),
    )
