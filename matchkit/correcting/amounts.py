"""How much of each ink of a given set: what comes nearest, and the least that is near enough.

Many sets of inks are answered at once.  Towards the nearest, amounts move on a log scale by
damped least-squares steps on the difference, whose slope is known; from there to the least,
each step is the smallest sum within a ball.  A set that moves no more is left alone.

Sources: Levenberg (1944), Marquardt (1963) for the damping; Moré & Sorensen (1983) for the
least within a ball: Newton's steps on its multiplier.
"""

import numpy as np

from matchkit.arrays import Array, Index
from matchkit.colorimetry.difference import Target
from matchkit.correcting import container

CHUNK = 600  # sets of inks at a time: what stays in a processor's cache
STEPS = 24
NEAR = 1e-4  # of a sum and of a distance: nearer is the same
PRICE_STEPS = 4  # towards what nearness costs, between two steps
SETTLED = 1e-7  # of a sum of squares: less gained by a step is the end
LONGEST_STEP = 2.0  # in log amount
CURVE = (0.5, 0.02)  # of the sum over log amounts, at first and at least: it damps the steps
LARGEST_CUT = 0.9  # of an amount, in one step


def balanced(bucket: container.Bucket, subsets: Index) -> Array:
    """Starting amounts (n, m): as much as the bucket holds, each ink with an equal say."""
    say = 1 / (bucket.palette.K.mean(axis=1) + bucket.palette.S.mean(axis=1))
    a = say[subsets]
    start: Array = bucket.grams.sum() * a / a.sum(axis=1, keepdims=True)
    return start


def nearest(
    bucket: container.Bucket,
    target: Target,
    subsets: Index,
    start: Array,
    *,
    total_g: float | None = None,
    steps: int = STEPS,
) -> tuple[Array, Array]:
    """The additions (n, m) of each of `subsets` (n, m) that come nearest, and dE00 (n, n_light).

    `target.share` says what each light counts: sum(share * dE00^2) is made least.  With
    `total_g` the additions sum to it; without, they may be any amount.
    """
    out_a, out_d = np.empty(subsets.shape), np.empty((len(subsets), len(target.lights)))
    for at in range(0, len(subsets), CHUNK):
        rows = slice(at, at + CHUNK)
        totals = None if total_g is None else np.full(len(subsets[rows]), total_g)
        out_a[rows], out_d[rows] = _descend(
            bucket, target, subsets[rows], start[rows], totals, steps
        )
    return out_a, out_d


def least(
    bucket: container.Bucket,
    target: Target,
    subsets: Index,
    start: Array,
    *,
    aim: float,
    at_least_g: float = 0.0,
) -> tuple[Array, Array]:
    """The smallest additions (n, m) within `aim` under the first light, and dE00 (n, n_light).

    `start` (n, m) holds additions that are within it, as `nearest` finds them.
    `at_least_g` must go in whatever the colour; a set of inks that would need less
    comes as near as it can at that total.
    """
    first = container.under_first_light(target)
    a = _shrunk(bucket, first, subsets, start, aim)
    few = np.flatnonzero(a.sum(axis=1) < at_least_g)
    if len(few):
        totals = np.full(len(few), at_least_g)
        a[few], _ = _descend(bucket, first, subsets[few], a[few], totals, STEPS)
    return a, container.differences_after(
        bucket, target, container.over_all(subsets, a, len(bucket.grams))
    )


def _to_total(a: Array, total: Array) -> Array:
    scaled: Array = a * (total / a.sum(axis=1))[:, None]
    return scaled


def _descend(
    bucket: container.Bucket,
    target: Target,
    subsets: Index,
    a: Array,
    total: Array | None,
    steps: int,
) -> tuple[Array, Array]:
    """Damped least-squares steps in log amount, one damping for each set of inks."""
    weight = np.sqrt(target.share)[:, None]
    m = a.shape[1]
    a = np.where(a > 0, np.maximum(a, 1e-9 * bucket.grams.sum()), 0)
    if total is not None:
        a = _to_total(a, total)
    v, J = container.slopes_after(bucket, target, subsets, a)
    out_a, out_v = a.copy(), v.copy()
    damping, rows = np.full(len(a), 1e-2), np.arange(len(a))
    for _ in range(steps):
        r = (v * weight).reshape(len(a), -1)
        J_u = (J * weight[..., None]).reshape(len(a), -1, m) * a[:, None, :]
        if total is not None:  # the sum is held: what one ink gains the others give
            J_u = J_u - J_u.sum(axis=2, keepdims=True) * (a / total[rows, None])[:, None, :]
        step = _damped_step(J_u, r, damping)
        trial = a * np.exp(step)
        if total is not None:
            trial = _to_total(trial, total[rows])
        v_new, J_new = container.slopes_after(bucket, target, subsets[rows], trial)
        gain = (r**2).sum(axis=1) - ((v_new * weight) ** 2).sum(axis=(1, 2))
        better = gain >= 0
        done = better & (gain <= SETTLED * (r**2).sum(axis=1) + SETTLED**2)
        damping = np.where(better, np.maximum(damping / 8, 1e-9), np.minimum(damping * 10, 1e6))
        a = np.where(better[:, None], trial, a)
        v = np.where(better[:, None, None], v_new, v)
        J = np.where(better[:, None, None, None], J_new, J)
        out_a[rows], out_v[rows] = a, v
        rows, a, v, J, damping = rows[~done], a[~done], v[~done], J[~done], damping[~done]
        if not len(rows):
            break
    return out_a, np.sqrt((out_v**2).sum(axis=2))


