"""The smallest additions that bring a colour into a ball, where it moves in proportion.

With additions a >= 0 (grams) the difference from a target is b + J a to first order.
Wanted is the smallest sum(a) with |b + J a| <= rho.  Such a ball is touched with at most
three inks, so every set of up to three is solved in closed form, all at once, and the best
is taken; `correct` takes the slope anew there and asks again.
"""

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Sets = list[NDArray[np.int64]]

FLAT = 1e-9  # inks whose directions span less than this of a box are one direction
MOST_INKS = 3  # a ball in three dimensions is touched with no more


def sets_of(usable: NDArray[np.bool_], most_inks: int) -> Sets:
    """The sets (n, m) of up to `most_inks` of the `usable` (n_ink,) inks, by their size m.

    >>> [each.tolist() for each in sets_of(np.array([True, False, True]), 2)]
    [[[0], [2]], [[0, 2]]]
    """
    inks = [int(i) for i in np.flatnonzero(usable)]
    return [
        np.array(list(combinations(inks, m)), dtype=np.int64)
        for m in range(1, min(most_inks, len(inks)) + 1)
    ]


def smallest_linear(
    b: Array,
    J: Array,
    aim: float,
    room_g: float,
    upper: Array,
    sets: Sets,
) -> Array:
    """min sum(a) with |b + J a| <= aim, a >= 0, or the least |b + J a| within the room.

    `b` (3,), `J` (3, n_ink), `upper` (n_ink,) grams that there are; the answer (n_ink,).

    >>> J = np.array([[-1.0, 0.0], [0.0, -2.0], [0.0, 0.0]])
    >>> both = sets_of(np.array([True, True]), 2)
    >>> smallest_linear(np.array([3.0, 0, 0]), J, 1.0, np.inf, np.full(2, np.inf), both).tolist()
    [2.0, 0.0]
    """
    low, high = aim, float(np.sqrt((b**2).sum()))
    a = _within_stock(b, J, low, upper, sets)
    if a is not None and a.sum() <= room_g:
        return a
    best = np.zeros(J.shape[1])
    for _ in range(30):  # how near can one come?
        middle = (low + high) / 2
        a = _within_stock(b, J, middle, upper, sets)
        if a is not None and a.sum() <= room_g:
            best, high = a, middle
        else:
            low = middle
    return best


def _within_stock(b: Array, J: Array, rho: float, upper: Array, sets: Sets) -> Array | None:
    """The smallest additions with |b + J a| <= rho and a <= `upper`, or None.

    The problem is convex: where the answer without limits breaks some of them, one of
    those holds with equality in the answer within.
    """
    a = _smallest(b, J, rho, sets)
    if a is None or (a <= upper).all():
        return a
    best = None
    for i in np.flatnonzero(a > upper):
        others = [rows[(rows != i).all(axis=1)] for rows in sets]
        rest = _within_stock(b + J[:, i] * upper[i], J, rho, upper, others)
        if rest is not None:
            rest[i] = upper[i]
            best = rest if best is None or rest.sum() < best.sum() else best
    return best


def _smallest(b: Array, J: Array, rho: float, sets: Sets) -> Array | None:
    """The smallest additions with |b + J a| <= rho, over every set of inks, or None."""
    best, best_sum = None, np.inf
    if (b**2).sum() <= rho**2:
        return np.zeros(J.shape[1])
    for rows in sets:
        if not len(rows):
            continue
        m = rows.shape[1]
        A = J[:, rows].transpose(1, 0, 2)  # (n, 3, m)
        Q, T = np.linalg.qr(A)
        sizes = np.linalg.norm(A, axis=1).prod(axis=1)
        flat = np.abs(np.linalg.det(T)) <= FLAT * sizes
        T = np.where(flat[:, None, None], np.eye(m), T)
        along = np.einsum("nkm,k->nm", Q, b)
        off = (b**2).sum() - (along**2).sum(axis=1)  # what these inks can't reach, squared
        room = np.sqrt(np.maximum(rho**2 - off, 0))
        # y = along + T a on the ball |y| <= room with the least 1'a = 1'T^-1 (y - along)
        normal = np.linalg.solve(T.transpose(0, 2, 1), np.ones((len(rows), m, 1)))[:, :, 0]
        y = -room[:, None] * normal / np.linalg.norm(normal, axis=1, keepdims=True)
        a = np.linalg.solve(T, (y - along)[:, :, None])[:, :, 0]
        trace = 1e-12 * np.abs(a).max(axis=1, keepdims=True)
        fits = (off <= rho**2) & ~flat & (a >= -trace).all(axis=1)
        if fits.any():
            total = np.where(fits, a.sum(axis=1), np.inf)
            at = int(np.argmin(total))
            if total[at] < best_sum:
                best = np.zeros(J.shape[1])
                best[rows[at]] = np.maximum(a[at], 0)
                best_sum = float(total[at])
    return best
