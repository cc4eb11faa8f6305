"""Which drawdowns look wrong, and what may have happened to them."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from matchkit.arrays import Array, Index, Mask
from matchkit.colorimetry.grid import GRID_NM
from matchkit.colorimetry.tristimulus import Lab, de00
from matchkit.fitting.constants import Films, f_scale
from matchkit.inks.opacity import over
from matchkit.inks.palette import Palette, reflectance, reflectance_jacobian
from matchkit.inks.shop import Drawdown

AT_LEAST = 1.0  # dE00: less is named only where it looks like a weighing error
TIMES = 6.0  # of the usual error
SPECULAR = 0.04  # share of light off a smooth surface of index 1.5 [Fresnel]
# A weighing error moves a whole spectrum along one known line.  It is named where the error is
# so many times the usual one, and the slip at least this large, this many of its standard
# deviations from 0, and leaves at most this share of the misfit.  Chosen on simulated shops
# that tests/studies/outliers.py does not use.
STANDS_OUT, LEAST_LOG, LEAST_Z, MOST_LEFT = 1.5, 0.06, 5.0, 0.3
REACH_NM = 40.0  # over which errors of the model and of a drawdown go together
NOISE_F = 4e-4  # of a reading on the f scale
THICKNESSES = np.geomspace(0.4, 2.5, 56)  # times what was stated
SHORT = 5  # drawdowns an ink, below which ladders are short
LEAST_USUAL = 0.05  # dE00: no shop repeats its drawdowns better


def smooth() -> Array:
    """How errors of the model at two wavelengths go together, (n_wl, n_wl), 1 on the diagonal.

    >>> smooth()[0, :5].round(3).tolist()  # 400 nm with 400 to 440 nm
    [1.0, 0.969, 0.882, 0.755, 0.607]
    """
    return np.exp(-(((GRID_NM[:, None] - GRID_NM) / REACH_NM) ** 2) / 2)


def explain(
    drawdowns: Sequence[Drawdown],
    films: Films,
    cards: Index,
    palette: Palette,
    predicted: Array,
    light: str,
    observer: int,
    *,
    without: Callable[[Mask], Palette],
    wrong: Mask | None = None,
    explained: Mask | None = None,
) -> tuple[str, ...]:
    """One line for each card that the others contradict, the worst first.

    `cards` (n_drawdown,) numbers the cards: a drawdown that hides has one of its own, a film
    shares it with the readings over other grounds.  `predicted` (n_drawdown, n_wl) is each
    drawdown as predicted by a fit without it, `without` gives the inks of films as fitted
    without some rows: one card can be all that says what an ink is per um.  `wrong`
    (n_drawdown,) are those that the fit left out: short ladders can't judge others before
    these are measured again.  `explained` (n_drawdown,) are those whose misfit has another
    cause, which is told elsewhere.
    """
    short = len(films.X) < SHORT * films.C.shape[1]
    judged = wrong if wrong is not None and wrong.any() and short else np.ones(len(films.X), bool)
    judged = judged if explained is None else judged & ~explained
    error = de00(Lab(films.R_m, light, observer), Lab(predicted, light, observer))
    main = np.array([main_ink(c, palette) for c in films.C])
    known: dict[int, str] = {}
    for row in np.argsort(-error).tolist():
        if cards[row] in known or not judged[row]:
            continue
        own = np.flatnonzero(cards == cards[row]).tolist()
        usual = usual_error(error, main == main[row], own)
        told = palette
        if not films.hides[row] and error[row] > max(AT_LEAST, TIMES * usual):
            told = without(cards == cards[row])
        read = [told if films.hides[i] else over(told, films.R_g[i], films.X[i]) for i in own]
        known[int(cards[row])] = outlier_words(
            [drawdowns[i] for i in own], films.C[row], read, predicted[own], usual, light, observer
        )
    return tuple(filter(None, known.values()))


def usual_error(error: Array, of_ink: Mask, without: int | Sequence[int] = ()) -> float:
    """The usual dE00 of a shop's drawdowns, or of one ink's where that is larger.

    `error` (n_drawdown,); `of_ink` marks the drawdowns of that ink, `without` those to leave
    out.

    >>> usual_error(np.array([0.1, 0.1, 0.1, 0.3, 2.0]), np.array([0, 0, 0, 1, 1]) > 0, 4)
    0.3
    """
    own = of_ink.copy()
    own[without] = False
    return float(max(np.median(error), np.median(error[own]) if own.any() else 0.0))


def outlier_words(
    card: Sequence[Drawdown],
    c: Array,
    palettes: Sequence[Palette],
    predicted: Array,
    usual: float,
    light: str,
    observer: int,
) -> str:
    """What looks wrong with one card, in words; "" if nothing does.

    `card` are its readings, one of a drawdown that hides, and `palettes` the inks over the
    ground of each; `c` (n_ink,) holds its mass fractions, `predicted` (n_reading, n_wl) its
    reflectance by a fit without it, `usual` the dE00 by which drawdowns of its ink are
    usually missed.
    """
    R = np.array([d.R for d in card])
    error = float(de00(Lab(R, light, observer), Lab(predicted, light, observer)).max())
    if error <= STANDS_OUT * usual:
        return ""
    far_out = error > max(AT_LEAST, TIMES * usual)
    slip = len(card) == 1 and palettes[0].film is None
    if not far_out and not (slip and _looks_mis_weighed(R[0], c, palettes[0], predicted[0], usual)):
        return ""
    names = " and ".join(d.name for d in card)
    told = f"{names}: off by {error:.1f} dE00 from what the others say"
    again = ": measure it again" if far_out else ""
    return f"{told}{again}; {_story(R, c, palettes, light, observer, card[0].thickness_um)}"


def _looks_mis_weighed(
    R: Array, c: Array, palette: Palette, predicted: Array, usual: float
) -> bool:
    """Whether more or less of the main ink explains nearly all of a misfit beyond noise.

    Generalised least squares of the misfit on its slope with the log of the ink's grams.
    """
    i = main_ink(c, palette)
    told, by_amount = reflectance_jacobian(palette, c)
    by_log = c[i] * (by_amount[i] - c @ by_amount) * f_scale(told)[1]
    miss = f_scale(R)[0] - f_scale(predicted)[0]
    model_f = max(usual, LEAST_USUAL) / 116
    covariance = model_f**2 * smooth() + NOISE_F**2 * np.eye(len(GRID_NM))
    scaled = np.linalg.solve(covariance, by_log)
    information = float(by_log @ scaled)
    if information <= 0:
        return False
    log = float(miss @ scaled) / information
    left = miss - log * by_log
    return (
        abs(log) > LEAST_LOG
        and abs(log) * np.sqrt(information) > LEAST_Z
        and left @ np.linalg.solve(covariance, left)
        < MOST_LEFT * (miss @ np.linalg.solve(covariance, miss))
    )


def shift_words(palette: Palette, by: float) -> str:
    """What a reading that is `by` too high everywhere, below 0 too low, is like.

    A surface adds its own reflection only to readings that include the specular part: where
    the drawdowns have it, one can only be missing it, and where not, only have it.
    """
    included = palette.base > 0
    if included == (by < 0):
        part = "excluded" if included else "included"
        return f"it reads as if measured with the specular part {part}, unlike the other drawdowns"
    word = "light" if by > 0 else "dark"
    return (
        f"it reads too {word} by about {100 * abs(by):.0f} % reflectance everywhere, as from a "
        "lost calibration or a wet, dirty or wrong sample"
    )


def _story(
    R: Array,
    c: Array,
    palettes: Sequence[Palette],
    light: str,
    observer: int,
    stated_um: float | None,
) -> str:
    """The simplest change that makes all readings of a card fit."""
    measured = Lab(R, light, observer)

    def far(c: Array, by: float = 0.0, times: float = 1.0) -> Array:
        """The mean dE00 of the readings for mixtures `c` (..., n_ink)."""
        told = [np.maximum(reflectance(_thicker(p, times), c) + by, 1e-4) for p in palettes]
        each = [de00(m, Lab(r, light, observer)) for m, r in zip(measured, told, strict=True)]
        mean: Array = np.mean(each, axis=0)
        return mean

    palette = palettes[0]
    as_told = float(far(c))
    main = main_ink(c, palette)
    name = palette.inks[main].name
    stories: list[tuple[float, str]] = []
    shares = np.clip(c[main] * np.geomspace(0.25, 4, 161), 0, 1)
    if c[main] < 0.999:
        weighed = far(_with_share(c, main, shares))
        at = int(np.argmin(weighed))
        stories.append(
            (
                float(weighed[at]),
                f"it reads like {100 * shares[at]:.3g} % {name}, not {100 * c[main]:.3g} % "
                "(mis-weighed?)",
            )
        )
    for other in range(len(c)):
        if c[other] == 0:
            swapped = c.copy()
            swapped[[main, other]] = swapped[[other, main]]
            stories.append(
                (
                    float(far(swapped)) * 1.5,
                    f"it reads like {palette.inks[other].name}, not {name} (mislabelled?)",
                )
            )
    for by in (SPECULAR, -SPECULAR):
        stories.append((float(far(c, by)) * 1.5, shift_words(palette, by)))
    if palette.film is not None and np.isfinite(palette.film.thickness_um):
        left, times = min((float(far(c, times=k)), float(k)) for k in THICKNESSES)
        film = (
            f"a film {times:.2g} times as thick as the others"
            if stated_um is None
            else f"a film of {stated_um * times:.0f} um, not {stated_um:g}"
        )
        stories.append((left, f"it reads like {film}: check bar and pressure"))
    best, text = min(stories)
    if best < 0.4 * as_told:
        return text
    return "was it opaque, well stirred, fully cured, the right card? make it again"


def _thicker(palette: Palette, times: float) -> Palette:
    if times == 1 or palette.film is None:
        return palette
    film = replace(palette.film, thickness_um=palette.film.thickness_um * times)
    return replace(palette, film=film)


def main_ink(c: Array, palette: Palette) -> int:
    """The position of the ink a drawdown is about: its colour, else black, clear, white."""
    for role in ("colour", "black", "clear", "white"):
        held = [i for i, ink in enumerate(palette.inks) if ink.role == role and c[i] > 0]
        if held:
            return min(held, key=lambda i: -c[i])
    return int(np.argmax(c))


def _with_share(c: Array, main: int, shares: Array) -> Array:
    """`c` with ink `main` at each share, the others keeping their proportions."""
    rest = np.where(np.arange(len(c)) == main, 0, c)
    out: Array = rest / max(rest.sum(), 1e-12) * (1 - shares[:, None])
    out[:, main] = shares
    return out