def _shrunk(
    bucket: container.Bucket, target: Target, subsets: Index, a: Array, aim: float
) -> Array:
    """The least sums within `aim` that are found from `a` (n, m), which is within it.

    Each step is the least of the sum's model, grams curved as they are in log amount, within
    the ball that the differences may lie in, their slope taken for constant.
    """
    inner = aim * (1 - NEAR)
    a = np.where(a > 0, np.maximum(a, 1e-9 * bucket.grams.sum()), 0)
    best, rows = a.copy(), np.arange(len(a))
    v, J = container.slopes_after(bucket, target, subsets, a)
    v, J = v[:, 0], J[:, 0]
    curve, price = np.full(len(a), CURVE[0]), a.sum(axis=1) / aim**2
    cost = np.zeros(len(a))
    for _ in range(STEPS):
        step, price = _least_step(a, v, J * a[:, None, :], curve, price, inner)
        trial = a * (1 + step)
        v_new, J_new = container.slopes_after(bucket, target, subsets[rows], trial)
        v_new, J_new = v_new[:, 0], J_new[:, 0]
        far, far_new = np.linalg.norm(v, axis=1), np.linalg.norm(v_new, axis=1)
        total, total_new = a.sum(axis=1), trial.sum(axis=1)
        inside = far_new <= aim
        smaller = inside & (total_new < best[rows].sum(axis=1))
        best[rows[smaller]] = trial[smaller]
        # A dE00 too far costs twice its price in grams, and no step may leave the ball by much.
        cost = np.maximum(cost, 2 * price * aim)
        out, out_new = np.maximum(far - inner, 0), np.maximum(far_new - inner, 0)
        better = (total_new + cost * out_new <= total + cost * out) & (
            far_new <= np.maximum(2 * aim, 0.7 * far)
        )
        curve = np.where(better, np.maximum(curve / 3, CURVE[1]), np.minimum(curve * 6, 1e6))
        going = ~inside | ~better | (np.abs(total - total_new) > NEAR * total_new)
        a = np.where(better[:, None], trial, a)
        v = np.where(better[:, None], v_new, v)
        J = np.where(better[:, None, None], J_new, J)
        rows, a, v, J = rows[going], a[going], v[going], J[going]
        curve, price, cost = curve[going], price[going], cost[going]
        if not len(rows):
            break
    return best


def _least_step(
    a: Array, v: Array, J_u: Array, curve: Array, price: Array, aim: float
) -> tuple[Array, Array]:
    """Steps (n, m) in log amount to the least sum within `aim`, and the prices (n,) of nearness.

    The price is what Lagrange's multiplier is; it starts from what it was one step before.
    """
    root = np.sqrt(np.maximum(a, 1e-12) * curve[:, None])
    B, p = J_u / root[:, None, :], a / root
    size, turn = np.linalg.eigh(B @ B.transpose(0, 2, 1))
    free = v - (B @ p[:, :, None])[:, :, 0]
    c = (turn.transpose(0, 2, 1) @ free[:, :, None])[:, :, 0]
    size = np.maximum(size, 0)
    usual = a.sum(axis=1) / aim**2
    price = np.clip(price, 1e-3 * usual, 1e6 * usual)
    for _ in range(PRICE_STEPS):  # Newton on the log of the length by the log of the price
        shrink = 1 / (1 + price[:, None] * size)
        squares = (c * shrink) ** 2
        length = squares.sum(axis=1)
        slope = -2 * (squares * (1 - shrink)).sum(axis=1) / np.maximum(length, 1e-300)
        move = np.log(aim**2 / np.maximum(length, 1e-300)) / np.minimum(slope, -1e-3)
        price = np.clip(price * np.exp(np.clip(move, -3, 3)), 1e-3 * usual, 1e6 * usual)
    price = np.where((c**2).sum(axis=1) <= aim**2, 0.0, price)
    w = (turn @ (c / (1 + price[:, None] * size))[:, :, None])[:, :, 0]
    y = -(p + price[:, None] * (w[:, None, :] @ B)[:, 0])
    # Straight in grams, where more of the target's own formula changes nothing, never below 0.
    step = y / root
    most = np.where(a > 1e-3 * a.sum(axis=1, keepdims=True), -step, 0.0).max(axis=1)
    most = np.maximum(most / LARGEST_CUT, step.max(axis=1) / LONGEST_STEP)
    return np.maximum(step / np.maximum(most, 1.0)[:, None], -LARGEST_CUT), price


def _damped_step(J: Array, r: Array, damping: Array) -> Array:
    H = J.transpose(0, 2, 1) @ J
    g = J.transpose(0, 2, 1) @ r[:, :, None]
    on = np.arange(J.shape[2])
    H[:, on, on] += damping[:, None] * H[:, on, on] + 1e-10
    step = -np.linalg.solve(H, g)[:, :, 0]
    longest = np.abs(step).max(axis=1, keepdims=True)
    clipped: Array = step * np.minimum(1, LONGEST_STEP / np.maximum(longest, 1e-300))
    return clipped
