"""The most likely explanation of a measurement, by regularised least squares.

    measured = model(x) + error,   error ~ N(0, w^2 C),   x ~ prior

The prior of the first entries of `x` has heavy tails, (1 + z^2 / freedom)^(-freedom / 2),
a Gaussian near its middle: one entry that is far off is found instead of being smeared
over all.  The rest of `x` is Gaussian.  Steps are Gauss-Newton's with the tails
re-weighted at each.

How far to believe the model is part of the question.  Believed too far, it explains its
own errors by an `x` that never was; so where the first answer is out of the ordinary, `w`
goes from large to 1 by halves, each answer starting the next.  Other stories (other
priors, each with its odds) are tried in the same way, and of all answers the one with the
best evidence (Laplace's approximation) is taken.

Sources: Tarantola, Inverse Problem Theory (2005), for the estimate and its covariance;
Lange, Little & Taylor (1989), J. Am. Stat. Assoc. 84, 881, for heavy tails by
re-weighting; MacKay (1992), Neural Computation 4, 415, for evidence; all from memory.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import chain

import numpy as np

from matchkit.arrays import Array

Linearise = Callable[[Array], tuple[Array, Array]]  # x -> what is missed, slope of the model

STEPS = 20
STILL = 1e-6  # a step shorter than this, in spreads of the prior, ends the descent
# Within so many spreads and leaving no more than this chi square per datum, an answer is
# ordinary.
FAR_OFF, EXCESS = 3.0, 1.5
HALVINGS, LOG_WIDER = 7, 1.0  # w is expected within a factor of e


@dataclass(frozen=True)
class Prior:
    """`mean` and `precision` of x; the first len(`sd`) entries have tails of `freedom`."""

    mean: Array
    precision: Array
    sd: Array
    freedom: float

    @property
    def spreads(self) -> Array:
        """Standard deviations of all of x."""
        rest = 1 / np.sqrt(np.diag(self.precision)[len(self.sd) :])
        return np.concatenate([self.sd, rest])


@dataclass(frozen=True)
class Estimate:
    """An estimate `x`, its information (the inverse covariance), and what it misses."""

    x: Array
    information: Array
    miss: Array
    evidence: float
    ordinary: bool


def most_likely(
    linearise: Linearise,
    covariance: Callable[[float], Array],
    stories: Iterable[tuple[Prior, float]],
    limit: Array,
) -> Estimate:
    """The estimate with the best evidence over w and over `stories`.

    Stories are priors with the log of their odds, the usual one first.  `covariance(w)` is
    that of the data, `limit` the longest step of each entry of x.
    """
    stories = iter(stories)  # few are looked at, so each is made when it is asked for
    usual, odds = next(stories)
    best = descend(linearise, covariance(1.0), usual, limit, usual.mean)
    if best.ordinary:
        return best
    best_evidence = -np.inf
    for prior, log_odds in chain([(usual, odds)], stories):
        x = prior.mean
        for halvings in range(HALVINGS, -1, -1):
            found = descend(linearise, covariance(2.0**halvings), prior, limit, x)
            evidence = found.evidence + log_odds - (halvings * np.log(2) / LOG_WIDER) ** 2 / 2
            if evidence > best_evidence:
                best, best_evidence = found, evidence
            x = found.x
    return best


def descend(
    linearise: Linearise, covariance: Array, prior: Prior, limit: Array, start: Array
) -> Estimate:
    """The nearest minimum of `objective` downhill from `start`."""
    whiten = np.linalg.inv(np.linalg.cholesky(covariance))
    x, spreads = start.copy(), prior.spreads
    for _ in range(STEPS):
        miss, J = linearise(x)
        A, y = whiten @ J, whiten @ miss
        precision = _reweighted(prior, x)
        information = A.T @ A + precision
        step = np.linalg.solve(information, A.T @ y - precision @ (x - prior.mean))
        step = np.clip(step, -limit, limit)
        x = x + step
        if np.abs(step / spreads).max() < STILL:
            break
    else:
        miss, _ = linearise(x)
        y = whiten @ miss
    far = np.abs((x - prior.mean) / spreads)[: len(prior.sd)]
    spare = np.log(np.diag(whiten)).sum()
    spare += (np.linalg.slogdet(prior.precision)[1] - np.linalg.slogdet(information)[1]) / 2
    return Estimate(
        x=x,
        information=information,
        miss=miss,
        evidence=float(spare - objective(x, miss, covariance, prior)),
        ordinary=bool(y @ y <= EXCESS * len(y) and far.max() <= FAR_OFF),
    )


def objective(x: Array, miss: Array, covariance: Array, prior: Prior) -> float:
    """What is made least: minus the log of the posterior, but for a constant.

    Exact where the prior is uncorrelated or has no tails; else the tails count ink by ink.
    """
    off, n = x - prior.mean, len(prior.sd)
    told = float(miss @ np.linalg.solve(covariance, miss)) / 2
    if not np.isfinite(prior.freedom):
        return told + float(off @ prior.precision @ off) / 2
    tails = prior.freedom / 2 * np.log1p((off[:n] / prior.sd) ** 2 / prior.freedom).sum()
    return told + float(tails + off[n:] @ prior.precision[n:, n:] @ off[n:] / 2)


def _reweighted(prior: Prior, x: Array) -> Array:
    n = len(prior.sd)
    tail = np.ones(len(x))
    tail[:n] = 1 / (1 + ((x - prior.mean)[:n] / prior.sd) ** 2 / prior.freedom)
    return np.sqrt(tail[:, None] * tail) * prior.precision
