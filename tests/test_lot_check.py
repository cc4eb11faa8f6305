"""A new lot judged from a check drawdown, on inks that obey radiative transfer."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import curve_fit
from small_bench import mixture, shop

from matchkit.correcting import lots
from matchkit.correcting.lot_check import accept, judge_lot
from matchkit.errors import InputError
from matchkit.fitting.constants import f_scale
from matchkit.inks.palette import reflectance
from matchkit.inks.shop import Drawdown
from matchkit.optics.kubelka_munk import k_over_s, surface_constants, without_surface
from matchkit.simulator.simulate import opaque_R, read, weigh

COLOURS = ("Lemon", "Scarlet", "Sky blue", "Magenta", "Green")


def check_of(bench, ink, *, percent=10.0, strength=1.0, base="White", rng=None):
    """A check drawdown of 50 g of a new lot, as weighed; exact without `rng`."""
    names = bench.names
    c = np.zeros(len(names))
    c[names.index(ink)], c[names.index(base)] = percent / 100, 1 - percent / 100
    s = np.ones(len(names))
    s[names.index(ink)] = strength
    grams = 50 * c if rng is None else weigh(50 * c, rng, hand_g=0.02)[0]
    R = opaque_R(bench, grams / grams.sum(), s)
    readings = R[None] if rng is None else read(R, rng, repeats=3)
    return Drawdown(
        name="check", inks=(ink, base), fractions=(percent / 100, 1 - percent / 100),
        readings=readings,
    )  # fmt: skip


def judge(ink, drawdowns, **more):
    _, _, found, spread = shop()
    return judge_lot(
        found.palette, ink, drawdowns, spread, light="D65", observer=10, lot="2", **more
    )


def test_the_bench_s_strength_is_found_within_its_error():
    bench, drawdowns, *_ = shop()
    rng = np.random.default_rng(2)
    z = []
    for ink in COLOURS:
        for reference in ((), drawdowns):
            strength = float(np.exp(0.05 * rng.standard_normal()))
            found = judge(
                ink, [check_of(bench, ink, strength=strength, rng=rng)], reference=reference
            )
            assert abs(found.strength / strength - 1) < 0.03
            assert found.shade == ""
            z.append((found.strength - strength) / found.standard_error)
    assert 0.3 < np.sqrt(np.mean(np.square(z))) < 1.7


def test_the_estimate_is_that_of_a_general_least_squares():
    # scipy.optimize.curve_fit, plain weights: with a reading that the model can say the
    # weighting does not matter.
    bench, _, found, _ = shop()
    palette = found.palette
    c = mixture(bench, White=0.9, Green=0.1)
    s = np.ones(len(c))
    s[palette.index("Green")] = 1.07
    R = reflectance(palette, c, s)
    drawdown = Drawdown(
        name="check", inks=("Green", "White"), fractions=(0.1, 0.9), readings=R[None]
    )

    def told(_, strength):
        s = np.ones(len(c))
        s[palette.index("Green")] = strength
        return f_scale(reflectance(palette, c, s))[0]

    best, _ = curve_fit(told, np.arange(len(R)), f_scale(R)[0], p0=[1.0])
    verdict = judge("Green", [drawdown])
    assert verdict.strength == pytest.approx(best[0], abs=2e-3)  # the wide prior pulls a little
    assert "Green: runs 7 % strong" in verdict.words[0]
    assert "weigh 93.5 g" in verdict.words[0]  # 100 / 1.07 by hand


def test_two_checks_know_better_than_one():
    bench, *_ = shop()
    rng = np.random.default_rng(3)
    checks = [check_of(bench, "Scarlet", strength=1.04, rng=rng, percent=p) for p in (8.0, 15.0)]
    one, two = judge("Scarlet", checks[:1]), judge("Scarlet", checks)
    assert two.standard_error < one.standard_error
    assert abs(two.strength - 1.04) < 2.5 * two.standard_error


def test_a_lot_of_another_shade_is_told_from_a_strong_one():
    bench, *_ = shop()
    wave = 1 + 0.1 * np.sin(np.arange(31) / 4)
    other = replace(
        bench,
        inks=tuple(
            replace(ink, mu_a=ink.mu_a * wave) if ink.name == "Magenta" else ink
            for ink in bench.inks
        ),
    )
    verdict = judge("Magenta", [check_of(other, "Magenta", strength=1.05)])
    assert verdict.shade and verdict.shade_de00 > 0.3
    assert "no change of weight corrects that" in verdict.words[1]


def test_a_masstone_tells_no_strength():
    # K and S of a hiding film grow together: its colour stays (Kubelka-Munk).
    bench, *_ = shop()
    R = opaque_R(bench, mixture(bench, Green=1))
    masstone = Drawdown(name="masstone", inks=("Green",), fractions=(1.0,), readings=R[None])
    with pytest.raises(InputError, match="hardly change with strength"):
        judge("Green", [masstone])


@pytest.mark.parametrize(
    ("drawdowns", "part"), [([], "no check drawdown"), (None, "holds no Green")]
)
def test_bad_checks(drawdowns, part):
    bench, *_ = shop()
    given = [check_of(bench, "Lemon")] if drawdowns is None else drawdowns
    with pytest.raises(InputError, match=part):
        judge("Green", given)


@pytest.mark.parametrize("ink", ["Scarlet", "Lemon"])
def test_a_reading_with_the_specular_part_is_no_weak_lot(ink):
    bench, drawdowns, *_ = shop()
    strong = check_of(bench, ink, strength=1.2)
    assert judge(ink, [strong], reference=drawdowns).kind == "strong"
    switched = replace(strong, readings=strong.readings + 0.03)
    with pytest.raises(InputError, match="measured with the specular part included"):
        judge(ink, [switched], reference=drawdowns)


def test_a_white_is_judged_with_a_little_black():
    bench, *_ = shop()
    verdict = judge("White", [check_of(bench, "Black", percent=4.0)])
    assert verdict.strength == pytest.approx(1, abs=0.03)
    strong = judge(
        "White", [replace(check_of(bench, "Black", percent=4.0 / 1.1), fractions=(0.04, 0.96))]
    )
    assert strong.strength == pytest.approx(1.1, abs=0.03)
    assert strong.de00_at_use > 0.5


def test_an_accepted_verdict_is_the_product_of_two_gaussians():
    bench, _, found, _ = shop()
    verdict = judge("Lemon", [check_of(bench, "Lemon", strength=1.06)])
    known = accept(lots.start(found.palette.inks), verdict)
    i = found.palette.index("Lemon")
    x, error = np.log(verdict.strength), verdict.standard_error / verdict.strength
    # Precisions add, means are weighted by them (any textbook).
    precision = 1 / 0.03**2 + 1 / error**2
    assert known.mean[i] == pytest.approx(x / error**2 / precision)
    assert known.covariance[i, i] == pytest.approx(1 / precision)
    assert known.lots[i] == "2"


@pytest.mark.parametrize("percent", [2.0, 10.0])
@pytest.mark.parametrize("strength", [0.95, 1.04])
def test_the_strength_is_the_relative_tinting_strength(percent, strength):
    # As ISO 18314-2 defines it, from memory: the ratio of K/S of the two letdowns, less that
    # of the white, where the ink absorbs most; readings without the textbook's surface.
    bench, *_ = shop()
    base, gain, k2 = surface_constants(1.5, bench.geometry)

    def absorbs(R):
        white = opaque_R(bench, mixture(bench, White=1))
        q, q_white = (
            k_over_s(without_surface(each, base=base, gain=gain, k2=k2)) for each in (R, white)
        )
        return q - q_white

    for ink in COLOURS:
        old = check_of(bench, ink, percent=percent)
        new = check_of(bench, ink, percent=percent, strength=strength)
        at = int(np.argmax(absorbs(old.R)))
        relative = absorbs(new.R)[at] / absorbs(old.R)[at]
        assert judge(ink, [new]).strength == pytest.approx(relative, rel=5e-3)
        assert judge(ink, [new], reference=[old]).strength == pytest.approx(relative, rel=5e-3)
