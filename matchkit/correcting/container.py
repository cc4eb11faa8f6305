"""A container with ink in it, and its colour once more ink has joined.

A batch that came out wrong, an over-pour and a leftover are alike.  In the container are
grams g, whose lots have strengths of their own; a >= 0 grams join them:

    K ~ sum (a_i s_i + g_i t_i) K_i
    S ~ sum (a_i s_i + g_i t_i) S_i / (1 + crowding_i (a_i + g_i) / T),  T = sum (a + g)

so whites old and new crowd each other as they do in one film; nothing is approximated.
What is each ink's own (`Palette.own`) goes with the shares in the whole.
What to add is found in `additions`.
"""

from dataclasses import dataclass, replace

import numpy as np

from matchkit.arrays import Array, Index
from matchkit.colorimetry.difference import Target, difference, difference_slope
from matchkit.colorimetry.tristimulus import Lab_jacobian, XYZ_to_Lab
from matchkit.correcting.diagnose import f_inverse, stays
from matchkit.fitting.constants import f_scale
from matchkit.inks.palette import Palette, grown, look
from matchkit.matching.probability import Spread


@dataclass(frozen=True, kw_only=True, eq=False)
class Bucket:
    """What stands in a bucket, and the inks that may join it.

    `grams` (n_ink,) in the bucket with `strengths` (n_ink,); those of the inks that join
    it are the palette's.  `residual_f` (n_wl,) is what the model can't say about the
    bucket alone, on the f scale; it counts by the bucket's share of the batch.
    """

    palette: Palette
    grams: Array
    strengths: Array
    residual_f: Array


def bucket_of(palette: Palette, grams: Array) -> Bucket:
    """A bucket of the palette's own lots, as far as the model knows it."""
    return Bucket(
        palette=palette,
        grams=np.asarray(grams, dtype=float),
        strengths=_strengths(palette),
        residual_f=np.zeros(palette.K.shape[1]),
    )


def joined(bucket: Bucket, additions_g: Array) -> Bucket:
    """The bucket with `additions_g` (n_ink,) in it."""
    grams = bucket.grams + additions_g
    strong = bucket.grams * bucket.strengths + additions_g * _strengths(bucket.palette)
    return replace(
        bucket,
        grams=grams,
        strengths=np.where(grams > 0, strong / np.where(grams > 0, grams, 1.0), 1.0),
        residual_f=bucket.residual_f * stays(bucket.grams, grams),
    )


def over_all(subsets: Index, a: Array, n_inks: int) -> Array:
    """Amounts (n, m) of the inks of `subsets` (n, m) over all inks, (n, n_ink)."""
    out = np.zeros((len(a), n_inks))
    np.put_along_axis(out, subsets, a, axis=1)
    return out


def reflectance_after(bucket: Bucket, additions_g: Array) -> Array:
    """Reflectance (..., n_wl) of the batch once `additions_g` (..., n_ink) have joined it."""
    a = np.asarray(additions_g, dtype=float)
    rows = a.reshape(-1, a.shape[-1])
    everything = np.tile(np.arange(a.shape[-1]), (len(rows), 1))
    return _optics(bucket, everything, rows).R.reshape(*a.shape[:-1], -1)


def seen_after(bucket: Bucket, target: Target, additions_g: Array) -> tuple[Array, Array, Array]:
    """R (n_wl,), Lab (n_light, 3) and dE00 (n_light,) after `additions_g` (n_ink,)."""
    R = reflectance_after(bucket, additions_g)
    lab = XYZ_to_Lab((R @ target.W).reshape(-1, 3), target.whites)
    v = difference(target.lab.T, lab.T)
    return R, lab, np.sqrt((v**2).sum(axis=0))


def under_first_light(target: Target) -> Target:
    """The target with its first light only."""
    return replace(
        target,
        lights=target.lights[:1],
        lab=target.lab[:1],
        W=target.W[:, :3],
        whites=target.whites[:1],
        share=np.ones(1),
    )


def lab_covariance_after(
    bucket: Bucket,
    target: Target,
    additions_g: Array,
    spread: Spread,
    *,
    held: Array | None = None,
) -> Array:
    """Covariance (3, 3) of the Lab that `additions_g` (n_ink,) will bring, first light.

    `held` (n_ink, n_ink) is that of log strength of the inks in the bucket; without it the
    spread of lots, as of those that join.  The bucket is one pour.
    """
    a, everything = additions_g[None], np.arange(len(additions_g))[None]
    optics = _optics(bucket, everything, a)
    W = target.W[:, :3]
    to_Lab = Lab_jacobian(optics.R[0] @ W, target.whites[0]) @ W.T
    by_gram = to_Lab @ _slope_of_R(bucket, everything, optics)[0].T
    own_K = bucket.palette.K * optics.white[0][:, None]
    own_S = bucket.palette.S * (optics.white * optics.clear / optics.room)[0][:, None]
    say = to_Lab @ (optics.by_K * own_K + optics.by_S * own_S).T
    by_fresh = say * (additions_g * _strengths(bucket.palette))
    by_held = say * (bucket.grams * bucket.strengths)
    # All of it doubled is the same colour, so the bucket's own slope is the rest's, turned.
    by_bucket = -(by_gram @ additions_g) / max(bucket.grams.sum(), 1e-9)
    pours = np.column_stack([by_gram[:, additions_g > 0], by_bucket])
    lots = np.diag(spread.log_strength**2)
    covariance: Array = (
        by_fresh @ lots @ by_fresh.T
        + by_held @ (lots if held is None else held) @ by_held.T
        + spread.pour_g**2 * pours @ pours.T
        + spread.measuring_Lab**2 * np.eye(3)
        + spread.fit_Lab(optics.share[0], XYZ_to_Lab(optics.R[0] @ W, target.whites[0]))
    )
    return covariance


