"""The numerical heart of a fit: Levenberg-Marquardt on K, S and the shared numbers at once.

It works on f(R), the scale that CIELAB lightness is made of, which is near to what the eye
sees.  At fixed shared numbers the wavelengths know nothing of each other, so the normal
equations are 31 small blocks with a thin border, and a Schur complement solves them.

Sources: Levenberg (1944), Marquardt (1963) for the damping.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from matchkit.arrays import Array
from matchkit.fitting import constants
from matchkit.inks.palette import BESIDE

FLOOR = 1e-5  # of K and S, of a white's S: less cannot be seen
STEP = 1e-5  # for the slopes by shared numbers


def solve_constants(
    films: constants.Films,
    *,
    structure: constants.Structure,
    start: constants.Constants,
    log_S: tuple[Array, Array] | None = None,
    weight: Array | None = None,
    noise_f: float = constants.NOISE_F,
    tolerance: float = 1e-5,
    max_steps: int = 60,
) -> constants.Constants:
    """Fit K, S and the shared numbers to films, from `start`.

    `weight` is (n_film,).  `log_S` are mean and spread that log S is expected to have, each
    (n_ink, n_wl) or what broadcasts to it; without it, those of the roles.  `noise_f` is the
    usual misfit, on the f scale, that expectations are weighed against, `tolerance` the share
    of the cost below which a step is the last.
    """
    sqrt_w = np.ones((len(films.X), 1)) if weight is None else np.sqrt(weight)[:, None]
    target, names = constants.f_scale(films.R_m)[0], structure.shared
    expect = {**constants.EXPECT, **structure.expect}
    n = films.C.shape[1]
    start = replace(start, own=start.own + np.zeros((3, n)))
    prior = np.array([expect[name] for name in names]).reshape(-1, 2).T
    if structure.own:
        prior = np.hstack([prior, [np.zeros(3 * n), np.repeat(constants.OWN_SD, n)]])
    mean, sd = expected_log_S(films, start) if log_S is None else log_S
    pull = np.broadcast_to(noise_f / sd, start.S.shape)
    ties = _ties(films, structure)

    def residual(at: constants.Constants) -> Array:
        return sqrt_w * (constants.f_scale(constants.predict(at, films))[0] - target)

    def cost_of(miss: Array, at: constants.Constants) -> float:
        off = noise_f * (_values(at, names, structure.own) - prior[0]) / prior[1]
        far = pull * (np.log(at.S) - mean)
        return float((miss**2).sum() + (off**2).sum() + (far[ties.any(axis=1)] ** 2).sum())

    def normal(miss: Array, at: constants.Constants) -> Normal:
        """H, g of each wavelength; the border B; Q, h of the shared numbers."""
        J = _blocks(at, films, sqrt_w, ties)
        G = np.array([_by_shared(residual, miss, at, name) for name in names])
        G = G.reshape(len(names), *miss.shape)
        if structure.own:
            G = np.concatenate([G, _by_own(at, films, sqrt_w)])
        Jt = J.transpose(0, 2, 1)
        H, g = Jt @ J, (Jt @ miss.T[:, :, None])[:, :, 0]
        tied = ties * pull.T[:, :, None]  # (n_wl, n_ink, n_free)
        H[:, n:, n:] += tied.transpose(0, 2, 1) @ tied
        g[:, n:] += np.einsum("lif,il->lf", tied, pull * (np.log(at.S) - mean))
        trust = (noise_f / prior[1]) ** 2
        rows = G.reshape(len(G), miss.size)
        Q = rows @ rows.T + np.diag(trust)
        h = rows @ miss.ravel() + trust * (_values(at, names, structure.own) - prior[0])
        return H, g, Jt @ G.transpose(2, 1, 0), Q, h

    now, damping, miss = start, 1e-3, residual(start)
    cost = cost_of(miss, now)
    blocks = normal(miss, now)
    for _ in range(max_steps):
        for _ in range(10):
            own = now.own.ravel() if structure.own else np.empty(0)
            trial = _moved(now, _step(blocks, damping, own), ties, names, films)
            miss = residual(trial)
            trial_cost = cost_of(miss, trial)
            if trial_cost < cost:
                break
            damping *= 4
        else:
            break
        converged = cost - trial_cost < tolerance * cost
        now, cost, damping = trial, trial_cost, max(damping / 5, 1e-9)
        blocks = normal(miss, now)
        if converged:
            break
    return replace(now, cost=cost, log_K_S_sd=_go_together(blocks[0], ties, noise_f))


def expected_log_S(films: constants.Films, start: constants.Constants) -> tuple[Array, Array]:
    """Mean and spread of log S that the roles let expect, each (n_ink, 1)."""
    if not films.whites:
        return np.log(start.S), np.array(3.0)
    level = float(np.median(np.log(start.S[films.whites])))
    mean, sd = np.array([constants.LOG_S[role] for role in films.roles]).T[:, :, None]
    return mean + level, sd


def _ties(films: constants.Films, structure: constants.Structure) -> Array:
    """Which free numbers move log S of which inks, (n_ink, n_free).

    Two constants: each ink's own.  One constant: one for all.  Where every film hides the
    white is the gauge, and its S stands still.
    """
    n, gauge = films.C.shape[1], films.hides.all()
    if not structure.scattering:
        return np.ones((n, 0 if gauge else 1))
    return np.delete(np.eye(n), films.whites[0], axis=1) if gauge else np.eye(n)


# ---- wavelengths apart, bordered by what they share

Normal = tuple[Array, Array, Array, Array, Array]


def _values(at: constants.Constants, names: Sequence[str], own: bool = False) -> Array:
    return np.append([getattr(at, name) for name in names], at.own if own else [])


def _with(at: constants.Constants, values: Mapping[str, float]) -> constants.Constants:
    """`at` with other shared numbers, inside their bounds; a base takes from the gain."""
    kept = {name: float(np.clip(value, *constants.BOUNDS[name])) for name, value in values.items()}
    gain = at.gain + at.base - kept["base"] if "base" in kept else at.gain
    return constants.Constants(**{**vars(at), **kept, "gain": gain})


def _by_shared(
    residual: Callable[[constants.Constants], Array],
    miss: Array,
    at: constants.Constants,
    name: str,
) -> Array:
    """Slope of the residual by one shared number, by a difference away from its bound."""
    value = getattr(at, name)
    moved = _with(
        at, {name: value + (STEP if value + STEP <= constants.BOUNDS[name][1] else -STEP)}
    )
    slope: Array = (residual(moved) - miss) / (getattr(moved, name) - value)
    return slope


def _blocks(at: constants.Constants, films: constants.Films, sqrt_w: Array, ties: Array) -> Array:
    """Slopes by log K of every ink and by the free log S, (n_wl, n_film, n_ink + n_free)."""
    _, _, A, E = constants.mixtures(at, films)
    R, by_K, by_S = constants.look(at, films)
    by_R = sqrt_w * constants.f_scale(R)[1]
    n, n_free = ties.shape
    J = np.empty((R.shape[1], len(R), n + n_free))
    np.multiply((by_R * by_K).T[:, :, None] * A, at.K.T[:, None, :], out=J[:, :, :n])
    if n_free == 1 < n:  # all inks scatter alike
        J[:, :, n] = (by_R * by_S * (E @ at.S)).T
        return J
    own = ties.argmax(axis=0)
    S = at.S[own].T[:, None, :]
    np.multiply((by_R * by_S).T[:, :, None] * E[:, own], S, out=J[:, :, n:])
    return J


def _by_own(at: constants.Constants, films: constants.Films, sqrt_w: Array) -> Array:
    """Slopes of the residual by `own`, (3 n_ink, n_film, n_wl).

    White beside itself and clear beside itself are nothing of their own.
    """
    _, _, A, E = constants.mixtures(at, films)
    R, by_K, by_S = constants.look(at, films)
    by_R = sqrt_w * constants.f_scale(R)[1]
    shares = [films.share(role) for role in BESIDE]
    white, clear = (
        (share / (1 + share * own) * [role != base for role in films.roles]).T[:, :, None]
        for share, own, base in zip(shares, at.own[1:], BESIDE, strict=True)
    )
    scatters = by_R * by_S * E.T[:, :, None] * at.S[:, None]
    absorbs = by_R * by_K * A.T[:, :, None] * at.K[:, None]
    return np.concatenate(
        [by_R * films.C.T[:, :, None], white * (absorbs + scatters), clear * scatters]
    )


def _step(blocks: Normal, damping: float, own: Array) -> tuple[Array, Array]:
    """The damped step: (n_wl, n_ink + n_free) in the logs, (n_shared,) in the shared numbers.

    `own` are the last of these as they stand.  One that is at its bound and would go beyond
    stays, and the others move as is best without it: cut off later, they would creep.
    """
    H, g, B, Q, h = blocks
    on = np.arange(H.shape[1])
    H = H.copy()
    H[:, on, on] += damping * H[:, on, on] + 1e-12
    solved = np.linalg.solve(H, np.concatenate([g[:, :, None], B], axis=2))
    H_g, H_B = solved[:, :, 0], solved[:, :, 1:]
    schur = Q + damping * np.diag(np.diag(Q)) - (B.transpose(0, 2, 1) @ H_B).sum(axis=0)
    slope = h - np.einsum("lpm,lp->m", B, H_g)
    low, high = np.repeat(constants.OWN_BOUNDS, len(own) // 3, axis=0).T
    shared, free, last = np.zeros(len(h)), np.ones(len(h), dtype=bool), len(h) - len(own)
    while free.any():
        shared[free] = -np.linalg.solve(schur[np.ix_(free, free)], slope[free])
        move = shared[last:]
        beyond = ((own <= low) & (move < 0)) | ((own >= high) & (move > 0))
        if not beyond.any():
            break
        free[last:] &= ~beyond
        shared[last:][beyond] = 0.0
    shared = np.clip(shared, -0.1, 0.1)
    return np.clip(-H_g - H_B @ shared, -1.5, 1.5), shared


def _moved(
    at: constants.Constants,
    step: tuple[Array, Array],
    ties: Array,
    names: Sequence[str],
    films: constants.Films,
) -> constants.Constants:
    """`at` after a step, inside the bounds."""
    logs, shared = step
    n = len(at.K)
    values = dict(zip(names, _values(at, names) + shared[: len(names)], strict=True))
    own = at.own
    if len(shared) > len(names):
        moved = own + shared[len(names) :].reshape(own.shape)
        own = np.clip(moved, *constants.OWN_BOUNDS.T[:, :, None])
    if "base" in values:  # the surface alone cannot reflect more than the darkest reading
        values["base"] = min(values["base"], 0.99 * float(films.R_m.min()))
    least = FLOOR * at.S[films.whites].max(initial=0) if films.whites else 0
    return replace(
        _with(at, values),
        own=own,
        K=np.maximum(at.K * np.exp(logs[:, :n].T), max(0.01 * least, 1e-9)),
        S=np.maximum(at.S * np.exp(ties @ logs[:, n:].T), max(least, 1e-8)),
    )


def _go_together(H: Array, ties: Array, noise_f: float) -> Array:
    """`Constants.log_K_S_sd` from the normal equations of each wavelength."""
    n = len(ties)
    on = np.arange(H.shape[1])
    H = H.copy()
    H[:, on, on] += 1e-12
    covariance = np.linalg.inv(H) * noise_f**2
    free = covariance[:, n:, n:]
    sd = np.sqrt(np.diagonal(free, axis1=1, axis2=2))  # (n_wl, n_free)
    K = np.diagonal(covariance[:, :n, n:] @ ties.T, axis1=1, axis2=2)
    S = sd @ ties.T
    return np.stack([(K / np.maximum(S, 1e-9)).T, S.T])
