"""The expected error of a predicted colour, estimated from the errors of similar drawdowns.

A fit errs little in tints in white and more in deep or clear mixtures, and one ink of a series
can be known far worse than the others.  The errors of held-out drawdowns show this.  An error
found by leaving a drawdown out of a short letdown series is larger than the model's error, and
one found with the drawdown in the fit is smaller: in least squares, where a share h of each
reading goes into its own prediction, the first is the model's error / sqrt(1 - h), the second
the model's error x sqrt(1 - h).  So the geometric mean of the two is used; since a short series
fits anything, the fitted error counts as at least half of the held-out one.

Errors are weighted by likeness in the shares of clear and of white, lightness and chroma.
The width of likeness is chosen so that each card is best predicted from the others (by mean
log likelihood).  The expected error is larger for a colour that is unlike all drawdowns, and
an ink whose cards have larger errors than similar ones raises it in every mixture.
"""

from dataclasses import dataclass

import numpy as np

from matchkit.arrays import Array, Index, Mask
from matchkit.fitting.outliers import AT_LEAST, TIMES, main_ink, usual_error
from matchkit.inks.palette import Palette
from matchkit.inks.recipe import BASES

WIDTHS = (0.05, 0.1, 0.15, 0.2, 0.3, 0.5, 1.0, 3.0)
# Chosen on simulated shops of the usual pigments: what 100 L* count beside a whole share, how
# the variance grows with the square of the distance to the likest, and how many misses of the
# usual size are believed beforehand, of a colour and of an ink.
L_COUNTS, UNLIKE, USUAL, USUAL_OF_INK = 1.5, 15.0, 0.3, 2.0
LEAST_SHARE = 0.5  # of a miss unseen that is believed of one as fitted: short ladders fit anything
LIKEST = 5  # drawdowns that tell whether one is wrong
ROUNDS = 3  # between the width and the inks
LEAST_LAB = 0.02  # no fit is surer
UNSEEN = 30.0  # of minus a log likelihood: a wrong card says no more
# Of a Gaussian in space: mean length and mean v v' / |v|, in standard deviations.
LENGTH, ALONG = 1.596, 0.532


@dataclass(frozen=True, kw_only=True, eq=False)
class ExpectedError:
    """The misses of n drawdowns, and how they tell of other colours.

    `like` (n, 4) is what makes colours alike, `miss_Lab` (n, 3) each one's miss, over what is
    usual for its ink; `width` is the reach of likeness, `times` (n_ink,) how many times the
    usual an ink's colours are missed.
    """

    like: Array
    miss_Lab: Array
    width: float
    times: Array

    def Lab_covariance(self, palette: Palette, c: Array, lab: Array) -> Array:
        """Covariance (..., 3, 3) of the error in L*, a*, b* of mixtures.

        `c` (..., n_ink) are mass fractions, `lab` (..., 3) their colours as predicted.
        """
        shape = lab.shape[:-1]
        rows, tells = c.reshape(-1, c.shape[-1]), likeness(palette, c, lab).reshape(-1, 4)
        apart = _apart(tells, self.like)
        found = _covariance(apart, self.miss_Lab, self.width)
        told = _tinting(palette, rows) @ self.times**2
        covariance: Array = found * told[:, None, None]
        return covariance.reshape(*shape, 3, 3)


def likeness(palette: Palette, c: Array, lab: Array) -> Array:
    """What makes colours alike, (..., 4): shares of clear and white, lightness, chroma."""
    role = np.array([ink.role for ink in palette.inks])
    shares = [c[..., role == each].sum(axis=-1) for each in ("clear", "white")]
    chroma = np.hypot(lab[..., 1], lab[..., 2])
    return np.stack([*shares, L_COUNTS * lab[..., 0] / 100, chroma / 100], axis=-1)


