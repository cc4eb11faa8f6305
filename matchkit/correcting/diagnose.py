"""What most likely went wrong with a batch, estimated from its measured spectrum.

Three things can make a batch differ from its prediction: inks that are stronger or weaker
than their reference lots, weighing errors, and a residual that the model does not explain.
Each has a usual size; now and then one weight is far off.  The most likely combination of them
(the maximum a posteriori estimate) is a regularised least-squares problem on f(R), the
lightness scale of CIELAB:

    f(R_measured) = f(R(strengths, weights)) + smooth residual + noise

The residual is a Gaussian process over wavelength, integrated out; strengths have a
heavy-tailed prior, since some lots are far off.  Several rounds of one batch share the
strengths; a later round keeps as much of an earlier residual as it holds of the earlier batch.
A second measurement therefore improves the estimate of the first.  (On simulated
shops with every trouble, batches with 10, 30 and 100 % of their inks added kept 0.89, 0.84 and
0.68 of it; assumed are their shares, 0.91, 0.77 and 0.50.)

`estimate` has the method, and how far the model is trusted during it.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.difference import Target
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import Lab, Lab_jacobian, XYZ_to_Lab, de00
from matchkit.correcting.estimate import Prior, descend, most_likely
from matchkit.errors import InputError
from matchkit.fitting.constants import f_scale
from matchkit.fitting.outliers import NOISE_F, shift_words, smooth
from matchkit.inks.palette import Palette, reflectance, reflectance_jacobian, strength_jacobian
from matchkit.matching.probability import Spread, model_error_f

Left = Callable[[Array], float]

T_FREEDOM = 8.0  # heavy tails of the strength prior: some lots are far off
# Now and then a pour is forgotten, doubled or misread, by so much of it: one in a hundred of
# the smallest pours, the greater the rarer.  A guess, which decides between a slip and a
# lot some 25 % off, and in a mix of two inks between too much of one and too little of the
# other, which look the same: the lesser of the two is then believed.
SLIP, ODDS_OF_SLIP = 0.7, 0.01
# And now and then all of a batch is poured so many times less carefully than usual.  In a
# formula of grams it is nothing; in one of hundredths of a gram in clear it is a third of an
# ink, which is then not taken for a wrong sample.  A guess too.
COARSE, ODDS_OF_COARSE = 5.0, 0.05
# A residual above the first, 0.7 L*, is not these inks; above the second it is looked at
# whether the specular part was switched.  On the bench nine in ten wrong samples leave
# more than the first; right ones leave 0.001, or 0.01 where the fit knows little of clear.
UNEXPLAINED_F, SUSPECT_F = 0.006, 0.003
NEAR_DE00 = 1.5  # a reading this near to what the weights predict is no wrong sample
# A reading that only these inks in other shares explain is of another mixture of them: no lot is
# so many times as strong as it was.  A mixer's guess; --anyway takes it all the same.
FAR_TIMES, FAR_SD = 2.5, 4.0
WRONG = "the measured spectrum can't come from the inks that were weighed"
SPECULAR_R = (0.01, 0.06)  # what a surface of index 1.2 to 1.65 reflects


@dataclass(frozen=True, kw_only=True)
class Round:
    """What was in the container, in grams (n_ink,), and how it measured.

    `R` (n_wl,) is the reading; where there is only a colour, `lab` (3,) under the
    target's first light with its own covariance `lab_covariance` (3, 3).
    """

    grams: Array
    R: Array | None = None
    lab: Array | None = None
    lab_covariance: Array | None = None


@dataclass(frozen=True, kw_only=True)
class Belief:
    """The estimated state of a batch after it was measured.

    `log_strength` (n_ink,) with `covariance` (n_ink, n_ink); `grams` (n_ink,) as they
    probably went in; `residual_f` (n_wl,) what the model can't say, to be added to f(R)
    of the same batch corrected; `unexplained_f` the rms of what is left over.  `seen_Lab`
    (3, 3) is the covariance of the last reading under the target's first light, or None.
    `ordinary` says that lots and weights no farther off than usual explain the reading.
    """

    log_strength: Array
    covariance: Array
    grams: Array
    residual_f: Array
    unexplained_f: float
    seen_Lab: Array | None = None
    ordinary: bool = False

    @property
    def strengths(self) -> Array:
        """Most likely strengths, (n_ink,): 1 is the reference lot."""
        return np.exp(self.log_strength)


def infer(
    palette: Palette,
    rounds: Sequence[Round],
    spread: Spread,
    *,
    target: Target | None = None,
    refuse: bool = True,
    known: tuple[Array, Array] | None = None,
    freedom: float = T_FREEDOM,
    slips: bool = True,
) -> Belief:
    """The most likely state of a batch after one or more rounds.

    `rounds` hold the contents of the container at each measurement, so they only grow.
    InputError if the reading can't come from these inks, unless `refuse` is False.
    `target` is needed for Lab-only rounds.
    `known` are the mean (n_ink,) and covariance (n_ink, n_ink) of log strength that
    earlier batches left; without it every lot is the reference, give or take its spread.
    `freedom` is that of the tails of the strengths; infinite makes them Gaussian.  Where
    something is far off, one pour may have gone wrong by far, or all have been coarse, unless
    `slips` is False.
    """
    _check_growth(palette, rounds)
    pours = np.diff(np.array([np.zeros(len(palette.inks)), *(r.grams for r in rounds)]), axis=0)
    poured = [(k, int(i)) for k, i in zip(*np.nonzero(pours > 0), strict=True)]
    n = len(palette.inks)
    lots = (np.zeros(n), np.diag(spread.log_strength**2)) if known is None else known
    pours_g = pours[pours > 0]
    usual = np.full(len(poured), max(spread.pour_g, 1e-4))
    prior = _prior(lots, usual, freedom)

    def stories() -> Iterator[tuple[Prior, float]]:
        yield prior, 0.0
        if slips:
            yield _prior(lots, COARSE * usual, freedom), float(np.log(ODDS_OF_COARSE))
            slipped = np.where(np.eye(len(poured)) > 0, SLIP * pours_g[:, None], usual)
            odds = ODDS_OF_SLIP * pours_g.min(initial=np.inf) / pours_g
            for sd, p in zip(slipped, odds, strict=True):
                yield _prior(lots, sd, freedom), float(np.log(p))

    limit = np.concatenate([np.full(n, 0.3), 0.5 * pours_g])
    model_f = [model_error_f(palette, each.grams / each.grams.sum(), spread) for each in rounds]
    found = most_likely(
        partial(_linearise, palette, rounds, poured, target=target),
        partial(_data_covariance, rounds, model_f),
        stories(),
        limit,
    )
    x = found.x
    spread_now = np.linalg.inv(found.information)[:n, :n].astype(float)
    unexplained_f = _unexplained(rounds, found.miss)
    belief = Belief(
        log_strength=x[:n],
        covariance=spread_now,
        grams=np.maximum(rounds[-1].grams + _pour_errors(x[n:], poured, len(rounds), n)[-1], 0),
        residual_f=_residual(rounds, found.miss, model_f),
        unexplained_f=unexplained_f,
        seen_Lab=rounds[-1].lab_covariance
        if rounds[-1].R is None
        else spread.measuring_Lab**2 * np.eye(3),
        ordinary=found.ordinary and unexplained_f <= SUSPECT_F,
    )
    if refuse and belief.unexplained_f > SUSPECT_F:

        def left(R: Array) -> float:
            shifted = [*rounds[:-1], replace(rounds[-1], R=R)]
            look = partial(_linearise, palette, shifted, poured, target=target)
            C = _data_covariance(shifted, model_f)
            return _unexplained(shifted, descend(look, C, prior, limit, prior.mean).miss)

        _refuse_if_wrong(palette, rounds[-1], belief.unexplained_f, model_f[-1], left)
    if refuse:
        _refuse_if_far(palette, rounds[-1], belief, lots)
    return belief


def _prior(lots: tuple[Array, Array], pours_sd: Array, freedom: float) -> Prior:
    n = len(lots[0])
    apart = lots[1] + 1e-10 * np.eye(n)  # a spread of 0 is 0.001 %
    precision = np.diag(np.concatenate([np.zeros(n), 1.0 / pours_sd**2]))
    precision[:n, :n] = np.linalg.inv(apart)
    mean = np.concatenate([lots[0], np.zeros(len(pours_sd))])
    return Prior(mean, precision, np.sqrt(np.diag(apart)), freedom)


def beside_the_batch(
    log_strength: Array, covariance: Array, prior_sd: Array, grams: Array
) -> tuple[Array, Array]:
    """Log strengths of lots beside their mean in a batch, and their standard errors, (n_ink,).

    One factor common to all inks of a batch changes no colour, so no reading tells it: only
    the prior decides whether one ink looks strong or all others look weak.  So the strengths
    of the inks in `grams` (n_ink,) are told beside their mean, weighted by mass.  The errors
    allow for that mean, which is as uncertain as the lots that nothing is known of:
    `prior_sd` (n_ink,).  `log_strength` (n_ink,) and `covariance` (n_ink, n_ink) are what
    `infer` or `lots.learn` found.  Inks that are not in `grams` stay as they are.

    >>> x, error = beside_the_batch(
    ...     np.array([-0.02, 0.02]), np.full((2, 2), 0.00045), np.full(2, 0.03),
    ...     np.array([450.0, 50.0]),
    ... )
    >>> x.round(3).tolist(), error.round(3).tolist()
    ([-0.004, 0.036], [0.027, 0.027])
    """
    if not grams.any():
        return log_strength, np.sqrt(np.diag(covariance))
    share = grams / grams.sum()
    # The mean square of what is told less what is true: x - E[x] and E[mean] are independent.
    mean_told = share**2 @ prior_sd**2 - share @ covariance @ share
    told = log_strength - np.where(grams > 0, share @ log_strength, 0.0)
    return told, np.sqrt(np.diag(covariance) + np.where(grams > 0, max(mean_told, 0.0), 0.0))


def _check_growth(palette: Palette, rounds: Sequence[Round]) -> None:
    for k in range(1, len(rounds)):
        less = rounds[k].grams < rounds[k - 1].grams - 1e-9
        if less.any():
            names = ", ".join(palette.inks[i].name for i in np.flatnonzero(less))
            raise InputError(
                f"round {k + 1}: less {names} in the container than before; only additions count"
            )


def _pour_errors(errors_g: Array, poured: list[tuple[int, int]], n_rounds: int, n: int) -> Array:
    """Errors of weight in the container at each round, (n_rounds, n_ink)."""
    each = np.zeros((n_rounds, n))
    for (k, i), error in zip(poured, errors_g, strict=True):
        each[k, i] = error
    return np.cumsum(each, axis=0)


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
    errors, misses, slopes = _pour_errors(x[n:], poured, len(rounds), n), [], []
    for k, each in enumerate(rounds):
        grams = np.maximum(each.grams + errors[k], 0)
        total = max(grams.sum(), 1e-6)  # a step may try that nothing was poured
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


def _data_covariance(
    rounds: Sequence[Round], model_f: Sequence[float], wider: float = 1.0
) -> Array:
    """Covariance of the data about the model: smooth residual and noise, by round."""
    ends = np.cumsum([0, *(3 if each.R is None else len(GRID_NM) for each in rounds)])
    out = np.zeros((ends[-1], ends[-1]))
    model = wider**2 * smooth()
    for k, each in enumerate(rounds):
        rows = slice(ends[k], ends[k + 1])
        if each.R is None:
            assert each.lab_covariance is not None
            out[rows, rows] = each.lab_covariance
            continue
        out[rows, rows] = model_f[k] ** 2 * model + (wider * NOISE_F) ** 2 * np.eye(len(GRID_NM))
        for j in range(k):
            if rounds[j].R is not None:
                other = slice(ends[j], ends[j + 1])
                out[rows, other] = out[other, rows] = (
                    stays(rounds[j].grams, rounds[k].grams) * model_f[j] * model_f[k] * model
                )
    return out


def stays(earlier_g: Array, later_g: Array) -> float:
    """Part of a batch's residual that is there when more ink is in it: its part of the whole.

    >>> stays(np.array([90.0, 10.0]), np.array([100.0, 25.0]))
    0.8
    """
    return float(earlier_g.sum() / later_g.sum())


def _residual(rounds: Sequence[Round], miss: Array, model_f: Sequence[float]) -> Array:
    """The residual that the next drawdown of this batch will probably show."""
    covariance = _data_covariance(rounds, model_f)
    last = rounds[-1].grams
    blocks = [
        np.zeros((len(GRID_NM), 3))
        if each.R is None
        else stays(each.grams, last) * own_f * model_f[-1] * smooth()
        for each, own_f in zip(rounds, model_f, strict=True)
    ]
    return np.hstack(blocks) @ np.linalg.solve(covariance, miss)


def f_inverse(f: Array) -> Array:
    """Reflectance from f(R), the lightness scale of CIELAB; never quite 0.

    >>> f_inverse(np.array([0.5, 1.0])).tolist()
    [0.125, 1.0]
    """
    R: Array = np.where(f > 6 / 29, f**3, (116 * f - 16) * 27 / 24389)
    return np.maximum(R, 1e-5)


def _unexplained(rounds: Sequence[Round], miss: Array) -> float:
    """Rms of what is left of the spectra, on the f scale; 0 if there are none."""
    sizes = [3 if each.R is None else len(GRID_NM) for each in rounds]
    of = np.repeat([each.R is not None for each in rounds], sizes)
    return float(np.sqrt((miss[of] ** 2).mean())) if of.any() else 0.0


def _away(palette: Palette, each: Round) -> float:
    """How far a reading is from what its weights predict, dE00 (D65, 10 degrees)."""
    if each.R is None:
        return np.inf
    R = reflectance(palette, each.grams / each.grams.sum())
    return float(de00(Lab(R, "D65", 10), Lab(each.R, "D65", 10)))


def _refuse_if_wrong(
    palette: Palette, last: Round, unexplained_f: float, model_f: float, left: Left
) -> None:
    """InputError where a reading can't come from the inks that were weighed, and why.

    `left` says what would stay unexplained of another reading.
    """
    lead = f"{WRONG}: even with far lots and pours it misses by about {116 * unexplained_f:.1f} L*"
    limit_f = max(UNEXPLAINED_F, 6 * model_f)
    if last.R is not None:
        refuse_if_shifted(palette, last.R, left, min(unexplained_f / 3, limit_f), lead)
    if unexplained_f > limit_f and _away(palette, last) > NEAR_DE00:
        raise InputError(
            f"{lead}; a wrong sample, a wrong ink in the container, a pour or a lot that is far "
            "off, another geometry, or inks that too few drawdowns show: look, and measure again"
        )


def _refuse_if_far(
    palette: Palette, last: Round, belief: Belief, lots: tuple[Array, Array]
) -> None:
    """InputError where lots would have to be farther off than any, beside those of the batch."""
    sd, now = np.sqrt(np.diag(lots[1])), belief.log_strength - lots[0]
    told, _ = beside_the_batch(now, belief.covariance, sd, last.grams)
    over = np.where(last.grams > 0, np.abs(told) - np.maximum(np.log(FAR_TIMES), FAR_SD * sd), -1)
    i = int(np.argmax(over))
    if over[i] > 0:
        raise InputError(
            f"{WRONG}: {palette.inks[i].name} would have to be {np.exp(abs(told[i])):.1f} times as"
            f" {'strong' if told[i] > 0 else 'weak'} as its lot is; a wrong sample, a wrong ink or"
            " a letdown in the container, or pours far off: look, and measure again"
        )


def refuse_if_shifted(palette: Palette, R: Array, left: Left, enough_f: float, lead: str) -> None:
    """InputError where less than `enough_f` stays unexplained of a reading that is moved.

    Up or down everywhere, by what the specular part may be; `left` says what stays.
    """
    from scipy.optimize import minimize_scalar

    for sign in (-1, 1):
        found = minimize_scalar(
            lambda by, sign=sign: left(np.maximum(R + sign * by, 1e-4)),
            bounds=SPECULAR_R, method="bounded", options={"xatol": 5e-4},
        )  # fmt: skip
        if found.fun < enough_f:
            raise InputError(
                f"{lead}; {shift_words(palette, -sign * float(found.x))}: set and calibrate the"
                " instrument, look at the sample, and measure again"
            )
