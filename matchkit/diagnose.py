"""What most likely went wrong with a batch, read from its measured spectrum.

Three things can make a batch differ from its prediction: inks that are stronger or weaker
than their reference lots, weights that slipped, and what the model can't say.  All have a
usual size.  The most likely mixture of them (the maximum a posteriori estimate) is a
regularised least-squares problem on f(R), the lightness scale of CIELAB:

    f(R_measured) = f(R(strengths, weights)) + smooth residual + noise

The residual is a Gaussian process over wavelength, integrated out; strengths have a
heavy-tailed prior, so that one ink which is far off (a doubled pour) is found instead of
being smeared over all.  Several rounds of one batch share strengths and most of the
residual, so a second measurement sharpens the first.

Sources: Tarantola, Inverse Problem Theory (2005), for the estimate and its covariance;
Lange, Little & Taylor (1989), J. Am. Stat. Assoc. 84, 881, for t-distributed priors by
re-weighting; both from memory.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matchkit.colorimetry import Lab_jacobian, XYZ_to_Lab
from matchkit.constants import f_scale
from matchkit.faults import BadInput
from matchkit.fit import Fit
from matchkit.odds import Spread
from matchkit.palette import Palette, reflectance, reflectance_jacobian, strength_jacobian
from matchkit.solve import Target
from matchkit.spectra import GRID_NM

__all__ = ["Belief", "Round", "infer", "model_error_f", "predicted"]

Array = NDArray[np.float64]

REACH_NM = 40.0  # over which the model's error changes its mind
SHARED = 0.8  # part of that error which stays as a batch is corrected
NOISE_F = 4e-4  # of a reading and its drawdown on the f scale: about 0.05 L*
LEAST_MODEL_F = 5e-4  # the model's own error is never taken as smaller
T_FREEDOM = 4.0  # heavy tails of the strength prior
STEPS = 12
UNEXPLAINED_F = 0.012  # a residual above this, about 1.4 L*, is not these inks


@dataclass(frozen=True, kw_only=True)
class Round:
    """What was in the bucket, in grams (n_ink,), and how it measured.

    `R` (n_wl,) is the reading; where there is only a colour, `lab` (3,) under the
    target's first light with its own covariance `lab_covariance` (3, 3).
    """

    grams: Array
    R: Array | None = None
    lab: Array | None = None
    lab_covariance: Array | None = None


@dataclass(frozen=True, kw_only=True)
class Belief:
    """What is thought of a batch after measuring it.

    `log_strength` (n_ink,) with `covariance` (n_ink, n_ink); `grams` (n_ink,) as they
    probably went in; `residual_f` (n_wl,) what the model can't say, to be added to f(R)
    of the same batch corrected; `unexplained_f` the rms of what is left over.
    """

    log_strength: Array
    covariance: Array
    grams: Array
    residual_f: Array
    unexplained_f: float

    @property
    def strengths(self) -> Array:
        """Most likely strengths, (n_ink,): 1 is the reference lot."""
        strengths: Array = np.exp(self.log_strength)
        return strengths


def infer(
    palette: Palette,
    rounds: Sequence[Round],
    spread: Spread,
    *,
    target: Target | None = None,
    model_f: float = LEAST_MODEL_F,
    refuse: bool = True,
) -> Belief:
    """The most likely state of a batch after one or more rounds.

    `rounds` hold the bucket's contents at each measurement, so they only grow.
    `model_f` is the fit's own error on the f scale.  BadInput if the reading can't come
    from these inks, unless `refuse` is False.  `target` is needed for Lab-only rounds.
    """
    _check_growth(palette, rounds)
    pours = np.diff(np.array([np.zeros(len(palette.inks)), *(r.grams for r in rounds)]), axis=0)
    poured = [(k, int(i)) for k, i in zip(*np.nonzero(pours > 0), strict=True)]
    n = len(palette.inks)
    sd = np.concatenate([spread.log_strength, np.full(len(poured), spread.pour_g)])
    covariance = _data_covariance(rounds, max(model_f, LEAST_MODEL_F), target)
    whiten = np.linalg.inv(np.linalg.cholesky(covariance))
    x = np.zeros(n + len(poured))
    for _ in range(STEPS):
        miss, J = _linearise(palette, rounds, poured, x, target)
        A, y = whiten @ J, whiten @ miss
        tail = np.ones(len(x))
        tail[:n] = (T_FREEDOM + 1) / (T_FREEDOM + (x[:n] / sd[:n]) ** 2)
        precision = np.diag(tail / sd**2)
        information = A.T @ A + precision
        step = np.linalg.solve(information, A.T @ y - precision @ x)
        limit = np.concatenate([np.full(n, 0.3), 0.5 * pours[pours > 0]])
        x = x + np.clip(step, -limit, limit)
    miss, _ = _linearise(palette, rounds, poured, x, target)
    belief = Belief(
        log_strength=x[:n],
        covariance=np.linalg.inv(information)[:n, :n],
        grams=np.maximum(rounds[-1].grams + _pour_errors(x[n:], poured, len(rounds), n)[-1], 0),
        residual_f=_residual(rounds, miss, covariance, max(model_f, LEAST_MODEL_F), target),
        unexplained_f=float(np.sqrt((miss**2).mean())) if rounds[-1].R is not None else 0.0,
    )
    if refuse and belief.unexplained_f > UNEXPLAINED_F:
        raise BadInput(_why_not(palette, rounds[-1], belief))
    return belief


def model_error_f(found: Fit) -> float:
    """The usual held-out error of a fit on the f scale, of which 1 / 116 is one L*."""
    return float(np.nanmedian(found.de00_held_out)) / 116


def predicted(palette: Palette, belief: Belief, grams: Array) -> Array:
    """Reflectance (n_wl,) of the batch brought to `grams`, with what was learned."""
    R = reflectance(palette, grams / grams.sum(), belief.strengths)
    f = f_scale(R)[0] + belief.residual_f
    return _f_inverse(f)


def _check_growth(palette: Palette, rounds: Sequence[Round]) -> None:
    for k in range(1, len(rounds)):
        less = rounds[k].grams < rounds[k - 1].grams - 1e-9
        if less.any():
            names = ", ".join(palette.inks[i].name for i in np.flatnonzero(less))
            raise BadInput(
                f"round {k + 1}: less {names} in the bucket than before; only additions count"
            )


def _pour_errors(errors_g: Array, poured: list[tuple[int, int]], n_rounds: int, n: int) -> Array:
    """Errors of weight in the bucket at each round, (n_rounds, n_ink)."""
    each = np.zeros((n_rounds, n))
    for (k, i), error in zip(poured, errors_g, strict=True):
        each[k, i] = error
    total: Array = np.cumsum(each, axis=0)
    return total


def _linearise(
    palette: Palette,
    rounds: Sequence[Round],
    poured: list[tuple[int, int]],
    x: Array,
    target: Target | None,
) -> tuple[Array, Array]:
    """What the rounds say minus what `x` says, and the slope with `x`."""
    n = len(palette.inks)
    strengths = np.exp(x[:n])
    errors = _pour_errors(x[n:], poured, len(rounds), n)
    misses, slopes = [], []
    for k, each in enumerate(rounds):
        grams = np.maximum(each.grams + errors[k], 0)
        total = grams.sum()
        c = grams / total
        R, by_amount = reflectance_jacobian(palette, c, strengths)
        by_gram = (by_amount - c @ by_amount) / total
        by_strength = strength_jacobian(palette, c, strengths)
        columns = [by_strength[i] for i in range(n)]
        columns += [by_gram[i] if j <= k else np.zeros_like(R) for j, i in poured]
        slope = np.array(columns).T
        if each.R is not None:
            f, by_R = f_scale(R)
            misses.append(f_scale(each.R)[0] - f)
            slopes.append(by_R[:, None] * slope)
        else:
            assert target is not None and each.lab is not None
            W, white = target.W[:, :3], target.whites[0]
            misses.append(each.lab - XYZ_to_Lab(R @ W, white))
            slopes.append(Lab_jacobian(R @ W, white) @ W.T @ slope)
    return np.concatenate(misses), np.concatenate(slopes)


def _kernel() -> Array:
    kernel: Array = np.exp(-(((GRID_NM[:, None] - GRID_NM) / REACH_NM) ** 2) / 2)
    return kernel


def _data_covariance(rounds: Sequence[Round], model_f: float, target: Target | None) -> Array:
    """Covariance of the data about the model: smooth residual and noise, by round."""
    sizes = [3 if each.R is None else len(GRID_NM) for each in rounds]
    ends = np.cumsum([0, *sizes])
    out = np.zeros((ends[-1], ends[-1]))
    smooth = model_f**2 * _kernel()
    for k, each in enumerate(rounds):
        rows = slice(ends[k], ends[k + 1])
        if each.R is None:
            assert each.lab_covariance is not None
            out[rows, rows] = each.lab_covariance
            continue
        out[rows, rows] = smooth + NOISE_F**2 * np.eye(len(GRID_NM))
        for j in range(k):
            if rounds[j].R is not None:
                other = slice(ends[j], ends[j + 1])
                out[rows, other] = out[other, rows] = SHARED * smooth
    return out


def _residual(
    rounds: Sequence[Round], miss: Array, covariance: Array, model_f: float, target: Target | None
) -> Array:
    """The residual that the next drawdown of this batch will probably show."""
    smooth = SHARED * model_f**2 * _kernel()
    blocks = [smooth if each.R is not None else np.zeros((len(GRID_NM), 3)) for each in rounds]
    expected: Array = np.hstack(blocks) @ np.linalg.solve(covariance, miss)
    return expected


def _f_inverse(f: Array) -> Array:
    R: Array = np.where(f > 6 / 29, f**3, (116 * f - 16) * 27 / 24389)
    return np.maximum(R, 1e-5)


def _why_not(palette: Palette, each: Round, belief: Belief) -> str:
    """Why a reading can't come from the inks that were weighed."""
    assert each.R is not None
    lead = (
        "the measured spectrum can't come from the inks that were weighed: even with lots and "
        f"weights far off, it misses by about {116 * belief.unexplained_f:.1f} L*"
    )
    R = reflectance(palette, belief.grams / belief.grams.sum(), belief.strengths)
    offset = float(np.mean(each.R - R))
    if 0.02 < abs(offset) < 0.06 and float(np.std(each.R - R)) < 0.012:
        part = "included" if offset > 0 else "excluded"
        return (
            f"{lead}; it reads as if measured with the specular part {part}: check the instrument"
        )
    return f"{lead}; wrong sample, a wrong ink in the bucket, or another geometry? measure again"
