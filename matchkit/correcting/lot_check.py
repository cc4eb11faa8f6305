"""A new lot judged from one or two check drawdowns, without a new fit.

The other inks stay as they were fitted, so one number is wanted: the new lot's strength.
What no strength explains is a difference of shade, which no change of weight puts right.

Source: Aitken (1935) for generalised least squares, from memory.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from matchkit.arrays import Array
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.colorimetry.words import direction
from matchkit.correcting.diagnose import refuse_if_shifted
from matchkit.correcting.lots import Lots, index_of, new_lot, runs
from matchkit.errors import InputError
from matchkit.fitting.constants import f_scale
from matchkit.fitting.outliers import NOISE_F, smooth
from matchkit.inks.palette import Palette, reflectance, reflectance_jacobian, strength_jacobian
from matchkit.inks.shop import Drawdown, Shop
from matchkit.matching.probability import LEAST_MODEL_F, Spread, model_error_f

WIDE = 0.3  # spread of log strength before a check drawdown was measured
TELLING = 0.05  # standard error of log strength above which a check has said nothing
SHADE_DE00 = 0.3  # a smaller difference of shade isn't worth a word
ANOTHER_DE00 = 2.0  # a difference of shade that is another ink's; common practice, no source
STRANGE = 0.3  # log strength, ten times what lots usually differ by
# Rms that strength leaves of f(R) above which it is looked at whether the specular part was
# switched: right readings leave a tenth of it on the bench, switched ones twice of it.
SHIFTED_F = 0.0015
CHI2_99 = 11.345  # 99 % of chi-square with 3 degrees of freedom (any table)
SAME_MIX = 0.02  # drawdowns of two lots whose shares differ by no more can be compared
TYPICAL = 0.10  # of the ink in white, where a formula is not given


@dataclass(frozen=True, kw_only=True)
class LotVerdict:
    """A new lot beside the one that was fitted.

    `strength` 1.04 is 4 % strong beside the inks it was let down in, give or take
    `standard_error`.  `de00_at_use` is what it
    does to a usual colour if weights are not changed; `shade_de00` is what no change of
    weight puts right, `shade` how that looks, empty where it can't be told from nothing.
    """

    ink: str
    lot: str
    strength: float
    standard_error: float
    de00_at_use: float
    shade_de00: float
    shade: str
    kind: str  # same, strong, weak, or another: no lot of this ink
    words: tuple[str, ...]


def judge_lot(
    palette: Palette,
    ink: str,
    drawdowns: Sequence[Drawdown],
    spread: Spread,
    *,
    light: str,
    observer: int,
    lot: str = "",
    reference: Sequence[Drawdown] = (),
    use: Array | None = None,
    weighed_g: float = 50.0,
) -> LotVerdict:
    """A new lot of `ink` from one or two check drawdowns, without a new fit.

    A letdown of about 10 % in white tells strength best; a masstone alone tells none.
    `reference` are the shop's own drawdowns: where one was mixed like a check, what the
    model misses about it is taken off.  `weighed_g` is how much was mixed for each check,
    which decides what a slip of the balance does.  InputError for a check that tells no strength,
    and for a reading that another specular part explains.  `use` (n_ink,) is the formula in which
    the difference is told, otherwise 10 % in white.  The other inks are taken at the
    palette's strengths.
    """
    i = palette.index(ink)
    checks = [_check(palette, i, d, reference, spread, weighed_g) for d in drawdowns]
    if not checks:
        raise InputError(f"{ink}: no check drawdown; make one of about 10 % in white")
    x, error = _strength(palette, i, checks)
    if error > TELLING:
        raise InputError(
            f"{ink}: these drawdowns hardly change with strength (standard error "
            f"{100 * error:.0f} %); draw down about 10 % of the ink in white, and weigh more of it"
        )
    for each in checks:
        _refuse_if_shifted(palette, i, each)
    told = [_shade(palette, i, x, each, spread, light, observer) for each in checks]
    shade_de00, shade = max(told)
    at_use = _at_use(palette, i, x, use, light, observer)
    strength = float(np.exp(x))
    kind = "strong" if x > 0 else "weak"
    if abs(x) < 2 * error:
        kind = "same"
    if abs(x) > STRANGE or (shade and shade_de00 > ANOTHER_DE00):
        kind = "another"
    found = LotVerdict(
        ink=ink,
        lot=lot,
        strength=strength,
        standard_error=strength * error,
        de00_at_use=at_use,
        shade_de00=shade_de00,
        shade=shade,
        kind=kind,
        words=(),
    )
    others = " and ".join(name for name in drawdowns[0].inks if name != ink)
    return replace(found, words=_words(found, others, error))


def letdown(
    shop: Shop, ink: str, percent: float, base: str = ""
) -> tuple[tuple[str, ...], tuple[float, ...]]:
    """Inks and mass fractions of so much of an ink in `base`, or in the white of its series."""
    series = {each.name: each.series for each in shop.inks}.get(ink)
    whites = [e.name for e in shop.inks if e.role == "white" and e.series == series]
    if not base and not whites:
        raise InputError(f"no white is known beside {ink!r}; say what it was let down in")
    base = base or whites[0]
    if base == ink:
        raise InputError(f"{ink} can't be let down in itself; name another ink, such as a black")
    return (ink, base), (percent / 100, 1 - percent / 100)


def judge_shade(
    palette: Palette,
    ink: str,
    drawdown: Drawdown,
    spread: Spread,
    *,
    light: str,
    observer: int,
    reference: Sequence[Drawdown] = (),
) -> tuple[float, str]:
    """dE00 of a drawdown from the same of the fitted lot, and how it looks; "" if like it.

    For an ink alone, which has the same colour however strong it is.
    """
    i = palette.index(ink)
    check = _check(palette, i, drawdown, reference, spread, 50.0)
    return _shade(palette, i, 0.0, check, spread, light, observer)


def accept(lots: Lots, verdict: LotVerdict) -> Lots:
    """What is known of the lots once a check is counted on beside what batches told.

    The check is one measurement of the log strength of its lot (a Kalman update), so it may
    come before or after the batches.  A lot that is not the one in `lots` replaces it.
    """
    i = index_of(lots, verdict.ink)
    if lots.lots[i] != verdict.lot:
        lots = new_lot(lots, verdict.ink, verdict.lot)
    error = (verdict.standard_error / verdict.strength) ** 2
    gain = lots.covariance[:, i] / (lots.covariance[i, i] + error)
    return replace(
        lots,
        mean=lots.mean + gain * (np.log(verdict.strength) - lots.mean[i]),
        covariance=lots.covariance - np.outer(gain, lots.covariance[i]),
    )


@dataclass(frozen=True)
class _Check:
    c: Array
    R: Array
    residual_f: Array
    covariance: Array  # (n_wl, n_wl) on the f scale
    compared: bool  # with a drawdown of the reference lot


def _check(
    palette: Palette,
    i: int,
    drawdown: Drawdown,
    reference: Sequence[Drawdown],
    spread: Spread,
    weighed_g: float,
) -> _Check:
    c = _fractions(palette, drawdown)
    if c[i] == 0:
        raise InputError(f"drawdown {drawdown.name!r}: holds no {palette.names[i]}")
    R, by_amount = reflectance_jacobian(palette, c)
    f, slope = f_scale(R)
    alike = [d for d in reference if set(d.inks) <= set(palette.names)]
    alike = [d for d in alike if np.abs(_fractions(palette, d) - c).sum() <= SAME_MIX * c[i]]
    residual, model_f = np.zeros_like(f), model_error_f(palette, c, spread)
    if alike:
        residual, model_f = np.mean([_miss(palette, d) for d in alike], axis=0), LEAST_MODEL_F
    by_gram = (by_amount - c @ by_amount) / weighed_g * slope
    pours = spread.pour_g * by_gram[c > 0]
    kernel = smooth()
    noise = (1 + 1 / max(len(alike), 1)) * NOISE_F**2
    covariance = model_f**2 * kernel + noise * np.eye(len(f)) + pours.T @ pours
    return _Check(c, drawdown.R, residual, covariance, bool(alike))


def _miss(palette: Palette, drawdown: Drawdown) -> Array:
    """What the model says too little of a drawdown of the reference lots, on the f scale."""
    told = reflectance(replace(palette, strengths=None), _fractions(palette, drawdown))
    return f_scale(drawdown.R)[0] - f_scale(told)[0]


def _strength(palette: Palette, i: int, checks: Sequence[_Check]) -> tuple[float, float]:
    """Log strength of ink i and its standard error, by generalised least squares."""
    known = np.ones(len(palette.inks)) if palette.strengths is None else palette.strengths
    x = 0.0
    information = 0.0
    for _ in range(12):
        s = known.copy()
        s[i] = np.exp(x)
        information, pull = 1 / WIDE**2, -x / WIDE**2
        for each in checks:
            f, slope = f_scale(reflectance(palette, each.c, s))
            J = slope * strength_jacobian(palette, each.c, s)[i]
            weighed = np.linalg.solve(each.covariance, J)
            pull += float(weighed @ (f_scale(each.R)[0] - f - each.residual_f))
            information += float(weighed @ J)
        x += float(np.clip(pull / information, -0.3, 0.3))
    return x, float(1 / np.sqrt(information))


def _refuse_if_shifted(palette: Palette, i: int, check: _Check) -> None:
    """InputError where another specular part explains what no strength of ink i does."""

    def left(R: Array) -> float:
        seen = replace(check, R=R)
        s = np.ones(len(palette.inks)) if palette.strengths is None else palette.strengths.copy()
        s[i] = np.exp(_strength(palette, i, [seen])[0])
        f = f_scale(reflectance(palette, check.c, s))[0] + check.residual_f
        return float(np.sqrt(np.mean((f_scale(R)[0] - f) ** 2)))

    if (unexplained_f := left(check.R)) > SHIFTED_F:
        lead = f"{palette.names[i]}: no strength explains this reading"
        refuse_if_shifted(palette, check.R, left, unexplained_f / 3, lead)


def _shade(
    palette: Palette, i: int, x: float, check: _Check, spread: Spread, light: str, observer: int
) -> tuple[float, str]:
    """dE00 that strength leaves over, and how it looks if it is more than chance."""
    s = np.ones(len(palette.inks)) if palette.strengths is None else palette.strengths.copy()
    s[i] = np.exp(x)
    R = reflectance(palette, check.c, s)
    R = R + check.residual_f / f_scale(R)[1]
    expected, seen = Lab(R, light, observer), Lab(check.R, light, observer)
    usual = 2 * spread.measuring_Lab**2 * np.eye(3)
    if not check.compared:
        usual = usual + spread.fit_Lab(check.c, expected)
    off = seen - expected
    told = off @ np.linalg.solve(usual, off) > CHI2_99
    apart = float(de00(expected, seen))
    return apart, direction(expected, seen) if told and apart >= SHADE_DE00 else ""


def _at_use(
    palette: Palette, i: int, x: float, use: Array | None, light: str, observer: int
) -> float:
    c = _typical(palette, i) if use is None else use
    s = np.ones(len(palette.inks)) if palette.strengths is None else palette.strengths.copy()
    s[i] = 1.0
    usual = Lab(reflectance(palette, c, s), light, observer)
    s[i] = np.exp(x)
    return float(de00(usual, Lab(reflectance(palette, c, s), light, observer)))


def _typical(palette: Palette, i: int) -> Array:
    """10 % of the ink in white; a white with a twentieth of black in it."""
    white = palette.inks[i].role == "white"
    wanted = ("black", "colour") if white else ("white", "clear")
    others = [k for k in range(len(palette.inks)) if k != i]
    others.sort(key=lambda k: ([*wanted, palette.inks[k].role].index(palette.inks[k].role), k))
    c = np.zeros(len(palette.inks))
    c[i] = 1 - TYPICAL / 2 if white else TYPICAL
    c[others[0]] = 1 - c[i]
    return c


def _words(found: LotVerdict, others: str, error: float) -> tuple[str, ...]:
    """The verdict in words; `error` is of the log strength, `others` are the inks beside it."""
    ink, strength, off = found.ink, found.strength, f"{found.shade_de00:.2f} dE00"
    if found.kind == "another":
        why = f"{off} off however strong it is ({found.shade})"
        if abs(np.log(strength)) > STRANGE:
            why = f"{runs(strength)}, which is more than lots differ"
        return (
            f"{ink}: not the ink that was fitted, by this drawdown: {why}",
            "if the letdown was weighed as stated, it is another ink: measure it anew",
        )
    line = (
        f"{ink}: {runs(strength)} beside {others} (+-{100 * error:.1f} %), "
        f"{found.de00_at_use:.2f} dE00 at usual use; "
        f"weigh {100 / strength:.1f} g where a formula says 100 g"
    )
    if found.kind == "same":
        line = (
            f"{ink}: as strong as the fitted lot beside {others}, within this error"
            f" (+-{100 * error:.1f} %)"
        )
    if not found.shade:
        return (line,)
    return (
        line,
        f"beyond strength its shade differs by {off} ({found.shade}): "
        "no change of weight corrects that; fit this lot anew for close tolerances",
    )


def _fractions(palette: Palette, drawdown: Drawdown) -> Array:
    c = np.zeros(len(palette.inks))
    for name, fraction in zip(drawdown.inks, drawdown.fractions, strict=True):
        c[palette.index(name)] += fraction
    return c