def expected_error(
    palette: Palette,
    C: Array,
    lab: Array,
    miss_Lab: Array,
    error: Array,
    fitted: Array,
    cards: Index,
    judged: Mask,
    wrong: Mask,
) -> ExpectedError:
    """What the misses of a fit's drawdowns tell, those that are wrong left out.

    `C` (n, n_ink), `lab` (n, 3) as read, `miss_Lab` (n, 3) as predicted unseen less `lab`;
    `error` and `fitted` (n,) are dE00 unseen and as fitted, `cards` (n,) numbers the cards,
    `judged` (n,) are the drawdowns that count, `wrong` (n,) those that the fit left out.
    """
    main = np.array([main_ink(c, palette) for c in C])
    like = likeness(palette, C, lab + miss_Lab)
    apart = np.where(cards[:, None] == cards, np.inf, _apart(like, like))
    wrong = wrong | _far_out(error, main, cards, apart)
    right = judged & ~np.isin(cards, cards[wrong])
    right = right if right.any() else judged
    v, main = miss_Lab[right], main[right]
    share = np.clip(fitted[right] / np.maximum(error[right], 1e-9), LEAST_SHARE, 1)
    v = v * np.sqrt(share)[:, None]
    like, apart = like[right], apart[np.ix_(right, right)]
    count = np.bincount(main, minlength=C.shape[1])
    times = _first_times(v, main, count)
    width = WIDTHS[-1]
    for _ in range(ROUNDS if np.isfinite(apart).any(axis=1).all() else 0):
        u = v / times[main, None]
        told = [_covariance(apart, u, each) for each in WIDTHS]
        best = int(np.argmax([_log_likelihood(each, u).mean() for each in told]))
        width = WIDTHS[best]
        far = np.sqrt(_squares(told[best], v)) / LENGTH
        of_ink = np.bincount(main, weights=far, minlength=len(count))
        times = (of_ink + USUAL_OF_INK) / (count + USUAL_OF_INK)
    return ExpectedError(like=like, miss_Lab=v / times[main, None], width=width, times=times)


def _far_out(error: Array, main: Index, cards: Index, apart: Array) -> Mask:
    """Which drawdowns (n,) contradict those of their ink and those like them: wrong readings."""
    of_ink = [usual_error(error, main == main[k], cards == cards[k]) for k in range(len(error))]
    alike = np.median(error[np.argsort(apart, axis=1)[:, :LIKEST]], axis=1)
    return error > np.maximum(AT_LEAST, TIMES * np.maximum(of_ink, alike))


def _first_times(v: Array, main: Index, count: Index) -> Array:
    """Where to begin: an ink whose cards are all missed by far must not spoil the others."""
    size = np.linalg.norm(v, axis=1)
    of_ink = [np.median(size[main == i]) if n > 1 else 0.0 for i, n in enumerate(count)]
    times = np.array(of_ink) / max(float(np.median(size)), 1e-9)
    return np.where(times > TIMES, times, 1.0)


def _apart(one: Array, other: Array) -> Array:
    """Squared distances (m, n) of two lists of points."""
    squares: Array = ((one[:, None] - other) ** 2).sum(axis=-1)
    return squares


def _covariance(apart: Array, v: Array, width: float) -> Array:
    """Covariance (m, 3, 3) of misses at squared distances `apart` (m, n) from misses `v` (n, 3).

    From mean lengths, which single misses bend less than mean squares.
    """
    nearest = apart.min(axis=1, keepdims=True)
    weight = np.exp(-(apart - nearest) / (2 * width**2))
    size = np.maximum(np.linalg.norm(v, axis=1), 1e-6)
    total = (weight.sum(axis=1) + USUAL)[:, None]
    length = (weight @ size[:, None] + USUAL * np.median(size)) / total
    outer = (v[:, :, None] * v[:, None, :] / size[:, None, None]).reshape(-1, 9)
    along = (weight @ outer + USUAL * length * np.eye(3).ravel() / 3) / total
    grown = (length * along / (LENGTH * ALONG) + LEAST_LAB**2 * np.eye(3).ravel()) * (
        1 + UNLIKE * nearest
    )
    covariance: Array = grown.reshape(-1, 3, 3)
    return covariance


def _squares(covariance: Array, v: Array) -> Array:
    """v' covariance^-1 v, (n,)."""
    squares: Array = (v * np.linalg.solve(covariance, v[:, :, None])[:, :, 0]).sum(axis=1)
    return squares


def _log_likelihood(covariance: Array, v: Array) -> Array:
    each = -(_squares(covariance, v) + np.linalg.slogdet(covariance)[1]) / 2
    told: Array = np.maximum(each, -UNSEEN)
    return told


def _tinting(palette: Palette, c: Array) -> Array:
    """What each ink counts in how far mixtures `c` (n, n_ink) are missed; rows sum to 1."""
    base = np.array([ink.role in BASES for ink in palette.inks])
    say = c * palette.K.mean(axis=1) * np.where(base, 1e-6, 1.0)
    shares: Array = say / np.maximum(say.sum(axis=1, keepdims=True), 1e-300)
    return shares