def _strengths(palette: Palette) -> Array:
    return np.ones(len(palette.inks)) if palette.strengths is None else palette.strengths


@dataclass(frozen=True)
class _Optics:
    """R (n, n_wl) of n batches, its slopes by sums of K and of S, and what these are made of."""

    R: Array
    by_K: Array
    by_S: Array
    K: Array
    S: Array
    by_R: Array  # slope by what the surface adds
    strong: Array  # (n, n_ink) grams times strength
    white: Array  # (n, n_ink) growth of strength beside white
    clear: Array  # (n, n_ink) growth of scattering beside clear
    share: Array  # (n, n_ink)
    room: Array  # (n, n_ink)
    total_g: Array  # (n,)


def _optics(bucket: Bucket, subsets: Index, a: Array) -> _Optics:
    palette, g = bucket.palette, bucket.grams
    everything = over_all(subsets, a, len(g))
    T = (g.sum() + a.sum(axis=1))[:, None]
    share = (everything + g) / T
    white, clear = grown(palette, share)
    strong = (everything * _strengths(palette) + g * bucket.strengths) * white
    room = 1 + palette.crowding * share
    K, S = strong @ palette.K / T, (strong * clear / room) @ palette.S / T
    R, by_K, by_S = look(palette, K, S)
    R = R + (share * palette.own[0]).sum(axis=1, keepdims=True)
    f, f_slope = f_scale(R)
    shown = f_inverse(f + g.sum() / T * bucket.residual_f)
    # The residual is added on the f scale, so dR_shown = f'(R) / f'(R_shown) dR.
    turned = f_slope / f_scale(shown)[1] / T
    return _Optics(
        shown,
        by_K * turned,
        by_S * turned,
        K,
        S,
        turned,
        strong,
        white,
        clear,
        share,
        room,
        T[:, 0],
    )


def _slope_of_R(bucket: Bucket, subsets: Index, optics: _Optics) -> Array:
    """dR/da (n, m, n_wl) for the inks of each set."""
    palette, room, share = bucket.palette, optics.room, optics.share
    strong, scatter = optics.strong, optics.strong * optics.clear / room
    own, s = np.broadcast_to(palette.own, (3, len(palette.inks))), _strengths(palette)
    of_K, of_S = s * optics.white, s * optics.white * optics.clear / room
    K = palette.K[subsets] * np.take_along_axis(of_K, subsets, axis=1)[..., None]
    S = palette.S[subsets] * np.take_along_axis(of_S, subsets, axis=1)[..., None]
    for w in np.flatnonzero(palette.crowding):
        # One gram of anything thins a crowded white; a gram of that white crowds it more.
        more = (subsets == w) - share[:, w, None]
        crowded = palette.crowding[w] * scatter[:, w] / (room[:, w] * optics.total_g)
        S = S - (crowded[:, None] * more)[..., None] * palette.S[w]
    white, clear = (
        ((base[subsets] - (share @ base)[:, None]) / optics.total_g[:, None])[..., None]
        for base in palette.beside
    )
    K = K + white * (strong * own[1] / optics.white @ palette.K)[:, None]
    S = S + white * (scatter * own[1] / optics.white @ palette.S)[:, None]
    S = S + clear * (scatter * own[2] / optics.clear @ palette.S)[:, None]
    surface = own[0][subsets] - (share @ own[0])[:, None]
    by_K, by_S = optics.by_K[:, None, :], optics.by_S[:, None, :]
    slope: Array = by_K * (K - optics.K[:, None, :]) + by_S * (S - optics.S[:, None, :])
    slope += optics.by_R[:, None, :] * surface[..., None]
    return slope


def slopes_after(bucket: Bucket, target: Target, subsets: Index, a: Array) -> tuple[Array, Array]:
    """Differences v (n, n_light, 3) and their slope by amount (n, n_light, 3, m)."""
    optics, shape = _optics(bucket, subsets, a), (*a.shape, len(target.whites), 3)
    XYZ = (optics.R @ target.W).reshape(len(a), *shape[2:])
    by_amount = (_slope_of_R(bucket, subsets, optics) @ target.W).reshape(shape)
    Lab = XYZ_to_Lab(XYZ, target.whites).transpose(2, 1, 0)
    v, by_Lab = difference_slope(target.lab.T[..., None], Lab)
    J = by_Lab.transpose(3, 2, 0, 1) @ Lab_jacobian(XYZ, target.whites)
    return v.transpose(2, 1, 0), J @ by_amount.transpose(0, 2, 3, 1)


def differences_after(bucket: Bucket, target: Target, additions_g: Array) -> Array:
    """dE00 (n, n_light) after each of `additions_g` (n, n_ink)."""
    R = reflectance_after(bucket, additions_g)
    lab = XYZ_to_Lab((R @ target.W).reshape(len(R), -1, 3), target.whites)
    v = difference(target.lab.T[:, None, :], lab.transpose(2, 0, 1))
    away: Array = np.sqrt((v**2).sum(axis=0))
    return away
